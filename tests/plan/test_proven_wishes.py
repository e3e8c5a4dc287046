"""As few broken wishes as in any plan that is as good otherwise, against every assignment of tiny, invented shows."""

from __future__ import annotations

from itertools import count

import pytest

from fallow.plan.places import Ground
from fallow.plan.search.engine import numpy_kernels
from fallow.plan.search.proven_wishes import with_fewest_broken
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution, improve
from fallow.plan.search.trying import Patience
from fallow.plan.search.wishes import unkept_in
from fallow.show.wanted import Wanted
from plan.plain_groups import every_plan, plain_breaches, tiny_show


def question_of(wanted: Wanted) -> Question:
    return Question.build(wanted, Ground(), spares=0)


def heedless(question: Question) -> Solution:
    """A plan that cares for no wish."""
    steps = count(1)
    *_, best = improve(question, seed=1, should_stop=lambda: next(steps) > 20)
    return best


def broken(wanted: Wanted, at_hz: dict[str, int]) -> int:
    """Pairs that break a wish, however many of them it is that they break."""
    return len({names for _, names in plain_breaches(wanted, at_hz, hard=False)})


def shows_that_break_wishes() -> list[int]:
    """Seeds of shows of which every link has a place in a heedless plan that breaks a wish."""
    found = []
    for seed in range(60):
        question = question_of(tiny_show(seed, hard=False))
        plan = heedless(question)
        if unkept_in(plan, question) and len(plan.frequencies_hz) == len(question.links):
            found.append(seed)
    return found


def test_fewest_broken_wishes_of_all_plans_with_every_link() -> None:
    improved = 0
    for seed in shows_that_break_wishes()[:16]:
        wanted = tiny_show(seed, hard=False)
        question = question_of(wanted)
        plan = heedless(question)
        best, proven = with_fewest_broken(plan, question, Patience(20_000), numpy_kernels)
        whole = [at_hz for at_hz in every_plan(wanted) if len(at_hz) == len(wanted.links)]
        least = min(broken(wanted, at_hz) for at_hz in whole)
        assert proven
        assert unkept_in(best, question) == least == broken(wanted, dict(best.frequencies_hz))
        improved += unkept_in(plan, question) > least
    assert improved > 3


def test_without_steps_or_with_links_left_out_nothing_is_claimed() -> None:
    question = question_of(tiny_show(shows_that_break_wishes()[0], hard=False))
    plan = heedless(question)
    assert with_fewest_broken(plan, question, Patience(0), numpy_kernels) == (plan, False)
    fewer = Solution(dict(list(plan.frequencies_hz.items())[1:]), (), plan.score)
    assert with_fewest_broken(fewer, question, Patience(), numpy_kernels) == (fewer, False)


@pytest.mark.parametrize("seed", [0, 1])
def test_a_plan_that_keeps_every_wish_is_left_alone(seed: int) -> None:
    question = question_of(tiny_show(seed, hard=True))
    plan = heedless(question)
    assert with_fewest_broken(plan, question, Patience(), numpy_kernels) == (plan, False)
