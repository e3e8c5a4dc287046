"""Rules about groups of links as distances between classes of carriers: how near at least, how far at most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.groups import Class
from fallow.show.grouping import Apart, Groupings, Together, groups_of, same_area
from fallow.show.link import AreaLosses, Link
from fallow.show.wanted import Wanted

__all__ = ["Wishes", "apart_hz", "farthest_hz", "that_can_be_kept"]

Whole = NDArray[np.int64]


def apart_hz(classes: Sequence[Class], rules: Sequence[Apart], losses: AreaLosses) -> Whole:
    """The distance that rules ask between carriers of two classes, 0 where none does; int64, shape (class, class)."""
    asked_hz = np.zeros((len(classes), len(classes)), dtype=np.int64)
    for rule in rules:
        of_other = _members(classes, rule.other)
        for j in _members(classes, rule.group):
            for k in of_other:
                if _meet(classes[j], classes[k], rule, losses):
                    asked_hz[j, k] = asked_hz[k, j] = max(asked_hz[j, k], rule.distance_hz)
    return asked_hz


def farthest_hz(classes: Sequence[Class], rules: Sequence[Together]) -> Whole:
    """How far from each other carriers of two classes may lie, 0 where no rule says so; int64, shape (class, class)."""
    most_hz = np.zeros((len(classes), len(classes)), dtype=np.int64)
    for rule in rules:
        members = _members(classes, rule.group)
        for j in members:
            for k in members:
                if rule.everywhere or classes[j].area == classes[k].area:
                    most_hz[j, k] = min(most_hz[j, k] or rule.within_hz, rule.within_hz)
    return most_hz


@dataclass(frozen=True, eq=False)
class Wishes:
    """Distances wished between carriers of two classes: at least, and at most (0: none); shape (class, class)."""

    least_hz: Whole
    most_hz: Whole

    @classmethod
    def of(cls, classes: Sequence[Class], rules: Groupings, losses: AreaLosses) -> Wishes:
        """What rules say of these classes."""
        return cls(apart_hz(classes, rules.apart, losses), farthest_hz(classes, rules.together))

    def __bool__(self) -> bool:
        return bool(self.least_hz.any() or self.most_hz.any())

    def broken(self, k: int, at_hz: Whole, others: Whole, others_hz: Whole) -> Whole:
        """How many of some others (their classes and places) break a wish with a carrier of class ``k``, for each place
        that it could have; shape (place,).
        """
        distance_hz = np.abs(at_hz[:, np.newaxis] - others_hz)
        most_hz = self.most_hz[k, others]
        too_far = (distance_hz > most_hz) & (most_hz > 0)
        broken = (distance_hz < self.least_hz[k, others]) | too_far
        return np.asarray(np.count_nonzero(broken, axis=1), dtype=np.int64)

    def broken_in(self, class_of: Whole, at_hz: Whole) -> int:
        """In how many pairs of carriers that stand (``at_hz``, −1: nowhere) a wish is broken."""
        stands = np.flatnonzero(at_hz >= 0)
        classes, hz = class_of[stands], at_hz[stands]
        return sum(int(self.broken(k, hz[i : i + 1], classes[:i], hz[:i])[0]) for i, k in enumerate(classes.tolist()))


def that_can_be_kept(wanted: Wanted) -> Groupings:
    """The hard rules of a show, without those to stay together that fixed links break already: the others could then
    stand nowhere.
    """
    hard = wanted.groupings.of_strength(hard=True)
    fixed = [link for link in wanted.links if link.fixed and link.planned]
    return replace(hard, together=tuple(rule for rule in hard.together if not _is_broken(rule, fixed, wanted)))


def _is_broken(rule: Together, fixed: Sequence[Link], wanted: Wanted) -> bool:
    members = [
        link
        for link in fixed
        if link.equipment in wanted.equipment and rule.group in groups_of(link.groups, wanted.equipment[link.equipment])
    ]
    return any(
        abs((one.frequency_hz or 0) - (other.frequency_hz or 0)) > rule.within_hz
        for one, other in combinations(members, 2)
        if rule.everywhere or one.area == other.area
    )


def _members(classes: Sequence[Class], group: str) -> list[int]:
    return [k for k, each in enumerate(classes) if each.equipment and group in groups_of(each.groups, each.equipment)]


def _meet(one: Class, other: Class, rule: Apart, losses: AreaLosses) -> bool:
    on_together = not one.scenes or not other.scenes or bool(one.scenes & other.scenes)
    near = losses.hears(one.area, other.area) if rule.everywhere else same_area(one.area, other.area)
    return on_together and near
