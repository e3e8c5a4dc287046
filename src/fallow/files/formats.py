"""Files, archives and folders to readings, and what becomes of those in them that are no sweeps."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from os import PathLike
from pathlib import Path

from fallow.errors import InputError
from fallow.files.copies import copies_marked
from fallow.files.kinds import head_of, read_single
from fallow.files.npy import Companions, companions_of
from fallow.files.packed import Budget, is_packed, renamed, unpacked
from fallow.files.readings import FileReading, FileRefusal, NotASweepError, Telling
from fallow.files.sigmf import DATA_ENDING, META_ENDING

__all__ = ["read_file", "read_paths"]

_DEEPEST = 2  # archives within archives
_NEVER_SWEEPS = (
    ".md", ".rst", ".py", ".ipynb", ".png", ".jpg", ".jpeg", ".gif", ".svg", ".pdf", ".html", ".htm",
    ".css", ".js", ".toml",
    ".ini",    ".cfg", ".yml", ".yaml", ".sh", ".bat", ".exe", ".dll", ".fallow", ".log.gz",
)  # fmt: skip
_READABLE_NAMES = ("readme", "license", "licence", "changelog", "makefile", "attribution")


def read_file(
    path: str | PathLike[str], telling: Telling | None = None, progress: Callable[[float], None] | None = None
) -> FileReading:
    """Read one file of sweeps, whatever its format; also a packed one, where it holds one file of sweeps.

    ``progress`` is called with the share that is done, 0 to 1. What only the user can answer stands in the reading's
    ``needs``. Raises InputError, with the reason, when it can't be read, and UsageError when ``telling`` says something
    impossible.
    """
    named = Path(path)
    reader = _Reader(telling or Telling(), None if progress is None else lambda _, share: progress(share))
    results = list(reader.file(named))
    if len(results) != 1:
        raise InputError(f"it holds {len(results)} files of sweeps and is no single one", path=named)
    if isinstance(results[0], FileRefusal):
        raise results[0].error
    return results[0]


def read_paths(
    paths: Sequence[str | PathLike[str]],
    telling: Telling | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> tuple[FileReading | FileRefusal, ...]:
    """Read files and folders (with the folders in them). A path that can't be read gives a FileRefusal, never an
    exception.

    Packed files (zip, tar, gzip, HDF5) are read like folders; their members are named ``archive.zip/member``. Files of
    a folder that are no sweeps are left out with a note on the folder's first reading; vectors of frequencies or times
    beside vectors of levels serve them and give no reading of their own. Copies of a file under another name are told
    (``copy_of``). ``progress`` gets the path and the share that
    is done.
    """
    reader = _Reader(telling or Telling(), progress)
    results: list[FileReading | FileRefusal] = []
    for path in (Path(path) for path in paths):
        if path.is_dir():
            results.extend(reader.folder(path))
        elif not (reader.serves_others(path, paths) or _is_described(path, paths)):
            results.extend(reader.file(path))
    return copies_marked(results)


@dataclass
class _Reader:
    """Reads one path after another; what stands beside vectors is looked up once per folder.

    ``depth``: how many archives lie around what is read; ``budget``: what may still come out of them;
    ``said``: by file name the words about its unit that stood beside an array.
    """

    telling: Telling
    progress: Callable[[str, float], None] | None
    known: dict[Path, Companions] = field(default_factory=dict)
    depth: int = 0
    budget: Budget = field(default_factory=Budget)
    said: Mapping[str, str] = field(default_factory=dict)

    def file(self, path: Path) -> Iterator[FileReading | FileRefusal]:
        """One file, its failure turned into a refusal; of a packed one what is in it."""
        try:
            head = head_of(path)
            if is_packed(head):
                yield from self._packed(path, head)
            else:
                beside = self._beside(path.parent) if path.suffix == ".npy" else None
                found = read_single(path, self.telling, self._progress_of(path), beside)
                yield replace(found, size_bytes=path.stat().st_size)
        except InputError as error:
            yield FileRefusal(str(path), error)

    def _packed(self, path: Path, head: bytes) -> list[FileReading | FileRefusal]:
        """What is in a packed file. Raises InputError when nothing comes out of it."""
        if self.depth >= _DEEPEST:
            raise InputError("archives lie too deep within each other: unpack them first", path=path)
        budget = self.budget if self.depth else Budget()
        with unpacked(path, head, budget) as laid:
            inner = replace(self, known={}, depth=self.depth + 1, budget=budget, said=laid.said)
            if laid.single:
                (only,) = laid.folder.iterdir()
                return [renamed(result, only, str(path)) for result in inner.file(only)]
            return [renamed(result, laid.folder, str(path)) for result in inner.folder(laid.folder)]

    def folder(self, folder: Path) -> Iterator[FileReading | FileRefusal]:
        """The sweeps of a folder; a refusal where there are none."""
        try:
            files = list(_files_in(folder, 99 if self.depth else 1))
        except OSError as error:
            reason = (error.strerror or "unknown reason").lower()
            yield FileRefusal(str(folder), InputError(f"the folder can't be opened ({reason})", path=folder))
            return
        left_out: list[str] = []
        results: list[FileReading | FileRefusal] = []
        for path in files:
            if _is_described(path, files):
                continue
            skipped = _is_never_sweep(path) or self.serves_others(path, files)
            found = [] if skipped else [result for result in self.file(path) if not _is_no_sweep(result)]
            results += found
            if not found:
                left_out.append(path.name)
        if not results:
            holds = f"only {_listed(left_out)}" if left_out else "nothing"
            yield FileRefusal(str(folder), InputError(f"the folder holds no sweeps ({holds})", path=folder))
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
            self.known[folder] = companions_of(folder, self.said)
        return self.known[folder]

    def _progress_of(self, path: Path) -> Callable[[float], None] | None:
        progress = self.progress
        return None if progress is None else lambda share: progress(str(path), share)


def _is_no_sweep(result: FileReading | FileRefusal) -> bool:
    return isinstance(result, FileRefusal) and isinstance(result.error, NotASweepError)


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


def _files_in(folder: Path, depth: int) -> Iterator[Path]:
    """Files of a folder and, so deep, of the folders in it, hidden ones apart, in the order of their names."""
    for path in sorted(folder.iterdir()):
        if path.name.startswith((".", "__")):
            continue
        if path.is_file():
            yield path
        elif path.is_dir() and depth > 0:
            yield from _files_in(path, depth - 1)


def _is_never_sweep(path: Path) -> bool:
    """Files that lie in folders for people and programs, told by name."""
    return path.name.lower().endswith(_NEVER_SWEEPS) or path.stem.lower() in _READABLE_NAMES
