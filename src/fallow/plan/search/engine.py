"""The planner's kernels with whole arrays: put a carrier, take it away, find a free place.

``NumpyKernels`` is always there. ``compiled.CompiledKernels`` does the same with the loops of ``loops``, compiled;
both work on the same ``Tables`` and leave the same counts, so that one can take over from the other at any time.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search import crowd
from fallow.plan.search.crowd import Crowd, Settling
from fallow.plan.search.tables import FORMS_OF_TWO, NO_PLACE, SENDS, SUFFERS, Tables

__all__ = [
    "HOME_ONLY",
    "IN_ANY_TIER",
    "LOWEST",
    "Kernels",
    "NumpyKernels",
    "busy_row",
    "change",
    "choose",
    "enter",
    "numpy_kernels",
]

Counts = NDArray[np.int32]
Whole = NDArray[np.int64]

HOME_ONLY = -2.0  # a pick: nowhere but at home
LOWEST = -1.0  # a pick: the lowest free place of the best tier
FEW_PRODUCTS = 40  # up to so many are marked one by one, because that is quicker
IN_ANY_TIER = 1.0  # added to a pick: free places of all tiers alike


class Kernels(Protocol):
    """What the search needs done quickly.

    Arrays have one entry per carrier, in the order in which they are worked on.
    """

    def place(self, t: Tables, classes: Whole, carriers: Whole, homes: Whole, picks: NDArray[np.float64]) -> Whole:
        """Give each carrier a free place, see ``choose``, and put it there. Returns hertz, −1 where none was free."""

    def put(self, t: Tables, classes: Whole, carriers: Whole, at_hz: Whole) -> None:
        """Put carriers where they are told to stand, whatever is there."""

    def take(self, t: Tables, classes: Whole, carriers: Whole, at_hz: Whole) -> None:
        """Take carriers away that were put at ``at_hz``; undoes ``put`` bit for bit."""

    def wander(
        self, t: Tables, classes: Whole, at_hz: Whole, moves: Whole, picks: NDArray[np.float64], waiting: Whole
    ) -> int:
        """Move carriers one after another to another free place, no worse in tier; after each, try one of those that
        wait.

        ``classes`` and ``at_hz`` are those of all carriers; ``at_hz`` is changed. Stops as soon as one that waits has
        got a place, and returns how many moves were made.
        """

    def busy(self, t: Tables, k: int) -> Counts:
        """Where a class can't stand: not zero, shape (place,); zero says nothing outside the places of the class."""

    def fill_upwards(self, c: Crowd, lean: Whole, share: int, noise: Whole, taken: NDArray[np.uint8]) -> int:
        """See ``crowd.fill_upwards``."""

    def settle(self, s: Settling, now: int, picks: NDArray[np.float64]) -> int:
        """See ``crowd.settle``."""


class NumpyKernels:
    """The kernels in NumPy."""

    def place(self, t: Tables, classes: Whole, carriers: Whole, homes: Whole, picks: NDArray[np.float64]) -> Whole:
        """See ``Kernels``."""
        found_hz = np.full(classes.shape, -1, dtype=np.int64)
        for i, k in enumerate(classes.tolist()):
            place = choose(t, k, busy_row(t, k), int(homes[i]), float(picks[i]))
            if place >= 0:
                found_hz[i] = t.base_hz + place * t.step_hz
                change(t, k, int(carriers[i]), int(found_hz[i]), 1)
        return found_hz

    def put(self, t: Tables, classes: Whole, carriers: Whole, at_hz: Whole) -> None:
        """See ``Kernels``."""
        for k, carrier, hz in zip(classes.tolist(), carriers.tolist(), at_hz.tolist(), strict=True):
            change(t, k, carrier, hz, 1)

    def take(self, t: Tables, classes: Whole, carriers: Whole, at_hz: Whole) -> None:
        """See ``Kernels``."""
        for k, carrier, hz in zip(classes.tolist(), carriers.tolist(), at_hz.tolist(), strict=True):
            change(t, k, carrier, hz, -1)

    def wander(
        self, t: Tables, classes: Whole, at_hz: Whole, moves: Whole, picks: NDArray[np.float64], waiting: Whole
    ) -> int:
        """See ``Kernels``."""
        for i, who in enumerate(moves.tolist()):
            k = int(classes[who])
            change(t, k, who, int(at_hz[who]), -1)
            place = choose(t, k, busy_row(t, k), -1, float(picks[i]))
            if place >= 0:
                at_hz[who] = t.base_hz + place * t.step_hz
            change(t, k, who, int(at_hz[who]), 1)
            if waiting.size:
                newcomer = waiting[i % waiting.size : i % waiting.size + 1]
                found_hz = self.place(t, classes[newcomer], newcomer, np.array([-1]), np.array([LOWEST]))
                if found_hz[0] >= 0:
                    at_hz[newcomer] = found_hz
                    return i + 1
        return moves.size

    def busy(self, t: Tables, k: int) -> Counts:
        """See ``Kernels``."""
        return busy_row(t, k)

    def fill_upwards(self, c: Crowd, lean: Whole, share: int, noise: Whole, taken: NDArray[np.uint8]) -> int:
        """See ``Kernels``."""
        return crowd.fill_upwards(c, lean, share, noise, taken)

    def settle(self, s: Settling, now: int, picks: NDArray[np.float64]) -> int:
        """See ``Kernels``."""
        return crowd.settle(s, now, picks)


