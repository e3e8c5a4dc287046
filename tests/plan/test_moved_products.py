"""Products of a carrier that moves, against a plain enumeration: every choice of carriers, every form, one by one.

Truth: the definition of a product, 2A−B, 3A−2B and A+B−C of different carriers (Rec. ITU-R SM.1134).
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.judge.near_products import NOWHERE, People, SumTables
from fallow.plan.judge.products import AUDITED
from fallow.plan.judge.what_if import WhatIf
from fallow.plan.ledger.moved_products import MovedProducts
from fallow.plan.places import Ground
from plan.shows import row, wanted

STEP_HZ = 25_000
BASE_HZ = 500_000_000


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 60), min_size=3, max_size=7),
    st.lists(st.integers(0, 60), min_size=1, max_size=2),
    st.lists(st.integers(1, 6), min_size=7, max_size=7),
    st.data(),
)
def test_all_products_of_the_carrier_are_found_and_no_others(at, places, reaches, data) -> None:
    areas = data.draw(st.lists(st.sampled_from(["hall", "studio"]), min_size=len(at), max_size=len(at)))
    rows = [row(f"link {i}", 500 + 0.025 * step, area=areas[i]) for i, step in enumerate(at)]
    game = WhatIf(rows, wanted(apart=[("hall", "studio")]), Ground())
    people = People.of(game.stage.company, 1)
    hz = BASE_HZ + STEP_HZ * np.array(at, dtype=np.int64)
    off = data.draw(st.integers(0, len(at) - 1))
    p = data.draw(st.integers(0, len(at) - 1))
    hz[off] = hz[off] if off == p else NOWHERE
    reach_hz = STEP_HZ * np.array(reaches[: len(at)], dtype=np.int64)
    places_hz = [BASE_HZ + STEP_HZ * step for step in places]
    found = MovedProducts.of(SumTables.of(people, hz), p, places_hz, reach_hz)
    told = sorted(
        (int(k), AUDITED[f].name, int(v), *map(int, makers[: len(AUDITED[f].coefficients)]), int(d))
        for k, f, v, makers, d in zip(
            found.place, found.form, found.victim, found.makers.T, found.distance_hz, strict=True
        )
    )
    told = sorted({(k, name, v, *_ordered(name, letters), d) for k, name, v, *letters, d in told})
    assert len(told) == found.place.size  # each once
    assert told == sorted(_plainly(people, hz, p, places_hz, reach_hz))


def _plainly(people: People, hz: np.ndarray, p: int, places_hz: list[int], reach_hz: np.ndarray):
    for k, place_hz in enumerate(places_hz):
        at_hz = hz.copy()
        at_hz[p] = place_hz
        on = [i for i in range(len(hz)) if at_hz[i] != NOWHERE]
        for form in AUDITED:
            for victim, *letters in permutations(on, len(form.coefficients) + 1):
                if tuple(letters) != tuple(_ordered(form.name, letters)):
                    continue
                if p not in letters and not (victim == p and k == len(places_hz) - 1):
                    continue
                product_hz = sum(c * int(at_hz[i]) for c, i in zip(form.coefficients, letters, strict=True))
                distance_hz = abs(product_hz - int(at_hz[victim]))
                if distance_hz <= reach_hz[victim] and people.meets[victim, letters].all():
                    yield k, form.name, victim, *letters, distance_hz


def _ordered(name: str, letters: list[int]) -> list[int]:
    """A and B of A+B−C in rising position."""
    return [*sorted(letters[:2]), letters[2]] if name == "A+B-C" else list(letters)
