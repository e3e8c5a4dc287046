"""Somebody's table changed where it stands: rows that are not touched stay as they are, byte for byte.

So do the order of rows and columns, columns that we don't know, titles, encoding, delimiter and line ends. A changed
row keeps the cells that the change does not speak of; new rows come last, and columns that are missing behind the rest.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from fallow.errors import InputError, OutputError
from fallow.files.tables.columns import Column
from fallow.files.tables.grid import Table, read_table, split_records
from fallow.files.tables.whole_file import replace_whole

__all__ = ["Cells", "StandingTable"]

Cells = Mapping[str, str]
_BYTES_AS_THEY_ARE = "surrogateescape"


@dataclass(frozen=True)
class StandingTable:
    """A table as it is read, and its text: ``lines`` with their ends, ``headings`` the number of their line."""

    table: Table
    lines: tuple[str, ...]
    headings: int
    delimiter: str
    encoding: str

    @classmethod
    def read(cls, path: Path, columns: Sequence[Column], encoding: str) -> StandingTable:
        """Read a table that may have no rows. Raises InputError as reading it does."""
        table = read_table(path, columns, may_be_empty=True, encoding=encoding)
        split = split_records(path, columns, encoding=encoding)
        before = [line for line, cells in split.records if tuple(cell.strip() for cell in cells) == table.headings]
        try:
            text = path.read_bytes().decode(encoding, _BYTES_AS_THEY_ARE)
        except (OSError, UnicodeError) as error:
            raise InputError("the table can't be read so that it can be written again", path=path) from error
        return cls(table, tuple(io.StringIO(text, newline="")), before[0], split.delimiter, encoding)

    def write(self, changed: Mapping[int, Cells | None], added: Sequence[Cells]) -> None:
        """Write the table with changed rows, by the number of their line (``None``: taken out), and added ones.

        Cells are named as we name the columns. Raises OutputError; then nothing is changed.
        """
        new = self._missing([*filter(None, changed.values()), *added])
        text = "".join(self._changed(self._headed(new), changed, new))
        if added:
            text += "" if text.endswith(("\n", "\r")) else self._line_end
            text += "".join(self._written(self._filled([], cells, new)) for cells in added)
        path = self.table.path
        try:
            content = text.encode(self.encoding, _BYTES_AS_THEY_ARE)
        except UnicodeEncodeError as error:
            what = f"{text[error.start]!r} can't be written into a table in {self.encoding}, and nothing was changed"
            raise OutputError(what, path=path, hint="save the table as UTF-8") from error
        replace_whole(path, content, "the table")

    def _headed(self, new: Sequence[str]) -> list[str]:
        """The lines, new headings behind the others."""
        at = self._end(self.headings) - 1
        lines = list(self.lines)
        heading = lines[at].rstrip("\r\n")
        line_end = lines[at][len(heading) :] or self._line_end
        lines[at] = heading + "".join(f"{self.delimiter}{name}" for name in new) + line_end
        return lines

    def _missing(self, said: Sequence[Cells]) -> list[str]:
        """The columns that are said somewhere and that the table does not have."""
        names = dict.fromkeys(name for cells in said for name, text in cells.items() if text)
        return [name for name in names if name not in self.table.found]

    def _changed(self, lines: Sequence[str], changed: Mapping[int, Cells | None], new: Sequence[str]) -> Iterator[str]:
        rows = {row.line: row for row in self.table.rows}
        at = 0
        while at < len(lines):
            number = at + 1
            if number not in changed:
                yield lines[at]
                at += 1
                continue
            cells = changed[number]
            if cells is not None:
                yield self._written(self._filled(rows[number].cells, cells, new))
            at = self._end(number)

    def _filled(self, before: Sequence[str], cells: Cells, new: Sequence[str]) -> list[str]:
        """A row's cells, those that are said in their places."""
        width = len(self.table.headings)
        places = {name: found.index for name, found in self.table.found.items()}
        places |= {name: width + at for at, name in enumerate(new)}
        row = [*before, *[""] * (width + len(new) - len(before))]
        for name, text in cells.items():
            if name in places:
                row[places[name]] = text
        return row

    def _written(self, cells: Sequence[str]) -> str:
        text = io.StringIO()
        csv.writer(text, delimiter=self.delimiter, lineterminator=self._line_end).writerow(cells)
        return text.getvalue()

    def _end(self, number: int) -> int:
        """The number of the last line of the row that begins in a line."""
        reader = csv.reader(self.lines[number - 1 :], delimiter=self.delimiter, strict=True, skipinitialspace=True)
        next(reader)
        return number - 1 + reader.line_num

    @property
    def _line_end(self) -> str:
        """How the lines of the file end."""
        first = self.lines[0] if self.lines else ""
        return first[len(first.rstrip("\r\n")) :] or "\n"
