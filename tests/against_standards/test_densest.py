"""OEIS A003022: lengths of optimal Golomb rulers. Carriers a step apart of which no two pairs differ by as much."""

from __future__ import annotations

import pytest

from fallow.plan.search.densest import Effort, Steps, shortest_spans

A003022 = {2: 1, 3: 3, 4: 6, 5: 11, 6: 17, 7: 25, 8: 34, 9: 44, 10: 55}


def test_optimal_golomb_rulers() -> None:
    assert shortest_spans(Steps(1, 1, 1, 0), 7, Effort(10**7))[1:] == [A003022[n] for n in range(2, 8)]


def test_longer_ones_with_compiled_loops() -> None:
    compiled = pytest.importorskip("fallow.plan.search.compiled_densest")
    spans = shortest_spans(Steps(1, 1, 1, 0), 10, Effort(10**9, compiled.fit_quickly))
    assert spans[1:] == list(A003022.values())
