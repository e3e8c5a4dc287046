"""The planner's kernels as plain loops: what ``engine`` does with whole arrays, element by element.

Interpreted they are far too slow; ``compiled`` hands them to numba. They change ``Tables`` in place and must leave
exactly what ``engine`` leaves. Carriers are hertz; a *place* is a position on the raster.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import HOME_ONLY, IN_ANY_TIER, LOWEST
from fallow.plan.search.odd_loops import mark_between, mark_near, odd_pairs, odd_triples, pair_of, widen_oddly
from fallow.plan.search.tables import FORMS_OF_TWO, NO_PLACE, SENDS, SUFFERS, Tables

__all__ = ["PLACE", "PUT", "TAKE", "WANDER", "busy_row", "work"]

Counts = NDArray[np.int32]
Whole = NDArray[np.int64]


PUT, TAKE, PLACE, WANDER = range(4)


def work(
    job: int, t: Tables, classes: Whole, carriers: Whole, at_hz: Whole, others: Whole, picks: NDArray[np.float64]
) -> int:
    """All jobs behind one door, so that what they share is compiled once; see ``engine`` for what each does.

    ``PUT``, ``TAKE``: ``carriers`` of ``classes`` at ``at_hz``. ``PLACE``: ``others`` are homes, ``at_hz`` gets what
    was found. ``WANDER``: ``carriers`` move, ``others`` wait, ``classes`` and ``at_hz`` are those of everybody.
    Returns how many carriers were worked on.
    """
    if job == WANDER:
        return wander_many(t, classes, carriers, at_hz, others, picks)
    if job == PLACE:
        place_many(t, classes, carriers, at_hz, others, picks)
    else:
        for i in range(carriers.shape[0]):
            change(t, classes[i], carriers[i], at_hz[i], 1 if job == PUT else -1)
    return len(carriers)


def place_many(
    t: Tables, classes: Whole, carriers: Whole, found_hz: Whole, homes: Whole, picks: NDArray[np.float64]
) -> None:
    """Give each carrier in turn a free place and put it there."""
    busy = np.zeros(t.size, dtype=np.int32)
    for i in range(classes.shape[0]):
        k = classes[i]
        busy_row(t, k, busy)
        place = choose(t.tier[k], busy, t.extent[k, 0], t.extent[k, 1], homes[i], picks[i])
        found_hz[i] = -1
        if place >= 0:
            found_hz[i] = t.base_hz + place * t.step_hz
            change(t, k, carriers[i], found_hz[i], 1)


def wander_many(
    t: Tables, classes: Whole, moves: Whole, at_hz: Whole, waiting: Whole, picks: NDArray[np.float64]
) -> int:
    """Move carriers about, and let in one of those that wait as soon as there is room. See ``engine``."""
    busy = np.zeros(t.size, dtype=np.int32)
    for i in range(moves.shape[0]):
        who = moves[i]
        k = classes[who]
        change(t, k, who, at_hz[who], -1)
        busy_row(t, k, busy)
        place = choose(t.tier[k], busy, t.extent[k, 0], t.extent[k, 1], -1, picks[i])
        if place >= 0:
            at_hz[who] = t.base_hz + place * t.step_hz
        change(t, k, who, at_hz[who], 1)
        if waiting.shape[0] > 0:
            newcomer = waiting[i % waiting.shape[0]]
            k = classes[newcomer]
            busy_row(t, k, busy)
            place = choose(t.tier[k], busy, t.extent[k, 0], t.extent[k, 1], -1, LOWEST)
            if place >= 0:
                at_hz[newcomer] = t.base_hz + place * t.step_hz
                change(t, k, newcomer, at_hz[newcomer], 1)
                return i + 1
    return len(moves)


def busy_row(t: Tables, k: int, busy: Counts) -> None:
    """Where a class can't stand: anything but zero in ``busy``, within its extent."""
    low, high = t.extent[k, 0], t.extent[k, 1]
    _copy(busy[low:high], t.spacing_row[k, low:high])
    for j in range(t.group_start[k], t.group_start[k + 1]):
        g = t.groups[j]
        if t.roles[j] & SUFFERS:
            _join(busy[low:high], t.victim_row[g, low:high])
        if t.roles[j] & SENDS:
            _join(busy[low:high], t.sender_row[t.grade_start[g] + t.grades[j], low:high])


