"""A resolution bandwidth that nobody states and that is wider than the step: what it does to levels and verdicts.

The truth is put in: steady carriers and noise through a Gaussian filter (as resolution filters are: Rec. ITU-R
SM.1753-2 speaks of their noise bandwidth), or smoothed along frequency afterwards, which shows noise alike as well.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.heard import make_ready
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import JudgedSlice, Verdict
from fallow.spectrum.verdicts.window_levels import geometry_of, perhaps_high_db, powers_in, whole_cells

Values = NDArray[np.float64]
STEP_HZ, BINS, LIMIT_DBM, NOISE_DBM = 25_000, 1536, -90.0, -118.0
LINK_HZ = 200_000
PLACES = np.arange(52, BINS - 48, 48)  # in the middle of every sixth window of 200 kHz
USUAL_U_DB = 2.43  # of a pocket instrument with a whip, as the budget has it: common practice
ALIKE_PER_WIDTH = 1.504  # Σρ² of noise behind a Gaussian filter, in widths at half power: √(2π)·0.6


def _looks(rng: np.random.Generator, sweeps: int, carriers_dbm: Values, wide: float) -> Values:
    """Powers of single samples, shape (sweep, bin): each carrier's whole power at its middle, noise in each reading."""
    offset = np.arange(-int(4 * wide) - 1, int(4 * wide) + 2)
    filtered = np.exp(-0.5 * (offset / (0.6 * wide)) ** 2) if wide > 1 else (offset == 0).astype(float)
    size = (2, sweeps, BINS + offset.size - 1)
    white = rng.normal(size=size) * np.sqrt(0.5 * 10 ** (NOISE_DBM / 10) / np.square(filtered).sum())
    real, imaginary = np.apply_along_axis(np.convolve, 2, white, filtered, mode="valid")
    field = real + 1j * imaginary
    for place, level in zip(PLACES, carriers_dbm, strict=True):
        phase = np.exp(2j * np.pi * rng.random((sweeps, 1)))
        field[:, place + offset] += 10 ** (level / 20) * filtered * phase
    return np.asarray(np.square(np.abs(field)), dtype=np.float64)


def _filtered(wide: float, averaged: int) -> Callable[[np.random.Generator, Values], Values]:
    """Five sweeps through a filter so many bins wide at half power; averages of so many samples."""
    return lambda rng, carriers: np.mean([_looks(rng, 5, carriers, wide) for _ in range(averaged)], axis=0)


def _smoothed(rng: np.random.Generator, carriers: Values) -> Values:
    """A resolution of one step, and the power then averaged over five neighbours."""
    powers = _looks(rng, 5, carriers, 1.0)
    return np.asarray(np.apply_along_axis(np.convolve, 1, powers, np.ones(5) / 5, mode="same"), dtype=np.float64)


