"""Is the file whole? Its pages, its values, its history and every tile of its sweeps, each looked at."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

from fallow.errors import FallowError, InputError
from fallow.showfile import history
from fallow.showfile.history import ABSENT, Row, State
from fallow.showfile.holding import value_of
from fallow.showfile.kinds import BY_NAME, SURVEYS
from fallow.showfile.mishaps import FilePath, told
from fallow.showfile.opening import connect_reading, up_to_date
from fallow.showfile.schema import VERSION, version_of
from fallow.showfile.sweeps import blocks, head_of
from fallow.showfile.writer import Writer, left_behind

__all__ = ["Checked", "check", "damage_in_history"]

MOST_TOLD = 20
T = TypeVar("T")
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Checked:
    """What was looked at, and ``damage``: each as a sentence; empty: the file is whole.

    ``sweeps``: that could be read. ``writer``: the claim that stands in the file, dead or alive.
    """

    damage: tuple[str, ...]
    version: int
    values: int = 0
    changes: int = 0
    sweeps: int = 0
    size_bytes: int = 0
    writer: Writer | None = None

    @property
    def is_whole(self) -> bool:
        """Whether nothing is damaged."""
        return not self.damage

    @property
    def is_newer(self) -> bool:
        """Whether a newer fallow wrote it: its history was counted and not followed."""
        return self.version > VERSION


def check(path: FilePath, progress: Progress | None = None) -> Checked:
    """Look at everything in the file. Raises InputError for what is no show file at all."""
    path = Path(path)
    size = path.stat().st_size if path.is_file() else 0
    try:
        connection = connect_reading(path)
    except InputError as error:
        if "damaged" in error.what:
            return Checked((error.what,), 0, size_bytes=size)
        raise
    try:
        looking = _Looking(connection, path, progress)
        looking.at_everything()
        version = version_of(connection)
        writer = looking.tried("who writes", lambda: left_behind(connection))
    finally:
        connection.close()
    counts = looking.values, looking.changes, looking.sweeps
    return Checked(tuple(looking.damage[:MOST_TOLD]), version, *counts, size, writer)


def damage_in_history(connection: sqlite3.Connection, path: Path) -> tuple[str, ...]:
    """What in the values and in their history can't be understood or does not fit together."""
    looking = _Looking(connection, path, None)
    looking.tried("what it holds", looking.at_values)
    looking.tried("its history", looking.at_history)
    return tuple(looking.damage)


class _Looking:
    """One look at a file; what is damaged does not keep it from the rest."""

    def __init__(self, connection: sqlite3.Connection, path: Path, progress: Progress | None) -> None:
        self.connection, self.path, self.progress = connection, path, progress
        self.damage: list[str] = []
        self.values = self.changes = self.sweeps = 0

    def at_everything(self) -> None:
        """Pages first, for what is damaged there shows in all the rest."""
        self.tried("the pages of the file", self.at_pages)
        if version_of(self.connection) >= VERSION:
            self.at_contents()
        elif (private := self.tried("what it holds", lambda: up_to_date(self.connection, self.path))) is not None:
            with closing(private):
                self.connection = private
                self.at_contents()

    def at_contents(self) -> None:
        """All that is in the tables."""
        self.tried("what it holds", self.at_values)
        self.tried("its history", self.at_history)
        self.tried("its sweeps", self.at_sweeps)

    def tried(self, what: str, look: Callable[[], T]) -> T | None:
        """The answer of a look; an error becomes one line of damage."""
        try:
            with told(self.path):
                return look()
        except FallowError as error:
            self.damage.append(f"{what}: {error.what}")
            return None

    def at_pages(self) -> None:
        """What SQLite itself finds."""
        for (line,) in self.connection.execute(f"PRAGMA integrity_check({MOST_TOLD})"):
            if line != "ok":
                self.damage.append(f"the pages of the file: {line.splitlines()[0]}")
        for table, row, parent, _ in self.connection.execute("PRAGMA foreign_key_check"):
            self.damage.append(f"the tables: row {row} of {table} belongs to a {parent} that is not there")

    def at_values(self) -> None:
        """Every value understood; kinds of a newer fallow are passed over."""
        for kind, key, image in self.connection.execute("SELECT kind, key, image FROM item"):
            self.values += 1
            if kind in BY_NAME:
                self.tried("what it holds", partial(value_of, BY_NAME[kind], key, image, self.path))

    def at_history(self) -> None:
        """Walk back from the present: what each change left must be what the next one found, down to nothing at all.

        The history of a newer fallow may mean something else, so that it is only counted.
        """
        self.changes = int(self.connection.execute("SELECT count(*) FROM change").fetchone()[0])
        if version_of(self.connection) > VERSION:
            return
        self.at_what_it_says()
        state = history.present(self.connection)
        rows = self.connection.execute(
            "SELECT change, kind, key, before, place_before, after, place_after FROM change_row ORDER BY id DESC"
        )
        for number, kind, key, before, place_before, after, place_after in rows:
            if state.get((kind, key), ABSENT) != Row(after, place_after):
                self.damage.append(f"its history: change {number} does not fit what {kind} {key!r} became")
                return
            _step_back(state, kind, key, Row(before, place_before))
        if state:
            kind, key = next(iter(state))
            self.damage.append(f"its history: it does not say where {kind} {key!r} comes from")

    def at_what_it_says(self) -> None:
        """Times that are times, and values of the past that can be understood: undo may bring each of them back."""
        for number, at in self.connection.execute("SELECT id, at FROM change ORDER BY id"):
            if not history.is_moment(at):
                self.damage.append(f"its history: change {number} was made at {at!r}, which is no time")
        present = set(self.connection.execute("SELECT kind, image FROM item"))  # looked at already
        past = "SELECT DISTINCT kind, key, after FROM change_row WHERE after IS NOT NULL"
        for kind, key, image in self.connection.execute(past):
            if kind in BY_NAME and (kind, image) not in present:
                self.tried("its history", partial(value_of, BY_NAME[kind], key, image, self.path))

    def at_sweeps(self) -> None:
        """Every tile unpacked; and every survey has its series."""
        series = [number for (number,) in self.connection.execute("SELECT id FROM series ORDER BY id")]
        for count, number in enumerate(series):
            if self.progress is not None:
                self.progress("looking at the sweeps", count / len(series))
            self.tried("its sweeps", partial(self.at_series, number))
        for key, image in self.connection.execute("SELECT key, image FROM item WHERE kind = ?", (SURVEYS.name,)):
            missing = sorted({*json.loads(image).get("series", ())} - {*series})
            if missing:
                self.damage.append(f"its sweeps: the survey {key!r} lacks its series {', '.join(map(str, missing))}")

    def at_series(self, number: int) -> None:
        """The blocks of one series follow each other without a gap."""
        head = head_of(self.connection, number, self.path)
        expected = 0
        for block in blocks(self.connection, number, self.path, slice(0, head.axis.n)):
            if block.first != expected:
                self.damage.append(f"its sweeps: series {number} lacks those from {expected + 1} to {block.first}")
            expected = block.first + block.levels_db.shape[0]
            self.sweeps += block.levels_db.shape[0]


def _step_back(state: State, kind: str, key: str, before: Row) -> None:
    if before.image is None:
        state.pop((kind, key), None)
    else:
        state[kind, key] = before
