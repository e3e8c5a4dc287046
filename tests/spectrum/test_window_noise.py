"""Noise that is not what the model of a receiver says makes no slice occupied, where its floor reaches the limit.

What is asked for: noise alone makes at most one slice in a hundred occupied (the contract of this project). Bounds:
binomial, so that a right program fails once in 10,000. The noises share no code with fallow.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal, stats

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import judge
from fallow.spectrum.noise.uneven_floor import unevenness_db
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging, Verdict
from fallow.units import Channel

Levels = NDArray[np.float64]
LOW_HZ, STEP_HZ = 500_000_000, 25_000
PER_MHZ = 1_000_000 // STEP_HZ


def _survey(levels_dbm: Levels, rbw_hz: float | None = STEP_HZ) -> Survey:
    axis = Axis.regular(LOW_HZ, STEP_HZ, levels_dbm.shape[1])
    return Survey((Series(axis, levels_dbm.astype(np.float32), LevelUnit.DBM, rbw_hz=rbw_hz),))


def _occupied(survey: Survey) -> int:
    """Slices of 1 MHz called occupied at the usual limit of -90 dBm in 200 kHz."""
    count = survey.series[0].axis.n // PER_MHZ
    slices = [Channel(str(n), LOW_HZ + n * 1_000_000, LOW_HZ + (n + 1) * 1_000_000) for n in range(count)]
    judged = judge(survey, Judging()).judge_slices(slices)
    return sum(one.verdict is Verdict.OCCUPIED for one in judged)


def _too_many(occupied: int, slices: int) -> bool:
    return occupied > stats.binom.ppf(1 - 1e-4, slices, 0.01)


def _gamma_db(rng: np.random.Generator, shape: float, size: tuple[int, int]) -> Levels:
    return np.asarray(10.0 * np.log10(rng.gamma(shape, 1.0 / shape, size)))


def _alike_db(rng: np.random.Generator, size: tuple[int, int], bins: float) -> Levels:
    """Exponential powers behind a Gaussian filter of so many bins between its half power points."""
    reach = round(4 * bins)
    response = np.exp(-0.5 * np.square(np.arange(-reach, reach + 1) / (bins / 2.355)))
    parts = rng.normal(size=(2, size[0], size[1] + 2 * reach)) / np.sqrt(2.0 * np.square(response).sum())
    filtered = signal.fftconvolve(parts, response[None, None, :], axes=2, mode="valid")
    return np.asarray(10.0 * np.log10(np.square(filtered).sum(axis=0)))


def _steps_db(rng: np.random.Generator, bins: int, sd_db: float) -> Levels:
    """A gain that changes every 5 MHz."""
    return np.repeat(rng.normal(0.0, sd_db, -(-bins // 200)), 200)[:bins]


@pytest.mark.parametrize("sd_db", [3.0, 4.0, 5.57])
@pytest.mark.parametrize(("sweeps", "floor_dbm"), [(5, -92.0), (40, -85.0)])
def test_noise_even_in_decibels(sd_db: float, sweeps: int, floor_dbm: float) -> None:
    rng = np.random.default_rng(round(100 * sd_db))
    assert not _too_many(_occupied(_survey(rng.normal(floor_dbm, sd_db, (sweeps, 4000)))), 100)


@pytest.mark.parametrize(("sweeps", "floor_dbm"), [(1, -92.0), (10, -92.0), (40, -85.0)])
def test_neighbours_that_say_the_same_where_no_resolution_is_stated(sweeps: int, floor_dbm: float) -> None:
    rng = np.random.default_rng(sweeps)
    assert not _too_many(_occupied(_survey(floor_dbm + _alike_db(rng, (sweeps, 4000), 4.0), None)), 100)


@pytest.mark.parametrize("sd_db", [1.0, 2.0])
@pytest.mark.parametrize(("sweeps", "floor_dbm"), [(10, -92.0), (40, -92.0), (40, -85.0)])
def test_a_gain_in_steps(sd_db: float, sweeps: int, floor_dbm: float) -> None:
    rng = np.random.default_rng(4)
    levels = floor_dbm + _gamma_db(rng, 2.0, (sweeps, 6000)) + _steps_db(rng, 6000, sd_db)
    assert not _too_many(_occupied(_survey(levels)), 150)


def test_dips_tell_an_uneven_floor_and_signals_do_not() -> None:
    rng = np.random.default_rng(8)
    stretches = np.repeat(rng.normal(0.0, 1.0, 60), 20)
    noise = rng.normal(0.0, 0.2, stretches.size)
    assert unevenness_db(stretches + noise, 0.2, 250e3) == pytest.approx(1.0, abs=0.35)
    assert unevenness_db(noise, 0.2, 250e3) < 0.1
    slope = 3.0 * np.sin(np.arange(stretches.size) / 200.0)
    assert unevenness_db(slope + noise, 0.2, 250e3) < 0.35
    signals = np.where(np.arange(stretches.size) % 400 < 32, 6.0, 0.0)
    assert unevenness_db(signals + noise, 0.2, 250e3) < 0.1


def test_a_carrier_that_stands_clear_of_such_noise_is_occupied() -> None:
    rng = np.random.default_rng(9)
    for levels, rbw_hz in (
        (rng.normal(-110.0, 5.57, (20, 4000)), STEP_HZ),
        (-110.0 + _alike_db(rng, (20, 4000), 4.0), None),
        (-110.0 + _gamma_db(rng, 2.0, (20, 4000)) + _steps_db(rng, 4000, 2.0), STEP_HZ),
    ):
        levels[:, 2000] = -80.0 if rbw_hz else -74.0  # 6 dB more where the resolution may be four steps wide
        assert _occupied(_survey(levels, rbw_hz)) >= 1
