"""What the show wants, brought in from tables and changed by hand: links, equipment, areas, strangers, the chain."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from fallow.errors import InputError, QuestionError, UsageError
from fallow.files.tables import (
    read_areas,
    read_chain,
    read_equipment,
    read_foreign,
    read_links,
    read_plan,
    read_stations,
    stated_rules,
)
from fallow.files.tables.recognise import tables_it_may_be
from fallow.files.tables.scene_lists import scenes_in
from fallow.show.assignment import SPARE_PREFIX, Assignment
from fallow.show.equipment import Kind
from fallow.show.grouping import Groupings
from fallow.show.link import LOWEST_PRIORITY, MOST_LOSS_DB, Link
from fallow.showfile.changing import Change
from fallow.showfile.images import image_of
from fallow.showfile.kinds import (
    APART,
    AREA_PAIRS,
    CHAIN,
    EQUIPMENT,
    FOREIGN,
    LINKS,
    PLAN_ROWS,
    PLANS,
    SETTINGS,
    STATIONS,
    TOGETHER,
    KindOfItem,
)
from fallow.showfile.store import ShowFile
from fallow.showfile.values import AreaPair, PlanHead, Setting
from fallow.workflow.show import IN_FORCE, Desk, FilePath, drop_plan, pairs_of, plan_rows
from fallow.workflow.show_around import raster_of

__all__ = [
    "Added",
    "LinkChange",
    "NamedPlan",
    "Sorted",
    "Tables",
    "add_tables",
    "change_link",
    "check_tables",
    "drop_equipment",
    "drop_links",
    "set_area_pair",
    "sort_files",
    "store_values",
    "what_is_missing",
]

_LOWEST_HZ = 20_000_000  # below it, a number was probably meant in MHz; common practice


@dataclass(frozen=True)
class Tables:
    """Tables to be brought in, ``None``: not given. ``plan_name``: of the plan, else its file's name."""

    links: FilePath | None = None
    equipment: FilePath | None = None
    areas: FilePath | None = None
    foreign: FilePath | None = None
    stations: FilePath | None = None
    chain: FilePath | None = None
    plan: FilePath | None = None
    plan_name: str | None = None
    groups: FilePath | None = None

    @property
    def any_given(self) -> bool:
        """Whether there is anything to bring in."""
        paths = (
            self.links,
            self.equipment,
            self.areas,
            self.foreign,
            self.stations,
            self.chain,
            self.plan,
            self.groups,
        )
        return any(path is not None for path in paths)


@dataclass(frozen=True)
class Sorted:
    """Files told apart by their content: ``tables``, ``sweeps`` (all else), and ``notes``: what each table is."""

    tables: Tables
    sweeps: tuple[FilePath, ...]
    notes: tuple[str, ...]


def sort_files(paths: Sequence[FilePath], tables: Tables) -> Sorted:
    """Which of these files are tables of a show, by their headings. ``tables``: those that are named already.

    Raises QuestionError where the headings of a file do not tell, UsageError for two tables of one kind.
    """
    taken: dict[str, FilePath] = {}
    for path in paths:
        kinds = tables_it_may_be(path)
        if len(kinds) > 1:
            hint = f"say which: --{kinds[0]} {path}"
            raise QuestionError("this may be one table or another", readings=kinds, path=path, hint=hint)
        for kind in kinds:
            other = taken.get(kind, getattr(tables, kind))
            if other is not None:
                raise UsageError(f"there are two tables of one kind ({kind}): {other} and this", path=path, hint=_ONE)
            taken[kind] = path
    sweeps = tuple(path for path in paths if path not in taken.values())
    notes = tuple(f"{path} is taken as {_A_TABLE.get(kind, f'a table of {kind}')}" for kind, path in taken.items())
    return Sorted(_with(tables, taken), sweeps, notes)


def _with(tables: Tables, taken: Mapping[str, FilePath]) -> Tables:
    named = {one.name: getattr(tables, one.name) for one in fields(Tables)}
    return Tables(**{**named, **taken})


_ONE = "bring them in one after the other"
_A_TABLE = {"plan": "a plan", "foreign": "a table of foreign carriers", "chain": "the chain"}


