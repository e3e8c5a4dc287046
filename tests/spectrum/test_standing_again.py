"""Noise whose far end falls off slowly, or that holds impulses: nothing in it is occupied, and carriers are found.

Counted, truth known. The noise is Student's t in decibels (drawn by NumPy), whose single readings reach 30 dB above the
floor and more.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.heard import Heard, make_ready
from fallow.spectrum.noise.noise_floor import find_floor
from fallow.spectrum.noise.standing_again import reached_together, standing_again
from fallow.spectrum.sweep import LevelUnit, Series, Survey

Values = NDArray[np.float64]
LOW_HZ, STEP_HZ, BINS = 500_000_000, 25_000, 1600
FLOOR_DBM = -105.0


def _survey(levels_dbm: Values) -> Survey:
    axis = Axis.regular(LOW_HZ, STEP_HZ, levels_dbm.shape[1])
    return Survey((Series(axis, levels_dbm.astype(np.float32), LevelUnit.DBM, rbw_hz=float(STEP_HZ)),))


def _noise(seed: int, sweeps: int, degrees: int, scale_db: float) -> Values:
    return FLOOR_DBM + scale_db * np.random.default_rng(seed).standard_t(degrees, (sweeps, BINS))


def _heard(levels_dbm: Values) -> Heard:
    return make_ready(_survey(levels_dbm))[0][0]


@pytest.mark.parametrize(("degrees", "scale_db"), [(4, 2.0), (6, 2.0), (6, 1.0)])
@pytest.mark.parametrize("sweeps", [5, 20])
def test_such_noise_makes_no_slice_occupied(degrees: int, scale_db: float, sweeps: int) -> None:
    """At most 1 slice in 100; 120 slices allow for five (binomial, 99.9 %)."""
    assert stats.binom.sf(5, 120, 0.01) < 0.002
    occupied = made = 0
    for seed in range(3):
        air = fallow.judge(_survey(_noise(seed, sweeps, degrees, scale_db)), width_hz=1_000_000)
        occupied += sum(one.verdict.word == "occupied" for one in air.slices)
        made += len(air.emitters)
    assert occupied <= (5 if sweeps < 20 else 1)
    assert made <= 2


@pytest.mark.parametrize(("bins", "on"), [(8, 1.0), (1, 1.0), (1, 0.4)])
@pytest.mark.parametrize("sweeps", [5, 20])
def test_carriers_in_such_noise_are_occupied_and_listed(bins: int, on: float, sweeps: int) -> None:
    rng = np.random.default_rng(8)
    power = 10 ** (_noise(5, sweeps, 4, 2.0) / 10)
    places = np.arange(60, BINS - 60, 150) + rng.integers(0, 60, 10)
    for place in places:
        is_on = rng.permutation(sweeps) < on * sweeps
        power[is_on, place : place + bins] += 10 ** (rng.uniform(-75.0, -50.0) / 10) / bins
    air = fallow.judge(_survey(10 * np.log10(power)), width_hz=200_000)
    centres_hz = LOW_HZ + (places + (bins - 1) / 2) * STEP_HZ
    found = [[e for e in air.emitters if e.low_hz - STEP_HZ <= hz <= e.high_hz + STEP_HZ] for hz in centres_hz]
    occupied = [
        any(one.low_hz <= hz <= one.high_hz for one in air.slices if one.verdict.word == "occupied")
        for hz in centres_hz
    ]
    assert np.mean([bool(some) for some in found]) >= 0.9
    assert np.mean(occupied) >= 0.9
    shares = [some[0].on_share for some in found if some]
    assert float(np.median([share for share in shares if share is not None])) == pytest.approx(on, abs=0.1)


@pytest.mark.parametrize(("sweeps", "samples"), [(3, 1), (4, 1), (4, 4), (20, 1), (20, 4)])
def test_impulses_make_no_slice_occupied(sweeps: int, samples: int) -> None:
    """One reading in a hundred is lifted by 6 dB on average, exponentially: noise alone makes at most 1 slice in 100
    occupied; 800 slices allow for 17 (binomial, 99.9 %).
    """
    assert stats.binom.sf(17, 800, 0.01) < 0.002
    occupied = made = 0
    for seed in range(4):
        rng = np.random.default_rng(seed)
        levels = FLOOR_DBM + 10 * np.log10(rng.gamma(samples, 1 / samples, (sweeps, BINS)))
        levels += np.where(rng.random(levels.shape) < 0.01, rng.exponential(6.0, levels.shape), 0.0)
        air = fallow.judge(_survey(levels), width_hz=200_000)
        occupied += sum(one.verdict.word == "occupied" for one in air.slices)
        made += len(air.emitters)
    assert occupied <= 17
    assert made <= 12


@pytest.mark.parametrize(("sweeps", "samples", "carriers"), [(5, 4, 20), (20, 1, 20), (20, 4, 80)])
def test_a_crowd_of_short_carriers_far_above_the_noise_is_no_heavy_end(
    sweeps: int, samples: int, carriers: int
) -> None:
    """Each in one bin and once, 28 dB above the floor, and nothing between: what is there is occupied and listed."""
    rng = np.random.default_rng(3)
    power = rng.gamma(samples, 1 / samples, (sweeps, BINS)) * 10 ** (FLOOR_DBM / 10)
    places = np.sort(rng.choice(np.arange(1, BINS // 8 - 1), carriers, replace=False)) * 8 + 3
    power[rng.integers(0, sweeps, carriers), places] += 10 ** ((FLOOR_DBM + 28.0 + rng.normal(0, 0.5, carriers)) / 10)
    air = fallow.judge(_survey(10 * np.log10(power)), limit_dbm=FLOOR_DBM + 15.0, width_hz=200_000)
    centres_hz = LOW_HZ + places * STEP_HZ
    occupied = [
        any(one.low_hz <= hz <= one.high_hz for one in air.slices if one.verdict.word == "occupied")
        for hz in centres_hz
    ]
    listed = [any(e.low_hz - STEP_HZ <= hz <= e.high_hz + STEP_HZ for e in air.emitters) for hz in centres_hz]
    assert np.mean(occupied) >= 0.9
    assert np.mean(listed) >= 0.9  # one by one, or as what hops


def _places_of(rng: np.random.Generator, count: int) -> NDArray[np.int64]:
    """The first bins of carriers, one each in windows of eight bins that are not neighbours."""
    return np.sort(rng.choice(np.arange(1, BINS // 16), count, replace=False)) * 16 + 3


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_many_carriers_make_each_other_no_less_sure(seed: int) -> None:
    """60 of 35 dB above the floor on average, in two of 20 sweeps each: all are occupied, and listed but for one."""
    rng = np.random.default_rng(seed)
    power, places = 10 ** (_noise(seed + 50, 20, 5, 2.0) / 10), _places_of(rng, 60)
    for place in places:
        power[rng.choice(20, 2, replace=False), place] += 10 ** (rng.normal(FLOOR_DBM + 35.0, 3.0, 2) / 10)
    air = fallow.judge(_survey(np.round(10 * np.log10(power))), width_hz=200_000)
    occupied = [air.slices[place // 8].verdict.word == "occupied" for place in places]
    listed = [any(abs(one.centre_hz - LOW_HZ - place * STEP_HZ) < 60e3 for one in air.emitters) for place in places]
    assert sum(occupied) >= 59
    assert sum(listed) >= 57


@pytest.mark.parametrize("sweeps", [20, 300])
def test_a_burst_of_four_bins_in_one_sweep_is_seen_in_any_of_them(sweeps: int) -> None:
    """40 dB above the floor, once: side by side no noise is so high, however many sweeps there are."""
    rng = np.random.default_rng(sweeps)
    power, places = 10 ** (_noise(70, sweeps, 8, 2.0) / 10), _places_of(rng, 20)
    for place in places:
        power[rng.integers(sweeps), place : place + 4] += 10 ** ((FLOOR_DBM + 40.0) / 10)
    air = fallow.judge(_survey(10 * np.log10(power)), width_hz=200_000)
    assert all(air.slices[place // 8].verdict.word == "occupied" for place in places)


def test_independent_readings_are_high_together_as_rarely_as_they_should() -> None:
    """A chance of 1 in 1,000 for each bin, over bins of noise whose end is known: at most as many bins (Poisson)."""
    seen = sum(
        int(standing_again(heard, find_floor(heard), 1e-3).sum())
        for heard in (_heard(_noise(s, 20, 4, 2.0)) for s in range(4))
    )
    assert seen <= stats.poisson.ppf(0.999, 4 * BINS * 1e-3)


def test_what_several_readings_reach_against_plain_sorting() -> None:
    levels = _noise(1, 12, 4, 2.0)
    heard = _heard(levels)
    floor = find_floor(heard)
    *over_time, beside = reached_together(heard, floor)
    above = heard.levels_db[:] - floor.noise_db
    assert [(one.looks, one.again) for one in over_time] == [(12, 2), (12, 3), (12, 6)]
    for one in over_time:
        plain = [sorted(above[:, k])[-one.again] for k in range(BINS)]
        assert one.above_db == pytest.approx(plain, abs=1e-4)
    lag = 2  # neighbours of noise without any likeness are independent from 1.2 resolutions on
    for k in (0, 7, 800, BINS - 1):
        neighbours = [j for j in (k - lag, k + lag) if 0 <= j < BINS]
        plain_beside = max(min(above[s, k], above[s, j]) for s in range(12) for j in neighbours)
        assert beside.above_db[k] == pytest.approx(plain_beside, abs=1e-4)


def test_the_chance_of_each_reading_against_the_binomial_distribution() -> None:
    heard = _heard(_noise(1, 12, 4, 2.0))
    for one in reached_together(heard, find_floor(heard)):
        each = one.each_exceeds(1e-4)
        # reference: SciPy's binomial distribution
        assert one.tries * stats.binom.sf(one.again - 1, one.looks, each) == pytest.approx(1e-4, rel=1e-3)
