"""The tables of a show file, and the numbered steps that lead from each older version to this one; nothing else.

``user_version`` of the file is the number of the last step that it has seen. A step is never changed once a file was
written with it: what is to be different is a new step. Every table has a whole number as its key, so that what is left
of a damaged file can be read row by row; what is small stands before what is large, which is where `VACUUM` puts it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

__all__ = ["APPLICATION_ID", "STEPS", "VERSION", "migrate", "tables", "version_of"]

APPLICATION_ID = 0x46614C77  # "FaLw": how other programs know the file
Step = Sequence[str]

_FIRST: Step = (
    """CREATE TABLE writer (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        who TEXT NOT NULL, since TEXT NOT NULL, host TEXT NOT NULL, pid INTEGER NOT NULL, started TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE item (
        id INTEGER PRIMARY KEY,
        kind TEXT NOT NULL, key TEXT NOT NULL, place INTEGER NOT NULL, image TEXT NOT NULL,
        UNIQUE (kind, key)
    ) STRICT""",
    """CREATE TABLE change (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        uid TEXT NOT NULL UNIQUE, at TEXT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL, what TEXT NOT NULL,
        nature TEXT NOT NULL CHECK (nature IN ('edit', 'fact', 'undo', 'redo')),
        of INTEGER REFERENCES change (id)
    ) STRICT""",
    """CREATE TABLE change_row (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        change INTEGER NOT NULL REFERENCES change (id), kind TEXT NOT NULL, key TEXT NOT NULL,
        place_before INTEGER, before TEXT, place_after INTEGER, after TEXT
    ) STRICT""",
    "CREATE INDEX change_row_by_change ON change_row (change)",
)
_SWEEPS: Step = (
    """CREATE TABLE axis (
        id INTEGER PRIMARY KEY, start TEXT NOT NULL, step TEXT NOT NULL, n INTEGER NOT NULL, points BLOB
    ) STRICT""",
    """CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        axis INTEGER NOT NULL REFERENCES axis (id), unit TEXT NOT NULL, is_timed INTEGER NOT NULL,
        zone_known INTEGER NOT NULL, rbw_hz REAL, detector TEXT, trace TEXT NOT NULL, source TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE fold (
        id INTEGER PRIMARY KEY,
        series INTEGER NOT NULL REFERENCES series (id), first INTEGER NOT NULL, sweeps INTEGER NOT NULL,
        from_s REAL, until_s REAL, times BLOB,
        UNIQUE (series, first)
    ) STRICT""",
    """CREATE TABLE sweep (
        id INTEGER PRIMARY KEY,
        series INTEGER NOT NULL REFERENCES series (id), number INTEGER NOT NULL, time_s REAL,
        coding TEXT NOT NULL, levels BLOB NOT NULL,
        UNIQUE (series, number)
    ) STRICT""",
    """CREATE TABLE tile (
        id INTEGER PRIMARY KEY,
        fold INTEGER NOT NULL REFERENCES fold (id), bin INTEGER NOT NULL, bins INTEGER NOT NULL,
        coding TEXT NOT NULL, levels BLOB NOT NULL,
        UNIQUE (fold, bin)
    ) STRICT""",
)
# What a series says of itself and has no column of its own: one image, so that a new field needs no step.
_SAID: Step = ("ALTER TABLE series ADD COLUMN said TEXT NOT NULL DEFAULT '{}'",)
STEPS: Sequence[Step] = (_FIRST, _SWEEPS, _SAID)
VERSION = len(STEPS)


def migrate(connection: sqlite3.Connection, steps: Sequence[Step] = STEPS) -> None:
    """Take the file through the steps that it has not seen, each in one transaction. Raises sqlite3.Error."""
    for number in range(version_of(connection), len(steps)):
        connection.execute("BEGIN IMMEDIATE")
        try:
            for statement in steps[number]:
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number + 1}")
            connection.execute("COMMIT")
        finally:
            if connection.in_transaction:
                connection.execute("ROLLBACK")


def version_of(connection: sqlite3.Connection) -> int:
    """The number of the last step that the file has seen."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def tables(connection: sqlite3.Connection) -> tuple[str, ...]:
    """The tables of the file, in the order in which they were made."""
    found = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY rowid")
    return tuple(name for (name,) in found if not name.startswith("sqlite_"))
