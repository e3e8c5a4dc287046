"""The surveys under a plan: each with the area it was taken in, and which of them decides at a place.

A survey of an area holds for links of that area and of areas that hear it, one without an area for all; where several
hold, the worst verdict counts. Verdicts over all places of a type of radio are asked once per survey and kept with it,
so that every area and every question put again finds them, also where areas are to hear each other otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fallow.show.equipment import Equipment
from fallow.show.link import AreaLosses
from fallow.spectrum.verdict import JudgedSlice, Verdict
from fallow.units import Span

if TYPE_CHECKING:
    from fallow.spectrum.judging import Air

__all__ = ["AirAt", "AreaAir", "Surveys", "half_width_hz", "occupied_hz"]

_Shape = tuple[tuple[Span, ...], int, tuple[int, ...], int]


@dataclass(frozen=True, eq=False)
class AreaAir:
    """A judged survey. ``area``: where it was taken; empty: it holds everywhere. ``name``: as people are told of it.

    ``asked``: what it was asked before.
    """

    air: Air
    area: str = ""
    name: str = ""
    asked: _Asked = field(default_factory=lambda: _Asked({}, {}), repr=False)

    @property
    def level_unit(self) -> str:
        """Of its levels; dB on the instrument's own scale where the survey is relative."""
        return "dBm" if self.air.basis == "absolute" else "dB"

    def judged(self, equipment: Equipment, frequency_hz: int) -> JudgedSlice:
        """The verdict on one carrier with its reasons."""
        window = occupied_hz(equipment, frequency_hz)
        if window not in self.asked.judged:
            self.asked.judged[window] = self.air.judge_window(*window)
        return self.asked.judged[window]

    def over(self, equipment: Equipment, places_hz: NDArray[np.int64]) -> _Seen:
        """Verdicts and margins at all carriers that a type of radio can tune to, int64 hertz of shape (place,)."""
        shape, half_hz = _shape(equipment), half_width_hz(equipment)
        if shape not in self.asked.places:
            if not places_hz.size:
                return _Seen(places_hz, np.zeros(0, dtype=np.uint8), np.zeros(0))
            windows = self.air.judge_windows(places_hz - half_hz, places_hz + half_hz)
            self.asked.places[shape] = _Seen(places_hz, windows.verdict, windows.margin_db)
        return self.asked.places[shape]

    def at(self, equipment: Equipment, frequency_hz: int) -> tuple[int, float]:
        """Code of the verdict and margin [dB] at one carrier, out of what is kept where it is among that."""
        seen = self.asked.places.get(_shape(equipment))
        if seen is not None:
            place = int(np.searchsorted(seen.places_hz, frequency_hz))
            if place < seen.places_hz.size and seen.places_hz[place] == frequency_hz:
                return int(seen.verdict[place]), float(seen.margin_db[place])
        half_hz, middle_hz = half_width_hz(equipment), np.array([frequency_hz])
        window = self.air.judge_windows(middle_hz - half_hz, middle_hz + half_hz)
        return int(window.verdict[0]), float(window.margin_db[0])


@dataclass(frozen=True, eq=False)
class AirAt:
    """What the surveys say of one place: the worst verdict, its margin in dB, and the survey that decided.

    ``margin_db``: limit minus level minus what the confidence costs; ``None`` where not measured. ``survey``: ``None``
    where none holds for the area, so that the place counts as not measured.
    """

    verdict: Verdict
    margin_db: float | None
    survey: AreaAir | None


@dataclass(frozen=True, eq=False)
class _Seen:
    """Windows of one survey, arrays of shape (place,): carriers in hertz, uint8 codes of ``Verdict``, margins in dB."""

    places_hz: NDArray[np.int64]
    verdict: NDArray[np.uint8]
    margin_db: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Asked:
    """What a survey was asked: all places of a type of radio, and single windows by their edges in hertz."""

    places: dict[_Shape, _Seen]
    judged: dict[tuple[float, float], JudgedSlice]


