"""Lines of text as tables of cells: which delimiter, which notation, where the numbers begin.

A ``Dialect`` is one guess about a whole file; ``tables`` tries every guess on the file's sample lines and hands back
those in which a body of rows with numbers appears. Which of them is true is decided by the layouts, on the meaning of
the columns.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from fallow.files.numbers import Notation, Number, notations
from fallow.files.readings import Telling
from fallow.files.source import Line
from fallow.files.times import looks_like_time
from fallow.files.wording import frequency_unit_named, level_unit_named, says, says_not_measured

__all__ = ["Column", "Dialect", "Row", "Table", "delimiter_told", "is_comment", "tables"]

# Unicode CLDR lists ; and ؛ as list separators; the rest is common practice
DELIMITERS = (
    ";",
    "\t",
    "|",
    ",",
    "؛",
    " ",
)  # Unicode CLDR lists ; and ؛ as list separators; the rest is common practice
_SEP_LINE = re.compile(r"\s*\"?sep=(.)\"?\s*", re.IGNORECASE)
_COMMENT = re.compile(r"[#!%]+|//+|\*+|;+(?=\s*[A-Za-z])|-{3,}(?=\s)")
_BEFORE_HEADING = re.compile(r"[ \t]+(?![\[(/])")
_UNIT_ALONE = re.compile(r"[A-Za-zµμ]{1,6}(?:/Hz)?")
_BLANKS = re.compile(r"[ \t]+")
_FEWEST_BEHIND_LABEL = 16  # numbers in a row; a list of equipment has fewer. Common practice
_USUAL_SHARE = 0.9  # of a column's cells that must be of one kind; the rest is reported when the file is read


@dataclass(frozen=True)
class Row:
    """The cells of one line, stripped, without trailing empty ones beyond the table's width."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Dialect:
    """``delimiter``: one character; a blank stands for any run of blanks. ``glued``: how many numbers a row holds
    where the delimiter is also the decimal mark, cells per number; empty otherwise."""

    delimiter: str
    notation: Notation
    glued: tuple[int, ...] = ()

    def cells(self, text: str) -> tuple[str, ...]:
        """The cells of a line, quotes taken off (RFC 4180), blanks around them stripped."""
        if self.delimiter == " ":
            return tuple(_BLANKS.split(text.strip())) if text.strip() else ()
        fields = self._unquoted(text) if '"' in text else text.split(self.delimiter)
        cells = tuple(field.strip(" \t") for field in fields)
        return self._unglued(cells) if self.glued else cells

    def _unquoted(self, text: str) -> list[str]:
        try:
            return next(csv.reader([text], delimiter=self.delimiter, skipinitialspace=True), [])
        except csv.Error:  # a cell longer than any: then the quote is no quote
            return text.split(self.delimiter)

    def _unglued(self, cells: tuple[str, ...]) -> tuple[str, ...]:
        if len(cells) != sum(self.glued) or not cells[0].lstrip("-+").isdecimal():
            return cells
        parts = iter(cells)
        return tuple(self.delimiter.join(next(parts) for _ in range(count)) for count in self.glued)


@dataclass(frozen=True)
class Column:
    """One column of a sample. ``numbers`` has an entry per row, ``None`` where the cell is no number. ``name``: its
    header.

    ``kind``: number, time, unit (nothing but a unit), blank or word.
    """

    place: int
    kind: str
    name: str
    cells: tuple[str, ...]
    numbers: tuple[Number | None, ...]

    @cached_property
    def values(self) -> tuple[float, ...]:
        """The numbers alone, without the gaps."""
        return tuple(number.value for number in self.numbers if number is not None)

    @cached_property
    def suffixes(self) -> frozenset[str]:
        """Units written behind the numbers."""
        return frozenset(number.suffix for number in self.numbers if number is not None and number.suffix)


