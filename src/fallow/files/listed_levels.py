"""Levels listed one below the other, perhaps counted, under lines that say where they start and how far they go.

There is no column of frequencies, so start and stop (or step, or centre and span) have to be stated in words, and a
stated number of points has to be the number of levels that follow.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.json_records import frequencies_by_heads
from fallow.files.levels import can_be_levels
from fallow.files.readings import FileReading, Telling
from fallow.files.records import Record, plain_words, reading_of_records
from fallow.files.source import TextFile
from fallow.files.wording import FREQUENCY_FACTORS_HZ, frequency_unit_named, level_unit_named, says, says_not_measured
from fallow.units import format_span_mhz

__all__ = ["read_listed"]

_MOST_CHARACTERS = 2**23
_FEWEST_LEVELS = 20
_MOST_HEADS = 200
_HEAD = re.compile(r"\s*[#!%/*;]*\s*[\"']?([^:=;,\t|]{1,60}?)[\"']?\s*[:=;,\t|]\s*[\"']?([^\"']*?)[\"']?\s*[;,\t]*\s*")
_NUMBER = re.compile(r"(-?\d{1,15}(?:[.,]\d{1,15})?(?:[eE][-+]?\d{1,2})?)[\s;,\t]*([kMG]?Hz)?", re.IGNORECASE)
_COUNTED = re.compile(r"\s*(\d{1,7})\s*[;,\t ]\s*(\S+)\s*")
_UNITS = frozenset(unit.lower() for unit in FREQUENCY_FACTORS_HZ)
_ROLES = {
    "step": "axis-step",
    "span": "axis-span",
    "centre": "axis-centre",
    "start": "lower-edge",
    "stop": "upper-edge",
}
_ALONE = ("axis-step", "axis-span", "axis-centre")  # words that say enough without a unit


def read_listed(file: TextFile, telling: Telling) -> FileReading | None:
    """The sweep of such a file; ``None`` where it is none. Raises InputError where its heads and its levels contradict
    each other.
    """
    if file.size > _MOST_CHARACTERS:
        return None
    lines = [line for line in file.head(_MOST_CHARACTERS).split("\n") if line.strip()]
    levels = _levels_at_the_end(lines, telling.decimal)
    if len(levels) < _FEWEST_LEVELS or not can_be_levels(levels[np.isfinite(levels)]):
        return None
    above = lines[: len(lines) - levels.size]
    heads = dict(_heads(above[:_MOST_HEADS]))
    found = frequencies_by_heads(_with_ends(heads), levels.size)
    if found is None:
        return None
    (frequencies, words), level_words = found, _level_words(above)
    if not (words or level_words or telling.unit or telling.level_unit):  # any list may have a start and a stop
        return None
    _check_points(heads, levels.size, file.path)
    record = Record(frequencies, levels, heads, words, level_words)
    reading = reading_of_records([record], "levels listed under their start and stop", file.path, telling)
    low_hz, high_hz = reading.low_hz, reading.high_hz
    if low_hz is None or high_hz is None:
        return replace(reading, encoding=file.encoding)
    told = f"frequencies by what stands above the levels: {levels.size} from {format_span_mhz(low_hz, high_hz)}"
    return replace(reading, encoding=file.encoding, notes=(told, *reading.notes))


def _levels_at_the_end(lines: Sequence[str], decimal: str | None) -> NDArray[np.float64]:
    """The numbers that stand alone, or behind a count, on each of the last lines, shape (level,)."""
    alone, counted = _alone(lines, decimal), _counted(lines, decimal)
    return np.array(counted if len(counted) >= len(alone) else alone, dtype=np.float64)


def _alone(lines: Sequence[str], decimal: str | None) -> list[float]:
    found: list[float] = []
    for line in reversed(lines):
        number = _level(line, decimal)
        if number is None:
            break
        found.append(number)
    return found[::-1]


def _counted(lines: Sequence[str], decimal: str | None) -> list[float]:
    """The levels behind 0, 1, 2 … or 1, 2, 3 …; none where the count begins otherwise."""
    found: list[float] = []
    count: int | None = None
    for line in reversed(lines):
        pair = _COUNTED.fullmatch(line.rstrip(" ;,\t"))
        number = None if pair is None else _level(pair[2], decimal)
        if pair is None or number is None or (count is not None and int(pair[1]) != count - 1):
            break
        count = int(pair[1])
        found.append(number)
    return found[::-1] if count in (0, 1) else []


def _level(cell: str, decimal: str | None) -> float | None:
    """A number that stands alone, NaN for what says that nothing was measured; ``None`` for anything else."""
    bare = cell.strip().rstrip(";\t").strip()
    match = _NUMBER.fullmatch(bare)
    if match is not None and match[2] is None and not ("," in match[1] and decimal == "."):
        return float(match[1].replace(",", "."))
    return math.nan if bare and says_not_measured(bare) else None


def _heads(above: Sequence[str]) -> Iterator[tuple[str, object]]:
    """What the lines above the levels say: in hertz where a unit stands with it, else the bare number or the text."""
    for line in above:
        match = _HEAD.fullmatch(line)
        if match is None or not match[2]:
            continue
        number = _NUMBER.fullmatch(match[2])
        unit = frequency_unit_named((number and number[2]) or match[1])
        words = _role(match[1], named=unit is not None)
        if number is None:
            yield words, match[2]
        else:
            value = float(number[1].replace(",", "."))
            yield (f"{words} hz", value * FREQUENCY_FACTORS_HZ[unit]) if unit is not None else (words, value)


def _role(key: str, *, named: bool) -> str:
    """The key in plain words; what it says of the frequencies in one word of ours, whatever its language."""
    words = " ".join(word for word in plain_words(key).split() if word not in _UNITS)
    if any(says(key, other) for other in ("time", "date")) or not (
        named or says(key, "frequency") or words in _ROLES or any(says(words, meaning) for meaning in _ALONE)
    ):
        return words
    return next((role for role, meaning in _ROLES.items() if says(words, meaning)), words)


def _with_ends(heads: dict[str, object]) -> dict[str, object]:
    """The heads, with start and stop where only centre and span are said."""
    for unit in (" hz", ""):
        centre, span = heads.get(f"centre{unit}"), heads.get(f"span{unit}")
        if isinstance(centre, float) and isinstance(span, float) and f"start{unit}" not in heads:
            return {**heads, f"start{unit}": centre - span / 2, f"stop{unit}": centre + span / 2}
    return heads


def _check_points(heads: dict[str, object], count: int, path: Path) -> None:
    stated = next((value for words, value in heads.items() if says(words, "axis-points")), None)
    if isinstance(stated, float) and stated != count:
        raise InputError(f"it states {stated:g} points, and {count} levels follow", path=path)


def _level_words(above: Sequence[str]) -> str:
    """The heading above the levels, or the nearest line that names their unit."""
    return next((line for line in reversed(above) if level_unit_named(line) is not None), "")
