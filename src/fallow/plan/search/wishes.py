"""Wishes about groups of links: a plan as good as the best one in everything that counts more, with fewer of them
broken.

The question is put again with the wishes as hard rules. Where not every link finds a place then, those that did are
kept where they can be while the others are placed wherever there is room. Last, whoever breaks a wish looks for a place
where it breaks fewer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import Kernels
from fallow.plan.search.headroom import as_good, standing_hz
from fallow.plan.search.question import Question, whole
from fallow.plan.search.score import score_of
from fallow.plan.search.search import Solution, improve, solution_of
from fallow.plan.search.standing import Standing
from fallow.show.grouping import Groupings
from fallow.show.wanted import Wanted

Whole = NDArray[np.int64]

__all__ = ["hardened", "unkept_in", "with_wishes"]


def with_wishes(
    best: Solution,
    question: Question,
    build: Callable[[Wanted], Question],
    wanted: Wanted,
    *,
    seed: int,
    should_stop: Callable[[int], bool],
    kernels: Callable[[], Kernels],
) -> Solution:
    """The plan with the fewest broken wishes found that is otherwise as good an answer to ``question`` as ``best``.

    ``build`` puts the question for a show. ``wanted``: the show, with those links fixed that are to stay.
    ``should_stop`` is asked with the number of searches still to be made, this one included.
    """
    unkept = unkept_in(best, question)
    if not unkept:
        return best
    strict = build(hardened(wanted))
    for found in _plans(strict, build, wanted, seed=seed, should_stop=should_stop, kernels=kernels):
        candidate = replace(found, score=score_of(question, standing_hz(found, question)))
        fewer = unkept_in(candidate, question)
        if fewer < unkept and as_good(candidate.score, best.score):
            best, unkept = candidate, fewer
        if not unkept:
            return best
    settled_hz = _settled(standing_hz(best, question), question, kernels, partial(should_stop, 1))
    settled = solution_of(question, score_of(question, settled_hz), settled_hz)
    return settled if question.unkept(settled_hz) < unkept and as_good(settled.score, best.score) else best


def hardened(wanted: Wanted) -> Wanted:
    """The show with every wish about groups as a rule that must be kept."""
    rules = wanted.groupings
    apart = tuple(replace(rule, hard=True) for rule in rules.apart)
    together = tuple(replace(rule, hard=True) for rule in rules.together)
    return replace(wanted, groupings=Groupings(apart, together))


def unkept_in(plan: Solution, question: Question) -> int:
    """In how many pairs of carriers a plan breaks a wish of a question."""
    return question.unkept(standing_hz(plan, question))


def _settled(
    at_hz: Whole, question: Question, kernels: Callable[[], Kernels], should_stop: Callable[[], bool]
) -> Whole:
    """A plan in which nobody who breaks a wish would break fewer on another free place as good, if time allows."""
    standing, facts = Standing(question, kernels), question.facts
    placed = np.flatnonzero((at_hz >= 0) & ~facts.is_fixed)
    standing.put(placed.tolist(), at_hz[placed].tolist())
    away = (facts.home_hz < 0) | (at_hz != facts.home_hz)
    movable = [i for i in placed[away[placed]].tolist() if i not in question.in_pairs]
    moved = True
    while moved:
        moved = False
        for i in movable:
            moved |= _moved_to_fewer(standing, i)
            if should_stop():
                return standing.at_hz
    return standing.at_hz


def _moved_to_fewer(standing: Standing, carrier: int) -> bool:
    """Whether one carrier found a place where it breaks fewer wishes."""
    question, k, here_hz = standing.question, int(standing.classes[carrier]), int(standing.at_hz[carrier])
    others = np.flatnonzero((standing.at_hz >= 0) & (np.arange(standing.at_hz.size) != carrier))
    stand = standing.classes[others], standing.at_hz[others]
    breaks = int(question.wishes.broken(k, whole([here_hz]), *stand)[0])
    if not breaks:
        return False
    standing.take([carrier])
    worth = question.worths[k]
    free_hz = standing.free_hz(k)
    here = worth.index(here_hz)
    if here is not None:
        free_hz = free_hz[worth.tier[np.searchsorted(worth.frequencies_hz, free_hz)] <= worth.tier[here]]
    broken = question.wishes.broken(k, free_hz, *stand)
    best = int(np.argmin(broken)) if broken.size else -1
    fewer = best >= 0 and int(broken[best]) < breaks
    standing.put([carrier], [int(free_hz[best]) if fewer else here_hz])
    return fewer


def _plans(
    strict: Question,
    build: Callable[[Wanted], Question],
    wanted: Wanted,
    *,
    seed: int,
    should_stop: Callable[[int], bool],
    kernels: Callable[[], Kernels],
) -> Iterator[Solution]:
    """Plans in which every wish is kept, and the best of them filled up where it leaves links out."""
    last: Solution | None = None
    for last in improve(strict, seed=seed, should_stop=partial(should_stop, 2), kernels=kernels):
        yield last
    if last is not None and len(last.frequencies_hz) < len(strict.links):
        plain = build(wanted)
        carriers = tuple(replace(each, home_hz=last.frequencies_hz.get(each.name)) for each in plain.carriers)
        kept = replace(plain, carriers=carriers, keeping=True)
        yield from improve(kept, seed=seed, should_stop=partial(should_stop, 1), kernels=kernels)
