"""What would help: each idea keeps every plan of before possible, and those told were planned with and audited."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count

from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.audit import audit
from fallow.plan.engine import NumpyKernels
from fallow.plan.places import Ground
from fallow.plan.question import Question
from fallow.plan.relaxations import Relaxation, helpful, relaxation_of
from fallow.plan.relaxing import Effort, Idea, ideas_for
from fallow.plan.search import Solution
from fallow.show.assignment import Assignment
from fallow.show.link import AreaLosses, Link, Station
from fallow.show.wanted import Wanted
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
    for idea in ideas_for(left, show, ground):
        one = relaxation_of(idea, plan, show, seed=1, should_stop=after(20), kernels=NumpyKernels)
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
        return Relaxation(text, effort, places, (), verified)

    found = [one("x", Effort.WALLS, 9), one("y", Effort.CHANNEL, 3), one("z", Effort.CHANNEL, 4)]
    found += [one("bad", Effort.RISKED_PRODUCTS, 9, verified=False)]
    assert [each.text for each in helpful(found)] == ["z", "y", "x"]
    assert len(helpful([one(str(i), Effort.CHANNEL, i) for i in range(9)])) == 5


def test_an_idea_that_helps_nobody_is_none() -> None:
    e = radio(500 * MHZ)
    show = Wanted((Link("a", e.name), Link("b", e.name)), {e.name: e})
    idea = Idea("nothing", Effort.CHANNEL, show, Ground())
    plan, _ = planned(show, Ground(), 0)
    assert relaxation_of(idea, plan, show, seed=1, should_stop=after(5), kernels=NumpyKernels) is None
