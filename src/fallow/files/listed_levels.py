"""Levels listed one below the other, perhaps counted, under lines that say where they start and how far they go.

There is no column of frequencies, so each level's frequency hangs on how many levels there are. Their number is
checked against the stated points, or the stated step; where neither is stated, only a step that is a round number
is believed, and it is told. Several such blocks below each other are sweeps of their own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.axes import plausible_units
from fallow.files.json_records import extent_by_heads, frequencies_by_heads
from fallow.files.levels import can_be_levels
from fallow.files.listed_lines import FEWEST_LEVELS, ListedBlock, blocks_of, heads_above, is_number
from fallow.files.listed_rows import ListedRows, rows_of
from fallow.files.readings import FileReading, NotASweepError, Telling
from fallow.files.records import Record, reading_of_records
from fallow.files.source import Line, TextFile
from fallow.files.wording import FREQUENCY_FACTORS_HZ, frequency_unit_named, level_unit_named, quoted, says
from fallow.spectrum.sweep import Series
from fallow.units import format_span_mhz

__all__ = ["read_listed", "why_not_listed"]

_MOST_CHARACTERS = 2**23
_FEWEST_IN_A_ROW = 4  # of numbers that go on row by row; fewer are rather traces. Common practice
_STEP_DIGITS = 0.01  # by so much of itself a step that is stated beside the points may be rounded
_ROUND = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 6.25, 7.5, 8.0)  # steps, by powers of ten. Common practice
_THIRD = 25 / 3  # three steps in a channel of 25 kHz (ICAO Annex 10 vol. V, from memory)
_ROUND_ERROR = 1e-4  # of a step: start and stop are printed with few digits


def read_listed(file: TextFile, telling: Telling) -> FileReading | None:
    """The sweeps of such a file; ``None`` where it is none. Raises InputError, with the line, where its heads and its
    levels contradict each other, or leave open how many levels there are.
    """
    if file.size > _MOST_CHARACTERS:
        return None
    lines, is_cut = _lines(file)
    lines, notes = _without_cut_level(lines) if is_cut else (lines, [])
    found = _Found(file, telling, notes, is_cut)
    rows = rows_of(lines, telling.decimal)
    if not found.listed(lines):
        return None if rows is None else found.reading_of_rows(rows)
    if rows is not None and telling.decimal is None and rows.may_be_decimals:
        first = rows.lines[min(rows.cells)]
        what = f"{quoted(first.text)} may be numbers with a decimal comma, or {rows.width} numbers"
        raise InputError(what, path=file.path, line=first.number, hint="--decimal tells the decimal mark")
    return found.reading([("", lines)])


def why_not_listed(lines: Sequence[Line]) -> tuple[str, int, str] | None:
    """Why numbers that stand below each other are no levels under their start and stop: the reason, the line of the
    first, and what to do. ``None`` where there are too few of them.
    """
    numbers = [k for k, line in enumerate(lines) if is_number(line.text, None)]
    if len(numbers) < FEWEST_LEVELS:
        return None
    start, stop, step = extent_by_heads(_rising(heads_above(lines[: numbers[0]]))[0])
    if start is None:
        what = "nothing above them says where they start and how far they go"
    elif stop is None and step is None:
        what = "above them stands a start, and neither a stop nor a step"
    else:
        what = "what stands above them makes no frequencies of them"
    hint = "write above them where they start and stop, as in 'Start: 470 MHz' and 'Stop: 608 MHz'"
    return f"its numbers stand below each other, and {what}", lines[numbers[0]].number, hint


@dataclass(frozen=True, eq=False)
class _Found:
    """A file in which levels may be listed. ``notes``: what is to be said of it whichever way it is read.
    ``is_cut``: its last line has no end.
    """

    file: TextFile
    telling: Telling
    notes: Sequence[str]
    is_cut: bool

    def listed(self, lines: Sequence[Line]) -> bool:
        """Whether lines hold levels below each other, under their start and stop."""
        blocks = blocks_of(lines, self.telling.decimal, self.file.path)
        return bool(blocks) and _is_listed(blocks[0])

    def reading(
        self, traces: Sequence[tuple[str, Sequence[Line]]], note: str = "", *, one_short: bool = False
    ) -> FileReading:
        """The reading of traces: the name of each, and its lines. ``one_short``: with one level more, all rows would be
        full. Raises InputError.
        """
        path, records, notes = self.file.path, list[Record](), [*self.notes, note]
        for name, lines in traces:
            blocks = blocks_of(lines, self.telling.decimal, path)
            _check_units(blocks[0], self.telling, path)
            _check_alike(blocks, path)
            records += [_record(block, notes, path, self.telling, name) for block in blocks]
            if self.is_cut or one_short:
                _check_end(records[-1], blocks[-1], path)
        layout = "levels listed under their start and stop" + (f", {len(traces)} traces" if len(traces) > 1 else "")
        reading = reading_of_records(records, layout, path, self.telling)
        told = (_told(series) for series in reading.series)
        every = dict.fromkeys(said for said in (*told, *notes, *reading.notes) if said)
        return replace(reading, encoding=self.file.encoding, notes=tuple(every))

    def reading_of_rows(self, rows: ListedRows) -> FileReading | None:
        """Rows of several levels as traces side by side or as one trace; ``None`` where they are neither. Raises
        InputError where they may be either, or contradict what is said above them.
        """
        path = self.file.path
        one, count = rows.row_by_row, len(rows.cells)
        ways: list[Callable[[], FileReading | None]] = []
        ways += [] if rows.says_columns else [lambda: self._whole([("", one(path))], rows)]
        ways += [lambda: self._traces(rows)] if count >= FEWEST_LEVELS else []
        readings, doubts = list[FileReading](), list[InputError]()
        for way in ways:
            try:
                reading = way()
            except InputError as error:
                doubts.append(error)
            else:
                readings += [] if reading is None else [reading]
        if len(readings) > 1:
            what = (
                f"{count} rows of {rows.width} levels each may be {rows.width} traces, or one that goes on row by row"
            )
            hint = f"write how many they are in a line above them, as in 'Points: {count}', or head each column"
            raise InputError(what, path=path, line=rows.lines[min(rows.cells)].number, hint=hint)
        if not readings and doubts:
            raise doubts[-1 if rows.width < _FEWEST_IN_A_ROW else 0]
        return readings[0] if readings else None

    def _traces(self, rows: ListedRows) -> FileReading | None:
        """Columns as traces. Raises InputError where neither headings nor a stated number of levels say so."""
        traces = list(rows.traces(self.file.path))
        heads = heads_above(rows.lines[: min(rows.cells)])
        if not rows.says_columns and _points(heads) is None and extent_by_heads(heads)[2] is None:
            what = (
                f"{len(rows.cells)} rows of {rows.width} levels each stand under a start and a stop, and nothing says"
            )
            raise InputError(
                f"{what} whether they are {rows.width} traces, or one that goes on row by row",
                path=self.file.path,
                line=rows.lines[min(rows.cells)].number,
                hint=f"write how many they are in a line above them, as in 'Points: {len(rows.cells)}'",
            )
        return self._whole(traces)

    def _whole(
        self, traces: Sequence[tuple[str, Sequence[Line]]], rows: ListedRows | None = None
    ) -> FileReading | None:
        if not traces or not all(self.listed(lines) for _, lines in traces):
            return None
        return (
            self.reading(traces) if rows is None else self.reading(traces, _row_by_row(rows), one_short=rows.one_short)
        )


def _row_by_row(rows: ListedRows) -> str:
    held = "in one row" if len(rows.cells) == 1 else f"in rows of {rows.width}"
    return f"its levels stand one behind the other, {held}"


def _lines(file: TextFile) -> tuple[list[Line], bool]:
    """The lines of a file, and whether its last line has no end."""
    parts = list(file.blocks(_MOST_CHARACTERS))
    texts = "".join(part.text for part in parts).splitlines()
    return [Line(number, text) for number, text in enumerate(texts, 1)], bool(parts) and parts[-1].cut


def _without_cut_level(lines: Sequence[Line]) -> tuple[list[Line], list[str]]:
    """The lines of a file that ends without a line's end: a level that was cut off there is not measured, with a
    note.
    """
    *_, before, last = (Line(0, ""), *lines)
    cells, usual = _cells(last.text), (*_cells(before.text), *_cells(last.text)[:-1])
    if not cells or not usual or not _is_cut(cells[-1], usual[-1] if len(cells) > 1 else usual[0]):
        return [*lines], []
    whole = last.text.rstrip().removesuffix(cells[-1])
    return [*lines[:-1], Line(last.number, f"{whole}---")], ["the last line is cut off: its level was not measured"]


def _cells(text: str) -> list[str]:
    """What stands in a line, parted by what parts numbers; a comma between digits alone is a decimal mark."""
    parts = [";", "\\t", "|", " ", *([","] if "." in text or text.count(",") > 1 else [])]
    return [cell for cell in re.split(f"[{''.join(parts)}]+", text.strip()) if re.match(r"-?[.,\d]|-$", cell)]


def _is_cut(last: str, before: str) -> bool:
    """Whether a level has fewer decimals than the one before it, or without decimals fewer figures."""
    decimals, usual = (re.search(r"[.,](\d*)$", text) for text in (last, before))
    if usual is None:
        return len(last) < len(before)
    return decimals is None or len(decimals[1]) < len(usual[1])


def _is_listed(block: ListedBlock) -> bool:
    finite = block.levels[np.isfinite(block.levels)]
    if finite.size < FEWEST_LEVELS or not can_be_levels(finite):
        return False
    return frequencies_by_heads(_rising(block.heads)[0], block.levels.size) is not None


def _check_units(block: ListedBlock, telling: Telling, path: Path) -> None:
    """Any list may have a start and a stop. Raises NotASweepError where no unit says what they are of."""
    start, *others = extent_by_heads(_rising(block.heads)[0])
    named = [part is not None and frequency_unit_named(part[0]) is not None for part in (start, *others)]
    if not (any(named) or _level_words(block) or telling.unit or telling.level_unit):
        raise NotASweepError(
            f"{block.levels.size} numbers stand in it under a start, and no unit says that they are levels",
            path=path,
            line=block.first_line,
            hint="--unit MHz tells the unit of start and stop, --level-unit that of the levels",
        )
    step = others[1]
    if named[0] and step is not None and not named[2] and step[1] < FREQUENCY_FACTORS_HZ["kHz"]:
        raise InputError(f"its step is {step[1]:g}, and no unit stands with it", path=path, hint="write, say, 25 kHz")


def _check_alike(blocks: Sequence[ListedBlock], path: Path) -> None:
    """Raise InputError where blocks of one start and stop differ in how many levels they have: one is not whole."""
    first: dict[object, ListedBlock] = {}
    for block in blocks:
        start, stop, step = extent_by_heads(block.heads)
        same = first.setdefault((start, stop, step, block.heads.get("points")), block)
        if stop is not None and same.levels.size != block.levels.size:
            what = f"{block.levels.size} levels stand from here on and {same.levels.size} in the block above"
            hint = f"which begins in line {same.first_line}; take the one out that is not whole"
            raise InputError(f"{what}, between the same start and stop", path=path, line=block.first_line, hint=hint)


def _record(block: ListedBlock, notes: list[str], path: Path, telling: Telling, trace: str) -> Record:
    """A block's levels on their frequencies; what is to be said of it is added to ``notes``."""
    heads, falling = _rising(block.heads)
    doubt: InputError | None = None
    for levels in _possible(block):
        found = frequencies_by_heads(heads, levels.size)
        if found is None or levels.size < FEWEST_LEVELS or not can_be_levels(levels[np.isfinite(levels)]):
            what = f"{levels.size} numbers stand from here on, and what is above them makes no sweep of them"
            raise InputError(what, path=path, line=block.first_line)
        frequencies, words = found
        try:
            notes += [*_checked(block, heads, levels, _Grid.of(frequencies, heads, telling), path), *_below(block)]
        except InputError as error:
            doubt = doubt or error
        else:
            return Record(
                frequencies,
                levels[::-1] if falling else levels,
                heads,
                words,
                f"{_level_words(block)} {trace}".strip(),
                trace,
            )
    raise doubt or InputError("no levels stand below its heads", path=path)


