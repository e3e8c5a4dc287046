"""What several series say of the same windows taken together: the worst of it, as far as each can be believed.

A unit that reads lower than the others can't prove that a place is clean: where another unit looked too, that one
decides; where none did, the place is doubtful. One that reads higher proves *occupied* only where the level would be
above the limit without what it reads too much; else the place is doubtful. Levels themselves are told as measured.
Where several units looked, each with errors of its own, the chance that one of them calls a place occupied by error is
shared out among them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.instruments.instruments import Misreading, unit_of
from fallow.spectrum.statistics import normal_quantile
from fallow.spectrum.verdict import Verdict
from fallow.spectrum.verdicts.evidence import Decided, Evidence, Flag

__all__ = ["Trust", "side_by_side", "worst_of"]

Edges = NDArray[np.float64]


@dataclass(frozen=True)
class Trust:
    """Which units can't be believed, and at which confidence (0 to 1) a level above the limit is told."""

    misreadings: tuple[Misreading, ...] = ()
    confidence: float = 0.95

    def weighed(self, part: Evidence, units: int, decided: Decided, low: Edges, high: Edges) -> Decided:
        """What a series may say of windows [low, high] in hertz, where so many ``units`` looked: *clean* is *not
        measured* for now where it can't be believed, *occupied* is *doubtful*.
        """
        verdict, flags = decided.verdict.copy(), decided.flags.copy()
        by_level = (verdict == Verdict.OCCUPIED) & ((flags & Flag.ABOVE) > 0)
        over = decided.level_db - decided.limit_db
        if units > 1:
            weak = by_level & (over < normal_quantile(1.0 - (1.0 - self.confidence) / units) * decided.u_db)
            verdict[weak], flags[weak] = Verdict.DOUBTFUL, Flag.NEAR
        for one in self.misreadings:
            if one.unit != unit_of(part):
                continue
            touched = (low < one.high_hz) & (high > one.low_hz)
            if one.difference_db < 0:
                which, instead, flag = touched & (verdict == Verdict.CLEAN), Verdict.NOT_MEASURED, Flag.READS_LOW
            else:
                too_much = one.difference_db + normal_quantile(self.confidence) * one.u_db
                which, instead, flag = touched & by_level & (over <= too_much), Verdict.DOUBTFUL, Flag.READS_HIGH
            verdict[which], flags[which] = instead, flag
        return replace(decided, verdict=verdict, flags=flags)


def worst_of(decided: Sequence[Decided]) -> Decided:
    """Window by window the worst of several, not measured only where none measured; the louder one where they agree.

    What only a unit saw that reads too low to prove it clean is doubtful.
    """
    worst = decided[0]
    for other in decided[1:]:
        worst = _worse(worst, other)
    unproven = (worst.verdict == Verdict.NOT_MEASURED) & ((worst.flags & Flag.READS_LOW) > 0)
    return replace(worst, verdict=np.where(unproven, Verdict.DOUBTFUL, worst.verdict).astype(np.uint8))


def _worse(one: Decided, other: Decided) -> Decided:
    rank = np.array([1, 2, 0, 3])  # clean, doubtful, not measured, occupied
    over = [np.nan_to_num(part.level_db - part.limit_db, nan=-np.inf) for part in (one, other)]
    ranks = [rank[part.verdict] for part in (one, other)]
    take = (ranks[1] > ranks[0]) | ((ranks[1] == ranks[0]) & (over[1] > over[0]))
    return Decided(
        **{
            field.name: np.where(take, getattr(other, field.name), getattr(one, field.name))
            for field in fields(Decided)
        }
    )


def side_by_side(part: Evidence, evidence: Sequence[Evidence]) -> int:
    """How many instruments that are known by name measured spectrum that a series measured too: each errs in its own
    way. Series without a name may be of one and the same, and count as that.
    """
    axis = part.heard.axis
    near = {
        other.heard.instrument
        for other in evidence
        if other.heard.axis.low_hz < axis.high_hz and axis.low_hz < other.heard.axis.high_hz
    }
    return max(1, len(near - {""}))
