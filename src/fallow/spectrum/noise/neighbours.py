"""Neighbouring readings that say the same: over how many bins noise is alike, told by the data.

Where a resolution bandwidth is several steps wide and nobody states it, neighbours of noise move together. To take them
for independent makes noise look narrower than it is along frequency, and a wide place of it rarer.

Weak carriers of several bins make neighbours alike, too, and where they stand close none of them can be left out one by
one. But they fill the dips of noise, and make none: only where low readings come together as well is it noise.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.scatter import find_residuals, level_step_db, readings_alike, some_rows

__all__ = ["alike_bins"]

AGREED = 1.2  # times what was assumed: what is found then is the same
LEAST_BINS = 1.25  # less is luck
ROUNDS = 5
NEAR_SIGMAS = 3.0  # readings farther out are not asked: senders are wide, too
MOST_READINGS = 60_000
LOW_SHARE = 0.25  # of the readings that are low
LOW_TOGETHER = 1.3  # times as often as by chance; a resolution of two steps makes it 1.6
LOW_THOUGH_STATED = 1.45  # the same against what is stated: 330 carriers of four bins in 4,000 reach 1.44
BY_LUCK_SIGMAS = 3.0


def alike_bins(levels: Levels, rbw_bins: float, *, stated: bool = False) -> float:
    """Over how many bins noise in levels of shape (sweep, bin) says one thing; ``rbw_bins``, the resolution bandwidth
    in bins, at least. ``stated``: by the source, so that more takes clearer proof.

    What is left without the floor depends on which neighbours are taken for independent: so it is asked again with what
    was found, until both agree.
    """
    rows = some_rows(levels)
    rows = rows[: max(1, MOST_READINGS // rows.shape[1])]
    step_db = level_step_db(rows)
    assumed = seen = max(1.0, rbw_bins)
    for _ in range(ROUNDS):
        found = find_residuals(rows, assumed, step_db, NEAR_SIGMAS, NEAR_SIGMAS)
        if found is None:
            break
        if assumed == max(1.0, rbw_bins) and not _low_together(found[0], round(assumed), stated=stated):
            break
        seen = readings_alike(found[0])
        if seen <= AGREED * assumed:
            break
        assumed = seen
    return max(rbw_bins, seen if seen >= LEAST_BINS else 1.0)


def _low_together(left_db: NDArray[np.float64], lag: int, *, stated: bool) -> bool:
    """Whether low residuals of shape (sweep, bin) stand so many bins apart more often than by chance (binomial)."""
    known = np.isfinite(left_db)
    pairs = int((known[:, lag:] & known[:, :-lag]).sum())
    if pairs == 0:
        return False
    low = known & (left_db < np.quantile(left_db[known], LOW_SHARE))
    times = float((low[:, lag:] & low[:, :-lag]).sum()) / pairs / LOW_SHARE**2
    least = LOW_THOUGH_STATED if stated else LOW_TOGETHER
    return times > max(least, 1.0 + BY_LUCK_SIGMAS / (LOW_SHARE * math.sqrt(pairs)))