@dataclass(frozen=True)
class Table:
    """The sample in one dialect. ``above``: rows before the body, as cells; ``preamble``: the same lines as text."""

    dialect: Dialect
    width: int
    body: tuple[Row, ...]
    above: tuple[Row, ...]
    preamble: tuple[Line, ...]

    @cached_property
    def columns(self) -> tuple[Column, ...]:
        """Every column of the body, with its header where there is one."""
        return tuple(self.column(place) for place in range(self.width))

    def column(self, place: int) -> Column:
        """One column, for questions that a few of very many settle."""
        if place not in self._known:
            cells = [row.cells[place] for row in self.body]
            self._known[place] = _column(place, self.header_names[place], cells, self.dialect.notation)
        return self._known[place]

    def column_below(self, place: int, row: int) -> Column:
        """One column from a row of the body on; what stands right above it is its heading."""
        if row == 0:
            return self.column(place)
        cells = [below.cells[place] for below in self.body[row:]]
        return _column(place, self.body[row - 1].cells[place], cells, self.dialect.notation)

    @cached_property
    def _known(self) -> dict[int, Column]:
        return {}

    @cached_property
    def header_rows(self) -> tuple[Row, ...]:
        """The last row (or two) above the body that has as many cells as the body."""
        fitting = []
        for row in reversed(self.above):
            if _trimmed_width(row.cells, self.width) != self.width or not self._is_heading(row.cells):
                break
            fitting.append(row)
        return tuple(reversed(fitting[:2]))

    def _is_heading(self, cells: Sequence[str]) -> bool:
        """Whether cells can be headings: in two columns a word with a number or a time behind it is a statement."""
        if not any(cells):
            return False
        stated = self.dialect.notation.number(cells[-1]) is not None or looks_like_time(cells[-1])
        return not (self.width == 2 and stated and (says(cells[0], "edges") or not says(cells[0], "frequency")))

    @cached_property
    def header_names(self) -> tuple[str, ...]:
        """What stands above each column, empty where nothing does."""
        return tuple(
            " ".join(row.cells[place] for row in self.header_rows if row.cells[place]) for place in range(self.width)
        )


def is_comment(text: str) -> bool:
    """Whether a line is empty or begins like a comment."""
    bare = text.lstrip(" \t\"'")
    return not bare.strip(" ,;\t|\"'") or _COMMENT.match(bare) is not None


def delimiter_told(telling: Telling, lines: Sequence[Line]) -> str | None:
    """The delimiter that the user states, or the file's first line (``sep=;``)."""
    if telling.delimiter is not None:
        return {"tab": "\t", "space": " "}.get(telling.delimiter, telling.delimiter)
    match = _SEP_LINE.fullmatch(lines[0].text) if lines else None
    return match[1] if match else None


def tables(lines: Sequence[Line], telling: Telling, found: Callable[[], bool]) -> Iterator[Table]:
    """The sample in every dialect in which it has a body of numbers, likeliest delimiters first.

    ``found`` tells whether one of them was a sweep: blanks, which also stand where something else delimits, are tried
    last, and not at all where a semicolon, tab or bar made one.
    """
    told, settled = delimiter_told(telling, lines), False
    for delimiter in (told,) if told is not None else DELIMITERS:
        settled = found() if delimiter == "," else settled
        if delimiter == " " and told is None and settled:
            return
        if not any(delimiter in line.text for line in lines):
            continue
        split = [Row(line.number, Dialect(delimiter, Notation(".")).cells(line.text)) for line in lines]
        busy = [
            cell
            for row in split
            if not is_comment(" ".join(row.cells))
            for cell in row.cells
            if cell[:1] in "+-.,٫0123456789" and not looks_like_time(cell)
        ]
        for notation in notations(busy, delimiter, telling.decimal):
            table = _table(Dialect(delimiter, notation), split, lines)
            if table is not None:
                yield table


def glued_tables(lines: Sequence[Line], telling: Telling, found: Callable[[], bool]) -> Iterator[Table]:
    """The sample where a comma is decimal mark and delimiter at once: every way to put the pieces together."""
    told = delimiter_told(telling, lines)
    if told not in (None, ",") or telling.decimal not in (None, ","):
        return
    rows = [Row(line.number, Dialect(",", Notation(".")).cells(line.text)) for line in lines]
    width = Counter(
        len(row.cells) for row in rows if all(cell.lstrip("-+").isdecimal() for cell in row.cells)
    ).most_common(1)
    if not width or not 3 <= width[0][0] <= 6:
        return
    for glued in _splits(width[0][0]):
        dialect = Dialect(",", Notation(","), glued)
        if found():  # the fewest numbers a row come first
            return
        table = _table(dialect, [Row(line.number, dialect.cells(line.text)) for line in lines], lines)
        if table is not None:
            yield table


def _splits(pieces: int) -> list[tuple[int, ...]]:
    """Ways to share pieces among two or three numbers of one or two pieces each."""
    pairs = [(first, pieces - first) for first in (2, 1)]
    triples = [(first, second, pieces - first - second) for first in (2, 1) for second in (2, 1)]
    return [split for split in (*pairs, *triples) if all(count in (1, 2) for count in split)]


