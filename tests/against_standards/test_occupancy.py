"""How much a count of hits proves. Source: Clopper and Pearson 1934, Wilson 1927; recomputed with
scipy.stats.binomtest.
"""

from __future__ import annotations

import pytest
from scipy import stats

from fallow.spectrum.statistics import binomial_limits, missed_share, wilson_limits

TABLE = [
    (0, 10, 0.0, 0.2775, 0.0, 0.3085),
    (0, 30, 0.0, 0.1135, 0.0, 0.1157),
    (1, 30, 0.0059, 0.1667, 0.0008, 0.1722),
    (3, 20, 0.0524, 0.3604, 0.0321, 0.3789),
    (7, 50, 0.0695, 0.2619, 0.0582, 0.2674),
    (50, 100, 0.4038, 0.5962, 0.3983, 0.6017),
    (100, 100, 0.9630, 1.0, 0.9638, 1.0),
]


@pytest.mark.parametrize(("hits", "trials", "wilson_low", "wilson_high", "exact_low", "exact_high"), TABLE)
def test_limits(
    hits: int, trials: int, wilson_low: float, wilson_high: float, exact_low: float, exact_high: float
) -> None:
    # Tolerance 5e-5: the table is printed with four decimals
    assert wilson_limits(hits, trials, 95.0) == pytest.approx((wilson_low, wilson_high), abs=6e-5)
    assert binomial_limits(hits, trials, 95.0) == pytest.approx((exact_low, exact_high), abs=6e-5)


@pytest.mark.parametrize(("hits", "trials"), [(0, 7), (3, 9), (9, 9), (400, 1000)])
def test_limits_against_scipy(hits: int, trials: int) -> None:
    for confidence in (90.0, 99.0):
        interval = stats.binomtest(hits, trials).proportion_ci(confidence / 100, method="exact")
        assert binomial_limits(hits, trials, confidence) == pytest.approx((interval.low, interval.high), abs=1e-9)


def test_nothing_looked_at_proves_nothing() -> None:
    assert binomial_limits(0, 0, 95.0) == (0.0, 1.0)
    assert wilson_limits(0, 0, 95.0) == (0.0, 1.0)
    assert missed_share(0, 95.0) == 1.0


@pytest.mark.parametrize(("sweeps", "share"), [(60, 0.0487), (10, 0.2589), (30, 0.0950), (100, 0.0295), (300, 0.0099)])
def test_never_seen(sweeps: int, share: float) -> None:
    # one-sided 95 % upper limit for no hit: 1 - 0.05^(1/n); tolerance 5e-5
    assert missed_share(sweeps, 95.0) == pytest.approx(share, abs=6e-5)
