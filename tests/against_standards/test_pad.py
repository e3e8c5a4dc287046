"""The pad test and comparisons against figures from outside.

Sources. Attenuator test: standard practice of receiver measurements (no published table); the figures quoted here were
computed apart from this project, by plain power sums and the normal distribution. Signal from signal plus noise: plain
power subtraction, as in every handbook of spectrum analysis. Decision between two values with a common error:
JCGM 106:2012, 7.4, and JCGM 100:2008, F.1.2.3. Budget of a cheap set-up: GUM arithmetic over JCGM 100:2008, 4.3.
"""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from fallow.change.pad_lines import LineReading, drop_db, error_between, sum_db
from fallow.change.surveys import compare_surveys
from fallow.spectrum.judging import judge
from invented_air import Instrument, Signal, sweep_over


@pytest.mark.parametrize("pad_db", [1, 3, 6, 10])
@pytest.mark.parametrize("order", [2, 3, 5, 7])
def test_a_product_falls_by_its_order(pad_db: float, order: int) -> None:
    assert drop_db(pad_db, external_db=-60.0) == pytest.approx(pad_db, abs=1e-9)
    assert drop_db(pad_db, inside_db=-60.0, order=order) == pytest.approx(order * pad_db, abs=1e-9)


@pytest.mark.parametrize(
    ("external_db", "inside_db", "drops_db"),
    [
        (-70.0, -70.0, (5.037, 8.745, 12.967)),
        (-70.0, -80.0, (3.306, 6.387, 10.410)),
        (-80.0, -70.0, (7.959, 14.290, 20.000)),
    ],
)
def test_mixed_lines(external_db: float, inside_db: float, drops_db: tuple[float, ...]) -> None:
    found = [drop_db(pad, external_db=external_db, inside_db=inside_db) for pad in (3.0, 6.0, 10.0)]
    assert found == pytest.approx(drops_db, abs=0.001)


@pytest.mark.parametrize(("signal_db", "drop"), [(-100, 3.974), (-95, 6.514), (-90, 8.448), (-80, 9.809)])
def test_the_noise_hides_a_part_of_the_drop(signal_db: float, drop: float) -> None:
    noise_db, pad_db = -103.0, 10.0
    reading, padded = sum_db(signal_db, noise_db), sum_db(signal_db - pad_db, noise_db)
    assert reading - padded == pytest.approx(drop, abs=0.001)
    without, through = (LineReading(level, noise_db, 0.01) for level in (reading, padded))
    assert without.signal_db - through.signal_db == pytest.approx(pad_db, abs=0.001)


@pytest.mark.parametrize(
    ("u_db", "pad_db", "error"),
    [(1, 3, 0.0170), (1, 6, 1.1e-5), (2, 3, 0.144), (2, 6, 0.0170), (2, 10, 2.0e-4)],
)
def test_chance_of_a_wrong_answer(u_db: float, pad_db: float, error: float) -> None:
    assert error_between(pad_db, u_db, order=3) == pytest.approx(error, rel=0.025)


@pytest.mark.parametrize(("above_db", "correction_db"), [(3, 3.021), (6, 1.256), (10, 0.458), (20, 0.044), (1, 6.868)])
def test_signal_without_its_noise(above_db: float, correction_db: float) -> None:
    reading = LineReading(-90.0 + above_db, -90.0, 0.01)
    assert reading.level_db - reading.signal_db == pytest.approx(correction_db, abs=0.001)


@pytest.mark.parametrize(("same_chain", "u_db"), [(True, math.sqrt(2) * 0.5), (False, math.sqrt(2) * 2.426)])
def test_common_errors_cancel_and_others_add(same_chain: bool, u_db: float) -> None:
    """2.426 dB: instrument ±2, response ±1.5, antenna ±3, cable ±0.5 (rectangular), mismatch .685, repeat .5."""
    rng = np.random.default_rng(3)
    instrument = Instrument(bins=400, sweeps=20, samples=100)
    survey = [judge(sweep_over(rng, instrument, [Signal(475e6, 200e3, level)])) for level in (-80.0, -65.0)]
    found = compare_surveys(survey[0], survey[1], same_chain=same_chain)
    assert [change.u_db for change in found.changes] == pytest.approx([u_db], abs=0.05)


def test_six_decibels_on_one_chain_and_on_two() -> None:
    """A louder than B by 6 dB, u 3 each: probability 0.9214 when independent, 0.999996 with correlation 0.9."""
    normal = NormalDist()
    assert normal.cdf(6 / math.hypot(3, 3)) == pytest.approx(0.9214, abs=1e-4)
    assert normal.cdf(6 / math.sqrt(9 + 9 - 2 * 0.9 * 9)) == pytest.approx(0.999996, abs=1e-6)
    rng = np.random.default_rng(4)
    instrument = Instrument(bins=400, sweeps=20, samples=100)
    old = judge(sweep_over(rng, instrument, [Signal(475e6, 200e3, -80.0)]))
    new = judge(sweep_over(rng, replace(instrument, error_db=0.2), [Signal(475e6, 200e3, -74.0)]))
    assert [str(change.what) for change in compare_surveys(old, new, same_chain=True).changes] == ["louder"]
    assert compare_surveys(old, new, same_chain=False).changes == ()
