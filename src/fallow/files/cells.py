"""The body of a text file as arrays, block by block, once its plan is known: a quick way, and a plain way that knows
every place.

The quick way hands a block to pyarrow. Whatever pyarrow stumbles over is read once more by the plain way, cell by
cell, which either understands it (a heading repeated, a gap, a unit behind a number) or says in which line and column
it fails.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.dialect import is_comment
from fallow.files.numbers import Number, decimals_of
from fallow.files.plan import MATRIX, WIDE_ROWS, Plan
from fallow.files.source import Block, TextFile
from fallow.files.wording import FREQUENCY_FACTORS_HZ, frequency_unit_named, says_not_measured

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["Rows", "read_rows"]

_GAP_WORDS = [
    "",
    "NaN",
    "nan",
    "NAN",
    "-",
    "--",
    "---",
    "----",
    "N/A",
    "n/a",
    "NA",
    "null",
    "None",
    "none",
    "inf",
    "-inf",
]
_BLOCK_BYTES = 2**20  # at a time through the parser
_FLAT_FROM_COLUMNS = 8  # from so many columns on, one long column parses quicker than many short ones
_WORDS_LINE = re.compile(r"^(?=[^\d\s+\-.,\"'])(?!(?i:nan|na|n/a|null|none|inf)\b)[^\n]*\n", re.MULTILINE)
_BLANK_LINE = re.compile(r"^[ \t]*\n", re.MULTILINE)
_RUN_OF_BLANKS = re.compile(r"[ \t]+")
_EDGE_BLANKS = re.compile(r"^ | (?=\n)", re.MULTILINE)


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows of one block.

    ``frequencies``: [as printed, in the plan's unit], float64, shape (row,), or ``None`` in a matrix. ``levels``: [as
    printed], float64 or float32, shape (row, column), NaN where not measured. ``stamp``: the times of a row as text,
    by its number here. ``cut``: the last row was cut off. ``line``: of the first row, for messages. ``edges``: lower
    edge, upper edge and step of wide rows, shape (row, 3), else ``None``. ``widths``: where a row says both edges of
    its cell and ``frequencies`` are the middles, how wide it is, shape (row,).
    """

    frequencies: NDArray[np.float64] | None
    levels: NDArray[np.floating]
    stamp: Callable[[int], str]
    cut: bool
    line: int
    edges: NDArray[np.float64] | None = None
    widths: NDArray[np.float64] | None = None


def read_rows(file: TextFile, plan: Plan, progress: Callable[[float], None] | None = None) -> Iterator[Rows]:
    """The rows of a file from the plan's first line on. Raises InputError with line and column where a cell can't be
    read."""
    for block in file.blocks(progress=progress):
        text, line = _from_line(block, plan.first_line)
        if not text:
            continue
        body, last = _without_last(text) if block.cut else (text, "")
        if body:
            yield _quick(body, plan, line) or _plain(body, plan, line, file)
        if last:
            yield _last_row(last, plan, line + body.count("\n"), file)


def _from_line(block: Block, first: int) -> tuple[str, int]:
    """The text of a block from a line on, and the number of the line that it then begins with."""
    if block.first_line >= first:
        return block.text, block.first_line
    start = 0
    for _ in range(first - block.first_line):
        start = block.text.find("\n", start) + 1
        if start == 0:
            return "", first
    return block.text[start:], first


def _without_last(text: str) -> tuple[str, str]:
    start = text.rfind("\n", 0, len(text) - 1) + 1
    return text[:start], text[start:]


# --- the quick way ---


def _quick(text: str, plan: Plan, line: int) -> Rows | None:
    """A block by pyarrow; ``None`` where it has to be read the plain way."""
    if plan.suffixed or plan.dialect.delimiter == plan.dialect.notation.decimal:
        return None
    plain = _rewritten(text, plan)
    if plain is None:
        return None
    rows = _parsed(plain, plan, line)
    if rows is not None:
        return rows
    without_words = _BLANK_LINE.sub(
        "", _WORDS_LINE.sub("", plain)
    )  # costs more than the parsing: only where it is needed
    return _parsed(without_words, plan, line) if 0 < len(without_words) < len(plain) else None


def _rewritten(text: str, plan: Plan) -> str | None:
    """Groups taken out, runs of blanks made one; ``None`` where that could change what a cell says."""
    dialect = plan.dialect
    for char in dialect.notation.groups:
        if char not in text:
            continue
        mark = rf"(?<=\d){re.escape(char)}(?=\d)"
        if plan.times or re.search(rf"{mark}(?!\d{{2,3}}(?!\d))", text):
            return None
        text = re.sub(mark, "", text)
    if dialect.delimiter == " ":
        text = _EDGE_BLANKS.sub("", _RUN_OF_BLANKS.sub(" ", text))
    return text if text.isascii() else None


