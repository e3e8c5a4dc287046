"""The show file as it is used: open it, read values, change them in one transaction with who, when and why.

>>> with ShowFile.open(path, write=True, who="Kim") as show, show.change("two guests", "links: 2 added") as change:
...     change.put(LINKS, *guests)

No caller can forget the history: nothing but ``Change`` touches the values, and it keeps what was before and after. A
change that does nothing leaves no trace, and one that fails leaves none either.
"""

from __future__ import annotations

import getpass
import sqlite3
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from fallow.errors import UsageError
from fallow.showfile import history
from fallow.showfile.changing import Change, Said
from fallow.showfile.history import Happened, Nature
from fallow.showfile.holding import Past, value_of
from fallow.showfile.kinds import KindOfItem
from fallow.showfile.mishaps import BusyError, FilePath, told
from fallow.showfile.opening import BUSY_MS, close_writing, connect_looking, connect_writing, make_file
from fallow.showfile.schema import VERSION, version_of
from fallow.showfile.unfinished import clear_unfinished
from fallow.showfile.writer import Writer, claim, current_writer, left_behind, release, this_program

__all__ = ["ShowFile", "usual_name"]

T = TypeVar("T")
_POLL_S = 0.1


def usual_name() -> str:
    """The name of whoever is at this computer, for the history; ``somebody`` where the system does not say."""
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return "somebody"


class ShowFile:
    """A show file that is open. Build one with ``create`` or ``open``, and close it, best by ``with``.

    ``notes``: what whoever opened it should be told.
    """

    def __init__(
        self, path: Path, connection: sqlite3.Connection, writer: Writer | None, notes: tuple[str, ...]
    ) -> None:
        self.path, self.notes = path, notes
        self._connection, self._writer = connection, writer

    @classmethod
    def create(cls, path: FilePath, who: str | None = None) -> Self:
        """A new, empty file, open for writing. Raises OutputError where there is one already."""
        make_file(path)
        return cls.open(path, write=True, who=who)

    @classmethod
    def open(cls, path: FilePath, *, write: bool = False, who: str | None = None, wait_s: float = 0.0) -> Self:
        """Open to look, or to ``write`` under the name ``who``; ``wait_s``: how long to wait for another writer.

        Raises InputError for what is no show file, UsageError where another writes or the file is of a newer version,
        OutputError where it can't be written.
        """
        path = Path(path)
        if not write:
            return cls(path, *_for_reading(path))
        until_s = time.monotonic() + wait_s
        clear_unfinished(path)
        connection = _connected(path, until_s)
        with told(path), ExitStack() as until_ready:
            until_ready.callback(connection.close)
            before = left_behind(connection)
            writer = _claimed(connection, path, this_program(who or usual_name()), until_s)
            until_ready.pop_all()
        return cls(path, connection, writer, () if before is None else (_not_closed(before),))

    def close(self) -> None:
        """Give up the claim, fold in the log, close. Doing so again changes nothing."""
        if self._writer is None:
            self._connection.close()
            return
        writer, self._writer = self._writer, None
        try:
            with told(self.path):
                release(self._connection, writer)
        finally:
            close_writing(self._connection)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def connection(self) -> sqlite3.Connection:
        """The connection, for the modules of this room."""
        return self._connection

    @property
    def may_write(self) -> bool:
        """Whether it is open for writing."""
        return self._writer is not None

    @property
    def _name(self) -> str:
        return "" if self._writer is None else self._writer.who

    @property
    def writer(self) -> Writer | None:
        """Who writes at present, this program too; ``None``: nobody."""
        with told(self.path):
            return current_writer(self._connection)

    @property
    def version(self) -> int:
        """The version of its tables."""
        with told(self.path):
            return version_of(self._connection)

    @property
    def is_newer(self) -> bool:
        """Whether a newer fallow wrote it."""
        return self.version > VERSION

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """All reading inside sees one state, whatever somebody else writes meanwhile."""
        if self._connection.in_transaction:
            yield
            return
        with told(self.path):
            self._connection.execute("BEGIN")
            try:
                yield
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")

    def all(self, kind: KindOfItem[T]) -> tuple[T, ...]:
        """All values of a kind, in their order."""
        with told(self.path):
            found = self._connection.execute(
                "SELECT key, image FROM item WHERE kind = ? ORDER BY place, key", (kind.name,)
            ).fetchall()
        return tuple(value_of(kind, key, image, self.path) for key, image in found)

    def get(self, kind: KindOfItem[T], key: str) -> T | None:
        """One value, ``None`` where there is none of that key."""
        with told(self.path):
            found = self._connection.execute(
                "SELECT image FROM item WHERE kind = ? AND key = ?", (kind.name, key)
            ).fetchone()
        return None if found is None else value_of(kind, key, found[0], self.path)

    def count(self, kind: KindOfItem[Any]) -> int:
        """How many values of a kind there are."""
        with told(self.path):
            found = self._connection.execute("SELECT count(*) FROM item WHERE kind = ?", (kind.name,)).fetchone()
        return int(found[0])

    def changes(self) -> tuple[Happened, ...]:
        """The history, oldest first."""
        with told(self.path):
            return history.changes(self._connection)

    def renames(self, since: str = "") -> dict[tuple[str, str], str]:
        """What is called otherwise now, by its kind and its name at a moment; see ``history.renames``."""
        with told(self.path):
            return history.renames(self._connection, since)

    def past(self, number: int) -> Past:
        """The show as it was after change ``number``; 0 is before the first. Raises UsageError where there is none."""
        with told(self.path):
            last = self._connection.execute("SELECT max(id) FROM change").fetchone()[0] or 0
            if not 0 <= number <= last:
                raise UsageError(f"there is no change {number}", path=self.path, hint=f"the last one is {last}")
            return Past(history.state_after(self._connection, number), self.path)

    @contextmanager
    def change(self, why: str, what: str, *, is_fact: bool = False, at: datetime | None = None) -> Iterator[Change]:
        """One transaction: all that is put and dropped inside is stored together with who, when, why and what, or not
        at all. A fact is no edit: undo passes over it. Raises what ``mishaps.told`` and ``ShowFile.open`` raise.
        """
        nature = Nature.FACT if is_fact else Nature.EDIT
        with self.transaction(Said(self._name, why, what, nature, at=at)) as change:
            yield change

    def undo(self, why: str = "") -> Happened | None:
        """Take back the last edit that stands; returns it, ``None`` where there is none."""
        with told(self.path):
            number = history.last_edit(self._connection)
        return None if number is None else self._repeat(number, Nature.UNDO, why)

    def redo(self, why: str = "") -> Happened | None:
        """Do the edit again that was taken back last; ``None`` where there is none, or an edit came after it."""
        with told(self.path):
            number = history.next_redo(self._connection)
        return None if number is None else self._repeat(number, Nature.REDO, why)

    def _repeat(self, number: int, nature: Nature, why: str) -> Happened:
        done = next(one for one in self.changes() if one.number == number)
        with self.transaction(Said(self._name, why, f"{nature}: {done.what}", nature, number)) as change:
            rows = history.rows_of(self._connection, number)
            for row in reversed(rows) if nature is Nature.UNDO else rows:
                here, there = (row.after, row.before) if nature is Nature.UNDO else (row.before, row.after)
                change.put_back(row.kind, row.key, here, there)
        return done

    @contextmanager
    def transaction(self, said: Said) -> Iterator[Change]:
        """What ``change`` does, for the modules of this room."""
        with self.sweeping() as connection:
            change = Change(connection, self.path, said)
            yield change
            if change.number is None:
                connection.execute("ROLLBACK")

    @contextmanager
    def sweeping(self) -> Iterator[sqlite3.Connection]:
        """A transaction beside the history, for sweeps that arrive. Raises UsageError where the file is only read."""
        if self._writer is None:
            raise UsageError("the file is open for reading only", path=self.path)
        connection = self._connection
        with told(self.path):
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                if connection.in_transaction:
                    connection.execute("COMMIT")
            finally:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")


