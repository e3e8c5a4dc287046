"""``fallow show export`` and ``import`` of a folder in which something is not as it was exported; killed programs.

Truth: what the test changed, and ``sha256sum`` of GNU coreutils, where it is.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cli.test_show import answer, made, write_sweeps
from cli.test_show import desk as desk  # a fixture

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def exported(run: Run, desk: Path) -> Path:
    """A folder that was exported."""
    made(run)
    answer(run, "add", "off.csv", "--level-unit", "dBm")
    answer(run, "export", "out")
    return desk / "out"


def refused(run: Run, *words: str) -> str:
    code, out, err = run("show", "import", "out", "again", *words)
    assert (code, out) == (2, "")
    assert sorted(Path().glob("*again*")) == []
    return err


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="needs sha256sum of GNU coreutils")
def test_the_sums_are_those_of_everybody(exported: Path) -> None:
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", "SHA256SUMS"], cwd=exported, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    files = [one for one in exported.rglob("*") if one.is_file()]
    assert done.stdout.count(": OK\n") == len(files) - 1


def test_an_edited_document_is_told_and_taken_only_on_purpose(run: Run, exported: Path) -> None:
    document = json.loads((exported / "show.json").read_text("utf-8"))
    for value in document["values"]:
        if value["key"] == "vox 2":
            value["value"]["priority"] = 1
    (exported / "show.json").write_text(json.dumps(document), encoding="utf-8")
    err = refused(run)
    assert "show.json is not as exported" in err
    assert "--changed" in err
    found = answer(run, "import", "out", "again", "--changed")
    assert found["notes"][0] == "show.json was changed after the export"
    assert found["notes"][1:] == ["link 'vox 2' was changed, priority: 3 -> 1"]
    assert priorities(run)["vox 2"] == 1
    assert answer(run, "check", "--show", "again.fallow")["whole"]
    assert answer(run, "undo", "--show", "again.fallow")["undone"][0]["what"] == "edited outside: 1 value"
    assert priorities(run)["vox 2"] == 3
    assert len(answer(run, "undo", "--steps", "99", "--show", "again.fallow")["undone"]) == len(document["changes"])
    assert priorities(run) == {}
    assert answer(run, "check", "--show", "again.fallow")["whole"]


def priorities(run: Run) -> dict[str, int]:
    return {one["link"]: one["priority"] for one in answer(run, "links", "--show", "again.fallow")["links"]}


def edited(exported: Path, edit: Callable[[Any], None]) -> None:
    document = json.loads((exported / "show.json").read_text("utf-8"))
    edit(document)
    (exported / "show.json").write_text(json.dumps(document), encoding="utf-8")


def test_all_that_was_edited_is_told_and_one_change(run: Run, exported: Path) -> None:
    def edit(document: Any) -> None:
        values = {(one["kind"], one["key"]): one for one in document["values"]}
        values["link", "vox 1"]["value"]["name"] = "lead"
        values["link", "vox 2"]["value"]["area"] = "yard"
        document["values"].remove(values["foreign", "guest"])
        survey = next(one for name, one in values.items() if name[0] == "survey")
        survey["value"]["series"] = [*survey["value"]["series"], 77]
        new = {**values["link", "vox 2"]["value"], "name": "vox 9"}
        document["values"].append({"kind": "link", "key": "vox 9", "value": new})

    edited(exported, edit)
    notes = answer(run, "import", "out", "again", "--changed")["notes"]
    assert "the survey 'off' names series that are not there: 77" in notes
    assert "the link 'vox 1' says that it is 'lead', and is called so now" in notes
    assert "foreign 'guest' was taken out" in notes
    assert "link 'vox 9' was added" in notes
    assert "link 'vox 2' was changed, area: stage -> yard" in notes
    assert [*priorities(run)] == ["lead", "vox 2", "ear 1", "vox 9"]
    assert answer(run, "check", "--show", "again.fallow")["whole"]
    answer(run, "undo", "--show", "again.fallow")
    assert [*priorities(run)] == ["vox 1", "vox 2", "ear 1"]


def test_an_edited_history_begins_anew(run: Run, exported: Path) -> None:
    def edit(document: Any) -> None:
        row = next(row for change in document["changes"] for row in change["rows"] if row["kind"] == "link")
        row["before"] = row["after"]

    answer(run, "mark", "as handed out")
    shutil.rmtree(exported)
    answer(run, "export", "out")
    edited(exported, edit)
    notes = answer(run, "import", "out", "again", "--changed")["notes"]
    assert "so the history begins anew, without marks" in notes
    assert answer(run, "check", "--show", "again.fallow")["whole"]
    changes = answer(run, "history", "--show", "again.fallow")
    assert (len(changes["changes"]), changes["marks"]) == (1, [])


def test_a_value_twice_or_none_is_refused(run: Run, exported: Path) -> None:
    edited(exported, lambda document: document["values"].append(document["values"][0]))
    assert "stands there twice" in refused(run, "--changed")
    edited(exported, lambda document: document["values"].pop())
    edited(exported, lambda document: document["values"][0].pop("value"))
    assert "this is no show as fallow exports it" in refused(run, "--changed")


def test_exchanged_sweeps_are_told(run: Run, exported: Path, desk: Path) -> None:
    write_sweeps(desk / "other.csv", 7)
    answer(run, "new", "other")
    answer(run, "add", "other.csv", "--level-unit", "dBm", "--show", "other.fallow")
    answer(run, "export", "out 2", "--show", "other.fallow")
    shutil.copy(desk / "out 2" / "sweeps" / "series-1.parquet", exported / "sweeps")
    assert "sweeps/series-1.parquet is not as exported" in refused(run)
    (exported / "sweeps" / "series-1.parquet").unlink()
    assert "sweeps/series-1.parquet is not as exported" in refused(run)


def test_an_edited_table_and_a_stranger_are_notes_for_they_are_not_read_back(run: Run, exported: Path) -> None:
    (exported / "tables" / "links.csv").write_text("link,equipment\n", encoding="utf-8")
    (exported / "letter.txt").write_text("invented", encoding="utf-8")
    notes = answer(run, "import", "out", "again")["notes"]
    assert [note.split(" ")[0] for note in notes] == ["tables/links.csv", "letter.txt"]


def test_a_folder_that_was_half_written_is_refused(run: Run, exported: Path) -> None:
    (exported / "SHA256SUMS").unlink()
    assert "the export is not whole: it has no SHA256SUMS" in refused(run)
    assert answer(run, "import", "out", "again", "--changed")["notes"][0].startswith("without SHA256SUMS")


def test_sums_that_are_none_are_told_with_their_line(run: Run, exported: Path) -> None:
    (exported / "SHA256SUMS").write_text("no sum\n", encoding="utf-8")
    assert "SHA256SUMS, line 1: this is no line of sums" in refused(run)


KILLED = """\
import os, signal, sys
from fallow.workflow.show import Desk
from fallow.workflow.show_exchange import export_show, import_show
def end(what, share):
    os.kill(os.getpid(), signal.SIGKILL)
