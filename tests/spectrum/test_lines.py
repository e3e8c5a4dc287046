"""Lines that an instrument makes by itself: proven by a reference, suspected by pattern, or left alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fallow.spectrum.judging import judge
from fallow.spectrum.sweep import LevelUnit, Survey
from fallow.spectrum.verdict import Verdict
from invented_air import Instrument, Signal, sweep_over

FINE = Instrument(step_hz=10_000, bins=4001, rbw_hz=10_000.0, samples=50, sweeps=5, noise_dbm=-60.0, unit=LevelUnit.DB)
CLOCK_HZ = (480e6, 490e6, 500e6)


def _survey(*lines_hz: float, level: float = -40.0, seed: int = 1, instrument: Instrument = FINE) -> Survey:
    return sweep_over(np.random.default_rng(seed), instrument, [Signal(line, 0.0, level) for line in lines_hz])


def test_a_line_of_the_reference_is_the_instruments_own() -> None:
    air = judge(_survey(480e6, 487.13e6, level=-38.0), reference=_survey(480e6, seed=2))
    own, heard = air.judge_window(479.9e6, 480.1e6), air.judge_window(487.03e6, 487.23e6)
    assert own.verdict is Verdict.DOUBTFUL
    assert any("instrument's own" in reason for reason in own.reasons)
    assert heard.verdict is Verdict.OCCUPIED
    assert [round(one.centre_hz, -5) for one in air.emitters] == [487_100_000]


def test_what_is_much_stronger_than_in_the_reference_is_on_the_air() -> None:
    air = judge(_survey(480e6, level=-20.0), reference=_survey(480e6, level=-45.0, seed=2))
    assert air.judge_window(479.9e6, 480.1e6).verdict is Verdict.OCCUPIED
    assert len(air.emitters) == 1


def test_a_line_that_the_sweeps_do_not_show_stays_own() -> None:
    air = judge(_survey(), reference=_survey(480e6, seed=2))
    assert air.judge_window(479.9e6, 480.1e6).verdict is Verdict.DOUBTFUL
    assert air.judge_window(485e6, 485.2e6).verdict is Verdict.CLEAN


def test_a_line_that_the_sweeps_do_not_show_is_not_said_to_be_in_them() -> None:
    air = judge(_survey(490e6), reference=_survey(480e6, 490e6, seed=2))
    told = [note for note in air.notes if note.startswith("lines at ")]
    assert told == [
        "lines at 490.000 MHz are also in the reference: the instrument's own, no emitters",
        "lines at 480.000 MHz are in the reference alone: the instrument's own, which the sweeps don't show now",
    ]
    (hidden,) = (reason for reason in air.judge_window(479.9e6, 480.1e6).reasons if "480.000 MHz" in reason)
    assert hidden == "line at 480.000 MHz: the instrument's own: in the reference, though not in the sweeps now"


def test_without_a_reference_lines_on_a_clock_are_suspect() -> None:
    air = judge(_survey(*CLOCK_HZ))
    for line in CLOCK_HZ:
        judged = air.judge_window(line - 1e5, line + 1e5)
        assert judged.verdict is Verdict.DOUBTFUL
        assert any("suspected own line" in reason for reason in judged.reasons)
    assert air.emitters == ()


def test_an_instrument_that_makes_lines_on_clocks_is_believed_no_other_steady_line() -> None:
    air = judge(_survey(*CLOCK_HZ, 487.13e6))
    assert air.judge_window(487.03e6, 487.23e6).verdict is Verdict.DOUBTFUL


def test_carriers_at_random_places_are_believed() -> None:
    places = [474.31e6, 481.72e6, 487.13e6, 496.44e6]
    air = judge(_survey(*places, level=-35.0))
    assert [air.judge_window(place - 1e5, place + 1e5).verdict for place in places] == [Verdict.OCCUPIED] * 4
    assert len(air.emitters) == 4


def test_a_modulated_signal_on_a_clock_is_believed() -> None:
    survey = sweep_over(np.random.default_rng(1), FINE, [Signal(480e6, 150e3, -35.0)])
    assert judge(survey).judge_window(479.9e6, 480.1e6).verdict is Verdict.OCCUPIED


def test_a_line_that_comes_and_goes_is_believed() -> None:
    on = np.array([True, False, True, False, True])
    survey = sweep_over(np.random.default_rng(1), FINE, [Signal(480e6, 0.0, -35.0, on)])
    assert judge(survey).judge_window(479.9e6, 480.1e6).verdict is Verdict.OCCUPIED


@pytest.mark.parametrize("level_dbm", [-115.0, -70.0])
def test_with_absolute_levels_a_line_counts_only_where_it_matters(level_dbm: float) -> None:
    absolute = replace(FINE, unit=LevelUnit.DBM, noise_dbm=-129.0)
    survey = _survey(480e6, level=level_dbm, instrument=absolute)
    verdict = judge(survey, reference=_survey(480e6, level=level_dbm, seed=2, instrument=absolute)).judge_window(
        479.9e6, 480.1e6
    )
    assert verdict.verdict is (Verdict.CLEAN if level_dbm < -100 else Verdict.DOUBTFUL)


@pytest.mark.parametrize("places", [(500e6,), (480e6, 490e6)])
def test_a_line_or_two_on_a_clock_are_no_pattern(places: tuple[float, ...]) -> None:
    air = judge(_survey(*places, level=-35.0))
    assert [air.judge_window(place - 1e5, place + 1e5).verdict for place in places] == [Verdict.OCCUPIED] * len(places)
    assert len(air.emitters) == len(places)


def test_lines_that_stand_higher_than_any_instrument_makes_them_are_on_the_air() -> None:
    air = judge(_survey(*CLOCK_HZ, level=0.0))
    assert [air.judge_window(line - 1e5, line + 1e5).verdict for line in CLOCK_HZ] == [Verdict.OCCUPIED] * 3


def test_a_reference_with_other_settings_lends_its_lines_and_not_its_floor() -> None:
    """With the same settings an antenna can't make the instrument quieter than a load does."""
    loud = replace(FINE, noise_dbm=-30.0)
    air = judge(_survey(480e6, 487.13e6, level=-40.0), reference=_survey(480e6, level=-15.0, seed=2, instrument=loud))
    assert air.floor_from == "survey"
    assert air.judge_window(487.03e6, 487.23e6).verdict is not Verdict.CLEAN
    assert any("its lines count, its floor does not" in note for note in air.notes)
