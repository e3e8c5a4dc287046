"""Carriers that ask for nothing but distances from each other: the quick parts of packing them, in NumPy.

Where no products are asked for, many areas and types of radio are a colouring problem with distances (a *crowd*): so
many carriers of each class, and for each two classes how many places their carriers keep apart. Two things are done
with it again and again: filling the places from below, the most urgent class first, and settling a plan in which
everybody stands somewhere, one move after another. ``crowd_loops`` does the same with plain loops, to be compiled; both
must give the same plans.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["CLOSED", "Crowd", "Settling", "cliques", "crowd_of", "fill_upwards", "settle"]

Counts = NDArray[np.int32]
Whole = NDArray[np.int64]

CLOSED = 1 << 20
"""In the counts of what is in the way: the class may not stand there at all."""
MOST_CLIQUES = 400
"""Sets of classes looked at for each distance; any number of them is fine, more of them fill a little better."""
SHARES = 8
"""``share`` of ``fill_upwards`` counts eighths."""


class Crowd(NamedTuple):
    """K classes over M places. Cliques are sets of classes that all keep at least ``clique_apart`` from each other:
    their carriers take that many places each, whatever the plan.
    """

    need: Whole  # (K,): carriers of each class
    apart: Whole  # (K, K): least difference of places; 0 where two classes never meet
    open: NDArray[np.uint8]  # (K, M): 1 where the class may stand
    clique_start: Whole  # (K + 1,): where the cliques of a class begin in the next
    cliques: Whole
    clique_apart: Whole  # (C,)


def crowd_of(need: Whole, apart: Whole, places: NDArray[np.bool_]) -> Crowd:
    """A crowd. ``need``: carriers of each class; ``apart``: whole places that two classes keep, symmetric; ``places``:
    where each may stand, shape (class, place).
    """
    found = [(distance, members) for distance in np.unique(apart[apart > 0]) for members in cliques(apart >= distance)]
    of_class: list[list[int]] = [[] for _ in need]
    for c, (_, members) in enumerate(found):
        for k in members:
            of_class[k].append(c)
    return Crowd(
        need.astype(np.int64),
        np.ascontiguousarray(apart, dtype=np.int64),
        np.ascontiguousarray(places, dtype=np.uint8),
        np.concatenate(([0], np.cumsum([len(each) for each in of_class]))).astype(np.int64),
        np.array([c for each in of_class for c in each], dtype=np.int64),
        np.array([distance for distance, _ in found], dtype=np.int64),
    )


def fill_upwards(c: Crowd, lean: Whole, share: int, noise: Whole, taken: NDArray[np.uint8]) -> int:
    """Go through the places from below; at each let in the most urgent class that may stand there, then the next.

    A class is as urgent as the places that its tightest clique still needs, plus ``share`` eighths of what it needs by
    itself, times its ``lean`` (shape (class,)), times ``noise`` (shape (row, class), place by place a row in turn).
    Sets ``taken`` (shape (class, place)) and returns how many carriers got no place.
    """
    taken[:] = 0
    left, free_from, own = c.need.copy(), np.zeros_like(c.need), np.diagonal(c.apart)
    of_class = np.repeat(np.arange(c.need.size), np.diff(c.clique_start))
    clique_left = np.bincount(c.cliques, c.need[of_class], c.clique_apart.size).astype(np.int64)
    for place in np.flatnonzero(c.open.any(axis=0)).tolist():
        waiting = (left > 0) & (free_from <= place) & (c.open[:, place] != 0)
        if not waiting.any():
            continue
        urgent = left * own
        np.maximum.at(urgent, of_class, (clique_left * c.clique_apart)[c.cliques])
        score = (SHARES * urgent + share * left * own) * lean * noise[place % noise.shape[0]]
        while waiting.any():
            k = int(np.argmax(np.where(waiting, score, -1)))
            taken[k, place] = 1
            left[k] -= 1
            clique_left[c.cliques[c.clique_start[k] : c.clique_start[k + 1]]] -= 1
            np.maximum(free_from, place + c.apart[k], out=free_from, where=c.apart[k] > 0)
            waiting &= free_from <= place
            waiting[k] = False
    return int(left.sum())


class Settling(NamedTuple):
    """A plan in which everybody stands somewhere, whether or not somebody is in the way; arrays that change.

    ``classes``, ``at``: of carriers, and their places, each open to its class. ``counts``: how many are in the way of
    one more of a class at a place, shape (class, place), ``CLOSED`` where it may not stand. ``until``: the move up to
    which a class shuns a place that it has left, shape (class, place).
    """

    crowd: Crowd
    classes: Whole
    at: Whole
    counts: Counts
    until: Whole

    @classmethod
    def begun(cls, crowd: Crowd, classes: Whole, at: Whole) -> Settling:
        """Carriers of classes at places."""
        counts = np.where(crowd.open != 0, 0, CLOSED).astype(np.int32)
        for k, place in zip(classes.tolist(), at.tolist(), strict=True):
            _mark(crowd, counts, k, place, 1)
        return cls(crowd, classes, at, counts, np.zeros(counts.shape, dtype=np.int64))

    def in_the_way(self) -> Whole:
        """How many others are in the way of each carrier, shape (carrier,)."""
        itself = np.diagonal(self.crowd.apart)[self.classes] > 0
        return self.counts[self.classes, self.at].astype(np.int64) - itself


def settle(s: Settling, now: int, picks: NDArray[np.float64]) -> int:
    """Move one carrier after another that has somebody in its way to where the fewest are.

    ``now``: moves made before. ``picks``: shape (move, 3), 0 to 1: who moves, which of equally good places, for how
    long the old one is shunned. Returns the sum of ``s.in_the_way``: 0 when all is well, and then it stops.
    """
    c, classes, at, counts, until = s
    itself = (np.diagonal(c.apart) > 0)[classes]
    total = fewest = int(s.in_the_way().sum())
    for i, (who_pick, place_pick, long_pick) in enumerate(picks.tolist()):
        bad = np.flatnonzero(counts[classes, at] > itself)
        if not bad.size:
            return 0
        who = int(bad[int(who_pick * bad.size)])
        k, old = int(classes[who]), int(at[who])
        _mark(c, counts, k, old, -1)
        had, row = int(counts[k, old]), counts[k].copy()
        shunned = (until[k] > now + i) & (total + 2 * (row - had) >= fewest)
        row[shunned] = CLOSED
        row[old] = CLOSED
        best = int(row.min())
        if best < CLOSED:
            fit = np.flatnonzero(row == best)
            at[who] = fit[int(place_pick * fit.size)]
            until[k, old] = now + i + int(10 * long_pick) + bad.size * 6 // 10
            total += 2 * (best - had)
            fewest = min(fewest, total)
        _mark(c, counts, k, int(at[who]), 1)
    return total


def _mark(c: Crowd, counts: Counts, k: int, place: int, sign: int) -> None:
    for j in np.flatnonzero(c.apart[k]).tolist():
        reach = int(c.apart[k, j]) - 1
        counts[j, max(place - reach, 0) : place + reach + 1] += sign


def cliques(joined: NDArray[np.bool_]) -> list[Sequence[int]]:
    """Sets of classes that are all joined and to which no other can be added: all of them, or the first ones (Bron and
    Kerbosch's algorithm 457, Comm. ACM 16 (1973), from memory).
    """
    neighbours = [set(np.flatnonzero(row).tolist()) - {k} for k, row in enumerate(joined)]

    def grown(members: list[int], can: set[int], could: set[int]) -> Iterator[Sequence[int]]:
        if not can and not could:
            yield members
            return
        pivot = max(sorted(can | could), key=lambda k: len(neighbours[k] & can))
        for k in sorted(can - neighbours[pivot]):
            yield from grown([*members, k], can & neighbours[k], could & neighbours[k])
            can, could = can - {k}, could | {k}

    found = grown([], set(range(len(neighbours))), set())
    return [members for _, members in zip(range(MOST_CLIQUES), found, strict=False)]
