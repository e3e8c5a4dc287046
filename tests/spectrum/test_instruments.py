"""Instruments of one survey held against each other: offsets, uncertainty, who is named and what follows.

Truth is what the invented instruments were given. The arithmetic is held against SciPy's signed-rank test and NumPy's
least squares; the counts by the binomial distribution.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from fallow.spectrum.chain import Chain, ChainPart
from fallow.spectrum.instruments.instruments import compare_instruments, compare_shared, differing_u_db
from fallow.spectrum.instruments.offsets import fit_offsets, paired_offset
from fallow.spectrum.instruments.shared import Shared
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging, Verdict
from fallow.units import Channel
from invented_air import Instrument, Signal, budget_error_db, sweep_over

TELEVISION = [Signal(474e6, 7.61e6, -60.0), Signal(490e6, 7.61e6, -55.0), Signal(530e6, 7.61e6, -65.0)]
NARROW = [Signal(498.3037e6 + 9.37e6 * k, 1e5 if k % 2 else 0.0, -70.0 + 5.0 * (k % 3)) for k in range(11) if k != 3]
SIGNALS = [*TELEVISION, *NARROW]
GRIDS = ((25_000, 25e3), (50_000, 50e3), (20_000, 30e3), (25_000, 25e3), (40_000, 40e3), (25_000, 25e3))
QUIET = Channel("quiet", 540_000_000, 542_000_000)


def unit(seed: int, name: str, gain_db: float, signals: Sequence[Signal] = SIGNALS, grid: int = 0) -> Series:
    step, rbw = GRIDS[grid]
    instrument = Instrument(
        step_hz=step,
        bins=round(138e6 / step),
        rbw_hz=rbw,
        sweeps=4,
        noise_dbm=-160 + 10 * np.log10(rbw),  # a noise figure of 14 dB
        error_db=gain_db,
    )
    series = sweep_over(np.random.default_rng(seed), instrument, list(signals)).series[0]
    return replace(series, instrument=name)


def survey(gains_db: Sequence[float], *, grids: bool = False) -> Survey:
    return Survey(
        tuple(unit(40 + k, f"unit-{k + 1}", gain, grid=k % 6 if grids else 0) for k, gain in enumerate(gains_db))
    )


def told(air: Air, part: str) -> list[str]:
    return [note for note in air.notes if part in note]


# --- the arithmetic


@pytest.mark.parametrize("count", [6, 7, 12, 25, 65])
def test_the_interval_is_that_of_the_signed_rank_test(count: int) -> None:
    """A value belongs to the interval where SciPy's exact test of it gives 5 % or more."""
    values = np.random.default_rng(count).normal(1.0, 2.0, count)
    found = paired_offset(values, np.zeros(count))
    means = np.sort([(a + b) / 2 for k, a in enumerate(values) for b in values[k:]])
    assert found.difference_db == pytest.approx(float(np.median(means)))  # Hodges and Lehmann

    def belongs(centre: float) -> bool:
        method = "exact" if count <= 50 else "approx"
        tests = [stats.wilcoxon(values - centre - aside, method=method) for aside in (-1e-9, 1e-9)]
        return max(test.pvalue for test in tests) >= 0.05

    inside = [mean for mean in means if belongs(float(mean))]
    rel = 1e-6 if count <= 50 else 0.03
    assert 2 * 1.959964 * found.u_db == pytest.approx(max(inside) - min(inside), rel=rel)


def test_an_offset_of_few_signals_says_little() -> None:
    one = paired_offset(np.array([3.0]), np.array([0.1]))
    three = paired_offset(np.array([3.0, 3.1, 2.9]), np.full(3, 0.1))
    assert one.u_db > 3.0 > three.u_db > 0.5
    with pytest.raises(ValueError, match="needs a signal"):
        paired_offset(np.array([]), np.array([]))


def test_signals_that_changed_do_not_move_an_offset() -> None:
    differences = np.random.default_rng(3).normal(2.0, 0.5, 20)
    differences[:3] += (15.0, 20.0, -12.0)
    found = paired_offset(differences, np.zeros(20))
    assert found.difference_db == pytest.approx(2.0, abs=0.5)
    assert found.u_db < 1.0


