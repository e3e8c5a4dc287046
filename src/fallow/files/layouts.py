"""Which shape a table has: columns, wide rows, a matrix. Each recogniser gives plans to read it by, or the reason why
it declines.

To add a shape: one function ``(table, words) -> tuple[Plan, ...] | str`` and its line in ``RECOGNISERS``, a reader
for it in ``assembly``, samples, tests.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fallow.files.axes import UnitChoice, rises_or_falls
from fallow.files.dialect import Column, Table
from fallow.files.edges import Edges, edges_among
from fallow.files.headings import (
    Words,
    axis_units,
    likelihood,
    names_frequency,
    names_level,
    names_time,
    preamble_scale,
    scale_of,
    suffix_unit,
    told_scale,
    units_of,
)
from fallow.files.levels import LevelScale, can_be_levels, fits_scale, scale_concluded, scale_named
from fallow.files.numbers import Number, decimals_of
from fallow.files.plan import COLUMNS, MATRIX, TRANSPOSED, WIDE_ROWS, Plan
from fallow.files.times import epoch_scale, looks_like_time
from fallow.files.wording import detector_named, frequency_unit_named, level_unit_named, says

__all__ = ["RECOGNISERS", "Words"]

_FEWEST_IN_HEADER = 3
_MANY_COLUMNS, _FIRST_COLUMNS = 1000, 16  # among so many sweeps the frequencies stand in front. Common practice
_SHOWN = 40  # values of a sample that are compared


def recognise_wide_rows(table: Table, words: Words) -> tuple[Plan, ...] | str:
    """Rows of ``[date, time,] low, high, step, [count,] level, level ...``."""
    if table.width < 5:
        return "fewer than five columns, which lower edge, upper edge, step and levels need"
    for lead in range(min(4, table.width - 4)):
        for extra in (4, 3):
            if _is_wide(table, lead, extra):
                return _wide_plan(table, words, lead, extra)
    return "no place in the rows where a lower edge, an upper edge and a fitting step stand side by side"


def recognise_matrix(table: Table, words: Words) -> tuple[Plan, ...] | str:
    """A row of frequencies above rows of levels; what stands before the frequencies is times."""
    candidates = [(row.cells, 0) for row in reversed(table.above[-4:])] + [(table.body[0].cells, 1)]
    for cells, skipped in candidates:
        found = _header_frequencies(cells, table)
        if found is not None and len(table.body) > skipped:
            plan = _matrix_plan(table, words, found, skipped)
            if plan is not None:
                return (plan,)
    return "no row of rising frequencies stands above rows of levels"


def recognise_columns(table: Table, words: Words) -> tuple[Plan, ...] | str:
    """One column of frequencies and one or more of levels; perhaps a row number and times."""
    if len(table.body) < 2:
        return "no column holds frequencies that steadily rise or fall"
    numbers = [column for column in table.columns if column.kind == "number"]
    if len(numbers) < 2:
        return "fewer than two columns hold numbers"
    axes = _frequency_columns(numbers)
    if not axes:
        return "no column holds frequencies that steadily rise or fall"
    edges = edges_among(axes, numbers)
    if edges is not None:
        axes = [edges.middle, *(axis for axis in axes if axis not in edges.columns)]
    outcomes = [_columns_plan(table, words, axis, axes, edges if axis is axes[0] else None) for axis in axes]
    plans = tuple(plan for plan in outcomes if isinstance(plan, Plan))
    return plans or next(reason for reason in outcomes if isinstance(reason, str))


RECOGNISERS: tuple[tuple[str, Callable[[Table, Words], tuple[Plan, ...] | str]], ...] = (
    (WIDE_ROWS, recognise_wide_rows),
    (MATRIX, recognise_matrix),
    (COLUMNS, recognise_columns),
)


# --- columns ---


def _frequency_columns(numbers: Sequence[Column]) -> list[Column]:
    """Columns that can be the frequency axis: those that are named so, else those that look so; a mere count only if
    alone."""
    asked = numbers if len(numbers) <= _MANY_COLUMNS else numbers[:_FIRST_COLUMNS]
    named = [column for column in asked if names_frequency(column.name) or suffix_unit(column) is not None]
    fitting = [column for column in named or asked if _is_axis(column, named=bool(named))]
    if not named:
        fitting = [column for column in fitting if not (says(column.name, "index") or names_time(column.name))]
        fitting = [column for column in fitting if not says(column.name, "level")] or fitting
        fitting = [column for column in fitting if not _counts(column)] or fitting
    different: list[Column] = []
    for column in fitting:
        if all(column.values != other.values for other in different):
            different.append(column)
    return different


def _columns_plan(table: Table, words: Words, axis: Column, axes: Sequence[Column], edges: Edges | None) -> Plan | str:
    taken = (axis,) if edges is None else edges.columns
    times = _time_columns(table, taken)
    levels, notes = _level_columns(_other_numbers(table, axis, (*taken, *times)))
    if isinstance(levels, str):
        return levels
    units = axis_units(axis, table, words)
    if isinstance(units, str):
        return units
    scale = scale_of(table, levels, words)
    if not fits_scale([value for column in levels for value in column.values], scale):
        return f"the levels are stated in {scale.told} and can't be"
    stamps = tuple(column.name for column in levels)
    transposed = all(_is_stamp(name) for name in stamps)
    named = names_frequency(axis.name)
    return Plan(
        layout=TRANSPOSED if transposed else COLUMNS,
        dialect=table.dialect,
        width=table.width,
        first_line=table.body[0].number,
        units=units,
        scale=scale,
        levels=tuple(column.place for column in levels),
        sample=(axis.values[:_SHOWN], _first_values(levels)),
        decimals=_decimals(axis),
        frequency=axis.place,
        upper=None if edges is None else edges.high.place,
        cell_width=0.0 if edges is None else edges.width,
        edge_decimals=0 if edges is None else _decimals(edges.low),
        times=tuple(column.place for column in times),
        names=() if transposed else _trace_names(levels),
        header_times=stamps if transposed else (),
        level_decimals=_level_decimals(levels),
        suffixed=any(column.suffixes for column in (axis, *levels)),
        falling=rises_or_falls(axis.values) < 0,
        counted=_counts(axis) and not named and not units.certain,
        strength=2 * named + units.certain + (len(axes) == 1) + likelihood(axis.values, units, scale),
        notes=notes,
    )


def _other_numbers(table: Table, axis: Column, taken: Sequence[Column]) -> list[Column]:
    """Columns of numbers that are neither the axis (or a copy of it) nor taken already, nor row numbers."""
    return [
        column
        for column in table.columns
        if column.kind == "number"
        and column not in taken
        and column.values != axis.values
        and not _is_index(column, axis)
    ]


def _level_columns(columns: Sequence[Column]) -> tuple[list[Column] | str, tuple[str, ...]]:
    """The columns that hold levels, and notes on those that were left out; a sentence where one can't be explained."""
    kept = [column for column in columns if not _is_left_out(column)]
    named = [column for column in kept if names_level(column.name)]
    for column in named or kept:
        if not can_be_levels(column.values):
            return f"column {_called(column)} holds numbers that are no levels", ()
    levels = named or kept
    still = next((column for column in levels if len(set(column.values)) <= 1), None)
    if not named and len(levels) > 1 and still is not None:
        return f"column {_called(still)} is the same number throughout, and nothing says what it is", ()
    if not levels:
        return "no column holds levels", ()
    taken = {column.place for column in levels}
    left_out = [column for column in columns if column.place not in taken]
    notes = [f"column {_called(column)} was left out: it holds neither frequencies nor levels" for column in left_out]
    if all(len(set(column.values)) <= 1 for column in levels):
        notes.append("all levels are the same number")
    return levels, tuple(notes)


