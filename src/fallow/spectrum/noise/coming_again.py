"""High readings that come again in their own bins: what sends does so, noise rises anywhere.

A heavy end of noise and many short bursts look the same as long as only heights are counted. Over the sweeps they
differ: independent readings pass a level in any bin, as often as chance has it (binomial), while what sends passes it
again where it did before, or side by side where it is wider than the resolution.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["coming_again", "without_coming_again"]

Values = NDArray[np.float64]
SHARES = (0.05, 0.02, 0.005, 0.002)  # of all readings that lie beyond the levels that are looked at
BY_LUCK = 1e-3  # chance that a bin of noise passes so often
ROUNDS = 4  # of leaving out, each of which uncovers more
GATHERED_SHARE = 0.005  # of all readings, whose pairs are counted
GATHERED_SIGMAS = 3.0
BESIDE = 3  # independent neighbours to one side


def without_coming_again(left_db: Values) -> Values:
    """Residuals of shape (sweep, bin) with NaN in the bins where high ones come again by more than chance."""
    if left_db.shape[0] < 2:
        return left_db
    for _ in range(ROUNDS):
        again = np.zeros(left_db.shape[1], dtype=bool)
        for share in SHARES:
            again |= _too_often(left_db, share)
        if not again.any():
            break
        left_db = np.where(again, np.nan, left_db)
    return left_db


def _too_often(left_db: Values, share: float) -> NDArray[np.bool_]:
    """Bins with more readings among the highest share of all than a bin of noise has but with ``BY_LUCK``."""
    from scipy import special  # heavy, so only where it is used

    known = np.isfinite(left_db)
    if not known.any():
        return np.zeros(left_db.shape[1], dtype=bool)
    high = known & (left_db > np.quantile(left_db[known], 1.0 - share))
    count = high.sum(axis=0)
    return np.asarray((count > 1) & (special.bdtrc(count - 1.0, known.sum(axis=0), share) < BY_LUCK))


def coming_again(left_db: Values, apart: int) -> bool:
    """Whether the highest readings of shape (sweep, bin) gather in some bins, or side by side in some sweeps, by more
    than chance. ``apart``: bins from which on neighbours are independent.

    Pairs of them are counted against those that independent readings make (Poisson distributed).
    """
    known = np.isfinite(left_db)
    if not known.any():
        return False
    high = known & (left_db > np.quantile(left_db[known], 1.0 - GATHERED_SHARE))
    share = float(high.sum() / known.sum())
    tried, count = known.sum(axis=0).astype(np.float64), high.sum(axis=0).astype(np.float64)
    over_time = _too_many(_pairs(count), _pairs(tried) * share**2)
    lags = [lag * apart for lag in range(1, BESIDE + 1) if lag * apart < left_db.shape[1]]
    beside = float(sum((high[:, lag:] & high[:, :-lag]).sum() for lag in lags))
    of = float(sum((known[:, lag:] & known[:, :-lag]).sum() for lag in lags))
    return over_time or _too_many(beside, of * share**2)


def _pairs(count: Values) -> float:
    return float((count * (count - 1.0)).sum()) / 2.0


def _too_many(seen: float, expected: float) -> bool:
    return seen > expected + GATHERED_SIGMAS * math.sqrt(max(1.0, expected))
