"""How the air is used over a long time: percentiles and occupancy per bin of a whole survey, in little memory."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis
from fallow.spectrum.chain import Chain
from fallow.spectrum.heard import is_absolute, make_ready
from fallow.spectrum.levels import Levels
from fallow.spectrum.long.counting import count_whole
from fallow.spectrum.long.occupancy import USUAL_CELL_DB, Histogram, histogram_of
from fallow.spectrum.sweep import Survey
from fallow.workflow.accelerate import counting

__all__ = ["Occupied", "occupancy"]

WORTH_COMPILING = 50_000_000  # levels: fewer are counted before a compiler has started


@dataclass(frozen=True, eq=False)
class Occupied:
    """What one series showed: ``histogram`` of the levels of each bin of ``axis``; ``name``: of the series.

    Levels are dBm at the antenna where ``absolute``, else decibels in the source's own unit.
    """

    axis: Axis
    histogram: Histogram
    absolute: bool
    name: str


def occupancy(
    sweeps: Survey,
    *,
    chain: Chain | None = None,
    cell_db: float = USUAL_CELL_DB,
    progress: Callable[[float], None] | None = None,
) -> tuple[Occupied, ...]:
    """A histogram per bin for each series: ``histogram.percentile(90)``, ``histogram.share_above(-90.0)``.

    ``cell_db``: width of its cells [dB]; finer ones need more memory. ``progress``: told the share that is done, 0 to
    1. Raises UsageError without any level.
    """
    absolute = is_absolute(sweeps, chain)
    heard, _ = make_ready(sweeps, chain, absolute=absolute)
    total = sum(part.levels_db.size for part in heard)
    kernel = counting() if total >= WORTH_COMPILING else lambda: count_whole
    done, found = 0, []
    for part in heard:
        blocks = _told(part.levels_db, done, total, progress)
        found.append(Occupied(part.axis, histogram_of(blocks, cell_db, kernel), absolute, part.name))
        done += part.levels_db.size
    return tuple(found)


def _told(
    levels: Levels, done: int, total: int, progress: Callable[[float], None] | None
) -> Iterator[NDArray[np.float32]]:
    """The blocks of a series, with word of each that was counted."""
    for sweeps, block in levels.blocks():
        yield block
        if progress is not None:
            progress((done + sweeps.stop * levels.shape[1]) / total)
