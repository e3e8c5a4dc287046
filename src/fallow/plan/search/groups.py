"""Who disturbs whom: classes of carriers that are alike, and the groups in which products count.

A product counts against a victim when its carriers and the victim are on together in one scene and the victim's area
hears each carrier's area. So a victim class has one group per scene, with all classes that it hears then; groups that
hear less than another group of the same class say nothing new, and classes with the same distances and the same
hearing share a group.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.tables import SENDS, SUFFERS
from fallow.show.equipment import Equipment
from fallow.show.link import AreaLosses, ForeignCarrier

__all__ = ["Class", "Groups", "class_of_foreign", "class_of_ours", "group_classes", "spacings_hz"]


@dataclass(frozen=True)
class Class:
    """Carriers that are alike. ``equipment`` ``None``: strangers. Distances in hertz, 0 where not asked.

    ``distances_hz``: of 2A−B, A+B−C and 3A−2B products from it. ``mixes``: it takes part in products. ``scenes``
    empty: always on. ``groups``: of links, those that a rule names.
    """

    equipment: Equipment | None
    area: str
    scenes: frozenset[str]
    spacing_hz: int
    distances_hz: tuple[int, int, int]
    mixes: bool
    groups: frozenset[str] = frozenset()

    def on_in(self, scene: str) -> bool:
        """Whether it is on in a scene."""
        return not self.scenes or scene in self.scenes


@dataclass(frozen=True, eq=False)
class Groups:
    """Groups of G victims' views. For class k the entries ``start[k]`` to ``start[k + 1]`` of ``index`` and ``roles``
    are its own.

    ``distance_hz``: int64, shape (G, 3). ``heard``, ``victims``: classes per group.
    """

    start: NDArray[np.int64]
    index: NDArray[np.int64]
    roles: NDArray[np.uint8]
    distance_hz: NDArray[np.int64]
    heard: tuple[frozenset[int], ...]
    victims: tuple[frozenset[int], ...]


def class_of_ours(
    equipment: Equipment, area: str, scenes: frozenset[str], groups: frozenset[str] = frozenset()
) -> Class:
    """The class of a link or a spare."""
    distances_hz = (equipment.im3_hz or 0, equipment.im3_three_hz or 0, equipment.im5_hz or 0)
    return Class(equipment, area, scenes, equipment.spacing_hz, distances_hz, mixes=True, groups=groups)


def class_of_foreign(foreign: ForeignCarrier) -> Class:
    """The class of a foreign carrier: always on; protected, it asks its spacing of products of all forms."""
    guard_hz = foreign.spacing_hz if foreign.protect else 0
    return Class(None, foreign.area, frozenset(), foreign.spacing_hz, (guard_hz, guard_hz, guard_hz), foreign.products)


def group_classes(classes: Sequence[Class], losses: AreaLosses) -> Groups:
    """The groups of all classes in which products count."""
    victims: dict[tuple[tuple[int, int, int], frozenset[int]], set[int]] = {}
    scenes = sorted(frozenset[str]().union(*(each.scenes for each in classes))) or [""]
    ears = _Ears(classes, losses, scenes)
    for k, victim in enumerate(classes):
        if any(victim.distances_hz):
            for widest in ears.heard_by(victim):
                victims.setdefault((victim.distances_hz, widest), set()).add(k)
    return _indexed(len(classes), [(*key, frozenset(members)) for key, members in victims.items()])


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


def _indexed(n_classes: int, groups: Sequence[tuple[tuple[int, int, int], frozenset[int], frozenset[int]]]) -> Groups:
    role = np.zeros((n_classes, len(groups)), dtype=np.uint8)
    for g, (_, heard, victims) in enumerate(groups):
        role[list(heard), g] |= SENDS
        role[list(victims), g] |= SUFFERS
    of_class, index = np.nonzero(role)
    start = np.concatenate(([0], np.cumsum(np.bincount(of_class, minlength=n_classes))))
    return Groups(
        start.astype(np.int64),
        index.astype(np.int64),
        role[of_class, index],
        np.array([distances for distances, _, _ in groups], dtype=np.int64).reshape(-1, 3),
        tuple(heard for _, heard, _ in groups),
        tuple(victims for _, _, victims in groups),
    )
