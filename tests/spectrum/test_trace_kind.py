"""The kind of a trace from its noise alone: order statistics and averages, on noise made by Fourier transforms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.heard import make_ready
from fallow.spectrum.judging import judge
from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.trace_kind import TraceKind, estimate_kind, told_contradiction, told_kind
from fallow.spectrum.statistics import NoiseModel
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging, Verdict
from held_air import Trace, levels_of


def _found(trace: Trace, seed: int = 1) -> TraceKind:
    levels = levels_of(np.random.default_rng(seed), trace)
    return estimate_kind(Levels((levels,)), trace.rbw_bins)


def _survey(levels: np.ndarray, detector: Detector | None = None) -> Survey:
    axis = Axis.regular(470_000_000, 20_000, levels.shape[1])
    return Survey((Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=20e3, detector=detector),))


@pytest.mark.parametrize("step_db", [0.0, 0.1, 0.5])
@pytest.mark.parametrize(
    ("trace", "detector"),
    [
        (Trace("sample"), Detector.SAMPLE),
        (Trace("average", 10), Detector.AVERAGE),
        (Trace("average", 30), Detector.AVERAGE),
        (Trace("log average", 30), Detector.AVERAGE),
        (Trace("max-hold", 20), Detector.MAX_HOLD),
        (Trace("max-hold", 100), Detector.MAX_HOLD),
        (Trace("max-hold", 30, samples=4), Detector.MAX_HOLD),
    ],
)
def test_one_long_trace_tells_its_kind(trace: Trace, detector: Detector, step_db: float) -> None:
    assert _found(replace(trace, bins=6001, step_db=step_db)).detector is detector


@pytest.mark.parametrize("trace", [Trace("average", 10), Trace("max-hold", 40), Trace("sample")])
def test_a_wrong_name_is_rare_where_there_is_little_to_tell_it_from(trace: Trace) -> None:
    # asked: at most 5 in 100 wrong; bench/trace_kind.py counts over many more surveys
    right = {"max-hold": Detector.MAX_HOLD, "average": Detector.AVERAGE, "sample": Detector.SAMPLE}[trace.kind]
    named = [_found(replace(trace, bins=401, carriers=seed % 4), seed).detector for seed in range(30)]
    assert sum(name not in (None, right) for name in named) <= 2


def test_sweeps_that_are_each_the_highest_of_many_are_peaks() -> None:
    assert _found(Trace("max-hold", 40, sweeps=10)).detector is Detector.PEAK


@pytest.mark.parametrize("count", [10, 40, 200])
def test_limits_of_the_count_hold(count: int) -> None:
    # 95 % limits, and a grid of counts a quarter apart
    held = 0
    for seed in range(20):
        noise = _found(Trace("max-hold", count, bins=4001), seed).noise
        assert noise is not None
        held += noise.peak_of.low / 1.12 <= count <= noise.peak_of.high * 1.12
    assert held >= 17


@pytest.mark.parametrize("count", [3, 30])
def test_samples_in_an_average_are_counted(count: int) -> None:
    noise = _found(Trace("average", count, bins=6001)).noise
    assert noise is not None
    assert noise.samples.low / 1.1 <= count <= noise.samples.high * 1.1


@pytest.mark.parametrize(
    ("trace", "why"),
    [
        (Trace("max-hold", 40, bins=101), "too few"),
        (Trace("average", 300, bins=4001, step_db=1.0), "too coarse"),
        (Trace("average", 3000, bins=4001), "less than instruments repeat"),
        (Trace("max-hold", 2, bins=2001), "scatter alike"),
    ],
)
def test_what_can_not_be_told_is_not_told(trace: Trace, why: str) -> None:
    found = _found(trace)
    assert found.detector is None
    assert why in found.why_not
    assert "can't be told from the data" in told_kind(found)


def test_levels_that_are_no_noise_are_not_told() -> None:
    rng = np.random.default_rng(1)
    comb = np.where(rng.random((1, 4001)) < 0.5, -60.0, -100.0) + rng.normal(0.0, 0.5, (1, 4001))
    assert estimate_kind(Levels((comb.astype(np.float32),)), 1.0).detector is None
    assert estimate_kind(Levels((np.full((3, 401), np.nan, dtype=np.float32),)), 1.0).detector is None
    assert estimate_kind(Levels((np.full((3, 401), -90.0, dtype=np.float32),)), 1.0).detector is None


def _growing(sweeps: int, bins: int = 401) -> np.ndarray:
    powers = np.random.default_rng(3).exponential(size=(sweeps, bins))
    return 10.0 * np.log10(powers) - 110.0


def test_a_running_hold_never_falls() -> None:
    held = np.maximum.accumulate(_growing(30), axis=0)
    found = estimate_kind(Levels((held.astype(np.float32),)), 1.0)
    assert found.detector is Detector.MAX_HOLD
    assert found.running
    fallen = estimate_kind(Levels((np.minimum.accumulate(_growing(30), axis=0).astype(np.float32),)), 1.0)
    assert fallen.detector is Detector.MIN_HOLD
    assert not estimate_kind(Levels((_growing(30).astype(np.float32),)), 1.0).running


def test_a_gain_that_rises_is_no_running_hold() -> None:
    levels = np.repeat([[-100.0], [-90.0], [-80.0]], 40, axis=1).astype(np.float32)
    assert estimate_kind(Levels((np.repeat(levels, 10, axis=0),)), 1.0).detector is None


def test_a_running_hold_is_judged_as_one_trace_and_said() -> None:
    held = np.maximum.accumulate(_growing(60), axis=0)
    (heard,), notes = make_ready(_survey(held))
    assert heard.n_sweeps == 1
    assert heard.held
    assert heard.noise.bias_db == pytest.approx(6.7, abs=1.0)  # 10·log(H_60) = 6.70, Rényi 1953
    (note,) = [note for note in notes if "trace kind estimated" in note]
    assert "max-hold trace of about" in note
    assert "never fall from sweep to sweep" in note
    assert "how often it was there can't be told" in note


def test_a_running_min_hold_is_left_out_and_said() -> None:
    lowest = _survey(np.minimum.accumulate(_growing(30), axis=0))
    usual = _survey(_growing(5, bins=301))
    heard, notes = make_ready(Survey(lowest.series + usual.series))
    assert len(heard) == 1
    assert any("min-hold" in note and "left out" in note for note in notes)


@pytest.mark.parametrize(
    ("stated", "trace", "said"),
    [
        (Detector.SAMPLE, Trace("max-hold", 100, bins=4001), "max-hold trace of about"),
        (Detector.AVERAGE, Trace("max-hold", 100, bins=4001), "max-hold trace of about"),
        (Detector.MAX_HOLD, Trace("sample", bins=4001), "single samples"),
        (Detector.AVERAGE, Trace("sample", bins=4001), "single samples"),
        (Detector.MAX_HOLD, Trace("average", 20, sweeps=5, bins=4001), "an average of about"),
        (Detector.PEAK, Trace("average", 20, sweeps=5, bins=4001), "an average of about"),
        (Detector.MAX_HOLD, Trace("max-hold", 3, samples=30, sweeps=5, bins=4001), ""),
        (Detector.MAX_HOLD, Trace("max-hold", 100, bins=4001), ""),
        (Detector.PEAK, Trace("max-hold", 100, bins=4001), ""),
        (Detector.AVERAGE, Trace("average", 10, bins=4001), ""),
        (Detector.SAMPLE, Trace("average", 10, bins=4001), ""),  # a sample detector with a video filter
    ],
)
def test_data_that_contradict_what_is_stated_are_noted(stated: Detector, trace: Trace, said: str) -> None:
    told = told_contradiction(stated, _found(trace))
    assert (said in told) if said else (told == "")
    _, notes = make_ready(_survey(levels_of(np.random.default_rng(1), trace), stated))
    assert any("is stated to be" in note for note in notes) == bool(said)


@pytest.mark.parametrize("sweeps", [1, 5])
def test_averages_told_to_be_a_hold_are_not_clean_by_that_word(sweeps: int) -> None:
    # known truth: noise of -101 dBm in 20 kHz is -91 dBm in 200 kHz (10 lg 10), 1 dB under the limit: no room for ±u
    levels = 10.0 * np.log10(np.random.default_rng(15).gamma(20, 1 / 20, (sweeps, 4000))) - 101.0
    air = fallow.judge(_survey(levels, Detector.MAX_HOLD), width_hz=200_000)
    assert not any(part.verdict is Verdict.CLEAN for part in air.slices)
    assert any("is stated to be" in note for note in air.notes)


def test_how_often_can_not_be_told_from_a_hold() -> None:
    levels = 10.0 * np.log10(np.random.default_rng(2).exponential(size=(100, 401)).max(axis=0, keepdims=True)) - 110.0
    levels[0, 200:203] = -60.0
    (emitter,) = judge(_survey(levels, Detector.MAX_HOLD)).emitters
    assert (emitter.on_share_low, emitter.on_share_high) == (0.0, 1.0)
    assert any("how often it is on can't be told" in clue for clue in emitter.evidence)


@pytest.mark.parametrize(("samples", "peak_of"), [(1.0, 40.0), (4.0, 10.0), (10.0, 100.0), (30.0, 3.0)])
def test_mean_of_the_highest_of_averages(samples: float, peak_of: float) -> None:
    # Source: order statistics, density J·F(x)^(J-1)·f(x), integrated over scipy.stats.gamma
    gamma = stats.gamma(samples, scale=1.0 / samples)
    mean = gamma.expect(lambda x: x * peak_of * gamma.cdf(x) ** (peak_of - 1.0), epsabs=1e-8)
    assert NoiseModel(samples, peak_of).bias_db == pytest.approx(10.0 * np.log10(mean), abs=0.002)


@pytest.mark.parametrize("trace", [Trace("max-hold", 100), Trace("max-hold", 30, samples=4)])
def test_noise_in_a_hold_is_no_emitter_and_its_floor_is_not_raised(trace: Trace) -> None:
    # 20 traces of noise at -90 dBm in 200 kHz, shown 3.7 or 7.1 dB higher: no emitter, and the floor as it is
    away_db = []
    for seed in range(20):
        levels = levels_of(np.random.default_rng(seed), replace(trace, bins=2001, hann=False, ripple_db=0.0))
        air = judge(_survey(levels), Judging(limit_dbm=-60.0))
        assert not air.emitters
        floor_dbm = air.judge_window(480e6, 480.2e6).floor_dbm
        assert floor_dbm is not None
        away_db.append(floor_dbm + 90.0)
    assert abs(np.median(away_db)) < 0.8
    assert np.max(np.abs(away_db)) < 5.0  # how many readings were averaged before is hard to see


@pytest.mark.parametrize("sigma_db", [1.5, 2.0, 3.0])
@pytest.mark.parametrize("drift_db", [0.0, 1.5])
def test_even_scatter_in_decibels_is_given_no_name(sigma_db: float, drift_db: float) -> None:
    rng = np.random.default_rng(2)
    levels = -90 + rng.normal(0, sigma_db, (60, 2000)) + rng.uniform(-drift_db, drift_db, (60, 1))
    found = estimate_kind(Levels((levels.astype(np.float32),)), 1.0)
    assert found.detector is None
    assert any(why in found.why_not for why in ("scatter evenly", "scatter unlike"))


@pytest.mark.parametrize("count", [8, 20, 100])
def test_no_limits_have_the_width_nothing(count: int) -> None:
    power = -np.log1p(-(np.random.default_rng(3).random((100, 2000)) ** (1 / count)))
    found = estimate_kind(Levels(((10 * np.log10(power)).astype(np.float32),)), 1.0)
    assert found.noise is not None
    for told in (found.noise.peak_of, found.noise.bias_db):
        low, high = (float(word) for word in str(told).split("(")[1].rstrip(")").split(" to "))
        assert low < high
        assert "e+" not in str(told)
