"""Equal links tried out: against plain enumeration, holes and all; compiled loops against the interpreted ones."""

from __future__ import annotations

from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.places import Ground
from fallow.plan.search.bounds import most
from fallow.plan.search.densest import Effort, Steps, most_that_fit, shortest_spans
from fallow.plan.search.question import Question
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span


def is_free_of_conflict(at: tuple[int, ...], rule: Steps) -> bool:
    if any(abs(a - b) < rule.spacing for a, b in combinations(at, 2)):
        return False
    for v, a, b in permutations(at, 3):
        if abs(2 * a - b - v) < rule.two or abs(3 * a - 2 * b - v) < rule.fifth:
            return False
    return not any(abs(a + b - c - v) < rule.three for v, a, b, c in permutations(at, 4))


def plain_most(allowed: np.ndarray, rule: Steps) -> int:
    places = np.flatnonzero(allowed).tolist()
    for n in range(len(places), 0, -1):
        if any(is_free_of_conflict(at, rule) for at in combinations(places, n)):
            return n
    return 0


rules = st.builds(Steps, st.integers(1, 4), st.integers(0, 4), st.integers(0, 3), st.integers(0, 3))


@given(rules, st.lists(st.booleans(), min_size=1, max_size=10))
@settings(max_examples=40, deadline=None)
def test_as_many_as_plain_enumeration_finds(rule: Steps, allowed: list[bool]) -> None:
    row = np.array(allowed)
    assert most_that_fit(row, rule, 10, Effort(10**9)) == plain_most(row, rule)


@given(rules, st.lists(st.booleans(), min_size=1, max_size=60))
@settings(max_examples=10, deadline=None)
def test_compiled_loops_say_the_same(rule: Steps, allowed: list[bool]) -> None:
    compiled = pytest.importorskip("fallow.plan.search.compiled_densest")
    row = np.array(allowed)
    for nodes in (5, 300):
        quick, slow = Effort(nodes, compiled.fit_quickly), Effort(nodes)
        assert most_that_fit(row, rule, 6, quick) == most_that_fit(row, rule, 6, slow)
        assert quick.nodes == slow.nodes


def test_it_gives_up_rather_than_guess() -> None:
    assert most_that_fit(np.ones(313, dtype=np.bool_), Steps(14, 4, 2, 2), 13, Effort(200)) is None


@given(rules, st.lists(st.booleans(), min_size=1, max_size=40))
@settings(max_examples=20, deadline=None)
def test_going_on_after_a_pause_is_going_on(rule: Steps, allowed: list[bool]) -> None:
    row = np.array(allowed)
    with pytest.MonkeyPatch.context() as patch:
        whole = most_that_fit(row, rule, 6, Effort(5_000))
        patch.setattr("fallow.plan.search.densest.NODES_AT_ONCE", 3)
        assert most_that_fit(row, rule, 6, Effort(5_000)) == whole


def test_time_that_is_up_ends_the_trial_after_what_is_tried_anyway() -> None:
    row = np.ones(313, dtype=np.bool_)
    effort = Effort(10**9, is_over=lambda: True, anyway=500)
    assert most_that_fit(row, Steps(14, 4, 2, 2), 13, effort) is None
    assert effort.anyway <= 0


def test_a_distance_is_kept_when_it_is_met() -> None:
    assert Steps.of_hz(350_000, (100_000, 50_000, 0), 25_000) == Steps(14, 4, 2, 0)
    assert Steps.of_hz(350_001, (99_999, 50_001, 1), 25_000) == Steps(15, 4, 3, 1)


def test_spans_under_a_usual_rule() -> None:
    """As two earlier programs of ours found them, one of them with a solver of another kind."""
    assert shortest_spans(Steps(14, 4, 2, 2), 8, Effort(10**6)) == [0, 14, 32, 50, 68, 90, 114, 142]


def test_the_bound_of_a_plan_is_exact_where_few_fit() -> None:
    """140 steps of 25 kHz: eight links take 142 (see above), which counting alone does not refute."""
    spans = (Span(500_000_000, 503_500_000),)
    e = Equipment("rule R", Kind.MICROPHONE, spans, 25_000, (), 200_000, 10.0, None, 350_000, 100_000, 50_000, 50_000)
    links = tuple(Link(f"l{i}", e.name) for i in range(8))
    bound = most(Question.build(Wanted(links, {e.name: e}), Ground(), spares=0))
    assert bound is not None
    assert bound.links == 7
    assert bound.because == "at most 7 of 8 links of rule R fit: every way to place more of them was tried"


def test_places_that_may_be_shared_are_not_bounded_so() -> None:
    e = Equipment(
        "no spacing", Kind.CUE, (Span(500_000_000, 500_050_000),), 25_000, (), 10_000, 10.0, None, 0, 10_000, None, None
    )
    links = tuple(Link(f"l{i}", e.name) for i in range(5))
    assert most(Question.build(Wanted(links, {e.name: e}), Ground(), spares=0)) is None
