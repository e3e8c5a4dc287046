"""``fallow show foreign``, ``stations`` and ``groups`` as typed. Truth: the tables that the tests write; all invented.

The raster of Germany is channels 21 to 48 of 8 MHz from 470 MHz (ITU Region 1, GE06 Agreement; rules/data/de.toml).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def desk(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty show in Germany."""
    monkeypatch.chdir(tmp_path)
    answer(run, "new", "gala", "region=de")
    return tmp_path


def answer(run: Run, *words: object, code: int = 0) -> dict[str, Any]:
    """The JSON answer of a verb."""
    got, out, err = run("show", *words, "--json")
    assert got == code, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


def channels(run: Run) -> list[tuple[str, str | None]]:
    return [(one["channel"], one["area"]) for one in answer(run, "stations")["stations"]]


def test_runs_and_lists_of_channels_are_each_of_them(run: Run, desk: Path) -> None:
    text = 'channel,area,source\n25-27,,a list\n"ch 30, 31",stage,\nKanal 40/41,,\n44,,\n'
    (desk / "stations.csv").write_text(text, encoding="utf-8")
    wanted = [(name, None) for name in ("25", "26", "27", "40", "41", "44")] + [("30", "stage"), ("31", "stage")]
    answer(run, "add", "--stations", "stations.csv")
    assert sorted(channels(run)) == sorted(wanted)
    answer(run, "undo")
    answer(run, "add", "stations.csv", "--as", "stations")
    assert sorted(channels(run)) == sorted(wanted)


@pytest.mark.parametrize("cell", ["99", "22+", "47-49", "x"])
def test_a_channel_that_the_region_lacks_is_refused_with_its_place(run: Run, desk: Path, cell: str) -> None:
    (desk / "stations.csv").write_text(f"channel,area\n21,\n{cell},\n", encoding="utf-8")
    code, out, err = run("show", "add", "--stations", "stations.csv", "--json")
    assert (code, out) == (2, "")
    assert "stations.csv, line 3, column channel: the raster has no TV channel" in err
    assert channels(run) == []
    found = answer(run, "add", "stations.csv", "--as", "stations", code=1)
    assert [(one["line"], one["done"]) for one in found["preview"]["doubts"]] == [(3, "row left out")]
    kept = [("21", None), *([("47", None), ("48", None)] if cell == "47-49" else [])]
    assert sorted(channels(run)) == kept


def test_stations_are_taken_out_and_come_back(run: Run, desk: Path) -> None:
    (desk / "stations.csv").write_text("channel,area\n21,\n21,stage\n30,stage\n", encoding="utf-8")
    answer(run, "add", "--stations", "stations.csv")
    answer(run, "stations", "--drop", "21", "--area", "stage")
    assert sorted(channels(run)) == [("21", None), ("30", "stage")]
    answer(run, "stations", "--drop", "21", "30")
    assert channels(run) == []
    answer(run, "undo")
    assert len(channels(run)) == 2
    code, _, err = run("show", "stations", "--drop", "22")
    assert code == 2
    assert "no TV channel '22' is announced" in err


def test_a_region_without_an_announced_channel_is_refused(run: Run, desk: Path) -> None:
    answer(run, "set", "region=")
    (desk / "stations.csv").write_text("channel\n99\n", encoding="utf-8")
    answer(run, "add", "--stations", "stations.csv")
    code, _, err = run("show", "set", "region=de")
    assert code == 2
    assert "fallow show stations --drop 99" in err
    answer(run, "stations", "--drop", "99")
    answer(run, "set", "region=de")


def test_strangers_are_listed_and_taken_out(run: Run, desk: Path) -> None:
    text = "name,frequency_mhz,bandwidth_khz,spacing_khz\nA,470.125,200,300\nB,471.5,,\n"
    (desk / "foreign.csv").write_text(text, encoding="utf-8")
    answer(run, "add", "--foreign", "foreign.csv")
    found = answer(run, "foreign")["foreign"]
    assert [(one["name"], one["frequency_hz"], one["bandwidth_hz"]) for one in found] == [
        ("A", 470_125_000, 200_000), ("B", 471_500_000, 0),
    ]  # fmt: skip
    assert [one["name"] for one in answer(run, "foreign", "--drop", "A")["foreign"]] == ["B"]
    code, _, err = run("show", "foreign", "--drop", "A")
    assert code == 2
    assert "'A'" in err


def test_rules_about_groups_are_listed_and_taken_out(run: Run, desk: Path) -> None:
    text = "group,from,apart_mhz,within_mhz,hard\nvip,band,4,,yes\nvip,,,8,\n"
    (desk / "groups.csv").write_text(text, encoding="utf-8")
    answer(run, "add", "--groups", "groups.csv")
    found = answer(run, "groups")["groups"]
    assert [(one["number"], one["apart_hz"], one["within_hz"]) for one in found] == [
        (1, 4_000_000, None),
        (2, None, 8_000_000),
    ]
    assert [one["within_hz"] for one in answer(run, "groups", "--drop", "1")["groups"]] == [8_000_000]
    code, _, err = run("show", "groups", "--drop", "2")
    assert code == 2
    assert "there is no rule 2" in err
    code, out, _ = run("show", "groups")
    assert code == 0
    assert "1 rule" in out


@pytest.mark.parametrize("name", ["", ".", "..", "/"])
def test_a_show_needs_a_name(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run("show", "new", name)
    assert (code, out) == (2, "")
    assert "is no name for a show file" in err
    assert list(tmp_path.iterdir()) == []
