"""The shape of a receiver's own filter: levels that fall towards both ends of what one tuning took in.

A cheap receiver that looks at one tuning shows its filter, and noise through it looks like a wide transmission. Where
the levels fall off at both ends of all that was swept, on and on to the very end, rise nowhere on the way, and are flat
between, it may be either. So the shape is taken for the floor, and what stands on it is found; but nothing there is
clean. A transmission ends in a floor, and falls to it by more than a filter's slope.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.running import running_quantile

__all__ = ["filter_shape_db"]

WIDEST_HZ = 4e6  # of one tuning of a cheap receiver: 3.2 million samples a second are usual. Common practice
FEWEST_BINS = 64
SMOOTH_SHARE = 1 / 24  # of the axis, over which the shape is followed
END_SHARE, SIDE_SHARE = 1 / 32, 1 / 4  # of the axis: its very end, and how far in the fall may reach
LEAST_FALL_DB, MOST_FALL_DB = 4.0, 20.0
STILL_FALLING_DB = 0.5  # from each part at an end to the next
MOST_RETURN_DB = 1.5  # on the way down
FLATTEST_DB = 3.5  # between the falls


def filter_shape_db(heard: Heard) -> NDArray[np.float64] | None:
    """The levels as they were followed, dB, shape (bin,), where they look like a filter's; else None."""
    bins, step_hz = heard.axis.n, float(heard.axis.step_hz)
    if bins * step_hz > WIDEST_HZ or bins < FEWEST_BINS or not heard.measured.all():
        return None
    shape = running_quantile(heard.mean_db, max(3, round(SMOOTH_SHARE * bins)), 0.5, hop=1)
    side, end = round(SIDE_SHARE * bins), max(1, round(END_SHARE * bins))
    inner = shape[side:-side]
    flat = float(np.ptp(np.quantile(inner, (0.02, 0.98)))) <= FLATTEST_DB
    top = float(np.median(inner))
    falls = all(_falls(part, top, end) for part in (shape[: side + 1], shape[::-1][: side + 1]))
    return shape if flat and falls else None


def _falls(from_end_db: NDArray[np.float64], top_db: float, end: int) -> bool:
    """Whether levels from an end of the axis inward begin below the top, rise at once, and fall back nowhere."""
    first, second, third = (float(np.median(from_end_db[k * end : (k + 1) * end])) for k in range(3))
    below = LEAST_FALL_DB <= top_db - first <= MOST_FALL_DB
    rises = min(second - first, third - second) >= STILL_FALLING_DB
    return bool(below and rises and (np.maximum.accumulate(from_end_db) - from_end_db).max() <= MOST_RETURN_DB)
