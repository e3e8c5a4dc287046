"""Which kind of file one is, told by its content and sometimes its name; and its reading by the reader of that kind."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from os import fspath
from pathlib import Path

from fallow.errors import InputError
from fallow.files.columnar import PARQUET, read_parquet
from fallow.files.delimited import read_delimited
from fallow.files.json_records import read_json
from fallow.files.length_prefixed import STARTS_AS, read_length_prefixed
from fallow.files.npy import Companions, read_npy
from fallow.files.packed import HEAD_BYTES
from fallow.files.readings import FileReading, NotASweepError, Telling
from fallow.files.recordings import RAW_ENDINGS, read_raw
from fallow.files.sigmf import DATA_ENDING, META_ENDING, read_sigmf
from fallow.files.wav import read_wav
from fallow.files.wording import words_of

__all__ = ["head_of", "named_reference", "read_single"]

_MAGIC: tuple[tuple[bytes, str], ...] = (
    (b"BZh", "compressed: unpack it first"),
    (b"\xfd7zXZ", "compressed: unpack it first"),
    (b"(\xb5/\xfd", "compressed: unpack it first"),
    (b"7z\xbc\xaf", "an archive: unpack it first"),
    (b"SQLite format 3", "a database, which can't be read as sweeps"),
    (b"\xd0\xcf\x11\xe0", "an office document: save what is in it as text"),
)
_NO_SWEEP_MAGIC: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG", "a picture"), (b"\xff\xd8\xff", "a picture"), (b"GIF8", "a picture"), (b"BM", "a picture"),
    (b"RIFF", "a film or a picture"), (b"%PDF", "a PDF document"),
    (b"\x7fELF", "a program"), (b"MZ", "a program"),
)  # fmt: skip


def read_single(
    path: Path, telling: Telling, progress: Callable[[float], None] | None = None, beside: Companions | None = None
) -> FileReading:
    """Read one file that holds no files. Raises InputError, with the reason, when it can't be read."""
    head = head_of(path)
    if head.startswith(b"\x93NUMPY"):
        reading = read_npy(path, telling, beside)
    elif head.startswith(PARQUET):
        reading = read_parquet(path, telling, progress)
    elif _is_recording(path, head, telling):
        reading = _read_recording(path, head, telling, progress)
    elif _is_json(path, head):
        reading = read_json(path, telling)
    elif STARTS_AS.match(head):
        reading = read_length_prefixed(path, telling)
    else:
        _refuse_other_kinds(path, head)
        reading = read_delimited(path, telling, progress)
    return _marked_reference(reading, path)


def head_of(path: Path) -> bytes:
    """The first bytes of a file. Raises InputError where there is none that can be opened."""
    try:
        if path.is_dir():
            raise InputError("it is a folder, not a file", path=path)
        if not path.is_file():
            kind = "it is no regular file" if path.exists() else "there is no such file"
            raise InputError(kind, path=path)
        with path.open("rb") as stream:
            return stream.read(HEAD_BYTES)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "its name is none"
        raise InputError(f"the file can't be opened ({reason.lower()})", path=fspath(path)) from error


def _is_recording(path: Path, head: bytes, told: Telling) -> bool:
    """Whether a file holds samples: by its content, by its name, or because the user says of what type they are."""
    if _is_wav(head) or path.suffix.lower() in (META_ENDING, DATA_ENDING):
        return True
    known = any(head.startswith(magic) for magic, _ in (*_MAGIC, *_NO_SWEEP_MAGIC))
    named = path.suffix.lower() in RAW_ENDINGS
    return not known and (named or told.samples is not None) and not _is_text(head)


def _read_recording(path: Path, head: bytes, telling: Telling, progress: Callable[[float], None] | None) -> FileReading:
    if _is_wav(head):
        return read_wav(path, telling, progress)
    described = path.suffix.lower() in (META_ENDING, DATA_ENDING)
    return read_sigmf(path, telling, progress) if described else read_raw(path, telling, progress)


def _is_wav(head: bytes) -> bool:
    return head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE"


def _is_json(path: Path, head: bytes) -> bool:
    bare = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    named = path.suffix.lower() in (".json", ".jsonl", ".ndjson")
    return named or bare.startswith(b"{") or re.match(rb"\[\s*[\[{\"]", bare) is not None


def _is_text(head: bytes) -> bool:
    """Whether the first bytes are writing with digits in it, in whatever encoding."""
    printable = sum(byte in b"\t\r\n" or 32 <= byte < 127 for byte in head)
    digits = sum(48 <= byte < 58 for byte in head)
    return digits > 0 and printable + head.count(0) >= 0.9 * len(head) and printable >= 0.3 * len(head)


def _refuse_other_kinds(path: Path, head: bytes) -> None:
    """Say what a file is where fallow knows the kind and can't read it."""
    for magic, what in _MAGIC:
        if head.startswith(magic):
            raise InputError(f"it is {what}", path=path)
    for magic, what in _NO_SWEEP_MAGIC:
        if head.startswith(magic):
            raise NotASweepError(f"it is {what}, no sweep", path=path)
    bare = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    if bare[:1] == b"<":
        raise NotASweepError("it is XML or a web page, no table of text", path=path)


def _marked_reference(reading: FileReading, path: Path) -> FileReading:
    by_name = named_reference(path)
    if not (reading.is_reference or by_name):
        return reading
    why = "its name says so" if by_name else "it says so above its numbers"
    return replace(
        reading,
        is_reference=True,
        notes=(*reading.notes, f"it seems to be a reference sweep, with a load for an antenna: {why}"),
    )


def named_reference(path: Path) -> bool:
    """Whether a file's name says that a load stood in place of the antenna, or the name of its folder says nothing
    else."""
    known = set(words_of("reference"))
    stem = re.sub(r"load[-_ ]?(in|out)", "", path.name.split(".")[0].casefold())
    words = [word for word in re.split(r"[\W_]+", stem) if word]
    joined = [first + second for first, second in pairwise(words)]
    names = {*words, *joined, *(word.rstrip("0123456789") for word in words), path.parent.name.casefold()}
    return bool(names & known) or any(name.startswith("terminat") for name in words)
