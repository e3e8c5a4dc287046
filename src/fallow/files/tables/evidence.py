"""Which column of anybody's table means what: by its heading in many languages, by a part of it, or by its cells."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

from fallow.errors import QuestionError, UsageError
from fallow.files.numbers import Notation
from fallow.files.source import normalise
from fallow.files.tables.column_words import meant
from fallow.files.tables.columns import FREQUENCY, PLAUSIBLE, Column, plain_heading, split_unit
from fallow.files.tables.two_frequencies import FrequencyColumn, frequencies_hz
from fallow.files.wording import frequency_unit_named, quoted
from fallow.show.equipment import Kind

__all__ = ["Match", "TableTelling", "column_named", "is_named", "matched", "perhaps_frequencies", "told_columns"]

Cells = Sequence[Sequence[str]]
_BEFORE_A_UNIT = re.compile(r"\b(?:in|en|em|w|i)\s+(?=\W*[kmg]?hz\b)", re.IGNORECASE)
_NEGATIONS = {
    "not",
    "no",
    "non",
    "nicht",
    "pas",
    "niet",
    "nie",
    "nao",
    "inte",
    "ohne",
    "without",
    "sin",
    "sans",
    "senza",
}
_MOST, _MANY, _SOME = 0.8, 0.6, 0.5  # shares of a column's cells that count as evidence for what it is
_UNREADABLE, _SHORT = 1.0, 2  # the score of a heading over such cells, and letters that say too little then
_BOTH_MARKS = (Notation(".", ",'\u00a0 "), Notation(",", ".'\u00a0 "))


@dataclass(frozen=True)
class TableTelling:
    """What she says of a table; it beats what fallow would conclude.

    ``columns``: which heading (or number of a column, from 1) is a column of ours, by the name of ours (``frequency``).
    ``fills``: what every row has in a column that the table lacks. ``decimal``, ``delimiter``: as in ``Telling``;
    ``unit``: of the frequencies. ``encoding``: of the file. ``scenes``: whether cells under scenes are ``lists`` or
    ``names``. ``known``: names that the show has, by the column in which they may stand. ``rest``: of the show's
    links, by name, what a plan may leave unsaid: equipment, area, scenes.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    fills: Mapping[str, str] = field(default_factory=dict)
    decimal: str | None = None
    delimiter: str | None = None
    unit: str | None = None
    known: Mapping[str, Collection[str]] = field(default_factory=dict)
    scenes: str | None = None
    rest: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    encoding: str | None = None


@dataclass(frozen=True)
class Match:
    """A column of the table that is one of ours. ``how``: ``told``, or the evidence in words.

    ``column``: its name, ``None`` where it is known to be none of ours.
    """

    column: str | None
    index: int
    heading: str
    unit: str | None
    how: str


def matched(
    headings: Sequence[str],
    cells: Cells,
    columns: Sequence[Column],
    telling: TableTelling,
    sure: Sequence[Match] = (),
) -> tuple[Match, ...]:
    """What the columns of a table mean, each at most once, the surest first. ``cells``: the rows below the headings.

    ``sure``: what is known of columns before. Raises UsageError for a told column that is not there.
    """
    found = told_columns(headings, columns, telling)
    for match in sure:
        _enter(match, found)
    claims = [
        (score, column, Match(column.name, index, heading, unit, how))
        for column in columns
        for index, heading in enumerate(headings)
        for score, unit, how in _claims(column, heading, [row[index] for row in cells if index < len(row)])
    ]
    claims.sort(key=lambda claim: (-claim[0], columns.index(claim[1]), claim[2].index))
    readable = [match for score, _, match in claims if score > _UNREADABLE]
    for match in readable:
        _enter(match, found)
    for column in columns:
        for match in _by_content(column, headings, cells, found, telling.known):
            _enter(match, found)
    for _, _, match in claims[len(readable) :]:
        _enter(match, found)
    return tuple(sorted(found, key=lambda match: match.index))


def _are_alike(chosen: Match | None, other: Sequence[str], cells: Cells) -> bool:
    """Whether the numbers of another column lie where those of the chosen one do, whatever its heading says."""
    if chosen is None:
        return False
    own = [row[chosen.index] for row in cells if chosen.index < len(row)]
    ours_hz, others_hz = ({hz for cell in of for hz in frequencies_hz(cell, None)} for of in (own, other))
    if not ours_hz or not others_hz:
        return False
    return min(ours_hz) / 2 <= min(others_hz) and max(others_hz) <= 2 * max(ours_hz)


