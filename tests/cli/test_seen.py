"""When emitters were seen: keys of the JSON answer and the screen, from files with and without times and zone."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

Run = Callable[..., tuple[int, str, str]]
SWEEPS, BEAT = 240, 20
START = np.datetime64("2026-03-14T15:40:00")


def _written(path: Path, times: list[str]) -> Path:
    """Noise of -115 dBm in 25 kHz, 470 to 480 MHz, one sweep every 3 s; a burst of -70 at 474 MHz each minute."""
    powers = 10**-11.5 * np.random.default_rng(5).gamma(10.0, 0.1, size=(SWEEPS, 401))
    powers[7::BEAT, 159:162] += 1e-7
    rows = [("time," if times else "") + ",".join(f"{470.0 + 0.025 * place:.3f}" for place in range(401))]
    for sweep, levels in enumerate(10.0 * np.log10(powers)):
        rows.append((f"{times[sweep]}," if times else "") + ",".join(f"{level:.2f}" for level in levels))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def _clock(zone: str) -> list[str]:
    return [f"{START + np.timedelta64(3 * sweep, 's')}{zone}" for sweep in range(SWEEPS)]


TELLING = ("--level-unit", "dBm", "--rbw", "25k", "--detector", "average")


def test_first_and_last_with_a_zone_and_the_beat(run: Run, tmp_path: Path) -> None:
    path = _written(tmp_path / "hall.csv", _clock("Z"))
    code, out, _ = run("air", path, *TELLING, "--json")
    assert code == 0
    (burst,) = json.loads(out)["emitters"]
    assert burst["first_seen"] == "2026-03-14T15:40:21Z"
    assert burst["last_seen"] == "2026-03-14T15:51:21Z"
    assert burst["first_seen_local"] is None
    assert burst["period_s"] == pytest.approx(60.0, abs=0.1)
    assert burst["period_u_s"] == pytest.approx(3.0 / 10, rel=0.1)  # a sweep over the periods counted


def test_a_clock_without_zone_is_told_as_such(run: Run, tmp_path: Path) -> None:
    path = _written(tmp_path / "hall.csv", _clock(""))
    (burst,) = json.loads(run("air", path, *TELLING, "--json")[1])["emitters"]
    assert (burst["first_seen"], burst["last_seen"]) == (None, None)
    assert burst["first_seen_local"] == "2026-03-14T15:40:21"
    zoned = json.loads(run("air", path, *TELLING, "--zone", "+02:00", "--json")[1])["emitters"][0]
    assert zoned["first_seen"] == "2026-03-14T13:40:21Z"


def test_without_times_there_are_none(run: Run, tmp_path: Path) -> None:
    levels = 10.0 * np.log10(10**-11.5 * np.random.default_rng(5).gamma(10.0, 0.1, size=401))
    levels[160] = -70.0
    rows = [f"{470.0 + 0.025 * place:.3f},{level:.2f}" for place, level in enumerate(levels)]
    path = tmp_path / "hall.csv"
    path.write_text("MHz,dBm\n" + "\n".join(rows) + "\n", encoding="utf-8")
    (carrier,) = json.loads(run("air", path, "--rbw", "25k", "--detector", "average", "--json")[1])["emitters"]
    keys = ("first_seen", "last_seen", "first_seen_local", "last_seen_local", "period_s", "period_u_s")
    assert [carrier[key] for key in keys] == [None] * 6


def test_the_screen_tells_it_in_80_columns(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    out = run("air", _written(tmp_path / "hall.csv", _clock("Z")), *TELLING)[1]
    assert max(len(line) for line in out.splitlines()) <= 80
    told = " ".join(out.split())
    assert "comes every 60 s" in told
    assert "first seen 2026-03-14 15:40:21, last 15:51:21 UTC" in told