def _parsed(text: str, plan: Plan, line: int) -> Rows | None:
    first = text[: text.find("\n")]
    if plan.layout == WIDE_ROWS or (plan.layout == MATRIX and plan.width >= _FLAT_FROM_COLUMNS):
        return (
            _parsed_flat(text, plan, line)
            if '"' not in text and plan.dialect.delimiter != plan.dialect.notation.decimal
            else None
        )
    fields = len(plan.dialect.cells(first)) if '"' in first else first.count(plan.dialect.delimiter) + 1
    return _parsed_columns(text, plan, line, fields) if fields >= plan.width else None


def _parsed_columns(text: str, plan: Plan, line: int, fields: int) -> Rows | None:
    import pyarrow as pa  # late: heavy, and only files of some size need it

    types = {str(place): _level_type(plan) for place in plan.levels} | {str(place): pa.string() for place in plan.times}
    edges = [str(place) for place in (plan.frequency, plan.upper) if place is not None]
    types |= {place: pa.float64() for place in edges}
    block_bytes = _BLOCK_BYTES if fields < _FLAT_FROM_COLUMNS else len(text)
    table = _columns_of(text, plan, [str(place) for place in range(fields)], types, block_bytes)
    if table is None:
        return None
    columns = [table.column(str(place)).to_numpy() for place in plan.levels]
    levels = columns[0].reshape(-1, 1) if len(columns) == 1 else np.column_stack(columns)
    ends = [table.column(place).to_numpy() for place in edges]
    if not all(np.all(np.isfinite(values)) for values in ends):
        return None
    frequencies, widths = _middles(ends)
    stamps = [table.column(str(place)) for place in plan.times]
    return Rows(
        frequencies, levels, lambda row: " ".join(str(stamp[row]) for stamp in stamps), False, line, widths=widths
    )


def _middles(
    ends: Sequence[NDArray[np.float64]],
) -> tuple[NDArray[np.float64] | None, NDArray[np.float64] | None]:
    """Frequencies and widths of cells by their lower and upper edges, of points by the only column there is."""
    if len(ends) < 2:
        return (ends[0] if ends else None), None
    widths = ends[1] - ends[0]
    return ends[0] + widths / 2, widths


def _parsed_flat(text: str, plan: Plan, line: int) -> Rows | None:
    """All levels of a matrix as one long column; what stands before and behind them is cut off row by row."""
    delimiter, lead, count = plan.dialect.delimiter, plan.levels[0], len(plan.levels)
    heads, tails = [], []
    for row in text.split("\n")[:-1]:
        parts = row.split(delimiter, lead)
        extra = row.count(delimiter) + 1 - lead - count
        if len(parts) <= lead or extra < 0 or (extra and row[-extra:].strip(delimiter + " ")):
            return None
        heads.append(parts[:lead])
        tails.append(parts[lead][: len(parts[lead]) - extra] if extra else parts[lead])
    levels = _one_column("\n".join(tails).replace(delimiter, "\n"), plan)
    edges = _edges_of(heads, plan) if plan.layout == WIDE_ROWS else None
    if levels is None or levels.size != len(tails) * count or (plan.layout == WIDE_ROWS and edges is None):
        return None
    return Rows(None, levels.reshape(-1, count), lambda row: stamp_of(heads[row], plan), False, line, edges)


def _one_column(text: str, plan: Plan) -> NDArray[np.floating] | None:
    """Levels that stand one on each line, empty lines being gaps; ``None`` where one is no number."""
    delimiter = ";" if plan.dialect.delimiter == "\t" else "\t"  # one that does not occur
    dialect = replace(plan.dialect, delimiter=delimiter)
    alone = replace(plan, dialect=dialect)
    table = _columns_of(f"{text}\n", alone, ["levels"], {"levels": _level_type(plan)}, _BLOCK_BYTES)
    if table is None:
        return None
    levels: NDArray[np.floating] = table.column(0).to_numpy()
    return levels


