"""The planner's kernels as plain loops: what ``engine`` does with whole arrays, element by element.

Interpreted they are far too slow; ``compiled`` hands them to numba. They change ``Tables`` in place and must leave
exactly what ``engine`` leaves. Carriers are hertz; a *place* is a position on the raster.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import HOME_ONLY, IN_ANY_TIER, LOWEST
from fallow.plan.search.tables import NO_PLACE, SENDS, SUFFERS, Tables

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
            _join(busy[low:high], t.sender_row[g, low:high])


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
        g, role = t.groups[j], t.roles[j]
        if sign < 0:
            _leave(t, g, role, carrier, x)
        if x < 0 or t.odd_count[g] > 0:
            _odd_pairs(t, g, role, at_hz, x < 0, sign)
        if x >= 0:
            _mark_pairs(t, g, role, x, sign)
            if t.reach[g, 1] >= 0:
                if sign < 0:
                    _widen(t, g, role, x, sign)
                _shift(t, g, role, x, sign)
                if sign > 0:
                    _widen(t, g, role, x, sign)
        if sign > 0:
            _enter(t, g, role, carrier, at_hz, x)


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


def _enter(t: Tables, g: int, role: int, carrier: int, at_hz: int, x: int) -> None:
    if role & SENDS:
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


def _leave(t: Tables, g: int, role: int, carrier: int, x: int) -> None:
    if role & SENDS:
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


def _shift(t: Tables, g: int, role: int, x: int, sign: int) -> None:
    """Three-carrier products of x with all pairs on the raster: the histograms, shifted by x or mirrored at x."""
    for s in range(t.segments.shape[0]):
        if role & SENDS:
            low, n, away, mirrored = _shifted(t, s, t.victim_extent[g], x)
            _add_two(
                t.victim_row[g, low : low + n],
                t.differences[g, away : away + n],
                t.sums[g, mirrored : mirrored + n],
                sign,
            )
        low, n, away, mirrored = _shifted(t, s, t.sender_extent[g], x)
        row = t.sender_row[g, low : low + n]
        if role & SENDS:
            less = t.victim_less_sender[g, away : away + n]
            _add_two(row, less, t.sender_less_victim[g, away : away + n], sign)
            _add_one(row, t.victim_and_sender[g, mirrored : mirrored + n], sign)
        if role & SUFFERS:
            _add_two(row, t.differences[g, away : away + n], t.sums[g, mirrored : mirrored + n], sign)


def _shifted(t: Tables, segment: int, extent: Whole, x: int) -> tuple[int, int, int, int]:
    """First place and number of places of a segment that lie in an extent; where their differences to x, and their
    sums with x, begin in a histogram.
    """
    low = max(t.segments[segment, 0], extent[0])
    n = max(min(t.segments[segment, 1], extent[1]) - low, 0)
    low = low if n > 0 else 0
    return low, n, low - x + t.size + t.pad, low + x + t.pad


def _widen(t: Tables, g: int, role: int, x: int, sign: int) -> None:
    """Bring the pairs of x with the others on the raster into the histograms, as wide as the distance asked for."""
    reach, zero, pad = t.reach[g, 1], t.size + t.pad, t.pad
    for i in range(t.sender_count[g]):
        other = t.senders_at[g, i]
        if other < 0:
            continue
        if role & SENDS:
            _add_window(t.differences[g], zero + x - other, reach, sign)
            _add_window(t.differences[g], zero + other - x, reach, sign)
            _add_window(t.sums[g], pad + x + other, reach, sign)
        if role & SUFFERS:
            _add_window(t.victim_less_sender[g], zero + x - other, reach, sign)
            _add_window(t.sender_less_victim[g], zero + other - x, reach, sign)
            _add_window(t.victim_and_sender[g], pad + x + other, reach, sign)
    if role & SENDS:
        for i in range(t.victim_count[g]):
            other = t.victims_at[g, i]
            if other >= 0:
                _add_window(t.victim_less_sender[g], zero + other - x, reach, sign)
                _add_window(t.sender_less_victim[g], zero + x - other, reach, sign)
                _add_window(t.victim_and_sender[g], pad + x + other, reach, sign)


def _mark_pairs(t: Tables, g: int, role: int, x: int, sign: int) -> None:
    """2A−B and 3A−2B of x with each other carrier on the raster."""
    two, five = t.reach[g, 0], t.reach[g, 2]
    if two < 0 and five < 0:
        return
    for i in range(t.sender_count[g]):
        other = t.senders_at[g, i]
        if other < 0:
            continue
        if role & SENDS:
            _mark_at(t.victim_row[g], 2 * x - other, two, sign)
            _mark_at(t.victim_row[g], 2 * other - x, two, sign)
            _mark_at(t.victim_row[g], 3 * x - 2 * other, five, sign)
            _mark_at(t.victim_row[g], 3 * other - 2 * x, five, sign)
        if role & SUFFERS:
            _mark_sender(t, g, x, other, sign)
    if role & SENDS:
        for i in range(t.victim_count[g]):
            other = t.victims_at[g, i]
            if other >= 0:
                _mark_sender(t, g, other, x, sign)


def _mark_sender(t: Tables, g: int, victim: int, sender: int, sign: int) -> None:
    """Where one more sender f would hit the victim together with the sender: 2f−s, 2s−f, 3f−2s, 3s−2f."""
    two, five = t.reach[g, 0], t.reach[g, 2]
    _mark_halves(t.sender_row[g], victim + sender, two, sign)
    _mark_at(t.sender_row[g], 2 * sender - victim, two, sign)
    _mark_thirds(t.sender_row[g], victim + 2 * sender, five, sign)
    _mark_halves(t.sender_row[g], 3 * sender - victim, five, sign)


def _odd_pairs(t: Tables, g: int, role: int, x_hz: int, x_odd: bool, sign: int) -> None:
    """All products of x in which it, or another of the carriers, is off the raster."""
    if role & SENDS:
        _odd_products(t, g, x_hz, x_odd, sign)
        _odd_senders(t, g, x_hz, x_odd, sign)
    if role & SUFFERS:
        _odd_victim(t, g, x_hz, x_odd, sign)


def _odd_products(t: Tables, g: int, x: int, x_odd: bool, sign: int) -> None:
    """On one more victim: products that x makes with one or two senders."""
    two, three, five = t.distance_hz[g, 0], t.distance_hz[g, 1], t.distance_hz[g, 2]
    row, n = t.victim_row[g], t.sender_count[g]
    for i in range(n):
        a = t.senders_hz[g, i]
        a_odd = x_odd or t.senders_at[g, i] < 0
        if a_odd:
            _mark_hz(t, row, 1, 2 * x - a, two, sign)
            _mark_hz(t, row, 1, 2 * a - x, two, sign)
            _mark_hz(t, row, 1, 3 * x - 2 * a, five, sign)
            _mark_hz(t, row, 1, 3 * a - 2 * x, five, sign)
        if three > 0:
            for j in range(i + 1, n):
                b = t.senders_hz[g, j]
                if a_odd or t.senders_at[g, j] < 0:
                    _mark_hz(t, row, 1, x + a - b, three, sign)
                    _mark_hz(t, row, 1, x + b - a, three, sign)
                    _mark_hz(t, row, 1, a + b - x, three, sign)


def _odd_senders(t: Tables, g: int, x: int, x_odd: bool, sign: int) -> None:
    """On one more sender f: products of f and x, with or without a third, that hit a victim."""
    three, row = t.distance_hz[g, 1], t.sender_row[g]
    for i in range(t.victim_count[g]):
        v = t.victims_hz[g, i]
        v_odd = x_odd or t.victims_at[g, i] < 0
        if v_odd:
            _odd_two(t, g, v, x, sign)
        if three > 0:
            for j in range(t.sender_count[g]):
                a = t.senders_hz[g, j]
                if t.senders[g, j] != t.victims[g, i] and (v_odd or t.senders_at[g, j] < 0):
                    _mark_hz(t, row, 1, v - x + a, three, sign)
                    _mark_hz(t, row, 1, v - a + x, three, sign)
                    _mark_hz(t, row, 1, x + a - v, three, sign)


def _odd_victim(t: Tables, g: int, x: int, x_odd: bool, sign: int) -> None:
    """On one more sender f: products of f with one or two senders that hit x."""
    three, row, n = t.distance_hz[g, 1], t.sender_row[g], t.sender_count[g]
    for i in range(n):
        a = t.senders_hz[g, i]
        a_odd = x_odd or t.senders_at[g, i] < 0
        if a_odd:
            _odd_two(t, g, x, a, sign)
        if three > 0:
            for j in range(i + 1, n):
                b = t.senders_hz[g, j]
                if a_odd or t.senders_at[g, j] < 0:
                    _mark_hz(t, row, 1, x - a + b, three, sign)
                    _mark_hz(t, row, 1, x - b + a, three, sign)
                    _mark_hz(t, row, 1, a + b - x, three, sign)


def _odd_two(t: Tables, g: int, victim: int, sender: int, sign: int) -> None:
    """As ``_mark_sender``, in hertz."""
    two, five, row = t.distance_hz[g, 0], t.distance_hz[g, 2], t.sender_row[g]
    _mark_hz(t, row, 2, victim + sender, two, sign)
    _mark_hz(t, row, 1, 2 * sender - victim, two, sign)
    _mark_hz(t, row, 3, victim + 2 * sender, five, sign)
    _mark_hz(t, row, 2, 3 * sender - victim, five, sign)


def _mark_at(row: Counts, product: int, reach: int, sign: int) -> None:
    """Add ``sign`` at all places f with |f − product| ≤ reach."""
    if reach >= 0:
        _mark_between(row, product - reach, product + reach, sign)


def _mark_halves(row: Counts, product: int, reach: int, sign: int) -> None:
    """Add ``sign`` at all places f with |2 f − product| ≤ reach."""
    if reach >= 0:
        _mark_between(row, -((reach - product) // 2), (product + reach) // 2, sign)


def _mark_thirds(row: Counts, product: int, reach: int, sign: int) -> None:
    """Add ``sign`` at all places f with |3 f − product| ≤ reach."""
    if reach >= 0:
        _mark_between(row, -((reach - product) // 3), (product + reach) // 3, sign)


def _mark_between(row: Counts, low: int, high: int, sign: int) -> None:
    for f in range(max(low, 0), min(high + 1, row.shape[0])):
        row[f] += sign


def _mark_hz(t: Tables, row: Counts, times: int, product_hz: int, distance_hz: int, sign: int) -> None:
    """Add ``sign`` at all places f with |times · f − product| < distance, in hertz."""
    if distance_hz <= 0:
        return
    step = times * t.step_hz
    offset = product_hz - times * t.base_hz
    low = (offset - distance_hz) // step + 1
    high = -((-offset - distance_hz) // step) - 1
    _mark_between(row, low, high, sign)


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
