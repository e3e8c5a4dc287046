"""Where one carrier stands: what its tuning, the law and the air say about its place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fallow.plan.carriers import Carrier
from fallow.show.equipment import Equipment
from fallow.spectrum.verdict import JudgedSlice, Verdict
from fallow.units import Channel

__all__ = ["ASK", "NO", "Footing", "Ground", "nearest_tunable_hz"]

NO, ASK = 0, 1


class _Permission(Protocol):
    @property
    def answer(self) -> int: ...
    @property
    def text(self) -> str: ...


class _Places(Protocol):
    @property
    def frequencies_hz(self) -> NDArray[np.int64]: ...
    @property
    def answer(self) -> NDArray[np.uint8]: ...
    @property
    def verdict(self) -> NDArray[np.uint8]: ...
    @property
    def may_use(self) -> NDArray[np.bool_]: ...


class Ground(Protocol):
    """Law and air under a carrier."""

    def permission(self, equipment: Equipment, frequency_hz: int) -> _Permission | None: ...
    def verdict(self, equipment: Equipment, area: str, frequency_hz: int) -> JudgedSlice | None: ...
    def announced(self, equipment: Equipment, area: str, frequency_hz: int) -> Channel | None: ...
    def places(self, equipment: Equipment, area: str) -> _Places: ...


@dataclass(frozen=True)
class Footing:
    """One carrier of ours with what is known of its place; ``None`` where nobody was asked."""

    carrier: Carrier
    equipment: Equipment
    permission: _Permission | None = None
    judged: JudgedSlice | None = None
    announced: Channel | None = None

    @classmethod
    def of(cls, carrier: Carrier, equipment: Equipment, ground: Ground | None) -> Footing:
        """Ask law and air about the place of a carrier; ``ground`` ``None``: neither is known."""
        if ground is None:
            return cls(carrier, equipment)
        hz, area = carrier.frequency_hz, carrier.area
        return cls(
            carrier,
            equipment,
            ground.permission(equipment, hz),
            ground.verdict(equipment, area, hz),
            ground.announced(equipment, area, hz),
        )

    def says(self, verdict: Verdict) -> bool:
        """Whether the air was judged here, with this verdict."""
        return self.judged is not None and self.judged.verdict == verdict


def nearest_tunable_hz(equipment: Equipment, frequency_hz: int) -> int | None:
    """The carrier nearest to a frequency that this type can be set to, the lower of two; ``None``: there is none.

    That is one of its presets, those inside its tuning ranges where it has ranges; without presets a whole number of
    steps from the lower end of a range, edges included.
    """
    return min(_settings_near(equipment, frequency_hz), key=lambda hz: (abs(hz - frequency_hz), hz), default=None)


def _settings_near(equipment: Equipment, frequency_hz: int) -> Iterator[int]:
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
