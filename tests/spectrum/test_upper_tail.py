"""How far noise reaches up: against the quantiles of known distributions, and false emitters counted over noise."""

from __future__ import annotations

import re

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import judge
from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.upper_tail import UpperTail, find_upper_tail
from fallow.spectrum.statistics import noise_quantile_db
from fallow.spectrum.sweep import LevelUnit, Series, Survey

FAR = 1e-7  # chance at which emitters are told from noise, or so
Values = NDArray[np.float64]


def _gamma_db(rng: np.random.Generator, samples: int, shape: tuple[int, int]) -> Values:
    return np.asarray(10 * np.log10(rng.gamma(samples, 1 / samples, shape)), dtype=np.float64)


def _survey(levels_db: Values) -> Survey:
    axis = Axis.regular(500_000_000, 50_000, levels_db.shape[1])
    return Survey((Series(axis, (levels_db - 100).astype(np.float32), LevelUnit.DBM, rbw_hz=50e3),))


@pytest.mark.parametrize("samples", [1, 3, 10, 100])
@pytest.mark.parametrize("sweeps", [1, 20, 100])
def test_ideal_noise_keeps_the_threshold_of_its_model(samples: int, sweeps: int) -> None:
    for seed in range(6):
        levels = Levels((_gamma_db(np.random.default_rng(seed), samples, (sweeps, 1000)).astype(np.float32),))
        tail = find_upper_tail(levels, 1.0, float(samples))
        # reference: SciPy's gamma distribution
        model_db = 10 * np.log10(stats.gamma.isf(FAR, samples) / samples)
        assert tail.exceeded_db(FAR) == pytest.approx(model_db, abs=0.02)


@pytest.mark.parametrize("sigma_db", [1.0, 2.0, 3.0, 4.0])
@pytest.mark.parametrize("drift_db", [0.0, 2.0])
def test_even_scatter_is_followed_as_far_as_a_normal_distribution_reaches(sigma_db: float, drift_db: float) -> None:
    rng = np.random.default_rng(7)
    levels = rng.normal(0, sigma_db, (100, 2000)) + rng.uniform(-drift_db, drift_db, (100, 1))
    tail = find_upper_tail(Levels((levels.astype(np.float32),)), 1.0, 1e3)
    above_median = float(tail.exceeded_db(FAR)) - float(noise_quantile_db(0.5, 1e3))
    # reference: SciPy's normal distribution; a tenth for what a tail fit from 64 sweeps can know
    assert above_median == pytest.approx(stats.norm.isf(FAR, scale=sigma_db), rel=0.1)


def test_emitters_in_a_part_of_the_axis_do_not_count_as_noise() -> None:
    rng = np.random.default_rng(3)
    levels = _gamma_db(rng, 10, (60, 2000))
    levels[:, 300:900] += np.where(rng.random((60, 600)) < 0.1, 8.0, 0.0)
    tail = find_upper_tail(Levels((levels.astype(np.float32),)), 1.0, 10.0)
    assert tail.even_db == 0.0


def test_the_mean_of_readings_against_plain_averages() -> None:
    # the far end of means of lognormal powers, drawn; Fenton's approximation errs by some tenths of a decibel
    rng, tail = np.random.default_rng(5), UpperTail(1e6, even_db=3.0)
    for readings in (4, 20):
        means = 10 * np.log10((10 ** (rng.normal(0, 3.0, (200_000, readings)) / 10)).mean(axis=1))
        assert tail.exceeded_db(1e-3, readings) == pytest.approx(np.quantile(means, 0.999), abs=0.35)


@pytest.mark.parametrize(
    "kind", ["even 1", "even 2", "even 3", "even 4", "even 3 drifting", "even 2 in steps", "average", "single"]
)
def test_noise_of_any_scatter_makes_no_emitters(kind: str) -> None:
    # at most 1 survey in 20; five surveys allow for one (binomial, 98 %)
    made = 0
    for seed in range(5):
        rng = np.random.default_rng(seed)
        sweeps, bins = [(20, 1000), (60, 1500), (150, 1000), (300, 1000), (20, 4000)][seed]
        word, *rest = kind.split()
        if word == "even":
            levels = rng.normal(0, float(rest[0]), (sweeps, bins))
        else:
            levels = _gamma_db(rng, 10 if word == "average" else 1, (sweeps, bins))
        if "drifting" in rest:
            levels += rng.uniform(-1.5, 1.5, (sweeps, 1))
        made += len(judge(_survey(np.round(levels) if "steps" in rest else levels)).emitters) > 0
    assert made <= 1


