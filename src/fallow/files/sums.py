"""The SHA-256 of each file of a folder in a file beside them, in the format of GNU coreutils' ``sha256sum``.

So ``sha256sum --check SHA256SUMS`` tells on any computer whether all is as it was written. Format: the manual of GNU
coreutils, "md5sum invocation": the sum, a space, a space or an asterisk, the name; a line whose name has a backslash or
a line end begins with a backslash, and the name is escaped.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from fallow.errors import InputError

__all__ = ["SUMS", "SumsCompared", "compare_sums", "write_sums"]

SUMS = "SHA256SUMS"
_LINE = re.compile(r"(\\?)([0-9a-fA-F]{64}) [ *](.+)")
_ESCAPES = {"\\\\": "\\", "\\n": "\n", "\\r": "\r"}


@dataclass(frozen=True)
class SumsCompared:
    """Names in a folder, with slashes: ``changed`` since the sums were written, ``missing``, and ``strange``: of which
    the sums say nothing. ``has_sums``: whether there are any; else all else is empty.
    """

    has_sums: bool
    changed: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    strange: tuple[str, ...] = ()


def write_sums(folder: Path) -> None:
    """Write the sums of all files of a folder, of those in its folders too. Raises OSError."""
    lines = [_line(_sum(folder / name), name) for name in _names(folder)]
    (folder / SUMS).write_text("".join(lines), encoding="utf-8", newline="\n")


def compare_sums(folder: Path) -> SumsCompared:
    """Which files of a folder are as their sums say. Raises InputError where the sums or a file can't be read."""
    path = folder / SUMS
    if not path.is_file():
        return SumsCompared(False)
    try:
        said = _said(path)
        there = {name: _sum(folder / name) for name in _names(folder)}
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise InputError(f"the folder can't be read ({reason})", path=error.filename or folder) from error
    changed = (name for name in said if name in there and there[name] != said[name])
    return SumsCompared(True, tuple(changed), _sorted(said.keys() - there), _sorted(there.keys() - said))


def _said(path: Path) -> dict[str, str]:
    said = {}
    for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").rstrip("\n").split("\n"), 1):
        found = _LINE.fullmatch(line)
        if found is None:
            raise InputError("this is no line of sums", path=path, line=number)
        escaped, value, name = found.groups()
        if escaped:
            name = re.sub(r"\\[\\nr]", lambda match: _ESCAPES[match[0]], name)
        said[name] = value.lower()
    return said


def _line(value: str, name: str) -> str:
    escaped = name.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
    return f"{'' if escaped == name else chr(92)}{value}  {escaped}\n"


def _names(folder: Path) -> tuple[str, ...]:
    found = (one.relative_to(folder).as_posix() for one in folder.rglob("*") if one.is_file())
    return _sorted(name for name in found if name != SUMS)


def _sorted(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(names))


def _sum(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
