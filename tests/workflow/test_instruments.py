"""Which instrument took which file: by the preamble, by what the user says, by sweeps of the same moments.

All files are invented; truth is what was written into them.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from fallow.files.readings import FileReading, Telling
from fallow.workflow.survey import Asked, Listing, judge_files, open_sweeps, read_sweeps, take_in


def sweeps(path: Path, seed: int, *preamble: str, first_s: int = 0, gain_db: float = 0.0) -> Path:
    """Four sweeps, 10 s apart, of 470 to 480 MHz with six signals of 150 kHz, in dBm."""
    megahertz = 470.0 + 0.025 * np.arange(401)
    rng = np.random.default_rng(seed)
    levels = -110.0 + rng.normal(0.0, 0.7, (4, 401)) + gain_db
    for place in (31, 77, 140, 212, 265, 333):
        levels[:, place : place + 6] += 50.0
    lines = [*preamble, "RBW: 25 kHz", "Unit: dBm", "time," + ",".join(f"{value:.3f} MHz" for value in megahertz)]
    for row, level in enumerate(levels):
        seconds = first_s + 10 * row
        stamp = f"2025-03-01T10:{seconds // 60:02d}:{seconds % 60:02d}Z"
        lines.append(stamp + "," + ",".join(f"{value:.1f}" for value in level))
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def named(*paths: Path, telling: Telling | None = None) -> list[str]:
    return [series.instrument for series in open_sweeps(*paths, telling=telling).series]


@pytest.mark.parametrize(
    ("preamble", "name"),
    [
        (["Serial number: 0042"], "no. 0042"),
        (["Gerät: Taschenempfänger", "Seriennummer: 17"], "Taschenempfänger 17"),
        (["# Instrument: unit-07"], "unit-07"),
        (["Instrument settings: quick"], ""),
    ],
)
def test_the_preamble_says_which(tmp_path: Path, preamble: list[str], name: str) -> None:
    (reading,) = read_sweeps([sweeps(tmp_path / "a.csv", 1, *preamble)])
    assert isinstance(reading, FileReading)
    assert reading.instrument == (name or None)


def test_the_user_says_which(tmp_path: Path) -> None:
    files = [sweeps(tmp_path / folder / f"{n}.csv", n, first_s=60 * n) for n, folder in enumerate(("a", "a", "b"))]
    assert named(*files) == ["", "", ""]
    assert named(*files, telling=Telling(instruments="files")) == [str(file) for file in files]
    assert named(*files, telling=Telling(instruments="folders")) == [str(file.parent) for file in files]


def test_the_same_moments_are_two_instruments(tmp_path: Path) -> None:
    one, other = sweeps(tmp_path / "a.csv", 1), sweeps(tmp_path / "b.csv", 2, first_s=5)
    survey = take_in([one, other]).survey
    assert [series.instrument for series in survey.series] == [str(one), str(other)]
    assert any("taken as 2 instruments" in note for note in survey.notes)
    assert len(set(named(one, other, telling=Telling(instruments="one")))) == 1
    later = sweeps(tmp_path / "c.csv", 3, first_s=300)
    assert set(named(one, other, later)) == {""}
    assert any("--instruments says" in note for note in take_in([one, other, later]).survey.notes)


def test_a_copy_is_no_second_instrument(tmp_path: Path) -> None:
    one = sweeps(tmp_path / "a.csv", 1)
    other = tmp_path / "copy.csv"
    other.write_bytes(one.read_bytes())
    assert named(one, other) == [""]


def test_files_to_offsets(tmp_path: Path) -> None:
    files = [
        sweeps(tmp_path / f"{n}.csv", n, f"Serial: {n}", gain_db=gain) for n, gain in enumerate((0.0, 1.0, -11.0, 0.5))
    ]
    judged = judge_files(files, Listing(), Asked())
    assert judged.air.instruments is not None
    assert judged.air.instruments.units == ("no. 0", "no. 1", "no. 2", "no. 3")
    assert [one.unit for one in judged.air.instruments.misreadings] == ["no. 2"]
    assert any(note.startswith("no. 2 reads 11.") for note in judged.notes)


def test_units_in_every_cell_of_a_wide_heading_take_no_time(tmp_path: Path) -> None:
    """A regression: each of a thousand cells searched the whole heading again."""
    path = sweeps(tmp_path / "a.csv", 1)
    begun = time.process_time()
    read_sweeps([path])
    assert time.process_time() - begun < 3.0
