"""Field strength from levels: what a receiver shows, and how strong the field at its antenna is.

A level at the antenna has the antenna's gain taken out, so it is the power that an isotropic antenna without loss would
deliver. Source: Rec. ITU-R P.525 (free space, effective area λ²/4π) and E² = S·Z0; figures recomputed with CODATA 2018.
"""

from __future__ import annotations

import math

__all__ = ["antenna_factor_db_per_m", "dbuv_from_dbm", "field_dbuvm"]

_SPEED_OF_LIGHT_M_S = 299_792_458.0  # exact (SI Brochure, 9th edition)
_FREE_SPACE_OHM = 376.730313668  # CODATA 2018
USUAL_OHM = 50.0


def dbuv_from_dbm(level_dbm: float, impedance_ohm: float = USUAL_OHM) -> float:
    """Voltage in dBµV across ``impedance_ohm`` of a power in dBm: P + 106.99 at 50 ohm. Source: U² = P·R."""
    return level_dbm + 90.0 + 10.0 * math.log10(impedance_ohm)


def antenna_factor_db_per_m(frequency_hz: float, gain_dbi: float, impedance_ohm: float = USUAL_OHM) -> float:
    """Field strength over voltage, dB/m: 20·log f(MHz) − G − 29.774 at 50 ohm. Source: A = G·λ²/4π, E² = S·Z0."""
    wavelength_m = _SPEED_OF_LIGHT_M_S / frequency_hz
    area_m2 = wavelength_m**2 / (4.0 * math.pi)
    return 10.0 * math.log10(_FREE_SPACE_OHM / (impedance_ohm * area_m2)) - gain_dbi


def field_dbuvm(level_dbm: float, frequency_hz: float, gain_dbi: float = 0.0) -> float:
    """Field strength in dBµV/m of a level in dBm behind an antenna of ``gain_dbi``: E = P + 106.99 + AF.

    Levels at the antenna have its gain taken out: their ``gain_dbi`` is 0.
    """
    return dbuv_from_dbm(level_dbm) + antenna_factor_db_per_m(frequency_hz, gain_dbi)
