"""What stands in a newcomer's way at each place, against the plain audit of the plan with the newcomer there."""

from __future__ import annotations

from collections import Counter

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.carriers import Carrier, Company
from fallow.plan.obstacles import OF_DISTANCE, obstacles_for
from plan.plain_audit import plain_audit
from plan.shows import shows


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


@settings(max_examples=60, deadline=None)
@given(shows(least=1), st.data())
def test_each_place_counts_what_the_plain_audit_finds_there_because_of_the_newcomer(show, data):
    rows, want = show
    *rows, newcomer = rows
    places_hz = sorted({newcomer.frequency_hz, *(data.draw(st.integers(499_900_000, 503_100_000)) for _ in range(5))})
    company = company_with(newcomer, rows, want)
    obstacles = obstacles_for(company, np.array(places_hz, dtype=np.int64))
    before = plain_audit(rows, want)[0]
    for place, hz in enumerate(places_hz):
        moved = type(newcomer)(newcomer.link, newcomer.equipment, newcomer.area, newcomer.scenes, hz)
        found = [one for one in plain_audit([*rows, moved], want)[0] if one not in before]
        kinds = Counter(kind for kind, *_ in found)
        assert [kinds[kind] for kind in OF_DISTANCE] == obstacles.by_kind[:, place].tolist()
        people = Counter(name for _, victim, carriers, *_ in found for name in {victim, *carriers})
        assert [people[one.name] for one in obstacles.carriers] == obstacles.by_carrier[:, place].tolist()
        nearer = Counter(kind for kind, *_, distance_hz, needed_hz in found if 2 * distance_hz < needed_hz)
        assert [nearer[kind] for kind in OF_DISTANCE] == obstacles.halved[:, place].tolist()
