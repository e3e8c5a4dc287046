"""Quantities over frequency: straight lines (in hertz) between known points, and nothing beyond the last of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError

__all__ = ["Curve", "GainCurve", "all_knots_hz"]

EDGE_SLACK = 1e-6  # of a frequency: files print theirs rounded, so the last point and the last bin may miss each other


@dataclass(frozen=True, eq=False)
class Curve:
    """A quantity over frequency: ``frequencies_hz`` rise strictly, ``values`` has their shape (point,).

    Raises UsageError where they do not fit.
    """

    frequencies_hz: NDArray[np.float64]
    values: NDArray[np.float64]

    def __post_init__(self) -> None:
        _check(self.frequencies_hz, self.values)

    def at(self, frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """The quantity at each frequency [Hz], NaN outside the curve: what it does there is not known."""
        return np.where(self.covers(frequencies_hz), self.held_at(frequencies_hz), np.nan)

    def held_at(self, frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """The quantity at each frequency [Hz], that of the nearest end outside the curve."""
        return np.asarray(np.interp(frequencies_hz, self.frequencies_hz, self.values), dtype=np.float64)

    def covers(self, frequencies_hz: NDArray[np.float64] | float) -> NDArray[np.bool_]:
        """Which frequencies [Hz] lie on the curve, its ends included."""
        low_hz, high_hz = self.frequencies_hz[0] * (1 - EDGE_SLACK), self.frequencies_hz[-1] * (1 + EDGE_SLACK)
        return np.asarray((frequencies_hz >= low_hz) & (frequencies_hz <= high_hz))


@dataclass(frozen=True, eq=False)
class GainCurve:
    """A gain over frequency, straight lines between: ``frequencies_hz`` rise strictly, ``gains_db`` has their shape.

    ``u_db``: standard uncertainty of each gain, dB, same shape, where it is known point by point.
    """

    frequencies_hz: NDArray[np.float64]
    gains_db: NDArray[np.float64]
    u_db: NDArray[np.float64] | None = None

    def __post_init__(self) -> None:
        _check(self.frequencies_hz, self.gains_db)
        if self.u_db is not None:
            _check(self.frequencies_hz, self.u_db)

    @property
    def gains(self) -> Curve:
        """The gains [dB] as a curve."""
        return Curve(self.frequencies_hz, self.gains_db)

    @property
    def uncertainty(self) -> Curve | None:
        """The standard uncertainty [dB] as a curve; ``None`` where it is not known point by point."""
        return None if self.u_db is None else Curve(self.frequencies_hz, self.u_db)

    def at(self, frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Gain in dB at each frequency, NaN outside the curve: what it does there is not known."""
        return self.gains.at(frequencies_hz)


def all_knots_hz(curves: Sequence[Curve], over_hz: tuple[float, float] | None) -> NDArray[np.float64]:
    """The points of several curves together, in hertz, rising; with ``over_hz`` its ends and what lies between."""
    points = [curve.frequencies_hz for curve in curves]
    if over_hz is None:
        return np.unique(np.concatenate(points)) if points else np.zeros(1)
    inside = [part[(part > over_hz[0]) & (part < over_hz[1])] for part in points]
    return np.unique(np.concatenate([np.array(over_hz, dtype=np.float64), *inside]))


def _check(frequencies_hz: NDArray[np.float64], values: NDArray[np.float64]) -> None:
    rises = bool(np.all(np.diff(frequencies_hz) > 0))
    if frequencies_hz.shape != values.shape or frequencies_hz.size == 0 or not rises:
        raise UsageError("a gain curve needs one gain for each of its frequencies, which must rise")
