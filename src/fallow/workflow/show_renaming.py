"""New names in the show: whatever speaks of a link, a type of radio or an area by its name goes on speaking of it.

The history keeps the old name: what was handed out under it stays so.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import replace
from shlex import quote
from typing import Any

from fallow.errors import UsageError
from fallow.show.assignment import SPARE_PREFIX, Assignment
from fallow.show.duplex import return_name
from fallow.show.equipment import Kind
from fallow.show.grouping import Apart, Groupings
from fallow.show.link import Link
from fallow.showfile.changing import Change
from fallow.showfile.kinds import (
    APART,
    AREA_PAIRS,
    EQUIPMENT,
    FOREIGN,
    LINKS,
    NOTES,
    PLAN_ROWS,
    PLANS,
    SETTINGS,
    STATIONS,
    SURVEYS,
    TOGETHER,
    KindOfItem,
)
from fallow.showfile.store import ShowFile
from fallow.showfile.values import AreaPair, PlanRow, Setting
from fallow.workflow.show import IN_FORCE, Desk, plan_in_force

__all__ = ["check_name", "check_type_name", "rename_area", "rename_plan", "renamed_equipment", "renamed_link"]


def check_name(show: ShowFile, name: str, *, is_link: bool) -> None:
    """Raise UsageError for a name that a link or a foreign carrier can't have: conflicts would not tell them apart."""
    if not name.strip():
        raise UsageError("a name can't be empty")
    if is_link and name.lower().startswith(SPARE_PREFIX):
        hint = "call it otherwise: in a plan, names that begin so are frequencies kept free"
        raise UsageError(f"{name!r} is no name for a link", hint=hint)
    taken = {one.name for one in (show.all(FOREIGN) if is_link else show.all(LINKS))}
    if name in taken:
        other = "foreign carrier" if is_link else "link"
        raise UsageError(f"a {other} is called {name!r} already", hint="give it another name")


def check_type_name(show: ShowFile, name: str, before: str | None) -> None:
    """Raise UsageError for a name that a type of radio can't have: rules about groups would mean others by it, too.

    ``before``: what it is called until now, ``None``: it is new; a rule may speak of a type before it is there.
    """
    if not name.strip():
        raise UsageError("equipment needs a name")
    hint = "give it another name"
    if name in {kind.value for kind in Kind}:
        raise UsageError(f"{name!r} is a kind of radio: rules about it would mean all of that kind", hint=hint)
    if any(name in link.groups for link in show.all(LINKS)):
        raise UsageError(f"{name!r} is a group of links: rules about it would mean both", hint=hint)
    if before is not None and name in Groupings(show.all(APART), show.all(TOGETHER)).names:
        raise UsageError(f"a rule about groups speaks of {name!r} already, and would mean {before!r} then", hint=hint)


def renamed_link(change: Change, show: ShowFile, name: str, link: Link) -> None:
    """Enter a link under a new name, within a change: the rows of all plans and the notes about it follow."""
    check_name(show, link.name, is_link=True)
    change.rename(LINKS, name, link)
    names = {name: link.name, **_ways_back(show, LINKS, name, link.name)}
    _check_rows(show, names)
    _rows(change, show, lambda row: replace(row, link=names.get(row.link, row.link)))
    _notes(change, show, name, link.name)


def renamed_equipment(change: Change, show: ShowFile, name: str, new: str) -> None:
    """Let links, rows of plans, and rules about groups that name a type of radio name it by its new name."""
    change.put(LINKS, *(replace(link, equipment=new) for link in show.all(LINKS) if link.equipment == name))
    names = {name: new, **_ways_back(show, EQUIPMENT, name, new)}
    _rows(change, show, lambda row: replace(row, equipment=names.get(row.equipment, row.equipment)))
    for apart in show.all(APART):
        if name in apart.names:
            change.rename(APART, APART.key(apart), _with_name(apart, name, new))
    for together in show.all(TOGETHER):
        if name in together.names:
            change.rename(TOGETHER, TOGETHER.key(together), replace(together, group=new))
    _notes(change, show, name, new)


def rename_area(name: str, new: str, desk: Desk) -> None:
    """Give an area another name, with all that is in it. Raises UsageError where it is not there, or the other is."""
    with desk.writing() as show:
        if not new.strip():
            raise UsageError("an area needs a name")
        known = _areas(show)
        if name not in known:
            raise UsageError(f"there is no area {name!r}", hint=f"the areas are: {', '.join(sorted(known)) or 'none'}")
        if new in known:
            hint = "to put its links into the other area: fallow show links LINK --area AREA"
            raise UsageError(f"there is an area {new!r} already", hint=hint)
        with desk.change(show, f"area {name!r} renamed: {new!r}") as change:
            _move_area(change, show, name, new)


