"""A floor that ripples evenly over frequency: a standing wave between two poor matches at the ends of a cable.

Waves that went to and fro add up with a delay of 2L/v, so the ripple repeats every v/2L: 9 MHz for eleven metres of
cable in which a wave is two thirds as fast as light. Source: transmission-line theory, D. M. Pozar, Microwave
Engineering, 4th ed., 2.3 (from memory). Nothing on the air repeats so evenly and so smoothly over tens of megahertz;
what is on the air is left out by the fit (bisquare weights: Beaton and Tukey, Technometrics 16 (1974) 147-185).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["find_ripple"]

STRETCH_HZ = 80e6  # in which it is taken as even; matches change over more
SHORTEST_HZ, LONGEST_HZ = 2.5e6, 20e6  # periods that are looked for: cables of 5 to 40 m
FEWEST_PERIODS = 3.0
FEWEST_GROUPS = 14.0  # in a period
LEAST_DB = 1.0  # half of it from top to bottom; what is less is lost in the noise of readings
LEAST_NOISES = 2.0  # of noise, which otherwise looks like some wave
LARGEST_DB = 6.0  # common practice: a whip at the end of a cable is no worse matched; what is more is a signal
UPPER_QUARTILE = 1.15  # of the magnitude of a normal error, in standard deviations
MISFIT = 0.15  # of the amplitude: alternate TV channels, which are square, miss a wave by twice as much
ROUNDS = 6
REACH = 4.685  # of a bisquare in standard deviations: 95 % efficient for normal errors (Beaton and Tukey)


def find_ripple(levels_db: NDArray[np.float64], centres_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """The ripple of a floor [dB], shape (group,), around 0; 0 where there is none that is even and smooth.

    ``levels_db``: NaN where not known.
    """
    ripple = np.zeros(levels_db.size)
    extent_hz = float(centres_hz[-1] - centres_hz[0])
    for part in np.array_split(np.arange(levels_db.size), max(1, round(extent_hz / STRETCH_HZ))):
        known = part[np.isfinite(levels_db[part])]
        if known.size:
            ripple[known] = _ripple_of(levels_db[known], centres_hz[known])
    return ripple


def _ripple_of(levels_db: NDArray[np.float64], centres_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """The ripple of one stretch, found in rounds: the wave around the trend, the trend beneath the wave."""
    wave = np.zeros(levels_db.size)
    extent_hz = float(centres_hz[-1] - centres_hz[0])
    step_hz = extent_hz / max(1, levels_db.size - 1)
    shortest, longest = max(SHORTEST_HZ, FEWEST_GROUPS * step_hz), min(LONGEST_HZ, extent_hz / FEWEST_PERIODS)
    if longest <= shortest:
        return wave
    around = levels_db - _middle(levels_db, round(longest / step_hz))
    per_hz, size_db = _strongest(around, centres_hz, np.arange(1 / longest, 1 / shortest, 1 / (8 * extent_hz)))
    if size_db < LEAST_DB / 2:
        return wave
    for _ in range(ROUNDS):
        around = levels_db - _middle(levels_db - wave, round(1 / (per_hz * step_hz)))
        per_hz, _ = _strongest(around, centres_hz, per_hz + np.linspace(-0.125, 0.125, 17) / extent_hz)
        wave = _fitted(around, centres_hz, per_hz)
    return wave if _is_sound(wave, levels_db - wave, round(1 / (per_hz * step_hz))) else np.zeros(levels_db.size)


def _is_sound(wave_db: NDArray[np.float64], left_db: NDArray[np.float64], period: int) -> bool:
    """Whether the wave is as large as a mismatch makes it, and what it leaves is hardly more than noise.

    ``left_db``: the levels without it; ``period``: in levels. Noise: neighbours differ by it, while what a wave misses
    of another shape is smooth.
    """
    size_db = float(np.ptp(wave_db)) / 2
    weights = np.ones(left_db.size)
    for _ in range(ROUNDS):
        misfit_db = np.abs(left_db - _mean(left_db, weights, period))
        weights = _bisquare(misfit_db)
    noise_db = float(np.median(np.abs(np.diff(left_db)))) / 0.954  # median |difference| of two = 0.954σ
    most_db = float(np.hypot(MISFIT * size_db, 1.2 * UPPER_QUARTILE * noise_db))
    missed_db = float(np.quantile(misfit_db[weights > 0], 0.75))
    followed = bool(missed_db <= most_db and np.count_nonzero(weights) >= weights.size / 2)
    return max(LEAST_DB, LEAST_NOISES * noise_db) <= size_db <= LARGEST_DB and followed


def _bisquare(left_db: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights for magnitudes of errors: 1 for none, 0 for those that are no noise."""
    reach = REACH * 1.4826 * float(np.median(left_db)) + 1e-9
    return np.where(left_db < reach, (1 - (left_db / reach) ** 2) ** 2, 0.0)


def _middle(levels_db: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """The median over so many levels around each; a whole period leaves nothing of a wave."""
    half = max(1, width // 2)
    padded = np.pad(levels_db, half, mode="reflect")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1))


def _mean(levels_db: NDArray[np.float64], weights: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """The weighted mean over so many levels around each. It goes straight through a square wave, where a median jumps
    to and fro.
    """
    window = np.ones(2 * max(1, width // 2) + 1)
    weights = weights + 1e-6
    total = np.convolve(weights * levels_db, window, mode="same")
    return np.asarray(total / np.convolve(weights, window, mode="same"))


def _strongest(
    around_db: NDArray[np.float64], centres_hz: NDArray[np.float64], per_hz: NDArray[np.float64]
) -> tuple[float, float]:
    """Which of some frequencies of a wave (per hertz) holds most of the levels' power, large ones cut off; and its size
    in dB.
    """
    scale = 3.0 * 1.4826 * float(np.median(np.abs(around_db))) + 1e-12
    levels = np.clip(around_db, -scale, scale)
    phases = 2 * np.pi * per_hz[:, None] * (centres_hz - centres_hz[0])
    power = (np.cos(phases) * levels).sum(axis=1) ** 2 + (np.sin(phases) * levels).sum(axis=1) ** 2
    best = int(np.argmax(power))
    return float(per_hz[best]), 2.0 * math.sqrt(float(power[best])) / levels.size


def _fitted(around_db: NDArray[np.float64], centres_hz: NDArray[np.float64], per_hz: float) -> NDArray[np.float64]:
    """The wave of that frequency, with its first overtone, that most of the levels follow; weighted least squares."""
    phase = 2 * np.pi * per_hz * (centres_hz - centres_hz[0])
    waves = np.stack([np.cos(phase), np.sin(phase), np.cos(2 * phase), np.sin(2 * phase)], axis=1)
    columns = np.concatenate([waves, np.ones((phase.size, 1))], axis=1)
    weights = np.ones(phase.size)
    for _ in range(ROUNDS):
        sums = (columns * weights[:, None]).T
        found = np.linalg.lstsq(sums @ columns, sums @ around_db, rcond=None)[0]
        weights = _bisquare(np.abs(around_db - columns @ found))
    return np.asarray(waves @ found[:4], dtype=np.float64)
