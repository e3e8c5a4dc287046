"""Traces that were read while the instrument drew them: new up to the bin that it had reached, and old from there on.

Between two readings the instrument writes one stretch of bins, which may run over the end of the axis and on from its
beginning: a stretch on a ring. The next stretch begins where this one ended. That tells it from a trace that hardly
changes, where what comes and goes does so in one place, and from a hold, where records are scattered. Put together in
the order in which they were written, the stretches give the sweeps that the instrument took.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

__all__ = ["FEWEST_LEVELS", "Stretch", "equal_levels", "find_stretches", "put_together"]

FEWEST_LEVELS = 50  # that are equal side by side
SAMPLED = 16  # every so many bins are compared first: of 50 side by side, three are among them
ROWS_AT_ONCE = 4_096
MOST_EQUAL = 0.5  # of the levels of a new stretch; where more are, levels are too coarse to tell where it begins
MANY_LEVELS = 20  # of fewer, more may be equal by chance
MOST_ROWS = 16  # that are asked how often neighbours are equal
LOST_BY_LUCK = 1e-3  # chance of more equal levels at an end of a stretch, which then looks shorter than it is
Levels = NDArray[np.floating]


@dataclass(frozen=True)
class Stretch:
    """The new levels of one row: from bin ``start`` on up to bin ``last``, over the end of the axis where that is less.

    ``equal_share``: of them that equal the row before by chance. ``scattered``: too many do, in a stretch too long.
    """

    start: int
    last: int
    equal_share: float
    scattered: bool = False

    def bins(self, n: int) -> NDArray[np.intp]:
        """Its bins of ``n``, in the order in which they were written."""
        return _ring(self.start, self.last + 1, n)

    def old_bins(self, n: int) -> NDArray[np.intp]:
        """All other bins of ``n``, in the same order."""
        return _ring(self.last + 1, self.start, n)


def find_stretches(levels_db: Levels) -> tuple[dict[int, Stretch], int]:
    """Rows of levels of shape (sweep, bin) that are new in one stretch alone, by their number; and how many rows are
    equal to the one before in part, but not so: there levels are steady.

    A stretch counts that goes on where the one before it ended, or is gone on from by the next; one without another
    before or after it has to be long. None counts where more rows are equal in other ways.
    """
    found: dict[int, Stretch] = {}
    unchanged: set[int] = set()
    for row in _perhaps(levels_db):
        equal = equal_levels(levels_db[row], levels_db[row - 1])
        if equal.all():
            unchanged.add(row)
        elif stretch := _stretch(equal, levels_db[row]):
            found[row] = stretch
    scattered = [row for row, stretch in found.items() if stretch.scattered]
    for row in scattered:
        del found[row]
    believed = _believed(levels_db, found, unchanged) if found else {}
    steady = len(found) - len(believed) + len(scattered)
    return (believed, steady) if steady <= len(believed) else ({}, steady + len(believed))


def put_together(
    levels_db: Levels, again: NDArray[np.bool_], stretches: Mapping[int, Stretch]
) -> tuple[Levels, NDArray[np.intp]]:
    """The sweeps that were taken, shape (sweep, bin), NaN where one was never read; and the row in which each began.

    ``again``: rows that are new nowhere, shape (row,).
    """
    n = levels_db.shape[1]
    everywhere = np.arange(n)
    pieces: list[tuple[int, int, NDArray[np.intp]]] = []  # of which sweep, from which row, which bins
    began: list[int] = []
    empty = np.zeros(n, dtype=np.bool_)  # bins of the last sweep that are not written yet
    for row in np.flatnonzero(~again).tolist():
        bins = stretches[row].bins(n) if row in stretches else everywhere
        if row in stretches:
            fitting = bins[empty[bins]]
            pieces.append((len(began) - 1, row, fitting))
            bins = bins[~empty[bins]]
            empty[fitting] = False
        if bins.size:
            pieces.append((len(began), row, bins))
            began.append(row)
            empty = np.ones(n, dtype=np.bool_)
            empty[bins] = False
    sweeps = np.full((len(began), n), np.nan, dtype=levels_db.dtype)
    for sweep, row, bins in pieces:
        sweeps[sweep, bins] = levels_db[row, bins]
    return sweeps, np.array(began, dtype=np.intp)


def equal_levels(one: Levels, other: Levels) -> NDArray[np.bool_]:
    """Where levels are equal to the last digit, or missing in both."""
    return np.asarray((one == other) | (np.isnan(one) & np.isnan(other)))


def _ring(first: int, end: int, n: int) -> NDArray[np.intp]:
    return (first + np.arange((end - first) % n, dtype=np.intp)) % n


def _perhaps(levels_db: Levels) -> list[int]:
    """Rows that may equal the one before in ``FEWEST_LEVELS`` levels side by side."""
    rows: list[int] = []
    for begin in range(0, levels_db.shape[0] - 1, ROWS_AT_ONCE):
        some = np.array(levels_db[begin : begin + ROWS_AT_ONCE + 1, ::SAMPLED])
        equal = equal_levels(some[1:], some[:-1])
        equal = np.concatenate([equal, equal[:, :2]], axis=1)
        three = (equal[:, :-2] & equal[:, 1:-1] & equal[:, 2:]).any(axis=1)
        rows += (np.flatnonzero(three) + begin + 1).tolist()
    return rows


def _stretch(equal: NDArray[np.bool_], levels: Levels) -> Stretch | None:
    """The only new stretch of a row: all but the widest gap between levels that changed.

    A level like its neighbour tells nothing: where a receiver is at its end, all of them stay as they are.
    """
    changed = np.flatnonzero(~equal)
    telling = ~equal | ((levels != np.roll(levels, 1)) & ~np.isnan(levels))
    counted = np.cumsum(telling)
    place = counted[changed]
    gaps = np.append(place[1:], place[0] + counted[-1]) - place - 1
    widest = int(np.argmax(gaps))
    new = int(counted[-1] - gaps[widest])
    share = 1.0 - changed.size / new
    if gaps[widest] < FEWEST_LEVELS:
        return None
    start, last = int(changed[(widest + 1) % changed.size]), int(changed[widest])
    return Stretch(start, last, share, scattered=share > MOST_EQUAL and new >= MANY_LEVELS)


def _believed(levels_db: Levels, found: Mapping[int, Stretch], unchanged: set[int]) -> dict[int, Stretch]:
    """Stretches that go on from each other, each begun where the last one ended; and long ones that stand alone."""
    n = levels_db.shape[1]
    lost = _lost_by_luck(levels_db, found)
    believed: dict[int, Stretch] = {}
    for chain in _chains(levels_db, found, unchanged, lost):
        new = sum(found[row].bins(n).size for row in chain)
        if len(chain) > 1 and new >= FEWEST_LEVELS:
            for before, row in zip(chain[:1] + chain[:-1], chain, strict=True):
                start = found[row].start if row == before else (found[before].last + 1) % n
                believed[row] = replace(found[row], start=start)
        elif new >= FEWEST_LEVELS and not _beside(chain, found, unchanged):
            believed[chain[0]] = found[chain[0]]
    return believed


def _chains(levels_db: Levels, found: Mapping[int, Stretch], unchanged: set[int], lost: int) -> list[list[int]]:
    """Rows one after another whose stretches go on from each other."""
    chains: list[list[int]] = []
    for row, stretch in found.items():
        before = _before(row, unchanged)
        if before in found and chains and chains[-1][-1] == before:
            between = levels_db[row][_ring(found[before].last + 1, stretch.start, levels_db.shape[1])]
            if np.count_nonzero(between[1:] != between[:-1]) <= 2 * lost:
                chains[-1].append(row)
                continue
        chains.append([row])
    return chains


def _before(row: int, unchanged: set[int]) -> int:
    """The last row before this one that was new somewhere."""
    row -= 1
    while row in unchanged:
        row -= 1
    return row


def _beside(chain: Sequence[int], found: Mapping[int, Stretch], unchanged: set[int]) -> bool:
    """Whether a row has another before or after it that is new in a stretch, too."""
    after = chain[-1] + 1
    while after in unchanged:
        after += 1
    return after in found or _before(chain[0], unchanged) in found


def _lost_by_luck(levels_db: Levels, found: Mapping[int, Stretch]) -> int:
    """How many levels at an end of a stretch may be equal by chance: about as often as neighbours are."""
    some = levels_db[sorted(found)[:: math.ceil(len(found) / MOST_ROWS)]]
    share = max(
        float(np.mean(some[:, 1:] == some[:, :-1])), float(np.median([one.equal_share for one in found.values()]))
    )
    return math.ceil(math.log(LOST_BY_LUCK) / math.log(min(share, MOST_EQUAL))) if share > 0.0 else 0
