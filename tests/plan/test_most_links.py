"""As many links as in any assignment, priority by priority; on tiny shows, all invented."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fallow.plan.places import Ground
from fallow.plan.search.engine import numpy_kernels
from fallow.plan.search.most_links import with_most_links
from fallow.plan.search.question import Question
from fallow.plan.search.score import score_of
from fallow.plan.search.search import Solution, solution_of
from fallow.plan.search.trying import Patience
from fallow.show.wanted import Wanted
from plan.plain_groups import every_plan, tiny_show
from plan.test_pairs import goes_together, placed
from plan.test_pairs import tiny_show as show_of_pairs
from plan.test_pairs_left_out import crowded_show


def poor_plan(question: Question) -> Solution:
    """A plan that places nobody but fixed links."""
    at_hz = question.facts.home_hz * 0 - 1
    return solution_of(question, score_of(question, at_hz), at_hz)


def check(wanted: Wanted) -> None:
    question = Question.build(wanted, Ground(), spares=0)
    best = with_most_links(poor_plan(question), question, Patience(20_000), numpy_kernels)
    whole = [at_hz for at_hz in every_plan(wanted) if goes_together(wanted, at_hz)]
    assert placed(wanted, best.frequencies_hz) == max(placed(wanted, at_hz) for at_hz in whole)
    assert best.frequencies_hz in whole or not best.frequencies_hz


@pytest.mark.parametrize("seed", range(20))
def test_of_links_with_one_direction(seed: int) -> None:
    check(tiny_show(seed, hard=True))


@pytest.mark.parametrize("seed", range(20))
def test_of_links_with_two_directions(seed: int) -> None:
    check(show_of_pairs(seed))


@pytest.mark.parametrize("seed", range(12))
def test_of_crowded_shows_with_priorities(seed: int) -> None:
    show = crowded_show(seed)
    check(replace(show, links=tuple(replace(link, priority=1 + len(link.area) % 2) for link in show.links)))


def test_without_steps_the_plan_stays() -> None:
    question = Question.build(show_of_pairs(1), Ground(), spares=0)
    plan = poor_plan(question)
    assert with_most_links(plan, question, Patience(0), numpy_kernels) is plan