@dataclass(frozen=True)
class Added:
    """What a table did: how many rows of which kind came, changed, went, and were there already."""

    what: str
    added: int
    changed: int
    removed: int
    same: int

    def __str__(self) -> str:
        counts = (
            (self.added, "added"),
            (self.changed, "changed"),
            (self.removed, "taken out"),
            (self.same, "as before"),
        )
        return f"{self.what}: {', '.join(f'{count} {word}' for count, word in counts if count) or 'nothing'}"


def add_tables(tables: Tables, desk: Desk, *, replace_all: bool = False) -> tuple[tuple[Added, ...], tuple[str, ...]]:
    """Bring tables into the show in one change: rows of a name that is there take its place, others are added.

    ``replace_all``: what is in the show and not in the table is taken out. Returns what each table did, and notes.
    Raises InputError with line and column where a table can't be read; then nothing is changed.
    """
    read = list(_read(tables))
    check_stations(tables, desk)
    plan = None
    if tables.plan is not None:
        plan = NamedPlan(tables.plan_name or Path(tables.plan).stem, read_plan(tables.plan), Path(tables.plan).name)
    with desk.writing() as show:
        return store_values(show, read, plan, desk, replace_all=replace_all), what_is_missing(show)


def check_tables(tables: Tables, desk: Desk) -> None:
    """Read tables and store nothing. Raises InputError with line and column where one can't be read."""
    for _ in _read(tables):
        pass
    check_stations(tables, desk)
    if tables.plan is not None:
        read_plan(tables.plan)


def check_stations(tables: Tables, desk: Desk) -> None:
    """Raise InputError, with line and column, for a TV channel that the region of the show does not have."""
    if tables.stations is not None:
        with desk.looking() as show:
            raster = raster_of(show)
        read_stations(tables.stations, raster)


@dataclass(frozen=True)
class NamedPlan:
    """A plan that came as a table. ``source``: the name of its file."""

    name: str
    rows: Sequence[Assignment]
    source: str


Values = Sequence[tuple[KindOfItem[Any], Sequence[Any]]]


def store_values(
    show: ShowFile, read: Values, plan: NamedPlan | None, desk: Desk, *, replace_all: bool = False
) -> tuple[Added, ...]:
    """Bring values into a show that is open, in one change; a plan is then the one in force. Returns what it did."""
    counts = [_count(show, kind, values, replace_all) for kind, values in read]
    told = [str(count) for count in counts]
    if plan is not None:
        told.append(f"plan {plan.name!r}: {len(plan.rows)} rows")
        counts.append(Added(f"plan {plan.name!r}", len(plan.rows), 0, 0, 0))
    with desk.change(show, "; ".join(told)) as change:
        for kind, values in read:
            _put(change, show, kind, values, replace_all)
        if plan is not None:
            drop_plan(change, show, plan.name)
            change.put(PLANS, PlanHead(plan.name, notes=(f"from {plan.source}",)))
            change.put(PLAN_ROWS, *plan_rows(plan.name, plan.rows))
            change.put(SETTINGS, Setting(IN_FORCE, plan.name))
    return tuple(counts)


def _read(tables: Tables) -> Iterable[tuple[KindOfItem[Any], Sequence[Any]]]:
    """Each table that is given, as the values of its kind."""
    readers: tuple[tuple[FilePath | None, KindOfItem[Any], Callable[[FilePath], Sequence[Any]]], ...] = (
        (tables.equipment, EQUIPMENT, lambda path: tuple(read_equipment(path).values())),
        (tables.links, LINKS, read_links),
        (tables.areas, AREA_PAIRS, lambda path: pairs_of(read_areas(path))),
        (tables.foreign, FOREIGN, read_foreign),
        (tables.stations, STATIONS, lambda path: read_stations(path)),
        (tables.groups, APART, lambda path: stated_rules(path).apart),
        (tables.groups, TOGETHER, lambda path: stated_rules(path).together),
        (tables.chain, CHAIN, lambda path: read_chain(path).parts),
    )
    for path, kind, read in readers:
        if path is not None:
            values = read(path)
            for key, times in Counter(kind.key(value) for value in values).items():
                if times > 1 and kind is CHAIN:
                    raise InputError(f"{times} parts are called {key!r}", path=path, hint="give each a name of its own")
            yield kind, values


