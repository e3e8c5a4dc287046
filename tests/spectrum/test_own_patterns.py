"""An instrument's own patterns: its tuning step and its clocks, told with the chance that they are luck."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from invented_air import Instrument, Signal, sweep_over

BINS, STEP_HZ = 24_000, 25_000  # 400 to 1000 MHz


def _air(shape_db: NDArray[np.float64], *signals: Signal, seed: int = 1) -> Air:
    instrument = Instrument(
        low_hz=400_000_000,
        step_hz=STEP_HZ,
        bins=BINS,
        rbw_hz=25e3,
        samples=60,
        sweeps=4,
        noise_dbm=-60.0,
        unit=LevelUnit.DB,
        noise_shape_db=shape_db,
    )
    return judge(sweep_over(np.random.default_rng(seed), instrument, list(signals)))


def _notes(air: Air, words: str) -> list[str]:
    return [note for note in air.notes if words in note]


@pytest.mark.parametrize("tuned_hz", [10e6, 20e6, 56e6, 61.44e6])
def test_the_tuning_step_is_named(tuned_hz: float) -> None:
    within = np.mod(np.arange(BINS) * STEP_HZ - 3.1e6, tuned_hz)
    shape = 2.0 * np.exp(-within / 1.5e6)  # a step at each edge that fades: a hump of one side
    (note,) = _notes(_air(shape), "tuning steps")
    assert f"every {tuned_hz / 1e6:g} MHz" in note


def test_no_tuning_step_is_named_where_there_is_none() -> None:
    # one in a thousand; none in 20 surveys of noise, of stations on a raster and of blocks at random
    nothing = np.zeros(BINS)
    for seed in range(20):
        rng = np.random.default_rng(seed)
        stations = [Signal(474e6 + 8e6 * int(k), 7.6e6, -20.0) for k in rng.choice(28, 8, replace=False)]
        blocks = [Signal(float(rng.uniform(710e6, 990e6)), float(rng.uniform(1e6, 12e6)), -25.0) for _ in range(12)]
        signals = ((), stations, [*stations, *blocks])[seed % 3]
        assert not _notes(_air(nothing, *signals, seed=seed), "tuning steps")


def test_clocks_are_named_with_the_chance_that_they_are_luck() -> None:
    clock = [Signal(19.2e6 * k, 0.0, -40.0) for k in range(21, 52, 3)]
    others = [Signal(float(place), 0.0, -40.0) for place in np.random.default_rng(2).uniform(401e6, 999e6, 12)]
    (note,) = _notes(_air(np.zeros(BINS), *clock, *others), "multiples of 19.2 MHz")
    assert "by luck so many: less than 1 in a million" in note
    assert not _notes(_air(np.zeros(BINS), *others), "multiples of")


def test_the_tuning_of_a_real_receiver(airdata: Path) -> None:
    # the collection's README: "SDR, gain 50 dB, 61.44 MHz steps"; with the load, and without it
    folder = airdata / "wideband-300-3000"
    axis = Axis.regular(300_000_000, 15_000, 180_001)

    def survey(*names: str) -> Survey:
        levels = np.array([10 * np.log10(np.load(folder / name)) for name in names], dtype=np.float32)
        return Survey((Series(axis, levels, LevelUnit.DB),))

    air = survey(*(f"psd_arr_{index}.npy" for index in range(4)))
    for judged in (judge(air), judge(air, reference=survey("ref_psd_arr_0.npy"))):
        (note,) = _notes(judged, "tuning steps")
        assert "every 61.44 MHz" in note or "every 30.72 MHz" in note  # edges alone, or the middles as well
