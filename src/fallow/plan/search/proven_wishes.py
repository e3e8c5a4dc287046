"""Whether a plan with every link could break fewer wishes about groups, by trying every way to place the links of a
small show.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.completed import completed
from fallow.plan.search.engine import Kernels
from fallow.plan.search.fitting import Fitting
from fallow.plan.search.headroom import as_good
from fallow.plan.search.question import Question, whole
from fallow.plan.search.search import Solution
from fallow.plan.search.standing import Standing
from fallow.plan.search.trying import Patience, can_be_tried
from fallow.plan.search.wishes import unkept_in
from fallow.plan.search.worth import Worth

__all__ = ["with_fewest_broken"]

Whole = NDArray[np.int64]

MOST_LINKS = 16


def with_fewest_broken(
    plan: Solution, question: Question, patience: Patience, kernels: Callable[[], Kernels]
) -> tuple[Solution, bool]:
    """The plan, or one that breaks fewer wishes and is otherwise as good; and whether no plan that is so breaks fewer.

    Nothing is tried where links are left out, or where there are many.
    """
    unkept = unkept_in(plan, question)
    is_small = len(question.links) <= MOST_LINKS and len(plan.frequencies_hz) == len(question.links)
    if not unkept or not is_small or not can_be_tried(question):
        return plan, False
    best_places = _of_best_places(question) if _is_spotless(plan) else question
    standing = Standing(best_places, kernels)
    movable = [i for i in range(len(question.links)) if question.carriers[i].fixed_hz is None]
    while unkept:
        outcome = patience.outcome(_FittingForWishes(standing, movable, unkept - 1), stay=True)
        if not outcome:
            return plan, outcome is False
        found = completed(standing.at_hz, question, kernels)
        standing.take(movable)
        if not as_good(found.score, plan.score) or unkept_in(found, question) >= unkept:
            return plan, False
        plan, unkept = found, unkept_in(found, question)
    return plan, True


def _is_spotless(plan: Solution) -> bool:
    """Whether every link that may move stands on a place of the best sort."""
    score = plan.score
    return not (score.not_measured or score.doubtful or score.hit or score.ask)


def _of_best_places(question: Question) -> Question:
    """The question with nothing but places of the best sort, on which a plan as good as a spotless one stands."""
    worths = []
    for worth in question.worths:
        best = worth.tier == 0
        worths.append(Worth(worth.frequencies_hz[best], worth.tier[best], worth.margin_db[best]))
    return replace(question, worths=tuple(worths))


class _FittingForWishes(Fitting):
    """As ``Fitting``; no more than ``budget`` pairs of carriers break a wish."""

    def __init__(self, standing: Standing, carriers: Sequence[int], budget: int) -> None:
        super().__init__(standing, carriers)
        self._left = [budget - standing.question.unkept(standing.at_hz)]

    def _put(self, carrier: int, hz: int) -> None:
        broken = self._broken(int(self.standing.classes[carrier]), whole([hz]))
        self._left.append(self._left[-1] - int(broken[0]))
        super()._put(carrier, hz)

    def _take(self) -> None:
        self._left.pop()
        super()._take()

    def _free_hz(self, k: int) -> Whole:
        free_hz = super()._free_hz(k)
        return free_hz[self._broken(k, free_hz) <= self._left[-1]]

    def _broken(self, k: int, at_hz: Whole) -> Whole:
        stands = np.flatnonzero(self.standing.at_hz >= 0)
        others, others_hz = self.standing.classes[stands], self.standing.at_hz[stands]
        return self.standing.question.wishes.broken(k, at_hz, others, others_hz)
