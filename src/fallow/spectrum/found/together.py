"""Broad noise that comes and goes as a whole: what rises and falls together over the sweeps, and lies side by side.

A wall of lights, a supply or a neighbour's noise that is on in some sweeps only lifts many megahertz at once. In the
mean over all sweeps it is weak, and the highest levels are too ragged to show it as one thing. What tells it is time:
neighbouring parts of the axis, whose noise has nothing in common, follow each other from sweep to sweep.

The axis is cut into groups wide enough for a steady median; groups belong together while the levels of neighbours
correlate over the sweeps. What moves the whole axis (a gain that drifts) is taken off first. Source of the chance of a
correlation: Fisher, Metron 1 (1921) 3-32, atanh(r) is normal with variance 1/(n - 3).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.running import running_quantile
from fallow.spectrum.statistics import median_of_valid, normal_quantile

__all__ = ["MEDIAN_SD", "OverTime", "Together", "find_together", "over_time", "pattern_of", "two_states"]

Values = NDArray[np.float64]
GROUP_HZ = 800e3  # two of them are wider than what is called narrow
FEWEST_BINS = 3  # in a group
FEWEST_SWEEPS = 8  # in fewer, strong signals that fade follow each other by chance
MOST_ROWS = 400  # sweeps that are looked at
MOST_READINGS = 4_000_000  # so that memory stays bounded
LEAST_LIFT_DB = 3.0  # common practice: wall, lights and neighbours lift a floor by 3 to 15 dB
LEAST_KEPT = 0.8  # of that, in the middle bin of what has soft edges
ALIKE = 0.85  # correlation of neighbours that belong together, had they no noise
UNSURE_SIGMAS = 2.0  # of that correlation
REACH = 2  # groups beyond a chain in which its edge is looked for, and four times as many for its skirts
BY_LUCK = 0.01  # chance that noise makes any two neighbours correlate
CLEAR_SIGMAS = 4.0  # of the lift above what the groups scatter within both states
SKIRT_DB = 0.5  # a lift is followed down to here, so that its skirts are no emitters of their own
DRIFT_SHARE = 0.15  # of the axis whose level is the instrument's own
MEDIAN_SD = 1.2533  # of the median, in standard deviations over the root of their number: √(π/2)
QUANTILE_SD = 1.53  # of the quantile of that share, in standard deviations over the root of their number: √(p(1-p))/φ


@dataclass(frozen=True)
class Together:
    """Bins ``first`` to ``last`` (exclusive) that are lifted together by ``lift_db`` in some of the sweeps, and a
    little from ``skirts[0]`` to ``skirts[1]`` (exclusive).
    """

    first: int
    last: int
    lift_db: float
    skirts: tuple[int, int]


@dataclass(frozen=True, eq=False)
class OverTime:
    """Levels above the floor, dB: of ``levels_db`` [shape (sweep, bin), some of the sweeps, without what is taken], and
    of groups of ``size`` bins, ``groups_db`` [shape (sweep, group)], less ``drift_db`` [shape (sweep,)], by which the
    whole axis was up or down in each. ``noise_sd_db``: standard deviation of the median of a group of noise.
    """

    levels_db: Values
    groups_db: Values
    drift_db: Values
    size: int
    noise_sd_db: float

    def highest_drift_db(self, noise_sd_db: float, together: float) -> float:
        """By how much the whole axis was up at most; 0 where noise makes as much. ``noise_sd_db``: of one reading;
        ``together``: bins that say as much as one independent one.
        """
        bins = max(1.0, float(np.isfinite(self.levels_db[0]).sum()) / max(1.0, together))
        by_luck = CLEAR_SIGMAS * QUANTILE_SD * noise_sd_db / math.sqrt(bins)
        highest = float(self.drift_db.max(initial=0.0))
        return highest if highest > by_luck else 0.0


def over_time(heard: Heard, noise_db: Values, taken: NDArray[np.bool_]) -> OverTime:
    """The levels of a series in the shape that is asked here. ``noise_db``: the floor, shape (bin,); ``taken``: bins
    that are known to hold something else, shape (bin,).
    """
    most = min(MOST_ROWS, max(FEWEST_SWEEPS, MOST_READINGS // heard.axis.n))
    looks = min(max(1, round(heard.looks)), most)
    rows = np.unique(np.linspace(0, heard.n_sweeps - 1, looks).round().astype(np.int64))
    levels = heard.levels_db[rows].astype(np.float64) - np.where(taken, np.nan, noise_db)
    size = max(FEWEST_BINS, round(max(GROUP_HZ, 2.0 * heard.alike_hz) / float(heard.axis.step_hz)))
    groups = _medians(levels, size)
    drift = np.zeros(rows.size)
    if rows.size >= FEWEST_SWEEPS and np.isfinite(groups).any(axis=1).all():
        drift = np.nanquantile(groups, DRIFT_SHARE, axis=1)
        drift = drift - np.median(drift)
    independent = size * min(1.0, float(heard.axis.step_hz) / heard.alike_hz)
    return OverTime(
        levels, groups - drift[:, None], drift, size, MEDIAN_SD * heard.noise.sd_db() / math.sqrt(independent)
    )


def find_together(seen: OverTime) -> list[Together]:
    """Stretches that rise and fall as wholes, rising in frequency."""
    groups, size = seen.groups_db, seen.size
    chains = _chains(groups, seen.noise_sd_db) if groups.shape[0] >= FEWEST_SWEEPS else []
    found = []
    for place, (first, last) in enumerate(chains):
        on = two_states(groups[:, first:last].mean(axis=1))
        if not _is_clear(groups[:, first:last], on, seen.noise_sd_db):
            continue
        if float(np.nanmedian(seen.levels_db[~on, first * size : last * size])) > LEAST_LIFT_DB:
            continue  # it is there while off too: one that moves in level
        lift = _lift_db(seen.levels_db, on)
        before = chains[place - 1][1] * size if place else 0
        beyond = chains[place + 1][0] * size if place + 1 < len(chains) else lift.size
        smooth = running_quantile(lift, size, 0.5, hop=1)
        smooth[:before], smooth[beyond:] = np.nan, np.nan
        core = first * size, min(last * size, lift.size)
        begin, end = _to_edges(smooth, core, size)
        skirts = _to_edges(smooth, core, size, SKIRT_DB)
        height = float(np.nanmedian(lift[begin:end])) if end - begin >= size else 0.0
        if height >= LEAST_KEPT * LEAST_LIFT_DB:
            found.append(Together(begin, end, height, skirts))
    return found


def pattern_of(heard: Heard, noise_db: Values, first: int, last: int) -> NDArray[np.bool_]:
    """In which of all sweeps the bins ``first`` to ``last`` (exclusive) were lifted, shape (sweep,)."""
    medians = np.empty(heard.n_sweeps)
    for rows, block in heard.levels_db.blocks():
        medians[rows] = median_of_valid(block[:, first:last] - noise_db[first:last].astype(np.float32), axis=1)
    return two_states(medians)


def two_states(series_db: Values) -> NDArray[np.bool_]:
    """Which of some levels belong to the higher of two states: above the middle between the means of both.

    Source: the iterative choice of a threshold, Ridler and Calvard, IEEE Trans. SMC-8 (1978) 630-632.
    """
    known = series_db[np.isfinite(series_db)]
    if known.size == 0:
        return np.zeros(series_db.size, dtype=bool)
    middle = float(known.min() + known.max()) / 2
    for _ in range(50):
        high = known > middle
        if not high.any() or high.all():
            break
        moved = float(known[high].mean() + known[~high].mean()) / 2
        if moved == middle:
            break
        middle = moved
    return np.nan_to_num(series_db, nan=-np.inf) > middle


def _medians(levels_db: Values, size: int) -> Values:
    """Median of each group of neighbouring bins, shape (sweep, group)."""
    padding = -levels_db.shape[1] % size
    padded = np.pad(levels_db, ((0, 0), (0, padding)), constant_values=np.nan)
    return median_of_valid(padded.reshape(levels_db.shape[0], -1, size), axis=2)


def _chains(groups_db: Values, noise_sd_db: float) -> list[tuple[int, int]]:
    """Runs of two groups or more of which each follows its neighbour: first and last (exclusive) group."""
    sweeps, count = groups_db.shape
    whole = np.asarray(np.isfinite(groups_db).all(axis=0))
    centred = np.where(whole, groups_db - groups_db.mean(axis=0), 0.0)
    power = np.sqrt(np.maximum(1e-12, np.square(centred).sum(axis=0)))
    alike = (centred[:, 1:] * centred[:, :-1]).sum(axis=0) / (power[1:] * power[:-1])
    luck = math.tanh(normal_quantile(1.0 - BY_LUCK / max(1, count)) / math.sqrt(max(1, sweeps - 3)))
    own = np.clip(1.0 - noise_sd_db**2 * sweeps / np.square(power), 0.0, 1.0)  # share that is no noise
    least = ALIKE * np.sqrt(own[1:] * own[:-1]) - UNSURE_SIGMAS * (1.0 - alike**2) / math.sqrt(sweeps)
    joined = np.asarray((alike >= np.maximum(least, luck)) & whole[1:] & whole[:-1])
    edges = np.flatnonzero(np.diff(np.concatenate([[False], joined, [False]]).astype(np.int8)))
    return [(int(first), int(last) + 1) for first, last in zip(edges[::2], edges[1::2], strict=True)]


def _is_clear(groups_db: Values, on: NDArray[np.bool_], noise_sd_db: float) -> bool:
    """Whether two states of a chain differ by enough, by more than its level scatters within both, and than noise."""
    if not on.any() or on.all():
        return False
    series = groups_db.mean(axis=1)
    lift = float(series[on].mean() - series[~on].mean())
    away = np.where(on, series - series[on].mean(), series - series[~on].mean())
    within = math.sqrt(float(np.square(away).sum()) / max(1, series.size - 2))
    by_luck = noise_sd_db * math.sqrt((1.0 / on.sum() + 1.0 / (~on).sum()) / groups_db.shape[1])
    return lift >= max(LEAST_LIFT_DB, CLEAR_SIGMAS * within, CLEAR_SIGMAS * by_luck)


def _lift_db(levels_db: Values, on: NDArray[np.bool_]) -> Values:
    """Mean power while on above the one while off, dB, shape (bin,), NaN where either is not known."""
    power = 10.0 ** (levels_db / 10.0)
    means = []
    for rows in (power[on], power[~on]):
        known = np.isfinite(rows)
        count = known.sum(axis=0)
        means.append(np.where(count > 0, np.where(known, rows, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan))
    return np.asarray(10.0 * np.log10(means[0] / means[1]), dtype=np.float64)


def _to_edges(lift_db: Values, core: tuple[int, int], size: int, down_to_db: float | None = None) -> tuple[int, int]:
    """Outward or inward to where the lift has half its height (in dB, at that end), or so many dB."""
    first, last = core
    upper = _edge(lift_db[::-1], lift_db.size - last, size, down_to_db)
    return _edge(lift_db, first, size, down_to_db), lift_db.size - upper


def _edge(lift_db: Values, first: int, size: int, down_to_db: float | None) -> int:
    height = float(np.nanmedian(lift_db[first : first + 2 * size]))
    high = np.nan_to_num(lift_db, nan=-np.inf) > (height / 2 if down_to_db is None else min(down_to_db, height / 2))
    farthest = max(0, first - (REACH if down_to_db is None else 4 * REACH) * size)
    below, inside = np.flatnonzero(~high[farthest:first]), np.flatnonzero(high[first:])
    begin = farthest + int(below[-1]) + 1 if below.size else farthest
    return begin if begin < first or inside.size == 0 else first + int(inside[0])
