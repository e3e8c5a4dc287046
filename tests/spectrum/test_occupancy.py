"""Histograms of levels against NumPy's percentiles and comparisons on the same levels; both kernels side by side."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from fallow.spectrum.axis import Axis
from fallow.spectrum.long.counting import count_each, count_whole
from fallow.spectrum.long.occupancy import Histogram, histogram_of
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.workflow.occupancy import occupancy


def invented(seed: int, sweeps: int, bins: int = 5) -> np.ndarray:
    """Noise, a carrier that comes and goes, holes, a bin without any level."""
    rng = np.random.default_rng(seed)
    levels = (10 * np.log10(rng.gamma(3, 1 / 3, (sweeps, bins))) - 100).astype(np.float32)
    levels[rng.random(sweeps) < 0.3, 0] += 35
    levels[rng.random(levels.shape) < 0.1] = np.nan
    levels[:, bins - 1] = np.nan
    return levels


@given(some.integers(0, 10_000), some.sampled_from([0.25, 0.5, 1.0, 2.0]), some.integers(1, 4))
def test_percentiles_are_off_by_less_than_a_cell_where_levels_are_dense(seed: int, cell_db: float, parts: int) -> None:
    levels = invented(seed, 4000)
    levels[:, 0] = levels[:, 1]  # the carrier leaves an empty stretch: see the next test
    found = histogram_of(np.array_split(levels, parts), cell_db)
    for percent in (10, 50, 90):
        exact = np.array([np.nanpercentile(levels[:, place], percent) for place in range(4)])
        assert np.abs(found.percentile(percent)[:4] - exact).max() < cell_db
        assert np.isnan(found.percentile(percent)[4])


@given(some.integers(0, 10_000), some.floats(0.0, 100.0))
def test_any_percentile_lies_in_the_cells_of_the_levels_around_it(seed: int, percent: float) -> None:
    levels = invented(seed, 60)
    found = histogram_of([levels], 1.0)
    for place in range(4):
        ordered = np.sort(levels[np.isfinite(levels[:, place]), place])
        rank = percent / 100 * (ordered.size - 1)
        low, high = ordered[int(np.floor(rank))], ordered[int(np.ceil(rank))]
        assert np.floor(low) - 1e-6 <= found.percentile(percent)[place] <= np.floor(high) + 1 + 1e-6


@given(some.integers(0, 10_000), some.floats(-130.0, -40.0))
def test_occupancy_is_off_by_the_share_of_a_cell_and_exact_on_edges(seed: int, level_db: float) -> None:
    levels = invented(seed, 200)
    found = histogram_of(np.array_split(levels, 3), 0.5)
    for threshold in (level_db, np.round(level_db * 2) / 2):
        exact = (levels[:, :4] >= np.float32(threshold)).sum(axis=0) / np.isfinite(levels[:, :4]).sum(axis=0)
        off = np.abs(found.share_above(threshold)[:4] - exact)
        assert (off <= found.share_beside(threshold)[:4] + 1e-12).all()
        assert np.isnan(found.share_above(threshold)[4])
    assert not found.share_beside(np.round(level_db * 2) / 2)[:4].any()


@given(some.integers(0, 10_000), some.integers(1, 39))
def test_merging_is_addition(seed: int, cut: int) -> None:
    levels = invented(seed, 40)
    levels[cut:] += 17.5
    apart = histogram_of([levels[:cut]], 0.5) + histogram_of([levels[cut:]], 0.5)
    together = histogram_of([levels], 0.5)
    assert np.array_equal(apart.measured, together.measured)
    assert np.allclose(apart.percentile(30), together.percentile(30), equal_nan=True)
    for threshold in (-110.0, -99.25, -80.0):
        assert np.allclose(apart.share_above(threshold), together.share_above(threshold), equal_nan=True)


@given(some.integers(0, 10_000), some.sampled_from([0.3, 1.0, 4.0]), some.integers(-130, -60))
def test_both_kernels_count_the_same(seed: int, per_db: float, lowest_cell: int) -> None:
    levels = invented(seed, 30)
    counts = [np.zeros((5, 12), dtype=np.uint32) for _ in range(2)]
    count_whole(levels, counts[0], lowest_cell, per_db)
    count_each(levels, counts[1], lowest_cell, per_db)
    assert np.array_equal(*counts)
    assert counts[0].sum() == np.isfinite(levels).sum()


def test_the_compiled_kernel_counts_the_same() -> None:
    pytest.importorskip("numba")
    from fallow.spectrum.long.compiled import count_quickly

    levels = invented(7, 3000, 40)
    plain, quick = (
        histogram_of([levels], 0.5, lambda kernel=kernel: kernel) for kernel in (count_whole, count_quickly)
    )
    assert np.array_equal(plain.counts, quick.counts)
    assert plain.lowest_cell == quick.lowest_cell


def test_levels_that_no_receiver_shows_make_no_big_table() -> None:
    found = histogram_of([np.array([[-1e30, 3e38, -90.0, np.nan]], dtype=np.float32).T], 1.0)
    assert found.counts.shape[1] < 1000
    assert found.measured.tolist() == [3]


def test_what_does_not_fit_is_refused() -> None:
    one = Histogram(np.zeros((2, 3), dtype=np.uint32), 0)
    with pytest.raises(ValueError, match="same bins"):
        one + Histogram(np.zeros((3, 3), dtype=np.uint32), 0)
    with pytest.raises(ValueError, match="same width"):
        one + Histogram(np.zeros((2, 3), dtype=np.uint32), 0, 0.5)
    with pytest.raises(ValueError, match="percentage"):
        one.percentile(101)
    with pytest.raises(ValueError, match="nothing to count"):
        histogram_of([])
    with pytest.raises(ValueError, match="width"):
        histogram_of([np.zeros((1, 1), dtype=np.float32)], 0.0)


def test_a_survey_is_counted_over_all_its_files_and_progress_is_told() -> None:
    axis = Axis.regular(470_000_000, 25_000, 40)
    hours = [np.full((30, 40), level, dtype=np.float32) for level in (-100.25, -90.25, -80.25)]
    survey = Survey(tuple(Series(axis, hour, LevelUnit.DBM) for hour in hours))
    told: list[float] = []
    (found,) = occupancy(survey, cell_db=0.5, progress=told.append)
    assert found.absolute
    assert found.histogram.measured.tolist() == [90] * 40
    assert found.histogram.share_above(-85.0) == pytest.approx(1 / 3)
    assert found.histogram.percentile(50) == pytest.approx(-90.25, abs=0.25)
    assert told[-1] == 1.0
    assert told == sorted(told)
