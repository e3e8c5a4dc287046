"""A series at the resolution of a picture: what each column of it holds, in the width of a link.

The power in a window of a link's width is taken around every bin and in every sweep, before any statistics, so that
spectrum, floor and limit can be compared by eye, and with the verdicts. A column that no measured bin touches holds
NaN.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard
from fallow.spectrum.verdicts.window_levels import some_sweeps, sum_over
from fallow.units import Span

__all__ = ["Columns", "columns_of"]

STANDS_OUT_DB = 6.0  # a peak is shown where it is this far above the 90 % line: common practice
AT_ONCE = 3_000_000  # levels worked on together, about 25 MB an array
Levels = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Columns:
    """One series as it is drawn: [dBm or dB in a link's width], shape (column,), NaN where not measured.

    ``low`` and ``high``: 10 and 90 % of the sweeps, the lowest and highest of the bins in a column; ``median`` and
    ``peak``: the highest of them; ``peak`` is NaN where it does not stand out. ``middle_hz``: middle of each column.
    """

    middle_hz: Levels
    median: Levels
    low: Levels
    high: Levels
    peak: Levels
    floor: Levels


def columns_of(heard: Heard, floor_db: Levels, width_hz: float, view: Span, n: int) -> Columns:
    """``n`` columns side by side over ``view``. ``floor_db``: [dB per bin's own bandwidth], shape (bin,)."""
    edges = np.linspace(view.low_hz, view.high_hz, n + 1)
    bins = heard.axis.bins_touching(view.low_hz, view.high_hz)
    middle, low, high, highest = quantiles_of(heard, width_hz, bins)
    floor = floor_db[bins] + 10.0 * np.log10(max(1.0, width_hz / heard.rbw_hz))
    lows, highs = (cell[bins] for cell in heard.axis.cells_hz)
    first, last = np.searchsorted(highs, edges[:-1], side="right"), np.searchsorted(lows, edges[1:], side="left")
    columns = [slice(int(a), int(b)) for a, b in zip(first, last, strict=True)]
    peak = gathered(highest, columns, np.fmax)
    tall = gathered(high, columns, np.fmax)
    return Columns(
        middle_hz=(edges[:-1] + edges[1:]) / 2,
        median=gathered(middle, columns, np.fmax),
        low=gathered(low, columns, np.fmin),
        high=tall,
        peak=np.where(peak > tall + STANDS_OUT_DB, peak, np.nan),
        floor=gathered(floor, columns, np.fmin),
    )


def quantiles_of(heard: Heard, width_hz: float, bins: slice) -> tuple[Levels, Levels, Levels, Levels]:
    """Median, 10 %, 90 % and highest of the power in a window of ``width_hz`` around each bin, over the sweeps; dB."""
    parts = []
    for begin in range(bins.start, bins.stop, AT_ONCE // heard.n_sweeps + 1):
        end = min(bins.stop, begin + AT_ONCE // heard.n_sweeps + 1)
        parts.append(quantiles_over_sweeps(window_levels(heard, width_hz, slice(begin, end))))
    middle, low, high, highest = np.concatenate(parts, axis=1) if parts else np.empty((4, 0))
    return middle, low, high, highest


def quantiles_over_sweeps(levels: Levels) -> Levels:
    """Median, 10 %, 90 % and highest of (sweep, bin), shape (4, bin); missing levels are left out."""
    shares = (0.5, 0.1, 0.9, 1.0)
    count = np.isfinite(levels).sum(axis=0)
    found = np.full((len(shares), levels.shape[1]), np.nan)
    whole, some = count == levels.shape[0], (count > 0) & (count < levels.shape[0])
    found[:, whole] = np.quantile(levels[:, whole], shares, axis=0)
    if some.any():  # slow, so only where something is missing
        found[:, some] = np.nanquantile(levels[:, some], shares, axis=0)
    return found


def window_levels(heard: Heard, width_hz: float, bins: slice) -> Levels:
    """Level in a window around each of ``bins`` for each sweep, shape (sweep, bin), dB; NaN where the bin has none."""
    width = np.maximum(width_hz, np.maximum(heard.steps_hz, heard.rbw_hz))[bins]
    centres = heard.axis.centres_hz[bins]
    low, high = centres - width / 2, centres + width / 2
    around = heard.axis.bins_touching(float(low.min()), float(high.max()))
    counted = np.minimum(1.0, heard.steps_hz / heard.rbw_hz)[around]
    inner = slice(bins.start - around.start, bins.stop - around.start)
    found = []
    for sweeps in some_sweeps(heard.n_sweeps, around.stop - around.start):
        power = np.exp(heard.levels_db[sweeps, around].astype(np.float64) * (np.log(10.0) / 10.0))
        valid = np.ones((1, power.shape[1]), dtype=bool) if heard.complete else np.isfinite(power)
        power = np.where(valid, power, 0.0)
        sums = sum_over(heard, power * counted, low, high, around.start)
        shares = sum_over(heard, valid * heard.steps_hz[around], low, high, around.start) / width
        with np.errstate(divide="ignore", invalid="ignore"):
            level = 10.0 * np.log10(sums / shares)
        found.append(np.where(valid[:, inner] & np.isfinite(level), level, np.nan))
    return np.concatenate(found)


def gathered(per_bin: Levels, columns: Sequence[slice], of_two: np.ufunc) -> Levels:
    """One value per column of all bins that it touches; NaN where there is none."""
    return np.array([of_two.reduce(per_bin[column]) if column.stop > column.start else np.nan for column in columns])
