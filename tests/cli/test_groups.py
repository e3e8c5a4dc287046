"""``--groups`` as it is typed, and rules about groups in the show file. Everything here is invented."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import fallow

Run = Callable[..., tuple[int, str, str]]
TABLES = {
    "links": "link,equipment,area,group\nvox 1,vox,hall,band\nvox 2,vox,hall,band\near 1,ear,hall,\n",
    "equipment": (
        "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz\n"
        "vox,microphone,470-480,25,200,350\near,in-ear,470-480,25,200,350\n"
    ),
    "groups": "group,from,apart_mhz,within_mhz,hard,source\nin-ear,microphone,6,,yes,house rule\nband,,,0.5,yes,\n",
    "plan": "link,equipment,area,frequency_mhz\nvox 1,vox,hall,470\nvox 2,vox,hall,474\near 1,ear,hall,478\n",
}


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of tables in which everything is typed."""
    monkeypatch.chdir(tmp_path)
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    return tmp_path


def answer(run: Run, *words: object, code: int = 0) -> dict[str, Any]:
    got, out, err = run(*words, "--json")
    assert got == code, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


QUICKLY = ("--seconds", "0.5", "--no-failures", "--spares", "0")
PLAN = ("plan", "links.csv", "--equipment", "equipment.csv", *QUICKLY)
AUDIT = ("audit", "plan.csv", "--links", "links.csv", "--equipment", "equipment.csv")


@pytest.mark.usefixtures("desk")
def test_a_plan_keeps_the_rules_of_the_table(run: Run) -> None:
    found = answer(run, *PLAN, "--groups", "groups.csv")
    at_hz = {one["link"]: one["frequency_hz"] for one in found["links"]}
    assert abs(at_hz["vox 1"] - at_hz["vox 2"]) <= 500_000
    assert all(abs(at_hz["ear 1"] - at_hz[name]) >= 6_000_000 for name in ("vox 1", "vox 2"))
    assert found["conflicts"] == found["unkept"] == []


@pytest.mark.usefixtures("desk")
def test_an_audit_judges_hard_rules_as_conflicts(run: Run) -> None:
    found = answer(run, *AUDIT, "--groups", "groups.csv", code=1)
    told = {one["kind"]: one for one in found["conflicts"]}
    assert told["apart"]["carriers"] == ["ear 1", "vox 2"]
    assert (told["apart"]["distance_hz"], told["apart"]["needed_hz"]) == (4_000_000, 6_000_000)
    assert told["together"]["carriers"] == ["vox 1", "vox 2"]
    assert (told["together"]["distance_hz"], told["together"]["needed_hz"]) == (4_000_000, 500_000)
    assert all(one["victim"] is None and one["product_hz"] is None for one in found["conflicts"])


def test_wishes_are_told_and_no_bad_news(run: Run, desk: Path) -> None:
    (desk / "groups.csv").write_text(TABLES["groups"].replace("yes", "no"), encoding="utf-8")
    found = answer(run, *AUDIT, "--groups", "groups.csv")
    assert found["conflicts"] == []
    assert [(one["kind"], one["area"], one["pairs"]) for one in found["unkept"]] == [
        ("apart", "hall", 1),
        ("together", "hall", 1),
    ]
    assert found["unkept"][0]["source"] == "house rule"
    code, out, _ = run(*AUDIT, "--groups", "groups.csv")
    assert code == 0
    assert "wish not kept: 1 pair of in-ear and microphone in hall stands nearer than the 6" in " ".join(out.split())


def test_without_a_table_the_usual_wish_holds(run: Run, desk: Path) -> None:
    """4 MHz, the lower figure of the trade (common practice): 474 and 478 MHz are just enough, 477.975 is not."""
    assert answer(run, *AUDIT)["unkept"] == []
    (desk / "plan.csv").write_text(TABLES["plan"].replace("478", "477.975"), encoding="utf-8")
    (unkept,) = answer(run, *AUDIT)["unkept"]
    assert (unkept["distance_hz"], unkept["wished_hz"], unkept["source"]) == (3_975_000, 4_000_000, "common practice")


@pytest.mark.usefixtures("desk")
def test_why_speaks_of_groups(run: Run) -> None:
    words = ("--groups", "groups.csv", "--keep", "plan.csv", "--why", "ear 1", "--at", "476M")
    found = answer(run, *PLAN, *words, code=1)
    assert [one["kind"] for one in found["against"]] == ["apart"]
    assert found["free_nearby_hz"][0] == 480_000_000


