"""Many equal links in one place: begin with places whose differences all differ, from number theory."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.question import Question
from fallow.plan.search.sidon import bose, primes_up_to, singer, turned, units_of
from fallow.plan.search.tables import NO_PLACE, SUFFERS, Tables

__all__ = ["Sowing"]

Whole = NDArray[np.int64]

LARGEST_PRIME = 43
STARTS = 4
"""Of all ways to lay a set over the places, draw among this many of those that hold most."""


class Sowing:
    """Draws sets of places for the one class of links that a question is about.

    ``possible`` only where all links to place are of one equipment, all meet, and A+B−C is asked.
    """

    def __init__(self, question: Question, tables: Tables) -> None:
        movable = [carrier for carrier in question.links if carrier.fixed_hz is None]
        classes = sorted({carrier.class_index for carrier in movable})
        equipment = {carrier.equipment for carrier in movable}
        alike = len(equipment) == 1 and bool(question.meetings[np.ix_(classes, classes)].all())
        self._tables = tables
        self._k = classes[0] if classes else -1
        self._scale = self._scale_of() if alike else 0
        self._width = int(np.ptp(tables.extent[self._k])) if classes else 0
        self._primes = [p for p in primes_up_to(LARGEST_PRIME) if self._fits(p)] if self._scale else []

    @property
    def possible(self) -> bool:
        """Whether there is anything to draw."""
        return bool(self._primes)

    def draw_hz(self, random: np.random.Generator) -> Whole:
        """Carriers in hertz, in any order, not all of which need be free."""
        p = self._primes[int(random.integers(len(self._primes)))]
        members, modulus = (singer if random.random() < 0.5 else bose)(p)
        units = units_of(modulus)
        one_turn = self._scale * turned(members, modulus, units[int(random.integers(len(units)))])
        turns = -(-self._width // (self._scale * modulus))
        low, high = self._tables.extent[self._k]
        at = np.concatenate([one_turn + turn * self._scale * modulus for turn in range(turns + 1)])
        starts = low + at[np.newaxis, :] - np.arange(self._scale * modulus)[:, np.newaxis]
        inside = (starts >= low) & (starts < high)
        held = inside & (self._tables.tier[self._k, np.where(inside, starts, low)] != NO_PLACE)
        count = held.sum(axis=1)
        best = int(random.choice(np.argsort(-count, kind="stable")[:STARTS]))
        places = starts[best][held[best]]
        return np.asarray(self._tables.base_hz + self._tables.step_hz * random.permutation(places))

    def _scale_of(self) -> int:
        """Steps by which differences have to differ: the larger of the distances of 2A−B and A+B−C; 0 where A+B−C is
        not asked.
        """
        t = self._tables
        entries = range(int(t.group_start[self._k]), int(t.group_start[self._k + 1]))
        of_own = [(t.groups[j], t.grades[j]) for j in entries if t.roles[j] & SUFFERS]
        three = [int(t.three_reach[g, own, own, own]) for g, own in of_own]
        if not three or min(three) < 0:
            return 0
        return 1 + max(*three, *(int(t.two_reach[g, 0, own, own]) for g, own in of_own))

    def _fits(self, p: int) -> bool:
        """Sets of p have some p² places; much smaller ones repeat too often, much larger ones are cut too short."""
        return 0.4 < self._scale * p * p / max(self._width, 1) < 4.0
