"""Searches side by side: plans without conflicts, the same ones whenever asked, and no worse than where they began."""

from __future__ import annotations

from itertools import count, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.places import Ground
from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.lanes import improve_side_by_side
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution, improve
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.plain_conflicts import plain_conflicts, random_show, standing_links
from plan.shows import equipment


def side_by_side(question: Question, rounds: int, seed: int = 1, lanes: int = 2) -> list[Solution]:
    asked = count(1)
    found = improve_side_by_side(
        question, seed=seed, should_stop=lambda: next(asked) >= rounds, kernels=NumpyKernels, lanes=lanes
    )
    return list(found)


@given(st.integers(0, 10**6))
@settings(max_examples=15, deadline=None)
def test_plans_of_lanes_have_no_conflicts_and_are_the_same_each_time(seed: int) -> None:
    wanted = random_show(seed)
    question = Question.build(wanted, Ground())
    found = side_by_side(question, 6, seed)
    assert found == side_by_side(question, 6, seed)
    assert all(later.score > earlier.score for earlier, later in pairwise(found))
    assert plain_conflicts(standing_links(wanted, found[-1]), wanted.losses) == []


def crowded() -> Question:
    tuning = (Span(500_000_000, 508_000_000),)
    kind = equipment("mic", tuning=tuning, step_hz=25_000, im5_khz=50)
    links = tuple(Link(f"link {i}", kind.name) for i in range(14))
    return Question.build(Wanted(links, {kind.name: kind}), Ground())


def test_a_lane_that_stays_behind_takes_over_the_best_plan(monkeypatch) -> None:
    monkeypatch.setattr("fallow.plan.search.lanes.PATIENCE", 1)
    found = side_by_side(crowded(), 30, lanes=3)
    assert sum(found[-1].score.placed) >= sum(found[0].score.placed)
    assert found == side_by_side(crowded(), 30, lanes=3)


def test_one_lane_is_the_plain_search() -> None:
    asked = count(1)
    plain = list(improve(crowded(), seed=1, should_stop=lambda: next(asked) >= 20, kernels=NumpyKernels))
    assert side_by_side(crowded(), 20, lanes=1) == plain


def test_what_goes_wrong_in_a_lane_is_heard_of(monkeypatch) -> None:
    def broken(self, *_: object) -> None:
        raise ZeroDivisionError(self)

    monkeypatch.setattr("fallow.plan.search.search.Search._step", broken)
    with pytest.raises(ZeroDivisionError):
        side_by_side(crowded(), 5)


def test_it_stops_at_once_when_told() -> None:
    assert len(side_by_side(crowded(), 1)) == 1
