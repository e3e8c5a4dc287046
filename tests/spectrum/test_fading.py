"""Carriers that fade from sweep to sweep: *clean* is asked of the loudest sweep, where noise would not scatter so."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fallow.spectrum.verdict import Verdict
from fallow.spectrum.verdicts.periods import _fades
from verdict_trials import LIMIT_DBM, RECEIVERS, one_window, receiver_at_random, with_rayleigh_fading


def _told_fading(powers: np.ndarray, shape: float) -> float:
    """Share of rows of powers that are told to fade."""
    mean, count = powers.mean(axis=1), np.full(powers.shape[0], float(powers.shape[1]))
    squares = np.square(powers - mean[:, None]).sum(axis=1)
    return float(_fades(count, mean, squares, shape).mean())


@pytest.mark.parametrize("shape", [1.0, 4.0, 20.0, 200.0])
@pytest.mark.parametrize("sweeps", [2, 3, 12, 60])
def test_noise_like_power_is_seldom_told_to_fade(shape: float, sweeps: int) -> None:
    """Noise-like power is gamma distributed (Urkowitz, Proc. IEEE 55 (1967) 523-531); NumPy draws it."""
    powers = np.random.default_rng(1).gamma(shape, 1.0 / shape, (4000, sweeps))
    assert _told_fading(powers, shape) < 0.08


@pytest.mark.parametrize("sweeps", [6, 12, 40])
def test_a_carrier_behind_rayleigh_fading_is_told_to_fade(sweeps: int) -> None:
    """Its power is exponentially distributed (Rec. ITU-R P.1057), whatever the averaging within a sweep."""
    powers = np.random.default_rng(2).exponential(1.0, (2000, sweeps))
    assert _told_fading(powers, 8.0) > 0.9


@pytest.mark.slow
def test_a_fading_carrier_at_the_limit_in_its_loudest_sweep_is_seldom_called() -> None:
    rng = np.random.default_rng(28)
    receivers = [name for name in RECEIVERS if name in ("fine, averages", "steps of 50 kHz", "rounded to 1 dB")] * 20
    seen = [
        one_window(rng, receiver_at_random(rng, name), with_rayleigh_fading, LIMIT_DBM, 95.0).verdict
        for name in receivers
    ]
    for verdict in (Verdict.CLEAN, Verdict.OCCUPIED):
        assert seen.count(verdict) <= stats.binom.ppf(1 - 1e-4, len(seen), 0.08)
