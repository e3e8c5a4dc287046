"""How a show file is made, opened to look, opened to write, brought up to date and closed.

While it is open for writing it has a write-ahead log beside it (``-wal``), so that readers read while one writes. On
close the log is folded in and removed: a closed file is whole by itself, on a stick that is read-only too.
"""

from __future__ import annotations

import os
import sqlite3
import struct
from contextlib import ExitStack, closing, suppress
from pathlib import Path

from fallow.errors import InputError, OutputError, UsageError
from fallow.showfile.mishaps import DAMAGED_HINT, FilePath, told
from fallow.showfile.schema import APPLICATION_ID, STEPS, VERSION, Step, migrate, version_of
from fallow.showfile.unfinished import discard, unfinished

__all__ = [
    "check_free",
    "close_writing",
    "connect_looking",
    "connect_reading",
    "connect_writing",
    "make_file",
    "may_be_written",
    "put_in_place",
    "up_to_date",
    "version_in",
]

OLDEST_SQLITE = (3, 37, 0)  # STRICT tables
BUSY_MS = 5_000
_MAGIC = b"SQLite format 3\x00"
_VERSION_AT, _APPLICATION_AT = 60, 68  # https://sqlite.org/fileformat2.html, 1.3 The Database Header


def make_file(path: FilePath, steps: tuple[Step, ...] = tuple(STEPS)) -> None:
    """A new, empty show file, whole or not at all. Raises OutputError where one stands already or none can be made."""
    path = Path(path)
    _check_sqlite()
    check_free(path)
    part = unfinished(path)
    try:
        with told(path), closing(sqlite3.connect(part, isolation_level=None)) as connection:
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            migrate(connection, steps)
        put_in_place(part, path)
    finally:
        discard(part)


def put_in_place(part: Path, path: Path) -> None:
    """Give a finished file its name, never over another. Raises OutputError."""
    try:
        try:
            path.hardlink_to(part)  # refuses where a file of that name has come meanwhile
        except FileExistsError:
            raise
        except OSError:  # a stick whose file system has no links
            check_free(path)
            part.rename(path)
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise OutputError(f"the file can't be made ({reason})", path=path) from error


def connect_reading(path: FilePath) -> sqlite3.Connection:
    """A connection that can't change anything. Raises InputError where the file is none of ours."""
    path = Path(path)
    _check_header(path)
    try:
        return _ready(_connect(path, "mode=ro"), path)
    except OutputError:
        if Path(f"{path}-wal").exists():
            hint = "copy the file together with the -wal beside it to a folder in which you may write"
            raise InputError("the last changes stand in a log that can't be read here", path=path, hint=hint) from None
        return _ready(_connect(path, "immutable=1"), path)  # read-only medium, closed properly: nobody can change it


def connect_looking(path: FilePath) -> tuple[sqlite3.Connection, int]:
    """A connection on which all tables of this version can be read, and the version of the file, which stays as it is.

    Raises InputError where the file is none of ours.
    """
    path = Path(path)
    connection = connect_reading(path)
    with told(path), ExitStack() as until_ready:
        until_ready.callback(connection.close)
        version = version_of(connection)
        if version < VERSION:
            return up_to_date(connection, path), version
        until_ready.pop_all()
    return connection, version


def up_to_date(connection: sqlite3.Connection, path: Path) -> sqlite3.Connection:
    """A copy of an older file of which nobody else knows, brought up to date; SQLite takes it away when it is closed.

    Raises what ``mishaps.told`` raises.
    """
    with told(path), ExitStack() as until_ready:
        private = sqlite3.connect("", isolation_level=None)  # https://sqlite.org/inmemorydb.html, 3 Temporary Databases
        until_ready.callback(private.close)
        connection.backup(private)
        private.execute("PRAGMA trusted_schema = OFF")
        migrate(private)
        private.execute("PRAGMA query_only = ON")
        until_ready.pop_all()
    return private


