"""Programs take turns at one table. Truth: a counter that each reads, waits and writes; a holder that is killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from fallow.errors import UsageError
from fallow.showfile.turns import one_at_a_time

COUNT = """\
import sys, threading, time
from pathlib import Path
from fallow.showfile.turns import one_at_a_time
path = Path(sys.argv[1])
def add_one():
    with one_at_a_time(path, 60):
        seen = int(path.read_text())
        time.sleep(0.01)
        path.write_text(str(seen + 1))
threads = [threading.Thread(target=add_one) for _ in range(int(sys.argv[2]))]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
"""
HOLD = """\
import sys, time
from fallow.showfile.turns import one_at_a_time
with one_at_a_time(sys.argv[1], 0):
    print("inside", flush=True)
    time.sleep(600)
"""


def started(package: Path, program: str, *words: object) -> subprocess.Popen[str]:
    command: Sequence[str] = [sys.executable, "-c", program, *map(str, words)]
    environment = {**os.environ, "PYTHONPATH": str(package.parent)}
    return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)


def test_twenty_at_once_in_several_programs_lose_nothing(tmp_path: Path, package: Path) -> None:
    path = tmp_path / "count"
    path.write_text("0", encoding="utf-8")
    running = [started(package, COUNT, path, 5) for _ in range(4)]
    assert [one.communicate()[0] for one in running] == [""] * 4
    assert [one.returncode for one in running] == [0] * 4
    assert path.read_text(encoding="utf-8") == "20"


def test_who_waits_too_long_is_told_and_a_killed_holder_keeps_nobody_out(tmp_path: Path, package: Path) -> None:
    path = tmp_path / "table.csv"
    with started(package, HOLD, path) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "inside\n"
        with pytest.raises(UsageError, match="another program is changing it"), one_at_a_time(path, 0.1):
            pass
        holder.send_signal(signal.SIGTERM if sys.platform == "win32" else signal.SIGKILL)
        holder.wait()
    entered = []
    with one_at_a_time(path, 0):
        entered.append(True)
    with one_at_a_time(path, 0):
        entered.append(True)
    assert entered == [True, True]


def test_a_lock_that_can_not_be_made_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(Exception, match="can't be opened as it has to be"), one_at_a_time(tmp_path / "no" / "x", 0):
        pass
