"""Ctrl-C at any moment: the best plan so far, whole and said to be that; and steps that make the same plan anywhere."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable
from dataclasses import replace
from itertools import count

import pytest

from fallow.plan.answer import Plan
from fallow.plan.places import Ground
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from fallow.workflow import in_hand
from fallow.workflow.coordinate import Making, coordinate, make_plan, rows_of
from fallow.workflow.in_hand import STOPPED
from fallow.workflow.stopping import Ears
from workflow.test_replanning import MHZ, RADIO

NARROW = replace(RADIO, tuning=(Span(500 * MHZ, 506 * MHZ),))
SHOW = Wanted(tuple(Link(f"l{i}", NARROW.name) for i in range(14)), {NARROW.name: NARROW})


def interrupted(at_call: int, interrupt: Callable[[], None]) -> tuple[Plan, bool]:
    """A plan whose making is interrupted when somebody asks for the time for the nth time."""
    calls = count(1)

    def progress(_what: str, _share: float) -> None:
        if next(calls) == at_call:
            interrupt()

    return make_plan(SHOW, Ground(), Making(steps=120), None, progress, levels=False)


def press() -> None:
    signal.raise_signal(signal.SIGINT)


def press_unheard() -> None:
    try:
        press()
    except KeyboardInterrupt:
        return


@pytest.mark.parametrize("interrupt", [press, press_unheard])
@pytest.mark.parametrize("at_call", [1, 7, 95, 112])
@pytest.mark.parametrize("most_told", [3, 200])
def test_the_best_plan_so_far_is_the_answer(
    monkeypatch: pytest.MonkeyPatch, interrupt: Callable[[], None], at_call: int, most_told: int
) -> None:
    monkeypatch.setattr(in_hand, "MOST_TOLD_AT_ONCE", most_told)
    plan, stopped = interrupted(at_call, interrupt)
    assert stopped
    assert STOPPED in plan.notes
    assert plan.conflicts == ()
    placed = {name for name, link in plan.links.items() if link.frequency_hz is not None}
    assert len(placed) >= 9
    assert placed | {one.link for one in plan.unplaced} == set(plan.links) == {link.name for link in SHOW.links}
    assert [row.link for row in rows_of(plan, SHOW) if not row.is_spare] == [link.name for link in SHOW.links]


def test_before_the_first_plan_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fallow.workflow.coordinate.search", lambda *_, **__: press())
    with pytest.raises(KeyboardInterrupt):
        interrupted(0, press)


def test_between_two_steps_of_the_answer_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where nobody asks for the time: while the answer is put into words."""
    monkeypatch.setattr("fallow.workflow.coordinate.compose_plan", lambda *_, **__: press())
    plan, stopped = interrupted(0, press)
    assert stopped
    assert STOPPED in plan.notes
    assert any(link.frequency_hz for link in plan.links.values())


def test_the_signal_is_given_back() -> None:
    interrupted(7, press)
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_an_interrupt_that_was_swallowed_is_raised_once_more() -> None:
    ears = Ears()
    with ears.open():
        press_unheard()
        with pytest.raises(KeyboardInterrupt):
            ears.heed()
        ears.heed()


def test_a_signal_that_somebody_else_has_taken_stays_theirs() -> None:
    heard = []
    usual = signal.signal(signal.SIGINT, lambda *_: heard.append(1))
    try:
        with Ears().open():
            press()
    finally:
        signal.signal(signal.SIGINT, usual)
    assert heard == [1]


@pytest.mark.parametrize("steps", [0, 60])
def test_a_seed_and_steps_make_the_same_plan_also_under_load(steps: int) -> None:
    """Two searches run side by side in it; the second time a third thread takes the time away from them."""
    links, equipment = SHOW.links, SHOW.equipment
    alone = coordinate(links, equipment, seed=3, steps=steps)
    done = threading.Event()
    burden = threading.Thread(target=lambda: [sum(range(5_000)) for _ in iter(done.is_set, True)])
    burden.start()
    try:
        again = coordinate(links, equipment, seed=3, steps=steps)
    finally:
        done.set()
        burden.join()
    assert again.links == alone.links
    assert again.spares == alone.spares
    assert again.advice == alone.advice
