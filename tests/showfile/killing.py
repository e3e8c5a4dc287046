"""A program that works on a show file and is killed at a random moment; and what must be left of its work.

It brings in surveys, plans, sweeps one by one, undoes and closes, and says on its output what it was told is stored.
``python killing.py FILE FIRST`` is that program; ``lost_after_kills`` kills it again and again on the same file.
"""

from __future__ import annotations

import os
import random
import re
import signal
import subprocess
import sys
import threading
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from fallow.show.assignment import Assignment
from fallow.showfile.checking import check
from fallow.showfile.kinds import PLAN_ROWS, PLANS, SETTINGS, SURVEYS
from fallow.showfile.store import ShowFile
from fallow.showfile.surveys import Recorder, put_survey, read_survey
from fallow.showfile.values import PlanHead, PlanRow, Setting, SurveyHead
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import LevelUnit, Series, Survey

BINS, ROWS = 1500, 40
LONGEST_S = 0.4


def work(path: Path, first: int) -> None:
    """Change the file for ever, and say what is stored. ``first``: number of the first change."""
    number = first
    while True:
        with ShowFile.open(path, write=True, who="worker") as show:
            recorder = Recorder.begin(show, SurveyHead(f"live {number}"), survey_of(number, 0).series[0])
            for _ in range(12):
                number += 1
                said = one_step(show, recorder, number)
                sys.stdout.write(f"{said} {number}\n")
                sys.stdout.flush()


def one_step(show: ShowFile, recorder: Recorder, number: int) -> str:
    """Do one thing and tell which, once it is stored."""
    match number % 4:
        case 0:
            with show.change("", f"plan {number}") as change:
                change.put(PLANS, PlanHead(f"plan {number}"))
                change.put(PLAN_ROWS, *rows_of(number))
            return "plan"
        case 1:
            with show.change("", f"survey {number}") as change:
                put_survey(change, SurveyHead(f"survey {number}"), survey_of(number, 70))
            return "survey"
        case 2:
            for row in survey_of(number, 30).series[0].levels_db:
                recorder.append(row, float(number))
            return f"live {recorder.number}"
        case _:
            with show.change("", f"setting {number}") as change:
                change.put(SETTINGS, Setting(f"setting {number}", number))
            if number % 8 == 3:
                show.undo()
                return "undone"
            return "setting"


def rows_of(number: int) -> tuple[PlanRow, ...]:
    """The rows of plan ``number``."""
    return tuple(
        PlanRow(f"plan {number}", Assignment(f"link {n}", "hand", frequency_hz=470_000_000 + number))
        for n in range(ROWS)
    )


def survey_of(number: int, sweeps: int) -> Survey:
    """The survey ``number``, which can be made again to be compared."""
    levels_db = (((np.arange(sweeps * BINS).reshape(sweeps, BINS) + number) % 300 - 1200) / 10).astype(np.float32)
    times_s = np.full(sweeps, float(number))
    return Survey((Series(Axis.regular(470_000_000, 25_000, BINS), levels_db, LevelUnit.DBM, times_s),))


@dataclass
class Kills:
    """What became of the file: how often it was killed, how much was acknowledged, and what is wrong, in sentences."""

    kills: int = 0
    acknowledged: int = 0
    wrong: list[str] = field(default_factory=list)


def lost_after_kills(path: Path, kills: int, seed: int = 1) -> Kills:
    """Kill the worker at ``kills`` random moments, and look for what it had been told was stored: each time for what is
    new, in the end for all.
    """
    rng = random.Random(seed)
    ShowFile.create(path, "worker").close()
    result = Kills()
    told: list[str] = []
    for _ in range(kills):
        new = killed_once(path, 1000 * (result.kills + 1), rng.uniform(0.0, LONGEST_S))
        result.kills += 1
        with ShowFile.open(path) as show:
            result.wrong += [wrong for said in new if (wrong := missing(show, said))]
        told += new
    result.acknowledged = len(told)
    with ShowFile.open(path) as show:
        result.wrong += [wrong for said in told if (wrong := missing(show, said))]
        result.wrong += half_done(show)
    result.wrong += check(path).damage
    return result


def killed_once(path: Path, first: int, after_s: float) -> list[str]:
    """Let the worker work, kill it ``after_s`` seconds after its first word, and return what it said was stored."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, sys.path))}
    command = [sys.executable, __file__, str(path), str(first)]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as worker:
        assert worker.stdout is not None
        said = [worker.stdout.readline()]
        timer = threading.Timer(after_s, worker.send_signal, [signal.SIGKILL])
        timer.start()
        said += worker.stdout.readlines()
        timer.join()
    assert worker.returncode == -signal.SIGKILL, "the worker ended by itself"
    return [line.strip() for line in said if re.fullmatch(r"[a-z]+ (\d+ )?\d+\n", line)]


def missing(show: ShowFile, said: str) -> str:
    """What is missing of a thing that was said to be stored; empty: nothing."""
    what, *numbers = said.split()
    number = int(numbers[-1])
    if what == "plan":
        found: object = tuple(row for row in show.all(PLAN_ROWS) if row.plan == f"plan {number}")
        return "" if found == rows_of(number) else f"{said} is not there"
    if what == "survey":
        head = show.get(SURVEYS, f"survey {number}")
        return "" if head and is_same(read_survey(show, head), survey_of(number, 70)) else f"{said} is not there"
    if what == "live":
        head = next(head for head in show.all(SURVEYS) if int(numbers[0]) in head.series)
        series = read_survey(show, head).series[0]
        levels_db = series.levels_db[np.asarray(series.times_s) == number]
        return "" if np.array_equal(levels_db, survey_of(number, 30).series[0].levels_db) else f"{said} is not there"
    is_there = show.get(SETTINGS, f"setting {number}") is not None
    return "" if is_there == (what == "setting") else f"{said} is not as it was left"


def half_done(show: ShowFile) -> list[str]:
    """Changes of which only a part is there, acknowledged or not."""
    rows: dict[str, int] = {}
    for row in show.all(PLAN_ROWS):
        rows[row.plan] = rows.get(row.plan, 0) + 1
    wrong = [f"{plan} has {count} rows" for plan, count in rows.items() if count != ROWS]
    surveys = [head for head in show.all(SURVEYS) if head.name.startswith("survey")]
    wrong += [f"{head.name} is half there" for head in surveys if read_survey(show, head).n_sweeps != 70]
    return wrong


def is_same(one: Survey, other: Survey) -> bool:
    """Whether the levels are the same."""
    return np.array_equal(one.series[0].levels_db, other.series[0].levels_db)


if __name__ == "__main__":
    work(Path(sys.argv[1]), int(sys.argv[2]))