def _is_left_out(column: Column) -> bool:
    """Columns whose header names something else than levels."""
    return says(column.name, "ignored") and detector_named(column.name) is None


def _time_columns(table: Table, taken: Sequence[Column]) -> list[Column]:
    columns = [column for column in table.columns if column not in taken]
    return [column for column in columns if column.kind == "time" or (column.kind == "number" and _is_epoch(column))]


def _is_epoch(column: Column) -> bool:
    """Times since 1970 in numbers, never falling."""
    steps = np.diff(column.values)
    return epoch_scale(column.values) is not None and bool(np.all(steps >= 0)) and not names_frequency(column.name)


def _is_axis(column: Column, *, named: bool) -> bool:
    values = column.values
    if len(values) < 0.9 * len(column.numbers) or len(values) < 2 or min(values) < 0:
        return False
    direction = rises_or_falls(values)
    if direction == 0:
        return False
    steps = np.diff(values) * direction
    restarts = np.flatnonzero(steps < 0) + 1
    if np.count_nonzero(steps == 0) > len(values) // 20:
        return False
    again = {values[place] for place in restarts}
    return named or restarts.size <= 1 + len(values) // 20 or again == {values[0]}


def _counts(column: Column) -> bool:
    """Whether a column counts 0, 1, 2 ... or 1, 2, 3 ..., perhaps from the start again."""
    values = column.values
    if not values or values[0] not in (0.0, 1.0) or column.suffixes:
        return False
    steps = set(np.diff(values).tolist())
    return steps <= {1.0} or all(step == 1.0 or step < 0 for step in steps)


