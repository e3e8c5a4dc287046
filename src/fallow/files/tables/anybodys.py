"""Anybody's table read by evidence: what its columns mean, the values that it gives, and every cell that is in doubt.

The cells go through the same functions as those of our own tables, so that nothing is understood more loosely; but
where ``read_links`` and its like refuse a table at the first bad cell, here the cell is left empty, or its row is left
out, and both are listed. What can't be settled for the whole table is asked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from fallow.errors import InputError, QuestionError, UsageError
from fallow.files.numbers import Notation
from fallow.files.source import normalise
from fallow.files.tables.area_matrix import as_pairs
from fallow.files.tables.code_pages import CodePage, are_garbled, check_encoding, code_page_of
from fallow.files.tables.column_words import meant, with_everybodys_words
from fallow.files.tables.columns import FREQUENCY, PLAUSIBLE, POWER, WIDTH, Found, Quantity, plain_heading
from fallow.files.tables.evidence import (
    Match,
    TableTelling,
    column_named,
    is_named,
    matched,
    perhaps_frequencies,
    told_columns,
)
from fallow.files.tables.grid import (
    NUMBER,
    FilePath,
    Records,
    Row,
    Table,
    bare_numbers,
    decimal_mark,
    frequency_unit,
    told_mark,
)
from fallow.files.tables.said_otherwise import off_in, turned, with_one_spelling
from fallow.files.tables.scene_lists import scenes_in
from fallow.files.tables.shape import BLANKS, heading_at, headings_and_rows, known_headings, split_anyhow
from fallow.files.tables.show_tables import station_from
from fallow.files.tables.table_kinds import TableKind, table_kind
from fallow.files.tables.two_ends import ends_in, joined
from fallow.files.tables.two_frequencies import first_difference, twin_difference
from fallow.files.wording import quoted, says_not_measured, says_nothing

__all__ = ["ColumnRead", "Doubt", "TableRead", "TableTelling", "read_by_evidence"]

_USUAL = {  # sizes of numbers by which a unit is told where none is stated; common practice
    WIDTH.usual: {
        "khz": (Decimal(5), Decimal(20_000)),
        "mhz": (Decimal("0.005"), Decimal(5)),
        "hz": (Decimal(20_000), Decimal(10**8)),
    },
    POWER.usual: {"mw": (Decimal(1), Decimal(5_000)), "w": (Decimal("0.001"), Decimal(1))},
}
_NOWHERE = Found(2**30, "", None)
_TV_WIDTHS = (5, 6, 7, 8, 10)  # MHz, Rec. ITU-R BT.1306: 6, 7, 8; 5 and 10 of mobile carriers, common practice
_SPELLED = {"hz": "Hz", "khz": "kHz", "mhz": "MHz", "ghz": "GHz", "mw": "mW", "w": "W", "db": "dB", "dbm": "dBm"}


@dataclass(frozen=True)
class ColumnRead:
    """A column as it was understood. ``means``: ours, ``None``: kept as it is. ``unit``: of numbers without one."""

    number: int
    heading: str
    means: str | None
    unit: str | None
    how: str


@dataclass(frozen=True)
class Doubt:
    """A cell that could not be taken as it stands: where, what it says, why, and what was done about it."""

    line: int
    column: str
    cell: str
    why: str
    done: str


@dataclass(frozen=True, eq=False)
class TableRead:
    """A table as it was understood. ``values``: what its rows give, ``lines``: where each stood.

    ``left_out``: so many rows give nothing. ``heading_line``: ``None`` where there are no headings.
    """

    kind: str
    path: Path
    encoding: str
    delimiter: str
    decimal: str
    heading_line: int | None
    columns: tuple[ColumnRead, ...]
    values: tuple[Any, ...]
    lines: tuple[int, ...]
    doubts: tuple[Doubt, ...]
    notes: tuple[str, ...]
    left_out: int = 0


def read_by_evidence(path: FilePath, kind: str, telling: TableTelling) -> TableRead:
    """Read a table of ``links``, ``plan``, ``foreign``, ``equipment``, ``areas`` or ``stations`` in whatever shape.

    Raises InputError where it is no table, QuestionError where a column that must be there is not found or numbers can
    be read in two ways, UsageError for what can't be told.
    """
    path, what = Path(path), table_kind(kind)
    what = replace(what, columns=with_everybodys_words(what.columns))
    if kind == "stations" and "channel" in telling.known:
        raster = telling.known["channel"]
        what = replace(what, convert=lambda row: station_from(row, raster))
    page = _code_page(path, what, telling)
    split = split_anyhow(path, what.columns, telling.delimiter, page.name)
    at = heading_at(split.records, what.columns)
    headings, body = headings_and_rows(split.records, at)
    if kind == "areas":
        headings, body = as_pairs(headings, body) or (headings, body)
    headings, body, sure = _with_bands(what, headings, body, telling)
    body, otherwise = turned(what.columns, headings, body, telling)
    sure += otherwise
    matches = matched(headings, [cells for _, cells in body], what.columns, telling, sure)
    _ask_which(matches, headings, body, what, path)
    reading = _Reading(path, what, headings, telling, split.delimiter)
    if page.doubt is not None:
        reading.notes.append(page.doubt)
    elif are_garbled((headings, *(cells for _, cells in body))):
        reading.notes.append("some letters can't be read: the file is not in the encoding that it seems to be in")
    if kind in _MAY_BE_OFF:
        reading.doubts += [Doubt(*off, _OFF, "taken like the others") for off in off_in(headings, body, matches)]
    body, notes = with_one_spelling(body, matches, telling.known.get("area", ()))
    reading.notes += notes
    reading.fill(body, matches)
    reading.settle_numbers()
    reading.settle_lists()
    reading.convert()
    line = None if at is None else split.records[at][0]
    return reading.read(page.name, line, matches)


def _code_page(path: Path, kind: TableKind, telling: TableTelling) -> CodePage:
    """The encoding: what is told, else what the file says, else what its letters do."""
    if telling.encoding is not None:
        return CodePage(check_encoding(telling.encoding))
    return code_page_of(path, lambda text: known_headings(text, kind.columns))


def _with_bands(
    kind: TableKind, headings: tuple[str, ...], body: Records, telling: TableTelling
) -> tuple[tuple[str, ...], Records, list[Match]]:
    """The table with bands whose two ends stand in columns of their own as one, and what these columns are then."""
    ends = ends_in(headings, body) if kind.name in _MAY_HAVE_BANDS else None
    told = {match.index for match in told_columns(headings, kind.columns, telling)}
    if ends is None or told & {ends.low, ends.high}:
        return headings, body, []
    aside = [Match(None, at, headings[at], None, "an end of a band; kept as it is") for at in (ends.low, ends.high)]
    if kind.band is None or any(column_named(name, kind.columns).words[0] == kind.band for name in telling.columns):
        return headings, body, aside
    others = ["" if at in (ends.low, ends.high) else heading for at, heading in enumerate(headings)]
    if is_named(kind.band, others, [cells for _, cells in body], kind.columns):
        return headings, body, aside
    how = "both ends of its band" if kind.name == "equipment" else _BAND_OF_A_STRANGER
    headings, body = joined(ends, headings, body)
    column = column_named(kind.band, kind.columns)
    upper = replace(aside[1], how="the upper ends of the bands")
    return headings, body, [Match(column.name, ends.low, headings[ends.low], ends.low_unit, how), upper]


def _ask_which(matches: Sequence[Match], headings: Sequence[str], body: Records, kind: TableKind, path: Path) -> None:
    """Raise QuestionError where two columns may be the same one of ours, and differ."""
    perhaps = perhaps_frequencies(matches, headings, [cells for _, cells in body], kind.columns)
    differ = first_difference(perhaps, headings, body)
    if differ is not None:
        asked = f"two columns hold frequencies and differ in line {differ.line}: which one is meant?"
        hint = "say it by heading or number: --column frequency=HEADING"
        raise QuestionError(asked, readings=differ.readings, path=path, hint=hint)
    for match in matches:
        if match.column in (None, "note", "source") or match.how == "told":
            continue
        differ = twin_difference(match.index, headings, body)
        if differ is not None:
            heading = " ".join(match.heading.split())
            asked = f"two columns are called {quoted(heading)} and differ in line {differ.line}: which one is meant?"
            name = column_named(match.column, kind.columns).words[0]
            hint = f"say it by its number: --column {name}={match.index + 1}"
            raise QuestionError(asked, readings=differ.readings, path=path, hint=hint)


_MAY_HAVE_BANDS = ("foreign", "equipment", "links", "plan")
_MAY_BE_OFF, _OFF = ("links", "plan"), "it says that the link is off"
_BAND_OF_A_STRANGER = "both ends of its band: centre and width; without a spacing, links keep half the width"


@dataclass
class _Reading:
    """A table while it is read by evidence."""

    path: Path
    kind: TableKind
    headings: tuple[str, ...]
    telling: TableTelling
    delimiter: str
    doubts: list[Doubt] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    assumed: dict[str, str] = field(default_factory=dict)
    values: list[Any] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    left_out: int = 0
    emptied: dict[tuple[int, str], int] = field(default_factory=dict)

    def fill(self, body: Records, matches: Sequence[Match]) -> None:
        """The cells in our own words where they are words, with what she said that all rows have."""
        columns = {column.name: column for column in self.kind.columns}
        found = {
            match.column: Found(match.index, match.heading, match.unit) for match in matches if match.column is not None
        }
        fills = {column_named(name, self.kind.columns).name: value for name, value in self.telling.fills.items()}
        for place, name in enumerate(fills):
            found[name] = Found(len(self.headings) + place, f"--fill {name}", None)
        rest = self._lacking(found)
        for place, name in enumerate(rest, len(self.headings) + len(fills)):
            found[name] = Found(place, f"{name} of the show", None)
        self._check_needed(found)
        lacks_names = self.kind.may_lack is not None and self.kind.may_lack not in found
        if lacks_names:
            found[self.kind.names] = Found(len(self.headings) + len(fills), "", None)
            self.notes.append("no column names them: each is called by its line")
        self.table = Table(self.path, columns, self.headings, found)
        for line, cells in body:
            if any(cell.strip() for cell in cells[len(self.headings) :]):
                row = Row(self.table, line, cells)
                self._leave_out(row, "", f"{len(cells)} cells, but there are {len(self.headings)} columns")
                continue
            if len(cells) < len(self.headings) and self.delimiter == BLANKS:
                row = Row(self.table, line, cells)
                self._leave_out(
                    row, "", f"only {len(cells)} of {len(self.headings)} cells, and blanks do not tell which"
                )
                continue
            cells = [*cells, *[""] * (len(self.headings) - len(cells))][: len(self.headings)]
            called = (f"line {line}",) if lacks_names else ()
            row = Row(self.table, line, [*self._meant(cells, found), *fills.values(), *called])
            if rest:
                self._complete(row, rest)
            else:
                self.table.rows.append(row)

    def _lacking(self, found: Mapping[str, Found]) -> tuple[str, ...]:
        """The columns that a plan leaves to the show's links."""
        if self.kind.name != "plan" or not self.telling.rest or "link" not in found or "equipment" in found:
            return ()
        lacking = tuple(name for name in ("equipment", "area", "scenes") if name not in found)
        self.notes.append(f"{', '.join(lacking)}: as the show's links have it")
        return lacking

    def _complete(self, row: Row, lacking: Sequence[str]) -> None:
        """Enter the row with what the show knows of its link; a link that the show lacks is left out."""
        said, rest = row.text("link"), self.telling.rest
        name = said if said in rest else next((one for one in rest if plain_heading(one) == plain_heading(said)), None)
        if not said or name is None:
            self._leave_out(row, "link", "the show has no link of that name, and the table says no equipment")
            return
        if name != said:
            self.notes.append(f"{quoted(said)} is taken as the show's link {quoted(name)}")
        at = self.table.found["link"].index
        cells = [*row.cells[:at], name, *row.cells[at + 1 :], *(rest[name].get(one, "") for one in lacking)]
        self.table.rows.append(Row(self.table, row.line, cells))

    def _meant(self, cells: Sequence[str], found: Mapping[str, Found]) -> list[str]:
        by_index = {one.index: name for name, one in found.items()}
        meaning = []
        for index, cell in enumerate(cells):
            name = by_index.get(index, "")
            column = self.table.columns.get(name)
            is_number = column is not None and (column.quantity is not None or column.is_number)
            says_none = says_not_measured(cell) if is_number else name in ("area", "group") and says_nothing(cell)
            meaning.append("" if says_none else meant(cell, name))
        return meaning

    def _check_needed(self, found: Mapping[str, Found]) -> None:
        for column in self.kind.columns:
            if column.required and column.name not in found and column.name != self.kind.may_lack:
                word = column.words[0]
                names = tuple(" ".join(one.split()) or f"column {n}" for n, one in enumerate(self.headings, 1))
                hint = f"say which: --column {word}=HEADING; or what all rows have: --fill {word}=VALUE"
                raise QuestionError(f"no column is known to be {word}", readings=names, path=self.path, hint=hint)

    def settle_numbers(self) -> None:
        """Decimal mark and units of the table: what is told, else what most cells say; the others are in doubt."""
        self.table.notation = self._notation()
        for name, column in self.table.columns.items():
            if name in self.table.found and column.quantity is not None:
                self.table.units[name] = self._unit(name, column.quantity)

    def settle_lists(self) -> None:
        """What the cells under scenes and group name; where two readings remain they are asked."""
        for name in ("scenes", "group"):
            if self.table.found.get(name, _NOWHERE).index < len(self.headings):
                self._settle_list(name)

    def _settle_list(self, name: str) -> None:
        cells, known = [row.text(name) for row in self.table.rows], self.telling.known.get(name, ())
        noun = name.removesuffix("s")
        found = scenes_in(cells, known, self.telling.scenes, is_ours=name != "scenes", noun=noun)
        asked = found.still_open
        if asked is not None:
            row = next(row for row in self.table.rows if row.text(name) == asked.cell)
            raise QuestionError(
                f"{quoted(asked.item)} under {name} can be read in two ways",
                readings=asked.readings, path=self.path, line=row.line, column=self._heading(name),
                hint="say it: --scenes lists, or --scenes names (only a semicolon stands between)",
            )  # fmt: skip
        for row in self.table.rows:
            if row.text(name) in found.unclear:
                self._empty(row, name, found.unclear[row.text(name)])
        self.table.lists[name] = found.names
        self.notes += found.notes

    def _notation(self) -> Notation:
        told = self.telling.decimal
        votes: Counter[str] = Counter()
        tokens = list(self._number_tokens())
        for _, _, mark, _ in tokens:
            votes[mark] += 1
        undecided = votes.pop("?", 0)
        if told is None and not votes and undecided:
            row, name, _, token = tokens[0]
            what = f"{quoted(token)} may be {token.replace(',', '.')} or {token.replace(',', '')}"
            hint = "say which mark is the decimal one: --decimal , or --decimal ."
            raise QuestionError(what, path=self.path, line=row.line, column=self._heading(name), hint=hint)
        decimal = told or max(votes, key=lambda mark: (votes[mark], mark == "."), default=".")
        other = "," if decimal == "." else "."
        for row, name, mark, token in tokens:
            if mark == other:
                self._empty(row, name, f"{told_mark(token, mark)}, the table another mark")
        return Notation(decimal, other + "' \u00a0")

    def _number_tokens(self) -> Iterator[tuple[Row, str, str, str]]:
        """Every number that says something about the decimal mark, with the mark (``?``: it may be either)."""
        for row in self.table.rows:
            for name, column in self.table.columns.items():
                if name in self.table.found and (column.quantity is not None or column.is_number):
                    for token in NUMBER.findall(normalise(row.text(name))):
                        mark = decimal_mark(token, frequency_unit(row, name, self.telling.unit))
                        if mark is not None:
                            yield row, name, mark, token

    def _unit(self, name: str, quantity: Quantity) -> str:
        """The unit of numbers without one; where the table does not say it, what most of them can be."""
        stated = self.table.found[name].unit
        if quantity is FREQUENCY and self.telling.unit is not None:
            stated = self.telling.unit.lower()
        bare = [number for row in self.table.rows for number in bare_numbers(row, name)]
        ranges = _frequencies() if quantity is FREQUENCY else _USUAL.get(quantity.usual, {})
        if not bare or not ranges or (stated is not None and quantity is not FREQUENCY):
            return stated or quantity.usual
        fits = {unit: sum(low <= one < high for one in bare) for unit, (low, high) in ranges.items()}
        unit = stated or max((one for one in fits if one != "ghz"), key=lambda one: fits[one])
        if stated is None and quantity is FREQUENCY and fits[unit] * 2 <= len(bare):
            raise QuestionError("the unit of the frequencies is not clear", path=self.path, hint="say it: --unit MHz")
        if stated is None and quantity is not FREQUENCY:
            self.assumed[name] = f"no unit is stated: taken as {_spelled(unit)} by the size of its numbers"
            self._doubt_widths(name, quantity)
        self._doubt_sizes(name, unit, *ranges[unit])
        return unit

    def _doubt_widths(self, name: str, quantity: Quantity) -> None:
        """Widths without any unit that may be those of TV channels in MHz, or narrow ones in kHz."""
        for row in self.table.rows if quantity is WIDTH else ():
            if any(one in _TV_WIDTHS for one in bare_numbers(row, name)):
                self._empty(row, name, "without a unit it may be MHz or kHz")

    def _doubt_sizes(self, name: str, unit: str, low: Decimal, high: Decimal) -> None:
        """Numbers that can't be what the column holds, in its unit."""
        for row in self.table.rows:
            if any(not low <= number < high for number in bare_numbers(row, name)):
                self._empty(row, name, f"the number does not fit the others in {_spelled(unit)}")

    def convert(self) -> None:
        """Each row as a value; a cell that is wrong is left empty, a row that can't do without it left out."""
        seen: dict[str, tuple[int, str]] = {}
        for row in [one for whole in self.table.rows for one in self.kind.rows(whole)]:
            value = self._converted(self._named(row))
            key = None if value is None else self.kind.key(value)
            if key in seen and self.kind.rename is not None:
                called = f"{key}, line {row.line}"
                self._doubt(row, self.kind.names, "another row has that name", f"called {quoted(called)}")
                value = self.kind.rename(value, called)
                key = self.kind.key(value)
            figure = "" if value is None else self.kind.figure(value)
            if key in seen:
                first, other = seen[key]
                if not figure or figure != other:
                    with_what = f" with {other}, here {figure}" if figure else ""
                    self._leave_out(row, self.kind.names, f"{quoted(key)} stands in line {first} already{with_what}")
            elif value is not None:
                self.values.append(value)
                self.lines.append(row.line)
            if key is not None:
                seen.setdefault(key, (row.line, figure))

    def _named(self, row: Row) -> Row:
        """The row; a stranger without a name is called by its line."""
        name = self.kind.names
        if self.kind.rename is None or row.text(name):
            return row
        called = f"line {row.line}"
        self._doubt(row, name, "the cell is empty", f"called {quoted(called)}")
        index = self.table.found[name].index
        return Row(row.table, row.line, [*row.cells[:index], called, *row.cells[index + 1 :]])

    def _converted(self, row: Row) -> Any:
        for _ in range(len(self.table.columns) + 1):
            try:
                return self.kind.convert(row)
            except InputError as error:
                name = self._column_of(error)
                if name is None or not row.text(name) or self.table.columns[name].required:
                    self._leave_out(row, name or str(error.column or ""), error.what)
                    return None
                if self.table.found[name].index >= len(self.headings):
                    raise UsageError(f"--fill {name}: {error.what}", hint=error.hint) from error
                row = self._empty(row, name, error.what)
        return None

    def _column_of(self, error: InputError) -> str | None:
        """The column of ours that an error is about."""
        for name, found in self.table.found.items():
            if error.column in (name, " ".join(found.heading.split())):
                return name
        return None

    def _empty(self, row: Row, name: str, why: str) -> Row:
        """The row without that cell, in the table too."""
        self.emptied[row.line, name] = len(self.doubts)
        self._doubt(row, name, why, "left empty")
        index = self.table.found[name].index
        cells = [*row.cells[:index], "", *row.cells[index + 1 :]]
        emptied = Row(row.table, row.line, cells)
        self.table.rows = [emptied if one is row else one for one in self.table.rows]
        return emptied

    def _leave_out(self, row: Row, name: str, why: str) -> None:
        self.left_out += 1
        earlier = self.emptied.get((row.line, name))
        if earlier is None:
            self._doubt(row, name, why, "row left out")
        else:  # it is empty because it was in doubt
            self.doubts[earlier] = replace(self.doubts[earlier], done="row left out")

    def _doubt(self, row: Row, name: str, why: str, done: str) -> None:
        cell = row.text(name) if name else " ".join(" | ".join(row.cells).split())[:60]
        self.doubts.append(Doubt(row.line, self._heading(name), cell, why, done))

    def _heading(self, name: str) -> str:
        found = self.table.found.get(name)
        return name if found is None or not found.heading else " ".join(found.heading.split())

    def read(self, encoding: str, line: int | None, matches: Sequence[Match]) -> TableRead:
        """All of it as a value."""
        by_index = {match.index: match for match in matches}
        delimiter = {"\t": "tab"}.get(self.delimiter, self.delimiter)
        columns = [self._column(index, by_index.get(index)) for index in range(len(self.headings))]
        doubts = sorted(self.doubts, key=lambda doubt: doubt.line)
        return TableRead(
            self.kind.name, self.path, encoding, delimiter, self.table.notation.decimal, line, tuple(columns),
            tuple(self.values), tuple(self.lines), tuple(doubts), tuple(self.notes), self.left_out,
        )  # fmt: skip

    def _column(self, index: int, match: Match | None) -> ColumnRead:
        heading = " ".join(self.headings[index].split())
        if match is None:
            return ColumnRead(index + 1, heading, None, None, "kept as it is" if self.kind.keeps_extra else "left out")
        unit = None if match.column is None else self.table.units.get(match.column)
        how = f"{match.how}; {self.assumed[match.column]}" if match.column in self.assumed else match.how
        return ColumnRead(index + 1, heading, match.column, None if unit is None else _spelled(unit), how)


def _frequencies() -> dict[str, tuple[Decimal, Decimal]]:
    """What numbers the frequencies of radio links have in each unit."""
    low, high = PLAUSIBLE["hz"]
    return {unit: (low / factor, high / factor) for unit, factor in FREQUENCY.units.items()}


def _spelled(unit: str) -> str:
    """A unit as people write it."""
    return _SPELLED.get(unit, unit)
