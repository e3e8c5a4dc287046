"""Links with two directions that are left out, against every assignment of tiny shows. All names are invented."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import numpy as np
import pytest

from fallow.plan.judge.case import case_of
from fallow.plan.places import Ground
from fallow.plan.search.bounds import PLACES_TRIED, Bound, most
from fallow.plan.search.densest import Effort
from fallow.plan.search.engine import numpy_kernels
from fallow.plan.search.pairs_left_out import (
    Limit,
    beside_others,
    limits_by_trial,
    limits_of_fixed_distances,
    lowered_by_limits,
)
from fallow.plan.search.proven import proven_of
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution, improve
from fallow.plan.search.trying import Patience
from fallow.show.assignment import Assignment
from fallow.show.duplex import unfolded
from fallow.show.equipment import Duplex, Equipment, Kind
from fallow.show.link import AreaLosses, ForeignCarrier, Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.plain_groups import every_plan
from plan.test_pairs import goes_together

MHZ, STEP_HZ = 1_000_000, 100_000
LOW_HZ = 500 * MHZ


def talk(duplex: Duplex, *, steps: int, spacing_hz: int = STEP_HZ, **asked: int) -> Equipment:
    distances = {"im3_hz": None, "im3_three_hz": None, "im5_hz": None} | asked
    tuning = (Span(LOW_HZ, LOW_HZ + STEP_HZ * steps),)
    return Equipment(
        "talk", Kind.INTERCOM, tuning, STEP_HZ, (), 50_000, None, None, spacing_hz, duplex=duplex, **distances  # type: ignore[arg-type]  # distances by name
    )  # fmt: skip


def crowded_show(seed: int) -> Wanted:
    """Two or three links with two directions and a microphone on few places, among strangers."""
    random = np.random.default_rng(seed)
    if random.random() < 0.5:
        duplex = Duplex(STEP_HZ * int(random.choice([-7, -3, 3, 5, 7])))
    else:
        first_hz = LOW_HZ + STEP_HZ * int(random.integers(0, 8))
        duplex = Duplex(None, (Span(first_hz, first_hz + STEP_HZ * 2),), STEP_HZ * int(random.integers(0, 6)))
    asked = {
        name: STEP_HZ for name in ("im3_hz", "im3_three_hz", "im5_hz") if random.random() < 0.6 and name != "im5_hz"
    }
    steps = int(random.integers(1, 4))
    radio = talk(duplex, steps=steps, spacing_hz=STEP_HZ * int(random.integers(0, 3)), **asked)
    vox = replace(radio, name="vox", kind=Kind.MICROPHONE, duplex=None)
    areas = ["", "hall", "yard"]
    links = [Link(f"talk {i}", "talk", str(random.choice(areas))) for i in range(random.integers(1, 4 - (steps > 1)))]
    links += [Link("vox", "vox", "hall")] * bool(random.random() < 0.5)
    foreign = tuple(
        ForeignCarrier(f"x{i}", LOW_HZ + STEP_HZ * int(random.integers(-3, 12)), spacing_hz=STEP_HZ, products=True)
        for i in range(random.integers(0, 2))
    )
    losses = AreaLosses(frozenset({frozenset(("hall", "yard"))}) if random.random() < 0.5 else frozenset())
    return unfolded(Wanted(tuple(links), {"talk": radio, "vox": vox}, losses, foreign))


def hasty_plan(question: Question) -> Solution:
    steps = count(1)
    *_, best = improve(question, seed=1, should_stop=lambda: next(steps) > 30)
    return best


def most_of(wanted: Wanted, names: frozenset[str] | None = None) -> int:
    """How many carriers of those named any assignment holds, the others being off."""
    some = tuple(link for link in wanted.links if names is None or link.name in names)
    show = replace(wanted, links=some)
    return max(len(at_hz) for at_hz in every_plan(show) if goes_together(show, at_hz))


@pytest.mark.parametrize("seed", range(16))
def test_the_bound_is_exact_and_every_limit_is_true(seed: int) -> None:
    wanted = crowded_show(seed)
    question = Question.build(wanted, Ground(), spares=0)
    plan = hasty_plan(question)
    exact = most_of(wanted)
    proven = proven_of(question, plan.frequencies_hz, Effort(PLACES_TRIED), lambda: Patience(10_000), numpy_kernels)
    assert (proven.most.links if proven.most else len(question.links)) == exact
    cheap = most(question)
    assert cheap is None or cheap.links >= exact
    limits = [
        *limits_of_fixed_distances(question),
        *limits_by_trial(question, plan.frequencies_hz.keys(), Patience(10_000), numpy_kernels),
    ]
    for limit in limits:
        assert most_of(wanted, limit.names) <= limit.fit


DESK = talk(Duplex(10 * MHZ), steps=60, spacing_hz=4 * STEP_HZ, im3_hz=STEP_HZ, im3_three_hz=30_000)


def question_of(*links: Link, desk: Equipment = DESK, apart: bool = False, **more: object) -> Question:
    losses = AreaLosses(frozenset({frozenset(("hall", "yard"))}) if apart else frozenset())
    wanted = Wanted(links, {desk.name: desk}, losses, **more)  # type: ignore[arg-type]  # foreign carriers by name
    return Question.build(unfolded(wanted), Ground(), spares=1)


def fits(limits: tuple[Limit, ...]) -> list[tuple[list[str], int]]:
    return [(sorted(name for name in limit.names if "return" not in name), limit.fit) for limit in limits]


def test_of_links_with_directions_at_one_distance_one_fits_where_they_hear_each_other() -> None:
    """By a + (b + d) − (a + d) = b."""
    three = [Link(name, "talk", area) for name, area in (("a", "hall"), ("b", "hall"), ("c", "yard"))]
    assert fits(limits_of_fixed_distances(question_of(*three))) == [(["a", "b", "c"], 2)]
    assert fits(limits_of_fixed_distances(question_of(*three, apart=True))) == [(["a", "b"], 2)]
    without = replace(DESK, im3_three_hz=None)
    assert limits_of_fixed_distances(question_of(*three, desk=without)) == ()
    loose = replace(DESK, duplex=Duplex(None, (Span(510 * MHZ, 516 * MHZ),), 10 * MHZ))
    assert limits_of_fixed_distances(question_of(*three, desk=loose)) == ()


def test_scenes_part_them_and_a_fixed_link_leaves_room_for_none() -> None:
    on = {"a": "one", "b": "two", "c": "two"}
    in_scenes = [Link(name, "talk", "hall", frozenset({scene})) for name, scene in on.items()]
    assert fits(limits_of_fixed_distances(question_of(*in_scenes))) == [(["b", "c"], 2)]
    fixed = Link("a", "talk", "hall", frequency_hz=501 * MHZ, fixed=True)
    (limit,) = limits_of_fixed_distances(question_of(fixed, Link("b", "talk", "hall")))
    assert (limit.fit, limit.left_out) == (0, 2)
    assert limit.because.endswith("exactly on the fourth: no other link of talk fits beside a, which is fixed")


def test_the_sum_of_limits_about_different_links_is_a_bound() -> None:
    question = question_of(*(Link(name, "talk", "hall") for name in "abc"))
    abc = Limit(frozenset(("a", "a return", "b", "b return")), 2, "one")
    ab, c = Limit(frozenset(("a", "a return")), 1, "two"), Limit(frozenset(("c", "c return")), 0, "three")
    assert lowered_by_limits(question, [ab, c, abc], None) == Bound(2, "one; and three")
    assert lowered_by_limits(question, [ab], Bound(5, "known")) == Bound(5, "known")
    assert lowered_by_limits(question, [], None) is None


def test_what_only_a_product_with_a_stranger_forbids_is_told() -> None:
    """By hand: 500 MHz there and 501 back; 2 · 501 − 502 = 500 falls on the way there. Each alone is free."""
    desk = talk(Duplex(MHZ), steps=0, im3_hz=STEP_HZ)
    stranger = ForeignCarrier("x", 502 * MHZ, spacing_hz=STEP_HZ, products=True)
    question = question_of(Link("a", "talk"), desk=desk, foreign=(stranger,))
    proven = proven_of(question, {}, Effort(PLACES_TRIED), Patience, numpy_kernels)
    assert proven.most is not None
    assert proven.most.links == 0
    account = ("of 1 place that talk can be set to, 1 is free", "1 place would do")
    told = proven.because("a", account)
    assert told[0] == account[0]
    assert "at most 0 of 1 links of talk fit: every way to place both directions of one link" in told[1]
    assert proven.because("somebody else", account) == account


def test_free_places_that_do_not_go_together_beside_others_are_told() -> None:
    """By hand: a and b have two places each way; a on 500.0/501.0 leaves 500.1 there and 500.9 back: no 1 MHz."""
    desk = talk(Duplex(MHZ), steps=1, spacing_hz=STEP_HZ)
    stranger = ForeignCarrier("x", 501_100_000, spacing_hz=1)
    question = question_of(Link("a", "talk"), Link("b", "talk"), desk=desk, foreign=(stranger,))
    told = beside_others(question, {"a": LOW_HZ, "a return": 501 * MHZ}, Patience(), numpy_kernels)
    assert told == {"b": "1 place is free for the way there and none for the way back: others would have to move"}
    wide = replace(desk, duplex=Duplex(None, (Span(501 * MHZ, 501_200_000),), 1_150_000))
    question = question_of(Link("a", "talk"), Link("b", "talk"), desk=wide)
    told = beside_others(question, {"a": LOW_HZ, "a return": 501_200_000}, Patience(), numpy_kernels)
    assert sorted(told) == ["b", "b return"]
    assert "1 place is free for the way there and 2 places for the way back, and no two of them go" in told["b"]


def test_no_more_ways_there_fit_than_ways_back() -> None:
    """By hand: 6 MHz hold 16 carriers 400 kHz apart, 500 kHz only two."""
    desk = talk(Duplex(None, (Span(520 * MHZ, 520_500_000),)), steps=60, spacing_hz=4 * STEP_HZ)
    question = question_of(*(Link(f"l{i}", "talk", "hall") for i in range(5)), desk=desk)
    assert most(question) == Bound(
        4,
        "no more than 2 of 5 of talk, as many as of the other direction; at most 2 of 5 links of talk return in "
        "hall fit: the places left to them hold no more at 400 kHz between neighbours",
    )
    fixed = Link("guest", "talk", "hall", frequency_hz=500 * MHZ, fixed=True)
    question = question_of(fixed, *(Link(f"l{i}", "talk", "hall") for i in range(5)), desk=desk)
    bound = most(question)
    assert bound is not None
    assert bound.links == 8  # the guest's way there is fixed and its way back is not, so no more is claimed


def test_why_not_there_asks_about_both_directions() -> None:
    """By a + (b + d) − (a + d) = b, wherever b is asked about."""
    wanted = unfolded(Wanted((Link("a", "talk"), Link("b", "talk")), {"talk": DESK}))
    rows = [Assignment("a", "talk", frequency_hz=LOW_HZ), Assignment("a return", "talk return", frequency_hz=510 * MHZ)]
    for link, at_hz, other in (("b", 502 * MHZ, "b return"), ("b return", 512 * MHZ, "b")):
        case = case_of(rows, wanted, Ground(), link, at_hz)
        assert {one.kind for one in case.against} == {"A+B-C"}
        at = "512.000" if link == "b" else "502.000"
        assert f"{other}, which has no frequency in this plan, is taken to stand at {at} MHz then" in case.notes
