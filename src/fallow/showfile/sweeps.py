"""Sweeps in the file: live ones row by row, older ones folded into tiles of 64 sweeps times 1,000 bins.

A piece of the spectrum over a piece of time touches only its tiles. What comes out equals what went in: axis, levels,
times, bandwidth, detector, trace, source. Nothing here belongs to the history: a survey is taken out by its head, and
its sweeps stay in the file, so that undo has something to bring back.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import Field, dataclass, fields, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError, UsageError
from fallow.showfile.coding import DamagedLevelsError, decoded, encoded
from fallow.showfile.images import fields_from, image_of, written
from fallow.showfile.mishaps import DAMAGED_HINT
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import Detector, LevelUnit, Series
from fallow.units import format_span_mhz

__all__ = [
    "EVERYTHING",
    "Block",
    "Section",
    "begin_series",
    "blocks",
    "copy_series",
    "fold",
    "head_of",
    "read_series",
    "store_series",
]

TILE_SWEEPS, TILE_BINS = 64, 1000
_COLUMNS = ("axis", "levels_db", "unit", "times_s", "zone_known", "rbw_hz", "detector", "trace", "source")
Levels = NDArray[np.float32]
Times = NDArray[np.float64]


@dataclass(frozen=True)
class Section:
    """A piece of a series: between two frequencies [Hz] and two times [s since 1970, as ``Series.times_s``].

    ``None``: to the end. A sweep whose time is not known lies in no piece of time.
    """

    low_hz: float | None = None
    high_hz: float | None = None
    from_s: float | None = None
    until_s: float | None = None

    @property
    def has_times(self) -> bool:
        """Whether it is a piece of time."""
        return self.from_s is not None or self.until_s is not None


EVERYTHING = Section()


@dataclass(frozen=True, eq=False)
class Block:
    """Neighbouring sweeps: the number of the first, times [s], shape (sweep,), and levels [dB], shape (sweep, bin)."""

    first: int
    times_s: Times
    levels_db: Levels


def store_series(connection: sqlite3.Connection, series: Series) -> int:
    """Put a series into the file, within the transaction that is open; returns its number. Raises sqlite3.Error."""
    number = begin_series(connection, series)
    for first in range(0, series.n_sweeps, TILE_SWEEPS):
        rows = slice(first, first + TILE_SWEEPS)
        times_s = None if series.times_s is None else series.times_s[rows]
        store_fold(connection, number, first, series.levels_db[rows], times_s)
    return number


def begin_series(connection: sqlite3.Connection, like: Series, number: int | None = None) -> int:
    """Enter a series without any sweep, otherwise as ``like``; returns its number, which may be asked for.

    Raises sqlite3.Error.
    """
    detector = None if like.detector is None else str(like.detector)
    cursor = connection.execute(
        "INSERT INTO series (id, axis, unit, is_timed, zone_known, rbw_hz, detector, trace, source, said)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            number,
            _axis_number(connection, like.axis),
            str(like.unit),
            like.times_s is not None,
            like.zone_known,
            None if like.rbw_hz is None else float(like.rbw_hz),
            detector,
            like.trace,
            like.source,
            written({field.name: image_of(getattr(like, field.name)) for field in _without_column()}),
        ),
    )
    return int(cursor.lastrowid or 0)


def head_of(connection: sqlite3.Connection, number: int, path: Path) -> Series:
    """A series without its sweeps: shape (0, bin). Raises InputError where it is not in the file."""
    found = connection.execute(
        "SELECT a.start, a.step, a.n, a.points, s.unit, s.is_timed, s.zone_known, s.rbw_hz, s.detector, s.trace,"
        " s.source, s.said FROM series s JOIN axis a ON a.id = s.axis WHERE s.id = ?",
        (number,),
    ).fetchone()
    if found is None:
        raise InputError(f"the sweeps of series {number} are not in the file", path=path, hint=DAMAGED_HINT)
    start, step, n, points, unit, is_timed, zone_known, rbw_hz, detector, trace, source, said = found
    try:
        axis = Axis(Fraction(start), Fraction(step), n, _points(points, n))
        return Series(
            axis=axis,
            levels_db=np.empty((0, n), dtype=np.float32),
            unit=LevelUnit(unit),
            times_s=np.empty(0) if is_timed else None,
            zone_known=bool(zone_known),
            rbw_hz=rbw_hz,
            detector=None if detector is None else Detector(detector),
            trace=trace,
            source=source,
            **fields_from(Series, json.loads(said)),
        )
    except (TypeError, ValueError) as error:
        raise InputError(f"series {number} can't be understood ({error})", path=path, hint=DAMAGED_HINT) from error


def read_series(connection: sqlite3.Connection, number: int, path: Path, section: Section = EVERYTHING) -> Series:
    """A series, or the piece of it that is asked for.

    Raises UsageError where the piece holds no bin, InputError where the file is damaged.
    """
    head = head_of(connection, number, path)
    bins = _bins(head.axis, section)
    if bins.start >= bins.stop:
        low_hz, high_hz = section.low_hz or 0.0, section.high_hz or head.axis.high_hz
        raise UsageError(f"nothing was measured from {format_span_mhz(low_hz, high_hz)}", path=path)
    found = list(blocks(connection, number, path, bins, section))
    levels_db = [block.levels_db for block in found] or [np.empty((0, bins.stop - bins.start), dtype=np.float32)]
    times_s = [block.times_s for block in found] or [np.empty(0)]
    whole = bins.stop - bins.start == head.axis.n
    return replace(
        head,
        axis=head.axis if whole else head.axis.cut(bins),
        levels_db=levels_db[0] if len(levels_db) == 1 else np.concatenate(levels_db),
        times_s=None if head.times_s is None else np.concatenate(times_s),
    )


def blocks(
    connection: sqlite3.Connection, number: int, path: Path, bins: slice, section: Section = EVERYTHING
) -> Iterator[Block]:
    """The sweeps of a series in their order, in blocks that fit in memory, only ``bins`` of them.

    Raises InputError where the file is damaged.
    """
    query = "SELECT id, first, sweeps, times FROM fold WHERE series = ?"
    limits: list[float] = []
    if section.has_times:
        query += " AND until_s >= ? AND from_s <= ?"
        limits = [*_time_limits(section)]
    for fold_number, first, sweeps, times in connection.execute(
        f"{query} ORDER BY first", (number, *limits)
    ).fetchall():
        times_s = _times(times, sweeps)
        kept = _within(times_s, section)
        if kept.any():
            levels_db = _tiles(connection, _Fold(number, fold_number, first, sweeps), bins, path)
            yield Block(first, times_s[kept], levels_db[kept])
    yield from _live_blocks(connection, number, path, bins, section)


def fold(connection: sqlite3.Connection, number: int, path: Path, least: int = 1) -> None:
    """Fold the live sweeps of a series into tiles, where there are ``least`` of them. Raises sqlite3.Error."""
    head = head_of(connection, number, path)
    live = connection.execute("SELECT count(*) FROM sweep WHERE series = ?", (number,)).fetchone()[0]
    if live < least:
        return
    for block in _live_blocks(connection, number, path, slice(0, head.axis.n), EVERYTHING):
        times_s = None if head.times_s is None else block.times_s
        store_fold(connection, number, block.first, block.levels_db, times_s)
    connection.execute("DELETE FROM sweep WHERE series = ?", (number,))


def copy_series(source: sqlite3.Connection, number: int, to: sqlite3.Connection, path: Path) -> int:
    """Copy a series of the file at ``path`` into another file, packed as it is; returns its number there.

    Raises InputError where it is not in its file, and sqlite3.Error.
    """
    copy = begin_series(to, head_of(source, number, path))
    folds = source.execute(f"SELECT id, {_FOLD} FROM fold WHERE series = ? ORDER BY first", (number,))
    for fold_number, *columns in folds.fetchall():
        cursor = to.execute(f"INSERT INTO fold (series, {_FOLD}) VALUES (?, ?, ?, ?, ?, ?)", (copy, *columns))
        tiles = source.execute(f"SELECT {_TILE} FROM tile WHERE fold = ? ORDER BY bin", (fold_number,))
        to.executemany(
            f"INSERT INTO tile (fold, {_TILE}) VALUES (?, ?, ?, ?, ?)", ((cursor.lastrowid, *tile) for tile in tiles)
        )
    live = source.execute(f"SELECT {_SWEEP} FROM sweep WHERE series = ? ORDER BY number", (number,))
    to.executemany(f"INSERT INTO sweep (series, {_SWEEP}) VALUES (?, ?, ?, ?, ?)", ((copy, *row) for row in live))
    return copy


_FOLD = "first, sweeps, from_s, until_s, times"
_TILE = "bin, bins, coding, levels"
_SWEEP = "number, time_s, coding, levels"


def next_sweep(connection: sqlite3.Connection, number: int) -> int:
    """How many sweeps a series has, which is the number of the next one."""
    folded = connection.execute("SELECT max(first + sweeps) FROM fold WHERE series = ?", (number,)).fetchone()[0]
    live = connection.execute("SELECT max(number) + 1 FROM sweep WHERE series = ?", (number,)).fetchone()[0]
    return max(folded or 0, live or 0)


def sweep_at(connection: sqlite3.Connection, number: int, at: int, path: Path) -> tuple[float, Levels]:
    """One sweep of a series by its number: time [s, NaN where unknown] and levels, shape (bin,).

    Raises InputError where it is not there.
    """
    n = head_of(connection, number, path).axis.n
    found = connection.execute(
        "SELECT id, first, sweeps, times FROM fold WHERE series = ? AND first <= ? AND first + sweeps > ?",
        (number, at, at),
    ).fetchone()
    if found is not None:
        fold_number, first, sweeps, times = found
        levels_db = _tiles(connection, _Fold(number, fold_number, first, sweeps), slice(0, n), path)
        return float(_times(times, sweeps)[at - first]), levels_db[at - first]
    query = "SELECT time_s, coding, levels FROM sweep WHERE series = ? AND number = ?"
    live = connection.execute(query, (number, at)).fetchone()
    if live is None:
        raise InputError(f"sweep {at + 1} of series {number} is not in the file", path=path, hint=DAMAGED_HINT)
    time_s, coding, packed = live
    return np.nan if time_s is None else time_s, _decoded(coding, packed, (n,), path, _Fold(number, 0, at, 1))


def time_range(connection: sqlite3.Connection, number: int) -> tuple[float, ...]:
    """The first and the last time [s] of a series; empty where none is known."""
    found = connection.execute(
        "SELECT min(low), max(high) FROM (SELECT from_s AS low, until_s AS high FROM fold WHERE series = ?"
        " UNION ALL SELECT time_s, time_s FROM sweep WHERE series = ?)",
        (number, number),
    ).fetchone()
    return tuple(time_s for time_s in found if time_s is not None)


def store_live(connection: sqlite3.Connection, number: int, at: int, levels_db: Levels, time_s: float) -> None:
    """Put one live sweep into the file as its number ``at``; NaN: its time is not known. Raises sqlite3.Error."""
    connection.execute(
        "INSERT INTO sweep (series, number, time_s, coding, levels) VALUES (?, ?, ?, ?, ?)",
        (number, at, None if np.isnan(time_s) else float(time_s), *encoded(levels_db)),
    )


def _without_column() -> tuple[Field[Any], ...]:
    """What a series says of itself and has no column of its own."""
    return tuple(field for field in fields(Series) if field.name not in _COLUMNS)


@dataclass(frozen=True)
class _Fold:
    series: int
    number: int
    first: int
    sweeps: int


def store_fold(
    connection: sqlite3.Connection, series: int, first: int, levels_db: Levels, times_s: Times | None
) -> None:
    """Put neighbouring sweeps into the file as tiles, the first of them as number ``first``. Raises sqlite3.Error."""
    known = np.empty(0) if times_s is None else times_s[~np.isnan(times_s)]
    cursor = connection.execute(
        "INSERT INTO fold (series, first, sweeps, from_s, until_s, times) VALUES (?, ?, ?, ?, ?, ?)",
        (
            series,
            first,
            levels_db.shape[0],
            float(known.min()) if known.size else None,
            float(known.max()) if known.size else None,
            None if times_s is None else np.ascontiguousarray(times_s, dtype="<f8").tobytes(),
        ),
    )
    connection.executemany(
        "INSERT INTO tile (fold, bin, bins, coding, levels) VALUES (?, ?, ?, ?, ?)",
        (
            (cursor.lastrowid, start, part.shape[1], *encoded(part))
            for start in range(0, levels_db.shape[1], TILE_BINS)
            for part in [levels_db[:, start : start + TILE_BINS]]
        ),
    )


def _tiles(connection: sqlite3.Connection, fold: _Fold, bins: slice, path: Path) -> Levels:
    """The levels of a fold, of these bins only."""
    levels_db = np.empty((fold.sweeps, bins.stop - bins.start), dtype=np.float32)
    found = connection.execute(
        "SELECT bin, bins, coding, levels FROM tile WHERE fold = ? AND bin < ? AND bin + bins > ? ORDER BY bin",
        (fold.number, bins.stop, bins.start),
    )
    filled = bins.start
    for start, width, coding, packed in found:
        tile = _decoded(coding, packed, (fold.sweeps, width), path, fold)
        low, high = max(start, bins.start), min(start + width, bins.stop)
        levels_db[:, low - bins.start : high - bins.start] = tile[:, low - start : high - start]
        filled = high if low <= filled else filled
    if filled < bins.stop:
        last = fold.first + fold.sweeps
        what = f"the sweeps {fold.first + 1} to {last} of series {fold.series} are not whole"
        raise InputError(what, path=path, hint=DAMAGED_HINT)
    return levels_db


def _live_blocks(
    connection: sqlite3.Connection, number: int, path: Path, bins: slice, section: Section
) -> Iterator[Block]:
    n = head_of(connection, number, path).axis.n
    rows = connection.execute(
        "SELECT number, time_s, coding, levels FROM sweep WHERE series = ? ORDER BY number", (number,)
    ).fetchall()
    times_s = np.array([np.nan if time_s is None else time_s for _, time_s, _, _ in rows], dtype=np.float64)
    kept = np.flatnonzero(_within(times_s, section))
    for start in range(0, kept.size, TILE_SWEEPS):
        chosen = kept[start : start + TILE_SWEEPS]
        levels_db = np.empty((chosen.size, bins.stop - bins.start), dtype=np.float32)
        for row, index in enumerate(chosen.tolist()):
            at, _, coding, packed = rows[index]
            levels_db[row] = _decoded(coding, packed, (n,), path, _Fold(number, 0, at, 1))[bins]
        yield Block(int(rows[int(chosen[0])][0]), times_s[chosen], levels_db)


def _decoded(coding: str, packed: bytes, shape: tuple[int, ...], path: Path, fold: _Fold) -> Levels:
    try:
        return decoded(coding, packed, shape)
    except DamagedLevelsError as error:
        what = f"the sweeps from {fold.first + 1} on of series {fold.series} are damaged ({error})"
        raise InputError(what, path=path, hint=DAMAGED_HINT) from error


def _axis_number(connection: sqlite3.Connection, axis: Axis) -> int:
    """The number of this axis in the file; one that is there already is used again."""
    points = None if axis.points_hz is None else np.ascontiguousarray(axis.points_hz, dtype="<i8").tobytes()
    values: tuple[Any, ...] = (str(axis.start_hz), str(axis.step_hz), axis.n, points)
    found = connection.execute(
        "SELECT id FROM axis WHERE start = ? AND step = ? AND n = ? AND points IS ?", values
    ).fetchone()
    if found is not None:
        return int(found[0])
    cursor = connection.execute("INSERT INTO axis (start, step, n, points) VALUES (?, ?, ?, ?)", values)
    return int(cursor.lastrowid or 0)


def _points(raw: bytes | None, n: int) -> NDArray[np.int64] | None:
    if raw is None:
        return None
    points_hz = np.frombuffer(raw, dtype="<i8").astype(np.int64)
    if points_hz.size != n or bool(np.any(np.diff(points_hz) <= 0)):
        raise ValueError("the frequencies of its axis do not rise")
    points_hz.flags.writeable = False
    return points_hz


def _times(raw: bytes | None, sweeps: int) -> Times:
    return np.full(sweeps, np.nan) if raw is None else np.frombuffer(raw, dtype="<f8").astype(np.float64)


def _bins(axis: Axis, section: Section) -> slice:
    if section.low_hz is None and section.high_hz is None:
        return slice(0, axis.n)
    low_hz = axis.low_hz if section.low_hz is None else section.low_hz
    high_hz = axis.high_hz if section.high_hz is None else section.high_hz
    return axis.bins_touching(low_hz, high_hz)


def _time_limits(section: Section) -> tuple[float, float]:
    return (
        -np.inf if section.from_s is None else section.from_s,
        np.inf if section.until_s is None else section.until_s,
    )


def _within(times_s: Times, section: Section) -> NDArray[np.bool_]:
    """Which sweeps lie in the piece of time."""
    if not section.has_times:
        return np.ones(times_s.size, dtype=np.bool_)
    from_s, until_s = _time_limits(section)
    return np.asarray((times_s >= from_s) & (times_s <= until_s))
