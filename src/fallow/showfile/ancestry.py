"""Two copies of one show that went different ways: what both know of, and which series of the one the other has.

The histories tell. Changes that both copies have bear the same uid; after these each went its own way. A merge enters
how far the other copy had come (``Merge``), so that the next one begins there.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile

import numpy as np

from fallow.showfile.history import ABSENT, Happened, Row, State, state_after
from fallow.showfile.images import written
from fallow.showfile.kinds import MERGES, SURVEYS
from fallow.showfile.store import ShowFile
from fallow.showfile.sweeps import next_sweep, sweep_at

__all__ = ["Common", "SeriesNames", "common_of", "series_names"]

NO_IMAGE = ""  # what both copies merged at the same time in different ways: no state of it is common


@dataclass(frozen=True)
class Common:
    """What both copies know of: the ``state``, with the numbers that series have here.

    ``here`` and ``there``: so many changes of each copy are known to the other, by number; ``shared``: changes that
    both histories begin with.
    """

    state: State
    here: int
    there: int
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
    shared = _shared(ours, theirs)
    start = ours[shared - 1].number if shared else 0
    known_there, learned_here = _learned(here, theirs[shared:], start)
    known_here, learned_there = _learned(there, ours[shared:], start)
    past = names.of_the_past()
    of_theirs = past.translated(state_after(there.connection, known_there))
    of_ours = state_after(here.connection, known_here)
    if known_here == start:
        of_ours = past.translated(of_ours)  # numbers are the same in both; a series that has grown stands elsewhere
    if known_here >= learned_here:
        state = of_ours
    elif known_there >= learned_there:
        state = of_theirs
    else:
        state = _crossed(state_after(here.connection, start), of_ours, of_theirs)
    return Common(state, known_here, known_there, shared)


def _shared(ours: Sequence[Happened], theirs: Sequence[Happened]) -> int:
    """How many changes both histories begin with."""
    return sum(1 for _ in takewhile(lambda pair: pair[0].uid == pair[1].uid, zip(ours, theirs, strict=False)))


def _learned(show: ShowFile, others: Iterable[Happened], start: int) -> tuple[int, int]:
    """The last change of another copy that a merge brought to this one, and the change here that was this merge.

    Both are ``start`` where there was none.
    """
    found = show.connection.execute(
        "SELECT key, max(change) FROM change_row WHERE kind = ? AND after IS NOT NULL"
        " AND key IN (SELECT key FROM item WHERE kind = ?) GROUP BY key",
        (MERGES.name, MERGES.name),
    )
    at = dict(found.fetchall())
    known = [(one.number, at[one.uid]) for one in others if one.uid in at]
    return max(known, default=(start, start))


def _crossed(before: State, ours: State, theirs: State) -> State:
    """What both know of after each merged the other's state of before its merge."""
    state: State = {}
    for name in {*ours, *theirs}:
        base, one, other = (found.get(name, ABSENT) for found in (before, ours, theirs))
        if one.image in (other.image, base.image):
            state[name] = other
        else:
            state[name] = one if other.image == base.image else Row(NO_IMAGE, None)
    return {name: row for name, row in state.items() if row.image is not None}


def series_names(here: ShowFile, there: ShowFile) -> SeriesNames:
    """Which series of the other copy are here: those of the shared history, and those that merges brought."""
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
    sweeps_there = {number: next_sweep(there.connection, number) for number in known}
    longer = {number for number, ours in known.items() if sweeps_there[number] > next_sweep(here.connection, ours)}
    apart = {number for number in longer if not _continues(here, known[number], there, number)}
    return SeriesNames(known, frozenset(longer - apart), frozenset(apart))


def _of_surveys(connection: sqlite3.Connection, until: int) -> set[int]:
    """The series that surveys named in the first changes."""
    found = connection.execute(
        "SELECT after FROM change_row WHERE kind = ? AND change <= ? AND after IS NOT NULL", (SURVEYS.name, until)
    )
    return {number for (image,) in found for number in json.loads(image).get("series", ())}


def _continues(here: ShowFile, ours: int, there: ShowFile, theirs: int) -> bool:
    """Whether the series there begins with all sweeps of the one here: sweeps are only added, so the last one tells."""
    last = next_sweep(here.connection, ours) - 1
    if last < 0:
        return True
    time_s, levels_db = sweep_at(here.connection, ours, last, here.path)
    time_there_s, levels_there_db = sweep_at(there.connection, theirs, last, there.path)
    same_time = np.array_equal([time_s], [time_there_s], equal_nan=True)
    return same_time and np.array_equal(levels_db, levels_there_db, equal_nan=True)
