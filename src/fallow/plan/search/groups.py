"""Who disturbs whom: classes of carriers that are alike, and the groups in which products count.

A product counts against a victim when its carriers and the victim are on together in one scene and the victim's area
hears each carrier's area. So a victim class has one group per scene, with all classes that it hears then; groups that
hear less than another group of the same class say nothing new, and classes with the same distances and the same
hearing share a group.

Where victims mind the edges of products, it matters how wide their makers are: the widths heard in a group are its
*grades*. At most ``MOST_GRADES`` are told apart; where there are more, those nearest to each other count as the wider
one, so that the search keeps a little more distance than the audit asks.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.tables import SENDS, SUFFERS
from fallow.show.equipment import Equipment
from fallow.show.link import AreaLosses, ForeignCarrier

__all__ = ["MOST_GRADES", "Class", "Groups", "class_of_foreign", "class_of_ours", "group_classes", "spacings_hz"]

MOST_GRADES = 4


@dataclass(frozen=True)
class Class:
    """Carriers that are alike. ``equipment`` ``None``: strangers. Distances in hertz, 0 where not asked.

    ``distances_hz``: of 2A−B, A+B−C, 3A−2B and 4A−3B products from it. ``mixes``: it takes part in products. ``scenes``
    empty: always on. ``groups``: of links, those that a rule names. ``width_hz``: occupied. ``edges``: the distances
    are those of a product's nearer edge.
    """

    equipment: Equipment | None
    area: str
    scenes: frozenset[str]
    spacing_hz: int
    distances_hz: tuple[int, int, int, int]
    mixes: bool
    groups: frozenset[str] = frozenset()
    width_hz: int = 0
    edges: bool = False

    def on_in(self, scene: str) -> bool:
        """Whether it is on in a scene."""
        return not self.scenes or scene in self.scenes


@dataclass(frozen=True, eq=False)
class Groups:
    """Groups of G victims' views. For class k the entries ``start[k]`` to ``start[k + 1]`` of ``index``, ``roles`` and
    ``grades`` are its own.

    ``distance_hz``: int64, shape (G, 4). ``widths_hz``: of the grades, int64, shape (G, W), rising, then 0 up to W;
    ``grade_count``: how many each group has. ``heard``, ``victims``: classes per group.
    """

    start: NDArray[np.int64]
    index: NDArray[np.int64]
    roles: NDArray[np.uint8]
    grades: NDArray[np.int64]
    distance_hz: NDArray[np.int64]
    widths_hz: NDArray[np.int64]
    grade_count: NDArray[np.int64]
    heard: tuple[frozenset[int], ...]
    victims: tuple[frozenset[int], ...]


def class_of_ours(
    equipment: Equipment, area: str, scenes: frozenset[str], groups: frozenset[str] = frozenset()
) -> Class:
    """The class of a link or a spare."""
    asked_hz = (equipment.im3_hz, equipment.im3_three_hz, equipment.im5_hz, equipment.im7_hz)
    two_hz, three_hz, fifth_hz, seventh_hz = (hz or 0 for hz in asked_hz)
    return Class(
        equipment,
        area,
        scenes,
        equipment.spacing_hz,
        (two_hz, three_hz, fifth_hz, seventh_hz),
        mixes=True,
        groups=groups,
        width_hz=equipment.bandwidth_hz,
        edges=equipment.product_width,
    )


def class_of_foreign(foreign: ForeignCarrier, *, wide: bool = True) -> Class:
    """The class of a foreign carrier: always on; protected, it asks its spacing of products of the usual forms.

    ``wide``: its width counts.
    """
    guard_hz = foreign.spacing_hz if foreign.protect else 0
    return Class(
        None,
        foreign.area,
        frozenset(),
        foreign.spacing_hz,
        (guard_hz, guard_hz, guard_hz, 0),
        foreign.products,
        width_hz=foreign.bandwidth_hz if wide else 0,
        edges=foreign.product_width,
    )


def group_classes(classes: Sequence[Class], losses: AreaLosses) -> Groups:
    """The groups of all classes in which products count."""
    victims: dict[tuple[tuple[int, int, int, int], bool, frozenset[int]], set[int]] = {}
    scenes = sorted(frozenset[str]().union(*(each.scenes for each in classes))) or [""]
    ears = _Ears(classes, losses, scenes)
    for k, victim in enumerate(classes):
        if any(victim.distances_hz):
            for widest in ears.heard_by(victim):
                victims.setdefault((victim.distances_hz, victim.edges, widest), set()).add(k)
    return _indexed(classes, [_Group(*key, frozenset(members)) for key, members in victims.items()])


def spacings_hz(classes: Sequence[Class], losses: AreaLosses) -> NDArray[np.int64]:
    """Distance that class j (second index) keeps from a carrier of class k (first index), 0 where they do not meet;
    int64 (K, K).

    Between two of ours the larger spacing of the two; from a stranger its own; strangers keep none from anybody.
    """
    own_hz = np.array([each.spacing_hz for each in classes], dtype=np.int64)
    ours = np.array([each.equipment is not None for each in classes], dtype=np.bool_)
    scenes = sorted(frozenset[str]().union(*(each.scenes for each in classes)))
    on = _on(classes, scenes).astype(np.float32)
    always = np.array([not each.scenes for each in classes], dtype=np.bool_)
    together = (on @ on.T > 0) | always[:, np.newaxis] | always
    number = _numbers([each.area for each in classes])
    hears = _hears([each.area for each in classes], losses)[np.ix_(number, number)]
    asked_hz = np.where(ours[:, np.newaxis], np.maximum(own_hz[:, np.newaxis], own_hz), own_hz[:, np.newaxis])
    return np.asarray(np.where(ours & hears & together, asked_hz, 0))


class _Ears:
    """Which mixing classes are heard in an area in a scene; what was found once is kept."""

    def __init__(self, classes: Sequence[Class], losses: AreaLosses, scenes: Sequence[str]) -> None:
        areas = [each.area for each in classes]
        self._scenes = scenes
        self._on = _on(classes, scenes)
        self._mixes = np.array([each.mixes for each in classes], dtype=np.bool_)
        self._hears = _hears(areas, losses)[:, _numbers(areas)]
        self._number = {area: i for i, area in enumerate(dict.fromkeys(areas))}
        self._known: dict[tuple[str, frozenset[str]], list[frozenset[int]]] = {}

    def heard_by(self, victim: Class) -> list[frozenset[int]]:
        """What a class hears in its scenes, without what is part of something else."""
        key = victim.area, victim.scenes
        if key not in self._known:
            heard = self._mixes & self._hears[self._number[victim.area]]
            on = [self._on[:, s] for s, scene in enumerate(self._scenes) if victim.on_in(scene)]
            self._known[key] = _without_subsets(frozenset(np.flatnonzero(heard & each).tolist()) for each in on)
        return self._known[key]


def _on(classes: Sequence[Class], scenes: Sequence[str]) -> NDArray[np.bool_]:
    """Which classes are on in which scenes, shape (class, scene)."""
    on = [[each.on_in(scene) for scene in scenes] for each in classes]
    return np.array(on, dtype=np.bool_).reshape(len(classes), len(scenes))


def _numbers(areas: Sequence[str]) -> NDArray[np.int64]:
    """A number for each area of a list, in the order of their first appearance."""
    number = {area: i for i, area in enumerate(dict.fromkeys(areas))}
    return np.array([number[area] for area in areas], dtype=np.int64)


def _hears(areas: Sequence[str], losses: AreaLosses) -> NDArray[np.bool_]:
    """Which areas hear each other, by their numbers."""
    names = list(dict.fromkeys(areas))
    heard = [[losses.hears(one, other) for other in names] for one in names]
    return np.array(heard, dtype=np.bool_).reshape(len(names), len(names))


def _without_subsets(heard: Iterable[frozenset[int]]) -> list[frozenset[int]]:
    kept: list[frozenset[int]] = []
    for each in sorted(set(heard), key=lambda members: (-len(members), sorted(members))):
        if not any(each <= wider for wider in kept):
            kept.append(each)
    return kept


@dataclass(frozen=True)
class _Group:
    """Victims under the same distances with all that they hear."""

    distances_hz: tuple[int, int, int, int]
    edges: bool
    heard: frozenset[int]
    victims: frozenset[int]

    def widths_hz(self, classes: Sequence[Class]) -> list[int]:
        """The widths of its grades, rising."""
        if not self.edges:
            return [0]
        widths_hz = sorted({classes[k].width_hz for k in self.heard}) or [0]
        while len(widths_hz) > MOST_GRADES:
            steps = [wider / max(width, 1) for width, wider in pairwise(widths_hz)]
            del widths_hz[steps.index(min(steps))]
        return widths_hz


def _indexed(classes: Sequence[Class], groups: Sequence[_Group]) -> Groups:
    role = np.zeros((len(classes), len(groups)), dtype=np.uint8)
    grade = np.zeros((len(classes), len(groups)), dtype=np.int64)
    widths = [group.widths_hz(classes) for group in groups]
    for g, group in enumerate(groups):
        role[list(group.heard), g] |= SENDS
        role[list(group.victims), g] |= SUFFERS
        if group.edges:
            for k in group.heard:
                grade[k, g] = bisect_left(widths[g], classes[k].width_hz)
    of_class, index = np.nonzero(role)
    start = np.concatenate(([0], np.cumsum(np.bincount(of_class, minlength=len(classes)))))
    most = max((len(each) for each in widths), default=1)
    return Groups(
        start.astype(np.int64),
        index.astype(np.int64),
        role[of_class, index],
        grade[of_class, index],
        np.array([group.distances_hz for group in groups], dtype=np.int64).reshape(-1, 4),
        np.array([each + [0] * (most - len(each)) for each in widths], dtype=np.int64).reshape(-1, most),
        np.array([len(each) for each in widths], dtype=np.int64),
        tuple(group.heard for group in groups),
        tuple(group.victims for group in groups),
    )
