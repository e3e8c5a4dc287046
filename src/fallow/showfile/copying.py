"""A copy for the stick: whole by itself, without the log, in the order that loses least when it is cut."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from fallow.errors import OutputError
from fallow.showfile.mishaps import FilePath, told
from fallow.showfile.opening import connect_reading, put_in_place
from fallow.showfile.schema import version_of
from fallow.showfile.unfinished import discard, unfinished
from fallow.showfile.writer import release

__all__ = ["copy_show"]


def copy_show(path: FilePath, to: FilePath, *, replace: bool = False) -> Path:
    """Copy a show, while somebody writes too: the copy is of one moment. ``to`` may be a folder; returns where it went.

    Never over a file without ``replace``. Raises InputError where the show can't be read, OutputError where the copy
    can't be made; then nothing is left behind.
    """
    path, to = Path(path), Path(to)
    target = to / path.name if to.is_dir() else to
    if target.exists() and (not replace or target.resolve() == path.resolve()):
        hint = "name another file" if target.resolve() == path.resolve() else "name another file, or say --replace"
        raise OutputError("there is a file of this name already, and it was left as it is", path=target, hint=hint)
    if not target.resolve().parent.is_dir():
        raise OutputError("its folder does not exist, so nothing was copied", path=target, hint="make the folder first")
    part = unfinished(target)
    try:
        with closing(connect_reading(path)) as connection, told(target):
            connection.execute("VACUUM INTO ?", (str(part),))
        _finish(part, target)
        if target.exists():
            part.replace(target)
        else:
            put_in_place(part, target)
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise OutputError(f"the copy can't be made ({reason}), and nothing was changed", path=target) from error
    finally:
        discard(part)
    return target


def _finish(part: Path, target: Path) -> None:
    """Nobody writes to the copy; and it is on the disk before it gets its name."""
    with told(target), closing(sqlite3.connect(part, isolation_level=None)) as connection:
        if version_of(connection):
            release(connection)
    with part.open("rb+") as stream:
        os.fsync(stream.fileno())
