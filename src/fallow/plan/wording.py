"""How the plan's rooms say frequencies, distances and lists in a sentence; nothing is rounded that a rule compares."""

from __future__ import annotations

from collections.abc import Sequence

from fallow.units import format_mhz

__all__ = ["counted", "exact_width", "few", "mhz", "worded_list"]

_SHOWN = 6


def exact_width(width_hz: int) -> str:
    """A distance to the hertz in the unit that suits it: ``350 kHz``, ``99.999 kHz``, ``1.5 MHz``, ``1 Hz``."""
    for factor, decimals, unit in ((10**6, 6, "MHz"), (10**3, 3, "kHz")):
        if abs(width_hz) >= factor:
            return f"{width_hz / factor:.{decimals}f}".rstrip("0").rstrip(".") + f" {unit}"
    return f"{width_hz} Hz"


def mhz(frequency_hz: int) -> str:
    """A frequency with its unit: ``470.125 MHz``."""
    return f"{format_mhz(frequency_hz)} MHz"


def counted(number: int, singular: str, plural: str | None = None) -> str:
    """A number with its noun: ``1 place``, ``2,911 places``."""
    return f"{number:,} {singular if number == 1 else plural or singular + 's'}"


def worded_list(names: Sequence[str], last: str = "and") -> str:
    """Names as a sentence lists them: ``a``, ``a and b``, ``a, b and c``."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {last} {names[-1]}"


def few(names: Sequence[str]) -> str:
    """The first names of a list that may be long, and how many more there are."""
    if len(names) <= _SHOWN:
        return worded_list(names)
    return f"{', '.join(names[: _SHOWN - 1])} and {len(names) - _SHOWN + 1} more"
