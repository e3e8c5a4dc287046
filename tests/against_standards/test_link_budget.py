"""Link budgets and product levels against published formulas, worked figures and a simulated device.

Sources: free space, Rec. ITU-R P.525; thermal noise and noise figure, Rec. ITU-R P.372 (290 K); EIRP and ERP, gain of a
half-wave dipole 2.15 dBi (Rec. ITU-R V.573); product of a receiver with its selectivity before the first stage,
P = 2(P1 − b1) + (P2 − b2) − K with K = 2·IIP3, Rec. ITU-R SM.1134 (the equation from memory); the cubic and quintic
power series themselves. Figures are worked by hand or with scipy.constants.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import constants, integrate

from fallow.plan.judge.products import AUDITED, FIFTH, THREE_CARRIERS, TWO_CARRIERS
from fallow.plan.judge.stage import Stage
from fallow.plan.ledger.accounts import accounts_of
from fallow.plan.ledger.propagation import eirp_dbm, free_space_db, mean_distance_m, spread_db, thermal_noise_dbm
from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment, Kind, PowerKind, Stated
from fallow.show.receiver import figures_of
from fallow.show.wanted import Wanted
from fallow.units import Span

# Power, path and noise


@pytest.mark.parametrize(
    ("mhz", "metres", "loss_db"),
    [
        (500, 10, 46.427),
        (600, 1, 28.011),
        (600, 10, 48.011),
        (600, 30, 57.553),
        (600, 100, 68.011),
        (174, 100, 57.259),
        (1900, 30, 67.565),
        (2450, 10, 60.231),
        (700, 1000, 89.350),
    ],
)
def test_free_space(mhz, metres, loss_db):
    assert free_space_db(np.array([mhz * 1_000_000]), metres)[0] == pytest.approx(loss_db, abs=0.005)


@pytest.mark.parametrize(
    ("bandwidth_hz", "noise_figure_db", "level_dbm"),
    [(12_500, 0, -133.006), (200_000, 0, -120.965), (25_000, 10, -119.996), (100_000, 8, -115.975), (6e6, 7, -99.194)],
)
def test_thermal_noise(bandwidth_hz, noise_figure_db, level_dbm):
    assert thermal_noise_dbm(bandwidth_hz, noise_figure_db) == pytest.approx(level_dbm, abs=0.005)
    again = 10 * math.log10(constants.k * 290 * bandwidth_hz * 1000) + noise_figure_db
    assert thermal_noise_dbm(bandwidth_hz, noise_figure_db) == pytest.approx(again)


@pytest.mark.parametrize(
    ("power_mw", "kind", "level_dbm"),
    [
        (50, PowerKind.ERP, 19.14),
        (250, PowerKind.ERP, 26.13),
        (50, PowerKind.EIRP, 16.99),
        (50, PowerKind.CONDUCTED, 16.99),
        (None, None, None),
    ],
)
def test_radiated_power(power_mw, kind, level_dbm):
    found = eirp_dbm(replace(_equipment(), power_mw=power_mw, power_kind=kind))
    assert found == (None if level_dbm is None else pytest.approx(level_dbm, abs=0.01))


@pytest.mark.parametrize(("nearest_m", "farthest_m"), [(1, 40), (10, 40), (15, 40), (5, 5.5)])
def test_a_transmitter_that_may_be_anywhere_between_has_the_mean_power_of_the_geometric_mean(nearest_m, farthest_m):
    width_m = farthest_m - nearest_m
    mean = integrate.quad(lambda d: d**-2 / width_m, nearest_m, farthest_m)[0]
    assert mean_distance_m(nearest_m, farthest_m) ** -2 == pytest.approx(mean)
    log, square = (
        integrate.quad(lambda d, k=k: (20 * math.log10(d)) ** k / width_m, nearest_m, farthest_m)[0] for k in (1, 2)
    )
    assert spread_db(nearest_m, farthest_m) == pytest.approx(math.sqrt(square - log**2), rel=1e-6)


def test_a_transmitter_that_stands_still_has_no_spread():
    assert spread_db(10, 10) == 0.0


# A receiver's products


def _equipment(name="mic", **stated):
    return Equipment(
        name,
        Kind.MICROPHONE,
        (Span(500_000_000, 600_000_000),),
        25_000,
        (),
        200_000,
        50.0,
        PowerKind.EIRP,
        350_000,
        100_000,
        50_000,
        None,
        Stated(**stated),
    )


def _ledger(carriers_mhz, figures):
    kinds = {"mic": _equipment(**figures)}
    rows = [Assignment(f"link {i}", "mic", frequency_hz=round(mhz * 1e6)) for i, mhz in enumerate(carriers_mhz)]
    return accounts_of(Stage.of(rows, Wanted((), kinds), None)).ledgers["link 0"]


@pytest.mark.parametrize(
    ("front_end_db", "iip3_dbm", "expected_dbm"),
    [(0, 0, 3 * -30 - 2 * 0), (0, -5, 3 * -30 + 10), (10, 0, 2 * (-30 - 10) + (-30 - 10))],
)
def test_a_product_on_the_receiver_is_what_the_recommendation_says(front_end_db, iip3_dbm, expected_dbm):
    """Two carriers 20 MHz and 40 MHz above the tuning range: the input filter takes all it can, b1 = b2."""
    apart_m = 10 ** ((10 * math.log10(50) + 30 - free_space_db(np.array([620_000_000]), 1.0)[0]) / 20)
    figures = {
        "front_end_db": front_end_db,
        "iip3_dbm": iip3_dbm,
        "nearest_m": apart_m,
        "distance_m": apart_m,
        "antenna_dbi": 0,
    }
    ledger = _ledger((600, 620, 640), figures)
    made = next(one for one in ledger.unwanted if (one.kind, one.made_in) == ("2A-B", "receiver"))
    softer_db = 20 * math.log10(640 / 620)  # the second carrier loses more on its way
    assert made.level_dbm == pytest.approx(expected_dbm - softer_db, abs=0.02)
    assert made.carriers == ("link 1", "link 2")
    assert made.distance_hz == 0


def test_levels_of_all_products_are_those_of_a_simulated_receiver():
    """Carriers through y = x + a3·x³ (then + a5·x⁵ alone), their spectrum by FFT, against the intercept formulas.

    Carriers stand on bins of the transform, so each product is one line; IIP3 amplitude² = 4/(3·|a3|), IIP5
    amplitude⁴ = 8/(5·|a5|). No two products of these carriers share a bin with one another.
    """
    n, bins = 1 << 16, (20_011, 20_347, 21_230, 22_471)
    amplitude = np.array([0.010, 0.006, 0.008, 0.004])
    t = np.arange(n)
    x = (amplitude[:, None] * np.cos(2 * np.pi * np.outer(bins, t) / n)).sum(axis=0)

    def level_db(y, k):
        return 20 * math.log10(abs(np.fft.rfft(y)[k]) * 2 / n)

    a3 = -0.5
    third = x + a3 * x**3
    iip3_db = 10 * math.log10(4 / (3 * abs(a3)))
    level = 20 * np.log10(amplitude)
    checked = 0
    for a in range(4):
        for b in range(4):
            if a != b:
                formula = TWO_CARRIERS.level_dbm([level[a], level[b]], iip3_db)
                assert level_db(third, 2 * bins[a] - bins[b]) == pytest.approx(formula, abs=0.1)
                checked += 1
            for c in range(4):
                if a < b and c not in (a, b):
                    formula = THREE_CARRIERS.level_dbm([level[a], level[b], level[c]], iip3_db)
                    assert level_db(third, bins[a] + bins[b] - bins[c]) == pytest.approx(formula, abs=0.1)
                    checked += 1
    assert checked == TWO_CARRIERS.count(4) + THREE_CARRIERS.count(4)

    a5 = 40.0
    fifth = a5 * x**5
    iip5_db = 5 * math.log10(8 / (5 * abs(a5)))
    for a in range(4):
        for b in range(4):
            if a != b:
                formula = FIFTH.level_dbm([level[a], level[b]], iip5_db)
                assert level_db(fifth, 3 * bins[a] - 2 * bins[b]) == pytest.approx(formula, abs=0.1)


def test_the_ledgers_sum_of_products_is_the_power_that_a_simulated_receiver_finds_in_its_window():
    """Six carriers through the cubic: all that falls within a receiver's flat window, its own carrier switched off.

    The victim's selectivity is made a box (0 dB up to 100 kHz, 150 dB beyond), so the ledger's entry is a plain sum of
    powers. One bin is 5 kHz; carriers are placed so that products fall inside the window, on different bins.
    """
    carriers_mhz = (540.0, 543.0, 546.05, 549.06, 560.0, 580.025)
    figures = {
        "selectivity": ((100_000, 0.0), (100_001, 150.0)),
        "nearest_m": 20.0,
        "distance_m": 20.0,
        "front_end_db": 0.0,
        "antenna_dbi": 0.0,
        "iip3_dbm": 0.0,
    }
    ledger = _ledger(carriers_mhz, figures)
    bins = np.array([round((mhz - 500) * 200) for mhz in carriers_mhz])
    dbm = 10 * math.log10(50) - free_space_db(np.array([round(m * 1e6) for m in carriers_mhz]), 20.0)
    n = 1 << 17
    amplitude = 10 ** (dbm / 20)
    phase = np.random.default_rng(3).uniform(0, 2 * np.pi, len(bins))
    x = sum(amplitude[i] * np.cos(2 * np.pi * (bins[i] * 3) * np.arange(n) / n + phase[i]) for i in range(1, len(bins)))
    a3 = 4 / 3  # IIP3 of 0 dB
    spectrum = np.abs(np.fft.rfft(a3 * x**3)) * 2 / n
    window = [3 * (bins[0] + k) for k in range(-20, 21)]
    found = sum(spectrum[k] ** 2 for k in window)
    made = [one for one in ledger.unwanted if one.made_in == "receiver" and one.kind != "3A-2B"]
    total = sum(10 ** (one.level_dbm / 10) for one in made)
    assert any("within" in one.text and one.carriers for one in made)
    assert 10 * math.log10(total) == pytest.approx(10 * math.log10(found), abs=0.1)


def test_defaults_are_marked_with_a_source_and_an_uncertainty_for_every_kind():
    for kind in Kind:
        figures = figures_of(replace(_equipment(), kind=kind))
        assert len(figures.assumed) == 11
        for figure in figures.assumed:
            assert figure.source
            assert figure.u_db > 0 or figure.name == "fade_db"
    assert {form.order for form in AUDITED} == {3, 5}
