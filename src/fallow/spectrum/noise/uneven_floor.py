"""How uneven a floor is: told by its dips, for what transmits makes none.

A tuner that changes its gain every few megahertz lifts some stretches and lowers as many. A stretch that is higher than
both sides may be a signal; one that is lower than both is the instrument's doing, and the lifted ones are then too.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["unevenness_db"]

STRETCH_HZ = 1.25e6  # whose mean level is held against others
APART_HZ = (2.5e6, 5e6, 10e6)  # to both sides: how wide a tuner's stretches may be; common practice
FEWEST_STRETCHES = 12
DIP_RMS = 0.625  # of max(0, min(A, B) - C) of three standard normal variates, found by simulation
LUCK_SIGMAS = 2.0


def unevenness_db(levels_db: NDArray[np.float64], sigma_db: float, width_hz: float) -> float:
    """Standard deviation of the levels of a floor's stretches, dB, 0 where chance explains it.

    ``levels_db``: of groups of bins side by side, each ``width_hz`` wide and sure to ``sigma_db``, with what is known
    of the floor's shape taken off.
    """
    size = max(1, round(STRETCH_HZ / width_hz))
    count = levels_db.size // size
    if count < FEWEST_STRETCHES:
        return 0.0
    stretches = levels_db[: count * size].reshape(count, size).mean(axis=1)
    return max(
        _from_dips(stretches, round(apart / (size * width_hz)), sigma_db / math.sqrt(size)) for apart in APART_HZ
    )


def _from_dips(stretches_db: NDArray[np.float64], apart: int, sigma_db: float) -> float:
    apart = max(1, apart)
    if stretches_db.size <= FEWEST_STRETCHES + 2 * apart:
        return 0.0
    lower_side = np.minimum(stretches_db[: -2 * apart], stretches_db[2 * apart :])
    dips = np.maximum(0.0, lower_side - stretches_db[apart:-apart])
    seen = float(np.mean(np.square(dips))) / DIP_RMS**2
    by_luck = sigma_db**2 * (1.0 + LUCK_SIGMAS * math.sqrt(8.0 / dips.size))
    return math.sqrt(max(0.0, seen - by_luck))