def told_columns(headings: Sequence[str], columns: Sequence[Column], telling: TableTelling) -> list[Match]:
    """What she says that columns are. Raises UsageError for one that is not there."""
    return [_told(name, heading, headings, columns) for name, heading in telling.columns.items()]


def is_named(name: str, headings: Sequence[str], cells: Cells, columns: Sequence[Column]) -> bool:
    """Whether the whole heading of some column says that it is this one."""
    column = column_named(name, columns)
    below = [[row[index] for row in cells if index < len(row)] for index in range(len(headings))]
    said = (_claims(column, heading, below[index]) for index, heading in enumerate(headings))
    return any(score > _UNREADABLE and how != "part of the heading" for claims in said for score, _, how in claims)


def perhaps_frequencies(
    matches: Sequence[Match], headings: Sequence[str], cells: Cells, columns: Sequence[Column]
) -> list[FrequencyColumn]:
    """The columns that may be the frequency, with the units of their headings; none where she has told which it is."""
    column = next((one for one in columns if one.words[0] == "frequency"), None)
    chosen = next((match for match in matches if column is not None and match.column == column.name), None)
    if column is None or (chosen is not None and chosen.how == "told"):
        return []
    free = [index for index in range(len(headings)) if all(match.index != index for match in matches)]
    below = {index: [row[index].strip() for row in cells if index < len(row) and row[index].strip()] for index in free}
    by_word = chosen is not None and chosen.how == "heading"
    rivals = [
        index
        for index in free
        if _are_frequencies(below[index])
        and (not by_word or _claims(column, headings[index], below[index]) or _are_alike(chosen, below[index], cells))
    ]
    places = sorted([*rivals, *([] if chosen is None else [chosen.index])])
    return [(index, _unit(column, headings[index])) for index in places]


def _enter(match: Match, found: list[Match]) -> None:
    if all(match.index != one.index and (match.column is None or match.column != one.column) for one in found):
        found.append(match)


def column_named(name: str, columns: Sequence[Column]) -> Column:
    """A column of ours by its name, with or without the unit. Raises UsageError where there is none."""
    for column in columns:
        if name.strip().lower() in (column.name, column.words[0]):
            return column
    hint = f"it is one of {', '.join(column.words[0] for column in columns)}"
    raise UsageError(f"there is no column {quoted(name)} in such a table", hint=hint)


def _told(name: str, heading: str, headings: Sequence[str], columns: Sequence[Column]) -> Match:
    column = column_named(name, columns)
    at = [index for index, one in enumerate(headings) if plain_heading(one) == plain_heading(heading)]
    if heading.isdecimal() and heading.isascii() and 1 <= int(heading) <= len(headings):
        at = at or [int(heading) - 1]
    if not at:
        hint = f"the columns are: {', '.join(' '.join(one.split()) or 'one without a name' for one in headings)}"
        raise UsageError(f"the table has no column {quoted(heading)}", hint=hint[:300])
    if len(at) > 1:
        readings = tuple(f"column {index + 1}" for index in at)
        hint = f"give its number: --column {column.words[0]}={at[0] + 1}"
        raise QuestionError(f"several columns are called {quoted(heading)}", readings=readings, hint=hint)
    return Match(column.name, at[0], headings[at[0]], _unit(column, headings[at[0]]), "told")


def _claims(column: Column, heading: str, cells: Sequence[str]) -> list[tuple[float, str | None, str]]:
    """How strongly a heading says that it is this column (none: not at all), with the unit that it carries."""
    plain = plain_heading(_BEFORE_A_UNIT.sub("", heading))
    base, unit = split_unit(plain)
    if column.quantity is None:
        base, unit = plain, None
    elif unit is not None and unit not in column.quantity.units:
        return []
    if not _cells_fit(column, cells):
        return _claims_of_unreadable(column, base)
    if column.quantity is FREQUENCY and plain in FREQUENCY.units and column.words[0] == "frequency":
        return [(75.0, plain, "the heading is its unit")]
    words = [plain_heading(word) for word in column.words]
    if plain == column.name or base == words[0]:
        return [(100.0 if plain == column.name else 90.0, unit, "heading")]
    if base in words:
        return [(80.0 - 0.05 * words.index(base) + _bonus(column, cells), unit, "heading")]
    parts = [
        word for word in words if _is_part(word, base) and not _NEGATIONS & ({*base.split("_")} - {*word.split("_")})
    ]
    return [(40.0 + max(map(len, parts)) / 10, unit, "part of the heading")] if parts else []


