"""Each kind of value that a show file keeps: its name in the file, the key that makes it unique, and its type."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from fallow.show.equipment import Equipment
from fallow.show.grouping import Apart, Together
from fallow.show.link import ForeignCarrier, Link, Station
from fallow.showfile.values import AreaPair, Event, Mark, Merge, Note, PlanHead, PlanRow, Setting, SurveyHead
from fallow.spectrum.chain import ChainPart

__all__ = [
    "APART",
    "AREA_PAIRS",
    "BY_NAME",
    "CHAIN",
    "EQUIPMENT",
    "EVENTS",
    "FOREIGN",
    "LINKS",
    "MARKS",
    "MERGES",
    "NOTES",
    "PLANS",
    "PLAN_ROWS",
    "SETTINGS",
    "STATIONS",
    "SURVEYS",
    "TOGETHER",
    "KindOfItem",
    "joined",
    "parted",
]

T = TypeVar("T")


@dataclass(frozen=True)
class KindOfItem(Generic[T]):
    """One kind of value. ``name``: in the file; ``key``: of a value. ``is_fact``: undo passes over it.

    ``is_composed``: its keys have several parts, as ``joined`` writes them.
    """

    name: str
    type: type[T]
    key: Callable[[T], str]
    is_fact: bool = False
    is_composed: bool = False

    @property
    def word(self) -> str:
        """Its name for people."""
        return self.name.replace("_", " ")


def joined(*parts: str | int) -> str:
    """A key of several parts, as a JSON array: no part can be taken for another."""
    return json.dumps(parts, ensure_ascii=False, separators=(",", ":"))


def parted(key: str) -> list[str | int]:
    """The parts of such a key."""
    parts: list[str | int] = json.loads(key)
    return parts


SETTINGS = KindOfItem("setting", Setting, lambda one: one.name)
EQUIPMENT = KindOfItem("equipment", Equipment, lambda one: one.name)
LINKS = KindOfItem("link", Link, lambda one: one.name)
AREA_PAIRS = KindOfItem("area_pair", AreaPair, lambda one: joined(*sorted((one.area, one.other))), is_composed=True)
FOREIGN = KindOfItem("foreign", ForeignCarrier, lambda one: one.name)
STATIONS = KindOfItem("station", Station, lambda one: joined(one.channel, one.area), is_composed=True)
APART = KindOfItem(
    "apart", Apart, lambda one: joined(*sorted(one.names), "all" if one.everywhere else "same"), is_composed=True
)
TOGETHER = KindOfItem(
    "together", Together, lambda one: joined(one.group, "all" if one.everywhere else "same"), is_composed=True
)
CHAIN = KindOfItem("chain_part", ChainPart, lambda one: one.part)
PLANS = KindOfItem("plan", PlanHead, lambda one: one.name)
PLAN_ROWS = KindOfItem(
    "plan_row", PlanRow, lambda one: joined(one.plan, one.assignment.link, one.copy), is_composed=True
)
SURVEYS = KindOfItem("survey", SurveyHead, lambda one: one.name)
NOTES = KindOfItem("note", Note, lambda one: one.id)
MARKS = KindOfItem("mark", Mark, lambda one: one.name, is_fact=True)
EVENTS = KindOfItem("event", Event, lambda one: one.id, is_fact=True)
MERGES = KindOfItem("merge", Merge, lambda one: one.until)
BY_NAME: Mapping[str, KindOfItem[Any]] = {
    kind.name: kind
    for kind in (
        SETTINGS,
        EQUIPMENT,
        LINKS,
        AREA_PAIRS,
        FOREIGN,
        STATIONS,
        APART,
        TOGETHER,
        CHAIN,
        PLANS,
        PLAN_ROWS,
        SURVEYS,
        NOTES,
        MARKS,
        EVENTS,
        MERGES,
    )
}
