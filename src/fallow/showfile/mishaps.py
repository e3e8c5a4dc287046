"""What can happen to a file, told in sentences: a full disk, a damaged page, somebody else at work, a missing right."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from os import PathLike

from fallow.errors import FallowError, InputError, OutputError, UsageError

__all__ = ["DAMAGED_HINT", "BusyError", "FilePath", "told"]

FilePath = str | PathLike[str]
DAMAGED_HINT = "`fallow show check` tells what can still be read, and `--rescue OUT` writes it to a new file"
_DAMAGED = ("SQLITE_CORRUPT", "SQLITE_NOTADB", "SQLITE_IOERR_SHORT_READ")
_BUSY = ("SQLITE_BUSY", "SQLITE_LOCKED")
_REFUSED = ("SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH", "SQLITE_CANTOPEN")


class BusyError(UsageError):
    """Somebody else has the file at this moment: a moment later it may be had."""


@contextmanager
def told(path: FilePath) -> Iterator[None]:
    """Whatever SQLite raises inside becomes an error of ours about this file; what is ours already passes."""
    try:
        yield
    except (sqlite3.ProgrammingError, sqlite3.InterfaceError):
        raise  # a slip of ours, and no mishap of the file's
    except sqlite3.Error as error:
        raise _sentence(error, path) from error


def _sentence(error: sqlite3.Error, path: FilePath) -> FallowError:
    name = getattr(error, "sqlite_errorname", None) or ""
    if name == "SQLITE_FULL":
        what = "the disk is full, so the change was not stored; all that was stored before is whole"
        return OutputError(what, path=path, hint="make room, and do it again")
    if name.startswith(_DAMAGED):
        return InputError(f"the file is damaged ({error})", path=path, hint=DAMAGED_HINT)
    if name.startswith(_BUSY):
        hint = "try again in a moment"
        return BusyError("somebody else is writing to the file at this moment", path=path, hint=hint)
    if name.startswith(_REFUSED):
        hint = "is it there, and may you write in its folder?"
        return OutputError(f"the file can't be opened as it has to be ({error})", path=path, hint=hint)
    if name.startswith("SQLITE_IOERR"):
        what = f"the disk refused ({error}), so the change was not stored; all that was stored before is whole"
        return OutputError(what, path=path, hint="is the disk full, or was the stick pulled?")
    return InputError(f"the file holds something that can't be ({error})", path=path, hint=DAMAGED_HINT)
