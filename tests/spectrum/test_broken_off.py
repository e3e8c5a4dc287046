"""Sweeps that broke off or hold odd rows: the good ones count for what they are, noise stays quiet, nothing is hidden.

Airs are drawn here, so that the truth is known; what counts as a hole is this project's own contract.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.found.blocks import find_television
from fallow.spectrum.heard import make_ready
from fallow.spectrum.judging import judge
from fallow.spectrum.noise.noise_floor import find_floor
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging, Verdict
from fallow.units import Channel

LOW_HZ, STEP_HZ, BINS, SLICE_HZ = 500_000_000, 25_000, 800, 1_000_000
HALF = BINS // 2
BROKEN_HZ = LOW_HZ + HALF * STEP_HZ
Values = NDArray[np.float64]


def _noise_db(rng: np.random.Generator, sweeps: int, bins: int = BINS) -> Values:
    """Means of four samples, the power of each exponentially distributed."""
    return np.asarray(-115.0 + 10.0 * np.log10(rng.gamma(4.0, 0.25, (sweeps, bins))), dtype=np.float64)


def _survey(levels_db: Values, unit: LevelUnit = LevelUnit.DBM) -> Survey:
    axis = Axis.regular(LOW_HZ, STEP_HZ, levels_db.shape[1])
    return Survey((Series(axis, levels_db.astype(np.float32), unit, rbw_hz=float(STEP_HZ)),))


def _verdicts(levels_db: Values, width_hz: int = SLICE_HZ) -> dict[int, tuple[str, tuple[str, ...]]]:
    """Verdict and reasons of each slice by its lower edge in hertz."""
    judged = fallow.judge(_survey(levels_db), width_hz=width_hz)
    return {one.low_hz: (one.verdict.word, one.reasons) for one in judged.slices}


@pytest.mark.parametrize(("whole", "broken"), [(1, 1), (5, 1), (9, 1), (3, 3)])
def test_a_sweep_that_broke_off_spoils_no_good_ones(whole: int, broken: int) -> None:
    """Also where it broke off: there a window has a bin that the broken sweep lacks."""
    levels = _noise_db(np.random.default_rng(1), whole + broken)
    levels[whole:, HALF:] = np.nan
    assert {word for word, _ in _verdicts(levels).values()} == {"clean"}


def test_what_few_of_the_sweeps_measured_is_not_clean() -> None:
    levels = _noise_db(np.random.default_rng(2), 10)
    levels[1:, HALF:] = np.nan
    found = _verdicts(levels)
    assert {word for low, (word, _) in found.items() if low + SLICE_HZ <= BROKEN_HZ - STEP_HZ} == {"clean"}
    above = [told for low, told in found.items() if low >= BROKEN_HZ + SLICE_HZ]
    assert {word for word, _ in above} == {"doubtful"}
    assert all(reasons[0].startswith("hole: fewer than half of the sweeps measured it") for _, reasons in above)


def test_sweeps_that_each_miss_half_of_every_window_prove_nothing_clean() -> None:
    levels = _noise_db(np.random.default_rng(3), 20)
    levels[:10, 0::2] = np.nan
    levels[10:, 1::2] = np.nan
    assert {word for word, _ in _verdicts(levels).values()} == {"doubtful"}


@pytest.mark.parametrize("missing", [2, 4])
def test_a_bin_that_some_sweeps_lack_makes_no_carrier_in_it_weaker(missing: int) -> None:
    """A steady carrier so far below the limit that the whole survey's mean would just be clean, were it diluted."""
    word = {}
    for lacks in (0, missing):
        levels = _noise_db(np.random.default_rng(4), 10)
        levels[:, 220] = -93.9
        levels[:lacks, 220] = np.nan
        air = judge(_survey(levels), Judging(limit_dbm=-90.0, link_width_hz=1_000_000))
        (one,) = air.judge_slices([Channel("", 505_000_000, 506_000_000)])
        word[lacks] = one.verdict
    assert word[0] is not Verdict.CLEAN
    assert word[missing] is not Verdict.CLEAN


@pytest.mark.parametrize("unit", [LevelUnit.DB, LevelUnit.DBM])
def test_noise_that_few_sweeps_measured_is_not_occupied(unit: LevelUnit) -> None:
    """One whole sweep and nine halves: at most one slice in a hundred."""
    rng = np.random.default_rng(6)
    occupied = slices = 0
    for _ in range(8):
        levels = _noise_db(rng, 10, 2 * BINS)
        levels[1:, BINS:] = np.nan
        judged = fallow.judge(_survey(levels, unit), width_hz=SLICE_HZ)
        occupied += sum(one.verdict is Verdict.OCCUPIED for one in judged.slices)
        slices += len(judged.slices)
    assert occupied <= slices // 100


def test_noise_that_one_sweep_measured_is_no_television() -> None:
    """Forty more sweeps broke off; single samples, which scatter by 5.57 dB, look like edges where they count as 41."""
    rng = np.random.default_rng(1)
    raster = [Channel("", low, low + 6_000_000) for low in range(LOW_HZ, LOW_HZ + 34_000_000, 1_000_000)]
    found = 0
    for _ in range(20):
        levels = -110.0 + 10.0 * np.log10(rng.exponential(size=(41, 2 * BINS)))
        levels[1:, BINS:] = np.nan
        (heard,), _notes = make_ready(_survey(levels, LevelUnit.DB), absolute=False)
        found += len(find_television(heard, find_floor(heard).noise_db, raster, np.zeros(2 * BINS, dtype=bool)))
    assert found == 0
