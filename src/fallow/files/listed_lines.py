"""Lines of a file that lists levels below each other, parted into blocks: what stands above, then the levels.

A block begins where a line says where frequencies start. From its first level to its last each line is one level,
or stands plainly for one that is missing; any other line between levels is refused with its number, because the
levels behind it would move to wrong frequencies.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.records import plain_words
from fallow.files.source import Line
from fallow.files.wording import (
    FREQUENCY_FACTORS_HZ,
    frequency_unit_named,
    level_unit_named,
    quoted,
    says,
    says_not_measured,
)

__all__ = [
    "FEWEST_LEVELS",
    "MOST_ABOVE",
    "ListedBlock",
    "blocks_of",
    "heads_above",
    "is_number",
    "states_number",
    "tells_start",
]

FEWEST_LEVELS = 20
MOST_ABOVE = 1_000  # lines; a text that tells no start within them is no such file

_HEAD = re.compile(r"\s*[#!%/*;]*\s*[\"']?([^:=;,\t|]{1,60}?)[\"']?\s*[:=;,\t|]\s*[\"']?([^\"']*?)[\"']?\s*[;,\t]*\s*")
_BARE_HEAD = re.compile(r"\s*[#!%/*;]*\s*([^\W\d][^\d:=;,\t|]{1,40}?)\s+(-?\d[\d.,]*\s*[kMG]?Hz)\s*", re.IGNORECASE)
_NUMBER = re.compile(r"(-?\d{1,15}(?:[.,]\d{1,15})?(?:[eE][-+]?\d{1,2})?)[\s;,\t]*([kMG]?Hz)?", re.IGNORECASE)
_WITH_UNIT = re.compile(r"(-?\d[\d.,]*(?:[eE][-+]?\d{1,2})?)\s*([^\W\d][^\d;,\t]{0,8})")
_COUNTED = re.compile(r"\s*(\d{1,7})\s*(?:[;,\t ]\s*(\S.*?))?\s*")
_RULE = re.compile(r"\s*([-*_.=])\1{3,}\s*")
_UNITS = frozenset(unit.lower() for unit in FREQUENCY_FACTORS_HZ)
_ROLES = {
    "step": "axis-step",
    "span": "axis-span",
    "centre": "axis-centre",
    "start": "lower-edge",
    "stop": "upper-edge",
}
_ALONE = ("axis-step", "axis-span", "axis-centre")  # words that say enough without a unit


@dataclass(frozen=True, eq=False)
class ListedBlock:
    """Levels and the lines above them. ``levels``: as written, NaN where a line stands for a missing one, shape
    (level,). ``blanks``: of these the ones whose line is blank, same shape. ``first_line``: of the first level,
    whose text is ``first_text``. ``heads``: what is said above, frequencies in hertz where a unit stands with them.
    ``below``: the text behind the levels, and ``below_line`` its line.
    """

    above: tuple[str, ...]
    heads: dict[str, object]
    levels: NDArray[np.float64]
    blanks: NDArray[np.bool_]
    first_line: int
    first_text: str
    below: str = ""
    below_line: int = 0


def blocks_of(lines: Sequence[Line], decimal: str | None, path: Path) -> tuple[ListedBlock, ...]:
    """The blocks of a file; none where no line says where frequencies start, or no level follows it. One with fewer
    than ``FEWEST_LEVELS`` numbers has no heads, and all its levels are NaN.

    Raises InputError, with its line, for a line between levels that is neither a level nor stands for one.
    """
    parts = _parted(lines, decimal)
    blocks: list[ListedBlock] = []
    common: dict[str, object] = {}  # what stands above the first block holds for the next ones too
    for part in parts:
        block = _block(part, decimal, common, path)
        if block is not None:
            blocks.append(block)
            common = {words: value for words, value in block.heads.items() if not _is_of_axis(words)}
    return tuple(blocks)


def _parted(lines: Sequence[Line], decimal: str | None) -> list[list[Line]]:
    """The lines, cut where frequencies start anew behind levels."""
    parts: list[list[Line]] = [[]]
    started = levels = False
    for line in lines:
        if not started and line.number > MOST_ABOVE:
            break
        if _number(line.text, decimal) is not None or _is_pair(line.text, decimal):
            levels = started
        elif _starts(line.text):
            if levels:
                parts.append([])
                levels = False
            started = True
        parts[-1].append(line)
    return parts if started else []


def _is_pair(text: str, decimal: str | None) -> bool:
    match = _COUNTED.fullmatch(text.rstrip(" ;,\t"))
    return match is not None and bool(match[2]) and _stands(match[2], decimal)


def _starts(text: str) -> bool:
    head = _head(text)
    return head is not None and isinstance(head[1], float) and _is_of_axis(head[0])


def _is_of_axis(words: str) -> bool:
    return words.removesuffix(" hz") in _ROLES or says(words, "axis-points")


def _block(part: Sequence[Line], decimal: str | None, common: dict[str, object], path: Path) -> ListedBlock | None:
    last_head = max((k for k, line in enumerate(part) if _starts(line.text)), default=-1)
    below_head = range(last_head + 1, len(part))
    counted = _is_counted([part[k].text for k in below_head if part[k].text.strip()], decimal)
    cells = [_cell(part[k].text, counted) for k in below_head]
    decimal = decimal or _decimal_mark(cells)
    numbers = [k for k, cell in enumerate(cells) if cell is not None and _number(cell, decimal) is not None]
    if last_head < 0 or not numbers:
        return None
    if len(numbers) < FEWEST_LEVELS:  # perhaps no levels at all: what stands between them is no fault
        begin = part[last_head + 1 + numbers[0]]
        nothing = np.full(len(numbers), np.nan)
        return ListedBlock((), {}, nothing, np.zeros(nothing.shape, dtype=np.bool_), begin.number, begin.text)
    first, end = _extent(part[last_head + 1 :], cells, numbers)
    run = part[last_head + 1 + first : last_head + 1 + end]
    levels = _levels(run, cells[first:end], decimal, path)
    if counted:
        _check_counts(run, path)
    lines_above = part[: last_head + 1 + first]
    above = tuple(line.text for line in lines_above)
    heads = {**common, **heads_above(lines_above)}
    blanks = np.array([not line.text.strip() for line in run])
    below = next((line for line in part[last_head + 1 + end :] if line.text.strip()), Line(0, ""))
    return ListedBlock(above, heads, levels, blanks, run[0].number, run[0].text, below.text, below.number)


def _decimal_mark(cells: Sequence[str | None]) -> str | None:
    """The decimal mark of the first level that has one."""
    levels = (cell for cell in cells if cell is not None and _number(cell, None) is not None)
    return next((mark for cell in levels for mark in ".," if mark in cell.strip().rstrip(",;")), None)


def _extent(lines: Sequence[Line], cells: Sequence[str | None], numbers: Sequence[int]) -> tuple[int, int]:
    """From the first line that is a level, or stands for one, to behind the last."""

    def stands(k: int) -> bool:
        cell = cells[k]
        return bool(lines[k].text.strip()) and cell is not None and says_not_measured(cell)

    first, end = numbers[0], numbers[-1] + 1
    while first > 0 and stands(first - 1) and not _RULE.fullmatch(lines[first - 1].text):
        first -= 1
    while end < len(lines) and stands(end):
        end += 1
    return first, end


def _levels(run: Sequence[Line], cells: Sequence[str | None], decimal: str | None, path: Path) -> NDArray[np.float64]:
    levels = []
    for line, cell in zip(run, cells, strict=True):
        number = None if cell is None else _number(cell, decimal)
        if number is None and not (cell is not None and says_not_measured(cell)):
            raise InputError(
                f"{quoted(line.text[:60])} stands between levels and is none, so the frequencies of those behind it "
                f"are not sure",
                path=path,
                line=line.number,
                hint="take the line out, or where it stands for one level write --- in its place",
            )
        levels.append(math.nan if number is None else number)
    return np.array(levels, dtype=np.float64)


# --- levels behind a count ---


def _is_counted(texts: Sequence[str], decimal: str | None) -> bool:
    """Whether levels stand behind 0, 1, 2 … or 1, 2, 3 …: the first three that look so."""
    pairs = (match for text in texts if (match := _COUNTED.fullmatch(text)) and match[2])
    counts = [int(match[1]) for match, _ in zip(pairs, range(3), strict=False) if _stands(match[2], decimal)]
    return counts in ([0, 1, 2], [1, 2, 3])


def _stands(cell: str, decimal: str | None) -> bool:
    return _number(cell, decimal) is not None or says_not_measured(cell)


def _cell(text: str, counted: bool) -> str | None:
    """What stands for the level in a line; ``None`` where a count is missing."""
    if not counted or not text.strip():
        return text
    match = _COUNTED.fullmatch(text.rstrip(" ;,\t"))
    return None if match is None else match[2] or ""


def _check_counts(run: Sequence[Line], path: Path) -> None:
    """Raises InputError where a count leaves something out or comes twice."""
    before: int | None = None
    for line in run:
        match = _COUNTED.fullmatch(line.text)
        if match is None or not line.text.strip():
            continue
        count = int(match[1])
        if count != (before + 1 if before is not None else count) or (before is None and count > 1):
            what = f"its levels are counted, and {count} follows {'nothing' if before is None else before}"
            raise InputError(what, path=path, line=line.number)
        before = count


# --- single lines ---


def is_number(cell: str, decimal: str | None) -> bool:
    """Whether a cell is a level: a number alone or with a unit of levels, with no other decimal mark than stated."""
    return _number(cell, decimal) is not None


def tells_start(lines: Sequence[Line]) -> bool:
    """Whether one of the first lines says where frequencies start."""
    return any(_starts(line.text) for line in lines[:MOST_ABOVE])


def states_number(text: str) -> bool:
    """Whether a line says the number of something, such as a start."""
    head = _head(text)
    return head is not None and isinstance(head[1], float)


def heads_above(lines: Sequence[Line]) -> dict[str, object]:
    """What the lines say, frequencies in hertz where a unit stands with them."""
    return dict(found for line in lines if (found := _head(line.text)) is not None)


def _number(cell: str, decimal: str | None) -> float | None:
    """A number that stands alone, or with a unit of levels; ``None`` for anything else."""
    bare = cell.strip().rstrip(",;\t").strip().strip("\"'")
    match = _NUMBER.fullmatch(bare)
    if match is None:
        match = _WITH_UNIT.fullmatch(bare)
        if match is None or level_unit_named(match[2]) is None:
            return None
    elif match[2] is not None:
        return None
    if decimal is not None and (set(match[1]) & {".", ","}) - {decimal}:
        return None
    try:
        return float(match[1].replace(",", "."))
    except ValueError:
        return None


def _head(text: str) -> tuple[str, object] | None:
    """What a line says, as words and value: in hertz where a unit stands with it, else the bare number or the text."""
    match = _HEAD.fullmatch(text) or _BARE_HEAD.fullmatch(text)
    if match is None or not match[2]:
        return None
    number = _NUMBER.fullmatch(match[2])
    unit = frequency_unit_named((number and number[2]) or match[1])
    words = _role(match[1], named=unit is not None)
    if number is None:
        return words, match[2]
    value = float(number[1].replace(",", "."))
    return (f"{words} hz", value * FREQUENCY_FACTORS_HZ[unit]) if unit is not None else (words, value)


@lru_cache(maxsize=1000)
def _role(key: str, *, named: bool) -> str:
    """The key in plain words; what it says of the frequencies in one word of ours, whatever its language."""
    words = " ".join(word for word in plain_words(key).split() if word not in _UNITS)
    if (
        any(says(key, other) for other in ("time", "date"))
        or level_unit_named(key) is not None
        or not (named or says(key, "frequency") or words in _ROLES or any(says(words, meaning) for meaning in _ALONE))
    ):
        return words
    return next((role for role, meaning in _ROLES.items() if says(words, meaning)), words)
