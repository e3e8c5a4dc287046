"""What chance alone does when two surveys of the same air are compared: ratios of noise powers, shares, small samples.

Levels are decibels; ``samples`` are independent exponential powers behind a mean (the shape of its gamma distribution).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.statistics import DB_PER_NEPER_OF_POWER

__all__ = ["fisher_mid_p", "lowest_mean", "mean_u_db", "ratio_quantile_db", "ratio_u_db", "student_factor"]

QUADRATURE = 2000  # points of the midpoint rule


def ratio_quantile_db(upper_tail: float, above: NDArray[np.float64], below: NDArray[np.float64]) -> NDArray[np.float64]:
    """Level that the ratio of two means of the same noise exceeds with probability ``upper_tail``, dB.

    ``above``, ``below``: samples behind the mean on top and the one below it, shapes broadcast. Source: G1/(G1+G2) of
    two gamma variates is beta distributed, so their ratio is an F variate (Johnson, Kotz, Balakrishnan, Continuous
    Univariate Distributions 2, ch. 27; from memory, tested against Monte Carlo).
    """
    from scipy import special  # heavy, so only where it is used

    above, below = np.broadcast_arrays(np.asarray(above, dtype=np.float64), np.asarray(below, dtype=np.float64))
    flat = np.stack([above.ravel(), below.ravel()]).round(3)  # sums of the same samples differ in the last digits
    if flat.shape[1] and not np.ptp(flat, axis=1).any():
        couples, places = flat[:, :1], np.zeros(flat.shape[1], dtype=np.intp)
    else:
        couples, places = np.unique(flat, axis=1, return_inverse=True)
    share_below = np.maximum(special.betaincinv(couples[1], couples[0], upper_tail), 1e-300)
    ratio_db = 10.0 * np.log10((1.0 - share_below) / share_below * couples[1] / couples[0])
    return np.asarray(ratio_db[places.ravel()].reshape(above.shape), dtype=np.float64)


def ratio_u_db(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard deviation of the ratio of two means of noise in dB: 10/ln 10 · √(ψ'(K1) + ψ'(K2))."""
    from scipy import special  # heavy, so only where it is used

    variance = special.polygamma(1, np.maximum(one, 0.3)) + special.polygamma(1, np.maximum(other, 0.3))
    return np.asarray(DB_PER_NEPER_OF_POWER * np.sqrt(variance), dtype=np.float64)


def mean_u_db(levels_db: Sequence[float] | NDArray[np.float64]) -> float:
    """Standard error of the mean of levels that scatter in time, s/√n; 0 for fewer than two (nothing is known)."""
    values = np.asarray(levels_db, dtype=np.float64)
    return 0.0 if values.size < 2 else float(values.std(ddof=1) / math.sqrt(values.size))


@lru_cache(maxsize=1000)
def lowest_mean(samples: float, kept: int, of: int) -> float:
    """Mean of the ``kept`` lowest ``of`` so many noise powers, in means of all: ∫ Q(u)·P(fewer than ``kept`` of the
    others lie below u) du · of/kept, with Q the quantile of a gamma distribution of that shape. Source: expectations of
    order statistics (David, Order Statistics, 3.1; from memory, tested against Rényi's sums for exponential powers).
    """
    from scipy import special  # heavy, so only where it is used

    u = (np.arange(QUADRATURE) + 0.5) / QUADRATURE
    below = special.bdtr(kept - 1, of - 1, u)
    return float((special.gammaincinv(samples, u) / samples * below).mean() * of / kept)


def student_factor(tail: float, degrees: float) -> float:
    """How many standard errors a mean may be off with a two-sided chance of ``tail``. Source: Student's t."""
    from scipy import special  # heavy, so only where it is used

    return float(special.stdtrit(max(1.0, degrees), 1.0 - tail / 2.0))


def fisher_mid_p(hits: int, of: int, other_hits: int, other_of: int) -> float:
    """Two-sided chance that shares so different arise from one and the same: Fisher's exact test, mid-p.

    Counting what was seen half makes up for the coarse steps of small counts. Source: Lancaster, J. Amer. Stat. Assoc.
    56 (1961) 223-234 (from memory; the exact test is compared with SciPy's).
    """
    total, marked = of + other_of, hits + other_hits
    ways = math.comb(total, marked)
    chances = [
        math.comb(of, k) * math.comb(other_of, marked - k) / ways
        for k in range(max(0, marked - other_of), min(of, marked) + 1)
    ]
    seen = math.comb(of, hits) * math.comb(other_of, other_hits) / ways
    return sum(chance for chance in chances if chance <= seen * (1 + 1e-9)) - seen / 2
