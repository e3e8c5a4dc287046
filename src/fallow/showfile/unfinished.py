"""Files that are not finished yet bear a hidden name beside their place, and what a killed program left is taken away.

The name tells the file that it is to become, the computer and the process: only what a program of this computer left
for the very same file, and that does not run any more, is taken away.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import socket
from contextlib import suppress
from pathlib import Path

from fallow.showfile.writer import is_running

__all__ = ["clear_unfinished", "discard", "unfinished"]

_BESIDE = ("", "-journal", "-wal", "-shm")  # what SQLite puts beside a file


def unfinished(path: Path, step: str = "") -> Path:
    """The name beside ``path`` for what this program is making, free of what killed programs left. ``step``: a word for
    one of several that are made on the way.
    """
    clear_unfinished(path)
    return path.with_name(f".{path.name}.{_computer()}-{os.getpid()}{step}.part")


def clear_unfinished(path: Path) -> None:
    """Take away what killed programs of this computer left beside ``path`` while they made it, if it may be."""
    pattern = re.compile(rf"\.+{re.escape(path.name)}\.{_computer()}-(\d{{1,9}})\D.*?part(-journal|-wal|-shm)?")
    with suppress(OSError):
        for one in path.resolve().parent.iterdir():
            found = pattern.fullmatch(one.name)
            if found is not None and not is_running(int(found[1])):
                discard(one)


def discard(path: Path) -> None:
    """Take an unfinished file away with what SQLite put beside it, or an unfinished folder."""
    if path.is_dir():
        shutil.rmtree(path, ignore_errors=True)
    for ending in _BESIDE:
        with suppress(OSError):
            path.with_name(f"{path.name}{ending}").unlink()


def _computer() -> str:
    """A short name of this computer that any file system takes."""
    return hashlib.sha256(socket.gethostname().encode("utf-8", "replace")).hexdigest()[:8]
