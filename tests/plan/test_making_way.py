"""Carriers that make way for one that is missing: the plan stays without conflicts and the tables stay in step.

Truth: the plain enumeration of ``plain_conflicts``, and tables into which the same plan is put afresh. Shows are
invented.
"""

from __future__ import annotations

import numpy as np
import pytest

from fallow.plan.places import Ground
from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.orders import picks_of, wandering_picks
from fallow.plan.search.question import Question
from fallow.plan.search.search import Search, solution_of
from fallow.plan.search.tables import TABLE_NAMES
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.plain_conflicts import plain_conflicts, standing_links
from plan.shows import equipment

MHZ = 1_000_000


def crowded(areas: int = 2) -> Wanted:
    """Sixteen links in areas that hear each other, in 6 MHz: more than fit."""
    mic = equipment(tuning=(Span(500 * MHZ, 506 * MHZ),), step_hz=25_000)
    return Wanted(tuple(Link(f"l{i}", mic.name, f"area {i % areas}") for i in range(16)), {mic.name: mic})


@pytest.mark.parametrize("seed", range(4))
def test_whoever_is_missing_gets_a_place_and_everything_stays_in_step(seed: int) -> None:
    wanted = crowded()
    question = Question.build(wanted, Ground(), spares=0)
    search = Search(question, seed, NumpyKernels)
    list(search.fills())
    let_in = 0
    for _ in range(12):
        missing, before_hz = search._missing(), search.standing.at_hz.copy()
        assert missing
        search._make_way(missing)
        at_hz = search.standing.at_hz
        let_in += bool((at_hz[missing] >= 0).any())
        newcomers = [i for i in missing if at_hz[i] >= 0]
        assert not set(at_hz[newcomers].tolist()) <= set(before_hz.tolist()) or not newcomers
        plan = solution_of(question, search._current(), at_hz)
        assert plain_conflicts(standing_links(wanted, plan), wanted.losses) == []
    assert let_in > 6  # else the move would be for nothing
    afresh = question.tables()
    who = np.flatnonzero(search.standing.at_hz >= 0)
    NumpyKernels().put(afresh, search.standing.classes[who], who, search.standing.at_hz[who])
    for name in TABLE_NAMES:
        assert np.array_equal(getattr(afresh, name), getattr(search.standing.tables, name)), name


def test_a_plan_to_keep_is_shaken_without() -> None:
    wanted = crowded()
    kept = Question.build(wanted, Ground(), keep={"l0": 500 * MHZ}, spares=0)
    assert Search(Question.build(wanted, Ground(), spares=0), 1, NumpyKernels).makes_way
    assert not Search(kept, 1, NumpyKernels).makes_way


def test_wandering_is_rarer_where_it_leads_nowhere_but_never_ends() -> None:
    search = Search(Question.build(crowded(), Ground(), spares=0), 1, NumpyKernels)
    search.stirring = 0.0
    rare = search._liveliness()
    search.stirring = 1.0
    assert 0 < rare < search._liveliness() == 1.0
    search.makes_way, search.stirring = False, 0.0
    assert search._liveliness() == 1.0  # there is nothing else to do


def test_picks_are_shares_or_the_lowest() -> None:
    random = np.random.default_rng(1)
    for _ in range(50):
        wandering, placing = wandering_picks(random, 20), picks_of(random, 20, 0.0)
        assert all(pick == -1.0 or 0.0 <= pick < 1.0 for pick in (*wandering, *placing))
        assert all(1.0 <= pick < 2.0 for pick in picks_of(random, 20, 1.0))
