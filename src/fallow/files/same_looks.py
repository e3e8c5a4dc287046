"""Sweeps that several files hold: logs that overlap, or one sweep saved in two formats. Each look counts once.

Two sweeps are one look where axis, time and levels agree to the digits of the coarser one, and where so many agreeing
levels can be no chance. The file that says more of its sweeps (scale, resolution, times, digits) keeps them; a time
that one of the two does not tell speaks against nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.files.readings import FileReading
from fallow.spectrum.sweep import LevelUnit, Series

__all__ = ["looks_once", "looks_shared"]

FEWEST_LEVELS = 50
LARGEST_CHANCE = 1e-9  # that two looks agree in all levels, as for sweeps that are read again
GLANCE = 32  # levels that are compared first
MOST_IN_DIGITS = 4_000  # sweeps on one grid among which agreement within digits is sought; beyond, equality
STEPS_DB = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.01, 0.001)
SAMPLE = 4_000  # levels that tell the step of a series
ROUNDING_DB = 2e-3  # of single precision and of what a print adds
ROUNDED_S = 1.0  # of times: some formats write whole seconds
ZONE_S = 900.0  # offsets of zones are multiples of a quarter of an hour
AXIS_SHARE = 0.05  # of a step by which written frequencies may be rounded
MOST_NOTES = 6
MISSING_DB = -1e4
Levels = NDArray[np.float32]


def looks_once(readings: Sequence[FileReading]) -> tuple[tuple[FileReading, ...], tuple[str, ...]]:
    """The readings without sweeps that another of them holds, those that have none left taken out; notes for people."""
    if len(readings) < 2:
        return tuple(readings), ()
    parts = [_Part(file, series) for file, reading in enumerate(readings) for series in reading.series]
    again, whose = _held_elsewhere(sorted(parts, key=lambda part: part.says, reverse=True))
    if not again:
        return tuple(readings), ()
    kept = []
    for file, reading in enumerate(readings):
        rest = (_without(part.series, again.get(id(part))) for part in parts if part.file == file)
        series = tuple(one for one in rest if one.n_sweeps)
        if series:
            kept.append(replace(reading, series=series))
    return tuple(kept), tuple(_notes(readings, parts, whose))


def looks_shared(one: Series, other: Series) -> int:
    """How many sweeps of a series are looks that another one holds, too."""
    first, second = _Part(0, other), _Part(1, one)
    again, _ = _held_elsewhere([first, second])
    return int(np.count_nonzero(again.get(id(second), ())))


@dataclass(frozen=True, eq=False)
class _Part:
    """A series of a file, the number of which is told."""

    file: int
    series: Series

    @cached_property
    def step_db(self) -> float:
        """What its levels are multiples of; 0 for none of the usual steps."""
        rows = self.series.levels_db[: max(1, SAMPLE // self.series.axis.n)].astype(np.float64).ravel()
        known = rows[np.isfinite(rows)]
        fits = (step for step in STEPS_DB if known.size and np.abs(known / step - np.round(known / step)).max() < 0.02)
        return next(fits, 0.0)

    @property
    def says(self) -> tuple[int, float, int]:
        """How much is told of the sweeps: more of it is better."""
        one = self.series
        told = (one.unit is LevelUnit.DBM) * 4 + (one.rbw_hz is not None) * 2 + (one.detector is not None)
        return told + (one.times_s is not None) * 2 + one.zone_known, -self.step_db, one.n_sweeps

    def glance(self) -> Levels:
        """Some levels of each sweep, shape (sweep, level)."""
        return np.nan_to_num(self.series.levels_db[:, :GLANCE], nan=MISSING_DB)

    def time_s(self, row: int) -> float:
        """Start of a sweep in seconds; NaN where it is not told."""
        return float("nan") if self.series.times_s is None else float(self.series.times_s[row])


def _held_elsewhere(parts: Sequence[_Part]) -> tuple[dict[int, NDArray[np.bool_]], Counter[tuple[int, int]]]:
    """For each part (by ``id``) that has any: which of its sweeps an earlier part holds; and how many of which file
    stand in which other.
    """
    groups: dict[Hashable, list[_Part]] = {}
    for part in parts:
        groups.setdefault(part.series.axis.n, []).append(part)
    again: dict[int, NDArray[np.bool_]] = {}
    whose: Counter[tuple[int, int]] = Counter()
    for group in groups.values():
        if len({part.file for part in group}) < 2 or group[0].series.axis.n < FEWEST_LEVELS:
            continue
        for (one, row), (other, other_row) in _candidates(group):
            mine = again.get(id(one))
            taken = (mine is not None and mine[row]) or (id(other) in again and again[id(other)][other_row])
            if not taken and one.file != other.file and _one_look(one, row, other, other_row):
                again.setdefault(id(one), np.zeros(one.series.n_sweeps, dtype=np.bool_))[row] = True
                whose[one.file, other.file] += 1
    return again, whose


def _candidates(group: Sequence[_Part]) -> Iterator[tuple[tuple[_Part, int], tuple[_Part, int]]]:
    """Sweeps, each with an earlier one that looks alike at a glance."""
    rows = [(part, row) for part in group for row in range(part.series.n_sweeps)]
    glances = np.concatenate([part.glance() for part in group])
    if len(rows) > MOST_IN_DIGITS:
        seen: dict[bytes, list[int]] = {}
        for index, glance in enumerate(glances):
            alike = seen.setdefault(glance.tobytes(), [])
            yield from ((rows[index], rows[earlier]) for earlier in alike[-4:])
            alike.append(index)
        return
    step_db = np.concatenate([np.full(part.series.n_sweeps, part.step_db, dtype=np.float32) for part in group])
    for index in range(1, len(rows)):
        within = np.maximum(step_db[:index], step_db[index]) / 2 + ROUNDING_DB
        alike_rows = (np.abs(glances[:index] - glances[index]) <= within[:, None]).all(axis=1)
        yield from ((rows[index], rows[int(earlier)]) for earlier in np.flatnonzero(alike_rows))


def _one_look(one: _Part, row: int, other: _Part, other_row: int) -> bool:
    if not (_comparable(one.series, other.series) and _times_agree(one, row, other, other_row)):
        return False
    within = max(one.step_db, other.step_db) / 2 + ROUNDING_DB
    mine, theirs = one.series.levels_db[row], other.series.levels_db[other_row]
    if not _agree(mine, theirs, within).all():
        return False
    known = mine[np.isfinite(mine)]
    if known.size < FEWEST_LEVELS:
        return False
    beside = [
        other.series.levels_db[place] for place in (other_row - 1, other_row + 1) if 0 <= place < other.series.n_sweeps
    ]
    by_chance = [float(_agree(mine, sweep, within).mean()) for sweep in beside]
    by_chance = [share for share in by_chance if share < 1.0]  # equal sweeps were only read again
    between_bins = float(_agree(known[1:], known[:-1], within).mean())
    return bool(max([between_bins, *by_chance]) ** known.size < LARGEST_CHANCE)


def _agree(one: Levels, other: Levels, within_db: float) -> NDArray[np.bool_]:
    return np.asarray((np.abs(one - other) <= within_db) | (np.isnan(one) & np.isnan(other)))


def _comparable(one: Series, other: Series) -> bool:
    """Whether nothing that is told of two series speaks against one look: another grid, trace, detector or unit."""
    told = ((one.trace, other.trace), (one.instrument, other.instrument), (one.detector, other.detector))
    if any(mine and theirs and mine != theirs for mine, theirs in told):
        return False
    if one.rbw_hz is not None and other.rbw_hz is not None and one.rbw_hz != other.rbw_hz:
        return False
    if one.axis == other.axis:
        return True
    apart = np.abs(one.axis.centres_hz - other.axis.centres_hz).max()
    return bool(apart <= AXIS_SHARE * float(min(one.axis.step_hz, other.axis.step_hz)))


def _times_agree(one: _Part, row: int, other: _Part, other_row: int) -> bool:
    apart = one.time_s(row) - other.time_s(other_row)
    if np.isnan(apart):
        return True
    if one.series.zone_known != other.series.zone_known:
        apart -= ZONE_S * round(apart / ZONE_S)
    return abs(apart) <= ROUNDED_S


def _without(series: Series, again: NDArray[np.bool_] | None) -> Series:
    if again is None:
        return series
    left = np.flatnonzero(~again)
    in_one = left.size and left[-1] - left[0] + 1 == left.size  # a slice copies nothing
    kept = slice(int(left[0]), int(left[-1]) + 1) if in_one else left
    times_s = None if series.times_s is None else series.times_s[kept]
    return replace(series, levels_db=series.levels_db[kept], times_s=times_s)


def _notes(readings: Sequence[FileReading], parts: Sequence[_Part], whose: Counter[tuple[int, int]]) -> Iterator[str]:
    for (file, other), count in sorted(whose.items())[:MOST_NOTES]:
        total = sum(part.series.n_sweeps for part in parts if part.file == file)
        which = f"{count} of {total} sweeps are" if total > 1 else "its sweep is"
        yield f"{readings[file].path}: {which} in {readings[other].path} too, the same look: counted once"
    if len(whose) > MOST_NOTES:
        yield f"and {len(whose) - MOST_NOTES} more files hold sweeps that others hold: counted once"
