"""``fallow show compare OTHER`` and ``merge OTHER`` as they are typed. Truth: what was typed into each copy."""

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
EQUIPMENT = "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz\npack,microphone,470-478,25,200,350\n"
LINKS = "link,equipment,area\n" + "".join(f"vox {n},pack,stage\n" for n in range(1, 4))


def answer(run: Run, *words: object, code: int = 0) -> dict[str, Any]:
    """The JSON answer of a verb."""
    got, out, err = run("show", *words, "--json")
    assert got == code, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


@pytest.fixture
def copies(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """``gala.fallow`` and a copy ``other.fallow``, which went different ways."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "equipment.csv").write_text(EQUIPMENT, encoding="utf-8")
    (tmp_path / "links.csv").write_text(LINKS, encoding="utf-8")
    answer(run, "new", "gala", "region=de")
    answer(run, "add", "--links", "links.csv", "--equipment", "equipment.csv")
    answer(run, "copy", "other.fallow")
    for show, words in (
        ("gala", ("links", "vox 1", "--area", "foyer")),
        ("gala", ("links", "vox 2", "--priority", "1")),
        ("other", ("links", "vox 1", "--frequency", "471.2M")),
        ("other", ("links", "vox 4", "--equipment", "pack")),
        ("other", ("note", "an invented note")),
    ):
        answer(run, *words, "--show", f"{show}.fallow")
    return tmp_path


def sides(found: dict[str, Any]) -> dict[str, str]:
    return {one["name"]: one["side"] for one in found["differences"] if one["kind"] != "note"}


def test_copies_are_compared_link_by_link(run: Run, copies: Path) -> None:
    found = answer(run, "compare", "other.fallow", "--show", "gala.fallow")
    assert sides(found) == {"link vox 1": "both", "link vox 2": "here", "link vox 4": "there"}
    assert found["changes_in_common"] == 2
    assert found["conflicts"] == ["link vox 1"]
    (value,) = next(one for one in found["differences"] if one["name"] == "link vox 1")["values"]
    assert [value[name]["area"] for name in ("common", "here", "there")] == ["stage", "foyer", "stage"]
    assert [value[name]["frequency_hz"] for name in ("common", "here", "there")] == [None, None, 471_200_000]
    assert copies.is_dir()


def test_what_both_changed_differently_is_listed_and_refused_until_it_is_decided(run: Run, copies: Path) -> None:
    before = answer(run, "history", "--show", copies / "gala.fallow")
    code, out, err = run("show", "merge", "other.fallow", "--show", "gala.fallow", "--json")
    assert (code, out) == (2, "")
    assert "1 thing was changed in both copies, differently; nothing was merged\n  link vox 1\n" in err
    assert "--take 'link vox 1=theirs'" in err
    assert answer(run, "history", "--show", "gala.fallow") == before


@pytest.mark.parametrize(
    ("words", "area", "frequency_hz"),
    [
        (("--ours",), "foyer", None),
        (("--theirs",), "stage", 471_200_000),
        (("--take", "vox 1=theirs"), "stage", 471_200_000),
        (("--theirs", "--take", "link vox 1=ours"), "foyer", None),
    ],
)
def test_it_is_decided_for_all_or_link_by_link(
    run: Run, copies: Path, words: tuple[str, ...], area: str, frequency_hz: int | None
) -> None:
    found = answer(run, "merge", "other.fallow", "--show", "gala.fallow", *words, "--why", "two laptops")
    assert "link vox 4" in found["taken"]
    assert found["kept"] == (["link vox 1"] if area == "foyer" else [])
    links = {one["link"]: one for one in answer(run, "links", "--show", "gala.fallow")["links"]}
    assert list(links) == ["vox 1", "vox 2", "vox 3", "vox 4"]
    assert (links["vox 1"]["area"], links["vox 1"]["frequency_hz"]) == (area, frequency_hz)
    assert links["vox 2"]["priority"] == 1
    last = answer(run, "history", "--show", "gala.fallow")["changes"][-1]
    assert (last["number"], last["why"]) == (found["change"], "two laptops")
    assert last["what"].startswith("merged with other.fallow: ")
    assert answer(run, "merge", "other.fallow", "--show", "gala.fallow")["change"] is None
    answer(run, "undo", "--show", copies / "gala.fallow")
    assert len(answer(run, "links", "--show", "gala.fallow")["links"]) == 3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("other.fallow", "--take", "vox 9=ours"), "nothing called 'vox 9' differs"),
        (("other.fallow", "--take", "vox 1=mine"), "'vox 1=mine' is no choice"),
        (("gala.fallow",), "this is the show itself"),
        (("nowhere.fallow",), "the file can't be opened"),
        (("links.csv",), "this is no show file"),
    ],
)
def test_what_can_not_be_is_a_sentence(run: Run, copies: Path, words: tuple[str, ...], said: str) -> None:
    before = answer(run, "history", "--show", copies / "gala.fallow")
    code, out, err = run("show", "merge", *words, "--show", "gala.fallow")
    assert (code, out) == (2, "")
    assert said in err
    assert answer(run, "history", "--show", "gala.fallow") == before


def test_strangers_are_refused_unless_she_insists(run: Run, copies: Path) -> None:
    answer(run, "new", "third", "region=de", "site=Invented Hall")
    code, _, err = run("show", "merge", "third.fallow", "--show", "gala.fallow")
    assert code == 2
    assert "no copies of one show" in err
    assert answer(run, "merge", "third.fallow", "--show", "gala.fallow", "--unrelated")["taken"] == ["setting site"]
    assert copies.is_dir()


def test_what_no_longer_fits_together_is_said(run: Run, copies: Path) -> None:
    answer(run, "links", "--drop", "vox 1", "vox 2", "vox 3", "--show", "gala.fallow")
    answer(run, "equipment", "--drop", "pack", "--show", "gala.fallow")
    found = answer(run, "merge", "other.fallow", "--ours", "--show", "gala.fallow")
    assert "the equipment 'pack' of 1 link is not in the show yet" in found["notes"]
    assert copies.is_dir()


def test_the_screens_fit_in_eighty_columns(copies: Path, package: Path) -> None:
    environment = {**os.environ, "COLUMNS": "80", "PYTHONPATH": str(package.parent)}
    for words in (("compare", "other.fallow"), ("merge", "other.fallow", "--theirs"), ("merge", "other.fallow")):
        command = [sys.executable, "-m", "fallow", "show", *words, "--show", "gala.fallow"]
        done = subprocess.run(command, cwd=copies, env=environment, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        assert max(map(len, done.stdout.splitlines())) <= 80
        assert "vox 4" in done.stdout or "nothing new" in done.stdout


def test_who_took_over_a_value_is_not_asked_when_it_moves_on(run: Run, copies: Path) -> None:
    assert copies.is_dir()
    for show, priority in (("gala", "2"), ("other", "4")):
        answer(run, "links", "vox 3", "--priority", priority, "--show", f"{show}.fallow")
    answer(run, "merge", "gala.fallow", "--theirs", "--show", "other.fallow")
    answer(run, "links", "vox 3", "--priority", "5", "--show", "gala.fallow")
    answer(run, "merge", "gala.fallow", "--show", "other.fallow")
    found = {one["link"]: one["priority"] for one in answer(run, "links", "--show", "other.fallow")["links"]}
    assert found["vox 3"] == 5
    answer(run, "links", "vox 3", "--priority", "1", "--show", "other.fallow")
    answer(run, "links", "vox 3", "--priority", "2", "--show", "gala.fallow")
    code, _, err = run("show", "merge", "gala.fallow", "--show", "other.fallow")
    assert code == 2
    assert "vox 3" in err


def test_what_a_third_copy_still_holds_is_not_asked_by_who_knows_that_it_was_undone(run: Run, copies: Path) -> None:
    for name in ("second", "third"):
        answer(run, "copy", f"{name}.fallow", "--show", "gala.fallow")
    answer(run, "links", "guest", "--equipment", "pack", "--show", "second.fallow")
    answer(run, "merge", "second.fallow", "--show", "third.fallow")
    answer(run, "note", "an invented note", "--show", "third.fallow")
    answer(run, "undo", "--show", "second.fallow")
    answer(run, "note", "another", "--show", "gala.fallow")
    answer(run, "merge", "second.fallow", "--show", "gala.fallow")
    answer(run, "merge", "third.fallow", "--show", "gala.fallow")
    assert "guest" not in {one["link"] for one in answer(run, "links", "--show", "gala.fallow")["links"]}
    answer(run, "merge", "gala.fallow", "--show", "third.fallow")
    assert "guest" not in {one["link"] for one in answer(run, "links", "--show", "third.fallow")["links"]}
    assert (copies / "third.fallow").is_file()


@pytest.mark.usefixtures("copies")
def test_a_merge_undone_can_be_done_again_without_a_question(run: Run) -> None:
    answer(run, "links", "vox 3", "--priority", "5", "--show", "other.fallow")
    answer(run, "merge", "other.fallow", "--ours", "--show", "gala.fallow")
    answer(run, "merge", "gala.fallow", "--show", "other.fallow")
    answer(run, "undo", "--show", "gala.fallow")
    found = answer(run, "compare", "other.fallow", "--show", "gala.fallow")
    assert sides(found)["link vox 3"] == "there"


def planned(run: Run, name: str) -> dict[str, int | None]:
    rows = answer(run, "plans", "plan 1", "--show", f"{name}.fallow")["rows"]
    return {row["link"]: row["frequency_hz"] for row in rows}


def put_plan(run: Run, name: str, frequencies_mhz: dict[str, float]) -> None:
    """A plan of that name anew, in one copy."""
    rows = "".join(f"{link},pack,stage,,{mhz}\n" for link, mhz in frequencies_mhz.items())
    Path(f"of {name}.csv").write_text(f"link,equipment,area,scenes,frequency_mhz\n{rows}", encoding="utf-8")
    answer(run, "add", "--plan", f"of {name}.csv", "--plan-name", "plan 1", "--show", f"{name}.fallow")


@pytest.mark.usefixtures("copies")
def test_plans_made_anew_in_both_are_told_and_chosen_link_by_link(run: Run) -> None:
    put_plan(run, "gala", {"vox 1": 470.1, "vox 2": 471.1, "vox 3": 472.1})
    put_plan(run, "other", {"vox 1": 470.1, "vox 2": 473.1, "vox 3": 474.1})
    _, out, _ = run("show", "compare", "other.fallow", "--show", "gala.fallow")
    assert "plan 1 / vox 2: here 471.100 MHz, there 473.100 MHz" in out
    assert "plan 1 / vox 1:" not in out
    code, _, err = run("show", "merge", "other.fallow", "--show", "gala.fallow", "--take", "link vox 1=ours")
    assert code == 2
    assert "plan plan 1: 2 rows" in err
    assert "--take 'plan 1 / vox 2=theirs'" in err
    one_left = ("--take", "link vox 1=ours", "--take", "plan 1 / vox 2=theirs")
    code, _, err = run("show", "merge", "other.fallow", "--show", "gala.fallow", *one_left)
    assert (code, "plan plan 1: 1 row\n" in err) == (2, True)
    found = answer(run, "merge", "other.fallow", *one_left, "--take", "plan 1 / vox 3=ours", "--show", "gala.fallow")
    assert "'plan 1' was put together link by link" in " ".join(found["notes"])
    assert planned(run, "gala") == {"vox 1": 470_100_000, "vox 2": 473_100_000, "vox 3": 472_100_000}
    answer(run, "merge", "gala.fallow", "--show", "other.fallow")
    assert planned(run, "other") == planned(run, "gala")
    answer(run, "undo", "--show", "gala.fallow")
    assert planned(run, "gala") == {"vox 1": 470_100_000, "vox 2": 471_100_000, "vox 3": 472_100_000}


@pytest.mark.usefixtures("copies")
def test_two_plans_of_one_name_are_both_kept_when_one_is_renamed(run: Run) -> None:
    put_plan(run, "gala", {"vox 1": 470.1, "vox 2": 471.1})
    put_plan(run, "other", {"vox 1": 470.1, "vox 2": 473.1})
    _, _, err = run("show", "merge", "other.fallow", "--show", "gala.fallow")
    assert "fallow show plans 'plan 1' --rename NAME" in err
    renamed = answer(run, "plans", "plan 1", "--rename", "hers", "--show", "gala.fallow")
    assert (renamed["plan"], renamed["in_force"], len(renamed["rows"])) == ("hers", True, 2)
    answer(run, "merge", "other.fallow", "--ours", "--show", "gala.fallow")
    assert [one["plan"] for one in answer(run, "plans", "--show", "gala.fallow")["plans"]] == ["hers", "plan 1"]
    assert planned(run, "gala")["vox 2"] == 473_100_000
    code, _, err = run("show", "plans", "hers", "--rename", "plan 1", "--show", "gala.fallow")
    assert (code, "the plan 'plan 1' is there already" in err) == (2, True)


@pytest.mark.usefixtures("copies")
def test_plans_that_are_alike_are_not_asked_about(run: Run) -> None:
    for name in ("gala", "other"):
        put_plan(run, name, {"vox 1": 470.1, "vox 2": 471.1})
    found = answer(run, "compare", "other.fallow", "--show", "gala.fallow")["differences"]
    assert not [one for one in found if one["kind"].startswith("plan")]


@pytest.mark.usefixtures("copies")
def test_a_merge_undone_in_a_copy_made_after_it_is_a_change_of_that_copy(run: Run) -> None:
    answer(run, "merge", "other.fallow", "--theirs", "--show", "gala.fallow")
    answer(run, "copy", "later.fallow", "--show", "gala.fallow")
    answer(run, "undo", "--show", "later.fallow")
    found = answer(run, "compare", "later.fallow", "--show", "gala.fallow")
    assert set(sides(found).values()) == {"there"}
    answer(run, "merge", "later.fallow", "--show", "gala.fallow")
    assert "vox 4" not in {one["link"] for one in answer(run, "links", "--show", "gala.fallow")["links"]}


@pytest.fixture
def renamed(run: Run, copies: Path) -> Path:
    """``gala.fallow``, to be renamed in, and ``other.fallow``, which goes on with the old names."""
    (copies / "other.fallow").unlink()
    (copies / "gala.fallow").unlink()
    answer(run, "new", "gala", "region=de")
    answer(run, "add", "--links", "links.csv", "--equipment", "equipment.csv")
    answer(run, "areas", "stage", "cellar", "--loss", "20")
    answer(run, "stations", "21", "--area", "stage")
    answer(run, "copy", "other.fallow")
    return copies


@pytest.mark.parametrize(("here", "there"), [("gala", "other"), ("other", "gala")])
def test_an_area_renamed_in_one_copy_does_not_become_two(run: Run, renamed: Path, here: str, there: str) -> None:
    answer(run, "areas", "stage", "--rename", "main", "--show", "gala.fallow")
    answer(run, "links", "ghost", "--equipment", "pack", "--area", "stage", "--show", "other.fallow")
    words = ("merge", f"{there}.fallow", "--show", f"{here}.fallow")
    before = answer(run, "history", "--show", f"{here}.fallow")
    code, out, err = run("show", *words, "--json")
    assert (code, out) == (2, "")
    side = "here" if here == "gala" else "there"
    assert f"area 'stage' was renamed 'main' {side}: one area would become two; nothing was merged" in err
    assert "stage: link ghost" in err
    assert answer(run, "history", "--show", f"{here}.fallow") == before
    note = f"area 'stage' was renamed 'main' {side}"
    assert note in answer(run, "compare", f"{there}.fallow", "--show", f"{here}.fallow")["notes"]
    answer(run, "areas", "stage", "--rename", "main", "--show", "other.fallow")
    answer(run, *words)
    links = answer(run, "links", "--show", f"{here}.fallow")["links"]
    assert {one["link"]: one["area"] for one in links} == dict.fromkeys(("vox 1", "vox 2", "vox 3", "ghost"), "main")
    assert answer(run, "areas", "--show", f"{here}.fallow")["areas"] == [
        {"area": "cellar", "other": "main", "loss_db": 20}
    ]
    assert [one["area"] for one in answer(run, "stations", "--show", f"{here}.fallow")["stations"]] == ["main"]
    assert answer(run, "compare", f"{there}.fallow", "--show", f"{here}.fallow")["conflicts"] == []
    assert renamed.is_dir()


@pytest.mark.usefixtures("renamed")
def test_two_areas_may_be_meant_and_radios_are_asked_about_too(run: Run) -> None:
    gala, other = ("--show", "gala.fallow"), ("--show", "other.fallow")
    answer(run, "areas", "stage", "--rename", "main", *gala)
    answer(run, "equipment", "pack", "--rename", "hand", *gala)
    answer(run, "links", "ghost", "--equipment", "pack", "--area", "stage", *other)
    areas = "area stage=apart"
    assert "area 'stage' was renamed" in run("show", "merge", "other.fallow", *gala)[2]
    code, _, err = run("show", "merge", "other.fallow", "--take", areas, *gala)
    assert code == 2
    assert "equipment 'pack' was renamed 'hand' here: one equipment would become two" in err
    assert "fallow show equipment pack --rename hand --show other.fallow" in err
    err = run("show", "merge", "other.fallow", "--take", "area x=apart", *gala)[2]
    assert "nothing called 'area x' was renamed" in err
    answer(run, "equipment", "pack", "--rename", "hand", *other)
    answer(run, "merge", "other.fallow", "--ours", "--take", areas, *gala)
    assert {(one["area"], one["equipment"]) for one in answer(run, "links", *gala)["links"]} == {
        ("main", "hand"), ("stage", "hand"),
    }  # fmt: skip


@pytest.mark.usefixtures("renamed")
def test_a_rename_alone_is_merged_and_areas_renamed_differently_are_asked_about(run: Run) -> None:
    gala, other = ("--show", "gala.fallow"), ("--show", "other.fallow")
    answer(run, "areas", "cellar", "--rename", "vault", *gala)
    answer(run, "links", "vox 1", "--priority", "1", *other)
    answer(run, "merge", "gala.fallow", *other)
    assert answer(run, "areas", *other)["areas"][0]["other"] == "vault"
    answer(run, "areas", "stage", "--rename", "main", *gala)
    answer(run, "areas", "stage", "--rename", "hall", *other)
    answer(run, "links", "late", "--equipment", "pack", "--area", "hall", *other)
    _, _, err = run("show", "merge", "other.fallow", "--ours", *gala)
    assert "area 'stage' was renamed 'main' here and 'hall' there: one area would become two" in err
    assert "fallow show areas main --rename hall`" in err


@pytest.mark.usefixtures("copies")
def test_two_links_that_got_one_name_are_asked_about_with_a_way_to_keep_both(run: Run) -> None:
    gala, other = ("--show", "gala.fallow"), ("--show", "other.fallow")
    answer(run, "merge", "other.fallow", "--ours", *gala)
    answer(run, "merge", "gala.fallow", "--theirs", *other)
    answer(run, "links", "vox 2", "--rename", "sister", *gala)
    answer(run, "links", "vox 3", "--rename", "sister", *other)
    err = run("show", "merge", "other.fallow", *gala)[2]
    assert "to keep both links, first rename yours: fallow show links sister --rename NAME" in err
    answer(run, "links", "sister", "--rename", "nun", *gala)
    answer(run, "merge", "other.fallow", *gala)
    names = {one["link"] for one in answer(run, "links", *gala)["links"]}
    assert names == {"vox 1", "nun", "sister", "vox 4"}
