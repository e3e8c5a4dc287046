"""Whether a carrier may stand on any frequency at all, on the raster or off it: all products are made and compared in
hertz.

Slower than the tables by far, and used where they can't tell: for places off the raster.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.tables import SENDS, SUFFERS, Tables

__all__ = ["free_of_products", "free_of_spacing"]

Whole = NDArray[np.int64]


def free_of_spacing(t: Tables, k: int, at_hz: Whole, others: Whole, others_hz: Whole) -> NDArray[np.bool_]:
    """Which of ``at_hz`` a carrier of class ``k`` may take, as far as neighbours go.

    ``others``: the classes of those that stand.
    """
    distance_hz = np.abs(at_hz[:, np.newaxis] - others_hz[np.newaxis, :])
    farthest_hz = t.farthest_hz[others, k]
    kept = (distance_hz >= t.spacing_hz[others, k]) & ((distance_hz <= farthest_hz) | (farthest_hz == 0))
    return np.asarray(kept.all(axis=1))


def free_of_products(t: Tables, k: int, at_hz: Whole, first_stranger: int) -> NDArray[np.bool_]:
    """Which of ``at_hz`` (rising) a carrier of class ``k`` may take, as far as products go.

    Carriers numbered from ``first_stranger`` are not ours; what they make alone does not count.
    """
    marks = np.zeros(at_hz.size + 1, dtype=np.int64)
    for j in range(t.group_start[k], t.group_start[k + 1]):
        g, role = int(t.groups[j]), int(t.roles[j])
        if role & SUFFERS:
            _products_on_victim(t, g, at_hz, first_stranger, marks)
        if role & SENDS:
            _products_with_sender(t, g, at_hz, marks)
    return np.asarray(np.cumsum(marks[:-1]) == 0)


def _products_on_victim(t: Tables, g: int, at_hz: Whole, first_stranger: int, marks: Whole) -> None:
    two, three, five = t.distance_hz[g].tolist()
    hz, ours = t.senders_hz[g, : t.sender_count[g]], t.senders[g, : t.sender_count[g]] < first_stranger
    a, b = np.nonzero(~np.eye(hz.size, dtype=np.bool_))
    counted = ours[a] | ours[b]
    _mark(marks, at_hz, 1, (2 * hz[a] - hz[b])[counted], two)
    _mark(marks, at_hz, 1, (3 * hz[a] - 2 * hz[b])[counted], five)
    if three > 0:
        for c in range(hz.size):
            triples = (a < b) & (a != c) & (b != c) & (counted | ours[c])
            _mark(marks, at_hz, 1, (hz[a] + hz[b] - hz[c])[triples], three)


def _products_with_sender(t: Tables, g: int, at_hz: Whole, marks: Whole) -> None:
    two, three, five = t.distance_hz[g].tolist()
    hz, names = t.senders_hz[g, : t.sender_count[g]], t.senders[g, : t.sender_count[g]]
    for i in range(t.victim_count[g]):
        victim_hz = t.victims_hz[g, i]
        s = hz[names != t.victims[g, i]]
        _mark(marks, at_hz, 2, victim_hz + s, two)
        _mark(marks, at_hz, 1, 2 * s - victim_hz, two)
        _mark(marks, at_hz, 3, victim_hz + 2 * s, five)
        _mark(marks, at_hz, 2, 3 * s - victim_hz, five)
        if three > 0:
            a, b = np.nonzero(~np.eye(s.size, dtype=np.bool_))
            _mark(marks, at_hz, 1, victim_hz - s[a] + s[b], three)
            _mark(marks, at_hz, 1, (s[a] + s[b])[a < b] - victim_hz, three)


def _mark(marks: Whole, at_hz: Whole, times: int, products_hz: Whole, distance_hz: int) -> None:
    """Mark frequencies f with |times · f − product| < distance: +1 where a stretch begins, −1 where it ends."""
    if distance_hz > 0:
        np.add.at(marks, np.searchsorted(at_hz, (products_hz - distance_hz) // times, side="right"), 1)
        np.subtract.at(marks, np.searchsorted(at_hz, -((-products_hz - distance_hz) // times), side="left"), 1)
