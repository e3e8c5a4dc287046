"""Where links may wait half-way through a re-plan: places that are free before it and after it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import Kernels
from fallow.plan.search.question import Question
from fallow.plan.search.standing import Standing

__all__ = ["waiting_places"]

PLACES = 2
"""For each link; the more there are, the longer takes the search for an order."""


def waiting_places(
    was_hz: Mapping[str, int], now_hz: Mapping[str, int], question: Question, kernels: Callable[[], Kernels]
) -> dict[str, list[int]]:
    """A few places of the best sort for each link that moves (hertz by link): with everybody else where the old plan
    has them, and where the new one has them, nobody's distance is broken. In between that has to be looked at.
    """
    before, after = (_standing(at_hz, question, kernels) for at_hz in (was_hz, now_hz))
    found = {}
    for i, carrier in enumerate(question.carriers):
        name = carrier.name
        moves = name in was_hz and name in now_hz and was_hz[name] != now_hz[name]
        if moves and carrier.fixed_hz is None:
            found[name] = _spread(_free_hz(i, before) & _free_hz(i, after), i, question)
    return found


def _standing(at_hz: Mapping[str, int], question: Question, kernels: Callable[[], Kernels]) -> Standing:
    standing = Standing(question, kernels)
    placed = [i for i, one in enumerate(question.carriers) if one.name in at_hz and one.fixed_hz is None]
    standing.put(placed, [at_hz[question.carriers[i].name] for i in placed])
    return standing


def _free_hz(carrier: int, standing: Standing) -> set[int]:
    was_hz = int(standing.at_hz[carrier])
    standing.take([carrier])
    free_hz = set(standing.free_hz(int(standing.classes[carrier])).tolist())
    standing.put([carrier], [was_hz])
    return free_hz


def _spread(free_hz: set[int], carrier: int, question: Question) -> list[int]:
    """Some of the best of these places, far from each other."""
    worth = question.worths[question.carriers[carrier].class_index]
    at_hz: NDArray[np.int64] = np.array(sorted(free_hz), dtype=np.int64)
    tier = worth.tier[np.searchsorted(worth.frequencies_hz, at_hz)]
    at_hz = at_hz[tier == tier.min(initial=255)]
    chosen: list[int] = at_hz[np.linspace(0, at_hz.size - 1, min(PLACES, at_hz.size)).astype(int)].tolist()
    return chosen
