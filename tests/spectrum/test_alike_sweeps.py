"""Sweeps that say the same: how many count as one, and that noise which stays makes no emitters. Counted over noise."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.alike_sweeps import alike_sweeps
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Verdict

Values = NDArray[np.float64]
FLOOR_DBM = -110.0
SETTLED = 40  # sweeps before the first that is read


def running_average(rng: np.random.Generator, shape: tuple[int, int], weight: float, settled: int = SETTLED) -> Values:
    """Powers of a trace that is an analyser's running average: new sweeps of single samples with this weight."""
    power = rng.exponential(size=(shape[0] + settled, shape[1]))
    for sweep in range(1, len(power)):
        power[sweep] = (1.0 - weight) * power[sweep - 1] + weight * power[sweep]
    return power[settled:]


def hardly_moving(rng: np.random.Generator, shape: tuple[int, int]) -> Values:
    """The same powers of noise in each sweep, but for 0.3 dB."""
    return np.asarray(rng.exponential(size=shape[1]) * 10 ** (rng.normal(0.0, 0.03, shape)), dtype=np.float64)


def alike(power: Values) -> float:
    return alike_sweeps(Levels(((10 * np.log10(power)).astype(np.float32),)), 1.0)


def judged(power: Values) -> fallow.JudgedAir:
    axis = Axis.regular(500_000_000, 25_000, power.shape[1])
    levels = (FLOOR_DBM + 10 * np.log10(power)).astype(np.float32)
    series = Series(axis, levels, LevelUnit.DBM, 1e9 + 5.0 * np.arange(len(levels)), rbw_hz=25e3)
    return fallow.judge(Survey((series,)), width_hz=200_000)


@pytest.mark.parametrize("weight", [0.7, 0.5, 0.2])
@pytest.mark.parametrize("sweeps", [20, 60, 400])
def test_a_running_average_counts_as_its_memory_says(weight: float, sweeps: int) -> None:
    """An autoregressive process of first order with correlation r = 1 - weight between neighbours: n readings say as
    much of the mean as n·(1 - r)/(1 + r) (Box, Jenkins, Reinsel, Time Series Analysis, from memory), but for its ends.
    """
    r = 1.0 - weight
    lags = np.arange(1, sweeps)
    expected = 1.0 + 2.0 * float(((1.0 - lags / sweeps) * r**lags).sum())
    power = running_average(np.random.default_rng(sweeps), (sweeps, 2000), weight)
    assert alike(power) == pytest.approx(expected, rel=0.3)


@pytest.mark.parametrize("sweeps", [2, 5, 20, 60])
def test_a_trace_that_hardly_moves_counts_as_one(sweeps: int) -> None:
    assert alike(hardly_moving(np.random.default_rng(sweeps), (sweeps, 2000))) == pytest.approx(sweeps, rel=0.25)


@pytest.mark.parametrize("sweeps", [2, 3, 10, 60])
@pytest.mark.parametrize("bins", [150, 2000])
def test_independent_sweeps_count_each(sweeps: int, bins: int) -> None:
    rng = np.random.default_rng(bins + sweeps)
    kinds = [
        rng.exponential(size=(sweeps, bins)),
        rng.gamma(9.0, size=(sweeps, bins)),
        10 ** (rng.normal(0.0, 0.6, (sweeps, bins))),
        10 ** (0.2 * rng.standard_t(4, (sweeps, bins))),
        np.exp(0.2 * np.round(5.0 * np.log(rng.exponential(size=(sweeps, bins))))),  # in steps of nearly a decibel
    ]
    assert [alike(power) for power in kinds] == [1.0] * len(kinds)


@pytest.mark.parametrize("sweeps", [3, 20])
def test_carriers_and_television_that_stay_make_no_sweeps_alike(sweeps: int) -> None:
    rng = np.random.default_rng(sweeps)
    power = rng.exponential(size=(sweeps, 4000))
    for place in rng.integers(10, 3980, 100):
        power[:, place : place + 4] += 10 ** rng.uniform(0.5, 3.0)
    power[:, 500:1700] *= 10 ** (3.0 + 0.5 * np.sin(np.arange(1200) / 9.0))
    assert alike(power) == 1.0


