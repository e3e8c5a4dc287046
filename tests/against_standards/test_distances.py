"""The packing of links that only keep distances, against published problems.

Sources: the Philadelphia problems P1 to P9 with their optima (FAP web page of the Zuse Institute Berlin, as cited in
dwave-examples/frequency-selection) and GEOM30b (coin-or/python-mip, bench/data/bmcp); see ``published_distances``.
"""

from __future__ import annotations

from itertools import count

import numpy as np
import pytest

from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.packing import shortest
from published_distances import check, problems

LONGEST = {"P1": 1.05, "P2": 1.06, "P3": 1.04, "P4": 1.04, "P5": 1.0, "P6": 1.20, "P7": 1.05, "P8": 1.04}


def best_span(name, steps, kernels):
    problem, taken = problems()[name], count(1)
    best = problem.published * 100

    def should_stop():
        return best <= problem.published or next(taken) >= steps

    for packed in shortest(problem.need, problem.apart, seed=1, should_stop=should_stop, kernels=lambda: kernels):
        assert packed.top < best
        check(problem, packed)
        best = packed.top
    return best


def test_the_clique_bounds_of_the_printed_layout_are_the_published_optima():
    from fallow.plan.search.crowd import cliques

    for name in ("P3", "P5", "P6"):
        problem = problems()[name]
        heaviest = max(int(problem.need[list(members)].sum()) for members in cliques(problem.apart >= 1))
        assert heaviest - 1 == problem.published


def test_geom30b_is_solved_as_short_as_published():
    assert best_span("GEOM30b", 40, NumpyKernels()) == 76


@pytest.mark.slow
@pytest.mark.parametrize("name", LONGEST)
def test_philadelphia_comes_near_the_published_span_and_never_below(name):
    compiled = pytest.importorskip("fallow.plan.search.compiled", reason="numba is not installed: too slow without it")
    problem = problems()[name]
    assert best_span(name, 900, compiled.CompiledKernels()) <= LONGEST[name] * problem.published


def test_four_cells_take_eleven_channels():
    """A four-cell example of the literature on channel assignment, from memory."""
    apart = np.array([[5, 4, 0, 0], [4, 5, 0, 1], [0, 0, 5, 2], [0, 1, 2, 5]])
    *_, last = shortest(
        np.array([1, 1, 1, 3]), apart, seed=1, should_stop=iter([False] * 30 + [True]).__next__, kernels=NumpyKernels
    )
    assert last.top + 1 == 11
