"""Compiled kernels of the planner and of histograms, without anybody waiting for a compiler.

The first plan is made with NumPy, and the first levels are counted so. Meanwhile a thread sees to it that numba's
cache on disk holds the compiled kernels (a process of its own compiles them where it does not: ten seconds or so),
loads them, and hands them over. No numba, no cache, no second process: NumPy goes on.

numba tells whether a cached kernel is up to date by the file that its outermost function stands in, not by those that
are compiled into it. So the cache has a folder of its own for each state of all their sources.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import importlib
import importlib.util
import os
import platform
import re
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from importlib import metadata
from pathlib import Path
from typing import Any

from fallow.plan.search.densest import Fit
from fallow.plan.search.densest_loops import fit_upwards
from fallow.plan.search.engine import Kernels, NumpyKernels
from fallow.spectrum.long.counting import Kernel, count_whole

__all__ = ["Acceleration", "compile_into_cache", "counting", "kernels", "kernels_cache_dir", "trying"]

PACKAGE = Path(__file__).resolve().parent.parent
LONGEST_COMPILING_S = 180.0
LONGEST_UNUSED_S = 14 * 86_400.0  # then the kernels of another state of the sources are removed
_COMPILE = "import sys; from fallow.workflow.accelerate import compile_into_cache; compile_into_cache(*sys.argv[1:])"
_IN_CHILD = "FALLOW_COMPILING"
_OF_SEARCH = ("loops", "odd_loops", "compiled", "tables", "engine", "crowd", "crowd_loops")
_OF_TRYING = ("densest_loops", "compiled_densest")
_SOURCES = (
    *(f"plan/search/{name}.py" for name in (*_OF_SEARCH, *_OF_TRYING)),
    *(f"spectrum/long/{name}.py" for name in ("counting", "compiled")),
)
_PREFIX = "fallow-"


def kernels() -> Callable[[], Kernels]:
    """What ``plan.search.improve`` takes: a call gives the quickest kernels that are ready.

    Preparing begins with the first call.
    """
    return _acceleration()


def counting() -> Callable[[], Kernel]:
    """What ``spectrum.occupancy.histogram_of`` takes: a call gives the quickest kernel that is ready."""
    acceleration = _acceleration()
    return lambda: acceleration.count


def trying() -> tuple[Fit, bool]:
    """What tries every way to place equal links (``plan.search.densest``), the quickest that is ready; and whether it
    is compiled.
    """
    fit = _acceleration().fit
    return fit, fit is not fit_upwards


@functools.cache
def _acceleration() -> Acceleration:
    acceleration = Acceleration(kernels_cache_dir())
    acceleration.start()
    return acceleration


def kernels_cache_dir() -> Path:
    """Where the compiled kernels of these sources are kept: a folder of theirs in ``NUMBA_CACHE_DIR``, or this one if
    it is theirs already; else in the user's cache folder.
    """
    own = _PREFIX + _fingerprint()
    stated = os.environ.get("NUMBA_CACHE_DIR")
    base = Path(stated) if stated else _users_cache_dir()
    return base if base.name == own else base / own


def _users_cache_dir() -> Path:
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return base / "fallow" / "kernels"


class Acceleration:
    """Gives NumPy kernels until the compiled ones are ready. ``done`` is set when nothing more will change."""

    def __init__(self, cache_dir: Path) -> None:
        self.cache_dir = cache_dir
        self.done = threading.Event()
        self.count: Kernel = count_whole
        self.fit: Fit = fit_upwards
        self._kernels: Kernels = NumpyKernels()
        self._stamp = cache_dir / "compiled"
        self._lock = cache_dir / "compiling"

    def __call__(self) -> Kernels:
        """The quickest kernels that are ready."""
        return self._kernels

    def start(self) -> None:
        """Prepare the compiled kernels in the background. The thread ends with the process, whatever it is at."""
        threading.Thread(target=self._prepare, name="fallow kernels", daemon=True).start()

    def _prepare(self) -> None:
        try:
            if importlib.util.find_spec("numba") is not None:
                if not self._stamp.exists():
                    self._fill_cache()
                self._load()
                _tidy(self._stamp)
        except (ImportError, OSError, RuntimeError, subprocess.SubprocessError):
            return  # NumPy plans on: slower, and otherwise the same
        finally:
            self.done.set()

    def _load(self) -> None:
        """Load the compiled kernels; where the cache is of no use this compiles them here."""
        settings: Any = importlib.import_module("numba.core.config")  # heavy, and optional
        before = settings.CACHE_DIR
        settings.CACHE_DIR = str(self.cache_dir)
        try:  # numba settles where to keep a function when it is declared; other functions go where they went before
            from fallow.plan.search.compiled import CompiledKernels  # heavy: needs numba
            from fallow.plan.search.compiled_densest import fit_quickly  # the same
            from fallow.spectrum.long.compiled import count_quickly  # the same
        finally:
            settings.CACHE_DIR = before
        errors: Any = importlib.import_module("numba.core.errors")
        try:
            _exercise()
        except errors.NumbaError as error:
            raise RuntimeError("numba can't compile the kernels") from error
        self._kernels, self.count, self.fit = CompiledKernels(), count_quickly, fit_quickly

    def _fill_cache(self) -> None:
        """Have the kernels compiled by a process of its own, or wait for one that is at it already."""
        if not _can_start_python():
            return
        self.cache_dir.mkdir(parents=True, exist_ok=True)
        if _is_locked(self._lock):
            _wait_for(self._stamp)
            return
        self._lock.touch()
        package = str(PACKAGE.parent)
        paths = [package, *filter(None, [os.environ.get("PYTHONPATH")])]
        environment = os.environ | {
            "NUMBA_CACHE_DIR": str(self.cache_dir),
            "PYTHONPATH": os.pathsep.join(paths),
            _IN_CHILD: "1",
        }
        subprocess.run(
            [sys.executable, "-c", _COMPILE, str(self._stamp), str(self._lock)],
            env=environment,
            cwd=self.cache_dir,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=LONGEST_COMPILING_S,
            check=False,
        )


def compile_into_cache(stamp: str, lock: str) -> None:
    """What the process of its own does, whether or not anybody waits for it: fill the cache, and leave word of it."""
    try:
        _exercise()
        Path(stamp).touch()
    finally:
        Path(lock).unlink(missing_ok=True)


def _exercise() -> None:
    """Use every kernel once: compiles them, or loads them from the cache."""
    from fallow.plan.search import compiled as planning  # heavy: needs numba
    from fallow.plan.search import compiled_densest as trying_out  # the same
    from fallow.spectrum.long import compiled as counting  # the same

    planning.exercise()
    counting.exercise()
    trying_out.exercise()


def _can_start_python() -> bool:
    """Whether ``sys.executable`` is a Python that can be started anew: not a frozen program, not a host that embeds
    Python.
    """
    if getattr(sys, "frozen", False) or os.environ.get(_IN_CHILD) or not sys.executable:
        return False
    return Path(sys.executable).stem.lower().startswith(("python", "pypy"))


def _is_locked(lock: Path) -> bool:
    try:
        return time.time() - lock.stat().st_mtime < LONGEST_COMPILING_S
    except FileNotFoundError:
        return False


def _wait_for(stamp: Path) -> None:
    deadline_s = time.monotonic() + LONGEST_COMPILING_S
    while not stamp.exists() and time.monotonic() < deadline_s:
        time.sleep(0.25)


def _tidy(stamp: Path) -> None:
    """Leave word that these kernels are in use, and remove those of other sources that nobody has used for long. Who
    has loaded kernels needs their folder no more.
    """
    with contextlib.suppress(OSError):  # no cache, or one that may only be read, is no worse for it
        stamp.touch()
        for folder in _others(stamp.parent):
            newest_s = max(path.stat().st_mtime for path in (folder, *folder.glob("comp*")))
            if time.time() - newest_s > LONGEST_UNUSED_S:
                shutil.rmtree(folder, ignore_errors=True)


def _others(own: Path) -> list[Path]:
    """Folders of kernels beside this one."""
    names = re.compile(rf"{_PREFIX}[0-9a-f]{{16}}")
    return [path for path in own.parent.iterdir() if names.fullmatch(path.name) and path != own]


@functools.cache
def _fingerprint() -> str:
    """What compiled kernels depend on: their source, Python, numba and the machine. The times of the files are in it
    because numba goes by them: so the kernels of files that are only younger are compiled beforehand too.
    """
    parts = [(PACKAGE / name).read_bytes() for name in _SOURCES]
    times = [(PACKAGE / name).stat().st_mtime_ns for name in _SOURCES]
    try:
        version = metadata.version("numba")
    except metadata.PackageNotFoundError:
        version = ""
    parts.append(f"{sys.version} {version} {platform.machine()} {platform.processor()} {PACKAGE} {times}".encode())
    return hashlib.sha256(b"\0".join(parts)).hexdigest()[:16]
