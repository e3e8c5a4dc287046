"""Plans of small shows with as many links as can be, priority by priority: every choice is tried in every way."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.completed import completed
from fallow.plan.search.engine import LOWEST, Kernels
from fallow.plan.search.fitting import Fitting, LinkKind, by_kind
from fallow.plan.search.headroom import standing_hz
from fallow.plan.search.pairs import restore, standing_for
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution
from fallow.plan.search.standing import Standing
from fallow.plan.search.trying import MOST_LINKS, Patience, can_be_tried, choices_of

__all__ = ["with_most_links"]

Whole = NDArray[np.int64]
Kinds = Mapping[LinkKind, Sequence[tuple[int, ...]]]


def with_most_links(plan: Solution, question: Question, patience: Patience, kernels: Callable[[], Kernels]) -> Solution:
    """The plan, or one that places more links, those of the highest priority first. Nothing is tried in large shows."""
    at_hz = standing_hz(plan, question)
    links = np.flatnonzero(~question.facts.is_spare)
    movable = [i for i in links[~question.facts.is_fixed[links]].tolist() if i not in question.followers]
    if (at_hz[links] >= 0).all() or len(movable) > MOST_LINKS or not can_be_tried(question):
        return plan
    standing = Standing(question, kernels)
    kinds = _by_rank(question, movable, standing)
    more_hz = _with_more(at_hz, kinds, standing, patience)
    return plan if more_hz is None else completed(more_hz, question, kernels)


def _by_rank(question: Question, movable: Sequence[int], standing: Standing) -> dict[int, Kinds]:
    """The links of each priority, by kind."""
    ranks = question.facts.rank
    return {
        rank: by_kind(question, [i for i in movable if ranks[i] == rank], standing.at_hz)
        for rank in sorted({int(ranks[i]) for i in movable})
    }


def _with_more(at_hz: Whole, kinds: Mapping[int, Kinds], standing: Standing, patience: Patience) -> Whole | None:
    """Where everybody stands in a plan with more links; ``None`` where none was found."""
    found: Whole | None = None
    counts = _counts(at_hz, kinds)
    for rank, of_rank in kinds.items():
        everybody = sum(len(unit) for units in of_rank.values() for unit in units)
        for target in range(everybody, counts[rank], -1):
            wanted = {**{one: counts[one] for one in kinds if one < rank}, rank: target}
            outcome = _fit(wanted, kinds, standing, patience)
            if outcome is None:
                return found
            if outcome:
                found = _filled(standing)
                counts = _counts(found, kinds)
                standing.take(np.flatnonzero(~standing.fixed).tolist())
                break
    return found


def _counts(at_hz: Whole, kinds: Mapping[int, Kinds]) -> dict[int, int]:
    """How many carriers of each priority stand, fixed ones left out."""
    return {
        rank: sum(int(np.count_nonzero(at_hz[list(unit)] >= 0)) for units in of_rank.values() for unit in units)
        for rank, of_rank in kinds.items()
    }


def _fit(wanted: Mapping[int, int], kinds: Mapping[int, Kinds], standing: Standing, patience: Patience) -> bool | None:
    """Whether links with so many carriers of each priority fit, in whatever choice; then they stand."""
    by_rank = [choices_of([(kind, len(units)) for kind, units in kinds[r].items()], n) for r, n in wanted.items()]
    for choice in product(*by_rank):
        chosen = [
            unit[0]
            for rank, of_rank in zip(wanted, choice, strict=True)
            for kind, count in of_rank
            for unit in kinds[rank][kind][:count]
        ]
        outcome = patience.outcome(Fitting(standing, chosen), stay=True)
        if outcome is not False:
            return outcome
    return False


def _filled(standing: Standing) -> Whole:
    """Where everybody stands once those who still find a free place have taken it, the more important ones first."""
    question = standing.question
    filled = standing_for(question, standing.kernels)
    restore(filled, standing.at_hz)
    waiting = np.flatnonzero((filled.at_hz < 0) & ~question.facts.is_spare)
    waiting = waiting[np.argsort(question.facts.rank[waiting], kind="stable")]
    order = [i for i in waiting.tolist() if i not in question.followers]
    filled.place(order, [-1] * len(order), [LOWEST] * len(order))
    return filled.at_hz
