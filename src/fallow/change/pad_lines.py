"""The pad test: is a line real, or made inside the instrument? An attenuator in front tells.

Through a pad of L dB a signal from outside falls by L, a product of order m made inside falls by m·L, and what the
instrument makes by itself does not fall at all. Near the noise every drop looks smaller than it is, and the sum of a
real signal and a product falls by something between: so each line is held against what each answer predicts for its
reading, noise included. Standard practice; the predictions are tested against figures computed elsewhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from fallow.spectrum.statistics import normal_quantile

__all__ = [
    "ORDERS",
    "LineReading",
    "LineVerdict",
    "Origin",
    "PadUncertainty",
    "drop_db",
    "error_between",
    "judge_line",
    "least_pad_db",
    "sum_db",
]

ORDERS = (2, 3, 5)
PRIOR_OF_ORDER = {2: 0.25, 3: 0.5, 5: 0.25}  # of what is made inside: common practice, order 3 is the usual one
PRIOR_OF_NONE = 0.01  # a signal that changed meanwhile: design decision
PRIOR_OF_MIXTURE = 0.006  # a real signal and a product at one place: design decision
SURE_PCT = 95.0
LEAST_SPREAD_DB = 10.0
LEAST_SHOWN_DB = 0.3  # design decision: how well the level of the noise is known


class Origin(StrEnum):
    """Where a line comes from."""

    REAL = "real"
    INSIDE = "made inside"
    OWN = "instrument's own"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class LineReading:
    """A line in one survey: ``level_db`` with the noise in it, ``noise_db`` alone, ``u_db``: standard uncertainty of
    the level by the noise of the reading and by wandering.
    """

    level_db: float
    noise_db: float
    u_db: float

    @property
    def hidden(self) -> bool:
        """Whether the line can't be told from the noise: its level is within twice the uncertainty of it."""
        return self.level_db - self.noise_db < self._least_db

    @property
    def signal_db(self) -> float:
        """The line without the noise; where that hides it, the most that it may be."""
        level = max(self.level_db, self.noise_db + self._least_db)
        return self.noise_db + 10.0 * math.log10(10.0 ** ((level - self.noise_db) / 10.0) - 1.0)

    @property
    def _least_db(self) -> float:
        return max(2.0 * self.u_db, LEAST_SHOWN_DB)


@dataclass(frozen=True)
class PadUncertainty:
    """Standard uncertainties [dB]: of two readings of one set-up against each other, of the pad's attenuation, and of
    the match, which a pad changes.
    """

    repeat_db: float
    pad_db: float = 0.29  # common practice: ±0.5 dB, rectangular
    mismatch_db: float = 0.685  # common practice: VSWR 2 on both sides without the pad (ETSI TR 100 028, from memory)


@dataclass(frozen=True)
class LineVerdict:
    """``origin`` with its ``order`` where it is made inside and the order is clear; ``drop_db`` of the line without its
    noise; ``u_db`` of that; the chance that the answer (or, undecided, the likeliest one) is wrong.
    """

    origin: Origin
    order: int | None
    drop_db: float
    u_db: float
    error_probability: float
    because: str


def judge_line(without: LineReading, through: LineReading, pad_db: float, sure: PadUncertainty) -> LineVerdict:
    """Hold the two readings of a line against each answer. ``pad_db``: attenuation, more than 0."""
    chances = _chances(without, through, pad_db, sure)
    inside = sum(chances[str(order)] for order in ORDERS)
    answers = {Origin.REAL: chances["1"], Origin.OWN: chances["0"], Origin.INSIDE: inside}
    best = max(answers, key=lambda origin: answers[origin])
    error = min(1.0, max(0.0, 1.0 - answers[best]))
    drop = without.signal_db - through.signal_db
    u_db = math.hypot(_signal_u_db(without), _signal_u_db(through), sure.repeat_db, sure.pad_db, sure.mismatch_db)
    if error > 1.0 - SURE_PCT / 100.0:
        because = _why_undecided(without, through, pad_db, drop, chances["none"])
        return LineVerdict(Origin.UNDECIDED, None, drop, u_db, error, because)
    order = max(ORDERS, key=lambda order: chances[str(order)]) if best is Origin.INSIDE else None
    if order is not None and chances[str(order)] < SURE_PCT / 100.0 * inside:
        order = None
    return LineVerdict(best, order, drop, u_db, error, _why(best, order, drop, pad_db))


def sum_db(*levels_db: float) -> float:
    """Level of several powers together, 10·log Σ10^(L/10)."""
    return 10.0 * math.log10(sum(10.0 ** (level / 10.0) for level in levels_db))


