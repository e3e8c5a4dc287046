"""Whatever the search yields has no conflict of its own making, gets better each time, and keeps the order of what matters."""

from __future__ import annotations

from itertools import count, pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.places import Ground
from fallow.plan.question import Question
from fallow.plan.search import Solution, improve
from plan.plain_conflicts import plain_conflicts, random_show, standing_links


def solutions(question: Question, steps: int, seed: int = 1) -> list[Solution]:
    taken = count(1)
    return list(improve(question, seed=seed, should_stop=lambda: next(taken) >= steps))


@given(st.integers(0, 10**6), st.booleans())
@settings(max_examples=80)
def test_no_plan_has_a_conflict(seed: int, keeps: bool) -> None:
    wanted = random_show(seed)
    random = np.random.default_rng(seed)
    keep = {link.name: 500_000_000 + 25_000 * int(random.integers(0, 120)) for link in wanted.links} if keeps else None
    question = Question.build(wanted, Ground(), keep=keep)
    found = solutions(question, 12)
    for solution in found:
        assert plain_conflicts(standing_links(wanted, solution), wanted.losses) == []
        for carrier in question.carriers:
            hz = solution.frequencies_hz.get(carrier.name)
            assert hz is None or hz == carrier.fixed_hz or question.worths[carrier.class_index].index(hz) is not None
    assert all(later.score > earlier.score for earlier, later in pairwise(found))
    fixed = {link.name: link.frequency_hz for link in wanted.links if link.fixed and link.planned}
    assert fixed.items() <= found[0].frequencies_hz.items()


@given(st.integers(0, 10**6))
@settings(max_examples=10)
def test_same_seed_same_steps_same_plans(seed: int) -> None:
    question = Question.build(random_show(seed), Ground())
    assert solutions(question, 15, seed) == solutions(question, 15, seed)
