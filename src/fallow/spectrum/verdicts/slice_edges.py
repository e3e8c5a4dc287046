"""Narrow carriers on the edge of a slice: the cell that shows them lies across it, and is shown whole.

Half of such a cell's power belongs to either slice, as channel power is summed; but what is in it is one carrier, and
may stand wholly on this side. So its level is told as it is, and that it stands on the edge. What is wider than the
resolution is shared.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard
from fallow.spectrum.verdicts.evidence import Evidence
from fallow.spectrum.verdicts.periods import gamma_quantile_db
from fallow.spectrum.verdicts.window_levels import LOUD_PART_DB, Geometry, bins_between, sum_over

__all__ = ["MOST_BEYOND_DB", "stands_on_edge"]

MOST_BEYOND_DB = 10.0 * float(np.log10(2.0))  # its middle is in the slice, so that half of it is at least
BY_NOISE = 1e-3  # chance that noise is taken for a carrier in a bin
ONE_CARRIER = 0.75  # of the power in the window and just beside it in one cell of the resolution. Design decision
Values = NDArray[np.float64]


def stands_on_edge(evidence: Evidence, geometry: Geometry, slices: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether most of a window's mean power is one narrow carrier's, within half a cell of the resolution inside an
    edge of its slice, or on it; shape (window,).

    ``slices`` numbers the slice of each window. Lines of the instrument itself and noise are no carriers.
    """
    heard = evidence.heard
    lowest, highest = np.full(int(slices.max()) + 1, np.inf), np.full(int(slices.max()) + 1, -np.inf)
    np.minimum.at(lowest, slices, geometry.low_hz)
    np.maximum.at(highest, slices, geometry.high_hz)
    low, high = geometry.low_hz, geometry.high_hz
    half = np.maximum(geometry.step_hz, heard.rbw_hz) / 2.0
    power = np.nan_to_num(10.0 ** (heard.mean_db / 10.0))
    by_noise_db = gamma_quantile_db(1.0 - BY_NOISE, heard.noise.shape * np.maximum(1.0, heard.valid_sweeps))
    least_db = evidence.floor.noise_db + np.maximum(LOUD_PART_DB, by_noise_db)
    loud = (heard.mean_db > least_db) & ~(evidence.own_lines | evidence.suspect_lines)
    carrier = np.where(loud, power, 0.0)
    beside = 3.0 * half  # so far out a cell of the resolution lies next to the one on the edge
    around = _highest(heard, carrier, low - beside, high + beside)
    at_low = (low <= lowest[slices]) & (_highest(heard, carrier, low, low + half) >= around)
    at_high = (high >= highest[slices]) & (_highest(heard, carrier, high - half, high) >= around)
    lows, highs = heard.axis.cells_hz
    bins = bins_between(np.searchsorted(highs, low - beside), np.searchsorted(lows, high + beside), heard.axis.n)
    shared = power[bins] * np.minimum(1.0, heard.steps_hz[bins] / heard.rbw_hz)
    whole = sum_over(heard, shared, low - beside, high + beside, bins.start)
    return np.asarray((at_low | at_high) & (around > 0.0) & (around >= ONE_CARRIER * whole))


def _highest(heard: Heard, power: Values, low_hz: Values, high_hz: Values) -> Values:
    """The highest power of the bins with their middle in [low, high]; 0 for none. Shape (window,)."""
    lows, highs = heard.axis.cells_hz
    middles, slack = (lows + highs) / 2.0, 1e-6 * float(np.min(heard.steps_hz))
    first = np.searchsorted(middles, low_hz - slack)
    last = np.searchsorted(middles, high_hz + slack, side="right")
    ends = np.stack([first, np.maximum(last, first + 1)], axis=1).ravel()
    found = np.maximum.reduceat(np.append(power, 0.0), np.minimum(ends, power.size))[::2]
    return np.where(last > first, found, 0.0)
