"""``fallow show`` as it is typed: one production in one file, from the first table to the export and back.

Truth: the tables and sweeps that the tests write; the contract of the commands (docs/commands.md).
"""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fallow.files.tables import (
    read_areas,
    read_chain,
    read_equipment,
    read_foreign,
    read_links,
    read_plan,
    read_stations,
)

Run = Callable[..., tuple[int, str, str]]
EQUIPMENT = (
    "equipment,kind,tuning_mhz,step_khz,presets_mhz,bandwidth_khz,power_mw,power_kind,spacing_khz,im3_khz,"
    "im3_three_khz,im5_khz,body_db,selectivity_db\n"
    "pack,microphone,470-478;480-482.5,25,,200,10,erp,350,100,50,,12,100:20;200:40\n"
    "ear,in-ear,,25,479.125;479.625,200,,,300,,,,,\n"
)
LINKS = (
    "link,equipment,area,scenes,priority,frequency_mhz,fixed,planned,rack\n"
    "vox 1,pack,stage,act 1;act 2,1,470.125,yes,yes,A1\nvox 2,pack,stage,,3,,no,yes,\near 1,ear,,,2,,no,yes,B\n"
)
AREAS = "area,other,loss_db\nstage,foyer,apart\nstage,yard,17.5\n"
FOREIGN = "name,frequency_mhz,bandwidth_khz,area,spacing_khz,products,protect\nguest,471.3,200,,400,yes,no\n"
STATIONS = "channel,area,source\n23,,invented list\n"
CHAIN = "part,kind,gain_db,u_db,vswr\nwhip,antenna,2.15,1.5,2\nlead,cable,-1.25,0.3,\n"
TABLES = {
    "links": LINKS,
    "equipment": EQUIPMENT,
    "areas": AREAS,
    "foreign": FOREIGN,
    "stations": STATIONS,
    "chain": CHAIN,
}


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of tables and sweeps in which everything is typed."""
    monkeypatch.chdir(tmp_path)
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    for number, name in enumerate(("off", "on")):
        write_sweeps(tmp_path / f"{name}.csv", number)
    return tmp_path


def write_sweeps(path: Path, seed: int) -> None:
    """Eight invented sweeps of noise in tenths of a decibel."""
    noise = np.random.default_rng(seed).normal(-112, 1.5, (8, 600))
    header = "time," + ",".join(str(468_000_000 + 25_000 * n) for n in range(600))
    rows = [f"2026-07-18T{10 + seed}:00:{n:02d}Z," + ",".join(f"{v:.1f}" for v in row) for n, row in enumerate(noise)]
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")


def answer(run: Run, *words: object, code: int = 0) -> dict[str, Any]:
    """The JSON answer of a verb."""
    got, out, err = run("show", *words, "--json")
    assert got == code, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


def made(run: Run) -> None:
    """A show with all its tables."""
    answer(run, "new", "gala", "site=Invented Hall", "name=Invented gala", "region=de")
    answer(run, "add", *(word for name in TABLES for word in (f"--{name}", f"{name}.csv")), "--why", "the first list")


def test_a_new_show_has_a_name_and_says_what_is_in_it(run: Run, desk: Path) -> None:
    assert answer(run, "new", "gala", "site=Invented Hall", "region=DE") == {"show": "gala.fallow"}
    found = answer(run, "list")
    assert found["settings"] == {"site": "Invented Hall", "region": "de"}
    assert found["counts"]["links"] == 0
    code, out, err = run("show", "new", "gala")
    assert (code, out) == (2, "")
    assert err.startswith("fallow: gala.fallow: there is a file of this name already")
    assert sorted(one.name for one in desk.glob("*.fallow*")) == ["gala.fallow"]


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("colour=red", "no setting"),
        ("region", "no setting"),
        ("on=tomorrow", "not a date"),
        ("limit=low", "no"),
        ("licence=q", "no licence of Germany is called 'q'"),
        ("limit=500", "a limit of 500 dBm is out of range"),
        ("limit-above-floor=0", "must be more than 0 dB"),
        ("link-width=0", "must be more than nothing"),
        ("confidence=101", "a confidence of 101 % is out of range"),
    ],
)
def test_settings_that_are_none_are_refused(run: Run, desk: Path, word: str, said: str) -> None:
    code, out, err = run("show", "new", "gala", "region=de", word)
    assert (code, out) == (2, "")
    assert said in err
    assert not list(desk.glob("*.fallow"))
    answer(run, "new", "gala", "region=de", "confidence=90")
    code, out, err = run("show", "set", word)
    assert (code, out) == (2, "")
    assert said in err
    assert answer(run, "set")["settings"] == {"region": "de", "confidence_pct": 90.0}


@pytest.mark.usefixtures("desk")
def test_a_licence_of_another_country_is_told_when_the_region_changes(run: Run) -> None:
    answer(run, "new", "gala", "region=us", "licence=part74")
    code, _, err = run("show", "set", "region=gb")
    assert code == 2
    assert "is called 'part74'" in err
    assert answer(run, "set", "region=gb", "licence=")["settings"] == {"region": "gb"}


def test_nothing_that_was_written_steers_the_terminal(run: Run, desk: Path) -> None:
    assert desk.is_dir()
    answer(run, "new", "gala")
    text = "red \x1b[31m bell \x07 eight-bit \x9b31m turned \u202e end"
    answer(run, "note", text, "--about", "x\x1b]0;title\x07")
    for words in (("list",), ("history",)):
        _, out, _ = run("show", *words)
        assert "\N{SYMBOL FOR ESCAPE}[31m" in out
        assert not [sign for sign in out if sign in "\x1b\x07\x9b\u202e"]
    assert answer(run, "list")["notes_written"][0]["text"] == text
    _, _, err = run("show", "mark", "")
    assert "a mark needs a name" in err
    _, _, err = run("show", "note", " ")
    assert "there is nothing to write down" in err


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize("words", [("links", "", "--equipment", "pack"), ("areas", "", "stage", "--apart")])
def test_a_thing_without_a_name_is_refused(run: Run, words: tuple[str, ...]) -> None:
    made(run)
    code, _, err = run("show", *words)
    assert code == 2
    assert "needs a name" in err


def test_settings_are_changed_and_taken_out(run: Run, desk: Path) -> None:
    answer(run, "new", "gala", "site=Invented Hall")
    assert answer(run, "set", "limit=-85", "link-width=150k")["settings"]["limit_dbm"] == -85.0
    assert answer(run, "set", "site=")["settings"] == {"limit_dbm": -85.0, "link_width_hz": 150_000}
    assert answer(run, "set")["settings"] == {"limit_dbm": -85.0, "link_width_hz": 150_000}
    assert desk.is_dir()


def test_without_a_show_or_with_several_it_asks(run: Run, desk: Path) -> None:
    code, _, err = run("show", "list")
    assert code == 2
    assert "there is no show file in this folder" in err
    for name in ("a", "b"):
        answer(run, "new", name)
    code, out, err = run("show", "list", "--json")
    assert (code, out) == (2, "")
    assert "there are several show files in this folder\n  a.fallow\n  b.fallow\nhint: " in err
    assert answer(run, "list", "--show", desk / "b.fallow")["show"].endswith("b.fallow")


def test_files_are_told_apart_by_their_content(run: Run, desk: Path) -> None:
    answer(run, "new", "gala", "region=de")
    files = [f"{name}.csv" for name in TABLES]
    found = answer(run, "add", *files, "off.csv", "on.csv", "--level-unit", "dBm", "--survey", "load-in")
    assert [(one["what"], one["added"]) for one in found["tables"]] == [
        ("equipment", 2), ("links", 3), ("pairs of areas", 2), ("foreign carriers", 1), ("stations", 1),
        ("parts of the chain", 2),
    ]  # fmt: skip
    assert (found["survey"]["survey"], found["survey"]["sweeps"]) == ("load-in", 16)
    assert "links.csv is taken as a table of links" in found["notes"]
    (desk / "plan.csv").write_text("link,equipment,frequency_mhz\nvox 1,pack,470.125\n", encoding="utf-8")
    code, out, err = run("show", "add", "plan.csv")
    assert (code, out) == (2, "")
    assert "this may be one table or another\n  links\n  plan\nhint: say which: --links plan.csv" in err
    (desk / "more.csv").write_text(LINKS, encoding="utf-8")
    code, _, err = run("show", "add", "more.csv", "--links", "links.csv")
    assert code == 2
    assert "there are two tables of one kind (links): links.csv and this" in err
    code, _, err = run("show", "add", "more.csv", "--survey", "load-in")
    assert code == 2
    assert "a survey needs sweep files" in err


@pytest.mark.parametrize(("links", "sweeps"), [(LINKS, "no sweeps\n"), ("link,equipment,priority\nvox 1,pack,7\n", "")])
def test_where_sweeps_or_a_table_can_not_be_read_nothing_is_stored(
    run: Run, desk: Path, links: str, sweeps: str
) -> None:
    answer(run, "new", "gala")
    (desk / "links.csv").write_text(links, encoding="utf-8")
    if sweeps:
        (desk / "off.csv").write_text(sweeps, encoding="utf-8")
    code, _, err = run("show", "add", "links.csv", "off.csv", "--level-unit", "dBm")
    assert code == 2
    assert ("off.csv" if sweeps else "line 2, column priority") in err
    assert answer(run, "history")["changes"] == []


def test_the_plain_commands_take_a_show_too(run: Run, desk: Path) -> None:
    made(run)
    answer(run, "add", "off.csv", "--level-unit", "dBm")
    answer(run, "add", "--plan", "links.csv", "--plan-name", "by hand")
    for words in (("air",), ("audit",), ("compare", "1", "now")):
        plain = run(words[0], *words[1:], "--show", "gala.fallow", "--json")
        assert plain == run("show", *words, "--show=gala.fallow", "--json")
        assert plain[1]
    code, out, err = run("air", "off.csv", "--show=gala.fallow")
    assert (code, out) == (2, "")
    assert "unrecognized arguments: off.csv" in err
    assert run("read", "off.csv", "--show", "gala.fallow")[0] == 2
    assert desk.is_dir()


def test_tables_come_in_once_and_changes_are_counted(run: Run, desk: Path) -> None:
    made(run)
    found = answer(run, "links")["links"]
    assert [(one["link"], one["frequency_hz"], one["fixed"]) for one in found] == [
        ("vox 1", 470_125_000, True),
        ("vox 2", None, False),
        ("ear 1", None, False),
    ]
    (desk / "links.csv").write_text(LINKS.replace("vox 2,pack,stage", "vox 3,pack,foyer"), encoding="utf-8")
    added = answer(run, "add", "--links", "links.csv")["tables"]
    assert added == [{"what": "links", "added": 1, "changed": 0, "removed": 0, "same": 2}]
    added = answer(run, "add", "--links", "links.csv", "--replace")["tables"]
    assert added == [{"what": "links", "added": 0, "changed": 0, "removed": 1, "same": 3}]
    assert [one["link"] for one in answer(run, "links")["links"]] == ["vox 1", "ear 1", "vox 3"]


def test_a_table_that_can_not_be_read_changes_nothing(run: Run, desk: Path) -> None:
    made(run)
    (desk / "links.csv").write_text("link,equipment,priority\nvox 9,pack,7\n", encoding="utf-8")
    code, out, err = run("show", "add", "--links", "links.csv", "--areas", "areas.csv", "--json")
    assert (code, out) == (2, "")
    assert "links.csv, line 2, column priority" in err
    assert len(answer(run, "history")["changes"]) == 2


def test_links_are_changed_without_a_table(run: Run, desk: Path) -> None:
    made(run)
    changed = answer(
        run, "links", "vox 2", "--area", "foyer", "--scenes", "talk; act 1", "--frequency", "471M", "--fixed"
    )
    assert changed["links"] == [
        {
            "link": "vox 2",
            "equipment": "pack",
            "area": "foyer",
            "scenes": ["act 1", "talk"],
            "groups": [],
            "priority": 3,
            "frequency_hz": 471_000_000,
            "fixed": True,
            "planned": True,
            "return_hz": None,
            "move_weight": 1,
            "more": {},
        }
    ]
    changed = answer(run, "links", "vox 2", "--free", "--frequency", "0", "--scenes", "")["links"][0]
    assert (changed["fixed"], changed["frequency_hz"], changed["scenes"]) == (False, None, [])
    answer(run, "links", "vox 9", "--equipment", "pack")
    answer(run, "links", "--drop", "vox 9", "vox 2")
    assert [one["link"] for one in answer(run, "links")["links"]] == ["vox 1", "ear 1"]
    assert desk.is_dir()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("links", "vox 9"), "there is no link 'vox 9'"),
        (("links", "vox 2", "--fixed"), "'vox 2' is fixed but has no frequency"),
        (("links", "vox 2", "--priority", "9"), "the priority '9' is none of 1 to 5"),
        (("links", "vox 2", "--equipment", "horn"), "the equipment 'horn' is not in the show"),
        (("links", "spare 1", "--equipment", "pack"), "is no name for a link"),
        (("links", "--area", "stage"), "which one is meant"),
        (("links", "--drop", "vox 9"), "there is no link 'vox 9'"),
        (("equipment", "--drop", "pack"), "the link 'vox 1' is made of 'pack'"),
        (("areas", "stage"), "two areas and what they lose belong together"),
        (("areas", "stage", "stage", "--apart"), "an area always hears itself"),
        (("areas", "stage", "yard", "--loss", "-3"), "the loss -3 is negative"),
        (("survey", "--drop", "x"), "there is no survey 'x'"),
        (("plans", "x"), "there is no plan 'x'"),
        (("audit",), "the show has no plan in force"),
        (("air",), "the show has no survey of the air"),
        (("add",), "nothing to add was named"),
        (("add", "--survey", "x", "--links", "links.csv"), "a survey needs sweep files"),
        (("compare", "then", "now"), "'then' is nothing that can be compared"),
        (("mark", "7"), "'7' is no name for a mark"),
        (("plan", "--keep", "x"), "there is no plan 'x'"),
    ],
)
def test_what_can_not_be_is_a_sentence(run: Run, desk: Path, words: tuple[str, ...], said: str) -> None:
    made(run)
    code, out, err = run("show", *words, "--json")
    assert (code, out) == (2, "")
    assert err.startswith("fallow: ")
    assert said in err
    assert "Traceback" not in err
    assert len(answer(run, "history")["changes"]) == 2
    assert desk.is_dir()


def test_areas_are_said_by_hand(run: Run, desk: Path) -> None:
    made(run)
    answer(run, "areas", "foyer", "yard", "--loss", "9.5")
    answer(run, "areas", "yard", "stage", "--apart")
    found = answer(run, "areas", "foyer", "stage", "--full")["areas"]
    assert found == [
        {"area": "foyer", "other": "yard", "loss_db": 9.5},
        {"area": "stage", "other": "yard", "loss_db": None},
    ]
    assert desk.is_dir()


# --- sweeps


def test_sweeps_come_in_as_a_survey_and_only_once(run: Run, desk: Path) -> None:
    made(run)
    survey = answer(run, "add", "off.csv", "--survey", "wall off", "--area", "stage", "--level-unit", "dBm")["survey"]
    assert (survey["survey"], survey["area"], survey["sweeps"], survey["points"]) == ("wall off", "stage", 8, 600)
    assert (survey["low_hz"], survey["high_hz"]) == (468_000_000, 482_975_000)
    assert (survey["start"], survey["end"]) == ("2026-07-18T10:00:00+00:00", "2026-07-18T10:00:07+00:00")
    (desk / "copy.csv").write_bytes((desk / "off.csv").read_bytes())
    code, out, err = run("show", "add", "copy.csv", "--json")
    assert (code, out) == (2, "")
    assert "copy.csv is in the survey 'wall off' already, byte for byte" in err
    grown = answer(run, "add", "on.csv", "--survey", "wall off", "--level-unit", "dBm")["survey"]
    assert (grown["sweeps"], [file["name"] for file in grown["files"]]) == (16, ["off.csv", "on.csv"])
    code, _, err = run("show", "add", "copy.csv", "--survey", "wall off", "--area", "foyer", "--again")
    assert code == 2
    assert "the survey 'wall off' is of the area 'stage'" in err
    answer(run, "survey", "--drop", "wall off")
    assert answer(run, "survey")["surveys"] == []
    answer(run, "undo")
    assert answer(run, "survey")["surveys"][0]["sweeps"] == 16


def test_the_air_of_the_show_is_that_of_its_files(run: Run, desk: Path) -> None:
    made(run)
    for name in ("off", "on"):
        answer(run, "add", f"{name}.csv", "--level-unit", "dBm", "--rbw", "25k")
    how = (
        "--level-unit",
        "dBm",
        "--rbw",
        "25k",
        "--region",
        "de",
        "--stations",
        "stations.csv",
        "--chain",
        "chain.csv",
    )
    code, out, _ = run("air", "off.csv", "on.csv", *how, "--json")
    assert code == 0
    from_files, from_show = json.loads(out), answer(run, "air")
    for part in ("slices", "emitters", "basis", "sweeps", "budget"):
        assert from_show[part] == from_files[part], part
    assert answer(run, "air", "--survey", "on")["sweeps"] == 8
    assert desk.is_dir()


def test_one_unreadable_file_of_several_is_bad_news(run: Run, desk: Path) -> None:
    made(run)
    (desk / "broken.csv").write_bytes(b"\x00\x01\x02 no sweep \xff\xfe")
    found = answer(run, "add", "off.csv", "broken.csv", "--level-unit", "dBm", code=1)
    assert found["survey"]["sweeps"] == 8
    assert len(found["refused"]) == 1


# --- plans and the history


def test_a_plan_is_stored_compared_and_audited(run: Run, desk: Path) -> None:
    made(run)
    first = answer(run, "plan", "--seconds", "0.2")
    assert first["plan"] == "plan 1"
    assert all(one["frequency_hz"] for one in first["links"])
    plan = answer(run, "plans", "plan 1")
    assert plan["in_force"]
    assert {row["link"]: row["frequency_hz"] for row in plan["rows"] if not row["link"].startswith("spare")} == {
        one["link"]: one["frequency_hz"] for one in first["links"]
    }
    assert answer(run, "audit")["conflicts"] == []
    (desk / "theirs.csv").write_text("link,equipment,frequency_mhz\nvox 1,pack,470.125\nvox 2,pack,470.2\n", "utf-8")
    answer(run, "add", "--plan", "theirs.csv", "--plan-name", "by hand")
    judged = answer(run, "audit", code=1)
    assert (judged["plan"], judged["conflicts"][0]["kind"]) == ("by hand", "spacing")
    moved = answer(run, "compare", "plan 1", "by hand")["moved"]
    assert {one["link"] for one in moved} == {"vox 2"}
    kept = answer(run, "plan", "--keep", "plan 1", "--seconds", "0.2", "--name", "evening")
    assert (kept["plan"], kept["moved"]) == ("evening", [])
    answer(run, "plans", "--drop", "evening", "by hand")
    assert [one["plan"] for one in answer(run, "plans")["plans"]] == ["plan 1"]


def test_marks_undo_and_days_side_by_side(run: Run, desk: Path) -> None:
    made(run)
    answer(run, "plan", "--seconds", "0.1")
    assert answer(run, "mark", "as handed out")["change"] == 3
    answer(run, "links", "vox 2", "--priority", "1", "--why", "it is the star's", "--who", "Robin")
    found = answer(run, "compare", "as handed out", "now")
    changed = [one for one in found["values"] if one["kind"] == "link"]
    assert [(one["key"], one["before"]["priority"], one["after"]["priority"]) for one in changed] == [("vox 2", 3, 1)]
    assert found["moved"] == []
    assert answer(run, "compare", "2020-01-01", "now")["values"]
    assert answer(run, "undo")["undone"][0]["who"] == "Robin"
    history = answer(run, "history")["changes"]
    assert [(one["number"], one["nature"], one["undone"]) for one in history][-3:] == [
        (4, "fact", False),
        (5, "edit", True),
        (6, "undo", False),
    ]
    assert answer(run, "redo", "--steps", "5")["redone"][0]["why"] == "it is the star's"
    assert answer(run, "redo")["redone"] == []
    answer(run, "note", "antenna moved to the left", "--about", "stage")
    assert answer(run, "list")["notes_written"][0]["text"] == "antenna moved to the left"
    assert desk.is_dir()


# --- out and back


def test_an_export_is_read_by_everybody_and_gives_an_equal_show(run: Run, desk: Path) -> None:
    made(run)
    answer(run, "add", "off.csv", "--level-unit", "dBm", "--rbw", "25k")
    answer(run, "plan", "--seconds", "0.1")
    answer(run, "undo")
    answer(run, "redo")
    answer(run, "mark", "as handed out")
    files = {Path(file).relative_to("out").as_posix() for file in answer(run, "export", "out")["files"]}
    tables = {f"tables/{name}.csv" for name in TABLES}
    assert files == {"show.json", "SHA256SUMS", "sweeps/series-1.parquet", "tables/01-plan-1.csv", *tables}
    assert read_links("out/tables/links.csv") == read_links("links.csv")
    assert [one.extra for one in read_links("out/tables/links.csv")] == [one.extra for one in read_links("links.csv")]
    assert read_equipment("out/tables/equipment.csv") == read_equipment("equipment.csv")
    assert read_areas("out/tables/areas.csv") == read_areas("areas.csv")
    assert read_foreign("out/tables/foreign.csv") == read_foreign("foreign.csv")
    assert read_stations("out/tables/stations.csv") == read_stations("stations.csv")
    assert read_chain("out/tables/chain.csv") == read_chain("chain.csv")
    assert len(read_plan("out/tables/01-plan-1.csv")) >= 3
    assert answer(run, "import", "out", "again") == {"show": "again.fallow", "notes": []}
    answer(run, "export", "out 2", "--show", "again.fallow")
    assert json.loads(Path("out 2/show.json").read_text("utf-8")) == json.loads(
        Path("out/show.json").read_text("utf-8")
    )
    assert answer(run, "check", "--show", "again.fallow")["whole"]
    left, right = (answer(run, "air", "--show", f"{name}.fallow") for name in ("gala", "again"))
    assert left == right
    code, _, err = run("show", "export", "out", "--show", "gala.fallow")
    assert code == 2
    assert "there is something of this name already" in err
    assert sorted(one.name for one in desk.iterdir() if one.name.startswith(".")) == []


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("{}", "this is no show as fallow exports it"),
        ("[]", "this is no show as fallow exports it"),
        ("no JSON", "this is no JSON"),
        ('{"format": "fallow show", "version": 999}', "a newer fallow exported this show"),
        (
            '{"format": "fallow show", "version": 1, "values": [{"kind": "link"}]}',
            "this is no show as fallow exports it",
        ),
        ('{"format": "fallow show", "version": 1, "values": 7, "changes": []}', "this is no show as fallow exports it"),
    ],
)
def test_what_is_no_export_is_refused_and_leaves_nothing(run: Run, desk: Path, content: str, said: str) -> None:
    (desk / "out").mkdir()
    (desk / "out" / "show.json").write_text(content, encoding="utf-8")
    before = sorted(desk.iterdir())
    code, out, err = run("show", "import", "out", "again", "--changed", "--json")
    assert (code, out) == (2, "")
    assert said in err
    assert sorted(desk.iterdir()) == before


def test_stations_need_a_region(run: Run, desk: Path) -> None:
    made(run)
    answer(run, "set", "region=")
    code, out, err = run("show", "plan", "--json")
    assert (code, out) == (2, "")
    assert err.endswith("without a region\nhint: say where: fallow show set region=de\n")
    assert desk.is_dir()


def test_damage_is_bad_news_and_can_be_rescued(run: Run, desk: Path) -> None:
    made(run)
    answer(run, "add", "off.csv", "--level-unit", "dBm")
    with closing(sqlite3.connect("gala.fallow")) as plain, plain:
        plain.execute("UPDATE tile SET levels = x'00'")
    found = answer(run, "check", "--rescue", "left.fallow", code=1)
    assert not found["whole"]
    assert found["damage"]
    assert found["rescued"]["lost"]
    assert answer(run, "check", "--show", "left.fallow")["whole"]
    assert answer(run, "copy", "stick.fallow", "--show", "left.fallow") == {"copy": "stick.fallow"}
    assert desk.is_dir()


def test_a_writer_elsewhere_is_named_and_released(run: Run, desk: Path) -> None:
    made(run)
    with closing(sqlite3.connect("gala.fallow")) as plain, plain:
        plain.execute("INSERT INTO writer VALUES (1, 'Robin', '2026-07-18T18:00:00+00:00', 'the van', 1, '')")
    code, out, err = run("show", "undo", "--json")
    assert (code, out) == (2, "")
    assert "Robin (since 2026-07-18" in err
    code, _, err = run("show", "list")
    assert code == 0
    assert "note: Robin" in err
    assert "Robin" in answer(run, "check", "--release")["released"]
    answer(run, "undo")
    assert desk.is_dir()


def test_every_screen_fits_in_eighty_columns(desk: Path, package: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(package.parent), "COLUMNS": "80"}

    def typed(*words: str) -> str:
        command = [sys.executable, "-m", "fallow", "show", *words]
        ended = subprocess.run(command, env=environment, capture_output=True, encoding="utf-8", check=True)
        return ended.stdout

    typed("new", "gala", "name=An invented gala with quite a long name", "region=de")
    typed(
        "add",
        *(word for name in TABLES for word in (f"--{name}", f"{name}.csv")),
        "--why",
        "a reason of many words " * 4,
    )
    typed("add", "off.csv", "--level-unit", "dBm", "--survey", "a survey with quite a long name")
    typed("links", "a link with a name that is far too long for a table", "--equipment", "pack")
    typed("mark", "as handed out to everybody on the wall and by mail")
    for words in (
        ["list"],
        ["links"],
        ["equipment"],
        ["areas"],
        ["survey"],
        ["history"],
        ["compare", "2", "now"],
        ["check"],
    ):
        for line in typed(*words).splitlines():
            assert len(line) <= 80, line
    assert desk.is_dir()


def test_bytes_that_are_no_letters_are_refused_before_they_go_in(run: Run, desk: Path) -> None:
    made(run)
    for words in (("note", "\udcff"), ("links", "vox \udcff", "--equipment", "pack"), ("mark", "m", "--why", "\udcff")):
        code, out, err = run("show", *words, "--json")
        assert (code, out) == (2, "")
        assert "holds bytes that are no letters" in err
    assert len(answer(run, "history")["changes"]) == 2
    assert desk.is_dir()
