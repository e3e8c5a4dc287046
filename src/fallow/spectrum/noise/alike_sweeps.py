"""Sweeps that say the same: how many that follow each other tell as much of noise as one independent one.

An analyser that averages its trace as it runs shows, in each sweep, most of the one before; a trace that hardly moves
shows the same noise every time. To take such sweeps for independent looks makes the mean over them surer than it is,
and peaks of noise that stay into carriers. Nothing of this is stated in files, but it shows: the mean over independent
sweeps scatters from bin to bin less than each of them, and the mean over alike ones does not.

So the mean over the sweeps is held against means of as many readings that are surely independent, for they are taken
from other bins. Only how far both reach down is compared, since what is on the air lifts bins and lowers none; and that
is done stretch by stretch of the axis, of which the middle one counts. Source: the variance of a mean of n dependent
readings is that of n/τ independent ones (von Storch and Zwiers, Statistical Analysis in Climate Research, 6.6, from
memory); readings put in another order have the same distribution and no dependence (a permutation test).

A floor that is finely uneven, and carriers that stay, make the same bins low in all sweeps, too. Where they are a small
part of each reading, as much alike in far sweeps as in near ones, that part is left out. Where they are more, what
stays counts only if it may be noise: no farther down than noise reaches, each bin by itself, in sweeps that hardly
differ.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.scatter import NEAREST, along_frequency

__all__ = ["alike_sweeps"]

Values = NDArray[np.float64]
MOST_ROWS = 64  # sweeps that are looked at
MOST_READINGS = 200_000
STRETCHES = 15
STRETCH_BINS = 100  # at least, or the whole axis is one
FEWEST_BINS = 50  # of a stretch that tell
ORDERS = 5  # other orders of the readings that are tried
LOW, MIDDLE = 0.16, 0.5  # shares between which it is compared how far means reach down
LEAST = 1.25  # less is luck
MOST_STAYING = 0.3  # of a reading's variance that is unevenness; a trace that hardly moves keeps more
FARTHEST_DOWN_DB = 7.0  # single samples reach 6.0 dB below their middle, once in six; their floor adds to it
SURELY_APART_DB = 4.5  # median magnitude of the difference of two single samples: 10·log 3 = 4.8 dB
MEDIAN_SHARE = 0.225  # median magnitude of normal values in three standard deviations: 0.6745 / 3
MOST_ALIKE_BESIDE = 0.25  # correlation of what stays in neighbouring independent bins; -0.06 of noise without its floor
LUCK = 4.0  # standard error of what is found, over the root of the number of independent bins; by simulation
LUCK_SIGMAS = 3.0


def alike_sweeps(levels: Levels, rbw_bins: float) -> float:
    """How many neighbouring sweeps of levels of shape (sweep, bin) say as much of noise as one independent one; 1 where
    they are independent, or where too little shows. ``rbw_bins``: over how many bins noise says one thing.

    Sweeps side by side are asked, and sweeps from all over the survey, where those are not the same.
    """
    sweeps, bins = levels.shape
    count = min(sweeps, MOST_ROWS, max(2, MOST_READINGS // bins))
    if count < 2:
        return 1.0
    spread = np.unique(np.linspace(0, sweeps - 1, count).round().astype(np.int64))
    apart = (sweeps - 1) / (count - 1)
    far = _alike(levels[spread].astype(np.float64), rbw_bins)
    if apart > 1.0 and far == 1.0:
        begin = (sweeps - count) // 2
        return min(apart, _alike(levels[begin : begin + count].astype(np.float64), rbw_bins))
    return min(float(sweeps), _with_those_between(far, apart))


def _with_those_between(alike: float, apart: float) -> float:
    """How many sweeps say one thing where so many of those do that are ``apart`` sweeps from each other: with a memory
    that fades evenly, τ = (1 + r)/(1 - r) for a correlation r of neighbours.
    """
    if alike == 1.0:
        return 1.0
    r = float(((alike - 1.0) / (alike + 1.0)) ** (1.0 / apart))
    return (1.0 + r) / (1.0 - r)


def _alike(rows: Values, rbw_bins: float) -> float:
    """The same for some sweeps; never more than they are."""
    left = along_frequency(rows, rbw_bins)
    sweeps, bins = left.shape
    parts = np.array_split(np.arange(bins), max(1, min(STRETCHES, bins // STRETCH_BINS)))
    rng = np.random.default_rng(1)
    by_chance = [_reach_down(_means(_moved(left, rng), 0.5), parts) for _ in range(ORDERS)]
    alone = np.square(np.median(by_chance, axis=0))
    alone[alone == 0.0] = np.nan  # levels that don't scatter at all say nothing
    seen = np.square(_reach_down(_means(left, 0.5), parts)) / alone
    if np.isfinite(seen).sum() <= len(parts) // 2:
        return 1.0
    alike, staying = float(np.nanmedian(seen)), _staying(left, parts) / alone
    stays = float(np.median(staying[np.isfinite(staying)])) if np.isfinite(staying).any() else 0.0
    if 0.0 < stays < MOST_STAYING:
        alike -= (sweeps - 1) * stays
    elif stays > 0.0 and not _like_noise(left, parts, rbw_bins):
        return 1.0
    luck = LUCK * math.sqrt(max(1.0, rbw_bins) / bins)
    return min(alike, float(sweeps)) if alike > max(LEAST, 1.0 + LUCK_SIGMAS * luck) else 1.0


def _like_noise(left_db: Values, parts: list[NDArray[np.int64]], rbw_bins: float) -> bool:
    """Whether what stays may be noise that stays: it reaches down no farther than single samples do, goes its own way
    in each independent bin, and the sweeps differ by less than single samples.
    """
    mean = _means(left_db, 1.0)
    if not float(np.nanmedian(_reach_down(mean, parts))) <= FARTHEST_DOWN_DB:
        return False
    if float(np.nanmedian(np.abs(np.diff(left_db, axis=0)))) > SURELY_APART_DB:
        return False
    limit = np.nanquantile(np.abs(mean), MIDDLE) / MEDIAN_SHARE
    mean, lag = np.clip(mean, -limit, limit), max(1, math.ceil(NEAREST * rbw_bins))
    beside = mean[lag:] * mean[:-lag]
    return float(np.nanmean(beside)) <= MOST_ALIKE_BESIDE * float(np.nanmean(np.square(mean)))


def _staying(left_db: Values, parts: list[NDArray[np.int64]]) -> Values:
    """How far what the first and the last sweeps have in common reaches down, squared, dB², shape (part,): by the sum
    and the difference of both, var(A + B) - var(A - B) = 4·cov(A, B).
    """
    some = max(1, left_db.shape[0] // 3)
    first, last = _means(left_db[:some], 1.0), _means(left_db[-some:], 1.0)
    both, apart = _reach_down(first + last, parts), _reach_down(first - last, parts)
    return np.asarray((np.square(both) - np.square(apart)) / 4.0, dtype=np.float64)


def _moved(left_db: Values, rng: np.random.Generator) -> Values:
    """Each sweep moved along the axis by as much as no other one is, round its end, shape (sweep, bin)."""
    sweeps, bins = left_db.shape
    by = rng.permutation(sweeps) * max(1, bins // sweeps) + int(rng.integers(bins))
    return np.array([np.roll(row, shift) for row, shift in zip(left_db, by, strict=True)])


def _means(left_db: Values, power: float) -> Values:
    """What is left in each bin, all sweeps together, over their number to a power: 1 makes means, ½ what scatters as
    much as one reading, however many independent ones there are; shape (bin,), NaN for none.
    """
    known = np.isfinite(left_db)
    count = known.sum(axis=0)
    total = np.where(known, left_db, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1) ** power, np.nan)


def _reach_down(values_db: Values, parts: list[NDArray[np.int64]]) -> Values:
    """By how much the lower values of each stretch lie below its middle, dB, NaN where too few are known."""
    reach = []
    for part in parts:
        known = values_db[part][np.isfinite(values_db[part])]
        low, middle = np.quantile(known, (LOW, MIDDLE)) if known.size >= FEWEST_BINS else (np.nan, np.nan)
        reach.append(middle - low)
    return np.array(reach)
