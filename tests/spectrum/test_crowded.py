"""Bands that are mostly full: the floor is found between the carriers, and none of them hides in it. Truth is known.

Airs are drawn here, of noise at -115 dBm in 25 kHz and carriers of -80 to -50 dBm; nothing is shared with fallow.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.heard import make_ready
from fallow.spectrum.noise.crowded import senders_in_crowds
from fallow.spectrum.noise.noise_floor import find_floor
from fallow.spectrum.noise.running import running_quantile, within
from fallow.spectrum.sweep import LevelUnit, Series, Survey

Values = NDArray[np.float64]
LOW_HZ, STEP_HZ, BINS, SLICE_HZ = 500_000_000, 25_000, 1200, 200_000
FLOOR_DBM = -115.0
PER_SLICE = SLICE_HZ // STEP_HZ


def _noise_db(rng: np.random.Generator, sweeps: int, samples: int) -> Values:
    return np.asarray(FLOOR_DBM + 10 * np.log10(rng.gamma(samples, 1 / samples, (sweeps, BINS))), dtype=np.float64)


def _survey(levels_db: Values, unit: LevelUnit = LevelUnit.DBM) -> Survey:
    axis = Axis.regular(LOW_HZ, STEP_HZ, levels_db.shape[1])
    return Survey((Series(axis, levels_db.astype(np.float32), unit, rbw_hz=float(STEP_HZ)),))


def _full(sweeps: int, samples: int, share: float, width: int) -> tuple[Values, NDArray[np.bool_]]:
    """Levels with carriers of so many bins in a share of all; and which bins hold one."""
    rng = np.random.default_rng(3)
    power, held = 10 ** (_noise_db(rng, sweeps, samples) / 10), np.zeros(BINS, dtype=bool)
    while held.mean() < share:
        first = int(rng.integers(0, BINS - width))
        power[:, first : first + width] += 10 ** (rng.uniform(-80, -50) / 10) / width
        held[first : first + width] = True
    return 10 * np.log10(power), held


@pytest.mark.parametrize("unit", [LevelUnit.DBM, LevelUnit.DB])
@pytest.mark.parametrize("width", [1, 8])
@pytest.mark.parametrize(("sweeps", "samples"), [(1, 1), (5, 1), (20, 4)])
@pytest.mark.parametrize("share", [0.6, 0.8])
def test_carriers_in_most_bins_are_occupied(
    share: float, sweeps: int, samples: int, width: int, unit: LevelUnit
) -> None:
    levels, held = _full(sweeps, samples, share, width)
    slices = fallow.judge(_survey(levels, unit), width_hz=SLICE_HZ).slices
    whole = held.reshape(-1, PER_SLICE).sum(axis=1) >= min(width, PER_SLICE)
    occupied = np.array([one.verdict.word == "occupied" for one in slices])
    assert occupied[whole].mean() >= 0.95
    floors = np.array([one.floor_dbm for one in slices if one.floor_dbm is not None]) - (
        FLOOR_DBM + 10 * np.log10(PER_SLICE)
    )
    assert np.abs(np.median(floors)) < 2.0
    assert np.quantile(np.abs(floors), 0.95) < 5.0


@pytest.mark.parametrize(("sweeps", "samples"), [(1, 1), (5, 1), (20, 4)])
def test_carriers_in_most_bins_are_listed_one_by_one(sweeps: int, samples: int) -> None:
    """Single bins in two of three, at random: most have a neighbour, so runs of them are counted."""
    levels, held = _full(sweeps, samples, 0.6, 1)
    air = fallow.judge(_survey(levels), width_hz=SLICE_HZ)
    starts = np.flatnonzero(np.diff(np.concatenate([[False], held, [False]]).astype(int)) == 1)
    ends = np.flatnonzero(np.diff(np.concatenate([[False], held, [False]]).astype(int)) == -1)
    wide_gaps = int((starts[1:] - ends[:-1] > 2).sum())
    assert len(air.emitters) >= 0.8 * wide_gaps
    assert max(one.high_hz - one.low_hz for one in air.emitters) < 5e6


def _odd_floors() -> dict[str, Values]:
    rng, places = np.random.default_rng(4), np.arange(BINS)
    return {
        "even": np.zeros(BINS),
        "slope": places / 60.0,
        "tuner that jumps by 6 dB": np.repeat(rng.uniform(0, 6, BINS // 80), 80),
        "rims that fall by 20 dB": -20.0 * np.clip((np.abs(places % 80 - 39.5) - 28.0) / 12.0, 0.0, 1.0),
    }


@pytest.mark.parametrize(("sweeps", "samples"), [(1, 1), (20, 4)])
@pytest.mark.parametrize("name", list(_odd_floors()))
def test_a_floor_of_an_odd_shape_is_no_crowd(name: str, sweeps: int, samples: int) -> None:
    rng, shape = np.random.default_rng(5), _odd_floors()[name]
    heard = make_ready(_survey(_noise_db(rng, sweeps, samples) + shape))[0][0]
    assert not senders_in_crowds(heard, FLOOR_DBM + shape).any()
    if "rims" not in name:  # what lies between them is taken for blocks, so that no more is asked of it than above
        assert np.abs(np.median(find_floor(heard).noise_db - FLOOR_DBM - shape)) < 1.0


def test_running_quantile_and_counts_are_those_of_plain_loops() -> None:
    rng = np.random.default_rng(6)
    values = np.where(rng.random(40) < 0.2, np.nan, rng.normal(size=40))
    for window, share in ((5, 0.5), (9, 0.25), (39, 0.9)):
        found = running_quantile(values, window, share, hop=1)
        for place in range(40):
            near = values[max(0, place - window // 2) : place + window // 2 + 1]
            near = np.sort(near[np.isfinite(near)])
            if near.size:
                assert found[place] == near[round(share * (near.size - 1))]
    flags = rng.random((3, 30)) < 0.3
    counted = within(flags, 7)
    for row in range(3):
        assert [int(flags[row, max(0, k - 3) : k + 4].sum()) for k in range(30)] == counted[row].tolist()
