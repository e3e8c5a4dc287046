"""One tuning of a receiver: the shape of its own filter is no emitter and no place is clean by it.

Airs are invented: noise through the magnitude of a Butterworth filter (SciPy's), as a decimating receiver makes it.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Verdict

STEP_HZ, BINS = 5_000, 512
Values = NDArray[np.float64]


def through_a_filter(rng: np.random.Generator, sweeps: int, samples: int, order: int) -> Values:
    """Powers of noise, 10 dB and more down at both ends of the axis; flat where ``order`` is 0."""
    power = rng.gamma(samples, 1 / samples, (sweeps, BINS))
    if order == 0:
        return np.asarray(power)
    zeros, poles, gain = signal.butter(order, 1.0, analog=True, output="zpk")
    _, response = signal.freqs_zpk(zeros, poles, gain, worN=np.abs(np.linspace(-1.25, 1.25, BINS)))
    return np.asarray(power * np.square(np.abs(response)))


def judged(power: Values, step_hz: int = STEP_HZ) -> fallow.JudgedAir:
    axis = Axis.regular(500_000_000, step_hz, BINS)
    levels = (-100.0 + 10.0 * np.log10(power)).astype(np.float32)
    return fallow.judge(Survey((Series(axis, levels, LevelUnit.DB, rbw_hz=float(step_hz)),)), width_hz=200_000)


@pytest.mark.parametrize(("sweeps", "samples"), [(1, 64), (20, 9)])
@pytest.mark.parametrize("order", [6, 10])
def test_a_filter_is_no_emitter(sweeps: int, samples: int, order: int) -> None:
    for seed in range(5):
        air = judged(through_a_filter(np.random.default_rng(seed), sweeps, samples, order))
        assert air.emitters == ()
        assert {one.verdict for one in air.slices} == {Verdict.DOUBTFUL}
        assert any("a receiver's own filter" in reason for reason in air.slices[0].reasons)


def test_a_carrier_on_the_filter_is_found() -> None:
    power = through_a_filter(np.random.default_rng(1), 10, 9, 8)
    power[:, 300:304] += 100.0
    air = judged(power)
    (carrier,) = air.emitters
    assert carrier.low_hz < 501_507_500 < carrier.high_hz
    assert air.slices[7].verdict is Verdict.OCCUPIED


def test_a_flat_axis_and_a_wide_one_have_no_filter() -> None:
    flat = judged(through_a_filter(np.random.default_rng(2), 10, 9, 0))
    wide = judged(through_a_filter(np.random.default_rng(2), 10, 9, 8), 100_000)
    one_sided = through_a_filter(np.random.default_rng(2), 10, 9, 8)
    one_sided[:, BINS // 2 :] = 1.0
    for air in (flat, wide, judged(one_sided)):
        assert not any("own filter" in reason for one in air.slices for reason in one.reasons)
    assert {one.verdict for one in flat.slices} == {Verdict.CLEAN}


@pytest.mark.parametrize("above_db", [12.0, 25.0])
def test_a_transmission_in_the_middle_of_a_narrow_sweep_is_no_filter(above_db: float) -> None:
    """Two thirds of 2.56 MHz, with upright edges and the floor beside it."""
    rng = np.random.default_rng(4)
    power = rng.gamma(9, 1 / 9, (5, BINS))
    power[:, 80:432] *= 10 ** (above_db / 10)
    air = judged(power)
    assert not any("own filter" in reason for one in air.slices for reason in one.reasons)
    assert air.slices[6].verdict is Verdict.OCCUPIED
