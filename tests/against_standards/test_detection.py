"""The energy detector against published thresholds. Source: Urkowitz, Proc. IEEE 55 (1967); recomputed with
scipy.stats.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fallow.spectrum.statistics import noise_quantile_db


@pytest.mark.parametrize(
    ("samples", "false_alarm", "threshold_db"),
    [(1, 1e-2, 6.632), (1, 1e-3, 8.393), (1, 1e-6, 11.404), (10, 1e-3, 3.552), (10, 1e-6, 5.147), (100, 1e-3, 1.264)],
)
def test_thresholds(samples: int, false_alarm: float, threshold_db: float) -> None:
    # Tolerance 0.002 dB
    assert float(noise_quantile_db(1 - false_alarm, samples)) == pytest.approx(threshold_db, abs=0.002)


@pytest.mark.parametrize(
    ("samples", "false_alarm", "snr_db", "detected"), [(1, 1e-2, 10, 0.9423), (10, 1e-3, 3, 0.8517)]
)
def test_detection_of_a_steady_signal(samples: int, false_alarm: float, snr_db: float, detected: float) -> None:
    # the model of the invented instruments: 2K·reading/noise is non-central chi-square; tolerance 2e-4
    threshold = 10 ** (float(noise_quantile_db(1 - false_alarm, samples)) / 10)
    snr = 10 ** (snr_db / 10)
    assert stats.ncx2.sf(2 * samples * threshold, 2 * samples, 2 * samples * snr) == pytest.approx(detected, abs=2e-4)


def test_false_alarms_of_many_points() -> None:
    # 1001 points at 1e-6: 1.0005e-3 per sweep of any
    assert -np.expm1(1001 * np.log1p(-1e-6)) == pytest.approx(1.0005e-3, abs=1e-7)
    assert 401 * stats.gamma.sf(10 ** (float(noise_quantile_db(1 - 1e-3, 1)) / 10), 1) == pytest.approx(0.401, abs=1e-3)
