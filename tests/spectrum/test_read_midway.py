"""Traces read while the instrument drew them. Truth: which sweep each level of each row is of, by simulation; the
levels are invented noise.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.found.read_again import without_read_again
from fallow.spectrum.found.read_midway import find_stretches
from fallow.spectrum.sweep import LevelUnit, Series, Survey

BINS = 1_000
FLOOR_DBM = -110.0
Levels = NDArray[np.float32]


def noise(sweeps: int, seed: int, samples: int = 1, bins: int = BINS) -> Levels:
    """Means of samples of noise power, exponential as the square of a complex Gaussian is."""
    power = np.random.default_rng(seed).gamma(samples, 1.0 / samples, size=(sweeps, bins))
    return (FLOOR_DBM + 10.0 * np.log10(power)).astype(np.float32)


def shown(levels: Levels, at: NDArray[np.float64]) -> NDArray[np.int64]:
    """Which sweep each level is of, shape (row, bin), where the trace is read ``at`` so many sweeps after the start."""
    sweeps, bins = levels.shape
    of = np.floor(at[:, None] - np.arange(bins) / bins).astype(np.int64)
    return np.asarray(np.minimum(of, sweeps - 1), dtype=np.int64)


def read_at(levels: Levels, at: NDArray[np.float64]) -> Levels:
    return levels[shown(levels, at), np.arange(levels.shape[1])]


def series(levels: Levels, every_s: float = 1.0) -> Series:
    axis = Axis.regular(Fraction(500_000_000), Fraction(25_000), levels.shape[1])
    times_s = 1e9 + every_s * np.arange(levels.shape[0], dtype=np.float64)
    return Series(axis, levels, LevelUnit.DBM, times_s, zone_known=True, rbw_hz=25e3)


def each_look_once(of: NDArray[np.int64], levels: Levels) -> list[float]:
    """Levels of one bin in the order in which they were written, each once; ``of``: the sweeps that rows show."""
    return [float(levels[of[k]]) for k in range(of.size) if k == 0 or of[k] != of[k - 1]]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("per_sweep", [2.3, 10.0, 40.0])
@pytest.mark.parametrize("rounded_to", [3, 1, 0])
def test_every_look_counts_once_in_its_order(seed: int, per_sweep: float, rounded_to: int) -> None:
    rng = np.random.default_rng(seed)
    levels = np.round(noise(8, seed), rounded_to)
    levels[:, 4] = np.nan
    levels[:, 300:360] = -20.0 if seed % 2 else levels[:, 300:360]  # a receiver at its end, in odd ones
    at = 1.0 + (np.arange(int(6 * per_sweep)) + rng.uniform(-0.3, 0.3, int(6 * per_sweep))) / per_sweep
    ((kept,),), _ = without_read_again([[series(read_at(levels, at))]])
    of, wrong = shown(levels, at), 0
    for bin_ in np.setdiff1d(np.arange(0, BINS, 3), np.arange(300, 360)):
        column = kept.levels_db[:, bin_]
        wrong += column[~np.isnan(column)].tolist() != each_look_once(of[:, bin_], levels[:, bin_])
    assert wrong <= (0 if rounded_to else 4)  # in steps of a decibel an end may be lost by chance
    assert kept.n_sweeps <= len(np.unique(of)) + 1


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize(("sweeps", "per_sweep"), [(2, 10.0), (5, 4.3), (11, 3.1)])
def test_noise_read_midway_holds_no_emitter(sweeps: int, per_sweep: float, seed: int) -> None:
    at = np.arange(1.0, sweeps, 1.0 / per_sweep)
    polled = read_at(noise(sweeps, seed, bins=4_000), at)
    judged = fallow.judge(Survey((series(polled),)), width_hz=200_000)
    assert judged.emitters == ()
    assert sum(one.verdict.word == "occupied" for one in judged.slices) == 0
    assert sum(one.verdict.word == "clean" for one in judged.slices) >= 490
    assert any("read while the instrument drew it" in note for note in judged.notes)


def test_a_burst_keeps_its_share_of_the_time() -> None:
    once = noise(41, seed=11)
    once[1::4, 500:508] = -70.0
    judged = fallow.judge(Survey((series(read_at(once, np.arange(1.0, 41.0, 0.3))),)), width_hz=200_000)
    (burst,) = [one for one in judged.emitters if one.level_dbm > -75.0]
    assert burst.times is not None
    assert (burst.times.on, burst.times.sweeps) == (10, 41)
    assert burst.on_share == pytest.approx(10 / 41)


def test_the_note_tells_how_many_and_how_much() -> None:
    once = noise(2, seed=3)
    ((kept,),), notes = without_read_again([[series(read_at(once, np.array([1.0, 1.25, 1.5, 1.75])))]])
    np.testing.assert_array_equal(kept.levels_db[0, 1:], once[0, 1:])  # bin 0 was written when the first was read
    assert notes == (
        "3 of 4 sweeps are new only in a stretch, and equal the one before to the last digit elsewhere, in 75 % of "
        "their levels: the trace was read while the instrument drew it, and what was read again counts once",
    )


def test_a_sweep_has_the_time_of_its_first_reading() -> None:
    once = noise(4, seed=4)
    ((kept,),), _ = without_read_again([[series(read_at(once, np.arange(1.0, 4.0, 0.25)))]])
    assert kept.times_s is not None
    assert (kept.times_s - 1e9).tolist() == [0.0, 1.0, 5.0, 9.0]


def holds(seed: int, sweeps: int, bins: int) -> Levels:
    return np.maximum.accumulate(noise(sweeps, seed, bins=bins), axis=0)


def steady_with(seed: int, width: int, *, hopping: bool) -> Levels:
    """A pattern that stays, and a carrier that comes and goes in it, or goes from place to place."""
    rng = np.random.default_rng(seed)
    levels = np.repeat(np.round(noise(1, seed, bins=400), 1), 60, axis=0)
    for row in levels:
        start = width * int(rng.integers(400 // width)) if hopping else 200
        if hopping or rng.random() < 0.3:
            row[start : start + width] = -60.0
    return levels


@pytest.mark.parametrize("seed", range(3))
def test_what_is_equal_in_other_ways_is_left_alone(seed: int) -> None:
    rng = np.random.default_rng(seed)
    cases = [noise(60, seed), np.round(noise(60, seed, 100)), holds(seed, 60, 400), holds(seed, 600, 120)]
    cases += [np.round(holds(seed, 300, 1_000)), np.minimum.accumulate(noise(60, seed), axis=0)]
    cases += [np.round(-118.0 + rng.normal(0.0, sd, (60, 400))).astype(np.float32) for sd in (0.12, 0.2, 0.3)]
    cases += [steady_with(seed, width, hopping=hopping) for width in (1, 8, 50) for hopping in (False, True)]
    assert [find_stretches(one)[0] for one in cases] == [{}] * len(cases)
