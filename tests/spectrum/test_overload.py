"""A floor that follows a strong signal is overload or the like, however seldom the signal is on. All air is invented;
the sweeps are independent, so only a floor that truly follows may be said to.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Verdict

BINS, CARRIER = 1600, 800


def _judged(on: NDArray[np.bool_], floor_dbm: NDArray[np.float64], seed: int) -> Air:
    """Averages of 4 samples of noise of a floor per sweep, and a carrier of -30 dBm where it is on."""
    rng = np.random.default_rng(seed)
    power = 10.0 ** (floor_dbm[:, None] / 10.0) * rng.gamma(4.0, 0.25, (on.size, BINS))
    power[:, CARRIER] += on * 10.0**-3.0
    levels = (10.0 * np.log10(power)).astype(np.float32)
    return judge(Survey((Series(Axis.regular(500_000_000, 25_000, BINS), levels, LevelUnit.DBM, rbw_hz=25e3),)))


def _some_on(sweeps: int, count: int, seed: int) -> NDArray[np.bool_]:
    return np.random.default_rng(seed).permutation(np.arange(sweeps) < count)


@pytest.mark.parametrize(("sweeps", "count", "rise_db"), [(10, 5, 8.0), (20, 14, 8.0), (20, 5, 8.0), (100, 10, 3.0)])
def test_a_floor_that_follows_is_seen_however_often_the_signal_is_on(sweeps: int, count: int, rise_db: float) -> None:
    for seed in range(3):
        on = _some_on(sweeps, count, seed)
        air = _judged(on, -118.0 + rise_db * on, seed)
        assert any("the floor follows the strong signals" in note for note in air.notes)
        assert air.judge_window(510e6, 510.2e6).verdict is Verdict.DOUBTFUL


def test_a_floor_that_does_not_follow_is_no_overload() -> None:
    for seed in range(6):
        rng = np.random.default_rng(100 + seed)
        on = _some_on(40, 15, seed)
        floors = (
            np.full(40, -118.0),
            -118.0 + np.cumsum(rng.normal(0.0, 0.2, 40)),
            -118.0 + 5.0 * (np.arange(40) > 25),
        )
        assert not any("overload" in note for floor_dbm in floors for note in _judged(on, floor_dbm, seed).notes)
