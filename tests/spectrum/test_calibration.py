"""Verdicts over an air of complex samples that shares no code with fallow: as often right as they say.

Small here; ``bench/verdicts.py`` prints the tables at length. What is asked for is the design's: of the windows called
clean or occupied at 95 % that many are right, nothing at the limit is called occupied more often than once in twenty,
noise alone once in a hundred slices. Bounds: binomial, so that a right program fails once in 10,000.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from fallow.spectrum.verdict import Verdict
from verdict_trials import (
    LIMIT_DBM,
    NOISES,
    RECEIVERS,
    SENDERS,
    SLICE,
    displayed,
    noise_alone,
    one_slice,
    one_window,
    receiver_at_random,
    television,
)

NEAR_DBM_HZ = LIMIT_DBM - 3.0 - 53.01  # in 200 kHz
PLAIN = [name for name in RECEIVERS if name not in ("peaks", "max-hold", "500 sweeps")]


def _fails_once_in_10000(bad: int, tried: int, share: float) -> bool:
    return bad > stats.binom.ppf(1 - 1e-4, tried, share)


@pytest.mark.slow
@pytest.mark.parametrize("sender", SENDERS)
def test_what_is_called_is_as_often_right_as_it_says(sender: str) -> None:
    rng = np.random.default_rng(21)
    called, wrong = Counter[Verdict](), Counter[Verdict]()
    for receiver in PLAIN * 4:
        level = LIMIT_DBM + rng.uniform(-6.5, 6.5)
        seen = one_window(rng, receiver_at_random(rng, receiver), SENDERS[sender], level, 95.0)
        called[seen.verdict] += 1
        wrong[seen.verdict] += (seen.true_dbm > LIMIT_DBM) != (seen.verdict is Verdict.OCCUPIED)
    for verdict in (Verdict.CLEAN, Verdict.OCCUPIED):
        assert called[verdict] > 2
        assert not _fails_once_in_10000(wrong[verdict], called[verdict], 0.05)


@pytest.mark.slow
@pytest.mark.parametrize("receiver", RECEIVERS)
def test_nothing_at_the_limit_is_occupied_or_clean_too_often(receiver: str) -> None:
    rng = np.random.default_rng(22)
    verdicts = Counter(
        one_window(rng, receiver_at_random(rng, receiver), SENDERS[sender], LIMIT_DBM, 95.0).verdict
        for sender in [*SENDERS] * 3
    )
    assert not _fails_once_in_10000(verdicts[Verdict.OCCUPIED], 3 * len(SENDERS), 0.05)
    assert not _fails_once_in_10000(verdicts[Verdict.CLEAN], 3 * len(SENDERS), 0.08)  # cells and filters leak a little


@pytest.mark.slow
def test_slices_full_of_signals_at_the_limit() -> None:
    rng = np.random.default_rng(23)
    wrong = 0
    for receiver in PLAIN:
        for sender in ("carrier", "carrier in 5 %", "digital, 180 kHz", "digital, 25 kHz, 5 %"):
            air = one_slice(rng, receiver_at_random(rng, receiver), [SENDERS[sender]] * 8, LIMIT_DBM, 95.0)
            wrong += air.judge_slices([SLICE])[0].verdict is Verdict.OCCUPIED
    assert not _fails_once_in_10000(wrong, 4 * len(PLAIN), 0.05)


@pytest.mark.slow
@pytest.mark.parametrize("sender", ["carrier", "digital, 180 kHz", "FM, 90 kHz"])
def test_a_floor_beside_the_signal_is_not_counted_as_signal(sender: str) -> None:
    """With the floor 3 dB below the limit, signal and noise together lie 1.8 dB above the signal."""
    rng = np.random.default_rng(24)
    wrong = 0
    for _ in range(60):
        receiver = replace(receiver_at_random(rng, "floor near the limit"), noise_dbm_hz=NEAR_DBM_HZ)
        wrong += one_window(rng, receiver, SENDERS[sender], LIMIT_DBM, 95.0).verdict is Verdict.OCCUPIED
    assert not _fails_once_in_10000(wrong, 60, 0.05)


@pytest.mark.slow
@pytest.mark.parametrize("kind", NOISES)
def test_noise_alone_occupies_nothing(kind: str) -> None:
    rng = np.random.default_rng(25)
    wrong = 0
    for receiver in [*RECEIVERS] * 3:
        air = noise_alone(rng, receiver_at_random(rng, receiver), kind)
        wrong += air.judge_slices([SLICE])[0].verdict is Verdict.OCCUPIED
    assert not _fails_once_in_10000(wrong, 3 * len(RECEIVERS), 0.01)


@pytest.mark.slow
@pytest.mark.parametrize("sender", ["carrier", "carrier in 50 %", "FM, 90 kHz", "digital, 180 kHz"])
@pytest.mark.parametrize(("side", "verdict"), [(2.0, Verdict.OCCUPIED), (-2.0, Verdict.CLEAN)])
def test_two_uncertainties_away_is_called(sender: str, side: float, verdict: Verdict) -> None:
    rng = np.random.default_rng(26)
    receivers = ["fine, averages", "fine, single samples", "one sweep, averages", "drifting between sweeps"] * 6
    missed = sum(
        displayed(rng, receiver_at_random(rng, receiver, erring=False), SENDERS[sender], side).verdict is not verdict
        for receiver in receivers
    )
    assert not _fails_once_in_10000(missed, len(receivers), 0.05)


@pytest.mark.slow
def test_television_is_occupied_in_its_notches_whatever_the_limit() -> None:
    rng = np.random.default_rng(27)
    for receiver in RECEIVERS:
        (judged,) = television(rng, receiver_at_random(rng, receiver)).judge_slices([SLICE])
        assert judged.shares[Verdict.OCCUPIED] > 0.999, receiver
