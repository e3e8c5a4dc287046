"""What the screen of a long survey says: neighbours of one verdict in one row, a strip in one line of 80 columns."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np

Run = Callable[..., tuple[int, str, str]]
TELLING = ("--level-unit", "dBm", "--rbw", "100k", "--detector", "average")


def _written(path: Path) -> Path:
    """Noise of -115 dBm from 470 to 489 and 590 to 610 MHz in 100 kHz, nothing between; a carrier at 600 MHz."""
    places = np.concatenate([470.0 + 0.1 * np.arange(190), 590.0 + 0.1 * np.arange(200)])
    powers = 10**-11.5 * np.random.default_rng(5).gamma(100.0, 0.01, size=(5, places.size))
    powers[:, np.abs(places - 600.5) < 0.06] += 1e-6
    rows = [",".join(f"{place:.3f}" for place in places)]
    rows += [",".join(f"{level:.2f}" for level in levels) for levels in 10.0 * np.log10(powers)]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_neighbours_without_a_reading_share_a_row(run: Run, tmp_path: Path) -> None:
    path = _written(tmp_path / "hall.csv")
    given = ("air", path, *TELLING, "--span", "470M..610M", "--width", "1M")
    code, out, _ = run(*given)
    assert code == 0
    unread = [line for line in out.splitlines() if line.startswith("/ ")]
    slices = json.loads(run(*given, "--json")[1])["slices"]
    assert sum(one["verdict"] == "not measured" for one in slices) > 90  # 490 to 589 MHz
    assert 1 <= len(unread) <= 4
    assert any(" to " in line for line in unread)


def test_the_strip_is_one_line(run: Run, tmp_path: Path) -> None:
    _, out, _ = run("air", _written(tmp_path / "hall.csv"), *TELLING, "--span", "470M..610M", "--width", "200k")
    (strip,) = [line for line in out.splitlines() if line.startswith("470.000 ")]
    assert strip.endswith("610.000 MHz")
    assert max(len(line) for line in out.splitlines()) <= 80


def test_very_many_slices_are_summed_up_over_stretches(run: Run, tmp_path: Path) -> None:
    """A spectrum of 700 windows whose neighbours differ: one screen, each slice counted once, and how to see more."""
    places = 470.0 + 0.1 * np.arange(1400)
    powers = 10**-11.5 * np.random.default_rng(6).gamma(100.0, 0.01, size=(5, places.size))
    powers[:, 5::20] += 1e-7  # a carrier in every tenth window
    rows = [",".join(f"{place:.3f}" for place in places)]
    rows += [",".join(f"{level:.2f}" for level in levels) for levels in 10.0 * np.log10(powers)]
    path = tmp_path / "hall.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    given = ("air", path, *TELLING, "--width", "200k")
    _, out, _ = run(*given)
    lines = out.splitlines()
    assert len(lines) < 200
    assert max(len(line) for line in lines) <= 80
    heading = next(k for k, line in enumerate(lines) if line.split()[:3] == ["MHz", "clean", "doubtful"])
    table = [line.split() for line in lines[heading + 1 :]]
    table = table[: next(k for k, cells in enumerate(table) if cells[:1] == ["Numbers"])]
    counted = [sum(int(cells[place].replace("-", "0")) for cells in table) for place in (1, 2, 3, 4)]
    slices = json.loads(run(*given, "--json")[1])["slices"]
    words = ("clean", "doubtful", "occupied", "not measured")
    assert counted == [sum(one["verdict"] == word for one in slices) for word in words]
    assert counted[2] == 70
    assert len(table) <= 31
    narrower = next(word for word in out.split() if ".." in word).rstrip(";")
    assert "one by one" in out.casefold()
    assert "above the limit of" in run(*given, "--span", narrower)[1]
