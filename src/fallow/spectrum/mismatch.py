"""Mismatch: what reflections between the parts of a chain add to the uncertainty of a level.

Two reflections Γ1 and Γ2 with a line between them move the level by 20·log|1 − Γ1·Γ2|; as the length of the line is not
known, the phase is not, and the error is U-shaped between 20·log(1 ± |Γ1||Γ2|). A part between two reflections weakens
the wave that travels to and fro by |S21|·|S12|. Magnitudes everywhere; to the first order the pairs add as variances.

Sources: ETSI TR 100 028-1, the U-shaped form (from memory); S21 and S12 between two reflections: the signal flow graph
of a cascaded two-port (from memory). Both are held against scikit-rf in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Junction", "ladder_u_db", "mismatch_u_db", "reflection_of_vswr"]

DB_PER_NEPER = 20.0 / math.log(10.0)


def reflection_of_vswr(vswr: float) -> float:
    """|Γ| of a voltage standing wave ratio: (s − 1)/(s + 1). Source: definition, IEC 60050-726 (from memory)."""
    return (vswr - 1.0) / (vswr + 1.0)


def mismatch_u_db(vswr_source: float, vswr_load: float) -> float:
    """Standard uncertainty from mismatch in dB, U-shaped: (20/ln 10)·|Γ1|·|Γ2|/√2. Source: ETSI TR 100 028 (from
    memory).
    """
    return DB_PER_NEPER * reflection_of_vswr(vswr_source) * reflection_of_vswr(vswr_load) / math.sqrt(2.0)


@dataclass(frozen=True, eq=False)
class Junction:
    """One part as reflections see it, magnitudes of shape (frequency,).

    ``towards_antenna``, ``towards_instrument``: |Γ| of its two sides. ``round_trip``: |S21|·|S12|.
    """

    towards_antenna: NDArray[np.float64]
    towards_instrument: NDArray[np.float64]
    round_trip: NDArray[np.float64]


def ladder_u_db(junctions: Sequence[Junction]) -> NDArray[np.float64]:
    """Standard uncertainty in dB from all pairs of reflections in a chain, first order in each; shape (frequency,).

    ``junctions`` stand in the order from the antenna to the instrument. u² = Σ over i < j of
    ((20/ln 10)·|Γi|·|Γj|·Π |S21·S12| of what stands between / √2)².
    """
    total = np.zeros_like(junctions[0].round_trip) if junctions else np.zeros(1)
    for index, source in enumerate(junctions):
        between = np.ones_like(source.round_trip)
        for load in junctions[index + 1 :]:
            total = total + (source.towards_instrument * load.towards_antenna * between) ** 2
            between = between * load.round_trip
    return np.asarray(DB_PER_NEPER * np.sqrt(total / 2.0))
