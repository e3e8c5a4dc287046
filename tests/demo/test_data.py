"""The shipped files of the demo: rebuilt to the byte, small, invented and awkward as they are meant to be."""

from __future__ import annotations

import csv
import subprocess
import sys
from pathlib import Path

import pytest

MOST_BYTES = 1_500_000


@pytest.fixture(name="data")
def shipped_files(package: Path) -> Path:
    """The folder of the shipped files."""
    return package / "demo" / "data"


def rows(path: Path) -> list[dict[str, str]]:
    """A table of ours."""
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_a_rerun_of_the_builder_writes_the_same_bytes(root: Path, data: Path, tmp_path: Path) -> None:
    program = [sys.executable, str(root / "builders" / "make_demo.py"), "--to", str(tmp_path)]
    subprocess.run(program, check=True, capture_output=True)
    built = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*") if path.is_file())
    assert [str(path.as_posix()) for path in built] == [
        "sweeps/load-50-ohm.txt",
        "sweeps/upper-range.txt",
        "sweeps/wall-off.csv",
        "sweeps/wall-on.csv",
    ]
    for path in built:
        assert (tmp_path / path).read_bytes() == (data / path).read_bytes(), path


def test_the_files_are_small(data: Path) -> None:
    assert sum(path.stat().st_size for path in data.rglob("*") if path.is_file()) < MOST_BYTES


def test_the_files_say_that_they_are_invented(data: Path) -> None:
    assert "invented" in (data / "README.txt").read_text(encoding="utf-8")
    assert "erfunden" in (data / "sweeps" / "wall-off.csv").read_text(encoding="cp1252")
    assert "invented" in (data / "sweeps" / "wall-on.csv").read_text(encoding="ascii")
    assert "invented" in (data / "sweeps" / "load-50-ohm.txt").read_text(encoding="utf-16")


def test_the_shapes_are_awkward(data: Path) -> None:
    assert b";-10" in (data / "sweeps" / "wall-off.csv").read_bytes()
    assert (data / "sweeps" / "load-50-ohm.txt").read_bytes()[:2] == b"\xff\xfe"
    first = (data / "sweeps" / "upper-range.txt").read_text(encoding="ascii").splitlines()[0].split(", ")
    assert first[2:6] == ["782000000", "790000000", "100000", "10"]


def test_the_show_is_a_whole_one(data: Path) -> None:
    links, equipment = rows(data / "links.csv"), {row["equipment"]: row for row in rows(data / "equipment.csv")}
    assert len(links) == 24
    assert len({row["link"] for row in links}) == 24
    assert {row["equipment"] for row in links} == set(equipment)
    assert {equipment[row["equipment"]]["kind"] for row in links} == {"microphone", "in-ear", "assistive", "intercom"}
    assert {row["area"] for row in links} == {"stage", "foyer", "studio"}
    assert [row["link"] for row in links if row["fixed"] == "yes"] == ["guest guitar"]
    assert [row["link"] for row in links if row["planned"] == "no"] == ["crew intercom"]
