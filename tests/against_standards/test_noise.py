"""Noise against published figures: Rec. ITU-R P.372 (kTB), Harris 1978 (windows), the gamma and exponential
distributions.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal, stats

from fallow.spectrum.statistics import (
    NoiseModel,
    enbw_bins,
    estimate_peak_count,
    estimate_samples,
    harmonic,
    noise_quantile_db,
    thermal_noise_dbm,
)


@pytest.mark.parametrize(
    ("bandwidth_hz", "dbm"),
    [(1.0, -173.975), (12.5e3, -133.006), (200e3, -120.965), (100e3, -115.975 - 8), (8e6, -104.944)],
)
def test_thermal_noise(bandwidth_hz: float, dbm: float) -> None:
    # Source: k = 1.380649e-23 J/K, 290 K (Rec. ITU-R P.372), recomputed with scipy.constants; tolerance 0.005 dB
    assert thermal_noise_dbm(bandwidth_hz) == pytest.approx(dbm, abs=0.005)


@pytest.mark.parametrize(
    ("window", "bins"),
    [
        ("boxcar", 1.0),
        ("hann", 1.5),
        ("hamming", 1.3628),
        ("blackman", 1.7268),
        ("blackmanharris", 2.0044),
        ("nuttall", 1.9761),
        ("flattop", 3.7702),
    ],
)
def test_noise_bandwidth_of_windows(window: str, bins: float) -> None:
    # Source: Harris, Proc. IEEE 66 (1978), table 1; periodic windows of many points; tolerance 1e-3
    assert enbw_bins(signal.get_window(window, 8192, fftbins=True)) == pytest.approx(bins, abs=1e-3)


def test_noise_bandwidth_in_hertz() -> None:
    # Source: numeric example of a technical-computing package's documentation: Hann, 128 points, 1 kHz → 11.8110 Hz
    assert enbw_bins(signal.windows.hann(128)) * 1000 / 128 == pytest.approx(11.8110, abs=1e-4)


@pytest.mark.parametrize(
    ("share", "db"), [(0.01, -19.978), (0.2, -6.514), (0.5, -1.592), (0.95, 4.765), (0.999, 8.393)]
)
def test_quantiles_of_one_sample(share: float, db: float) -> None:
    # Source: exponential distribution, -ln(1-p); tolerance 0.001 dB
    assert float(noise_quantile_db(share, 1.0)) == pytest.approx(db, abs=0.001)


@pytest.mark.parametrize(("samples", "median_db"), [(1, -1.592), (2, -0.761), (4, -0.372), (10, -0.146), (100, -0.014)])
def test_bias_of_the_median(samples: int, median_db: float) -> None:
    # Source: gamma distribution of K averaged powers, scipy.stats; tolerance 0.002 dB
    assert float(noise_quantile_db(0.5, samples)) == pytest.approx(median_db, abs=0.002)


@pytest.mark.parametrize(("samples", "sd_db"), [(1, 5.570), (4, 2.314), (10, 1.408), (16, 1.103), (100, 0.4354)])
def test_scatter_of_averages(samples: float, sd_db: float) -> None:
    # Source: √trigamma(K)·10/ln 10, recomputed with mpmath; tolerance 0.001 dB
    assert NoiseModel(samples).sd_db() == pytest.approx(sd_db, abs=0.001)


@pytest.mark.parametrize(("held", "db"), [(2, 1.761), (10, 4.667), (100, 7.149), (1000, 8.742)])
def test_max_hold_lifts_noise(held: int, db: float) -> None:
    # Source: mean of the largest of N exponential powers, H_N = 1 + 1/2 + … + 1/N; tolerance 0.002 dB
    assert 10 * np.log10(harmonic(held)) == pytest.approx(db, abs=0.002)
    assert NoiseModel(1.0, float(held)).bias_db == pytest.approx(db, abs=0.002)


@pytest.mark.parametrize("samples", [1, 3, 10, 100])
def test_samples_from_scatter(samples: int) -> None:
    # Source: the ratio of two gamma variates is F distributed (scipy.stats); upper quartile in dB = median |difference|
    spread_db = 10 * np.log10(stats.f.ppf(0.75, 2 * samples, 2 * samples))
    assert estimate_samples(spread_db) == pytest.approx(samples, rel=0.01)


def test_peak_count_from_scatter() -> None:
    rng = np.random.default_rng(1)
    peaks_db = 10 * np.log10(rng.exponential(size=(2, 20_000, 50)).max(axis=2))
    assert estimate_peak_count(float(np.median(np.abs(peaks_db[0] - peaks_db[1])))) == pytest.approx(50, rel=0.2)


def test_upper_tail_of_peaks_is_covered() -> None:
    # the gamma shape that stands for peaks must not promise quieter noise than there is: exact tail of the largest of J
    for count in (10.0, 100.0):
        model = NoiseModel(1.0, count)
        for tail in (1e-2, 1e-4, 1e-6):
            exact_db = 10 * np.log10(-np.log1p(-((1 - tail) ** (1 / count)))) - model.bias_db
            assert float(noise_quantile_db(1 - tail, model.shape)) >= exact_db - 0.05
