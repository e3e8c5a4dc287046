"""Lines that keep their place in the instrument while it is tuned elsewhere: simulated, with known truth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis
from fallow.spectrum.found.own_patterns import is_perhaps_own
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging, Verdict

STEP_HZ, BINS, SAMPLES = 2_000, 1_200, 20
START_HZ = 600_000_000
SHIFT_HZ = 331_000  # no multiple of the step


@dataclass(frozen=True)
class Carriers:
    """Carriers in dB above the noise: ``on_air`` by frequency [Hz], ``inside`` by distance from the lowest bin [Hz]."""

    on_air: dict[float, float]
    inside: dict[float, float]


def _pass(rng: np.random.Generator, start_hz: int, carriers: Carriers, unit: LevelUnit = LevelUnit.DB) -> Series:
    centres = start_hz + STEP_HZ * np.arange(BINS)
    steady = np.zeros(BINS)
    for place, level in [*carriers.on_air.items(), *((start_hz + at, db) for at, db in carriers.inside.items())]:
        steady += 10.0 ** (level / 10.0) * np.exp(-np.pi * np.square((centres - place) / (1.5 * STEP_HZ)))
    shown: NDArray[np.float64] = rng.noncentral_chisquare(2 * SAMPLES, np.tile(2 * SAMPLES * steady, (5, 1)))
    levels = 10.0 * np.log10(shown / (2 * SAMPLES)) - 100.0
    axis = Axis.regular(start_hz, STEP_HZ, BINS)
    rbw_hz = 1.5 * STEP_HZ
    return Series(axis, levels.astype(np.float32), unit, rbw_hz=rbw_hz, detector=Detector.AVERAGE, source=str(start_hz))


def _judged(before: Carriers, after: Carriers, *, seed: int = 1, unit: LevelUnit = LevelUnit.DB) -> Air:
    rng = np.random.default_rng(seed)
    judging = Judging(limit_dbm=-85.0) if unit is LevelUnit.DBM else Judging()
    low, high = _pass(rng, START_HZ, before, unit), _pass(rng, START_HZ + SHIFT_HZ, after, unit)
    return judge(Survey((low, high)), judging)


ON_AIR = {START_HZ + 700_000.0: 20.0, START_HZ + 1_900_500.0: 25.0}
INSIDE = {900_000.0: 18.0, 1_400_300.0: 22.0}


def _listed(air: Air, place_hz: float) -> bool:
    return any(abs(emitter.centre_hz - place_hz) < 3 * STEP_HZ for emitter in air.emitters)


@pytest.mark.parametrize("unit", [LevelUnit.DB, LevelUnit.DBM])
def test_a_line_that_moves_with_the_tuning_is_no_emitter(unit: LevelUnit) -> None:
    carriers = Carriers(ON_AIR, INSIDE)
    air = _judged(carriers, carriers, unit=unit)
    assert all(_listed(air, place) for place in ON_AIR)
    for at in INSIDE:
        assert not _listed(air, START_HZ + at)
        assert not _listed(air, START_HZ + SHIFT_HZ + at)
    (note,) = [note for note in air.notes if "the instrument's tuning, by" in note]
    assert "by 331 kHz between two passes" in note
    assert "no emitters" in note
    window = air.judge_window(START_HZ + 850_000.0, START_HZ + 950_000.0)
    assert window.verdict is Verdict.DOUBTFUL
    assert any("moves with the instrument's tuning" in reason for reason in window.reasons)
    assert air.judge_window(START_HZ + 1_850_000.0, START_HZ + 1_950_000.0).verdict is Verdict.OCCUPIED


def test_emitters_that_stay_come_and_go_do_not_move() -> None:
    # asked: at most 1 survey in 100 by luck; here 60 surveys of emitters at random places that stay, come and go
    said = 0
    for seed in range(60):
        rng = np.random.default_rng(1000 + seed)
        places = START_HZ + rng.uniform(0.05e6, 2.35e6, 10)
        kept, gone, come = ({float(place): 20.0 for place in some} for some in np.split(places, [4, 7]))
        air = _judged(Carriers(kept | gone, {}), Carriers(kept | come, {}), seed=seed)
        said += any("the instrument's tuning, by" in note for note in air.notes)
    assert said <= 2


def test_what_may_be_luck_is_doubted_and_stays_listed() -> None:
    gone = {START_HZ + place: 20.0 for place in (500_000.0, 1_100_000.0, 1_650_000.0)}
    come = {START_HZ + place: 20.0 for place in (800_000.0, 1_500_000.0, 2_050_000.0)}
    inside = {900_000.0: 18.0}
    air = _judged(Carriers(ON_AIR | gone, inside), Carriers(ON_AIR | come, inside))
    assert not any("the instrument's tuning, by" in note for note in air.notes)
    doubted = [emitter.centre_hz for emitter in air.emitters if is_perhaps_own(emitter.evidence)]
    assert doubted
    assert all(min(abs(place - START_HZ - at) for at in (900_000, 1_231_000)) < 3 * STEP_HZ for place in doubted)


def test_two_instruments_share_no_tuning() -> None:
    carriers = Carriers(ON_AIR, INSIDE)
    rng = np.random.default_rng(1)
    series = [
        replace(_pass(rng, start, carriers), instrument=name)
        for start, name in ((START_HZ, "first"), (START_HZ + SHIFT_HZ, "second"))
    ]
    assert not any("the instrument's tuning, by" in note for note in judge(Survey(tuple(series))).notes)
