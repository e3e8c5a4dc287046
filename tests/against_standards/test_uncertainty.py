"""Uncertainty and decisions: JCGM 100 (GUM), JCGM 106:2012, EA-4/02 example S7, ETSI TR 100 028 (mismatch)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fallow.spectrum.axis import Axis
from fallow.spectrum.chain import (
    BudgetLine,
    Chain,
    ChainPart,
    budget_of,
    combined_u_db,
    mismatch_u_db,
    rectangular_u_db,
)
from fallow.spectrum.judging import judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging, Verdict


@pytest.mark.parametrize(
    ("one", "other", "u_db"), [(2, 2, 0.6824), (1.5, 2, 0.4095), (1.2, 1.5, 0.1117), (3, 2, 1.0237)]
)
def test_mismatch(one: float, other: float, u_db: float) -> None:
    # Source: the U-shaped form of ETSI TR 100 028 in dB; tolerance 1e-4
    assert mismatch_u_db(one, other) == pytest.approx(u_db, abs=1e-4)


def test_default_budget() -> None:
    # Source: an example recomputed with the uncertainties package: u_c 2.426 dB
    assert combined_u_db(budget_of(None)) == pytest.approx(2.426, abs=1e-3)


def test_attenuator_of_ea_4_02_s7() -> None:
    # Source: EA-4/02 example S7, published u_c 0.0224185 dB; budget lines from memory, so within 5e-5
    parts = {
        "readings": 0.009132,
        "correction": 0.0025,
        "drift": rectangular_u_db(0.002),
        "mismatch": 0.0200,
        "leakage": rectangular_u_db(0.003),
        "rounding 1": rectangular_u_db(0.0005),
        "rounding 2": rectangular_u_db(0.0005),
        "zero 1": 0.002,
        "zero 2": 0.002,
    }
    lines = [BudgetLine(part, u_db, "EA-4/02 S7") for part, u_db in parts.items()]
    assert combined_u_db(lines) == pytest.approx(0.0224185, abs=5e-5)


def test_rows_replace_the_default_of_their_kind() -> None:
    parts = {line.part for line in budget_of(Chain((ChainPart("whip", "antenna", 2.0, 0.5),)))}
    assert parts == {"instrument", "response", "cable", "repeatability", "whip"}
    parts = {line.part for line in budget_of(Chain((ChainPart("lab", "instrument", 0.0, 0.3),)))}
    assert parts == {"antenna", "cable", "mismatch", "lab"}
    pad = budget_of(Chain((ChainPart("10 dB", "pad", -10.0, 0.2),)))
    assert combined_u_db(pad) == pytest.approx(math.hypot(combined_u_db(budget_of(None)), 0.2))


def _level_of_a_steady_carrier(dbm: float) -> Survey:
    rng = np.random.default_rng(3)
    levels = 10 * np.log10(10**-12.9 * rng.gamma(2000, 1 / 2000, (1, 201)))
    levels[:, 20] = dbm
    axis = Axis.regular(470_000_000, 25_000, 201)
    return Survey((Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=25_000.0),))


@pytest.mark.parametrize(
    ("level_dbm", "probability", "verdict"),
    [
        (-103.2, 0.9585, Verdict.CLEAN),
        (-102.8, 0.9452, Verdict.DOUBTFUL),
        (-93.3, 0.0586, Verdict.DOUBTFUL),
        (-92.9, 0.0445, Verdict.OCCUPIED),
    ],
)
def test_decision_at_an_upper_limit(level_dbm: float, probability: float, verdict: Verdict) -> None:
    # Source: JCGM 106:2012, 7.4: p = Φ((T - y)/u), T -98 dBm, u 3 dB (-103 → 0.9522); 95 % is asked on either side
    parts = (
        ChainPart("all of it", "instrument", 0.0, 3.0),
        ChainPart("no whip", "antenna", 0.0, 0.0),
        ChainPart("no cable", "cable", 0.0, 0.0),
    )
    assert 0.5 * math.erfc((level_dbm + 98.0) / 3.0 / math.sqrt(2)) == pytest.approx(probability, abs=1e-4)
    air = judge(_level_of_a_steady_carrier(level_dbm), Judging(limit_dbm=-98.0), chain=Chain(parts))
    judged = air.judge_window(470.4e6, 470.6e6)
    assert judged.u_db == pytest.approx(3.0, abs=0.02)
    assert judged.verdict is verdict


def test_cells_at_the_edges_of_a_window_widen_its_uncertainty() -> None:
    # three 100 kHz cells of -100 dBm alone, a window of 200 kHz over one whole and two halves: two cells' power or
    # three's, 1.761 dB more. A guard band of 1.645 u keeps 95 % (JCGM 106:2012, 8.3.2, from memory); u is told as it
    # decides, so the band holds both: 1.761 dB and 1.645 times what the instrument errs
    axis = Axis.regular(470_000_000, 100_000, 201)
    levels = np.full((4, 201), -120.0, dtype=np.float32)
    levels[:, 9:12] = -100.0
    parts = tuple(ChainPart(kind, kind, 0.0, u) for kind, u in (("instrument", 3.0), ("antenna", 0.0), ("cable", 0.0)))
    air = judge(Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=100e3),)), chain=Chain(parts))
    cut, whole = air.judge_window(470.9e6, 471.1e6), air.judge_window(470.95e6, 471.15e6)
    assert cut.level_dbm == pytest.approx(-96.990, abs=0.001)
    assert cut.u_db == pytest.approx((1.761 + 1.645 * 3.0) / 1.645, abs=0.02)
    assert whole.u_db == pytest.approx(3.0, abs=0.02)


def test_channel_power() -> None:
    # 40 bins of -100 dBm, 5 kHz apart, noise bandwidth 10 kHz: -86.990 dBm. Tolerance 0.001 dB
    axis = Axis.regular(470_000_000, 5_000, 401)
    levels = np.full((4, 401), -100.0, dtype=np.float32)
    air = judge(Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=10_000.0),)))
    level = air.judge_window(471e6, 471.2e6).level_dbm
    assert level == pytest.approx(-86.990, abs=0.001)
