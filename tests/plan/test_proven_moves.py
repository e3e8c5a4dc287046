"""Re-plans that are proven the smallest, against every assignment of tiny shows. Everything here is invented."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from fallow.plan.places import Ground
from fallow.plan.search.engine import numpy_kernels
from fallow.plan.search.headroom import standing_hz
from fallow.plan.search.proven_moves import _largest_sets, with_fewest_moves
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.score import score_of
from fallow.plan.search.search import Solution, improve, solution_of
from fallow.plan.search.trying import Patience
from fallow.show.duplex import return_name
from fallow.show.link import ForeignCarrier
from fallow.show.wanted import Wanted
from plan.plain_groups import every_plan
from plan.test_move_weights import tiny_show as show_of_weights
from plan.test_move_weights import weight_of_moves
from plan.test_pairs import goes_together, placed, stopper
from plan.test_pairs import tiny_show as show_of_pairs

STEP_HZ = 100_000


def careless(wanted: Wanted, question: Question) -> Solution:
    """A plan that cares for no home."""
    *_, best = improve(Question.build(wanted, Ground(), spares=0), seed=1, should_stop=stopper(20))
    at_hz = standing_hz(best, question)
    return solution_of(question, score_of(question, at_hz), at_hz)


def proven(wanted: Wanted, keep: dict[str, int]) -> tuple[Solution, FewestMoves]:
    """What trying makes of such a plan, with nothing known."""
    question = Question.build(wanted, Ground(), keep=keep, spares=0)
    return with_fewest_moves(careless(wanted, question), FewestMoves(), question, Patience(20_000), numpy_kernels)


def changed(wanted: Wanted, keep: dict[str, int], at_hz: dict[str, int]) -> int:
    """What changes, by weight; a link with two directions once."""
    names = {one.name for one in wanted.links}
    total = 0
    for link in wanted.links:
        both = [name for name in (link.name, return_name(link.name)) if name in names and name in keep]
        is_back = link.equipment.endswith(" return")
        total += 0 if is_back else link.move_weight * any(at_hz.get(name) != keep[name] for name in both)
    return total


@pytest.mark.parametrize("seed", range(40))
def test_no_plan_with_as_many_links_changes_less_and_that_is_known(seed: int) -> None:
    wanted, keep = show_of_weights(seed)
    plan, fewest = proven(wanted, keep)
    counts = placed(wanted, plan.frequencies_hz)
    least = min(weight_of_moves(wanted, keep, at) for at in every_plan(wanted) if placed(wanted, at) == counts)
    assert weight_of_moves(wanted, keep, plan.frequencies_hz) == least == -plan.score.changed
    assert fewest.weight_at_least == least


@pytest.mark.parametrize("seed", range(40))
def test_the_same_of_links_with_two_directions(seed: int) -> None:
    wanted = show_of_pairs(seed)
    random = np.random.default_rng(seed)
    every = [at_hz for at_hz in every_plan(wanted) if goes_together(wanted, at_hz)]
    keep = dict(every[int(random.integers(len(every)))])
    stranger = ForeignCarrier("x", 500_000_000 + STEP_HZ * int(random.integers(0, 8)), spacing_hz=STEP_HZ)
    wanted = replace(wanted, foreign=(stranger,))
    every = [at_hz for at_hz in every_plan(wanted) if goes_together(wanted, at_hz)]
    plan, fewest = proven(wanted, keep)
    counts = placed(wanted, plan.frequencies_hz)
    least = min(changed(wanted, keep, at_hz) for at_hz in every if placed(wanted, at_hz) == counts)
    assert changed(wanted, keep, dict(plan.frequencies_hz)) == least == -plan.score.changed
    assert fewest.at_least == least


def test_without_steps_nothing_is_said() -> None:
    wanted, keep = next((w, k) for w, k in map(show_of_weights, range(40)) if proven(w, k)[0].score.changed < 0)
    question = Question.build(wanted, Ground(), keep=keep, spares=0)
    best = careless(wanted, question)
    assert with_fewest_moves(best, FewestMoves(), question, Patience(0), numpy_kernels) == (best, FewestMoves())


@pytest.mark.parametrize(("weights", "budget"), [((1, 1, 1), 2), ((5, 1, 2, 2), 4), ((3, 3), 2), ((), 1), ((2,), 5)])
def test_largest_sets_are_those_to_which_none_can_be_added(weights: tuple[int, ...], budget: int) -> None:
    everyone = range(len(weights))
    within = [
        frozenset(some)
        for count in range(len(weights) + 1)
        for some in combinations(everyone, count)
        if sum(weights[i] for i in some) <= budget
    ]
    largest = {one for one in within if not any(one < other for other in within)}
    found = list(_largest_sets(weights, budget))
    assert len(found) == len(set(found))
    assert set(found) == largest
