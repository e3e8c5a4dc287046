"""What stands between the air and the instrument, and how far its levels can be trusted.

The budget follows the GUM (JCGM 100:2008): standard uncertainties in decibels, combined as the root of the sum of
squares. Each line has defaults for a pocket instrument with an unknown whip; rows of a chain replace the default of
their kind. The rows stand in the order in which the signal passes them, antenna first.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError
from fallow.spectrum.curve import Curve, GainCurve, all_knots_hz
from fallow.spectrum.mismatch import Junction, ladder_u_db, mismatch_u_db, reflection_of_vswr
from fallow.units import format_span_mhz

__all__ = [
    "KINDS",
    "BudgetLine",
    "Chain",
    "ChainPart",
    "GainCurve",
    "Reflections",
    "budget_of",
    "combined_u_at",
    "combined_u_db",
    "combined_u_range_db",
    "mismatch_u_db",
]

KINDS = ("instrument", "antenna", "cable", "filter", "pad", "other")
REPLACES = {"instrument": ("instrument", "response", "repeatability"), "antenna": ("antenna", "mismatch")}
USUAL_VSWR = 2.0  # common practice, for both the whip and the instrument's input


def rectangular_u_db(half_width_db: float) -> float:
    """Standard uncertainty of an error anywhere within ± ``half_width_db``: a/√3. Source: JCGM 100:2008, 4.3.7."""
    return half_width_db / math.sqrt(3.0)


@dataclass(frozen=True)
class BudgetLine:
    """One line of the uncertainty budget: which part, its standard uncertainty in dB, and the source of that figure.

    ``over_frequency``: the same in dB where it varies; ``u_db`` is then the largest of it.
    """

    part: str
    u_db: float
    source: str
    over_frequency: Curve | None = None

    def u_at(self, frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Standard uncertainty in dB at each frequency [Hz]; beyond a curve that of its end."""
        if self.over_frequency is None:
            return np.full(frequencies_hz.shape, self.u_db)
        return self.over_frequency.held_at(frequencies_hz)


DEFAULTS = (
    BudgetLine("instrument", rectangular_u_db(2.0), "common practice: ±2 dB, rectangular"),
    BudgetLine("response", rectangular_u_db(1.5), "common practice: ±1.5 dB over frequency, rectangular"),
    BudgetLine("antenna", rectangular_u_db(3.0), "common practice: ±3 dB for an unknown whip, rectangular"),
    BudgetLine("cable", rectangular_u_db(0.5), "common practice: ±0.5 dB, rectangular"),
    BudgetLine("mismatch", 0.685, "common practice: VSWR 2 on both sides, U-shaped (ETSI TR 100 028)"),
    BudgetLine("repeatability", 0.5, "common practice"),
)


@dataclass(frozen=True)
class Reflections:
    """|Γ| of the two sides of a part, each one number or a curve over frequency.

    An antenna has only the side towards the instrument, an instrument only the one towards the antenna.
    """

    towards_antenna: float | Curve
    towards_instrument: float | Curve

    @staticmethod
    def of_vswr(vswr: float) -> Reflections:
        """The same standing wave ratio on both sides. Raises UsageError below 1."""
        if not (math.isfinite(vswr) and vswr >= 1.0):
            raise UsageError(f"a VSWR of {vswr:g} can't be: 1 is a perfect match")
        return Reflections(reflection_of_vswr(vswr), reflection_of_vswr(vswr))


