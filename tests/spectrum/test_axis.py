"""The axis: exact grids, cells, coverage, gaps. Truth: exact rational arithmetic (Python's fractions)."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.spectrum.axis import Axis

rational_hz = st.fractions(min_value=1, max_value=10**7, max_denominator=4096)


@given(start=st.fractions(0, 6 * 10**9, max_denominator=4096), step=rational_hz, n=st.integers(1, 2000))
def test_centres_are_exact_to_the_last_float(start: Fraction, step: Fraction, n: int) -> None:
    axis = Axis.regular(start, step, n)
    last = n - 1
    assert abs(Fraction(axis.centres_hz[last]) - (start + last * step)) < Fraction(1, 10**4)
    lows, highs = axis.cells_hz
    assert np.allclose(highs[:-1], lows[1:], rtol=0, atol=1e-3)


def test_a_span_over_512_points_has_no_whole_hertz_step_and_still_ends_where_it_should() -> None:
    axis = Axis.regular(165_500_000, Fraction(2_800_000, 512), 513)
    assert axis.centres_hz[-1] == 168_300_000


@given(st.sets(st.integers(1, 10**6), min_size=2, max_size=60), st.integers(0, 10**6), st.integers(1, 10**6))
def test_coverage_equals_the_plain_sum_over_cells(points: set[int], low: int, width: int) -> None:
    axis = Axis.irregular(np.array(sorted(points), dtype=np.int64))
    lows, highs = axis.cells_hz
    plain = sum(max(0.0, min(h, low + width) - max(lo, low)) for lo, h in zip(lows, highs, strict=True)) / width
    assert axis.covered_share(low, low + width) == pytest.approx(plain, abs=1e-9)
    touching = [i for i, (lo, h) in enumerate(zip(lows, highs, strict=True)) if lo < low + width and h > low]
    bins = axis.bins_touching(low, low + width)
    assert list(range(axis.n))[bins] == touching
    assert np.all(highs > lows)
    assert np.all(highs[:-1] <= lows[1:] + 1e-9)


def test_a_gap_between_two_ranges_is_not_covered() -> None:
    points = np.r_[470_000_000:480_000_001:25_000, 490_000_000:500_000_001:25_000].astype(np.int64)
    axis = Axis.irregular(points)
    assert axis.covered_share(482e6, 488e6) == 0.0
    assert axis.covered_share(471e6, 479e6) == pytest.approx(1.0)
    lows, highs = axis.cells_hz
    edge = int(np.searchsorted(points, 480_000_000))
    assert highs[edge] - points[edge] == pytest.approx(1.25 * 25_000 / 2)
    assert points[edge + 1] - lows[edge + 1] == pytest.approx(1.25 * 25_000 / 2)


def test_axes_compare_by_value() -> None:
    regular = Axis.regular(470_000_000, 25_000, 5)
    assert regular == Axis.regular(470_000_000, 25_000, 5)
    assert regular != Axis.regular(470_000_000, 12_500, 5)
    assert regular != Axis.irregular(np.arange(470_000_000, 470_125_000, 25_000))
    assert len({regular, Axis.regular(470_000_000, 25_000, 5)}) == 1


def test_cut_keeps_the_frequencies() -> None:
    axis = Axis.regular(100, Fraction(1, 3), 10)
    assert axis.cut(slice(3, 7)).centres_hz.tolist() == axis.centres_hz[3:7].tolist()


@pytest.mark.parametrize("points", [[], [5, 5], [5, 4]])
def test_an_axis_must_rise(points: list[int]) -> None:
    with pytest.raises(ValueError, match="rise"):
        Axis.irregular(np.array(points, dtype=np.int64))
    with pytest.raises(ValueError, match="at least one bin"):
        Axis.regular(0, 0, 5)
