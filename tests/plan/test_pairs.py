"""Both directions of a link: placed together or not at all; against every assignment of tiny shows, all invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fallow.errors import UsageError
from fallow.plan.judge.audit import audit
from fallow.plan.judge.case import case_of
from fallow.plan.judge.what_if import WhatIf
from fallow.plan.places import Ground
from fallow.plan.search.engine import numpy_kernels
from fallow.plan.search.lanes import improve_side_by_side
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution, improve
from fallow.plan.search.wishes import unkept_in, with_wishes
from fallow.show.assignment import Assignment
from fallow.show.duplex import return_name, unfolded
from fallow.show.equipment import Duplex, Equipment, Kind
from fallow.show.grouping import Apart, Groupings
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.plain_groups import every_plan, places_hz

STEP_HZ = 100_000


def stopper(steps: int):
    left = iter(range(steps))
    return lambda: next(left, None) is None


def planned(wanted: Wanted, *, keep=None, spares: int = 0, seed: int = 1, steps: int = 60) -> Solution:
    question = Question.build(wanted, Ground(), keep=keep, spares=spares)
    *_, best = improve(question, seed=seed, should_stop=stopper(steps))
    return best


def tiny_show(seed: int) -> Wanted:
    """One or two links with two directions beside a microphone, on few places."""
    random = np.random.default_rng(seed)
    low_hz = 500_000_000
    tuning = (Span(low_hz, low_hz + STEP_HZ * int(random.integers(2, 6))),)
    if random.random() < 0.5:
        duplex = Duplex(STEP_HZ * int(random.choice([-3, -1, 1, 2, 4])))
    else:
        first_hz = low_hz + STEP_HZ * int(random.integers(0, 4))
        span = Span(first_hz, first_hz + STEP_HZ * int(random.integers(1, 4)))
        duplex = Duplex(None, (span,), STEP_HZ * int(random.integers(0, 4)))
    distances = [None if random.random() < 0.5 else STEP_HZ for _ in range(3)]
    talk = Equipment("talk", Kind.INTERCOM, tuning, STEP_HZ, (), 50_000, None, None, STEP_HZ, *distances, duplex=duplex)
    vox = Equipment("vox", Kind.MICROPHONE, tuning, STEP_HZ, (), 50_000, None, None, STEP_HZ, *distances)
    links = [Link(f"talk {i}", "talk", priority=int(random.integers(1, 3))) for i in range(random.integers(1, 3))]
    links += [Link("vox 1", "vox", priority=int(random.integers(1, 3)))] * bool(random.random() < 0.7)
    return unfolded(Wanted(tuple(links), {"talk": talk, "vox": vox}))


def goes_together(wanted: Wanted, at_hz: dict[str, int]) -> bool:
    """Whether each link has both directions, as far apart as they need, or none."""
    for link in wanted.links:
        duplex = wanted.equipment[link.equipment].duplex
        if duplex is None:
            continue
        there, back = at_hz.get(link.name), at_hz.get(return_name(link.name))
        if (there is None) != (back is None):
            return False
        if there is not None and back is not None:
            if duplex.offset_hz is not None and back - there != duplex.offset_hz:
                return False
            if duplex.offset_hz is None and abs(back - there) < duplex.least_hz:
                return False
    return True


def placed(wanted: Wanted, at_hz) -> tuple[int, ...]:
    return tuple(sum(one.priority == rank and one.name in at_hz for one in wanted.links) for rank in range(1, 6))


@pytest.mark.parametrize("seed", range(40))
def test_as_many_links_as_in_any_assignment_in_which_directions_go_together(seed):
    wanted = tiny_show(seed)
    best = planned(wanted)
    assert goes_together(wanted, dict(best.frequencies_hz))
    whole = (at_hz for at_hz in every_plan(wanted) if goes_together(wanted, at_hz))
    assert placed(wanted, best.frequencies_hz) == max(placed(wanted, at_hz) for at_hz in whole)
    rows = [Assignment(one.name, one.equipment, frequency_hz=best.frequencies_hz.get(one.name)) for one in wanted.links]
    assert audit(rows, wanted).conflicts == ()


@pytest.mark.parametrize("seed", range(40, 60))
def test_the_audit_and_what_if_judge_directions(seed):
    """On assignments drawn at random."""
    wanted = tiny_show(seed)
    random = np.random.default_rng(seed)
    at_hz = {
        one.name: int(random.choice(list(places_hz(wanted.equipment[one.equipment]))))
        for one in wanted.links
        if random.random() < 0.9
    }
    rows = [Assignment(one.name, one.equipment, frequency_hz=at_hz.get(one.name)) for one in wanted.links]
    conflicts = audit(rows, wanted).conflicts
    there = [one.name for one in wanted.links if wanted.equipment[one.equipment].duplex is not None]
    own = [{name: at_hz[name] for name in (one, return_name(one)) if name in at_hz} for one in there]
    assert sum(one.kind == "duplex" for one in conflicts) == sum(not goes_together(wanted, each) for each in own)
    game = WhatIf(rows, wanted)
    assert game.conflicts == conflicts
    name = wanted.links[0].name
    game.move(name, 500_000_000 + STEP_HZ * int(random.integers(0, 5)))
    assert game.conflicts == audit(game.rows, wanted).conflicts


def show(duplex: Duplex, *, links: int = 4, high_mhz: int = 510) -> Wanted:
    """Intercoms of two directions and microphones in 10 MHz.

    With directions at a fixed distance A+B−C is not asked: two such links always hit each other,
    a + (b + d) − (a + d) = b.
    """
    tuning = (Span(500_000_000, high_mhz * 1_000_000),)
    distances = (350_000, 100_000, 50_000, None)
    three_hz = 50_000 if duplex.offset_hz is None else None
    of_talk = (350_000, 100_000, three_hz, None)
    talk = Equipment("talk", Kind.INTERCOM, tuning, 25_000, (), 200_000, None, None, *of_talk, duplex=duplex)
    vox = Equipment("vox", Kind.MICROPHONE, tuning, 25_000, (), 200_000, None, None, *distances)
    named = [Link(f"talk {i}", "talk") for i in range(links)] + [Link(f"vox {i}", "vox") for i in range(4)]
    return unfolded(Wanted(tuple(named), {"talk": talk, "vox": vox}))


FIXED, FREE = Duplex(-4_000_000), Duplex(None, (Span(506_000_000, 516_000_000),), 3_000_000)


@pytest.mark.parametrize("duplex", [FIXED, FREE])
def test_spares_are_pairs_too(duplex):
    wanted = show(duplex)
    best = planned(wanted, spares=1, steps=20)
    at_hz = {spare.name: spare.frequency_hz for spare in best.spares}
    assert set(at_hz) == {"spare talk 1", "spare talk 1 return", "spare vox 1"}
    distance_hz = at_hz["spare talk 1 return"] - at_hz["spare talk 1"]
    assert distance_hz == -4_000_000 if duplex is FIXED else abs(distance_hz) >= 3_000_000


@pytest.mark.parametrize("duplex", [FIXED, FREE])
def test_a_re_plan_keeps_pairs_where_they_are_and_moves_them_together(duplex):
    wanted = show(duplex)
    before = planned(wanted, steps=20)
    assert len(before.frequencies_hz) == len(wanted.links)
    assert planned(wanted, keep=before.frequencies_hz).frequencies_hz == before.frequencies_hz
    lost = replace(wanted.equipment["talk"], tuning=(Span(before.frequencies_hz["talk 0"] + 1_000, 510_000_000),))
    narrower = replace(wanted, equipment={**wanted.equipment, "talk": replace(lost, step_hz=1_000)})
    after = planned(narrower, keep=before.frequencies_hz)
    assert goes_together(narrower, dict(after.frequencies_hz))


def test_two_links_with_one_fixed_distance_hit_each_other_with_three_carrier_products():
    """a + (b + d) − (a + d) = b, whatever a, b and d: with A+B−C asked, one of two has no place."""
    wanted = show(FIXED, links=2)
    talk = replace(wanted.equipment["talk"], im3_three_hz=50_000)
    back = replace(wanted.equipment["talk return"], im3_three_hz=50_000)
    best = planned(replace(wanted, equipment={**wanted.equipment, "talk": talk, "talk return": back}))
    assert sum(name.startswith("talk") for name in best.frequencies_hz) == 2


def test_a_fixed_direction_leads():
    """The way there fixed, the way back free among its ranges, and the other way round."""
    wanted = show(FREE, links=1)
    links = [
        replace(one, frequency_hz=503_000_000, fixed=True) if one.name == "talk 0" else one for one in wanted.links
    ]
    best = planned(replace(wanted, links=tuple(links)))
    assert best.frequencies_hz["talk 0"] == 503_000_000
    assert best.frequencies_hz["talk 0 return"] >= 506_000_000
    links = [
        replace(one, frequency_hz=507_000_000, fixed=True) if one.name == "talk 0 return" else one
        for one in wanted.links
    ]
    best = planned(replace(wanted, links=tuple(links)))
    assert abs(best.frequencies_hz["talk 0"] - 507_000_000) >= 3_000_000


def test_a_fixed_link_with_a_fixed_offset_has_its_way_back_fixed():
    radio = show(FIXED).equipment["talk"]
    wanted = unfolded(Wanted((Link("a", "talk", frequency_hz=509_000_000, fixed=True),), {"talk": radio}))
    assert [(one.name, one.frequency_hz, one.fixed) for one in wanted.links] == [
        ("a", 509_000_000, True),
        ("a return", 505_000_000, True),
    ]


def test_a_name_that_a_way_back_has_is_refused():
    radio = show(FIXED).equipment["talk"]
    with pytest.raises(UsageError, match="no name for a link beside 'a'"):
        unfolded(Wanted((Link("a", "talk"), Link("a return", "talk")), {"talk": radio}))


def test_free_places_of_a_case_suit_the_other_direction():
    wanted = show(FREE, links=1)
    best = planned(wanted)
    rows = [Assignment(one.name, one.equipment, frequency_hz=best.frequencies_hz[one.name]) for one in wanted.links]
    case = case_of(rows, wanted, Ground(), "talk 0", 505_500_000)
    back_hz = best.frequencies_hz["talk 0 return"]
    assert case.free_nearby
    assert all(abs(one.at_hz - back_hz) >= 3_000_000 for one in case.free_nearby)


def test_two_lanes_keep_pairs_together():
    wanted = show(FIXED, links=9, high_mhz=508)
    question = Question.build(wanted, Ground(), spares=0)
    for found in improve_side_by_side(
        question, seed=3, should_stop=stopper(6), kernels=lambda: numpy_kernels(), lanes=2
    ):
        assert goes_together(wanted, dict(found.frequencies_hz))


def test_wishes_leave_pairs_whole():
    """Three intercoms of two directions and four microphones that are wished 3 MHz from them."""
    wish = Groupings((Apart("talk", "vox", 3_000_000),))
    wanted = replace(show(FREE, links=3), groupings=wish)

    def build(each: Wanted) -> Question:
        return Question.build(each, Ground(), spares=0)

    question = build(wanted)
    first = next(iter(improve(question, seed=1, should_stop=lambda: True)))
    stops = {2: stopper(20), 1: stopper(40)}
    best = with_wishes(
        first,
        question,
        build,
        wanted,
        seed=1,
        should_stop=lambda left: stops[left](),
        kernels=lambda: numpy_kernels(),
    )
    assert len(best.frequencies_hz) == len(wanted.links)
    assert goes_together(wanted, dict(best.frequencies_hz))
    assert unkept_in(best, question) == 0 < unkept_in(first, question)