def _is_index(column: Column, axis: Column) -> bool:
    if says(column.name, "index") and not says(column.name, "level"):
        return True
    integers = all(value == int(value) for value in column.values)
    steps = np.diff(column.values)
    return (
        integers
        and not names_level(column.name)
        and len(column.values) == len(axis.values)
        and bool(np.all(steps == 1) or _counts(column))
    )


def _trace_names(levels: Sequence[Column]) -> tuple[str, ...]:
    if len(levels) == 1:
        return ("",)
    return tuple(
        re.sub(r"\s*[\[(][^\])]*[\])]\s*$", "", column.name) or f"column {column.place + 1}" for column in levels
    )


# --- matrix ---


@dataclass(frozen=True)
class _Header:
    """A row of frequencies: cells from ``lead`` on, the labels before them, and how much the body is shifted against
    it."""

    lead: int
    values: tuple[float, ...]
    texts: tuple[str, ...]
    labels: tuple[str, ...]
    unit: str | None


def _header_frequencies(cells: Sequence[str], table: Table) -> _Header | None:
    last = len(cells)
    while last and not cells[last - 1]:
        last -= 1
    run: list[Number] = []
    for cell in reversed(cells[:last]):
        number = table.dialect.notation.number(_without_words(cell))
        if number is None or not _goes_on([later.value for later in run[-2:]], number.value):
            break
        run.append(number)
    run.reverse()
    lead = last - len(run)
    if len(run) < _FEWEST_IN_HEADER or len(run) > table.width:
        return None
    shift = 1 if last == table.width - 1 and lead == 0 else 0
    suffixes = {number.suffix for number in run}
    unit = frequency_unit_named(suffixes.pop()) if len(suffixes) == 1 else None
    return _Header(
        lead + shift,
        tuple(number.value for number in run),
        tuple(number.text for number in run),
        tuple(cells[:lead]),
        unit,
    )


def _without_words(cell: str) -> str:
    """A heading such as ``P(470.1 MHz)`` or ``f=470.1`` without what stands around the number."""
    match = re.search(r"\d[\d.,'\u00a0٫]*(?:[eE][-+]?\d+)?\s?(?:[kMG]?Hz)?", cell)
    return match[0] if match is not None and not looks_like_time(cell) and re.match(r"[A-Za-z@(=_]", cell) else cell


def _goes_on(later: Sequence[float], value: float) -> bool:
    """Whether a value before others (the farther one first) keeps their strict order."""
    if len(later) < 2:
        return not later or value != later[0]
    return value != later[1] and (value < later[1]) == (later[1] < later[0])


def _matrix_plan(table: Table, words: Words, header: _Header, skipped: int) -> Plan | None:
    columns = table.columns
    places = tuple(range(header.lead, header.lead + len(header.values)))
    if places[-1] >= table.width or min(header.values) < 0:
        return None
    rows = range(skipped, len(table.body))
    cells = [number.value for row in rows for place in places if (number := columns[place].numbers[row]) is not None]
    label = " ".join(header.labels)
    leading = [table.column_below(place, skipped) for place in range(header.lead)]
    timed = [column for column in leading if _is_timed(column)]
    if not cells or not can_be_levels(cells) or (not timed and _heads_numbers(label, leading)):
        return None
    if _same_kind(header.values, cells) and not header.unit:
        return None
    units = units_of(header.values, frequency_unit_named(label) or header.unit, words, "the header")
    if isinstance(units, str) or not units.units:
        return None
    steps = np.diff(header.values)
    stated = _cell_scale([columns[place] for place in places]) or _header_scale(label) or preamble_scale(words)
    scale = told_scale(words) or stated or scale_concluded(cells)
    if not fits_scale(cells, scale):
        return None
    return Plan(
        layout=MATRIX,
        dialect=table.dialect,
        width=table.width,
        first_line=table.body[skipped].number,
        units=units,
        scale=scale,
        levels=places,
        sample=(header.values[:_SHOWN], tuple(cells[:_SHOWN])),
        decimals=max(decimals_of(text) for text in header.texts),
        times=tuple(column.place for column in timed[:2]),
        names=("",),
        header=header.values,
        falling=bool(steps[0] < 0),
        level_decimals=_level_decimals([columns[place] for place in places], skipped),
        suffixed=any(columns[place].suffixes for place in places),
        strength=3 + units.certain + likelihood(header.values, units, scale),
    )


def _heads_numbers(label: str, leading: Sequence[Column]) -> bool:
    """Whether a label that names a frequency stands above numbers before the levels: they are the frequencies, then."""
    beside = any(column.kind == "number" for column in leading)
    return names_frequency(label) and beside and not names_time(label)


