"""Two copies of one show, value by value: what was changed here, there, and in both in different ways; and merged.

A *unit* is what is decided as one: a value, or a plan that was made anew with all its rows, so that no plan is ever put
together from two. Marks name moments of a history and stay where they are; events are facts and are all kept.
"""

from __future__ import annotations

import json
import secrets
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

from fallow.showfile.ancestry import Common, SeriesNames, common_of, series_names
from fallow.showfile.changing import Change, Said
from fallow.showfile.history import ABSENT, Nature, State, present
from fallow.showfile.holding import value_of
from fallow.showfile.images import written
from fallow.showfile.kinds import BY_NAME, EVENTS, MARKS, MERGES, PLAN_ROWS, PLANS, SURVEYS, parted
from fallow.showfile.knowledge import CHOICE, Name
from fallow.showfile.renames import Renamed, renamed_apart
from fallow.showfile.store import ShowFile
from fallow.showfile.sweeps import copy_series
from fallow.showfile.values import Merge

__all__ = ["Copies", "Part", "Side", "Unit", "compare_copies", "merge_copies"]

NOT_MERGED = (MARKS.name, EVENTS.name, MERGES.name)


class Side(StrEnum):
    """Where something was changed. ``JOINED``: in both, and both fit together; ``BOTH``: in both, differently."""

    HERE = "here"
    THERE = "there"
    JOINED = "joined"
    BOTH = "both"


@dataclass(frozen=True)
class Part:
    """A value: its image in the common past, here and there; ``None``: it is not in that state."""

    kind: str
    key: str
    base: str | None
    here: str | None
    there: str | None


@dataclass(frozen=True)
class Unit:
    """What is decided as one. ``parts``: the first names it. ``joined``: the image that fits both, if any."""

    parts: tuple[Part, ...]
    side: Side
    joined: str | None = None

    @property
    def kind(self) -> str:
        """The kind of the value that names it."""
        return self.parts[0].kind

    @property
    def name(self) -> str:
        """Its name for people, without its kind."""
        key = self.parts[0].key
        parts = parted(key) if BY_NAME[self.kind].is_composed else [key]
        return " / ".join(str(part) for part in parts if part not in ("", 0)) or "everywhere"

    @property
    def rows(self) -> tuple[Part, ...]:
        """Of a plan, the rows that say different things here and there: link, radio, area, scenes or frequency."""
        return tuple(part for part in self.parts if part.kind == PLAN_ROWS.name and not _is_alike(part))

    def apart(self, rows: Iterable[Part]) -> tuple[Unit, ...]:
        """Some rows of a plan by themselves, one by one, and the rest of it."""
        rows = tuple(rows)
        rest = tuple(part for part in self.parts if part not in rows)
        return (*(Unit((row,), self.side) for row in rows), replace(self, parts=rest))

    @property
    def label(self) -> str:
        """Kind and name: ``link vox 1``."""
        return f"{BY_NAME[self.kind].word} {self.name}"


@dataclass(frozen=True)
class Copies:
    """Two copies compared. ``events``: that only the other has, by their keys. ``has_news``: whether its
    history holds changes that are not known here. ``notes``: what can't be brought over. ``renamed``: areas and types
    of radio that are called differently here and there.
    """

    common: Common
    names: SeriesNames
    units: tuple[Unit, ...]
    events: tuple[str, ...] = ()
    has_news: bool = False
    notes: tuple[str, ...] = ()
    renamed: tuple[Renamed, ...] = ()

    def on(self, side: Side) -> tuple[Unit, ...]:
        """The units of one side."""
        return tuple(unit for unit in self.units if unit.side is side)


def compare_copies(here: ShowFile, there: ShowFile) -> Copies:
    """What differs between two copies, in the order of their kinds. Raises InputError for damage."""
    with here.snapshot(), there.snapshot():
        names = series_names(here, there)
        common = common_of(here, there, names)
        ours, raw = present(here.connection), present(there.connection)
        theirs = names.translated(raw)
        events = [key for kind, key in theirs if kind == EVENTS.name and (kind, key) not in ours]
        return Copies(
            common,
            names,
            tuple(_units(common.state, ours, theirs)),
            tuple(events),
            not common.there.uids <= common.here.uids,
            tuple(_notes(ours, theirs, names)),
            renamed_apart(common.state, ours, theirs),
        )


