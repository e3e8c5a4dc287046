"""What is known of a plan that leaves links out: how many any plan can place, and why links with two directions have no
place where each direction by itself would have one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from fallow.plan.search.bounds import Bound, most
from fallow.plan.search.densest import Effort
from fallow.plan.search.engine import Kernels
from fallow.plan.search.group_bounds import lowered_by_groups
from fallow.plan.search.hopeless_pairs import hopeless_pairs, lowered_by_pairs, without
from fallow.plan.search.pairs_left_out import (
    Limit,
    beside_others,
    limits_by_trial,
    limits_of_fixed_distances,
    lowered_by_limits,
)
from fallow.plan.search.question import Question
from fallow.plan.search.trying import Patience, lowered_by_trial

__all__ = ["Proven", "proven_of"]


@dataclass(frozen=True)
class Proven:
    """``most``: no plan can place more links; ``None`` where nothing says so. ``of_pairs``: why links with two
    directions can stand nowhere, by the name of each direction; ``beside``: the same where it is not for the two alone.
    """

    most: Bound | None = None
    of_pairs: Mapping[str, str] = field(default_factory=dict)
    beside: Mapping[str, str] = field(default_factory=dict)

    def because(self, name: str, account: tuple[str, ...]) -> tuple[str, ...]:
        """Why a link is left out. ``account``: what is said of each direction by itself, where all its places went
        first.
        """
        if name in self.of_pairs:
            return (self.of_pairs[name],)
        return (*account[:1], self.beside[name]) if name in self.beside else account


def proven_of(
    question: Question,
    plan_hz: Mapping[str, int],
    effort: Effort,
    patience: Callable[[], Patience],
    kernels: Callable[[], Kernels],
) -> Proven:
    """The lowest bound that any argument gives, and the reasons, for a plan (hertz by link).

    ``effort``, ``patience``: what each trial may cost.
    """
    hopeless = hopeless_pairs(question)
    possible = without(question, hopeless)
    placed = len(plan_hz)
    limits = limits_of_fixed_distances(possible)
    bound = lowered_by_groups(possible, most(possible, effort))
    if placed < len(possible.links):
        limits = (*limits, *limits_by_trial(possible, plan_hz.keys(), patience(), kernels))
        bound = lowered_by_limits(possible, limits, bound)
        bound = lowered_by_trial(possible, bound, placed, patience=patience(), kernels=kernels)
    beside = beside_others(possible, plan_hz, patience(), kernels) if possible.pairs else {}
    return Proven(lowered_by_pairs(question, hopeless, bound), hopeless, beside | _by_name(limits))


def _by_name(limits: tuple[Limit, ...]) -> dict[str, str]:
    """The reason for each carrier, the one that leaves the most of them out."""
    ordered = sorted(limits, key=lambda limit: limit.left_out)
    return {name: limit.because for limit in ordered for name in limit.names if limit.left_out > 0}
