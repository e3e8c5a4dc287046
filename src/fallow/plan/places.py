"""Where a radio may stand: its raster, the law, what the air says and which TV channels are announced.

``Ground`` answers for one carrier at a time (the audit asks so) and for all places of a type of radio at once (the
search asks so).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError
from fallow.plan.surveys import AirAt, AreaAir, Surveys, half_width_hz, occupied_hz
from fallow.rules.permission import Permission, answers, may
from fallow.rules.territory import Answer, Circumstances, Territory
from fallow.show.equipment import Equipment
from fallow.show.link import AreaLosses, Station
from fallow.spectrum.verdict import JudgedSlice, Verdict
from fallow.units import Channel

__all__ = ["Ground", "Places", "tunable_hz"]

MOST_PLACES = 2_000_000


@dataclass(frozen=True, eq=False)
class Places:
    """Carriers that a type of radio can tune to in one area, with what speaks for and against each; arrays of shape
    (place,).

    ``frequencies_hz``: int64, rising. ``answer``: uint8 codes of ``Answer`` (all *yes* without a territory).
    ``verdict``: uint8 codes of ``Verdict`` over the occupied bandwidth (all *clean* without surveys). ``margin_db``:
    limit minus level minus what the confidence costs; NaN where not measured, 0 without surveys. ``announced``: a TV
    channel announced there is touched.
    """

    frequencies_hz: NDArray[np.int64]
    answer: NDArray[np.uint8]
    verdict: NDArray[np.uint8]
    margin_db: NDArray[np.float64]
    announced: NDArray[np.bool_]

    @cached_property
    def may_use(self) -> NDArray[np.bool_]:
        """Places that a plan may take: not forbidden, not occupied, outside announced channels."""
        allowed = self.answer != Answer.NO
        return np.asarray(allowed & (self.verdict != Verdict.OCCUPIED) & ~self.announced, dtype=np.bool_)


@dataclass(frozen=True, eq=False)
class Ground:
    """The law and the air under a plan.

    Without territory the law is not asked; without surveys everything counts as clean. ``losses``: which areas hear
    the area of a survey.
    """

    territory: Territory | None = None
    circumstances: Circumstances | None = None
    airs: tuple[AreaAir, ...] = ()
    stations: tuple[Station, ...] = ()
    losses: AreaLosses = AreaLosses()

    @cached_property
    def surveys(self) -> Surveys:
        """The surveys, to be asked for an area."""
        return Surveys(self.airs, self.losses)

    def permission(self, equipment: Equipment, frequency_hz: int) -> Permission | None:
        """What the law says to this carrier; ``None`` without a territory."""
        if self.territory is None:
            return None
        return may(self.territory, equipment, frequency_hz, self._circumstances())

    def verdict(self, equipment: Equipment, area: str, frequency_hz: int) -> JudgedSlice | None:
        """The worst verdict of the surveys that hold for an area, over the occupied bandwidth; ``None`` without any."""
        judged = self.surveys.judged(equipment, area, frequency_hz)
        return None if judged is None else judged[0]

    def air_at(self, equipment: Equipment, area: str, frequency_hz: int) -> AirAt | None:
        """The same in short: verdict, margin and the survey that decided."""
        return self.surveys.at(equipment, area, frequency_hz)

    def announced(self, equipment: Equipment, area: str, frequency_hz: int) -> Channel | None:
        """The TV channel, announced as on the air in this area or everywhere, that the occupied bandwidth touches."""
        low_hz, high_hz = occupied_hz(equipment, frequency_hz)
        for channel in self._announced_in(area):
            if channel.low_hz < high_hz and low_hz < channel.high_hz:
                return channel
        return None

    def places(self, equipment: Equipment, area: str) -> Places:
        """All carriers that ``equipment`` can tune to, judged for ``area``."""
        frequencies_hz = tunable_hz(equipment)
        answer = np.full(frequencies_hz.shape, Answer.YES, dtype=np.uint8)
        if self.territory is not None:
            answer = answers(self.territory, equipment, frequencies_hz, self._circumstances())
        verdict, margin_db = self.surveys.over(equipment, area, frequencies_hz)
        return Places(
            frequencies_hz, answer, verdict, margin_db, self._touches_announced(equipment, area, frequencies_hz)
        )

    def _touches_announced(
        self, equipment: Equipment, area: str, frequencies_hz: NDArray[np.int64]
    ) -> NDArray[np.bool_]:
        half_hz = half_width_hz(equipment)
        touched = np.zeros(frequencies_hz.shape, dtype=np.bool_)
        for channel in self._announced_in(area):
            touched |= (frequencies_hz + half_hz > channel.low_hz) & (frequencies_hz - half_hz < channel.high_hz)
        return touched

    def _announced_in(self, area: str) -> list[Channel]:
        """Channels of the raster announced in ``area`` or everywhere; raises UsageError for a name that the raster
        lacks.
        """
        here = [station.channel for station in self.stations if not station.area or not area or station.area == area]
        found = {name: None if self.territory is None else self.territory.channel(name) for name in here}
        for name, channel in found.items():
            if channel is None:
                raise UsageError(
                    f"TV channel {name!r} is announced, but no raster says where it lies",
                    hint="give the region whose channels are meant with --region",
                )
        return [channel for channel in found.values() if channel is not None]

    def _circumstances(self) -> Circumstances:
        if self.circumstances is None:
            raise UsageError("the law can't be asked without the date", hint="state licence, place and date")
        return self.circumstances


def tunable_hz(equipment: Equipment) -> NDArray[np.int64]:
    """Carriers that a type of radio can tune to, in hertz, rising.

    Presets where there are any (those inside the tuning ranges, where these are given); else every step counted from
    the lower end of each range, edges included. Raises UsageError for a raster finer than anybody tunes.
    """
    if equipment.presets_hz:
        presets_hz = np.unique(np.array(equipment.presets_hz, dtype=np.int64))
        if not equipment.tuning:
            return presets_hz
        inside = [(presets_hz >= span.low_hz) & (presets_hz <= span.high_hz) for span in equipment.tuning]
        return presets_hz[np.logical_or.reduce(inside)]
    step_hz = equipment.step_hz
    if equipment.tuning and step_hz <= 0:
        raise UsageError(
            f"{equipment.name} has tuning ranges but no step", hint="state step_khz in the equipment table"
        )
    if sum(span.width_hz // step_hz for span in equipment.tuning) > MOST_PLACES:
        raise UsageError(
            f"{equipment.name} has more than {MOST_PLACES:,} places to tune to", hint="state a coarser step_khz"
        )
    ranges = [np.arange(span.low_hz, span.high_hz + 1, step_hz, dtype=np.int64) for span in equipment.tuning]
    return np.unique(np.concatenate(ranges)) if ranges else np.zeros(0, dtype=np.int64)