def _table(dialect: Dialect, split: Sequence[Row], lines: Sequence[Line]) -> Table | None:
    busy = [
        is_data(row.cells, dialect.notation) and not is_comment(line.text)
        for row, line in zip(split, lines, strict=True)
    ]
    if sum(busy) <= 1:  # where every row has a label, labels are no headings
        busy = [one or _is_labelled(row.cells, dialect.notation) for one, row in zip(busy, split, strict=True)]
    widths = Counter(_trimmed_width(row.cells, 0) for row, data in zip(split, busy, strict=True) if data)
    if not widths:
        return None
    width = max(widths.items(), key=lambda item: (item[1], item[0]))[0]
    body = [row for row, data in zip(split, busy, strict=True) if data and _trimmed_width(row.cells, width) == width]
    if width < 2 or not body:
        return None
    preamble = tuple(line for line in lines if line.number < body[0].number)
    above = tuple(Row(line.number, _heading_cells(dialect, line.text, width)) for line in _with_line_breaks(preamble))
    return Table(dialect, width, tuple(Row(row.number, _fitted(row.cells, width)) for row in body), above, preamble)


def _with_line_breaks(lines: Sequence[Line]) -> list[Line]:
    """Lines in which a quoted heading goes on in the next line (RFC 4180, 2.6) put together."""
    whole: list[Line] = []
    for line in lines:
        if whole and whole[-1].text.count('"') % 2:
            whole[-1] = Line(line.number, f"{whole[-1].text} {line.text}")
        else:
            whole.append(line)
    return whole


def _heading_cells(dialect: Dialect, text: str, width: int) -> tuple[str, ...]:
    """A line above the body as cells; where blanks delimit, a heading of several words is kept together if the count
    fits."""
    bare = text.lstrip(" \t")
    comment = _COMMENT.match(bare)
    bare = bare[comment.end() :] if comment is not None else text
    if dialect.delimiter == " ":
        for splitter in (re.compile(r"\t|[ ]{2,}"), _BEFORE_HEADING):
            cells = splitter.split(bare.strip())
            if len(cells) == width:
                return tuple(cells)
    return dialect.cells(bare)


def is_data(cells: Sequence[str], notation: Notation) -> bool:
    """Whether a row looks like numbers: at least one, and but for one word nothing that is neither number, gap, time
    nor unit."""
    numbers = words = 0
    for cell in cells:
        if notation.number(cell) is not None:
            numbers += 1
        elif not says_not_measured(cell) and not looks_like_time(cell) and not _is_unit(cell):
            words += 1 if cell[:1].isalpha() else 2
    return numbers >= 1 and (words == 0 or (words == 1 and numbers >= 2 and not _is_label(cells, notation)))


def _is_label(cells: Sequence[str], notation: Notation) -> bool:
    """A row whose only word stands first is a label with numbers behind it (a header), not data."""
    return notation.number(cells[0]) is None and not looks_like_time(cells[0])


def _is_labelled(cells: Sequence[str], notation: Notation) -> bool:
    """A row of a wide table: a label, and behind it nothing but very many numbers and gaps."""
    numbers = [notation.number(cell) for cell in cells[1:]]
    filled = sum(number is not None for number in numbers)
    return filled >= _FEWEST_BEHIND_LABEL and all(
        number is not None or says_not_measured(cell) for number, cell in zip(numbers, cells[1:], strict=True)
    )


def _is_unit(cell: str) -> bool:
    """Whether a cell holds a unit and nothing else."""
    return (
        _UNIT_ALONE.fullmatch(cell) is not None and (frequency_unit_named(cell) or level_unit_named(cell)) is not None
    )


def _trimmed_width(cells: Sequence[str], least: int) -> int:
    """Cells of a row without the empty ones at its end, but not fewer than ``least`` as far as there are so many."""
    width = len(cells)
    while width > least and not cells[width - 1]:
        width -= 1
    return width


def _fitted(cells: Sequence[str], width: int) -> tuple[str, ...]:
    return tuple(cells[:width]) + ("",) * (width - len(cells))


def _column(place: int, name: str, cells: Iterable[str], notation: Notation) -> Column:
    cells = tuple(cells)
    numbers = tuple(notation.number(cell) for cell in cells)
    return Column(place, _kind(cells, numbers), name, cells, numbers)


def _kind(cells: Sequence[str], numbers: Sequence[Number | None]) -> str:
    filled = [
        (cell, number)
        for cell, number in zip(cells, numbers, strict=True)
        if number is not None or not says_not_measured(cell)
    ]
    if not filled:
        return "blank"
    needed = _USUAL_SHARE * len(filled)
    if sum(number is not None for _, number in filled) >= needed:
        return "number"
    if sum(looks_like_time(cell) for cell, _ in filled) >= needed:
        return "time"
    return "unit" if len({cell for cell, _ in filled}) == 1 and _is_unit(filled[0][0]) else "word"
