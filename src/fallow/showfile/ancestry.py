"""Two copies of one show that went different ways: what both know of, and which series of the one the other has.

The histories tell, each of its own copy (``knowledge``). There need be no moment whose whole state both know of, where
they merged each other crosswise or learned of things over a third copy. So it is asked value by value.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from itertools import takewhile

import numpy as np

from fallow.showfile.history import ABSENT, Happened, Row, State, present
from fallow.showfile.images import written
from fallow.showfile.kinds import MERGES, SURVEYS
from fallow.showfile.knowledge import Knowledge, Name, knowledge_of
from fallow.showfile.store import ShowFile
from fallow.showfile.sweeps import head_of, next_sweep, sweep_at
from fallow.spectrum.sweep import Series

__all__ = ["Common", "SeriesNames", "common_of", "series_names"]

NO_IMAGE = ""  # what both copies decided in different ways: no state of it is common


@dataclass(frozen=True)
class Common:
    """What both copies know of: the ``state``, with the numbers that series have here. Where only one of them changed a
    value it is as the other has it. ``here``, ``there``: what each of them knows of; ``shared``: changes that both
    histories begin with.
    """

    state: State
    here: Knowledge
    there: Knowledge
    shared: int


@dataclass(frozen=True)
class SeriesNames:
    """Which number a series of the other copy has here. One that is not here is told by its number below zero.

    ``grown``: series that are here and have more sweeps there; ``apart``: those to which both copies added.
    """

    known: Mapping[int, int]
    grown: frozenset[int] = frozenset()
    apart: frozenset[int] = frozenset()

    def here(self, number: int) -> int:
        """Its number here, or that there below zero where it has to be fetched."""
        return -number if number in self.grown else self.known.get(number, -number)

    def translated(self, state: State) -> State:
        """A state of the other copy, its surveys with the numbers that their series have here."""
        return {
            (kind, key): replace(row, image=self._survey(row.image)) if kind == SURVEYS.name and row.image else row
            for (kind, key), row in state.items()
        }

    def of_the_past(self) -> SeriesNames:
        """The same for what both know of, whose series have not grown yet."""
        return replace(self, grown=frozenset())

    def _survey(self, image: str) -> str:
        survey = json.loads(image)
        return written({**survey, "series": [self.here(number) for number in survey.get("series", ())]})


def common_of(here: ShowFile, there: ShowFile, names: SeriesNames) -> Common:
    """What both copies know of. Raises InputError for damage."""
    ours, theirs = here.changes(), there.changes()
    sides = _Sides(here, there, names, knowledge_of(here, theirs), knowledge_of(there, ours))
    bases = {name: sides.base_of(name) for name in {*sides.ours, *sides.theirs}}
    state = {name: Row(image, None) for name, image in bases.items() if image is not None}
    return Common(state, sides.here, sides.there, _shared(ours, theirs))


class _Sides:
    """Both copies, to be asked what they have in common of one value."""

    def __init__(
        self, here: ShowFile, there: ShowFile, names: SeriesNames, of_here: Knowledge, of_there: Knowledge
    ) -> None:
        self.here, self.there = of_here, of_there
        self.ours, self.theirs = present(here.connection), names.translated(present(there.connection))
        self._past = names.of_the_past()

    def base_of(self, name: Name) -> str | None:
        """The image that both know of; ``NO_IMAGE`` where they know of different ones and decided differently."""
        ours, theirs = (state.get(name, ABSENT).image for state in (self.ours, self.theirs))
        if ours == theirs:
            return ours
        of_ours, of_theirs = self.here.last_known(name, self.there), self.there.last_known(name, self.here)
        before, before_there = of_ours.image, self._translated(name, of_theirs.image)
        is_as_before = ours == before and not self.here.was_chosen_since(name, of_ours)
        is_as_before_there = theirs == before_there and not self.there.was_chosen_since(name, of_theirs)
        if is_as_before != is_as_before_there:
            return ours if is_as_before else theirs
        sees_theirs, sees_ours = self._sees(name)
        if is_as_before and sees_theirs != sees_ours:  # the one has seen what the other still holds, and moved on
            return theirs if sees_theirs else ours
        holds_theirs, holds_ours = ours == before_there != before, theirs == before != before_there
        if holds_theirs != holds_ours:  # one took over what the other had, which has moved on since
            return ours if holds_theirs else theirs
        return before if before == before_there and before not in (ours, theirs) else NO_IMAGE

    def _sees(self, name: Name) -> tuple[bool, bool]:
        """Whether the one here knows of the change that made the value there, and the other way round."""
        ours, theirs = self.here.now(name).origin, self.there.now(name).origin
        return theirs in self.here.uids or not theirs, ours in self.there.uids or not ours

    def _translated(self, name: Name, image: str | None) -> str | None:
        return self._past.translated({name: Row(image, None)})[name].image


def _shared(ours: Sequence[Happened], theirs: Sequence[Happened]) -> int:
    """How many changes both histories begin with."""
    return sum(1 for _ in takewhile(lambda pair: pair[0].uid == pair[1].uid, zip(ours, theirs, strict=False)))


def series_names(here: ShowFile, there: ShowFile) -> SeriesNames:
    """Which series of the other copy are here: those of the shared history, those that merges brought, and those that
    both copies have from somewhere else.
    """
    ours, theirs = here.changes(), there.changes()
    shared = _shared(ours, theirs)
    known = {number: number for number in _of_surveys(here.connection, ours[shared - 1].number)} if shared else {}
    uids_there, uids_here = {one.uid for one in theirs}, {one.uid for one in ours}
    for merge in there.all(MERGES):
        if merge.until in uids_here:
            known |= {number: int(named) for named, number in merge.series.items()}
    for merge in here.all(MERGES):
        if merge.until in uids_there:
            known |= {int(named): number for named, number in merge.series.items()}
    known |= dict(_alike(here, there, known))
    sweeps_there = {number: next_sweep(there.connection, number) for number in known}
    longer = {number for number, ours in known.items() if sweeps_there[number] > next_sweep(here.connection, ours)}
    apart = {number for number in longer if not _continues(here, known[number], there, number)}
    return SeriesNames(known, frozenset(longer - apart), frozenset(apart))


def _alike(here: ShowFile, there: ShowFile, known: Mapping[int, int]) -> Iterator[tuple[int, int]]:
    """Series there and here that say the same of themselves and begin with the same sweeps."""
    free = _heads(here, {*known.values()})
    for theirs, head in _heads(there, {*known}).items():
        alike = (ours for ours, other in free.items() if _says_the_same(head, other))
        found = next((ours for ours in alike if _begin_alike(here, ours, there, theirs)), None)
        if found is not None:
            del free[found]
            yield theirs, found


def _heads(show: ShowFile, but: set[int]) -> dict[int, Series]:
    """The series of a copy, without their sweeps, by their numbers."""
    numbers = show.connection.execute("SELECT id FROM series ORDER BY id").fetchall()
    return {number: head_of(show.connection, number, show.path) for (number,) in numbers if number not in but}


def _says_the_same(one: Series, other: Series) -> bool:
    return one.axis == other.axis and _said(one) == _said(other)


def _begin_alike(here: ShowFile, ours: int, there: ShowFile, theirs: int) -> bool:
    """Whether two series are the same as far as both go: their first, middle and last sweep tell."""
    both = min(next_sweep(here.connection, ours), next_sweep(there.connection, theirs))
    return both > 0 and all(_same_sweep(here, ours, there, theirs, at) for at in {0, both // 2, both - 1})


def _said(head: Series) -> list[object]:
    """What a series says of itself, beside its axis and its sweeps."""
    return [getattr(head, one.name) for one in fields(Series) if one.name not in ("axis", "levels_db", "times_s")]


def _of_surveys(connection: sqlite3.Connection, until: int) -> set[int]:
    """The series that surveys named in the first changes."""
    found = connection.execute(
        "SELECT after FROM change_row WHERE kind = ? AND change <= ? AND after IS NOT NULL", (SURVEYS.name, until)
    )
    return {number for (image,) in found for number in json.loads(image).get("series", ())}


def _continues(here: ShowFile, ours: int, there: ShowFile, theirs: int) -> bool:
    """Whether the series there begins with all sweeps of the one here: sweeps are only added, so the last one tells."""
    last = next_sweep(here.connection, ours) - 1
    return last < 0 or _same_sweep(here, ours, there, theirs, last)


def _same_sweep(here: ShowFile, ours: int, there: ShowFile, theirs: int, at: int) -> bool:
    time_s, levels_db = sweep_at(here.connection, ours, at, here.path)
    time_there_s, levels_there_db = sweep_at(there.connection, theirs, at, there.path)
    same_time = np.array_equal([time_s], [time_there_s], equal_nan=True) and not np.isnan(levels_db).all()
    return same_time and np.array_equal(levels_db, levels_there_db, equal_nan=True)
