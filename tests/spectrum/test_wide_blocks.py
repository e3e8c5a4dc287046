"""Blocks as wide as half of what was swept, and a band full of television: more sweeps say no less than one.

Airs are drawn here, of noise at -110 dBm in 25 kHz and flat blocks on top of it; nothing is shared with fallow.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.heard import make_ready
from fallow.spectrum.noise.noise_floor import find_floor
from fallow.spectrum.sweep import LevelUnit, Series, Survey

Values = NDArray[np.float64]
LOW_HZ, STEP_HZ, BINS, PER_SLICE = 500_000_000, 25_000, 4000, 8
FLOOR_DBM = -110.0
WIDE = slice(800, 3200)  # 60 MHz
CHANNEL, TELEVISION = 320, 304  # bins of 8 MHz, and of 7.6 MHz within it (ETSI EN 300 744)


def _noise(rng: np.random.Generator, sweeps: int, samples: int) -> Values:
    return np.asarray(10 ** (FLOOR_DBM / 10) * rng.gamma(samples, 1 / samples, (sweeps, BINS)))


def _survey(power: Values) -> Survey:
    axis = Axis.regular(LOW_HZ, STEP_HZ, BINS)
    levels = (10 * np.log10(power)).astype(np.float32)
    return Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=float(STEP_HZ)),))


def _words(power: Values) -> NDArray[np.str_]:
    slices = fallow.judge(_survey(power), width_hz=PER_SLICE * STEP_HZ).slices
    return np.array([one.verdict.word for one in slices])


@pytest.mark.parametrize(("sweeps", "samples"), [(1, 1), (5, 3), (20, 1)])
def test_a_block_of_60_mhz_is_occupied_all_over(sweeps: int, samples: int) -> None:
    """25 dB above the noise and 14 above the limit; beside it the air stays clean, but for its rims."""
    rng = np.random.default_rng(5)
    power = _noise(rng, sweeps, samples)
    power[:, WIDE] += 10 ** (-85.0 / 10) * rng.gamma(samples, 1 / samples, (sweeps, 2400))
    words = _words(power)
    inside = np.zeros(BINS // PER_SLICE, dtype=bool)
    inside[WIDE.start // PER_SLICE : WIDE.stop // PER_SLICE] = True
    assert (words[inside] == "occupied").all()
    assert (words[~inside] == "occupied").sum() == 0
    assert (words[~inside] == "clean").mean() >= 0.95


@pytest.mark.parametrize("sweeps", [5, 10])
def test_a_band_full_of_television_is_occupied(sweeps: int) -> None:
    """Twelve neighbouring channels of -95 to -55 dBm in each bin, and the floor seen in the gaps alone."""
    rng = np.random.default_rng(sweeps)
    power, above = _noise(rng, sweeps, 3), np.full(BINS, -np.inf)
    for channel, level in enumerate(rng.uniform(-95.0, -55.0, 12)):
        begin = channel * CHANNEL + 8
        power[:, begin : begin + TELEVISION] += 10 ** (level / 10) * rng.gamma(3, 1 / 3, (sweeps, TELEVISION))
        above[begin : begin + TELEVISION] = level + 9.0  # in a window of 200 kHz
    far_above = above.reshape(-1, PER_SLICE).min(axis=1) > -90.0 + 8.0
    assert far_above.sum() > 300
    assert (_words(power)[far_above] == "occupied").mean() >= 0.99


def test_a_floor_that_rises_beside_a_wide_block_is_still_told() -> None:
    """By 8 dB in three of ten sweeps, in all bins; the block alone would be no rise."""
    rng = np.random.default_rng(2)
    power = _noise(rng, 10, 4)
    power[[2, 5, 6]] *= 10**0.8
    power[:, WIDE] += 10 ** (-75.0 / 10)
    floor = find_floor(make_ready(_survey(power))[0][0])
    at = (floor.group_centres_hz - LOW_HZ) / STEP_HZ
    beside, within = (at < 600) | (at > 3400), (at > 1500) & (at < 2500)
    assert floor.rises_db[[2, 5, 6]][:, beside].mean() == pytest.approx(8.0, abs=1.0)
    assert floor.rises_db[:, within].max() == 0.0
    assert (_words(power)[[k for k in range(500) if not 99 <= k <= 400]] == "occupied").sum() == 0


@pytest.mark.parametrize("sweeps", [1, 10])
def test_carriers_on_a_wide_block_are_listed_beside_it(sweeps: int) -> None:
    """Six of 200 kHz, 18 to 30 dB above the block of 60 MHz that they stand on; without them only the block."""
    rng = np.random.default_rng(sweeps)
    power = _noise(rng, sweeps, 9)
    power[:, WIDE] += 10 ** (-98.0 / 10) * rng.gamma(9, 1 / 9, (sweeps, 2400))
    assert all(one.high_hz - one.low_hz > 5e6 for one in fallow.judge(_survey(power)).emitters)
    places = range(1000, 2800, 300)
    for place, above_db in zip(places, (18.0, 20.0, 22.0, 24.0, 27.0, 30.0), strict=True):
        power[:, place : place + 8] += 10 ** ((-98.0 + above_db) / 10) * rng.gamma(9, 1 / 9, (sweeps, 8))
    narrow = [one for one in fallow.judge(_survey(power)).emitters if one.high_hz - one.low_hz < 600e3]
    tops_hz = [LOW_HZ + STEP_HZ * (place + 4) for place in places]
    assert [any(one.low_hz < top < one.high_hz for one in narrow) for top in tops_hz] == [True] * 6
    assert len(narrow) == 6