def _interpolated(rng: np.random.Generator, carriers: Values) -> Values:
    """A resolution of four steps, and three points drawn between two readings each."""
    readings = np.arange(0, BINS, 4)
    powers = _looks(rng, 5, np.full(carriers.size, -200.0), 1.0)[:, readings]
    phased = np.sqrt(powers) * np.exp(2j * np.pi * rng.random(powers.shape))
    phased[:, PLACES // 4] += 10 ** (carriers / 20)
    return np.array([np.interp(np.arange(BINS), readings, np.square(np.abs(one))) for one in phased])


SEEN: dict[str, Callable[[np.random.Generator, Values], Values]] = {
    "four steps": _filtered(4, 1),
    "four steps, averages": _filtered(4, 4),
    "eight steps, averages": _filtered(8, 4),
    "two steps, averages": _filtered(2, 4),
    "smoothed": _smoothed,
    "interpolated": _interpolated,
}


def _judged(powers: Values, rbw_hz: float | None = None) -> list[JudgedSlice]:
    axis = Axis.regular(500_000_000, STEP_HZ, BINS)
    levels = (10 * np.log10(powers)).astype(np.float32)
    survey = Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=rbw_hz),))
    slices = fallow.judge(survey, limit_dbm=LIMIT_DBM, width_hz=LINK_HZ).slices
    return [slices[place * STEP_HZ // LINK_HZ] for place in PLACES]


def _number(value: float | None) -> float:
    assert value is not None
    return value


@pytest.mark.parametrize("seen", SEEN)
def test_what_is_called_is_right_whatever_made_neighbours_alike(seen: str) -> None:
    """The instrument's error is drawn from its budget. At 95 % one in twenty may be wrong: bound by the binomial
    distribution, so that a right program fails once in 10,000.
    """
    called, wrong = Counter[Verdict](), Counter[Verdict]()
    outside = looked = 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        carriers = rng.uniform(-100.0, -80.0, PLACES.size)
        powers = SEEN[seen](rng, carriers) * 10 ** (rng.normal(0.0, USUAL_U_DB) / 10)
        for level, one in zip(carriers, _judged(powers), strict=True):
            level_dbm, u_db = _number(one.level_dbm), _number(one.u_db)
            called[one.verdict] += 1
            wrong[one.verdict] += (level > LIMIT_DBM) != (one.verdict is Verdict.OCCUPIED)
            outside += abs(level_dbm - level) > 2 * u_db
            looked += 1
    for verdict in (Verdict.CLEAN, Verdict.OCCUPIED):
        assert wrong[verdict] <= stats.binom.ppf(1 - 1e-4, called[verdict], 0.05)
    assert outside <= 0.25 * looked  # the error is one and the same for all carriers of a survey: ten draws
    assert called[Verdict.OCCUPIED] > 0


def test_levels_of_strong_carriers_are_told_between_the_two_readings_of_the_data() -> None:
    """-60 dBm through four steps: the sum over cells is -60 + 10·lg(4·1.064) dB (noise bandwidth of a Gaussian filter
    over its width at half power, √(π/ln 2)/2); alike are 6 steps.
    """
    powers = SEEN["four steps, averages"](np.random.default_rng(3), np.full(PLACES.size, -60.0))
    untold, told = _judged(powers), _judged(powers, rbw_hz=4 * 1.064 * STEP_HZ)
    lower_db = 10 * np.log10(4 * 1.064) - 10 * np.log10(4 * ALIKE_PER_WIDTH) / 2
    for one, true in zip(untold, told, strict=True):
        by_db = _number(one.level_dbm) - _number(true.level_dbm)
        assert by_db == pytest.approx(
            lower_db, abs=0.8
        )  # crowded as they are, neighbours are alike over 4.6 to 6 steps
        assert abs(by_db) < _number(one.u_db)
        rectangular_db = 10 * np.log10(4 * ALIKE_PER_WIDTH) / 2 / np.sqrt(3)  # JCGM 100, 4.3.7
        assert one.u_db == pytest.approx(np.hypot(_number(true.u_db), rectangular_db), abs=0.4)
        assert any("as the step for clean and as" in reason for reason in one.reasons)


def test_emitters_and_slices_tell_the_same_level() -> None:
    powers = SEEN["four steps, averages"](np.random.default_rng(4), np.full(PLACES.size, -60.0))
    series = Series(Axis.regular(500_000_000, STEP_HZ, BINS), (10 * np.log10(powers)).astype(np.float32), LevelUnit.DBM)
    air = fallow.judge(Survey((series,)), width_hz=LINK_HZ)
    assert len(air.emitters) == PLACES.size
    shown = [one.level_dbm for one in _judged(powers)]
    for emitter, level in zip(sorted(air.emitters, key=lambda one: one.centre_hz), shown, strict=True):
        assert emitter.level_dbm == pytest.approx(level, abs=1.0)


def test_several_series_are_told_of_once() -> None:
    rng = np.random.default_rng(7)
    axis = Axis.regular(500_000_000, STEP_HZ, BINS)
    levels = [(10 * np.log10(_filtered(4, 4)(rng, np.full(PLACES.size, -80.0)))).astype(np.float32) for _ in range(3)]
    series = [Series(axis, one, LevelUnit.DBM, trace=f"trace {place}") for place, one in enumerate(levels)]
    notes = [note for note in make_ready(Survey(tuple(series)))[1] if "resolution" in note]
    assert len(notes) == 1
    assert "(trace 0 and 2 more): taken as the step, 25 kHz; neighbours say the same over about" in notes[0]


def test_a_resolution_of_one_step_leaves_everything_as_it_was() -> None:
    """Noise of single steps: not stated and stated as the step are one and the same."""
    powers = _filtered(1, 4)(np.random.default_rng(5), np.linspace(-105.0, -70.0, PLACES.size))
    for untold, told in zip(_judged(powers), _judged(powers, rbw_hz=STEP_HZ), strict=True):
        assert (untold.verdict, untold.level_dbm, untold.u_db) == (told.verdict, told.level_dbm, told.u_db)


def test_levels_may_read_high_by_what_the_sums_differ() -> None:
    """Against sums over the same windows with the resolution stated as wide as neighbours are alike."""
    rng = np.random.default_rng(6)
    powers = _filtered(4, 1)(rng, rng.uniform(-100, -60, PLACES.size))
    levels = (10 * np.log10(powers)).astype(np.float32)
    heard = make_ready(Survey((Series(Axis.regular(500_000_000, STEP_HZ, BINS), levels, LevelUnit.DBM),)))[0][0]
    assert heard.widest_rbw_hz == pytest.approx(4 * ALIKE_PER_WIDTH * STEP_HZ, rel=0.25)
    stated = replace(heard, rbw_hz=heard.widest_rbw_hz, rbw_known=True)
    low = rng.uniform(502e6, 530e6, 200)
    width = rng.choice([5e3, 25e3, 40e3, 100e3, 200e3, 1e6], 200)
    nothing, none = np.zeros(BINS), np.zeros(BINS, dtype=bool)
    sums = [
        powers_in(one, whole_cells(one, geometry_of(one, low, low + width)), nothing, none).least
        for one in (heard, stated)
    ]
    perhaps_db = np.broadcast_to(perhaps_high_db(heard, width), sums[0].shape)
    assert 10 * np.log10(sums[0] / sums[1]) == pytest.approx(perhaps_db, abs=1e-6)
    assert not perhaps_high_db(stated, width).any()


@pytest.mark.parametrize(("name", "limit_dbm", "width_hz"), [("nbiot", -80.0, 5_000), ("wideband", 10.0, 1_000_000)])
def test_real_sweeps_whose_resolution_is_withheld_move_by_less_than_u(
    airdata: Path, name: str, limit_dbm: float, width_hz: int
) -> None:
    """Both are power spectra by Welch's method; a Hann window's noise bandwidth is 1.5 steps (Harris, Proc. IEEE 66
    (1978), table I). Without a scale in the files, their decibels are taken for dBm here. The median moved by 1.8 dB
    where the step alone stood for the resolution.
    """
    paths = {
        "nbiot": ["nbiot-832-sigmf/V16-beacon-NB-IoT-uplink.sigmf-data"],
        "wideband": ["wideband-300-3000/psd_arr_0.npy", "wideband-300-3000/psd_arr_1.npy"],
    }[name]
    survey = fallow.open_sweeps(*(airdata / path for path in paths))
    slices = []
    for stated in (True, False):
        series = [
            replace(one, unit=LevelUnit.DBM, rbw_hz=1.5 * float(one.axis.step_hz) if stated else None)
            for one in survey.series
        ]
        air = fallow.judge(
            Survey(tuple(series)), limit_dbm=limit_dbm, link_width_hz=min(width_hz, LINK_HZ), width_hz=width_hz
        )
        slices.append(air.slices)
    moved = [
        (untold.level_dbm - told.level_dbm, untold.u_db)
        for told, untold in zip(*slices, strict=True)
        if told.level_dbm is not None and untold.level_dbm is not None and untold.u_db is not None
    ]
    assert len(moved) > 50
    assert np.mean([abs(by_db) < u_db for by_db, u_db in moved]) > 0.95  # two show another burst as the loudest
    assert abs(np.median([by_db for by_db, _ in moved])) < 0.6
