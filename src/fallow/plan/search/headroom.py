"""A plan with room to spare: the same links on places as good, at distances wider than asked.

The margin of a plan is its thinnest one. Until levels are counted, that is how far every distance exceeds what is
asked; so once every link has a place, the question is put again with all distances of our equipment widened. Links
that keep the place of a plan in force stay there: only those that are new or move are given room.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import Kernels
from fallow.plan.search.question import Question, whole
from fallow.plan.search.score import Score, score_of
from fallow.plan.search.search import Solution, improve
from fallow.show.equipment import Equipment
from fallow.show.wanted import Wanted

__all__ = ["FACTORS", "as_good", "held", "is_complete", "standing_hz", "widened", "with_headroom"]

FACTORS = (Fraction(4), Fraction(3), Fraction(2), Fraction(3, 2), Fraction(5, 4))
THINNER_BY_DB = 1.0  # what distance may cost in margin over the air


def is_complete(question: Question, score: Score) -> bool:
    """Whether every link has a place, so that only better places and spares are left to wish for."""
    return sum(score.placed) == np.count_nonzero(~question.facts.is_spare)


def with_headroom(
    best: Solution,
    question: Question,
    wanted: Wanted,
    build: Callable[[Wanted], Question],
    *,
    seed: int,
    should_stop: Callable[[int], bool],
    kernels: Callable[[], Kernels],
) -> tuple[Solution, Fraction]:
    """The plan with the widest distances found that is otherwise as good an answer to ``question`` as ``best``, wishes
    about groups included, and by how much they are wider.

    ``wanted``: the show, or as ``held`` makes it. ``build`` puts the question for a show. ``should_stop`` is asked with
    the number of factors still to be tried, this one included: it says when this one is to be given up.
    """
    unkept = question.unkept(standing_hz(best, question))
    for left, factor in zip(range(len(FACTORS), 0, -1), FACTORS, strict=True):
        wide = build(widened(wanted, factor))
        stop = partial(should_stop, left)
        for solution in improve(wide, seed=seed, should_stop=stop, kernels=kernels):
            at_hz = standing_hz(solution, question)
            found = replace(solution, score=score_of(question, at_hz))
            if as_good(found.score, best.score) and question.unkept(at_hz) <= unkept:
                return found, factor
    return best, Fraction(1)


def held(wanted: Wanted, at_hz: Mapping[str, int], keep: Mapping[str, int]) -> Wanted:
    """The show with those links fixed that stand, by a plan (hertz by link), where the plan in force has them."""
    links = [
        replace(link, fixed=True, frequency_hz=keep[link.name])
        if link.planned and link.name in keep and keep[link.name] == at_hz.get(link.name)
        else link
        for link in wanted.links
    ]
    return replace(wanted, links=tuple(links))


def widened(wanted: Wanted, factor: Fraction) -> Wanted:
    """The show with every distance of its equipment multiplied."""
    return replace(wanted, equipment={name: _wider(each, factor) for name, each in wanted.equipment.items()})


def _wider(equipment: Equipment, factor: Fraction) -> Equipment:
    def wide(distance_hz: int | None) -> int | None:
        return None if distance_hz is None else int(distance_hz * factor)

    return replace(
        equipment,
        spacing_hz=int(equipment.spacing_hz * factor),
        im3_hz=wide(equipment.im3_hz),
        im3_three_hz=wide(equipment.im3_three_hz),
        im5_hz=wide(equipment.im5_hz),
        im7_hz=wide(equipment.im7_hz),
    )


def standing_hz(plan: Solution, question: Question) -> NDArray[np.int64]:
    """Where a plan has each carrier of a question, in hertz, −1: nowhere; int64, shape (carrier,)."""
    stands = {**plan.frequencies_hz, **{spare.name: spare.frequency_hz for spare in plan.spares}}
    return whole(stands.get(carrier.name, -1) for carrier in question.carriers)


def as_good(score: Score, best: Score) -> bool:
    """Whether a plan is no worse, but for a little margin over the air."""
    return score[:-1] >= best[:-1] and score.thinnest_db >= best.thinnest_db - THINNER_BY_DB