def _claims_of_unreadable(column: Column, base: str) -> list[tuple[float, str | None, str]]:
    """The weakest claim: the heading says that it is this column, and hardly a cell can be that. Each cell is told."""
    is_sure = not column.required and len(base) > _SHORT and base in map(plain_heading, column.words)
    return [(_UNREADABLE, None, "heading; hardly a cell can be read so")] if is_sure else []


def _unit(column: Column, heading: str) -> str | None:
    """The unit that a heading carries for this column."""
    unit = split_unit(plain_heading(heading))[1]
    if unit is None and column.quantity is FREQUENCY:
        named = frequency_unit_named(heading)
        unit = None if named is None else named.lower()
    return unit if column.quantity is not None and unit in column.quantity.units else None


def _is_part(word: str, base: str) -> bool:
    """Whether a word stands in a longer heading: as a word of its own, or as the end of a compound."""
    tokens = base.split("_")
    return (len(word) >= 3 and {*word.split("_")} <= {*tokens}) or (
        len(word) >= 6 and any(token.endswith(word) for token in tokens)
    )


def _bonus(column: Column, cells: Sequence[str]) -> float:
    """Of several columns that may be it: the kind where cells are kinds, the name where they are unlike."""
    if column.words[0] == "kind":
        return 25.0 if _share(cells, _is_kind) >= _SOME else -30.0
    if column.words[0] in ("link", "name", "equipment"):
        said = [cell.strip().lower() for cell in cells if cell.strip()]
        alike = 1 - len(set(said)) / len(said) if said else 0.0
        return -5.0 * alike if column.words[0] != "equipment" else 0.0
    return 0.0


def _cells_fit(column: Column, cells: Sequence[str]) -> bool:
    """Whether what stands below a heading may be what it says: some numbers where numbers are expected."""
    if column.quantity is None and not column.is_number:
        return True
    said = [cell for cell in cells if cell.strip()]
    return not said or _share(said, lambda cell: any(sign.isdecimal() for sign in cell)) >= _SOME


def _by_content(
    column: Column, headings: Sequence[str], cells: Cells, found: Sequence[Match], known: Mapping[str, Collection[str]]
) -> list[Match]:
    """The only column left whose cells can be this one; its heading says nothing."""
    if any(match.column == column.name for match in found):
        return []
    free = [index for index in range(len(headings)) if all(match.index != index for match in found)]
    below = {index: [row[index].strip() for row in cells if index < len(row) and row[index].strip()] for index in free}
    name = column.words[0]
    names = {one.casefold() for one in known.get(name, ())}
    if name == "frequency":
        fits = [index for index in free if _are_frequencies(below[index])][:1]  # others are asked about
    elif names:
        fits = [index for index in free if _share(below[index], lambda cell: cell.casefold() in names) >= _MANY]
    elif name == "kind":
        fits = [index for index in free if _share(below[index], _is_kind) >= _MANY]
    else:
        fits = []
    if not fits and name in ("link", "name") and not any(match.column == column.name for match in found):
        fits = [index for index in free if _are_names(below[index])][:1]
    unit = {index: _unit(column, headings[index]) for index in fits}
    return [Match(column.name, fits[0], headings[fits[0]], unit[fits[0]], "its cells")] if len(fits) == 1 else []


def _is_kind(cell: str) -> bool:
    return meant(cell, "kind").strip().lower() in list(Kind)


def _are_frequencies(cells: Sequence[str]) -> bool:
    """Whether nearly all cells are numbers that one unit makes frequencies of radio links."""
    return any(_share(cells, partial(_is_frequency, unit=unit)) >= _MOST for unit in PLAUSIBLE)


def _is_frequency(cell: str, unit: str) -> bool:
    """Whether a cell is one; a whole number without a unit could be anything that is counted in hundreds."""
    low, high = map(float, PLAUSIBLE[unit])
    for notation in _BOTH_MARKS:
        number = notation.number(normalise(cell).strip())
        if number is None or (number.suffix and number.suffix.lower() not in FREQUENCY.units):
            continue
        factor = float(FREQUENCY.units[number.suffix.lower() or unit] / FREQUENCY.units[unit])
        is_telling = bool(number.suffix) or unit != "mhz" or not number.value.is_integer()
        if is_telling and low <= number.value * factor < high:
            return True
    return False


def _are_names(cells: Sequence[str]) -> bool:
    """Whether the cells are words, nearly all different."""
    words = _share(cells, lambda cell: any(sign.isalpha() for sign in cell))
    return words >= _MOST and len({*cells}) >= 0.9 * len(cells)


def _share(cells: Sequence[str], fits: Callable[[str], bool]) -> float:
    return sum(fits(cell) for cell in cells) / len(cells) if cells else 0.0