def test_all_units_together_as_numpy_solves_it() -> None:
    """Weighted least squares over the graph of pairs, the mean held at 0, by NumPy's lstsq."""
    rng = np.random.default_rng(5)
    levels = rng.normal(0.0, 3.0, 5)[:, None] + rng.uniform(-90, -50, 30) + rng.normal(0.0, 1.0, (5, 30))
    levels[rng.random((5, 30)) < 0.4] = np.nan
    found = fit_offsets(levels, np.zeros((5, 30)))
    rows = [
        (np.eye(5)[one] - np.eye(5)[other], pair.difference_db, 1 / pair.u_db)
        for (one, other), pair in found.pairs.items()
    ]
    design = np.array([row * weight for row, _, weight in rows] + [np.full(5, 1e3)])
    seen = np.array([value * weight for _, value, weight in rows] + [0.0])
    np.testing.assert_allclose(found.offset_db, np.linalg.lstsq(design, seen, rcond=None)[0], atol=1e-6)
    assert found.offset_db.sum() == pytest.approx(0.0, abs=1e-9)


def test_units_that_no_signal_joins_are_told_apart() -> None:
    levels = np.full((5, 12), np.nan)
    levels[:2, :6], levels[2:4, 6:] = -60.0, -70.0
    levels[1, :6] += 3.0
    found = fit_offsets(levels, np.zeros((5, 12)))
    assert found.group.tolist() == [0, 0, 1, 1, -1]
    assert found.offset_db[1] - found.offset_db[0] == pytest.approx(3.0)
    assert np.isnan(found.offset_db[4])
    with pytest.raises(ValueError, match="share no signal"):
        found.against(0, np.array([0.0, 0.0, 1.0, 0.0, 0.0]))


@pytest.mark.slow
@pytest.mark.parametrize("signals", [6, 12, 30])
@pytest.mark.parametrize("scatter_db", [0.5, 3.0])
def test_the_stated_uncertainty_holds(signals: int, scatter_db: float) -> None:
    """± 1.96 u holds the true difference 95 times in 100: bounds that a right program misses once in 10,000."""
    rng = np.random.default_rng(7)
    inside = 0
    for _ in range(400):
        gains = rng.normal(0.0, 2.4, 3)
        levels = gains[:, None] + rng.uniform(-90, -50, signals) + rng.normal(0.0, scatter_db, (3, signals))
        difference = fit_offsets(levels, np.zeros_like(levels)).against(0, np.array([0.0, 1.0, 0.0]))
        inside += abs(difference.difference_db - (gains[0] - gains[1])) <= 1.96 * difference.u_db
    assert stats.binom.ppf(1e-4, 400, 0.93) <= inside <= stats.binom.ppf(1 - 1e-4, 400, 0.975)


def test_what_the_chain_states_is_shared_and_cancels() -> None:
    """JCGM 100:2008, F.1.2.3. The figures are the default budget's: 1.155, 0.866, 1.732, 0.289, 0.685, 0.5 dB."""
    assert differing_u_db(None) == pytest.approx(2.426, abs=0.001)
    antenna, cable = (ChainPart(kind, kind, -1.0, 1.0) for kind in ("antenna", "cable"))
    instrument = ChainPart("meter", "instrument", 0.0, 0.4)
    assert differing_u_db(Chain((antenna, cable))) == pytest.approx(
        np.sqrt(1.155**2 + 0.866**2 + 0.685**2 + 0.5**2), abs=1e-3
    )
    assert differing_u_db(Chain((antenna, cable, instrument))) == pytest.approx(np.hypot(0.4, 0.685), abs=1e-3)


# --- who is named


def test_offsets_of_units_with_grids_and_bandwidths_of_their_own() -> None:
    gains = [0.5, -1.0, 2.0, 0.0, -2.5, 1.0]
    air = judge(survey(gains, grids=True))
    assert air.instruments is not None
    offsets = [air.instruments.against_median(k) for k in range(6)]
    for offset, gain in zip(offsets, gains, strict=True):
        assert offset.difference_db == pytest.approx(gain - np.median(gains), abs=0.3)
        assert offset.behind >= 12
    assert air.instruments.misreadings == ()
    assert len(told(air, "6 instruments, against their median")) == 1


