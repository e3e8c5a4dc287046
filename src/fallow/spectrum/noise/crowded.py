"""Which bins hold senders where most of a band does, so that its middle is no floor.

The floor is followed by medians, which hold as long as less than half of the bins hold something. Where more do, the
middle is a sender's level. That shows: noise lies close around its own middle, senders of many levels do not. There the
floor is looked for among the lowest levels, and what stands higher above them than any floor rises is left out of the
medians. Lower levels are no proof where the levels are even: an instrument may hear less at the rims of its tunings.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.running import running_quantile, within
from fallow.spectrum.statistics import DB_PER_NEPER_OF_POWER, noise_quantile_db

__all__ = ["HIGHEST_RISE_DB", "senders_in_crowds"]

HIGHEST_RISE_DB = (
    15.0  # common practice: wall, lights and neighbours lift a floor by 3 to 15 dB; what is more is a signal
)
AROUND_HZ = 4e6  # over which levels are asked how far they lie from their middle
LOWEST_AROUND_HZ = 16e6  # over which the lowest levels are looked for
FEWEST_AROUND = 100  # bins
MISFIT_SCATTERS = 2.0  # of noise, from the middle: noise lies there by 0.67 standard deviations
LEAST_MISFIT_DB = 3.0  # a floor that ripples or steps by two decibels misses its middle by less
NORMAL_MAD = 0.6745
LOW_SHARE = 0.1  # of the levels: a band that is four fifths full has as much floor again
FULL_SHARE = 0.5  # of a crowded band, at least, that holds senders
BEYOND_NOISE = 1e-3  # chance that a bin of noise is taken for a sender's
ROUNDS = 3
Values = NDArray[np.float64]


def senders_in_crowds(heard: Heard, middle_db: Values) -> NDArray[np.bool_]:
    """Bins that are no floor where most are none, shape (bin,). ``middle_db``: the middle of the levels as it was
    followed, shape (bin,), NaN in blocks.
    """
    crowded = _crowded(heard, middle_db)
    senders = np.zeros(heard.axis.n, dtype=bool)
    if not crowded.any():
        return senders
    shape = heard.noise.shape * heard.looks
    above_db = HIGHEST_RISE_DB + float(noise_quantile_db(1.0 - BEYOND_NOISE, shape))
    below_db = float(noise_quantile_db(LOW_SHARE / FULL_SHARE, shape))
    for _ in range(ROUNDS):
        left = np.where(senders, np.nan, heard.mean_db)
        lowest = running_quantile(left, _bins(heard, LOWEST_AROUND_HZ), LOW_SHARE) - below_db
        senders = crowded & (np.nan_to_num(heard.mean_db, nan=-np.inf) > lowest + above_db)
    return senders


def _crowded(heard: Heard, middle_db: Values) -> NDArray[np.bool_]:
    """Where levels lie farther from their middle than noise does."""
    noise_db = DB_PER_NEPER_OF_POWER / math.sqrt(heard.noise.shape * heard.looks)
    misfit = running_quantile(np.abs(heard.mean_db - middle_db), _bins(heard, AROUND_HZ), 0.5)
    crowded = np.asarray(misfit > max(LEAST_MISFIT_DB, MISFIT_SCATTERS * NORMAL_MAD * noise_db))
    around = min(crowded.size, _bins(heard, LOWEST_AROUND_HZ))  # neighbours of one level are as full as the rest
    return np.asarray(crowded | (within(crowded[None, :], around)[0] > FULL_SHARE * around))


def _bins(heard: Heard, width_hz: float) -> int:
    return max(FEWEST_AROUND, round(width_hz / float(heard.axis.step_hz)))