def _is_timed(column: Column) -> bool:
    """Whether a column before the levels holds times."""
    if column.kind == "time" or (column.kind == "number" and names_time(column.name)):
        return True
    return column.kind == "number" and epoch_scale(column.values) is not None


def _same_kind(header: Sequence[float], cells: Sequence[float]) -> bool:
    """Whether a row above the levels is just levels like them: within their range, and not evenly spaced."""
    steps = np.diff(header)
    even = bool(np.all(np.abs(steps - steps.mean()) <= 0.02 * abs(steps.mean())))
    return min(cells) - 20 <= min(header) and max(header) <= max(cells) + 20 and not (even and len(header) > 3)


def _cell_scale(levels: Sequence[Column]) -> LevelScale | None:
    """The scale that the units behind the levels state, where there is but one."""
    units = {level_unit_named(suffix) for column in levels for suffix in column.suffixes} - {None}
    return scale_named(str(units.pop()), "the file") if len(units) == 1 else None


def _header_scale(label: str) -> LevelScale | None:
    unit = level_unit_named(label)
    return scale_named(unit, "the header") if unit else None


# --- wide rows ---


def _is_wide(table: Table, lead: int, extra: int) -> bool:
    count = table.width - lead - extra
    edges = [table.column(place) for place in range(lead, lead + extra)]
    if count < 1 or any(column.kind != "number" or len(column.values) < len(column.numbers) for column in edges):
        return False
    if names_level(edges[2].name):  # no step, but the level of a cell from edge to edge
        return False
    low, high, step = (np.asarray(column.values) for column in edges[:3])
    if extra == 4 and any(value < 1 or value != int(value) for value in edges[3].values):
        return False
    if np.any(step <= 0) or np.any(high <= low) or np.any(low < 0):
        return False
    room = (high - low) / step
    if not (np.all(count <= room + 1.5) and np.all(room >= 0.99) and np.all(room < 1e7)):
        return False
    return can_be_levels([value for column in table.columns[lead + extra :] for value in column.values])


def _wide_plan(table: Table, words: Words, lead: int, extra: int) -> tuple[Plan, ...] | str:
    columns = table.columns
    low, high = columns[lead], columns[lead + 1]
    unit = frequency_unit_named(low.name) or suffix_unit(low)
    units = units_of(
        (min(low.values), max(high.values), min(columns[lead + 2].values)), unit, words, "the header", ranged=True
    )
    if isinstance(units, str):
        return units
    levels = columns[lead + extra :]
    plan = Plan(
        layout=WIDE_ROWS,
        dialect=table.dialect,
        width=table.width,
        first_line=table.body[0].number,
        units=units,
        scale=scale_of(table, levels, words),
        levels=tuple(column.place for column in levels),
        sample=(low.values[:_SHOWN], _first_values(levels)),
        decimals=max(_decimals(column) for column in columns[lead : lead + 3]),
        lead=lead,
        edge_decimals=_decimals(low),
        times=tuple(column.place for column in columns[:lead] if column.kind == "time" or _is_epoch(column)),
        names=("",),
        level_decimals=_level_decimals(levels),
        suffixed=any(column.suffixes for column in columns[lead:]),
        strength=4 + units.certain,
    )
    return (plan,)


# --- names and samples ---


def _is_stamp(name: str) -> bool:
    return looks_like_time(name) or (name.replace(".", "", 1).isdecimal() and epoch_scale([float(name)]) is not None)


def _called(column: Column) -> str:
    return f"{column.place + 1} ({column.name})" if column.name else str(column.place + 1)


def _decimals(column: Column) -> int:
    """Printed digits behind the point. Exponents change them: where all mantissas have as many digits, the fewest
    count."""
    texts = [number.text.lower() for number in column.numbers if number is not None]
    counts = [decimals_of(text) for text in texts]
    mantissas = {decimals_of(text.partition("e")[0]) for text in texts}
    return min(counts) if len(mantissas) == 1 else max(counts)


def _level_decimals(levels: Sequence[Column], skipped: int = 0) -> int | None:
    """Digits behind the point of the levels, where all have as many; the sample's last row may be the cut one."""
    counts = {
        decimals_of(number.text) for column in levels for number in column.numbers[skipped:-1] if number is not None
    }
    return counts.pop() if len(counts) == 1 else None


def _first_values(levels: Sequence[Column]) -> tuple[float, ...]:
    return tuple(value for column in levels[:8] for value in column.values[:_SHOWN])


def with_units(plan: Plan, unit: str) -> Plan:
    """The same plan with its unit settled."""
    return replace(plan, units=UnitChoice((unit,), plan.units.by))