def _check_end(record: Record, block: ListedBlock, path: Path) -> None:
    """Raise InputError where the levels before an end that is in doubt are one fewer than points would be."""
    start, _, step = extent_by_heads(record.heads)
    if start is not None and record.frequencies[0] > start[1] and _points(record.heads) is None:
        count = len(record.frequencies)
        raise InputError(
            f"{count} levels stand between its start and stop, {count + 1} would be points with a step that is "
            f"{'stated' if step else 'round'}, and its last line is not whole: a level may be missing",
            path=path,
            line=block.first_line,
            hint=f"if none is, write how many they are in a line above them, as in 'Points: {count}'",
        )


def _possible(block: ListedBlock) -> tuple[NDArray[np.float64], ...]:
    """The levels with blank lines as missing ones, and without them; where every other line is blank they part only."""
    dense = block.levels[~block.blanks]
    blanks = block.levels.size - dense.size
    if not blanks:
        return (dense,)
    return (dense,) if blanks >= dense.size - 1 else (block.levels, dense)


def _rising(heads: dict[str, object]) -> tuple[dict[str, object], bool]:
    """The heads with a start below the stop, also where only centre and span are said; whether they stood the other
    way round.
    """
    for unit in (" hz", ""):
        centre, span = heads.get(f"centre{unit}"), heads.get(f"span{unit}")
        if isinstance(centre, float) and isinstance(span, float) and f"start{unit}" not in heads:
            heads = {**heads, f"start{unit}": centre - span / 2, f"stop{unit}": centre + span / 2}
    for unit in (" hz", ""):
        start, stop, step = (heads.get(f"{name}{unit}") for name in ("start", "stop", "step"))
        if isinstance(start, float) and isinstance(stop, float) and start > stop:
            step = {f"step{unit}": abs(step)} if isinstance(step, float) else {}
            return {**heads, f"start{unit}": stop, f"stop{unit}": start, **step}, True
    return heads, False


