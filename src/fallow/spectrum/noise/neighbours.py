"""Neighbouring readings that say the same: over how many bins noise is alike, told by the data.

Where a resolution bandwidth is several steps wide and nobody states it, neighbours of noise move together. To take them
for independent makes noise look narrower than it is along frequency, and a wide place of it rarer.
"""

from __future__ import annotations

from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.scatter import find_residuals, level_step_db, readings_alike, some_rows

__all__ = ["alike_bins"]

AGREED = 1.2  # times what was assumed: what is found then is the same
LEAST_BINS = 1.25  # less is luck
ROUNDS = 5
NEAR_SIGMAS = 3.0  # readings farther out are not asked: senders are wide, too
MOST_READINGS = 60_000


def alike_bins(levels: Levels, rbw_bins: float) -> float:
    """Over how many bins noise in levels of shape (sweep, bin) says one thing; ``rbw_bins``, the resolution bandwidth
    in bins, at least.

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
        seen = readings_alike(found[0])
        if seen <= AGREED * assumed:
            break
        assumed = seen
    return max(rbw_bins, seen if seen >= LEAST_BINS else 1.0)