def _count(show: ShowFile, kind: KindOfItem[Any], values: Sequence[Any], replace_all: bool) -> Added:
    """What bringing these values in will do."""
    before = {kind.key(value): image_of(value) for value in show.all(kind)}
    after = {kind.key(value): image_of(value) for value in values}
    gone = len(before.keys() - after.keys()) if replace_all else 0
    same = sum(before.get(key) == image for key, image in after.items())
    new = len(after.keys() - before.keys())
    return Added(_WORDS[kind.name], new, len(after) - new - same, gone, same)


_WORDS = {
    "equipment": "equipment",
    "link": "links",
    "area_pair": "pairs of areas",
    "foreign": "foreign carriers",
    "station": "stations",
    "apart": "rules about groups apart",
    "together": "rules about groups together",
    "chain_part": "parts of the chain",
}


def _put(change: Change, show: ShowFile, kind: KindOfItem[Any], values: Sequence[Any], replace_all: bool) -> None:
    if replace_all:
        kept = {kind.key(value) for value in values}
        change.drop(kind, *(key for value in show.all(kind) if (key := kind.key(value)) not in kept))
    change.put(kind, *values)


def what_is_missing(show: ShowFile) -> tuple[str, ...]:
    """What does not fit together yet."""
    known = {one.name for one in show.all(EQUIPMENT)}
    lacking = Counter(link.equipment for link in show.all(LINKS) if link.equipment not in known)
    missing = [
        f"the equipment {name!r} of {count} link{'' if count == 1 else 's'} is not in the show yet"
        for name, count in lacking.items()
    ]
    groups = known.union({kind.value for kind in Kind}, *(link.groups for link in show.all(LINKS)))
    named = sorted(Groupings(show.all(APART), show.all(TOGETHER)).names - groups)
    return (*missing, *(f"a rule is about {name!r}, and nothing in the show is called so yet" for name in named))


@dataclass(frozen=True)
class LinkChange:
    """What is to be different about a link; ``None``: as it is. A frequency of 0 Hz takes the frequency out."""

    equipment: str | None = None
    area: str | None = None
    scenes: Sequence[str] | None = None
    priority: int | None = None
    frequency_hz: int | None = None
    fixed: bool | None = None
    planned: bool | None = None
    groups: Sequence[str] | None = None


def change_link(name: str, asked: LinkChange, desk: Desk) -> Link:
    """Change a link of the show, or add one. Raises UsageError for what can't be."""
    with desk.writing() as show:
        before = show.get(LINKS, name)
        _check_lists(asked, show)
        after = _changed(before or _new_link(name, asked), asked)
        _check_link(after, show)
        if asked.frequency_hz:
            _check_frequency(after, show)
        word = "added" if before is None else "changed"
        with desk.change(show, f"link {name!r} {word}") as change:
            change.put(LINKS, after)
        return after


def _new_link(name: str, asked: LinkChange) -> Link:
    if asked.equipment is None:
        raise UsageError(f"there is no link {name!r}", hint="say --equipment to add it")
    if not name.strip():
        raise UsageError("a link needs a name", hint="fallow show links NAME --equipment NAME")
    if name.lower().startswith(SPARE_PREFIX):
        hint = "call it otherwise: in a plan, names that begin so are frequencies kept free"
        raise UsageError(f"{name!r} is no name for a link", hint=hint)
    return Link(name, asked.equipment)


def _changed(link: Link, asked: LinkChange) -> Link:
    scenes = link.scenes if asked.scenes is None else frozenset(asked.scenes)
    frequency_hz = link.frequency_hz if asked.frequency_hz is None else asked.frequency_hz or None
    return replace(
        link,
        equipment=link.equipment if asked.equipment is None else asked.equipment,
        area=link.area if asked.area is None else asked.area,
        scenes=scenes,
        priority=link.priority if asked.priority is None else asked.priority,
        frequency_hz=frequency_hz,
        fixed=link.fixed if asked.fixed is None else asked.fixed,
        planned=link.planned if asked.planned is None else asked.planned,
        groups=link.groups if asked.groups is None else frozenset(asked.groups),
    )


