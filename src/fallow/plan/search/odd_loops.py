"""Kernels for carriers off the raster, in hertz: plain loops for ``loops``, to be compiled with them.

A pair of which one is off the raster stands in the histograms like any other, so that a third on the raster meets it
there; only for a third off the raster every product is marked by itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.tables import FORMS_OF_TWO, SENDS, SUFFERS, Tables

__all__ = ["mark_between", "mark_near", "odd_pairs", "odd_triples", "pair_of", "widen_oddly"]

Counts = NDArray[np.int32]
Whole = NDArray[np.int64]
Ground = tuple[int, int, Whole, Whole]
"""First place and step [Hz] of the raster, its segments, and the extent of what is marked (``Tables``)."""


def odd_pairs(t: Tables, j: int, x: int, x_odd: bool, sign: int) -> None:
    """Products of x and one other carrier, one of the two off the raster."""
    g, role = t.groups[j], t.roles[j]
    for form in range(FORMS_OF_TWO):
        if t.two_hz[g, form, 0, 0] > 0:
            if role & SENDS:
                _odd_products(t, j, form, x, x_odd, sign)
            for own in range(t.grade_count[g]):
                _odd_senders(t, j, form, own, x, x_odd, sign)


def _odd_products(t: Tables, j: int, form: int, x: int, x_odd: bool, sign: int) -> None:
    """On one more victim: products of x and one sender."""
    g, grade, grid = t.groups[j], t.grades[j], (t.base_hz, t.step_hz)
    row, asked_hz, m, n = t.victim_row[g], t.two_hz[g, form], form + 2, form + 1
    for i in range(t.sender_count[g]):
        a, others_grade = t.senders_hz[g, i], t.senders_grade[g, i]
        if x_odd or t.senders_at[g, i] < 0:
            mark_near(grid, row, 1, m * x - n * a, asked_hz[grade, others_grade], sign)
            mark_near(grid, row, 1, m * a - n * x, asked_hz[others_grade, grade], sign)


def _odd_senders(t: Tables, j: int, form: int, own: int, x: int, x_odd: bool, sign: int) -> None:
    """As ``_mark_senders``, in hertz."""
    g, role, grade, grid = t.groups[j], t.roles[j], t.grades[j], (t.base_hz, t.step_hz)
    row, asked_hz, m, n = t.sender_row[t.grade_start[g] + own], t.two_hz[g, form], form + 2, form + 1
    if role & SUFFERS:
        for i in range(t.sender_count[g]):
            if x_odd or t.senders_at[g, i] < 0:
                s, others_grade = t.senders_hz[g, i], t.senders_grade[g, i]
                mark_near(grid, row, m, x + n * s, asked_hz[own, others_grade], sign)
                mark_near(grid, row, n, m * s - x, asked_hz[others_grade, own], sign)
    if role & SENDS:
        for i in range(t.victim_count[g]):
            if x_odd or t.victims_at[g, i] < 0:
                mark_near(grid, row, m, t.victims_hz[g, i] + n * x, asked_hz[own, grade], sign)
                mark_near(grid, row, n, m * x - t.victims_hz[g, i], asked_hz[grade, own], sign)


def odd_triples(t: Tables, j: int, x: int, sign: int) -> None:
    """Three-carrier products of x, off the raster, with all pairs."""
    g, role, asked_hz = t.groups[j], t.roles[j], t.three_hz[t.groups[j]]
    if role & SENDS:
        _triples(t, j, t.victim_row[g], t.victim_extent[g], asked_hz[t.grades[j]], x, sign)
    for own in range(t.grade_count[g]):
        row = t.sender_row[t.grade_start[g] + own]
        if role & SUFFERS:
            _triples(t, j, row, t.sender_extent[g], asked_hz[own], x, sign)
        if role & SENDS:
            _triples_on_victims(t, j, row, asked_hz[own, t.grades[j]], x, sign)


def _triples(t: Tables, j: int, row: Counts, extent: Whole, asked_hz: Whole, x: int, sign: int) -> None:
    """With two senders: products of x on one more victim, or on x those of one more sender.

    ``asked_hz``: by the grades of the two senders.
    """
    g, ground = t.groups[j], (t.base_hz, t.step_hz, t.segments, extent)
    for i in range(t.sender_count[g]):
        for k in range(i + 1, t.sender_count[g]):
            distance_hz = asked_hz[t.senders_grade[g, i], t.senders_grade[g, k]]
            _mark_triple(ground, row, (x, t.senders_hz[g, i], t.senders_hz[g, k]), distance_hz, sign)


def _triples_on_victims(t: Tables, j: int, row: Counts, asked_hz: Whole, x: int, sign: int) -> None:
    """With one sender, x and one more sender, on victims. ``asked_hz``: by the grade of the one sender."""
    g = t.groups[j]
    ground = t.base_hz, t.step_hz, t.segments, t.sender_extent[g]
    for i in range(t.victim_count[g]):
        for k in range(t.sender_count[g]):
            if t.senders[g, k] != t.victims[g, i]:
                carriers = t.victims_hz[g, i], x, t.senders_hz[g, k]
                _mark_triple(ground, row, carriers, asked_hz[t.senders_grade[g, k]], sign)


def _mark_triple(ground: Ground, row: Counts, carriers: tuple[int, int, int], distance_hz: int, sign: int) -> None:
    """Two of three carriers, less the third; in all three ways."""
    a, b, c = carriers
    _mark_inside(ground, row, a + b - c, distance_hz, sign)
    _mark_inside(ground, row, a + c - b, distance_hz, sign)
    _mark_inside(ground, row, b + c - a, distance_hz, sign)


def _mark_inside(ground: Ground, row: Counts, product_hz: int, distance_hz: int, sign: int) -> None:
    """As ``mark_near``, but only where three-carrier products are counted: in segments and in the group's extent."""
    base_hz, step_hz, segments, extent = ground
    offset = product_hz - base_hz
    low, past = (offset - distance_hz) // step_hz + 1, -((-offset - distance_hz) // step_hz)
    for s in range(segments.shape[0]):
        first, last = max(low, segments[s, 0], extent[0]), min(past, segments[s, 1], extent[1])
        mark_between(row, first, last - 1, sign)