def _columns_of(
    text: str, plan: Plan, names: Sequence[str], types: Mapping[str, pa.DataType], block_bytes: int
) -> pa.Table | None:
    """Columns of a text by name, those that have a type; ``None`` where a cell is not of its type.

    The text is copied into memory that Arrow owns. Its threads still hold what they read when the table is there; if
    that were an object of Python's, one of them could be about to let go of it when the interpreter ends, and the
    interpreter ends such a thread in a destructor, which aborts the process. Blank lines count where they are gaps of
    a single column.
    """
    import pyarrow as pa  # late: heavy, and only files of some size need it
    from pyarrow import csv as pa_csv

    encoded = text.encode("ascii")
    owned = pa.allocate_buffer(len(encoded))
    memoryview(owned).cast("B")[:] = encoded
    dialect = plan.dialect
    try:
        return pa_csv.read_csv(
            pa.BufferReader(owned),
            read_options=pa_csv.ReadOptions(column_names=names, block_size=block_bytes, use_threads=False),
            parse_options=pa_csv.ParseOptions(
                delimiter=dialect.delimiter,
                quote_char='"' if '"' in text else False,
                ignore_empty_lines=len(names) > 1,
            ),
            convert_options=pa_csv.ConvertOptions(
                column_types=types,
                include_columns=list(types),
                null_values=_GAP_WORDS,
                decimal_point=dialect.notation.decimal,
            ),
        )
    except pa.ArrowInvalid:
        return None


def _edges_of(heads: Sequence[Sequence[str]], plan: Plan) -> NDArray[np.float64] | None:
    """Lower edge, upper edge and step of wide rows, shape (row, 3); ``None`` where one is no number."""
    number = plan.dialect.notation.number
    rows = [[number(head[plan.lead + place].strip()) for place in range(3)] for head in heads]
    if any(cell is None for row in rows for cell in row):
        return None
    return np.array([[cell.value for cell in row if cell is not None] for row in rows], dtype=np.float64)


def _level_type(plan: Plan) -> pa.DataType:
    """Decibels need no more than float32; linear power is turned into decibels first."""
    import pyarrow as pa  # late: heavy, and only files of some size need it

    return pa.float64() if plan.scale.linear else pa.float32()


def stamp_of(cells: Sequence[str], plan: Plan) -> str:
    """The times of a row as one text."""
    return " ".join(cells[place].strip() for place in plan.times)


# --- the plain way ---


def _plain(text: str, plan: Plan, line: int, file: TextFile) -> Rows:
    reader = _PlainReader(plan, file)
    for offset, row in enumerate(text.split("\n")[:-1]):
        reader.add(row, line + offset)
    return reader.rows(line, cut=False)


def _last_row(text: str, plan: Plan, line: int, file: TextFile) -> Rows:
    """The last line of a file that does not end there: kept as far as it is whole."""
    reader = _PlainReader(plan, file)
    cut = reader.add_cut(text.rstrip("\n"), line)
    return reader.rows(line, cut=cut)


