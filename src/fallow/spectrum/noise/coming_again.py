"""High readings that come again in their own bins: what sends does so, noise rises anywhere.

A heavy end of noise and many short bursts look the same as long as only heights are counted. Over the sweeps they
differ: independent readings pass a level in any bin, as often as chance has it (binomial), while what sends passes it
again where it did before, or side by side where it is wider than the resolution.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["alone", "without_coming_again"]

Values = NDArray[np.float64]
SHARES = (0.05, 0.02, 0.005, 0.002)  # of all readings that lie beyond the levels that are looked at
BY_LUCK = 1e-3  # chance that a bin of noise passes so often
ROUNDS = 4  # of leaving out, each of which uncovers more
OF_NOISE = 0.5  # of the bins left out for several high readings: to lose some noise costs little
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


def alone(high: NDArray[np.bool_], known: NDArray[np.bool_], apart: int) -> NDArray[np.bool_]:
    """High readings of shape (sweep, bin), among those ``known``, that do not come again in their bin by more than
    chance, nor have a high one side by side. ``apart``: bins from which on neighbours are independent.
    """
    beside = np.zeros(high.shape, dtype=bool)
    for lag in (lag * apart for lag in range(1, BESIDE + 1) if lag * apart < high.shape[1]):
        pairs = high[:, lag:] & high[:, :-lag]
        beside[:, lag:] |= pairs
        beside[:, :-lag] |= pairs
    return np.asarray(high & ~beside & ~_gathered(high, known))


def _gathered(high: NDArray[np.bool_], known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Bins of shape (sweep, bin) with several high readings, as many such bins as are more than chance makes; a share
    ``OF_NOISE`` of them may be by chance. Source: Benjamini and Hochberg, J. Roy. Stat. Soc. B 57 (1995) 289-300.
    """
    from scipy import special  # heavy, so only where it is used

    count = high.sum(axis=0)
    share = float(count.sum()) / max(1, int(known.sum()))
    chance = np.where(count > 1, special.bdtrc(count - 1.0, known.sum(axis=0), share), 1.0)
    rising = np.sort(chance)
    found = rising <= np.arange(1, rising.size + 1) / rising.size * OF_NOISE
    return np.asarray(chance <= rising[found][-1]) if found.any() else np.zeros(count.shape, dtype=bool)
