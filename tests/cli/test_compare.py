"""``fallow compare`` as it is typed: surveys, plans, the pad test, exit codes, screens of 80 columns.

Truth: the contract of the commands (docs/commands.md), the demo's invented night (its wall adds 6 dB at 522 to 548 and
588 to 611 MHz, as builders/make_demo.py says), and for real sweeps what their published description says.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., tuple[int, str, str]]
CHANGE = {"low_hz", "high_hz", "what", "from_dbm", "to_dbm", "difference_db", "u_db", "because"}
LINE = {"centre_hz", "drop_db", "u_db", "what", "order", "error_probability", "because"}


@pytest.fixture
def wall(package: Path) -> tuple[Path, Path]:
    sweeps = package / "demo" / "data" / "sweeps"
    return sweeps / "wall-off.csv", sweeps / "wall-on.csv"


def document(answer: tuple[int, str, str], code: int = 0) -> dict[str, Any]:
    assert answer[0] == code, answer[2]
    found = json.loads(answer[1])
    assert isinstance(found, dict)
    return found


def plan(path: Path, *rows: str) -> Path:
    path.write_text("\n".join(["link,equipment,area,scenes,frequency_mhz", *rows]) + "\n", encoding="utf-8")
    return path


# --- surveys


def test_the_wall_is_two_changes_of_the_floor(run: Run, wall: tuple[Path, Path]) -> None:
    found = document(run("compare", *wall, "--json"))
    assert set(found) >= {"changes", "offset_db", "offset_u_db", "notes"}
    assert [change["what"] for change in found["changes"]] == ["floor", "floor"]
    for change, (low_mhz, high_mhz) in zip(found["changes"], ((522, 548), (588, 611)), strict=True):
        assert set(change) >= CHANGE
        assert isinstance(change["low_hz"], int)
        assert change["low_hz"] == pytest.approx(low_mhz * 1e6, abs=1e6)
        assert change["high_hz"] == pytest.approx(high_mhz * 1e6, abs=1e6)
        assert change["difference_db"] == pytest.approx(6.0, abs=0.5)
    assert abs(found["offset_db"]) < 0.5


def test_people_read_it_in_80_columns(run: Run, wall: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    code, out, _ = run("compare", *wall)
    assert code == 0
    assert out.startswith("2 floor")
    assert max(map(len, out.splitlines())) <= 80
    code, out, _ = run("compare", *wall, "--pad", "10")
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80


def test_a_survey_is_the_same_as_itself(run: Run, wall: tuple[Path, Path]) -> None:
    found = document(run("compare", wall[0], wall[0], "--json"))
    assert (found["changes"], found["offset_db"]) == ([], 0.0)


def test_other_chain_adds_the_budgets(run: Run, wall: tuple[Path, Path]) -> None:
    assert document(run("compare", *wall, "--json", "--other-chain"))["changes"] == []  # 6 dB are within both budgets
    assert run("compare", *wall, "--same-chain", "--other-chain")[0] == 2


def test_one_unreadable_file_of_several_is_bad_news(run: Run, wall: tuple[Path, Path], tmp_path: Path) -> None:
    folder = tmp_path / "old"
    folder.mkdir()
    shutil.copy(wall[0], folder)
    (folder / "broken.csv").write_text("Frequency (MHz);Level (dBm)\n470;-90\n471;-9", encoding="utf-16")
    (folder / "broken.csv").write_bytes((folder / "broken.csv").read_bytes()[:-1] + b"\xd8" * 40)
    code, out, err = run("compare", folder, wall[1], "--json")
    assert code == 1
    assert len(json.loads(out)["changes"]) == 2
    assert "broken.csv" in err


def test_what_can_not_be_compared(run: Run, wall: tuple[Path, Path], tmp_path: Path) -> None:
    upper = tmp_path / "upper.csv"
    rows = "".join(f"{800 + place / 10:.1f},-100.{place % 10}\n" for place in range(100))
    upper.write_text(f"Frequency (MHz),Level (dBm)\n{rows}", encoding="utf-8")
    one = plan(tmp_path / "one.csv", "a,pack,,,500")
    for words, why in (
        ((wall[0], upper), "no spectrum in common"),
        ((one, wall[0]), "is a plan"),
        ((wall[0], tmp_path / "missing.csv"), "missing.csv"),
        ((one, one, "--pad", "10"), "pad"),
        ((*wall, "--pad", "0"), "pad"),
    ):
        code, out, err = run("compare", *words, "--json")
        assert (code, out) == (2, "")
        assert why in err
        assert "Traceback" not in err


def test_the_pad_test_answers_for_every_line(run: Run, wall: tuple[Path, Path]) -> None:
    found = document(run("compare", *wall, "--pad", "10", "--json"))
    assert found["changes"] == []
    test = found["pad_test"]
    assert test["pad_db"] == 10
    assert test["lines"]
    for line in test["lines"]:
        assert set(line) >= LINE
        assert line["what"] in {"real", "made inside", "instrument's own", "undecided"}
        assert 0 <= line["error_probability"] <= 1
    assert any("was the pad in the way" in note for note in found["notes"])  # it was not: TV stays as it is


# --- plans


def test_two_plans(run: Run, tmp_path: Path) -> None:
    old = plan(tmp_path / "old.csv", "a,pack,,,500", "b,pack,hall,,501", "c,pack,,,502")
    new = plan(tmp_path / "new.csv", "a,pack,,,500.5", "b,pack,stage,,501", "d,hand,,,503.125")
    found = document(run("compare", old, new, "--json"))
    assert set(found) >= {"moved", "added", "removed", "changed"}
    assert found["moved"] == [{"link": "a", "from_hz": 500_000_000, "to_hz": 500_500_000}]
    assert [one["link"] for one in found["added"]] == ["d"]
    assert [one["link"] for one in found["removed"]] == ["c"]
    assert found["changed"] == [{"link": "b", "what": "area", "from": "hall", "to": "stage"}]
    code, out, _ = run("compare", old, new)
    assert code == 0
    assert out.startswith("1 moved, 1 added, 1 removed, 1 changed")
    assert "a from 500.000 MHz to 500.500 MHz" in out


def test_a_mistake_in_a_plan_is_told_as_one_of_a_plan(run: Run, tmp_path: Path) -> None:
    good = plan(tmp_path / "good.csv", "a,pack,,,500")
    bad = plan(tmp_path / "bad.csv", "a,pack,,,here")
    code, _, err = run("compare", good, bad)
    assert code == 2
    assert "bad.csv, line 2" in err


def test_a_plan_in_another_dialect_is_a_plan(run: Run, tmp_path: Path) -> None:
    other = tmp_path / "andere.csv"
    other.write_text("Tournee;;\nStrecke;Gerät;Frequenz (MHz)\na;pack;500,250\n", encoding="cp1252")
    found = document(run("compare", plan(tmp_path / "ours.csv", "a,pack,,,500"), other, "--json"))
    assert found["moved"] == [{"link": "a", "from_hz": 500_000_000, "to_hz": 500_250_000}]


# --- real sweeps


def test_real_sweeps_of_one_minute_apart(run: Run, airdata: Path) -> None:
    """Uplink bursts (832 to 862 MHz) come and go, the blocks at 668 to 687 MHz move by 4 dB, television stays."""
    folder = airdata / "wideband-300-3000"
    found = document(run("compare", folder / "psd_arr_0.npy", folder / "psd_arr_2.npy", "--json"))
    changes = found["changes"]
    assert 10 < len(changes) < 120

    def within(low_mhz: float, high_mhz: float) -> list[dict[str, Any]]:
        return [one for one in changes if one["low_hz"] >= low_mhz * 1e6 and one["high_hz"] <= high_mhz * 1e6]

    assert {one["what"] for one in within(668, 688)} <= {"louder", "quieter"}
    assert within(668, 688)
    assert {"appeared", "vanished"} & {one["what"] for one in within(822, 864)}
    assert within(470, 668) == []  # television at 518, 614 and 638 MHz, the receiver's own lines, the rest of the band
    assert abs(found["offset_db"]) < 1.0


def test_real_sweeps_compared_with_themselves(run: Run, airdata: Path) -> None:
    for path in (airdata / "sdr-wide-rows-0-6000" / "sweep.txt", airdata / "ism433-matrix" / "spectrum2.csv"):
        assert document(run("compare", path, path, "--json"))["changes"] == []
