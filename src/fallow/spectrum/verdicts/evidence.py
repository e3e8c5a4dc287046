"""What a verdict is found from, as values: a series with what is known about it, the rule, and what was decided."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntFlag
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.chain import BudgetLine, combined_u_at
from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.noise_floor import Floor
from fallow.spectrum.verdicts.window_noise import WindowNoise

__all__ = ["Decided", "Evidence", "Flag", "Rule"]


class Flag(IntFlag):
    """Why a window got its verdict; several may hold."""

    NONE = 0
    NEAR = 1
    DEAF = 2
    BELOW_KTB = 4
    COARSE = 8
    HOLE = 16
    OWN_LINE = 32
    SUSPECT_LINE = 64
    ABOVE_REFERENCE = 128
    FLOOR_RAISED = 256
    REJECTED = 512
    ANNOUNCED_MISSING = 1024
    UNCOVERED = 2048
    OWN_CARRIER = 4096
    BLOCK = 8192
    ANNOUNCED = 16384
    ONCE = 32768
    NOISE = 65536
    ABOVE = 131072
    PEAKS = 262144
    READS_LOW = 524288
    READS_HIGH = 1048576
    OVERLOAD = 2097152
    SELDOM = 4194304
    OWN_FILTER = 8388608


@dataclass(frozen=True)
class Rule:
    """Against what windows are judged. ``limit_dbm`` for absolute levels, else ``above_floor_db``; ``u_db``: the
    common error. ``budget``: its lines where they vary over frequency.
    """

    limit_dbm: float | None
    above_floor_db: float | None
    confidence: float
    u_db: float | NDArray[np.float64]
    budget: tuple[BudgetLine, ...] = ()

    def at(self, frequencies_hz: NDArray[np.float64]) -> Rule:
        """The rule for windows around these frequencies [Hz]: the common error of each, shape (window,)."""
        return replace(self, u_db=combined_u_at(self.budget, frequencies_hz)) if self.budget else self


@dataclass(frozen=True, eq=False)
class Evidence:
    """One series with what is known about it, arrays of shape (bin,).

    ``base_db``: the floor that a relative limit counts from. ``from_reference``: whether that is the floor of a
    reference. ``own_lines``, ``suspect_lines``: bins that hold lines of the instrument itself, proven or suspected.
    ``overloaded``: bins that can't be believed because the receiver was overloaded; None: no bin. ``like_a_filter``:
    whether all that was swept has the shape of a receiver's filter.
    """

    heard: Heard
    floor: Floor
    base_db: NDArray[np.float64]
    from_reference: bool
    own_lines: NDArray[np.bool_]
    suspect_lines: NDArray[np.bool_]
    overloaded: NDArray[np.bool_] | None = None
    like_a_filter: bool = False

    @cached_property
    def window_noise(self) -> WindowNoise:
        """How high noise alone may show in windows."""
        return WindowNoise(self.heard, self.floor)


@dataclass(frozen=True, eq=False)
class Decided:
    """Verdicts of windows with their numbers, arrays of shape (window,); NaN where not measured.

    ``cost_db``: what the confidence costs, so that limit - level - cost is the margin. ``run``: sweeps in the period
    that decided. ``edge_db``: what a narrow carrier on the slice's edge adds to the level if it stands wholly inside.
    ``cut_db``: what is in cells that the window's edges cut adds to the level if it stands wholly inside.
    """

    verdict: NDArray[np.uint8]
    flags: NDArray[np.int64]
    level_db: NDArray[np.float64]
    u_db: NDArray[np.float64]
    floor_db: NDArray[np.float64]
    limit_db: NDArray[np.float64]
    margin_db: NDArray[np.float64]
    run: NDArray[np.int64]
    edge_db: NDArray[np.float64]
    cut_db: NDArray[np.float64]
