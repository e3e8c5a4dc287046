"""All of a show's values changed as typed, without a table. Truth: what was typed; all invented.

The raster of Germany is channels 5 to 12 and 21 to 48 (ITU Region 1, GE06 Agreement; rules/data/de.toml).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fallow.show.assignment import Assignment
from fallow.showfile.history import present
from fallow.showfile.kinds import PLAN_ROWS, PLANS
from fallow.showfile.store import ShowFile
from fallow.showfile.values import PlanHead, PlanRow

Run = Callable[..., tuple[int, str, str]]
PACK = ("--kind", "microphone", "--tuning", "470M..526M;600-606 MHz", "--step", "25k", "--bandwidth", "200k",
        "--spacing", "350k", "--im3", "100k", "--power", "10", "--power-kind", "erp")  # fmt: skip


@pytest.fixture
def desk(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A show of two links in Germany, typed."""
    monkeypatch.chdir(tmp_path)
    answer(run, "new", "gala", "region=de")
    answer(run, "equipment", "pack", *PACK)
    for name, area in (("vox 1", "stage"), ("vox 2", "foyer")):
        answer(run, "links", name, "--equipment", "pack", "--area", area)
    return tmp_path


def answer(run: Run, *words: object, code: int = 0) -> dict[str, Any]:
    """The JSON answer of a verb."""
    got, out, err = run("show", *words, "--json")
    assert got == code, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


def refused(run: Run, *words: object) -> str:
    """What is said where a verb can't be done."""
    code, out, err = run("show", *words, "--json")
    assert (code, out) == (2, ""), err
    return err


def held(path: Path) -> dict[tuple[str, str], Any]:
    """All values of the file, with their places."""
    with ShowFile.open(path) as show:
        return dict(present(show.connection))


@pytest.mark.usefixtures("desk")
def test_equipment_is_typed_and_changed(run: Run) -> None:
    radio = answer(run, "equipment", "pack")["equipment"][0]
    assert radio["tuning"] == [
        {"low_hz": 470_000_000, "high_hz": 526_000_000},
        {"low_hz": 600_000_000, "high_hz": 606_000_000},
    ]
    assert (radio["spacing_hz"], radio["im3_hz"], radio["im5_hz"], radio["power_mw"]) == (350_000, 100_000, None, 10)
    words = ("--im3", "none", "--im5", "40k", "--set", "body_db=12", "--presets", "470.1M;471M")
    radio = answer(run, "equipment", "pack", *words)["equipment"][0]
    assert (radio["im3_hz"], radio["im5_hz"], radio["presets_hz"]) == (None, 40_000, [470_100_000, 471_000_000])
    assert radio["spacing_hz"] == 350_000
    _, out, _ = run("show", "equipment", "pack")
    assert "body_db: 12" in out
    assert "has no unit" in refused(run, "equipment", "pack", "--spacing", "350")
    assert "has no column 'im9'" in refused(run, "equipment", "pack", "--set", "im9=3")
    assert "to add it, say --kind and --spacing" in refused(run, "equipment", "ear", "--bandwidth", "200k")


@pytest.mark.usefixtures("desk")
def test_links_are_changed_in_all_they_have(run: Run) -> None:
    link = answer(run, "links", "vox 1", "--planned", "no", "--remark", "chooses its own", "--weight", "3")["links"][0]
    assert (link["planned"], link["move_weight"], link["more"]) == (False, 3, {"remark": "chooses its own"})
    _, out, _ = run("show", "links", "vox 1")
    assert "remark: chooses its own" in out
    assert "move_weight: 3" in out
    link = answer(run, "links", "vox 2", "--frequency", "910.1M", "--fixed")["links"][0]
    assert (link["frequency_hz"], link["fixed"]) == (910_100_000, True)
    _, _, err = run("show", "links", "vox 2", "--frequency", "911.1M")
    assert "911.100 MHz is none that 'pack' can be tuned to" in err
    assert "'vox 2' is fixed but has no frequency" in refused(run, "links", "vox 2", "--frequency", "0")


