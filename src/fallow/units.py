"""Hertz, spans of hertz and decibels: how people write them, how fallow holds them, how they are shown.

Frequencies are integers in hertz wherever a person, a file or a rule names one. Levels are floats in dBm.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from fallow.errors import UsageError

__all__ = [
    "Channel",
    "Span",
    "dbm_from_mw",
    "format_mhz",
    "format_span_mhz",
    "format_width",
    "mw_from_dbm",
    "parse_frequency_hz",
    "parse_span_hz",
]

_FACTOR_HZ = {"": 1, "hz": 1, "k": 10**3, "khz": 10**3, "m": 10**6, "mhz": 10**6, "g": 10**9, "ghz": 10**9}
_FREQUENCY = re.compile(r"\s*([0-9][0-9_]*(?:\.[0-9]+)?)\s*([a-zA-Z]*)\s*")
_HIGHEST_HZ = 10**12  # a terahertz: beyond any instrument of the trade


@dataclass(frozen=True, order=True)
class Span:
    """A slice of spectrum, edges in hertz, the upper one never below the lower one; one frequency has no width."""

    low_hz: int
    high_hz: int

    def __post_init__(self) -> None:
        if self.high_hz < self.low_hz:
            raise UsageError(f"a span must rise, and {self.low_hz} Hz to {self.high_hz} Hz does not")

    @property
    def width_hz(self) -> int:
        """Width in hertz."""
        return self.high_hz - self.low_hz

    @property
    def centre_hz(self) -> float:
        """Middle of the span in hertz."""
        return (self.low_hz + self.high_hz) / 2

    def touches(self, low_hz: float, high_hz: float) -> bool:
        """Whether any part of [low_hz, high_hz] lies inside; a shared edge alone does not count."""
        return self.low_hz < high_hz and low_hz < self.high_hz

    def contains(self, low_hz: float, high_hz: float) -> bool:
        """Whether [low_hz, high_hz] lies wholly inside, edges included."""
        return self.low_hz <= low_hz and high_hz <= self.high_hz


@dataclass(frozen=True)
class Channel:
    """A named slice of spectrum: a TV channel, or a window of a survey."""

    name: str
    low_hz: int
    high_hz: int

    @property
    def span(self) -> Span:
        """The slice without its name."""
        return Span(self.low_hz, self.high_hz)


def parse_frequency_hz(text: str) -> int:
    """Read a frequency as people write it: ``470M``, ``470.125 MHz``, ``470125 kHz``, ``1.9G``, ``470125000``.

    Returns hertz, rounded once to the whole hertz. Raises UsageError for anything else.
    """
    match = _FREQUENCY.fullmatch(text)
    factor = _FACTOR_HZ.get(match[2].lower()) if match else None
    if match is None or factor is None:
        hint = "write it as 470M, 470.125 MHz, 470125 kHz, 1.9G or, in hertz, 470125000"
        raise UsageError(f"{text!r} is not a frequency", hint=hint)
    try:
        value_hz = Decimal(match[1].replace("_", "")) * factor
    except InvalidOperation as error:  # pragma: no cover - the pattern admits only digits
        raise UsageError(f"{text!r} is not a frequency") from error
    if value_hz > _HIGHEST_HZ:
        raise UsageError(f"{text!r} is above 1 THz", hint="check the unit: a number without one is taken as hertz")
    return int(value_hz.to_integral_value())


def parse_span_hz(text: str) -> Span:
    """Read a span as people write it: ``470M..608M``. Raises UsageError when it is none or does not rise."""
    low, separator, high = text.partition("..")
    if not separator:
        hint = "write two frequencies with two dots between: 470M..608M"
        raise UsageError(f"{text!r} is not a span of frequencies", hint=hint)
    low_hz, high_hz = parse_frequency_hz(low), parse_frequency_hz(high)
    if high_hz <= low_hz:
        raise UsageError(f"the span {text!r} does not rise", hint="write the lower frequency first: 470M..608M")
    return Span(low_hz, high_hz)


def format_mhz(frequency_hz: float) -> str:
    """A frequency for people, in megahertz with at least three decimals and as many as it needs (at most six)."""
    text = f"{round(frequency_hz) / 1e6:.6f}"
    whole, decimals = text.split(".")
    return f"{whole}.{decimals.rstrip('0').ljust(3, '0')}"


def format_span_mhz(low_hz: float, high_hz: float) -> str:
    """A span for people, ``470.000 to 478.000 MHz``."""
    return f"{format_mhz(low_hz)} to {format_mhz(high_hz)} MHz"


def format_width(width_hz: float) -> str:
    """A width or distance for people in the unit that suits it: ``25 kHz``, ``7.61 MHz``, ``300 Hz``."""
    for factor, unit in ((1e6, "MHz"), (1e3, "kHz")):
        if abs(width_hz) >= factor:
            return f"{width_hz / factor:.4g} {unit}"
    return f"{width_hz:.4g} Hz"


def mw_from_dbm(level_dbm: float) -> float:
    """Power in milliwatt of a level in dBm: 10^(L/10)."""
    return float(10.0 ** (level_dbm / 10.0))


def dbm_from_mw(power_mw: float) -> float:
    """Level in dBm of a power in milliwatt; minus infinity for none. Raises ValueError below zero."""
    if power_mw < 0:
        raise ValueError("a power can't be negative")
    return 10.0 * math.log10(power_mw) if power_mw > 0 else -math.inf
