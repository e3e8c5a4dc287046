"""What can still be read of a damaged file, in a new one: a file cut in half, a stick that lost some of its sectors.

Each table is read row by row around the damage. Tiles that are lost become *not measured*; sweeps of which nothing is
left are left out. Where the history is not whole, it begins anew with what was found.
"""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from fallow.errors import FallowError, InputError, OutputError
from fallow.showfile.checking import damage_in_history
from fallow.showfile.coding import DamagedLevelsError, decoded, encoded
from fallow.showfile.holding import value_of
from fallow.showfile.kinds import BY_NAME, SURVEYS
from fallow.showfile.mishaps import FilePath, told
from fallow.showfile.opening import check_free, close_writing, connect_writing, make_file, put_in_place
from fallow.showfile.schema import tables
from fallow.showfile.store import ShowFile
from fallow.showfile.sweeps import TILE_BINS
from fallow.showfile.unfinished import discard, unfinished

__all__ = ["Rescued", "rescue"]

_ONE_BY_ONE = 4096  # keys that are tried one after another beyond the last row that was found
_STRIDE = (
    1 / 128
)  # of the distance beyond: so far apart are the keys tried there, and a shorter run of rows may be missed
_FARTHEST = 2**40
_PAGE_SIZE_AT, _PAGES_AT = 16, 28  # https://sqlite.org/fileformat2.html, 1.3 The Database Header
_PIECE_BYTES = 2**20
_NOTHING = "nothing of this file can be read"
_ROOM = "it needs room for the damaged file twice: name a place on another disk"
Rows = list[tuple[Any, ...]]


@dataclass(frozen=True)
class Rescued:
    """What was written to the new file, and what was lost, in sentences; none: nothing was."""

    path: Path
    values: int
    changes: int
    sweeps: int
    lost: tuple[str, ...]


def rescue(path: FilePath, to: FilePath, who: str | None = None) -> Rescued:
    """Write what can be read of a show file to a new one, whole or not at all. Raises InputError where nothing can be
    read, OutputError where ``to`` can't be made.
    """
    path, to = Path(path), Path(to)
    check_free(to)
    folder, part = unfinished(to, "-rescue"), unfinished(to, "-rescued")
    try:
        with closing(_opened_copy(path, folder, to)) as damaged:
            found = _Found.of(damaged, path)
            make_file(part)
            sweeps = _Sweeps(damaged, found)
            found = replace(found, has_history=_write_tables(part, found, sweeps, to))
        with ShowFile.open(part, write=True, who=who) as show, told(to):
            lost = [*found.lost, *sweeps.lost, *_write_values(show, found, path)]
            values = sum(show.count(kind) for kind in BY_NAME.values())
            changes = len(show.changes())
        if not values and not sweeps.written:
            raise InputError(_NOTHING, path=path)
        put_in_place(part, to)
    except OutputError as error:
        raise OutputError(f"nothing was rescued: {error.what}", path=to, hint=_ROOM) from error
    finally:
        discard(folder)
        discard(part)
    return Rescued(to, values, changes, sweeps.written, tuple(lost))


def _write_tables(part: Path, found: _Found, sweeps: _Sweeps, to: Path) -> bool:
    """Sweeps, and the history where it is whole, as they were; returns whether it is. ``to``: for messages."""
    connection = connect_writing(part)
    try:
        with told(to):
            connection.execute("PRAGMA foreign_keys = OFF")
            connection.execute("BEGIN")
            sweeps.write(connection)
            for table in _VALUES if found.has_history else ():
                _insert(connection, table, found.tables[table])
            is_whole = found.has_history and not damage_in_history(connection, to)
            for table in () if is_whole else reversed(_VALUES):
                connection.execute(f"DELETE FROM {table}")
            connection.execute("COMMIT")
            return is_whole
    finally:
        close_writing(connection)


