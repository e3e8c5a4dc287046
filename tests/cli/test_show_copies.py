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
    assert "the equipment 'pack' of 1 link is not in the show" in found["notes"]
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