# --- how many levels there are ---


def _points(heads: Mapping[str, object]) -> float | None:
    stated = (value for words, value in heads.items() if says(words, "axis-points"))
    return next((value for value in stated if isinstance(value, float)), None)


def _checked(
    block: ListedBlock,
    heads: dict[str, object],
    levels: NDArray[np.float64],
    grid: _Grid,
    path: Path,
) -> Iterator[str]:
    """Notes on how the number of levels was checked. Raises InputError where it can't be right."""
    count, points = levels.size, _points(heads)
    if points is not None and points != count:
        what = f"it states {points:g} points, and {count} levels follow"
        raise InputError(what, path=path, line=block.first_line)
    missing = int(np.count_nonzero(np.isnan(levels)))
    if missing:
        levels_told = "1 of its levels is" if missing == 1 else f"{missing} of its levels are"
        yield f"{levels_told} missing: not measured there"
    start, stop, step = extent_by_heads(heads)
    if start is None or stop is None:
        yield "no stop and no points are stated: that none of its levels is missing can't be checked"
        return
    if step is not None:
        _check_step(block, stop[1] - start[1], step[1], count, points, path)
        if points is None and grid.frequencies[0] != start[1]:
            yield "its levels are taken as cells between start and stop: as points, one of them would be missing"
    elif points is None:
        yield _concluded_step(block, grid, start[1], path)


