"""Levels listed under their start and stop with several in a line: traces side by side, or one trace row by row.

Either way the lines are taken apart so that each holds one level, under its own line's number, and are then read like
levels that stand below each other. Which of the two is meant, headings and counts say; where they don't, how many
levels there have to be decides.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from fallow.errors import InputError
from fallow.files.headings import names_level
from fallow.files.listed_lines import FEWEST_LEVELS, MOST_ABOVE, is_number, states_number, tells_start
from fallow.files.source import Line
from fallow.files.wording import detector_named, says_not_measured

__all__ = ["ListedRows", "rows_of"]

_DELIMITERS = (";", "\t", "|", ",", " ")
_MISSING = "---"
_MOST_NAMED = 8  # columns under headings; more are no traces of one sweep. Common practice


@dataclass(frozen=True, eq=False)
class ListedRows:
    """Lines of which some are rows of several numbers; the others stand as they are.

    ``cells``: of every row, by its place among ``lines``. ``width``: how many cells most rows have. ``counted``: the
    first cell of each row counts 0, 1, 2 … or 1, 2, 3 …. ``heading``: the line of which ``names`` are the headings of
    the columns; both are empty where not each of them has one.
    """

    lines: Sequence[Line]
    cells: dict[int, tuple[str, ...]]
    width: int
    counted: bool
    heading: str = ""
    names: tuple[str, ...] = ()

    @property
    def may_be_decimals(self) -> bool:
        """Whether commas part columns that headings call levels, where they could also be decimal marks."""
        named = self.names[int(self.counted) :]
        return "," in self.heading and len(named) > 1 and all(map(names_level, named))

    @property
    def one_short(self) -> bool:
        """Whether only the last row lacks a level, and only one."""
        return len(self.cells) > 1 and len(self.cells[max(self.cells)]) == self.width - 1

    @property
    def says_columns(self) -> bool:
        """Whether headings or a count say that the columns are traces."""
        return self.counted or bool(self.names)

    def row_by_row(self, path: Path) -> list[Line]:
        """One trace: the levels of a row follow each other. Raises InputError for a row that is too long, or too short
        and not the last one before other lines.
        """
        for place, following in pairwise((*self.cells, len(self.lines) + 1)):
            missing = self.width - len(self.cells[place])
            if missing < 0 or (missing > 0 and following == place + 1):
                raise self._odd(place, path)
        apart = ((line, self.cells.get(place, (line.text,))) for place, line in enumerate(self.lines))
        return [Line(line.number, cell or _MISSING) for line, cells in apart for cell in (cells or ("",))]

    def traces(self, path: Path) -> Iterator[tuple[str, list[Line]]]:
        """The name of each trace and its lines, with the count before the levels where there is one. Raises InputError
        for a row that is too short or too long.
        """
        odd = next((place for place, cells in self.cells.items() if len(cells) != self.width), None)
        if odd is not None:
            raise self._odd(odd, path)
        for column in range(int(self.counted), self.width):
            name = self.names[column] if self.names else f"column {column + 1}"
            rows = {place: self._one(cells, column) for place, cells in self.cells.items()}
            heads = {k: name for k, line in enumerate(self.lines) if self.names and line.text == self.heading}
            texts = heads | rows
            yield _bare(name), [Line(line.number, texts.get(k, line.text)) for k, line in enumerate(self.lines)]

    def _one(self, cells: Sequence[str], column: int) -> str:
        level = cells[column] or _MISSING
        return f"{cells[0]};{level}" if self.counted else level

    def _odd(self, place: int, path: Path) -> InputError:
        return InputError(
            f"this line holds {len(self.cells[place])} of the {self.width} levels that most others hold, so the "
            f"frequencies of those behind it are not sure",
            path=path,
            line=self.lines[place].number,
            hint="take the line out, or write --- for each level that is missing",
        )


def rows_of(lines: Sequence[Line], decimal: str | None) -> ListedRows | None:
    """The lines with several numbers each; ``None`` where no line tells a start, or too few numbers stand in them."""
    if not tells_start(lines):
        return None
    for delimiter in _DELIMITERS:
        if delimiter == decimal or not any(_cells(line.text, delimiter, decimal) for line in lines[:MOST_ABOVE]):
            continue
        cells = {k: found for k, line in enumerate(lines) if (found := _cells(line.text, delimiter, decimal))}
        if sum(map(len, cells.values())) < FEWEST_LEVELS:
            continue
        width = Counter(map(len, cells.values())).most_common(1)[0][0]
        counted = width > 1 and _counts([found[0] for found in cells.values()])
        first = min(cells)
        alone = (k for k in range(first, len(lines)) if is_number(lines[k].text, decimal))
        cells |= {k: (lines[k].text.strip(),) for k in alone if k not in cells}
        heading = lines[first - 1].text if first else ""
        names = () if states_number(heading) else _names(heading, delimiter, width, decimal)
        return ListedRows(lines, dict(sorted(cells.items())), width, counted, heading if names else "", names)
    return None


def _cells(text: str, delimiter: str, decimal: str | None) -> tuple[str, ...]:
    """The cells of a line in which two numbers or more stand, and nothing but numbers and gaps; else none."""
    if delimiter not in text:
        return ()
    cells = _split(text, delimiter)
    numbers = sum(is_number(cell, decimal) for cell in cells)
    rest = (says_not_measured(cell) for cell in cells if not is_number(cell, decimal))
    return cells if numbers > 1 and all(rest) else ()


def _split(text: str, delimiter: str) -> tuple[str, ...]:
    parts = text.split() if delimiter == " " else text.strip().removesuffix(delimiter).split(delimiter)
    return tuple(part.strip(" \t\"'") for part in parts)


def _names(text: str, delimiter: str, width: int, decimal: str | None) -> tuple[str, ...]:
    """Headings, one for each column. Blanks part the words of a heading too: then each has to name another kind of
    trace.
    """
    names = _split(text, delimiter)
    if not 1 < width <= _MOST_NAMED or len(names) != width:
        return ()
    if delimiter == " " and len({detector_named(name) for name in names} - {None}) < width:
        return ()
    return names if all(name and not is_number(name, decimal) for name in names) else ()


def _counts(firsts: Sequence[str]) -> bool:
    return firsts[:3] in (["0", "1", "2"], ["1", "2", "3"])


def _bare(name: str) -> str:
    """A heading without the unit behind it."""
    return re.sub(r"\s*[\[(][^\])]*[\])]\s*$", "", name)
