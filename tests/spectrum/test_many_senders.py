"""Many senders are not taken for noise with a heavy end, and sweeps that broke off hide nothing: counted, truth known.

Airs are drawn here: noise of several kinds, carriers on top of it in a share of the bins, on always or at times. The
bounds are counts over all carriers of a survey, whose levels lie 35 to 65 dB above the noise.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.coming_again import alone, without_coming_again
from fallow.spectrum.noise.upper_tail import find_upper_tail
from fallow.spectrum.sweep import LevelUnit, Series, Survey

Values = NDArray[np.float64]
LOW_HZ, STEP_HZ, BINS, SLICE_HZ = 500_000_000, 25_000, 1200, 200_000
FLOOR_DBM = -115.0


def _noise_db(rng: np.random.Generator, kind: str, shape: tuple[int, int]) -> Values:
    if kind == "single samples":
        return np.asarray(10 * np.log10(rng.exponential(size=shape)), dtype=np.float64)
    if kind == "averages":
        return np.asarray(10 * np.log10(rng.gamma(4, 1 / 4, shape)), dtype=np.float64)
    return rng.normal(0.0, float(kind.removeprefix("even ")), shape)


def _survey(levels_dbm: Values) -> Survey:
    axis = Axis.regular(LOW_HZ, STEP_HZ, levels_dbm.shape[1])
    return Survey((Series(axis, levels_dbm.astype(np.float32), LevelUnit.DBM, rbw_hz=float(STEP_HZ)),))


def _busy(
    rng: np.random.Generator, kind: str, sweeps: int, fill: float, width: int, on: float, fade_db: float
) -> tuple[Survey, Values]:
    """A survey with carriers of so many bins in a share of all bins; and the carriers' centres in hertz."""
    power = 10 ** ((_noise_db(rng, kind, (sweeps, BINS)) + FLOOR_DBM) / 10)
    count = max(1, round(fill * BINS / width))
    first = np.linspace(5, BINS - 5 - width, count).astype(int) + rng.integers(-1, 2, count)
    for place, level in zip(first, rng.uniform(-80, -50, count), strict=True):
        is_on = rng.random(sweeps) < on
        is_on[rng.integers(sweeps)] = True
        faded = 10 ** ((level + rng.normal(0, fade_db, sweeps)) / 10) / width
        power[:, place : place + width] += np.where(is_on, faded, 0.0)[:, None]
    centres_hz = LOW_HZ + (first + (width - 1) / 2) * STEP_HZ
    return _survey(10 * np.log10(power)), np.asarray(centres_hz, dtype=np.float64)


