"""A table as rows of named cells: bytes to text, delimiter, headings and decimal mark found by evidence, per file.

Every complaint names the file, the line, the column as it is spelled there, and what to do.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from os import PathLike
from pathlib import Path
from typing import Final, NamedTuple

from fallow.errors import InputError
from fallow.files.numbers import Notation
from fallow.files.source import TextFile, normalise
from fallow.files.tables.columns import FREQUENCY, PLAUSIBLE, Column, Found, claims_of, find_columns
from fallow.files.tables.scene_lists import NAMES, scenes_in
from fallow.files.tables.two_frequencies import first_difference
from fallow.files.wording import frequency_unit_named, quoted

__all__ = [
    "DELIMITERS",
    "NO",
    "NUMBER",
    "YES",
    "Records",
    "Row",
    "Split",
    "Table",
    "bare_numbers",
    "decimal_mark",
    "frequency_unit",
    "heading_record",
    "read_table",
    "split_records",
    "text_of",
    "told_mark",
]

FilePath = str | PathLike[str]

DELIMITERS: Final = (",", ";", "\t", "|")
_MOST_BYTES = 64 * 2**20  # no table of links comes near; a sweep log given by mistake does
_WORKBOOK: Final = b"PK\x03\x04"
_TITLE_LINES = 10  # how far down the headings are looked for
_LARGEST = Decimal(10**15)
_BETWEEN_ITEMS = re.compile(r"[;|\n]")
_BETWEEN_NUMBERS = re.compile(r"[;|\n]|,\s|(?<=[\dz])\s*/(?=\s*\d+(?:[.,]\d+)?\s*[-–])")  # 470-526/600-606
_FILE_NAME = re.compile(r"\.[A-Za-z]\w{1,4}\Z")  # its digits and marks say nothing of how numbers are written
NUMBER = re.compile(r"\d+(?:[.,]\d+)*")
_GROUPED = re.compile(r"\d{1,3}(?:[.,]\d{3})+")
YES = {"yes", "y", "true", "1", "x", "ja", "j", "oui", "o", "si", "sí", "s", "sì", "sim", "✓", "✔"}
NO = {"no", "n", "false", "0", "-", "nein", "non", "nee", "não", "nao"}


@dataclass(frozen=True)
class Row:
    """One row: its cells by the names of the columns as we write them. A missing or blank cell is an empty text."""

    table: Table
    line: int
    cells: Sequence[str]

    def text(self, name: str) -> str:
        """A cell without the blanks around it."""
        found = self.table.found.get(name)
        return "" if found is None or found.index >= len(self.cells) else self.cells[found.index].strip()

    def needed(self, name: str) -> str:
        """A cell that may not be empty."""
        text = self.text(name)
        if not text:
            raise self.wrong(name, "the cell is empty", hint=f"every row needs its {name}")
        return text

    def items(self, name: str, *, of_numbers: bool = False) -> tuple[str, ...]:
        """A cell as a list, split at semicolons; a list of numbers also at commas with a blank behind them.

        Where the column showed how its lists are written (``Table.lists``), that counts.
        """
        listed = self.table.lists.get(name, {}).get(self.text(name))
        if listed is not None:
            return listed
        between = _BETWEEN_NUMBERS if of_numbers else _BETWEEN_ITEMS
        return tuple(item for part in between.split(self.text(name)) if (item := part.strip()))

    def yes(self, name: str, default: bool = False) -> bool:
        """A cell as yes or no; ``default`` where it is empty."""
        text = self.text(name).lower()
        if text in YES or text in NO:
            return text in YES
        if text:
            raise self.wrong(name, f"{quoted(self.text(name))} is neither yes nor no")
        return default

    def is_number(self, name: str) -> bool:
        """Whether a cell holds a number."""
        return self.table.notation.number(normalise(self.text(name)).strip()) is not None

    def number(self, name: str) -> Decimal | None:
        """A cell as a number in the usual unit of its column; None where it is empty."""
        text = self.text(name)
        return self.value(name, text) if text else None

    def hertz(self, name: str) -> int | None:
        """A cell as whole hertz; None where it is empty."""
        text = self.text(name)
        return self.value_hz(name, text) if text else None

    def value_hz(self, name: str, text: str) -> int:
        """A piece of a cell as whole hertz, rounded once."""
        column = self.table.columns[name]
        usual = FREQUENCY.usual if column.quantity is None else column.quantity.usual
        value_hz = int((self.value(name, text) * FREQUENCY.units[usual]).to_integral_value())
        if value_hz > 10**11:
            raise self.wrong(name, f"{quoted(text)} means more than 100 GHz here", hint="check the unit in the heading")
        return value_hz

    def value(self, name: str, text: str) -> Decimal:
        """A piece of a cell as a number in the usual unit of its column."""
        quantity = self.table.columns[name].quantity
        number = self.table.notation.number(normalise(text).strip())
        if number is None:
            raise self.wrong(name, f"{quoted(text)} is no number")
        value = Decimal(number.text)
        if abs(value) > _LARGEST:
            raise self.wrong(name, f"{quoted(text)} is too large")
        if quantity is None:
            if number.suffix:
                raise self.wrong(name, f"{quoted(text)} is no plain number")
            return value
        unit = number.suffix.lower() or self.table.units[name]
        if unit not in quantity.units:
            raise self.wrong(name, f"{quoted(text)} has a unit that does not belong here")
        return value * quantity.units[unit] / quantity.units[quantity.usual]

    @property
    def extra(self) -> dict[str, str]:
        """The cells of the columns that we do not know, by their headings."""
        known = {found.index for found in self.table.found.values()}
        kept = {}
        for index, heading in enumerate(self.table.headings):
            if index not in known and index < len(self.cells) and (heading or self.cells[index].strip()):
                name = f"{heading}, column {index + 1}" if heading in kept else heading or f"column {index + 1}"
                kept[name] = self.cells[index].strip()
        return kept

    def wrong(self, name: str | None, what: str, hint: str | None = None) -> InputError:
        """The error for a cell (or, without a name, for the row)."""
        found = None if name is None else self.table.found.get(name)
        column = name if found is None else " ".join(found.heading.split())
        return InputError(what, path=self.table.path, line=self.line, column=column, hint=hint)


@dataclass
class Table:
    """A table while it is read. ``found``: where each column stands; ``units``: the unit of numbers without one;
    ``lists``: the cells of a column of lists, by their text, where its cells show how they are written.
    """

    path: Path
    columns: dict[str, Column]
    headings: tuple[str, ...]
    found: dict[str, Found]
    rows: list[Row] = field(default_factory=list)
    notation: Notation = Notation(".")
    units: dict[str, str] = field(default_factory=dict)
    lists: dict[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)

    def unique(self, name: str, folded: Callable[[str], str] = str) -> Iterator[Row]:
        """The rows; complains where two have the same text in a column."""
        seen: dict[str, int] = {}
        for row in self.rows:
            text = folded(row.needed(name))
            if text in seen:
                what = f"{quoted(row.text(name))} stands in line {seen[text]} already"
                raise row.wrong(name, what, hint="give each row a name of its own")
            seen[text] = row.line
            yield row


def read_table(
    path: FilePath, columns: Sequence[Column], *, may_be_empty: bool = False, encoding: str | None = None
) -> Table:
    """A delimited file as a table. ``encoding``: ``None`` where the file has to tell.

    Raises InputError when it can't be read as one with these columns.
    """
    path = Path(path)
    records = split_records(path, columns, encoding=encoding).records
    at = heading_record(records, columns)
    line, headings = records[at]
    table = _headed(path, line, headings, columns)
    for line, cells in records[at + 1 :]:
        row = Row(table, line, cells)
        if any(cell.strip() for cell in cells[len(headings) :]):
            what = f"{len(cells)} cells, but the headings name {len(headings)} columns"
            raise row.wrong(None, what, hint='put a cell that holds the delimiter into quotation marks: "a;b"')
        table.rows.append(row)
    _check_one_frequency(table)
    if not table.rows and not may_be_empty:
        raise InputError("the table has headings but no rows", path=path)
    table.notation = _notation(table)
    table.units = {name: _unit(table, name) for name in table.found if table.columns[name].quantity is not None}
    for name in ("scenes", "group"):
        if {name, "link"} <= table.found.keys():
            table.lists[name] = _named(table, name)
    return table


def _named(table: Table, name: str) -> Mapping[str, tuple[str, ...]]:
    """What the cells of a column of lists name; a sign that may be read in two ways is refused where that matters.

    A table that spells all headings as we write them holds what we wrote: names, with a semicolon between.
    """
    is_written_by_us = table.columns.keys() <= {*table.headings}
    cells = [row.text(name) for row in table.rows]
    noun = name.removesuffix("s")
    found = scenes_in(cells, told=NAMES if is_written_by_us else None, is_ours=True, noun=noun)
    asked = found.still_open
    if asked is not None:
        row = next(row for row in table.rows if row.text(name) == asked.cell)
        hint = f"write a semicolon between {noun}s, or a name without that sign"
        raise row.wrong(name, f"{quoted(asked.item)} may be {asked.readings[0]}, or {asked.readings[1]}", hint=hint)
    return found.names


Records = list[tuple[int, list[str]]]


class Split(NamedTuple):
    """A text as records, and the delimiter that it was split with."""

    delimiter: str
    records: Records


def split_records(
    path: Path, columns: Sequence[Column], delimiter: str | None = None, encoding: str | None = None
) -> Split:
    """Lines that are not blank, each with its number and cells. ``delimiter``, ``encoding``: ``None`` where the file
    has to tell.

    Raises InputError where it can't be split.
    """
    stated, text, skipped = _stated_delimiter(text_of(path, encoding))
    delimiter = delimiter or stated
    split = _best_records(text, columns, (delimiter,) if delimiter else DELIMITERS, path)
    return Split(split.delimiter, [(line + skipped, cells) for line, cells in split.records])


def text_of(path: Path, encoding: str | None = None) -> str:
    """The text of a table's file. ``encoding``: ``None`` where the file has to tell. Raises InputError where it is
    none.
    """
    if path.is_dir():
        raise InputError("this is a folder, and a table is needed", path=path)
    raw = _bytes(path)
    if raw.startswith(_WORKBOOK):
        raise InputError("this is a workbook, not text", path=path, hint="save the sheet as CSV")
    if len(raw) > _MOST_BYTES:
        raise InputError("the file is too large for a table of this kind", path=path)
    return raw.decode(encoding or TextFile.open(path).encoding, errors="replace").removeprefix("\ufeff")


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(_MOST_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise InputError(f"the file can't be opened ({reason})", path=path) from error


def _stated_delimiter(text: str) -> tuple[str | None, str, int]:
    """What a first line ``sep=;`` states, the text after it, and how many lines were taken away."""
    match = re.match(r'"?sep=(.)"?[ \t]*(?:\r\n|\r|\n)', text)
    return (match[1], text[match.end() :], 1) if match else (None, text, 0)


def _best_records(text: str, columns: Sequence[Column], delimiters: Sequence[str], path: Path) -> Split:
    """The text split with the delimiter that shows the most headings that we know."""
    best: tuple[int, Split] | None = None
    failure: InputError | None = None
    for delimiter in delimiters:
        try:
            records = _records(text, delimiter, path)
        except InputError as error:
            failure = failure or error
            continue
        known = max((len(find_columns(cells, columns)[0]) for _, cells in records[:_TITLE_LINES]), default=0)
        if best is None or known > best[0]:
            best = (known, Split(delimiter, records))
    if failure is not None and (best is None or not best[0]):
        raise failure
    if best is None or not best[1].records:
        raise InputError("the file is empty", path=path)
    return best[1]


def _records(text: str, delimiter: str, path: Path) -> Records:
    """Lines that are not blank, each with its number and cells."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True)
    records: Records = []
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                records.append((line, cells))
            line = reader.line_num + 1
    except csv.Error as error:
        hint = "look for a quotation mark that is not closed"
        raise InputError(f"the line can't be split into cells ({error})", path=path, line=line, hint=hint) from error
    return records