def numpy_kernels() -> Kernels:
    """Kernels that need nothing but NumPy."""
    return NumpyKernels()


def choose(t: Tables, k: int, busy: Counts, home: int, pick: float) -> int:
    """One free place for a class, −1 when there is none.

    ``home`` (−1: none) when it is free. Else by ``pick``: ``LOWEST``, or a share 0 to 1 that draws among the free
    places of the best tier, in rising order; plus ``IN_ANY_TIER`` among all free ones.
    """
    if home >= 0 and t.tier[k, home] != NO_PLACE and busy[home] == 0:
        return home
    if pick == HOME_ONLY:
        return -1
    low, high = t.extent[k]
    tier = np.where(busy[low:high] == 0, t.tier[k, low:high], NO_PLACE)
    best = int(tier.min(initial=NO_PLACE))
    if best == NO_PLACE:
        return -1
    free = np.flatnonzero(tier <= (best if pick < IN_ANY_TIER else NO_PLACE - 1))
    nth = 0 if pick < 0.0 else int((pick % 1.0) * free.size)
    return int(low + free[nth])


def busy_row(t: Tables, k: int) -> Counts:
    """Where a class can't stand: anything but zero."""
    busy: Counts = t.spacing_row[k].copy()
    for g, role, grade in _groups_of(t, k):
        if role & SUFFERS:
            busy |= t.victim_row[g]
        if role & SENDS:
            busy |= t.sender_row[t.grade_start[g] + grade]
    return busy


def change(t: Tables, k: int, carrier: int, at_hz: int, sign: int) -> None:
    """Put one carrier of class ``k`` at ``at_hz`` (``sign`` 1) or take it away (−1)."""
    x = t.position(at_hz)
    for other in np.flatnonzero(t.spacing_hz[k]).tolist():
        _mark_hz(t, t.spacing_row[other], 1, np.array([at_hz]), int(t.spacing_hz[k, other]), sign)
    for other in np.flatnonzero(t.farthest_hz[k]).tolist():
        _mark_beyond(t, t.spacing_row[other], at_hz, int(t.farthest_hz[k, other]), sign)
    for g, role, grade in _groups_of(t, k):
        if sign < 0:
            _leave(t, g, role, carrier, x)
        company = _Company(t, g, role, grade)
        _mark_pairs(company, at_hz, sign)
        if t.three_reach[g, 0, 0, 0] >= 0:
            if sign < 0:
                _widen(company, at_hz, sign)
            if x >= 0:
                _shift(company, x, sign)
            else:
                _mark_triples(company, at_hz, sign)
            if sign > 0:
                _widen(company, at_hz, sign)
        if sign > 0:
            _enter(t, g, (role, grade), carrier, at_hz, x)


def enter(t: Tables, k: int, carrier: int, at_hz: int) -> None:
    """Note that a carrier stands, without counting what that forbids."""
    x = t.position(at_hz)
    for g, role, grade in _groups_of(t, k):
        _enter(t, g, (role, grade), carrier, at_hz, x)