def test_a_group_that_nobody_is_in_is_refused(run: Run, desk: Path) -> None:
    (desk / "groups.csv").write_text("group,within_mhz\nbnad,8\n", encoding="utf-8")
    code, out, err = run(*PLAN, "--groups", "groups.csv")
    assert (code, out) == (2, "")
    assert "groups.csv, line 2: no link, equipment or kind is called 'bnad'" in err
    assert "hint: did you mean 'band'?" in err


@pytest.mark.usefixtures("desk")
def test_python_takes_the_same_table() -> None:
    links, equipment = fallow.read_links("links.csv"), fallow.read_equipment("equipment.csv")
    groups = fallow.read_groups("groups.csv")
    plan = fallow.coordinate(links, equipment, groups=groups, seconds=0, spares=0, failures=False)
    assert plan.conflicts == ()
    found = fallow.audit(fallow.read_plan("plan.csv"), equipment, links=links, groups=groups)
    assert {one.kind for one in found.conflicts} == {"apart", "together"}


@pytest.mark.usefixtures("desk")
def test_a_show_keeps_rules_and_groups_of_links(run: Run) -> None:
    answer(run, "show", "new", "house.fallow")
    tables = [word for name in ("links", "equipment", "groups") for word in (f"--{name}", f"{name}.csv")]
    answer(run, "show", "add", *tables, "--show", "house.fallow")
    found = answer(run, "show", "plan", "--seconds", "0.5", "--spares", "0", "--show", "house.fallow")
    assert found["conflicts"] == []
    at_hz = {one["link"]: one["frequency_hz"] for one in found["links"]}
    assert abs(at_hz["vox 1"] - at_hz["vox 2"]) <= 500_000
    changed = answer(run, "show", "links", "vox 2", "--group", "choir", "--show", "house.fallow")
    assert changed["links"][0]["groups"] == ["choir"]
    answer(run, "show", "export", "out", "--show", "house.fallow")
    (table,) = Path("out").rglob("groups.csv")
    with table.open(encoding="utf-8") as file:
        assert [(row["group"], row["apart_mhz"], row["hard"]) for row in csv.DictReader(file)] == [
            ("in-ear", "6.000000", "yes"),
            ("band", "", "yes"),
        ]


@pytest.mark.usefixtures("desk")
def test_why_tells_wishes_that_a_place_would_break(run: Run) -> None:
    words = ("--keep", "plan.csv", "--why", "ear 1", "--at", "475M")
    found = answer(run, *PLAN, *words)
    told = [note for note in found["notes"] if "wished" in note]
    assert told == ["in-ear and microphone are wished 4 MHz apart (common practice): 1 carrier nearer, vox 2 1 MHz"]


@pytest.mark.usefixtures("desk")
def test_an_audit_without_the_links_says_which_rules_it_can_not_judge(run: Run) -> None:
    words = ("audit", "plan.csv", "--equipment", "equipment.csv", "--groups", "groups.csv")
    found = answer(run, *words, code=1)
    assert {one["kind"] for one in found["conflicts"]} == {"apart"}
    assert any(note.startswith("nobody here is in band, so rules about that") for note in found["notes"])
    assert not any(
        note.startswith("nobody here") for note in answer(run, *AUDIT, "--groups", "groups.csv", code=1)["notes"]
    )


@pytest.mark.usefixtures("desk")
def test_a_group_of_links_without_a_frequency_is_no_group_of_nobody(run: Run, tmp_path: Path) -> None:
    """A fixed stranger where the only place is."""
    gear = "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz\nvox,microphone,470,25,200,350\n"
    (tmp_path / "gear.csv").write_text(gear, encoding="utf-8")
    (tmp_path / "who.csv").write_text("link,equipment,group\na,vox,band\n", encoding="utf-8")
    (tmp_path / "with.csv").write_text("group,within_mhz,hard\nband,8,yes\n", encoding="utf-8")
    foreign = "name,frequency_mhz,spacing_khz\nx,470,350\n"
    (tmp_path / "foreign.csv").write_text(foreign, encoding="utf-8")
    words = ("--equipment", "gear.csv", "--groups", "with.csv", "--foreign", "foreign.csv", "--seconds", "0.2")
    found = answer(run, "plan", "who.csv", *words, code=1)
    assert [one["link"] for one in found["unplaced"]] == ["a"]
    assert not any("nobody here is in" in note for note in found["notes"])
