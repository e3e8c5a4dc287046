"""Series made ready: correction, rejection, merging, and how their noise scatters."""

from __future__ import annotations

import numpy as np
import pytest

from fallow.errors import UsageError
from fallow.spectrum.axis import Axis
from fallow.spectrum.chain import Chain, ChainPart, GainCurve
from fallow.spectrum.heard import is_absolute, make_ready
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.units import Span
from invented_air import Instrument, sweep_over

AXIS = Axis.regular(470_000_000, 25_000, 200)


def _series(levels: np.ndarray, **kept: object) -> Series:
    unit = kept.pop("unit", LevelUnit.DBM)
    return Series(AXIS, levels.astype(np.float32), unit, **kept)  # type: ignore[arg-type] # keywords of the test's own


def test_levels_are_corrected_to_the_antenna() -> None:
    curve = GainCurve(np.array([470e6, 480e6]), np.array([0.0, 10.0]))
    chain = Chain((ChainPart("cable", "cable", -3.0, 0.2), ChainPart("amplifier", "other", curve, 0.3)))
    (heard,), _ = make_ready(Survey((_series(np.full((2, 200), -90.0)),)), chain)
    assert heard.levels_db[0, 0] == pytest.approx(-87.0)
    assert heard.levels_db[0, 100] == pytest.approx(-89.5)
    assert heard.antenna_gain_db == pytest.approx(0.0)


def test_where_a_gain_is_not_known_nothing_was_measured() -> None:
    curve = GainCurve(np.array([471e6, 480e6]), np.array([0.0, 0.0]))
    (heard,), _ = make_ready(
        Survey((_series(np.full((2, 200), -90.0)),)), Chain((ChainPart("x", "other", curve, 0.0),))
    )
    assert not heard.measured[:40].any()
    assert heard.measured[40:].all()


def test_impossible_readings_are_not_measured_and_said() -> None:
    levels = np.full((4, 200), -56.0)
    levels[1:3, 7] = -142.5  # a chip's number wrapped round
    (heard,), notes = make_ready(Survey((_series(levels),)))
    assert np.isnan(heard.levels_db[1:3, 7]).all()
    assert heard.rejected[7] == 2
    assert any("2 readings" in note and "rejected" in note for note in notes)


def test_sweeps_of_one_kind_are_one_series() -> None:
    one, other = _series(np.full((1, 200), -90.0)), _series(np.full((2, 200), -91.0))
    held = _series(np.full((1, 200), -80.0), detector=Detector.MAX_HOLD)
    low = _series(np.full((1, 200), -99.0), detector=Detector.MIN_HOLD)
    heard, notes = make_ready(Survey((one, held, other, low)))
    assert [part.n_sweeps for part in heard] == [3, 1]
    assert any("min-hold" in note for note in notes)


def test_a_max_hold_trace_is_one_sweep_however_often_it_was_read() -> None:
    rng = np.random.default_rng(1)
    grown = np.maximum.accumulate(10 * np.log10(rng.exponential(size=(50, 200))), axis=0) - 100
    (heard,), _ = make_ready(Survey((_series(grown, detector=Detector.MAX_HOLD),)))
    assert heard.n_sweeps == 1
    assert heard.noise.peak_of == pytest.approx(50, rel=0.8)


def test_own_carriers_are_not_measured() -> None:
    (heard,), _ = make_ready(Survey((_series(np.full((2, 200), -90.0)),)), own=[Span(471_000_000, 471_200_000)])
    assert np.isnan(heard.levels_db[:, heard.own_bins]).all()
    assert 8 <= heard.own_bins.sum() <= 11


def test_nothing_to_judge_is_said() -> None:
    with pytest.raises(UsageError, match="there are no levels to judge"):
        make_ready(Survey((_series(np.full((1, 200), np.nan)),)))
    with pytest.raises(UsageError, match="there are no levels to judge"):
        make_ready(Survey((_series(np.full((1, 200), -90.0), detector=Detector.MIN_HOLD),)))


def test_the_scale_is_stated_by_unit_or_chain() -> None:
    relative = Survey((_series(np.full((1, 200), -9.0), unit=LevelUnit.DB),))
    assert not is_absolute(relative, None)
    assert not is_absolute(relative, Chain((ChainPart("cable", "cable", -1.0, 0.1),)))
    assert is_absolute(relative, Chain((ChainPart("calibration", "instrument", 50.0, 1.0),)))


@pytest.mark.parametrize("samples", [1, 3, 10, 100])
@pytest.mark.parametrize("sweeps", [1, 2, 20])
def test_samples_per_reading_are_found_from_the_scatter(samples: int, sweeps: int) -> None:
    survey = sweep_over(np.random.default_rng(4), Instrument(samples=samples, sweeps=sweeps, bins=2000), [])
    (heard,), _ = make_ready(survey)
    assert heard.noise.samples == pytest.approx(samples, rel=0.15)


def test_a_copied_sweep_does_not_look_like_a_steady_instrument() -> None:
    survey = sweep_over(np.random.default_rng(4), Instrument(samples=1, sweeps=1, bins=2000), [])
    (heard,), _ = make_ready(Survey(survey.series * 3))
    assert heard.n_sweeps == 1  # the same look at the air, read again
    assert heard.noise.samples < 1.2
