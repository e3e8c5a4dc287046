"""Who writes: one at a time, by name, known to everybody who opens the file.

The claim is a row in the file. It outlives a killed program; whether its program still runs is asked of the system, so
that nobody waits for the dead. On another computer that can't be asked, and a person decides.
"""

from __future__ import annotations

import os
import socket
import sqlite3
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

__all__ = ["Writer", "claim", "current_writer", "is_running", "left_behind", "release", "this_program"]

_STILL_ACTIVE = 259  # STILL_ACTIVE of the Windows API
_QUERY_LIMITED = 0x1000  # PROCESS_QUERY_LIMITED_INFORMATION of the Windows API


@dataclass(frozen=True)
class Writer:
    """Who has the file open for writing: a name, since when (ISO 8601), on which computer, in which program.

    ``started``: when that program started, as the system counts it, empty where it does not say.
    """

    who: str
    since: str
    host: str
    pid: int
    started: str = ""

    @property
    def is_here(self) -> bool:
        """Whether it is a program on this computer."""
        return self.host == socket.gethostname()

    @property
    def is_alive(self) -> bool:
        """Whether its program still runs, or may: on another computer nobody here can tell."""
        if not self.is_here:
            return True
        return is_running(self.pid) and (not self.started or _started(self.pid) in ("", self.started))

    def __str__(self) -> str:
        since = datetime.fromisoformat(self.since).astimezone()
        day = "" if since.date() == datetime.now(UTC).astimezone().date() else f"{since:%Y-%m-%d} "
        where = "this computer" if self.is_here else self.host
        return f"{self.who} (since {day}{since:%H:%M}, on {where}, process {self.pid})"


def this_program(who: str) -> Writer:
    """The claim that this program makes."""
    since = datetime.now(UTC).isoformat(timespec="seconds")
    return Writer(who, since, socket.gethostname(), os.getpid(), _started(os.getpid()))


def left_behind(connection: sqlite3.Connection) -> Writer | None:
    """The claim that stands in the file, whether its program lives or not."""
    row = connection.execute("SELECT who, since, host, pid, started FROM writer").fetchone()
    return None if row is None else Writer(*row)


def current_writer(connection: sqlite3.Connection) -> Writer | None:
    """Who writes now: the claim in the file, unless its program is gone."""
    found = left_behind(connection)
    return found if found is not None and found.is_alive else None


def claim(connection: sqlite3.Connection, writer: Writer) -> Writer:
    """Enter the claim unless another lives. Returns who has it: ``writer`` itself where it was entered."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        other = current_writer(connection)
        if other is None:
            values = (writer.who, writer.since, writer.host, writer.pid, writer.started)
            connection.execute("INSERT OR REPLACE INTO writer VALUES (1, ?, ?, ?, ?, ?)", values)
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
    return other or writer


def release(connection: sqlite3.Connection, writer: Writer | None = None) -> None:
    """Take a claim away: this one, or whatever stands there. Raises sqlite3.Error."""
    if writer is None:
        connection.execute("DELETE FROM writer")
    else:
        connection.execute("DELETE FROM writer WHERE pid = ? AND since = ?", (writer.pid, writer.since))


def is_running(pid: int) -> bool:
    """Whether a program of this computer runs."""
    if sys.platform == "win32":
        return _runs_on_windows(pid)
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True  # it runs, and belongs to somebody else
    return True


def _runs_on_windows(pid: int) -> bool:
    """Ask the Windows API; ``os.kill`` would end the process there."""
    import ctypes  # there is no other way on Windows

    kernel = ctypes.WinDLL("kernel32")  # type: ignore[attr-defined,unused-ignore] # exists on Windows only
    handle = kernel.OpenProcess(_QUERY_LIMITED, False, pid)
    if not handle:
        return False
    try:
        code = ctypes.c_ulong()
        return bool(kernel.GetExitCodeProcess(handle, ctypes.byref(code))) and code.value == _STILL_ACTIVE
    finally:
        kernel.CloseHandle(handle)


def _started(pid: int) -> str:
    """When a process started, in ticks since the system did (proc(5), field 22); empty where it is not told.

    With it a number that went to another program is not taken for the one that wrote.
    """
    try:
        after_name = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace").rpartition(")")[2]
        return after_name.split()[19]
    except (OSError, IndexError):
        return ""
