"""The floor over invented noise with known truth: bias, slopes, steps, blocks, rises in time."""

from __future__ import annotations

import numpy as np
import pytest

from fallow.spectrum.heard import Heard, make_ready
from fallow.spectrum.noise.noise_floor import Floor, find_floor
from fallow.spectrum.noise.running import running_quantile
from fallow.spectrum.statistics import median_of_valid
from fallow.spectrum.sweep import Detector, Series, Survey
from invented_air import Instrument, Signal, sweep_over


def _floor(instrument: Instrument, *signals: Signal, seed: int = 1) -> tuple[Heard, Floor]:
    (heard,), _ = make_ready(sweep_over(np.random.default_rng(seed), instrument, list(signals)))
    return heard, find_floor(heard)


@pytest.mark.parametrize("samples", [1, 2, 10, 100])
@pytest.mark.parametrize("sweeps", [1, 4, 50])
def test_bias_is_removed(samples: int, sweeps: int) -> None:
    _, floor = _floor(Instrument(samples=samples, sweeps=sweeps, bins=3200, noise_dbm=-110.0))
    assert float(np.median(floor.noise_db)) == pytest.approx(-110.0, abs=0.25)
    assert np.abs(floor.noise_db + 110.0).max() < 1.5


def test_slopes_are_followed() -> None:
    slope = np.linspace(0, 12, 4000)
    _, floor = _floor(Instrument(bins=4000, noise_dbm=-110.0, noise_shape_db=slope))
    assert np.abs(floor.noise_db - (-110 + slope))[100:-100].max() < 0.6


@pytest.mark.parametrize("step_db", [-9.0, 9.0])
def test_a_step_between_two_ranges_of_the_instrument_is_floor(step_db: float) -> None:
    shape = np.where(np.arange(8000) < 4000, 0.0, step_db)
    _, floor = _floor(Instrument(bins=8000, noise_dbm=-110.0, noise_shape_db=shape))
    away = np.abs(np.arange(8000) - 4000) > 120
    assert np.abs(floor.noise_db - (-110 + shape))[away].max() < 0.8
    assert np.abs(floor.ordinary_db - (-110 + shape))[away].max() < 1.2


@pytest.mark.parametrize(("centre_hz", "width_hz"), [(490e6, 7.6e6), (500e6, 30e6), (482e6, 23.6e6)])
def test_a_block_is_no_floor(centre_hz: float, width_hz: float) -> None:
    power = -90.0 + 10 * np.log10(width_hz / 25e3)
    _, floor = _floor(Instrument(bins=4000, noise_dbm=-110.0), Signal(centre_hz, width_hz, power))
    assert np.abs(floor.noise_db + 110.0).max() < 1.0


def test_lines_and_bursts_are_no_floor() -> None:
    carriers = [Signal(470e6 + 1e6 * index, 0.0, -60.0) for index in range(1, 90, 2)]
    burst = Signal(500e6, 5e6, -50.0, np.arange(10) == 3)
    _, floor = _floor(Instrument(bins=4000, noise_dbm=-110.0), *carriers, burst)
    assert np.abs(floor.noise_db + 110.0).max() < 1.0


def test_a_rise_in_time_is_told_from_a_signal() -> None:
    instrument = Instrument(bins=4000, noise_dbm=-110.0, sweeps=10)
    survey = sweep_over(np.random.default_rng(1), instrument, [])
    levels = survey.series[0].levels_db.copy()
    levels[7:] += 8.0
    (heard,), _ = make_ready(Survey((survey.series[0].with_levels(levels),)))
    floor = find_floor(heard)
    assert np.median(floor.rises_db[:7]) < 0.3
    assert float(np.median(floor.rises_db[7:])) == pytest.approx(8.0, abs=0.7)


def test_a_peak_detector_shows_its_noise_higher_by_a_known_amount() -> None:
    rng = np.random.default_rng(5)
    peaks = 10 * np.log10(rng.exponential(size=(4, 2000, 30)).max(axis=2)) - 110.0
    axis = sweep_over(rng, Instrument(bins=2000), []).series[0].axis
    plain = sweep_over(rng, Instrument(bins=2000), []).series[0]
    series = Series(axis, peaks.astype(np.float32), plain.unit, rbw_hz=25e3, detector=Detector.PEAK)
    (heard,), _ = make_ready(Survey((series,)))
    floor = find_floor(heard)
    assert float(np.median(floor.noise_db)) - heard.noise.bias_db == pytest.approx(-110.0, abs=0.6)


def test_a_reference_gives_the_shape() -> None:
    hump = 3.0 * np.exp(-(((np.arange(4000) - 2000) / 60) ** 2))
    instrument = Instrument(bins=4000, noise_dbm=-110.0, noise_shape_db=hump)
    (heard,), _ = make_ready(sweep_over(np.random.default_rng(1), instrument, []))
    floor = find_floor(heard, -110.0 + hump)
    assert np.abs(floor.noise_db - (-110 + hump)).max() < 0.5


def test_running_quantile_against_a_plain_twin() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(size=60)
    values[10:20] = np.nan
    found = running_quantile(values, 5, 0.5, hop=1)
    for place in range(60):
        around = values[max(0, place - 2) : place + 3]
        if np.isfinite(around).sum() == 5:
            assert found[place] == pytest.approx(float(np.median(around)))


def test_median_of_valid_against_numpy() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(size=(7, 40))
    values[rng.random((7, 40)) < 0.3] = np.nan
    assert median_of_valid(values, 1) == pytest.approx(np.nanmedian(values, axis=1))
    assert np.isnan(median_of_valid(np.full((2, 3), np.nan), 1)).all()