def test_a_link_renamed_is_followed_by_all_and_comes_back(run: Run, desk: Path) -> None:
    answer(run, "plan", "--seconds", "0.1", "--spares", "0")
    answer(run, "note", "check its pack", "--about", "vox 1")
    before = held(desk / "gala.fallow")
    answer(run, "links", "vox 1", "--rename", "lead", "--priority", "1")
    assert [(one["link"], one["priority"]) for one in answer(run, "links")["links"]] == [("lead", 1), ("vox 2", 3)]
    assert answer(run, "list")["notes_written"][0]["about"] == "lead"
    assert [row["link"] for row in answer(run, "plans", "plan 1")["rows"]] == ["lead", "vox 2"]
    answer(run, "undo")
    assert held(desk / "gala.fallow") == before
    assert "the link 'vox 2' is there already" in refused(run, "links", "vox 1", "--rename", "vox 2")
    assert "is no name for a link" in refused(run, "links", "vox 1", "--rename", "spare 1")
    assert "there is no link 'vox 9'" in refused(run, "links", "vox 9", "--rename", "x")


def test_a_plan_never_holds_a_link_twice(run: Run, desk: Path) -> None:
    answer(run, "plan", "--seconds", "0.1", "--spares", "0")
    answer(run, "links", "--drop", "vox 2")
    before = held(desk / "gala.fallow")
    err = refused(run, "links", "vox 1", "--rename", "vox 2")
    assert "'plan 1' has a row of 'vox 2', a link that is gone: it would hold two rows of one link" in err
    assert "fallow show plans --drop 'plan 1'" in err
    assert held(desk / "gala.fallow") == before
    answer(run, "plans", "--drop", "plan 1")
    assert answer(run, "links", "vox 1", "--rename", "vox 2")["links"][0]["link"] == "vox 2"


def test_links_and_rows_that_do_not_belong_together_are_told(run: Run, desk: Path) -> None:
    answer(run, "plan", "--seconds", "0.1", "--spares", "1")
    assert answer(run, "audit")["notes"] == [one for one in answer(run, "audit")["notes"] if "this plan" not in one]
    answer(run, "links", "--drop", "vox 2")
    answer(run, "links", "late", "--equipment", "pack")
    answer(run, "links", "own", "--equipment", "pack", "--planned", "no")
    told = ["links without a row in this plan: late", "rows of this plan that are of no link of the show: vox 2"]
    assert answer(run, "audit")["notes"][:2] == told
    plan = answer(run, "list")["plans"][0]
    assert (plan["links_without_row"], plan["rows_without_link"], plan["links_twice"]) == (["late"], ["vox 2"], [])
    for verb in (("list",), ("plans", "plan 1")):
        _, out, _ = run("show", *verb)
        assert all(line in " ".join(out.split()) for line in told)
    second = PlanRow("plan 1", Assignment("vox 1", "pack", "stage", frequency_hz=520_000_000), 1)
    with ShowFile.open(desk / "gala.fallow", write=True) as show, show.change("", "as an earlier fallow did") as change:
        change.put(PLAN_ROWS, second)
    found = answer(run, "audit", code=1)
    assert [(one["kind"], one["victim"]) for one in found["conflicts"]] == [("twice", "vox 1")]
    assert "links with two rows in this plan: vox 1" in run("show", "list")[1]


@pytest.mark.usefixtures("desk")
def test_a_link_that_is_fixed_elsewhere_than_the_plan_has_it_is_told(run: Run) -> None:
    answer(run, "plan", "--seconds", "0.1", "--spares", "0")
    answer(run, "links", "vox 1", "--frequency", "601M")
    assert answer(run, "list")["plans"][0]["links_fixed_elsewhere"] == []
    answer(run, "links", "vox 1", "--fixed")
    assert answer(run, "list")["plans"][0]["links_fixed_elsewhere"] == ["vox 1"]
    assert answer(run, "audit")["notes"][0] == "links that are fixed elsewhere than this plan has them: vox 1"


@pytest.mark.usefixtures("desk")
def test_a_scene_is_spelt_in_one_way(run: Run) -> None:
    answer(run, "links", "vox 1", "--scenes", "act 1", "--group", "choir")
    for spelling in ("act 01", "Act 1", "act1"):
        err = refused(run, "links", "vox 2", "--scenes", spelling)
        assert f"the show has a scene 'act 1': {spelling!r} would count as another one" in err
    assert "the show has a group 'choir'" in refused(run, "links", "vox 2", "--group", "Choir")
    assert answer(run, "links", "vox 2", "--scenes", "act 1;act 10")["links"][0]["scenes"] == ["act 1", "act 10"]
    answer(run, "links", "vox 2", "--scenes", "act 2")
    assert answer(run, "links", "vox 1", "--scenes", "Act 1")["links"][0]["scenes"] == ["Act 1"]


