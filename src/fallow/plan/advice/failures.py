"""What could go wrong with a plan's spectrum, each failure by its name: what it takes away, and the show as it is then.

A TV channel that carries one of our links comes up; something stands on the frequency of one link; a tuning range of
equipment that has several is lost (a filter, an amplifier, an antenna); two areas that count as apart hear each other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations
from typing import Protocol

from fallow.plan.places import Ground
from fallow.plan.wording import mhz
from fallow.show.equipment import Equipment
from fallow.show.link import AreaLosses, ForeignCarrier, Station
from fallow.show.wanted import Wanted
from fallow.spectrum.verdict import Verdict
from fallow.units import Channel, Span, format_span_mhz

__all__ = ["AreasHear", "ChannelUp", "Failure", "FrequencyGone", "RangeLost", "failures_of"]


class Failure(Protocol):
    """One thing that goes wrong. ``kind``: ``channel``, ``frequency``, ``range`` or ``areas``; ``name`` for people."""

    @property
    def kind(self) -> str: ...

    @property
    def name(self) -> str: ...

    def loses(self, equipment: Equipment, area: str, frequency_hz: int) -> bool:
        """Whether a carrier can't stay on this place."""

    def strikes(self, wanted: Wanted, ground: Ground) -> tuple[Wanted, Ground]:
        """The show and the ground with this failure."""

    def losses_after(self, losses: AreaLosses) -> AreaLosses:
        """Which areas hear each other then."""


class _WithinWalls:
    """What changes nothing about who hears whom."""

    def losses_after(self, losses: AreaLosses) -> AreaLosses:
        return losses


@dataclass(frozen=True)
class ChannelUp(_WithinWalls):
    """A TV channel is on the air, everywhere."""

    channel: Channel
    kind: str = "channel"

    @property
    def name(self) -> str:
        return f"TV channel {self.channel.name} comes up"

    def loses(self, equipment: Equipment, area: str, frequency_hz: int) -> bool:  # noqa: ARG002 - in every area
        half_hz = max(equipment.bandwidth_hz, 1) / 2
        return self.channel.low_hz - half_hz < frequency_hz < self.channel.high_hz + half_hz

    def strikes(self, wanted: Wanted, ground: Ground) -> tuple[Wanted, Ground]:
        station = Station(self.channel.name, "", "imagined")
        return wanted, replace(ground, stations=(*ground.stations, station))


@dataclass(frozen=True)
class FrequencyGone(_WithinWalls):
    """A stranger stands on the frequency of a link, in its area, and wants to be kept from as one of our own."""

    link: str
    stranger: ForeignCarrier
    losses: AreaLosses
    kind: str = "frequency"

    @property
    def name(self) -> str:
        return f"{mhz(self.stranger.frequency_hz)} is gone ({self.link})"

    def loses(self, equipment: Equipment, area: str, frequency_hz: int) -> bool:  # noqa: ARG002 - whatever it is
        near = abs(frequency_hz - self.stranger.frequency_hz) < self.stranger.spacing_hz
        return near and self.losses.hears(area, self.stranger.area)

    def strikes(self, wanted: Wanted, ground: Ground) -> tuple[Wanted, Ground]:
        return replace(wanted, foreign=(*wanted.foreign, self.stranger)), ground


@dataclass(frozen=True)
class RangeLost(_WithinWalls):
    """One tuning range of equipment that has several can't be used."""

    equipment: Equipment
    span: Span
    kind: str = "range"

    @property
    def name(self) -> str:
        return f"{self.equipment.name} loses {format_span_mhz(self.span.low_hz, self.span.high_hz)}"

    def loses(self, equipment: Equipment, area: str, frequency_hz: int) -> bool:  # noqa: ARG002 - in every area
        return equipment == self.equipment and self.span.low_hz <= frequency_hz <= self.span.high_hz

    def strikes(self, wanted: Wanted, ground: Ground) -> tuple[Wanted, Ground]:
        left = replace(self.equipment, tuning=tuple(span for span in self.equipment.tuning if span != self.span))
        return replace(wanted, equipment={**wanted.equipment, self.equipment.name: left}), ground


@dataclass(frozen=True)
class AreasHear:
    """Two areas that count as apart hear each other, so that a survey of one holds for the other as well."""

    one: str
    other: str
    ground: Ground = field(default_factory=Ground, compare=False)
    kind: str = "areas"

    @property
    def name(self) -> str:
        return f"{self.one} and {self.other} hear each other"

    def loses(self, equipment: Equipment, area: str, frequency_hz: int) -> bool:
        if area not in (self.one, self.other):
            return False
        now, then = (ground.air_at(equipment, area, frequency_hz) for ground in (self.ground, self._ground_then))
        if now is None or then is None:
            return False
        return then.verdict == Verdict.OCCUPIED != now.verdict

    @cached_property
    def _ground_then(self) -> Ground:
        return replace(self.ground, losses=self.losses_after(self.ground.losses))

    def strikes(self, wanted: Wanted, ground: Ground) -> tuple[Wanted, Ground]:
        losses = self.losses_after(wanted.losses)
        return replace(wanted, losses=losses), replace(ground, losses=losses)

    def losses_after(self, losses: AreaLosses) -> AreaLosses:
        return replace(losses, apart=losses.apart - {frozenset((self.one, self.other))})


def failures_of(placed_hz: Mapping[str, int], wanted: Wanted, ground: Ground) -> Iterator[Failure]:
    """All failures that concern a plan (hertz by link): channels first, then ranges, areas and single frequencies."""
    links = [link for link in wanted.links if link.name in placed_hz]
    places = [(wanted.equipment[link.equipment], placed_hz[link.name]) for link in links]
    yield from _channels(places, ground)
    for equipment in dict.fromkeys(equipment for equipment, _ in places):
        for span in equipment.tuning if len(equipment.tuning) > 1 else ():
            if any(kind == equipment and span.low_hz <= hz <= span.high_hz for kind, hz in places):
                yield RangeLost(equipment, span)
    areas = sorted({link.area for link in links})
    for one, other in combinations(areas, 2):
        if frozenset((one, other)) in wanted.losses.apart:
            yield AreasHear(one, other, ground)
    for link, (equipment, hz) in zip(links, places, strict=True):
        name = f"stranger on {mhz(hz)}"
        stranger = ForeignCarrier(name, hz, equipment.bandwidth_hz, link.area, _keep_off_hz(equipment))
        yield FrequencyGone(link.name, stranger, wanted.losses)


def _channels(places: list[tuple[Equipment, int]], ground: Ground) -> Iterator[Failure]:
    announced = {station.channel for station in ground.stations if not station.area}
    for channel in () if ground.territory is None else ground.territory.channels:
        up = ChannelUp(channel)
        if channel.name not in announced and any(up.loses(equipment, "", hz) for equipment, hz in places):
            yield up


def _keep_off_hz(equipment: Equipment) -> int:
    """As from one of our own; without a spacing at least so far that the two are not on one another."""
    return equipment.spacing_hz or max(equipment.bandwidth_hz, 1)
