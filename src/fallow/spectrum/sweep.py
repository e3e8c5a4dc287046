"""Sweeps as values: what an instrument showed, on which axis, when, and what it said of itself.

A *sweep* is one pass over an axis; a ``Series`` holds the sweeps that one instrument (or one trace of it) took on one
axis; a ``Survey`` holds the series taken for one purpose at one place. None is ever changed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis

__all__ = ["Detector", "LevelUnit", "Series", "Survey"]


class LevelUnit(StrEnum):
    """What the levels of a series are: absolute (dBm) or decibels without a stated reference (dB)."""

    DBM = "dBm"
    DB = "dB"


class Detector(StrEnum):
    """How an instrument makes one level out of the samples (or sweeps) behind it."""

    SAMPLE = "sample"
    AVERAGE = "average"
    PEAK = "peak"
    MAX_HOLD = "max-hold"
    MIN_HOLD = "min-hold"


@dataclass(frozen=True, eq=False)
class Series:
    """Sweeps of one instrument on one axis.

    ``levels_db``: [dBm or dB, see ``unit``], float32, shape (sweep, bin); NaN means *not measured*.
    ``times_s``: start of each sweep in seconds since 1970-01-01, shape (sweep,), NaN where unknown; ``None`` when the
    source gives no times. They are UTC when ``zone_known``, else the source's wall clock read as if it were UTC.
    ``rbw_hz``: resolution (noise) bandwidth in hertz, ``None`` when not stated. ``detector``: ``None`` when not stated.
    ``trace`` names one of several traces of the same sweep, empty when there is only one.
    ``source``: the file it came from, for messages. ``instrument``: the name of the very piece that took it, empty
    where nothing tells: series of one kind are then taken as sweeps of one instrument. ``overloaded``: the source says
    that the receiver was. ``from_samples``: each sweep was computed from samples of its own, so that their noise has
    nothing in common.
    """

    axis: Axis
    levels_db: NDArray[np.float32]
    unit: LevelUnit
    times_s: NDArray[np.float64] | None = None
    zone_known: bool = False
    rbw_hz: float | None = None
    detector: Detector | None = None
    trace: str = ""
    source: str = ""
    instrument: str = ""
    overloaded: bool = False
    from_samples: bool = False

    def __post_init__(self) -> None:
        if self.levels_db.ndim != 2 or self.levels_db.shape[1] != self.axis.n:
            raise ValueError("levels must have the shape (sweep, bin) of their axis")
        if self.times_s is not None and self.times_s.shape != (self.n_sweeps,):
            raise ValueError("times must have one entry per sweep")

    @property
    def n_sweeps(self) -> int:
        """How many sweeps the series holds."""
        return int(self.levels_db.shape[0])

    def with_levels(self, levels_db: NDArray[np.float32], unit: LevelUnit | None = None) -> Series:
        """The same series with other levels of the same shape, in ``unit`` where it changes."""
        return replace(self, levels_db=levels_db, unit=unit or self.unit)


@dataclass(frozen=True, eq=False)
class Survey:
    """Series taken for one purpose at one place; may mix instruments, axes and bandwidths. ``notes`` are for people."""

    series: tuple[Series, ...]
    notes: tuple[str, ...] = ()

    @property
    def n_sweeps(self) -> int:
        """Sweeps in all series together; traces of the same pass, of one file and instrument, count once."""
        per_trace: dict[tuple[str, str], dict[str, int]] = {}
        for part in self.series:
            traces = per_trace.setdefault((part.source, part.instrument), {})
            traces[part.trace] = traces.get(part.trace, 0) + part.n_sweeps
        return sum(max(traces.values()) for traces in per_trace.values())

    @staticmethod
    def of(parts: Iterable[Survey]) -> Survey:
        """One survey of several, in their order."""
        parts = tuple(parts)
        series = tuple(series for part in parts for series in part.series)
        return Survey(series, tuple(note for part in parts for note in part.notes))