def test_a_plan_tells_what_its_notes_call_by_an_old_name(run: Run, desk: Path) -> None:
    head = PlanHead("old", "2026-01-01T00:00:00+00:00", ("pack: margins go by its data",))
    row = PlanRow("old", Assignment("vox 2", "pack", "foyer", frequency_hz=480_000_000, note="1.4 MHz from vox 1"))
    with ShowFile.open(desk / "gala.fallow", write=True) as show, show.change("", "a plan") as change:
        change.put(PLANS, head)
        change.put(PLAN_ROWS, row)
    for old, new in (("vox 1", "lead"), ("lead", "star"), ("vox 2", "other")):
        answer(run, "links", old, "--rename", new)
    answer(run, "equipment", "pack", "--rename", "hand")
    told = [f"what was {old!r} when this plan was made is called {new!r} now"
            for old, new in (("vox 1", "star"), ("pack", "hand"))]  # fmt: skip
    assert answer(run, "plans", "old")["notes"] == ["pack: margins go by its data", *told]
    assert all(line in " ".join(run("show", "plans", "old")[1].split()) for line in told)
    answer(run, "undo", "--steps", "4")
    assert answer(run, "plans", "old")["notes"] == ["pack: margins go by its data"]
    answer(run, "redo", "--steps", "1")
    assert answer(run, "plans", "old")["notes"][1:] == ["what was 'vox 1' when this plan was made is called 'lead' now"]
    answer(run, "undo")
    (desk / "links.csv").write_text("link,equipment\nvox 1,pack\nnewcomer,pack\n", encoding="utf-8")
    answer(run, "add", "--links", "links.csv", "--replace")
    assert answer(run, "plans", "old")["notes"] == ["pack: margins go by its data"]


@pytest.mark.usefixtures("desk")
def test_the_way_back_is_renamed_with_its_link_and_its_radio(run: Run) -> None:
    answer(run, "equipment", "duo", "--kind", "intercom", "--tuning", "470M..500M", "--step", "25k",
           "--bandwidth", "200k", "--spacing", "350k", "--set", "return_mhz=510-526")  # fmt: skip
    answer(run, "links", "desk", "--equipment", "duo")
    answer(run, "plan", "--seconds", "0.1", "--spares", "0")
    answer(run, "links", "desk", "--rename", "caller")
    answer(run, "equipment", "duo", "--rename", "trio")
    rows = [(row["link"], row["equipment"]) for row in answer(run, "plans", "plan 1")["rows"]]
    assert rows[-2:] == [("caller", "trio"), ("caller return", "trio return")]
    plan = answer(run, "list")["plans"][0]
    assert (plan["links_without_row"], plan["rows_without_link"]) == ([], [])


@pytest.mark.usefixtures("desk")
def test_a_type_is_not_called_what_rules_mean_otherwise(run: Run) -> None:
    answer(run, "groups", "pack", "--within", "30M")
    answer(run, "groups", "lav", "in-ear", "--apart", "6M")
    answer(run, "links", "vox 1", "--group", "choir")
    assert "'microphone' is a kind of radio" in refused(run, "equipment", "pack", "--rename", "microphone")
    assert "'choir' is a group of links" in refused(run, "equipment", "pack", "--rename", "choir")
    assert "a rule about groups speaks of 'lav' already" in refused(run, "equipment", "pack", "--rename", "lav")
    assert "'in-ear' is a kind of radio" in refused(run, "equipment", "in-ear", *PACK)
    assert answer(run, "equipment", "lav", *PACK)["equipment"][0]["equipment"] == "lav"
    assert answer(run, "equipment", "pack", "--rename", "hand")["equipment"][0]["equipment"] == "hand"
    assert [one["group"] for one in answer(run, "groups")["groups"]] == ["lav", "hand"]


def test_equipment_and_areas_renamed_are_followed_by_all(run: Run, desk: Path) -> None:
    answer(run, "groups", "pack", "in-ear", "--apart", "6M")
    answer(run, "areas", "stage", "foyer", "--loss", "12")
    answer(run, "foreign", "guest", "--frequency", "471.3M", "--area", "stage")
    answer(run, "stations", "23", "--area", "stage")
    answer(run, "plan", "--seconds", "0.1", "--spares", "0")
    before = held(desk / "gala.fallow")
    answer(run, "equipment", "pack", "--rename", "hand")
    answer(run, "areas", "stage", "--rename", "Attic")
    assert answer(run, "areas")["areas"] == [{"area": "Attic", "other": "foyer", "loss_db": 12}]
    assert {one["equipment"] for one in answer(run, "links")["links"]} == {"hand"}
    assert answer(run, "groups")["groups"][0]["group"] == "hand"
    assert answer(run, "foreign")["foreign"][0]["area"] == "Attic"
    assert answer(run, "stations")["stations"][0]["area"] == "Attic"
    rows = answer(run, "plans", "plan 1")["rows"]
    assert [(row["equipment"], row["area"]) for row in rows] == [("hand", "Attic"), ("hand", "foyer")]
    assert not any("stage" in key or "pack" in key for _, key in held(desk / "gala.fallow"))
    answer(run, "undo", "--steps", "2")
    assert held(desk / "gala.fallow") == before
    assert "there is an area 'foyer' already" in refused(run, "areas", "stage", "--rename", "foyer")


