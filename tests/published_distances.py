"""Published problems that ask for distances between carriers alone, with the shortest spans that are known.

Philadelphia: data as in the public ``philadelphia.py`` of the ``frequency-selection`` example at
github.com/dwave-examples, which cites the FAP web page of the Zuse Institute Berlin and A. Koster's thesis (1999); with
"squared distance ≤ 7" for P2, P4 and P6, with which the clique bound of P6 meets the published optimum. P8 has distance
2 up to squared distance 3 (from memory): "best known" rather than a strict test. GEOM30b: ``bench/data/bmcp`` of
github.com/coin-or/python-mip; published optimum of 77 channels from memory, proven again by CP-SAT.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.packing import Packed

Whole = NDArray[np.int64]

CELLS = [(q, r) for r, row in enumerate((range(5), range(-2, 5), range(-3, 3), range(-1, 2))) for q in row]
D1 = (8, 25, 8, 8, 8, 15, 18, 52, 77, 28, 13, 15, 31, 15, 36, 57, 28, 8, 10, 13, 8)
D3 = (5, 5, 5, 8, 12, 25, 30, 25, 30, 40, 40, 45, 20, 30, 25, 15, 15, 30, 20, 20, 25)
SHORT, LONG = 7, 11  # squared distance up to which cells meet
GEOM30B_DEMAND = (2, 1, 3, 3, 3, 1, 2, 3, 3, 3, 2, 2, 3, 2, 1, 3, 2, 3, 3, 1, 2, 1, 3, 3, 2, 3, 1, 2, 3, 3)
GEOM30B_SAME = 10
GEOM30B = """1:10-8 12-4 13-4 15-6 25-3 28-9; 2:11-2 12-6 16-6 17-2 18-1 20-1 21-8 22-9 25-1 26-3;
3:6-1 14-3 17-2 18-4 26-1 29-2; 4:14-1 24-8 27-8 29-1 30-9; 5:16-4 19-9; 6:8-6 9-7 18-3; 7:14-2 29-5;
8:9-4 11-4 18-1 20-1; 10:25-6 28-7; 11:20-9 21-6 22-3; 12:16-2 17-3 22-4 25-3 26-3;
13:15-9 23-4 24-6 27-1 28-5 30-3; 14:17-4 26-3 27-4 29-9 30-1; 15:23-6 24-3 28-7; 16:19-7 21-7 22-8 25-6;
17:18-7 26-9; 18:26-8; 19:21-2 22-3 25-4; 20:21-7 22-4; 21:22-9; 22:25-2; 23:28-5; 24:27-8 30-9; 27:29-3 30-9"""


@dataclass(frozen=True)
class Problem:
    """Carriers of each class, places that two classes keep apart, and the shortest span that is published."""

    need: Whole
    apart: Whole
    published: int


def problems() -> dict[str, Problem]:
    """All of them by name."""
    d1, d3, even = np.array(D1), np.array(D3), np.full(len(CELLS), 20)
    return {
        "P1": philadelphia(d1, LONG, 426),
        "P2": philadelphia(d1, SHORT, 426),
        "P3": philadelphia(d3, LONG, 257),
        "P4": philadelphia(d3, SHORT, 252),
        "P5": philadelphia(even, LONG, 239),
        "P6": philadelphia(even, SHORT, 179),
        "P7": philadelphia(2 * d1, LONG, 855),
        "P8": philadelphia(d1, LONG, 524, two_up_to=3),
        "P9": philadelphia(4 * d1, LONG, 1713),
        "GEOM30b": geom30b(),
    }


def philadelphia(demand: Whole, meet_up_to: int, published: int, two_up_to: int = 1) -> Problem:
    """21 hexagonal cells: 5 channels apart in one cell, 2 in cells next to each other, 1 in others that meet."""
    q, r = np.array(CELLS).T
    dq, dr = q[:, np.newaxis] - q, r[:, np.newaxis] - r
    squared = dq * dq + dr * dr + dq * dr
    apart = np.select([squared == 0, squared <= two_up_to, squared <= meet_up_to], [5, 2, 1], 0)
    return Problem(demand, apart, published)


def geom30b() -> Problem:
    """30 nodes with distances of their own."""
    apart = np.diag(np.full(len(GEOM30B_DEMAND), GEOM30B_SAME))
    for row in GEOM30B.replace("\n", " ").split(";"):
        node, edges = row.split(":")
        for edge in edges.split():
            other, distance = edge.split("-")
            apart[int(node) - 1, int(other) - 1] = apart[int(other) - 1, int(node) - 1] = int(distance)
    return Problem(np.array(GEOM30B_DEMAND), apart, 76)


def check(problem: Problem, packed: Packed) -> None:
    """Pair by pair: everybody stands somewhere, and nobody too near. Raises ValueError."""
    classes, at = np.nonzero(packed.taken)
    if not np.array_equal(np.bincount(classes, minlength=problem.need.size), problem.need):
        raise ValueError("somebody has no place")
    for i in range(at.size):
        for j in range(i):
            if abs(int(at[i] - at[j])) < problem.apart[classes[i], classes[j]]:
                raise ValueError(f"{at[i]} and {at[j]} are too near")
    if packed.top - int(at.min()) < problem.published:
        raise ValueError("shorter than the published optimum")