class _PlainReader:
    """Collects rows cell by cell."""

    def __init__(self, plan: Plan, file: TextFile) -> None:
        self.plan = plan
        self.file = file
        self.frequencies: list[float] = []
        self.levels: list[list[float]] = []
        self.edges: list[list[float]] = []
        self.widths: list[float] = []
        self.stamps: list[str] = []

    def add(self, text: str, line: int) -> None:
        """One whole line; comments, blank lines and headings are passed over."""
        plan = self.plan
        cells = plan.dialect.cells(text)
        if is_comment(text) and not self._has_numbers(cells):
            return
        if not self._has_numbers(cells):
            if self._is_gap(cells):
                raise self._error("the row has no frequency", line)
            return
        if self._is_header(cells):
            return
        if len(cells) < plan.width:
            cells = self._filled(cells, line)
        if any(cells[plan.width :]):
            raise self._error(f"the row has {len(cells)} cells where {plan.width} were expected", line)
        self._keep(cells, [self._level(cells[place], line, place) for place in plan.levels], line)

    def add_cut(self, text: str, line: int) -> bool:
        """The last line, which may have been cut off; tells whether it was."""
        plan = self.plan
        cells = plan.dialect.cells(text)
        whole = len(cells) - 1 if len(cells) < plan.width or not self._looks_whole(cells) else len(cells)
        if whole >= plan.width:
            self.add(text, line)
            return False
        before = plan.levels[0] if plan.layout == WIDE_ROWS else self._behind_frequency()
        if not self._has_numbers(cells) or whole < before:
            return self._has_numbers(cells)
        kept = cells[:whole] + ("",) * (plan.width - whole)
        self._keep(kept, [self._level(kept[place], line, place) for place in plan.levels], line)
        return True

    def rows(self, line: int, *, cut: bool) -> Rows:
        """What was collected."""
        frequencies = None if self.plan.frequency is None else np.array(self.frequencies, dtype=np.float64)
        levels = np.array(self.levels, dtype=np.float64).reshape(len(self.levels), len(self.plan.levels))
        edges = np.array(self.edges, dtype=np.float64).reshape(-1, 3) if self.plan.layout == WIDE_ROWS else None
        widths = None if self.plan.upper is None else np.array(self.widths, dtype=np.float64)
        return Rows(frequencies, levels, self.stamps.__getitem__, cut, line, edges, widths)

    def _behind_frequency(self) -> int:
        """Cells that a row needs at least: as far as its frequencies stand."""
        plan = self.plan
        return 0 if plan.frequency is None else max(plan.frequency, plan.upper or 0) + 1

    def _keep(self, cells: Sequence[str], levels: list[float], line: int) -> None:
        if self.plan.frequency is not None:
            low = self._frequency(cells[self.plan.frequency], line)
            if self.plan.upper is not None:
                self.widths.append(self._frequency(cells[self.plan.upper], line) - low)
                low += self.widths[-1] / 2
            self.frequencies.append(low)
        if self.plan.layout == WIDE_ROWS:
            self.edges.append([self._frequency(cells[self.plan.lead + place], line) for place in range(3)])
        self.levels.append(levels)
        self.stamps.append(stamp_of(cells, self.plan))

    def _has_numbers(self, cells: Sequence[str]) -> bool:
        """Whether any cell that should be a number is one; a heading repeated in the middle has none."""
        places = self.plan.levels if self.plan.frequency is None else (self.plan.frequency, *self.plan.levels)
        return any(
            place < len(cells) and self.plan.dialect.notation.number(cells[place]) is not None for place in places
        )

    def _is_gap(self, cells: Sequence[str]) -> bool:
        return (
            len(cells) == self.plan.width
            and not any(cell[:1].isalpha() for cell in cells)
            and any(cell.strip("-") for cell in cells)
        )

    def _is_header(self, cells: Sequence[str]) -> bool:
        """A matrix's row of frequencies, repeated."""
        header = self.plan.header
        if not header or len(cells) < len(header) or self.plan.frequency is not None:
            return False
        number = self.plan.dialect.notation.number(
            cells[self.plan.levels[0]] if self.plan.levels[0] < len(cells) else ""
        )
        last = self.plan.dialect.notation.number(
            cells[self.plan.levels[-1]] if self.plan.levels[-1] < len(cells) else ""
        )
        return number is not None and last is not None and (number.value, last.value) == (header[0], header[-1])

    def _filled(self, cells: Sequence[str], line: int) -> tuple[str, ...]:
        """A short row is only in order where its missing cells are no levels and no frequency."""
        wide = self.plan.layout == WIDE_ROWS
        needed = self.plan.levels[0] + 1 if wide else max(*self.plan.levels, self._behind_frequency() - 1) + 1
        if len(cells) < needed:
            raise self._error(f"the row has {len(cells)} cells where {self.plan.width} were expected", line)
        return tuple(cells) + ("",) * (self.plan.width - len(cells))

    def _looks_whole(self, cells: Sequence[str]) -> bool:
        """Whether the last cell of the file's last line has as many digits behind the point as levels have here."""
        place = max((place for place, cell in enumerate(cells) if cell), default=0)
        if place in self.plan.levels:
            usual = self.plan.level_decimals
        else:
            usual = self.plan.decimals if place == self.plan.frequency else None
        number = self.plan.dialect.notation.number(cells[-1])
        if number is None:
            return says_not_measured(cells[-1]) and cells[-1] not in ("-", ".")
        return usual is None or decimals_of(number.text) == usual

    def _frequency(self, cell: str, line: int) -> float:
        number = self.plan.dialect.notation.number(cell)
        if number is None:
            raise self._error(f"{cell!r} is no frequency", line, (self.plan.frequency or 0) + 1)
        return number.value * self._factor(number)

    def _factor(self, number: Number) -> float:
        """From the unit written in a cell to the plan's unit."""
        unit = frequency_unit_named(number.suffix) if number.suffix else None
        if unit is None or unit == self.plan.units.units[0]:
            return 1.0
        return FREQUENCY_FACTORS_HZ[unit] / FREQUENCY_FACTORS_HZ[self.plan.units.units[0]]

    def _level(self, cell: str, line: int, place: int) -> float:
        number = self.plan.dialect.notation.number(cell)
        if number is not None:
            return number.value
        if says_not_measured(cell):
            return float("nan")
        raise self._error(f"{cell!r} is no level", line, place + 1)

    def _error(self, what: str, line: int, column: int | None = None) -> InputError:
        return InputError(
            what, path=self.file.path, line=line, column=column, hint="mend the line, or take it out of the file"
        )
