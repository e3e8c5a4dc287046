"""The chain held against outside truth: ETSI TR 100 028 (mismatch), JCGM 100 (GUM), antenna theory, scikit-rf."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from fallow.spectrum.chain import Chain, ChainPart, Reflections, budget_of, combined_u_db
from fallow.spectrum.field import antenna_factor_db_per_m, dbuv_from_dbm, field_dbuvm
from fallow.spectrum.mismatch import Junction, ladder_u_db, reflection_of_vswr

Complexes = NDArray[np.complex128]


def mismatch_of(*parts: ChainPart) -> float:
    """The mismatch line of a chain, 0 where it has none."""
    return sum(line.u_db for line in budget_of(Chain(parts)) if line.part == "mismatch")


def part(kind: str, vswr: float | None = None, gain_db: float = 0.0) -> ChainPart:
    return ChainPart(kind, kind, gain_db, 0.0, None if vswr is None else Reflections.of_vswr(vswr))


# --- mismatch


@pytest.mark.parametrize(("vswr", "return_loss_db"), [(1.2, 20.83), (1.5, 13.98), (2.0, 9.54), (3.0, 6.02)])
def test_return_loss(vswr: float, return_loss_db: float) -> None:
    # Source: definition, recomputed; tolerance half of the last digit
    assert -20 * math.log10(reflection_of_vswr(vswr)) == pytest.approx(return_loss_db, abs=0.005)


@pytest.mark.parametrize(
    ("antenna", "instrument", "u_db"), [(2, 2, 0.6824), (1.5, 2, 0.4095), (1.2, 1.5, 0.1117), (3, 2, 1.0237)]
)
def test_the_match_of_both_ends_makes_the_line(antenna: float, instrument: float, u_db: float) -> None:
    # Source: ETSI TR 100 028, U-shaped: u = 100·|Γ1||Γ2|/√2 per cent of voltage, 11.5 per cent a decibel (from memory)
    assert mismatch_of(part("antenna", antenna), part("instrument", instrument)) == pytest.approx(u_db, abs=1e-4)
    per_cent = 100 * reflection_of_vswr(antenna) * reflection_of_vswr(instrument) / math.sqrt(2)
    assert per_cent / 11.5 == pytest.approx(u_db, rel=0.003)


def test_a_matched_pad_between_weakens_it() -> None:
    # Source: recomputed with scikit-rf: 10 dB between VSWR 2 and 2 leaves +0.0960/−0.0971 dB, u 0.0682
    pad = part("pad", 1.0, gain_db=-10.0)
    assert mismatch_of(part("antenna", 2), pad, part("instrument", 2)) == pytest.approx(0.0682, abs=1e-4)


def test_the_limits_are_those_of_scikit_rf() -> None:
    skrf = pytest.importorskip("skrf", reason="scikit-rf is the reference here")
    gamma = 1 / 3
    for through, limits_db in ((1.0, (0.9151, -1.0231)), (10**-0.5, (0.0960, -0.0971))):
        corrections = [  # 20·log|1 − Γ1·Γ2|, the negative of the error
            -_error_db(skrf, [gamma * np.exp(1j * phase), _two_port(0, through, 0), gamma])
            for phase in np.linspace(0, 2 * np.pi, 361)
        ]
        assert (max(corrections), min(corrections)) == pytest.approx(limits_db, abs=1e-4)
        assert np.std(corrections[:-1]) == pytest.approx(0.6836 if through == 1.0 else 0.0682, abs=1e-3)


def test_any_chain_of_reflections_scatters_as_scikit_rf_says() -> None:
    # Random parts between random ends, with lines of unknown length between them, cascaded by the library
    skrf = pytest.importorskip("skrf", reason="scikit-rf is the reference here")
    rng = np.random.default_rng(7)
    for _ in range(3):
        ends = rng.uniform(0.05, 0.25, 2)
        parts = [
            (rng.uniform(0.02, 0.2), 10 ** (-rng.uniform(0.2, 10) / 20), rng.uniform(0.02, 0.2))
            for _ in range(rng.integers(1, 4))
        ]
        errors = []
        for _ in range(1500):
            turned = [np.exp(1j * rng.uniform(0, 2 * np.pi)) for _ in range(len(parts) + 2)]
            chain = [ends[0] * turned[0]]
            chain += [
                _two_port(a * turn, t * turn, b * turn) for (a, t, b), turn in zip(parts, turned[1:], strict=False)
            ]
            errors.append(_error_db(skrf, [*chain, ends[1] * turned[-1]]))
        assert _ladder([(0, 0, ends[0]), *parts, (ends[1], 0, 0)]) == pytest.approx(np.std(errors), rel=0.06)


def _ladder(parts: list[tuple[float, float, float]]) -> float:
    junctions = [Junction(np.array([a]), np.array([b]), np.array([t**2])) for a, t, b in parts]
    return float(ladder_u_db(junctions)[0])


def _two_port(s11: complex, s21: complex, s22: complex) -> Complexes:
    return np.array([[[s11, s21], [s21, s22]]], dtype=complex)


def _error_db(skrf, chain: list[complex | Complexes]) -> float:
    """What reflections do to the wave from a source (first) through two-ports to a load (last): dB."""
    source = np.array([[[0, 0], [1, chain[0]]]], dtype=complex)
    load = np.array([[[chain[-1], 0], [1, 0]]], dtype=complex)
    whole = skrf.Network(s=source, f=[6e8], z0=50)
    straight = 1.0
    for two_port in [*chain[1:-1], load]:
        whole = whole ** skrf.Network(s=two_port, f=[6e8], z0=50)
        straight *= abs(two_port[0, 1, 0])
    return float(20 * np.log10(abs(whole.s[0, 1, 0]) / straight))


# --- what the contract of the tables says, with the budget of the GUM


def test_rows_without_a_match_leave_the_defaults_as_they_are() -> None:
    # Source: JCGM 100, 5.1.2 for the sum; the example of a cheap set-up, recomputed with the uncertainties package
    assert combined_u_db(budget_of(None)) == pytest.approx(2.426, abs=1e-3)
    parts = {line.part: line.u_db for line in budget_of(Chain((part("pad", gain_db=-10.0),)))}
    assert parts["mismatch"] == 0.685


def test_the_row_of_an_antenna_without_a_match_stands_for_its_mismatch() -> None:
    assert mismatch_of(part("antenna"), part("instrument", 2.0)) == 0.0
    # what is left is between the filter and the instrument: VSWR 1.5 and 2
    left = mismatch_of(part("antenna"), part("filter", 1.5), part("instrument", 2.0))
    assert left == pytest.approx(0.4095, abs=1e-4)


def test_an_end_without_a_row_is_taken_as_usual_and_that_is_said() -> None:
    lines = budget_of(Chain((part("pad", 1.0, gain_db=-10.0),)))
    line = next(line for line in lines if line.part == "mismatch")
    assert line.u_db == pytest.approx(0.0682, abs=1e-4)  # VSWR 2 on both sides of the pad
    assert "VSWR 2 for the antenna and the instrument (common practice)" in line.source


def test_an_amplifier_lets_the_wave_back_at_most_whole() -> None:
    amplifier = part("other", 1.0, gain_db=20.0)
    assert mismatch_of(part("antenna", 2), amplifier, part("instrument", 2)) == pytest.approx(0.6824, abs=1e-4)


def test_a_table_that_begins_with_the_instrument_is_turned() -> None:
    parts = (part("antenna", 2), part("filter", 1.2), part("pad", 1.0, -6.0), part("instrument", 3))
    assert mismatch_of(*parts) == pytest.approx(mismatch_of(*reversed(parts)), abs=1e-12)
    swapped = (parts[0], parts[2], parts[1], parts[3])
    assert mismatch_of(*swapped) != pytest.approx(mismatch_of(*parts), rel=0.01)


# --- field strength. Source of the figures: recomputed with scipy.constants from A = G·λ²/4π and E² = S·Z0


@pytest.mark.parametrize(
    ("frequency_mhz", "gain_dbi", "factor"), [(600, 2.15, 23.639), (500, 0, 24.206), (174, -5, 20.037)]
)
def test_antenna_factor(frequency_mhz: float, gain_dbi: float, factor: float) -> None:
    assert antenna_factor_db_per_m(frequency_mhz * 1e6, gain_dbi) == pytest.approx(factor, abs=0.005)


def test_antenna_factor_of_other_impedances() -> None:
    # AF = 20·log f(MHz) − G − 29.774 at 50 ohm, − 31.535 at 75 ohm
    assert antenna_factor_db_per_m(1e6, 0.0) == pytest.approx(-29.774, abs=0.005)
    assert antenna_factor_db_per_m(1e6, 0.0, 75.0) == pytest.approx(-31.535, abs=0.005)


def test_voltage_of_a_power() -> None:
    assert dbuv_from_dbm(0.0) == pytest.approx(106.990, abs=0.005)
    assert dbuv_from_dbm(0.0, 75.0) == pytest.approx(108.751, abs=0.005)


@pytest.mark.parametrize(
    ("level_dbm", "frequency_mhz", "gain_dbi", "strength"),
    [(-90, 600, 2.15, 40.629), (-95, 500, 0, 36.195), (-65.474, 650, 0, 68.0), (-75.474, 650, 0, 58.0)],
)
def test_field_strength(level_dbm: float, frequency_mhz: float, gain_dbi: float, strength: float) -> None:
    assert field_dbuvm(level_dbm, frequency_mhz * 1e6, gain_dbi) == pytest.approx(strength, abs=0.005)


def test_the_field_of_a_known_transmitter() -> None:
    # E(dBµV/m) = EIRP(dBm) + 104.768 − 20·log d (Rec. ITU-R P.525): 17 dBm at 10 m makes 101.768. An isotropic antenna
    # there takes the EIRP less the loss in free space, 20·log(4πd/λ)
    frequency_hz, distance_m = 600e6, 10.0
    loss_db = 20 * math.log10(4 * math.pi * distance_m * frequency_hz / 299_792_458)
    assert field_dbuvm(17.0 - loss_db, frequency_hz) == pytest.approx(101.768, abs=0.005)
