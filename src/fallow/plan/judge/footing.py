"""Where one carrier stands: what its tuning, the law and the air say about its place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from fallow.plan.judge.carriers import Carrier
from fallow.plan.places import Ground
from fallow.rules.permission import Permission, allowed_centres
from fallow.rules.territory import Answer
from fallow.show.equipment import Equipment
from fallow.spectrum.verdict import JudgedSlice, Verdict
from fallow.units import Channel

__all__ = ["Footing", "nearest_allowed_hz", "nearest_tunable_hz"]


@dataclass(frozen=True)
class Footing:
    """One carrier of ours with what is known of its place; ``None`` where nobody was asked.

    ``level_unit``: of the levels in ``judged``; dB on the instrument's own scale where a survey is relative.
    ``survey``: the one that decided, by name; empty where none holds there. ``one_of_several``: there are others.
    """

    carrier: Carrier
    equipment: Equipment
    permission: Permission | None = None
    judged: JudgedSlice | None = None
    announced: Channel | None = None
    level_unit: str = "dBm"
    survey: str = ""
    one_of_several: bool = False

    @classmethod
    def of(cls, carrier: Carrier, equipment: Equipment, ground: Ground | None) -> Footing:
        """Ask law and air about the place of a carrier; ``ground`` ``None``: neither is known."""
        if ground is None:
            return cls(carrier, equipment)
        hz, area = carrier.frequency_hz, carrier.area
        judged, survey = ground.surveys.judged(equipment, area, hz) or (None, None)
        return cls(
            carrier,
            equipment,
            ground.permission(equipment, hz),
            judged,
            ground.announced(equipment, area, hz),
            level_unit="dBm" if survey is None else survey.level_unit,
            survey="" if survey is None else survey.name,
            one_of_several=len(ground.airs) > 1,
        )

    @property
    def told_survey(self) -> str:
        """Which survey decided, where that is a question: ``in the survey Hall: wall-on.csv``; else empty."""
        return f"in the survey {self.survey}" if self.survey and self.one_of_several else ""

    def is_told(self, answer: Answer) -> bool:
        """Whether the law was asked about this place, with this answer."""
        return self.permission is not None and self.permission.answer == answer

    def is_judged(self, verdict: Verdict) -> bool:
        """Whether the air was judged here, with this verdict."""
        return self.judged is not None and self.judged.verdict == verdict


def nearest_tunable_hz(equipment: Equipment, frequency_hz: int) -> int | None:
    """The carrier nearest to a frequency that this type can be set to, the lower of two; ``None``: there is none.

    That is one of its presets, those inside its tuning ranges where it has ranges; without presets a whole number of
    steps from the lower end of a range, edges included.
    """
    return _nearest(_settings_near(equipment, frequency_hz), frequency_hz)


def nearest_allowed_hz(equipment: Equipment, frequency_hz: int, ground: Ground) -> int | None:
    """The nearest carrier that this type can be set to and that the law does not forbid; ``None``: there is none."""
    if ground.territory is None or ground.circumstances is None:
        return nearest_tunable_hz(equipment, frequency_hz)
    settings: list[int] = []
    for centres in allowed_centres(ground.territory, equipment, ground.circumstances):
        inside_hz = min(max(frequency_hz, centres.low_hz), centres.high_hz)
        near = _settings_near(equipment, inside_hz)
        settings += [hz for hz in near if centres.low_hz <= hz <= centres.high_hz]
    return _nearest(settings, frequency_hz)


def _nearest(settings_hz: Iterable[int], frequency_hz: int) -> int | None:
    return min(settings_hz, key=lambda hz: (abs(hz - frequency_hz), hz), default=None)


def _settings_near(equipment: Equipment, frequency_hz: int) -> Iterator[int]:
    """All presets, or in each tuning range the settings next below and next above a frequency."""
    ranges = equipment.tuning
    for preset_hz in equipment.presets_hz:
        if not ranges or any(span.low_hz <= preset_hz <= span.high_hz for span in ranges):
            yield preset_hz
    if equipment.presets_hz:
        return
    for span in ranges:
        last = span.width_hz // equipment.step_hz
        below = (frequency_hz - span.low_hz) // equipment.step_hz
        for steps in (below, below + 1):
            yield span.low_hz + min(max(steps, 0), last) * equipment.step_hz
