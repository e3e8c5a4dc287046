"""Rows that say where their cell begins and ends: two columns of frequencies, of which the middle is meant.

Two columns are the edges of cells where each row's second lies above its first, and either the cells follow each other
without a gap or the headings say so. Cells of another width than most are left out, and cells that overlap are refused
when the whole file is read.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.cells import Rows
from fallow.files.dialect import Column
from fallow.files.numbers import Number, decimals_of
from fallow.files.plan import Plan
from fallow.files.wording import FREQUENCY_FACTORS_HZ, level_unit_named, says
from fallow.spectrum.axis import Axis
from fallow.units import format_width

__all__ = ["Edges", "UsualCells", "edges_among", "edges_note"]

_MOST = 0.9  # share of the rows that must bear out what two columns are. Common practice
_ROUNDED = 1.02  # last digits by which a width may miss the usual one: both edges are rounded
_ROUNDED_SHARE = 0.05  # of the width: edges may be rounded to more than their last printed digit. Common practice
_DIGITS_OF_A_WIDTH = 8  # the difference of two floats is not exact


@dataclass(frozen=True)
class Edges:
    """``low`` and ``high``: the two columns; ``middle``: a column of their middles, which stands at the place of
    ``low``; ``width``: of most cells, in the unit of the columns; ``between``: columns whose numbers lie inside."""

    low: Column
    high: Column
    middle: Column
    width: float
    between: tuple[Column, ...]

    @property
    def columns(self) -> tuple[Column, ...]:
        """All columns that are frequencies of these cells."""
        return (self.low, self.high, *self.between)


def edges_among(axes: Sequence[Column], numbers: Sequence[Column]) -> Edges | None:
    """The two columns that hold the edges of cells, at least one of them of ``axes``; ``None`` where none do."""
    for low in axes:
        for high in numbers:
            if high is low or (high not in axes and not _says_edges(low, high)):
                continue
            found = _edges(low, high, [other for other in axes if other not in (low, high)])
            if found is not None:
                return found
    return None


def _edges(low: Column, high: Column, others: Sequence[Column]) -> Edges | None:
    if low.suffixes != high.suffixes or len(low.values) != len(high.values):
        return None
    lows, highs = np.asarray(low.values), np.asarray(high.values)
    if np.mean(highs > lows) < _MOST or not (_says_edges(low, high) or _follow(lows, highs)):
        return None
    middles = tuple(_middle(one, other) for one, other in zip(low.numbers, high.numbers, strict=True))
    if any(middle is None and one is not None for middle, one in zip(middles, low.numbers, strict=True)):
        return None
    inside = tuple(other for other in others if _lies_between(lows, np.asarray(other.values), highs))
    return Edges(low, high, replace(low, numbers=middles), _usual_width(highs - lows, low), inside)


def _usual_width(widths: NDArray[np.float64], low: Column) -> float:
    """The width of most cells: of those that differ by rounding alone the mean."""
    usual = float(np.median(widths))
    decimals = max((decimals_of(number.text) for number in low.numbers if number is not None), default=0)
    alike = widths[np.abs(widths - usual) <= _room(usual, decimals)]
    return float(f"{alike.mean() if alike.size else usual:.{_DIGITS_OF_A_WIDTH}g}")


def _room(width: float, decimals: int) -> float:
    """By how much cells of one width may differ in what is printed, in the unit of the columns."""
    return max(_ROUNDED * 10.0**-decimals, _ROUNDED_SHARE * width)


def _says_edges(low: Column, high: Column) -> bool:
    of_level = level_unit_named(high.name) is not None  # the highest level is no edge
    return says(low.name, "lower-edge") and says(high.name, "upper-edge") and not of_level


def _follow(lows: NDArray[np.float64], highs: NDArray[np.float64]) -> bool:
    """Whether most cells begin where another one ends."""
    up, down = np.mean(lows[1:] == highs[:-1]), np.mean(highs[1:] == lows[:-1])
    return lows.size > 2 and float(max(up, down)) >= _MOST


def _lies_between(lows: NDArray[np.float64], values: NDArray[np.float64], highs: NDArray[np.float64]) -> bool:
    return values.size == lows.size and bool(np.mean((lows <= values) & (values <= highs)) >= _MOST)


def _middle(low: Number | None, high: Number | None) -> Number | None:
    """The number in the middle of two, to the last digit; ``None`` where one of them is missing."""
    if low is None or high is None:
        return None
    try:
        middle = (Decimal(low.text) + Decimal(high.text)) / 2
    except InvalidOperation:
        return None
    return Number(f"{middle:f}", low.suffix)


# --- the whole file ---


class UsualCells:
    """Lets rows through whose cells are as wide as most, and counts the others."""

    def __init__(self, plan: Plan, path: str) -> None:
        self.plan = plan
        self.path = path
        self.factor = FREQUENCY_FACTORS_HZ[plan.units.units[0]]
        self.rows = 0
        self.odd = 0

    def of(self, part: Rows) -> Rows:
        """The rows of a part that are as wide as most."""
        if part.widths is None or part.frequencies is None:
            return part
        usual = np.abs(part.widths - self.plan.cell_width) <= _room(self.plan.cell_width, self.plan.edge_decimals)
        self.rows += usual.size
        self.odd += int(np.count_nonzero(~usual))
        if usual.all():
            return part
        kept = np.flatnonzero(usual)
        return replace(
            part,
            frequencies=part.frequencies[kept],
            levels=part.levels[kept],
            stamp=lambda row: part.stamp(int(kept[row])),
            widths=part.widths[kept],
        )

    def notes(self) -> Iterator[str]:
        """What was left out. Raises InputError where the cells are of different widths."""
        if self.odd > (1.0 - _MOST) * self.rows:
            raise InputError(
                "the rows are cells of different widths",
                path=self.path,
                hint="put cells of one width each into a file of their own",
            )
        if self.odd:
            usual = format_width(self.plan.cell_width * self.factor)
            rows = "1 row was" if self.odd == 1 else f"{self.odd} rows were"
            yield f"{rows} left out: not {usual} wide like the other cells"

    def span_hz(self, axes: Sequence[Axis]) -> tuple[int, int] | None:
        """Lower and upper edge of all cells on the axes of the file. Raises InputError where cells overlap."""
        half_hz = self.plan.cell_width * self.factor / 2
        if not half_hz:
            return None
        slack_hz = _room(self.plan.cell_width, self.plan.edge_decimals) * self.factor
        for axis in axes:
            steps_hz = np.diff(axis.centres_hz)
            place = int(np.argmin(steps_hz))
            if steps_hz[place] < 2 * half_hz - slack_hz - 0.5:
                first, second = (float(axis.centres_hz[place + k]) / 1e6 for k in (0, 1))
                raise InputError(
                    f"the rows are cells {format_width(2 * half_hz)} wide that overlap: "
                    f"around {first:.10g} MHz and around {second:.10g} MHz",
                    path=self.path,
                    hint="leave only one column of frequencies in the file, and say --rbw",
                )
        ends = [(float(axis.centres_hz[0]) - half_hz, float(axis.centres_hz[-1]) + half_hz) for axis in axes]
        return round(min(low for low, _ in ends)), round(max(high for _, high in ends))


def edges_note(plan: Plan, *, rbw_known: bool) -> str:
    """How rows with two edges were read; nothing where they have none."""
    if plan.upper is None:
        return ""
    width = format_width(plan.cell_width * FREQUENCY_FACTORS_HZ[plan.units.units[0]])
    taken = "" if rbw_known else f", and the resolution bandwidth is taken as its width, {width} (--rbw says otherwise)"
    return f"each row is a cell from a lower to an upper edge: its frequency is the middle{taken}"