if sys.argv[1] == "import":
    import_show("out", "again", Desk(), end)
else:
    export_show("again", Desk("gala.fallow"), end)
"""


@pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL there")
@pytest.mark.parametrize("what", ["import", "export"])
def test_what_a_killed_program_left_is_taken_away_by_the_next(
    run: Run, exported: Path, desk: Path, package: Path, what: str
) -> None:
    environment = {**os.environ, "PYTHONPATH": str(package.parent)}
    done = subprocess.run([sys.executable, "-c", KILLED, what], cwd=desk, env=environment, check=False)
    assert done.returncode == -signal.SIGKILL
    assert list(desk.glob(".again*"))
    words: list[Any] = ["import", "out", "again"] if what == "import" else ["export", "again", "--show", "gala.fallow"]
    answer(run, *words)
    assert list(desk.glob(".again*")) == []
    assert exported.is_dir()


@pytest.mark.parametrize(
    ("field", "said", "told"),
    [
        ("at", "yesterday", "was made at 'yesterday', which is no time"),
        ("after", {"name": "q"}, "can't be understood"),
    ],
)
def test_times_and_values_of_the_past_that_are_none_are_no_history(
    run: Run, exported: Path, field: str, said: object, told: str
) -> None:
    def edit(document: Any) -> None:
        change = next(one for one in document["changes"] if any(row["kind"] == "setting" for row in one["rows"]))
        row = next(row for row in change["rows"] if row["kind"] == "setting" and row["key"] == "region")
        for holder in (change, row):
            if field in holder:
                holder[field] = said

    edited(exported, edit)
    notes = answer(run, "import", "out", "again", "--changed")["notes"]
    assert any(told in note for note in notes)
    assert "so the history begins anew, without marks" in notes
    assert answer(run, "check", "--show", "again.fallow")["whole"]
    assert run("show", "history", "--show", "again.fallow")[0] == 0
    answer(run, "undo", "--show", "again.fallow")
    assert answer(run, "check", "--show", "again.fallow")["whole"]


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("UPDATE change SET at = '20:6-11-26T02:00:00+00:00' WHERE id = 1", "change 1 was made at '20:6-11-26T02"),
        ("UPDATE change_row SET after = '{\"name\":7}' WHERE kind = 'link' AND id = (SELECT min(id) FROM change_row"
         " WHERE kind = 'link')", "name: 7 is no text"),
    ],
)  # fmt: skip
def test_a_damaged_past_is_told(run: Run, exported: Path, line: str, told: str) -> None:
    answer(run, "import", "out", "again")
    connection = sqlite3.connect("again.fallow")
    connection.execute(line)
    connection.commit()
    connection.close()
    found = answer(run, "check", "--show", "again.fallow", code=1)
    assert any(told in damage for damage in found["damage"])
    code, out, _ = run("show", "history", "--show", "again.fallow")
    assert code == 0
    assert exported.is_dir()
    assert "20:6-11-26T02" in out or "name" in told


def test_what_names_something_by_its_old_name_is_told(run: Run, exported: Path) -> None:
    def edit(document: Any) -> None:
        radio = next(one for one in document["values"] if one["kind"] == "equipment")
        radio["value"]["name"] = "other pack"

    edited(exported, edit)
    notes = answer(run, "import", "out", "again", "--changed")["notes"]
    assert any(note.startswith("the equipment ") and "is not in the show yet" in note for note in notes)


def test_a_wrong_cell_is_named_with_its_field(run: Run, exported: Path) -> None:
    def edit(document: Any) -> None:
        next(one for one in document["values"] if one["kind"] == "link")["value"]["priority"] = "high"

    edited(exported, edit)
    err = refused(run, "--changed")
    assert "priority: 'high' is no whole number" in err
    assert "mend it in show.json" in err
    assert "--rescue" not in err


def test_a_survey_gets_another_name_area_and_purpose(run: Run, exported: Path) -> None:
    answer(run, "note", "windy", "--about", "off")
    before = answer(run, "survey")
    found = answer(run, "survey", "off", "--rename", "load-in", "--area", "stage")["surveys"]
    assert [(one["survey"], one["area"], one["sweeps"]) for one in found] == [("load-in", "stage", 8)]
    assert answer(run, "list")["notes_written"][0]["about"] == "load-in"
    assert run("show", "survey", "load-in", "--reference", "yes")[0] == 2
    assert "the show has an area 'stage'" in run("show", "survey", "load-in", "--area", "Stage")[2]
    found = answer(run, "survey", "load-in", "--reference", "yes", "--area", "none")["surveys"]
    assert [(one["area"], one["is_reference"]) for one in found] == [(None, True)]
    assert "there is no survey 'off'" in run("show", "survey", "off")[2]
    assert "there is no survey 'off'" in run("show", "survey", "off", "--area", "x")[2]
    assert "which survey is meant" in run("show", "survey", "--area", "x")[2]
    answer(run, "undo", "--steps", "2")
    assert answer(run, "survey") == before
    assert answer(run, "check")["whole"]
    assert exported.is_dir()
