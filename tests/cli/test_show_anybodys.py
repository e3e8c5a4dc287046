"""``fallow show add TABLE --as KIND`` as it is typed. Truth: the tables that the tests write; names are invented."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]
EQUIPMENT = "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz\nhand,microphone,470-608,25,200,350\n"
LIST = (
    "Frequenzliste, erfunden\n\nKünstler;Gerätetyp;Sendefrequenz in MHz;Bühne;Prio\n"
    "Anna;hand;470,125;Ost;1\nBert;hand;471.300;Ost;2\nCarla;hnd;472,0;West;\nBert;hand;473,0;Ost;\n"
)


@pytest.fixture
def desk(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A show with one type of radio, and somebody's list."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "equipment.csv").write_text(EQUIPMENT, encoding="utf-8")
    (tmp_path / "liste.csv").write_text(LIST, encoding="cp1252")
    answer(run, "new", "gala", "region=de")
    answer(run, "add", "--equipment", "equipment.csv")
    return tmp_path


def answer(run: Run, *words: object, code: int = 0) -> dict[str, Any]:
    """The JSON answer of a verb."""
    got, out, err = run("show", *words, "--json")
    assert got == code, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


def links(run: Run) -> dict[str, Any]:
    return {one["link"]: one for one in answer(run, "links")["links"]}


def test_a_preview_says_how_it_was_understood_and_changes_nothing(run: Run, desk: Path) -> None:
    before = answer(run, "history", "--show", desk / "gala.fallow")
    found = answer(run, "add", "liste.csv", "--as", "links", "--preview", code=1)
    assert found["tables"] == []
    preview = found["preview"]
    assert [one["means"] for one in preview["columns"]] == ["link", "equipment", "frequency_mhz", "area", "priority"]
    assert (preview["decimal"], preview["heading_line"], preview["rows"], preview["left_out"]) == (",", 3, 3, 1)
    assert [(one["line"], one["column"], one["cell"]) for one in preview["doubts"]] == [
        (5, "Sendefrequenz in MHz", "471.300"),
        (7, "Künstler", "Bert"),
    ]
    assert preview["first"][0]["frequency_hz"] == 470_125_000
    assert preview["notes"] == ["the equipment 'hnd' of 1 row is not in the show; the nearest is 'hand'"]
    assert answer(run, "history") == before


def test_what_is_brought_in_is_one_change_and_its_doubts_are_told(run: Run, desk: Path) -> None:
    found = answer(run, "add", "liste.csv", "--as", "links", "--why", "their list", code=1)
    assert found["tables"] == [{"what": "links", "added": 3, "changed": 0, "removed": 0, "same": 0}]
    assert len(found["preview"]["doubts"]) == 2
    assert {name: one["frequency_hz"] for name, one in links(run).items()} == {
        "Anna": 470_125_000, "Bert": None, "Carla": 472_000_000,
    }  # fmt: skip
    assert answer(run, "history")["changes"][-1]["why"] == "their list"
    answer(run, "undo")
    assert links(run) == {}
    assert desk.is_dir()


@pytest.mark.usefixtures("desk")
def test_an_area_of_the_show_keeps_its_spelling(run: Run) -> None:
    """Whatever names it: here only an announced TV channel, which has to hold for the links that are brought in."""
    answer(run, "stations", "21", "--area", "ost")
    found = answer(run, "add", "liste.csv", "--as", "links", code=1)
    assert "the area 'Ost' is taken as 'ost'" in found["preview"]["notes"]
    assert {one["area"] for one in links(run).values()} == {"ost", "West"}


def test_a_plan_of_others_is_the_one_in_force(run: Run, desk: Path) -> None:
    (desk / "plan.txt").write_text("Mic 1\thand\t470.125\nMic 2\thand\t471.3\n", encoding="utf-8")
    found = answer(run, "add", "plan.txt", "--as", "plan", "--plan-name", "theirs")
    assert found["tables"][0]["added"] == 2
    assert answer(run, "plans", "theirs")["in_force"]
    assert answer(run, "audit")["conflicts"] == []


def test_a_plan_of_links_and_frequencies_takes_the_rest_from_the_show(run: Run, desk: Path) -> None:
    answer(run, "links", "Mic 1", "--equipment", "hand", "--area", "stage", "--scenes", "act 1;act 2")
    answer(run, "links", "Mic 2", "--equipment", "hand")
    (desk / "plan.csv").write_text("Link;MHz\nMic 1;470,125\nMIC 2;471,3\nMic 9;472,5\n", encoding="utf-8")
    found = answer(run, "add", "plan.csv", "--as", "plan", code=1)
    assert [(one["line"], one["cell"], one["done"]) for one in found["preview"]["doubts"]] == [
        (4, "Mic 9", "row left out")
    ]
    assert "equipment, area, scenes: as the show's links have it" in found["preview"]["notes"]
    rows = {one["link"]: one for one in answer(run, "plans", "plan")["rows"]}
    seen = [(one["equipment"], one["area"], one["scenes"], one["frequency_hz"]) for one in rows.values()]
    assert seen == [("hand", "stage", ["act 1", "act 2"], 470_125_000), ("hand", None, [], 471_300_000)]
    assert list(rows) == ["Mic 1", "Mic 2"]


@pytest.mark.usefixtures("desk")
def test_what_is_typed_of_a_link_is_looked_at_too(run: Run) -> None:
    answer(
        run, "links", "A", "--equipment", "hand", "--scenes", "act 1;act 2", "--group", "band", "--frequency", "470.1M"
    )
    answer(run, "links", "B", "--equipment", "hand", "--scenes", "rock & roll", "--group", "choir")
    for words, said in (
        (("--scenes", "act 1, act 2"), "write a semicolon between scenes: 'act 1;act 2'"),
        (("--scenes", "act 1-3"), "'act 1-3' may be one scene or several"),
        (("--group", "band, choir"), "write a semicolon between groups: 'band;choir'"),
        (("--frequency", "510.1"), "510 Hz is none that 'hand' can be tuned to"),
    ):
        code, _, err = run("show", "links", "B", *words)
        assert code == 2, words
        assert said in err
    kept = links(run)["B"]
    assert (kept["scenes"], kept["groups"], kept["frequency_hz"]) == (["rock & roll"], ["choir"], None)


def test_what_a_table_lacks_is_told(run: Run, desk: Path) -> None:
    (desk / "names.csv").write_text("Name;Lampe;MHz\nAnna;3;470,125\n", encoding="utf-8")
    code, out, err = run("show", "add", "names.csv", "--as", "links", "--json")
    assert (code, out) == (2, "")
    assert "no column is known to be equipment" in err
    assert "--fill equipment=VALUE" in err
    answer(run, "add", "names.csv", "--as", "links", "--fill", "equipment=hand", "--column", "area=Lampe")
    assert (links(run)["Anna"]["equipment"], links(run)["Anna"]["area"]) == ("hand", "3")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("liste.csv", "--preview"), "speak of a table"),
        (("liste.csv", "liste.csv", "--as", "links"), "one table"),
        (("liste.csv", "--as", "links", "--fill", "area"), "says nothing"),
        (("nowhere.csv", "--as", "links"), "can't be opened"),
        (("gala.fallow", "--as", "links"), "gala.fallow"),
    ],
)
def test_what_can_not_be_is_a_sentence(run: Run, desk: Path, words: tuple[str, ...], said: str) -> None:
    code, out, err = run("show", "add", *words, "--show", desk / "gala.fallow")
    assert (code, out) == (2, "")
    assert said in err
    assert err.startswith("fallow: ")


def test_the_screen_fits_in_eighty_columns(desk: Path, package: Path) -> None:
    environment = {**os.environ, "COLUMNS": "80", "PYTHONPATH": str(package.parent)}
    command = [sys.executable, "-m", "fallow", "show", "add", "liste.csv", "--as", "links"]
    done = subprocess.run(command, cwd=desk, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "In doubt: 2 cells" in done.stdout
    assert "row left out" in done.stdout
