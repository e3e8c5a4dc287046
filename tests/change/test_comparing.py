"""Two surveys compared over invented airs: what is known to have changed is found, and noise changes nothing.

Truth is what the invented air was given; the counting rule is the project's: at most one comparison of noise in a
hundred shows a change.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from fallow.change.surveys import compare_surveys
from fallow.change.values import Change, SurveyChange
from fallow.errors import UsageError
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import LevelUnit, Survey
from invented_air import Instrument, Signal, sweep_over

INSTRUMENT = Instrument(sweeps=12, bins=1600)  # 470 to 510 MHz
TELEVISION = (Signal(474e6, 7.61e6, -70), Signal(490e6, 7.61e6, -60))
CARRIER = Signal(498.3e6, 1e5, -80)


def shown(seed: int, instrument: Instrument, signals: Sequence[Signal] = ()) -> Air:
    return judge(sweep_over(np.random.default_rng(seed), instrument, list(signals)))


def compared(old: Sequence[Signal], new: Sequence[Signal], seed: int = 1) -> SurveyChange:
    return compare_surveys(shown(seed, INSTRUMENT, old), shown(seed + 1000, INSTRUMENT, new))


def the_only(found: SurveyChange) -> Change:
    assert len(found.changes) == 1, [(str(one.what), one.low_hz, one.because) for one in found.changes]
    return found.changes[0]


def risen(low_mhz: float, high_mhz: float, rise_db: float, soft_mhz: float = 0.0) -> NDArray[np.float64]:
    """A floor that is up between two frequencies, with soft edges or sharp ones."""
    f = INSTRUMENT.low_hz / 1e6 + np.arange(INSTRUMENT.bins) * INSTRUMENT.step_hz / 1e6
    if soft_mhz == 0:
        return rise_db * ((f > low_mhz) & (f < high_mhz))
    return rise_db / (1 + np.exp(-(f - low_mhz) / soft_mhz)) / (1 + np.exp((f - high_mhz) / soft_mhz))


# --- noise alone


@pytest.mark.slow
@pytest.mark.parametrize(
    "instrument",
    [
        Instrument(bins=600),
        Instrument(bins=600, samples=1, sweeps=1),
        Instrument(bins=600, samples=100, sweeps=20),
        Instrument(bins=600, rbw_hz=3000.0, sweeps=5),
        Instrument(bins=600, unit=LevelUnit.DB),
    ],
    ids=["usual", "one sweep of single readings", "quiet", "coarse steps", "relative"],
)
def test_noise_alone_makes_no_change(instrument: Instrument) -> None:
    changed = 0
    for seed in range(60):
        changed += bool(compare_surveys(shown(seed, instrument), shown(seed + 5000, instrument)).changes)
    assert changed <= 2  # three of sixty would be 1 in 50 for a true rate of 1 in 100


def test_the_same_air_twice_shows_no_change() -> None:
    for seed in range(6):
        assert compared((*TELEVISION, CARRIER), (*TELEVISION, CARRIER), seed).changes == ()


def test_readings_in_whole_decibels_are_no_change() -> None:
    def rounded(seed: int) -> Air:
        series = sweep_over(np.random.default_rng(seed), replace(INSTRUMENT, bins=600), [CARRIER]).series[0]
        return judge(Survey((series.with_levels(np.round(series.levels_db).astype(np.float32)),)))

    assert [compare_surveys(rounded(seed), rounded(seed + 50)).changes for seed in range(5)] == [()] * 5


# --- signals


@pytest.mark.parametrize("level_dbm", [-60.0, -100.0, -115.0])
def test_a_new_carrier_appears_and_the_other_way_round_vanishes(level_dbm: float) -> None:
    carrier = Signal(480.01e6, 0, level_dbm)
    come, gone = the_only(compared([], [carrier])), the_only(compared([carrier], []))
    assert (str(come.what), str(gone.what)) == ("appeared", "vanished")
    for change, level in ((come, come.to_dbm), (gone, gone.from_dbm)):
        assert change.low_hz <= 480.01e6 <= change.high_hz
        assert level == pytest.approx(level_dbm, abs=1.0)
        assert change.difference_db == pytest.approx(change.to_dbm - change.from_dbm)
    assert come.difference_db > 5 > -5 > gone.difference_db


def test_a_microphone_on_top_of_television_is_found() -> None:
    change = the_only(compared(TELEVISION, [*TELEVISION, Signal(475e6, 1e5, -75)]))
    assert str(change.what) == "appeared"
    assert change.low_hz >= 474.8e6
    assert change.high_hz <= 475.2e6


def test_a_television_channel_appears_as_one_change() -> None:
    change = the_only(compared([], TELEVISION[1:]))
    assert str(change.what) == "appeared"
    assert (change.low_hz, change.high_hz) == (486_000_000, 494_000_000)
    assert change.to_dbm == pytest.approx(-60.0, abs=0.5)
    assert "TV" in change.because


@pytest.mark.parametrize(("step_db", "what"), [(4.0, "louder"), (-4.0, "quieter")])
def test_louder_and_quieter(step_db: float, what: str) -> None:
    changed = replace(TELEVISION[0], level_dbm=TELEVISION[0].level_dbm + step_db)
    change = the_only(compared([*TELEVISION, CARRIER], [changed, TELEVISION[1], CARRIER]))
    assert str(change.what) == what
    assert change.difference_db == pytest.approx(step_db, abs=0.5)
    assert change.u_db == pytest.approx(0.71, abs=0.05)


def test_half_a_decibel_is_within_the_uncertainty() -> None:
    assert compared([CARRIER], [replace(CARRIER, level_dbm=CARRIER.level_dbm + 0.5)]).changes == ()


@pytest.mark.parametrize("distance_hz", [50e3, 100e3, 1.5e6])
def test_a_carrier_that_moves(distance_hz: float) -> None:
    change = the_only(compared([Signal(480e6, 1e5, -90)], [Signal(480e6 + distance_hz, 1e5, -90)]))
    assert str(change.what) == "moved"
    assert change.moved_from_hz is not None
    assert change.centre_hz == pytest.approx(480e6 + distance_hz, abs=30e3)
    assert sum(change.moved_from_hz) / 2 == pytest.approx(480e6, abs=30e3)


def test_what_comes_and_goes_alike_is_no_change_and_what_begins_to_is_one() -> None:
    def burst(seed: int, share: float) -> Signal:
        on = np.random.default_rng(seed).permutation(12) < round(12 * share)
        return Signal(485e6, 1e5, -90, on=on)

    assert compared([burst(1, 0.25)], [burst(2, 0.3)]).changes == ()
    change = the_only(compared([], [burst(3, 0.5)]))
    assert str(change.what) == "appeared"
    assert change.to_dbm == pytest.approx(-90, abs=1)  # its level while on, not the mean over all sweeps
    once = compared([], [burst(4, 0.09)])
    assert once.changes == ()
    assert any("comes and goes" in note for note in once.notes)


# --- floors


@pytest.mark.parametrize("soft_mhz", [0.0, 0.8])
def test_a_wall_lifts_the_floor_as_one_change_with_edges(soft_mhz: float) -> None:
    lifted = replace(INSTRUMENT, noise_shape_db=risen(479, 501, 6.0, soft_mhz))
    change = the_only(compare_surveys(shown(1, INSTRUMENT), shown(2, lifted)))
    assert str(change.what) == "floor"
    assert change.low_hz == pytest.approx(479e6, abs=0.6e6)
    assert change.high_hz == pytest.approx(501e6, abs=0.6e6)
    assert change.difference_db == pytest.approx(6.0, abs=0.3)
    assert change.from_dbm == pytest.approx(-125 + 10 * np.log10(200 / 25), abs=0.3)  # in a link's width of 200 kHz


def test_two_plateaus_are_two_changes_and_a_carrier_in_them_a_third() -> None:
    lifted = replace(INSTRUMENT, noise_shape_db=risen(478, 490, 4.0) + risen(490, 503, 9.0))
    found = compare_surveys(shown(3, INSTRUMENT), shown(4, lifted, [Signal(496e6, 1e5, -90)]))
    assert Counter(str(change.what) for change in found.changes) == {"floor": 2, "appeared": 1}


def test_pieces_of_a_risen_floor_between_carriers_at_its_edges_are_the_floor() -> None:
    """8 dB from 480 to 495 MHz, carriers on its edges and within it: one change, and a carrier inside is another."""
    lifted = replace(INSTRUMENT, noise_shape_db=risen(480, 495, 8.0))
    there = [Signal(mhz * 1e6, 2e5, level) for mhz, level in ((479.8, -62), (480.2, -61), (494.1, -60), (494.5, -58))]
    for seed in range(30, 34):
        change = the_only(compare_surveys(shown(seed, INSTRUMENT, there), shown(seed + 50, lifted, there)))
        assert str(change.what) == "floor"
        assert change.low_hz == pytest.approx(480e6, abs=0.6e6)
        assert change.high_hz == pytest.approx(495e6, abs=0.6e6)
    new = Signal(486e6, 1e5, -95)
    found = compare_surveys(shown(30, INSTRUMENT, there), shown(80, lifted, [*there, new]))
    assert Counter(str(change.what) for change in found.changes) == {"floor": 1, "appeared": 1}


def test_television_within_a_risen_floor_has_not_changed() -> None:
    lifted = replace(INSTRUMENT, noise_shape_db=risen(482, 504, 8.0, 1.0))
    change = the_only(compare_surveys(shown(5, INSTRUMENT, TELEVISION[1:]), shown(6, lifted, TELEVISION[1:])))
    assert str(change.what) == "floor"
    assert change.low_hz < 486e6
    assert change.high_hz > 494e6


# --- two units, two grids


def test_offset_of_two_units_over_the_same_air() -> None:
    many = [*TELEVISION, CARRIER, Signal(503e6, 1e5, -75), Signal(507e6, 1e5, -85)]
    found = compare_surveys(shown(7, INSTRUMENT, many), shown(8, replace(INSTRUMENT, error_db=3.5), many))
    assert found.changes == ()  # signals and floor alike: the chain, not the air
    assert found.offset_db == pytest.approx(3.5, abs=0.2)
    assert found.offset_u_db is not None
    assert found.offset_u_db < 0.5
    assert any("more than chance" in note for note in found.notes)
    assert any("gain, antenna or cable" in note for note in found.notes)


def test_offset_without_signals_is_that_of_the_floor_and_said_so() -> None:
    found = compare_surveys(shown(9, INSTRUMENT), shown(10, replace(INSTRUMENT, error_db=0.8)))
    assert found.offset_db == pytest.approx(0.8, abs=0.1)
    assert any("floor alone" in note for note in found.notes)


@pytest.mark.parametrize("unit", list(LevelUnit))
def test_other_grid_and_bandwidth(unit: LevelUnit) -> None:
    coarse = Instrument(sweeps=8, bins=800, step_hz=50_000, rbw_hz=50e3, noise_dbm=-120.0, error_db=-4.0, unit=unit)
    fine = replace(INSTRUMENT, unit=unit)
    same = compare_surveys(shown(11, fine, [*TELEVISION, CARRIER]), shown(12, coarse, [*TELEVISION, CARRIER]))
    assert not same.same_chain
    assert same.changes == ()
    new = Signal(503.013e6, 1e5, -80)
    found = compare_surveys(shown(11, fine, [*TELEVISION, CARRIER]), shown(13, coarse, [*TELEVISION, CARRIER, new]))
    change = the_only(found)
    assert str(change.what) == "appeared"
    assert change.low_hz <= new.centre_hz <= change.high_hz


def test_what_one_did_not_measure_is_said_and_never_a_change() -> None:
    old = shown(14, replace(INSTRUMENT, bins=800), [CARRIER])
    new = shown(15, INSTRUMENT, [Signal(495e6, 1e5, -60)])
    found = compare_surveys(old, new)
    assert found.changes == ()
    assert any("new survey alone" in note and "489.98" in note for note in found.notes)


def test_a_hole_in_one_survey_is_no_change() -> None:
    series = sweep_over(np.random.default_rng(16), INSTRUMENT, [CARRIER]).series[0]
    levels = series.levels_db.copy()
    levels[:, 1000:1200] = np.nan  # 495 to 500 MHz, the carrier with it
    found = compare_surveys(shown(17, INSTRUMENT, [CARRIER]), judge(Survey((series.with_levels(levels),))))
    assert found.changes == ()
    assert any("old survey alone" in note for note in found.notes)


def test_nothing_in_common_and_different_levels_are_refused() -> None:
    elsewhere = shown(18, replace(INSTRUMENT, low_hz=600_000_000))
    with pytest.raises(UsageError, match="no spectrum in common"):
        compare_surveys(shown(19, INSTRUMENT), elsewhere)
    with pytest.raises(UsageError, match="absolute"):
        compare_surveys(shown(20, INSTRUMENT), shown(21, replace(INSTRUMENT, unit=LevelUnit.DB)))
