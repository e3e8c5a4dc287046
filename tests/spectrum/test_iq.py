"""Recordings turned into sweeps: resolution, what is marked, tunings, damage; against a plain slow twin."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.spectrum.iq import Resolution, Stretch, resolution_for, sweeps_of
from fallow.spectrum.sweep import Detector, LevelUnit

RATE_HZ = Fraction(1_000_000)
Samples = NDArray[np.complex64]


def noise(count: int, seed: int) -> Samples:
    pair = np.random.default_rng(seed).normal(0, 0.01, (count, 2)).astype(np.float32)
    return np.ascontiguousarray(pair).view(np.complex64).ravel()


def tone(count: int, hertz: float, amplitude: float = 0.1) -> Samples:
    return (amplitude * np.exp(2j * np.pi * ((hertz / float(RATE_HZ) * np.arange(count)) % 1.0))).astype(np.complex64)


def stretch(samples: Samples, centre_hz: float = 600e6, start_s: float | None = None, size: int = 3000) -> Stretch:
    def blocks() -> Iterator[Samples]:
        return (samples[at : at + size] for at in range(0, samples.size, size))

    return Stretch(Fraction(centre_hz), samples.size, blocks, start_s)


def plain_power(samples: Samples, points: int, segments: int, fold: Callable[..., NDArray[np.float64]]) -> np.ndarray:
    """The slow twin: one segment after another, with numpy's FFT in double precision."""
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(points) / points)
    rows = []
    for first in range(0, samples.size - points + 1, points // 2):
        segment = samples[first : first + points].astype(complex)
        rows.append(np.abs(np.fft.fftshift(np.fft.fft(segment * window))) ** 2 / window.sum() ** 2)
    whole = len(rows) // segments
    return np.array([fold(rows[k * segments : (k + 1) * segments]) for k in range(whole)])


@settings(max_examples=40)
@given(
    points=st.sampled_from([16, 20, 64, 90]),
    segments=st.integers(1, 9),
    count=st.integers(200, 3000),
    size=st.integers(1, 700),
    detector=st.sampled_from([Detector.AVERAGE, Detector.PEAK, Detector.SAMPLE]),
)
def test_any_blocks_and_any_folding_give_what_the_slow_twin_gives(
    points: int, segments: int, count: int, size: int, detector: Detector
) -> None:
    samples = noise(count, seed=count)
    folds = {
        Detector.AVERAGE: lambda rows: np.mean(rows, axis=0),
        Detector.PEAK: lambda rows: np.max(rows, axis=0),
        Detector.SAMPLE: lambda rows: rows[0],
    }
    expected = plain_power(samples, points, segments, folds[detector])
    if not expected.size:
        return
    (series,) = sweeps_of([stretch(samples, size=size)], Resolution(RATE_HZ, points, segments, detector))
    assert series.levels_db.shape == expected.shape
    kept = np.isfinite(series.levels_db)
    np.testing.assert_allclose(10 ** (series.levels_db[kept] / 10), expected[kept], rtol=2e-3, atol=1e-9)


def test_what_is_stated_of_a_series() -> None:
    resolution = resolution_for(RATE_HZ, [500_000])
    (series,) = sweeps_of([stretch(noise(500_000, 1), start_s=1000.0)], resolution, source="x")
    assert (series.unit, series.detector, series.source) == (LevelUnit.DB, Detector.AVERAGE, "x")
    assert series.rbw_hz == pytest.approx(1.5e6 / 1024)
    assert (series.axis.start_hz, series.axis.step_hz, series.axis.n) == (599_500_000, Fraction(15625, 16), 1024)
    assert series.times_s is not None
    np.testing.assert_allclose(np.diff(series.times_s), resolution.sweep_s)
    assert (series.times_s[0], series.zone_known) == (1000.0, True)


def test_dc_and_edges_are_not_measured_and_the_rest_is() -> None:
    samples = noise(100_000, 2) + np.complex64(0.5)  # a DC offset 40 dB above the noise's power
    (series,) = sweeps_of([stretch(samples)], Resolution(RATE_HZ, 1000, 20))
    holes = np.flatnonzero(np.isnan(series.levels_db).all(axis=0))
    np.testing.assert_array_equal(holes, [*range(100), 499, 500, 501, *range(901, 1000)])
    assert float(np.nanmax(series.levels_db)) < -55  # nothing of the offset is left: the noise stands at -68


@pytest.mark.parametrize(
    ("rate_hz", "samples", "rbw_hz", "points", "sweeps"),
    [
        (2_000_000, 2_000_000, None, 1024, 100),  # 1 s: 10 ms each
        (640_000, 512_000, None, 1024, 80),
        (20_000_000, 20_000_000, None, 4096, 100),  # 7.3 kHz
        (61_440_000, 61_440_000, None, 16384, 100),  # 5.6 kHz
        (2_000_000, 20_000, None, 1024, 8),  # 10 ms: at least several sweeps
        (48_000, 48_000, None, 1024, 23),  # four segments each
        (2_000_000, 1000, None, 512, 2),
        (2_000_000, 2_000_000, 3000.0, 1000, 100),
    ],
)
def test_resolution(rate_hz: int, samples: int, rbw_hz: float | None, points: int, sweeps: int) -> None:
    resolution = resolution_for(Fraction(rate_hz), [samples], rbw_hz)
    assert resolution.points == points
    assert resolution.segments_in(samples) // resolution.segments == pytest.approx(sweeps, rel=0.05, abs=1)


def test_hours_are_kept_within_bounds() -> None:
    day = 24 * 3600 * 2_000_000
    resolution = resolution_for(Fraction(2_000_000), [day])
    assert resolution.segments_in(day) // resolution.segments * resolution.points <= 20_000_000


@pytest.mark.parametrize(
    ("samples", "rbw_hz", "what"),
    [
        (10, None, "10 samples are too few for a sweep"),
        (0, None, "0 samples are too few for a sweep"),
        (1000, 100.0, "1000 samples are too few for a sweep with an RBW of 100 Hz"),
        (10_000, 1e6, "samples at 1e+06 Hz can't be turned into sweeps with an RBW of 1e+06 Hz"),
        (10_000, 0.5, "samples at 1e+06 Hz can't be turned into sweeps with an RBW of 0.5 Hz"),
    ],
)
def test_what_can_t_be_told_apart(samples: int, rbw_hz: float | None, what: str) -> None:
    with pytest.raises(InputError) as caught:
        resolution_for(RATE_HZ, [samples], rbw_hz)
    assert caught.value.what == what


@pytest.mark.parametrize("apart_hz", [600_000.0, 600_300.0, 700_123.456])
def test_tunings_are_stitched_and_nothing_moves(apart_hz: float) -> None:
    """Three tunings with an offset at DC; carriers stand where they stand, wherever the grids lie."""
    carriers_hz = [600_123_450.0, 600_000_000.0 + apart_hz + 77_770.0, 600_000_000.0 + 2 * apart_hz - 200_000.0]
    parts = []
    for k in range(6):  # the three of them twice in turn
        centre_hz = 600e6 + (k % 3) * apart_hz
        samples = noise(20_000, 10 + k) + np.complex64(0.3)
        for carrier_hz in carriers_hz:
            if abs(carrier_hz - centre_hz) < 0.5e6:
                samples = samples + tone(20_000, carrier_hz - centre_hz)
        parts.append(stretch(samples, centre_hz, start_s=100.0 + k))
    (series,) = sweeps_of(parts, Resolution(RATE_HZ, 1000, 39))
    assert series.n_sweeps == 2
    assert series.times_s is not None
    np.testing.assert_allclose(series.times_s, [100.0, 103.0])
    levels = series.levels_db.max(axis=0)
    loud = series.axis.centres_hz[levels > -35]
    assert len(loud) >= 3
    for line_hz in loud:
        assert min(abs(line_hz - carrier_hz) for carrier_hz in carriers_hz) <= 1500.0
    for carrier_hz in carriers_hz:
        near = np.abs(series.axis.centres_hz - carrier_hz).argmin()
        assert float(np.max(levels[near - 1 : near + 2])) == pytest.approx(-20.0, abs=1.5)  # scalloping 1.42 dB


def test_a_hole_at_dc_is_filled_by_a_tuning_that_measured_there_and_only_so() -> None:
    parts = [stretch(noise(20_000, k), 600e6 + 300_000 * k) for k in range(2)]
    (series,) = sweeps_of(parts, Resolution(RATE_HZ, 1000, 39))
    inner = (series.axis.centres_hz > 599.61e6) & (series.axis.centres_hz < 600.69e6)
    assert not np.isnan(series.levels_db[:, inner]).any()
    (alone,) = sweeps_of(parts[:1], Resolution(RATE_HZ, 1000, 39))
    assert np.isnan(alone.levels_db[:, 500]).all()


def test_tunings_far_apart_are_series_of_their_own() -> None:
    parts = [stretch(noise(5000, k), centre) for k, centre in enumerate((500e6, 500.9e6, 2400e6))]
    found = sweeps_of(parts, Resolution(RATE_HZ, 100, 9))
    assert [float(series.axis.start_hz) for series in found] == [499.5e6, 2399.5e6]


def test_below_zero_hertz_there_is_nothing() -> None:
    (series,) = sweeps_of([stretch(noise(5000, 1), 100e3)], Resolution(RATE_HZ, 100, 9))
    assert series.axis.start_hz == 0
    assert series.levels_db.shape[1] == series.axis.n == 60


def test_samples_that_are_no_numbers_spoil_their_segments_only() -> None:
    samples = noise(20_000, 3)
    samples[10_000] = np.nan
    samples[12_000] = np.inf
    samples[15_000:16_000] = 1e30  # overflows in single precision
    resolution = Resolution(RATE_HZ, 100, 10)
    (series,) = sweeps_of([stretch(samples)], resolution)
    (clean,) = sweeps_of([stretch(noise(20_000, 3))], resolution)
    inner = slice(60, 90)
    missing = np.isnan(series.levels_db[:, inner]).all(axis=1)
    assert 1 <= int(missing.sum()) <= 3  # sweeps of 500 samples: those within the overflow
    assert not np.isinf(series.levels_db).any()
    np.testing.assert_allclose(series.levels_db[~missing][:, inner], clean.levels_db[~missing][:, inner], atol=3.0)


def test_silence_has_no_level() -> None:
    (series,) = sweeps_of([stretch(np.zeros(5000, dtype=np.complex64))], Resolution(RATE_HZ, 100, 9))
    assert np.isnan(series.levels_db).all()


def test_max_hold_is_one_sweep() -> None:
    samples = noise(50_000, 4)
    resolution = resolution_for(RATE_HZ, [50_000], detector=Detector.MAX_HOLD)
    (series,) = sweeps_of([stretch(samples)], resolution)
    expected = plain_power(samples, 1024, resolution.segments, lambda rows: np.max(rows, axis=0))
    assert (series.n_sweeps, series.detector) == (1, Detector.MAX_HOLD)
    kept = np.isfinite(series.levels_db)
    np.testing.assert_allclose(10 ** (series.levels_db[kept] / 10), expected[kept], rtol=2e-3)


def test_a_stretch_too_short_gives_no_sweep_and_all_of_them_an_error() -> None:
    long, short = stretch(noise(5000, 5)), stretch(noise(60, 6))
    (series,) = sweeps_of([long, short], Resolution(RATE_HZ, 100, 9))
    assert series.n_sweeps == 11
    with pytest.raises(InputError, match="too few samples"):
        sweeps_of([short], Resolution(RATE_HZ, 100, 9))
