"""A plan in the making: which carrier stands where, kept in step with the tables."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from copy import copy
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import HOME_ONLY, IN_ANY_TIER, Kernels
from fallow.plan.search.exact import free_of_products, free_of_spacing
from fallow.plan.search.question import Question, whole
from fallow.plan.search.tables import NO_PLACE

__all__ = ["Standing"]

Whole = NDArray[np.int64]

AT_ONCE = 24
"""Carriers that are worked on without a break: some hundredths of a second in the largest shows, so that Ctrl-C is
heard at once.
"""


class Standing:
    """Carriers of a question and where they stand; ``at_hz``: int64, shape (carrier,), −1 for those that stand nowhere.

    ``kernels`` is asked anew for each step, so that faster ones can take over half-way.
    """

    def __init__(self, question: Question, kernels: Callable[[], Kernels]) -> None:
        self.question = question
        self.kernels = kernels
        self.tables = question.tables(kernels())
        self.classes = whole(carrier.class_index for carrier in question.carriers)
        self.fixed = np.array([carrier.fixed_hz is not None for carrier in question.carriers], dtype=np.bool_)
        self.at_hz = whole(-1 if c.fixed_hz is None else c.fixed_hz for c in question.carriers)

    def copied(self) -> Standing:
        """The same, standing by itself."""
        twin = copy(self)
        parts = self.tables._asdict().items()
        own: dict[str, Any] = {name: _copied(part) for name, part in parts if isinstance(part, np.ndarray)}
        twin.tables = self.tables._replace(**own)
        twin.at_hz = self.at_hz.copy()
        return twin

    def take(self, carriers: Sequence[int]) -> None:
        """Take carriers away; those that stand nowhere stay so."""
        for gone in _portions(whole(i for i in carriers if self.at_hz[i] >= 0)):
            self.kernels().take(self.tables, self.classes[gone], gone, self.at_hz[gone])
            self.at_hz[gone] = -1

    def put(self, carriers: Sequence[int], at_hz: Sequence[int]) -> None:
        """Put carriers on frequencies that are known to be free; −1 leaves one out."""
        pairs = [(i, hz) for i, hz in zip(carriers, at_hz, strict=True) if hz >= 0]
        for part in _portions(np.array(pairs, dtype=np.int64).reshape(-1, 2)):
            who, where = np.ascontiguousarray(part[:, 0]), np.ascontiguousarray(part[:, 1])
            self.kernels().put(self.tables, self.classes[who], who, where)
            self.at_hz[who] = where

    def place(self, carriers: Sequence[int], homes_hz: Sequence[int], picks: Sequence[float]) -> None:
        """Give carriers a free place in turn: at home (−1: none) where free, else as ``engine.choose`` picks."""
        rows = list(zip(carriers, homes_hz, picks, strict=True))
        for odd, batch in groupby(rows, key=lambda row: self._is_odd(row[0], row[1])):
            for_kernel = list(batch)
            if odd:
                for carrier, home_hz, pick in for_kernel:
                    self._place_odd(carrier, home_hz, pick)
            else:
                self._place_on_raster(for_kernel)

    def free_hz(self, k: int) -> Whole:
        """Places that are free for a class, in rising hertz; those off a raster that holds only some are left out."""
        if k in self.question.odd_classes:
            frequencies_hz = self.question.worths[k].frequencies_hz
            return frequencies_hz[self._free(k, frequencies_hz)]
        free = (self.kernels().busy(self.tables, k) == 0) & (self.tables.tier[k] != NO_PLACE)
        return self.tables.base_hz + self.tables.step_hz * np.flatnonzero(free)

    def shun_margins_up_to(self, thin_db: float) -> None:
        """Of places of one tier, take those with margins up to this one last from now on."""
        tier = self.tables.tier
        tier[(tier != NO_PLACE) & (self.question.margin_db <= thin_db)] |= 1

    def wander(self, moves: Sequence[int], picks: Sequence[float], waiting: Sequence[int]) -> None:
        """Move carriers about among free places until one of those that wait finds one; see ``engine.Kernels``."""
        self.kernels().wander(
            self.tables, self.classes, self.at_hz, whole(moves), np.array(picks, dtype=np.float64), whole(waiting)
        )

    def _place_on_raster(self, rows: Sequence[tuple[int, int, float]]) -> None:
        who = whole(carrier for carrier, _, _ in rows)
        homes = whole(self.tables.position(home_hz) if home_hz >= 0 else -1 for _, home_hz, _ in rows)
        picks = np.array([pick for _, _, pick in rows], dtype=np.float64)
        for part in _portions(np.arange(who.size)):
            found_hz = self.kernels().place(self.tables, self.classes[who[part]], who[part], homes[part], picks[part])
            self.at_hz[who[part]] = found_hz

    def _is_odd(self, carrier: int, home_hz: int) -> bool:
        odd_home = home_hz >= 0 and self.tables.position(home_hz) < 0
        return odd_home or int(self.classes[carrier]) in self.question.odd_classes

    def _place_odd(self, carrier: int, home_hz: int, pick: float) -> None:
        """As the kernels do it, for places off the raster."""
        k = int(self.classes[carrier])
        worth = self.question.worths[k]
        if home_hz >= 0 and worth.index(home_hz) is not None and self._free(k, whole([home_hz]))[0]:
            self.put([carrier], [home_hz])
            return
        if pick == HOME_ONLY:
            return
        if k not in self.question.odd_classes:
            self._place_on_raster([(carrier, -1, pick)])
            return
        tier = np.where(self._free(k, worth.frequencies_hz), worth.tier, NO_PLACE)
        best = int(tier.min(initial=NO_PLACE))
        if best == NO_PLACE:
            return
        free = np.flatnonzero(tier <= (best if pick < IN_ANY_TIER else NO_PLACE - 1))
        nth = 0 if pick < 0.0 else int((pick % 1.0) * free.size)
        self.put([carrier], [int(worth.frequencies_hz[free[nth]])])

    def _free(self, k: int, at_hz: Whole) -> NDArray[np.bool_]:
        """Which of some frequencies, rising, are free for a class."""
        strangers = self.question.strangers
        stands = self.at_hz >= 0
        others = np.concatenate((self.classes[stands], whole(k for k, _ in strangers)))
        others_hz = np.concatenate((self.at_hz[stands], whole(hz for _, hz in strangers)))
        near = free_of_spacing(self.tables, k, at_hz, others, others_hz)
        return near & free_of_products(self.tables, k, at_hz, len(self.question.carriers))


def _copied(part: NDArray[Any]) -> NDArray[Any]:
    """A copy in which rows without any count take no memory, as in the original: whole groups count nothing."""
    twin = np.zeros_like(part)
    for own, row in zip(np.atleast_2d(twin), np.atleast_2d(part), strict=True):
        if row.any():
            own[...] = row
    return twin


def _portions(rows: Whole) -> Iterator[Whole]:
    """The rows in their order, a few at a time."""
    for first in range(0, len(rows), AT_ONCE):
        yield rows[first : first + AT_ONCE]
