"""A file written whole or not at all."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from fallow.errors import OutputError

__all__ = ["replace_whole"]


def replace_whole(path: Path, content: bytes, what: str) -> None:
    """Write a file beside its place and move it there, so that a reader sees the old file or the new one.

    ``what``: what it holds, for the message. Raises OutputError; it makes no folders.
    """
    target = path.resolve()
    if not target.parent.is_dir():
        raise OutputError("its folder does not exist, so nothing was written", path=path, hint="make the folder first")
    if target.exists() and not target.is_file():
        raise OutputError("this is no ordinary file, so nothing was written", path=path)
    temporary = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with temporary.open("xb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.replace(target)
    except OSError as error:
        with suppress(OSError):
            temporary.unlink()
        reason = (error.strerror or "unknown reason").lower()
        raise OutputError(f"{what} can't be written ({reason}), and nothing was changed", path=path) from error
