"""Traces of the highest and the lowest by turns. Truth: the powers of which they are made; all of it is invented."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.by_turns import by_turns, without_turns
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.workflow.survey import JudgedAir

BINS = 2_000
FLOOR_DBM = -112.0
RASTERS = slice(5, 8)  # of the cases of another kind
Values = NDArray[np.float64]


def powers(sweeps: int, seed: int, samples: int = 1, bins: int = BINS) -> Values:
    """Means of samples of noise power with mean 1."""
    return np.random.default_rng(seed).gamma(samples, 1.0 / samples, size=(sweeps, bins))


def turned(sweeps: int, seed: int, of: int = 10, samples: int = 1, averaged: int = 1, bins: int = BINS) -> Values:
    """Levels [dBm] of noise: the highest ``of`` so many in each odd bin, the lowest in each even one; with odd seeds
    the other way round. ``averaged``: so many such traces for each.
    """
    rng = np.random.default_rng(seed)
    traces = np.zeros((sweeps, bins))
    for _ in range(averaged):
        cells = rng.gamma(samples, 1.0 / samples, size=(sweeps, bins, of))
        odd = (np.arange(bins) + seed) % 2 == 1
        traces += np.where(odd, cells.max(axis=2), cells.min(axis=2)) / averaged
    return FLOOR_DBM + 10.0 * np.log10(traces)


def series(levels: Values, start: float = 1e9) -> Series:
    axis = Axis.regular(Fraction(500_000_000), Fraction(25_000), levels.shape[1])
    times_s = start + 10.0 * np.arange(levels.shape[0], dtype=np.float64)
    return Series(axis, levels.astype(np.float32), LevelUnit.DBM, times_s, zone_known=True)


def judged(*levels: Values) -> JudgedAir:
    parts = [series(one, 1e9 + 100.0 * number) for number, one in enumerate(levels)]
    return fallow.judge(Survey(tuple(parts)), width_hz=200_000)


def found_in(levels: Values) -> NDArray[np.bool_]:
    return by_turns(Levels((levels,)))


@pytest.mark.parametrize(
    ("sweeps", "of", "samples", "averaged"),
    [(sweeps, *kind) for sweeps in (1, 3, 20) for kind in ((5, 1, 1), (10, 1, 1), (40, 4, 1), (10, 1, 8))]
    + [(20, 10, 20, 1)],  # both scatter by half a decibel there: it takes so many sweeps to tell them apart
)
def test_they_are_found(sweeps: int, of: int, samples: int, averaged: int) -> None:
    for seed in (0, 1):
        levels = turned(sweeps, seed, of, samples, averaged)
        assert found_in(levels).all()
        assert found_in(np.round(levels, 1)).all()
        holes = np.random.default_rng(seed).random(levels.shape) < 0.1
        assert found_in(np.where(holes, np.nan, levels)).all()


def air_of_another_kind(seed: int, samples: int, sweeps: int) -> list[Values]:
    rng = np.random.default_rng(seed)
    noise = FLOOR_DBM + 10.0 * np.log10(powers(sweeps, seed, samples))
    bins = np.arange(BINS)
    ripple = [noise + 3.0 * np.sin(2.0 * np.pi * bins / period + 1.0) for period in (2, 3, 4, 12.5)]
    raster = [noise.copy() for _ in range(3)]
    for levels, spread_db in zip(raster, (1.5, 3.0, 6.0), strict=True):
        lines = -95.0 + rng.normal(0.0, spread_db, BINS // 2)
        levels[:, ::2] = np.maximum(levels[:, ::2], lines + rng.normal(0.0, 0.5, levels[:, ::2].shape))
    even_raster = np.where(bins % 2, noise, -80.0 + rng.normal(0.0, 0.3, noise.shape))
    coarse = [np.round(noise), np.round(noise / 3.0) * 3.0]
    gain = noise + 5.0 * (bins % 2)
    half = np.where(bins < BINS // 2, noise, turned(sweeps, seed))
    return [noise, *ripple, *raster, even_raster, *coarse, gain, half, np.where(bins % 2, -100.0, noise * 0.0 - 110.0)]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("samples", [1, 30])
@pytest.mark.parametrize("sweeps", [1, 2, 10])
def test_nothing_else_is_taken_for_them(seed: int, samples: int, sweeps: int) -> None:
    cases = air_of_another_kind(seed, samples, sweeps)
    if sweeps == 1:
        del cases[RASTERS]  # see below
    assert [bool(found_in(one).any()) for one in cases] == [False] * len(cases)


def test_one_sweep_alone_cannot_tell_a_raster_and_says_so_and_calls_none_of_it_clean() -> None:
    levels = air_of_another_kind(seed=0, samples=1, sweeps=1)[RASTERS][0]
    assert found_in(levels).all()
    air = judged(levels)  # lines of about -95 dBm, four to a slice: one dB over the limit
    assert sum(one.verdict.word == "clean" for one in air.slices) == 0
    assert any("carriers of one level on every second bin would look the same" in note for note in air.notes)


def test_ordinary_noise_is_never_taken_for_them() -> None:
    """A thousand surveys of 300 bins; the limit is eight standard errors, which no luck reaches."""
    fired = [found_in(10.0 * np.log10(powers(3, seed, 1 + seed % 7, 300))).any() for seed in range(1_000)]
    assert sum(fired) == 0


@pytest.mark.parametrize("sweeps", [1, 3, 20])
def test_noise_alone_is_nothing_on_the_air(sweeps: int) -> None:
    verdicts: Counter[str] = Counter()
    for seed in range(3):
        air = judged(turned(sweeps, seed))
        assert air.emitters == ()
        verdicts += Counter(one.verdict.word for one in air.slices)
        assert any("by turns, from bin to bin" in note for note in air.notes)
        assert sweeps == 1 or any("a peak detector, the highest of about" in note for note in air.notes)
    assert verdicts["occupied"] == 0
    assert verdicts["clean"] >= 0.98 * verdicts.total() or sweeps == 1


@pytest.mark.parametrize("width", [1, 4, 8])
@pytest.mark.parametrize("sweeps", [2, 5, 20])
def test_carriers_over_the_limit_stay_and_none_at_it_is_clean(sweeps: int, width: int) -> None:
    levels = turned(sweeps, seed=width)
    at = np.arange(60, BINS - 60, 160)
    over, limit = at[::2], at[1::2]
    for places, total_dbm in ((over, -70.0), (limit, -90.0)):
        for place in places:
            beside = slice(place, place + width)
            levels[:, beside] = np.maximum(levels[:, beside], total_dbm - 10.0 * np.log10(width))
    air = judged(levels)
    per_slice = 200_000 // 25_000
    words = [[one.verdict.word for one in air.slices[b // per_slice : (b + width - 1) // per_slice + 1]] for b in at]
    assert all("occupied" in some for some in words[::2])
    assert all(set(some) != {"clean"} for some in words[1::2])
    assert sum(one.verdict.word == "occupied" for one in air.slices) <= 2 * over.size
    assert len(air.emitters) == at.size


def test_sweeps_of_a_file_each_are_found_together() -> None:
    levels = turned(6, seed=3)
    air = judged(*(levels[row : row + 1] for row in range(6)))
    assert air.emitters == ()
    assert sum("by turns, from bin to bin" in note for note in air.notes) == 1


def test_only_some_sweeps_are_so() -> None:
    levels = turned(10, seed=4)
    levels[::2] = FLOOR_DBM + 10.0 * np.log10(powers(5, seed=5))
    assert found_in(levels).tolist() == [False, True] * 5
    air = judged(levels)
    assert air.emitters == ()
    assert sum(one.verdict.word == "occupied" for one in air.slices) == 0
    assert any("the levels of 5 of 10 sweeps" in note for note in air.notes)


@pytest.mark.parametrize("bins", [1_000, 1_001])
def test_no_level_is_lower_than_it_was_and_none_is_made(bins: int) -> None:
    levels = turned(4, seed=6, bins=bins)
    levels[1, 10:13] = np.nan
    one = series(levels)
    ((kept,),), _ = without_turns([[one]])
    for first in range(0, bins - 1, 2):
        higher = np.fmax(one.levels_db[:, first], one.levels_db[:, first + 1])
        for bin_ in (first, first + 1):
            held = np.where(np.isnan(one.levels_db[:, bin_]), np.nan, higher)
            np.testing.assert_array_equal(kept.levels_db[:, bin_], held)
    known = np.isfinite(one.levels_db)
    np.testing.assert_array_equal(np.isfinite(kept.levels_db), known)
    assert (kept.levels_db[known] >= one.levels_db[known]).all()


def test_other_series_stay_as_they_are() -> None:
    one = series(FLOOR_DBM + 10.0 * np.log10(powers(5, seed=7)))
    assert without_turns([[one]]) == ([[one]], ())
