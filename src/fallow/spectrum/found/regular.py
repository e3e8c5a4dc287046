"""Points at equal distances (bursts in time, lines in frequency), and the chance that they fell so by luck.

A step and a tolerance are fitted to the distances; then it is asked how probable it is, for distances without any
order, that as many of them lie so near to multiples of one step. Every step and tolerance that could have been fitted
is counted (union bound, Boole), so the chance is stated too high rather than too low.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["LEAST_CHANCE", "Regular", "find_regular", "lone_distances", "told_chance"]

LEAST_CHANCE = 1e-15  # smaller ones are not told apart
FEWEST_DISTANCES = 4
MOST_DISTANCES = 400  # enough for any proof; keeps long surveys quick
MOST_MULTIPLE = 8  # of the step in one distance: what lies farther apart says little about it
FITTING_SHARES = (1.0, 0.85, 0.7)  # of the distances that must fit, tried in turn
LOOSEST_SHARE = 0.2  # of the step: a tolerance wider than this is no order
FACTORS = (1, 2, 3)  # a distance may span so many steps


@dataclass(frozen=True)
class Regular:
    """Points ``step`` apart, the distances (or most of them) within ``deviation`` of a multiple, in the unit of the
    points.

    ``count`` points; ``chance``: probability that points without order look like this.
    """

    step: float
    deviation: float
    count: int
    chance: float


def find_regular(distances: NDArray[np.floating], lone: NDArray[np.float64]) -> Regular | None:
    """The step that the distances between neighbouring points are multiples of; the least probable one by luck.

    ``distances``: in grains (sweeps, or bins), shape (distance,). ``lone``: the probability of each whole distance for
    points without order, shape (distance + 1,), from 0 on. None for fewer than ``FEWEST_DISTANCES``, or without order.
    """
    apart = np.asarray(distances, dtype=np.float64)[:MOST_DISTANCES]
    if apart.size < FEWEST_DISTANCES:
        return None
    best: Regular | None = None
    for tried in np.unique(np.concatenate([apart / factor for factor in FACTORS])):
        found = _fitted(apart, float(tried), lone)
        if found is not None and (best is None or found.chance < best.chance):
            best = found
    return best


def _fitted(apart: NDArray[np.float64], tried: float, lone: NDArray[np.float64]) -> Regular | None:
    """The step near ``tried`` that fits all distances, or most of them, whichever is less probable by luck."""
    if tried < 2.0:
        return None
    multiples = np.maximum(1.0, np.round(apart / tried))
    if multiples.max() > MOST_MULTIPLE:
        return None
    best: Regular | None = None
    good = np.ones(apart.size, dtype=bool)
    for share in FITTING_SHARES:
        step = float((apart * multiples)[good].sum() / np.square(multiples[good]).sum())
        away = np.abs(apart - multiples * step)
        deviation = max(0.5, float(np.quantile(away, share, method="higher")))
        good = away <= deviation
        if deviation > LOOSEST_SHARE * step:
            continue
        chance = _by_luck(step, deviation, (int(good.sum()), apart.size), lone)
        if best is None or chance < best.chance:
            best = Regular(step, deviation, apart.size + 1, chance)
    return best


def _by_luck(step: float, deviation: float, hits: tuple[int, int], lone: NDArray[np.float64]) -> float:
    """Chance that so many of so many distances lie near multiples, for any step and tolerance that could be fitted."""
    from scipy import special  # heavy, so only where it is used

    places = np.arange(lone.size)
    near = np.abs(places - np.maximum(1.0, np.round(places / step)) * step) <= deviation + 1e-9
    hit = min(1.0, float(lone[near & (places <= (MOST_MULTIPLE + 0.5) * step)].sum()))
    as_many = float(special.betainc(hits[0], hits[1] - hits[0] + 1, hit))  # binomial tail
    could_be_fitted = 2 * lone.size * (2.0 * deviation + 1.0) * len(FITTING_SHARES)  # steps by halves, tolerances
    return min(1.0, could_be_fitted * as_many)


def lone_distances(per_grain: float, least: int, longest: int) -> NDArray[np.float64]:
    """Probability of each whole distance for points that fall with ``per_grain`` into each grain, ``least`` apart.

    The geometric distribution, from 0 to ``longest``: shape (longest + 1,).
    """
    chances = np.zeros(longest + 1)
    places = np.arange(least, longest + 1)
    chances[least:] = per_grain * (1.0 - per_grain) ** (places - least)
    return chances


def told_chance(chance: float) -> str:
    """A chance in words: ``1 in 2,000``."""
    return f"1 in {round(1.0 / max(chance, LEAST_CHANCE)):,}" if chance > 1e-6 else "less than 1 in a million"
