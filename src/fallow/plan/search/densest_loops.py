"""Equal links in one place, tried out exhaustively from the lowest carrier up: plain loops, to be compiled by numba.

Interpreted they are slow, and otherwise the same. Carriers are places on a raster; each new one lies above all others,
so a conflict with it is one of these: it is too near to the last, or a product of three or four with it as the highest.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["FITS", "GAVE_UP", "NONE_FITS", "fit_upwards"]

Whole = NDArray[np.int64]
Mask = NDArray[np.uint8]

NONE_FITS, FITS, GAVE_UP = 0, 1, 2


def fit_upwards(
    allowed: Mask, rule: Whole, spans: Whole, places: Whole, at_zero: bool, shrink: bool, nodes: int
) -> int:
    """Place as many carriers as ``places`` holds; says whether they fit, and leaves them there.

    ``allowed``: 1 where a carrier may stand, shape (M,). ``rule``: fewest steps between neighbours, and the most steps
    by which products 2A−B, A+B−C and 3A−2B are too near (−1: not asked). ``spans[k]``: no k carriers take fewer steps
    from the first to the last. ``at_zero``: only with the first at place 0. ``shrink``: go on for the shortest way, so
    that ``places`` ends with it. ``nodes``: give up after so many places looked at.
    """
    n, size = places.shape[0], allowed.shape[0]
    blocked = np.zeros((n + 1, size), dtype=np.uint8)
    blocked[0] = 1 - allowed
    at = np.zeros(n, dtype=np.int64)
    at[0] = -1
    depth, outcome = 0, NONE_FITS
    while depth >= 0:
        x = at[depth] + 1
        last = size - 1 - spans[n - depth]
        if at_zero and depth == 0:
            last = min(last, 0)
        while x <= last and blocked[depth, x]:
            x += 1
        if x > last:
            depth -= 1
            continue
        at[depth] = x
        nodes -= 1
        if nodes < 0:
            return GAVE_UP
        if depth == n - 1:
            outcome = FITS
            places[:] = at
            if not shrink:
                return FITS
            size = x  # only what is shorter than this from now on
            depth -= 1
            continue
        block_above(blocked[depth], blocked[depth + 1], at, depth, rule, size)
        depth += 1
        at[depth] = min(x + rule[0], size) - 1
    return outcome


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
