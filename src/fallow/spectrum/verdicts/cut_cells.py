"""What goes on beside a window: of a cell that its edge cuts, that part which the neighbours on both sides show too.

To prove that nothing reaches the limit, a cell that a window's edge cuts counts wholly: a narrow carrier in it may
stand on this side. But what its neighbours show as well, on the mean of the survey, is wider than the cell (noise,
television) and lies over the edge: of that, the part outside is outside.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard

__all__ = ["goes_on_outside"]

Values = NDArray[np.float64]


def goes_on_outside(heard: Heard, counted: Values, low_hz: Values, high_hz: Values) -> Values:
    """Power that counts in the cells cut by the edges of windows [low, high] in hertz, but lies outside for sure, in
    the levels' linear unit, shape (window,); none in windows no wider than a cell or the resolution.

    ``counted``: times what each cell's reading counts, shape (bin,).
    """
    lows, highs = heard.axis.cells_hz
    last_bin = heard.axis.n - 1
    at_low = np.clip(np.searchsorted(highs, low_hz, side="right"), 0, last_bin)
    at_high = np.clip(np.searchsorted(lows, high_hz, side="left") - 1, 0, last_bin)
    outside = [np.maximum(0.0, low_hz - lows[at_low]), np.maximum(0.0, highs[at_high] - high_hz)]
    wide = _on_both_sides(heard, lows, highs) * counted / heard.steps_hz
    total = sum(wide[cell] * width for cell, width in zip((at_low, at_high), outside, strict=True))
    enough = (high_hz - low_hz > np.maximum(heard.steps_hz[at_low], heard.rbw_hz)) & (at_high > at_low)
    return np.where(enough, np.asarray(total), 0.0)


def _on_both_sides(heard: Heard, lows: Values, highs: Values) -> Values:
    """The least of the mean powers in a cell and its two neighbours, shape (bin,); 0 where one is missing."""
    power = np.nan_to_num(10.0 ** (heard.mean_db / 10.0))
    beside = np.zeros(heard.axis.n)
    if heard.axis.n > 2:
        beside[1:-1] = np.minimum(power[1:-1], np.minimum(power[:-2], power[2:]))
        apart = lows[1:] - highs[:-1] > 1e-3 * heard.steps_hz[1:]
        beside[1:][apart] = 0.0
        beside[:-1][apart] = 0.0
    return beside
