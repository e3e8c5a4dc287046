"""From a transmitter's power to a level at a receiver's input: radiated power, free space, thermal noise."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fallow.show.equipment import Equipment, PowerKind
from fallow.units import dbm_from_mw

__all__ = ["eirp_dbm", "free_space_db", "mean_distance_m", "spread_db", "thermal_noise_dbm"]

LIGHT_M_PER_S = 299_792_458.0  # exact (SI)
BOLTZMANN_J_PER_K = 1.380649e-23  # exact (SI)
REFERENCE_K = 290.0  # the usual reference temperature of noise figures (Rec. ITU-R P.372)
DIPOLE_DBI = 2.15  # gain of a half-wave dipole, between ERP and EIRP (Rec. ITU-R V.573)


def eirp_dbm(equipment: Equipment) -> float | None:
    """Radiated power re isotropic [dBm]; ``None`` where the table states no power.

    A power at the antenna terminal, and one of unstated kind, counts as it is: an antenna of 0 dBi (common practice).
    """
    if equipment.power_mw is None:
        return None
    return dbm_from_mw(equipment.power_mw) + (DIPOLE_DBI if equipment.power_kind == PowerKind.ERP else 0.0)


def free_space_db(frequency_hz: NDArray[np.int64], distance_m: float) -> NDArray[np.float64]:
    """Free-space loss between isotropic antennas [dB], shape (carrier,): 20·log(4π·d·f/c).

    Source: Rec. ITU-R P.525.
    """
    turns = 4 * math.pi * distance_m / LIGHT_M_PER_S
    return np.asarray(20 * np.log10(turns * frequency_hz))


def thermal_noise_dbm(bandwidth_hz: float, noise_figure_db: float) -> float:
    """Noise of a receiver referred to its input [dBm]: 10·log(k·T0·B) + F, T0 = 290 K.

    Source: Rec. ITU-R P.372.
    """
    return 10 * math.log10(BOLTZMANN_J_PER_K * REFERENCE_K * bandwidth_hz * 1000) + noise_figure_db


def mean_distance_m(nearest_m: float, farthest_m: float) -> float:
    """The distance from which a transmitter is heard with its mean power when it is anywhere between two distances.

    With all distances equally likely the mean of 1/d² is 1/(nearest · farthest), so it is their geometric mean.
    """
    return math.sqrt(nearest_m * farthest_m)


def spread_db(nearest_m: float, farthest_m: float) -> float:
    """Standard deviation [dB] of the level of a transmitter that is evenly anywhere between two distances.

    Of 20·log(d) with d rectangular on [a, b], in closed form: with r = b/a, the variance of ln(d/a) is
    (r·ln²r)/(r−1) − (r·ln r/(r−1))² + … worked out by parts.
    """
    ratio = farthest_m / nearest_m
    if ratio <= 1.0 + 1e-9:
        return 0.0
    log = math.log(ratio)
    mean = ratio * log / (ratio - 1) - 1
    square = (ratio * log**2 - 2 * ratio * log) / (ratio - 1) + 2
    return 20 / math.log(10) * math.sqrt(max(square - mean**2, 0.0))
