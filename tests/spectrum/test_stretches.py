"""A unit that is bad in a part of its range only: found from the signals, named in words, rarely falsely.

Truth is what the invented tables and instruments were given; bounds come from the binomial distribution (SciPy).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from fallow.change.offset import SharedSignals, stretch_offsets
from fallow.change.surveys import compare_surveys
from fallow.change.values import Terms
from fallow.spectrum.chain import Chain, ChainPart
from fallow.spectrum.instruments.instruments import compare_shared, differing_u_db
from fallow.spectrum.instruments.shared import Shared
from fallow.spectrum.instruments.stretches import FEWEST_IN_STRETCH, propose_stretches, runs_looked_at
from fallow.spectrum.judging import judge
from fallow.spectrum.sweep import Series, Survey
from fallow.spectrum.verdict import Judging, Verdict
from fallow.units import Channel
from invented_air import Instrument, Signal, sweep_over

BAD_HZ = (520e6, 548e6)  # 28 MHz that fit none of eight bands of 470 to 608 MHz
KNOWN = Chain(
    tuple(ChainPart(kind, kind, 0.0, u_db) for kind, u_db in (("antenna", 1.0), ("cable", 0.2), ("instrument", 1.0)))
)


def table(rng: np.random.Generator, gains_db: np.ndarray, count: int, low_db: float = 0.0) -> Shared:
    """What units show of signals all over 470 to 608 MHz: 1 dB off by fading in each, one in twenty changed by 3 to
    20 dB; the second unit reads ``low_db`` too low in the bad part.
    """
    low = np.sort(rng.uniform(470e6, 607e6, count))
    levels = gains_db[:, None] + rng.uniform(-90, -50, count) + rng.normal(0.0, 1.0, (gains_db.size, count))
    changed = rng.random(levels.shape) < 0.05
    levels[changed] += rng.choice([-1, 1], int(changed.sum())) * rng.uniform(3, 20, int(changed.sum()))
    levels[1, (low >= BAD_HZ[0]) & (low < BAD_HZ[1])] -= low_db
    nothing = np.full(levels.shape, np.nan)
    return Shared(low, low + 2e5, levels, np.full(levels.shape, 0.2), nothing, np.ones(levels.shape, dtype=bool))


# --- proposing


def test_the_run_that_differs_most_is_proposed_first() -> None:
    """Against the plain enumeration of all runs by the same measure."""
    rng = np.random.default_rng(1)
    for _ in range(20):
        values = rng.normal(0.0, 1.0, 18)
        values[5:11] += 4.0
        runs = [
            (abs(np.clip(values[i:j], -10, 10).sum()) / np.sqrt(j - i), i, j)
            for i in range(18)
            for j in range(i + FEWEST_IN_STRETCH, 19)
        ]
        assert len(runs) == runs_looked_at(18)
        assert propose_stretches(values)[0] == max(runs)[1:]


def test_one_signal_that_has_changed_is_no_stretch_and_missing_ones_are_skipped() -> None:
    values = np.array([0.1, -0.2, np.nan, 30.0, 0.0, 0.2, -12.0, np.nan, -12.5, -11.5, 0.1])
    assert propose_stretches(values)[0] == (6, 10)
    assert propose_stretches(np.array([1.0, np.nan, 2.0])) == []


# --- naming among many


@pytest.mark.parametrize("units", [3, 6])
def test_a_unit_bad_in_a_part_is_named_there_and_nobody_falsely(units: int) -> None:
    """40 signals, instruments known to 1 dB: false in at most 5 of 100, 12 dB low over 28 MHz named 9 times in 10."""
    u_db, names = differing_u_db(KNOWN), [str(unit) for unit in range(units)]
    rng, wrong, hit = np.random.default_rng(3), 0, 0
    for _ in range(40):
        gains = rng.normal(0.0, u_db, units)
        wrong += bool(compare_shared(names, table(rng, gains, 40), u_db, 95.0).misreadings)
        named = compare_shared(names, table(rng, gains, 40, 12.0), u_db, 95.0).misreadings
        mine = [one for one in named if one.unit == "1"]
        hit += len(mine) == 1 and mine[0].low_hz < 530e6 < 538e6 < mine[0].high_hz and mine[0].told_hz[1] < 560e6
    assert wrong <= stats.binom.ppf(1 - 1e-4, 40, 0.05)
    assert hit >= stats.binom.ppf(1e-4, 40, 0.9)


def unit(seed: int, name: str, bad_db: float, signals: Sequence[Signal]) -> Series:
    instrument = Instrument(bins=5520, sweeps=3, noise_dbm=-116.0)
    levels = [
        replace(one, level_dbm=one.level_dbm + (bad_db if BAD_HZ[0] < one.centre_hz < BAD_HZ[1] else 0.0))
        for one in signals
    ]
    return replace(sweep_over(np.random.default_rng(seed), instrument, levels).series[0], instrument=name)


MANY = [Signal(473.0e6 + 5.37e6 * k, 1e5, -60.0 - 3.0 * (k % 4)) for k in range(25)]


def test_it_is_named_in_words_and_proves_nothing_clean_there() -> None:
    units = [unit(k, f"unit-{k}", 0.0, MANY) for k in range(1, 5)]
    units[2] = unit(3, "unit-3", -12.0, MANY)
    quiet, elsewhere = Channel("quiet", 529_000_000, 531_000_000), Channel("elsewhere", 588_500_000, 590_000_000)
    for series in (units[0], units[1], units[3]):
        for channel in (quiet, elsewhere):  # unit 3 alone looked there
            series.levels_db[:, series.axis.bins_touching(channel.low_hz, channel.high_hz)] = np.nan
    air = judge(Survey(tuple(units)), Judging(limit_dbm=-75))
    (note,) = (note for note in air.notes if "lower than the 3 others" in note)
    assert note.startswith("unit-3 reads 12.")
    assert "others from 521.2" in note
    assert "to 542.88" in note
    doubtful, clean = air.judge_slices([quiet, elsewhere])
    assert doubtful.verdict is Verdict.DOUBTFUL
    assert clean.verdict is Verdict.CLEAN


# --- two units


def test_of_two_units_the_stretch_is_told_and_by_chance_none() -> None:
    rng, terms, wrong, hit = np.random.default_rng(4), Terms(False, 3.4, True, 2e5), 0, 0
    for _ in range(60):
        gains = rng.normal(0.0, 2.4, 2)
        wrong += bool(stretch_offsets(SharedSignals(table(rng, gains, 40), 2.0), terms))
        found = stretch_offsets(SharedSignals(table(rng, gains, 40, 12.0), 2.0), terms)
        hit += len(found) == 1 and 512e6 < found[0].low_hz < 530e6 and 538e6 < found[0].high_hz < 556e6
    assert wrong <= stats.binom.ppf(1 - 1e-4, 60, 0.01)
    assert hit >= stats.binom.ppf(1e-4, 60, 0.7)


def test_compare_says_where_the_new_survey_reads_low() -> None:
    old, new = (judge(Survey((unit(k, f"unit-{k}", bad_db, MANY),))) for k, bad_db in ((5, 0.0), (6, -12.0)))
    found = compare_surveys(old, new)
    (stretch,) = found.by_stretch
    assert stretch.offset_db == pytest.approx(-12.0, abs=0.5)
    assert stretch.beyond_chance
    assert stretch.beyond_uncertainty
    (note,) = (note for note in found.notes if "unlike elsewhere" in note)
    assert note.startswith("the new survey reads 11.9")
    assert "lower from 521.2" in note
    assert "to 542.9" in note
    assert compare_surveys(old, old).by_stretch == ()