def merge_copies(here: ShowFile, there: ShowFile, copies: Copies, taken: Iterable[Unit], said: Said) -> int | None:
    """Bring over what was taken from there (of a joined unit, what fits both), with its sweeps, in one transaction.

    Returns the number of the change, ``None`` where nothing is new. Raises InputError for a value that can't be
    understood, and what ``ShowFile.change`` raises; then nothing is changed.
    """
    taken = tuple(taken)
    with there.snapshot(), here.sweeping() as connection:
        change, facts = Change(connection, here.path, said), Change(connection, here.path, _as_fact(said))
        fetched = _Fetched(here, there, copies.names)
        for unit in taken:
            for part in unit.parts:
                image = part.there if unit.joined is None else unit.joined
                change.put_image(part.kind, part.key, None if image is None else fetched.image(part, image))
        decided = _decided(copies, taken)
        if copies.has_news or fetched.any_copied or decided:
            _enter(change, there, fetched.numbers, _learned(copies, taken, decided))
        events = {key: row for (kind, key), row in present(there.connection).items() if kind == EVENTS.name}
        for key in copies.events:
            facts.put_image(EVENTS.name, key, events[key].image)
        return change.number


def _as_fact(said: Said) -> Said:
    return replace(said, nature=Nature.FACT, what="events of the other copy")


def _decided(copies: Copies, taken: Iterable[Unit]) -> frozenset[Name]:
    """The values whose fate the histories alone do not tell: somebody chose, or they were put together."""
    chosen = set(taken)
    units = [
        unit
        for unit in copies.units
        if unit.side in (Side.BOTH, Side.JOINED) or (unit in chosen) != (unit.side is Side.THERE)
    ]
    return frozenset((part.kind, part.key) for unit in units for part in unit.parts)


def _learned(copies: Copies, taken: Iterable[Unit], decided: frozenset[Name]) -> Merge:
    """What a merge tells of later: what the other copy knew, and where each value comes from that is as there now."""
    here, there = copies.common.here, copies.common.there
    brought = {(part.kind, part.key) for unit in taken for part in unit.parts}
    differing = {(part.kind, part.key) for unit in copies.units for part in unit.parts}
    alike = {name for name in there.steps if name not in differing and there.now(name).origin not in here.uids}
    origins: dict[str, list[Name]] = defaultdict(list)
    for name in sorted((brought | alike) - decided):
        if name[0] in BY_NAME and name[0] not in NOT_MERGED and (origin := there.now(name).origin):
            origins[origin].append(name)
    token = f"{CHOICE}{secrets.token_hex(8)}"
    if decided:
        origins[token] = sorted(decided)
    known = sorted(there.uids - here.uids) + ([token] if decided else [])
    return Merge("", "", known=tuple(known), origins={origin: tuple(names) for origin, names in origins.items()})


def _enter(change: Change, there: ShowFile, series: Mapping[int, int], learned: Merge) -> None:
    """Enter the merge, and those that the other copy has entered: what they brought is here now."""
    now = datetime.now(UTC).isoformat(timespec="seconds")
    numbers = {str(number): ours for number, ours in sorted(series.items())}
    for last in there.changes()[-1:]:
        known = dict.fromkeys((*_known_before(change, last.uid), *learned.known))
        change.put(
            MERGES, replace(learned, until=last.uid, at=now, name=there.path.name, series=numbers, known=tuple(known))
        )
    for merge in there.all(MERGES):
        if change.connection.execute(_IMAGE, (MERGES.name, merge.until)).fetchone() is None:
            kept = {of: series[number] for of, number in merge.series.items() if number in series}
            change.put(MERGES, replace(merge, series=kept, known=(), origins={}))


def _known_before(change: Change, until: str) -> tuple[str, ...]:
    """What an earlier merge with the same moment of the other copy has told already."""
    found = change.connection.execute(_IMAGE, (MERGES.name, until)).fetchone()
    return () if found is None else tuple(json.loads(found[0]).get("known", ()))


_IMAGE = "SELECT image FROM item WHERE kind = ? AND key = ?"


class _Fetched:
    """Images of the other copy as they stand here, their sweeps copied where they are not here yet."""

    def __init__(self, here: ShowFile, there: ShowFile, names: SeriesNames) -> None:
        self.numbers = dict(names.known)
        self._here, self._there = here, there
        self._copied: dict[int, int] = {}

    @property
    def any_copied(self) -> bool:
        """Whether sweeps were copied."""
        return bool(self._copied)

    def image(self, part: Part, image: str) -> str:
        """The image with the numbers of series here. Raises InputError where it can't be understood."""
        if part.kind == SURVEYS.name:
            survey = json.loads(image)
            image = written({**survey, "series": [self._number(number) for number in survey.get("series", ())]})
        value_of(BY_NAME[part.kind], part.key, image, self._there.path)
        return image

    def _number(self, number: int) -> int:
        if number > 0:
            return number
        if number not in self._copied:
            copied = copy_series(self._there.connection, -number, self._here.connection, self._there.path)
            self._copied[number] = self.numbers[-number] = copied
        return self._copied[number]