def heading_record(records: Records, columns: Sequence[Column]) -> int:
    """Which of the first records holds the headings: the one with the most columns that we know."""
    known = [len(find_columns(cells, columns)[0]) for _, cells in records[:_TITLE_LINES]]
    return known.index(max(known))


def _headed(path: Path, line: int, headings: Sequence[str], columns: Sequence[Column]) -> Table:
    found, twice = find_columns(headings, columns)
    if twice:
        raise InputError(f"two columns can be {twice[0]}", path=path, line=line, hint="rename or remove one of them")
    missing = [column.name for column in columns if column.required and column.name not in found]
    if missing:
        names = ", ".join(" ".join(heading.split()) for heading in headings if heading.strip())[:200]
        needed = ", ".join(column.name for column in columns if column.required)
        hint = f"needed are {needed}; the line reads: {names}"
        raise InputError(f"there is no column {missing[0]}", path=path, line=line, hint=hint)
    return Table(path, {column.name: column for column in columns}, tuple(h.strip() for h in headings), found)


def _check_one_frequency(table: Table) -> None:
    """Refuse a table in which two headings are those of the frequency and what is below them differs."""
    found = [one for one in table.columns.values() if one.words[0] == "frequency" and one.name in table.found]
    for column in found:
        claims = [(claim.index, claim.unit) for claim in claims_of(column, table.headings)]
        differ = first_difference(claims, table.headings, [(row.line, row.cells) for row in table.rows])
        if differ is not None:
            what = f"two columns hold frequencies and differ ({'; '.join(differ.readings)})"
            hint = "rename or remove the one that is not meant"
            raise InputError(what, path=table.path, line=differ.line, hint=hint)