def _check_step(block: ListedBlock, span: float, step: float, count: int, points: float | None, path: Path) -> None:
    """Raises InputError where so many levels don't fill the span, as points or as cells, with the stated step."""
    steps = span / step if step > 0 else np.inf
    allowed = max(0.5, _STEP_DIGITS * steps) if points is not None else 0.5
    if min(abs(steps - (count - 1)), abs(steps - count)) > allowed:
        what = f"its start, stop and step make {steps + 1:.6g} levels, and {count} follow"
        raise InputError(what, path=path, line=block.first_line, hint="was the file cut off, or a level lost in it?")


@dataclass(frozen=True)
class _Grid:
    """Frequencies of a block's levels, shape (level,), in ``unit``, which is ``None`` where it is open."""

    frequencies: Sequence[float]
    unit: str | None

    @classmethod
    def of(cls, frequencies: Sequence[float], heads: dict[str, object], telling: Telling) -> _Grid:
        """In hertz where a unit stands with the start, else in the unit that is told, or that alone is possible."""
        start = extent_by_heads(heads)[0]
        if start is not None and frequency_unit_named(start[0]) is not None:
            return cls(frequencies, "Hz")
        step = frequencies[1] - frequencies[0]
        possible = plausible_units(frequencies[0], frequencies[-1], step)
        return cls(frequencies, telling.unit or (possible[0] if len(possible) == 1 else None))

    @property
    def step(self) -> float:
        """From one to the next, in the same unit."""
        return (self.frequencies[-1] - self.frequencies[0]) / (len(self.frequencies) - 1)

    @property
    def step_told(self) -> str:
        """For people, with its unit where that is known."""
        factor = next((hz for name, hz in FREQUENCY_FACTORS_HZ.items() if name.lower() == str(self.unit).lower()), None)
        if factor is None:
            return f"{self.step:.9g}"
        step_hz, khz = self.step * factor, FREQUENCY_FACTORS_HZ["kHz"]
        return f"{step_hz / khz:.9g} kHz" if step_hz >= khz else f"{step_hz:.9g} Hz"


