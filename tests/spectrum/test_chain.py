"""The chain at work: levels at the antenna, uncertainty over frequency, what a curve does not cover."""

from __future__ import annotations

import numpy as np
import pytest

from fallow.errors import UsageError
from fallow.spectrum.axis import Axis
from fallow.spectrum.chain import (
    Chain,
    ChainPart,
    GainCurve,
    Reflections,
    budget_of,
    combined_u_at,
    combined_u_db,
    combined_u_range_db,
)
from fallow.spectrum.curve import Curve
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging, Verdict


def hall(low_hz: int = 470_000_000, carrier_dbm: float = -60.0, unit: LevelUnit = LevelUnit.DBM) -> Series:
    """Ten sweeps over 10 MHz in 25 kHz, noise at -120 dBm, one steady carrier 4 MHz up."""
    rng = np.random.default_rng(5)
    levels = -120.0 + 10 * np.log10(rng.gamma(20, 1 / 20, (10, 401)))
    levels[:, 160] = carrier_dbm
    return Series(Axis.regular(low_hz, 25_000, 401), levels.astype(np.float32), unit, rbw_hz=25_000.0)


def judged(*parts: ChainPart, survey: Survey | None = None) -> Air:
    return judge(survey or Survey((hall(),)), Judging(limit_dbm=-90.0), chain=Chain(parts))


def level_dbm(air: Air) -> float:
    level = air.judge_window(473.9e6, 474.1e6).level_dbm
    assert level is not None
    return level


@pytest.mark.parametrize(
    ("parts", "shift_db"),
    [
        ((("cable", "cable", -3.0),), 3.0),  # the cable took 3 dB: at the antenna it was 3 dB more
        ((("10 dB", "pad", -10.0),), 10.0),
        ((("directional", "antenna", 6.0),), -6.0),  # the antenna added 6 dB to what an isotropic one would give
        ((("amplifier", "other", 20.0), ("long cable", "cable", -12.0)), -8.0),
        ((("shows 2 dB too much", "instrument", 2.0),), -2.0),
        ((("directional", "antenna", 6.0), ("cable", "cable", -4.5), ("10 dB", "pad", -10.0)), 8.5),
    ],
)
def test_levels_are_those_at_the_antenna(parts: tuple[tuple[str, str, float], ...], shift_db: float) -> None:
    chain = [ChainPart(name, kind, gain_db, 0.1) for name, kind, gain_db in parts]
    assert level_dbm(judged(*chain)) == pytest.approx(level_dbm(judged()) + shift_db, abs=0.01)


def test_a_curve_counts_at_its_place() -> None:
    # -2 dB at 470 MHz, -4 dB at 480 MHz, straight between: -2.8 dB at 474 MHz
    cable = GainCurve(np.array([470e6, 480e6]), np.array([-2.0, -4.0]))
    assert level_dbm(judged(ChainPart("cable", "cable", cable, 0.1))) == pytest.approx(
        level_dbm(judged()) + 2.8, abs=0.02
    )


def test_the_ends_of_a_curve_are_its_ends() -> None:
    curve = Curve(np.array([470e6, 480e6]), np.array([-2.0, -4.0]))
    found = curve.at(np.array([469.9e6, 470e6 - 0.01, 470e6, 475e6, 480e6, 480.1e6]))
    assert found == pytest.approx([np.nan, -2.0, -2.0, -3.0, -4.0, np.nan], nan_ok=True)


def test_where_a_curve_does_not_reach_nothing_is_measured_and_that_is_said() -> None:
    band = ChainPart("band filter", "filter", GainCurve(np.array([472e6, 478e6]), np.array([-1.0, -1.0])), 0.1)
    air = judged(band)
    verdicts = [air.judge_window(low, low + 2e5).verdict for low in (470.5e6, 475e6, 479e6)]
    assert verdicts == [Verdict.NOT_MEASURED, Verdict.CLEAN, Verdict.NOT_MEASURED]
    told = [note for note in air.notes if "band filter" in note]
    assert told == [
        "the gain of 'band filter' is known from 472.000 to 478.000 MHz only: levels outside are not measured"
    ]


def test_one_of_two_ranges_outside_a_curve() -> None:
    cable = ChainPart("cable", "cable", GainCurve(np.array([470e6, 480e6]), np.array([-1.0, -1.0])), 0.1)
    air = judged(cable, survey=Survey((hall(), hall(600_000_000))))
    assert air.judge_window(475e6, 475.2e6).verdict is Verdict.CLEAN
    assert air.judge_window(605e6, 605.2e6).verdict is Verdict.NOT_MEASURED


def test_a_curve_that_reaches_nowhere_leaves_nothing_to_judge() -> None:
    cable = ChainPart("cable", "cable", GainCurve(np.array([1e9, 2e9]), np.array([-1.0, -1.0])), 0.1)
    with pytest.raises(UsageError, match="no levels to judge"):
        judged(cable)


# --- uncertainty over frequency


def growing_u(part_u_db: float = 0.0) -> ChainPart:
    curve = GainCurve(np.array([470e6, 480e6]), np.array([0.0, 0.0]), np.array([0.0, 4.0]))
    return ChainPart("drifting", "instrument", curve, part_u_db)


def quiet(*parts: ChainPart) -> tuple[ChainPart, ...]:
    return (*parts, ChainPart("whip", "antenna", 0.0, 0.0), ChainPart("cable", "cable", 0.0, 0.0))


