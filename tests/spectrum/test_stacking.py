"""Which series are sweeps of one instrument, by what they name, their grid and their moments."""

from __future__ import annotations

import numpy as np

from fallow.spectrum.axis import Axis
from fallow.spectrum.found.stacking import stacked
from fallow.spectrum.judging import judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey

AXIS = Axis.regular(500_000_000, 50_000, 400)


def _series(
    instrument: str, start_s: float | None = None, *, axis: Axis = AXIS, sweeps: int = 4, seed: int = 0
) -> Series:
    levels = np.random.default_rng(seed).normal(-100, 1, (sweeps, axis.n)).astype(np.float32)
    times = None if start_s is None else start_s + 10.0 * np.arange(sweeps)
    source = f"{instrument or 'nameless'}-{seed}.csv"
    return Series(axis, levels, LevelUnit.DBM, times, rbw_hz=50e3, source=source, instrument=instrument)


def test_a_nameless_series_on_the_grid_of_one_instrument_is_taken_for_its() -> None:
    groups, notes = stacked([_series("north", 0.0, seed=1), _series("", 500.0, seed=2)])
    assert [[one.instrument for one in parts] for parts in groups] == [["north", "north"]]
    (note,) = notes
    assert note.startswith("nameless-2.csv names no instrument")
    assert "north" in note
    assert "--instruments" in note


def test_it_does_not_matter_which_comes_first() -> None:
    groups, _ = stacked([_series("", seed=2), _series("north", seed=1)])
    assert len(groups) == 1
    assert {one.instrument for one in groups[0]} == {"north"}


def test_of_two_instruments_on_one_grid_nobody_knows_whose_it_is() -> None:
    groups, notes = stacked([_series("north", seed=1), _series("south", seed=2), _series("", seed=3)])
    assert len(groups) == 3
    assert notes == ()


def test_another_grid_stays_apart() -> None:
    groups, notes = stacked([_series("north", seed=1), _series("", axis=Axis.regular(500_000_000, 25_000, 800))])
    assert len(groups) == 2
    assert notes == ()


def test_one_instrument_is_not_at_two_places_at_once() -> None:
    groups, notes = stacked([_series("north", 0.0, seed=1), _series("", 5.0, seed=2)])
    assert len(groups) == 2
    assert notes == ()


def test_the_note_reaches_people() -> None:
    air = judge(Survey((_series("north", seed=1), _series("", seed=2), _series("", seed=3))))
    assert len(air.evidence) == 1
    assert air.evidence[0].heard.n_sweeps == 12
    assert any(note.startswith("nameless-2.csv and 1 more name no instrument and have") for note in air.notes)


def test_sweeps_that_two_files_hold_by_turns_are_in_the_order_of_their_times() -> None:
    """A carrier that is on in the first half is on in one run, whichever files its sweeps stand in."""
    levels = np.random.default_rng(4).normal(-110, 2, (40, AXIS.n)).astype(np.float32)
    levels[:20, 200] = -70.0
    times = 1_700_000_000.0 + 2.0 * np.arange(40, dtype=np.float64)
    by_turns = [
        Series(AXIS, levels[k::2], LevelUnit.DBM, times[k::2], True, 50e3, instrument="north", source=f"{k}.csv")
        for k in range(2)
    ]
    ((together,),) = stacked(by_turns)[0]
    assert together.times_s is not None
    assert together.times_s.tolist() == times.tolist()
    assert np.array_equal(together.levels_db, levels)
    (emitter,) = judge(Survey(tuple(by_turns))).emitters
    assert any("in 1 run of 20 sweeps" in told for told in emitter.evidence)
    one_after_the_other = [_series("north", 0.0, seed=1), _series("north", 500.0, seed=2)]
    assert stacked(one_after_the_other[::-1])[0] == [one_after_the_other]  # and nothing is copied
