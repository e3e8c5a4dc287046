"""The chain as a user states it: field strengths, the budget on screen, and what is refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

Run = Callable[..., tuple[int, str, str]]
WITH_ANTENNA = (
    "part,kind,gain_db,u_db,vswr\nwhip,antenna,2.15,1.0,2\nten metres,cable,-3,0.2,\nbox,instrument,0,1.2,2\n"
)


@pytest.fixture
def hall(tmp_path: Path) -> Path:
    """Ten sweeps, 590 to 610 MHz in 25 kHz, floor -115 dBm, a carrier of -60 dBm at 600.3 MHz."""
    rng = np.random.default_rng(4)
    levels = -115 + 10 * np.log10(rng.gamma(10, 0.1, size=(801, 10)))
    levels[412] = -60.0
    rows = ["Frequency (MHz)," + ",".join(f"Sweep {i} (dBm)" for i in range(10))]
    rows += [f"{590 + 0.025 * i:.3f}," + ",".join(f"{level:.2f}" for level in row) for i, row in enumerate(levels)]
    path = tmp_path / "hall.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def chain(tmp_path: Path) -> Path:
    path = tmp_path / "chain.csv"
    path.write_text(WITH_ANTENNA, encoding="utf-8")
    return path


def test_field_strength_of_slices_and_emitters(run: Run, hall: Path, chain: Path) -> None:
    # The instrument shows -60 dBm, the cable lost 3 dB: -57 dBm behind an antenna of 2.15 dBi at 600.3 MHz. E = P +
    # 106.990 + AF with AF = 20·log f − G − 29.774 (A = G·λ²/4π, E² = S·Z0) = 23.644 dB/m, so 73.634 dBµV/m
    code, out, _ = run("air", hall, "--chain", chain, "--span", "590M..610M", "--field", "--json")
    assert code == 0
    found = json.loads(out)
    (emitter,) = (one for one in found["emitters"] if one["low_hz"] <= 600_300_000 <= one["high_hz"])
    assert emitter["level_dbm"] == pytest.approx(-57 - 2.15, abs=0.1)
    assert emitter["level_dbuvm"] == pytest.approx(73.63, abs=0.1)
    loud = max(found["slices"], key=lambda part: part["level_dbm"])
    assert loud["level_dbuvm"] - loud["level_dbm"] == pytest.approx(106.990 + 20 * np.log10(600.3) - 29.774, abs=0.02)
    assert {line["part"]: line["u_db"] for line in found["budget"]} == {
        "mismatch": pytest.approx(0.342, abs=0.001),  # 0.6824 between VSWR 2 and 2, through 3 dB twice: half of it
        "whip": 1.0,
        "ten metres": 0.2,
        "box": 1.2,
    }


def test_without_being_asked_there_is_no_field_strength(run: Run, hall: Path, chain: Path) -> None:
    found = json.loads(run("air", hall, "--chain", chain, "--json")[1])
    assert "level_dbuvm" not in found["slices"][0]


def test_the_screen_tells_field_and_budget(run: Run, hall: Path, chain: Path) -> None:
    code, out, _ = run("air", hall, "--chain", chain, "--field")
    assert code == 0
    assert "dBµV/m" in out
    budget = out[out.index("How far the levels can be trusted") :]
    for part in ("mismatch", "whip", "ten metres", "box", "together"):
        assert part in budget
    assert "1.61 ±3.2 dB with k = 2" in " ".join(budget.split())  # √(0.342² + 1.0² + 0.2² + 1.2²) = 1.611
    assert all(len(line) <= 80 for line in out.splitlines())


def test_the_default_budget_on_the_screen(run: Run, hall: Path) -> None:
    out = run("air", hall)[1]
    assert "2.43 ±4.9 dB with k = 2" in " ".join(out.split())  # u_c 2.426 dB
    assert "common practice: ±3 dB for an unknown whip" in " ".join(out.split())


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (None, "needs the gain of the antenna"),
        ("cable,cable,-3,0.2\n", "needs the gain of the antenna"),
        ("cable,cable,cable.csv,0.2\n", "the line has other columns than line 3"),
    ],
)
def test_what_is_refused_is_one_sentence(run: Run, hall: Path, tmp_path: Path, rows: str | None, said: str) -> None:
    (tmp_path / "cable.csv").write_text("frequency_mhz,gain_db\n470,-1\n600,-1,5\n", encoding="utf-8")
    table = tmp_path / "chain.csv"
    table.write_text(f"part,kind,gain_db,u_db\n{rows}", encoding="utf-8")
    code, out, err = run("air", hall, "--field", *(() if rows is None else ("--chain", table)))
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("fallow: ") == 1
    assert "Traceback" not in err


def test_relative_levels_are_no_field_strength(run: Run, hall: Path, tmp_path: Path) -> None:
    table = tmp_path / "chain.csv"
    table.write_text("part,kind,gain_db,u_db\nwhip,antenna,2,1\n", encoding="utf-8")
    code, out, err = run("air", hall, "--level-unit", "dB", "--chain", table, "--field")
    assert (code, out) == (2, "")
    assert "relative levels can't be told as field strengths" in err
    assert "kind instrument" in err


def test_a_file_that_does_not_reach_far_enough(run: Run, hall: Path, tmp_path: Path) -> None:
    (tmp_path / "filter.csv").write_text("frequency_mhz,gain_db\n590,-1\n600.5,-1\n", encoding="utf-8")
    table = tmp_path / "chain.csv"
    table.write_text("part,kind,gain_db,u_db\nband,filter,filter.csv,0.1\n", encoding="utf-8")
    found = json.loads(run("air", hall, "--chain", table, "--span", "590M..610M", "--json")[1])
    verdicts = {part["low_hz"] // 1_000_000: part["verdict"] for part in found["slices"]}
    assert (verdicts[592], verdicts[602], verdicts[609]) == ("clean", "not measured", "not measured")
    assert any("'band' is known from 590.000 to 600.500 MHz only" in note for note in found["notes"])
