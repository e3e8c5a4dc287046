"""Packing links that only keep distances: kernels against plain checks and each other, and what the search gains."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, count

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.judge.audit import audit
from fallow.plan.places import Ground
from fallow.plan.search import crowd_loops
from fallow.plan.search.crowd import CLOSED, Crowd, Settling, cliques, crowd_of, fill_upwards, settle
from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.only_distances import OnlyDistances
from fallow.plan.search.question import Question
from fallow.plan.search.search import improve
from fallow.plan.search.standing import Standing
from fallow.show.assignment import Assignment
from fallow.show.link import AreaLosses, ForeignCarrier, Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.shows import equipment


def random_crowd(seed: int) -> tuple[Crowd, np.random.Generator]:
    random = np.random.default_rng(seed)
    n, places = int(random.integers(1, 7)), int(random.integers(3, 40))
    half = random.integers(0, 5, (n, n)) * (random.random((n, n)) < 0.7)
    apart = np.maximum(half, half.T)
    is_open = random.random((n, places)) < random.choice([0.5, 1.0])
    is_open[:, 0] = True
    return crowd_of(random.integers(0, 6, n), apart, is_open), random


def too_near(c: Crowd, classes, at) -> int:
    pairs = combinations(range(len(at)), 2)
    return sum(abs(int(at[i]) - int(at[j])) < c.apart[classes[i], classes[j]] for i, j in pairs)


@given(st.integers(0, 10**6))
@settings(max_examples=80)
def test_filling_keeps_all_distances_and_counts_who_is_left_out(seed: int) -> None:
    c, random = random_crowd(seed)
    n = c.need.size
    lean, noise, share = random.integers(1, 3000, n), random.integers(100, 2000, (3, n)), int(random.integers(0, 30))
    taken, by_loops = np.zeros(c.open.shape, dtype=np.uint8), np.ones(c.open.shape, dtype=np.uint8)
    left = fill_upwards(c, lean, share, noise, taken)
    classes, at = np.nonzero(taken)
    assert too_near(c, classes, at) == 0
    assert not (taken > c.open).any()
    assert left == c.need.sum() - at.size
    assert (taken.sum(axis=1) <= c.need).all()
    assert crowd_loops.fill_upwards(c, lean, share, noise, by_loops) == left
    assert np.array_equal(taken, by_loops)


@given(st.integers(0, 10**6))
@settings(max_examples=80)
def test_settling_keeps_its_counts_and_ends_when_nobody_is_in_the_way(seed: int) -> None:
    c, random = random_crowd(seed)
    classes = np.repeat(np.arange(c.need.size), c.need)
    at = np.array([random.choice(np.flatnonzero(c.open[k])) for k in classes], dtype=np.int64)
    one, other = Settling.begun(c, classes, at.copy()), Settling.begun(c, classes, at.copy())
    picks = random.random((60, 3))
    left = settle(one, 0, picks)
    assert left == 2 * too_near(c, classes, one.at) == one.in_the_way().sum()
    assert np.array_equal(one.counts, Settling.begun(c, classes, one.at).counts)
    assert (c.open[classes, one.at] == 1).all()
    assert crowd_loops.settle(other, 0, picks) == left
    for mine, theirs in zip(one[2:], other[2:], strict=True):
        assert np.array_equal(mine, theirs)
    assert one.counts.max(initial=0) < 2 * CLOSED


@given(st.integers(0, 10**6))
@settings(max_examples=40)
def test_cliques_are_all_sets_that_cannot_grow(seed: int) -> None:
    random = np.random.default_rng(seed)
    n = int(random.integers(1, 8))
    joined = np.triu(random.random((n, n)) < 0.5, 1)
    joined |= joined.T
    whole = [set(some) for size in range(1, n + 1) for some in combinations(range(n), size)]
    whole = [some for some in whole if all(joined[i, j] for i, j in combinations(some, 2))]
    largest = [some for some in whole if not any(some < more for more in whole)]
    assert sorted(map(sorted, cliques(joined))) == sorted(map(sorted, largest))


def crowded(n_areas: int = 9, per_area: int = 6, mhz: float = 5.0) -> Wanted:
    """Two types of radio without product rules in a ring of areas that hear their two neighbours to each side."""
    tuning = (Span(500_000_000, 500_000_000 + int(mhz * 1_000_000)),)
    wide = equipment("wide", spacing_khz=350, im3_khz=None, three_khz=None, tuning=tuning, step_hz=25_000)
    dense = equipment("dense", spacing_khz=125, im3_khz=None, three_khz=None, tuning=tuning, step_hz=25_000)
    names = [f"area {i}" for i in range(n_areas)]
    far = [(i, j) for i, j in combinations(range(n_areas), 2) if 2 < (j - i) < n_areas - 2]
    losses = AreaLosses(frozenset(frozenset((names[i], names[j])) for i, j in far))
    links = [
        Link(f"link {a}.{i}", "dense" if i % 3 == 0 else "wide", names[a], priority=1 + (a + i) % 4)
        for a in range(n_areas)
        for i in range(per_area)
    ]
    stranger = ForeignCarrier("stranger", 501_013_000, spacing_hz=200_000)
    return Wanted(tuple(links), {"wide": wide, "dense": dense}, losses, (stranger,))


def drawn_for(wanted: Wanted, missing: int):
    question = Question.build(wanted, Ground(), spares=0)
    only = OnlyDistances(question, Standing(question, NumpyKernels))
    packing = only.packing(np.random.default_rng(1), NumpyKernels)
    return only, packing, None if packing is None else only.draw_hz(packing, missing)


def test_what_is_drawn_is_a_plan_without_conflicts() -> None:
    wanted = crowded()
    only, _, at_hz = drawn_for(wanted, len(wanted.links) + 1)
    assert at_hz is not None
    links = [wanted.links[i] for i in only.links]
    assert [link.priority for link in links] == sorted(link.priority for link in wanted.links)
    rows = [
        Assignment(link.name, link.equipment, link.area, frozenset(), hz)
        for link, hz in zip(links, at_hz, strict=True)
        if hz >= 0
    ]
    assert len(rows) > 40
    assert audit(rows, wanted).conflicts == ()
    assert drawn_for(wanted, 0)[2] is None


def test_links_that_make_products_anywhere_near_are_none_of_its_business() -> None:
    wanted = crowded()
    kinds = dict(wanted.equipment)
    kinds["wide"] = equipment("wide", tuning=kinds["wide"].tuning, step_hz=25_000)
    assert drawn_for(replace(wanted, equipment=kinds), 99)[1] is None


def test_the_search_places_more_links_with_it_than_without(monkeypatch) -> None:
    wanted = crowded(mhz=5.6)

    def placed() -> int:
        steps = count(1)
        *_, last = improve(Question.build(wanted, Ground(), spares=0), seed=1, should_stop=lambda: next(steps) >= 120)
        return sum(last.score.placed)

    with_it = placed()
    monkeypatch.setattr("fallow.plan.search.search.PACKING", 0.0)
    assert with_it > placed()
