"""Chance in two samples, against SciPy: its F distribution, its exact test of Fisher, and drawn random numbers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fallow.spectrum.instruments.two_samples import (
    fisher_mid_p,
    lowest_mean,
    mean_u_db,
    ratio_quantile_db,
    ratio_u_db,
    student_factor,
)


@pytest.mark.parametrize(("tail", "above", "below"), [(0.01, 10.0, 5.0), (1e-8, 158.0, 90.0), (1e-6, 3000.0, 4000.0)])
def test_ratio_of_noise_powers_is_f_distributed(tail: float, above: float, below: float) -> None:
    expected = 10 * np.log10(stats.f.isf(tail, 2 * above, 2 * below))
    assert float(ratio_quantile_db(tail, np.array(above), np.array(below))) == pytest.approx(expected, abs=1e-6)


def test_many_ratios_at_once_keep_their_places() -> None:
    above, below = np.array([4.0, 40.0, 4.0, 7.0]), np.array([8.0, 8.0, 8.0, 7.0])
    together = ratio_quantile_db(0.001, above, below)
    alone = [float(ratio_quantile_db(0.001, np.array(a), np.array(b))) for a, b in zip(above, below, strict=True)]
    assert together == pytest.approx(alone)


def test_scatter_of_a_ratio_is_that_of_drawn_noise() -> None:
    rng = np.random.default_rng(5)
    drawn = 10 * np.log10(rng.gamma(6.0, size=200_000) / 6.0 / (rng.gamma(3.0, size=200_000) / 3.0))
    assert float(ratio_u_db(np.array(6.0), np.array(3.0))) == pytest.approx(float(drawn.std()), rel=0.01)


@pytest.mark.parametrize("table", [(3, 20, 0, 12), (8, 10, 1, 6), (5, 12, 0, 12), (7, 7, 0, 7)])
def test_fisher_against_scipy(table: tuple[int, int, int, int]) -> None:
    hits, of, others, other_of = table
    whole = stats.fisher_exact([[hits, of - hits], [others, other_of - others]]).pvalue
    seen = stats.hypergeom(of + other_of, hits + others, of).pmf(hits)
    assert fisher_mid_p(*table) == pytest.approx(whole - seen / 2)


def test_student_factor_against_scipy() -> None:
    assert student_factor(0.01, 5) == pytest.approx(float(stats.t.ppf(0.995, 5)))


def test_standard_error_of_a_mean() -> None:
    assert mean_u_db([1.0, 2.0, 3.0]) == pytest.approx(float(stats.sem([1.0, 2.0, 3.0])))
    assert mean_u_db([1.0]) == 0.0


@pytest.mark.parametrize(("kept", "of"), [(1, 2), (2, 3), (15, 20), (45, 60)])
def test_the_mean_of_the_lowest_exponential_powers_is_that_of_renyis_sums(kept: int, of: int) -> None:
    """Rényi 1953: the i-th lowest of n exponential values has the mean Σ 1/(n-j), j from 0 to i-1."""
    of_each = np.cumsum(1.0 / (of - np.arange(of)))
    assert lowest_mean(1.0, kept, of) == pytest.approx(float(of_each[:kept].mean()), rel=2e-3)


def test_the_mean_of_the_lowest_of_averaged_powers_is_that_of_drawn_ones() -> None:
    drawn = np.sort(np.random.default_rng(6).gamma(4.0, 0.25, size=(100_000, 5)), axis=1)
    assert lowest_mean(4.0, 3, 5) == pytest.approx(float(drawn[:, :3].mean()), rel=5e-3)
