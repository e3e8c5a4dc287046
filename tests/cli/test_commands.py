"""The commands as a user types them: exit codes, one JSON document on stdout, one sentence on stderr.

Truth: the contract of the commands (docs/commands.md); levels and frequencies are written by the tests themselves.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]
EQUIPMENT = (
    "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,power_mw,power_kind,spacing_khz,im3_khz,im3_three_khz,im5_khz\n"
    "pack,microphone,470-478,25,200,10,erp,350,100,50,\n"
)


def document(text: str) -> dict[str, Any]:
    found = json.loads(text)
    assert isinstance(found, dict)
    return found


def test_air_says_what_is_there(run: Run, sweeps: Path) -> None:
    code, out, _ = run("air", sweeps, "--rbw", "25k", "--width", "2M", "--span", "470M..480M", "--json")
    answer = document(out)
    assert code == 0
    assert answer["basis"] == "absolute"
    assert (answer["limit_dbm"], answer["limit_above_floor_db"], answer["confidence"]) == (-90.0, None, 95.0)
    assert [(s["low_hz"], s["high_hz"]) for s in answer["slices"]] == [
        (low, low + 2_000_000) for low in range(470_000_000, 480_000_000, 2_000_000)
    ]
    words = [s["verdict"] for s in answer["slices"]]
    assert words[1] == "occupied" or words[2] == "occupied"
    assert words[3] == "clean"
    assert any(abs(e["centre_hz"] - 474_000_000) < 50_000 for e in answer["emitters"])
    for part in answer["slices"]:
        assert part["reasons"]
        assert sum(part["shares"].values()) == pytest.approx(1.0, abs=1e-3)


def test_a_limit_in_dbm_needs_absolute_levels(run: Run, sweeps: Path) -> None:
    code, out, err = run("air", sweeps, "--level-unit", "dB", "--limit", "-85", "--json")
    assert (code, out) == (2, "")
    assert err.startswith("fallow: ")
    assert "hint: " in err


def test_one_unreadable_file_of_several_is_bad_news(run: Run, sweeps: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.csv"
    broken.write_bytes(b"\x00\x01\x02 no sweep \xff\xfe")
    code, out, err = run("air", sweeps, broken, "--json")
    assert code == 1
    assert document(out)["slices"]
    assert "broken.csv" in err


def test_nothing_readable_can_not_be_done(run: Run, tmp_path: Path) -> None:
    code, out, err = run("air", tmp_path / "nothing.csv", "--json")
    assert (code, out) == (2, "")
    assert "nothing.csv" in err
    assert "Traceback" not in err


def test_read_prints_its_document_even_with_an_open_question(run: Run, tmp_path: Path) -> None:
    open_file = tmp_path / "open.txt"
    open_file.write_text("\n".join(f"{30000 + 10 * i};{-90 - i % 3}" for i in range(100)), encoding="utf-8")
    code, out, _ = run("read", open_file, "--json")
    answer = document(out)
    if answer["files"][0]["needs"]:
        assert code == 2
        code, out, err = run("air", open_file, "--json")
        assert (code, out) == (2, "")
        assert "hint: " in err
    code, out, _ = run("read", open_file, "--unit", "kHz", "--level-unit", "dBm", "--json")
    answer = document(out)["files"][0]
    assert (code, answer["needs"], answer["low_hz"], answer["high_hz"]) == (0, [], 30_000_000, 30_990_000)


def test_a_plan_is_made_written_and_audited(run: Run, tables: tuple[Path, Path], sweeps: Path, tmp_path: Path) -> None:
    links, equipment = tables
    out_file = tmp_path / "plan.csv"
    words = ("--equipment", equipment, "--air", sweeps, "--rbw", "25k")
    code, out, _ = run("plan", links, *words, "--seconds", "0.3", "--out", out_file, "--json")
    answer = document(out)
    assert code == 0
    assert [link["link"] for link in answer["links"]] == ["vox 1", "vox 2", "vox 3", "vox 4"]
    assert all(link["frequency_hz"] and link["why"] and link["verdict"] == "clean" for link in answer["links"])
    assert len(answer["spares"]) == 1
    assert answer["conflicts"] == answer["unplaced"] == []
    code, out, _ = run("audit", out_file, *words, "--json")
    assert code == 0
    assert document(out)["conflicts"] == []
    assert document(out)["checked"]["pairs"] == 10


def test_an_audit_finds_what_is_wrong(run: Run, tables: tuple[Path, Path], tmp_path: Path) -> None:
    """2 x 471.000 - 470.500 = 471.500 MHz: the product that the trade's arithmetic names."""
    plan = tmp_path / "plan.csv"
    plan.write_text("link,equipment,frequency_mhz\na,pack,470.5\nb,pack,471\nc,pack,471.5\n", encoding="utf-8")
    code, out, _ = run("audit", plan, "--equipment", tables[1], "--json")
    found = [(c["kind"], c["victim"], c["carriers"], c["product_hz"]) for c in document(out)["conflicts"]]
    assert code == 1
    assert ("2A-B", "c", ["b", "a"], 471_500_000) in found
    assert ("2A-B", "a", ["b", "c"], 470_500_000) in found
    assert len(found) == 2