def rename_plan(name: str, new: str, desk: Desk) -> None:
    """Give a plan another name, with its rows. Raises UsageError where it is not there, or the other is."""
    with desk.writing() as show:
        head = show.get(PLANS, name)
        if head is None:
            names = ", ".join(one.name for one in show.all(PLANS)) or "none"
            raise UsageError(f"there is no plan {name!r}", hint=f"the plans are: {names}")
        if not new.strip():
            raise UsageError("a plan needs a name")
        is_in_force = plan_in_force(show) == name
        with desk.change(show, f"plan {name!r} renamed: {new!r}") as change:
            change.rename(PLANS, name, replace(head, name=new))
            for row in show.all(PLAN_ROWS):
                if row.plan == name:
                    change.rename(PLAN_ROWS, PLAN_ROWS.key(row), replace(row, plan=new))
            if is_in_force:
                change.put(SETTINGS, Setting(IN_FORCE, new))
            _notes(change, show, name, new)


def _areas(show: ShowFile) -> set[str]:
    """All areas that anything is in."""
    named = {area for pair in show.all(AREA_PAIRS) for area in (pair.area, pair.other)}
    named |= {one.area for one in show.all(LINKS)} | {one.area for one in show.all(FOREIGN)}
    named |= {one.area for one in show.all(STATIONS)} | {one.area for one in show.all(SURVEYS)}
    return named - {""}


def _move_area(change: Change, show: ShowFile, name: str, new: str) -> None:
    change.put(LINKS, *(replace(one, area=new) for one in show.all(LINKS) if one.area == name))
    change.put(FOREIGN, *(replace(one, area=new) for one in show.all(FOREIGN) if one.area == name))
    change.put(SURVEYS, *(replace(one, area=new) for one in show.all(SURVEYS) if one.area == name))
    for station in show.all(STATIONS):
        if station.area == name:
            change.rename(STATIONS, STATIONS.key(station), replace(station, area=new))
    for pair in show.all(AREA_PAIRS):
        if name in (pair.area, pair.other):
            one, other = sorted(new if area == name else area for area in (pair.area, pair.other))
            change.rename(AREA_PAIRS, AREA_PAIRS.key(pair), AreaPair(one, other, pair.loss_db))
    _rows(change, show, lambda row: replace(row, area=new) if row.area == name else row)
    _notes(change, show, name, new)


def _ways_back(show: ShowFile, kind: KindOfItem[Any], name: str, new: str) -> dict[str, str]:
    """What the way back is called before and after; nothing where that is the name of another one."""
    back = return_name(name)
    return {} if show.get(kind, back) is not None else {back: return_name(new)}


def _check_rows(show: ShowFile, names: Mapping[str, str]) -> None:
    """Raise UsageError where a plan that has a row of the link has one under its new name, too: of a link that is gone.

    ``names``: by the name before, that after.
    """
    rows: dict[str, set[str]] = defaultdict(set)
    for row in show.all(PLAN_ROWS):
        rows[row.plan].add(row.assignment.link)
    for plan, held in rows.items():
        for before, after in names.items():
            if {before, after} <= held:
                what = f"{plan!r} has a row of {after!r}, a link that is gone: it would hold two rows of one link"
                hint = f"give it another name, or take that plan out first: fallow show plans --drop {quote(plan)}"
                raise UsageError(what, hint=hint)


def _with_name(rule: Apart, name: str, new: str) -> Apart:
    group, other = (new if one == name else one for one in rule.names)
    return replace(rule, group=group, other=other)


def _rows(change: Change, show: ShowFile, renamed: Callable[[Assignment], Assignment]) -> None:
    """The rows of all plans; one that gets the name of another row of its plan counts as its like."""
    rows = show.all(PLAN_ROWS)
    taken: dict[tuple[str, str], set[int]] = defaultdict(set)
    for row in rows:
        taken[row.plan, row.assignment.link].add(row.copy)
    for row in rows:
        after = renamed(row.assignment)
        if after != row.assignment:
            same = after.link == row.assignment.link
            copies = taken[row.plan, after.link]
            copy = row.copy if same else next(n for n in range(len(copies) + 1) if n not in copies)
            copies.add(copy)
            change.rename(PLAN_ROWS, PLAN_ROWS.key(row), PlanRow(row.plan, after, copy))


def _notes(change: Change, show: ShowFile, name: str, new: str) -> None:
    change.put(NOTES, *(replace(note, about=new) for note in show.all(NOTES) if note.about == name))
