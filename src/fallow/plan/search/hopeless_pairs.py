"""Links of two directions that can stand nowhere: no place of the one goes with any place of the other.

Looked at are the places that the law, the air, strangers and fixed links leave to each direction, and what the two ask
of each other: their duplex distance, the spacing, and rules about groups that both are in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.bounds import Bound, places_left
from fallow.plan.search.question import Question, Tie
from fallow.units import format_width

__all__ = ["hopeless_pairs", "lowered_by_pairs", "without"]

Whole = NDArray[np.int64]


def hopeless_pairs(question: Question) -> dict[str, str]:
    """Why no pair of places is possible, by the name of each direction of the links of which that is so. Links with a
    fixed direction, and spares, are left out.
    """
    if not question.pairs:
        return {}
    left = places_left(question, sorted({question.carriers[i].class_index for i in question.in_pairs}))
    told: dict[str, str] = {}
    known: dict[tuple[int, int], str] = {}
    for tie in question.pairs:
        there, back = question.carriers[tie.forward], question.carriers[tie.back]
        if there.is_spare or there.fixed_hz is not None or back.fixed_hz is not None:
            continue
        key = there.class_index, back.class_index
        if key not in known:
            known[key] = _against(tie, _Asked.of(tie, question), left[key[0]], left[key[1]], question)
        if known[key]:
            told |= {there.name: known[key], back.name: known[key]}
    return told


def without(question: Question, names: Mapping[str, str]) -> Question:
    """The question without some links."""
    return replace(question, carriers=tuple(each for each in question.carriers if each.name not in names))


def lowered_by_pairs(question: Question, hopeless: Mapping[str, str], bound: Bound | None) -> Bound | None:
    """A bound of the links that are not ``hopeless`` (``None``: all of them) as one of all."""
    if not hopeless:
        return bound
    because = f"{len(hopeless)} of {len(question.links)} directions of links have no two places that go together"
    if bound is None:
        return Bound(len(question.links) - len(hopeless), because)
    return Bound(bound.links, f"{because}; {bound.because}")


@dataclass(frozen=True)
class _Asked:
    """How far the two directions have to be from each other, in hertz. ``offset_hz``: exactly, where that is fixed;
    ``most_hz`` 0: no matter how far.
    """

    offset_hz: int | None
    duplex_hz: int
    spacing_hz: int
    most_hz: int

    @classmethod
    def of(cls, tie: Tie, question: Question) -> _Asked:
        classes = question.carriers[tie.forward].class_index, question.carriers[tie.back].class_index
        spacing_hz, most_hz = int(question.spacing_hz[classes]), int(question.farthest_hz[classes])
        return cls(tie.duplex.offset_hz, tie.duplex.least_hz, spacing_hz, most_hz)

    @property
    def least_hz(self) -> int:
        """What duplex distance and spacing ask together."""
        return max(self.duplex_hz, self.spacing_hz)

    @property
    def words(self) -> Iterator[str]:
        """Each condition."""
        if self.offset_hz is not None:
            where = "above" if self.offset_hz > 0 else "below"
            yield f"the way back exactly {format_width(abs(self.offset_hz))} {where} the way there"
        elif self.duplex_hz:
            yield f"{format_width(self.duplex_hz)} apart at least (two directions of one link)"
        if self.spacing_hz > abs(self.offset_hz or self.duplex_hz):
            yield f"{format_width(self.spacing_hz)} apart at least (the spacing, or a rule about groups)"
        if self.most_hz:
            yield f"within {format_width(self.most_hz)} (a rule about a group that both are in)"

    def is_kept_somewhere(self, there_hz: Whole, back_hz: Whole) -> bool:
        """Whether any place of the one goes with any of the other; both rise."""
        if self.offset_hz is not None:
            distance_hz = abs(self.offset_hz)
            near_enough = not self.most_hz or distance_hz <= self.most_hz
            goes = distance_hz >= self.spacing_hz and near_enough
            return goes and bool(np.isin(there_hz + self.offset_hz, back_hz).any())
        most_hz = self.most_hz or int(max(there_hz[-1], back_hz[-1]))
        above = _any_between(back_hz, there_hz + self.least_hz, there_hz + most_hz)
        return above or _any_between(back_hz, there_hz - most_hz, there_hz - self.least_hz)


def _any_between(places_hz: Whole, low_hz: Whole, high_hz: Whole) -> bool:
    first, end = np.searchsorted(places_hz, low_hz), np.searchsorted(places_hz, high_hz, side="right")
    return bool((end > first).any())


def _against(tie: Tie, asked: _Asked, there_hz: Whole, back_hz: Whole, question: Question) -> str:
    """Why two directions go together nowhere; empty where they do somewhere."""
    there, back = question.carriers[tie.forward], question.carriers[tie.back]
    for carrier, left_hz in ((there, there_hz), (back, back_hz)):
        if not left_hz.size:
            beside = "law, air, foreign carriers and fixed links leave none"
            return f"no place at all is left for {carrier.equipment.name}, and both directions need one: {beside}"
    if asked.is_kept_somewhere(there_hz, back_hz):
        return ""
    names = f"{there.equipment.name} and {back.equipment.name}"
    return f"no place of the one direction goes with any of the other: {names} have to be {' and '.join(asked.words)}"
