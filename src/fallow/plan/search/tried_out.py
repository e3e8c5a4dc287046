"""What trying every way makes of a plan of a small show, in the order of what a plan strives for: more links, fewer
changes, fewer broken wishes about groups; and what it proves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fallow.plan.search.engine import Kernels
from fallow.plan.search.most_links import with_most_links
from fallow.plan.search.proven_moves import with_fewest_moves
from fallow.plan.search.proven_wishes import with_fewest_broken
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.search import Solution
from fallow.plan.search.trying import Patience

__all__ = ["TriedOut", "tried_out"]


@dataclass(frozen=True)
class TriedOut:
    """The plan, what is known of the fewest changes, and what else is proven, in sentences."""

    plan: Solution
    fewest: FewestMoves
    notes: tuple[str, ...] = ()


def tried_out(
    plan: Solution,
    fewest: FewestMoves,
    question: Question,
    patience: Callable[[], Patience],
    kernels: Callable[[], Kernels],
) -> TriedOut:
    """The plan itself where trying finds no better one. ``patience``: what each of the three trials may cost."""
    plan = with_most_links(plan, question, patience(), kernels)
    if question.keeping:
        plan, fewest = with_fewest_moves(plan, fewest, question, patience(), kernels)
    plan, is_proven = with_fewest_broken(plan, question, patience(), kernels)
    told = "every way to place all links was tried: no plan that is as good otherwise breaks fewer wishes about groups"
    return TriedOut(plan, fewest, (told,) if is_proven else ())