@pytest.mark.parametrize("sweeps", [5, 10, 20])
def test_noise_that_stays_is_no_emitter(sweeps: int) -> None:
    """Six surveys each of noise alone: before sweeps were asked whether they say the same, 3 to 262 emitters a survey,
    and up to 30 of 500 slices occupied.
    """
    emitters, occupied, slices = 0, 0, 0
    for seed in range(2):
        rng = np.random.default_rng(seed)
        for power in (
            hardly_moving(rng, (sweeps, 4000)),
            running_average(rng, (sweeps, 4000), 0.2),
            running_average(rng, (sweeps, 4000), 0.2, settled=0),
        ):
            air = judged(power)
            emitters += len(air.emitters)
            occupied += sum(one.verdict is Verdict.OCCUPIED for one in air.slices)
            slices += len(air.slices)
            assert any("show the same noise" in note for note in air.notes)
    assert (emitters, occupied) == (0, 0)
    assert slices == 3000


@pytest.mark.parametrize("sweeps", [3, 20])
def test_what_is_on_the_air_is_found_in_a_running_average(sweeps: int) -> None:
    """Twenty steady carriers of -80 dBm and one that comes on in the last third: all occupied, told when."""
    rng = np.random.default_rng(5)
    power = running_average(rng, (sweeps, 4000), 0.2)
    places = np.arange(60, 3260, 160)
    for place in places:
        power[:, place : place + 3] += 10 ** ((-80.0 - FLOOR_DBM) / 10) * rng.gamma(9.0, 1 / 9, (sweeps, 3))
    first = sweeps - sweeps // 3
    power[first:, 3600:3603] += 1e3
    air = judged(power)
    assert [air.slices[place // 8].verdict for place in (*places, 3600)] == [Verdict.OCCUPIED] * 21
    (late,) = [one for one in air.emitters if one.low_hz <= 590_025_000 <= one.high_hz]
    assert late.on_share == pytest.approx((sweeps - first) / sweeps)


@pytest.mark.parametrize(("sweeps", "weight"), [(30, 0.15), (10, 0.3)])
def test_a_carrier_that_comes_on_in_an_average_that_has_just_begun_is_found(sweeps: int, weight: float) -> None:
    """33 dB above the noise in one bin, from the middle on: the first sweeps, single readings, are no heavy end."""
    for seed in range(4):
        rng = np.random.default_rng(seed)
        power = rng.exponential(size=(sweeps, 1200))
        power[sweeps // 2 :, 100] += 2e3
        for sweep in range(1, sweeps):
            power[sweep] = (1.0 - weight) * power[sweep - 1] + weight * power[sweep]
        air = judged(power)
        assert air.slices[12].verdict is Verdict.OCCUPIED
        assert [one.low_hz < 502_500_000 < one.high_hz for one in air.emitters] == [True]


@pytest.mark.parametrize("sweeps", [3, 20])
@pytest.mark.parametrize("samples", [1, 16])
def test_a_band_full_of_senders_that_stay_is_no_trace_that_hardly_moves(sweeps: int, samples: int) -> None:
    """Every 200 kHz a sender of -15 to 65 dB over the noise, as in a band of GSM: the sweeps are independent."""
    rng = np.random.default_rng(sweeps + samples)
    levels = np.repeat(10 ** rng.uniform(-1.5, 6.5, 375), 8)
    assert alike((1.0 + levels) * rng.gamma(samples, 1 / samples, (sweeps, 3000))) == 1.0
    rippling = 10 ** (0.2 * np.sin(2 * np.pi * np.arange(3000) / 76))
    assert alike(rippling * rng.gamma(samples, 1 / samples, (sweeps, 3000))) == 1.0
