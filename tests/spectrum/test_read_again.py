"""Sweeps read again before the next was taken. Truth: the same sweeps read once each; the levels are invented noise."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.found.read_again import read_again, without_read_again
from fallow.spectrum.sweep import LevelUnit, Series, Survey

BINS = 2_000
FLOOR_DBM = -110.0


def noise(sweeps: int, seed: int, bins: int = BINS) -> NDArray[np.float32]:
    """Single samples of noise power, exponential as the square of a complex Gaussian is."""
    power = np.random.default_rng(seed).exponential(size=(sweeps, bins))
    return (FLOOR_DBM + 10.0 * np.log10(power)).astype(np.float32)


def series(levels: NDArray[np.floating], every_s: float = 1.0) -> Series:
    axis = Axis.regular(Fraction(500_000_000), Fraction(25_000), levels.shape[1])
    times_s = 1e9 + every_s * np.arange(levels.shape[0], dtype=np.float64)
    return Series(axis, levels.astype(np.float32), LevelUnit.DBM, times_s, zone_known=True, rbw_hz=25e3)


def plain_twin(levels: NDArray[np.float32]) -> list[bool]:
    """Row by row, without a chance of equality."""
    return [k > 0 and levels[k].tobytes() == levels[k - 1].tobytes() for k in range(len(levels))]


@pytest.mark.parametrize(("looks", "times"), [(1, 10), (2, 10), (4, 5)])
def test_a_trace_read_ten_times_says_what_it_says_once(looks: int, times: int) -> None:
    once = noise(looks, seed=looks)
    polled = fallow.judge(Survey((series(np.repeat(once, times, axis=0)),)), width_hz=200_000)
    read_once = fallow.judge(Survey((series(once, every_s=times),)), width_hz=200_000)
    assert [one.verdict for one in polled.slices] == [one.verdict for one in read_once.slices]
    assert (polled.emitters, read_once.emitters) == ((), ())
    again = looks * (times - 1)
    assert (
        f"{again} of {looks * times} sweeps equal the one before to the last digit: the same look at the air, read "
        "again, so it counts once"
    ) in polled.notes


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("digits", [0, 1, 3])
def test_rows_that_repeat_are_found_as_by_a_plain_twin(seed: int, digits: int) -> None:
    rng = np.random.default_rng(seed)
    levels = np.round(np.repeat(noise(12, seed, 400), rng.integers(1, 5, 12), axis=0), digits).astype(np.float32)
    levels[:, rng.integers(0, 400, 20)] = np.nan
    assert read_again(levels).tolist() == plain_twin(levels)


def test_the_first_reading_is_kept_with_its_time() -> None:
    once = noise(3, seed=5)
    ((kept,),), _ = without_read_again([[series(np.repeat(once, [2, 1, 3], axis=0))]])
    assert kept.times_s is not None
    assert (kept.times_s - 1e9).tolist() == [0.0, 2.0, 3.0]
    np.testing.assert_array_equal(kept.levels_db, once)


def test_what_nobody_read_twice_stays_as_it_is() -> None:
    one = series(noise(30, seed=6))
    kept, notes = without_read_again([[one]])
    assert kept == [[one]]
    assert notes == ()


@pytest.mark.parametrize("buffers", [2, 3])
def test_traces_that_come_by_turns_are_a_logger_with_several_buffers(buffers: int) -> None:
    once = noise(buffers, seed=7)
    ((kept,),), notes = without_read_again([[series(np.tile(once, (5, 1)))]])
    np.testing.assert_array_equal(kept.levels_db, once)
    assert notes == (
        f"{4 * buffers} of {5 * buffers} sweeps equal the one {buffers} before to the last digit: the same look at the "
        "air, read again, so it counts once",
    )


def test_a_sweep_that_comes_again_much_later_is_another_look() -> None:
    once = noise(4, seed=7)
    assert not read_again(np.tile(once, (3, 1))).any()


def steady(value: float) -> NDArray[np.float32]:
    levels = np.full((20, 400), value, dtype=np.float32)
    levels[:, 200:208] = -60.0
    return levels


def coarse_with_a_carrier_now_and_then() -> NDArray[np.float32]:
    """A fine pattern of the instrument that stays, and a carrier in every fourth sweep: they differ there alone."""
    levels = np.tile(np.round(noise(1, seed=8, bins=400)), (20, 1))
    levels[::4, 200:208] = -60.0
    return levels


def fine_with_a_wide_block_now_and_then() -> NDArray[np.float32]:
    """The same, with a block so wide that a share of equal levels alone proves nothing."""
    levels = np.tile(noise(1, seed=8, bins=400), (20, 1))
    levels[::4, 100:250] = -60.0
    return levels


@pytest.mark.parametrize(
    "levels",
    [
        steady(-110.0),
        coarse_with_a_carrier_now_and_then(),
        fine_with_a_wide_block_now_and_then(),
        np.repeat(noise(3, seed=9, bins=40), 4, axis=0),
        np.full((5, 400), np.nan, dtype=np.float32),
    ],
    ids=[
        "one value and a carrier",
        "differ in a carrier alone",
        "differ in a block alone",
        "few levels",
        "nothing measured",
    ],
)
def test_levels_that_may_well_be_equal_are_all_kept(levels: NDArray[np.float32]) -> None:
    assert not read_again(levels).any()


def test_noise_in_steps_so_coarse_that_sweeps_are_equal_by_chance_is_kept() -> None:
    """60 levels, 1 in 40 of them a step off: independent sweeps are equal in (1 - 2 * 39 / 40²)⁶⁰ = 5 % of cases."""
    off = np.random.default_rng(10).random((2_000, 60)) < 1 / 40
    levels = np.where(off, -109.0, -110.0).astype(np.float32)
    assert sum(plain_twin(levels)) > 50
    assert not read_again(levels).any()


def test_a_carrier_in_a_polled_survey_keeps_its_share_of_the_time() -> None:
    once = noise(40, seed=11)
    once[::4, 1_000:1_008] = -70.0
    judged = fallow.judge(Survey((series(np.repeat(once, 3, axis=0)),)), width_hz=200_000)
    (carrier,) = [one for one in judged.emitters if one.level_dbm > -75.0]
    assert carrier.times is not None
    assert (carrier.on_share, carrier.times.sweeps) == (0.25, 40)
    assert carrier.last_s == 1e9 + 3 * 36  # when the sweep was read first, not when it was read again


def test_files_of_a_sweep_each_are_asked_together() -> None:
    once = noise(3, seed=12)
    polled = np.repeat(once, 4, axis=0)
    files = [replace(series(polled[k : k + 1]), times_s=np.array([1e9 + k])) for k in range(12)]
    ((kept,),), notes = without_read_again([files])
    np.testing.assert_array_equal(kept.levels_db, once)
    assert kept.times_s is not None
    assert (kept.times_s - 1e9).tolist() == [0.0, 4.0, 8.0]
    assert notes[0].startswith("9 of 12 sweeps equal the one before")


def test_files_of_a_sweep_each_stay_as_they_are_where_none_was_read_again() -> None:
    files = [series(one[None, :]) for one in noise(5, seed=13)]
    assert without_read_again([files]) == ([files], ())
