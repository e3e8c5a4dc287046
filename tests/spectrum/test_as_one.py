"""What is on as one, and what only looks so in the mean over the sweeps: drawn airs, truth known, counted.

Television here is flat over the 7.607 MHz of DVB-T (ETSI EN 300 744) in channels of 8 MHz from 470 MHz on (GE06).
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.workflow.survey import JudgedAir

Values = NDArray[np.float64]
LOW_HZ, STEP_HZ, BINS = 500_000_000, 25_000, 4000
FLOOR_DBM = -110.0
CHANNELS_HZ = (510_000_000, 526_000_000, 534_000_000, 566_000_000)  # their lower edges; two are neighbours
WIDE = 304  # bins of a DVB-T block


def _air(rng: np.random.Generator, sweeps: int, samples: int = 1) -> Values:
    return np.asarray(10 ** (FLOOR_DBM / 10) * rng.gamma(samples, 1 / samples, (sweeps, BINS)))


def _hop(rng: np.random.Generator, power: Values, channels: int, at_once: int, wide: int) -> None:
    """Bursts of -65 dBm that are in other channels of a raster in each sweep."""
    for row in power:
        for channel in rng.choice(channels, at_once, replace=False):
            begin = 400 + channel * wide
            row[begin : begin + wide] += 10 ** (rng.normal(-65.0, 3.0) / 10) / wide * rng.gamma(3, 1 / 3, wide)


def _television(rng: np.random.Generator, power: Values, level_dbm: float, on: NDArray[np.bool_]) -> None:
    """Blocks whose notches wander and whose level fades from sweep to sweep; ``level_dbm`` in each bin."""
    for low_hz in CHANNELS_HZ:
        begin = (low_hz - LOW_HZ) // STEP_HZ + 8
        notches = 4.0 * np.sin(np.arange(WIDE) / 40 + 0.7 * np.arange(len(power))[:, None])
        fading = rng.normal(0.0, 1.5, (len(power), 1))
        block = 10 ** ((level_dbm + notches + fading) / 10) * rng.exponential(size=(len(power), WIDE))
        power[on, begin : begin + WIDE] += block[on]


def _judged(power: Values, sweep_s: float = 1.0) -> JudgedAir:
    axis = Axis.regular(LOW_HZ, STEP_HZ, BINS)
    levels = (10 * np.log10(power)).astype(np.float32)
    times = np.arange(len(power)) * sweep_s
    series = Series(axis, levels, LevelUnit.DBM, times_s=times, rbw_hz=float(STEP_HZ))
    return fallow.judge(Survey((series,)), width_hz=1_000_000)


def _televisions(air: JudgedAir) -> list[int]:
    return [one.low_hz for one in air.emitters if one.looks_like.startswith("TV")]


@pytest.mark.parametrize(
    ("sweeps", "channels", "at_once", "wide"), [(30, 50, 3, 40), (60, 79, 4, 40), (20, 79, 10, 40), (20, 40, 4, 80)]
)
def test_a_hopper_is_no_television(sweeps: int, channels: int, at_once: int, wide: int) -> None:
    for seed in range(3):
        rng = np.random.default_rng(seed)
        power = _air(rng, sweeps)
        _hop(rng, power, channels, at_once, wide)
        assert _televisions(_judged(power)) == []


@pytest.mark.parametrize("level_dbm", [-108.0, -100.0, -80.0])
@pytest.mark.parametrize("sweeps", [5, 30])
def test_television_that_fades_is_still_told(level_dbm: float, sweeps: int) -> None:
    rng = np.random.default_rng(sweeps)
    power = _air(rng, sweeps)
    _television(rng, power, level_dbm, np.ones(sweeps, dtype=bool))
    assert _televisions(_judged(power)) == list(CHANNELS_HZ)


def test_television_under_a_hopper_and_beside_a_microphone_is_still_told() -> None:
    rng = np.random.default_rng(4)
    power = _air(rng, 40)
    _television(rng, power, -90.0, np.ones(40, dtype=bool))
    power[rng.random(40) < 0.2, 500:508] += 10 ** (-55.0 / 10) / 8  # within the first channel, at times
    assert _televisions(_judged(power)) == list(CHANNELS_HZ)
    _hop(rng, power, 79, 4, 40)
    assert len(_televisions(_judged(power))) >= 3


@pytest.mark.parametrize(("run", "sweep_s", "told"), [(3, 1.0, False), (3, 60.0, True), (30, 10.0, True)])
def test_television_is_not_on_for_seconds_at_a_time(run: int, sweep_s: float, told: bool) -> None:
    """On as a whole in three tenths of 100 sweeps: in runs of three, or in one."""
    rng = np.random.default_rng(6)
    power = _air(rng, 100)
    on = np.arange(100) % (10 * run // 3) < run
    _television(rng, power, -90.0, on)
    assert _televisions(_judged(power, sweep_s)) == (list(CHANNELS_HZ) if told else [])


@pytest.mark.parametrize(("first", "end"), [(40, 60), (0, 20)])
def test_how_long_television_is_on_is_not_known_where_the_survey_cuts_it_off(first: int, end: int) -> None:
    """It comes on for the last twenty of sixty seconds, or is on for the first twenty."""
    rng = np.random.default_rng(7)
    power, second = _air(rng, 60), np.arange(60)
    _television(rng, power, -80.0, (first <= second) & (second < end))
    assert _televisions(_judged(power)) == list(CHANNELS_HZ)