def test_a_unit_that_reads_low_is_named_and_proves_nothing_clean() -> None:
    air = judge(survey([0.3, -0.5, 0.6, -9.4, 0.1, 0.0]), Judging(limit_dbm=-70))
    (note,) = told(air, "lower than the 5 others")
    assert note.startswith("unit-4 reads 9.")
    assert "more than their uncertainty explains" in note
    assert air.judge_slices([QUIET])[0].verdict is Verdict.CLEAN  # five others saw it
    alone = Survey((*survey([0.3, -0.5, 0.6, -9.4]).series[:3], unit(43, "unit-4", -9.4)))
    narrowed = Survey((*(_without(series, QUIET) for series in alone.series[:3]), alone.series[3]))
    (judged,) = judge(narrowed, Judging(limit_dbm=-70)).judge_slices([QUIET])
    assert judged.verdict is Verdict.DOUBTFUL
    assert "nothing else looked here: unit-4 reads" in judged.reasons[0]
    (trusted,) = judge(Survey((alone.series[0],)), Judging(limit_dbm=-70)).judge_slices([QUIET])
    assert trusted.verdict is Verdict.CLEAN


def _without(series: Series, channel: Channel) -> Series:
    levels = series.levels_db.copy()
    levels[:, series.axis.bins_touching(channel.low_hz - 5e5, channel.high_hz + 5e5)] = np.nan
    return series.with_levels(levels)


def test_a_unit_that_reads_high_alone_makes_nothing_occupied() -> None:
    carrier = Signal(541e6, 0.0, -75.0)
    units = [unit(k, f"unit-{k}", 0.2 * k) for k in range(4)]
    high = unit(9, "high", 12.0, [*SIGNALS, carrier])
    air = judge(Survey((*units, high)), Judging(limit_dbm=-70))
    assert len(told(air, "high reads 11")) == 1
    (slice_,) = air.judge_slices([QUIET])
    assert slice_.verdict is Verdict.DOUBTFUL
    assert any("by one instrument's word" in reason for reason in slice_.reasons)
    strong = unit(9, "high", 12.0, [*SIGNALS, replace(carrier, level_dbm=-50.0)])
    assert judge(Survey((*units, strong)), Judging(limit_dbm=-70)).judge_slices([QUIET])[0].verdict is Verdict.OCCUPIED


def test_of_two_units_nobody_knows_which_is_wrong() -> None:
    apart = judge(survey([0.0, -9.0]))
    assert apart.instruments is not None
    assert apart.instruments.misreadings == ()
    assert len(told(apart, "from two alone nobody can say which")) == 1
    near = judge(survey([0.0, -3.1]))
    (note,) = told(near, "where both looked")
    assert note.startswith("unit-2 reads 3.")
    assert "below unit-1 where both looked (470." in note
    assert "the budget allows 6.7 dB" in note


def test_two_camps_name_nobody() -> None:
    air = judge(survey([0.0, 0.4, -14.0, -14.3]))
    assert air.instruments is not None
    assert air.instruments.misreadings == ()
    assert len(told(air, "too few agree")) == 1


def test_a_unit_deaf_in_the_upper_part_is_named_there() -> None:
    upper = [replace(one, level_dbm=one.level_dbm - 45.0) if one.centre_hz > 545e6 else one for one in SIGNALS]
    units = [unit(k, f"unit-{k}", 0.3 * k) for k in range(4)]
    air = judge(Survey((*units, unit(8, "deaf", 0.0, upper))), Judging(limit_dbm=-70))
    assert air.instruments is not None
    named = air.instruments.misreadings
    assert {one.unit for one in named} == {"deaf"}
    assert all(one.difference_db < -15 for one in named)
    assert min(one.low_hz for one in named) > 530e6
    assert any("reads at least" in note for note in told(air, "deaf reads"))


def test_relative_levels_are_told_and_nobody_is_named() -> None:
    units = [replace(unit(k, f"unit-{k}", gain), unit=LevelUnit.DB) for k, gain in enumerate((0.0, 25.0, -12.0))]
    air = judge(Survey(tuple(units)))
    assert air.instruments is not None
    assert air.instruments.misreadings == ()
    assert air.instruments.quarrels == ()
    assert air.instruments.offsets.offset_db[1] - air.instruments.offsets.offset_db[0] == pytest.approx(25.0, abs=0.3)


def test_noise_alone_says_nothing_of_gain() -> None:
    air = judge(Survey(tuple(unit(k, f"unit-{k}", gain, []) for k, gain in enumerate((0.0, -9.0, 1.0)))))
    assert air.instruments is not None
    assert (air.instruments.offsets.group == -1).all()
    assert air.instruments.misreadings == ()
    assert len(told(air, "can't be held against each other")) == 1