@pytest.mark.usefixtures("desk")
def test_strangers_and_stations(run: Run) -> None:
    answer(
        run,
        "foreign",
        "guest",
        "--frequency",
        "471.3M",
        "--bandwidth",
        "200k",
        "--spacing",
        "400k",
        "--products",
        "yes",
    )
    one = answer(run, "foreign", "guest", "--products", "no", "--protect", "yes", "--rename", "visitor")["foreign"][0]
    assert (one["name"], one["products"], one["protect"], one["spacing_hz"]) == ("visitor", False, True, 400_000)
    assert "below the radio spectrum" in refused(run, "foreign", "visitor", "--frequency", "471.3")
    assert "a link is called 'vox 1' already" in refused(run, "foreign", "vox 1", "--frequency", "480M")
    answer(run, "stations", "ch 23", "--source", "a letter")
    answer(run, "stations", "23", "--area", "stage")
    assert "is announced for several areas" in refused(run, "stations", "23", "--source", "a call")
    answer(run, "stations", "23", "--area", "stage", "--source", "a call")
    found = [(one["channel"], one["area"], one["source"]) for one in answer(run, "stations")["stations"]]
    assert found == [("23", None, "a letter"), ("23", "stage", "a call")]
    assert "no TV channel '99'" in refused(run, "stations", "99")


@pytest.mark.usefixtures("desk")
def test_an_area_is_spelt_in_one_way(run: Run) -> None:
    """Else a link in it would stand beside the losses, stations and surveys that hold there."""
    answer(run, "links", "vox 1", "--area", "hall 1")
    answer(run, "areas", "stage", "foyer", "--loss", "30")
    for spelling in ("Hall 1", "hall 01", "HALL1"):
        for words in (("links", "vox 2"), ("stations", "23"), ("foreign", "guest", "--frequency", "480M")):
            err = refused(run, *words, "--area", spelling)
            assert f"the show has an area 'hall 1': {spelling!r} would count as another place" in err
        assert "the show has an area 'hall 1'" in refused(run, "areas", spelling, "foyer", "--apart")
    assert "the show has an area 'stage'" in refused(run, "links", "vox 1", "--area", "Stage")
    assert "'none' is no area" in refused(run, "areas", "none", "foyer", "--apart")
    assert answer(run, "links", "vox 1", "--area", "Hall 1")["links"][0]["area"] == "Hall 1"  # nobody else named it
    assert answer(run, "links", "vox 2", "--area", "hall 10")["links"][0]["area"] == "hall 10"
    answer(run, "areas", "Hall 1", "foyer", "--apart")
    answer(run, "areas", "Hall 1", "foyer", "--full")


def test_a_table_of_the_show_that_is_added_back_changes_nothing(run: Run, desk: Path) -> None:
    """Cells of columns that only some links have are empty for the others: that is as good as no such column."""
    answer(run, "links", "vox 1", "--remark", "lead")
    answer(run, "foreign", "guest", "--frequency", "480M", "--set", "owner=somebody")
    answer(run, "foreign", "visitor", "--frequency", "490M")
    answer(run, "export", "out")
    before = held(desk / "gala.fallow")
    for table, count in (("links", 2), ("foreign", 2)):
        (added,) = answer(run, "add", f"--{table}", f"out/tables/{table}.csv", "--replace")["tables"]
        assert (added["changed"], added["same"]) == (0, count)
    assert held(desk / "gala.fallow") == before


