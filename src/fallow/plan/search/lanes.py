"""The search on several cores: a search in each lane, with a seed of its own, and the best plan shared.

All lanes make the same number of steps before anything is compared, so that the same seed and the same number of rounds
give the same plans, however quick each core is. Compiled kernels let other threads run beside them; with NumPy's, lanes
gain little.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import Kernels
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.score import Score
from fallow.plan.search.search import Search, Solution, improve, solution_of

__all__ = ["improve_side_by_side"]

Whole = NDArray[np.int64]

STEPS = 4
"""Of each lane in one round: so many that lanes seldom wait for each other long, so few that all stop promptly."""
PATIENCE = 40
"""Rounds that a lane may stay behind the best before it takes that over."""
SEEDS_APART = 7919


def improve_side_by_side(
    question: Question,
    *,
    seed: int,
    should_stop: Callable[[], bool],
    kernels: Callable[[], Kernels],
    tell: Callable[[FewestMoves], None] | None = None,
    lanes: int = 2,
) -> Iterator[Solution]:
    """As ``search.improve``; ``should_stop`` is asked once for each round. A plan to keep is kept in one lane."""
    if lanes == 1 or any(carrier.home_hz is not None for carrier in question.carriers):
        yield from improve(question, seed=seed, should_stop=should_stop, kernels=kernels, tell=tell)
        return
    front, best = Search(question, seed, kernels), None
    searches = [front]
    try:
        for score, at_hz in front.fills():
            if best is None or score > best:
                best = score
                yield solution_of(question, score, at_hz)
            if front.nothing_left(best) or should_stop():
                return
        searches += [Search(question, seed + SEEDS_APART * i, kernels, like=front) for i in range(1, lanes)]
        for score, at_hz in _rounds(searches):
            if best is None or score > best:
                best = score
                yield solution_of(question, score, at_hz)
            if front.nothing_left(best) or should_stop():
                return
    finally:
        for search in searches:
            del search.repair  # as in ``improve``


def _rounds(searches: list[Search]) -> Iterator[tuple[Score, Whole]]:
    """The best plan of each round of all searches."""
    lanes = [_Lane(search) for search in searches]
    with ThreadPoolExecutor(len(lanes) - 1, "fallow lane") as pool:
        while True:
            others = [pool.submit(lane.advance) for lane in lanes[1:]]
            lanes[0].advance()
            for other in others:
                other.result()
            lead = max(lanes, key=lambda lane: lane.best)  # the first of equals
            yield lead.best, lead.best_hz
            for lane in lanes:
                lane.keep_up_with(lead)


class _Lane:
    """One search, the best plan it has seen, and for how many rounds another one has been better."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.steps = search.onwards()
        self.best, self.best_hz = search.best, search.best_hz
        self.behind = 0

    def advance(self) -> None:
        """Some steps."""
        for _ in range(STEPS):
            score, at_hz = next(self.steps)
            if score > self.best:
                self.best, self.best_hz = score, at_hz

    def keep_up_with(self, lead: _Lane) -> None:
        """Go on from the best plan, when another lane has had it for long."""
        self.behind = self.behind + 1 if lead.best > self.best else 0
        if self.behind > PATIENCE:
            self.search.follow(lead.best_hz)
            self.best, self.best_hz, self.behind = lead.best, lead.best_hz, 0
