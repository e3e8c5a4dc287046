"""What a picture shows of a series, against a plain twin that looks at one column at a time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from fallow.spectrum.axis import Axis
from fallow.spectrum.columns import STANDS_OUT_DB, columns_of
from fallow.spectrum.heard import Heard, make_ready
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.units import Span

VIEW = Span(470_000_000, 474_000_000)


def heard_of(levels: np.ndarray, step_hz: int = 50_000, rbw_hz: float = 50_000.0) -> Heard:
    """A series over the view that starts at 470 MHz, ready to be judged."""
    axis = Axis.regular(470_000_000 + step_hz // 2, step_hz, levels.shape[1])
    series = Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=rbw_hz, detector=Detector.AVERAGE)
    return make_ready(Survey((series,)))[0][0]


def plain_level(heard: Heard, sweep: int, place: int, width_hz: float) -> float:
    """Power in a window around one bin in one sweep: each cell with the part of it that lies in the window."""
    lows, highs = heard.axis.cells_hz
    middle = float(heard.axis.centres_hz[place])
    low, high = middle - width_hz / 2, middle + width_hz / 2
    power = covered = 0.0
    for k in range(heard.axis.n):
        inside = min(highs[k], high) - max(lows[k], low)
        if inside > 0 and np.isfinite(heard.levels_db[sweep, k]):
            cell = float(highs[k] - lows[k])
            power += 10 ** (float(heard.levels_db[sweep, k]) / 10) * inside / cell * min(1.0, cell / heard.rbw_hz)
            covered += inside
    return float(10 * np.log10(power * width_hz / covered))


@given(some.integers(0, 10_000), some.integers(2, 6), some.sampled_from([3, 17, 80, 200]))
def test_it_agrees_with_the_plain_twin(seed: int, sweeps: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    levels = -100 + 10 * rng.standard_normal((sweeps, 80))
    levels[rng.random(levels.shape) < 0.05] = np.nan
    levels[:, 30:34] = np.nan
    heard = heard_of(levels)
    shown = columns_of(heard, np.full(80, -100.0), 200_000.0, VIEW, n)
    edges = np.linspace(VIEW.low_hz, VIEW.high_hz, n + 1)
    lows, highs = heard.axis.cells_hz
    for column in rng.choice(n, min(n, 4), replace=False):
        touched = [k for k in range(80) if lows[k] < edges[column + 1] and edges[column] < highs[k]]
        medians = []
        for k in touched:
            present = [plain_level(heard, i, k, 200_000.0) for i in range(sweeps) if np.isfinite(heard.levels_db[i, k])]
            medians += [float(np.median(present))] if present else []
        expected = max(medians) if medians else np.nan
        assert shown.median[column] == pytest.approx(expected, abs=1e-6, nan_ok=True)


def test_noise_adds_up_to_the_width_of_a_link() -> None:
    shown = columns_of(heard_of(np.full((3, 80), -106.0)), np.full(80, -106.0), 200_000.0, VIEW, 40)
    assert shown.median == pytest.approx(-106 + 10 * np.log10(4), abs=1e-4)  # four cells of 50 kHz
    assert shown.floor == pytest.approx(-106 + 10 * np.log10(4), abs=1e-4)


def test_a_wider_cell_is_not_made_smaller() -> None:
    shown = columns_of(heard_of(np.full((3, 4), -90.0), 1_000_000, 1e6), np.full(4, -90.0), 200_000.0, VIEW, 8)
    assert shown.median == pytest.approx(-90.0, abs=1e-4)


def test_a_peak_is_shown_where_it_stands_out() -> None:
    levels = np.full((40, 80), -106.0)
    levels[7, 40] = -70.0  # once in 40 sweeps: beyond the 90 % line
    shown = columns_of(heard_of(levels), np.full(80, -106.0), 200_000.0, VIEW, 80)
    assert np.nanmax(shown.peak) == pytest.approx(-70, abs=0.1)
    assert np.count_nonzero(np.isfinite(shown.peak)) <= 5
    assert np.nanmin(shown.peak) > np.nanmax(shown.high) + STANDS_OUT_DB


def test_not_measured_stays_not_measured() -> None:
    levels = np.full((2, 80), -106.0)
    levels[:, 20:40] = np.nan  # 471 to 472 MHz
    shown = columns_of(heard_of(levels), np.full(80, -106.0), 200_000.0, VIEW, 400)
    hole = (shown.middle_hz > 471_000_000) & (shown.middle_hz < 472_000_000)
    assert not np.isfinite(shown.median[hole]).any()
    assert np.isfinite(shown.median[~hole]).all()


def test_beyond_the_axis_there_is_nothing() -> None:
    view = Span(600_000_000, 601_000_000)
    shown = columns_of(heard_of(np.full((2, 80), -106.0)), np.full(80, -106.0), 200_000.0, view, 5)
    assert not np.isfinite(shown.median).any()
