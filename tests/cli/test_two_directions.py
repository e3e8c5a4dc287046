"""Links with two directions as they are typed: planned, written, audited. Everything here is invented."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]
EQUIPMENT = (
    "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz,im3_khz,duplex_mhz,return_mhz,duplex_least_mhz\n"
    "desk,intercom,470-476,25,200,400,100,30,,\npack,intercom,470-478,25,200,400,100,,486-494,10\n"
)
LINKS = "link,equipment,area\ncomms 1,desk,hall\ncomms 2,desk,hall\ncrew 1,pack,hall\n"


@pytest.fixture(autouse=True)
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder of tables in which everything is typed."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "equipment.csv").write_text(EQUIPMENT, encoding="utf-8")
    (tmp_path / "links.csv").write_text(LINKS, encoding="utf-8")


def answer(run: Run, *words: object, code: int = 0) -> dict[str, Any]:
    got, out, err = run(*words, "--json")
    assert got == code, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


PLAN = ("plan", "links.csv", "--equipment", "equipment.csv", "--seconds", "1", "--out", "plan.csv")


def test_both_directions_are_planned_and_a_plan_file_alone_is_judged(run: Run) -> None:
    found = answer(run, *PLAN)
    at_hz = {one["link"]: one["frequency_hz"] for one in found["links"]}
    assert len(at_hz) == 6
    assert all(at_hz[f"comms {i} return"] - at_hz[f"comms {i}"] == 30_000_000 for i in (1, 2))
    assert at_hz["crew 1 return"] - at_hz["crew 1"] >= 10_000_000
    assert found["conflicts"] == []
    assert answer(run, "audit", "plan.csv", "--equipment", "equipment.csv")["conflicts"] == []


def test_directions_that_do_not_fit_are_a_conflict(run: Run, tmp_path: Path) -> None:
    rows = "link,equipment,area,frequency_mhz\ncomms 1,desk,hall,470\ncomms 1 return,desk return,hall,501\n"
    (tmp_path / "other.csv").write_text(rows + "comms 2,desk,hall,473\n", encoding="utf-8")
    found = answer(run, "audit", "other.csv", "--equipment", "equipment.csv", code=1)
    told = [one for one in found["conflicts"] if one["kind"] == "duplex"]
    assert [(one["victim"], one["carriers"], one["distance_hz"], one["needed_hz"]) for one in told] == [
        ("comms 2", [], None, None),
        (None, ["comms 1", "comms 1 return"], 31_000_000, 30_000_000),
    ]
    assert "the way back exactly 30 MHz above is needed" in told[1]["text"]


def test_a_link_whose_place_is_lost_moves_with_both_directions_as_one_change(run: Run, tmp_path: Path) -> None:
    before = {one["link"]: one["frequency_hz"] for one in answer(run, *PLAN, "--no-failures")["links"]}
    row = f"stranger,{before['comms 1 return'] / 1e6:.6f},200,,400,no,no"
    head = "name,frequency_mhz,bandwidth_khz,area,spacing_khz,products,protect"
    (tmp_path / "foreign.csv").write_text(f"{head}\n{row}\n", encoding="utf-8")
    found = answer(run, *PLAN[:-2], "--no-failures", "--keep", "plan.csv", "--foreign", "foreign.csv")
    assert {one["link"] for one in found["moved"]} == {"comms 1", "comms 1 return"}
    code, out, _ = run(*PLAN[:-2], "--no-failures", "--keep", "plan.csv", "--foreign", "foreign.csv")
    assert code == 0
    assert "1 link changes" in out


def test_what_changes_is_told_by_weight_where_links_weigh_differently(run: Run, tmp_path: Path) -> None:
    (tmp_path / "links.csv").write_text(
        "link,equipment,area,move_weight\ncrew 1,pack,hall,7\ncrew 2,pack,hall,\n", encoding="utf-8"
    )
    before = {one["link"]: one["frequency_hz"] for one in answer(run, *PLAN, "--no-failures")["links"]}
    head = "name,frequency_mhz,bandwidth_khz,area,spacing_khz,products,protect"
    row = f"stranger,{before['crew 1'] / 1e6:.6f},200,,100,no,no"
    (tmp_path / "foreign.csv").write_text(f"{head}\n{row}\n", encoding="utf-8")
    words = (*PLAN[:-2], "--no-failures", "--keep", "plan.csv", "--foreign", "foreign.csv")
    found = answer(run, *words)
    assert (found["moves_at_least"], found["moves_weight"], found["moves_weight_at_least"]) == (1, 7, 7)
    assert found["moves_proven"]
    _, out, _ = run(*words)
    assert "1 link changes, which weighs 7, and no plan changes less" in " ".join(out.split())


def test_who_may_move_may_with_both_directions(run: Run, tmp_path: Path) -> None:
    (tmp_path / "links.csv").write_text(
        "link,equipment,area,scenes\ncomms 1,desk,hall,act\ncrew 1,pack,hall,act\n", encoding="utf-8"
    )
    before = {one["link"]: one["frequency_hz"] for one in answer(run, *PLAN, "--no-failures")["links"]}
    head = "name,frequency_mhz,bandwidth_khz,area,spacing_khz,products,protect"
    row = f"stranger,{before['comms 1'] / 1e6:.6f},200,,400,no,no"
    (tmp_path / "foreign.csv").write_text(f"{head}\n{row}\n", encoding="utf-8")
    words = (*PLAN[:-2], "--no-failures", "--keep", "plan.csv", "--foreign", "foreign.csv", "--on-air", "act")
    assert answer(run, *words, code=1)["moved"] == []
    found = answer(run, *words, "--may-move", "comms 1")
    assert {one["link"] for one in found["moved"]} == {"comms 1", "comms 1 return"}
