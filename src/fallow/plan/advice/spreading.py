"""Spares where they survive: apart from what they are to stand in for.

A spare in the TV channel that comes up is no spare. So each is put, among the places of its best sort, where the
fewest links and spares of its equipment and area share the channel with it. Links stay where they are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import Kernels
from fallow.plan.search.question import Carrier, Question
from fallow.plan.search.search import Solution, SpareAt
from fallow.plan.search.standing import Standing
from fallow.units import Channel

__all__ = ["spread_spares"]

Whole = NDArray[np.int64]


def spread_spares(
    plan: Solution, question: Question, channels: Sequence[Channel], kernels: Callable[[], Kernels]
) -> Solution:
    """The same plan with its spares spread over ``channels`` (rising, without overlap)."""
    at_hz = {**plan.frequencies_hz, **{spare.name: spare.frequency_hz for spare in plan.spares}}
    placed = [i for i, carrier in enumerate(question.carriers) if carrier.name in at_hz and carrier.fixed_hz is None]
    movable = [i for i in placed if question.carriers[i].is_spare and i not in question.in_pairs]
    if not channels or not movable:  # else the tables, which take seconds in the largest shows, would be for nothing
        return plan
    standing = Standing(question, kernels)
    standing.put(placed, [at_hz[question.carriers[i].name] for i in placed])
    edges_hz = np.array([channel.low_hz for channel in channels], dtype=np.int64)
    for i in movable:
        _put_apart(i, standing, edges_hz)
    where_hz = {carrier.name: int(hz) for carrier, hz in zip(question.carriers, standing.at_hz, strict=True)}
    return replace(plan, spares=tuple(_moved(spare, where_hz[spare.name]) for spare in plan.spares))


def _put_apart(spare: int, standing: Standing, edges_hz: Whole) -> None:
    """Take a spare to the free place of its best sort in the channel that holds the fewest of its kind."""
    question = standing.question
    was_hz, k = int(standing.at_hz[spare]), int(standing.classes[spare])
    standing.take([spare])
    free_hz = standing.free_hz(k)
    worth = question.worths[k]
    tier = worth.tier[np.searchsorted(worth.frequencies_hz, free_hz)]
    free_hz = free_hz[tier == tier.min(initial=255)]
    alike = [i for i, carrier in enumerate(question.carriers) if _is_alike(carrier, question.carriers[spare])]
    company_hz = standing.at_hz[[i for i in alike if standing.at_hz[i] >= 0]]
    in_channel = np.bincount(np.searchsorted(edges_hz, company_hz, side="right"), minlength=edges_hz.size + 1)
    company = in_channel[np.searchsorted(edges_hz, free_hz, side="right")]
    best_hz = int(free_hz[np.argmin(company)]) if free_hz.size else was_hz
    standing.put([spare], [best_hz])


def _is_alike(one: Carrier, other: Carrier) -> bool:
    return (one.equipment, one.area) == (other.equipment, other.area)


def _moved(spare: SpareAt, frequency_hz: int) -> SpareAt:
    return replace(spare, frequency_hz=frequency_hz)
