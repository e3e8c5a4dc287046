"""Files given twice under other names count once. Truth: what the tests write; the sweeps are invented."""

from __future__ import annotations

import gzip
import shutil
import zipfile
from pathlib import Path

import numpy as np
import pytest

import fallow
from fallow.files import read_paths
from fallow.files.readings import FileReading


def sweep(path: Path, seed: int = 1, heading: str = "frequency_mhz,level_dbm", shift_db: float = 0.0) -> Path:
    levels = np.random.default_rng(seed).normal(-100.0, 2.0, 80) + shift_db
    rows = [f"{470 + k * 0.025:.3f},{level:.1f}" for k, level in enumerate(levels)]
    path.write_text("\n".join([heading, *rows, ""]), encoding="utf-8")
    return path


def copies(*paths: Path) -> list[str]:
    return [one.copy_of for one in read_paths(paths) if isinstance(one, FileReading)]


@pytest.fixture
def original(tmp_path: Path) -> Path:
    return sweep(tmp_path / "a.csv")


def test_the_same_file_under_another_name_counts_once(tmp_path: Path, original: Path) -> None:
    other = Path(shutil.copy(original, tmp_path / "b.csv"))
    assert copies(original, other) == ["", str(original)]
    survey = fallow.open_sweeps(original, other)
    assert survey.n_sweeps == 1
    assert f"{other}: the same sweeps as in {original}, to the last digit: they count once" in survey.notes


def test_single_sweeps_of_other_times_are_no_copies(tmp_path: Path) -> None:
    paths = []
    for second in range(3):
        header = ",".join(["time", *(f"{470 + k * 0.1:.1f}" for k in range(20))])
        paths.append(tmp_path / f"{second}.csv")
        paths[-1].write_text(f"{header}\n2026-03-01T12:00:0{second}Z{',-100' * 20}\n", encoding="utf-8")
    assert copies(*paths) == ["", "", ""]


def test_a_copy_in_an_archive_counts_once(tmp_path: Path, original: Path) -> None:
    packed, squeezed = tmp_path / "all.zip", tmp_path / "again.csv.gz"
    with zipfile.ZipFile(packed, "w") as archive:
        archive.write(original, "monday/first.csv")
        archive.write(sweep(tmp_path / "other.csv", seed=2), "monday/second.csv")
    squeezed.write_bytes(gzip.compress(original.read_bytes()))
    assert copies(original, packed, squeezed) == ["", str(original), "", str(original)]
    assert fallow.open_sweeps(original, packed, squeezed).n_sweeps == 2


def test_the_first_name_is_the_one_that_counts(tmp_path: Path, original: Path) -> None:
    others = [Path(shutil.copy(original, tmp_path / f"{name}.csv")) for name in "bcd"]
    survey = fallow.open_sweeps(*others, original)
    assert survey.series[0].source == str(others[0])
    assert any(f"{others[1]} and 2 more files: the same sweeps as in {others[0]}" in note for note in survey.notes)


def test_a_file_named_twice_is_no_copy(original: Path) -> None:
    assert copies(original, original) == ["", ""]
    assert fallow.open_sweeps(original, original).n_sweeps == 1


@pytest.mark.parametrize(
    "change",
    [
        {"seed": 2},
        {"shift_db": 0.1},
        {"heading": "frequency_mhz,levels_db"},  # as long, and of another scale
        {"heading": "2024-05-01T10:00:00Z\nfrequency_mhz,level_dbm"},
    ],
)
def test_what_differs_is_another_look(tmp_path: Path, original: Path, change: dict[str, object]) -> None:
    other = sweep(tmp_path / "b.csv", **change)  # type: ignore[arg-type]
    assert copies(original, other) == ["", ""]


def test_a_lone_level_that_differs_far_down_is_seen(tmp_path: Path) -> None:
    levels = np.full((50, 40), -100.0, dtype=np.float32)
    np.save(tmp_path / "frequency_hz.npy", np.linspace(470e6, 471e6, 40))
    for name, last in (("one", -100.0), ("two", -99.0), ("three", -100.0)):
        levels[-1, -1] = last
        levels[0] = np.linspace(-101.0, -99.0, 40)
        np.save(tmp_path / f"{name}.npy", levels)
    paths = [tmp_path / f"{name}.npy" for name in ("one", "two", "three")]
    assert copies(*paths) == ["", "", str(paths[0])]


def test_a_reference_given_twice_counts_once(tmp_path: Path) -> None:
    load = sweep(tmp_path / "load.csv")
    again = Path(shutil.copy(load, tmp_path / "load-copy.csv"))
    assert fallow.open_sweeps(load, again).n_sweeps == 1
