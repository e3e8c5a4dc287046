"""Foreign carriers as a table, written so that ``read_foreign`` reads it back."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path

from fallow.files.tables.grid import FilePath
from fallow.files.tables.whole_file import replace_whole
from fallow.show.link import ForeignCarrier

__all__ = ["foreign_cells", "write_foreign"]

_COLUMNS = ("name", "frequency_mhz", "bandwidth_khz", "area", "spacing_khz", "products", "protect")


def write_foreign(path: FilePath, foreign: Sequence[ForeignCarrier]) -> None:
    """Write foreign carriers as CSV, whole or not at all; columns that we don't know stay. Raises OutputError."""
    rows = [foreign_cells(one) for one in foreign]
    headings = list(dict.fromkeys((*_COLUMNS, *(name for row in rows for name in row))))
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows([row.get(name, "") for name in headings] for row in rows)
    replace_whole(Path(path), text.getvalue().encode("utf-8"), "the table of foreign carriers")


def foreign_cells(one: ForeignCarrier) -> Mapping[str, str]:
    """A carrier as cells of the table of foreign carriers, with those under headings that only some tables have."""
    figures = (_scaled(one.frequency_hz, 6), _scaled(one.bandwidth_hz, 3), one.area, _scaled(one.spacing_hz, 3))
    said = ("yes" if one.products else "no", "yes" if one.protect else "no")
    cells = dict(zip(_COLUMNS, (one.name, *figures, *said), strict=True))
    return {**cells, **({"product_width": "yes"} if one.product_width else {}), **one.extra}


def _scaled(hz: int, decimals: int) -> str:
    """Whole hertz in MHz (six decimals) or kHz (three), exactly."""
    whole, rest = divmod(hz, 10**decimals)
    return f"{whole}.{rest:0{decimals}d}"
