"""The pad test over invented airs: real signals, products of three orders, the instrument's own lines, mixtures.

Truth is what the invented air was given. The rule that is counted: where an answer is given, it is right at least as
often as it says.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fallow.change.pad_lines import LineReading, Origin, PadUncertainty, judge_line, least_pad_db, sum_db
from fallow.change.padded import PadTest, run_pad_test
from fallow.errors import UsageError
from fallow.spectrum.judging import judge
from invented_air import Instrument, Signal, sweep_over

INSTRUMENT = Instrument(sweeps=10, bins=1600)  # 470 to 510 MHz
SURE = PadUncertainty(0.71)
TRUTH = {474: (Origin.REAL, None), 480: (Origin.REAL, None), 483: (Origin.INSIDE, 2), 485: (Origin.INSIDE, 3)}
TRUTH |= {489: (Origin.INSIDE, 5), 492: (Origin.OWN, None), 497: (Origin.REAL, None)}
BOTH_AT_MHZ = 501


def air(pad_db: float) -> list[Signal]:
    """What the instrument shows behind a pad; everything invented."""
    outside = [Signal(474e6, 7.61e6, -65 - pad_db), Signal(480e6, 1e5, -60 - pad_db), Signal(497e6, 1e5, -104 - pad_db)]
    inside = [Signal(f * 1e6, 0, level - m * pad_db) for f, level, m in ((483, -80, 2), (485, -80, 3), (489, -70, 5))]
    both = [Signal(BOTH_AT_MHZ * 1e6, 0, -90 - pad_db), Signal(BOTH_AT_MHZ * 1e6, 0, -90 - 3 * pad_db)]
    return [*outside, *inside, *both, Signal(492e6, 0, -95)]


def through_a_pad(pad_db: float, seed: int, corrected_db: float = 0.0) -> PadTest:
    rng = np.random.default_rng(seed)
    drift = rng.normal(0, 0.5, 2)
    without = judge(sweep_over(rng, replace(INSTRUMENT, error_db=drift[0]), air(0.0)))
    through = judge(sweep_over(rng, replace(INSTRUMENT, error_db=drift[1] + corrected_db), air(pad_db)))
    return run_pad_test(without, through, pad_db)


def by_mhz(found: PadTest) -> dict[int, tuple[Origin, int | None]]:
    return {round(line.centre_hz / 1e6): (line.verdict.origin, line.verdict.order) for line in found.lines}


@pytest.mark.parametrize("pad_db", [6.0, 10.0])
def test_each_line_is_told(pad_db: float) -> None:
    found = by_mhz(through_a_pad(pad_db, seed=1))
    assert {mhz: found[mhz] for mhz in TRUTH} == TRUTH


def test_a_corrected_display_is_noticed_and_allowed_for() -> None:
    found = through_a_pad(10.0, seed=2, corrected_db=10.0)
    assert found.corrected
    assert {mhz: by_mhz(found)[mhz] for mhz in TRUTH} == TRUTH


@pytest.mark.slow
def test_answers_are_right_as_often_as_they_say() -> None:
    given = right = 0
    for seed in range(25):
        for pad_db in (3.0, 10.0):
            for mhz, (origin, order) in by_mhz(through_a_pad(pad_db, seed)).items():
                if mhz in TRUTH and origin is not Origin.UNDECIDED:
                    given += 1
                    right += origin is TRUTH[mhz][0] and order in (None, TRUTH[mhz][1])
    assert given > 200
    assert right / given >= 0.95


def test_a_small_pad_leaves_orders_open_rather_than_guess() -> None:
    reading, through = LineReading(-60.0, -110.0, 1.0), LineReading(-64.5, -110.0, 1.0)
    verdict = judge_line(reading, through, 3.0, SURE)
    assert verdict.origin is Origin.UNDECIDED
    assert least_pad_db(1.0, order=2) > 3.0


@pytest.mark.parametrize("signal_db", [-100.0, -103.0])
def test_near_the_noise_nothing_is_claimed(signal_db: float) -> None:
    noise_db = -103.0
    reading = LineReading(sum_db(signal_db, noise_db), noise_db, 0.3)
    through = LineReading(sum_db(signal_db - 10.0, noise_db), noise_db, 0.3)
    assert judge_line(reading, through, 10.0, SURE).origin is Origin.UNDECIDED


def test_a_line_that_sinks_into_the_noise_is_made_inside_though_the_order_is_hidden() -> None:
    verdict = judge_line(LineReading(-80.0, -103.0, 0.3), LineReading(-103.0, -103.0, 0.3), 10.0, SURE)
    assert verdict.origin is Origin.INSIDE
    assert verdict.order is None
    assert verdict.error_probability < 0.05


def test_a_mixture_is_neither() -> None:
    verdict = judge_line(LineReading(-67.0, -110.0, 0.1), LineReading(-67.0 - 12.967, -110.0, 0.1), 10.0, SURE)
    assert verdict.origin is Origin.UNDECIDED
    half_way = judge_line(LineReading(-67.0, -110.0, 0.1), LineReading(-82.0, -110.0, 0.1), 10.0, SURE)
    assert "both" in half_way.because


def test_what_comes_and_goes_is_not_judged() -> None:
    rng = np.random.default_rng(5)
    burst = Signal(490e6, 1e5, -80, on=np.arange(10) < 3)
    without = judge(sweep_over(rng, INSTRUMENT, [burst]))
    line = run_pad_test(without, judge(sweep_over(rng, INSTRUMENT, [])), 10.0).lines[0]
    assert line.verdict.origin is Origin.UNDECIDED
    assert "comes and goes" in line.verdict.because


def test_television_that_does_not_fall_makes_the_pad_suspect() -> None:
    rng = np.random.default_rng(6)
    same = [judge(sweep_over(rng, INSTRUMENT, [Signal(490e6, 7.61e6, -60)])) for _ in range(2)]
    assert any("was the pad in the way" in note for note in run_pad_test(same[0], same[1], 10.0).notes)


def test_advice_names_the_strong_signals_and_a_floor_that_comes_from_outside() -> None:
    f = np.arange(INSTRUMENT.bins)
    wall = 12.0 / (1 + np.exp(-(f - 800) / 30)) / (1 + np.exp((f - 1400) / 30))  # 490 to 505 MHz, soft edges
    rng = np.random.default_rng(7)
    lifted = replace(INSTRUMENT, noise_shape_db=wall)
    lowered = replace(INSTRUMENT, noise_shape_db=10 * np.log10(1 + (10 ** (wall / 10) - 1) / 10**0.6))
    lines = [Signal(480e6, 1e5, -60), Signal(483e6, 0, -80)]
    through = [Signal(480e6, 1e5, -66), Signal(483e6, 0, -98)]
    found = run_pad_test(judge(sweep_over(rng, lifted, lines)), judge(sweep_over(rng, lowered, through)), 6.0)
    assert any("480.000 MHz" in text and "filter" in text for text in found.advice)
    assert any("from outside" in note for note in found.notes)


def test_advice_names_no_line_that_is_too_weak_to_make_anything() -> None:
    rng = np.random.default_rng(8)
    made, weak = Signal(483e6, 0, -80), (Signal(478e6, 0, -86), Signal(487e6, 0, -98))
    without = [Signal(480e6, 1e5, -45), made, *weak]
    through = [Signal(480e6, 1e5, -55), Signal(483e6, 0, -110), Signal(478e6, 0, -96), Signal(487e6, 0, -108)]
    (told, *_) = run_pad_test(
        judge(sweep_over(rng, INSTRUMENT, without)), judge(sweep_over(rng, INSTRUMENT, through)), 10.0
    ).advice
    assert "the strongest here: 480.000 MHz (" in told
    assert "478" not in told
    assert "487" not in told


def test_advice_says_where_the_strong_signals_are_when_none_was_swept() -> None:
    rng = np.random.default_rng(9)
    without = [Signal(483e6, 0, -80), Signal(478e6, 0, -86)]
    through = [Signal(483e6, 0, -110), Signal(478e6, 0, -96)]
    (told, *_) = run_pad_test(
        judge(sweep_over(rng, INSTRUMENT, without)), judge(sweep_over(rng, INSTRUMENT, through)), 10.0
    ).advice
    assert told.startswith("1 line is made inside by strong signals, and nothing in what was swept is strong enough")


@pytest.mark.parametrize("pad_db", [0.0, -3.0, 100.0])
def test_a_pad_that_can_not_be_is_refused(pad_db: float) -> None:
    some = judge(sweep_over(np.random.default_rng(8), INSTRUMENT, []))
    with pytest.raises(UsageError, match="pad"):
        run_pad_test(some, some, pad_db)
