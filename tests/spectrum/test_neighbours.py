"""Over how many bins noise is alike; a resolution that nobody states makes no emitters: counted over noise."""

from __future__ import annotations

import re

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.neighbours import alike_bins
from fallow.spectrum.sweep import LevelUnit, Series, Survey

Values = NDArray[np.float64]
HALF_POWER = 2.355  # standard deviations between the half power points of a Gaussian filter: 2·√(2·ln 2)


def _noise_db(rng: np.random.Generator, shape: tuple[int, int], bins: int, samples: int = 1) -> Values:
    """Mean powers of complex noise, alike over so many bins: through a Gaussian filter along the axis."""
    reach = 4 * bins
    field = np.exp(-0.5 * (np.arange(-reach, reach + 1) / (bins / HALF_POWER)) ** 2) if bins > 1 else np.ones(1)
    field /= np.sqrt(np.square(field).sum())
    size = (samples, shape[0], shape[1] + field.size - 1)
    white = (rng.normal(size=size) + 1j * rng.normal(size=size)) / np.sqrt(2)
    filtered = np.apply_along_axis(np.convolve, 2, white, field, mode="valid")
    return np.asarray(10 * np.log10(np.square(np.abs(filtered)).mean(axis=0)), dtype=np.float64)


def _alike(levels_db: Values, rbw_bins: float = 1.0, *, stated: bool = False) -> float:
    return alike_bins(Levels((levels_db.astype(np.float32),)), rbw_bins, stated=stated)


@pytest.mark.parametrize("sweeps", [1, 3, 20])
@pytest.mark.parametrize("bins", [1, 2, 4, 8])
def test_over_how_many_bins_noise_is_alike(sweeps: int, bins: int) -> None:
    """√(2π)·n/2.355 for a filter of n bins: the sum of exp(-k²/2σ²), the squared autocorrelation of its field, over all
    lags k (integral of a normal distribution). One sweep of 3,000 bins knows it to a tenth or so.
    """
    rng = np.random.default_rng(10 * sweeps + bins)
    expected = np.sqrt(2 * np.pi) * bins / HALF_POWER if bins > 1 else 1.0
    assert _alike(_noise_db(rng, (sweeps, 3000), bins)) == pytest.approx(expected, rel=0.2)


def test_what_is_stated_is_the_least() -> None:
    assert _alike(_noise_db(np.random.default_rng(1), (5, 2000), 2), 6.0) == 6.0


@pytest.mark.parametrize("sweeps", [1, 3])
def test_carriers_and_a_rippling_floor_make_no_neighbours_alike(sweeps: int) -> None:
    rng = np.random.default_rng(4)
    power = rng.exponential(size=(sweeps, 1200))
    for place in range(10, 1180, 30):
        power[:, place : place + 8] += 10 ** rng.uniform(3.0, 6.0) / 8
    rippling = _noise_db(rng, (sweeps, 3000), 1) + 2.0 * np.sin(np.arange(3000) / 15.0)
    assert _alike(10 * np.log10(power)) == 1.0
    assert _alike(rippling) == 1.0


def _crowd_db(rng: np.random.Generator, sweeps: int, carriers: int, sigma_db: float = 0.0) -> tuple[Values, Values]:
    """Readings above a floor of 0 dB of 4,000 bins with carriers of four bins each; and which bins hold one. The noise
    is exponential, or normal in decibels.
    """
    shape = (sweeps, 4000)
    power = rng.exponential(size=shape) if sigma_db == 0.0 else 10 ** (rng.normal(0.0, sigma_db, shape) / 10)
    holds = np.zeros(4000, dtype=bool)
    for place in np.linspace(10, 3980, carriers).astype(int) + rng.integers(0, 3, carriers):
        each = 10 ** ((rng.uniform(15.0, 65.0) + rng.normal(0.0, 1.5, (sweeps, 4))) / 10)
        power[:, place : place + 4] += each * np.array([0.1, 0.4, 0.4, 0.1])
        holds[place : place + 4] = True
    return 10 * np.log10(power), holds


@pytest.mark.parametrize("carriers", [80, 150, 200, 330])
@pytest.mark.parametrize(("sweeps", "sigma_db"), [(1, 0.0), (3, 0.0), (1, 5.57)])
def test_crowds_of_carriers_make_no_noise_alike(carriers: int, sweeps: int, sigma_db: float) -> None:
    """Drawn without any likeness of neighbours: none is told against a resolution that is stated."""
    for seed in range(4):
        levels, _ = _crowd_db(np.random.default_rng(seed), sweeps, carriers, sigma_db)
        assert _alike(levels, stated=True) == 1.0


@pytest.mark.parametrize(("carriers", "least"), [(150, 0.85), (200, 0.75)])
def test_quiet_places_between_many_carriers_stay_clean(carriers: int, least: float) -> None:
    """One sweep over a floor of -110 dBm; places that hold nothing. With neighbours taken for alike it was 137 of 237
    beside 200 carriers.
    """
    levels, holds = _crowd_db(np.random.default_rng(5), 1, carriers)
    axis = Axis.regular(500_000_000, 25_000, 4000)
    series = Series(axis, (levels - 110.0).astype(np.float32), LevelUnit.DBM, rbw_hz=25e3)
    slices = fallow.judge(Survey((series,)), width_hz=200_000).slices
    quiet = ~holds.reshape(-1, 8).any(axis=1)
    clean = np.array([one.verdict.word == "clean" for one in slices])
    assert quiet.sum() > 200
    assert clean[quiet].mean() >= least


@pytest.mark.parametrize("bins", [2, 4, 8])
def test_a_resolution_that_is_stated_wrongly_is_seen(bins: int) -> None:
    levels = _noise_db(np.random.default_rng(bins), (5, 3000), bins)
    assert _alike(levels, stated=True) == pytest.approx(np.sqrt(2 * np.pi) * bins / HALF_POWER, rel=0.2)


@pytest.mark.parametrize(("bins", "samples"), [(4, 1), (8, 1), (8, 4)])
def test_one_sweep_of_a_wide_resolution_that_nobody_states_makes_no_emitters(bins: int, samples: int) -> None:
    """At most one emitter in twenty surveys: eight allow for two (binomial, 99 %). None of 480 slices occupied."""
    made = occupied = 0
    for seed in range(8):
        levels = -108.0 + _noise_db(np.random.default_rng(seed), (1, 2400), bins, samples)
        axis = Axis.regular(500_000_000, 25_000, 2400)
        air = fallow.judge(Survey((Series(axis, levels.astype(np.float32), LevelUnit.DBM),)), width_hz=1_000_000)
        made += len(air.emitters)
        occupied += sum(one.verdict.word == "occupied" for one in air.slices)
    assert made <= 2
    assert occupied == 0


def test_a_resolution_wider_than_assumed_is_told_with_what_it_does_to_levels() -> None:
    """A filter six bins wide: power times step over RBW reads 8 dB high where the step stands for it."""
    levels = (_noise_db(np.random.default_rng(1), (5, 4000), 6) - 110.0).astype(np.float32)
    series = Series(Axis.regular(500_000_000, 25_000, 4000), levels, LevelUnit.DBM)
    (note,) = [one for one in fallow.judge(Survey((series,)), width_hz=200_000).notes if "resolution" in one]
    told = re.findall(r"and levels (\d+\.\d) dB lower", note)
    assert [float(one) for one in told] == [pytest.approx(10 * np.log10(6.0), abs=2.0)]
