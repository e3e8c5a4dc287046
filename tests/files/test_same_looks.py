"""Sweeps that several files hold count once: logs that overlap, one sweep in two formats. Truth is what is written."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.errors import UsageError
from fallow.files.same_looks import looks_shared
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import LevelUnit, Series

BINS = 200
START_S = 1_772_366_400.0
Levels = NDArray[np.float64]


def drawn(sweeps: int, seed: int = 1) -> Levels:
    levels = np.random.default_rng(seed).normal(-100.0, 2.0, (sweeps, BINS))
    levels[:, 90] = -60.0
    return levels


def log(path: Path, levels: Levels, rows: Sequence[int], digits: int = 2) -> Path:
    """A matrix with a row for each of some sweeps, one a second, in dBm."""
    lines = [",".join(["time", *(f"{470 + k * 0.025:.3f} MHz" for k in range(BINS))])]
    for row in rows:
        time = datetime.fromtimestamp(START_S + row, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        lines.append(",".join([time, *(f"{level:.{digits}f}" for level in levels[row])]))
    path.write_text("\n".join([*lines, ""]), encoding="utf-8")
    return path


def told(survey: fallow.Survey) -> list[str]:
    return [note for note in survey.notes if "counted once" in note]


def test_logs_that_overlap_count_each_sweep_once(tmp_path: Path) -> None:
    levels = drawn(30)
    first, second = log(tmp_path / "a.csv", levels, range(20)), log(tmp_path / "b.csv", levels, range(5, 30))
    survey = fallow.open_sweeps(first, second)
    assert survey.n_sweeps == 30
    assert len(told(survey)) == 1
    assert "15 of" in told(survey)[0]
    assert not any("instruments" in note for note in survey.notes)
    times = np.sort(np.concatenate([series.times_s for series in survey.series if series.times_s is not None]))
    assert times == pytest.approx(START_S + np.arange(30))


def test_three_logs_hold_each_sweep_once(tmp_path: Path) -> None:
    levels = drawn(12)
    paths = [log(tmp_path / f"{k}.csv", levels, range(3 * k, 3 * k + 6)) for k in range(3)]
    assert fallow.open_sweeps(*paths).n_sweeps == 12


def test_one_sweep_in_two_formats_counts_once_and_the_finer_one_stays(tmp_path: Path) -> None:
    levels = drawn(1)[0]
    rows = "\n".join(f"{470 + k * 0.025:.3f} MHz,{level:.0f} dBm" for k, level in enumerate(levels))
    plain, records = tmp_path / "a.csv", tmp_path / "b.json"
    plain.write_text("frequency,level\n" + rows + "\n", encoding="utf-8")
    records.write_text(
        json.dumps([{"freq_hz": 470_000_000 + 25_000 * k, "dbm": round(v, 2)} for k, v in enumerate(levels)])
    )
    survey = fallow.open_sweeps(plain, records)
    assert survey.n_sweeps == 1
    assert survey.series[0].levels_db[0] == pytest.approx(levels, abs=0.006)
    assert told(survey) == [f"{plain}: its sweep is in {records} too, the same look: counted once"]


def test_two_looks_stay_two(tmp_path: Path) -> None:
    """Another time, another level, the same air at the same moments through another unit, coarse and quiet readings."""
    levels = drawn(8)
    later = log(tmp_path / "later.csv", np.concatenate([levels, levels]), range(8, 16))
    assert fallow.open_sweeps(log(tmp_path / "a.csv", levels, range(8)), later).n_sweeps == 16
    changed = levels.copy()
    changed[:, 17] += 0.1
    other = log(tmp_path / "c.csv", changed, range(8))
    assert fallow.open_sweeps(tmp_path / "a.csv", other).n_sweeps == 16
    quiet = np.full((8, BINS), -110.0)
    quiet[:, 20] = np.arange(8) - 70.0
    paths = [log(tmp_path / f"quiet{k}.csv", quiet + [[0.0], [1.0]][k], range(8), 0) for k in range(2)]
    assert fallow.open_sweeps(*paths).n_sweeps == 16


def series(levels: Levels, times_s: Levels | None = None) -> Series:
    axis = Axis.regular(Fraction(470_000_000), Fraction(25_000), BINS)
    return Series(axis, levels.astype(np.float32), LevelUnit.DBM, times_s)


@pytest.mark.parametrize("sweeps", [40, 3000])
def test_shared_looks_are_counted_as_a_plain_search_does(sweeps: int) -> None:
    """Some sweeps of one series stand in another, in another order and without their times."""
    rng = np.random.default_rng(3)
    air = rng.normal(-100.0, 3.0, (sweeps, BINS)).round(1)
    own = rng.normal(-100.0, 3.0, (sweeps, BINS)).round(1)
    places = rng.choice(sweeps, sweeps // 4, replace=False)
    own[places] = air[rng.permutation(sweeps)[: places.size]]
    plain = sum(any(np.array_equal(mine, theirs) for theirs in air) for mine in own[: min(sweeps, 60)])
    assert looks_shared(series(own[:60]), series(air)) == plain
    assert looks_shared(series(own), series(air, START_S + np.arange(sweeps, dtype=np.float64))) == places.size


def test_levels_that_may_agree_by_chance_are_no_shared_look() -> None:
    deaf = np.full((4, BINS), -110.0)
    assert looks_shared(series(deaf), series(deaf)) == 0


def test_a_reference_with_sweeps_of_the_air_says_so_or_is_refused(tmp_path: Path) -> None:
    levels, load = drawn(20), np.random.default_rng(2).normal(-110.0, 2.0, (20, BINS))
    air = fallow.open_sweeps(log(tmp_path / "air.csv", levels, range(20)))
    part = log(tmp_path / "part.csv", levels, range(5))
    with pytest.raises(UsageError, match="same sweeps"):
        fallow.judge(air, reference=fallow.open_sweeps(part))
    mixed = log(tmp_path / "mixed.csv", np.concatenate([levels[:5], load[5:]]), range(20))
    notes = fallow.judge(air, reference=fallow.open_sweeps(mixed)).notes
    assert any(note.startswith("5 of 20 sweeps of the reference") for note in notes)