def connect_writing(path: FilePath, busy_ms: int = BUSY_MS) -> sqlite3.Connection:
    """A connection that may change the file; an older version is copied and brought up to date first.

    Raises UsageError for a file of a newer version, OutputError where it can't be written, InputError where it is none.
    """
    path = Path(path)
    _check_header(path)
    _check_sqlite()
    if not may_be_written(path):
        hint = "copy it to a folder in which you may write: fallow show copy"
        raise OutputError("the file or its folder can't be written, so it can only be read", path=path, hint=hint)
    connection = _ready(_connect(path, "mode=rw", busy_ms), path)
    with told(path), ExitStack() as until_ready:
        until_ready.callback(connection.close)
        version = version_of(connection)
        if version > VERSION:
            raise UsageError(
                f"the file is of a newer fallow (version {version}; this one knows {VERSION}), so it is only read",
                path=path,
                hint="update fallow, or export what you need from it",
            )
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        if version < VERSION:
            _bring_up_to_date(connection, path, version)
        until_ready.pop_all()
    return connection


def may_be_written(path: Path) -> bool:
    """Whether the rights of the file and of its folder allow to write."""
    return os.access(path, os.W_OK) and os.access(path.resolve().parent, os.W_OK)


def close_writing(connection: sqlite3.Connection) -> None:
    """Fold the log into the file and close; where somebody still reads, the log stays for the last one to fold in."""
    with suppress(sqlite3.Error):  # what is in the log is safe there, and is folded in by whoever opens the file next
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.execute("PRAGMA busy_timeout = 0")
        connection.execute("PRAGMA journal_mode = DELETE")
    connection.close()


def version_in(path: FilePath) -> int:
    """The version that the head of the file states."""
    return int(struct.unpack_from(">i", _head(Path(path)), _VERSION_AT)[0])


def _connect(path: Path, how: str, busy_ms: int = BUSY_MS) -> sqlite3.Connection:
    with told(path):
        place = path.resolve().as_uri()
        return sqlite3.connect(f"{place}?{how}", uri=True, isolation_level=None, timeout=busy_ms / 1000)


def _ready(connection: sqlite3.Connection, path: Path) -> sqlite3.Connection:
    """The connection once it was seen to work; nothing that a stranger put into the file's schema is ever run."""
    with told(path), ExitStack() as until_ready:
        until_ready.callback(connection.close)
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA cell_size_check = ON")
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        until_ready.pop_all()
    return connection


def _bring_up_to_date(connection: sqlite3.Connection, path: Path, version: int) -> None:
    """Copy the file as it is beside itself, then take the steps that it lacks."""
    copy = path.with_name(f"{path.name}.version-{version}")
    number = 1
    while copy.exists():
        number += 1
        copy = path.with_name(f"{path.name}.version-{version}-{number}")
    connection.execute("VACUUM INTO ?", (str(copy),))
    migrate(connection)


def _check_header(path: Path) -> None:
    head = _head(path)
    if not head.startswith(_MAGIC):
        what = "this is no show file" if head else "the file is empty, and no show file"
        raise InputError(what, path=path, hint="a show file is made by `fallow show new`")
    if len(head) < 100:
        raise InputError("the file is cut off in its first bytes, and nothing can be read", path=path)
    if struct.unpack_from(">I", head, _APPLICATION_AT)[0] != APPLICATION_ID:
        raise InputError("this is a database of another program, and no show file", path=path)


def _head(path: Path) -> bytes:
    if path.is_dir():
        raise InputError("this is a folder, and a show file is needed", path=path)
    try:
        with path.open("rb") as stream:
            return stream.read(100)
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        hint = "a show file is made by `fallow show new`" if isinstance(error, FileNotFoundError) else DAMAGED_HINT
        raise InputError(f"the file can't be opened ({reason})", path=path, hint=hint) from error


def check_free(path: Path) -> None:
    """Raise OutputError where a file of this name is there, or its folder is not."""
    if path.exists():
        hint = "name another file, or move this one away"
        raise OutputError("there is a file of this name already, and it was left as it is", path=path, hint=hint)
    if not path.resolve().parent.is_dir():
        raise OutputError("its folder does not exist, so nothing was written", path=path, hint="make the folder first")


def _check_sqlite() -> None:
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        needed = ".".join(map(str, OLDEST_SQLITE))
        raise UsageError(
            f"this Python has SQLite {sqlite3.sqlite_version}, and show files need {needed}",
            hint="install a newer Python",
        )
