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

from fallow.plan.tables import SENDS, SUFFERS
from fallow.show.equipment import Equipment
from fallow.show.link import AreaLosses, ForeignCarrier

__all__ = ["Class", "Groups", "class_of_foreign", "class_of_ours", "group_classes", "spacings_hz"]


@dataclass(frozen=True)
class Class:
    """Carriers that are alike. ``equipment`` ``None``: strangers. Distances in hertz, 0 where not asked.

    ``distances_hz``: of 2A−B, A+B−C and 3A−2B products from it. ``mixes``: it takes part in products. ``scenes``
    empty: always on.
    """

    equipment: Equipment | None
    area: str
    scenes: frozenset[str]
    spacing_hz: int
    distances_hz: tuple[int, int, int]
    mixes: bool

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


def class_of_ours(equipment: Equipment, area: str, scenes: frozenset[str]) -> Class:
    """The class of a link or a spare."""
    distances_hz = (equipment.im3_hz or 0, equipment.im3_three_hz or 0, equipment.im5_hz or 0)
    return Class(equipment, area, scenes, equipment.spacing_hz, distances_hz, mixes=True)


def class_of_foreign(foreign: ForeignCarrier) -> Class:
    """The class of a foreign carrier: always on; protected, it asks its spacing of products of all forms."""
    guard_hz = foreign.spacing_hz if foreign.protect else 0
    return Class(None, foreign.area, frozenset(), foreign.spacing_hz, (guard_hz, guard_hz, guard_hz), foreign.products)


def group_classes(classes: Sequence[Class], losses: AreaLosses) -> Groups:
    """The groups of all classes in which products count."""
    victims: dict[tuple[tuple[int, int, int], frozenset[int]], set[int]] = {}
    scenes = sorted(frozenset[str]().union(*(each.scenes for each in classes))) or [""]
    for k, victim in enumerate(classes):
        if any(victim.distances_hz):
            heard = [_heard(victim, classes, scene, losses) for scene in scenes if victim.on_in(scene)]
            for widest in _without_subsets(heard):
                victims.setdefault((victim.distances_hz, widest), set()).add(k)
    return _indexed(len(classes), [(*key, frozenset(members)) for key, members in victims.items()])


def spacings_hz(classes: Sequence[Class], losses: AreaLosses) -> NDArray[np.int64]:
    """Distance that class j (second index) keeps from a carrier of class k (first index), 0 where they do not meet;
    int64 (K, K).

    Between two of ours the larger spacing of the two; from a stranger its own; strangers keep none from anybody.
    """
    table = np.zeros((len(classes), len(classes)), dtype=np.int64)
    for k, one in enumerate(classes):
        for j, other in enumerate(classes):
            if other.equipment is None or not losses.hears(other.area, one.area) or not _on_together(one, other):
                continue
            table[k, j] = one.spacing_hz if one.equipment is None else max(one.spacing_hz, other.spacing_hz)
    return table


def _on_together(one: Class, other: Class) -> bool:
    return not one.scenes or not other.scenes or bool(one.scenes & other.scenes)


def _heard(victim: Class, classes: Sequence[Class], scene: str, losses: AreaLosses) -> frozenset[int]:
    return frozenset(
        k for k, each in enumerate(classes) if each.mixes and each.on_in(scene) and losses.hears(victim.area, each.area)
    )


def _without_subsets(heard: Iterable[frozenset[int]]) -> list[frozenset[int]]:
    kept: list[frozenset[int]] = []
    for each in sorted(set(heard), key=lambda members: (-len(members), sorted(members))):
        if not any(each <= wider for wider in kept):
            kept.append(each)
    return kept


def _indexed(n_classes: int, groups: Sequence[tuple[tuple[int, int, int], frozenset[int], frozenset[int]]]) -> Groups:
    start, index, roles = [0], [], []
    for k in range(n_classes):
        for g, (_, heard, victims) in enumerate(groups):
            role = SENDS * (k in heard) | SUFFERS * (k in victims)
            if role:
                index.append(g)
                roles.append(role)
        start.append(len(index))
    return Groups(
        np.array(start, dtype=np.int64),
        np.array(index, dtype=np.int64),
        np.array(roles, dtype=np.uint8),
        np.array([distances for distances, _, _ in groups], dtype=np.int64).reshape(-1, 3),
        tuple(heard for _, heard, _ in groups),
        tuple(victims for _, _, victims in groups),
    )
