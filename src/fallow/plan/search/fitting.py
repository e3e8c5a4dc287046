"""Whether some links fit in beside those that stand: every way is tried, one after the other.

Next comes a link of the kind with the fewest free places. Links of one kind are no different from each other, so they
take their places in rising order. A link without any free place ends a branch. Of a link with two directions the way
back comes right after the way there, on a place that goes with it.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.pairs import suits
from fallow.plan.search.question import Question
from fallow.plan.search.standing import Standing
from fallow.show.equipment import Duplex

__all__ = ["Fitting", "LinkKind", "by_kind"]

Whole = NDArray[np.int64]
Unit = tuple[int, ...]

NODES_PER_STEP = 20


@dataclass(frozen=True)
class LinkKind:
    """What links share that are no different from each other: the classes of their carriers, one for each direction
    that is to be placed, the way there first.

    ``duplex``: how the two go together. ``stands_hz``: where the other direction stands already; ``is_back``: it is the
    way there.
    """

    classes: tuple[int, ...]
    duplex: Duplex | None = None
    stands_hz: int | None = None
    is_back: bool = False

    @property
    def carriers(self) -> int:
        """How many carriers one such link has to place."""
        return len(self.classes)

    def goes_with_standing(self, at_hz: Whole) -> NDArray[np.bool_]:
        """Which places go with the direction that stands."""
        if self.duplex is None or self.stands_hz is None:
            return np.ones(at_hz.shape, dtype=np.bool_)
        stands_hz = np.full_like(at_hz, self.stands_hz)
        return suits(self.duplex, stands_hz, at_hz) if self.is_back else suits(self.duplex, at_hz, stands_hz)


def by_kind(question: Question, carriers: Iterable[int], at_hz: Whole) -> dict[LinkKind, list[Unit]]:
    """Links of which none of these carriers stands, as the carriers to place for each; either direction of a link means
    both. ``at_hz``: where everybody stands, −1: nowhere.
    """
    ties = {i: tie for tie in question.pairs for i in (tie.forward, tie.back)}
    found: dict[LinkKind, dict[Unit, None]] = {}
    for i in carriers:
        tie = ties.get(i)
        both = (i,) if tie is None else (tie.forward, tie.back)
        unit = tuple(each for each in both if at_hz[each] < 0)
        stands_hz = next((int(at_hz[each]) for each in both if at_hz[each] >= 0), None)
        classes = tuple(question.carriers[each].class_index for each in unit)
        is_back = tie is not None and unit == (tie.back,)
        kind = LinkKind(classes, None if tie is None else tie.duplex, stands_hz, is_back)
        found.setdefault(kind, {})[unit] = None
    return {kind: list(units) for kind, units in found.items()}


class Fitting:
    """Tries to place the links of ``carriers``, none of which stands, without moving anybody else.

    Exact where every place lies on the raster. After ``True`` all stand; after ``False`` none does.
    """

    def __init__(self, standing: Standing, carriers: Sequence[int]) -> None:
        self.standing = standing
        self._waiting = by_kind(standing.question, carriers, standing.at_hz)
        self._above_hz = dict.fromkeys(self._waiting, -1)
        self._placed: list[int] = []
        self._branches = self._tried()

    def step(self) -> bool | None:
        """Look at some places more: whether all fit, or ``None`` while that is open."""
        for _ in range(NODES_PER_STEP):
            outcome = next(self._branches)
            if outcome is not None:
                return outcome
        return None

    def give_up(self) -> None:
        """Take away whom it has placed so far."""
        self._branches.close()
        Standing.take(self.standing, self._placed)
        self._placed = []

    def _tried(self) -> Generator[bool | None, None, None]:
        """``None`` for each place looked at, at last the outcome."""
        yield (yield from self._branch())

    def _branch(self) -> Generator[None, None, bool]:
        """Place a link, and all others after it."""
        yield None
        tightest = self._tightest()
        if tightest is None:
            return not any(self._waiting.values())
        kind, places_hz = tightest
        unit, above_hz = self._waiting[kind].pop(), self._above_hz[kind]
        for hz in places_hz.tolist():
            self._put(unit[0], hz)
            self._above_hz[kind] = hz
            rest = self._branch() if len(unit) == 1 else self._branch_back(unit[1], kind, hz)
            if (yield from rest):
                return True
            self._take()
        self._waiting[kind].append(unit)
        self._above_hz[kind] = above_hz
        return False

    def _branch_back(self, back: int, kind: LinkKind, there_hz: int) -> Generator[None, None, bool]:
        """Place the way back of a link whose way there has just been placed, and all others after it."""
        yield None
        free_hz = self._free_hz(kind.classes[1])
        if kind.duplex is not None:
            free_hz = free_hz[suits(kind.duplex, np.full_like(free_hz, there_hz), free_hz)]
        for hz in free_hz.tolist():
            self._put(back, hz)
            if (yield from self._branch()):
                return True
            self._take()
        return False

    def _free_hz(self, k: int) -> Whole:
        return self.standing.free_hz(k)

    def _put(self, carrier: int, hz: int) -> None:
        self.standing.put([carrier], [hz])
        self._placed.append(carrier)

    def _take(self) -> None:
        Standing.take(self.standing, [self._placed.pop()])

    def _tightest(self) -> tuple[LinkKind, Whole] | None:
        """The kind with the least to spare and its free places; ``None`` when nobody waits or somebody can't fit."""
        found: tuple[LinkKind, Whole] | None = None
        for kind, waiting in self._waiting.items():
            if waiting:
                free_hz, is_shared = self._places_hz(kind)
                if free_hz.size < (1 if is_shared else len(waiting)):
                    return None
                if found is None or free_hz.size < found[1].size:
                    found = kind, free_hz
        return found

    def _places_hz(self, kind: LinkKind) -> tuple[Whole, bool]:
        """Free places of the first carrier of a kind, where the other direction has one that goes with it; and whether
        several links may share a place.
        """
        free_hz = self._free_hz(kind.classes[0])
        is_shared = not self.standing.question.spacing_hz[kind.classes[0], kind.classes[0]]
        free_hz = free_hz[free_hz >= self._above_hz[kind] if is_shared else free_hz > self._above_hz[kind]]
        if kind.carriers == 1:
            return free_hz[kind.goes_with_standing(free_hz)], is_shared
        return free_hz[_has_partner(free_hz, self._free_hz(kind.classes[1]), kind.duplex)], is_shared


def _has_partner(there_hz: Whole, back_hz: Whole, duplex: Duplex | None) -> NDArray[np.bool_]:
    """Which places of the way there go with any of the way back; both rise."""
    if duplex is None or not back_hz.size:
        return np.full(there_hz.shape, duplex is None and bool(back_hz.size))
    if duplex.offset_hz is not None:
        return np.isin(there_hz + duplex.offset_hz, back_hz)
    farthest_hz = np.maximum(np.abs(there_hz - back_hz[0]), np.abs(there_hz - back_hz[-1]))
    return np.asarray(farthest_hz >= duplex.least_hz)
