"""What the show wants, brought in from tables: links, equipment, areas, strangers, the chain."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
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
from fallow.show.assignment import Assignment
from fallow.show.equipment import Kind
from fallow.show.grouping import Groupings
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
from fallow.showfile.values import PlanHead, Setting
from fallow.workflow.show import IN_FORCE, Desk, FilePath, drop_plan, pairs_of, plan_rows
from fallow.workflow.show_around import raster_of

__all__ = [
    "Added",
    "NamedPlan",
    "Sorted",
    "Tables",
    "add_tables",
    "check_tables",
    "sort_files",
    "store_values",
    "what_is_missing",
]


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
    read = [(kind, _as_there(show, kind, values)) for kind, values in read]
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


def _as_there(show: ShowFile, kind: KindOfItem[Any], values: Sequence[Any]) -> list[Any]:
    """The values; those of the show where only empty cells under headings that are not known differ."""
    there = {kind.key(value): value for value in show.all(kind)}
    said = {key: _said(value) for key, value in there.items()}
    return [there[key] if said.get(key := kind.key(value)) == _said(value) else value for value in values]


def _said(value: Any) -> Any:
    """The image of a value without such cells."""
    image = image_of(value)
    return {**image, "extra": {name: text for name, text in image.get("extra", {}).items() if text}}


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
