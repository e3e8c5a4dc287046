"""Whether a plan in force could be kept with fewer changes, by trying: every choice of links that are left out and of
links that change, too few or too light to have been found, is tried in every way.

So it is proven for small shows that a re-plan is the smallest one, also where links are left out, weigh differently or
have two directions; or a smaller one is found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from math import comb, prod

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.completed import completed
from fallow.plan.search.engine import HOME_ONLY, Kernels
from fallow.plan.search.fitting import Fitting, by_kind
from fallow.plan.search.headroom import standing_hz
from fallow.plan.search.pairs import suits
from fallow.plan.search.question import Question, whole
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.search import Solution
from fallow.plan.search.standing import Standing
from fallow.plan.search.trying import Patience, can_be_tried

__all__ = ["with_fewest_moves"]

Whole = NDArray[np.int64]

MOST_CARRIERS = 64
"""That may move."""
MOST_CHOICES = 2_000
"""Of links to leave out, so that what comes in no step is short."""


def with_fewest_moves(
    plan: Solution, fewest: FewestMoves, question: Question, patience: Patience, kernels: Callable[[], Kernels]
) -> tuple[Solution, FewestMoves]:
    """The plan, or one that changes less and places as many links of each priority; and the bound, raised to what it
    changes where nothing less is possible.
    """
    changed = -plan.score.changed
    movable = np.count_nonzero(~question.facts.is_spare & ~question.facts.is_fixed)
    if changed <= fewest.weight_at_least or movable > MOST_CARRIERS or not can_be_tried(question):
        return plan, fewest
    trials = _Trials(question, standing_hz(plan, question), kernels)
    outcome, at_hz = trials.least(changed, patience)
    if at_hz is not None:
        plan = completed(at_hz, question, kernels)
    return plan, _proven(-plan.score.changed, fewest, question) if outcome else fewest


def _proven(changed: int, fewest: FewestMoves, question: Question) -> FewestMoves:
    weighed = bool((question.facts.weight != 1).any())
    because = "every way to place as many links with less changed was tried, and there is none"
    if weighed:
        return replace(fewest, because=because, weighs=changed)
    return FewestMoves(changed, because)


@dataclass(frozen=True)
class _Link:
    """A link that may move: its carriers, its priority, and what it costs to change it (0: it has no home)."""

    carriers: tuple[int, ...]
    rank: int
    weight: int
    stands: bool


class _Trials:
    """The links of a question that may move, and a plan of them."""

    def __init__(self, question: Question, at_hz: Whole, kernels: Callable[[], Kernels]) -> None:
        self.question, self.facts = question, question.facts
        self.standing = Standing(question, kernels)
        movable = np.flatnonzero(~self.facts.is_spare & ~self.facts.is_fixed).tolist()
        units = [unit for each in by_kind(question, movable, self.standing.at_hz).values() for unit in each]
        fixed_away = question.away(np.where(self.facts.is_fixed, at_hz, self.facts.home_hz))
        self.links = [self._link(unit, at_hz, fixed_away) for unit in units]
        self.for_all = int(self.facts.weight[fixed_away].sum())

    def _link(self, unit: tuple[int, ...], at_hz: Whole, fixed_away: NDArray[np.bool_]) -> _Link:
        """``fixed_away``: who is away even if all go home that may move."""
        has_home = any(self.facts.home_hz[i] >= 0 for i in unit) and not fixed_away[list(unit)].any()
        weight = int(self.facts.weight[unit[0]]) if has_home else 0
        return _Link(unit, int(self.facts.rank[unit[0]]), weight, bool(at_hz[unit[0]] >= 0))

    def least(self, changed: int, patience: Patience) -> tuple[bool, Whole | None]:
        """Whether it is certain that no plan changes less, by weight, than the one that is given back (``None``: than
        ``changed``).
        """
        best_hz: Whole | None = None
        while True:
            found = self._with_less(changed - self.for_all - 1, patience)
            if not isinstance(found, np.ndarray):
                return found is False, best_hz
            best_hz, changed = found, int(self.facts.weight[self.question.away(found)].sum())

    def _with_less(self, budget: int, patience: Patience) -> Whole | bool | None:
        """Where everybody stands in a plan that changes no more than ``budget``; False where there is none, ``None``
        where that is not known.
        """
        if self._choices() > MOST_CHOICES:
            return None
        for left_out in self._left_out():
            rest = budget - sum(link.weight for link in left_out)
            some = [link for link in self.links if link not in left_out]
            homed = [link for link in some if link.weight]
            for moved in _largest_sets([link.weight for link in homed], rest) if rest >= 0 else ():
                if not patience.goes_on():
                    return None
                stay = [link for i, link in enumerate(homed) if i not in moved]
                if not self._all_at_home(stay):
                    continue
                waiting = [i for link in some for i in link.carriers if self.standing.at_hz[i] < 0]
                fits = patience.outcome(Fitting(self.standing, waiting), stay=True)
                if fits is None:
                    return None
                if fits:
                    return self.standing.at_hz.copy()
        return False

    def _by_rank(self) -> Iterator[tuple[list[_Link], int]]:
        """The links of each priority, and how many of their carriers the plan leaves out."""
        for rank in sorted({link.rank for link in self.links}):
            links = [link for link in self.links if link.rank == rank]
            yield links, sum(len(link.carriers) for link in links if not link.stands)

    def _choices(self) -> int:
        """So many choices of links to leave out, or fewer."""
        return prod(
            sum(comb(len(links), count) for count in range((out + 1) // 2, out + 1)) for links, out in self._by_rank()
        )

    def _left_out(self) -> Iterator[tuple[_Link, ...]]:
        """Choices of links of which as many carriers of each priority are left out as in the plan."""
        for choice in product(*(list(_of_size(links, out)) for links, out in self._by_rank())):
            yield tuple(link for links in choice for link in links)

    def _all_at_home(self, stay: Sequence[_Link]) -> bool:
        """Whether these go home together, with nobody else beside them; of two directions each that has a home."""
        carriers = [i for link in stay for i in link.carriers if self.facts.home_hz[i] >= 0]
        wanted = set(carriers)
        standing = np.flatnonzero((self.standing.at_hz >= 0) & ~self.facts.is_fixed).tolist()
        wrong = [i for i in standing if i not in wanted or self.standing.at_hz[i] != self.facts.home_hz[i]]
        self.standing.take(wrong)
        for i in carriers:
            if self.standing.at_hz[i] < 0:
                self.standing.place([i], [int(self.facts.home_hz[i])], [HOME_ONLY])
                if self.standing.at_hz[i] < 0:
                    return False
        return self._directions_suit(wanted)

    def _directions_suit(self, at_home: set[int]) -> bool:
        at_hz = self.standing.at_hz
        pairs = [tie for tie in self.question.pairs if {tie.forward, tie.back} & at_home]
        return all(
            bool(suits(tie.duplex, whole([at_hz[tie.forward]]), whole([at_hz[tie.back]]))[0])
            for tie in pairs
            if at_hz[tie.forward] >= 0 and at_hz[tie.back] >= 0
        )


def _of_size(links: Sequence[_Link], carriers: int) -> Iterator[tuple[_Link, ...]]:
    """All choices of links with so many carriers together."""
    for count in range((carriers + 1) // 2, min(carriers, len(links)) + 1):
        for some in combinations(links, count):
            if sum(len(link.carriers) for link in some) == carriers:
                yield some


def _largest_sets(weights: Sequence[int], budget: int) -> Iterator[frozenset[int]]:
    """Sets of positions that weigh no more than ``budget`` together and to which no other one can be added."""

    def sets_from(first: int, left: int, lightest_out: int, chosen: tuple[int, ...]) -> Iterator[frozenset[int]]:
        if first == len(weights):
            if lightest_out > left:
                yield frozenset(chosen)
            return
        if weights[first] <= left:
            yield from sets_from(first + 1, left - weights[first], lightest_out, (*chosen, first))
        yield from sets_from(first + 1, left, min(lightest_out, weights[first]), chosen)

    return sets_from(0, budget, budget + 1, ())
