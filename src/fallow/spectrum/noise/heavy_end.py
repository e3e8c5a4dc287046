"""The far end of noise that falls off more slowly than its middle tells: Student's t in decibels, impulses.

Readings far out are noise's own if they are as noise is. They come alone: not again in their own bin, not side by side
in one sweep, but anywhere, as chance has it. And their heights go on where the rest of the noise ends, the most of them
lowest, without a gap. What they reach is then followed by a generalised Pareto distribution. A crowd that stands by
itself far above the noise is senders', and the gap below it shows where noise ends; so is what gathers in a part of the
axis.

Sources: exceedances over a high threshold: Pickands, Annals of Statistics 3 (1975) 119-131; probability-weighted
moments: Hosking and Wallis, Technometrics 29 (1987) 339-349; normalised spacings of exponential values are independent:
Rényi, Acta Math. Acad. Sci. Hung. 4 (1953) 191-231; index of dispersion: Fisher, Statistical Methods for Research
Workers, 16. All from memory; tested on drawn values.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.noise.coming_again import alone
from fallow.spectrum.noise.scatter import FEWEST_SWEEPS
from fallow.spectrum.statistics import median_of_valid

__all__ = ["FAR_CHANCE", "HeavyEnd", "above_floor", "find_heavy_end", "in_open_air"]

Values = NDArray[np.float64]
FAR_CHANCE = 1e-4  # that the rest of the noise lets a reading be far out
FAR_BY_LUCK = 1e-3  # that so many are
FEWEST_FAR, LARGEST_SHARE = 5, 0.05  # fewer show no law, and more than that share are no end
MOST_MEAN_DB = 12.0  # of their heights: impulses lift by less on average, senders by more; common practice
LOW_SHARE = 0.2  # of the floor's levels: a band that is four fifths full has as much floor again
BLOCK_DB = 10.0  # above those a floor is no floor; walls and ripples are lower. Common practice
GROUP = 33  # independent bins whose median is the floor where sweeps are few
HIGHEST_REACH_DB = 200.0  # beyond that no receiver reads
MOST_INDEX = 0.5  # that of Student's t with two degrees of freedom, of endless variance
LEAST_MISFIT = 1.4  # by which low heights are fewer, times the root of their number; by luck 1.17 in 1 of 100 (drawn)
ANY_MISFIT = 0.2  # no noise follows the law to the letter; a crowd beyond a gap misses it by 0.4 and more
GAP_BY_LUCK = 1e-3
STRETCHES = 8  # of the axis
UNEVEN_BY_LUCK = 1e-3


@dataclass(frozen=True)
class HeavyEnd:
    """Readings beyond ``from_db`` above their median, which the chance ``share`` exceeds, as a generalised Pareto
    distribution in decibels: ``scale_db`` and ``index``, the larger the more slowly they end; up to ``most_db``.
    """

    from_db: float
    share: float
    scale_db: float
    index: float
    most_db: float = HIGHEST_REACH_DB

    def exceeded_db(self, chance: Values) -> Values:
        """What readings exceed with a chance, dB above their median; for likelier ones than ``share`` as if heights
        fell off exponentially from the median on.
        """
        chance = np.maximum(chance, 1e-14)
        fewer = np.maximum(1.0, self.share / chance)
        reach = self.from_db + self.scale_db / self.index * (fewer**self.index - 1.0)
        nearer = self.from_db * np.log(0.5 / chance) / math.log(0.5 / self.share)
        return np.asarray(np.where(chance < self.share, np.minimum(reach, self.most_db), nearer), dtype=np.float64)

    def told(self, name: str = "") -> str:
        """What single readings prove, in a sentence. ``name``: of the series."""
        where = f" ({name})" if name else ""
        return (
            f"single readings lie high all over the axis{where}: about {1e3 * self.share:.2g} of 1,000 by "
            f"{self.from_db:.0f} dB and more, as impulses of switches, motors and dimmers do: one alone proves "
            "nothing, what comes again or stands side by side does"
        )


def above_floor(rows: Values, lag: int) -> Values:
    """Readings of shape (sweep, bin) in dB above a rough floor: the middle one of the bins around or, if that is higher
    where sweeps are enough to tell, of the sweeps. ``lag``: bins from which on neighbours are independent.
    """
    floor = _around(rows, GROUP * lag)
    if rows.shape[0] >= FEWEST_SWEEPS:
        floor = np.fmax(floor, median_of_valid(rows, axis=0))
    return rows - floor


def in_open_air(above_db: Values, rows: Values) -> Values:
    """Readings above their floor, NaN where that floor is a block's, in which noise is drowned; shape (sweep, bin)."""
    floor = rows - above_db
    known = floor[np.isfinite(floor)]
    drowned = floor > (float(np.quantile(known, LOW_SHARE)) + BLOCK_DB if known.size else np.inf)
    return np.where(drowned, np.nan, above_db)


