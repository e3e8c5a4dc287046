"""Bounds are never below what some plan places, whatever the show; and some are as tight as other means found."""

from __future__ import annotations

from itertools import combinations, count, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.places import Ground
from fallow.plan.search.bounds import Rule, most, most_by_spacing, most_in_windows
from fallow.plan.search.question import Question
from fallow.plan.search.search import improve
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.plain_conflicts import random_show


@given(st.sets(st.integers(0, 22), min_size=1, max_size=12), st.integers(1, 5), st.integers(1, 5))
@settings(max_examples=150)
def test_bounds_hold_against_every_subset(places: set[int], spacing: int, difference: int) -> None:
    at = np.array(sorted(places), dtype=np.int64)
    spaced = [chosen for chosen in subsets(at.tolist()) if all(b - a >= spacing for a, b in pairs(chosen))]
    assert most_by_spacing(at, spacing) == max(map(len, spaced))
    difference = min(spacing, difference)
    sparse = [chosen for chosen in spaced if differ(chosen, difference)]
    assert most_in_windows(at, Rule(spacing, difference)) >= max(map(len, sparse))


def subsets(places: list[int]):
    return (chosen for n in range(len(places) + 1) for chosen in combinations(places, n))


def pairs(chosen: tuple[int, ...]):
    return pairwise(chosen)


def differ(chosen: tuple[int, ...], at_least: int) -> bool:
    differences = sorted(b - a for a, b in combinations(chosen, 2))
    return all(b - a >= at_least for a, b in pairwise(differences))


@given(st.integers(0, 10**6))
@settings(max_examples=40)
def test_no_plan_places_more_than_the_bound(seed: int) -> None:
    question = Question.build(random_show(seed), Ground())
    bound = most(question)
    taken = count(1)
    *_, last = improve(question, seed=1, should_stop=lambda: next(taken) >= 15)
    assert bound is None or len(last.frequencies_hz) <= bound.links < len(question.links)


@pytest.mark.parametrize(("width_khz", "bound"), [(8_000, 13), (24_000, 25), (138_000, 59)])
def test_window_bound_under_rule_r(width_khz: int, bound: int) -> None:
    """Spacing 350 kHz, differences 50 kHz apart on a raster of 25 kHz: 13, 25, 59 by an earlier program of ours."""
    places_hz = np.arange(100_000, 1_000 * width_khz - 100_000 + 1, 25_000)
    assert most_in_windows(places_hz, Rule(350_000, 50_000)) == bound


def test_the_reason_names_the_links_and_the_rule() -> None:
    radio = Equipment(
        "invented", Kind.MICROPHONE, (Span(0, 1_000_000),), 25_000, (), 1, None, None, 350_000, None, None, None
    )
    links = tuple(Link(f"link {i}", radio.name, "hall") for i in range(9))
    bound = most(Question.build(Wanted(links, {radio.name: radio}), Ground()))
    assert bound is not None
    assert bound.links == 3
    assert "at most 3 of 9 links of invented in hall" in bound.because
    assert "350 kHz" in bound.because


def test_links_without_any_place_are_counted_out() -> None:
    radio = Equipment("invented", Kind.MICROPHONE, (), 25_000, (), 1, None, None, 350_000, None, None, None)
    bound = most(Question.build(Wanted((Link("one", radio.name),), {radio.name: radio}), Ground()))
    assert bound is not None
    assert bound.links == 0
