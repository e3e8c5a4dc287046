"""What the sweeps showed of windows, against a plain twin that walks over every run of sweeps."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from scipy import stats

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.heard import make_ready
from fallow.spectrum.noise.noise_floor import find_floor
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.spectrum.verdicts.evidence import Evidence, Rule
from fallow.spectrum.verdicts.periods import NEAR_LIMIT, ON_BY_NOISE, Findings, Windows, gamma_quantile_db, look
from fallow.spectrum.verdicts.window_levels import WindowPowers, geometry_of, powers_in

BINS, WINDOWS, LIMIT_DBM = 60, 7, -90.0


def _evidence(rng: np.random.Generator, sweeps: int, holes: bool) -> Evidence:
    levels = rng.uniform(-125, -115, (sweeps, BINS)) + np.where(rng.random((sweeps, BINS)) < 0.1, 35.0, 0.0)
    if holes:
        levels[rng.random(levels.shape) < 0.1] = np.nan
    axis = Axis.regular(470_000_000, 20_000, BINS)
    levels = levels.astype(np.float32)
    series = Series(axis, levels, LevelUnit.DBM, rbw_hz=25e3, detector=Detector.AVERAGE)
    heard = make_ready(Survey((series,)))[0][0]
    floor, none = find_floor(heard), np.zeros(BINS, dtype=bool)
    return Evidence(heard, floor, floor.noise_db, False, none, none)


def _runs(sweeps: int) -> dict[int, list[range]]:
    """Runs of 1, 2, 4 … sweeps, half overlapping, the last one at the end; and all of them."""
    runs, length = {}, 1
    while length < sweeps:
        starts = [*range(0, sweeps - length, max(1, length // 2)), sweeps - length]
        runs[length] = [range(start, start + length) for start in starts]
        length *= 2
    return runs | {sweeps: [range(sweeps)]}


def _samples(evidence: Evidence, powers: WindowPowers, run: list[int], window: int) -> float:
    """K·(ΣP)²/Σv: the variance of a sweep's power is that of its cells, a step of 20 kHz in noise that is alike over
    25 kHz at least, and never more than if all of its cells said the same.
    """
    heard, least, squares = evidence.heard, powers.least[:, window], powers.squares[:, window]
    in_sweeps = [min(least[at] ** 2, squares[at] * heard.alike_hz / 20e3) for at in run]
    return float(heard.noise.shape * least[run].sum() ** 2 / sum(in_sweeps))


@settings(max_examples=40)
@given(some.integers(0, 2**32 - 1), some.integers(1, 21), some.booleans())
def test_periods_agree_with_the_plain_twin(seed: int, sweeps: int, holes: bool) -> None:
    rng = np.random.default_rng(seed)
    evidence = _evidence(rng, sweeps, holes)
    low = rng.uniform(470.1e6, 470.6e6, WINDOWS)
    geometry = geometry_of(evidence.heard, low, low + 200e3)
    windows = Windows.of(evidence, Rule(LIMIT_DBM, None, 0.95, 2.4), geometry)
    found = Findings.empty(WINDOWS)
    look(evidence, windows, np.arange(WINDOWS), found)
    powers = powers_in(evidence.heard, geometry, evidence.floor.noise_db, evidence.own_lines, partly=True)
    assert dict(zip(found.lengths, found.runs, strict=True)) == {n: len(runs) for n, runs in _runs(sweeps).items()}
    for window in range(WINDOWS):
        least, most, valid = (values[:, window] for values in (powers.least, powers.most, powers.valid))
        for index, (length, runs) in enumerate(_runs(sweeps).items()):
            kept = [[at for at in run if valid[at]] for run in runs]
            enough = [run for run in kept if run and (len(run) >= length / 2 or length == sweeps)]
            near = [run for run in enough if least[run].mean() > NEAR_LIMIT * 10 ** (LIMIT_DBM / 10)]
            assert found.above[index][window] == len(near)
            if not enough:
                assert found.least[index][window] <= -2000 or np.isnan(found.least[index][window])
                continue
            best = max(enough, key=lambda run: least[run].sum())
            assert found.least[index][window] == pytest.approx(10 * np.log10(least[best].mean()), abs=1e-6)
            highest = max(most[run].mean() for run in enough)
            assert found.most[index][window] == pytest.approx(10 * np.log10(highest), abs=1e-6)
            assert found.samples[index][window] == pytest.approx(_samples(evidence, powers, best, window), rel=1e-6)
        on = np.flatnonzero(valid & (least > windows.least_on[window]))
        assert found.on_count[window] == on.size
        if on.size:
            assert found.on_most[window] == pytest.approx(10 * np.log10(most[on].mean()), abs=1e-6)


@pytest.mark.parametrize("alike", [1, 4, 8])
def test_a_steady_carrier_counts_once_in_each_sweep_however_alike_neighbours_are(alike: int) -> None:
    """50 carriers of -104 to -96 dBm, 6 to 14 dB below the limit, in ten sweeps of single samples. The mean of ten
    exponential powers is known to 10/ln 10/√10 = 1.4 dB (its standard deviation over its mean), with the 2.4 dB of a
    plain receiver to 2.8 dB; with the skew of a gamma distribution of shape 10 (scipy.stats.gamma: 5 % of it lie 2.6
    dB below its mean, 1.6 times 1.645) to 2.9 dB. What a resolution that nobody states leaves open comes on top: the
    level is told half-way between the sum and its part step/R, R where neighbours are alike, and clean is asked of
    the sum, so that half of what lies between is in 1.645 times the u that decides (JCGM 106:2012, 7.4).
    """
    rng = np.random.default_rng(alike)
    field = np.exp(-0.5 * (np.arange(-24, 25) / (0.6 * alike)) ** 2) if alike > 1 else np.ones(1)
    white = rng.normal(size=(2, 10, 1600 + field.size - 1))
    noise = np.apply_along_axis(np.convolve, 2, white, field / np.sqrt(np.square(field).sum()), mode="valid")
    power = np.square(noise).sum(axis=0) / 2 * 10**-11.8
    carriers = np.arange(10, 1600, 32)
    power[:, carriers] += 10 ** (rng.uniform(-104, -96, carriers.size) / 10)
    levels = (10 * np.log10(power)).astype(np.float32)
    series = Series(Axis.regular(500_000_000, 25_000, 1600), levels, LevelUnit.DBM, rbw_hz=None)
    slices = fallow.judge(Survey((series,)), width_hz=200_000).slices
    at_carriers = [slices[place // 8] for place in carriers]
    assert {one.verdict.word for one in at_carriers} == {"clean"}
    alike_cells = 1.6 * alike if alike > 1 else 1.0  # of this Gaussian: Σρ² = 0.6·√(2π) = 1.5 times ``alike``
    open_db = 10 * np.log10(min(200_000 / 25_000, alike_cells))
    assert np.median([one.u_db for one in at_carriers]) < 3.1 + open_db / 2 / 1.645


@pytest.mark.parametrize("shape", [4.0, 30.0, 1000.0])
def test_the_scatter_that_is_seen_is_not_taken_for_less(shape: float) -> None:
    """The lower 95 % limit of a gamma shape from its own scatter: above the truth once in twenty, or little more."""
    rng = np.random.default_rng(5)
    axis, limit = Axis.regular(470_000_000, 200_000, BINS), Rule(LIMIT_DBM, None, 0.95, 2.4)
    above, near_above, tried = 0, 0, 0
    for _ in range(30):
        levels = -125 + 10 * np.log10(rng.gamma(50, 0.02, (25, BINS)))
        levels[:, 20:30] = -85 + 10 * np.log10(rng.gamma(shape, 1 / shape, (25, 10)))
        series = Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=200e3, detector=Detector.AVERAGE)
        heard = make_ready(Survey((series,)))[0][0]
        floor, none = find_floor(heard), np.zeros(BINS, dtype=bool)
        evidence = Evidence(heard, floor, floor.noise_db, False, none, none)
        geometry = geometry_of(heard, axis.cells_hz[0][20:30], axis.cells_hz[1][20:30])
        found = Findings.empty(10)
        look(evidence, Windows.of(evidence, limit, geometry), np.arange(10), found)
        above += int((found.on_shape > shape).sum())
        near_above += int((found.on_shape_near > shape).sum())
        tried += 10
    assert above <= stats.binom.ppf(1 - 1e-4, tried, 0.07)  # the scatter of powers is not quite that of normal values
    assert near_above <= stats.binom.ppf(1 - 1e-4, tried, 0.07)


@pytest.mark.parametrize("shape", [1.0, 3.0, 20.0, 300.0])
def test_quantiles_of_noise_against_the_gamma_distribution(shape: float) -> None:
    # scipy.stats.gamma. Of single samples (shape 1) the lower end comes out too low, which asks more of a clean one
    for share in (0.05, 0.5, 1 - ON_BY_NOISE, 0.999):
        exact = 10 * np.log10(stats.gamma.ppf(share, shape, scale=1 / shape))
        found = gamma_quantile_db(share, np.array([shape]))[0]
        assert exact - (1.2 if shape < 2 else 0.1) <= found <= exact + 0.1


def test_runs_cover_every_sweep() -> None:
    for sweeps in range(1, 40):
        for length, runs in _runs(sweeps).items():
            assert sorted({at for run in runs for at in run}) == list(range(sweeps))
            assert all(after.start - before.start <= max(1, length // 2) for before, after in pairwise(runs))
