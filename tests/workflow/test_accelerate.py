"""Compiled kernels come by themselves, keep nobody waiting, and are no loss where they can't come."""

from __future__ import annotations

import ast
import importlib.util
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fallow.plan.search.engine import NumpyKernels
from fallow.workflow import accelerate
from fallow.workflow.accelerate import Acceleration, kernels_cache_dir

LONGEST_S = 170.0


def test_the_cache_folder_is_the_stated_one_or_the_users(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    stated = kernels_cache_dir()
    assert stated.parent == tmp_path
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(stated))
    assert kernels_cache_dir() == stated  # as for the process that compiles
    monkeypatch.delenv("NUMBA_CACHE_DIR")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path))
    assert kernels_cache_dir().parent.name == "kernels"


def test_a_change_in_any_source_has_a_cache_folder_of_its_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in accelerate._SOURCES:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(accelerate.PACKAGE / name, tmp_path / name)
    monkeypatch.setattr(accelerate, "PACKAGE", tmp_path)
    fingerprint = accelerate._fingerprint.__wrapped__
    seen = {fingerprint()}
    assert fingerprint() in seen
    for name in accelerate._SOURCES:
        with (tmp_path / name).open("a", encoding="utf-8") as file:
            file.write("#")
        seen.add(fingerprint())
        os.utime(tmp_path / name, ns=(1, 1))  # numba goes by the time alone
        seen.add(fingerprint())
    assert len(seen) == 1 + 2 * len(accelerate._SOURCES)


def test_every_module_that_is_compiled_in_counts_as_a_source(package: Path) -> None:
    """Those that hold loops, and all of the package that these import, however far."""
    folders = package / "plan" / "search", package / "spectrum" / "long"
    waiting = [path for folder in folders for path in folder.glob("*.py") if path.stem.endswith("loops")]
    waiting.append(package / "spectrum" / "long" / "counting.py")
    assert len(waiting) > 3
    needed: set[Path] = set()
    while waiting:
        path = waiting.pop()
        needed.add(path)
        waiting += [imported for imported in imported_from(path, package) if imported not in needed]
    assert {path.relative_to(package).as_posix() for path in needed} <= set(accelerate._SOURCES)


def imported_from(path: Path, package: Path) -> list[Path]:
    """Modules of the package that a module names when it imports."""
    nodes = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    ours = [node for node in nodes if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("fallow.")]
    names = [f"{node.module}.{alias.name}" for node in ours for alias in node.names] + [node.module for node in ours]
    modules = [package.joinpath(*name.split(".")[1:]).with_suffix(".py") for name in names]
    return [module for module in modules if module.exists()]


def aged(folder: Path, days: float) -> Path:
    """A folder of kernels that was used for the last time so many days ago."""
    folder.mkdir(parents=True)
    (folder / "compiled").touch()
    then_s = time.time() - 86_400 * days
    for path in (folder / "compiled", folder):
        os.utime(path, (then_s, then_s))
    return folder


def test_only_kernels_of_other_sources_that_nobody_uses_are_removed(tmp_path: Path) -> None:
    own, old, new = (aged(tmp_path / f"fallow-{16 * digit}", days) for digit, days in (("0", 90), ("1", 15), ("a", 1)))
    of_others = [
        aged(tmp_path / name, 90) for name in ("fallow-notes", "search_0123456789abcdef", f"x-fallow-{16 * '2'}")
    ]
    accelerate._tidy(own / "compiled")
    assert own.exists()
    assert new.exists()
    assert all(folder.exists() for folder in of_others)
    assert not old.exists()
    assert time.time() - (own / "compiled").stat().st_mtime < 3600