def _concluded_step(block: ListedBlock, grid: _Grid, start: float, path: Path) -> str:
    """The note on the step that follows from start, stop and the number of levels. Raises InputError for one that
    nobody would choose: then the number of levels is in doubt.
    """
    count = len(grid.frequencies)
    if not _is_round(grid.step, count):
        raise InputError(
            f"{count} levels between its start and stop would lie {grid.step_told} apart, which is no round number, "
            f"and neither points nor step are stated: a level may be missing",
            path=path,
            line=block.first_line,
            hint="if none is, write how many they are in a line above them, as in 'Points: 401'",
        )
    taken = "" if grid.frequencies[0] == start else ", taken as cells between start and stop"
    return f"neither points nor step are stated: a step of {grid.step_told} follows from {count} levels{taken}"


def _is_round(step: float, count: int) -> bool:
    """Whether the trade writes such steps; start and stop may be rounded by a tenth of a step, or 1 in 10,000."""
    error = min(_ROUND_ERROR, 0.1 / count)
    leading = step / 10.0 ** np.floor(np.log10(step) + error)
    return any(abs(leading - value) <= error * value for value in (*_ROUND, _THIRD))


# --- how it is told ---


def _told(series: Series) -> str:
    span = format_span_mhz(*(round(float(series.axis.centres_hz[end])) for end in (0, -1)))
    return f"frequencies by what stands above the levels: {series.axis.n} from {span}"


def _below(block: ListedBlock) -> Iterator[str]:
    if block.below:
        yield f"what stands below the levels was not used: {quoted(block.below[:60])} in line {block.below_line}"


def _level_words(block: ListedBlock) -> str:
    """The heading above the levels, or the nearest line that names their unit; else the first level, with its own."""
    lines = (*reversed(block.above), block.first_text)
    return next((line for line in lines if level_unit_named(line) is not None), "")
