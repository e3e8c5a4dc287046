"""Areas and types of radio that got another name in one copy of a show: without that, one place would become two.

A name is no value of its own in the file: it stands in the links, carriers, stations, surveys and rules that use it. So
a new name is found by what uses it: the old one is gone from a copy, and what used it in the common past, or its like,
uses one there that the past did not know.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fallow.showfile.history import State
from fallow.showfile.images import written
from fallow.showfile.kinds import APART, AREA_PAIRS, EQUIPMENT, FOREIGN, LINKS, STATIONS, SURVEYS, TOGETHER

__all__ = ["Renamed", "names_in", "renamed_apart"]

AREA, RADIO = "area", "equipment"
_FIELDS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    AREA: {
        LINKS.name: ("area",),
        FOREIGN.name: ("area",),
        STATIONS.name: ("area",),
        SURVEYS.name: ("area",),
        AREA_PAIRS.name: ("area", "other"),
    },
    RADIO: {
        EQUIPMENT.name: ("name",),
        LINKS.name: ("equipment",),
        APART.name: ("group", "other"),
        TOGETHER.name: ("group",),
    },
}
Name = tuple[str, str]


@dataclass(frozen=True)
class Renamed:
    """A name of the common past, and what it was renamed here and there; ``None``: it was not. ``sort``: ``area`` or
    ``equipment``.
    """

    sort: str
    name: str
    here: str | None
    there: str | None

    @property
    def label(self) -> str:
        """Sort and name: ``area stage``."""
        return f"{self.sort} {self.name}"

    @property
    def names(self) -> frozenset[str]:
        """All that it is called."""
        return frozenset(name for name in (self.name, self.here, self.there) if name is not None)


def renamed_apart(base: State, here: State, there: State) -> tuple[Renamed, ...]:
    """What got another name on one side only, or different ones on both. States: rows by kind and key."""
    found: list[Renamed] = []
    for sort in _FIELDS:
        ours, theirs = _renamed(sort, base, here), _renamed(sort, base, there)
        names = [name for name in sorted({*ours, *theirs}) if ours.get(name) != theirs.get(name)]
        found += [Renamed(sort, name, ours.get(name), theirs.get(name)) for name in names]
    return tuple(found)


def names_in(sort: str, kind: str, image: str | None) -> frozenset[str]:
    """The areas or types of radio that a value names. ``image``: as text, ``None``: it is not there."""
    fields = _FIELDS[sort].get(kind, ())
    value = _understood(image) if fields and image else {}
    return frozenset(str(value[field]) for field in fields if value.get(field))


def _renamed(sort: str, base: State, copy: State) -> dict[str, str]:
    """By the name in the past, the one in a copy, where it was renamed and not just given up."""
    before, after = _users(sort, base), _users(sort, copy)
    images = {(kind, row.image) for (kind, _), row in copy.items()}
    new = sorted(after.keys() - before.keys())
    renamed = {}
    for name in before.keys() - after.keys():
        users = [(*user, base[user].image or "") for user in before[name]]
        called = next((one for one in new if _went(sort, users, name, one, after[one], images)), None)
        if called is not None:
            renamed[name] = called
    return renamed


def _went(
    sort: str,
    users: Iterable[tuple[str, str, str]],
    name: str,
    new: str,
    of_new: set[Name],
    images: set[tuple[str, str | None]],
) -> bool:
    """Whether something that used a name uses the new one, or stands there alike under it."""
    return any(
        (kind, key) in of_new or (kind, _under(sort, kind, image, name, new)) in images for kind, key, image in users
    )


def _under(sort: str, kind: str, image: str, name: str, new: str) -> str:
    """An image with a name in place of another."""
    value = _understood(image)
    for field in _FIELDS[sort][kind]:
        value[field] = new if value.get(field) == name else value.get(field)
    return written(value)


def _understood(image: str) -> dict[str, Any]:
    """The fields of an image; none where it is damaged, which is told when it is taken."""
    try:
        value = json.loads(image)
    except ValueError:
        return {}
    return value if isinstance(value, dict) else {}


def _users(sort: str, state: State) -> dict[str, set[Name]]:
    """By each name, the values that use it."""
    users: dict[str, set[Name]] = defaultdict(set)
    for (kind, key), row in state.items():
        for name in names_in(sort, kind, row.image):
            users[name].add((kind, key))
    return users
