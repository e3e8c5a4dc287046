"""Compiled kernels come by themselves, keep nobody waiting, and are no loss where they can't come."""

from __future__ import annotations

import importlib.util
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
    assert kernels_cache_dir() == tmp_path
    monkeypatch.delenv("NUMBA_CACHE_DIR")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path))
    assert kernels_cache_dir().name == "kernels"


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
    import subprocess

    heavy = "('numba', 'scipy', 'matplotlib')"
    script = f"import sys, fallow.plan.search.search; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
