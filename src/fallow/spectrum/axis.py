"""The frequency axis of a sweep: where its bins lie, which cells they stand for, and what no cell covers.

A regular axis is held as exact fractions of a hertz, because a 2.8 MHz span over 512 points has no whole-hertz step; an
irregular one as sorted whole hertz. A bin speaks for its *cell*: half-way to each neighbour, but to each side never
farther than half of 1.25 times the usual step there. What no cell covers was not measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

__all__ = ["Axis"]

WIDEST_CELL = 1.25  # in usual steps; a longer way to the neighbour is a gap, not a wide cell. Source: design decision
_NEIGHBOURHOOD = 9  # steps whose median is "the usual step there"


@dataclass(frozen=True, eq=False)
class Axis:
    """A frequency grid. Build one with ``Axis.regular`` or ``Axis.irregular``; it is never changed afterwards."""

    start_hz: Fraction
    step_hz: Fraction
    n: int
    points_hz: NDArray[np.int64] | None = None

    @classmethod
    def regular(cls, start_hz: Fraction | int, step_hz: Fraction | int, n: int) -> Axis:
        """``n`` bins from ``start_hz`` on, ``step_hz`` apart, both exact. Raises ValueError without a bin or a rise."""
        if n < 1 or step_hz <= 0:
            raise ValueError("an axis needs at least one bin and a step that rises")
        return cls(Fraction(start_hz), Fraction(step_hz), n)

    @classmethod
    def irregular(cls, points_hz: NDArray[np.int64], usual_step_hz: int | None = None) -> Axis:
        """Bins at strictly rising whole hertz. A single bin needs ``usual_step_hz``. Raises ValueError otherwise."""
        points = np.array(points_hz, dtype=np.int64)
        if points.size == 0 or (points.size > 1 and bool(np.any(np.diff(points) <= 0))):
            raise ValueError("an axis needs frequencies that strictly rise")
        step = usual_step_hz if points.size == 1 else int(np.median(np.diff(points)))
        if step is None or step <= 0:
            raise ValueError("a single bin needs a stated step")
        points.flags.writeable = False
        return cls(Fraction(int(points[0])), Fraction(step), int(points.size), points)

    @cached_property
    def centres_hz(self) -> NDArray[np.float64]:
        """Centre of each bin in hertz, shape (bin,)."""
        if self.points_hz is not None:
            return np.asarray(self.points_hz, dtype=np.float64)
        denominator = self.start_hz.denominator * self.step_hz.denominator
        start = self.start_hz.numerator * self.step_hz.denominator
        step = self.step_hz.numerator * self.start_hz.denominator
        if start + step * self.n < 2**62:
            return np.asarray((start + step * np.arange(self.n, dtype=np.int64)) / denominator, dtype=np.float64)
        return np.asarray(float(self.start_hz) + float(self.step_hz) * np.arange(self.n), dtype=np.float64)

    @cached_property
    def usual_steps_hz(self) -> NDArray[np.float64]:
        """The usual step around each bin in hertz, shape (bin,): the median of the steps nearby."""
        if self.points_hz is None or self.n < 2:
            return np.full(self.n, float(self.step_hz))
        steps = np.diff(self.centres_hz)
        half = _NEIGHBOURHOOD // 2
        padded = np.pad(steps, (half, half), mode="reflect" if steps.size > half else "edge")
        usual_of_step = np.median(np.lib.stride_tricks.sliding_window_view(padded, _NEIGHBOURHOOD), axis=1)
        above, below = np.append(usual_of_step, usual_of_step[-1]), np.insert(usual_of_step, 0, usual_of_step[0])
        return np.asarray(np.minimum(above, below), dtype=np.float64)

    @cached_property
    def cells_hz(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Lower and upper edge of each bin's cell in hertz, two arrays of shape (bin,)."""
        centres = self.centres_hz
        if self.points_hz is None or self.n < 2:
            half = float(self.step_hz) / 2
            return centres - half, centres + half
        farthest = self.usual_steps_hz * (WIDEST_CELL / 2)
        half_way = np.diff(centres) / 2
        usual_half = self.usual_steps_hz / 2
        below = np.minimum(np.insert(half_way, 0, usual_half[0]), farthest)
        above = np.minimum(np.append(half_way, usual_half[-1]), farthest)
        return centres - below, centres + above

    @property
    def low_hz(self) -> float:
        """Lower edge of the first cell in hertz."""
        return float(self.cells_hz[0][0])

    @property
    def high_hz(self) -> float:
        """Upper edge of the last cell in hertz."""
        return float(self.cells_hz[1][-1])

    def bins_touching(self, low_hz: float, high_hz: float) -> slice:
        """The bins whose cells touch [low_hz, high_hz], by more than an edge. Empty where there are none."""
        lows, highs = self.cells_hz
        first = int(np.searchsorted(highs, low_hz, side="right"))
        last = int(np.searchsorted(lows, high_hz, side="left"))
        return slice(first, max(first, last))

    def covered_share(self, low_hz: float, high_hz: float) -> float:
        """Share (0 to 1) of [low_hz, high_hz] that lies in some cell. Raises ValueError for an empty span."""
        if high_hz <= low_hz:
            raise ValueError("a span must rise")
        lows, highs = self.cells_hz
        bins = self.bins_touching(low_hz, high_hz)
        inside = np.minimum(highs[bins], high_hz) - np.maximum(lows[bins], low_hz)
        return float(inside.sum() / (high_hz - low_hz))

    def cut(self, bins: slice) -> Axis:
        """The axis of those bins alone (a slice with step 1). Raises ValueError when none is left."""
        first, last, _ = bins.indices(self.n)
        if self.points_hz is not None:
            return Axis.irregular(self.points_hz[first:last], int(self.step_hz))
        return Axis.regular(self.start_hz + first * self.step_hz, self.step_hz, last - first)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Axis):
            return NotImplemented
        if (self.start_hz, self.step_hz, self.n) != (other.start_hz, other.step_hz, other.n):
            return False
        if self.points_hz is None or other.points_hz is None:
            return self.points_hz is None and other.points_hz is None
        return bool(np.array_equal(self.points_hz, other.points_hz))

    def __hash__(self) -> int:
        return hash((self.start_hz, self.step_hz, self.n))
