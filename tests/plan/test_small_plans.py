"""Plans of small shows as they come: the best there is, with exact bounds, against every assignment. All invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fallow.plan.answer import Plan
from fallow.show.assignment import Assignment
from fallow.show.wanted import Wanted
from fallow.workflow.coordinate import coordinate
from plan.plain_groups import every_plan
from plan.test_pairs import goes_together
from plan.test_pairs_left_out import LOW_HZ, STEP_HZ, crowded_show


def planned(wanted: Wanted, keep: list[Assignment] | None) -> Plan:
    """In so few steps that the search alone would not prove anything."""
    links = [link for link in wanted.links if not link.name.endswith(" return")]
    radios = {name: radio for name, radio in wanted.equipment.items() if not name.endswith(" return")}
    more = {"foreign": wanted.foreign, "areas": wanted.losses, "keep": keep, "spares": 0, "failures": False}
    return coordinate(links, radios, steps=40, seconds=60.0, **more)  # type: ignore[arg-type]  # options by name


@pytest.mark.parametrize("seed", range(100, 112))
def test_no_plan_has_more_links_and_that_is_proven_and_so_are_the_moves(seed: int) -> None:
    wanted, random = crowded_show(seed), np.random.default_rng(seed)
    weights = {link.name.removesuffix(" return"): int(random.choice([1, 1, 4])) for link in wanted.links}
    links = [replace(link, move_weight=weights[link.name.removesuffix(" return")]) for link in wanted.links]
    wanted = replace(wanted, links=tuple(links))
    keep = [
        Assignment(link.name, link.equipment, link.area, frequency_hz=LOW_HZ + STEP_HZ * int(random.integers(0, 4)))
        for link in wanted.links
    ]
    plan = planned(wanted, keep if seed % 2 else None)
    exact = max(len(at_hz) for at_hz in every_plan(wanted) if goes_together(wanted, at_hz))
    assert len(plan.links) - len(plan.unplaced) == exact
    assert plan.conflicts == ()
    assert (plan.most.links if plan.most else len(plan.links)) == exact
    if plan.advice.replan is not None:
        assert plan.advice.replan.is_smallest
