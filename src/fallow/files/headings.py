"""What is said about the columns of a table: by headings, units behind numbers, the preamble and the user.

From it come the units that the frequencies can be in, the scale of the levels, and how likely a reading is.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fallow.files.axes import UnitChoice, is_usual, plausible_units
from fallow.files.dialect import Column, Table
from fallow.files.levels import LevelScale, scale_concluded, scale_named
from fallow.files.preamble import Preamble
from fallow.files.readings import Telling
from fallow.files.wording import FREQUENCY_FACTORS_HZ, detector_named, frequency_unit_named, level_unit_named, says

__all__ = [
    "Words",
    "axis_units",
    "impossible_unit",
    "likelihood",
    "names_frequency",
    "names_level",
    "names_time",
    "preamble_scale",
    "scale_of",
    "suffix_unit",
    "told_scale",
    "units_of",
]

_PER_HERTZ = re.compile(r"/\s*hz", re.IGNORECASE)
_LOWEST_STATED_HZ, _HIGHEST_STATED_HZ = 1e3, 300e9  # a stated unit may lead far; beyond 300 GHz no receiver goes


@dataclass(frozen=True)
class Words:
    """What is said about the numbers: by the user, and by the file's preamble."""

    telling: Telling
    preamble: Preamble


def axis_units(axis: Column, table: Table, words: Words) -> UnitChoice | str:
    stated = frequency_unit_named(_PER_HERTZ.sub("", axis.name)) or suffix_unit(axis) or _unit_column(table, axis)
    return units_of(axis.values, stated, words, "the file")


def units_of(
    values: Sequence[float], stated: str | None, words: Words, by: str, *, ranged: bool = False
) -> UnitChoice | str:
    """The units in question; a sentence where the only one is impossible. ``ranged``: values are lowest, highest,
    step."""
    low, high = min(values[:2] if ranged else values), max(values[:2] if ranged else values)
    steps = [values[2]] if ranged else sorted(abs(step) for step in np.diff(values) if step)
    step = float(steps[len(steps) // 2]) if steps else 0.0
    if words.telling.unit is not None:
        return UnitChoice((_unit_spelt(words.telling.unit),), "you")
    unit = stated or words.preamble.frequency_unit(low, high)
    possible = plausible_units(low, high, step)
    if unit is None:
        return (
            UnitChoice(possible) if possible else f"in no unit are {low:.10g} to {high:.10g} the frequencies of a sweep"
        )
    return impossible_unit(unit, low, high, by) or UnitChoice((unit,), by if stated else "the preamble")


def impossible_unit(unit: str, low: float, high: float, by: str) -> str:
    """A sentence where ``by`` states a unit in which the frequencies ``low`` to ``high`` can't be; else nothing."""
    if _LOWEST_STATED_HZ <= high * FREQUENCY_FACTORS_HZ[unit] <= _HIGHEST_STATED_HZ:
        return ""
    return f"{by} says {unit}, and {low:.10g} to {high:.10g} {unit} are no frequencies of a sweep"


def likelihood(frequencies: Sequence[float], units: UnitChoice, scale: LevelScale) -> int:
    """What tells two readings of the same digits apart: frequencies where links work, levels that are decibels."""
    factors = [FREQUENCY_FACTORS_HZ[unit] for unit in units.units]
    usual = any(is_usual(min(frequencies) * factor, max(frequencies) * factor) for factor in factors)
    return usual + (bool(scale.by) or not scale.linear)


def _unit_spelt(unit: str) -> str:
    return next(name for name in FREQUENCY_FACTORS_HZ if name.lower() == unit.lower())


def suffix_unit(column: Column) -> str | None:
    units = {frequency_unit_named(suffix) for suffix in column.suffixes}
    return next(iter(units)) if len(units) == 1 else ("MHz" if units and None not in units else None)


def _unit_column(table: Table, axis: Column) -> str | None:
    """The unit in the column behind the axis, where it holds nothing else (``470.1 MHz -90 dBm`` with blanks
    between)."""
    behind = table.columns[axis.place + 1 : axis.place + 2]
    return frequency_unit_named(behind[0].cells[0]) if behind and behind[0].kind == "unit" else None


def scale_of(table: Table, levels: Sequence[Column], words: Words) -> LevelScale:
    told = told_scale(words)
    if told is not None:
        return told
    for column in levels:
        unit = level_unit_named(column.name) or next(
            (level_unit_named(suffix) for suffix in sorted(column.suffixes)), None
        )
        if unit is not None and not (unit in ("v", "w") and len(column.name) < 2):
            return scale_named(unit, "the file")
    unit = _level_unit_column(table, levels) or words.preamble.level_unit
    if unit is not None:
        return scale_named(unit, "the file")
    return scale_concluded([value for column in levels for value in column.values])


def _level_unit_column(table: Table, levels: Sequence[Column]) -> str | None:
    """The unit in the column behind a level, where it holds nothing else."""
    behind = [table.columns[column.place + 1] for column in levels if column.place + 1 < table.width]
    return next((level_unit_named(column.cells[0]) for column in behind if column.kind == "unit"), None)


def preamble_scale(words: Words) -> LevelScale | None:
    return None if words.preamble.level_unit is None else scale_named(words.preamble.level_unit, "the preamble")


def told_scale(words: Words) -> LevelScale | None:
    return None if words.telling.level_unit is None else scale_named(words.telling.level_unit, "you")


def names_frequency(name: str) -> bool:
    """Whether a heading stands above frequencies."""
    bare = _PER_HERTZ.sub("", name)
    return says(bare, "frequency") and level_unit_named(bare) is None


def names_level(name: str) -> bool:
    """Whether a heading stands above levels: a word for level, a level unit, a detector or a trace kind."""
    return not names_frequency(name) and (
        says(name, "level")
        or level_unit_named(name) is not None
        or detector_named(name) is not None
        or says(name, "live")
    )


def names_time(name: str) -> bool:
    """Whether a heading stands above times."""
    return says(name.replace("_", " "), "time") or says(name.replace("_", " "), "date")
