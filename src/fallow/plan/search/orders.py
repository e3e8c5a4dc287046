"""In which order links are placed, and which of their free places they take."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest

import numpy as np

from fallow.plan.search.engine import IN_ANY_TIER, LOWEST
from fallow.plan.search.question import Question

__all__ = ["ANYWHERE", "area_by_area", "areas_take_turns", "picks_of", "wandering_picks"]

ANYWHERE = float(np.nextafter(1.0, 0.0))
"""The largest share as a pick: of all free places the last."""


def area_by_area(question: Question, links: Sequence[int]) -> list[int]:
    """By priority; then those with the fewest places; then those that stand in the way of the fewest others."""
    rank, class_index = question.facts.rank, question.facts.class_index
    in_the_way = question.meetings @ np.bincount(class_index, minlength=len(question.classes))
    room = [worth.frequencies_hz.size for worth in question.worths]

    def order(i: int) -> tuple[int, ...]:
        k = int(class_index[i])
        return int(rank[i]), room[k], int(in_the_way[k]), k

    return sorted(links, key=order)


def areas_take_turns(question: Question, links: Sequence[int]) -> list[int]:
    """By priority; then one of each class in turn."""
    classes: dict[tuple[int, int], list[int]] = {}
    for i in area_by_area(question, links):
        classes.setdefault((int(question.facts.rank[i]), int(question.facts.class_index[i])), []).append(i)
    order = []
    for rank in sorted({rank for rank, _ in classes}):
        of_rank = [members for (each, _), members in classes.items() if each == rank]
        order += [i for turn in zip_longest(*of_rank) for i in turn if i is not None]
    return order


def wandering_picks(random: np.random.Generator, n: int) -> list[float]:
    """Any free place; any or the lowest; or any, leaning to the low ones: none of the three is best everywhere."""
    kind, share = random.integers(3), random.random(n)
    if kind == 1:
        share = np.where(random.random(n) < 0.5, share, LOWEST)
    elif kind == 2:
        share = 1.0 - random.random(n) ** (1 / 3)
    picks: list[float] = np.minimum(share, ANYWHERE).tolist()
    return picks


def picks_of(random: np.random.Generator, n: int, tierless: float) -> list[float]:
    """Lowest free place or any, for all alike or each by itself; with the chance ``tierless`` of any tier."""
    share = random.choice([0.0, 0.3, 1.0])
    picks = np.where(random.random(n) < share, random.random(n), LOWEST)
    if random.random() < tierless:
        picks = np.maximum(picks, 0.0) + IN_ANY_TIER
    chosen: list[float] = picks.tolist()
    return chosen
