"""Occupancy: how often which level was met, per bin, in a form that grows with neither time nor the number of sweeps.

A histogram per bin answers any percentile and any threshold later, and two of them add up, whoever counted them. What
it can't tell is order: how long and how often something was on is told from the sweeps themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.long.counting import Counts, Kernel, count_whole

__all__ = ["Histogram", "band_occupancy", "channel_occupancy", "histogram_of", "resource_occupancy"]

USUAL_CELL_DB = 1.0
HIGHEST_DB = 400.0  # beyond this, up or down, levels count as just there: no receiver shows them
ROOM_CELLS = 8  # made at both ends when a histogram grows, so that it does so seldom
Shares = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Histogram:
    """How often each bin showed a level in which cell: ``counts``, uint32, shape (bin, cell).

    Cell k holds the levels from (``lowest_cell`` + k) · ``cell_db`` up to the next one's, that one excluded. Within a
    cell levels are taken as evenly spread.
    """

    counts: Counts
    lowest_cell: int
    cell_db: float = USUAL_CELL_DB

    @property
    def measured(self) -> NDArray[np.int64]:
        """How many levels were counted for each bin, shape (bin,)."""
        return np.asarray(self.counts.sum(axis=1, dtype=np.int64))

    def __add__(self, other: Histogram) -> Histogram:
        """Both together. Raises ValueError unless bins and width of cells are the same."""
        if self.counts.shape[0] != other.counts.shape[0] or self.cell_db != other.cell_db:
            raise ValueError("histograms add up only over the same bins, in cells of the same width")
        first = min(self.lowest_cell, other.lowest_cell)
        last = max(part.lowest_cell + part.counts.shape[1] for part in (self, other))
        together = self._reaching(first, last).counts + other._reaching(first, last).counts
        return Histogram(together, first, self.cell_db)

    def percentile(self, percent: float) -> Shares:
        """The level [dB] below which so many per cent of each bin's levels lie, shape (bin,); NaN without any.

        Ranks as in ``numpy.percentile`` (its method *linear*). The true value lies in the same cell, or between the
        levels at both sides of an empty stretch: the error is less than a cell wherever levels lie close together.
        Raises ValueError for a number that is no percentage.
        """
        if not 0.0 <= percent <= 100.0:
            raise ValueError("a percentage lies between 0 and 100")
        measured, up_to = self.measured, np.cumsum(self.counts, axis=1, dtype=np.int64)
        rank = percent / 100.0 * np.maximum(measured - 1, 0)
        cell = np.minimum((up_to <= rank[:, None]).sum(axis=1), self.counts.shape[1] - 1)
        bins = np.arange(measured.size)
        inside = self.counts[bins, cell]
        before = up_to[bins, cell] - inside
        place = self.lowest_cell + cell + (rank - before + 0.5) / np.maximum(inside, 1)
        edge = self.lowest_cell + cell + 1.0
        return np.where(measured > 0, np.minimum(place, edge) * self.cell_db, np.nan)

    def share_above(self, level_db: float) -> Shares:
        """Share (0 to 1) of each bin's levels at or above a level [dB], shape (bin,); NaN without any.

        Exact where the level is the edge of a cell (and these are 1, 1/2, 1/4 … dB wide); else off by no more than
        ``share_beside`` says.
        """
        place = level_db / self.cell_db - self.lowest_cell
        cell = int(np.clip(np.floor(place), -1, self.counts.shape[1]))
        above = self.counts[:, cell + 1 :].sum(axis=1, dtype=np.float64)
        if 0 <= cell < self.counts.shape[1]:
            above += self.counts[:, cell] * (1.0 - (place - cell))
        return self._share(above)

    def share_beside(self, level_db: float) -> Shares:
        """By how much ``share_above`` may be off: the share of levels in the cell of that level, 0 on an edge."""
        place = level_db / self.cell_db - self.lowest_cell
        cell = int(np.clip(np.floor(place), -1, self.counts.shape[1]))
        inside = place > cell and 0 <= cell < self.counts.shape[1]
        return self._share(self.counts[:, cell].astype(np.float64) if inside else np.zeros(self.counts.shape[0]))

    def _share(self, count: Shares) -> Shares:
        measured = self.measured
        return np.where(measured > 0, count / np.maximum(measured, 1), np.nan)

    def _reaching(self, first: int, last: int) -> Histogram:
        """The same histogram with empty cells, from cell number ``first`` to ``last`` (exclusive)."""
        ends = (self.lowest_cell - first, last - self.lowest_cell - self.counts.shape[1])
        return Histogram(np.pad(self.counts, ((0, 0), ends)), first, self.cell_db)


def histogram_of(
    blocks: Iterable[NDArray[np.float32]],
    cell_db: float = USUAL_CELL_DB,
    kernel: Callable[[], Kernel] = lambda: count_whole,
) -> Histogram:
    """Count levels that come in blocks of shape (sweep, bin), NaN left out; ``Levels.blocks`` gives such blocks.

    ``kernel`` is asked before each block for what counts quickest by then. Raises ValueError without a block, and for
    cells without a width.
    """
    if not cell_db > 0.0:
        raise ValueError("cells need a width")
    found: Histogram | None = None
    for block in blocks:
        low, high = (float(of_two.reduce(block, axis=None, initial=np.nan)) for of_two in (np.fmin, np.fmax))
        if found is None:
            found = Histogram(
                np.zeros((block.shape[1], 1), dtype=np.uint32), 0 if np.isnan(low) else _cell(low, cell_db), cell_db
            )
        if np.isnan(low):
            continue
        first, last = _cell(low, cell_db), _cell(high, cell_db) + 1
        if first < found.lowest_cell or last > found.lowest_cell + found.counts.shape[1]:
            found = found._reaching(
                min(found.lowest_cell, first - ROOM_CELLS),
                max(found.lowest_cell + found.counts.shape[1], last + ROOM_CELLS),
            )
        kernel()(np.ascontiguousarray(block), found.counts, found.lowest_cell, 1.0 / cell_db)
    if found is None:
        raise ValueError("there is nothing to count")
    return found


def _cell(level_db: float, cell_db: float) -> int:
    return int(np.floor(np.clip(level_db, -HIGHEST_DB, HIGHEST_DB) / cell_db))


# --- Rec. ITU-R SM.1880


def channel_occupancy(above: NDArray[np.bool_], channels: Sequence[slice]) -> Shares:
    """Frequency channel occupancy (FCO): share of sweeps in which any bin of a channel is above the threshold.

    ``above``: shape (sweep, bin). ``channels``: the bins of each. Returns shape (channel,). Source: Rec. ITU-R
    SM.1880-2 and Report ITU-R SM.2256-1. Raises ValueError for a channel without a bin.
    """
    if any(above[:, bins].shape[1] == 0 for bins in channels):
        raise ValueError("a channel needs a bin at least")
    return np.array([above[:, bins].any(axis=1).mean() for bins in channels], dtype=np.float64)


def band_occupancy(above: NDArray[np.bool_]) -> float:
    """Frequency band occupancy (FBO): share of all levels of a band above the threshold. Source: the same."""
    return float(above.mean())


def resource_occupancy(above: NDArray[np.bool_], channels: Sequence[slice]) -> float:
    """Spectrum resource occupancy (SRO): mean of the occupancy of its channels. Source: the same."""
    return float(channel_occupancy(above, channels).mean())
