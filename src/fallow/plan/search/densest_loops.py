"""Equal links in one place, tried out exhaustively from the lowest carrier up: plain loops, to be compiled by numba.

Interpreted they are slow, and otherwise the same. Carriers are places on a raster; each new one lies above all others,
so a conflict with it is one of these: it is too near to the last, or a product of three or four with it as the highest.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["FITS", "LEFT", "NONE_FITS", "OPEN", "Hunt", "fit_upwards", "hunt_for"]

Whole = NDArray[np.int64]
Mask = NDArray[np.uint8]

NONE_FITS, FITS, OPEN = 0, 1, 2
DEPTH, SIZE, OUTCOME, LEFT = 0, 1, 2, 3


class Hunt(NamedTuple):
    """A trial of so many carriers as ``places`` holds, and how far it has come.

    ``allowed``: 1 where a carrier may stand, shape (M,). ``rule``: fewest steps between neighbours, and the most steps
    by which products 2A−B, A+B−C and 3A−2B are too near (−1: not asked). ``spans[k]``: no k carriers take fewer steps
    from the first to the last. ``at``: where those stand that are placed; ``blocked``: what they block, by how many
    they are; ``now``: how many stand, places that count, what is known of the outcome, and how many of the places that
    were to be looked at are left.
    """

    rule: Whole
    spans: Whole
    places: Whole
    at: Whole
    blocked: Mask
    now: Whole


def hunt_for(n: int, allowed: Mask, rule: Whole, spans: Whole) -> Hunt:
    """The beginning of a trial of n carriers."""
    blocked = np.zeros((n + 1, allowed.size), dtype=np.uint8)
    blocked[0] = 1 - allowed
    at = np.zeros(n, dtype=np.int64)
    at[0] = -1
    return Hunt(rule, spans, np.zeros(n, dtype=np.int64), at, blocked, np.array([0, allowed.size, NONE_FITS, 0]))


def fit_upwards(h: Hunt, at_zero: bool, shrink: bool, nodes: int) -> int:
    """Go on with a trial: whether the carriers fit, which then are in ``places``; ``OPEN`` after so many places looked
    at.

    ``at_zero``: only with the first at place 0. ``shrink``: go on for the shortest way, so that ``places`` ends with
    it.
    """
    n = h.places.shape[0]
    depth, size = h.now[DEPTH], h.now[SIZE]
    while depth >= 0:
        x = h.at[depth] + 1
        last = size - 1 - h.spans[n - depth]
        if at_zero and depth == 0:
            last = min(last, 0)
        while x <= last and h.blocked[depth, x]:
            x += 1
        if x > last:
            depth -= 1
            continue
        if nodes <= 0:
            h.now[DEPTH], h.now[SIZE], h.now[LEFT] = depth, size, 0
            return OPEN
        nodes -= 1
        h.at[depth] = x
        if depth == n - 1:
            h.now[OUTCOME] = FITS
            h.places[:] = h.at
            if not shrink:
                break
            size = x  # only what is shorter than this from now on
            depth -= 1
            continue
        block_above(h.blocked[depth], h.blocked[depth + 1], h.at, depth, h.rule, size)
        depth += 1
        h.at[depth] = min(x + h.rule[0], size) - 1
    h.now[LEFT] = nodes
    return int(h.now[OUTCOME])


def block_above(before: Mask, after: Mask, at: Whole, depth: int, rule: Whole, size: int) -> None:
    """``before``, and what the carrier ``at[depth]`` blocks above itself together with those below it."""
    x = at[depth]
    after[x:size] = before[x:size]
    for i in range(depth):
        mark(after, 2 * x - at[i], rule[1], x, size)  # 2A−B
        mark(after, 3 * x - 2 * at[i], rule[3], x, size)  # 3A−2B
        mark_halves(after, 3 * x - at[i], rule[3], x, size)  # 3A−2B on A's lower neighbour, the new one being B
        for j in range(depth):
            if i > j:
                mark(after, x + at[i] - at[j], rule[2], x, size)
            if i != j:
                mark(after, at[i] + x - at[j], rule[2], x, size)


def mark(row: Mask, middle: int, reach: int, x: int, size: int) -> None:
    """Block the places up to ``reach`` steps from ``middle`` that lie above x."""
    for f in range(max(middle - reach, x), min(middle + reach + 1, size)):
        row[f] = 1


def mark_halves(row: Mask, twice: int, reach: int, x: int, size: int) -> None:
    """Block the places f above x with |2 f − twice| ≤ reach."""
    if reach >= 0:
        for f in range(max(-((reach - twice) // 2), x), min((twice + reach) // 2 + 1, size)):
            row[f] = 1