def _opened_copy(path: Path, folder: Path, to: Path) -> sqlite3.Connection:
    """A copy of the file with its log, as long as its head says, opened. ``to``: for whose sake it is made."""
    copy = folder / "damaged"
    try:
        folder.mkdir()
    except OSError as error:
        raise _no_room(error, to) from error
    _copy(path, copy, to)
    if Path(f"{path}-wal").exists():
        _copy(Path(f"{path}-wal"), Path(f"{copy}-wal"), to)
    _lengthen(copy, path, to)
    connection = sqlite3.connect(copy, isolation_level=None)
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA cell_size_check = ON")
    return connection


def _lengthen(copy: Path, path: Path, to: Path) -> None:
    """Make a copy as long as its head says, as SQLite wants it. Raises InputError where it has no head."""
    with copy.open("rb+") as stream:
        head = stream.read(100)
        if len(head) < 100 or not head.startswith(b"SQLite format 3\x00"):
            raise InputError("nothing of this file can be read: its head is gone", path=path)
        (page_size,) = struct.unpack_from(">H", head, _PAGE_SIZE_AT)
        (pages,) = struct.unpack_from(">I", head, _PAGES_AT)
        whole = (65536 if page_size == 1 else page_size) * pages
        if stream.seek(0, 2) < whole < 2**40:
            try:
                stream.truncate(whole)
            except OSError as error:
                raise _no_room(error, to) from error


def _copy(path: Path, copy: Path, to: Path) -> None:
    """Copy a file; what can't be read is the fault of the one, what can't be written that of the other."""
    try:
        with path.open("rb") as source:
            try:
                with copy.open("wb") as target:
                    while piece := _read(source, path):
                        target.write(piece)
            except OSError as error:
                raise _no_room(error, to) from error
    except OSError as error:
        raise _unreadable(error, path) from error


def _read(source: BinaryIO, path: Path) -> bytes:
    try:
        return source.read(_PIECE_BYTES)
    except OSError as error:
        raise _unreadable(error, path) from error


def _unreadable(error: OSError, path: Path) -> InputError:
    return InputError(f"the file can't be read ({(error.strerror or '').lower()})", path=path)


def _no_room(error: OSError, to: Path) -> OutputError:
    return OutputError(f"there it can't be written ({(error.strerror or '').lower()})", path=to)


@dataclass(frozen=True)
class _Found:
    """The rows that can be read, table by table. ``lost``: what can't, in sentences."""

    tables: dict[str, Rows]
    lost: tuple[str, ...]
    has_history: bool
    has_sweeps: bool

    @staticmethod
    def of(connection: sqlite3.Connection, path: Path) -> _Found:
        """Read all tables but the largest around the damage."""
        there = _tables(connection, path)
        found: dict[str, Rows] = {}
        lost, gaps = [], set()
        for table in (*_VALUES, "axis", "series", "fold"):
            reading = _Reading(connection, table)
            found[table] = list(reading.rows()) if table in there else []
            if reading.met_damage:
                gaps.add(table)
                lost.append(f"not all rows of the table {table} can be read, only {len(found[table])}")
        if not any(found.values()):
            raise InputError(_NOTHING, path=path)
        return _Found(found, tuple(lost), not gaps & {*_VALUES} and bool(found["change"]), "tile" in there)


def _tables(connection: sqlite3.Connection, path: Path) -> set[str]:
    try:
        return {*tables(connection)}
    except sqlite3.DatabaseError as error:
        raise InputError(f"nothing of this file can be read: its tables are gone ({error})", path=path) from error


_VALUES = ("item", "change", "change_row")
_COLUMNS = {
    "item": ("kind", "key", "place", "image"),
    "change": ("uid", "at", "who", "why", "what", "nature", "of"),
    "change_row": ("change", "kind", "key", "place_before", "before", "place_after", "after"),
    "axis": ("start", "step", "n", "points"),
    "series": ("axis", "unit", "is_timed", "zone_known", "rbw_hz", "detector", "trace", "source", "said"),
    "fold": ("series", "first", "sweeps", "from_s", "until_s", "times"),
    "sweep": ("series", "number", "time_s", "coding", "levels"),
    "tile": ("fold", "bin", "bins", "coding", "levels"),
}
_DEFAULTS = {"said": "'{}'"}  # of columns that files of older versions lack


