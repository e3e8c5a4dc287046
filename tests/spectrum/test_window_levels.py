"""Power in windows against a plain twin that walks over every cell."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.spectrum.axis import Axis
from fallow.spectrum.heard import Heard, make_ready
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdicts.window_levels import geometry_of, pieces, powers_in, whole_cells


def _ready(levels: np.ndarray, axis: Axis, rbw_hz: float | None) -> Heard:
    series = Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=rbw_hz)
    return make_ready(Survey((series,)))[0][0]


def _plain_twin(heard: Heard, sweep: int, low_hz: float, high_hz: float) -> tuple[float, float]:
    lows, highs = heard.axis.cells_hz
    shared = whole = strongest = 0.0
    widest = 0.0
    for index in range(heard.axis.n):
        overlap = min(highs[index], high_hz) - max(lows[index], low_hz)
        level = heard.levels_db[sweep, index]
        if overlap <= 0:
            continue
        step = highs[index] - lows[index]
        if lows[index] <= (low_hz + high_hz) / 2 <= highs[index]:
            widest = max(step, heard.rbw_hz)
        power = 0.0 if np.isnan(level) else 10 ** (float(level) / 10)
        shared += power * min(1.0, step / heard.rbw_hz) * overlap / step
        whole += power * min(1.25, step / heard.rbw_hz)
        strongest = max(strongest, power)
    most = max(whole - _beyond(heard, low_hz, high_hz), shared, strongest)
    return shared * max(1.0, widest / (high_hz - low_hz)), most


def _beyond(heard: Heard, low_hz: float, high_hz: float) -> float:
    """Of the cells that the edges cut, the part outside of what both neighbours show on the mean of the survey."""
    lows, highs = heard.axis.cells_hz
    mean = np.nan_to_num(10 ** (heard.mean_db / 10))
    touched = [k for k in range(heard.axis.n) if lows[k] < high_hz and highs[k] > low_hz]
    step = highs[0] - lows[0]
    if high_hz - low_hz <= max(step, heard.rbw_hz) or len(touched) < 2:
        return 0.0
    outside = {touched[0]: max(0.0, low_hz - lows[touched[0]]), touched[-1]: max(0.0, highs[touched[-1]] - high_hz)}
    return sum(
        min(1.25, step / heard.rbw_hz) * width / step * min(mean[k - 1 : k + 2])
        for k, width in outside.items()
        if 0 < k < heard.axis.n - 1
    )


@given(st.integers(0, 2**32 - 1), st.sampled_from([5e3, 20e3, 25e3, 60e3, None]), st.booleans())
def test_sums_agree_with_the_plain_twin(seed: int, rbw_hz: float | None, holes: bool) -> None:
    rng = np.random.default_rng(seed)
    axis = Axis.regular(470_000_000, 20_000, 60)
    levels = rng.uniform(-120, -60, (3, 60))
    if holes:
        levels[rng.random((3, 60)) < 0.1] = np.nan
    heard = _ready(levels, axis, rbw_hz)
    low = rng.uniform(470.1e6, 470.6e6, 20)
    high = low + rng.choice([3e3, 25e3, 200e3, 400e3], 20)
    geometry = geometry_of(heard, low, high)
    powers = powers_in(heard, geometry, np.zeros(60), np.zeros(60, dtype=bool))
    for window in range(20):
        for sweep in range(3):
            least, most = _plain_twin(heard, sweep, low[window], high[window])
            assert powers.least[sweep, window] == pytest.approx(least, rel=1e-6, abs=1e-20)
            assert powers.most[sweep, window] == pytest.approx(most, rel=1e-6, abs=1e-20)


def test_a_window_over_the_halves_of_two_cells_is_charged_with_the_stronger_one_whole() -> None:
    """A carrier in such a window stands in one of the two cells, and is shown there in full."""
    levels = np.full((3, 9), -110.0)
    levels[:, 4] = -90.0
    heard = _ready(levels, Axis.regular(470_000_000, 200_000, 9), None)
    low = np.array([470_600_000.0, 470_800_000.0, 470_400_000.0, 470_620_000.0])  # bin 4: 470.7 to 470.9 MHz
    geometry = whole_cells(heard, geometry_of(heard, low, low + 200e3))
    powers = powers_in(heard, geometry, np.zeros(9), np.zeros(9, dtype=bool))
    assert 10 * np.log10(powers.least[0]) == pytest.approx([-90.0, -90.0, -110.0, -90.0], abs=1e-4)


def test_noise_goes_on_beyond_the_edge_and_a_carrier_in_a_cut_cell_does_not() -> None:
    """Cells of 100 kHz around 470.0, 470.1, 470.2 MHz and a window over two of their widths: channel power as every
    analyser's handbook has it for noise; a carrier in the middle of a cut cell stands wholly inside.
    """
    axis, low = Axis.regular(469_500_000, 100_000, 11), np.array([470.0e6])
    geometry = geometry_of(_ready(np.full((4, 11), -100.0), axis, 100e3), low, low + 200e3)
    levels = np.full((4, 11), -100.0)
    for carrier_dbm, most_dbm in ((-100.0, -96.99), (-80.0, -79.96)):
        levels[:, 5] = carrier_dbm  # 470.0 MHz, on the window's edge; beside it noise of one cell
        powers = powers_in(_ready(levels, axis, 100e3), geometry, np.zeros(11), np.zeros(11, dtype=bool))
        assert 10 * np.log10(powers.most[:, 0]) == pytest.approx(most_dbm, abs=0.01)


def test_a_narrow_window_is_charged_with_the_whole_cell() -> None:
    heard = _ready(np.full((1, 9), -90.0), Axis.regular(470_000_000, 1_000_000, 9), None)
    geometry = geometry_of(heard, np.array([472.1e6]), np.array([472.3e6]))
    powers = powers_in(heard, geometry, np.zeros(9), np.zeros(9, dtype=bool))
    assert 10 * np.log10(powers.least[0, 0]) == pytest.approx(-90.0, abs=1e-4)
    assert 10 * np.log10(powers.most[0, 0]) == pytest.approx(-90.0, abs=1e-4)


def test_replaced_bins_count_only_where_a_signal_is_to_be_proven_absent() -> None:
    levels = np.full((1, 41), -120.0)
    levels[0, 20] = -60.0
    heard = _ready(levels, Axis.regular(470_000_000, 10_000, 41), 10e3)
    replaced = np.zeros(41, dtype=bool)
    replaced[20] = True
    geometry = geometry_of(heard, np.array([470.1e6]), np.array([470.3e6]))
    powers = powers_in(heard, geometry, np.full(41, -120.0), replaced)
    assert 10 * np.log10(powers.least[0, 0]) == pytest.approx(-107.0, abs=0.1)
    assert 10 * np.log10(powers.most[0, 0]) == pytest.approx(-60.0, abs=0.1)


def test_pieces_cover_every_window_once() -> None:
    heard = _ready(np.full((40, 400), -90.0), Axis.regular(470_000_000, 25_000, 400), None)
    rng = np.random.default_rng(2)
    low = rng.uniform(470e6, 479e6, 500)
    geometry = geometry_of(heard, low, low + 2e5)
    assert sorted(np.concatenate(list(pieces(heard, geometry))).tolist()) == list(range(500))
