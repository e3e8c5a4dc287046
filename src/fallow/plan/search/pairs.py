"""Both directions of a link in the search: two carriers that are placed together or not at all.

The carrier that leads is offered places one after the other until the one that follows finds its own as well.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import HOME_ONLY, IN_ANY_TIER, LOWEST, Kernels
from fallow.plan.search.question import Question, Tie
from fallow.plan.search.standing import Standing
from fallow.show.equipment import Duplex

__all__ = ["PairedStanding", "restore", "standing_for", "suits"]

Whole = NDArray[np.int64]

TRIES = 200
"""Places of the leader that are tried for one pair."""


def standing_for(question: Question, kernels: Callable[[], Kernels]) -> Standing:
    """A plan in the making; where links have two directions, one that keeps them together."""
    return PairedStanding(question, kernels) if question.pairs else Standing(question, kernels)


def restore(standing: Standing, at_hz: Whole) -> None:
    """Bring every carrier to where it stood (int64, shape (carrier,), −1: nowhere)."""
    moved = np.flatnonzero(standing.at_hz != at_hz).tolist()
    Standing.take(standing, moved)
    standing.put(moved, at_hz[moved].tolist())


def suits(duplex: Duplex, there_hz: Whole, back_hz: Whole) -> NDArray[np.bool_]:
    """Whether two directions go together as far as their equipment asks for it, pair by pair of places."""
    if duplex.offset_hz is not None:
        return np.asarray(back_hz - there_hz == duplex.offset_hz)
    return np.asarray(np.abs(back_hz - there_hz) >= duplex.least_hz)


class PairedStanding(Standing):
    """As ``Standing``; whoever is one of two is placed and taken away with the other."""

    def __init__(self, question: Question, kernels: Callable[[], Kernels]) -> None:
        super().__init__(question, kernels)
        self._pair_of: dict[int, Tie] = {i: tie for tie in question.pairs for i in (tie.forward, tie.back)}

    def take(self, carriers: Sequence[int]) -> None:
        """See ``Standing``; fixed ones stay."""
        super().take([i for i in self._with_partners(carriers) if not self.fixed[i]])

    def place(self, carriers: Sequence[int], homes_hz: Sequence[int], picks: Sequence[float]) -> None:
        """See ``Standing``; a pair takes the pick of whichever of the two comes first."""
        single: list[tuple[int, int, float]] = []
        for carrier, home_hz, pick in zip(carriers, homes_hz, picks, strict=True):
            pair = self._pair_of.get(carrier)
            if pair is None:
                single.append((carrier, home_hz, pick))
                continue
            self._place_single(single)
            single = []
            there_hz = home_hz if carrier == pair.forward or home_hz < 0 else self._home_hz(pair.forward)
            self._place_pair(pair, there_hz, pick)
        self._place_single(single)

    def _place_single(self, rows: Sequence[tuple[int, int, float]]) -> None:
        if rows:
            super().place([i for i, _, _ in rows], [hz for _, hz, _ in rows], [pick for _, _, pick in rows])

    def _with_partners(self, carriers: Iterable[int]) -> list[int]:
        pairs = (self._pair_of.get(i) for i in carriers)
        partners = [i for pair in pairs if pair is not None for i in (pair.forward, pair.back)]
        return list(dict.fromkeys((*carriers, *partners)))

    def _place_pair(self, pair: Tie, home_hz: int, pick: float) -> None:
        """Give both a place, or neither; one of them may be fixed."""
        leader_hz, follower_hz = int(self.at_hz[pair.forward]), int(self.at_hz[pair.back])
        if leader_hz >= 0 and follower_hz >= 0:
            return
        if leader_hz >= 0:
            self._place_follower(pair, leader_hz, pick)
            return
        places_hz = self._in_order(pair.forward, home_hz, pick)
        if follower_hz >= 0:
            places_hz = places_hz[suits(pair.duplex, places_hz, np.full_like(places_hz, follower_hz))]
            self.put([pair.forward], places_hz[:1].tolist() or [-1])
            return
        if pair.duplex.offset_hz is not None:
            places_hz = places_hz[
                np.isin(places_hz + pair.duplex.offset_hz, self.free_hz(int(self.classes[pair.back])))
            ]
        for hz in places_hz[:TRIES].tolist():
            self.put([pair.forward], [hz])
            if self._place_follower(pair, hz, pick):
                return
            Standing.take(self, [pair.forward])

    def _place_follower(self, pair: Tie, leader_hz: int, pick: float) -> bool:
        """Whether the follower found a place that goes with the leader's; sent home, it goes where the plan to keep has
        it, else anywhere.
        """
        home_hz = self._home_hz(pair.back)
        if home_hz < 0:
            home_hz, pick = int(self.question.facts.wish_hz[pair.back]), LOWEST if pick == HOME_ONLY else pick
        places_hz = self._in_order(pair.back, home_hz, pick)
        places_hz = places_hz[suits(pair.duplex, np.full_like(places_hz, leader_hz), places_hz)]
        self.put([pair.back], places_hz[:1].tolist() or [-1])
        return bool(places_hz.size)

    def _home_hz(self, carrier: int) -> int:
        return int(self.question.facts.home_hz[carrier])

    def _in_order(self, carrier: int, home_hz: int, pick: float) -> Whole:
        """The free places of a carrier, those first that ``engine.choose`` would take: at home, then as picked."""
        k = int(self.classes[carrier])
        free_hz, worth = self.free_hz(k), self.question.worths[k]
        at_home: Whole = free_hz[free_hz == home_hz]
        if pick == HOME_ONLY or not free_hz.size:
            return at_home
        tier = worth.tier[np.searchsorted(worth.frequencies_hz, free_hz)]
        nth = 0 if pick < 0.0 else int((pick % 1.0) * free_hz.size)
        order = np.roll(np.arange(free_hz.size), -nth)
        if pick < IN_ANY_TIER:
            order = order[np.argsort(tier[order], kind="stable")]
        return np.asarray(np.concatenate((at_home, free_hz[order])), dtype=np.int64)
