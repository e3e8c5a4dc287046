"""What comes with a plan stays within its time. The clock is invented: it ticks each time that somebody looks at it."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import pytest

from fallow.plan.answer import Plan
from fallow.show.link import Link
from fallow.units import Span
from fallow.workflow import searching
from fallow.workflow.coordinate import coordinate
from fallow.workflow.searching import Clock
from workflow.test_replanning import MHZ, RADIO

NARROW = replace(RADIO, tuning=(Span(500 * MHZ, 503 * MHZ),))
TICK_S = 0.004


def crowded(monkeypatch: pytest.MonkeyPatch, seconds: float, **more: bool) -> Plan:
    """Twelve links where fewer fit."""
    ticks = count()
    monkeypatch.setattr(searching.time, "monotonic", lambda: TICK_S * next(ticks))
    links = [Link(f"l{i}", NARROW.name) for i in range(12)]
    plan = coordinate(links, {NARROW.name: NARROW}, seconds=seconds, **more)
    assert plan.unplaced
    return plan


@pytest.mark.parametrize("failures", [True, False])
def test_links_left_out_take_no_more_time_than_was_given(monkeypatch: pytest.MonkeyPatch, failures: bool) -> None:
    plan = crowded(monkeypatch, 2.0, failures=failures)
    assert plan.seconds < 1.15 * 2.0
    assert plan.advice.relaxations
    assert all(one.places > one.without >= 12 - len(plan.unplaced) for one in plan.advice.relaxations)
    assert bool(plan.advice.remedies) == failures


def test_without_time_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = crowded(monkeypatch, 0.0)
    placed = 12 - len(plan.unplaced)
    assert plan.advice.relaxations == ()
    more = "give it more with --seconds"
    assert f"no time was left to look at what to do when something fails ({placed} failures): {more}" in plan.notes
    (ideas,) = (note for note in plan.notes if "of what would help links without a frequency" in note)
    assert ideas.startswith(f"no time was left for {plan.advice.not_tried} ideas")


def test_turns_that_cannot_be_cut_short_end_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each turn goes on for a second after it was told to end: of ten seconds the last is not begun."""
    now = 0.0
    monkeypatch.setattr(searching.time, "monotonic", lambda: now)
    turns = Clock(10.0, None).turns(1.0)
    left = 100
    while turns.has_time():
        is_over = turns.next(left, "trying")
        while not is_over():
            now += 0.01
        now += 1.0
        left -= 1
    assert 9.0 < now < 10.02


def test_a_large_show_leaves_time_for_its_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three milliseconds of work for each of 1,000 links, on a machine that gives us a quarter of its time."""
    now = 0.0
    monkeypatch.setattr(searching.time, "monotonic", lambda: now)
    monkeypatch.setattr(searching.time, "thread_time", lambda: now / 4)
    clock, small, hasty, counted = Clock(100.0, None), Clock(100.0, None), Clock(1.0, None), Clock(100.0, None, 1000)
    now = 8.0
    for each, links in ((clock, 1000), (small, 60), (hasty, 1000), (counted, 1000)):
        each.keep_back(links)
    assert clock.used_share == pytest.approx(8.0 / (100.0 - 12.0))
    assert small.used_share == pytest.approx(0.08)
    assert hasty.used_share == pytest.approx(8.0 / 0.6)
    assert counted.used_share == 0.0
