"""Ledgers, risks and distances from levels as a user types for them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., tuple[int, str, str]]
HEAD = "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,power_mw,power_kind,spacing_khz,im3_khz,im3_three_khz"


def written(folder: Path, links: int, more: str = "", cells: str = "", power: str = "50") -> tuple[Path, Path]:
    """Tables of so many links of one radio, with more columns."""
    table, equipment = folder / "links.csv", folder / "equipment.csv"
    table.write_text("link,equipment\n" + "".join(f"vox {i},hand\n" for i in range(1, links + 1)), encoding="utf-8")
    row = f"hand,microphone,500-508,25,200,{power},eirp,350,100,50"
    equipment.write_text(f"{HEAD}{more}\n{row}{cells}\n", encoding="utf-8")
    return table, equipment


def test_the_plan_tells_every_ledger_and_its_risks_thinnest_first(run: Run, tmp_path: Path) -> None:
    links, equipment = written(tmp_path, 4)
    code, out, _ = run("plan", links, "--equipment", equipment, "--seconds", "0.2", "--json")
    answer = json.loads(out)
    assert code == 0
    for link in answer["links"]:
        ledger = link["ledger"]
        kinds = [line["kind"] for line in ledger["lines"]]
        assert kinds[:2] == ["wanted", "noise"]
        assert link["margin_db"] == ledger["margin_db"]
        assert ledger["u_db"] > 0
        left = ledger["lines"][0]["level_dbm"] - ledger["unwanted_dbm"] - ledger["needed_db"]
        assert link["margin_db"] == pytest.approx(left, abs=0.02)
    margins = [risk["margin_db"] for risk in answer["risks"]]
    assert margins == sorted(margins)
    assert {risk["link"] for risk in answer["risks"]} == {link["link"] for link in answer["links"]}
    assumed = {one["figure"]: one for one in answer["assumed"][0]["figures"]}
    assert assumed["distance_m"] == {"figure": "distance_m", "value": "40", "u_db": 3.0, "source": "common practice"}
    assert any(note.startswith("hand: margins are modelled from defaults, ± ") for note in answer["notes"])


def test_without_a_power_there_is_no_margin_and_a_note_says_so(run: Run, tmp_path: Path) -> None:
    links, equipment = written(tmp_path, 2, power="")
    code, out, _ = run("plan", links, "--equipment", equipment, "--seconds", "0.1", "--json")
    answer = json.loads(out)
    assert code == 0
    assert [(one["margin_db"], one["ledger"]) for one in answer["links"]] == [(None, None)] * 2
    assert answer["risks"] == []
    assert any(note.startswith("no margin, because the power") for note in answer["notes"])


def test_the_screen_shows_the_thinnest_margins_and_the_table_one_of_each(run: Run, tmp_path: Path) -> None:
    links, equipment = written(tmp_path, 5)
    plan = tmp_path / "plan.csv"
    code, out, _ = run("plan", links, "--equipment", equipment, "--seconds", "0.2", "--out", plan)
    assert code == 0
    assert "thinnest of 5 margins:" in out
    assert all(len(line.rstrip()) <= 80 for line in out.splitlines())
    rows = plan.read_text(encoding="utf-8").splitlines()
    at = rows[0].split(",").index("margin_db")
    assert all(float(row.split(",")[at]) for row in rows[1:] if row.startswith("vox"))
    code, out, _ = run("audit", plan, "--equipment", equipment)
    assert code == 0
    assert "thinnest of 5 margins:" in out


def test_measured_levels_replace_modelled_ones_and_names_are_checked(run: Run, tmp_path: Path) -> None:
    links, equipment = written(tmp_path, 2)
    plan, measured = tmp_path / "plan.csv", tmp_path / "measured.csv"
    assert run("plan", links, "--equipment", equipment, "--seconds", "0.1", "--out", plan)[0] == 0
    measured.write_text("link,level_dbm\nvox 2,-41\n", encoding="utf-8")
    code, out, _ = run("audit", plan, "--equipment", equipment, "--measured", measured, "--json")
    ledgers = {one["link"]: one["ledger"] for one in json.loads(out)["ledgers"]}
    assert code == 0
    assert ledgers["vox 2"]["lines"][0]["level_dbm"] == pytest.approx(-41 - 20)
    assert ledgers["vox 2"]["lines"][0]["text"].startswith("measured -41.0 dBm")
    measured.write_text("link,level_dbm\nvox2,-41\n", encoding="utf-8")
    code, out, err = run("audit", plan, "--equipment", equipment, "--measured", measured, "--json")
    assert (code, out) == (2, "")
    assert "no link and no foreign carrier is called 'vox2'" in err
    assert "did you mean 'vox 2'?" in err


def test_levels_need_figures_that_somebody_stated(run: Run, tmp_path: Path) -> None:
    links, equipment = written(tmp_path, 2, ",nearest_m", ",15")
    code, out, err = run("plan", links, "--equipment", equipment, "--levels", "--json")
    assert (code, out) == (2, "")
    assert "levels can't set the distances of hand, because its iip3_dbm and figures_source are not stated" in err
    assert "hint: " in err


def test_levels_hold_more_links_and_the_audit_goes_by_them_when_told(run: Run, tmp_path: Path) -> None:
    links, equipment = written(tmp_path, 15, ",nearest_m,iip3_dbm,figures_source", ",15,12,own bench")
    plan = tmp_path / "plan.csv"
    code, out, _ = run(
        *("plan", links, "--equipment", equipment, "--levels", "--seconds", "2", "--out", plan, "--json")
    )
    answer = json.loads(out)
    assert (code, answer["unplaced"], answer["conflicts"]) == (0, [], [])
    assert answer["notes"][0].startswith("DISTANCES COME FROM LEVELS")
    gain = next(note for note in answer["notes"] if note.startswith("places 15 of 15 links instead of "))
    assert int(gain.split("instead of ")[1].split()[0]) <= 13  # no more than 13 fit into 8 MHz by these distances
    code, out, _ = run("audit", plan, "--equipment", equipment, "--levels", "--json")
    assert (code, json.loads(out)["conflicts"]) == (0, [])
    code, out, _ = run("audit", plan, "--equipment", equipment, "--json")
    assert code == 1
    assert json.loads(out)["conflicts"]