def test_out_makes_no_folders(run: Run, tables: tuple[Path, Path], tmp_path: Path) -> None:
    missing = tmp_path / "nowhere" / "plan.csv"
    code, out, err = run("plan", tables[0], "--equipment", tables[1], "--out", missing, "--json")
    assert (code, out) == (2, "")
    assert not missing.parent.exists()
    assert "folder" in err


def test_rules_list_rows_with_their_sources(run: Run) -> None:
    code, out, _ = run("rules", "us", "--span", "600M..616M", "--json")
    answer = document(out)
    assert code == 0
    assert answer["region"] == "us"
    assert all(
        row["source"] and row["date"] and row["grade"] in ("seen", "second-hand", "memory") for row in answer["rows"]
    )
    assert {channel["name"] for channel in answer["channels"]} >= {"36"}
    assert answer["cautions"]
    code, out, _ = run("rules", "--json")
    assert {"de", "us", "gb"} <= {region["region"] for region in document(out)["regions"]}


@pytest.mark.parametrize(
    "words",
    [
        ("rules", "xx"),
        ("rules", "us", "--licence", "none-such"),
        ("rules", "us", "--on", "yesterday"),
        ("air",),
        ("air", "x.csv", "--confidence", "20"),
        ("air", "x.csv", "--span", "5"),
        ("air", "x.csv", "--picture", "x.bmp"),
        ("fly",),
        ("plan", "missing.csv", "--equipment", "missing.csv"),
        ("plan", "links.csv", "--equipment", "equipment.csv", "--licence", "part74"),
    ],
)
def test_wrong_usage_gets_one_sentence(run: Run, words: tuple[str, ...]) -> None:
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert err.startswith("fallow: ")
    assert "Traceback" not in err
    assert len([line for line in err.splitlines() if line.startswith("fallow: ")]) == 1


def test_a_cue_and_an_intercom_far_away_cost_no_microphone_its_place(run: Run, tmp_path: Path) -> None:
    """Three microphones 325 kHz apart fit into 650 kHz: plain arithmetic, whatever rasters the others have."""
    equipment, links = tmp_path / "equipment.csv", tmp_path / "links.csv"
    equipment.write_text(
        EQUIPMENT.splitlines()[0]
        + "\nmic,microphone,500-500.65,25,200,10,erp,325,0,,"
        + "\ncue,cue,169.4-169.8,12.5,50,10,erp,50,50,,"
        + "\ncom,intercom,1880.064-1900,1728,1728,10,erp,1728,0,,\n",
        encoding="utf-8",
    )
    links.write_text("link,equipment\nm1,mic\nm2,mic\nm3,mic\nq,cue\nc,com\n", encoding="utf-8")
    code, out, _ = run("plan", links, "--equipment", equipment, "--spares", "0", "--seconds", "0.3", "--json")
    answer = document(out)
    assert (code, answer["unplaced"], answer["most"]) == (0, [], None)
    assert [link["frequency_hz"] for link in answer["links"][:3]] == [500_000_000, 500_325_000, 500_650_000]


def test_without_a_spacing_any_number_may_share_a_place(run: Run, tmp_path: Path) -> None:
    equipment, links = tmp_path / "equipment.csv", tmp_path / "links.csv"
    equipment.write_text("equipment,kind,presets_mhz,bandwidth_khz,spacing_khz\nu,microphone,500,100,0\n", "utf-8")
    links.write_text("link,equipment\na,u\nb,u\n", encoding="utf-8")
    code, out, _ = run("plan", links, "--equipment", equipment, "--spares", "0", "--seconds", "0.2", "--json")
    assert (code, document(out)["most"], document(out)["unplaced"]) == (0, None, [])


def test_a_slip_in_an_area_is_not_passed_over(run: Run, tables: tuple[Path, Path], tmp_path: Path) -> None:
    stations = tmp_path / "stations.csv"
    stations.write_text("channel,area,source\n21,Stage,invented\n", encoding="utf-8")
    words = ("--equipment", tables[1], "--region", "de", "--stations", stations)
    code, out, err = run("plan", tables[0], *words, "--json")
    assert (code, out) == (2, "")
    assert "'Stage'" in err


def test_a_file_named_twice_counts_once(run: Run, sweeps: Path) -> None:
    once = document(run("air", sweeps, "--rbw", "25k", "--json")[1])
    twice = document(run("air", sweeps, sweeps, "--rbw", "25k", "--json")[1])
    assert (twice["sweeps"], twice["missed_share"]) == (once["sweeps"], once["missed_share"])


def test_a_link_is_not_called_spare(run: Run, tables: tuple[Path, Path]) -> None:
    tables[0].write_text("link,equipment\nspare guitar,pack\n", encoding="utf-8")
    code, out, err = run("plan", tables[0], "--equipment", tables[1])
    assert (code, out) == (2, "")
    assert "links.csv, line 2, column link" in err
