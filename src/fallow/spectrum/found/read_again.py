"""Sweeps that were read once more before the instrument took the next: they count once.

A logger that asks faster than the instrument sweeps writes the same trace several times. That is no second look at the
air, and taken for one it makes peaks of noise that stay and a floor that is surer than it is. A sweep counts as read
again where it equals the one before it to the last digit, and equal levels can be no chance: where levels are so
coarse, so steady or so few that two looks may well be equal, nothing is left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.sweep import Series

__all__ = ["read_again", "without_read_again"]

FEWEST_LEVELS = 50
LARGEST_CHANCE = 1e-9  # that two looks are equal in all levels
GLANCE_LEVELS = 64  # of two sweeps; most pairs differ there already
MOST_PAIRS = 200  # of sweeps that differ; enough to tell how often levels are equal
Levels = NDArray[np.float32]


def without_read_again(series: Sequence[Series]) -> tuple[tuple[Series, ...], tuple[str, ...]]:
    """The series without sweeps that were only read again, the first reading kept with its time; and a note for people
    on how many there were.
    """
    kept: list[Series] = []
    left_out = 0
    for one in series:
        again = read_again(one.levels_db)
        left_out += int(np.count_nonzero(again))
        kept.append(_without(one, again) if again.any() else one)
    if not left_out:
        return tuple(kept), ()
    total = sum(one.n_sweeps for one in series)
    shown = "1 sweep equals" if left_out == 1 else f"{left_out} of {total} sweeps equal"
    return tuple(kept), (
        f"{shown} the one before to the last digit: the same look at the air, read again, so it counts once",
    )


def read_again(levels_db: Levels) -> NDArray[np.bool_]:
    """Which sweeps only repeat the one before them, shape (sweep,); ``levels_db`` has the shape (sweep, bin).

    The chance that two looks are equal is p to the power of the number of levels. For p, the share of levels that are
    equal by chance, stands the larger of two: between neighbouring bins of a repeated sweep, and between sweeps that
    follow each other and differ (their median).
    """
    again = np.zeros(levels_db.shape[0], dtype=np.bool_)
    if levels_db.shape[0] < 2 or levels_db.shape[1] < FEWEST_LEVELS:
        return again
    glance = levels_db[:, :GLANCE_LEVELS]
    alike = _equal(glance[1:], glance[:-1]).all(axis=1)
    for row in np.flatnonzero(alike) + 1:
        again[row] = bool(_equal(levels_db[row], levels_db[row - 1]).all())
    if not again.any():
        return again
    between_sweeps = _equal_between_sweeps(levels_db, np.flatnonzero(~again[1:]) + 1)
    for row in np.flatnonzero(again):
        known = levels_db[row][~np.isnan(levels_db[row])]
        again[row] = known.size >= FEWEST_LEVELS and _chance(known, between_sweeps) < LARGEST_CHANCE
    return again


def _equal(one: Levels, other: Levels) -> NDArray[np.bool_]:
    return np.asarray((one == other) | (np.isnan(one) & np.isnan(other)))


def _equal_between_sweeps(levels_db: Levels, rows: NDArray[np.intp]) -> float:
    """Share of levels that are equal in two sweeps that differ: the median over sweeps and the ones before them."""
    if rows.size == 0:
        return 0.0
    some = rows[:: math.ceil(rows.size / MOST_PAIRS)]
    return float(np.median([np.mean(levels_db[row] == levels_db[row - 1]) for row in some]))


def _chance(known: Levels, between_sweeps: float) -> float:
    between_bins = float(np.mean(known[1:] == known[:-1]))
    return max(between_bins, between_sweeps) ** known.size


def _without(series: Series, again: NDArray[np.bool_]) -> Series:
    times_s = None if series.times_s is None else series.times_s[~again]
    return replace(series, levels_db=series.levels_db[~again], times_s=times_s)