@dataclass(frozen=True)
class ChainPart:
    """One part of the chain: kind (one of ``KINDS``), gain in dB (negative: loss), standard uncertainty in dB.

    The gain of an antenna is in dBi; ``gain_known`` is false where only its match is known. ``reverse_db``: gain
    in dB from the instrument back to the antenna, where it was measured. ``reflections``: where they are known.
    ``notes``: what was taken for granted when the part was read.
    """

    part: str
    kind: str
    gain_db: float | GainCurve
    u_db: float
    reflections: Reflections | None = None
    reverse_db: Curve | None = None
    gain_known: bool = True
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise UsageError(f"{self.kind!r} is no kind of a chain's part", hint=f"one of: {', '.join(KINDS)}")
        if not (math.isfinite(self.u_db) and self.u_db >= 0):
            raise UsageError(f"the uncertainty of {self.part!r} must be 0 dB or more")

    @property
    def gain_curve(self) -> Curve | None:
        """The gain [dB] over frequency; ``None`` where it is one number."""
        return self.gain_db.gains if isinstance(self.gain_db, GainCurve) else None

    def gain_at(self, frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Gain in dB at each frequency [Hz]; NaN where a curve does not reach."""
        return _at(self.gain_db.gains if isinstance(self.gain_db, GainCurve) else self.gain_db, frequencies_hz)

    def budget_line(self, over_hz: tuple[float, float] | None) -> BudgetLine:
        """Its line of the budget; at each point of a curve its own uncertainty or that of the part, the larger one."""
        own = self.gain_db.uncertainty if isinstance(self.gain_db, GainCurve) else None
        if own is None:
            return BudgetLine(self.part, self.u_db, f"chain, {self.kind}")
        at_hz = all_knots_hz([own], over_hz)
        return _line_over(self.part, Curve(at_hz, np.maximum(own.held_at(at_hz), self.u_db)), f"chain, {self.kind}")


@dataclass(frozen=True)
class Chain:
    """The parts between the air and the instrument's display. Level at the antenna = reading minus the sum of gains."""

    parts: tuple[ChainPart, ...] = ()

    @property
    def states_scale(self) -> bool:
        """Whether a part of kind ``instrument`` makes relative levels absolute."""
        return any(part.kind == "instrument" for part in self.parts)

    @property
    def states_antenna_gain(self) -> bool:
        """Whether the gain of the antenna [dBi] is known, so that a level can be told as a field strength."""
        antennas = [part for part in self.parts if part.kind == "antenna"]
        return bool(antennas) and all(part.gain_known for part in antennas)

    def gain_at(self, frequencies_hz: NDArray[np.float64], *, without: Iterable[str] = ()) -> NDArray[np.float64]:
        """Sum of the gains in dB at each frequency [Hz], parts of the kinds in ``without`` left out."""
        left_out = set(without)
        gains = [part.gain_at(frequencies_hz) for part in self.parts if part.kind not in left_out]
        return np.sum(gains, axis=0) if gains else np.zeros(frequencies_hz.shape)

    def remarks(self, low_hz: float, high_hz: float) -> tuple[str, ...]:
        """What to say of a survey from ``low_hz`` to ``high_hz``: what was taken for granted, what is not known."""
        told = [note for part in self.parts for note in part.notes]
        for part in self.parts:
            if (curve := part.gain_curve) is not None and not (curve.covers(low_hz) and curve.covers(high_hz)):
                told.append(f"the gain of {part.part!r} {_known(curve)}: levels outside are not measured")
                continue
            told.extend(
                f"the match of {part.part!r} {_known(match)}: VSWR {USUAL_VSWR:g} is taken outside"
                for match in _reflection_curves(part)
                if not (match.covers(low_hz) and match.covers(high_hz))
            )
        return tuple(dict.fromkeys(told))

    def known_within(self, over_hz: tuple[float, float]) -> tuple[float, float]:
        """The part of a span [Hz] in which all gains are known; the span itself where there is none."""
        curves = [curve for part in self.parts if (curve := part.gain_curve) is not None]
        low_hz = max([over_hz[0], *(float(curve.frequencies_hz[0]) for curve in curves)])
        high_hz = min([over_hz[1], *(float(curve.frequencies_hz[-1]) for curve in curves)])
        return (low_hz, high_hz) if low_hz < high_hz else over_hz


def budget_of(chain: Chain | None, over_hz: tuple[float, float] | None = None) -> tuple[BudgetLine, ...]:
    """The budget for absolute levels: the defaults, less those that rows of the chain replace, then the rows.

    Where a row states its match, the mismatch is computed from the rows. ``over_hz``: the part of the spectrum that
    lines which vary with frequency are told for; without it all that is known of them.
    """
    chain = chain or Chain()
    parts = chain.parts
    over_hz = None if over_hz is None else chain.known_within(over_hz)
    replaced = {line for part in parts for line in REPLACES.get(part.kind, (part.kind,))}
    computed: tuple[BudgetLine, ...] = ()
    if any(part.reflections is not None for part in parts):
        replaced.add("mismatch")
        computed = _mismatch_lines(parts, over_hz)
    kept = tuple(line for line in DEFAULTS if line.part not in replaced)
    return (*kept, *computed, *(part.budget_line(over_hz) for part in parts))


def combined_u_db(lines: Iterable[BudgetLine]) -> float:
    """Combined standard uncertainty in dB, √Σu². Source: JCGM 100:2008, 5.1.2.

    Lines that vary over frequency count with their largest.
    """
    return math.sqrt(sum(line.u_db**2 for line in lines))


def combined_u_range_db(lines: Sequence[BudgetLine]) -> tuple[float, float]:
    """The smallest and the largest combined standard uncertainty [dB] over the frequencies of the lines."""
    varying = [line.over_frequency for line in lines if line.over_frequency is not None]
    u_db = combined_u_at(lines, all_knots_hz(varying, None))
    return float(u_db.min()), float(u_db.max())


def combined_u_at(lines: Iterable[BudgetLine], frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same at each frequency [Hz], shape (frequency,)."""
    total = np.zeros(frequencies_hz.shape)
    for line in lines:
        total += line.u_at(frequencies_hz) ** 2
    return np.sqrt(total)


# --- mismatch between the parts


def _mismatch_lines(parts: Sequence[ChainPart], over_hz: tuple[float, float] | None) -> tuple[BudgetLine, ...]:
    """The mismatch of all pairs of reflections; no line where the row of the antenna stands for all of it."""
    curves = [curve for part in parts for curve in _reflection_curves(part)]
    for part in parts:
        curves += [curve for curve in (part.gain_curve, part.reverse_db) if curve is not None and _is_between(part)]
    at_hz = all_knots_hz(curves, over_hz)
    u_db = ladder_u_db(_junctions(parts, at_hz))
    if not u_db.any():
        return ()
    return (_line_over("mismatch", Curve(at_hz, u_db), f"{_matches_of(parts)}, U-shaped (ETSI TR 100 028)"),)


def _junctions(parts: Sequence[ChainPart], at_hz: NDArray[np.float64]) -> list[Junction]:
    """Antenna, what stands between, instrument: as reflections see them, at each frequency [Hz].

    Parts between that state no match count as matched, an end that states none as usual; but what an antenna's row
    without a match adds is in its own uncertainty.
    """
    kinds = [part.kind for part in parts]
    backwards = "instrument" in kinds and "antenna" in kinds and kinds.index("instrument") < kinds.index("antenna")
    ordered = tuple(reversed(parts)) if backwards else tuple(parts)
    return [
        _end(ordered, "antenna", 0.0 if "antenna" in kinds else reflection_of_vswr(USUAL_VSWR), at_hz),
        *(_between(part, at_hz) for part in ordered if _is_between(part)),
        _end(ordered, "instrument", reflection_of_vswr(USUAL_VSWR), at_hz),
    ]


def _is_between(part: ChainPart) -> bool:
    return part.kind not in ("antenna", "instrument")


def _end(parts: Sequence[ChainPart], kind: str, otherwise: float, at_hz: NDArray[np.float64]) -> Junction:
    stated = [part.reflections for part in parts if part.kind == kind and part.reflections is not None]
    sides = stated[0] if stated else Reflections(otherwise, otherwise)
    return Junction(
        _reflection(sides.towards_antenna, at_hz), _reflection(sides.towards_instrument, at_hz), np.zeros(at_hz.shape)
    )


def _between(part: ChainPart, at_hz: NDArray[np.float64]) -> Junction:
    """The wave comes back by the measured reverse gain, else as it went, through an amplifier at most whole."""
    sides = part.reflections or Reflections(0.0, 0.0)
    forward_db = np.full(at_hz.shape, part.gain_db) if part.gain_curve is None else part.gain_curve.held_at(at_hz)
    there_and_back_db = 2.0 * np.minimum(forward_db, 0.0)
    if part.reverse_db is not None:
        there_and_back_db = forward_db + part.reverse_db.held_at(at_hz)
    return Junction(
        _reflection(sides.towards_antenna, at_hz),
        _reflection(sides.towards_instrument, at_hz),
        10.0 ** (there_and_back_db / 20.0),
    )


def _reflection(side: float | Curve, at_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """|Γ| at each frequency, the usual one where a curve does not reach."""
    return np.nan_to_num(_at(side, at_hz), nan=reflection_of_vswr(USUAL_VSWR))


def _matches_of(parts: Sequence[ChainPart]) -> str:
    stated = [part for part in parts if part.reflections is not None]
    kinds = {part.kind for part in stated} | ({"antenna"} & {part.kind for part in parts})
    usual = [end for end in ("antenna", "instrument") if end not in kinds]
    taken = f"; VSWR {USUAL_VSWR:g} for the {' and the '.join(usual)} (common practice)" if usual else ""
    return f"chain, match of {', '.join(part.part for part in stated)}{taken}"


def _at(value: float | Curve, frequencies_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    return value.at(frequencies_hz) if isinstance(value, Curve) else np.full(frequencies_hz.shape, float(value))


def _reflection_curves(part: ChainPart) -> list[Curve]:
    if part.reflections is None:
        return []
    sides = (part.reflections.towards_antenna, part.reflections.towards_instrument)
    return [side for side in sides if isinstance(side, Curve)]


def _line_over(part: str, curve: Curve, source: str) -> BudgetLine:
    low_db, high_db = float(curve.values.min()), float(curve.values.max())
    if round(low_db, 2) == round(high_db, 2):
        return BudgetLine(part, high_db, source)
    return BudgetLine(part, high_db, f"{source}; {low_db:.2f} to {high_db:.2f} dB over frequency", curve)


def _known(curve: Curve) -> str:
    return f"is known from {format_span_mhz(float(curve.frequencies_hz[0]), float(curve.frequencies_hz[-1]))} only"
