"""Sweeps in JSON, found by evidence wherever they stand in the document.

What counts as a sweep: a list of ``[frequency, level, ...]``; a list of objects with a frequency and a level; an
object with a list of frequencies and one or more lists of levels; an object with levels and where they start and how
far they lie apart. What stands around it (times, units, bandwidth) are its heads, the nearest counting most.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.axes import plausible_units
from fallow.files.headings import names_frequency, names_level
from fallow.files.levels import can_be_levels
from fallow.files.readings import FileReading, NotASweepError, Telling
from fallow.files.records import Heads, Record, head_named, plain_words, reading_of_records
from fallow.files.wording import frequency_unit_named, says

__all__ = ["extent_by_heads", "frequencies_by_heads", "read_json"]

_MOST_BYTES = 100 * 2**20  # a document takes ten times its size in memory
_DEEPEST = 12
_FEWEST_POINTS = 3
_FEWEST_NAMELESS = 8
_EVEN_SHARE = 0.9  # of the steps. Source: common practice
_STARTS = ("start", "start frequency", "start freq", "freq start", "frequency start", "f start", "fstart", "low",
           "freq low", "low freq", "f low", "freq min", "min freq", "f min", "from")  # fmt: skip
_STOPS = ("stop", "stop frequency", "stop freq", "freq stop", "frequency stop", "f stop", "fstop", "high", "end",
          "freq high", "high freq", "f high", "freq max", "max freq", "f max", "freq end", "to")  # fmt: skip
_STEPS = ("step", "step frequency", "freq step", "frequency step", "f step", "fstep", "bin width", "bin size",
          "spacing", "df", "delta f", "bin")  # fmt: skip


def read_json(path: Path, telling: Telling) -> FileReading:
    """A JSON document, or one per line. Raises InputError for a damaged one, NotASweepError where it holds no sweep."""
    records = [record for document in _documents(path) for record in _records(document, _Around({}), 0)]
    if not records:
        raise NotASweepError(
            "no sweep was found in its JSON: neither frequencies with levels, nor levels with a start and a step",
            path=path,
        )
    try:
        return reading_of_records(records, "JSON", path, telling)
    except InputError as error:
        raise InputError(error.what, path=path, hint=error.hint) from error


def frequencies_by_heads(heads: Heads, n: int, *, edges: bool = False) -> tuple[tuple[float, ...], str] | None:
    """Frequencies of ``n`` levels by a start and a step or stop among their heads, and the words that name the unit.

    Where start and stop are the edges of ``n`` cells, these are the middles of the cells: when the stated step, or
    steps of whole numbers, say so, or, where both would do, ``edges``. ``None`` where the heads don't say.
    """
    start, stop, step = extent_by_heads(heads)
    if start is None or n < _FEWEST_POINTS or (step is None and stop is None):
        return None
    words = " ".join({part[0] for part in (start, stop, step) if part is not None and frequency_unit_named(part[0])})
    if len({frequency_unit_named(part[0]) for part in (start, stop, step) if part is not None} - {None}) > 1:
        return None
    first, distance, offset = _grid(
        start[1], None if stop is None else stop[1], None if step is None else step[1], n, edges
    )
    if not distance > 0 or not math.isfinite(first + distance * n):
        return None
    return tuple(first + (k + offset) * distance for k in range(n)), words


def extent_by_heads(heads: Heads) -> tuple[tuple[str, float] | None, ...]:
    """Start, stop and step among the heads, each with its words, in the unit of its heads; ``None`` for what is not
    said.
    """
    numbers = {words: value for words, value in heads.items() if _is_number(value) and math.isfinite(_float(value))}
    return tuple(_number_head(numbers, names) for names in (_STARTS, _STOPS, _STEPS))


def _grid(start: float, stop: float | None, step: float | None, n: int, edges: bool) -> tuple[float, float, float]:
    """First edge or point, distance, and the offset (in steps) of the first level from it."""
    if stop is None:
        return start, step or math.nan, 0.0
    cells, points = (stop - start) / n, (stop - start) / (n - 1)
    if step is not None and abs(step - cells) < abs(step - points):
        return start, cells, 0.5
    whole = cells == round(cells), points == round(points)
    is_edges = step is None and (whole[0] if whole[0] != whole[1] else edges)
    return (start, cells, 0.5) if is_edges else (start, points, 0.0)


def _number_head(heads: Heads, names: Sequence[str]) -> tuple[str, float] | None:
    found = head_named(heads, names)
    return None if found is None else (found[0], _float(found[1]))


# --- documents ---


def _documents(path: Path) -> Iterator[object]:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(f"JSON of more than {_MOST_BYTES // 2**20} MB can't be read", path=path, hint="split it")
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(
            f"the file can't be opened ({(error.strerror or 'unknown reason').lower()})", path=path
        ) from error
    except UnicodeDecodeError as error:
        raise InputError("the JSON is damaged: it is no UTF-8", path=path) from error
    try:
        yield json.loads(text)
    except json.JSONDecodeError as error:
        if error.msg != "Extra data":
            raise InputError(
                "the JSON is damaged or cut off here", path=path, line=error.lineno, column=error.colno
            ) from error
        yield from _lines(text, path)
    except (RecursionError, ValueError) as error:
        raise InputError("the JSON is damaged: nested too deeply, or a number without end", path=path) from error


def _lines(text: str, path: Path) -> Iterator[object]:
    """One document per line."""
    for number, line in enumerate(text.splitlines(), 1):
        try:
            if line.strip():
                yield json.loads(line)
        except (RecursionError, ValueError) as error:
            raise InputError("the JSON is damaged or cut off here", path=path, line=number) from error


# --- where sweeps stand ---


@dataclass(frozen=True)
class _Around:
    """What stands around a part of the document: heads, and a list of frequencies with its name."""

    heads: Heads
    axis: tuple[str, Sequence[object]] | None = None

    def inside(self, node: Mapping[str, object]) -> _Around:
        """What stands around the parts of an object."""
        axes = [(name, value) for name, value in node.items() if isinstance(value, list) and _names_axis(name, value)]
        return _Around({**self.heads, **_scalars(node, 0)}, axes[0] if len(axes) == 1 else self.axis)


def _records(node: object, around: _Around, depth: int) -> Iterator[Record]:
    """All sweeps in a part of the document."""
    if depth > _DEEPEST:
        return
    found: list[Record] = []
    inner: Sequence[object] = ()
    if isinstance(node, dict):
        around = around.inside(node)
        found = list(_parallel(node, around)) or list(_stepped(node, around.heads))
        inner = [value for value in node.values() if isinstance(value, dict | list)]
    elif isinstance(node, list) and node and not _is_number(node[0]):
        found = list(_rows(node, around.heads)) or list(_points(node, around.heads))
        inner = node
    yield from found
    for value in inner if not found else ():
        yield from _records(value, around, depth + 1)


def _scalars(node: Mapping[str, object], depth: int) -> dict[str, object]:
    """What an object says in words and numbers; that of objects inside it too (but not in lists), the outer first."""
    inner: dict[str, object] = {}
    for value in node.values():
        if isinstance(value, dict) and depth < _DEEPEST:
            inner.update(_scalars(value, depth + 1))
    own = {plain_words(key): value for key, value in node.items() if isinstance(value, str | int | float)}
    return {**inner, **own}


def _rows(node: Sequence[object], heads: Heads) -> Iterator[Record]:
    """A list of ``[frequency, level, ...]``."""
    first = node[0]
    if len(node) < _FEWEST_POINTS or not isinstance(first, list) or len(first) < 2:
        return
    if not all(isinstance(row, list) and len(row) == len(first) for row in node):
        return
    if not _is_even([row[0] for row in node if isinstance(row, list)]):
        return
    columns = [[row[place] for row in node if isinstance(row, list)] for place in range(len(first))]
    yield from _table({str(place): column for place, column in enumerate(columns)}, "0", heads)


def _points(node: Sequence[object], heads: Heads) -> Iterator[Record]:
    """A list of objects, each with a frequency and levels."""
    first = node[0]
    if len(node) < _FEWEST_POINTS or not isinstance(first, dict):
        return
    names = [name for name, value in first.items() if _is_number(value) or value is None]
    axes = [name for name in names if names_frequency(plain_words(name))]
    if len(axes) != 1 or not all(isinstance(row, dict) for row in node):
        return
    columns = {name: [row.get(name) for row in node if isinstance(row, dict)] for name in names}
    yield from _table(columns, axes[0], {**heads, **_scalars(first, 0)})


def _parallel(node: Mapping[str, object], around: _Around) -> Iterator[Record]:
    """An object with lists of levels as long as its list of frequencies (or lists of such lists: sweeps)."""
    if around.axis is None:
        return
    axis, frequencies = around.axis
    times = [v for name, v in node.items() if isinstance(v, list) and says(plain_words(name), "time")]
    for name, value in node.items():
        if name == axis or not isinstance(value, list) or not value:
            continue
        sweeps = value if isinstance(value[0], list) else [value]
        if not all(isinstance(sweep, list) and len(sweep) == len(frequencies) for sweep in sweeps):
            continue
        for k, sweep in enumerate(sweeps):
            stamp = next(({"time": column[k]} for column in times if len(column) == len(sweeps) > 1), {})
            yield from _table({axis: frequencies, name: sweep}, axis, {**around.heads, **stamp})


def _stepped(node: Mapping[str, object], heads: Heads) -> Iterator[Record]:
    """An object with levels, where they start and how far they lie apart."""
    for name, value in node.items():
        if not isinstance(value, list) or not value or (isinstance(value[0], list) and list(_rows(value, heads))):
            continue
        for sweep in value if isinstance(value[0], list) else [value]:
            levels = _numbers(sweep) if isinstance(sweep, list) else None
            found = None if levels is None else frequencies_by_heads(heads, levels.size)
            if levels is None or found is None or not can_be_levels(levels):
                continue
            if found[1] or plausible_units(found[0][0], found[0][-1], found[0][1] - found[0][0]):
                yield Record(found[0], levels, heads, found[1], plain_words(name))


def _is_even(values: Sequence[object]) -> bool:
    """Whether numbers without a name lie so evenly that they are a grid, and no places on a map or times."""
    frequencies = _numbers(values)
    if frequencies is None or frequencies.size < _FEWEST_NAMELESS:
        return False
    steps = np.abs(np.diff(frequencies))
    usual = float(np.median(steps))
    return bool(np.mean((steps > usual / 2) & (steps < usual * 2)) > _EVEN_SHARE)


def _names_axis(name: str, values: Sequence[object]) -> bool:
    """Whether a list is named as frequencies and holds some."""
    if len(values) < _FEWEST_POINTS or not names_frequency(plain_words(name)):
        return False
    frequencies = _numbers(values)
    return frequencies is not None and _can_be_axis(frequencies)


def _table(columns: Mapping[str, Sequence[object]], axis: str, heads: Heads) -> Iterator[Record]:
    """Columns of numbers with the one that holds the frequencies."""
    frequencies = _numbers(columns[axis])
    if frequencies is None or not _can_be_axis(frequencies):
        return
    order = slice(None, None, 1 if frequencies[-1] > frequencies[0] else -1)
    levels = {name: _numbers(column) for name, column in columns.items() if name != axis}
    kept = {name: values for name, values in levels.items() if values is not None and can_be_levels(values)}
    named = {name: values for name, values in kept.items() if names_level(plain_words(name))} or kept
    words = plain_words(axis) if frequency_unit_named(plain_words(axis)) else ""
    for name, values in named.items():
        trace = "" if len(named) == 1 else (f"column {int(name) + 1}" if name.isdecimal() else name)
        level_words = "" if name.isdecimal() else plain_words(name)
        rising = tuple(frequencies[order].tolist())
        yield Record(rising, values[order], heads, words, level_words, trace)


def _can_be_axis(frequencies: NDArray[np.float64]) -> bool:
    steps = np.diff(frequencies)
    if not (np.all(steps > 0) or np.all(steps < 0)):
        return False
    low, high = float(frequencies.min()), float(frequencies.max())
    return bool(plausible_units(low, high, float(np.median(np.abs(steps)))))


def _numbers(values: Sequence[object]) -> NDArray[np.float64] | None:
    """Numbers of a list, NaN for null; ``None`` where something else stands in it."""
    if not all(value is None or _is_number(value) for value in values):
        return None
    return np.array([math.nan if value is None else _float(value) for value in values])


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _float(value: object) -> float:
    """A number as float; integers without end are no number of a sweep."""
    try:
        return float(value) if isinstance(value, int | float) else math.nan
    except OverflowError:
        return math.nan