def choose(tier: NDArray[np.uint8], busy: Counts, low: int, high: int, home: int, pick: float) -> int:
    """One free place: ``home`` if it is free, else by ``pick`` (see ``engine.choose``); −1 when there is none."""
    if home >= 0 and tier[home] != NO_PLACE and busy[home] == 0:
        return home
    if pick == HOME_ONLY:
        return -1
    open_tier = np.empty(high - low, dtype=np.uint8)
    _open_tiers(open_tier, tier[low:high], busy[low:high])
    bar = _lowest(open_tier) if pick < IN_ANY_TIER else NO_PLACE - 1
    count = _count_up_to(open_tier, bar) if bar != NO_PLACE else 0
    if count == 0:
        return -1
    wanted = 0 if pick < 0.0 else int((pick % 1.0) * count)
    for i in range(high - low):
        if open_tier[i] <= bar:
            if wanted == 0:
                return low + i
            wanted -= 1
    return -1


def _open_tiers(open_tier: NDArray[np.uint8], tier: NDArray[np.uint8], busy: Counts) -> None:
    for i in range(open_tier.shape[0]):
        open_tier[i] = tier[i] if busy[i] == 0 else NO_PLACE


def _lowest(open_tier: NDArray[np.uint8]) -> int:
    lowest = np.uint8(NO_PLACE)
    for i in range(open_tier.shape[0]):
        lowest = min(lowest, open_tier[i])
    return int(lowest)


def _count_up_to(open_tier: NDArray[np.uint8], bar: int) -> int:
    count = 0
    for i in range(open_tier.shape[0]):
        count += open_tier[i] <= bar
    return count


def change(t: Tables, k: int, carrier: int, at_hz: int, sign: int) -> None:
    """Put one carrier of class ``k`` at ``at_hz`` or take it away; a take undoes the put bit for bit."""
    x = (at_hz - t.base_hz) // t.step_hz
    if x < 0 or x >= t.size or x * t.step_hz + t.base_hz != at_hz:
        x = -1
    _space(t, k, at_hz, sign)
    for j in range(t.group_start[k], t.group_start[k + 1]):
        g = t.groups[j]
        if sign < 0:
            _leave(t, j, carrier, x)
        oddly = x < 0 or t.odd_count[g] > 0
        if oddly:
            odd_pairs(t, j, at_hz, x < 0, sign)
        if x >= 0:
            _mark_pairs(t, j, x, sign)
        if t.three_reach[g, 0, 0, 0] >= 0:
            if sign < 0:
                _widen(t, j, x, sign)
                if oddly:
                    widen_oddly(t, j, at_hz, x < 0, sign)
            if x >= 0:
                _shift(t, j, x, sign)
            else:
                odd_triples(t, j, at_hz, sign)
            if sign > 0:
                _widen(t, j, x, sign)
                if oddly:
                    widen_oddly(t, j, at_hz, x < 0, sign)
        if sign > 0:
            _enter(t, j, carrier, at_hz, x)


def _space(t: Tables, k: int, at_hz: int, sign: int) -> None:
    """Distances between carriers: mark what lies too near to the carrier, or too far from it."""
    for other in range(t.spacing_hz.shape[0]):
        if t.spacing_hz[k, other] > 0:
            _mark_hz(t, t.spacing_row[other], 1, at_hz, t.spacing_hz[k, other], sign)
        if t.farthest_hz[k, other] > 0:
            _mark_beyond(t, t.spacing_row[other], at_hz, t.farthest_hz[k, other], sign)


