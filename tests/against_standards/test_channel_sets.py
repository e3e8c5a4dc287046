"""Intermodulation-free channel sets: OEIS A003022, A143824, A065825, and exact minimal spans with spacing and guard.

In the optimal span for n carriers the planner places n or n − 1 of n + 1, and never more than n; in a span one step
shorter never n.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count, permutations

import pytest

from fallow.plan.places import Ground
from fallow.plan.search.bounds import most
from fallow.plan.search.engine import Kernels, NumpyKernels
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution, improve
from fallow.plan.search.sidon import bose, singer
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.plain_conflicts import plain_conflicts, standing_links

STEP_HZ = 25_000
LOW_HZ = 500_000_000

# OEIS A003022: length of the shortest ruler with n marks whose differences all differ, n = 2, 3, …
GOLOMB_SPANS = {3: 3, 4: 6, 5: 11, 6: 17, 7: 25, 8: 34, 9: 44, 10: 55, 11: 72, 12: 85, 13: 106, 14: 127}
# OEIS A143824: largest subset of {1 … N} in which all differences differ, N = 0, 1, …
GOLOMB_SIZES = [0, 1, 2, 2, 3, 3, 3, 4, 4, 4, 4, 4, 5, 5, 5, 5, 5, 5, 6]
# OEIS A065825: smallest k such that n numbers of {1 … k} hold no three in arithmetic progression, n = 1, 2, …
NO_THREE_IN_PROGRESSION = [1, 2, 4, 5, 9, 11, 13, 14, 20, 24, 26, 30, 32, 36, 40, 41, 51, 54, 58, 63]


@dataclass(frozen=True)
class Rule:
    """Distances in whole steps; 0: not asked."""

    spacing: int
    two: int
    three: int = 0
    fifth: int = 0


# Exact minimal spans for n = 2, 3, … carriers, neighbours at least ``spacing`` apart, products at least the guard away;
# found by exhaustive search (our own, recomputed with a second program; no published table).
EXACT_SPANS = [
    (Rule(4, 1), [4, 9, 13, 19, 23, 28, 32, 39]),
    (Rule(4, 1, 1), [4, 9, 15, 22, 30, 39, 49, 60]),
    (Rule(4, 2, 2), [4, 10, 18, 28, 40, 56, 78]),
    (Rule(4, 4, 4), [4, 12, 24, 44, 68, 100]),
    (Rule(12, 4, 4), [12, 28, 48, 72, 100, 132]),
    (Rule(4, 4), [4, 12, 16, 32, 40, 48, 52, 76]),
    (Rule(4, 2, 2, 2), [4, 10, 18, 30, 44, 60, 80]),
    (Rule(12, 4, 4, 4), [12, 28, 48, 76, 100, 140]),
    (Rule(14, 4, 2, 2), [None, 32, 50, 68, 90, 114, 142, 168, 202, 234]),
]


def kernels() -> Kernels:
    """Compiled where numba is: the same plans, sooner."""
    try:
        from fallow.plan.search.compiled import CompiledKernels
    except ImportError:
        return NumpyKernels()
    return CompiledKernels()


def question(rule: Rule, span: int, n_links: int) -> tuple[Wanted, Question]:
    """``n_links`` alike on the places 0 … ``span``."""
    distances = [None if d == 0 else d * STEP_HZ for d in (rule.two, rule.three, rule.fifth)]
    tuning = (Span(LOW_HZ, LOW_HZ + span * STEP_HZ),)
    radio = Equipment(
        "invented", Kind.MICROPHONE, tuning, STEP_HZ, (), 200_000, None, None, rule.spacing * STEP_HZ, *distances
    )
    wanted = Wanted(tuple(Link(f"link {i}", radio.name) for i in range(n_links)), {radio.name: radio})
    return wanted, Question.build(wanted, Ground(), spares=0)


def best_of(asked: Question, steps: int, enough: int = 10**6) -> Solution:
    taken, ready = count(1), kernels()
    for found in improve(asked, seed=1, should_stop=lambda: next(taken) >= steps, kernels=lambda: ready):
        last = found
        if len(found.frequencies_hz) >= enough:
            break
    return last


def check(rule: Rule, span: int, n: int, steps: int = 1500) -> int:
    """Place n + 1 in the optimal span for n; returns how many found a place."""
    wanted, asked = question(rule, span, n + 1)
    solution = best_of(asked, steps, enough=n)
    placed = len(solution.frequencies_hz)
    bound = most(asked)
    assert plain_conflicts(standing_links(wanted, solution), wanted.losses) == []
    assert n - 1 <= placed <= n
    assert bound is None or bound.links >= n
    return placed


@pytest.mark.parametrize(("n", "span"), GOLOMB_SPANS.items())
def test_golomb_rulers(n: int, span: int) -> None:
    placed = check(Rule(1, 1, 1), span, n, steps=4000 if n <= 8 else 1500)
    assert placed == n or n > 8


def test_largest_golomb_subsets() -> None:
    for places, size in enumerate(GOLOMB_SIZES):
        if places >= 2:
            _, asked = question(Rule(1, 1, 1), places - 1, size + 1)
            assert len(best_of(asked, 200).frequencies_hz) == size


@pytest.mark.parametrize("n", range(3, len(NO_THREE_IN_PROGRESSION) + 1))
def test_no_three_in_progression(n: int) -> None:
    check(Rule(1, 1), NO_THREE_IN_PROGRESSION[n - 1] - 1, n)


@pytest.mark.parametrize(("rule", "spans"), EXACT_SPANS)
def test_exact_spans_with_spacing_and_guard(rule: Rule, spans: list[int | None]) -> None:
    for n, span in enumerate(spans, start=2):
        if span is not None:
            check(rule, span, n)
            if n > 2:
                _, shorter = question(rule, span - 1, n)
                assert len(best_of(shorter, 30).frequencies_hz) < n


@pytest.mark.parametrize(("span", "optimum", "at_least"), [(283, 20, 18), (425, 24, 21), (585, 28, 25)])
def test_many_equal_links_come_near_the_longest_rulers_known(span: int, optimum: int, at_least: int) -> None:
    """OEIS A003022: 20, 24 and 28 marks. Cut out of Singer's and Bose's sets, ``at_least`` so many are within reach."""
    wanted, asked = question(Rule(1, 1, 1), span, optimum + 1)
    solution = best_of(asked, 600, enough=at_least)
    assert plain_conflicts(standing_links(wanted, solution), wanted.losses) == []
    assert at_least <= len(solution.frequencies_hz) <= optimum


@pytest.mark.parametrize("p", [2, 3, 5, 7, 11, 13])
def test_sets_from_finite_fields_have_the_differences_that_their_theorems_say(p: int) -> None:
    """Singer (1938): p + 1 residues whose differences are each number modulo p² + p + 1 but 0 once. Bose (1942): p
    residues whose differences are each number modulo p² − 1 once, those that p + 1 divides left out.
    """
    for (members, modulus), left_out, size in ((singer(p), p * p + p + 1, p + 1), (bose(p), p + 1, p)):
        assert len(members) == size
        pairs = permutations(members.tolist(), 2)
        assert sorted((a - b) % modulus for a, b in pairs) == [d for d in range(1, modulus) if d % left_out]


def test_bounds_on_golomb_rulers_are_never_below_the_truth() -> None:
    """And not far above it: the window bound for spans 44, 55, 85, 283, 425 is 9, 10, 12, 21, 25; the truth 9, 10, 12,
    20, 24.
    """
    for span, bound, truth in ((44, 9, 9), (55, 10, 10), (85, 12, 12), (283, 21, 20), (425, 25, 24)):
        _, asked = question(Rule(1, 1, 1), span, 40)
        found = most(asked)
        assert found is not None
        assert truth <= found.links <= bound
