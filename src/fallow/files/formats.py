"""Files and folders to readings: what kind of file each is, told by its content, and what becomes of those that are
no sweeps."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from os import PathLike, fspath
from pathlib import Path

from fallow.errors import InputError
from fallow.files.delimited import read_delimited
from fallow.files.json_records import read_json
from fallow.files.length_prefixed import STARTS_AS, read_length_prefixed
from fallow.files.npy import Companions, companions_of, read_npy
from fallow.files.readings import FileReading, FileRefusal, NotASweepError, Telling
from fallow.files.recordings import RAW_ENDINGS, read_raw
from fallow.files.sigmf import DATA_ENDING, META_ENDING, read_sigmf
from fallow.files.wav import read_wav
from fallow.files.wording import words_of

__all__ = ["read_file", "read_paths"]

_MAGIC: tuple[tuple[bytes, str], ...] = (
    (b"PK\x03\x04", "an archive or an office document: save what is in it as text"),
    (b"PK\x05\x06", "an archive: unpack it first"),
    (b"\x1f\x8b", "compressed: unpack it first"),
    (b"BZh", "compressed: unpack it first"),
    (b"\xfd7zXZ", "compressed: unpack it first"),
    (b"(\xb5/\xfd", "compressed: unpack it first"),
    (b"7z\xbc\xaf", "an archive: unpack it first"),
    (b"\x89HDF", "an HDF5 file, which can't be read yet"),
    (b"PAR1", "a Parquet file, which can't be read yet"),
    (b"SQLite format 3", "a database, which can't be read as sweeps"),
    (b"\xd0\xcf\x11\xe0", "an office document: save what is in it as text"),
)
_NO_SWEEP_MAGIC: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG", "a picture"), (b"\xff\xd8\xff", "a picture"), (b"GIF8", "a picture"), (b"BM", "a picture"),
    (b"RIFF", "a film or a picture"), (b"%PDF", "a PDF document"),
    (b"\x7fELF", "a program"), (b"MZ", "a program"),
)  # fmt: skip
_NEVER_SWEEPS = (
    ".md", ".rst", ".py", ".ipynb", ".png", ".jpg", ".jpeg", ".gif", ".svg", ".pdf", ".html", ".htm",
    ".css", ".js", ".toml",
    ".ini",    ".cfg", ".yml", ".yaml", ".sh", ".bat", ".exe", ".dll", ".fallow", ".log.gz",
)  # fmt: skip
_READABLE_NAMES = ("readme", "license", "licence", "changelog", "makefile", "attribution")


def read_file(
    path: str | PathLike[str],
    telling: Telling | None = None,
    progress: Callable[[float], None] | None = None,
    beside: Companions | None = None,
) -> FileReading:
    """Read one file of sweeps, whatever its format.

    ``progress`` is called with the share that is done, 0 to 1. ``beside``: what else lies in the folder of a ``.npy``
    file, where that is known already. What only the user can answer stands in the reading's ``needs``.
    Raises InputError, with the reason, when it can't be read, and UsageError when ``telling`` says something
    impossible.
    """
    where, told = Path(path), telling or Telling()
    head = _head(where)
    if head.startswith(b"\x93NUMPY"):
        reading = read_npy(where, told, beside)
    elif _is_recording(where, head, told):
        reading = _read_recording(where, head, told)
    elif _is_json(where, head):
        reading = read_json(where, told)
    elif STARTS_AS.match(head):
        reading = read_length_prefixed(where, told)
    else:
        _refuse_other_kinds(where, head)
        reading = read_delimited(where, told, progress)
    return _marked_reference(reading, where)


def read_paths(
    paths: Sequence[str | PathLike[str]],
    telling: Telling | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> tuple[FileReading | FileRefusal, ...]:
    """Read files and folders (with the folders in them). A path that can't be read gives a FileRefusal, never an
    exception.

    Files of a folder that are no sweeps are left out with a note on the folder's first reading; vectors of
    frequencies or times beside vectors of levels serve them and give no reading of their own. ``progress`` gets the
    path and the share that is done.
    """
    reader = _Reader(telling or Telling(), progress)
    results: list[FileReading | FileRefusal] = []
    for path in (Path(path) for path in paths):
        if path.is_dir():
            results.extend(reader.folder(path))
        elif not (reader.serves_others(path, paths) or _is_described(path, paths)):
            results.append(reader.file(path))
    return tuple(results)


@dataclass
class _Reader:
    """Reads one path after another; what stands beside vectors is looked up once per folder."""

    telling: Telling
    progress: Callable[[str, float], None] | None
    known: dict[Path, Companions] = field(default_factory=dict)

    def file(self, path: Path) -> FileReading | FileRefusal:
        """One file, its failure turned into a refusal."""
        try:
            beside = self._beside(path.parent) if path.suffix == ".npy" else None
            return read_file(path, self.telling, self._progress_of(path), beside)
        except InputError as error:
            return FileRefusal(str(path), error)

    def folder(self, folder: Path) -> Iterator[FileReading | FileRefusal]:
        """The sweeps of a folder; a refusal where there are none."""
        try:
            files = list(_files_in(folder))
        except OSError as error:
            reason = (error.strerror or "unknown reason").lower()
            yield FileRefusal(str(folder), InputError(f"the folder can't be opened ({reason})", path=folder))
            return
        left_out: list[str] = []
        results: list[FileReading | FileRefusal] = []
        for path in files:
            if _is_described(path, files):
                continue
            result = None if _is_never_sweep(path) or self.serves_others(path, files) else self.file(path)
            if result is None or (isinstance(result, FileRefusal) and isinstance(result.error, NotASweepError)):
                left_out.append(path.name)
            else:
                results.append(result)
        if not results:
            found = f"only {_listed(left_out)}" if left_out else "nothing"
            yield FileRefusal(str(folder), InputError(f"the folder holds no sweeps ({found})", path=folder))
        yield from _with_note(results, left_out, folder)

    def serves_others(self, path: Path, paths: Sequence[str | PathLike[str]]) -> bool:
        """Whether a vector is the axis or the times of other vectors that are read too."""
        if path.suffix != ".npy":
            return False
        beside = self._beside(path.parent)
        if path.name not in beside.serving:
            return False
        others = (Path(other) for other in paths)
        return any(o.suffix == ".npy" and o.parent == path.parent and o.name not in beside.serving for o in others)

    def _beside(self, folder: Path) -> Companions:
        if folder not in self.known:
            self.known[folder] = companions_of(folder)
        return self.known[folder]

    def _progress_of(self, path: Path) -> Callable[[float], None] | None:
        progress = self.progress
        return None if progress is None else lambda share: progress(str(path), share)


def _is_described(path: Path, paths: Sequence[str | PathLike[str]]) -> bool:
    """Whether a file holds the samples of a description that is read too."""
    return path.suffix == DATA_ENDING and path.with_suffix(META_ENDING) in {Path(other) for other in paths}


def _with_note(
    results: Sequence[FileReading | FileRefusal], left_out: Sequence[str], folder: Path
) -> Iterator[FileReading | FileRefusal]:
    """The results, the first reading among them with a note on what was left out."""
    note = f"left out of {folder.name or folder} as no sweeps: {_listed(left_out)}"
    noted = not left_out
    for result in results:
        if isinstance(result, FileReading) and not noted:
            yield replace(result, notes=(*result.notes, note))
            noted = True
        else:
            yield result


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")


def _files_in(folder: Path) -> Iterator[Path]:
    """Files of a folder and of the folders in it, hidden ones apart, in the order of their names."""
    for path in sorted(folder.iterdir()):
        if path.name.startswith((".", "__")):
            continue
        if path.is_dir():
            yield from (inner for inner in sorted(path.iterdir()) if inner.is_file() and not inner.name.startswith("."))
        elif path.is_file():
            yield path


def _head(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise InputError("it is a folder, not a file", path=path)
        if not path.is_file():
            kind = "it is no regular file" if path.exists() else "there is no such file"
            raise InputError(kind, path=path)
        with path.open("rb") as stream:
            return stream.read(64)
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


def _read_recording(path: Path, head: bytes, told: Telling) -> FileReading:
    if _is_wav(head):
        return read_wav(path, told)
    return read_sigmf(path, told) if path.suffix.lower() in (META_ENDING, DATA_ENDING) else read_raw(path, told)


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


def _is_never_sweep(path: Path) -> bool:
    """Files that lie in folders for people and programs, told by name."""
    return path.name.lower().endswith(_NEVER_SWEEPS) or path.stem.lower() in _READABLE_NAMES


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
