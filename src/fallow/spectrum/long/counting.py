"""The kernel of a histogram twice: with whole arrays, which always works, and as plain loops, which numba makes quick.

Both count each level of a block (sweep, bin), float32, into ``counts`` (bin, cell), uint32, in place. ``lowest_cell``
is the number of the first cell, ``per_db`` how many cells a decibel has. Levels beyond the ends count in the cells
there; NaN does not count.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

__all__ = ["Counts", "Kernel", "count_each", "count_whole"]

Counts = NDArray[np.uint32]
Kernel = Callable[[NDArray[np.float32], Counts, int, float], None]


def count_whole(levels: NDArray[np.float32], counts: Counts, lowest_cell: int, per_db: float) -> None:
    """Count by one ``bincount`` over the numbers of all cells of all bins."""
    bins, cells = counts.shape
    places = levels * np.float32(per_db) - np.float32(lowest_cell)
    np.clip(places, 0, cells - 1, out=places)
    valid = ~np.isnan(places)
    first_of_bin = np.broadcast_to(np.arange(bins, dtype=np.int64) * cells, levels.shape)
    if valid.all():
        numbers = (places.astype(np.int64) + first_of_bin).ravel()
    else:
        numbers = places[valid].astype(np.int64) + first_of_bin[valid]
    counts += np.bincount(numbers, minlength=counts.size).reshape(counts.shape).astype(np.uint32)


def count_each(levels: NDArray[np.float32], counts: Counts, lowest_cell: int, per_db: float) -> None:
    """Count level by level."""
    last, scale, lowest = np.float32(counts.shape[1] - 1), np.float32(per_db), np.float32(lowest_cell)
    for sweep in range(levels.shape[0]):
        for place in range(levels.shape[1]):
            cell = levels[sweep, place] * scale - lowest
            if not math.isnan(cell):
                counts[place, np.int32(min(max(cell, np.float32(0)), last))] += np.uint32(1)