@pytest.mark.parametrize("samples", [1, 10])
def test_what_stands_in_ideal_noise_is_still_found(samples: int) -> None:
    for seed in range(4):
        rng = np.random.default_rng(seed)
        power = rng.gamma(samples, 1 / samples, (40, 1000))
        power[:, 300] += 10**0.8  # 8 dB, steady
        power[rng.choice(40, 2, replace=False), 700] += 10**1.5  # 15 dB, in a twentieth of the sweeps
        found = judge(_survey(10 * np.log10(power))).emitters
        assert [round(one.centre_hz / 50e3) - 10_000 for one in found] == [300, 700]


@pytest.mark.parametrize("degrees", [4, 6])
def test_noise_with_a_heavy_end_makes_no_emitters(degrees: int) -> None:
    """Student's t in decibels. At most 1 survey in 20; twelve surveys allow for two (binomial, 98 %)."""
    made = 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        made += len(judge(_survey(2.0 * rng.standard_t(degrees, ((20, 60)[seed % 2], 1000)))).emitters) > 0
    assert made <= 2


def test_a_heavy_end_is_followed_and_an_even_one_is_not_taken_for_one() -> None:
    """SciPy's t distribution at 1 in 100,000: the bar lies there or higher, and far above that of even scatter."""
    for seed in range(3):
        rng = np.random.default_rng(seed)
        heavy = find_upper_tail(Levels((rng.standard_t(4, (60, 2000)).astype(np.float32),)), 1.0, 1e3)
        even = find_upper_tail(Levels((rng.normal(0.0, 1.0, (60, 2000)).astype(np.float32),)), 1.0, 1e3)
        assert heavy.exceeded_db(1e-5) >= 0.8 * stats.t.isf(1e-5, 4)
        assert even.exceeded_db(1e-5) == pytest.approx(stats.norm.isf(1e-5), rel=0.15)


@pytest.mark.parametrize("alternating", [True, False])
def test_steps_between_tunings_are_no_emitters(alternating: bool) -> None:
    """A tuner that steps by 2 dB every 10 MHz over 800 MHz: nothing is listed, and a note says what it is."""
    for seed in range(3):
        rng = np.random.default_rng(seed)
        stages = np.arange(80) % 2 if alternating else rng.integers(0, 2, 80)
        levels = _gamma_db(rng, 10, (10, 16_000)) + np.repeat(2.0 * stages, 200)
        air = judge(_survey(levels))
        assert air.emitters == ()
        (note,) = (note for note in air.notes if "changes sharply" in note)
        told = re.search(r"sharply by about (.+) dB every (\d+) MHz, as an instrument", note)
        assert told is not None
        assert float(told[1]) == pytest.approx(2.0, abs=0.3)
        assert int(told[2]) % 10 == 0  # where some of the steps do not show, a multiple of it


def test_a_carrier_on_a_tuner_step_is_still_found() -> None:
    rng = np.random.default_rng(9)
    levels = _gamma_db(rng, 10, (10, 8_000)) + np.repeat(2.0 * (np.arange(40) % 2), 200)
    power = 10.0 ** (levels / 10.0)
    power[:, 3_500] += 10.0**1.2  # 12 dB above the mean noise, on a raised step
    (found,) = judge(_survey(10.0 * np.log10(power))).emitters
    assert round(found.centre_hz / 50e3) - 10_000 == 3_500


@pytest.mark.parametrize("bins", [800, 1800])
def test_one_short_sweep_of_even_noise_makes_no_emitters(bins: int) -> None:
    """Normal in decibels, 5 dB wide, one sweep. At most 1 survey in 20; eight allow for two (binomial, 99 %)."""
    made = sum(
        len(judge(_survey(np.random.default_rng(seed).normal(0.0, 5.0, (1, bins)))).emitters) > 0 for seed in range(8)
    )
    assert made <= 2


def test_wide_carriers_in_one_short_sweep_are_not_taken_for_even_noise() -> None:
    """An eighth of the bins, 18 to 40 dB above single samples: the bar stays that of SciPy's gamma distribution."""
    for seed in range(4):
        rng = np.random.default_rng(seed)
        power = rng.exponential(size=(1, 1200))
        for place in range(20, 1180, 60):
            power[:, place : place + 8] += 10 ** rng.uniform(1.8, 4.0)
        tail = find_upper_tail(Levels((10 * np.log10(power).astype(np.float32),)), 1.0, 1.0)
        assert tail.exceeded_db(FAR) == pytest.approx(10 * np.log10(stats.gamma.isf(FAR, 1)), abs=0.02)
