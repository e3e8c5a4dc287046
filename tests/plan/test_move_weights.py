"""Changes to a plan in force count by weight: against every assignment of tiny shows, all invented."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.plan.places import Ground
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.search import Solution, improve
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import ForeignCarrier, Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.plain_groups import every_plan
from plan.shows import KHZ, equipment
from plan.test_pairs import FIXED, FREE, goes_together, placed, stopper
from plan.test_pairs import show as show_of_pairs

STEP_HZ = 100_000


def planned(wanted: Wanted, keep, *, steps: int = 80) -> tuple[Solution, FewestMoves]:
    """The best plan after so many steps, and what is known of the fewest moves."""
    fewest = [FewestMoves()]
    question = Question.build(wanted, Ground(), keep=keep, spares=0)
    *_, best = improve(question, seed=1, should_stop=stopper(steps), tell=fewest.append)
    return best, fewest[-1]


def tiny_show(seed: int) -> tuple[Wanted, dict[str, int]]:
    """Three or four links of different weights, homes that need not go together, and a stranger."""
    random = np.random.default_rng(seed)
    low_hz = 500_000_000
    distances = [None if random.random() < 0.5 else STEP_HZ for _ in range(3)]
    tuning = (Span(low_hz, low_hz + STEP_HZ * int(random.integers(5, 8))),)
    vox = Equipment("vox", Kind.MICROPHONE, tuning, STEP_HZ, (), 50_000, None, None, STEP_HZ, *distances)
    links = tuple(
        Link(f"vox {i}", "vox", priority=int(random.integers(1, 4)), move_weight=int(random.choice([1, 1, 2, 5])))
        for i in range(random.integers(3, 5))
    )
    stranger_hz = low_hz + STEP_HZ * int(random.integers(0, 6))
    stranger = ForeignCarrier("stranger", stranger_hz, 0, "", STEP_HZ, products=bool(random.random() < 0.5))
    keep = {one.name: low_hz + STEP_HZ * int(random.integers(0, 6)) for one in links if random.random() < 0.9}
    return Wanted(links, {"vox": vox}, foreign=(stranger,)), keep


def weight_of_moves(wanted: Wanted, keep, at_hz) -> int:
    return sum(one.move_weight for one in wanted.links if one.name in keep and at_hz.get(one.name) != keep[one.name])


@pytest.mark.parametrize("seed", range(40))
def test_what_moves_weighs_as_little_as_in_any_assignment(seed):
    """Of all assignments with as many links in each priority."""
    wanted, keep = tiny_show(seed)
    best, fewest = planned(wanted, keep)
    assignments = list(every_plan(wanted))
    most = max(placed(wanted, at_hz) for at_hz in assignments)
    assert placed(wanted, best.frequencies_hz) == most
    least = min(weight_of_moves(wanted, keep, at_hz) for at_hz in assignments if placed(wanted, at_hz) == most)
    assert weight_of_moves(wanted, keep, best.frequencies_hz) == least
    if sum(most) == len(wanted.links):
        assert fewest.weight_at_least <= least


@pytest.mark.parametrize(("weight", "moves"), [(1, {"star"}), (5, {"vox 0", "vox 1"})])
def test_two_light_links_move_rather_than_a_heavy_one(weight, moves):
    """The plan in force has one link between two others, 200 kHz from each, and 400 kHz are asked."""
    tuning = (Span(500_000_000, 504_000_000),)
    vox = equipment("vox", spacing_khz=400, im3_khz=None, three_khz=None, tuning=tuning, step_hz=100 * KHZ)
    links = (Link("star", "vox", move_weight=weight), Link("vox 0", "vox"), Link("vox 1", "vox"))
    homes = {"star": 500_400_000, "vox 0": 500_200_000, "vox 1": 500_600_000}
    best, fewest = planned(Wanted(links, {"vox": vox}), homes)
    assert {name for name, hz in best.frequencies_hz.items() if hz != homes[name]} == moves
    assert -best.score.changed == min(weight, 2)
    assert fewest.weight_at_least <= min(weight, 2)


@given(st.integers(0, 10_000))
def test_pairs_stay_whole_in_re_plans(seed):
    """Links with two directions, some homes lost to strangers."""
    random = np.random.default_rng(seed)
    wanted = show_of_pairs(FIXED if seed % 2 else FREE, links=3)
    question = Question.build(wanted, Ground(), spares=0)
    before = next(iter(improve(question, seed=seed, should_stop=lambda: True)))
    lost = [int(random.choice(list(before.frequencies_hz.values()))) for _ in range(2)]
    strangers = tuple(ForeignCarrier(f"stranger {i}", hz, 0, "", 500_000) for i, hz in enumerate(lost))
    after_wanted = Wanted(wanted.links, wanted.equipment, foreign=strangers)
    question = Question.build(after_wanted, Ground(), keep=before.frequencies_hz, spares=0)
    for found in improve(question, seed=seed, should_stop=stopper(25)):
        assert goes_together(after_wanted, dict(found.frequencies_hz))
