"""Two people on one file, as processes of their own: one writes, others read and are told, nobody is locked out.

Truth: what each process was told to do, and the order in which they ended.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

HOLD = """\
import sys
from fallow.showfile.store import ShowFile
with ShowFile.open(sys.argv[1], write=True, who="Kim"):
    print("writing", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def show(tmp_path: Path, package: Path) -> Path:
    """A show file with two settings."""
    path = tmp_path / "gala.fallow"
    assert typed(package, "new", path, "site=Invented Hall", "region=de").returncode == 0
    return path


def typed(package: Path, verb: str, *words: object) -> subprocess.CompletedProcess[str]:
    """``fallow show`` in a process of its own."""
    command = [sys.executable, "-m", "fallow", "show", verb, *map(str, words)]
    return subprocess.run(command, env=surroundings(package), capture_output=True, text=True, check=False)


def surroundings(package: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(package.parent), "COLUMNS": "80"}


@contextmanager
def held(package: Path, path: Path) -> Iterator[subprocess.Popen[str]]:
    """Somebody called Kim has the file open for writing, in a process of her own."""
    command = [sys.executable, "-c", HOLD, str(path)]
    with subprocess.Popen(
        command, env=surroundings(package), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        assert process.stdout.readline() == "writing\n"
        try:
            yield process
        finally:
            process.stdin.close()


def answer(done: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert isinstance(found, dict)
    return found


def test_readers_read_and_are_told_while_one_writes(show: Path, package: Path) -> None:
    with held(package, show) as kim:
        done = typed(package, "list", "--show", show, "--json")
        found = answer(done)
        assert found["settings"]["site"] == "Invented Hall"
        assert found["writer"].startswith("Kim (since ")
        assert f"process {kim.pid}" in done.stderr
        assert "is writing to this file: what is seen is what was stored until now" in done.stderr
    assert answer(typed(package, "list", "--show", show, "--json"))["writer"] is None


def test_a_second_writer_is_told_who_writes_and_changes_nothing(show: Path, package: Path) -> None:
    with held(package, show) as kim:
        done = typed(package, "set", "site=Elsewhere", "--show", show, "--wait", "0.2")
        assert (done.returncode, done.stdout) == (2, "")
        assert "Kim (since " in done.stderr
        assert f"process {kim.pid}) is writing to the file" in done.stderr
        assert "hint: wait until it is closed there, or open it to look" in done.stderr
    assert answer(typed(package, "set", "--show", show, "--json"))["settings"]["site"] == "Invented Hall"


def test_a_second_writer_may_wait_for_the_first(show: Path, package: Path) -> None:
    command = [sys.executable, "-m", "fallow", "show", "set", "site=Elsewhere", "--show", str(show), "--wait", "60"]
    with held(package, show) as kim:
        waiting = subprocess.Popen(command, env=surroundings(package), stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        time.sleep(2)
        assert waiting.poll() is None, "it did not wait"
        assert kim.poll() is None
    assert waiting.communicate()[1] == b""
    assert waiting.returncode == 0
    assert answer(typed(package, "set", "--show", show, "--json"))["settings"]["site"] == "Elsewhere"


def test_a_writer_that_was_killed_locks_nobody_out(show: Path, package: Path) -> None:
    with held(package, show) as kim:
        kim.send_signal(signal.SIGKILL)
        kim.wait()
        assert answer(typed(package, "list", "--show", show, "--json"))["writer"] is None
        done = typed(package, "set", "site=Elsewhere", "--show", show, "--wait", "0")
        assert done.returncode == 0, done.stderr
    found = answer(typed(package, "check", "--show", show, "--json"))
    assert found["whole"]
    assert found["writer"] is None


def test_many_writers_at_once_all_get_through_and_nothing_is_lost(show: Path, package: Path) -> None:
    names = [f"note {n}" for n in range(4)]
    command = [sys.executable, "-m", "fallow", "show", "note"]
    running = [
        subprocess.Popen(
            [*command, name, "--show", str(show), "--who", name, "--wait", "120"],
            env=surroundings(package), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        )
        for name in names
    ]  # fmt: skip
    assert [process.communicate()[1] for process in running] == [b""] * len(names)
    assert [process.returncode for process in running] == [0] * len(names)
    found = answer(typed(package, "list", "--show", show, "--json"))
    assert sorted((one["text"], one["who"]) for one in found["notes_written"]) == [(name, name) for name in names]


def test_a_copy_that_somebody_writes_to_is_merged_as_far_as_it_was_stored(show: Path, package: Path) -> None:
    other = show.with_name("other.fallow")
    answer(typed(package, "copy", other, "--show", show, "--json"))
    answer(typed(package, "note", "from the other laptop", "--show", other, "--json"))
    with held(package, other):
        done = typed(package, "merge", other, "--show", show, "--json")
        assert any("is writing to this file" in note for note in answer(done)["notes"])
    assert [one["text"] for one in answer(typed(package, "list", "--show", show, "--json"))["notes_written"]] == [
        "from the other laptop"
    ]
