"""Ctrl-C while the plan of a festival is being made: how long until the process is gone, and what it leaves.

Run: python bench/stopping.py [--links N] [--times N] [--seconds S] [--seed N]

The signal comes at moments drawn at random. All of the show is invented, see ``festival``.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from festival import ROOT, write_tables


def main() -> None:
    """Print a line for each stop, and the longest."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--links", type=int, default=1000)
    options.add_argument("--areas", type=int, default=20)
    options.add_argument("--times", type=int, default=12)
    options.add_argument("--seconds", type=float, default=10.0)
    options.add_argument("--seed", type=int, default=1)
    asked = options.parse_args()
    dice = random.Random(asked.seed)
    waits = []
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        write_tables(folder, asked.links, asked.areas)
        print(f"{'after s':>8} {'gone in s':>10} {'of work':>8} {'code':>5} {'plan':>10}")
        for _ in range(asked.times):
            after_s = dice.uniform(0.3, asked.seconds + 4.0)
            gone_s, work_s, code, rows = stop(folder, after_s, asked.seconds)
            waits += [gone_s] if code == -signal.SIGINT or code == 130 else []
            print(
                f"{after_s:8.2f} {gone_s:10.2f} {work_s:8.2f} {code:5} {f'{rows} rows' if rows else 'none':>10}",
                flush=True,
            )
    print(f"longest {max(waits, default=0.0):.2f} s of {len(waits)} stops")


def stop(folder: Path, after_s: float, seconds: float) -> tuple[float, float, int, int]:
    """Seconds from the signal to the end, those of work in them, exit code, and rows of the plan (0: none)."""
    out = folder / "plan.csv"
    out.unlink(missing_ok=True)
    tables = ["--equipment", folder / "equipment.csv", "--areas", folder / "areas.csv"]
    tables += ["--foreign", folder / "foreign.csv", "--seconds", seconds, "--out", out, "--json"]
    command = [sys.executable, "-m", "fallow", "plan", folder / "links.csv", *tables]
    environment = os.environ | {"PYTHONPATH": str(ROOT / "src")}
    quiet = subprocess.DEVNULL
    with subprocess.Popen([*map(str, command)], env=environment, stdout=quiet, stderr=quiet) as process:
        time.sleep(after_s)
        began, work_s = time.perf_counter(), worked_s(process.pid)
        os.kill(process.pid, signal.SIGINT)  # not send_signal, which would reap a process that has just ended
        _, status, usage = os.wait4(process.pid, 0)
        gone_s, work_s = time.perf_counter() - began, usage.ru_utime + usage.ru_stime - work_s
        process.returncode = os.waitstatus_to_exitcode(status)
    rows = len(out.read_text(encoding="utf-8").splitlines()) - 1 if out.exists() else 0
    return gone_s, work_s, process.returncode, rows


def worked_s(pid: int) -> float:
    """Seconds that a process has worked so far (Linux)."""
    ticks = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[11:13]
    return sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK")


if __name__ == "__main__":
    main()
