"""docs/show-file.md names every table and every kind of value; the map knows the room."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from pathlib import Path

from fallow.showfile.kinds import BY_NAME
from fallow.showfile.schema import APPLICATION_ID, migrate, tables


def test_every_table_and_kind_is_documented(root: Path) -> None:
    page = (root / "docs" / "show-file.md").read_text(encoding="utf-8")
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        migrate(connection)
        named = {*tables(connection), *BY_NAME}
    assert named == {*re.findall(r"^\| `([a-z_]+)` \|", page, re.MULTILINE)}
    assert f"0x{APPLICATION_ID:X}" in page.upper().replace("0X", "0x")