@pytest.mark.parametrize("name", ["absent/kernels/compiled", "file/compiled"])
def test_no_cache_is_no_error_for_what_tidies_it(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("in the way")
    accelerate._tidy(tmp_path / name)
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


COUNT_ONCE = """
from numba.core import config

from fallow.workflow.accelerate import kernels_cache_dir

config.CACHE_DIR = str(kernels_cache_dir())
from fallow.spectrum.long.compiled import count_quickly, exercise

exercise()
print(sum(count_quickly.stats.cache_hits.values()))
"""


def test_kernels_of_older_sources_are_not_run(tmp_path: Path, package: Path) -> None:
    """Of a copy of the package a source is changed at which numba itself would not look."""
    pytest.importorskip("numba")
    shutil.copytree(package, tmp_path / "fallow", ignore=shutil.ignore_patterns("__pycache__"))
    environment = os.environ | {"PYTHONPATH": str(tmp_path), "NUMBA_CACHE_DIR": str(tmp_path / "cache")}

    def taken_from_cache() -> str:
        command = [sys.executable, "-c", COUNT_ONCE]
        done = subprocess.run(command, env=environment, cwd=tmp_path, capture_output=True, text=True, check=True)
        return done.stdout.strip()

    assert [taken_from_cache(), taken_from_cache()] == ["0", "1"]
    with (tmp_path / "fallow" / "plan" / "search" / "odd_loops.py").open("a", encoding="utf-8") as file:
        file.write("NEW = 1\n")
    assert [taken_from_cache(), taken_from_cache()] == ["0", "1"]
    assert len(list((tmp_path / "cache").iterdir())) == 2


@pytest.mark.parametrize("stated", [False, True])
def test_nothing_is_kept_on_disk_but_in_a_stated_folder(tmp_path: Path, package: Path, stated: bool) -> None:
    """Neither without one nor where it can't be made: numba would keep it beside the sources, and not see when what is
    compiled in has changed.
    """
    pytest.importorskip("numba")
    (tmp_path / "file").write_text("in the way")
    environment = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    environment |= {"PYTHONPATH": str(package.parent)}
    environment |= {"NUMBA_CACHE_DIR": str(tmp_path / "file" / "kernels")} if stated else {}
    script = "from fallow.spectrum.long.compiled import count_quickly; print(count_quickly.stats.cache_path)"
    command = [sys.executable, "-c", script]
    done = subprocess.run(command, env=environment, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "None"


def test_numpy_until_the_compiled_kernels_are_ready() -> None:
    pytest.importorskip("numba")
    acceleration = Acceleration(kernels_cache_dir())
    assert isinstance(acceleration(), NumpyKernels)
    started_s = time.monotonic()
    acceleration.start()
    assert time.monotonic() - started_s < 1.0
    assert acceleration.done.wait(LONGEST_S)
    assert type(acceleration()).__name__ == "CompiledKernels"


def test_without_numba_numpy_plans_on(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    acceleration = Acceleration(tmp_path)
    acceleration.start()
    assert acceleration.done.wait(10.0)
    assert isinstance(acceleration(), NumpyKernels)


def test_a_cache_folder_that_cant_be_made_is_no_error(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    acceleration = Acceleration(blocked / "kernels")
    monkeypatch.setattr(acceleration, "_load", lambda: None)
    acceleration.start()
    assert acceleration.done.wait(10.0)
    assert isinstance(acceleration(), NumpyKernels)


@pytest.mark.parametrize(("frozen", "executable"), [(True, sys.executable), (False, "/opt/host/program"), (False, "")])
def test_no_second_process_from_a_program_that_is_no_python(
    monkeypatch: pytest.MonkeyPatch, frozen: bool, executable: str
) -> None:
    monkeypatch.setattr(sys, "frozen", frozen, raising=False)
    monkeypatch.setattr(sys, "executable", executable)
    assert not accelerate._can_start_python()


def test_a_process_that_compiles_starts_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FALLOW_COMPILING", "1")
    assert not accelerate._can_start_python()


def test_the_planner_loads_no_compiler_by_itself() -> None:
    """In a fresh interpreter: planning with NumPy imports neither numba nor scipy."""
    heavy = "('numba', 'scipy', 'matplotlib')"
    script = f"import sys, fallow.plan.search.search; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
