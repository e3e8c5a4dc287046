"""Programs that change one and the same table take turns, on every system, and nobody waits for a program that is gone.

The lock is one that SQLite holds on an empty file beside the table: the system lets go of it when a program ends,
however it ends.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from fallow.showfile.mishaps import BusyError, FilePath, told

__all__ = ["one_at_a_time"]

_POLL_S = 0.05


@contextmanager
def one_at_a_time(path: FilePath, wait_s: float) -> Iterator[None]:
    """Inside, no other program is inside for the same ``path``; the lock is the file beside it that ends in ``.lock``.

    Raises UsageError where another is inside for longer than ``wait_s``, OutputError where the lock can't be made.
    """
    path = Path(path)
    lock = path.with_name(f"{path.name}.lock")
    until_s = time.monotonic() + wait_s
    with told(path):
        connection = sqlite3.connect(lock, isolation_level=None, timeout=0)
    with closing(connection):
        while not _is_ours(connection, path):
            if time.monotonic() >= until_s:
                raise BusyError("another program is changing it at this moment", path=path, hint="try again")
            time.sleep(_POLL_S)
        yield


def _is_ours(connection: sqlite3.Connection, path: Path) -> bool:
    """Whether the lock could be had. It is given back when the connection is closed."""
    try:
        with told(path):
            connection.execute("BEGIN EXCLUSIVE")
    except BusyError:
        return False
    return True
