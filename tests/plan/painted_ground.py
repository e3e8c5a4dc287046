"""A ground for tests: verdicts and answers painted over spans of carriers, everything else clean and allowed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fallow.plan.places import Places, tunable_hz
from fallow.rules.territory import Answer
from fallow.show.equipment import Equipment
from fallow.spectrum.verdict import Verdict
from fallow.units import Span


class PaintedGround:
    """Carriers in a span (upper edge left out) get what the span is named for; later names win."""

    def __init__(self, *, margin_db: dict[int, float] | None = None, **painted: Sequence[Span]) -> None:
        self.painted = painted
        self.margin_db = margin_db

    def places(self, equipment: Equipment, area: str) -> Places:  # noqa: ARG002 - as Ground.places
        """As ``Ground.places``; all areas are alike."""
        hz = tunable_hz(equipment)
        verdict, answer = np.zeros(hz.shape, dtype=np.uint8), np.full(hz.shape, Answer.YES, dtype=np.uint8)
        for name, value in (
            ("doubtful", Verdict.DOUBTFUL),
            ("not_measured", Verdict.NOT_MEASURED),
            ("occupied", Verdict.OCCUPIED),
        ):
            verdict[self._inside(name, hz)] = value
        for name, value in (("ask", Answer.ASK), ("forbidden", Answer.NO)):
            answer[self._inside(name, hz)] = value
        margin_db = np.array([(self.margin_db or {}).get(int(f), 0.0) for f in hz])
        return Places(hz, answer, verdict, margin_db, self._inside("announced", hz))

    def _inside(self, name: str, hz: np.ndarray) -> np.ndarray:
        inside = np.zeros(hz.shape, dtype=np.bool_)
        for span in self.painted.get(name, ()):
            inside |= (hz >= span.low_hz) & (hz < span.high_hz)
        return inside
