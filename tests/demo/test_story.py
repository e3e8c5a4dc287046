"""The demo: the whole job runs on shipped files, finds what was hidden in them, and tells it in one screen."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from fallow.demo.story import Told, tell_story
from fallow.errors import OutputError
from fallow.spectrum.verdict import Emitter, JudgedSlice, Verdict

HIDDEN_TV = {"22", "26", "31", "42"}  # what builders/make_demo.py put on the air
INTRUDER_HZ = 655_300_000
GAP = "34"
OWN_LINES_HZ = [480e6, 528e6, 624e6, 672e6]


def refuse_network(*_: object, **__: object) -> None:
    """Stands for a socket on a laptop in a hall."""
    raise OSError("no network here")


@pytest.fixture(scope="module", name="told")
def one_evening(tmp_path_factory: pytest.TempPathFactory) -> Told:
    """The story, told once, without a network."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket, "socket", refuse_network)
        return tell_story(tmp_path_factory.mktemp("evening") / "demo")


@pytest.fixture(name="slices")
def judged_channels(told: Told) -> dict[str, JudgedSlice]:
    """The judged TV channels by name."""
    return {part.name: part for part in told.air.slices}


def near(told: Told, frequency_hz: float, width_hz: float = 200e3) -> list[Emitter]:
    """Emitters that touch a place."""
    return [e for e in told.air.emitters if e.low_hz - width_hz < frequency_hz < e.high_hz + width_hz]


def test_television_is_found_in_its_notch_too(slices: dict[str, JudgedSlice]) -> None:
    for name in HIDDEN_TV:
        assert slices[name].verdict is Verdict.OCCUPIED, name
    assert slices["42"].shares[Verdict.OCCUPIED] == pytest.approx(1.0)


def test_nothing_else_is_taken_for_television(told: Told) -> None:
    places = {round((e.centre_hz / 1e6 - 306) / 8) for e in told.air.emitters if e.looks_like.startswith("TV")}
    assert places == {int(name) for name in HIDDEN_TV}


def test_the_intruder_is_found_and_comes_and_goes(told: Told) -> None:
    found = near(told, INTRUDER_HZ)
    assert len(found) == 1
    assert found[0].on_share_low <= 5 / 32 <= found[0].on_share_high


def test_the_gap_stays_not_measured(slices: dict[str, JudgedSlice]) -> None:
    assert slices[GAP].verdict is Verdict.NOT_MEASURED


def test_the_instruments_own_lines_are_no_emitters(told: Told) -> None:
    for line_hz in OWN_LINES_HZ:
        wide = [e for e in near(told, line_hz) if e.high_hz - e.low_hz > 1e6]
        assert near(told, line_hz) == wide, f"{line_hz / 1e6} MHz"


def test_the_mobile_neighbour_is_named(told: Told) -> None:
    assert any(e.looks_like == "mobile downlink" and 791e6 < e.centre_hz < 821e6 for e in told.air.emitters)


def test_the_wall_makes_channels_doubtful(slices: dict[str, JudgedSlice]) -> None:
    assert {slices[name].verdict for name in ("28", "29")} == {Verdict.DOUBTFUL}


def test_quiet_channels_are_clean(slices: dict[str, JudgedSlice]) -> None:
    for name in ("21", "24", "33", "40", "47"):
        assert slices[name].verdict is Verdict.CLEAN or slices[name].shares[Verdict.CLEAN] > 0.8, name


def test_every_link_has_a_place_and_the_audit_finds_nothing(told: Told) -> None:
    assert told.plan.unplaced == ()
    assert len(told.plan.links) == 23  # the intercom is listed only
    assert told.plan.links["guest guitar"].frequency_hz == 619_300_000
    assert told.audit.conflicts == ()
    assert told.audit.pairs > 100


def test_no_link_stands_on_an_occupied_place(told: Told) -> None:
    for link in told.plan.links.values():
        assert link.verdict in ("clean", "doubtful"), link


def test_plan_and_pictures_are_written(told: Told) -> None:
    assert [path.name for path in told.files] == [
        "demo-plan.csv",
        "demo-air.png",
        "demo-wall-off.png",
        "demo-above.svg",
    ]
    for path in told.files:
        assert path.stat().st_size > 500


def test_it_fits_one_screen(told: Told) -> None:
    assert 24 <= len(told.lines) <= 40
    *lines, folder = told.lines
    assert folder.strip() == f"in: {told.files[0].parent}"  # as long as the folder's own name
    for line in lines:
        assert len(line) <= 80, line
    text = "\n".join(told.lines)
    for word in ("invented", "LED wall", "stranger", "no conflict", "captain"):
        assert word in text


def test_a_folder_that_cannot_be_made_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="the folder can't be made") as caught:
        tell_story(tmp_path / "no" / "such" / "folder")
    assert caught.value.hint is not None
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_the_demo_runs_as_it_is_typed(package: Path, tmp_path: Path) -> None:
    """The README's first command, for people: the story on one screen, and what it does meanwhile beside it."""
    ended = subprocess.run(
        [sys.executable, "-m", "fallow", "demo", "--out", str(tmp_path)],
        env={**os.environ, "PYTHONPATH": str(package.parent)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    assert "THE AUDIT" in ended.stdout
    assert max(map(len, ended.stdout.splitlines()[:-1])) <= 80
    assert ended.stderr.splitlines()[0].endswith("...")
