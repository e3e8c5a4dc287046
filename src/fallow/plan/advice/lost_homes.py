"""How many links can't stay where the plan in force has them, looked at in both of their directions.

The search counts where the way there stands; the way back follows it. So a link of which only the way back lost its
place is seen here.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fallow.plan.search.bounds import left_of
from fallow.plan.search.question import Question, whole
from fallow.plan.search.repair import FewestMoves

__all__ = ["raised_by_lost_homes"]


def raised_by_lost_homes(fewest: FewestMoves, question: Question, kept_hz: Mapping[str, int]) -> FewestMoves:
    """The higher of two bounds: what the search knows, and the links that fixed ones, strangers, the law or the air
    keep from where the plan in force (hertz by carrier) has one of their directions. The second is only looked for in
    shows with two directions.
    """
    lost = _lost(question, kept_hz) if question.pairs else []
    weight = int(question.facts.weight[lost].sum())
    if weight <= fewest.weight_at_least:
        return fewest
    who, it = ("link", "it") if len(lost) == 1 else ("links", "them")
    because = f"{len(lost)} {who} can't stay where the plan in force has {it}"
    is_weighed = bool((question.facts.weight != 1).any())
    return FewestMoves(max(len(lost), fewest.at_least), because, weight if is_weighed else None)


def _lost(question: Question, kept_hz: Mapping[str, int]) -> list[int]:
    """Links, by the number of their way there, that can't stay; fixed ones do."""
    there = {tie.back: tie.forward for tie in question.pairs}
    kept = [
        (i, carrier.class_index, kept_hz[carrier.name])
        for i, carrier in enumerate(question.carriers)
        if carrier.name in kept_hz and carrier.fixed_hz is None
    ]
    places_hz = {k: whole(sorted({hz for _, j, hz in kept if j == k})) for k in {k for _, k, _ in kept}}
    possible_hz = {k: np.intersect1d(at_hz, question.worths[k].frequencies_hz) for k, at_hz in places_hz.items()}
    left_hz = {k: set(at_hz.tolist()) for k, at_hz in left_of(question, possible_hz).items()}
    return sorted({there.get(i, i) for i, k, hz in kept if hz not in left_hz[k]})