class _Reading:
    """Reads one table around its damage, by its whole-number keys."""

    def __init__(self, connection: sqlite3.Connection, table: str) -> None:
        self._connection, self._last = connection, 0
        there = {name: of for _, name, *of in connection.execute(f"PRAGMA table_info({table})")}
        columns = [name if name in there else f"{_DEFAULTS.get(name)} AS {name}" for name in _COLUMNS[table]]
        self._select = f"SELECT id, {', '.join(columns)} FROM {table} NOT INDEXED"
        self._types = [_types(*there[name]) if name in there else (object,) for name in _COLUMNS[table]]
        self.met_damage = False

    def rows(self) -> Iterator[tuple[Any, ...]]:
        """All rows that can be read, each with its key first."""
        while True:
            with suppress(sqlite3.DatabaseError):
                for row in self._connection.execute(f"{self._select} WHERE id > ? ORDER BY id", (self._last,)):
                    if row[0] <= self._last:  # a page that stands in the place of another
                        break
                    self._last = row[0]
                    yield from self._if_ours(row)
                else:
                    return
            self.met_damage = True
            beyond = self._next_readable()
            if beyond is None:
                return
            self._last = beyond[0]
            yield from self._if_ours(beyond)

    def _if_ours(self, row: tuple[Any, ...]) -> Rows:
        """The row, unless it is that of another table: its page stands in the place of ours."""
        if all(isinstance(value, types) for value, types in zip(row[1:], self._types, strict=True)):
            return [row]
        self.met_damage = True
        return []

    def _next_readable(self) -> tuple[Any, ...] | None:
        """The next row behind the damage: keys are tried, then one by one back to the first that is not damaged."""
        broken = self._last
        for key in _keys_beyond(self._last):
            found = self._first_from(key)
            if found is not None:
                while key - 1 > broken and (before := self._first_from(key - 1)) is not None:
                    found, key = before, key - 1
                return found or None
            broken = key
        return None

    def _first_from(self, key: int) -> tuple[Any, ...] | None:
        """The first row from a key on, empty where there is none, ``None`` where damage lies before it."""
        query = f"{self._select} WHERE id >= ? ORDER BY id LIMIT 1"
        with suppress(sqlite3.DatabaseError):
            row = tuple(self._connection.execute(query, (key,)).fetchone() or ())
            return row if not row or row[0] >= key else None
        return None


def _types(declared: str, not_null: int, *_: object) -> tuple[type, ...]:
    """What a column that is declared so may hold: https://sqlite.org/stricttables.html."""
    held = {"INTEGER": (int,), "REAL": (float, int), "TEXT": (str,), "BLOB": (bytes,)}[declared]
    return held if not_null else (*held, type(None))


def _keys_beyond(last: int) -> Iterator[int]:
    """Keys at which the search for readable rows looks, ever farther apart."""
    distance = 1
    while distance < _FARTHEST:
        yield last + distance
        distance += max(1, int((distance - _ONE_BY_ONE) * _STRIDE))


