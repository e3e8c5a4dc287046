"""What no survey may ever be told: properties of verdicts over random airs, as the contract of verdicts states them.

Levels are drawn without any model of an instrument, the worse the better. Where statistics allow a verdict to become
less certain (more periods and windows ask for more), the property says what it may become.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as some

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging, Verdict
from fallow.units import Channel

LOW_HZ, STEP_HZ, BINS = 470_000_000, 25_000, 160
SEEDS = some.integers(0, 2**32 - 1)
USUAL_LIMIT_DBM = -90.0
EXAMPLES = settings(max_examples=25)
RANK = np.array([0, 1, 2, 3])  # clean, doubtful, not measured, occupied: the contract's order, worst last
KTB_DBM_PER_HZ = -173.975  # 290 K; Rec. ITU-R P.372


def _rising_lows(axis: Axis, width_hz: float) -> np.ndarray:
    return np.arange(axis.low_hz, axis.high_hz - width_hz, width_hz / 2)


def _verdicts(air: Air, width_hz: float = 200e3) -> np.ndarray:
    low = np.arange(air.low_hz, air.high_hz - width_hz, width_hz / 2)
    return air.judge_windows(low, low + width_hz).verdict


@dataclass(frozen=True)
class Drawn:
    """Noise of any height, with carriers, blocks, bursts and a slope of any height."""

    seed: int
    sweeps: int
    noise_dbm: float
    shape: float
    slope_db: float
    signals: int
    per_step: float
    detector: Detector | None

    @cached_property
    def series(self) -> Series:
        """The same each time."""
        rng = np.random.default_rng(self.seed)
        levels = self.noise_dbm + 10 * np.log10(rng.gamma(self.shape, 1 / self.shape, (self.sweeps, BINS)))
        levels += self.slope_db * np.linspace(0, 1, BINS)
        for _ in range(self.signals):
            first, width = int(rng.integers(BINS)), int(rng.choice([1, 2, 8, 60]))
            on = rng.random(self.sweeps) < rng.choice([0.2, 1.0])
            levels[np.ix_(on, range(first, min(BINS, first + width)))] += rng.uniform(3, 60)
        return _series(levels, rbw_hz=STEP_HZ * self.per_step, detector=self.detector)


def _series(levels: np.ndarray, rbw_hz: float = STEP_HZ, detector: Detector | None = None) -> Series:
    axis = Axis.regular(LOW_HZ, STEP_HZ, BINS)
    return Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=rbw_hz, detector=detector)


def drawn() -> some.SearchStrategy[Drawn]:
    """Any of them."""
    return some.builds(
        Drawn,
        seed=SEEDS,
        sweeps=some.integers(1, 12),
        noise_dbm=some.sampled_from([-126.0, -122.0, -115.0, -105.0]),
        shape=some.sampled_from([1.0, 4.0, 40.0]),
        slope_db=some.sampled_from([0.0, 6.0]),
        signals=some.integers(0, 4),
        per_step=some.sampled_from([0.8, 1.0, 1.5, 4.0]),
        detector=some.sampled_from([None, Detector.AVERAGE, Detector.PEAK]),
    )


def _with_levels(series: Series, levels: np.ndarray) -> Survey:
    return Survey((series.with_levels(levels.astype(np.float32)),))


@EXAMPLES
@given(drawn(), some.floats(1.26, 100.0), some.sampled_from([-90.0, -60.0, 0.0]))
def test_no_step_wider_than_the_resolution_is_clean(air_of: Drawn, ratio: float, limit: float) -> None:
    series = air_of.series
    coarse = replace(series, rbw_hz=float(series.axis.step_hz) / ratio)
    assert not np.any(_verdicts(judge(Survey((coarse,)), Judging(limit_dbm=limit))) == Verdict.CLEAN)


@EXAMPLES
@given(drawn(), some.floats(-130.0, -60.0))
def test_none_is_clean_whose_floor_and_its_uncertainty_reach_the_limit(air_of: Drawn, limit: float) -> None:
    series = air_of.series
    air = judge(Survey((series,)), Judging(limit_dbm=limit))
    low = _rising_lows(series.axis, 200e3)
    seen = air.judge_windows(low, low + 200e3)
    deaf = seen.floor_dbm + seen.u_db >= limit
    assert not np.any(seen.verdict[deaf] == Verdict.CLEAN)
    above = seen.level_dbm >= limit
    assert not np.any(seen.verdict[above] == Verdict.CLEAN)


@EXAMPLES
@given(SEEDS, some.floats(0.3, 40.0), some.sampled_from([1, 10]), some.sampled_from([1.0, 3.0]))
def test_none_below_a_resistors_noise_is_clean(seed: int, below_db: float, sweeps: int, per_step: float) -> None:
    rng = np.random.default_rng(seed)
    rbw_hz = STEP_HZ * per_step
    noise = KTB_DBM_PER_HZ + 10 * np.log10(rbw_hz) - below_db
    levels = noise + 10 * np.log10(rng.gamma(100, 0.01, (sweeps, BINS)))
    air = judge(Survey((_series(levels, rbw_hz),)))
    assert not np.any(_verdicts(air) == Verdict.CLEAN)


@EXAMPLES
@given(drawn(), some.sets(some.integers(0, BINS - 1), min_size=1, max_size=30))
def test_no_window_with_a_hole_is_clean_and_a_big_hole_is_not_measured(air_of: Drawn, holes: set[int]) -> None:
    series = air_of.series
    levels = series.levels_db.copy()
    levels[:, sorted(holes)] = np.nan
    assume(np.isfinite(levels).any())
    air = judge(_with_levels(series, levels))
    low = _rising_lows(series.axis, 200e3)
    verdicts = air.judge_windows(low, low + 200e3).verdict
    lows, highs = series.axis.cells_hz
    for begin, verdict in zip(low, verdicts, strict=True):
        inside = [index for index in holes if lows[index] < begin + 200e3 and highs[index] > begin]
        missing = sum(min(highs[index], begin + 200e3) - max(lows[index], begin) for index in inside)
        if inside:
            assert verdict != Verdict.CLEAN
        if missing > 0.1 * 200e3 + 1:
            assert verdict in (Verdict.NOT_MEASURED, Verdict.OCCUPIED)  # occupied: within a block that is in use


@EXAMPLES
@given(drawn(), some.integers(0, BINS - 1), some.sampled_from([-142.5, -300.0, -999.0]), some.integers(0, 11))
def test_no_window_with_a_rejected_reading_is_clean(air_of: Drawn, at: int, wrapped_db: float, sweep: int) -> None:
    series = air_of.series
    levels = series.levels_db.copy() + 60.0  # a receiver that shows -60 dBm where nothing is, and wraps round
    levels[sweep % levels.shape[0], at] = wrapped_db
    assume(wrapped_db < np.percentile(levels, 25) - 61)
    air = judge(_with_levels(series, levels), Judging(limit_dbm=0.0))
    centre = float(series.axis.centres_hz[at])
    assert air.judge_window(centre - 100e3, centre + 100e3).verdict is not Verdict.CLEAN


@EXAMPLES
@given(drawn(), some.floats(-110.0, -70.0), some.floats(0.0, 30.0))
def test_a_higher_limit_never_worsens(air_of: Drawn, limit: float, more_db: float) -> None:
    series = air_of.series
    low, high = (_verdicts(judge(Survey((series,)), Judging(limit_dbm=one))) for one in (limit, limit + more_db))
    assert np.all(RANK[high] <= RANK[low])


@EXAMPLES
@given(drawn(), some.sampled_from([(50.0, 90.0), (90.0, 95.0), (95.0, 99.0), (99.0, 99.9)]))
def test_more_confidence_is_never_bought_by_more_verdicts(air_of: Drawn, asked: tuple[float, float]) -> None:
    series = air_of.series
    less, more = (_verdicts(judge(Survey((series,)), Judging(confidence_pct=one))) for one in asked)
    assert np.all((more != Verdict.CLEAN) | (less == Verdict.CLEAN))
    assert np.all((more != Verdict.OCCUPIED) | (less == Verdict.OCCUPIED))


@EXAMPLES
@given(drawn(), drawn())
def test_what_is_merged_is_as_bad_as_the_worse_one(first: Drawn, second: Drawn) -> None:
    one, other = first.series, replace(second.series, rbw_hz=STEP_HZ * 1.1)  # another instrument
    alone = [judge(Survey((part,))) for part in (one, other)]
    together = judge(Survey((one, other)))
    low = _rising_lows(one.axis, 200e3)
    worse, better, both = (RANK[air.judge_windows(low, low + 200e3).verdict] for air in (*alone, together))
    assert np.all(both >= np.maximum(worse, better))


@EXAMPLES
@given(drawn(), some.integers(1, 38), some.integers(1, 20))
def test_a_wider_slice_is_never_better(air_of: Drawn, halves: int, more: int) -> None:
    """Occupied by a hair may become doubtful, because more windows were looked at; never clean."""
    series = air_of.series
    air = judge(Survey((series,)))
    high = LOW_HZ + 100_000 * (halves + 1)
    narrow, wide = air.judge_slices([Channel("narrow", LOW_HZ, high), Channel("wide", LOW_HZ, high + 100_000 * more)])
    assert wide.verdict >= narrow.verdict or (narrow.verdict is Verdict.OCCUPIED and wide.verdict is not Verdict.CLEAN)


@EXAMPLES
@given(drawn(), some.integers(1, 60), SEEDS)
def test_sweeps_of_cleaner_air_make_nothing_clean_that_was_occupied(air_of: Drawn, more: int, seed: int) -> None:
    series = air_of.series
    rng = np.random.default_rng(seed)
    quiet = np.min(series.levels_db, axis=0) + 10 * np.log10(rng.gamma(4.0, 0.25, (more, BINS)))
    before = judge(Survey((series,)))
    longer = judge(_with_levels(series, np.concatenate([series.levels_db, quiet])))
    was, now = _verdicts(before), _verdicts(longer)
    assert not np.any((was == Verdict.OCCUPIED) & (now == Verdict.CLEAN))


@EXAMPLES
@given(SEEDS, some.integers(1, 200), some.integers(0, 5))
def test_a_burst_well_above_the_limit_stays_occupied_however_long_one_listens(seed: int, more: int, at: int) -> None:
    rng = np.random.default_rng(seed)
    levels = -122 + 10 * np.log10(rng.gamma(4.0, 0.25, (6 + more, BINS)))
    levels[at, 80] = USUAL_LIMIT_DBM + 12.0
    series = _series(levels)
    centre = float(series.axis.centres_hz[80])
    assert judge(Survey((series,))).judge_window(centre - 1e5, centre + 1e5).verdict is Verdict.OCCUPIED