def _for_reading(path: Path) -> tuple[sqlite3.Connection, None, tuple[str, ...]]:
    connection, version = connect_looking(path)
    with told(path), ExitStack() as until_ready:
        until_ready.callback(connection.close)
        notes = []
        if version > VERSION:
            notes.append(
                f"a newer fallow wrote this file (version {version}; this one knows {VERSION}): it is only read, "
                f"and may hold more than is seen here"
            )
        elif (writer := current_writer(connection)) is not None:
            notes.append(f"{writer} is writing to this file: what is seen is what was stored until now")
        if version < VERSION:
            notes.append(
                f"an older fallow wrote this file (version {version}): it stays as it is until something in it is "
                f"changed"
            )
        until_ready.pop_all()
    return connection, None, tuple(notes)


def _connected(path: Path, until_s: float) -> sqlite3.Connection:
    """The connection for writing; a program that is just opening or closing the file is waited for."""
    while True:
        try:
            return connect_writing(path)
        except BusyError:
            if time.monotonic() >= until_s:
                raise
            time.sleep(_POLL_S)


def _claimed(connection: sqlite3.Connection, path: Path, writer: Writer, until_s: float) -> Writer:
    """Enter the claim, or wait for whoever has it, in the middle of a change too."""
    connection.execute("PRAGMA busy_timeout = 0")  # we wait ourselves, so that Ctrl-C is heard
    while (holder := _holder(connection, path, writer)) is not writer:
        if time.monotonic() >= until_s:
            hint = "wait until it is closed there, or open it to look"
            if holder is not None and not holder.is_here:
                hint += "; if that computer is gone, `fallow show check --release` frees the file"
            raise BusyError(f"{holder or 'somebody else'} is writing to the file", path=path, hint=hint)
        time.sleep(_POLL_S)
    connection.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    return writer


def _holder(connection: sqlite3.Connection, path: Path, writer: Writer) -> Writer | None:
    """Who has the claim: ``writer``, once it is entered; ``None``: a program that is opening or closing the file."""
    try:
        with told(path):
            return claim(connection, writer)
    except BusyError:
        with suppress(BusyError), told(path):
            return current_writer(connection)
        return None


def _not_closed(before: Writer) -> str:
    return f"{before} did not close the file: what was stored until then is whole"
