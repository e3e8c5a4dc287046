"""The far end of noise: followed where it is noise's own, and left to senders where it is theirs; truth known.

Readings are drawn here. What they exceed is compared with SciPy's distributions.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.noise.heavy_end import HeavyEnd, above_floor, find_heavy_end
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Verdict

Values = NDArray[np.float64]
FROM_SIGMAS = float(stats.norm.isf(1e-4))


def _found(above_db: Values, from_db: float = FROM_SIGMAS) -> HeavyEnd | None:
    return find_heavy_end(above_db, from_db, 1, 1.0)


def _noise_with_impulses(rng: np.random.Generator, shape: tuple[int, int], share: float, mean_db: float) -> Values:
    return rng.normal(size=shape) + np.where(rng.random(shape) < share, rng.exponential(mean_db, shape), 0.0)


def test_what_readings_exceed_against_the_generalised_pareto_distribution() -> None:
    end, chance = HeavyEnd(8.0, 0.004, 2.0, 0.1), np.array([0.004, 1e-3, 1e-5, 1e-9])
    # reference: SciPy's generalised Pareto distribution
    assert end.exceeded_db(chance) == pytest.approx(8.0 + stats.genpareto.isf(chance / 0.004, 0.1, scale=2.0))
    nearer = end.exceeded_db(np.array([0.5, 0.05, 0.01, 0.004]))
    assert nearer[0] == pytest.approx(0.0)
    assert np.all(np.diff(nearer) > 0)
    assert nearer[-1] == pytest.approx(8.0)


@pytest.mark.parametrize("degrees", [3, 4, 5])
@pytest.mark.parametrize("sweeps", [1, 5, 20])
def test_the_end_of_students_t_is_followed(degrees: int, sweeps: int) -> None:
    """The bar at one reading in a hundred surveys lets through no more than one in five, in nine surveys of ten."""
    shape = (sweeps, 4000)
    chance = 0.01 / (sweeps * 4000)
    bars = []
    for seed in range(10):
        above = np.random.default_rng(seed).standard_t(degrees, shape)
        sigma = 1.4826 * float(np.median(np.abs(above)))
        end = _found(above, FROM_SIGMAS * sigma)
        bars.append(0.0 if end is None else float(end.exceeded_db(np.array(chance))))
    # reference: SciPy's t distribution
    assert np.quantile(bars, 0.1) >= stats.t.isf(20 * chance, degrees)


@pytest.mark.parametrize(("share", "mean_db"), [(0.01, 6.0), (0.03, 6.0), (0.01, 3.0)])
@pytest.mark.parametrize("sweeps", [1, 3, 20])
def test_impulses_are_followed(share: float, mean_db: float, sweeps: int) -> None:
    """The bar at one reading in ten surveys lets through no more than one in each, in nine surveys of ten."""
    shape = (sweeps, 4000)
    chance = 0.1 / (sweeps * 4000)
    ends = [_found(_noise_with_impulses(np.random.default_rng(seed), shape, share, mean_db)) for seed in range(10)]
    bars = [0.0 if end is None else float(end.exceeded_db(np.array(chance))) for end in ends]
    # reference: SciPy's exponential distribution
    assert np.quantile(bars, 0.1) >= stats.expon.isf(10 * chance / share, scale=mean_db)


def test_noise_without_a_far_end_has_none() -> None:
    for seed in range(10):
        rng = np.random.default_rng(seed)
        assert _found(rng.normal(size=(20, 4000))) is None
        assert _found(rng.normal(size=(1, 4000))) is None


@pytest.mark.parametrize("carriers", [6, 20, 80])
@pytest.mark.parametrize("sweeps", [1, 20])
def test_a_crowd_far_above_the_noise_is_none(carriers: int, sweeps: int) -> None:
    for seed in range(5):
        rng = np.random.default_rng(seed)
        above = rng.normal(size=(sweeps, 4000))
        above[rng.integers(0, sweeps, carriers), np.arange(carriers) * 50 + 20] += rng.normal(14.0, 1.0, carriers)
        assert _found(above) is None


def test_a_crowd_of_any_heights_is_none() -> None:
    for seed in range(5):
        rng = np.random.default_rng(seed)
        above = rng.normal(size=(5, 4000))
        above[rng.integers(0, 5, 60), np.arange(60) * 60 + 20] += rng.uniform(5.0, 60.0, 60)
        assert _found(above) is None


def test_a_crowd_above_a_heavy_end_does_not_lift_it() -> None:
    """40 readings beyond a gap: the bar is that of the noise without them, within a fifth in the middle of nine."""
    bars = []
    for seed in range(9):
        rng = np.random.default_rng(seed)
        above = rng.standard_t(6, (20, 2000))
        with_crowd = above.copy()
        with_crowd[rng.integers(0, 20, 40), np.arange(40) * 49 + 20] = rng.normal(60.0, 2.0, 40)
        ends = [_found(above, 4.0), _found(with_crowd, 4.0)]
        bars.append([0.0 if end is None else float(end.exceeded_db(np.array(1e-6))) for end in ends])
        assert ends[1] is not None
        assert ends[1].exceeded_db(np.array(1e-14)) < 55.0  # noise ends below the crowd
    without, with_them = np.median(bars, axis=0)
    assert with_them == pytest.approx(without, rel=0.2)


@pytest.mark.parametrize("where", ["again", "side by side", "in a part of the axis"])
def test_what_is_not_anywhere_is_none(where: str) -> None:
    """Heights like those of impulses, but in bins that they come again in, in pairs, or in one tenth of the axis."""
    for seed in range(5):
        rng = np.random.default_rng(seed)
        above = rng.normal(size=(20, 4000))
        sweeps, bins = rng.integers(0, 20, 240), rng.integers(0, 3999, 240)
        if where == "again":
            bins = np.repeat(bins[:60], 4)
        if where == "side by side":
            sweeps, bins = np.repeat(sweeps[:120], 2), np.repeat(bins[:120], 2) + np.tile([0, 1], 120)
        if where == "in a part of the axis":
            bins = bins // 10
        above[sweeps, bins] = 5.0 + rng.exponential(6.0, 240)
        end = _found(above)
        assert end is None or end.share < 1e-3  # 240 readings are 3 in 1,000


@pytest.mark.parametrize("sweeps", [1, 5, 6, 20])
def test_the_rough_floor_follows_slopes_steps_and_steady_carriers(sweeps: int) -> None:
    rng = np.random.default_rng(sweeps)
    floor = np.linspace(-110.0, -90.0, 3000)
    floor[1000:2000] += 15.0
    left = above_floor(floor + rng.normal(0.0, 1.0, (sweeps, 3000)), 1)
    assert left.shape == (sweeps, 3000)
    assert float((left > 5.0).mean()) < 1e-3  # by chance: 3 in ten million; at the steps some stand out
    assert abs(float(np.median(left))) < 1.0


def _judged(power: Values) -> fallow.JudgedAir:
    axis = Axis.regular(502_000_000, 25_000, power.shape[1])
    levels = (10.0 * np.log10(power)).astype(np.float32)
    return fallow.judge(Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=25e3),)), width_hz=200_000)


@pytest.mark.parametrize("sweeps", [5, 20])
def test_a_heavy_end_is_found_beside_television(sweeps: int) -> None:
    """Four channels of -60 dBm in noise of Student's t, four degrees: no emitter but they. Where their bins were asked,
    too, some forty were.
    """
    for seed in range(3):
        rng = np.random.default_rng(seed)
        power = 10 ** ((-115.0 + 2.0 * rng.standard_t(4, (sweeps, 4000))) / 10)
        for channel in (1, 4, 5, 9):
            begin = 8 + 320 * channel
            power[:, begin : begin + 304] += 10**-6.0 / 304 * rng.gamma(4.0, 0.25, (sweeps, 304))
        found = _judged(power).emitters
        assert sum(one.high_hz - one.low_hz > 5e6 for one in found) >= 2
        assert not [one for one in found if one.high_hz - one.low_hz < 1e6]


def test_a_carrier_at_the_limit_in_two_of_twenty_sweeps_is_not_clean_in_even_noise() -> None:
    """Noise even in decibels (5.57 dB), 36 dB below carriers of -90 dBm in 2 of 20 sweeps each: noise that passes
    for something on must not lower their mean.
    """
    rng = np.random.default_rng(3)
    power = 10 ** (rng.normal(-126.0, 5.57, (20, 4000)) / 10)
    places = np.arange(100, 3900, 190)
    for place in places:
        power[rng.permutation(20)[:2], place] += 1e-9
    slices = _judged(power).slices
    at = [next(one for one in slices if one.low_hz <= 502e6 + 25e3 * place < one.high_hz) for place in places]
    assert [one.verdict for one in at] == [Verdict.DOUBTFUL] * len(places)
