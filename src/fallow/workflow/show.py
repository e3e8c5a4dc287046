"""The show: which file it is, what it is called, and how the rest of her day gets at what is in it.

``wanted_of``, ``survey_of`` and ``store_plan`` are the seams: what was read from tables and sweep files before comes
from the show, and a plan goes into it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import count
from os import PathLike
from pathlib import Path
from shlex import quote

from fallow.errors import QuestionError, UsageError
from fallow.files.territories import load_territory
from fallow.plan.answer import Plan
from fallow.show.assignment import Assignment
from fallow.show.grouping import Groupings
from fallow.show.link import AreaLosses
from fallow.show.wanted import Wanted
from fallow.showfile.changing import Change
from fallow.showfile.holding import Holding
from fallow.showfile.kinds import (
    APART,
    AREA_PAIRS,
    EQUIPMENT,
    FOREIGN,
    LINKS,
    PLAN_ROWS,
    PLANS,
    SETTINGS,
    STATIONS,
    SURVEYS,
    TOGETHER,
)
from fallow.showfile.store import ShowFile, usual_name
from fallow.showfile.surveys import read_survey
from fallow.showfile.sweeps import EVERYTHING, Section
from fallow.showfile.values import AreaPair, PlanHead, PlanRow, Setting, SurveyHead, Value
from fallow.spectrum.sweep import Survey
from fallow.spectrum.verdict import Judging
from fallow.units import parse_frequency_hz
from fallow.workflow.coordinate import rows_of

__all__ = [
    "SUFFIX",
    "Desk",
    "change_settings",
    "find_show",
    "new_show",
    "settings_of",
    "store_plan",
    "survey_head",
    "survey_of",
    "wanted_of",
]

SUFFIX = ".fallow"
IN_FORCE = "plan in force"
FilePath = str | PathLike[str]
WAIT_S = 2.0


@dataclass(frozen=True)
class Desk:
    """Where she works: the show file (``None``: the only one of this folder), under which name, and why.

    ``wait_s``: how long to wait while somebody else writes.
    """

    path: FilePath | None = None
    who: str | None = None
    why: str = ""
    wait_s: float = WAIT_S

    def looking(self) -> ShowFile:
        """The show, opened to look."""
        return ShowFile.open(find_show(self.path))

    def writing(self) -> ShowFile:
        """The show, opened to write; another writer is waited for a moment."""
        return ShowFile.open(find_show(self.path), write=True, who=self.who or usual_name(), wait_s=self.wait_s)

    def change(self, show: ShowFile, what: str, *, is_fact: bool = False) -> AbstractContextManager[Change]:
        """A change of the show for her reason."""
        return show.change(self.why, what, is_fact=is_fact)


def find_show(path: FilePath | None = None) -> Path:
    """The file that is meant: the one named, else the only ``*.fallow`` in the current folder.

    Raises UsageError where there is none, QuestionError where there are several.
    """
    if path is not None:
        return Path(path)
    found = sorted(one for one in Path().glob(f"*{SUFFIX}") if one.is_file())
    if not found:
        hint = "name it with --show FILE, or make one with `fallow show new NAME`"
        raise UsageError("there is no show file in this folder", hint=hint)
    if len(found) > 1:
        raise QuestionError(
            "there are several show files in this folder",
            readings=tuple(str(one) for one in found),
            hint=f"say which one: --show {quote(str(found[0]))}",
        )
    return found[0]


def new_show(path: FilePath, words: Iterable[str], desk: Desk) -> Path:
    """A new show file with these settings (``region=de``); ``.fallow`` is added to a name without an ending.

    Raises UsageError for a setting that is none, OutputError where the file can't be made.
    """
    settings = [_setting(word) for word in words]
    _check_settings({}, settings)
    path = Path(path)
    if not path.name.strip(" ."):
        raise UsageError(f"{str(path)!r} is no name for a show file", hint="fallow show new NAME")
    path = path if path.suffix else path.with_name(path.name + SUFFIX)
    with ShowFile.create(path, desk.who or usual_name()) as show:
        if settings:
            with desk.change(show, _told(settings)) as change:
                change.put(SETTINGS, *settings)
    return path


def change_settings(words: Iterable[str], desk: Desk) -> dict[str, Value]:
    """Settings as typed, ``region=de``; an empty one is taken out. Returns all. Raises UsageError for what is none."""
    settings = [_setting(word) for word in words]
    if not settings:
        with desk.looking() as show:
            return settings_of(show)
    with desk.writing() as show:
        before = settings_of(show)
        _check_settings(before, settings)
        _check_stations(show, settings)
        with desk.change(show, _told(settings)) as change:
            change.put(SETTINGS, *(one for one in settings if one.value is not None))
            change.drop(SETTINGS, *(one.name for one in settings if one.value is None and one.name in before))
        return settings_of(show)


def _check_stations(show: ShowFile, said: Iterable[Setting]) -> None:
    """Raise UsageError for a region whose raster lacks a TV channel that the show announces."""
    region = next((str(one.value) for one in said if one.name == "region" and one.value is not None), None)
    if region is None:
        return
    territory = load_territory(region)
    raster = {channel.name for channel in territory.channels}
    for station in show.all(STATIONS):
        if station.channel not in raster:
            what = f"the raster of {territory.name} has no TV channel {station.channel!r}, which the show announces"
            raise UsageError(what, hint=f"take it out first: fallow show stations --drop {station.channel}")


def settings_of(show: Holding) -> dict[str, Value]:
    """What holds for the whole show, by name."""
    return {one.name: one.value for one in show.all(SETTINGS)}


def wanted_of(show: Holding) -> Wanted:
    """The links of a show, what they are made of, which areas hear each other, and the strangers on the air."""
    return Wanted(
        links=show.all(LINKS),
        equipment={one.name: one for one in show.all(EQUIPMENT)},
        losses=losses_from(show.all(AREA_PAIRS)),
        foreign=show.all(FOREIGN),
        stations=show.all(STATIONS),
        groupings=Groupings(show.all(APART), show.all(TOGETHER)).with_usual(),
    )


def survey_head(show: ShowFile, name: str) -> SurveyHead:
    """The survey of that name, without its sweeps. Raises UsageError where there is none."""
    head = show.get(SURVEYS, name)
    if head is None:
        names = ", ".join(one.name for one in show.all(SURVEYS)) or "none"
        raise UsageError(f"there is no survey {name!r}", path=show.path, hint=f"the surveys are: {names}")
    return head


def survey_of(show: ShowFile, name: str, section: Section = EVERYTHING) -> Survey:
    """A survey of the show, or a piece of it. Raises UsageError where there is none of that name or in that piece."""
    return read_survey(show, survey_head(show, name), section)


def store_plan(
    show: ShowFile,
    plan: Plan,
    wanted: Wanted,
    desk: Desk,
    name: str | None = None,
    made_with: Mapping[str, Value] | None = None,
) -> str:
    """Put a plan into the show as the one in force; returns its name. A plan of that name is replaced.

    ``made_with``: what it was made with, beside seed and seconds.
    """
    name = name or free_name(show)
    settings: dict[str, Value] = {"seed": plan.seed, "seconds": round(plan.seconds, 3), **(made_with or {})}
    made = datetime.now(UTC).isoformat(timespec="seconds")
    placed = sum(one.frequency_hz is not None for one in plan.links.values())
    with desk.change(show, f"{name}: {placed} of {len(plan.links)} links have a frequency") as change:
        drop_plan(change, show, name)
        change.put(PLANS, PlanHead(name, made, plan.notes, settings))
        change.put(PLAN_ROWS, *plan_rows(name, rows_of(plan, wanted)))
        change.put(SETTINGS, Setting(IN_FORCE, name))
    return name


def plan_rows(plan: str, rows: Iterable[Assignment]) -> tuple[PlanRow, ...]:
    """Rows as the show keeps them; rows of one name, such as spares of other people's plans, are counted."""
    seen: Counter[str] = Counter()
    kept = []
    for row in rows:
        kept.append(PlanRow(plan, row, seen[row.link]))
        seen[row.link] += 1
    return tuple(kept)