def widen_oddly(t: Tables, j: int, x: int, x_odd: bool, sign: int) -> None:
    """As ``_widen``, in hertz: pairs of which one is off the raster. With a third that is on it they count as any."""
    g, grade, asked_hz = t.groups[j], t.grades[j], t.three_hz[t.groups[j]]
    apart = -(t.size + t.pad) * t.step_hz, t.step_hz
    summed = 2 * t.base_hz - t.pad * t.step_hz, t.step_hz
    if t.roles[j] & SENDS:
        for third in range(t.grade_count[g]):
            differences, sums = t.differences[t.grade_start[g] + third], t.sums[t.grade_start[g] + third]
            for i in range(t.sender_count[g]):
                if x_odd or t.senders_at[g, i] < 0:
                    other, wide_hz = t.senders_hz[g, i], asked_hz[grade, t.senders_grade[g, i], third]
                    mark_near(apart, differences, 1, x - other, wide_hz, sign)
                    mark_near(apart, differences, 1, other - x, wide_hz, sign)
                    mark_near(summed, sums, 1, x + other, wide_hz, sign)
    for high in range(t.grade_count[g]):
        for low in range(high + 1):
            _widen_victims_oddly(t, j, pair_of(t.pair_start[g], low, high), asked_hz[:, low, high], x, x_odd, sign)


def _widen_victims_oddly(t: Tables, j: int, pair: int, asked_hz: Whole, x: int, x_odd: bool, sign: int) -> None:
    """As ``_widen_victims``, in hertz."""
    g, role = t.groups[j], t.roles[j]
    less, more, both = t.victim_less_sender[pair], t.sender_less_victim[pair], t.victim_and_sender[pair]
    apart = -(t.size + t.pad) * t.step_hz, t.step_hz
    summed = 2 * t.base_hz - t.pad * t.step_hz, t.step_hz
    if role & SUFFERS:
        for i in range(t.sender_count[g]):
            if x_odd or t.senders_at[g, i] < 0:
                other, wide_hz = t.senders_hz[g, i], asked_hz[t.senders_grade[g, i]]
                mark_near(apart, less, 1, x - other, wide_hz, sign)
                mark_near(apart, more, 1, other - x, wide_hz, sign)
                mark_near(summed, both, 1, x + other, wide_hz, sign)
    if role & SENDS:
        wide_hz = asked_hz[t.grades[j]]
        for i in range(t.victim_count[g]):
            if x_odd or t.victims_at[g, i] < 0:
                mark_near(apart, less, 1, t.victims_hz[g, i] - x, wide_hz, sign)
                mark_near(apart, more, 1, x - t.victims_hz[g, i], wide_hz, sign)
                mark_near(summed, both, 1, x + t.victims_hz[g, i], wide_hz, sign)


def pair_of(start: int, one: int, other: int) -> int:
    """Where two grades of a group have their row, those of the group beginning at ``start``."""
    low, high = min(one, other), max(one, other)
    return start + high * (high + 1) // 2 + low


def mark_near(grid: tuple[int, int], row: Counts, times: int, product_hz: int, distance_hz: int, sign: int) -> None:
    """Add ``sign`` at all places f with |times · f − product| < distance. ``grid``: first place, step of a raster."""
    if distance_hz <= 0:
        return
    step = times * grid[1]
    offset = product_hz - times * grid[0]
    low = (offset - distance_hz) // step + 1
    high = -((-offset - distance_hz) // step) - 1
    mark_between(row, low, high, sign)


def mark_between(row: Counts, low: int, high: int, sign: int) -> None:
    for f in range(max(low, 0), min(high + 1, row.shape[0])):
        row[f] += sign
