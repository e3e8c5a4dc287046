"""How much a count of hits proves. Source: Clopper and Pearson 1934, Wilson 1927; recomputed with
scipy.stats.binomtest.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fallow.spectrum.long.occupancy import band_occupancy, channel_occupancy, histogram_of, resource_occupancy
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


# Rec. ITU-R SM.1880-2 and Report ITU-R SM.2256-1 define FCO, FBO and SRO; the definitions were seen in a public summary
# of the Report and in a regulator's open code. Worked by hand: 5 scans of 4 channels of 3 bins, 1 is above the limit.
SCANS = ("100000011000", "000000111000", "110000111000", "000001111000", "000000111000")
ABOVE = np.array([[mark == "1" for mark in scan] for scan in SCANS])
CHANNELS = [slice(first, first + 3) for first in (0, 3, 6, 9)]


def test_channel_band_and_resource_occupancy() -> None:
    assert channel_occupancy(ABOVE, CHANNELS).tolist() == [0.4, 0.2, 1.0, 0.0]
    assert band_occupancy(ABOVE) == 18 / 60
    assert resource_occupancy(ABOVE, CHANNELS) == pytest.approx(0.40, abs=1e-15)


def test_occupancy_of_centre_bins_alone() -> None:
    centres = [slice(first + 1, first + 2) for first in (0, 3, 6, 9)]
    assert channel_occupancy(ABOVE, centres).tolist() == [0.2, 0.0, 1.0, 0.0]
    assert resource_occupancy(ABOVE, centres) == pytest.approx(0.30, abs=1e-15)


def test_band_occupancy_of_a_histogram_is_that_of_its_levels() -> None:
    levels = np.where(ABOVE, -80.0, -100.0).astype(np.float32)
    assert histogram_of([levels[:2], levels[2:]]).share_above(-90.0).mean() == pytest.approx(band_occupancy(ABOVE))


def test_a_channel_without_a_bin_has_no_occupancy() -> None:
    with pytest.raises(ValueError, match="a bin at least"):
        channel_occupancy(ABOVE, [slice(3, 3)])


@pytest.mark.parametrize(("margin_db", "share"), [(3.0, 0.13598), (5.0, 0.04233), (6.0, 0.01867), (8.0, 1.8188e-3)])
def test_false_alarms_of_noise_above_its_mean(margin_db: float, share: float) -> None:
    """One exponential sample above its mean plus a margin: exp(-10^(m/10)), recomputed with scipy.stats.gamma."""
    rng = np.random.default_rng(2)
    levels = (10 * np.log10(rng.exponential(size=(100_000, 4)))).astype(np.float32)
    assert share == pytest.approx(stats.gamma.sf(10 ** (margin_db / 10), 1), rel=1e-3)
    above = histogram_of([levels]).share_above(margin_db).mean()
    assert above == pytest.approx(share, abs=4 * np.sqrt(share / 400_000))  # four standard errors of a count