def _units(base: State, here: State, there: State) -> Iterator[Unit]:
    """What differs from the common past on either side, and is not alike in both."""
    order = {name: number for number, name in enumerate(BY_NAME)}
    touched = [
        Part(kind, key, *(state.get((kind, key), ABSENT).image for state in (base, here, there)))
        for kind, key in {*base, *here, *there}
        if kind in BY_NAME and kind not in NOT_MERGED
    ]
    touched = [part for part in touched if not part.base == part.here == part.there]
    touched.sort(key=lambda part: (order[part.kind], _place(part, here, there), part.key))
    remade = {part.key: [part] for part in touched if part.kind == PLANS.name}
    units = []
    for part in touched:
        if part.kind == PLAN_ROWS.name and (plan := str(parted(part.key)[0])) in remade:
            remade[plan].append(part)
        elif part.kind != PLANS.name:
            units.append(_unit((part,)))
    units += [_unit(tuple(parts)) for parts in remade.values()]
    yield from sorted((unit for unit in units if unit is not None), key=lambda unit: order[unit.kind])


def _place(part: Part, here: State, there: State) -> int:
    name = part.kind, part.key
    return here.get(name, ABSENT).place or there.get(name, ABSENT).place or 0


def _unit(parts: tuple[Part, ...]) -> Unit | None:
    """The parts as one unit; nothing where both copies are alike."""
    if all(part.here == part.there for part in parts):
        return None
    if all(part.base == part.there for part in parts):
        return Unit(parts, Side.HERE)
    if all(part.base == part.here for part in parts):
        return Unit(parts, Side.THERE)
    if parts[0].kind == PLANS.name and parts[0].here is not None and parts[0].there is not None:
        return _plan_in_both(parts)
    joined = _joined_survey(parts[0]) if parts[0].kind == SURVEYS.name else None
    if joined is not None and joined == parts[0].here:
        return None
    return Unit(parts, Side.BOTH if joined is None else Side.JOINED, joined)


def _plan_in_both(parts: tuple[Part, ...]) -> Unit | None:
    """A plan that is in both copies and not alike: when it was made, and what is noted beside rows, decides nothing."""
    unit = Unit(parts, Side.BOTH)
    if not unit.rows:
        return None
    if all(row.base == row.there for row in unit.rows):
        return Unit(parts, Side.HERE)
    return unit


def _is_alike(part: Part) -> bool:
    """Whether a row of a plan says the same here and there, whatever is noted beside it."""
    return part.here == part.there or (
        part.here is not None and part.there is not None and _planned(part.here) == _planned(part.there)
    )


def _planned(image: str) -> list[object]:
    row = json.loads(image)["assignment"]
    return [row.get(name) for name in ("link", "equipment", "area", "scenes", "frequency_hz")]


def _joined_survey(part: Part) -> str | None:
    """A survey to which sweeps were added in both copies, with all of them; ``None`` where that is not all."""
    if part.here is None or part.there is None:
        return None
    base, ours, theirs = (json.loads(image) if image else {} for image in (part.base, part.here, part.there))
    if not all(_only_grew(base, one) for one in (ours, theirs)):
        return None
    rest = {name: _one_of(*(one.get(name) for one in (base, ours, theirs))) for name in _stated(ours, theirs)}
    if _UNDECIDED in rest.values():
        return None
    news = [_files(later) - _files(base) for later in (ours, theirs)]
    if news[0] & news[1]:  # both brought the same file in
        return part.here if news[1] <= news[0] else None
    grown = {name: _united(ours.get(name, []), theirs.get(name, [])) for name in _GROWING}
    return written({**theirs, **ours, **grown, **rest})


_UNDECIDED = object()


def _stated(ours: Mapping[str, Any], theirs: Mapping[str, Any]) -> set[str]:
    """The fields that do not grow; when sweeps were added last decides nothing."""
    return {*ours, *theirs} - {*_GROWING, "added"}


def _one_of(base: object, ours: object, theirs: object) -> object:
    """What only one of them changed, as it is there now."""
    return theirs if ours in (base, theirs) else ours if theirs == base else _UNDECIDED


def _files(survey: Mapping[str, Any]) -> set[str]:
    """The files of a survey by their SHA-256."""
    return {one["sha256"] for one in survey.get("sources", ())}


_GROWING = ("series", "sources", "notes")


def _only_grew(base: Mapping[str, list[object]], later: Mapping[str, list[object]]) -> bool:
    return all(one in later.get(name, []) for name in _GROWING for one in base.get(name, []))


def _united(ours: list[object], theirs: list[object]) -> list[object]:
    return [*ours, *(one for one in theirs if one not in ours)]


def _notes(ours: State, theirs: State, names: SeriesNames) -> Iterator[str]:
    marks = sorted(key for kind, key in theirs if kind == MARKS.name and (kind, key) not in ours)
    if marks:
        yield f"marks name moments of a history and stay in the other copy: {', '.join(marks)}"
    strange = sorted({kind for kind, _ in theirs if kind not in BY_NAME})
    if strange:
        yield f"this fallow does not know what the other copy keeps as {', '.join(strange)}: it stays there"
    if names.apart:
        numbers = ", ".join(map(str, sorted(names.apart)))
        yield f"both copies added sweeps to the same recording (series {numbers}): those of the other copy stay there"
