"""A change while it is made: what is put and dropped, and what was there before."""

from __future__ import annotations

import secrets
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from fallow.errors import InputError, UsageError
from fallow.showfile.history import ABSENT, Nature, Row
from fallow.showfile.images import image_of, written
from fallow.showfile.kinds import BY_NAME, KindOfItem
from fallow.showfile.mishaps import DAMAGED_HINT

__all__ = ["Change", "Said"]

T = TypeVar("T")


@dataclass(frozen=True)
class Said:
    """What is said of a change. ``of``: the edit that it takes back or does again. ``at``: ``None`` is now."""

    who: str
    why: str
    what: str
    nature: Nature
    of: int | None = None
    at: datetime | None = None


class Change:
    """A change while it is made. ``number``: its number in the history once it has done anything."""

    def __init__(self, connection: sqlite3.Connection, path: Path, said: Said) -> None:
        self.connection = connection
        self.number: int | None = None
        self._path, self._said = path, said

    def put(self, kind: KindOfItem[T], *values: T) -> None:
        """Store values: new ones after those of their kind, others in place of what has their key.

        Raises UsageError for a number that is none.
        """
        self._check(kind)
        for value in values:
            key = kind.key(value)
            before = self._row(kind.name, key)
            place = self._next_place(kind.name) if before.place is None else before.place
            self._write(kind.name, key, before, Row(_image(kind, value), place))

    def rename(self, kind: KindOfItem[T], key: str, value: T) -> None:
        """Store a value under its new key, where the one of the old key stood among its kind.

        Raises UsageError where that one is not there, or the new key is taken.
        """
        self._check(kind)
        before, new = self._row(kind.name, key), kind.key(value)
        if before.image is None:
            raise UsageError(f"there is no {kind.word} {key!r}", path=self._path)
        if new != key:
            if self._row(kind.name, new).image is not None:
                raise UsageError(f"the {kind.word} {new!r} is there already", path=self._path)
            self._write(kind.name, key, before, ABSENT)
        self._write(kind.name, new, self._row(kind.name, new), Row(_image(kind, value), before.place))

    def drop(self, kind: KindOfItem[Any], *keys: str) -> None:
        """Take values out. Raises UsageError where one is not there."""
        self._check(kind)
        for key in keys:
            before = self._row(kind.name, key)
            if before.image is None:
                raise UsageError(f"there is no {kind.word} {key!r}", path=self._path)
            self._write(kind.name, key, before, ABSENT)

    def clear(self, kind: KindOfItem[Any]) -> None:
        """Take out all values of a kind."""
        found = self.connection.execute("SELECT key FROM item WHERE kind = ?", (kind.name,)).fetchall()
        self.drop(kind, *(key for (key,) in found))

    def put_image(self, kind: str, key: str, image: str | None) -> None:
        """Store a value as another file has it, ``None``: take it out. The image was understood before."""
        before = self._row(kind, key)
        place = self._next_place(kind) if before.place is None else before.place
        self._write(kind, key, before, ABSENT if image is None else Row(image, place))

    def put_back(self, kind: str, key: str, expected: Row, row: Row) -> None:
        """Put a row of the history back. Raises InputError where something else stands there than it says."""
        if self._row(kind, key) != expected:
            what = f"the history does not fit the {BY_NAME[kind].word} {key!r}, so nothing was changed"
            raise InputError(what, path=self._path, hint=DAMAGED_HINT)
        self._write(kind, key, expected, row)

    def _write(self, kind: str, key: str, before: Row, after: Row) -> None:
        """The one place where a value is changed, and where that is entered into the history."""
        if before == after:
            return
        if self.number is None:
            self.number = self._enter()
        if after.image is None:
            self.connection.execute("DELETE FROM item WHERE kind = ? AND key = ?", (kind, key))
        else:
            self.connection.execute(
                "INSERT INTO item (kind, key, place, image) VALUES (?, ?, ?, ?)"
                " ON CONFLICT (kind, key) DO UPDATE SET place = excluded.place, image = excluded.image",
                (kind, key, after.place, after.image),
            )
        self.connection.execute(
            "INSERT INTO change_row (change, kind, key, place_before, before, place_after, after)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            (self.number, kind, key, before.place, before.image, after.place, after.image),
        )

    def _enter(self) -> int:
        said = self._said
        at = (said.at or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds")
        cursor = self.connection.execute(
            "INSERT INTO change (uid, at, who, why, what, nature, of) VALUES (?, ?, ?, ?, ?, ?, ?)",
            (secrets.token_hex(8), at, *map(_plain, (said.who, said.why, said.what)), said.nature, said.of),
        )
        return int(cursor.lastrowid or 0)

    def _check(self, kind: KindOfItem[Any]) -> None:
        """Undo passes over facts, so an edit must not touch what is one."""
        if kind.is_fact != (self._said.nature is Nature.FACT):
            raise ValueError(f"a {kind.word} is {'a' if kind.is_fact else 'no'} fact, and the change says otherwise")

    def _row(self, kind: str, key: str) -> Row:
        found = self.connection.execute(
            "SELECT image, place FROM item WHERE kind = ? AND key = ?", (kind, key)
        ).fetchone()
        return ABSENT if found is None else Row(*found)

    def _next_place(self, kind: str) -> int:
        found = self.connection.execute("SELECT max(place) FROM item WHERE kind = ?", (kind,)).fetchone()
        return int(found[0] or 0) + 1


def _plain(text: str) -> str:
    """The text with a question mark for each letter that is none."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _image(kind: KindOfItem[T], value: T) -> str:
    try:
        image = written(image_of(value))
        image.encode("utf-8")
        return image
    except UnicodeEncodeError as error:
        raise UsageError(f"the {kind.word} {kind.key(value)!r} has letters that are none") from error
    except ValueError as error:
        raise UsageError(f"the {kind.word} {kind.key(value)!r} has a number that is none") from error
