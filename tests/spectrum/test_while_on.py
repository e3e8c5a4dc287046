"""A carrier that is on in some sweeps, apart from each other, is judged by all of them together.

What is asked for (the design of this project): shown two standard uncertainties above the limit it is occupied 95
times in 100; at the limit at most 5 times. Bounds: binomial, so that a right program fails once in 10,000. The
carrier's powers are those of a phasor in complex Gaussian noise, and share no code with fallow.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import JudgedSlice, Judging, Verdict
from fallow.units import Channel

LOW_HZ, STEP_HZ, BINS, FLOOR_DBM, LIMIT_DBM = 500_000_000, 25_000, 2400, -115.0, -90.0
CARRIERS = np.arange(44, BINS - 40, 80)  # bins, 2 MHz apart


def _judged(rng: np.random.Generator, sweeps: int, on: int, looks: int, level_dbm: float) -> list[JudgedSlice]:
    """Slices of 200 kHz with a carrier each, on in ``on`` of the sweeps; a reading is a mean of so many looks."""
    parts: NDArray[np.float64] = rng.normal(size=(2, looks, sweeps, BINS))
    field = (parts[0] + 1j * parts[1]) * np.sqrt(10 ** (FLOOR_DBM / 10) / 2)
    for carrier in CARRIERS:
        field[:, rng.choice(sweeps, on, replace=False), carrier] += np.sqrt(10 ** (level_dbm / 10))
    levels = 10 * np.log10(np.square(np.abs(field)).mean(axis=0))
    series = Series(
        Axis.regular(LOW_HZ, STEP_HZ, BINS), levels.astype(np.float32), LevelUnit.DBM, rbw_hz=float(STEP_HZ)
    )
    lows = [LOW_HZ + int(carrier) * STEP_HZ - 100_000 for carrier in CARRIERS]
    air = judge(Survey((series,)), Judging(limit_dbm=LIMIT_DBM))
    return list(air.judge_slices([Channel(str(low), low, low + 200_000) for low in lows]))


@pytest.mark.parametrize(("sweeps", "on", "looks"), [(20, 4, 4), (20, 2, 4), (10, 5, 4), (40, 4, 1)])
def test_two_uncertainties_above_is_occupied(sweeps: int, on: int, looks: int) -> None:
    rng = np.random.default_rng(31)
    level = LIMIT_DBM + 5.0
    for _ in range(3):
        u_db = float(np.median([one.u_db for one in _judged(rng, sweeps, on, looks, level) if one.u_db is not None]))
        level = LIMIT_DBM + 2.0 * u_db
    verdicts = [one.verdict for _ in range(3) for one in _judged(rng, sweeps, on, looks, level)]
    missed = sum(verdict is not Verdict.OCCUPIED for verdict in verdicts)
    assert missed <= stats.binom.ppf(1 - 1e-4, len(verdicts), 0.05)


@pytest.mark.parametrize(("sweeps", "on", "looks"), [(20, 4, 4), (40, 4, 1), (40, 20, 1)])
def test_at_the_limit_is_not(sweeps: int, on: int, looks: int) -> None:
    """With the instrument reading high by as much as the budget's standard uncertainty (2.43 dB)."""
    rng = np.random.default_rng(32)
    verdicts = [one.verdict for _ in range(3) for one in _judged(rng, sweeps, on, looks, LIMIT_DBM + 2.43)]
    wrong = sum(verdict is Verdict.OCCUPIED for verdict in verdicts)
    assert wrong <= stats.binom.ppf(1 - 1e-4, len(verdicts), 0.05)
