"""Files within files: zip (and ``.npz``), tar (and ``.sigmf``), gzip and HDF5, laid out in a folder for the time of
reading.

How much comes out is counted while it comes out; what a file declares about itself is believed only where it is less.
Names inside an archive choose no place outside the folder.
"""

from __future__ import annotations

import errno
import gzip
import re
import tarfile
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory

from fallow.errors import InputError
from fallow.files.hdf5 import unpack_hdf5
from fallow.files.readings import FileReading, FileRefusal, NotASweepError

__all__ = ["HEAD_BYTES", "Budget", "Laid", "is_packed", "renamed", "take_bytes", "unpacked"]

_ZIP, _GZIP, _HDF5 = (b"PK\x03\x04", b"PK\x05\x06"), b"\x1f\x8b", b"\x89HDF\r\n\x1a\n"
_TAR_AT, _TAR = 257, b"ustar"
_MOST_BYTES = 2**30  # out of one file that was named, archives within it included
_MOST_MEMBERS = 2000
_BLOCK = 2**20
_OFFICE = ("[Content_Types].xml", "mimetype")  # OOXML and ODF packages. Source: ECMA-376, ISO/IEC 26300
_COMPRESSIONS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2)  # others may ask for much memory
_UNSAFE = re.compile(r"[^\w.\- ()+]")
HEAD_BYTES = _TAR_AT + len(_TAR)


@dataclass
class Budget:
    """What may still come out of a file: bytes, and files."""

    bytes_left: int = _MOST_BYTES
    members_left: int = _MOST_MEMBERS


def is_packed(head: bytes) -> bool:
    """Whether the first ``HEAD_BYTES`` of a file are those of one that holds files."""
    return head.startswith((*_ZIP, _GZIP, _HDF5)) or head[_TAR_AT : _TAR_AT + len(_TAR)] == _TAR


@dataclass
class Laid:
    """What came out of a packed file: the folder; whether it is a single file without a name of its own; by the name
    of an array the words about its unit that stood beside it."""

    folder: Path
    single: bool = False
    said: Mapping[str, str] = field(default_factory=dict)


@contextmanager
def unpacked(path: Path, head: bytes, budget: Budget) -> Iterator[Laid]:
    """What is in a packed file, laid out in a folder that goes when the block ends.

    Raises InputError for damage, encryption, too much; NotASweepError for an office document.
    """
    with TemporaryDirectory(prefix="fallow-", ignore_cleanup_errors=True) as place:
        laid = Laid(Path(place) / (_safe(path.stem) or "packed"), head.startswith(_GZIP))
        laid.folder.mkdir()
        try:
            _unpack(path, head, laid, budget)
        except (zipfile.BadZipFile, tarfile.TarError, zlib.error, EOFError, ValueError, NotImplementedError) as error:
            raise InputError("the archive is damaged or of a kind that can't be unpacked", path=path) from error
        except RuntimeError as error:  # what zipfile raises for encrypted members
            raise InputError("the archive is locked with a password: unpack it first", path=path) from error
        except OSError as error:
            damaged = error.errno in (None, errno.EINVAL)  # places in it that it can't have
            reason = "it is damaged" if damaged else (error.strerror or "unknown reason").lower()
            raise InputError(f"the archive can't be unpacked ({reason})", path=path) from error
        yield laid


def renamed(result: FileReading | FileRefusal, folder: Path, label: str) -> FileReading | FileRefusal:
    """A result of a file in ``folder`` as one of a member of what ``label`` names."""

    def name(path: str) -> str:
        try:
            inner = Path(path).relative_to(folder).as_posix()
        except ValueError:
            return path
        return label if inner == "." else f"{label}/{inner}"

    if isinstance(result, FileRefusal):
        if result.error.path is not None:
            result.error.path = name(result.error.path)
        return FileRefusal(name(result.path), result.error)
    series = tuple(replace(part, source=name(part.source)) for part in result.series)
    return replace(result, path=name(result.path), series=series)


def _unpack(path: Path, head: bytes, laid: Laid, budget: Budget) -> None:
    folder = laid.folder
    if head.startswith(_GZIP):
        with gzip.open(path) as stream:
            _copy(stream.read, folder, _ungzipped_name(path), path, budget)
    elif head.startswith(_HDF5):
        laid.said = unpack_hdf5(path, folder, budget.bytes_left, budget.members_left)
        for array in folder.iterdir():
            _take_member(budget, path)
            take_bytes(budget, array.stat().st_size, path)
    elif head.startswith(_ZIP):
        _unpack_zip(path, folder, budget)
    else:
        _unpack_tar(path, folder, budget)


def _unpack_zip(path: Path, folder: Path, budget: Budget) -> None:
    with zipfile.ZipFile(path) as archive:
        members = archive.infolist()
        if any(member.filename in _OFFICE for member in members):
            raise NotASweepError("it is an office document: save what is in it as text", path=path)
        for member in members:
            if member.compress_type not in _COMPRESSIONS:
                raise NotImplementedError
            if not member.filename.endswith("/"):
                with archive.open(member) as stream:
                    _copy(stream.read, folder, member.filename, path, budget)


def _unpack_tar(path: Path, folder: Path, budget: Budget) -> None:
    with tarfile.open(path, "r:") as archive:
        for member in archive:  # one header after the other: a list of all could be without end
            stream = archive.extractfile(member) if member.isreg() else None
            if stream is not None:
                _copy(stream.read, folder, member.name, path, budget)


def _copy(read: Callable[[int], bytes], folder: Path, name: str, path: Path, budget: Budget) -> None:
    """One member into the folder, as far as the budget goes."""
    target = _place(folder, name)
    if target is None:
        return
    _take_member(budget, path)
    target.parent.mkdir(parents=True, exist_ok=True)
    with target.open("wb") as out:
        while block := read(_BLOCK):
            take_bytes(budget, len(block), path)
            out.write(block)


def take_bytes(budget: Budget, count: int, path: Path) -> None:
    """Take bytes out of a budget. Raises InputError when it is spent."""
    budget.bytes_left -= count
    if budget.bytes_left < 0:
        raise InputError(f"more than {_MOST_BYTES // 2**20} MB come out of it", path=path, hint="unpack it first")


def _take_member(budget: Budget, path: Path) -> None:
    budget.members_left -= 1
    if budget.members_left < 0:
        raise InputError(f"more than {_MOST_MEMBERS} files come out of it", path=path, hint="unpack it first")


def _place(folder: Path, name: str) -> Path | None:
    """Where a member goes: inside the folder whatever its name says; ``None`` for hidden ones and those of systems."""
    parts = [_safe(part) for part in PurePosixPath(name.replace("\\", "/")).parts if part not in ("/", "..", ".")]
    if not parts or any(not part or part.startswith((".", "__")) for part in parts):
        return None
    target = folder.joinpath(*parts)
    while target.exists():  # two members of one name
        target = target.with_name(f"{target.stem} again{target.suffix}")
    return target


def _safe(name: str) -> str:
    stem, dot, ending = name.rpartition(".")
    return _UNSAFE.sub("_", f"{stem[:100]}{dot}{ending[:20]}").rstrip(". ")


def _ungzipped_name(path: Path) -> str:
    if path.suffix.lower() == ".tgz":
        return f"{path.stem.lstrip('._')}.tar"
    name = path.stem if path.suffix.lower() in (".gz", ".gzip", ".z") else path.name
    return name.lstrip("._") or "content"
