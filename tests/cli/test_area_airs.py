"""``--air AREA=FILE`` as it is typed: which survey decided, several of one area, areas that nobody knows.

Truth: the contract of the commands; the sweeps are written by the test itself (invented).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fallow.workflow.area_airs import AirFiles, air_files

Run = Callable[..., tuple[int, str, str]]
CLEAN_MHZ = (471.0, 472.0, 473.0, 474.0, 475.0)


def write_sweeps(path: Path, carrier_mhz: float | None) -> Path:
    """Twenty sweeps, 470 to 476 MHz in 25 kHz, floor -115 dBm, a carrier of -60 dBm."""
    rng = np.random.default_rng(4)
    at_mhz = 470.0 + 0.025 * np.arange(241)
    noise_mw = 10**-11.5 * rng.gamma(10, 0.1, size=(at_mhz.size, 20))
    if carrier_mhz is not None:
        noise_mw[np.argmin(np.abs(at_mhz - carrier_mhz))] += 10**-6
    rows = ["Frequency (MHz);" + ";".join(f"Sweep {i} (dBm)" for i in range(20))]
    rows += [
        ";".join([f"{mhz:.3f}", *(f"{10 * np.log10(level):.2f}" for level in levels)])
        for mhz, levels in zip(at_mhz, noise_mw, strict=True)
    ]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """Two halls that do not hear each other, and a foyer that hears both; a radio with five presets."""
    (tmp_path / "equipment.csv").write_text(
        "equipment,kind,presets_mhz,bandwidth_khz,power_mw,power_kind,spacing_khz\n"
        f"pack,microphone,{';'.join(map(str, CLEAN_MHZ))},200,10,erp,350\n",
        encoding="utf-8",
    )
    (tmp_path / "links.csv").write_text(
        "link,equipment,area,frequency_mhz,fixed\n"
        "a,pack,Big Hall,471,yes\nb,pack,Small Hall,471,yes\nc,pack,Foyer,473,yes\n",
        encoding="utf-8",
    )
    (tmp_path / "areas.csv").write_text("area,other,loss_db\nBig Hall,Small Hall,apart\n", encoding="utf-8")
    write_sweeps(tmp_path / "quiet.csv", None)
    write_sweeps(tmp_path / "loud471.csv", 471.0)
    write_sweeps(tmp_path / "loud473.csv", 473.0)
    return tmp_path


def planned(run: Run, house: Path, *more: object) -> tuple[int, dict[str, Any]]:
    files = ("--equipment", house / "equipment.csv", "--areas", house / "areas.csv", "--rbw", "25k")
    code, out, err = run("plan", house / "links.csv", *files, "--seconds", "0", "--spares", "0", "--json", *more)
    assert out, err
    answer = json.loads(out)
    answer["by_link"] = {one["link"]: one for one in answer["links"]}
    return code, answer


def test_a_survey_holds_for_its_area_and_for_those_that_hear_it(run: Run, house: Path) -> None:
    loud = f"Big Hall={house / 'loud471.csv'}"
    code, answer = planned(run, house, "--air", loud, "--air", f"Small Hall={house / 'quiet.csv'}")
    verdicts = {name: one["verdict"] for name, one in answer["by_link"].items()}
    assert verdicts == {"a": "occupied", "b": "clean", "c": "clean"}
    assert answer["by_link"]["a"]["decided_by"] == "Big Hall: loud471.csv"
    assert answer["by_link"]["b"]["decided_by"] == "Small Hall: quiet.csv"
    assert [conflict["victim"] for conflict in answer["conflicts"] if conflict["kind"] == "air"] == ["a"]
    assert code == 1
    assert any(note.startswith("no survey was taken in Foyer: its carriers go by Big Hall") for note in answer["notes"])
    assert "in the survey Big Hall: loud471.csv" in answer["by_link"]["a"]["why"]


def test_of_several_surveys_of_an_area_the_worst_counts_and_is_named(run: Run, house: Path) -> None:
    surveys = [f"Foyer={house / name}" for name in ("quiet.csv", "loud473.csv")]
    everywhere = house / "quiet.csv"
    code, answer = planned(run, house, "--air", surveys[0], "--air", surveys[1], "--air", everywhere)
    assert answer["by_link"]["c"]["verdict"] == "occupied"
    assert answer["by_link"]["c"]["decided_by"] == "Foyer: loud473.csv"
    assert answer["by_link"]["a"]["verdict"] == "clean"
    assert code == 1


def test_what_no_survey_holds_for_is_not_measured(run: Run, house: Path) -> None:
    _, answer = planned(run, house, "--air", f"Small Hall={house / 'quiet.csv'}")
    assert answer["by_link"]["a"]["verdict"] == "not measured"
    assert answer["by_link"]["a"]["decided_by"] is None
    assert "no survey was taken in Big Hall: its places count as not measured" in answer["notes"]


def test_the_audit_takes_areas_from_the_plan_itself(run: Run, house: Path) -> None:
    plan = house / "plan.csv"
    plan.write_text("link,equipment,area,frequency_mhz\na,pack,Attic,471\n", encoding="utf-8")
    words = ("audit", plan, "--equipment", house / "equipment.csv", "--rbw", "25k", "--json")
    code, out, _ = run(*words, "--air", f"Attic={house / 'loud471.csv'}")
    assert code == 1
    assert [conflict["kind"] for conflict in json.loads(out)["conflicts"]] == ["air"]
    code, out, err = run(*words, "--air", f"Cellar={house / 'loud471.csv'}")
    assert (code, out) == (2, "")
    assert "no link and no row of areas has the area 'Cellar'" in err
    assert "the areas known are: Attic" in err


def test_a_path_with_an_equals_sign_that_is_there_is_a_path(run: Run, house: Path) -> None:
    odd = house / "night=1.csv"
    odd.write_bytes((house / "quiet.csv").read_bytes())
    _, answer = planned(run, house, "--air", odd)
    assert {one["decided_by"] for one in answer["links"]} == {"night=1.csv"}


def test_words_of_one_option_make_one_survey_of_each_area() -> None:
    known = {"", "Hall", "Yard"}
    assert air_files([["Hall=a", "b", "Yard=c", "Hall=d"], ["e"]], known) == (
        AirFiles("Hall", ("a", "b", "d")),
        AirFiles("Yard", ("c",)),
        AirFiles("", ("e",)),
    )


@pytest.mark.parametrize(("words", "said"), [(["Hall="], "no file follows"), (["Hal=x"], "'Hal'")])
def test_slips_are_told(run: Run, house: Path, words: list[str], said: str) -> None:
    files = ("--equipment", house / "equipment.csv", "--areas", house / "areas.csv")
    links = house / "links.csv"
    links.write_text("link,equipment,area\na,pack,Hall\n", encoding="utf-8")
    code, out, err = run("plan", links, *files, "--air", *words)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("fallow: ") == 1