def _mark_beyond(t: Tables, row: Counts, at_hz: int, farthest_hz: int, sign: int) -> None:
    """Mark what lies farther from a carrier than is allowed."""
    first = -(-(at_hz - farthest_hz - t.base_hz) // t.step_hz)
    last = (at_hz + farthest_hz - t.base_hz) // t.step_hz
    row[: max(first, 0)] += sign
    row[max(last + 1, 0) :] += sign


class _Company:
    """The carriers placed in a group, and what one more of them is there."""

    def __init__(self, t: Tables, g: int, role: int, grade: int) -> None:
        self.t = t
        self.g = g
        self.sends, self.suffers = bool(role & SENDS), bool(role & SUFFERS)
        self.grade = grade
        self.grades = range(int(t.grade_count[g]))
        self.senders_grade = t.senders_grade[g, : t.sender_count[g]]
        self.senders_hz = t.senders_hz[g, : t.sender_count[g]]
        self.senders_at = t.senders_at[g, : t.sender_count[g]]
        self.senders = t.senders[g, : t.sender_count[g]]
        self.victims_hz = t.victims_hz[g, : t.victim_count[g]]
        self.victims_at = t.victims_at[g, : t.victim_count[g]]
        self.victims = t.victims[g, : t.victim_count[g]]

    def row(self, grade: int) -> int:
        """Where a grade has its row."""
        return int(self.t.grade_start[self.g]) + grade

    def pairs(self) -> Iterator[tuple[int, int, int]]:
        """Pairs of grades, the lower one first, and where each has its row."""
        rows = count(int(self.t.pair_start[self.g]))
        for high in self.grades:
            for low in range(high + 1):
                yield low, high, next(rows)

    def pair(self, one: int, other: int) -> int:
        """Where two grades have their row."""
        low, high = min(one, other), max(one, other)
        return int(self.t.pair_start[self.g]) + high * (high + 1) // 2 + low


def _groups_of(t: Tables, k: int) -> list[tuple[int, int, int]]:
    """Groups of a class with its roles and grades there."""
    own = slice(t.group_start[k], t.group_start[k + 1])
    return list(zip(t.groups[own].tolist(), t.roles[own].tolist(), t.grades[own].tolist(), strict=True))


def _enter(t: Tables, g: int, part: tuple[int, int], carrier: int, at_hz: int, x: int) -> None:
    """``part``: role and grade."""
    role, grade = part
    if role & SENDS:
        t.senders_grade[g, t.sender_count[g]] = grade
        t.senders_hz[g, t.sender_count[g]] = at_hz
        t.senders_at[g, t.sender_count[g]] = x
        t.senders[g, t.sender_count[g]] = carrier
        t.sender_count[g] += 1
    if role & SUFFERS:
        t.victims_hz[g, t.victim_count[g]] = at_hz
        t.victims_at[g, t.victim_count[g]] = x
        t.victims[g, t.victim_count[g]] = carrier
        t.victim_count[g] += 1
    t.odd_count[g] += x < 0


def _leave(t: Tables, g: int, role: int, carrier: int, x: int) -> None:
    if role & SENDS:
        _drop((t.senders[g], t.senders_hz[g], t.senders_at[g], t.senders_grade[g]), t.sender_count, g, carrier)
    if role & SUFFERS:
        _drop((t.victims[g], t.victims_hz[g], t.victims_at[g]), t.victim_count, g, carrier)
    t.odd_count[g] -= x < 0


def _drop(lists: tuple[Whole, ...], counts: Whole, g: int, carrier: int) -> None:
    """Take a carrier (named in the first list) out; the last one fills its gap."""
    last = int(counts[g]) - 1
    gap = int(np.flatnonzero(lists[0][: last + 1] == carrier)[0])
    for each in lists:
        each[gap] = each[last]
    counts[g] = last


def _shift(company: _Company, x: int, sign: int) -> None:
    """Three-carrier products of x, on the raster, with all pairs: the histograms, shifted by x or mirrored at x."""
    t, g = company.t, company.g
    add = np.add if sign > 0 else np.subtract
    for segment in t.segments.tolist():
        if company.sends:
            places, away, mirrored = _shifted(t, segment, t.victim_extent[g], x)
            row, own = t.victim_row[g, places], company.row(company.grade)
            add(row, t.differences[own, away], out=row)
            add(row, t.sums[own, mirrored], out=row)
        places, away, mirrored = _shifted(t, segment, t.sender_extent[g], x)
        for grade in company.grades:
            row = t.sender_row[company.row(grade), places]
            if company.sends:
                pair = company.pair(company.grade, grade)
                add(row, t.victim_less_sender[pair, away], out=row)
                add(row, t.sender_less_victim[pair, away], out=row)
                add(row, t.victim_and_sender[pair, mirrored], out=row)
            if company.suffers:
                add(row, t.differences[company.row(grade), away], out=row)
                add(row, t.sums[company.row(grade), mirrored], out=row)


def _shifted(t: Tables, segment: list[int], extent: Whole, x: int) -> tuple[slice, slice, slice]:
    """The places of a segment that lie in an extent; their differences to x and their sums with x in a histogram."""
    low, high = max(segment[0], int(extent[0])), min(segment[1], int(extent[1]))
    low, n = (low, high - low) if high > low else (0, 0)
    away, mirrored = low - x + t.size + t.pad, low + x + t.pad
    return slice(low, low + n), slice(away, away + n), slice(mirrored, mirrored + n)


def _widen(company: _Company, x: int, sign: int) -> None:
    """Bring the pairs of x with the others into the histograms, as wide as the distance asked for; in hertz, because
    some may be off the raster.
    """
    for other in company.grades:
        senders = company.senders_hz[company.senders_grade == other]
        if company.sends:
            _widen_senders(company, x, senders, other, sign)
        if company.suffers:
            _widen_victims(company, (np.full_like(senders, x), senders), other, sign)
    if company.sends:
        victims = company.victims_hz
        _widen_victims(company, (victims, np.full_like(victims, x)), company.grade, sign)


def _widen_senders(company: _Company, x: int, senders: Whole, their_grade: int, sign: int) -> None:
    """Pairs of senders: x and each of some of one grade."""
    t = company.t
    for third in company.grades:
        row, distance_hz = company.row(third), int(t.three_hz[company.g, company.grade, their_grade, third])
        _add_differences(t, t.differences[row], np.concatenate((x - senders, senders - x)), distance_hz, sign)
        _add_sums(t, t.sums[row], x + senders, distance_hz, sign)


def _widen_victims(company: _Company, pairs: tuple[Whole, Whole], grade: int, sign: int) -> None:
    """Pairs of a victim and a sender of this grade."""
    t, (victims, senders) = company.t, pairs
    for low, high, row in company.pairs():
        distance_hz = int(t.three_hz[company.g, grade, low, high])
        _add_differences(t, t.victim_less_sender[row], victims - senders, distance_hz, sign)
        _add_differences(t, t.sender_less_victim[row], senders - victims, distance_hz, sign)
        _add_sums(t, t.victim_and_sender[row], victims + senders, distance_hz, sign)


def _add_differences(t: Tables, row: Counts, differences_hz: Whole, distance_hz: int, sign: int) -> None:
    _add_near(row, differences_hz + (t.size + t.pad) * t.step_hz, t.step_hz, distance_hz, sign)


def _add_sums(t: Tables, row: Counts, sums_hz: Whole, distance_hz: int, sign: int) -> None:
    _add_near(row, sums_hz - 2 * t.base_hz + t.pad * t.step_hz, t.step_hz, distance_hz, sign)


def _add_near(row: Counts, middles_hz: Whole, step_hz: int, distance_hz: int, sign: int) -> None:
    """Add ``sign`` in all cells with |cell · step − middle| < distance, for each middle."""
    if not middles_hz.size:
        return
    low = np.minimum(np.maximum((middles_hz - distance_hz) // step_hz + 1, 0), row.size)
    past = np.minimum(np.maximum(-((-middles_hz - distance_hz) // step_hz), low), row.size)
    length = past - low
    cells = np.arange(length.sum()) + np.repeat(low - np.cumsum(length) + length, length)
    np.add.at(row, cells, np.int32(sign))


def _mark_pairs(company: _Company, x: int, sign: int) -> None:
    """Products of x with each other carrier alone, in hertz."""
    t, g, a, grades = company.t, company.g, company.senders_hz, company.senders_grade
    for form in range(FORMS_OF_TWO):
        distance_hz = t.two_hz[g, form]
        if distance_hz[0, 0] <= 0:
            continue
        m, n = form + 2, form + 1
        if company.sends:
            products = np.concatenate((m * x - n * a, m * a - n * x))
            asked_hz = np.concatenate((distance_hz[company.grade, grades], distance_hz[grades, company.grade]))
            _mark_hz(t, t.victim_row[g], 1, products, asked_hz, sign)
            own = np.full_like(company.victims_hz, x), np.full_like(company.victims_hz, company.grade)
            _mark_sender(company, form, company.victims_hz, own, sign)
        if company.suffers:
            _mark_sender(company, form, np.full_like(a, x), (a, grades), sign)


def _mark_sender(company: _Company, form: int, victims: Whole, senders: tuple[Whole, Whole], sign: int) -> None:
    """Where one more sender f would hit a victim together with a sender (hertz and grade): m f − n s, m s − n f."""
    t, (senders_hz, grades) = company.t, senders
    m, n = form + 2, form + 1
    for grade in company.grades:
        row = t.sender_row[company.row(grade)]
        distance_hz = t.two_hz[company.g, form]
        _mark_hz(t, row, m, victims + n * senders_hz, distance_hz[grade, grades], sign)
        _mark_hz(t, row, n, m * senders_hz - victims, distance_hz[grades, grade], sign)


def _mark_triples(company: _Company, x: int, sign: int) -> None:
    """Three-carrier products of x, off the raster, with all pairs, in hertz."""
    t, g = company.t, company.g
    distance_hz, grades = t.three_hz[g], company.senders_grade
    senders, victims = company.senders_hz, company.victims_hz
    i, j = np.triu_indices(senders.size, 1)
    a, b = senders[i], senders[j]
    products = np.concatenate(
        (x + a - b, x + b - a, a + b - x)
    )  # the same set for one more victim and for x as the victim
    if company.sends:
        asked_hz = np.tile(distance_hz[company.grade, grades[i], grades[j]], 3)
        _mark_inside(t, t.victim_row[g], t.victim_extent[g], products, asked_hz, sign)
        of, by = np.nonzero(company.victims[:, np.newaxis] != company.senders[np.newaxis, :])
        v, s = victims[of], senders[by]
        on_victims = np.concatenate((v - x + s, v - s + x, x + s - v))
    for grade in company.grades:
        row = t.sender_row[company.row(grade)]
        if company.sends:
            asked_hz = np.tile(distance_hz[grade, company.grade, grades[by]], 3)
            _mark_inside(t, row, t.sender_extent[g], on_victims, asked_hz, sign)
        if company.suffers:
            asked_hz = np.tile(distance_hz[grade, grades[i], grades[j]], 3)
            _mark_inside(t, row, t.sender_extent[g], products, asked_hz, sign)


def _mark_inside(t: Tables, row: Counts, extent: Whole, products_hz: Whole, distance_hz: Whole, sign: int) -> None:
    """As ``_mark_hz``, but only where three-carrier products are counted: in segments and in the group's extent."""
    for low, high in t.segments.tolist():
        inside = max(low, int(extent[0])), min(high, int(extent[1]))
        if inside[0] < inside[1]:
            _mark_hz(t, row, 1, products_hz, distance_hz, sign, inside)


def _mark_hz(
    t: Tables,
    row: Counts,
    times: int,
    products_hz: Whole,
    distance_hz: int | Whole,
    sign: int,
    inside: tuple[int, int] | None = None,
) -> None:
    """Add ``sign`` at all places f with |times · f − product| < distance, for each product, in hertz; ``inside``: only
    in this range of places.
    """
    if not products_hz.size:
        return
    first, beyond = inside or (0, t.size)
    step, offset = times * t.step_hz, products_hz - times * t.base_hz
    low = np.minimum(np.maximum((offset - distance_hz) // step + 1, first), beyond)
    past = np.minimum(np.maximum(-((-offset - distance_hz) // step), low), beyond)
    if low.size <= FEW_PRODUCTS:
        for start, end in zip(low.tolist(), past.tolist(), strict=True):
            if start < end:
                row[start:end] += sign
        return
    edges = np.bincount(low, minlength=t.size + 1) - np.bincount(past, minlength=t.size + 1)
    row += (sign * np.cumsum(edges[: t.size])).astype(np.int32)
