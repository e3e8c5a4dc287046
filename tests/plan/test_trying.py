"""The exact number of links that fit, against every way to place every choice of them (a plain search of our own)."""

from __future__ import annotations

from itertools import product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.places import Ground
from fallow.plan.search.bounds import Bound, most
from fallow.plan.search.question import Question
from fallow.plan.search.trying import lowered_by_trial
from fallow.show.link import AreaLosses, Link
from fallow.show.wanted import Wanted
from plan.plain_conflicts import plain_conflicts, standing_links
from plan.test_repair import radio
from plan.test_search import as_solution

MHZ = 1_000_000


@given(st.integers(0, 10**6))
@settings(max_examples=20)
def test_exactly_as_many_as_trying_everything_finds(seed: int) -> None:
    random = np.random.default_rng(seed)
    hz = sorted(500 * MHZ + 25_000 * int(i) for i in random.choice(70, 5, replace=False))
    kinds = [
        radio(*hz, name=n, spacing_hz=int(s), im3_hz=80_000, im3_three_hz=50_000) for n, s in (("a", 3e5), ("b", 5e5))
    ]
    scenes = [frozenset[str](), frozenset({"one"}), frozenset({"two"})]
    links = tuple(
        Link(f"l{i}", str(random.choice(["a", "b"])), str(random.choice(["hall", "yard"])), scenes[random.integers(3)])
        for i in range(4)
    )
    losses = AreaLosses(frozenset({frozenset(("hall", "yard"))}) if random.random() < 0.3 else frozenset())
    show = Wanted(links, {kind.name: kind for kind in kinds}, losses)
    exact = max(
        sum(f >= 0 for f in at)
        for at in product([-1, *hz], repeat=4)
        if not plain_conflicts(standing_links(show, as_solution(links, at)), losses)
    )
    question = Question.build(show, Ground(), spares=0)
    bound = lowered_by_trial(question, most(question), exact, steps=10_000)
    assert (bound.links if bound else 4) == exact
    free = lowered_by_trial(question, most(question), 0, steps=10_000)
    assert (free.links if free else 4) == exact


def test_it_says_what_was_tried_and_stops_when_out_of_steps() -> None:
    e = radio(500 * MHZ, 500_300_000)
    show = Wanted(tuple(Link(f"l{i}", e.name) for i in range(2)), {e.name: e})
    question = Question.build(show, Ground(), spares=0)
    assert lowered_by_trial(question, None, 1) == Bound(1, "every way to place all 2 was tried, and there is none")
    assert lowered_by_trial(question, None, 1, steps=0) is None


def test_fixed_links_count_and_stay() -> None:
    e = radio(500 * MHZ, 500_300_000, 501 * MHZ)
    fixed = Link("guest", e.name, frequency_hz=500 * MHZ, fixed=True)
    show = Wanted((fixed, Link("a", e.name), Link("b", e.name)), {e.name: e})
    question = Question.build(show, Ground(), spares=0)
    bound = lowered_by_trial(question, None, 2)
    assert bound is not None
    assert bound.links == 2
