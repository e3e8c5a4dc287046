"""Links that stand, as a plan: with as many spares as find a place beside them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import LOWEST, Kernels
from fallow.plan.search.pairs import restore, standing_for
from fallow.plan.search.question import Question
from fallow.plan.search.score import score_of
from fallow.plan.search.search import Solution, solution_of

__all__ = ["completed"]


def completed(at_hz: NDArray[np.int64], question: Question, kernels: Callable[[], Kernels]) -> Solution:
    """The plan of links at ``at_hz`` (int64, shape (carrier,), −1: nowhere). Spares come when every link stands."""
    standing = standing_for(question, kernels)
    restore(standing, at_hz)
    if not (at_hz[~question.facts.is_spare] < 0).any():
        spares = np.flatnonzero(question.facts.is_spare).tolist()
        standing.place(spares, [-1] * len(spares), [LOWEST] * len(spares))
    return solution_of(question, score_of(question, standing.at_hz), standing.at_hz)
