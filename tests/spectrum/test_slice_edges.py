"""Narrow carriers on the edge of a slice are told whole; signals that are wider are shared. Levels are known: they are
put into simulated noise.
"""

from __future__ import annotations

import numpy as np
import pytest

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import Air
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import JudgedSlice

START_HZ, SPAN_HZ, EDGE_HZ = 500_000_000, 20_000_000, 510_000_000
NOISE_DBM = -120.0


def _slices(signal_mw: np.ndarray[tuple[int], np.dtype[np.float64]], step_hz: int, rbw_hz: float) -> list[JudgedSlice]:
    """Slices of 1 MHz, of ten sweeps of four averaged samples each with a steady signal in them, shape (bin,)."""
    rng = np.random.default_rng(step_hz)
    noise = rng.gamma(4.0, 0.25, (10, signal_mw.size)) * 10 ** (NOISE_DBM / 10)
    levels = (10 * np.log10(noise + signal_mw)).astype(np.float32)
    axis = Axis.regular(START_HZ, step_hz, signal_mw.size)
    survey = Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=rbw_hz),))
    return list(fallow.judge(survey, width_hz=1_000_000).slices)


def _seen(step_hz: int, rbw_hz: float, at_hz: float, level_dbm: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """A carrier as a filter shows it that is Gaussian and ``rbw_hz`` wide at half power; in one cell where the step is
    as wide.
    """
    offset = START_HZ + step_hz * np.arange(SPAN_HZ // step_hz) - at_hz
    if rbw_hz <= step_hz:
        return np.where(np.abs(offset) < step_hz / 2, 10 ** (level_dbm / 10), 0.0)
    return np.asarray(10 ** (level_dbm / 10) * np.exp(-np.log(2) * (2 * offset / rbw_hz) ** 2))


def _beside(slices: list[JudgedSlice]) -> list[JudgedSlice]:
    return [one for one in slices if EDGE_HZ in (one.low_hz, one.high_hz)]


def _tells(one: JudgedSlice) -> bool:
    return any("edge of the slice and is told whole" in reason for reason in one.reasons)


@pytest.mark.parametrize("level_dbm", [-10.0, -85.0, -100.0])
@pytest.mark.parametrize(("step_hz", "rbw_hz"), [(25_000, 25e3), (50_000, 50e3), (100_000, 100e3), (25_000, 100e3)])
def test_a_carrier_on_the_edge_shows_its_level_on_both_sides(step_hz: int, rbw_hz: float, level_dbm: float) -> None:
    both = _beside(_slices(_seen(step_hz, rbw_hz, EDGE_HZ, level_dbm), step_hz, rbw_hz))
    assert len(both) == 2
    for one in both:
        assert one.level_dbm == pytest.approx(level_dbm, abs=0.4)
        assert _tells(one)
        assert one.verdict.word == {-10.0: "occupied", -85.0: "doubtful", -100.0: "clean"}[level_dbm]


@pytest.mark.parametrize("cells", [-3, -1, 1, 3])
def test_a_carrier_beside_the_edge_is_in_one_slice_only(cells: int) -> None:
    step_hz = 25_000
    below, above = _beside(_slices(_seen(step_hz, 25e3, EDGE_HZ + cells * step_hz, -60.0), step_hz, 25e3))
    inside, outside = (below, above) if cells < 0 else (above, below)
    assert inside.level_dbm == pytest.approx(-60.0, abs=0.1)
    assert outside.verdict.word == "clean"
    assert not _tells(inside)
    assert not _tells(outside)


@pytest.mark.parametrize(("step_hz", "rbw_hz"), [(25_000, 25e3), (25_000, 50e3), (10_000, 10e3)])
def test_a_wide_signal_over_the_edge_is_shared(step_hz: int, rbw_hz: float) -> None:
    """Evenly 400 kHz wide, -60 dBm in all: half of it, -63.0 dBm, is in the 200 kHz on either side (integral of its
    density).
    """
    frequencies_hz = START_HZ + step_hz * np.arange(SPAN_HZ // step_hz)
    density_mw = 1e-6 / 400e3
    both = _beside(
        _slices(np.where(np.abs(frequencies_hz - EDGE_HZ) < 200e3, density_mw * rbw_hz, 0.0), step_hz, rbw_hz)
    )
    for one in both:
        assert one.level_dbm == pytest.approx(-63.0, abs=0.4)
        assert not _tells(one)


@pytest.mark.parametrize("offset", [-2, -1, 0, 1, 2])
@pytest.mark.parametrize("cells", [2, 3, 5])
def test_what_is_a_few_cells_wide_is_shared_wherever_the_edge_cuts_it(cells: int, offset: int) -> None:
    """Even over its cells, -60 dBm in all: each slice has the cells that lie in it, half of the one on the edge."""
    step_hz = 25_000
    signal = np.zeros(SPAN_HZ // step_hz)
    first = (EDGE_HZ - START_HZ) // step_hz + offset - cells // 2
    signal[first : first + cells] = 1e-6 / cells
    edge_cell = (EDGE_HZ - START_HZ) // step_hz
    shares = signal[:edge_cell].sum() + signal[edge_cell] / 2, signal[edge_cell + 1 :].sum() + signal[edge_cell] / 2
    for one, share in zip(_beside(_slices(signal, step_hz, 25e3)), shares, strict=True):
        assert not _tells(one)
        if share > 0:
            assert one.level_dbm == pytest.approx(10 * np.log10(share), abs=0.2)


def test_noise_stands_on_no_edge() -> None:
    """Single sweeps of single samples in 200 slices of 200 kHz, each wider than its cells and as wide."""
    for step_hz in (25_000, 100_000):
        power = np.random.default_rng(step_hz).exponential(size=(1, 40_000_000 // step_hz))
        levels = (NOISE_DBM + 10 * np.log10(power)).astype(np.float32)
        series = Series(Axis.regular(START_HZ, step_hz, power.size), levels, LevelUnit.DBM, rbw_hz=float(step_hz))
        slices = fallow.judge(Survey((series,)), width_hz=200_000).slices
        assert sum(_tells(one) for one in slices) <= 0.01 * len(slices)


def test_a_window_of_its_own_tells_its_carrier_whole() -> None:
    """Windows that are asked for one by one have edges of their own."""
    step_hz = 25_000
    signal = _seen(step_hz, 25e3, EDGE_HZ, -70.0)
    levels = (10 * np.log10(signal + 10 ** (NOISE_DBM / 10)) + np.zeros((3, 1))).astype(np.float32)
    series = Series(Axis.regular(START_HZ, step_hz, signal.size), levels, LevelUnit.DBM, rbw_hz=25e3)
    air: Air = fallow.judge(Survey((series,)), width_hz=1_000_000).air
    shown = air.judge_windows(np.array([510.0e6, 509.9e6, 510.1e6]), np.array([510.2e6, 510.1e6, 510.3e6]))
    assert shown.level_dbm[:2] == pytest.approx([-70.0, -70.0], abs=0.2)
    assert shown.level_dbm[2] < -100.0