def rows_of_plan(show: Holding, plan: str) -> tuple[Assignment, ...]:
    """The rows of a plan of the show, in their order. Raises UsageError where there is no such plan."""
    if show.get(PLANS, plan) is None:
        names = ", ".join(one.name for one in show.all(PLANS)) or "none"
        raise UsageError(f"there is no plan {plan!r}", hint=f"the plans are: {names}")
    return tuple(row.assignment for row in show.all(PLAN_ROWS) if row.plan == plan)


def plan_in_force(show: Holding) -> str | None:
    """The name of the plan that was stored last and still is in the show; ``None`` where there is none."""
    name = settings_of(show).get(IN_FORCE)
    return name if isinstance(name, str) and show.get(PLANS, name) is not None else None


def drop_plan(change: Change, show: Holding, name: str) -> None:
    """Take a plan with its rows out of the show, where it is there."""
    if show.get(PLANS, name) is not None:
        rows = [row for row in show.all(PLAN_ROWS) if row.plan == name]
        change.drop(PLAN_ROWS, *(PLAN_ROWS.key(row) for row in rows))
        change.drop(PLANS, name)


def free_name(show: Holding) -> str:
    """The next free name for a plan: ``plan 1``, ``plan 2`` ..."""
    taken = {one.name for one in show.all(PLANS)}
    return next(name for number in count(1) if (name := f"plan {number}") not in taken)


