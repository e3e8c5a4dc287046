"""What ``crowd`` does with whole arrays, as plain loops for ``compiled``: the same plans, element by element."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.crowd import CLOSED, SHARES, Crowd, Settling

__all__ = ["fill_upwards", "settle"]

Counts = NDArray[np.int32]
Whole = NDArray[np.int64]


def fill_upwards(c: Crowd, lean: Whole, share: int, noise: Whole, taken: NDArray[np.uint8]) -> int:
    """See ``crowd.fill_upwards``."""
    n = c.need.shape[0]
    left, free_from, score = c.need.copy(), np.zeros(n, dtype=np.int64), np.empty(n, dtype=np.int64)
    clique_left = np.zeros(c.clique_apart.shape[0], dtype=np.int64)
    for k in range(n):
        for i in range(c.clique_start[k], c.clique_start[k + 1]):
            clique_left[c.cliques[i]] += c.need[k]
    taken[:] = 0
    for place in range(c.open.shape[1]):
        for k in range(n):
            score[k] = -1
            if left[k] > 0 and free_from[k] <= place and c.open[k, place] != 0:
                urgent = SHARES * _urgent(c, k, left[k], clique_left) + share * left[k] * c.apart[k, k]
                score[k] = urgent * lean[k] * noise[place % noise.shape[0], k]
        while True:
            k = _first_of_largest(score)
            if score[k] < 0:
                break
            taken[k, place] = 1
            left[k] -= 1
            for i in range(c.clique_start[k], c.clique_start[k + 1]):
                clique_left[c.cliques[i]] -= 1
            score[k] = -1
            _keep_away(c, k, place, free_from, score)
    return int(left.sum())


def _urgent(c: Crowd, k: int, left: int, clique_left: Whole) -> int:
    urgent = left * c.apart[k, k]
    for i in range(c.clique_start[k], c.clique_start[k + 1]):
        urgent = max(urgent, clique_left[c.cliques[i]] * c.clique_apart[c.cliques[i]])
    return int(urgent)


def _first_of_largest(score: Whole) -> int:
    largest = 0
    for k in range(1, score.shape[0]):
        if score[k] > score[largest]:
            largest = k
    return largest


def _keep_away(c: Crowd, k: int, place: int, free_from: Whole, score: Whole) -> None:
    for j in range(free_from.shape[0]):
        if c.apart[k, j] > 0:
            free_from[j] = max(free_from[j], place + c.apart[k, j])
            if free_from[j] > place:
                score[j] = -1


def settle(s: Settling, now: int, picks: NDArray[np.float64]) -> int:
    """See ``crowd.settle``."""
    c, classes, at, counts, until = s
    total = 0
    for who in range(at.shape[0]):
        total += _others(c, classes, at, counts, who)
    fewest = total
    for i in range(picks.shape[0]):
        bad = 0
        for who in range(at.shape[0]):
            bad += _others(c, classes, at, counts, who) > 0
        if bad == 0:
            return 0
        who = _nth_bad(c, classes, at, counts, int(picks[i, 0] * bad))
        k, old = classes[who], at[who]
        mark(c, counts, k, old, -1)
        had, slack = counts[k, old], fewest - total
        place, best = _choice(counts[k], until[k], old, now + i, slack, had, picks[i, 1])
        if best < CLOSED:
            at[who] = place
            until[k, old] = now + i + int(10 * picks[i, 2]) + bad * 6 // 10
            total += 2 * (best - had)
            fewest = min(fewest, total)
        mark(c, counts, k, at[who], 1)
    return total


def mark(c: Crowd, counts: Counts, k: int, place: int, sign: int) -> None:
    """Count a carrier among what is in the way, or take it off."""
    for j in range(c.apart.shape[0]):
        reach = c.apart[k, j] - 1
        for f in range(max(place - reach, 0), min(place + reach + 1, counts.shape[1])):
            counts[j, f] += sign


def _others(c: Crowd, classes: Whole, at: Whole, counts: Counts, who: int) -> int:
    """How many are in the way of a carrier, itself not counted."""
    k = classes[who]
    return int(counts[k, at[who]] - (1 if c.apart[k, k] > 0 else 0))


def _nth_bad(c: Crowd, classes: Whole, at: Whole, counts: Counts, nth: int) -> int:
    for who in range(at.shape[0]):
        if _others(c, classes, at, counts, who) > 0:
            if nth == 0:
                return who
            nth -= 1
    return -1


def _allowed(row: Counts, until: Whole, f: int, old: int, now: int, slack: int, had: int) -> bool:
    return bool(f != old and (until[f] <= now or 2 * (row[f] - had) < slack))


def _choice(row: Counts, until: Whole, old: int, now: int, slack: int, had: int, pick: float) -> tuple[int, int]:
    """One of the places that may be taken with the fewest in the way, and how many that are."""
    best, fit = CLOSED, 0
    for f in range(row.shape[0]):
        if row[f] <= best and _allowed(row, until, f, old, now, slack, had):
            fit = fit + 1 if row[f] == best else 1
            best = row[f]
    nth = int(pick * fit)
    for f in range(row.shape[0]):
        if row[f] == best and _allowed(row, until, f, old, now, slack, had):
            if nth == 0:
                return f, int(best)
            nth -= 1
    return old, CLOSED
