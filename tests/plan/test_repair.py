"""Fewest moves: as few are found as trying everything finds, and no bound is above that (our own plain search)."""

from __future__ import annotations

from itertools import combinations, count, permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.places import Ground
from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.fitting import Fitting
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.search import Solution, improve
from fallow.plan.search.standing import Standing
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import Link
from fallow.show.wanted import Wanted

MHZ = 1_000_000


def radio(*presets_hz: int, name: str = "invented", spacing_hz: int = 350_000, **distances: int) -> Equipment:
    asked = {"im3_hz": None, "im3_three_hz": None, "im5_hz": None} | distances
    return Equipment(name, Kind.MICROPHONE, (), 0, presets_hz, 200_000, 10.0, None, spacing_hz, **asked)  # type: ignore[arg-type]  # distances by name


def replanned(question: Question, steps: int = 300, until: int | None = None) -> tuple[Solution, FewestMoves]:
    """The best plan of so many steps, or the first that places everybody with ``until`` moves."""
    taken, told = count(1), [FewestMoves()]
    plans = []
    for plan in improve(question, seed=1, should_stop=lambda: next(taken) >= steps, tell=told.append):
        plans.append(plan)
        full = len(plan.frequencies_hz) == len(question.links)
        if until is not None and full and plan.score.changed == -until:
            break
    return plans[-1], told[-1]


def conflicts(places_hz: tuple[int, ...], e: Equipment) -> bool:
    """Rules of one area in loops."""
    if any(abs(a - b) < e.spacing_hz for a, b in combinations(places_hz, 2)):
        return True
    for v, a, b in permutations(places_hz, 3):
        if e.im3_hz and abs(2 * a - b - v) < e.im3_hz:
            return True
    return any(
        e.im3_three_hz and a < b and abs(a + b - c - v) < e.im3_three_hz for v, a, b, c in permutations(places_hz, 4)
    )


@given(st.integers(0, 10**6))
@settings(max_examples=20)
def test_as_few_moves_as_trying_everything_and_no_false_bound(seed: int) -> None:
    random = np.random.default_rng(seed)
    places = sorted(500 * MHZ + 25_000 * int(i) for i in random.choice(90, 7, replace=False))
    e = radio(*places, spacing_hz=150_000, im3_hz=60_000, im3_three_hz=50_000)
    homes = [places[i] if random.random() < 0.8 else 777 * MHZ for i in random.choice(7, 4, replace=False)]
    links = tuple(Link(f"l{i}", e.name) for i in range(5))
    keep = {f"l{i}": hz for i, hz in enumerate(homes)}  # the fifth link is new
    question = Question.build(Wanted(links, {e.name: e}), Ground(), keep=keep, spares=0)
    full = [at for at in permutations(places, 5) if not conflicts(at, e)]
    best = min((sum(at[i] != hz for i, hz in enumerate(homes)) for at in full), default=None)
    found, fewest = replanned(question, 150, until=best)
    if best is None:
        assert len(found.frequencies_hz) < 5
        return
    assert len(found.frequencies_hz) == 5
    assert -found.score.changed == best
    assert fewest.at_least <= best


def test_the_bound_is_proven_by_trying_and_says_so() -> None:
    """Home of the first is lost, and every free place is too near to the second or the third: two must move."""
    e = radio(*(500 * MHZ + hz for hz in (0, 300_000, 1_000_000, 1_400_000)), spacing_hz=350_000)
    links = tuple(Link(f"l{i}", e.name) for i in range(3))
    keep = {"l0": 777 * MHZ, "l1": 500 * MHZ + 300_000, "l2": 500 * MHZ + 1_000_000}
    question = Question.build(Wanted(links, {e.name: e}), Ground(), keep=keep, spares=0)
    found, fewest = replanned(question)
    assert -found.score.changed == 1  # 501.4 MHz is free
    assert fewest == FewestMoves(1, "1 link can't stay where the plan in force has it")

    tight = radio(*(500 * MHZ + hz for hz in (0, 300_000, 600_000)), spacing_hz=300_001)
    question = Question.build(
        Wanted(links[:2], {e.name: tight}), Ground(), keep={"l0": 777 * MHZ, "l1": 500_300_000}, spares=0
    )
    found, fewest = replanned(question)
    assert found.frequencies_hz in ({"l0": 500 * MHZ, "l1": 500_600_000}, {"l0": 500_600_000, "l1": 500 * MHZ})
    assert fewest.at_least == 2
    assert "every way to place all links with 1 moved was tried" in fewest.because


def test_homes_that_quarrel_are_counted_once_each() -> None:
    e = radio(*(500 * MHZ + 400_000 * i for i in range(12)))
    links = tuple(Link(f"l{i}", e.name) for i in range(6))
    keep = {"l0": 500 * MHZ, "l1": 500 * MHZ, "l2": 500_800_000, "l3": 500_800_000, "l4": 502 * MHZ, "l5": 504 * MHZ}
    found, fewest = replanned(Question.build(Wanted(links, {e.name: e}), Ground(), keep=keep, spares=0))
    assert (found.score.changed, fewest.at_least) == (-2, 2)
    assert fewest.because == "2 sets of links no longer go together where they are"


def test_a_question_without_a_plan_to_keep_says_nothing_of_moves() -> None:
    e = radio(500 * MHZ, 501 * MHZ)
    _, fewest = replanned(Question.build(Wanted((Link("a", e.name),), {e.name: e}), Ground(), spares=0), 20)
    assert fewest == FewestMoves()


@pytest.mark.parametrize("seed", range(30))
def test_fitting_tries_everything(seed: int) -> None:
    random = np.random.default_rng(seed)
    places = sorted(500 * MHZ + 25_000 * int(i) for i in random.choice(60, 7, replace=False))
    e = radio(*places, spacing_hz=150_000, im3_hz=60_000, im3_three_hz=50_000)
    links = tuple(Link(f"l{i}", e.name) for i in range(4))
    standing = Standing(Question.build(Wanted(links, {e.name: e}), Ground(), spares=0), NumpyKernels)
    standing.put([0], [places[3]])
    before = [table.copy() for table in standing.tables if isinstance(table, np.ndarray)]
    possible = any(not conflicts((places[3], *rest), e) for rest in product(places, repeat=3))
    fitting = Fitting(standing, [1, 2, 3])
    outcome = None
    while outcome is None:
        outcome = fitting.step()
    assert outcome == possible
    if outcome:
        assert not conflicts(tuple(standing.at_hz.tolist()), e)
        standing.take([1, 2, 3])
    assert standing.at_hz.tolist() == [places[3], -1, -1, -1]
    counts = [table for table in standing.tables if isinstance(table, np.ndarray)]
    assert all((a == b).all() for a, b in zip(before, counts, strict=True) if a.ndim == 2 and a.dtype == np.int32)


def test_given_up_it_leaves_nobody_standing() -> None:
    e = radio(*(500 * MHZ + 25_000 * i for i in range(200)), spacing_hz=350_000, im3_hz=100_000, im3_three_hz=50_000)
    links = tuple(Link(f"l{i}", e.name) for i in range(12))
    standing = Standing(Question.build(Wanted(links, {e.name: e}), Ground(), spares=0), NumpyKernels)
    fitting = Fitting(standing, range(12))
    assert fitting.step() is None
    fitting.give_up()
    assert (standing.at_hz == -1).all()
