"""Every change that was ever made, kept with what was before and after; undone, done again, and looked back upon.

The log only grows: to undo is a change of its own, which puts back what was before another. So the state after any
change can be had by walking back from the present, and an undone change stays visible.

Edits are what people undo. Facts (a mark, an event, what was handed out) stand beside them: undo passes over them.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

__all__ = [
    "Changed",
    "Difference",
    "Happened",
    "Nature",
    "Row",
    "changes",
    "difference",
    "is_moment",
    "renames",
    "rows_of",
    "state_after",
]


class Nature(StrEnum):
    """What a change is: an edit, a fact, an edit taken back, an edit done again."""

    EDIT = "edit"
    FACT = "fact"
    UNDO = "undo"
    REDO = "redo"


@dataclass(frozen=True)
class Happened:
    """One change: number, time (ISO 8601), who, why and what. ``of``: the edit that is taken back or done again.

    ``undone``: whether it is an edit that is taken back at present. ``can_redo``: whether it can be done again.
    """

    number: int
    uid: str
    at: str
    who: str
    why: str
    what: str
    nature: Nature
    of: int | None = None
    undone: bool = False
    can_redo: bool = False


@dataclass(frozen=True)
class Row:
    """One value of the file as text: its image, and its place among its kind. Absent values have neither."""

    image: str | None
    place: int | None


ABSENT = Row(None, None)


@dataclass(frozen=True)
class Changed:
    """What a change did to one value."""

    kind: str
    key: str
    before: Row
    after: Row


State = dict[tuple[str, str], Row]


@dataclass(frozen=True)
class Difference:
    """A value that differs between two states; ``None``: it is not in that state."""

    kind: str
    key: str
    before: str | None
    after: str | None


def is_moment(at: object) -> bool:
    """Whether this is a time as the history has it, ISO 8601."""
    try:
        return isinstance(at, str) and bool(datetime.fromisoformat(at))
    except ValueError:
        return False


def changes(connection: sqlite3.Connection) -> tuple[Happened, ...]:
    """The whole log, oldest first. Raises sqlite3.Error."""
    rows = connection.execute("SELECT id, uid, at, who, why, what, nature, of FROM change ORDER BY id").fetchall()
    done, redo = _standing((number, Nature(nature), of) for number, *_, nature, of in rows)
    return tuple(
        Happened(
            number,
            uid,
            at,
            who,
            why,
            what,
            Nature(nature),
            of,
            undone=nature == Nature.EDIT and number not in done,
            can_redo=number in redo,
        )
        for number, uid, at, who, why, what, nature, of in rows
    )


def last_edit(connection: sqlite3.Connection) -> int | None:
    """The edit that undo takes back next; ``None`` where there is none."""
    done, _ = _standing(_natures(connection))
    return done[-1] if done else None


def next_redo(connection: sqlite3.Connection) -> int | None:
    """The edit that redo does again next; ``None`` where there is none."""
    _, redo = _standing(_natures(connection))
    return redo[-1] if redo else None


def _natures(connection: sqlite3.Connection) -> list[tuple[int, Nature, int | None]]:
    rows = connection.execute("SELECT id, nature, of FROM change ORDER BY id")
    return [(number, Nature(nature), of) for number, nature, of in rows]


def _standing(log: Iterable[tuple[int, Nature, int | None]]) -> tuple[list[int], list[int]]:
    """The edits that stand, and those that can be done again, each with the next one last."""
    done: list[int] = []
    redo: list[int] = []
    for number, nature, _ in log:
        if nature is Nature.EDIT:
            done.append(number)
            redo.clear()
        elif nature is Nature.UNDO:
            redo.append(done.pop())
        elif nature is Nature.REDO:
            done.append(redo.pop())
    return done, redo


def renames(connection: sqlite3.Connection, since: str) -> dict[tuple[str, str], str]:
    """What is called otherwise now, by its kind and its name at a moment (ISO 8601, UTC; empty: before everything).

    A rename is a change that says so, takes a value away and puts one of its kind in its very place under another key.
    """
    gone: dict[tuple[int, str, int], str] = {}
    called: dict[tuple[str, str], str] = {}
    for number, kind, key, place, after in connection.execute(_COMINGS_AND_GOINGS, (since,)):
        if after is None:
            gone[number, kind, place] = key
        elif (before := gone.pop((number, kind, place), None)) is not None:
            names = [name for name, now in called.items() if name[0] == kind and now == before]
            called |= dict.fromkeys(names or [(kind, before)], key)
    return {name: now for name, now in called.items() if name[1] != now}


_COMINGS_AND_GOINGS = (
    "SELECT change_row.change, kind, key, coalesce(place_after, place_before), after FROM change_row"
    " JOIN change ON change.id = change_row.change"
    " WHERE (before IS NULL OR after IS NULL) AND change.at >= ? AND change.what LIKE '% renamed: %'"
    " ORDER BY change_row.change, after IS NOT NULL, change_row.id"
)


def rows_of(connection: sqlite3.Connection, number: int) -> tuple[Changed, ...]:
    """What a change did, in its order. Raises sqlite3.Error."""
    found = connection.execute(
        "SELECT kind, key, before, place_before, after, place_after FROM change_row WHERE change = ? ORDER BY id",
        (number,),
    )
    return tuple(
        Changed(kind, key, Row(before, place_before), Row(after, place_after))
        for kind, key, before, place_before, after, place_after in found
    )


def present(connection: sqlite3.Connection) -> State:
    """All values as they are now."""
    found = connection.execute("SELECT kind, key, image, place FROM item")
    return {(kind, key): Row(image, place) for kind, key, image, place in found}


def state_after(connection: sqlite3.Connection, number: int) -> State:
    """All values as they were after change ``number`` (0: before the first). Raises sqlite3.Error."""
    state = present(connection)
    found = connection.execute(
        "SELECT kind, key, before, place_before FROM change_row WHERE change > ? ORDER BY id DESC", (number,)
    )
    for kind, key, before, place in found:
        if before is None:
            state.pop((kind, key), None)
        else:
            state[kind, key] = Row(before, place)
    return state


def difference(old: Mapping[tuple[str, str], Row], new: Mapping[tuple[str, str], Row]) -> tuple[Difference, ...]:
    """What differs between two states, by kind and key; the order of values does not count."""
    names = sorted({*old, *new})
    pairs = ((name, old.get(name, ABSENT).image, new.get(name, ABSENT).image) for name in names)
    return tuple(Difference(*name, before, after) for name, before, after in pairs if before != after)
