"""Broad noise that is on in some sweeps is one emitter with its share of time and its edges."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.found.together import two_states
from fallow.spectrum.judging import judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Emitter

BINS, STEP_HZ, LOW_HZ = 1600, 50_000, 560_000_000


def _found(lift_db: NDArray[np.float64], *, samples: int = 10, seed: int = 0) -> tuple[Emitter, ...]:
    """Emitters of noise that is lifted by ``lift_db``, shape (sweep, bin)."""
    power = np.random.default_rng(seed).gamma(samples, 1 / samples, lift_db.shape)
    levels = (10 * np.log10(power) + lift_db - 105).astype(np.float32)
    axis = Axis.regular(LOW_HZ, STEP_HZ, lift_db.shape[1])
    return judge(Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=50e3),))).emitters


def _hill(low_mhz: float, high_mhz: float, edge_mhz: float = 1.0) -> NDArray[np.float64]:
    """1 inside, 0 outside, with soft edges; shape (bin,)."""
    places = (LOW_HZ + STEP_HZ * np.arange(BINS)) / 1e6
    return np.asarray(
        1 / (1 + np.exp(-(places - low_mhz) / edge_mhz * 4)) / (1 + np.exp((places - high_mhz) / edge_mhz * 4))
    )


def test_the_wall_of_the_demo_is_one_block_in_each_of_its_parts(package: Path) -> None:
    # what builders/make_demo.py put on the air: 522 to 548 and 588 to 611 MHz up by 6 dB in the last 12 of 32 sweeps
    folder = package / "demo" / "data" / "sweeps"
    survey = fallow.open_sweeps(str(folder / "wall-off.csv"), str(folder / "wall-on.csv"))
    for named in (survey, Survey(tuple(replace(one, instrument="") for one in survey.series))):
        air = judge(named)
        walls = [one for one in air.emitters if one.looks_like == "noise-like block"]
        assert [(round(one.low_hz / 1e6), round(one.high_hz / 1e6)) for one in walls] == [(521, 549), (587, 613)]
        assert [one.on_share for one in walls] == [12 / 32, 12 / 32]
        assert all(any("rises and falls as a whole, by 6 dB" in clue for clue in one.evidence) for one in walls)
        assert not any(585e6 < one.low_hz < 615e6 for one in air.emitters if one not in walls)


@pytest.mark.parametrize("lift_db", [4.0, 6.0, 10.0])
@pytest.mark.parametrize(("sweeps", "on"), [(20, 4), (32, 12), (60, 40), (300, 30)])
def test_noise_that_comes_and_goes_is_one_emitter(lift_db: float, sweeps: int, on: int) -> None:
    pattern = np.zeros(sweeps)
    pattern[np.random.default_rng(sweeps).choice(sweeps, on, replace=False)] = 1.0
    (found,) = _found(lift_db * pattern[:, None] * _hill(588, 611))
    assert found.on_share == pytest.approx(on / sweeps)
    assert found.low_hz == pytest.approx(588e6, abs=1.6e6)
    assert found.high_hz == pytest.approx(611e6, abs=1.6e6)
    assert found.looks_like in ("noise-like block", "burst")


def test_two_sources_side_by_side_with_other_times_stay_two() -> None:
    one, other = np.zeros(40), np.zeros(40)
    one[5:17], other[20:36] = 1.0, 1.0
    lift = 7.0 * (one[:, None] * _hill(580, 592) + other[:, None] * _hill(596, 610))
    found = _found(lift)
    assert [round(emitter.on_share * 40) for emitter in found] == [12, 16]


def test_a_carrier_within_the_noise_keeps_its_own_entry() -> None:
    pattern = np.zeros(40)
    pattern[10:25] = 1.0
    lift = 6.0 * pattern[:, None] * _hill(588, 611)
    lift[:, 800:803] = 20.0  # 600 MHz, all the time
    found = _found(lift)
    assert sorted(round(emitter.on_share * 40) for emitter in found) == [15, 40]


@pytest.mark.parametrize("samples", [1, 10])
def test_a_gain_that_drifts_is_no_emitter(samples: int) -> None:
    made = 0
    for seed in range(6):
        drift = np.random.default_rng(100 + seed).uniform(-2, 2, (40, 1))
        made += len(_found(np.broadcast_to(drift, (40, BINS)), samples=samples, seed=seed)) > 0
    assert made == 0


def test_carriers_of_one_width_that_take_turns_are_not_one() -> None:
    # ten carriers of 1.7 MHz side by side, each on at times of its own, as cordless telephones are
    rng, lift, talks = np.random.default_rng(9), np.zeros((60, BINS)), []
    for carrier in range(10):
        talk = np.repeat(rng.random(10) < 0.4, 6)
        talks.append(talk.mean())
        lift[np.ix_(talk, range(300 + 40 * carrier, 332 + 40 * carrier))] = 12.0
    found = _found(lift)
    assert [one.on_share for one in found] == pytest.approx(talks)


def test_two_states_against_the_plain_search_for_the_least_spread() -> None:
    rng = np.random.default_rng(4)
    for _ in range(20):
        series = np.concatenate([rng.normal(0, 0.5, rng.integers(3, 30)), rng.normal(6, 0.5, rng.integers(3, 30))])
        ordered = np.sort(series)
        cuts = [(ordered[:k].var() * k + ordered[k:].var() * (ordered.size - k), k) for k in range(1, ordered.size)]
        assert two_states(series).sum() == ordered.size - min(cuts)[1]
