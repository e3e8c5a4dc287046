"""What several series show at one place is one emitter, told over all looks; what differs stays apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.statistics import binomial_limits
from fallow.spectrum.sweep import LevelUnit, Series, Survey

LOW_HZ, HIGH_HZ = 500_000_000, 540_000_000
Pattern = NDArray[np.bool_]


def _series(
    name: str,
    on: Pattern,
    *,
    step_hz: int = 50_000,
    start_s: float | None = None,
    floor_dbm: float = -105.0,
    seed: int = 0,
    places: tuple[tuple[float, float, float], ...] = ((519.9e6, 520.1e6, -80.0),),
) -> Series:
    """Noise, and at each of ``places`` (from, to, power per 50 kHz in dBm) something that is on where ``on`` says."""
    axis = Axis.regular(LOW_HZ, step_hz, (HIGH_HZ - LOW_HZ) // step_hz)
    power = 10 ** (floor_dbm / 10) * np.random.default_rng(seed).gamma(20, 1 / 20, (on.size, axis.n)) * step_hz / 50e3
    lows, highs = axis.cells_hz
    for low, high, level in places:
        share = np.clip(np.minimum(highs, high) - np.maximum(lows, low), 0, None) / 50e3
        power += on[:, None] * 10 ** (level / 10) * share
    times = None if start_s is None else start_s + 10.0 * np.arange(on.size)
    levels = (10 * np.log10(power)).astype(np.float32)
    return Series(axis, levels, LevelUnit.DBM, times, True, float(step_hz), source=f"{name}.csv", instrument=name)


def _air(*series: Series) -> Air:
    return judge(Survey(series))


def _some(sweeps: int, hits: int, seed: int = 1) -> Pattern:
    on = np.zeros(sweeps, dtype=bool)
    on[np.random.default_rng(seed).choice(sweeps, hits, replace=False)] = True
    return on


def test_two_grids_make_one_entry_with_the_share_of_all_sweeps() -> None:
    air = _air(_series("north", _some(20, 4)), _series("south", _some(30, 21), step_hz=40_000, seed=2))
    (found,) = air.emitters
    assert found.on_share == pytest.approx(25 / 50)
    (told,) = [clue for clue in found.evidence if "series that could hear it" in clue]
    assert told.startswith("on in 25 of 50 sweeps of the 2 series that could hear it, 2 of which show it")
    assert "4 of 20 in north.csv" in told
    assert "21 of 30 in south.csv" in told
    assert not any(
        clue.startswith(("on in 4 of 20", "on in 21 of 30")) and "series" not in clue for clue in found.evidence
    )


def test_series_in_turn_add_up_and_those_of_the_same_moments_do_not() -> None:
    on = _some(30, 15)
    apart = _air(_series("north", on, start_s=0.0), _series("south", on, step_hz=40_000, start_s=1000.0, seed=2))
    at_once = _air(_series("north", on, start_s=0.0), _series("south", on, step_hz=40_000, start_s=5.0, seed=2))
    unknown = _air(_series("north", on), _series("south", on, step_hz=40_000, seed=2))
    widths = [one.emitters[0].on_share_high - one.emitters[0].on_share_low for one in (apart, at_once, unknown)]
    assert widths[0] < 0.85 * widths[1]
    assert widths[1] == pytest.approx(widths[2])
    # never narrower than Clopper and Pearson, Biometrika 26 (1934) 404-413, for as many independent sweeps
    for width, most in zip(widths, (60, 30, 30), strict=True):
        low, high = binomial_limits(most / 2, most, 95.0)
        assert width >= high - low - 1e-9


def test_one_that_would_have_heard_it_counts_as_off() -> None:
    quiet = _series("south", np.zeros(30, dtype=bool), step_hz=40_000, start_s=1000.0, seed=2)
    (found,) = _air(_series("north", _some(20, 10), start_s=0.0), quiet).emitters
    assert found.on_share == pytest.approx(10 / 50)
    assert any("1 of which shows it" in clue and "0 of 30 in south.csv" in clue for clue in found.evidence)


def test_one_that_is_too_deaf_to_hear_it_does_not_count() -> None:
    deaf = _series("south", np.zeros(30, dtype=bool), step_hz=40_000, floor_dbm=-78.0, seed=2)
    (found,) = _air(_series("north", _some(20, 10)), deaf).emitters
    assert found.on_share == pytest.approx(10 / 20)


def test_first_and_last_seen_are_those_of_all_looks() -> None:
    first, then = np.zeros(20, dtype=bool), np.zeros(20, dtype=bool)
    first[3:6], then[10:15] = True, True
    north, south = _series("north", first, start_s=0.0), _series("south", then, step_hz=40_000, start_s=1000.0, seed=2)
    for order in ((north, south), (south, north)):
        (found,) = _air(*order).emitters
        assert (found.first_s, found.last_s) == (30.0, 1140.0)
        assert any("1970-01-01 00:00:30, last 00:19:00 UTC" in clue for clue in found.evidence)


def test_a_carrier_in_a_block_stays_a_carrier() -> None:
    block = (515e6, 525e6, -92.0)
    carrier = (519.9e6, 520.1e6, -70.0)
    both = [
        _series(name, np.ones(20, dtype=bool), step_hz=step, seed=step, places=(block, carrier))
        for name, step in (("north", 50_000), ("south", 40_000))
    ]
    found = _air(*both).emitters
    narrow = [one for one in found if one.high_hz - one.low_hz < 1e6]
    assert len(narrow) == 1
    assert len(found) == 2


def test_one_series_alone_is_told_as_before() -> None:
    (found,) = _air(_series("north", _some(20, 4))).emitters
    assert any(clue.startswith("on in 4 of 20 sweeps") for clue in found.evidence)
    assert not any("series" in clue for clue in found.evidence)


def test_grids_of_one_file_are_named_once() -> None:
    one = _series("north", _some(20, 10), start_s=0.0)
    other = replace(_series("south", _some(20, 10), step_hz=40_000, start_s=1000.0, seed=2), source=one.source)
    (found,) = _air(one, replace(other, instrument=one.instrument)).emitters
    assert any(clue.endswith("show it: 10 of 20, 10 of 20 in north.csv") for clue in found.evidence)
