"""The whole show but its sweeps as one JSON document, and a show made from one; docs/show-file.md tells its fields."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fallow.errors import InputError
from fallow.showfile.holding import value_of
from fallow.showfile.images import written
from fallow.showfile.kinds import BY_NAME
from fallow.showfile.mishaps import FilePath, told
from fallow.showfile.schema import VERSION
from fallow.showfile.store import ShowFile

__all__ = ["FORMAT", "MEND_HINT", "Document", "check_format", "document_of", "restore"]

FORMAT = "fallow show"
MEND_HINT = "mend it in show.json, or export the show again"
Document = dict[str, Any]
_NO_SQL_VALUE = (sqlite3.ProgrammingError, sqlite3.InterfaceError, sqlite3.IntegrityError)
_CHANGE = ("uid", "at", "who", "why", "what", "nature", "of")


def document_of(show: ShowFile) -> Document:
    """Values in the order of their places, the history, and which series there are. Raises InputError for damage."""
    with show.snapshot():
        values = show.connection.execute(
            "SELECT kind, key, place, image FROM item ORDER BY kind, place, key"
        ).fetchall()
        series = [number for (number,) in show.connection.execute("SELECT id FROM series ORDER BY id")]
        return {
            "format": FORMAT,
            "version": show.version,
            "values": [
                {"kind": kind, "key": key, "place": place, "value": json.loads(image)}
                for kind, key, place, image in values
            ],
            "changes": [_change(show, *row) for row in show.connection.execute(_CHANGES).fetchall()],
            "series": series,
        }


_CHANGES = f"SELECT id, {', '.join(_CHANGE)} FROM change ORDER BY id"


def _change(show: ShowFile, number: int, *said: Any) -> Document:
    rows = show.connection.execute(
        "SELECT kind, key, place_before, before, place_after, after FROM change_row WHERE change = ? ORDER BY id",
        (number,),
    )
    return {
        "number": number,
        **dict(zip(_CHANGE, said, strict=True)),
        "rows": [
            {
                "kind": kind,
                "key": key,
                "place_before": place_before,
                "before": None if before is None else json.loads(before),
                "place_after": place_after,
                "after": None if after is None else json.loads(after),
            }
            for kind, key, place_before, before, place_after, after in rows
        ],
    }


def restore(show: ShowFile, document: Document, path: FilePath) -> None:
    """Put a document into an empty show. ``path``: where it was read, for messages.

    Raises InputError where it is none, or of a newer version; then the show stays empty.
    """
    path = Path(path)
    check_format(document, path)
    with show.sweeping() as connection, told(path):
        try:
            for value in document["values"]:
                row = (value["kind"], value["key"], value["place"], _checked(value, path))
                connection.execute("INSERT INTO item (kind, key, place, image) VALUES (?, ?, ?, ?)", row)
            for change in document["changes"]:
                _restore_change(show, change)
        except (KeyError, TypeError, ValueError, OverflowError, *_NO_SQL_VALUE) as error:
            raise InputError(f"this is no show as fallow exports it ({error})", path=path) from error


def check_format(document: Document, path: Path) -> None:
    """Raise InputError for what is no exported show, or one of a newer version."""
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise InputError("this is no show as fallow exports it", path=path)
    version = document.get("version", 0)
    if not isinstance(version, int) or version > VERSION:
        what = f"a newer fallow exported this show (version {version}; this one knows {VERSION})"
        raise InputError(what, path=path, hint="update fallow")


def _restore_change(show: ShowFile, change: Mapping[str, Any]) -> None:
    marks = ", ".join("?" * (len(_CHANGE) + 1))
    said = [change["number"], *(change[name] for name in _CHANGE)]
    show.connection.execute(f"INSERT INTO change (id, {', '.join(_CHANGE)}) VALUES ({marks})", said)
    for row in change["rows"]:
        before, after = (None if image is None else written(image) for image in (row["before"], row["after"]))
        show.connection.execute(
            "INSERT INTO change_row (change, kind, key, place_before, before, place_after, after)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            (change["number"], row["kind"], row["key"], row["place_before"], before, row["place_after"], after),
        )


def _checked(value: Mapping[str, Any], path: Path) -> str:
    """The image of a value that can be understood."""
    image = written(value["value"])
    if value["kind"] not in BY_NAME:
        raise ValueError(f"there is no kind {value['kind']!r}")
    value_of(BY_NAME[value["kind"]], value["key"], image, path, MEND_HINT)
    return image