def _notation(table: Table) -> Notation:
    """The decimal mark of the file, from all its number cells."""
    evidence: dict[str, tuple[Row, str, str]] = {}
    undecided: tuple[Row, str, str] | None = None
    for row in table.rows:
        for name, column in table.columns.items():
            if (column.quantity is not None or column.is_number) and not _FILE_NAME.search(row.text(name)):
                for token in NUMBER.findall(normalise(row.text(name))):
                    mark = decimal_mark(token, frequency_unit(row, name))
                    if mark == "?":
                        undecided = undecided or (row, name, token)
                    elif mark:
                        evidence.setdefault(mark, (row, name, token))
    if len(evidence) > 1:
        (row, name, token), (other, _, other_token) = evidence[","], evidence["."]
        what = f"{told_mark(token, ',')}, and {told_mark(other_token, '.')} in line {other.line}"
        raise row.wrong(name, what, hint="write all numbers of the table with the same decimal mark")
    if not evidence and undecided is not None:
        row, name, token = undecided
        what = f"{quoted(token)} may be {token.replace(',', '.')} or {token.replace(',', '')}"
        raise row.wrong(name, what, hint="write it with a decimal point, and without a mark between thousands")
    decimal = next(iter(evidence), ".")
    return Notation(decimal, ("," if decimal == "." else ".") + "' \u00a0")


