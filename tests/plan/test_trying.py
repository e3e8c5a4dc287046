"""The exact number of links that fit, against every way to place every choice of them (a plain search of our own)."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.places import Ground
from fallow.plan.search.bounds import Bound, most
from fallow.plan.search.question import Question
from fallow.plan.search.trying import Patience, can_be_tried, lowered_by_trial
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
    bound = lowered_by_trial(question, most(question), exact, patience=Patience(10_000))
    assert (bound.links if bound else 4) == exact
    free = lowered_by_trial(question, most(question), 0, patience=Patience(10_000))
    assert (free.links if free else 4) == exact


def test_it_says_what_was_tried_and_stops_when_out_of_steps() -> None:
    e = radio(500 * MHZ, 500_300_000)
    show = Wanted(tuple(Link(f"l{i}", e.name) for i in range(2)), {e.name: e})
    question = Question.build(show, Ground(), spares=0)
    assert lowered_by_trial(question, None, 1) == Bound(1, "every way to place all 2 was tried, and there is none")
    assert lowered_by_trial(question, None, 1, patience=Patience(0)) is None


def test_fixed_links_count_and_stay() -> None:
    e = radio(500 * MHZ, 500_300_000, 501 * MHZ)
    fixed = Link("guest", e.name, frequency_hz=500 * MHZ, fixed=True)
    show = Wanted((fixed, Link("a", e.name), Link("b", e.name)), {e.name: e})
    question = Question.build(show, Ground(), spares=0)
    bound = lowered_by_trial(question, None, 2)
    assert bound is not None
    assert bound.links == 2


def test_links_without_a_spacing_may_share_a_place() -> None:
    e = radio(500 * MHZ, spacing_hz=0)
    show = Wanted((Link("a", e.name), Link("b", e.name)), {e.name: e})
    assert lowered_by_trial(Question.build(show, Ground(), spares=0), None, 0) is None


def test_where_widths_are_not_all_told_apart_nothing_is_tried() -> None:
    """The search then keeps more distance than the audit asks for, so what it does not find may exist."""
    widths = [200_000 + 1_000 * i for i in range(5)]
    kinds = [replace(radio(500 * MHZ, name=f"e{w}"), bandwidth_hz=w, product_width=True) for w in widths]
    show = Wanted(tuple(Link(kind.name, kind.name) for kind in kinds), {kind.name: kind for kind in kinds})
    question = Question.build(show, Ground(), spares=0)
    assert not can_be_tried(question)
    assert lowered_by_trial(question, None, 0) is None
    assert can_be_tried(Question.build(replace(show, links=show.links[:4]), Ground(), spares=0))
