"""From the frequencies that a file prints to an exact axis, and which unit they can be in.

Frequencies printed to some digit are uniform when each lies within one unit of that digit of an even grid; the axis
is then that grid, in exact fractions of a hertz, and otherwise the printed frequencies in whole hertz.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.wording import FREQUENCY_FACTORS_HZ
from fallow.spectrum.axis import Axis

__all__ = ["UnitChoice", "axis_of", "is_usual", "plausible_units", "rises_or_falls"]

LOWEST_HZ, HIGHEST_HZ = 9e3, 10e9  # what pocket sweepers cover. Source: common practice
_BEYOND_HZ = 1e12  # a terahertz: beyond any instrument of the trade
_SMALLEST_STEP_HZ = 1.0  # common practice
_WIDEST_STEP_HZ = 100e6  # common practice
_WORK_LOW_HZ, _WORK_HIGH_HZ = 60e6, 8e9  # where links of live production work. Source: common practice
_KHZ_WORK_HIGH_HZ = 1e9  # nobody writes gigahertz in kilohertz. Source: common practice


@dataclass(frozen=True)
class UnitChoice:
    """The units that a file's frequencies can be in. ``certain``: stated by user, header, cell or preamble (``by``)."""

    units: tuple[str, ...]
    by: str = ""

    @property
    def certain(self) -> bool:
        """Whether the unit was stated rather than concluded."""
        return bool(self.by)


def plausible_units(low: float, high: float, step: float) -> tuple[str, ...]:
    """The units that make numbers from ``low`` to ``high`` the axis of a sweep, one of them where only one is likely.

    A megahertz (or, up to 1 GHz, kilohertz or hertz) reading whose middle lies where links work is taken alone: the
    next smaller unit would put it into long or medium wave. Gigahertz are never taken alone, because numbers such as
    0.5 to 3.5 are short wave in megahertz.
    """
    possible = [
        unit for unit, factor in FREQUENCY_FACTORS_HZ.items() if _possible(low * factor, high * factor, step * factor)
    ]
    for unit in ("Hz", "MHz", "kHz"):
        middle_hz = (low + high) / 2 * FREQUENCY_FACTORS_HZ[unit]
        highest_hz = _KHZ_WORK_HIGH_HZ if unit == "kHz" else _WORK_HIGH_HZ
        if (
            unit in possible
            and _WORK_LOW_HZ <= middle_hz <= highest_hz
            and high * FREQUENCY_FACTORS_HZ[unit] >= _WORK_LOW_HZ
        ):
            return (unit,)
    return tuple(possible)


def is_usual(low_hz: float, high_hz: float) -> bool:
    """Whether the middle of a span lies where links of live production work."""
    return _WORK_LOW_HZ <= (low_hz + high_hz) / 2 <= _WORK_HIGH_HZ


def _possible(low_hz: float, high_hz: float, step_hz: float) -> bool:
    return (
        low_hz >= 0
        and (low_hz + high_hz) / 2 >= LOWEST_HZ
        and high_hz <= HIGHEST_HZ
        and (low_hz == 0 or low_hz >= LOWEST_HZ)
        and _SMALLEST_STEP_HZ <= step_hz <= _WIDEST_STEP_HZ
    )


def rises_or_falls(values: Sequence[float] | NDArray[np.float64]) -> int:
    """1 where a column of frequencies rises, -1 where it falls, 0 where it does neither often enough to be an axis.

    It may start again (several sweeps below each other) at most once in three rows.
    """
    steps = np.diff(np.asarray(values, dtype=np.float64))
    if steps.size < 1 or not np.all(np.isfinite(steps)):
        return 0
    rising, falling = int(np.count_nonzero(steps > 0)), int(np.count_nonzero(steps < 0))
    direction = 1 if rising >= falling else -1
    against = steps.size - max(rising, falling)
    return direction if against <= max(steps.size // 3, 0) else 0


def axis_of(values: NDArray[np.float64], unit: str, decimals: int, path: str, slack: float = 0.0) -> Axis:
    """The axis of strictly rising printed frequencies with so many decimals, in ``unit``.

    ``values``: [unit], shape (bin,). ``slack``: [unit], how far they may lie from the grid where they were computed
    from rounded edges. Raises InputError for a single one, and when whole hertz can't tell them apart.
    """
    if values.size < 2:
        raise InputError("a sweep of a single frequency is no sweep", path=path)
    factor = FREQUENCY_FACTORS_HZ[unit]
    if not 0 <= float(values[0]) * factor <= float(values[-1]) * factor <= _BEYOND_HZ:
        raise InputError(
            f"{float(values[-1]):.10g} {unit} is no frequency of a sweep", path=path, hint="say the unit with --unit"
        )
    room = 15 - math.ceil(math.log10(max(abs(float(values[-1])), 1.0)))  # digits that a float holds exactly
    places = min(decimals, room)
    digits = np.rint(values * 10.0**places).astype(np.int64)
    tolerance = max(1.0 if places == decimals else 8.0, slack * 10.0**places)
    if _is_even(digits, tolerance):
        scale = Fraction(factor) / Fraction(10) ** places
        start_hz, step_hz = int(digits[0]) * scale, Fraction(int(digits[-1] - digits[0]), digits.size - 1) * scale
        whole_hz = round(start_hz) + round(step_hz) * np.arange(digits.size)
        if slack and float(np.abs(values * factor - whole_hz).max()) <= slack * factor:
            start_hz, step_hz = Fraction(round(start_hz)), Fraction(round(step_hz))
        return Axis.regular(start_hz, step_hz, digits.size)
    whole_hz = np.rint(digits * (factor / 10.0**places)).astype(np.int64)
    if bool(np.any(np.diff(whole_hz) <= 0)):
        raise InputError("frequencies lie less than a hertz apart", path=path, hint="say the unit with --unit")
    return Axis.irregular(whole_hz)


def _is_even(digits: NDArray[np.int64], tolerance: float) -> bool:
    """Whether numbers are an even grid, each printed to a whole digit; a step of one digit must be exactly that
    everywhere."""
    steps = np.diff(digits)
    spread = int(steps.max() - steps.min())
    if spread == 0:
        return True
    if steps.mean() < 2 * tolerance or spread > max(1.0, 2 * tolerance - 1):
        return False
    grid = (digits[-1] - digits[0]) / steps.size * np.arange(digits.size)
    return bool(np.all(np.abs((digits - digits[0]) - grid) <= tolerance + 1e-6))
