"""Whatever the search yields has no conflict of its own making, gets better each time, and keeps the order of what
matters.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import count, pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.places import Ground
from fallow.plan.search.engine import Kernels, NumpyKernels
from fallow.plan.search.question import Question
from fallow.plan.search.score import Score, score_of
from fallow.plan.search.search import Solution, improve
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import ForeignCarrier, Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.painted_ground import PaintedGround
from plan.plain_conflicts import plain_conflicts, random_show, standing_links


def solutions(
    question: Question, steps: int, seed: int = 1, kernels: Callable[[], Kernels] = NumpyKernels
) -> list[Solution]:
    taken = count(1)
    return list(improve(question, seed=seed, should_stop=lambda: next(taken) >= steps, kernels=kernels))


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


def radio(*presets_hz: int, name: str = "invented", **distances: int) -> Equipment:
    """Presets only; distances as given, the rest not asked."""
    asked = {"spacing_hz": 350_000, "im3_hz": None, "im3_three_hz": None, "im5_hz": None} | distances
    return Equipment(name, Kind.MICROPHONE, (), 0, presets_hz, 200_000, 10.0, None, **asked)  # type: ignore[arg-type]


def best_of(wanted: Wanted, *, ground: Ground | None = None, steps: int = 40, **build: object) -> Solution:
    question = Question.build(wanted, ground or Ground(), **build)  # type: ignore[arg-type]  # its keyword arguments
    return solutions(question, steps)[-1]


MHZ = 1_000_000


def test_one_link_of_priority_1_outweighs_any_number_of_others() -> None:
    wide, narrow = (
        radio(501 * MHZ, name="wide", spacing_hz=5 * MHZ),
        radio(500 * MHZ, 501 * MHZ, 502 * MHZ, name="narrow"),
    )
    others = tuple(Link(f"other {i}", "narrow", priority=2) for i in range(3))
    wanted = Wanted((*others, Link("star", "wide", priority=1)), {"wide": wide, "narrow": narrow})
    assert best_of(wanted, spares=0).frequencies_hz == {"star": 501 * MHZ}


def test_fixed_links_stay_and_are_planned_around_even_where_they_collide() -> None:
    e = radio(500 * MHZ, 500_100_000, 501 * MHZ)
    fixed = tuple(Link(f"guest {i}", e.name, frequency_hz=500 * MHZ, fixed=True) for i in range(2))
    found = best_of(Wanted((*fixed, Link("ours", e.name)), {e.name: e}), spares=0)
    assert found.frequencies_hz == {"guest 0": 500 * MHZ, "guest 1": 500 * MHZ, "ours": 501 * MHZ}


def test_links_without_trouble_stay_where_the_old_plan_has_them() -> None:
    e = radio(*(500 * MHZ + 400_000 * i for i in range(8)))
    links = tuple(Link(f"link {i}", e.name) for i in range(4))
    keep = {"link 0": 501_200_000, "link 1": 501_200_000, "link 2": 502_800_000, "link 3": 777 * MHZ}
    found = best_of(Wanted(links, {e.name: e}), keep=keep, spares=0)
    assert len(found.frequencies_hz) == 4
    assert found.score.changed == -2
    assert found.frequencies_hz["link 2"] == 502_800_000
    assert 501_200_000 in (found.frequencies_hz["link 0"], found.frequencies_hz["link 1"])


def test_a_kept_link_on_a_place_now_occupied_moves() -> None:
    e = radio(500 * MHZ, 501 * MHZ)
    ground = PaintedGround(occupied=[Span(500 * MHZ, 500 * MHZ + 1)])
    found = best_of(Wanted((Link("one", e.name),), {e.name: e}), ground=ground, keep={"one": 500 * MHZ}, spares=0)
    assert found.frequencies_hz == {"one": 501 * MHZ}


def test_clean_before_doubtful_before_not_measured_and_never_occupied() -> None:
    e = radio(500 * MHZ, 501 * MHZ, 502 * MHZ, 503 * MHZ)
    ground = PaintedGround(
        not_measured=[Span(500 * MHZ, 500 * MHZ + 1)],
        doubtful=[Span(501 * MHZ, 501 * MHZ + 1)],
        occupied=[Span(502 * MHZ, 502 * MHZ + 1)],
    )
    for n, expected in ((1, {503}), (2, {501, 503}), (3, {500, 501, 503}), (4, {500, 501, 503})):
        links = tuple(Link(f"link {i}", e.name) for i in range(n))
        found = best_of(Wanted(links, {e.name: e}), ground=ground, spares=0)
        assert {hz // MHZ for hz in found.frequencies_hz.values()} == expected


def test_places_that_strangers_products_hit_are_worth_less_but_allowed() -> None:
    e = radio(500 * MHZ, 501 * MHZ, im3_hz=100_000)
    strangers = tuple(ForeignCarrier(f"s{i}", hz * MHZ, products=True) for i, hz in enumerate((510, 520)))
    for n in (1, 2):
        links = tuple(Link(f"link {i}", e.name) for i in range(n))
        found = best_of(Wanted(links, {e.name: e}, foreign=strangers), spares=0)
        assert len(found.frequencies_hz) == n
        assert found.score.hit == 1 - n
        assert 501 * MHZ in found.frequencies_hz.values()


def test_spares_come_after_the_links_and_never_at_their_cost() -> None:
    e = radio(500 * MHZ, 501 * MHZ, 502 * MHZ)
    for n, spares in ((1, 2), (2, 1), (3, 0)):
        found = best_of(Wanted(tuple(Link(f"link {i}", e.name) for i in range(n)), {e.name: e}), spares=2)
        assert (len(found.frequencies_hz), len(found.spares)) == (n, spares)
        assert [spare.name for spare in found.spares] == ["spare invented 1", "spare invented 2"][:spares]


def test_a_wish_is_granted_where_it_costs_nothing() -> None:
    e = radio(*(500 * MHZ + 500_000 * i for i in range(6)))
    links = (
        Link("a", e.name),
        Link("wishes", e.name, frequency_hz=500 * MHZ),
        Link("b", e.name, frequency_hz=777 * MHZ),
    )
    found = best_of(Wanted(links, {e.name: e}), spares=0)
    assert found.frequencies_hz["wishes"] == 500 * MHZ
    assert len(found.frequencies_hz) == 3


def test_the_thinnest_margin_is_made_as_wide_as_possible() -> None:
    hz = [500 * MHZ + 500_000 * i for i in range(6)]
    e = radio(*hz)
    ground = PaintedGround(margin_db=dict(zip(hz, [3.0, 9.0, 1.0, 8.0, 2.0, 7.0], strict=True)))
    found = best_of(Wanted(tuple(Link(f"l{i}", e.name) for i in range(3)), {e.name: e}), ground=ground, spares=0)
    assert found.score.thinnest_db == 7.0


def test_three_links_that_never_share_one_scene_make_no_product() -> None:
    """Pairwise they do: a with b in one, b with c in two, a with c in three."""
    e = radio(500 * MHZ, 501 * MHZ, 502 * MHZ, im3_hz=100_000)
    pairs = (("one", "three"), ("one", "two"), ("two", "three"))
    apart = tuple(Link(f"link {i}", e.name, scenes=frozenset(pair)) for i, pair in enumerate(pairs))
    assert len(best_of(Wanted(apart, {e.name: e}), spares=0).frequencies_hz) == 3
    together = tuple(Link(f"link {i}", e.name, scenes=frozenset({"one", *pair})) for i, pair in enumerate(pairs))
    assert len(best_of(Wanted(together, {e.name: e}), spares=0).frequencies_hz) == 2


def test_the_first_plan_comes_without_asking_and_the_search_stops_when_told() -> None:
    calls = count()
    plans = improve(Question.build(random_show(6), Ground()), seed=1, should_stop=lambda: next(calls) >= 0)
    assert next(plans) is not None
    assert next(calls) == 0
    assert list(plans) == []


def test_nothing_to_place_is_no_error() -> None:
    for wanted in (Wanted((), {}), Wanted((Link("own", "x", planned=False),), {})):
        assert best_of(wanted).frequencies_hz == {}
    e = radio()
    assert best_of(Wanted((Link("one", e.name),), {e.name: e})).frequencies_hz == {}


@given(st.integers(0, 10**6))
@settings(max_examples=25)
def test_small_questions_are_answered_as_well_as_can_be(seed: int) -> None:
    """Against every way to place four links: placed by priority, then changes, then verdicts."""
    compiled = pytest.importorskip("fallow.plan.search.compiled")
    random = np.random.default_rng(seed)
    distances = {name: int(random.integers(50_000, 300_000)) for name in ("im3_hz", "im3_three_hz", "im5_hz")}
    hz = sorted(500 * MHZ + 25_000 * int(i) for i in random.choice(80, 6, replace=False))
    e = radio(*hz, spacing_hz=int(random.integers(100_000, 700_000)), **distances)
    scenes = [frozenset[str](), frozenset({"one"}), frozenset({"two"})]
    links = tuple(Link(f"l{i}", e.name, scenes=scenes[random.integers(3)], priority=1 + i // 2) for i in range(4))
    wanted = Wanted(links, {e.name: e})
    ground = PaintedGround(doubtful=[Span(f, f + 1) for f in hz[::2]], not_measured=[Span(hz[1], hz[1] + 1)])
    keep = {link.name: hz[int(random.integers(6))] for link in links}
    question = Question.build(wanted, ground, keep=keep, spares=0)  # type: ignore[arg-type]  # a ground for tests
    best = max(
        score_of(question, np.array(at, dtype=np.int64))
        for at in product([-1, *hz], repeat=4)
        if not plain_conflicts(standing_links(wanted, as_solution(links, at)), wanted.losses)
    )
    taken = count(1)
    plans = improve(question, seed=1, should_stop=lambda: next(taken) >= 4000, kernels=compiled.CompiledKernels)
    assert next((plan.score for plan in plans if plan.score >= best), None) == best


def as_solution(links: tuple[Link, ...], at_hz: tuple[int, ...]) -> Solution:
    placed = {link.name: hz for link, hz in zip(links, at_hz, strict=True) if hz >= 0}
    return Solution(placed, (), Score((), 0, 0, 0, 0, 0, 0, 0, 0.0))