def test_a_floor_far_above_its_siblings_is_told() -> None:
    loud = unit(5, "loud", 0.0)
    noise = np.random.default_rng(1).exponential(10 ** (-101 / 10), loud.levels_db.shape)
    loud = loud.with_levels((10 * np.log10(10 ** (loud.levels_db / 10) + noise)).astype(np.float32))
    air = judge(Survey((*(unit(k, f"unit-{k}", 0.0) for k in range(3)), loud)))
    assert len(told(air, "the floor of loud lies")) == 1


def test_series_of_one_instrument_are_not_held_against_each_other() -> None:
    traces = [
        replace(unit(k, "", 0.0), source="a.csv", detector=kind) for k, kind in enumerate((Detector.AVERAGE, None))
    ]
    assert judge(Survey(tuple(traces))).instruments is None
    same = [replace(unit(k, "", 0.0), source=f"{k}.csv") for k in range(2)]
    assert judge(Survey(tuple(same))).instruments is None  # one kind, nobody says otherwise: sweeps of one


def test_peaks_beside_averages_say_nothing_of_gain() -> None:
    peaks = replace(unit(1, "peaks", 7.0), detector=Detector.PEAK)
    air = judge(Survey((unit(2, "averages", 0.0), peaks)))
    assert air.instruments is not None
    assert air.instruments.offsets.group.tolist() == [-1, -1]


def test_comparing_needs_two() -> None:
    air = judge(survey([0.0]))
    assert compare_instruments(air.evidence, 2.4, 95.0) is None


@pytest.mark.slow
def test_the_errors_of_six_units_do_not_add_up_to_false_alarms() -> None:
    """A signal at the limit, errors drawn from the budget: occupied at most 5 times in 100, as with one unit. Without
    sharing out the chance it would be 26 times; the bound is one that a right program misses once in 10,000.
    """
    rng = np.random.default_rng(21)
    signal = Signal(473.2037e6, 1e5, -90.0)
    slice_ = Channel("", 470_000_000, 478_000_000)
    occupied = 0
    for _ in range(60):
        units = []
        for k in range(6):
            instrument = Instrument(sweeps=int(rng.choice([1, 5])), error_db=budget_error_db(rng))
            units.append(replace(sweep_over(rng, instrument, [signal]).series[0], instrument=f"unit-{k}"))
        judged = judge(Survey(tuple(units)), Judging(limit_dbm=-90)).judge_slices([slice_])[0]
        occupied += judged.verdict is Verdict.OCCUPIED
    assert occupied <= stats.binom.ppf(1 - 1e-4, 60, 0.05)


def invented_signals(rng: np.random.Generator, gains_db: np.ndarray, count: int = 15) -> Shared:
    """What units show of signals all over 470 to 608 MHz, 1 dB off by fading in each; one in twenty has changed."""
    low = np.sort(rng.uniform(470e6, 607e6, count))
    levels = gains_db[:, None] + rng.uniform(-90, -50, count) + rng.normal(0.0, 1.0, (gains_db.size, count))
    changed = rng.random(levels.shape) < 0.05
    levels[changed] += rng.choice([-1, 1], int(changed.sum())) * rng.uniform(3, 20, int(changed.sum()))
    nothing = np.full(levels.shape, np.nan)
    return Shared(low, low + 2e5, levels, np.full(levels.shape, 0.2), nothing, np.ones(levels.shape, dtype=bool))


@pytest.mark.parametrize("units", [3, 6, 12])
def test_nobody_is_named_for_gains_within_the_budget_and_a_drift_is(units: int) -> None:
    """Asked: false naming in at most 5 surveys of 100, and a drift of 8 dB named 95 times in 100 where the instrument
    is known to 1 dB and the rest is shared; bounds that a right program misses once in 10,000.
    """
    rng = np.random.default_rng(22)
    kinds = (("antenna", 1.0), ("cable", 0.2), ("instrument", 1.0))
    u_db = differing_u_db(Chain(tuple(ChainPart(kind, kind, 0.0, u_db) for kind, u_db in kinds)))
    names = [str(unit) for unit in range(units)]
    wrong = hit = 0
    for _ in range(100):
        gains = rng.normal(0.0, u_db, units)
        wrong += bool(compare_shared(names, invented_signals(rng, gains), u_db, 95.0).misreadings)
        gains[2] -= 8.0
        found = compare_shared(names, invented_signals(rng, gains), u_db, 95.0).misreadings
        hit += {one.unit for one in found} == {"2"}
    assert wrong <= stats.binom.ppf(1 - 1e-4, 100, 0.05)
    assert hit >= stats.binom.ppf(1e-4, 100, 0.95)
