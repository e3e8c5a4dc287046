"""Whether a carrier may stand on any frequency at all, on the raster or off it: all products are made and compared in
hertz.

Slower than the tables by far, and used where they can't tell: for places off the raster.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.tables import FORMS_OF_TWO, SENDS, SUFFERS, Tables

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
            _products_with_sender(t, g, int(t.grades[j]), at_hz, marks)
    return np.asarray(np.cumsum(marks[:-1]) == 0)


def _products_on_victim(t: Tables, g: int, at_hz: Whole, first_stranger: int, marks: Whole) -> None:
    standing = slice(t.sender_count[g])
    hz, grade, ours = t.senders_hz[g, standing], t.senders_grade[g, standing], t.senders[g, standing] < first_stranger
    a, b = np.nonzero(~np.eye(hz.size, dtype=np.bool_))
    counted = ours[a] | ours[b]
    for form in range(FORMS_OF_TWO):
        products_hz, asked_hz = (form + 2) * hz[a] - (form + 1) * hz[b], t.two_hz[g, form, grade[a], grade[b]]
        _mark(marks, at_hz, 1, products_hz[counted], asked_hz[counted])
    for c in range(hz.size):
        triples = (a < b) & (a != c) & (b != c) & (counted | ours[c])
        one, other = a[triples], b[triples]
        _mark(marks, at_hz, 1, hz[one] + hz[other] - hz[c], t.three_hz[g, grade[one], grade[other], grade[c]])


def _products_with_sender(t: Tables, g: int, own: int, at_hz: Whole, marks: Whole) -> None:
    """Of a newcomer of grade ``own``."""
    standing = slice(t.sender_count[g])
    hz, grades, names = t.senders_hz[g, standing], t.senders_grade[g, standing], t.senders[g, standing]
    for i in range(t.victim_count[g]):
        victim_hz = t.victims_hz[g, i]
        others = names != t.victims[g, i]
        s, grade = hz[others], grades[others]
        for form in range(FORMS_OF_TWO):
            m, n = form + 2, form + 1
            _mark(marks, at_hz, m, victim_hz + n * s, t.two_hz[g, form, own, grade])
            _mark(marks, at_hz, n, m * s - victim_hz, t.two_hz[g, form, grade, own])
        a, b = np.nonzero(~np.eye(s.size, dtype=np.bool_))
        asked_hz, once = t.three_hz[g, own, grade[a], grade[b]], a < b
        _mark(marks, at_hz, 1, victim_hz - s[a] + s[b], asked_hz)
        _mark(marks, at_hz, 1, (s[a] + s[b])[once] - victim_hz, asked_hz[once])


def _mark(marks: Whole, at_hz: Whole, times: int, products_hz: Whole, distance_hz: Whole) -> None:
    """Mark frequencies f with |times · f − product| < distance: +1 where a stretch begins, −1 where it ends; a distance
    of 0 asks for nothing.
    """
    if distance_hz.any():
        asked = distance_hz > 0
        products_hz, distance_hz = products_hz[asked], distance_hz[asked]
        np.add.at(marks, np.searchsorted(at_hz, (products_hz - distance_hz) // times, side="right"), 1)
        np.subtract.at(marks, np.searchsorted(at_hz, -((-products_hz - distance_hz) // times), side="left"), 1)