def drop_db(pad_db: float, *, external_db: float = -math.inf, inside_db: float = -math.inf, order: int = 3) -> float:
    """By how much a line falls that is partly from outside and partly a product of ``order``; levels without pad."""
    through = sum_db(external_db - pad_db, inside_db - order * pad_db)
    return sum_db(external_db, inside_db) - through


def error_between(pad_db: float, reading_u_db: float, order: int = 3) -> float:
    """Chance to take a product of ``order`` for a signal, or the other way round, decided half-way between their drops.

    ``reading_u_db``: standard uncertainty of each of the two readings, so the drop has √2 of it: Φ(-(m-1)·L/2/(u√2)).
    """
    return 0.5 * math.erfc((order - 1) * pad_db / 2.0 / (reading_u_db * math.sqrt(2.0)) / math.sqrt(2.0))


def least_pad_db(reading_u_db: float, order: int = 2, error: float = 0.01) -> float:
    """The pad that keeps ``error_between`` at ``error``."""
    return normal_quantile(1.0 - error) * reading_u_db * math.sqrt(2.0) * 2.0 / (order - 1)


def _chances(without: LineReading, through: LineReading, pad_db: float, sure: PadUncertainty) -> dict[str, float]:
    """Probability of each answer by Bayes' rule: ``0`` own, ``1`` real, the orders, ``none`` of these alone."""
    third = (1.0 - PRIOR_OF_NONE - PRIOR_OF_MIXTURE) / 3.0
    priors = {0: third, 1: third} | {order: third * PRIOR_OF_ORDER[order] for order in ORDERS}
    weights = {
        str(times): prior * _density(without, through, times * pad_db, times * sure.pad_db, sure)
        for times, prior in priors.items()
    }
    spread = max(LEAST_SPREAD_DB, without.signal_db - through.noise_db + LEAST_SPREAD_DB)
    weights["none"] = PRIOR_OF_NONE / spread
    if pad_db < without.signal_db - through.signal_db < 3.0 * pad_db:
        weights["none"] += PRIOR_OF_MIXTURE / (2.0 * pad_db)  # anything between real and order 3
    total = sum(weights.values())
    return {answer: weight / total for answer, weight in weights.items()}


def _density(without: LineReading, through: LineReading, drop: float, drop_u_db: float, sure: PadUncertainty) -> float:
    """How well a drop explains the reading through the pad: a normal density in dB."""
    signal = without.signal_db - drop
    expected = sum_db(signal, through.noise_db)
    share = 10.0 ** ((signal - expected) / 10.0)  # of the reading that is signal: only that feels the pad
    match_u_db = sure.mismatch_db if drop else 0.0
    u_db = math.hypot(
        through.u_db, sure.repeat_db, share * _signal_u_db(without), share * drop_u_db, share * match_u_db
    )
    return math.exp(-0.5 * (through.level_db - expected) ** 2 / u_db**2) / (u_db * math.sqrt(2.0 * math.pi))


def _signal_u_db(reading: LineReading) -> float:
    return float(reading.u_db * 10.0 ** ((reading.level_db - reading.signal_db) / 10.0))


def _why(origin: Origin, order: int | None, drop: float, pad_db: float) -> str:
    if origin is Origin.REAL:
        return f"falls by {drop:.1f} dB, as the pad of {pad_db:g} dB takes from what comes in at the antenna"
    if origin is Origin.OWN:
        return f"does not fall with the pad ({drop:+.1f} dB): the instrument makes it by itself"
    if order is None:
        least = f"falls by {drop:.1f} dB or more, and the pad takes only {pad_db:g}"
        return f"{least}: made inside, of which order the noise hides"
    return (
        f"falls by {drop:.1f} dB, about {order} times the pad of {pad_db:g} dB: a product of order {order} made inside"
    )


def _why_undecided(without: LineReading, through: LineReading, pad_db: float, drop: float, none: float) -> str:
    if through.level_db - through.noise_db < 3.0 and without.level_db - without.noise_db < 1.5 * pad_db:
        fall = without.level_db - through.level_db
        return f"too near to the noise: its reading falls by {fall:.1f} dB, which proves nothing"
    if none > 0.5 and pad_db * 1.1 < drop < pad_db * 5:
        return f"falls by {drop:.1f} dB, between what is real and what is made inside: perhaps both at one place"
    if none > 0.5:
        return f"changes by {-drop:+.1f} dB, which no answer explains: the signal itself has changed meanwhile"
    return f"falls by {drop:.1f} dB, and the uncertainty of the readings leaves more than one answer"