def losses_from(pairs: Iterable[AreaPair]) -> AreaLosses:
    """Pairs of areas as the plan takes them."""
    pairs = tuple(pairs)
    return AreaLosses(
        frozenset(frozenset((one.area, one.other)) for one in pairs if one.loss_db is None),
        {frozenset((one.area, one.other)): one.loss_db for one in pairs if one.loss_db is not None},
    )


def pairs_of(losses: AreaLosses) -> tuple[AreaPair, ...]:
    """Pairs of areas as the show keeps them, by name."""
    pairs = sorted(tuple(sorted(pair)) for pair in losses.pairs)
    return tuple(AreaPair(one, other, losses.loss_db.get(frozenset((one, other)))) for one, other in pairs)


def _setting(word: str) -> Setting:
    """A setting as typed. Raises UsageError for what is none."""
    name, equals, text = word.partition("=")
    name, text = name.strip().lower(), text.strip()
    if not equals or name not in _SETTINGS:
        hint = f"write NAME=VALUE; the names are {', '.join(_SETTINGS)}"
        raise UsageError(f"{word!r} is no setting", hint=hint)
    stored, parse = _SETTINGS[name]
    return Setting(stored, parse(text) if text else None)


def _check_settings(before: Mapping[str, Value], settings: Iterable[Setting]) -> None:
    """Refuse what no verdict and no plan could be made with. Raises UsageError."""
    said = {one.name: one.value for one in settings}
    Judging(**{name: value for name, value in said.items() if name in _JUDGING and value is not None})  # type: ignore[arg-type] # each is parsed as what the field holds
    after = {**before, **said}
    region, licence = after.get("region"), after.get("licence")
    if region is not None and licence is not None and {"region", "licence"} & said.keys():
        load_territory(str(region)).licences_held(str(licence))


_JUDGING = ("limit_dbm", "limit_above_floor_db", "link_width_hz", "confidence_pct")


def _region(text: str) -> str:
    return load_territory(text).code


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise UsageError(f"{text!r} is not a date", hint="write it as 2026-07-18") from error


def _number(text: str) -> float:
    try:
        value = float(text.replace("\N{MINUS SIGN}", "-"))
    except ValueError as error:
        raise UsageError(f"{text!r} is not a number") from error
    if not math.isfinite(value):
        raise UsageError(f"{text!r} is not a finite number")
    return value


_SETTINGS: Mapping[str, tuple[str, Callable[[str], Value]]] = {
    "name": ("name", str),
    "site": ("site", str),
    "region": ("region", _region),
    "licence": ("licence", str),
    "place": ("place", str),
    "on": ("on", _day),
    "limit": ("limit_dbm", _number),
    "limit-above-floor": ("limit_above_floor_db", _number),
    "link-width": ("link_width_hz", parse_frequency_hz),
    "confidence": ("confidence_pct", _number),
}


def _told(settings: Iterable[Setting]) -> str:
    """Settings in words, for the history."""
    return ", ".join(f"{one.name}: {'taken out' if one.value is None else one.value}" for one in settings)