@pytest.mark.usefixtures("desk")
def test_none_means_that_nothing_is_stated(run: Run) -> None:
    """Never a scene or an area of that name: who is in a scene of his own is never together with anybody."""
    answer(run, "links", "vox 1", "--area", "stage", "--scenes", "a;b", "--group", "band", "--remark", "lead")
    link = answer(run, "links", "vox 1", "--area", "none", "--scenes", "None", "--group", "-", "--set", "remark=none")[
        "links"
    ][0]
    assert (link["area"], link["scenes"], link["groups"], link["more"]) == (None, [], [], {})
    assert "'none' is no scene" in refused(run, "links", "vox 1", "--set", "scenes=a;none")
    assert "'keine' is no group" in refused(run, "links", "vox 1", "--group", "keine")
    answer(run, "foreign", "guest", "--frequency", "480M", "--area", "none")
    assert answer(run, "foreign", "guest")["foreign"][0]["area"] is None
    answer(run, "stations", "23", "--area", "none", "--source", "none")
    assert answer(run, "stations")["stations"] == [{"channel": "23", "area": None, "source": None}]
    assert "equipment: the cell is empty" in refused(run, "links", "vox 1", "--equipment", "none")


@pytest.mark.usefixtures("desk")
def test_a_column_that_is_nearly_one_of_ours_is_refused(run: Run) -> None:
    answer(run, "foreign", "guest", "--frequency", "480M")
    assert "did you mean spacing_khz" in refused(run, "foreign", "guest", "--set", "spacing_kz=800")
    assert "did you mean priority" in refused(run, "links", "vox 1", "--set", "priorty=1")
    for column in ("note", "fixed_by", "fader", "owner", "frequency_note", "scene order"):
        assert answer(run, "links", "vox 1", "--set", f"{column}=x")["links"][0]["more"][column] == "x"
    assert answer(run, "foreign", "guest", "--set", "bogus=1")["foreign"][0]["more"] == {"bogus": "1"}
    _, out, _ = run("show", "foreign", "guest")
    assert "bogus: 1" in out
    assert "link=zz gives no new name" in refused(run, "links", "vox 1", "--set", "link=zz")
    assert "--rename NEW" in refused(run, "foreign", "guest", "--set", "name=xx")


def test_what_says_more_than_it_seems_is_asked_or_told(run: Run, desk: Path) -> None:
    answer(run, "stations", "23")
    answer(run, "stations", "23", "--area", "stage")
    before = held(desk / "gala.fallow")
    assert "announced for several areas" in refused(run, "stations", "--drop", "23")
    assert held(desk / "gala.fallow") == before
    answer(run, "stations", "--drop", "23", "--area", "none")
    assert answer(run, "stations")["stations"] == [{"channel": "23", "area": "stage", "source": None}]
    answer(run, "stations", "--drop", "23")
    _, _, err = run("show", "equipment", "pack", "--tuning", "none")
    assert "note: 'pack' can be tuned nowhere now" in err
    _, _, err = run("show", "equipment", "pack", "--presets", "470.1M")
    assert err == ""


def test_rules_and_the_chain(run: Run, desk: Path) -> None:
    answer(run, "groups", "in-ear", "microphone", "--apart", "6M")
    answer(run, "groups", "microphone", "in-ear", "--hard", "yes", "--areas", "all")
    answer(run, "groups", "band", "--within", "8M")
    rules = answer(run, "groups")["groups"]
    assert [(one["apart_hz"], one["within_hz"], one["hard"], one["areas"]) for one in rules] == [
        (6_000_000, None, True, "all"), (None, 8_000_000, False, "same"),
    ]  # fmt: skip
    answer(run, "chain", "whip", "--kind", "antenna", "--gain", "2.15", "--u", "1.5")
    answer(run, "chain", "lead", "--kind", "cable", "--gain", "-1.25", "--u", "0.3")
    answer(run, "chain", "pad", "--kind", "pad", "--gain", "-10", "--u", "0.2", "--before", "lead")
    (desk / "lead.csv").write_text("frequency_mhz,gain_db\n470,-1\n600,-2\n", encoding="utf-8")
    answer(run, "chain", "lead", "--gain", "lead.csv", "--rename", "long lead")
    found = answer(run, "chain")["chain"]
    assert [(one["part"], one["gain_db"], one["u_db"]) for one in found] == [
        ("whip", 2.15, 1.5), ("pad", -10, 0.2), ("long lead", None, 0.3),
    ]  # fmt: skip
    assert found[2]["curve"] == [
        {"frequency_hz": 470_000_000, "gain_db": -1.0}, {"frequency_hz": 600_000_000, "gain_db": -2.0},
    ]  # fmt: skip
    answer(run, "chain", "pad", "--before", "whip")
    assert [one["part"] for one in answer(run, "chain")["chain"]] == ["pad", "whip", "long lead"]
    assert [one["part"] for one in answer(run, "chain", "--drop", "pad")["chain"]] == ["whip", "long lead"]
    assert "a cable of +3 dB would amplify" in refused(run, "chain", "long lead", "--gain", "3")
