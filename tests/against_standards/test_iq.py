"""Samples turned into sweeps, held against published windows, units and a reference library.

Sources: F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform", Proc. IEEE 66
(1978), table 1 (Hann: noise bandwidth 1.50 bins, scalloping loss 1.42 dB, 50 % overlap correlation of 16.7 %);
P. D. Welch, IEEE Trans. AU-15 (1967); scipy.signal.welch as an independent implementation of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import welch

from fallow.spectrum.iq import ENBW_BINS, Resolution, Stretch, resolution_for, sweeps_of
from fallow.spectrum.sweep import Detector

RATE_HZ, CENTRE_HZ = 2_000_000, 650_000_000
Samples = NDArray[np.complex64]


def noise(count: int, seed: int, power: float = 1.0) -> Samples:
    pair = np.random.default_rng(seed).normal(0, np.sqrt(power / 2), (count, 2))
    return np.ascontiguousarray(pair.astype(np.float32)).view(np.complex64).ravel()


def phasor(count: int, cycles: float, amplitude: float = 1.0) -> Samples:
    return (amplitude * np.exp(2j * np.pi * ((cycles * np.arange(count)) % 1.0))).astype(np.complex64)


def in_blocks(samples: Samples, size: int = 5000) -> Callable[[], Iterator[Samples]]:
    return lambda: (samples[start : start + size] for start in range(0, samples.size, size))


def swept(samples: Samples, resolution: Resolution, centre_hz: float = CENTRE_HZ) -> NDArray[np.float32]:
    (series,) = sweeps_of([Stretch(Fraction(centre_hz), samples.size, in_blocks(samples))], resolution)
    return series.levels_db


@pytest.mark.parametrize("points", [64, 250, 1024])
def test_each_sweep_is_what_scipy_makes_of_its_samples(points: int) -> None:
    samples = noise(60_000, seed=1, power=1e-4) + phasor(60_000, 0.1003, 0.3)
    resolution = Resolution(Fraction(RATE_HZ), points, 20)
    levels = swept(samples, resolution)
    hop = points // 2
    assert levels.shape == (((60_000 - points) // hop + 1) // 20, points)
    for sweep in range(levels.shape[0]):
        part = samples[sweep * 20 * hop : (sweep + 1) * 20 * hop + hop]
        _, power = welch(
            part, RATE_HZ, "hann", points, hop, detrend=False, return_onesided=False, scaling="spectrum"
        )  # fmt: skip
        expected = np.fft.fftshift(10 * np.log10(power))
        kept = np.isfinite(levels[sweep])
        np.testing.assert_allclose(levels[sweep][kept], expected[kept], atol=1e-3)


def test_noise_bandwidth_of_the_window_is_harris_s() -> None:
    resolution = resolution_for(Fraction(RATE_HZ), [2_000_000])
    assert resolution.rbw_hz == pytest.approx(1.50 * RATE_HZ / resolution.points, rel=0.003)  # Harris, table 1
    levels = swept(noise(2_000_000, seed=2), resolution)
    power = np.nanmean(10 ** (levels.astype(float) / 10))
    assert 10 * np.log10(power) == pytest.approx(10 * np.log10(resolution.rbw_hz / RATE_HZ), abs=0.02)


def test_a_phasor_that_fills_the_scale_reads_0_db_and_1_42_less_between_bins() -> None:
    resolution = Resolution(Fraction(RATE_HZ), 256, 10)
    assert float(np.nanmax(swept(phasor(20_000, 32 / 256), resolution))) == pytest.approx(0.0, abs=1e-4)
    between = float(np.nanmax(swept(phasor(20_000, 32.5 / 256), resolution)))
    assert between == pytest.approx(-1.42, abs=0.005)  # Harris, table 1


def test_a_sine_of_real_samples_that_fills_the_scale_reads_0_db() -> None:
    samples = np.cos(2 * np.pi * 32 / 256 * np.arange(20_000)).astype(np.complex64)
    stretch = Stretch(Fraction(0), samples.size, in_blocks(samples))
    (series,) = sweeps_of([stretch], Resolution(Fraction(RATE_HZ), 256, 10), real=True)
    assert (series.axis.start_hz, series.axis.n) == (0, 128)
    assert int(np.nanargmax(series.levels_db[0])) == 32
    assert float(np.nanmax(series.levels_db)) == pytest.approx(0.0, abs=1e-4)


def test_scatter_of_averaged_segments_is_welch_s() -> None:
    """Var(mean of K half-overlapping Hann segments)/mean² = (1 + 2·r²)/K with r = 16.7 % (Harris, table 1)."""
    segments = 40
    levels = swept(noise(1_000_000, seed=3), Resolution(Fraction(RATE_HZ), 256, segments))
    power = 10 ** (levels[:, 30:100].astype(float) / 10)
    relative = power.var() / power.mean() ** 2
    assert relative == pytest.approx((1 + 2 * 0.167**2) / segments, rel=0.05)


def test_peak_of_k_segments_of_noise_is_the_largest_of_k_exponentials() -> None:
    """The mean of the largest of K unit exponentials is the harmonic number H(K); overlap makes them a little fewer."""
    k = 8
    levels = swept(noise(1_000_000, seed=4), Resolution(Fraction(RATE_HZ), 256, k, Detector.PEAK))
    power = 10 ** (levels[:, 30:100].astype(float) / 10) / (ENBW_BINS / 256)
    assert power.mean() == pytest.approx(sum(1 / i for i in range(1, k + 1)), rel=0.02)