def _mark_beyond(t: Tables, row: Counts, at_hz: int, farthest_hz: int, sign: int) -> None:
    first = -((t.base_hz + farthest_hz - at_hz) // t.step_hz)
    last = (at_hz + farthest_hz - t.base_hz) // t.step_hz
    for i in range(min(max(first, 0), t.size)):
        row[i] += sign
    for i in range(max(last + 1, 0), t.size):
        row[i] += sign


def _enter(t: Tables, j: int, carrier: int, at_hz: int, x: int) -> None:
    """A carrier of the class that has entry j comes into the group of the entry."""
    g, role = t.groups[j], t.roles[j]
    if role & SENDS:
        t.senders_grade[g, t.sender_count[g]] = t.grades[j]
        t.senders_hz[g, t.sender_count[g]] = at_hz
        t.senders_at[g, t.sender_count[g]] = x
        t.senders[g, t.sender_count[g]] = carrier
        t.sender_count[g] += 1
    if role & SUFFERS:
        t.victims_hz[g, t.victim_count[g]] = at_hz
        t.victims_at[g, t.victim_count[g]] = x
        t.victims[g, t.victim_count[g]] = carrier
        t.victim_count[g] += 1
    if x < 0:
        t.odd_count[g] += 1


def _leave(t: Tables, j: int, carrier: int, x: int) -> None:
    g, role = t.groups[j], t.roles[j]
    if role & SENDS:
        last = t.sender_count[g] - 1
        for i in range(last):
            if t.senders[g, i] == carrier:
                t.senders_grade[g, i] = t.senders_grade[g, last]
        t.sender_count[g] = _drop(t.senders[g], t.senders_hz[g], t.senders_at[g], t.sender_count[g], carrier)
    if role & SUFFERS:
        t.victim_count[g] = _drop(t.victims[g], t.victims_hz[g], t.victims_at[g], t.victim_count[g], carrier)
    if x < 0:
        t.odd_count[g] -= 1


def _drop(names: Whole, at_hz: Whole, at: Whole, count: int, carrier: int) -> int:
    """Take a carrier out of a list; the last one fills its gap."""
    for i in range(count):
        if names[i] == carrier:
            names[i] = names[count - 1]
            at_hz[i] = at_hz[count - 1]
            at[i] = at[count - 1]
            return count - 1
    return count


def _shift(t: Tables, j: int, x: int, sign: int) -> None:
    """Three-carrier products of x, on the raster, with all pairs: the histograms, shifted by x or mirrored at x."""
    g, role = t.groups[j], t.roles[j]
    for s in range(t.segments.shape[0]):
        if role & SENDS:
            low, n, away, mirrored = _shifted(t, s, t.victim_extent[g], x)
            own = t.grade_start[g] + t.grades[j]
            _add_two(
                t.victim_row[g, low : low + n],
                t.differences[own, away : away + n],
                t.sums[own, mirrored : mirrored + n],
                sign,
            )
        low, n, away, mirrored = _shifted(t, s, t.sender_extent[g], x)
        for grade in range(t.grade_count[g]):
            third = t.grade_start[g] + grade
            row = t.sender_row[third, low : low + n]
            if role & SENDS:
                pair = pair_of(t.pair_start[g], t.grades[j], grade)
                less = t.victim_less_sender[pair, away : away + n]
                _add_two(row, less, t.sender_less_victim[pair, away : away + n], sign)
                _add_one(row, t.victim_and_sender[pair, mirrored : mirrored + n], sign)
            if role & SUFFERS:
                _add_two(row, t.differences[third, away : away + n], t.sums[third, mirrored : mirrored + n], sign)


def _shifted(t: Tables, segment: int, extent: Whole, x: int) -> tuple[int, int, int, int]:
    """First place and number of places of a segment that lie in an extent; where their differences to x, and their
    sums with x, begin in a histogram.
    """
    low = max(t.segments[segment, 0], extent[0])
    n = max(min(t.segments[segment, 1], extent[1]) - low, 0)
    low = low if n > 0 else 0
    return low, n, low - x + t.size + t.pad, low + x + t.pad


def _widen(t: Tables, j: int, x: int, sign: int) -> None:
    """Bring the pairs of x with the others on the raster into the histograms, as wide as the distance asked for.

    Here and below, what is called once for each carrier is not handed the tables: compiled, that costs more than its
    work.
    """
    if x < 0:
        return
    g, role, grade = t.groups[j], t.roles[j], t.grades[j]
    zero, reach = t.size + t.pad, t.three_reach[g]
    if role & SENDS:
        for third in range(t.grade_count[g]):
            differences, sums = t.differences[t.grade_start[g] + third], t.sums[t.grade_start[g] + third]
            for i in range(t.sender_count[g]):
                other, wide = t.senders_at[g, i], reach[grade, t.senders_grade[g, i], third]
                if other >= 0:
                    _add_window(differences, zero + x - other, wide, sign)
                    _add_window(differences, zero + other - x, wide, sign)
                    _add_window(sums, t.pad + x + other, wide, sign)
    for high in range(t.grade_count[g]):
        for low in range(high + 1):
            _widen_victims(t, j, pair_of(t.pair_start[g], low, high), reach[:, low, high], x, sign)


def _widen_victims(t: Tables, j: int, pair: int, reach: Whole, x: int, sign: int) -> None:
    """Pairs of a victim and a sender, for two more senders of a pair of grades. ``reach``: by the sender's grade."""
    g, role, grade = t.groups[j], t.roles[j], t.grades[j]
    less, more, both = t.victim_less_sender[pair], t.sender_less_victim[pair], t.victim_and_sender[pair]
    zero, pad = t.size + t.pad, t.pad
    if role & SUFFERS:
        for i in range(t.sender_count[g]):
            other, wide = t.senders_at[g, i], reach[t.senders_grade[g, i]]
            if other >= 0:
                _add_window(less, zero + x - other, wide, sign)
                _add_window(more, zero + other - x, wide, sign)
                _add_window(both, pad + x + other, wide, sign)
    if role & SENDS:
        wide = reach[grade]
        for i in range(t.victim_count[g]):
            other = t.victims_at[g, i]
            if other >= 0:
                _add_window(less, zero + other - x, wide, sign)
                _add_window(more, zero + x - other, wide, sign)
                _add_window(both, pad + x + other, wide, sign)


def _mark_pairs(t: Tables, j: int, x: int, sign: int) -> None:
    """Products of x with each other carrier alone, on the raster."""
    g, role, grade = t.groups[j], t.roles[j], t.grades[j]
    for form in range(FORMS_OF_TWO):
        reach = t.two_reach[g, form]
        if reach[0, 0] < 0:
            continue
        m, n = form + 2, form + 1
        if role & SENDS:
            row = t.victim_row[g]
            for i in range(t.sender_count[g]):
                other, others_grade = t.senders_at[g, i], t.senders_grade[g, i]
                if other >= 0:
                    _mark_at(row, m * x - n * other, reach[grade, others_grade], sign)
                    _mark_at(row, m * other - n * x, reach[others_grade, grade], sign)
        for own in range(t.grade_count[g]):
            _mark_senders(t, j, form, own, x, sign)


def _mark_senders(t: Tables, j: int, form: int, own: int, x: int, sign: int) -> None:
    """Where one more sender, of grade ``own``, would hit a victim together with x, or x together with a sender."""
    g, role, grade = t.groups[j], t.roles[j], t.grades[j]
    row, reach = t.sender_row[t.grade_start[g] + own], t.two_reach[g, form]
    if role & SUFFERS:
        for i in range(t.sender_count[g]):
            other, others_grade = t.senders_at[g, i], t.senders_grade[g, i]
            if other >= 0:
                _mark_sender(row, form, x, other, reach[own, others_grade], reach[others_grade, own], sign)
    if role & SENDS:
        for i in range(t.victim_count[g]):
            if t.victims_at[g, i] >= 0:
                _mark_sender(row, form, t.victims_at[g, i], x, reach[own, grade], reach[grade, own], sign)


def _mark_sender(row: Counts, form: int, victim: int, sender: int, first: int, second: int, sign: int) -> None:
    """Where one more sender f would hit the victim together with the sender: m f − n s, m s − n f. ``first`` and
    ``second``: how far that reaches.
    """
    m, n = form + 2, form + 1
    _mark_parts(row, m, victim + n * sender, first, sign)
    _mark_parts(row, n, m * sender - victim, second, sign)


def _mark_at(row: Counts, product: int, reach: int, sign: int) -> None:
    """Add ``sign`` at all places f with |f − product| ≤ reach."""
    if reach >= 0:
        mark_between(row, product - reach, product + reach, sign)


def _mark_parts(row: Counts, times: int, product: int, reach: int, sign: int) -> None:
    """Add ``sign`` at all places f with |times · f − product| ≤ reach."""
    if times == 1:
        _mark_at(row, product, reach, sign)
    elif reach >= 0:
        mark_between(row, -((reach - product) // times), (product + reach) // times, sign)


def _mark_hz(t: Tables, row: Counts, times: int, product_hz: int, distance_hz: int, sign: int) -> None:
    """Add ``sign`` at all places f with |times · f − product| < distance, in hertz."""
    mark_near((t.base_hz, t.step_hz), row, times, product_hz, distance_hz, sign)


def _add_window(row: Counts, centre: int, reach: int, sign: int) -> None:
    for f in range(centre - reach, centre + reach + 1):
        row[f] += sign


def _add_one(row: Counts, a: Counts, sign: int) -> None:
    for i in range(row.shape[0]):
        row[i] += sign * a[i]


def _add_two(row: Counts, a: Counts, b: Counts, sign: int) -> None:
    for i in range(row.shape[0]):
        row[i] += sign * (a[i] + b[i])


def _copy(row: Counts, a: Counts) -> None:
    for i in range(row.shape[0]):
        row[i] = a[i]


def _join(row: Counts, a: Counts) -> None:
    for i in range(row.shape[0]):
        row[i] |= a[i]
