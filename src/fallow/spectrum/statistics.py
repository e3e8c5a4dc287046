"""What detectors and averages do to noise, and what a count of hits proves.

A reading of noise behind an averaging detector is the mean of K independent exponential powers: a gamma variate with
shape K and mean 1. A peak or max-hold reading is the largest of J of them. Everything here is relative to the true
mean power of the noise, in decibels (``_db``) or as a factor.

Source of the distributions: Urkowitz, Proc. IEEE 55 (1967) 523-531, for the energy detector; order statistics of the
exponential distribution: Rényi, Acta Math. Acad. Sci. Hung. 4 (1953) 191-231. Both from memory; the numbers are tested.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "MOST_SAMPLES",
    "NoiseModel",
    "binomial_limits",
    "enbw_bins",
    "estimate_peak_count",
    "estimate_samples",
    "harmonic",
    "median_of_valid",
    "missed_share",
    "noise_quantile_db",
    "normal_quantile",
    "thermal_noise_dbm",
    "wilson_limits",
]

BOLTZMANN = 1.380649e-23  # J/K, exact since 2019 (SI Brochure, 9th edition)
REFERENCE_TEMPERATURE_K = 290.0  # Rec. ITU-R P.372
DB_PER_NEPER_OF_POWER = 10.0 / math.log(10.0)
MOST_SAMPLES = 3000.0  # design decision: beyond this, drift and not noise decides how well a reading repeats
ONE_SIDE_95 = 1.645  # standard deviations, normal distribution
_QUARTILE = 0.75  # of the difference of two readings: its median magnitude


def thermal_noise_dbm(bandwidth_hz: float, temperature_k: float = REFERENCE_TEMPERATURE_K) -> float:
    """Noise power of a matched resistor in ``bandwidth_hz``, 10·log(kTB) in dBm. Source: Rec. ITU-R P.372."""
    return 10.0 * math.log10(BOLTZMANN * temperature_k * bandwidth_hz * 1e3)


def enbw_bins(window: ArrayLike) -> float:
    """Equivalent noise bandwidth of a window in bins: N·Σw²/(Σw)². Source: Harris, Proc. IEEE 66 (1978), eq. 11."""
    weights = np.asarray(window, dtype=np.float64)
    return float(weights.size * np.square(weights).sum() / weights.sum() ** 2)


def normal_quantile(probability: float) -> float:
    """Standard normal quantile; 0 and 1 are moved inside by 1e-15 so that a threshold stays finite."""
    return NormalDist().inv_cdf(min(max(probability, 1e-15), 1 - 1e-15))


def noise_quantile_db(probability: ArrayLike, samples: ArrayLike) -> NDArray[np.float64]:
    """Quantile of the mean of ``samples`` exponential powers, dB relative to their true mean; shapes broadcast.

    Where the probability nears 1 (within 1e-14) the quantile is that of 1 - 1e-14. Source: gamma distribution, shape
    K, mean 1.
    """
    from scipy import special  # heavy, so only where it is used

    shape = np.maximum(np.asarray(samples, dtype=np.float64), 1e-3)
    upper_tail = np.maximum(1.0 - np.asarray(probability, dtype=np.float64), 1e-14)
    quantile = special.gammainccinv(shape, upper_tail) / shape
    return np.asarray(10.0 * np.log10(np.maximum(quantile, 1e-30)), dtype=np.float64)


def harmonic(count: float) -> float:
    """H_J, the mean of the largest of J exponential powers with mean 1. Source: Rényi 1953."""
    from scipy import special  # heavy, so only where it is used

    return float(special.digamma(count + 1.0) + np.euler_gamma)


@dataclass(frozen=True)
class NoiseModel:
    """How readings of noise scatter: the largest of ``peak_of`` (J) means of ``samples`` (K) powers each.

    ``bias_db``: by how much the mean reading of noise lies above the true mean power. ``shape``: the gamma shape that
    is used for its quantiles; for peaks it is half the one with the same variance, which covers their heavier upper
    tail. ``at_most``: a smaller shape that is used instead, where the readings may be peaks and it can't be told.
    ``bias_u_db``: standard uncertainty of the bias.
    """

    samples: float
    peak_of: float = 1.0
    at_most: float = math.inf
    bias_u_db: float = 0.0

    @property
    def bias_db(self) -> float:
        """Mean of the largest of J means over the true mean, dB: 10·log(H_J) for single samples; 0 for J = 1."""
        return 10.0 * math.log10(_largest(self.samples, self.peak_of)[0]) if self.peak_of > 1 else 0.0

    @property
    def least_bias_db(self) -> float:
        """The bias that noise has at least, with 95 %, dB."""
        return max(0.0, self.bias_db - ONE_SIDE_95 * self.bias_u_db)

    @property
    def shape(self) -> float:
        """Shape of the gamma distribution that stands for one reading."""
        if self.peak_of <= 1:
            return min(self.samples, self.at_most)
        mean, variance = _largest(self.samples, self.peak_of)
        return 0.5 * mean**2 / variance

    def sd_db(self) -> float:
        """Standard deviation of one reading in dB: √trigamma(K)·10/ln 10."""
        from scipy import special  # heavy, so only where it is used

        return DB_PER_NEPER_OF_POWER * math.sqrt(float(special.polygamma(1, self.shape)))


@cache
def _largest(samples: float, peak_of: float) -> tuple[float, float]:
    """Mean and variance of the largest of J means of K exponential powers with mean 1.

    Source: order statistics, E[M] = ∫(1 - F(x)^J)dx and E[M²] = ∫2x(1 - F(x)^J)dx, F the gamma distribution.
    """
    from scipy import special  # heavy, so only where it is used

    highest = float(special.gammainccinv(samples, 1e-12 / peak_of)) / samples
    x = np.linspace(0.0, highest, 8001)
    above = 1.0 - special.gammainc(samples, samples * x) ** peak_of
    mean = float(np.trapezoid(above, x))
    return mean, float(np.trapezoid(2.0 * x * above, x)) - mean**2


@cache
def _spread_table() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Median magnitude of the difference of two readings [dB], falling, and the K that gives it."""
    from scipy import special  # heavy, so only where it is used

    samples = np.geomspace(0.3, MOST_SAMPLES, 400)
    share = special.betaincinv(samples, samples, _QUARTILE)  # X/(X+Y) of two gamma variates is beta distributed
    return 10.0 * np.log10(share / (1.0 - share)), samples


