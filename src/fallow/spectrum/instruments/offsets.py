"""By how much several units show the same signals higher or lower than each other.

Two units are compared signal by signal, so that the strength of a signal, which nobody knows, cancels; signals that
changed between two looks are borne by ranks. All pairs together then give each unit's offset by weighted least
squares; pairs that share a unit share its errors, which the uncertainty allows for. Units that no signal joins,
through others neither, are told apart.

Source: the Hodges-Lehmann estimate and its interval from Wilcoxon's signed ranks: Hollander and Wolfe, Nonparametric
Statistical Methods, ch. 3 (from memory; the tests compare with SciPy's). Least squares: JCGM 100:2008, 5.2 and H.3.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.instruments.two_samples import student_factor
from fallow.spectrum.statistics import normal_quantile

__all__ = ["TWO_ANTENNAS_DB", "Difference", "Offsets", "fit_offsets", "paired_offset"]

TWO_ANTENNAS_DB = 2.0  # by which two antennas side by side show one signal differently: common practice
USUAL_WEIGHT = 2.0  # signals that this figure counts as, where there are few: design decision
FEWEST_FOR_RANKS = 6  # signals; fewer can't prove 95 % by ranks
EXACT_RANKS = 60  # up to so many the distribution of ranks is counted out
COVERED = 0.95
LEAST_U_DB = 0.1  # design decision: steps, filter shapes and steps of levels leave as much
Table = NDArray[np.float64]


@dataclass(frozen=True)
class Difference:
    """A difference in dB with its standard uncertainty: ± 1.96 ``u_db`` holds the true one 95 times in 100, however
    few signals there are. ``behind``: signals that it rests on.
    """

    difference_db: float
    u_db: float
    behind: int


@dataclass(frozen=True, eq=False)
class Offsets:
    """Offsets of units. ``pairs``: the first of two minus the second, where they share signals. ``offset_db``: of each
    unit [dB], shape (unit,), mean 0 in each group, NaN for a unit alone. ``group``: which units are joined, -1 for
    none, shape (unit,). ``covariance``: of the offsets [dB²], shape (unit, unit).
    """

    pairs: Mapping[tuple[int, int], Difference]
    offset_db: Table
    group: NDArray[np.int64]
    covariance: Table

    def against(self, unit: int, weights: Table) -> Difference:
        """One unit against the mean of others. ``weights``: of the others, shape (unit,), 0 for those left out.

        Raises ValueError where nothing joins them.
        """
        others = np.flatnonzero(weights)
        if others.size == 0 or self.group[unit] < 0 or (self.group[others] != self.group[unit]).any():
            raise ValueError("units that share no signal can't be compared")
        contrast = -weights / weights.sum()
        contrast[unit] += 1.0
        variance = float(contrast @ np.nan_to_num(self.covariance) @ contrast)
        behind = max((pair.behind for units, pair in self.pairs.items() if unit in units), default=0)
        return Difference(
            float(contrast @ np.nan_to_num(self.offset_db)), max(LEAST_U_DB, math.sqrt(max(variance, 0.0))), behind
        )


def fit_offsets(levels_db: Table, u_db: Table, usual_db: float = TWO_ANTENNAS_DB) -> Offsets:
    """Offsets from what each unit shows of each signal. ``levels_db``: [dBm or dB], shape (unit, signal), NaN where a
    unit says nothing; ``u_db``: each reading's own standard error [dB], same shape. ``usual_db``: by how much two
    units usually differ from signal to signal.
    """
    units = levels_db.shape[0]
    told = np.isfinite(levels_db)
    pairs: dict[tuple[int, int], Difference] = {}
    for one in range(units):
        for other in range(one + 1, units):
            both = told[one] & told[other]
            if both.any():
                errors = np.hypot(u_db[one, both], u_db[other, both])
                pairs[one, other] = paired_offset(levels_db[one, both] - levels_db[other, both], errors, usual_db)
    group = _groups(units, pairs)
    offset, covariance = np.full(units, np.nan), np.full((units, units), np.nan)
    for which in range(int(group.max(initial=-1)) + 1):
        members = np.flatnonzero(group == which)
        inside = {couple: pair for couple, pair in pairs.items() if group[couple[0]] == which}
        offset[members], covariance[np.ix_(members, members)] = _least_squares(members, inside, told)
    return Offsets(pairs, offset, group, covariance)


def paired_offset(differences_db: Table, u_db: Table, usual_db: float = TWO_ANTENNAS_DB) -> Difference:
    """The middle of differences, one from each signal [dB], shape (signal,), and its uncertainty.

    ``u_db``: standard error of each; ``usual_db``: standard deviation from signal to signal that is usual, which
    counts where there are few. Raises ValueError without any.
    """
    count = differences_db.size
    if count == 0:
        raise ValueError("an offset needs a signal")
    if count >= FEWEST_FOR_RANKS:
        low, middle, high = _by_ranks(differences_db)
        return Difference(middle, max(LEAST_U_DB, (high - low) / 2.0 / normal_quantile((1 + COVERED) / 2)), count)
    middle = float(np.median(differences_db))
    squares = float(((differences_db - middle) ** 2).sum())
    degrees = USUAL_WEIGHT + count - 1
    variance = (USUAL_WEIGHT * usual_db**2 + squares) / degrees + float((u_db**2).mean())
    wider = student_factor(1 - COVERED, degrees) / normal_quantile((1 + COVERED) / 2)
    return Difference(middle, max(LEAST_U_DB, wider * math.sqrt(variance / count)), count)


def _by_ranks(values: Table) -> tuple[float, float, float]:
    """Lower limit, middle and upper limit of the centre: from the means of all couples of values, sorted."""
    first, second = np.triu_indices(values.size)
    means = np.sort((values[first] + values[second]) / 2.0)
    cut = _rank_limit(values.size)
    return float(means[cut - 1]), float(np.median(means)), float(means[means.size - cut])


@cache
def _rank_limit(count: int) -> int:
    """How many of the smallest means lie below the interval, the one at its edge included."""
    if count > EXACT_RANKS:
        mean, variance = count * (count + 1) / 4, count * (count + 1) * (2 * count + 1) / 24
        return int(mean - normal_quantile((1 + COVERED) / 2) * math.sqrt(variance))
    ways = np.zeros(count * (count + 1) // 2 + 1)
    ways[0] = 1.0
    for rank in range(1, count + 1):  # sums of ranks: each counts or not
        ways[rank:] = ways[rank:] + ways[:-rank]
    below = np.cumsum(ways) / ways.sum()
    return max(1, int(np.searchsorted(below, (1 - COVERED) / 2, side="right")))


def _least_squares(
    members: NDArray[np.int64], pairs: Mapping[tuple[int, int], Difference], told: NDArray[np.bool_]
) -> tuple[Table, Table]:
    """Offsets of joined units with mean 0, and their covariance."""
    place = {int(unit): index for index, unit in enumerate(members)}
    design = np.zeros((len(pairs), members.size))
    for row, (one, other) in enumerate(pairs):
        design[row, place[one]], design[row, place[other]] = 1.0, -1.0
    seen = np.array([pair.difference_db for pair in pairs.values()])
    weights = np.array([pair.u_db**-2 for pair in pairs.values()])
    solver = np.linalg.pinv((design.T * weights) @ design, rcond=1e-10, hermitian=True) @ (design.T * weights)
    return solver @ seen, solver @ _shared_errors(pairs, told) @ solver.T


def _shared_errors(pairs: Mapping[tuple[int, int], Difference], told: NDArray[np.bool_]) -> Table:
    """Covariance of the pairs' differences: a unit that two pairs share brings half of the variance of each, over the
    signals that both rest on.
    """
    sides = np.zeros((len(pairs), told.shape[0]))
    for row, (one, other) in enumerate(pairs):
        sides[row, one], sides[row, other] = 1.0, -1.0
    rest_on = np.array([told[list(couple)].all(axis=0) for couple in pairs], dtype=np.float64)
    both = rest_on @ rest_on.T
    scale = np.array([pair.u_db for pair in pairs.values()]) / np.sqrt(np.diag(both))
    return np.asarray(sides @ sides.T / 2.0 * both * np.outer(scale, scale))


def _groups(units: int, pairs: Mapping[tuple[int, int], Difference]) -> NDArray[np.int64]:
    """Which units are joined, through others too: numbers from 0, -1 for a unit alone, shape (unit,)."""
    reach = np.eye(units, dtype=bool)
    for one, other in pairs:
        joined = reach[one] | reach[other]
        reach[joined] |= joined
    group = np.full(units, -1, dtype=np.int64)
    for unit in range(units):
        if group[unit] < 0 and reach[unit].sum() > 1:
            group[reach[unit]] = group.max() + 1
    return group