def test_uncertainty_is_that_of_its_place() -> None:
    air = judged(*quiet(growing_u()))
    near, far = (air.judge_window(low, low + 2e5).u_db for low in (471.9e6, 478.9e6))
    noise = judged(*quiet(ChainPart("steady", "instrument", 0.0, 0.0))).judge_window(471.9e6, 472.1e6).u_db
    assert near is not None
    assert far is not None
    assert noise is not None
    assert near == pytest.approx(np.hypot(0.8, noise), abs=0.02)
    assert far == pytest.approx(np.hypot(3.6, noise), abs=0.02)


def test_a_level_is_proven_where_it_is_known_well_and_doubtful_where_not() -> None:
    # 3 dB under the limit: 3.75 u at 472 MHz, less than one u at 479 MHz; 95 % asks for 1.645
    rng = np.random.default_rng(6)
    levels = np.full((10, 401), -93.0) + 10 * np.log10(rng.gamma(2000, 1 / 2000, (10, 401))) - 10 * np.log10(8)
    survey = Survey(
        (Series(Axis.regular(470_000_000, 25_000, 401), levels.astype(np.float32), LevelUnit.DBM, rbw_hz=25_000.0),)
    )
    air = judged(*quiet(growing_u()), survey=survey)
    margins = air.judge_windows(np.array([471.9e6, 478.9e6]), np.array([472.1e6, 479.1e6])).margin_db
    assert margins[0] > 0 > margins[1]
    assert margins[0] - margins[1] == pytest.approx(1.645 * (3.6 - 0.8), abs=0.1)


def test_of_two_uncertainties_the_larger_counts() -> None:
    (line,) = (line for line in budget_of(Chain((growing_u(1.0),))) if line.part == "drifting")
    assert line.u_at(np.array([470e6, 480e6])) == pytest.approx([1.0, 4.0])
    assert line.u_at(np.array([475e6])) >= 2.0
    assert line.u_db == 4.0


def test_the_budget_is_told_for_what_was_swept() -> None:
    lines = budget_of(Chain((growing_u(),)), (472e6, 474e6))
    (line,) = (line for line in lines if line.part == "drifting")
    assert line.u_db == pytest.approx(1.6)
    assert "0.80 to 1.60 dB over frequency" in line.source
    at = combined_u_at(lines, np.array([474e6]))
    assert at == pytest.approx([combined_u_db(lines)])


def test_lines_that_vary_are_not_added_at_their_worst_places() -> None:
    # 0 to 4 dB rising and 3 to 0 dB falling: √(0² + 3²) and √(4² + 0²) at the ends, never √(4² + 3²)
    falling = GainCurve(np.array([470e6, 480e6]), np.array([0.0, 0.0]), np.array([3.0, 0.0]))
    chain = Chain(quiet(growing_u(), ChainPart("pad", "pad", falling, 0.0)))
    assert combined_u_range_db(budget_of(chain)) == pytest.approx((3.0, 4.0))
    assert combined_u_range_db(budget_of(None)) == pytest.approx((2.426, 2.426), abs=1e-3)


def test_the_budget_is_told_for_where_gains_are_known() -> None:
    band = ChainPart("band", "filter", GainCurve(np.array([472e6, 474e6]), np.array([-1.0, -1.0])), 0.1)
    lines = budget_of(Chain((growing_u(), band)), (470e6, 480e6))
    assert next(line.u_db for line in lines if line.part == "drifting") == pytest.approx(1.6)


def test_a_match_over_frequency_makes_the_mismatch_of_each_place() -> None:
    whip = Reflections(0.0, Curve(np.array([470e6, 480e6]), np.array([0.1, 0.5])))
    parts = (
        ChainPart("whip", "antenna", 2.0, 0.0, whip),
        ChainPart("box", "instrument", 0.0, 0.0, Reflections.of_vswr(2)),
    )
    (line,) = (line for line in budget_of(Chain(parts)) if line.part == "mismatch")
    # |Γ1||Γ2|·8.686/√2, ETSI TR 100 028
    assert line.u_at(np.array([470e6, 475e6, 480e6])) == pytest.approx([0.2047, 0.6142, 1.0236], abs=1e-3)


def test_where_a_match_is_not_known_the_usual_one_is_taken_and_said() -> None:
    whip = Reflections(0.0, Curve(np.array([474e6, 480e6]), np.array([0.1, 0.1])))
    chain = Chain((ChainPart("whip", "antenna", 2.0, 0.0, whip),))
    (line,) = (line for line in budget_of(chain, (470e6, 480e6)) if line.part == "mismatch")
    assert line.u_at(np.array([470e6, 475e6])) == pytest.approx([0.6824, 0.2047], abs=1e-3)
    assert chain.remarks(470e6, 480e6) == (
        "the match of 'whip' is known from 474.000 to 480.000 MHz only: VSWR 2 is taken outside",
    )


def test_relative_levels_use_no_chain() -> None:
    survey = Survey((hall(unit=LevelUnit.DB),))
    cable = ChainPart("cable", "cable", GainCurve(np.array([1e9, 2e9]), np.array([-1.0, -1.0])), 0.1)
    air = judge(survey, chain=Chain((cable,)))
    assert air.basis == "relative"
    assert all(line.over_frequency is None for line in air.budget)
    assert any("chain's gains were not used" in note for note in air.notes)
