"""A broad smooth rise is noise or overload, never television: it has no edges (ETSI EN 300 744 gives TV steep ones)."""

from __future__ import annotations

import numpy as np
import pytest

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.units import Channel


@pytest.mark.parametrize("middle_mhz", [526.0, 530.0, 533.0, 534.0, 537.0])
def test_a_bell_of_noise_is_not_called_tv(middle_mhz: float) -> None:
    rng = np.random.default_rng(3)
    frequencies_mhz = 500 + 0.05 * np.arange(1200)
    bell_db = 12 * np.exp(-(((frequencies_mhz - middle_mhz) / 3) ** 2))
    levels_dbm = -118 + bell_db + 10 * np.log10(rng.gamma(10, 0.1, size=(20, 1200)))
    axis = Axis.regular(500_000_000, 50_000, 1200)
    air = judge(Survey((Series(axis, levels_dbm.astype(np.float32), LevelUnit.DBM, rbw_hz=50_000.0),)))
    assert not any(emitter.looks_like.startswith("TV") for emitter in air.emitters)
    windows = [Channel(str(low), low * 1_000_000, (low + 1) * 1_000_000) for low in range(501, 559)]
    assert not any(part.verdict.word == "occupied" for part in air.judge_slices(windows))