def _around(rows: Values, bins: int) -> Values:
    """The middle of groups of so many bins, with lines between; of three side by side the highest, for an edge of
    something wide lies in some group.
    """
    groups = max(1, rows.shape[1] // bins)
    parts = np.array_split(rows, groups, axis=1)
    middle = np.stack([median_of_valid(part, axis=1) for part in parts], axis=1)
    beside = np.pad(middle, ((0, 0), (1, 1)), mode="edge")
    highest = np.fmax(np.fmax(beside[:, :-2], beside[:, 2:]), middle)
    centres = (np.arange(groups) + 0.5) * rows.shape[1] / groups - 0.5
    floor = np.full(rows.shape, np.nan)
    for sweep, heights in enumerate(highest):
        known = np.isfinite(heights)
        if known.any():
            floor[sweep] = np.interp(np.arange(rows.shape[1]), centres[known], heights[known])
    return floor


def find_heavy_end(above_db: Values, from_db: float, lag: int, together: float) -> HeavyEnd | None:
    """How noise goes on beyond ``from_db``, which the rest of it exceeds with ``FAR_CHANCE``; None where it does not.

    ``above_db``: readings above the floor, shape (sweep, bin). ``together``: so many neighbours say one thing.
    """
    known = np.isfinite(above_db)
    lone = alone(known & (above_db > from_db), known, lag)
    rising_db = np.sort(above_db[lone] - from_db)
    beyond_db = _without_crowd(rising_db)
    share = beyond_db.size / max(1, int(known.sum()))
    if share > LARGEST_SHARE or _by_luck(beyond_db.size / together, FAR_CHANCE * int(known.sum()) / together):
        return None
    mean_db, index = _fitted(beyond_db)
    if mean_db > MOST_MEAN_DB or not _anywhere(lone, known, together):
        return None
    if not _goes_on(beyond_db, mean_db, index, together):
        return None
    error = (1.0 + index) * math.sqrt(together / beyond_db.size)  # standard, of an index
    index = min(index + error, MOST_INDEX)  # a bar too high is the lesser error
    crowd_db = rising_db[beyond_db.size :]
    most_db = HIGHEST_REACH_DB if crowd_db.size == 0 else from_db + float(beyond_db[-1] + crowd_db[0]) / 2.0
    return HeavyEnd(from_db, share, mean_db * (1.0 - index), index, most_db)


def _by_luck(count: float, expected: float) -> bool:
    """Whether chance makes so many (Poisson distributed)."""
    from scipy import special  # heavy, so only where it is used

    return count < FEWEST_FAR or float(special.pdtrc(math.floor(count) - 1.0, expected)) > FAR_BY_LUCK


def _fitted(beyond_db: Values) -> tuple[float, float]:
    """Mean of rising heights, and the index of their distribution, none below that of an exponential one."""
    weights = 1.0 - (np.arange(beyond_db.size) + 0.65) / beyond_db.size
    mean, weighed = float(beyond_db.mean()), float((beyond_db * weights).mean())
    return mean, min(max(0.0, 2.0 - mean / max(mean - 2.0 * weighed, 1e-9)), MOST_INDEX)


def _goes_on(beyond_db: Values, mean_db: float, index: float, together: float) -> bool:
    """Whether low ones are as many among rising heights as their distribution has them (Kolmogorov's distance)."""
    from scipy import special  # heavy, so only where it is used

    index = max(index, 1e-6)
    by_law = -special.expm1(-special.log1p(index * beyond_db / (mean_db * (1.0 - index))) / index)
    fewer = float((by_law - np.arange(beyond_db.size) / beyond_db.size).max())
    return fewer <= max(ANY_MISFIT, LEAST_MISFIT * math.sqrt(together / beyond_db.size))


def _without_crowd(beyond_db: Values) -> Values:
    """Rising heights up to the gap that a heavy end has least of all, and so on until what is left has none."""
    while beyond_db.size > 1:
        by_luck = _log_chance_of_steps(beyond_db)
        if by_luck.min() > math.log(GAP_BY_LUCK / beyond_db.size):
            break
        beyond_db = beyond_db[: int(np.argmin(by_luck)) + 1]
    return beyond_db


def _log_chance_of_steps(beyond_db: Values) -> Values:
    """Logarithm of the chance of each step between rising heights, but the first.

    The step up to the i-th highest, times i, is as long as the steps below make it, up to (n/i)^index times; of so few
    as there are below (F distributed with 2 and twice as many degrees of freedom).
    """
    count = beyond_db.size
    rank, below = np.arange(count - 1.0, 0.0, -1.0), np.arange(1.0, count)
    steps = np.diff(beyond_db, prepend=0.0) * np.arange(count, 0.0, -1.0)
    usual = np.cumsum(steps)[:-1] / below * (count / rank) ** MOST_INDEX
    return np.asarray(-below * np.log1p(steps[1:] / np.maximum(usual, 1e-9) / below), dtype=np.float64)


def _anywhere(lone: NDArray[np.bool_], known: NDArray[np.bool_], together: float) -> bool:
    """Whether stretches of the axis hold as many as chance gives them (Poisson distributed)."""
    from scipy import special  # heavy, so only where it is used

    edges = np.linspace(0, lone.shape[1], STRETCHES + 1).round().astype(np.int64)
    seen, tried = (np.diff(np.append(0, np.cumsum(flags.sum(axis=0)))[edges]) for flags in (lone, known))
    expected = seen.sum() * tried / max(1, int(tried.sum()))
    told = expected > 0
    dispersion = float((np.square(seen - expected)[told] / expected[told]).sum()) / together
    return float(special.chdtrc(max(1, int(told.sum()) - 1), dispersion)) > UNEVEN_BY_LUCK
