"""What stands around the links of a show: strangers, announced TV channels, rules about groups; listed, taken out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

from fallow.errors import QuestionError, UsageError
from fallow.files.territories import load_territory
from fallow.show.grouping import Apart, Together
from fallow.show.link import ForeignCarrier, Station
from fallow.showfile.holding import Holding
from fallow.showfile.kinds import APART, FOREIGN, STATIONS, TOGETHER
from fallow.workflow.show import Desk, settings_of

__all__ = [
    "Rule",
    "drop_foreign",
    "drop_rules",
    "drop_stations",
    "foreign_of",
    "raster_of",
    "rules_of",
    "stations_of",
]

Rule: TypeAlias = Apart | Together


def raster_of(show: Holding) -> tuple[str, ...] | None:
    """The TV channels of the region that the show names, ``None`` where it names none."""
    region = settings_of(show).get("region")
    return None if region is None else tuple(channel.name for channel in load_territory(str(region)).channels)


def foreign_of(desk: Desk) -> tuple[ForeignCarrier, ...]:
    """The carriers that are not ours."""
    with desk.looking() as show:
        return show.all(FOREIGN)


def drop_foreign(names: Sequence[str], desk: Desk) -> None:
    """Take foreign carriers out of the show. Raises UsageError where one is not there."""
    with desk.writing() as show, desk.change(show, f"foreign carriers taken out: {', '.join(names)}") as change:
        change.drop(FOREIGN, *names)


def stations_of(desk: Desk) -> tuple[Station, ...]:
    """The TV channels announced as on the air."""
    with desk.looking() as show:
        return show.all(STATIONS)


def drop_stations(channels: Sequence[str], desk: Desk, area: str | None = None) -> None:
    """Take TV channels out of the show, ``area``: only those of this one. Raises UsageError where one is not there."""
    with desk.writing() as show:
        found = [one for one in show.all(STATIONS) if one.channel in channels and area in (None, one.area)]
        for channel in channels:
            if channel not in {one.channel for one in found}:
                where = f" for {area!r}" if area else ""
                hint = "fallow show stations lists them"
                raise UsageError(f"no TV channel {channel!r} is announced{where}", hint=hint)
            areas = tuple(one.area or "everywhere" for one in found if one.channel == channel)
            if len(areas) > 1:
                what = f"TV channel {channel!r} is announced for several areas"
                raise QuestionError(what, readings=areas, hint="say --area; --area none means everywhere")
        with desk.change(show, f"stations taken out: {', '.join(channels)}") as change:
            change.drop(STATIONS, *(STATIONS.key(one) for one in found))


def rules_of(desk: Desk) -> tuple[Rule, ...]:
    """The rules about groups that the show states, in the order in which they are numbered from 1."""
    with desk.looking() as show:
        return _rules(show)


def drop_rules(numbers: Sequence[int], desk: Desk) -> None:
    """Take rules about groups out of the show, by number. Raises UsageError where one is not there."""
    with desk.writing() as show:
        rules = _rules(show)
        for number in numbers:
            if not 1 <= number <= len(rules):
                raise UsageError(f"there is no rule {number}", hint="fallow show groups lists them with their numbers")
        gone = [rules[number - 1] for number in sorted(set(numbers))]
        with desk.change(show, f"rules taken out: {'; '.join(' and '.join(one.names) for one in gone)}") as change:
            change.drop(APART, *(APART.key(one) for one in gone if isinstance(one, Apart)))
            change.drop(TOGETHER, *(TOGETHER.key(one) for one in gone if isinstance(one, Together)))


def _rules(show: Holding) -> tuple[Rule, ...]:
    return (*show.all(APART), *show.all(TOGETHER))
