"""What ``air`` lists and what it does not: said on the screen and in the JSON answer, not in a plan's notes."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

Run = Callable[..., tuple[int, str, str]]


def test_data_beside_the_listed_windows_is_named(run: Run, sweeps: Path) -> None:
    told = "not listed of the data: 469.9875 to 474.000 MHz; --span 469.9875M..480.0125M lists all of it"
    out = run("air", sweeps, "--rbw", "25k", "--width", "6M", "--json")[1]
    assert told in json.loads(out)["notes"]
    assert told in " ".join(run("air", sweeps, "--rbw", "25k", "--width", "6M")[1].split())


def test_a_plan_is_not_told(run: Run, sweeps: Path, tables: tuple[Path, Path]) -> None:
    words = ("--air", sweeps, "--rbw", "25k", "--region", "de", "--seconds", "0.1", "--json")
    out = run("plan", tables[0], "--equipment", tables[1], *words)[1]
    assert not any("not listed" in note for note in json.loads(out)["notes"])
