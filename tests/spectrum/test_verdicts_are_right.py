"""Verdicts over invented instruments whose errors are drawn from the stated budget: as often right as they say.

Small here; ``bench/verdicts.py`` does the same at length. Bounds: binomial, so that a right program fails once in
10,000.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from fallow.spectrum.judging import judge
from fallow.spectrum.sweep import LevelUnit
from fallow.spectrum.verdict import Judging, Verdict
from fallow.units import Channel
from invented_air import Instrument, Signal, budget_error_db, sweep_over

LIMIT_DBM = -90.0
SLICE = Channel("", 470_000_000, 478_000_000)


def _at_random(rng: np.random.Generator, error_db: float) -> Instrument:
    step = int(rng.choice([10_000, 25_000, 50_000]))
    return Instrument(
        step_hz=step,
        bins=round(8e6 / step) + 1,
        rbw_hz=float(step * rng.choice([0.9, 1.0, 3.0])),
        samples=int(rng.choice([1, 5, 30])),
        sweeps=int(rng.choice([1, 5, 40])),
        noise_dbm=float(rng.uniform(-128, -118) + 10 * np.log10(step / 10e3)),
        error_db=error_db,
    )


def _fails_once_in_10000(bad: int, tried: int, share: float) -> bool:
    return bad > stats.binom.ppf(1 - 1e-4, tried, share)


@pytest.mark.slow
def test_calibration() -> None:
    rng = np.random.default_rng(11)
    wrong = {Verdict.CLEAN: 0, Verdict.OCCUPIED: 0}
    called = dict.fromkeys(wrong, 0)
    for _ in range(250):
        instrument = _at_random(rng, budget_error_db(rng))
        level, centre = LIMIT_DBM + rng.uniform(-6.5, 6.5), float(rng.uniform(471e6, 477e6))
        on = np.ones(instrument.sweeps, dtype=bool)
        if rng.random() < 0.5:
            on = np.arange(instrument.sweeps) == rng.integers(instrument.sweeps)
        signal = Signal(centre, float(rng.choice([0, 50e3, 150e3])), level, on)
        air = judge(sweep_over(rng, instrument, [signal]), Judging(limit_dbm=LIMIT_DBM))
        verdict = Verdict(int(air.judge_windows(np.array([centre - 1e5]), np.array([centre + 1e5])).verdict[0]))
        if verdict in called:
            called[verdict] += 1
            wrong[verdict] += (level > LIMIT_DBM) != (verdict is Verdict.OCCUPIED)
    for verdict, count in called.items():
        assert count > 20
        assert not _fails_once_in_10000(wrong[verdict], count, 0.05)


@pytest.mark.slow
@pytest.mark.parametrize("width_hz", [0.0, 25e3, 150e3])
def test_no_false_alarm_whatever_the_level_below_the_limit(width_hz: float) -> None:
    rng = np.random.default_rng(12)
    wrong = 0
    for _ in range(120):
        instrument = _at_random(rng, budget_error_db(rng))
        signals = [Signal(470.5e6 + 0.7e6 * index, width_hz, LIMIT_DBM) for index in range(int(rng.choice([1, 10])))]
        air = judge(sweep_over(rng, instrument, signals), Judging(limit_dbm=LIMIT_DBM))
        wrong += air.judge_slices([SLICE])[0].verdict is Verdict.OCCUPIED
    assert not _fails_once_in_10000(wrong, 120, 0.05)


@pytest.mark.slow
@pytest.mark.parametrize("unit", list(LevelUnit))
def test_noise_alone_is_no_emitter_and_occupies_nothing(unit: LevelUnit) -> None:
    rng = np.random.default_rng(13)
    wrong = emitters = 0
    for _ in range(120):
        instrument = replace(_at_random(rng, 0.0), unit=unit)
        in_link = instrument.noise_dbm + 10 * np.log10(200e3 / instrument.rbw_hz)
        limit = in_link + float(rng.choice([-3, 0, 1, 3, 6])) if unit is LevelUnit.DBM else None
        air = judge(sweep_over(rng, instrument, []), Judging(limit_dbm=limit))
        wrong += air.judge_slices([SLICE])[0].verdict is Verdict.OCCUPIED
        emitters += len(air.emitters) > 0
    assert not _fails_once_in_10000(wrong, 120, 0.01)
    assert not _fails_once_in_10000(emitters, 120, 0.02)


@pytest.mark.slow
@pytest.mark.parametrize(("side", "verdict"), [(2.0, Verdict.OCCUPIED), (-2.0, Verdict.CLEAN)])
def test_power_is_not_hidden_in_doubtful(side: float, verdict: Verdict) -> None:
    rng = np.random.default_rng(14)
    hits = 0
    for _ in range(80):
        instrument = replace(_at_random(rng, 0.0), sweeps=10)
        centre = float(rng.uniform(471e6, 477e6))
        survey = sweep_over(rng, instrument, [Signal(centre, 0.0, LIMIT_DBM + side * 2.45)])
        hits += judge(survey, Judging(limit_dbm=LIMIT_DBM)).judge_window(centre - 1e5, centre + 1e5).verdict is verdict
    assert not _fails_once_in_10000(80 - hits, 80, 0.05)


@pytest.mark.slow
def test_a_step_of_the_instruments_floor_occupies_nothing() -> None:
    rng = np.random.default_rng(15)
    wrong = 0
    for _ in range(30):
        shape = np.where(np.arange(4001) > rng.integers(100, 3900), rng.uniform(-10, 10), 0.0)
        instrument = replace(_at_random(rng, 0.0), unit=LevelUnit.DB, bins=4001, step_hz=25_000, rbw_hz=25_000.0)
        air = judge(sweep_over(rng, replace(instrument, noise_shape_db=shape), []))
        slices = [Channel("", low, low + 8_000_000) for low in range(470_000_000, 566_000_000, 8_000_000)]
        wrong += any(one.verdict is Verdict.OCCUPIED for one in air.judge_slices(slices))
    assert wrong <= 2
