"""Sweeps that were read once more before the instrument took the next: they count once.

A logger that asks faster than the instrument sweeps writes the same trace several times, or one that is half new (see
``read_midway``). That is no second look at the air, and taken for one it makes peaks of noise that stay and a floor
that is surer than it is. Levels count as read again where they equal those of the row before, or of one of the two
before that (a logger with several buffers), to the last digit, and equal levels can be no chance: where levels are so
coarse, so steady or so few that two looks may well be equal, nothing is left out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.read_midway import FEWEST_LEVELS, Stretch, equal_levels, find_stretches, put_together
from fallow.spectrum.found.stacking import all_timed
from fallow.spectrum.sweep import Series

__all__ = ["read_again", "without_read_again"]

LARGEST_CHANCE = 1e-9  # that two looks are equal in all levels
GLANCE_LEVELS = 64  # of two sweeps; most pairs differ there already
MOST_PAIRS = 200  # of sweeps that differ; enough to tell how often levels are equal
MOST_BUFFERS = 3
MOST_LEVELS = 20_000_000  # of files with a sweep each that are looked at together, 80 MB
STEADY = 0.5  # of the sweeps that differ: where more are equal in part to the one before, levels don't change by noise
Levels = NDArray[np.float32]


def without_read_again(groups: Sequence[Sequence[Series]]) -> tuple[list[list[Series]], tuple[str, ...]]:
    """Series of one kind together (see ``stacking``), without levels that were only read again, the first reading kept
    with its time; and notes for people on how many there were. A sweep that was read in stretches has the time of the
    first. Where each series is one sweep (a file for each), they are looked at as sweeps of one.
    """
    kept: list[list[Series]] = []
    whole: dict[int, int] = {}
    in_part, of_levels = 0, 0.0
    for group in groups:
        alone = _one_of(group) if _one_sweep_each(group) else None
        left = []
        for one in group if alone is None else [alone]:
            again, stretches = _read_again(one.levels_db)
            for rows_before in np.unique(again[again > 0]).tolist():
                whole[rows_before] = whole.get(rows_before, 0) + int(np.count_nonzero(again == rows_before))
            in_part += len(stretches)
            of_levels += sum(row.old_bins(one.axis.n).size for row in stretches.values()) / one.axis.n
            left.append(_without(one, again > 0, stretches) if stretches or again.any() else one)
        kept.append(list(group) if left == [alone] else left)
    total = sum(one.n_sweeps for group in groups for one in group)
    notes = [_told_whole(count, total, before) for before, count in sorted(whole.items())]
    notes += [_told_in_part(in_part, total, of_levels / in_part)] if in_part else []
    return kept, tuple(notes)


def _one_sweep_each(group: Sequence[Series]) -> bool:
    several = len(group) > 1 and all(one.n_sweeps == 1 for one in group)
    return several and sum(one.levels_db.size for one in group) <= MOST_LEVELS


def _one_of(group: Sequence[Series]) -> Series:
    times = [one.times_s for one in group if one.times_s is not None] if all_timed(group) else []
    levels, times_s = np.concatenate([one.levels_db for one in group]), np.concatenate(times) if times else None
    return replace(group[0], levels_db=levels, times_s=times_s, overloaded=any(one.overloaded for one in group))


def read_again(levels_db: Levels) -> NDArray[np.bool_]:
    """Which sweeps only repeat one of the three before them, shape (sweep,); ``levels_db`` has the shape (sweep, bin).

    The chance that two looks are equal is p to the power of the number of levels. For p, the share of levels that are
    equal by chance, stands the larger of two: between neighbouring bins of a repeated sweep, and between sweeps that
    follow each other and differ (their median).
    """
    return _read_again(levels_db)[0] > 0


def _read_again(levels_db: Levels) -> tuple[NDArray[np.int64], dict[int, Stretch]]:
    """How many rows before it each row was read first, 0 where it was not, shape (row,); and what is new in rows that
    repeat the one before them in part, by their number.
    """
    again = np.zeros(levels_db.shape[0], dtype=np.int64)
    if levels_db.shape[0] < 2 or levels_db.shape[1] < FEWEST_LEVELS:
        return again, {}
    for before in range(min(MOST_BUFFERS, levels_db.shape[0] - 1), 0, -1):
        again[_equal_rows(levels_db, before)] = before
    stretches, steady = find_stretches(levels_db)
    if steady > STEADY * np.count_nonzero(again[1:] == 0):
        return np.zeros_like(again), {}
    if not again.any() and not stretches:
        return again, {}
    by_chance = _equal_by_chance(levels_db, np.flatnonzero(again[1:] == 0) + 1, stretches)
    for row in np.flatnonzero(again):
        if not _no_chance(levels_db[row], by_chance):
            again[row] = 0
    bins = levels_db.shape[1]
    told = {row: one for row, one in stretches.items() if _no_chance(levels_db[row][one.old_bins(bins)], by_chance)}
    return again, told


def _equal_rows(levels_db: Levels, before: int) -> list[int]:
    """Rows that equal the one so many rows before them."""
    glance = levels_db[:, :GLANCE_LEVELS]
    alike = equal_levels(glance[before:], glance[:-before]).all(axis=1)
    rows = (np.flatnonzero(alike) + before).tolist()
    return [row for row in rows if equal_levels(levels_db[row], levels_db[row - before]).all()]


def _equal_by_chance(levels_db: Levels, rows: NDArray[np.intp], stretches: Mapping[int, Stretch]) -> float:
    """Share of levels that are equal in two sweeps that differ: the median over sweeps and the ones before them; of
    rows that are new in part, that part counts.
    """
    if rows.size == 0:
        return 0.0
    some = rows[:: math.ceil(rows.size / MOST_PAIRS)].tolist()
    return float(np.median([_equal_share(levels_db, row, stretches) for row in some]))


def _equal_share(levels_db: Levels, row: int, stretches: Mapping[int, Stretch]) -> float:
    if row in stretches:
        return stretches[row].equal_share
    return float(np.mean(levels_db[row] == levels_db[row - 1]))


def _no_chance(levels: Levels, by_chance: float) -> bool:
    """Whether so many levels side by side can't equal others by chance."""
    known = levels[~np.isnan(levels)]
    if known.size < FEWEST_LEVELS:
        return False
    between_bins = float(np.mean(known[1:] == known[:-1]))
    return max(between_bins, by_chance) ** known.size < LARGEST_CHANCE


def _without(series: Series, again: NDArray[np.bool_], stretches: Mapping[int, Stretch]) -> Series:
    if stretches:
        levels, rows = put_together(series.levels_db, again, stretches)
    else:
        levels, rows = series.levels_db[~again], np.flatnonzero(~again)
    return replace(series, levels_db=levels, times_s=None if series.times_s is None else series.times_s[rows])


def _told_whole(count: int, total: int, rows_before: int) -> str:
    shown = "1 sweep equals" if count == 1 else f"{count} of {total} sweeps equal"
    which = "the one before" if rows_before == 1 else f"the one {rows_before} before"
    return f"{shown} {which} to the last digit: the same look at the air, read again, so it counts once"


def _told_in_part(count: int, total: int, share: float) -> str:
    shown = "1 sweep is" if count == 1 else f"{count} of {total} sweeps are"
    return (
        f"{shown} new only in a stretch, and equal the one before to the last digit elsewhere, in {100 * share:.0f} % "
        "of their levels: the trace was read while the instrument drew it, and what was read again counts once"
    )