@pytest.mark.parametrize(
    ("kind", "sweeps", "fill", "width", "on", "fade_db"),
    [
        ("single samples", 1, 0.3, 8, 1.0, 0.0),
        ("single samples", 2, 0.3, 8, 1.0, 2.0),
        ("single samples", 5, 0.27, 8, 1.0, 2.0),
        ("single samples", 5, 0.15, 1, 1.0, 0.0),
        ("single samples", 40, 0.1, 1, 0.3, 6.0),
        ("averages", 3, 0.3, 8, 1.0, 2.0),
        ("averages", 10, 0.05, 1, 0.2, 3.0),
        ("even 3", 5, 0.27, 8, 1.0, 2.0),
        ("even 3", 6, 0.05, 1, 0.2, 3.0),
        ("even 5.57", 5, 0.02, 1, 1.0, 0.0),
        ("even 5.57", 40, 0.15, 1, 0.2, 3.0),
    ],
)
def test_many_senders_are_occupied_and_listed(
    kind: str, sweeps: int, fill: float, width: int, on: float, fade_db: float
) -> None:
    survey, centres_hz = _busy(np.random.default_rng(7), kind, sweeps, fill, width, on, fade_db)
    air = fallow.judge(survey, width_hz=SLICE_HZ)
    of_slice = {one.low_hz // SLICE_HZ: one.verdict.word for one in air.slices}
    occupied = [of_slice[int(centre // SLICE_HZ)] == "occupied" for centre in centres_hz]
    found = [any(e.low_hz - STEP_HZ <= centre <= e.high_hz + STEP_HZ for e in air.emitters) for centre in centres_hz]
    assert np.mean(occupied) >= 0.95
    assert np.mean(found) >= 0.95
    assert not any("nothing stands out" in note for note in air.notes)


def test_high_readings_of_independent_noise_do_not_come_again() -> None:
    for seed in range(6):
        rng = np.random.default_rng(seed)
        for noise in (rng.standard_t(4, (20, 2000)), rng.normal(size=(3, 2000)), rng.standard_t(6, (60, 1000))):
            high, known = noise > np.quantile(noise, 0.995), np.isfinite(noise)
            assert alone(high, known, 2).sum() > 0.9 * high.sum()
            assert np.isfinite(without_coming_again(noise)).mean() > 0.98


def test_bursts_come_again_in_their_bins_or_side_by_side() -> None:
    rng = np.random.default_rng(3)
    noise = rng.normal(size=(40, 2000))
    again, wide = noise.copy(), noise.copy()
    again[:, 5::20] += np.where(rng.random((40, 100)) < 0.2, 15.0, 0.0)
    for place in range(10, 1990, 40):
        wide[rng.integers(40), place : place + 8] += 15.0
    for bursts in (again, wide):
        high = bursts > 10.0
        assert alone(high, np.isfinite(bursts), 2).sum() < 0.1 * high.sum()
    left = without_coming_again(again)
    assert np.isnan(left[:, 5::20]).all(axis=0).mean() > 0.9
    assert np.isfinite(left).mean() > 0.93


def test_a_few_readings_far_out_are_no_heavy_end() -> None:
    """One burst in a hundred bins of noise even in decibels: the bar stays that of SciPy's normal distribution."""
    rng = np.random.default_rng(5)
    levels = rng.normal(0.0, 3.0, (6, 1200))
    levels[rng.integers(6, size=12), np.arange(40, 1200, 100)] += rng.uniform(35.0, 60.0, 12)
    tail = find_upper_tail(Levels((levels.astype(np.float32),)), 1.0, 2.0)
    assert tail.exceeded_db(1e-6) <= 1.3 * stats.norm.isf(1e-6, scale=3.0)


def test_no_air_makes_noise_that_scatters_wider_than_noise_can() -> None:
    rng = np.random.default_rng(6)
    levels = rng.normal(0.0, 3.0, (1, 6000))
    levels[0, ::7] += rng.uniform(10.0, 60.0, levels[0, ::7].size)
    tail = find_upper_tail(Levels((levels.astype(np.float32),)), 1.0, 2.0)
    assert tail.heavy is None
    assert tail.exceeded_db(1e-6) < 40.0


@pytest.mark.parametrize("full", [1, 5, 20])
@pytest.mark.parametrize("kept", [1, 3, 20])
def test_a_carrier_in_the_few_bins_of_a_sweep_that_broke_off_is_seen(full: int, kept: int) -> None:
    """A steady carrier in all full sweeps, and another in the one bin, or the few, of one more sweep."""
    rng = np.random.default_rng(8)
    levels = _noise_db(rng, "averages", (full + 1, 400)) + FLOOR_DBM
    levels[:full, 200] = -60.0
    rest = levels[full, 100 - kept // 2 :][:kept].copy()
    levels[full] = np.nan
    levels[full, 100 - kept // 2 :][:kept] = rest
    levels[full, 100] = -55.0
    air = fallow.judge(_survey(levels), width_hz=1_000_000)
    of_slice = {one.low_hz: one.verdict.word for one in air.slices}
    assert of_slice[502_000_000] == "occupied"
    assert of_slice[505_000_000] == "occupied"
    assert [round(one.centre_hz / 1e5) for one in air.emitters] == [5025, 5050]


@pytest.mark.parametrize("kind", ["single samples", "even 5.57"])
def test_bins_that_few_sweeps_measured_make_no_emitters(kind: str) -> None:
    """Nine of ten sweeps broke off in the middle: at most one emitter in four surveys of noise."""
    made = 0
    for seed in range(4):
        levels = _noise_db(np.random.default_rng(seed), kind, (10, 1600)) + FLOOR_DBM
        levels[1:, 800:] = np.nan
        made += len(fallow.judge(_survey(levels), width_hz=1_000_000).emitters)
    assert made <= 1


@pytest.mark.parametrize("carriers", [60, 100])
def test_noise_even_in_decibels_between_carriers_is_no_emitter(carriers: int) -> None:
    """5.57 dB wide, 20 sweeps, carriers of 45 dB above it in five of them each: nothing is as wide as all of them."""
    rng = np.random.default_rng(36)
    power = 10 ** ((FLOOR_DBM + rng.normal(0.0, 5.57, (20, 4000))) / 10)
    places = np.sort(rng.choice(np.arange(3, 497), carriers, replace=False)) * 8 + 3
    for place in places:
        on = rng.choice(20, 5, replace=False)
        power[on, place : place + 8] += 10 ** (rng.normal(-70.0, 6.0, (5, 1)) / 10) / 8
    emitters = fallow.judge(_survey(10 * np.log10(power)), width_hz=SLICE_HZ).emitters
    assert max(one.high_hz - one.low_hz for one in emitters) < 5e6
    assert len(emitters) >= 0.6 * carriers  # those of neighbouring slices may be one