def _check_lists(asked: LinkChange, show: ShowFile) -> None:
    """Raise UsageError for scenes or groups as typed that may be several: links would count as never together."""
    links = show.all(LINKS)
    groups = Groupings(show.all(APART), show.all(TOGETHER)).names.union(*(link.groups for link in links))
    scenes = {scene for link in links for scene in link.scenes}
    for noun, typed, known in (("scene", asked.scenes, scenes), ("group", asked.groups, groups)):
        for item in typed or ():
            found = scenes_in([item], known - {item}, is_ours=True, noun=noun)
            parts = found.names.get(item, (item,))
            if item not in known and (found.still_open is not None or len(parts) > 1):
                hint = f"write a semicolon between {noun}s: '{';'.join(parts)}'" if len(parts) > 1 else None
                raise UsageError(
                    f"{item!r} may be one {noun} or several", hint=hint or "write a semicolon between them"
                )


def _check_frequency(link: Link, show: ShowFile) -> None:
    """Raise UsageError for a frequency below all of links', which the radio can't be tuned to: the unit is missing."""
    at_hz, radio = link.frequency_hz, show.get(EQUIPMENT, link.equipment)
    if at_hz is None or at_hz >= _LOWEST_HZ or radio is None:
        return
    if at_hz not in radio.presets_hz and not any(span.low_hz <= at_hz <= span.high_hz for span in radio.tuning):
        hint = "write the unit: --frequency 510.1M (a number without one is in hertz)"
        raise UsageError(f"the frequency {at_hz} Hz is none that {radio.name!r} can be tuned to", hint=hint)


def _check_link(link: Link, show: ShowFile) -> None:
    if not 1 <= link.priority <= LOWEST_PRIORITY:
        raise UsageError(f"the priority {link.priority} is none of 1 to {LOWEST_PRIORITY}")
    if link.fixed and link.frequency_hz is None:
        raise UsageError(f"{link.name!r} is fixed but has no frequency", hint="say --frequency too")
    if show.get(EQUIPMENT, link.equipment) is None:
        names = ", ".join(one.name for one in show.all(EQUIPMENT)) or "none"
        raise UsageError(f"the equipment {link.equipment!r} is not in the show", hint=f"the equipment is: {names}")


def drop_links(names: Sequence[str], desk: Desk) -> None:
    """Take links out of the show. Raises UsageError where one is not there."""
    with desk.writing() as show, desk.change(show, f"links taken out: {', '.join(names)}") as change:
        change.drop(LINKS, *names)


def drop_equipment(names: Sequence[str], desk: Desk) -> None:
    """Take equipment out of the show. Raises UsageError where it is not there, or a link is made of it."""
    with desk.writing() as show:
        for link in show.all(LINKS):
            if link.equipment in names:
                hint = f"take the link out first: fallow show links --drop '{link.name}'"
                raise UsageError(f"the link {link.name!r} is made of {link.equipment!r}", hint=hint)
        with desk.change(show, f"equipment taken out: {', '.join(names)}") as change:
            change.drop(EQUIPMENT, *names)


def set_area_pair(area: str, other: str, loss: float | str, desk: Desk) -> None:
    """Say what two areas lose between them: decibels, ``apart``, or ``full`` (they hear each other fully).

    Raises UsageError for anything else.
    """
    if not (area.strip() and other.strip()):
        raise UsageError("an area needs a name", hint="fallow show areas AREA OTHER --loss DB")
    if area == other:
        raise UsageError("an area always hears itself", hint="name another area")
    if isinstance(loss, float) and loss < 0:
        raise UsageError(f"the loss {loss:g} is negative", hint="write how many dB are lost, without a sign")
    if isinstance(loss, float) and loss > MOST_LOSS_DB:
        raise UsageError(f"the loss {loss:g} is out of range", hint=f"give {MOST_LOSS_DB:g} dB at most, or --apart")
    pair = AreaPair(min(area, other), max(area, other), None if isinstance(loss, str) else loss)
    with desk.writing() as show:
        told = loss if isinstance(loss, str) else f"{loss:g} dB"
        with desk.change(show, f"areas {area!r} and {other!r}: {told}") as change:
            if loss == "full":
                change.drop(AREA_PAIRS, AREA_PAIRS.key(pair))
            else:
                change.put(AREA_PAIRS, pair)
