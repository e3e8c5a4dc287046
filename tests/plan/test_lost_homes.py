"""The bound on moves where links have two directions; worked by hand. All names are invented."""

from __future__ import annotations

import pytest

from fallow.plan.places import Ground
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.search import improve
from fallow.show.assignment import Assignment
from fallow.show.duplex import unfolded
from fallow.show.equipment import Duplex, Equipment, Kind
from fallow.show.link import ForeignCarrier, Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from fallow.workflow.coordinate import coordinate
from plan.test_pairs import stopper

MHZ = 1_000_000
BACK = Duplex(None, (Span(486 * MHZ, 494 * MHZ),), 10 * MHZ)
DESK = Equipment(
    "desk", Kind.INTERCOM, (Span(470 * MHZ, 476 * MHZ),), 25_000, (), 200_000, None, None, 400_000, 100_000, None, None,
    duplex=BACK,
)  # fmt: skip
KEPT = {"a": 470 * MHZ, "a return": 486 * MHZ, "b": 472 * MHZ, "b return": 488 * MHZ}


def stranger(hz: int) -> ForeignCarrier:
    return ForeignCarrier(f"x {hz}", hz, 200_000, spacing_hz=350_000)


def bound(*strangers_hz: int, weights: tuple[int, int] = (1, 1)) -> FewestMoves:
    links = tuple(Link(name, "desk", move_weight=weight) for name, weight in zip("ab", weights, strict=True))
    show = unfolded(Wanted(links, {"desk": DESK}, foreign=tuple(stranger(hz) for hz in strangers_hz)))
    question = Question.build(show, Ground(), keep=KEPT, spares=0)
    fewest = [FewestMoves()]
    list(improve(question, seed=1, should_stop=stopper(4), tell=fewest.append))
    return fewest[-1]


@pytest.mark.parametrize(
    ("strangers_hz", "lost"),
    [
        ((), 0),
        ((480 * MHZ,), 0),
        ((486 * MHZ,), 1),
        ((470 * MHZ, 486 * MHZ), 1),
        ((486 * MHZ, 472 * MHZ), 2),
        ((486 * MHZ, 488 * MHZ), 2),
        ((486 * MHZ + 350_000,), 0),
        ((486 * MHZ + 325_000,), 1),
    ],
)
def test_a_link_is_lost_once_whichever_direction_is(strangers_hz: tuple[int, ...], lost: int) -> None:
    assert bound(*strangers_hz).at_least == lost


def test_weights_count() -> None:
    assert bound(486 * MHZ, weights=(5, 1)) == FewestMoves(1, "1 link can't stay where the plan in force has it", 5)


def test_a_way_back_that_is_lost_is_a_move_that_has_to_be() -> None:
    keep = [
        Assignment(name, "desk return" if "return" in name else "desk", frequency_hz=hz) for name, hz in KEPT.items()
    ]
    links, foreign = (Link("a", "desk"), Link("b", "desk")), (stranger(486 * MHZ),)
    plan = coordinate(links, {"desk": DESK}, foreign=foreign, keep=keep, seconds=0.5, spares=0, failures=False)
    assert [move.link for move in plan.moved] == ["a return"]
    assert plan.advice.replan is not None
    assert plan.advice.replan.is_smallest
    assert plan.advice.replan.text == (
        "1 link changes, and no plan changes fewer: 1 link can't stay where the plan in force has it"
    )


def test_the_direction_that_can_stay_does() -> None:
    """One change either way; but only the way back has to be set anew."""
    keep = [
        Assignment(name, "desk return" if "return" in name else "desk", frequency_hz=hz) for name, hz in KEPT.items()
    ]
    for seed in (1, 2, 3):
        plan = coordinate(
            (Link("a", "desk"), Link("b", "desk")), {"desk": DESK}, foreign=(stranger(486 * MHZ),), keep=keep,
            seconds=60.0, steps=60, spares=1, failures=False, seed=seed,
        )  # fmt: skip
        assert [move.link for move in plan.moved] == ["a return"]