class _Sweeps:
    """Writes the sweeps that are left. ``lost``: what is not, in sentences; ``written``: how many sweeps."""

    def __init__(self, damaged: sqlite3.Connection, found: _Found) -> None:
        self._damaged, self._found = damaged, found
        bins = {row[0]: row[3] for row in found.tables["axis"]}
        self._bins = {row[0]: bins[row[1]] for row in found.tables["series"] if row[1] in bins}
        self.lost: list[str] = []
        self.written = 0

    def write(self, to: sqlite3.Connection) -> None:
        """Tiles as they come, for there may be very many; then what belongs around them."""
        if not self._found.has_sweeps:
            return
        _insert(to, "axis", self._found.tables["axis"])
        _insert(to, "series", [row for row in self._found.tables["series"] if row[0] in self._bins])
        folds = {row[0]: row for row in self._found.tables["fold"] if row[1] in self._bins}
        kept = self._write_tiles(to, folds)
        for series, bins in self._bins.items():
            of_series = sorted((row for row in folds.values() if row[1] == series), key=lambda row: row[2])
            at = self._write_folds(to, of_series, kept, bins)
            self._write_live(to, series, at, bins)

    def _write_tiles(self, to: sqlite3.Connection, folds: Mapping[int, tuple[Any, ...]]) -> set[tuple[int, int]]:
        """Every tile that can be unpacked; returns which fold and bin they stand for."""
        kept = set()
        for row in _Reading(self._damaged, "tile").rows():
            fold = folds.get(row[1])
            if fold is not None and _is_readable(row[4], row[5], (fold[3], row[3])):
                _insert(to, "tile", [row])
                kept.add((row[1], row[2]))
        return kept

    def _write_folds(self, to: sqlite3.Connection, folds: Rows, kept: set[tuple[int, int]], bins: int) -> int:
        """The folds of one series, one after another; returns how many sweeps they hold."""
        at = holes = 0
        for number, series, _, sweeps, *times in folds:
            missing = [start for start in range(0, bins, TILE_BINS) if (number, start) not in kept]
            if len(missing) == len(range(0, bins, TILE_BINS)):
                self.lost.append(f"{sweeps} sweeps of series {series} are lost")
                continue
            _insert(to, "fold", [(number, series, at, sweeps, *times)])
            for start in missing:
                empty = np.full((sweeps, min(TILE_BINS, bins - start)), np.nan, dtype=np.float32)
                _insert(to, "tile", [(None, number, start, empty.shape[1], *encoded(empty))])
            at, holes = at + sweeps, holes + len(missing)
        if holes:
            self.lost.append(f"{holes} tiles of series {folds[0][1]} are lost: there it counts as not measured")
        self.written += at
        return at

    def _write_live(self, to: sqlite3.Connection, series: int, at: int, bins: int) -> None:
        live = [row for row in _Reading(self._damaged, "sweep").rows() if row[1] == series]
        for row in sorted(live, key=lambda row: row[2]):
            if _is_readable(row[4], row[5], (bins,)):
                _insert(to, "sweep", [(row[0], series, at, *row[3:])])
                at, self.written = at + 1, self.written + 1
            else:
                self.lost.append(f"a sweep of series {series} is lost")


def _insert(connection: sqlite3.Connection, table: str, rows: Rows) -> None:
    columns = ("id", *_COLUMNS[table])
    marks = ", ".join("?" * len(columns))
    connection.executemany(f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}) VALUES ({marks})", rows)


def _is_readable(coding: str, packed: bytes, shape: tuple[int, ...]) -> bool:
    try:
        decoded(coding, packed, shape)
    except DamagedLevelsError:
        return False
    return True


def _write_values(show: ShowFile, found: _Found, path: Path) -> list[str]:
    """Put what the history does not bring along into the show, as one change. Returns what is lost."""
    lost = []
    with show.change("", f"rescued from {path.name}") as change:
        if not found.has_history:
            values, unreadable = _surviving_values(found, path)
            lost += [f"{unreadable} values can't be understood"] if unreadable else []
            for kind, value in values:
                change.put(BY_NAME[kind], value)
            lost.append("the history is not whole, so it begins anew here, without marks and events")
        series = {number for (number,) in change.connection.execute("SELECT id FROM series")}
        for head in show.all(SURVEYS):
            left = tuple(number for number in head.series if number in series)
            if left != head.series:
                lost.append(f"{len(head.series) - len(left)} series of the survey {head.name!r} are lost")
                change.put(SURVEYS, replace(head, series=left))
    return lost


def _surviving_values(found: _Found, path: Path) -> tuple[list[tuple[str, Any]], int]:
    """The values that are left: those of the table, and what the history says of others; and how many are broken."""
    images: dict[tuple[str, str], tuple[int, str]] = {}
    for _, _, kind, key, _, _, place, after in found.tables["change_row"]:
        images.pop((kind, key), None)
        if after is not None:
            images[kind, key] = (place, after)
    for _, kind, key, place, image in found.tables["item"]:
        images[kind, key] = (place, image)
    values, broken = [], 0
    for (kind, key), (_, image) in sorted(images.items(), key=lambda pair: (pair[0][0], pair[1][0])):
        if kind not in BY_NAME or BY_NAME[kind].is_fact:
            continue
        try:
            values.append((kind, value_of(BY_NAME[kind], key, image, path)))
        except FallowError:
            broken += 1
    return values, broken
