"""The u that is told is the one that decides: a verdict follows from level, limit and u, as JCGM 106:2012, 7.4, has it.

P(level < T) ≥ γ for a normally distributed error means T - level > z(γ)·u. So what is called clean lies farther below
the limit than that, and what is doubtful for its level alone lies no farther, on either side: no carrier that is told
2u away is left in doubt at 95 %, where z is 1.645.
"""

from __future__ import annotations

import numpy as np
import pytest

from fallow.spectrum.judging import judge
from fallow.spectrum.verdict import Judging, Verdict
from verdict_trials import LIMIT_DBM, SENDERS, SLICE, Z, receiver_at_random, survey_of

ONLY_NEAR = ("near the limit", "the trace shows peaks")


@pytest.mark.parametrize("confidence_pct", [90.0, 95.0, 99.0])
@pytest.mark.parametrize("receiver", ["steps of 100 kHz, 0.5 dB", "steps of 1.25 RBW", "floor near the limit", "peaks"])
def test_level_limit_and_u_say_what_the_verdict_says(receiver: str, confidence_pct: float) -> None:
    rng = np.random.default_rng(31)
    called = dict.fromkeys(Verdict, 0)
    for sender in SENDERS:
        kind = receiver_at_random(rng, receiver)
        at, level = rng.uniform(471.5e6, 476.5e6), LIMIT_DBM + rng.uniform(-14.0, 14.0)
        survey = survey_of(rng, kind, [SENDERS[sender](rng, kind.sweeps, at, level)])
        air = judge(survey, Judging(limit_dbm=LIMIT_DBM, confidence_pct=confidence_pct))
        for low in at - np.array([0.0, 60e3, 100e3, 140e3, 200e3, 1e6]):
            seen = air.judge_window(low, low + 200e3)
            assert seen.level_dbm is not None
            assert seen.u_db is not None
            called[seen.verdict] += 1
            above = (seen.level_dbm - LIMIT_DBM) / (Z[confidence_pct] * seen.u_db)
            if seen.verdict is Verdict.CLEAN:
                assert above < -1.0 + 1e-3
            elif seen.verdict is Verdict.OCCUPIED:
                assert above > 0.8  # u may hold more than what decided: the scatter of the period that is told
            elif all(reason.startswith(ONLY_NEAR) for reason in seen.reasons):
                assert -1.0 - 1e-3 <= above <= 1.0 + 1e-3
    assert min(called[verdict] for verdict in (Verdict.DOUBTFUL, Verdict.OCCUPIED)) > 2


def test_a_strong_microphone_in_a_held_trace_is_surely_there() -> None:
    """-50 dBm against a limit of -90: held over 1 to 20 sweeps, stated or not."""
    rng = np.random.default_rng(32)
    for name in ("max-hold", "peaks"):
        kind = receiver_at_random(rng, name)
        air = judge(survey_of(rng, kind, [SENDERS["carrier"](rng, kind.sweeps, 474.05e6, -50.0)]), Judging())
        (seen,) = air.judge_slices([SLICE])
        assert seen.verdict is Verdict.OCCUPIED
        assert seen.u_db is not None
        assert 2.4 < seen.u_db < 8.0


@pytest.mark.parametrize("limit_dbm", [-120.0, -150.0])
def test_noise_above_the_limit_does_not_make_u_wider(limit_dbm: float) -> None:
    """What is deaf is told to be deaf: its level is known as well as any, within 3 dB of the defaults' 2.43."""
    rng = np.random.default_rng(33)
    kind = receiver_at_random(rng, "one sweep, averages")
    (seen,) = judge(survey_of(rng, kind, []), Judging(limit_dbm=limit_dbm)).judge_slices([SLICE])
    assert seen.verdict is Verdict.DOUBTFUL
    assert seen.u_db is not None
    assert seen.u_db < 3.0
