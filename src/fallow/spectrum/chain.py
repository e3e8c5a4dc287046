"""What stands between the air and the instrument, and how far its levels can be trusted.

The budget follows the GUM (JCGM 100:2008): standard uncertainties in decibels, combined as the root of the sum of
squares. Each line has defaults for a pocket instrument with an unknown whip; rows of a chain replace the default of
their kind.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError

__all__ = ["KINDS", "BudgetLine", "Chain", "ChainPart", "GainCurve", "budget_of", "combined_u_db", "mismatch_u_db"]

KINDS = ("instrument", "antenna", "cable", "filter", "pad", "other")
REPLACES = {"instrument": ("instrument", "response", "repeatability"), "antenna": ("antenna", "mismatch")}
USUAL_VSWR = 2.0  # common practice, for both the whip and the instrument's input


def rectangular_u_db(half_width_db: float) -> float:
    """Standard uncertainty of an error anywhere within ± ``half_width_db``: a/√3. Source: JCGM 100:2008, 4.3.7."""
    return half_width_db / math.sqrt(3.0)


def mismatch_u_db(vswr_source: float, vswr_load: float) -> float:
    """Standard uncertainty from mismatch in dB, U-shaped: (20/ln 10)·|Γ1|·|Γ2|/√2. Source: ETSI TR 100 028 (from
    memory).
    """
    reflections = [(vswr - 1.0) / (vswr + 1.0) for vswr in (vswr_source, vswr_load)]
    return 20.0 / math.log(10.0) * reflections[0] * reflections[1] / math.sqrt(2.0)


@dataclass(frozen=True)
class BudgetLine:
    """One line of the uncertainty budget: which part, its standard uncertainty in dB, and the source of that figure."""

    part: str
    u_db: float
    source: str


DEFAULTS = (
    BudgetLine("instrument", rectangular_u_db(2.0), "common practice: ±2 dB, rectangular"),
    BudgetLine("response", rectangular_u_db(1.5), "common practice: ±1.5 dB over frequency, rectangular"),
    BudgetLine("antenna", rectangular_u_db(3.0), "common practice: ±3 dB for an unknown whip, rectangular"),
    BudgetLine("cable", rectangular_u_db(0.5), "common practice: ±0.5 dB, rectangular"),
    BudgetLine("mismatch", 0.685, "common practice: VSWR 2 on both sides, U-shaped (ETSI TR 100 028)"),
    BudgetLine("repeatability", 0.5, "common practice"),
)


@dataclass(frozen=True, eq=False)
class GainCurve:
    """A gain over frequency, straight lines between: ``frequencies_hz`` rise strictly, ``gains_db`` has their shape."""

    frequencies_hz: NDArray[np.float64]
    gains_db: NDArray[np.float64]

    def __post_init__(self) -> None:
        rises = bool(np.all(np.diff(self.frequencies_hz) > 0))
        if self.frequencies_hz.shape != self.gains_db.shape or self.frequencies_hz.size == 0 or not rises:
            raise UsageError("a gain curve needs one gain for each of its frequencies, which must rise")

    def at(self, frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Gain in dB at each frequency, NaN outside the curve: what it does there is not known."""
        gains = np.interp(frequencies_hz, self.frequencies_hz, self.gains_db, left=np.nan, right=np.nan)
        return np.asarray(gains, dtype=np.float64)


@dataclass(frozen=True)
class ChainPart:
    """One part of the chain: kind (one of ``KINDS``), gain in dB (negative: loss), standard uncertainty in dB."""

    part: str
    kind: str
    gain_db: float | GainCurve
    u_db: float

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise UsageError(f"{self.kind!r} is no kind of a chain's part", hint=f"one of: {', '.join(KINDS)}")
        if not (math.isfinite(self.u_db) and self.u_db >= 0):
            raise UsageError(f"the uncertainty of {self.part!r} must be 0 dB or more")

    def gain_at(self, frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Gain in dB at each frequency [Hz]; NaN where a curve does not reach."""
        if isinstance(self.gain_db, GainCurve):
            return self.gain_db.at(frequencies_hz)
        return np.full(frequencies_hz.shape, float(self.gain_db))


@dataclass(frozen=True)
class Chain:
    """The parts between the air and the instrument's display. Level at the antenna = reading minus the sum of gains."""

    parts: tuple[ChainPart, ...] = ()

    @property
    def states_scale(self) -> bool:
        """Whether a part of kind ``instrument`` makes relative levels absolute."""
        return any(part.kind == "instrument" for part in self.parts)

    def gain_at(self, frequencies_hz: NDArray[np.float64], *, without: Iterable[str] = ()) -> NDArray[np.float64]:
        """Sum of the gains in dB at each frequency [Hz], parts of the kinds in ``without`` left out."""
        left_out = set(without)
        gains = [part.gain_at(frequencies_hz) for part in self.parts if part.kind not in left_out]
        return np.sum(gains, axis=0) if gains else np.zeros(frequencies_hz.shape)


def budget_of(chain: Chain | None) -> tuple[BudgetLine, ...]:
    """The budget for absolute levels: the defaults, less those that rows of the chain replace, then the rows."""
    parts = () if chain is None else chain.parts
    replaced = {line for part in parts for line in REPLACES.get(part.kind, (part.kind,))}
    kept = tuple(line for line in DEFAULTS if line.part not in replaced)
    return kept + tuple(BudgetLine(part.part, part.u_db, f"chain, {part.kind}") for part in parts)


def combined_u_db(lines: Iterable[BudgetLine]) -> float:
    """Combined standard uncertainty in dB, √Σu². Source: JCGM 100:2008, 5.1.2."""
    return math.sqrt(sum(line.u_db**2 for line in lines))
