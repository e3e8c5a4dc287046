"""Each state on the way is audited: no conflict that neither the old plan nor the new one has. Where no order is found,
trying all of them (the plain way) finds none either.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import permutations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.advice.order_of_moves import OrderOfMoves, Retuning, order_of_moves
from fallow.plan.advice.waiting import waiting_places
from fallow.plan.judge.audit import audit
from fallow.plan.places import Ground
from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.question import Question
from fallow.show.assignment import Assignment
from fallow.show.link import ForeignCarrier, Link
from fallow.show.wanted import Wanted
from plan.shows import equipment, row, wanted

Rows = list[Assignment]


def conflicts(rows: Rows, show: Wanted) -> set[tuple[object, ...]]:
    """Each with the places of its carriers, so that the same names elsewhere are another conflict."""
    at_hz = {one.link: one.frequency_hz for one in rows}
    found = audit([one for one in rows if not one.is_spare], show).conflicts
    return {
        (c.kind, c.victim, c.carriers, *(at_hz.get(name) for name in (c.victim, *c.carriers) if name))
        for c in found
        if c.kind != "tuning"
    }


def states(before: Rows, after: Rows, order: OrderOfMoves) -> Iterator[Rows]:
    """Rows on the air after each step that is not silent; silent ones are off meanwhile."""
    quiet = {step.link for step in order.steps if step.silent}
    new = {one.link: one for one in (*before, *after) if not one.is_spare}
    at_hz = {one.link: one.frequency_hz for one in before if one.link in new and one.link not in quiet}
    yield [_at(new[name], hz) for name, hz in at_hz.items()]
    for step in order.steps:
        if not step.silent:
            assert at_hz.get(step.link) == step.from_hz
            at_hz[step.link] = step.to_hz
            yield [_at(new[name], hz) for name, hz in at_hz.items()]


def _at(one: Assignment, hz: int | None) -> Assignment:
    return Assignment(one.link, one.equipment, one.area, one.scenes, hz)


def is_safe(before: Rows, after: Rows, order: OrderOfMoves, show: Wanted) -> bool:
    allowed = conflicts(before, show) | conflicts(after, show)
    return all(conflicts(state, show) <= allowed for state in states(before, after, order))


def two_plans(seed: int, most: int = 6) -> tuple[Rows, Rows, Wanted]:
    """Two invented plans of one show in a narrow band, with conflicts or without; some links are new in the second."""
    random = np.random.default_rng(seed)
    kinds = [equipment(spacing_khz=200, im3_khz=60, three_khz=int(random.choice([0, 50])), im5_khz=None)]
    areas = ["hall", "yard"]
    foreign = [ForeignCarrier("stranger", 501_000_000, 0, "", 150_000, products=True)] if random.random() < 0.5 else []
    show = wanted(kinds=kinds, foreign=foreign, apart=[areas] if random.random() < 0.3 else ())
    names = [f"l{i}" for i in range(int(random.integers(2, most + 1)))]
    where = {name: str(random.choice(areas)) for name in names}
    scenes = {name: [str(s) for s in random.permutation(["one", "two"])[: random.integers(0, 2)]] for name in names}

    def plan() -> Rows:
        places = 500 + 0.1 * random.choice(24, len(names), replace=False)
        return [row(n, mhz, "mic", where[n], scenes[n]) for n, mhz in zip(names, places.tolist(), strict=True)]

    before, after = plan(), plan()
    return [one for one in before if random.random() < 0.9], after, show


@given(st.integers(0, 10**6))
@settings(max_examples=150)
def test_nobody_collides_half_way(seed: int) -> None:
    before, after, show = two_plans(seed)
    order = order_of_moves(before, after, show)
    assert is_safe(before, after, order, show)
    last = {one.link: one.frequency_hz for one in before} | {
        step.link: step.to_hz for step in order.steps if not step.waits
    }
    assert all(last[one.link] == one.frequency_hz for one in after)


@given(st.integers(0, 10**6))
@settings(max_examples=60)
def test_somebody_is_muted_only_where_no_order_does(seed: int) -> None:
    before, after, show = two_plans(seed, most=5)
    order = order_of_moves(before, after, show)
    was = {one.link: one.frequency_hz for one in before}
    moved = [one for one in after if was.get(one.link) != one.frequency_hz]
    steps = [Retuning(one.link, was.get(one.link), one.frequency_hz) for one in moved]
    some = any(is_safe(before, after, OrderOfMoves(tried), show) for tried in permutations(steps))
    assert some == (not order.muted)


def swap(*, spare: bool) -> tuple[Rows, Rows, Wanted]:
    before = [row("a", 500.0), row("b", 501.0)]
    after = [row("a", 501.0), row("b", 500.0)]
    spares = [row("spare mic 1", 503.0)] if spare else []
    return before, [*after, *spares], wanted(kinds=[equipment(spacing_khz=200, im3_khz=None, three_khz=None)])


def test_two_that_change_places_need_a_third() -> None:
    order = order_of_moves(*swap(spare=True))
    assert order == OrderOfMoves(
        (
            Retuning("a", 500_000_000, 503_000_000, waits=True),
            Retuning("b", 501_000_000, 500_000_000),
            Retuning("a", 503_000_000, 501_000_000),
        )
    )


def test_without_a_third_one_is_muted() -> None:
    order = order_of_moves(*swap(spare=False))
    assert order.muted == ("a",)
    assert [step.silent for step in order.steps] == [True, False]


def test_rather_a_light_link_is_muted_than_a_heavy_one() -> None:
    before, after, show = swap(spare=False)
    kind = next(iter(show.equipment))
    links = (Link("a", kind, move_weight=5), Link("b", kind))
    assert order_of_moves(before, after, replace(show, links=links)).muted == ("b",)


def test_who_is_off_in_the_scene_that_runs_goes_first_and_is_in_nobodys_way() -> None:
    before = [row("a", 500.0), row("b", 501.0, scenes=["late"])]
    after = [row("a", 501.0), row("b", 500.0, scenes=["late"])]
    show = wanted(kinds=[equipment(spacing_khz=200)])
    order = order_of_moves(before, after, show, scene="early")
    assert [(step.link, step.silent) for step in order.steps] == [("b", True), ("a", False)]
    assert order.muted == ()


def test_a_link_without_a_frequency_goes_off_first_and_a_new_one_waits_for_room() -> None:
    before = [row("a", 500.0), row("gone", 501.0)]
    after = [row("new", 500.0), row("a", 501.0), row("gone", None)]
    order = order_of_moves(before, after, wanted(kinds=[equipment(spacing_khz=200)]))
    assert [(step.link, step.from_hz, step.to_hz) for step in order.steps] == [
        ("gone", 501_000_000, None),
        ("a", 500_000_000, 501_000_000),
        ("new", None, 500_000_000),
    ]


def test_many_links_are_put_in_order_quickly_enough() -> None:
    """Sixty links move up by one place each: only from the top down does that go."""
    before = [row(f"l{i}", 500 + 0.3 * i) for i in range(60)]
    after = [row(f"l{i}", 500 + 0.3 * (i + 1)) for i in range(60)]
    show = wanted(kinds=[equipment(spacing_khz=200, im3_khz=None, three_khz=None)])
    order = order_of_moves(before, after, show)
    assert [step.link for step in order.steps] == [f"l{i}" for i in reversed(range(60))]


@given(st.integers(0, 10**6))
@settings(max_examples=100)
def test_rows_that_are_no_links_any_more_collide_with_nobody(seed: int) -> None:
    """Some links leave the show; they stay on unless a step switches them off, and only those in the way are."""
    before, after, show = two_plans(seed)
    after = after[: max(1, len(after) - 2)]
    order = order_of_moves(before, after, show)
    assert is_safe(before, after, order, show)
    there = {one.link for one in after}
    off = [step for step in order.steps if step.link not in there]
    assert order.steps[: len(off)] == tuple(off)
    renamed = [row(f"new {one.link}", 0, "mic", one.area, one.scenes) for one in after]
    everything = [*before, *(_at(new, one.frequency_hz) for new, one in zip(renamed, after, strict=True))]
    named = {name for conflict in audit(everything, show).conflicts for name in (conflict.victim, *conflict.carriers)}
    assert all(step.to_hz is None and step.link in named for step in off)


def test_a_row_of_unknown_equipment_goes_off_before_anything_moves() -> None:
    before = [row("a", 500.0), row("gone", 600.0, "whatever")]
    show = wanted(kinds=[equipment(spacing_khz=200)])
    order = order_of_moves(before, [row("a", 501.0)], show)
    assert [(step.link, step.to_hz) for step in order.steps] == [("gone", None), ("a", 501_000_000)]
    assert order_of_moves(before, [row("a", 500.0)], show).steps == ()


def test_a_link_waits_where_it_is_offered_a_place() -> None:
    before, after, show = swap(spare=False)
    order = order_of_moves(before, after, show, waiting_hz={"b": [504_000_000, 505_000_000]})
    assert order.muted == ()
    assert [(step.link, step.to_hz, step.waits) for step in order.steps] == [
        ("b", 504_000_000, True),
        ("a", 501_000_000, False),
        ("b", 500_000_000, False),
    ]


def test_places_to_wait_are_free_before_and_after() -> None:
    e = equipment(
        spacing_khz=200, im3_khz=None, three_khz=None, presets=tuple(500_000_000 + 100_000 * i for i in range(9))
    )
    show = wanted(kinds=[replace(e, tuning=())], links=[Link(name, "mic") for name in "abc"])
    question = Question.build(show, Ground(), spares=0)
    was_hz = {"a": 500_000_000, "b": 500_400_000, "c": 500_600_000}
    now_hz = {"a": 500_400_000, "b": 500_000_000, "c": 500_600_000}
    found = waiting_places(was_hz, now_hz, question, NumpyKernels)
    assert found == {"a": [500_200_000, 500_800_000], "b": [500_200_000, 500_800_000]}