class Surveys:
    """Surveys of areas, asked for one place or for all places of a type of radio.

    A place is judged by the window over the occupied bandwidth. Of surveys with the same worst verdict the one with
    the smaller margin decides, then the one that was given first.
    """

    def __init__(self, airs: Sequence[AreaAir], losses: AreaLosses) -> None:
        self.airs = tuple(airs)
        self._losses = losses

    def holding(self, area: str) -> tuple[AreaAir, ...]:
        """The surveys that hold for an area: those of it, of areas that it hears, and those of no area."""
        return tuple(one for one in self.airs if self._losses.hears(area, one.area))

    def at(self, equipment: Equipment, area: str, frequency_hz: int) -> AirAt | None:
        """What the surveys say of one carrier in an area; ``None`` without any survey."""
        if not self.airs:
            return None
        said = [(one, *one.at(equipment, frequency_hz)) for one in self.holding(area)]
        if not said:
            return AirAt(Verdict.NOT_MEASURED, None, None)
        survey, verdict, margin_db = min(said, key=lambda one: (-one[1], np.inf if np.isnan(one[2]) else one[2]))
        told_db = None if np.isnan(margin_db) or verdict == Verdict.NOT_MEASURED else margin_db
        return AirAt(Verdict(verdict), told_db, survey)

    def judged(self, equipment: Equipment, area: str, frequency_hz: int) -> tuple[JudgedSlice, AreaAir | None] | None:
        """The verdict on one carrier with its reasons, and the survey that decided; ``None`` without any survey."""
        found = self.at(equipment, area, frequency_hz)
        if found is None:
            return None
        if found.survey is None:
            low_hz, high_hz = occupied_hz(equipment, frequency_hz)
            nobody = f"no survey was taken in {area} or in an area that it hears"
            edges_hz = round(low_hz), round(high_hz)
            return JudgedSlice("", *edges_hz, Verdict.NOT_MEASURED, (nobody,), None, None, None), None
        return found.survey.judged(equipment, frequency_hz), found.survey

    def over(
        self, equipment: Equipment, area: str, places_hz: NDArray[np.int64]
    ) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
        """The worst verdict and its margin [dB] at each of ``places_hz``, all carriers that ``equipment`` can tune to.

        Arrays of shape (place,): codes of ``Verdict``, all *clean* without any survey; margins, NaN where not
        measured, 0 without surveys.
        """
        verdict = np.full(places_hz.shape, Verdict.CLEAN, dtype=np.uint8)
        if not self.airs:
            return verdict, np.zeros(places_hz.shape)
        holding = self.holding(area)
        margin_db = np.full(places_hz.shape, np.inf)
        for one in holding:
            seen = one.over(equipment, places_hz)
            same, worse = seen.verdict == verdict, seen.verdict > verdict
            smaller = np.fmin(margin_db, seen.margin_db)
            margin_db = np.where(same, smaller, np.where(worse, seen.margin_db, margin_db))
            verdict = np.maximum(verdict, seen.verdict).astype(np.uint8)
        if not holding:
            verdict[:] = Verdict.NOT_MEASURED
        margin_db[verdict == Verdict.NOT_MEASURED] = np.nan
        return verdict, margin_db


def _shape(equipment: Equipment) -> _Shape:
    """What the windows of a type of radio depend on; its distances do not count."""
    return equipment.tuning, equipment.step_hz, equipment.presets_hz, equipment.bandwidth_hz


def occupied_hz(equipment: Equipment, frequency_hz: int) -> tuple[float, float]:
    """Lower and upper edge of the occupied bandwidth in hertz."""
    half_hz = half_width_hz(equipment)
    return frequency_hz - half_hz, frequency_hz + half_hz


def half_width_hz(equipment: Equipment) -> float:
    """Half of the occupied bandwidth in hertz; a carrier without width is a hertz wide."""
    return max(equipment.bandwidth_hz, 1) / 2
