"""What stands in a newcomer's way at each place, against the plain audit of the plan with the newcomer there."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.obstacles import LARGEST_TABLE, OF_DISTANCE, obstacles_for
from fallow.show.assignment import Assignment
from plan.plain_audit import plain_audit
from plan.shows import row, shows, wanted


def company_with(newcomer, rows, want):
    ours = [
        Carrier.of_ours(
            row.link,
            want.equipment[row.equipment],
            row.area,
            frozenset() if row.is_spare else row.scenes,
            row.frequency_hz,
        )
        for row in (*rows, newcomer)
    ]
    strangers = [Carrier.of_stranger(foreign) for foreign in want.foreign]
    return Company((*ours[:-1], *strangers, ours[-1]), want.losses)


@st.composite
def crowded(draw):
    """A show, a newcomer from it that has no place, some places for it; what each of them would break, and what with
    half of all distances.
    """
    rows, want = draw(shows(least=1))
    *rows, newcomer = rows
    near_hz = st.lists(st.integers(499_900_000, 503_100_000), max_size=5)
    places_hz = sorted({newcomer.frequency_hz, *draw(near_hz)})
    broken = [newly_broken(rows, newcomer, hz, want) for hz in places_hz]
    halved = [newly_broken(rows, newcomer, hz, with_half_of_all(want)) for hz in places_hz]
    obstacles = obstacles_for(company_with(newcomer, rows, want), np.array(places_hz, dtype=np.int64))
    return obstacles, broken, halved


def newly_broken(rows, newcomer, hz, want):
    there = Assignment(newcomer.link, newcomer.equipment, newcomer.area, newcomer.scenes, hz)
    before = plain_audit(rows, want)[0]
    return [one for one in plain_audit([*rows, there], want)[0] if one not in before]


def with_half_of_all(want):
    """Half of every distance, of whole hertz: less than the half is less than the half rounded up."""
    names = ("spacing_hz", "im3_hz", "im3_three_hz", "im5_hz", "im7_hz")

    def halves(one, names):
        return replace(one, **{name: hz and -(-hz // 2) for name in names if (hz := getattr(one, name)) is not None})

    equipment = {name: halves(kind, names) for name, kind in want.equipment.items()}
    return replace(want, equipment=equipment, foreign=tuple(halves(one, ["spacing_hz"]) for one in want.foreign))


@settings(max_examples=60, deadline=None)
@given(crowded())
def test_each_place_counts_what_the_plain_audit_finds_there_because_of_the_newcomer(case):
    obstacles, broken, with_half = case
    for place, found in enumerate(broken):
        kinds = Counter(kind for kind, *_ in found)
        assert [kinds[kind] for kind in OF_DISTANCE] == obstacles.by_kind[:, place].tolist()
        people = Counter(name for one in found for name in people_of(one))
        assert [people[one.name] for one in obstacles.carriers] == obstacles.by_carrier[:, place].tolist()
        halved = Counter(kind for kind, *_ in with_half[place])
        assert [halved[kind] for kind in OF_DISTANCE] == obstacles.halved[:, place].tolist()


@settings(max_examples=60, deadline=None)
@given(crowded())
def test_what_would_be_free_without_one_thing_is_what_only_that_thing_blocks(case):
    obstacles, broken, with_half = case
    assert obstacles.free.tolist() == [not found for found in broken]
    blocked = [found for found in broken if found]
    for kind in OF_DISTANCE:
        only = [bool(found) and all(one[0] == kind for one in found) for found in broken]
        assert obstacles.freed_without_kind()[kind] == sum(only)
        mild = [alone and not milder for alone, milder in zip(only, with_half, strict=True)]
        assert obstacles.freed_with_half_of_kind()[kind] == sum(mild)
        assert obstacles.blocked_by_kind()[kind] == sum(any(one[0] == kind for one in found) for found in broken)
    for carrier, blocks, frees in zip(
        obstacles.carriers, obstacles.blocked_by_carrier(), obstacles.freed_without_carrier(), strict=True
    ):
        assert blocks == sum(any(carrier.name in people_of(one) for one in found) for found in broken)
        assert frees == sum(all(carrier.name in people_of(one) for one in found) for found in blocked)


def people_of(conflict):
    """Everybody who takes part in a conflict as the plain audit tells it."""
    return {*conflict[2], conflict[1]} - {None}


def test_odd_places_far_apart_are_counted_by_bisection_as_by_table():
    newcomer = Assignment("new", "mic", frequency_hz=0)
    rows = [row("a", 500), row("b", 501)]
    company = company_with(newcomer, rows, wanted())
    places_hz = np.array([1, 500_349_999, 500_350_000, 501_900_001, 501_900_000, 10**10], dtype=np.int64)
    places_hz.sort()
    assert np.diff(places_hz).max() // np.gcd.reduce(np.diff(places_hz)) > LARGEST_TABLE
    obstacles = obstacles_for(company, places_hz)
    # 1 Hz: free; 500.349999: spacing; 500.35: 2 × it − 500 = 500.7 and 2 × 500 − it = 499.65 hit nobody: free;
    # 501.9: exactly 100 kHz from 2 × 501 − 500 = 502: free; 501.900001: too near.
    assert obstacles.free.tolist() == [True, False, True, True, False, True]