def frequency_unit(row: Row, name: str, told: str | None = None) -> str | None:
    """The unit of a cell's frequencies in lower case: its own, what is ``told``, or the heading's; empty where nothing
    says it, ``None`` where the column holds no frequencies.
    """
    if row.table.columns[name].quantity is not FREQUENCY:
        return None
    return (frequency_unit_named(row.text(name)) or told or row.table.found[name].unit or "").lower()


def decimal_mark(token: str, unit: str | None) -> str | None:
    """The mark that must be the decimal one in this number; ``?`` where it may group digits; None without evidence.

    ``unit``: that of a frequency, as ``frequency_unit`` gives it. A frequency below 20 MHz is none of ours, so that
    ``1,785`` MHz groups and ``470,125`` MHz does not, but ``470,125`` kHz does. A mark that stands twice groups.
    """
    marks = [sign for sign in token if sign in ".,"]
    if not marks:
        return None
    if len(set(marks)) == 2:
        return marks[-1]
    other = "," if marks[0] == "." else "."
    if len(marks) > 1:
        return other if _GROUPED.fullmatch(token) else None
    whole, after = token.split(marks[0])
    if len(after) != 3 or whole == "0" or len(whole) > 3:
        return marks[0]
    if unit is None:
        return "?" if marks[0] == "," else None
    lowest = PLAUSIBLE["hz"][0] / FREQUENCY.units[unit or "mhz"]
    if int(whole) >= lowest:
        return marks[0]
    return other if unit in ("hz", "khz") and int(whole + after) >= lowest else None


def told_mark(token: str, mark: str) -> str:
    """That a number has this decimal mark, or shows it by the other one between its thousands."""
    if mark in token:
        return f"{quoted(token)} has a decimal {'comma' if mark == ',' else 'point'}"
    return f"{quoted(token)} has a {'point' if mark == ',' else 'comma'} between its thousands"


def _unit(table: Table, name: str) -> str:
    """The unit of the numbers without one in a column: its heading's, or what alone makes sense of them."""
    quantity = table.columns[name].quantity
    stated = table.found[name].unit
    if quantity is None or stated is not None:
        return stated or ""
    bare = [(row, number) for row in table.rows for number in bare_numbers(row, name)]
    if bare and quantity.must_say:
        raise bare[0][0].wrong(
            name, "no unit is stated", hint=f"name the column {name}, or write the unit in the cells"
        )
    if not bare or quantity is not FREQUENCY:
        return quantity.usual
    fitting = [unit for unit, (low, high) in PLAUSIBLE.items() if all(low <= number < high for _, number in bare)]
    if len(fitting) != 1:
        raise bare[0][0].wrong(name, "the unit of the frequencies is not clear", hint=f"name the column {name}")
    return fitting[0]


def bare_numbers(row: Row, name: str) -> Iterator[Decimal]:
    """The numbers of a cell that carry no unit."""
    text = normalise(row.text(name))
    if re.search(r"[a-zA-Z]", text):
        return
    for item in re.split(r"[;|\n/]|,\s|(?<=\d)\s*-\s*|\.\.", text):
        number = row.table.notation.number(item.strip())
        if number is not None:
            yield Decimal(number.text)
