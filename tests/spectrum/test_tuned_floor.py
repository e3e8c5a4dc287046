"""A tuner whose gain steps every few megahertz: its steps are no emitters, and what is on the air beside them is."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Emitter

Values = NDArray[np.float64]
LOW_HZ, STEP_HZ, BINS = 500_000_000, 25_000, 4000
FLOOR_DBM = -108.0


def _steps_db(rng: np.random.Generator, per_tuning: int) -> Values:
    """Gains of 0 to 6 dB, one for each tuning of so many bins; the first begins before the axis does."""
    return np.repeat(rng.uniform(0.0, 6.0, BINS // per_tuning + 2), per_tuning)[13 : 13 + BINS]


def _noise(rng: np.random.Generator, sweeps: int, samples: int, bins: int) -> Values:
    return rng.gamma(samples, 1 / samples, (sweeps, bins))


def _emitters(power: Values) -> tuple[Emitter, ...]:
    levels = FLOOR_DBM + 10 * np.log10(power)
    axis = Axis.regular(LOW_HZ, STEP_HZ, BINS)
    survey = Survey((Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=float(STEP_HZ)),))
    return fallow.judge(survey, region="de").emitters


@pytest.mark.parametrize("per_tuning", [80, 96])
@pytest.mark.parametrize(("sweeps", "samples"), [(1, 1), (1, 16), (10, 1), (10, 16)])
def test_steps_of_a_tuner_are_no_emitters(sweeps: int, samples: int, per_tuning: int) -> None:
    """At most one emitter in three surveys of fifty steps each."""
    made = 0
    for seed in range(3):
        rng = np.random.default_rng(seed)
        made += len(_emitters(_noise(rng, sweeps, samples, BINS) * 10 ** (_steps_db(rng, per_tuning) / 10)))
    assert made <= 1


@pytest.mark.parametrize(("sweeps", "samples"), [(1, 16), (10, 4)])
def test_what_is_on_the_air_beside_the_steps_is_found(sweeps: int, samples: int) -> None:
    """Four carriers, a rise of 5 MHz by 10 dB, and television by 16 dB, all through the same gains."""
    rng = np.random.default_rng(11)
    power = _noise(rng, sweeps, samples, BINS)
    carriers = (300, 900, 1500, 3333)
    for place in carriers:
        power[:, place : place + 8] += 10**2.3 * _noise(rng, sweeps, samples, 8)
    power[:, 2630:2830] += 10**1.0 * _noise(rng, sweeps, samples, 200)
    power[:, 2008:2312] += 10**1.6 * _noise(rng, sweeps, samples, 304)  # 7.6 MHz of channel 31
    emitters = _emitters(power * 10 ** (_steps_db(rng, 80) / 10))

    def at(first: int, last: int) -> list[Emitter]:
        low, high = LOW_HZ + first * STEP_HZ, LOW_HZ + last * STEP_HZ
        return [one for one in emitters if one.low_hz < high and one.high_hz > low]

    assert all(at(place, place + 8) for place in carriers)
    assert sum(one.high_hz - one.low_hz for one in at(2630, 2830)) == pytest.approx(5e6, rel=0.4)
    assert [one.looks_like for one in at(2008, 2312)] == ["TV, DVB-T"]
    assert len(emitters) <= 8
