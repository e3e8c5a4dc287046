"""What would help: each idea keeps every plan of before possible, and those told were planned with and audited."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import count

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.advice.relaxations import Relaxation, Trials, helpful
from fallow.plan.advice.relaxing import Effort, Idea, ideas_for
from fallow.plan.judge.audit import audit
from fallow.plan.places import Ground
from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution
from fallow.show.assignment import Assignment
from fallow.show.duplex import unfolded
from fallow.show.equipment import Duplex
from fallow.show.link import AreaLosses, Link, Station
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.plain_conflicts import random_show
from plan.test_remedies import channels, planned, wide
from plan.test_repair import radio

MHZ = 1_000_000


def after(steps: int) -> Callable[[], bool]:
    taken = count(1)
    return lambda: next(taken) > steps


def helps(plan: Solution, show: Wanted, ground: Ground) -> dict[str, Relaxation]:
    left = [link for link in show.links if link.planned and link.name not in plan.frequencies_hz]
    found = {}
    trials = Trials(plan, show, ground, seed=1, should_stop=after(20), kernels=NumpyKernels)
    for idea in ideas_for(left, show, ground):
        one = trials.of(idea, after(20))
        if one is not None:
            found[idea.text] = one
    return found


@given(st.integers(0, 10**6))
@settings(max_examples=15)
def test_no_idea_spoils_the_plan_that_there_is(seed: int) -> None:
    show, ground = random_show(seed), Ground()
    plan, _ = planned(show, ground, spares=0)

    def problems(of: Wanted) -> set[tuple[object, ...]]:
        rows = [
            Assignment(link.name, link.equipment, link.area, link.scenes, plan.frequencies_hz[link.name])
            for link in of.links
            if link.name in plan.frequencies_hz
        ]
        return {(c.kind, c.victim, c.carriers) for c in audit(rows, of).conflicts}

    before = problems(show)
    for idea in ideas_for([link for link in show.links if link.planned], show, ground):
        assert problems(idea.wanted) <= before
        question = Question.build(idea.wanted, idea.ground, spares=0)
        for carrier in question.links:
            hz = plan.frequencies_hz.get(carrier.name)
            assert hz in (None, carrier.fixed_hz) or question.worths[carrier.class_index].index(hz) is not None


def test_spacing_products_tuning_and_walls() -> None:
    """Two links where one fits, by another rule each time."""
    near = radio(500 * MHZ, 500_325_000)
    show = Wanted((Link("a", near.name), Link("b", near.name)), {near.name: near})
    found = helps(planned(show, Ground(), 0)[0], show, Ground())
    assert found["325 kHz instead of 350 kHz between links of invented"].places == 2
    assert found["325 kHz instead of 350 kHz between links of invented"].gained == ("b",)

    products = radio(500 * MHZ, 501 * MHZ, 502_060_000, im3_hz=100_000)
    show = Wanted(tuple(Link(name, products.name) for name in "abc"), {products.name: products})
    assert set(helps(planned(show, Ground(), 0)[0], show, Ground())) == {
        "2A−B products 50 kHz instead of 100 kHz from invented"
    }

    areas = radio(500 * MHZ)
    show = Wanted((Link("a", areas.name, "hall"), Link("b", areas.name, "yard")), {areas.name: areas})
    (only,) = helps(planned(show, Ground(), 0)[0], show, Ground()).values()
    assert (only.text, only.effort) == ("hall and yard out of each other's hearing", Effort.WALLS)


def test_a_channel_that_is_announced_and_a_range_beside() -> None:
    e = wide()
    ground = channels()
    both = Ground(ground.territory, ground.circumstances, stations=(Station("21"), Station("22")))
    show = Wanted((Link("a", e.name),), {e.name: e})
    plan, _ = planned(show, both, 0)
    assert plan.frequencies_hz == {}
    found = helps(plan, show, both)
    assert {"TV channel 21 off the air", "TV channel 22 off the air"} <= set(found)
    assert all(one.verified for one in found.values())


def test_one_link_less_helps_only_where_more_get_a_place() -> None:
    """The wide one stands in the way of two, and giving it up places one more than before."""
    wide_one = radio(501 * MHZ, name="wide", spacing_hz=5 * MHZ)
    narrow = radio(500 * MHZ, 502 * MHZ, name="narrow")
    links = (Link("wide one", "wide", priority=1), Link("n1", "narrow"), Link("n2", "narrow"))
    show = Wanted(links, {"wide": wide_one, "narrow": narrow}, AreaLosses())
    plan, _ = planned(show, Ground(), 0)
    assert plan.frequencies_hz == {"wide one": 501 * MHZ}
    (only,) = helps(plan, show, Ground()).values()
    assert (only.text, only.places, only.gained) == ("no frequency for wide one", 2, ("n1", "n2"))


def test_the_cheapest_are_told_first_and_unverified_ones_not() -> None:
    def one(text: str, effort: Effort, places: int, *, verified: bool = True) -> Relaxation:
        return Relaxation(text, effort, places, (), verified, without=2)

    found = [one("x", Effort.WALLS, 9), one("y", Effort.CHANNEL, 3), one("z", Effort.CHANNEL, 4)]
    found += [one("bad", Effort.RISKED_PRODUCTS, 9, verified=False)]
    assert [each.text for each in helpful(found)] == ["z", "y", "x"]
    assert len(helpful([one(str(i), Effort.CHANNEL, i) for i in range(9)])) == 5


def test_an_idea_that_helps_nobody_is_none() -> None:
    e = radio(500 * MHZ)
    show = Wanted((Link("a", e.name), Link("b", e.name)), {e.name: e})
    idea = Idea("nothing", Effort.CHANNEL, show, Ground())
    plan, _ = planned(show, Ground(), 0)
    assert Trials(plan, show, Ground(), seed=1, should_stop=after(5), kernels=NumpyKernels).of(idea, after(5)) is None


def crowd(random: int) -> Wanted:
    """More links than fit into 4 MHz, of two sorts, in three areas."""
    kinds = [
        replace(wide(name), tuning=(Span(500 * MHZ, 504 * MHZ),), im3_hz=im3_hz, spacing_hz=spacing_hz)
        for name, im3_hz, spacing_hz in (("x", 100_000, 350_000), ("y", 50_000, 300_000))
    ]
    draw = np.random.default_rng(random)
    areas = draw.choice(["hall", "yard", "foyer"], 24).tolist()
    links = tuple(Link(f"l{i}", kinds[i % 2].name, area) for i, area in enumerate(areas))
    losses = AreaLosses(frozenset({frozenset(("hall", "yard"))}))
    return Wanted(links, {kind.name: kind for kind in kinds}, losses)


def test_a_search_that_merely_goes_on_is_no_help() -> None:
    """From a first plan the search places more whatever is changed: with nothing changed that is no relaxation, also
    with more steps than it had without, and with another seed.
    """
    went_on = 0
    for seed in range(2):
        show, ground = crowd(seed), Ground()
        plan, _ = planned(show, ground, 0, steps=0)
        idea = Idea("nothing at all", Effort.RISKED_PRODUCTS, show, ground)
        trials = Trials(plan, show, ground, seed=seed, should_stop=after(30), kernels=NumpyKernels)
        went_on += trials.without > len(plan.frequencies_hz)
        assert trials.of(idea, after(60)) is None
        hasty = Trials(plan, show, ground, seed=seed, should_stop=after(30), kernels=NumpyKernels)
        hasty.seed += 100  # another course of the search than the one with nothing changed
        assert hasty.of(idea, after(30)) is None
    assert went_on


def test_what_helps_holds_more_than_the_rules_as_they_are() -> None:
    """Half the spacing places more than the search alone, and the plan with it is none under the rules as they are."""
    show, ground = crowd(1), Ground()
    plan, _ = planned(show, ground, 0)
    near = {name: replace(kind, spacing_hz=200_000, im3_three_hz=None) for name, kind in show.equipment.items()}
    trials = Trials(plan, show, ground, seed=1, should_stop=after(30), kernels=NumpyKernels)
    found = trials.of(Idea("nearer", Effort.RISKED_SPACING, replace(show, equipment=near), ground), after(30))
    assert found is not None
    assert found.verified
    assert found.places > found.without >= trials.without >= len(plan.frequencies_hz)


def two_ways(duplex: Duplex, *names: str, low_hz: int = 500 * MHZ, high_hz: int = 501 * MHZ) -> Wanted:
    talk = replace(
        radio(name="talk", im3_three_hz=30_000), tuning=(Span(low_hz, high_hz),), step_hz=100_000, duplex=duplex
    )
    return unfolded(Wanted(tuple(Link(name, "talk") for name in names), {"talk": talk}))


def test_an_idea_holds_for_both_directions_of_a_link() -> None:
    """By a + (b + d) − (a + d) = b one link fits; without A+B−C 500.0, 500.4 and 500.8 MHz do."""
    show = two_ways(Duplex(10 * MHZ), "a", "b")
    found = helps(planned(show, Ground(), 0)[0], show, Ground())
    assert set(found) == {"A+B−C products of no account to talk"}
    assert found["A+B−C products of no account to talk"].places == 4
    assert set(found["A+B−C products of no account to talk"].gained) == {"b", "b return"}


def test_a_way_back_that_follows_is_tuned_along_and_ranges_of_its_own_are_an_idea_of_their_own() -> None:
    show = two_ways(Duplex(10 * MHZ), "a", "b", high_hz=500 * MHZ + 300_000)
    show = replace(show, equipment={n: replace(e, im3_three_hz=None) for n, e in show.equipment.items()})
    assert set(helps(planned(show, Ground(), 0)[0], show, Ground())) >= {
        "300 kHz instead of 350 kHz between links of talk",
        "talk that tunes to 500.300 to 500.600 MHz as well",
    }
    show = two_ways(Duplex(None, (Span(510 * MHZ, 511 * MHZ),)), "a", "b")
    texts = [idea.text for idea in ideas_for(show.links, show, Ground())]
    assert "talk return that tunes to 511.000 to 512.000 MHz as well" in texts
    assert not [text for text in texts if "talk return" in text and "tunes" not in text]


def test_a_link_is_given_up_with_both_directions() -> None:
    show = two_ways(Duplex(10 * MHZ), "a", "b")
    ideas = [idea for idea in ideas_for(show.links[2:], show, Ground()) if idea.dropped]
    assert [idea.dropped for idea in ideas] == ["a"]
    assert [link.name for link in ideas[0].wanted.links] == ["b", "b return"]
