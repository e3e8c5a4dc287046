"""Pairs of directions that can stand nowhere, against every pair of places tried with the audit."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from fallow.plan.judge.audit import audit
from fallow.plan.places import Ground
from fallow.plan.search.bounds import Bound
from fallow.plan.search.hopeless_pairs import hopeless_pairs, lowered_by_pairs, without
from fallow.plan.search.question import Question
from fallow.show.assignment import Assignment
from fallow.show.duplex import unfolded
from fallow.show.equipment import Duplex, Equipment, Kind
from fallow.show.grouping import Apart, Groupings, Together
from fallow.show.link import ForeignCarrier, Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from fallow.workflow.coordinate import coordinate

MHZ, STEP_HZ = 1_000_000, 100_000
FAR = Duplex(None, (Span(486 * MHZ, 494 * MHZ),), 10 * MHZ)


def desk(duplex: Duplex, *, spacing_hz: int = 400_000, low_hz: int = 470 * MHZ, high_hz: int = 476 * MHZ) -> Equipment:
    tuning = (Span(low_hz, high_hz),)
    return Equipment(
        "desk", Kind.INTERCOM, tuning, STEP_HZ, (), 50_000, None, None, spacing_hz, 100_000, None, None, duplex=duplex
    )


def random_show(seed: int) -> Wanted:
    """One link of two directions among strangers and rules, with some ten places each way."""
    random = np.random.default_rng(seed)
    low_hz = 500 * MHZ
    span = Span(low_hz + STEP_HZ * int(random.integers(0, 12)), low_hz + STEP_HZ * int(random.integers(12, 20)))
    least_hz = STEP_HZ * int(random.integers(0, 18))
    offset_hz = STEP_HZ * int(random.choice([-4, -2, -1, 1, 2, 4]))
    duplex = Duplex(None, (span,), least_hz) if random.random() < 0.6 else Duplex(offset_hz)
    spacing_hz = STEP_HZ * int(random.integers(1, 5))
    radio = desk(duplex, spacing_hz=spacing_hz, low_hz=low_hz, high_hz=low_hz + STEP_HZ * 8)
    rules = (Apart("desk", "desk return", STEP_HZ * int(random.integers(0, 15)), hard=bool(random.random() < 0.4)),)
    within_hz = STEP_HZ * int(random.integers(1, 16))
    together = (Together("intercom", within_hz, hard=bool(random.random() < 0.5)),)
    stranger = ForeignCarrier("x", low_hz + STEP_HZ * int(random.integers(0, 20)), spacing_hz=STEP_HZ * 3)
    show = Wanted((Link("a", "desk"),), {"desk": radio}, foreign=(stranger,), groupings=Groupings(rules, together))
    return unfolded(show)


def is_possible(show: Wanted, question: Question) -> bool:
    """Whether the audit of any two places finds nothing."""
    places = [question.worths[each.class_index].frequencies_hz.tolist() for each in question.links]
    return any(
        not audit(
            [Assignment(one.name, one.equipment, frequency_hz=hz) for one, hz in zip(show.links, pair, strict=True)],
            show,
        ).conflicts
        for pair in product(*places)
    )


@pytest.mark.parametrize("seed", range(20))
def test_hopeless_are_those_of_which_no_two_places_pass_the_audit(seed: int) -> None:
    show = random_show(seed)
    question = Question.build(show, Ground(), spares=0)
    assert set(hopeless_pairs(question)) == (set() if is_possible(show, question) else {"a", "a return"})


def test_some_random_pairs_are_hopeless_and_some_are_not() -> None:
    found = [bool(hopeless_pairs(Question.build(random_show(seed), Ground(), spares=0))) for seed in range(20)]
    assert 4 < sum(found) < 16


@pytest.mark.parametrize(
    ("duplex", "rules", "told"),
    [
        (Duplex(STEP_HZ), Groupings(), "the way back exactly 100 kHz above the way there and 400 kHz apart at least"),
        (Duplex(None, FAR.ranges, 50 * MHZ), Groupings(), "50 MHz apart at least (two directions of one link)"),
        (FAR, Groupings((), (Together("intercom", 8 * MHZ, hard=True),)), "10 MHz apart at least (two directions of"),
        (FAR, Groupings((Apart("intercom", "intercom", 30 * MHZ, hard=True),)), "30 MHz apart at least (the spacing"),
    ],
)
def test_the_plan_says_what_can_not_be_and_counts_it_out(duplex: Duplex, rules: Groupings, told: str) -> None:
    """By hand: 470–476 there and 486–494 back are 10 to 24 MHz apart. The microphone has its place."""
    vox = Equipment(
        "vox", Kind.MICROPHONE, (Span(600 * MHZ, 608 * MHZ),), 25_000, (), 200_000, None, None, 350_000, None, None,
        None,
    )  # fmt: skip
    links = (Link("a", "desk"), Link("m", "vox"))
    plan = coordinate(links, {"desk": desk(duplex), "vox": vox}, groups=rules, spares=0, seconds=0.3, failures=False)
    assert {one.link for one in plan.unplaced} == {"a", "a return"}
    for one in plan.unplaced:
        assert len(one.because) == 1
        assert told in one.because[0]
        assert "more time" not in one.because[0]
    assert plan.most is not None
    assert plan.most.links == 1
    assert plan.most.because == "2 of 3 directions of links have no two places that go together"


def test_a_bound_among_the_others_holds_for_all() -> None:
    show = unfolded(Wanted((Link("a", "desk"), Link("b", "desk")), {"desk": desk(Duplex(STEP_HZ))}))
    question = Question.build(show, Ground(), spares=0)
    hopeless = hopeless_pairs(question)
    assert without(question, hopeless).links == ()
    assert lowered_by_pairs(question, hopeless, None) == Bound(
        0, "4 of 4 directions of links have no two places that go together"
    )
    assert lowered_by_pairs(question, {}, None) is None