def estimate_samples(median_difference_db: float) -> float:
    """K from the median magnitude of the difference of two readings of the same noise, in dB; 1 to ``MOST_SAMPLES``.

    Source: the ratio of two gamma variates (F distribution); a median resists emitters that come and go.
    """
    spread, samples = _spread_table()
    if not median_difference_db > spread[-1]:
        return MOST_SAMPLES
    return float(max(1.0, np.interp(median_difference_db, spread[::-1], samples[::-1])))


@cache
def _peak_table() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Median magnitude of the difference of two peak readings [dB], falling, and the J that gives it."""
    counts = np.geomspace(1.0, 1e5, 60)
    positions = (np.arange(400) + 0.5) / 400
    spreads = []
    for count in counts:
        levels_db = 10.0 * np.log10(-np.log1p(-(positions ** (1.0 / count))))
        spreads.append(float(np.median(np.abs(levels_db[:, None] - levels_db[None, :]))))
    return np.array(spreads), counts


def estimate_peak_count(median_difference_db: float) -> float:
    """J from the median magnitude of the difference of two peak readings of the same noise, in dB; 1 to 100,000."""
    spread, counts = _peak_table()
    return float(np.interp(median_difference_db, spread[::-1], counts[::-1]))


def binomial_limits(hits: float, trials: float, confidence_pct: float) -> tuple[float, float]:
    """Two-sided Clopper-Pearson limits of a share seen ``hits`` times in ``trials``. Source: Biometrika 26 (1934)
    404-413. Both may be fractions, where samples depend on each other and count as fewer.
    """
    from scipy import special  # heavy, so only where it is used

    tail = (1.0 - confidence_pct / 100.0) / 2.0
    if trials == 0:
        return 0.0, 1.0
    low = 0.0 if hits == 0 else float(special.betaincinv(hits, trials - hits + 1, tail))
    high = 1.0 if hits >= trials else float(special.betaincinv(hits + 1, trials - hits, 1.0 - tail))
    return low, high


def wilson_limits(hits: int, trials: int, confidence_pct: float) -> tuple[float, float]:
    """Two-sided Wilson score limits of a share. Source: Wilson, J. Amer. Stat. Assoc. 22 (1927) 209-212."""
    if trials == 0:
        return 0.0, 1.0
    z2 = normal_quantile(0.5 + confidence_pct / 200.0) ** 2
    centre = (hits + z2 / 2) / (trials + z2)
    half = math.sqrt(z2 * (hits * (trials - hits) / trials + z2 / 4)) / (trials + z2)
    return max(0.0, centre - half), min(1.0, centre + half)


def median_of_valid(values: NDArray[np.floating], axis: int) -> NDArray[np.float64]:
    """Median along an axis of what is not NaN; NaN where nothing is."""
    ordered = np.sort(values, axis=axis)
    valid = np.isfinite(values).sum(axis=axis, keepdims=True)
    lower = np.take_along_axis(ordered, np.maximum(0, (valid - 1) // 2), axis=axis)
    upper = np.take_along_axis(ordered, np.minimum(valid // 2, values.shape[axis] - 1), axis=axis)
    return np.asarray(np.where(valid > 0, (lower + upper) / 2, np.nan).squeeze(axis), dtype=np.float64)


def missed_share(sweeps: int, confidence_pct: float) -> float:
    """Share of time that an emitter can be on and yet stay unseen in ``sweeps`` independent sweeps: 1 - (1-γ)^(1/n).

    Source: the exact binomial limit for no hit (Clopper and Pearson 1934).
    """
    return 1.0 if sweeps < 1 else -math.expm1(math.log1p(-confidence_pct / 100.0) / sweeps)
