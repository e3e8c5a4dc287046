"""What others say otherwise: the other way round (*movable*), areas in two spellings; that links are off, which ours
can't say.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from fallow.files.tables.column_words import answer, headings_for
from fallow.files.tables.columns import Column, plain_heading
from fallow.files.tables.evidence import Match, TableTelling, is_named, told_columns
from fallow.files.tables.grid import Records
from fallow.files.tables.scene_lists import one_spelling
from fallow.files.wording import quoted, says_nothing

__all__ = ["off_in", "turned", "with_one_spelling"]

_TURNED = {"yes": "no", "no": "yes"}


def turned(
    columns: Sequence[Column], headings: Sequence[str], body: Records, telling: TableTelling
) -> tuple[Records, list[Match]]:
    """The rows with the cells of such a column said as ours says them, and which of ours it is then.

    A column that says it in our way beats it, and so does what she tells.
    """
    for column in columns:
        words = headings_for("opposites", column.name)
        at = next((at for at, heading in enumerate(headings) if plain_heading(heading) in words), None)
        told = {match.index for match in told_columns(headings, columns, telling)}
        taken = column.name in telling.fills or column.name in telling.columns or at in told
        if at is not None and not taken and not is_named(column.name, headings, [cells for _, cells in body], columns):
            how = "heading, the other way round"
            return [(line, _turned(cells, at)) for line, cells in body], [
                Match(column.name, at, headings[at], None, how)
            ]
    return body, []


def _turned(cells: Sequence[str], at: int) -> list[str]:
    """The cells with yes for no and no for yes there; what is neither stays, to be told."""
    return [_TURNED.get(answer(cell), cell) if index == at else cell for index, cell in enumerate(cells)]


def off_in(headings: Sequence[str], body: Records, matches: Sequence[Match]) -> Iterator[tuple[int, str, str]]:
    """Rows that say that a link is off (``active: no``, ``muted: yes``): line, heading and cell."""
    matched = {match.index for match in matches if match.column is not None}
    off = {"no": headings_for("states", "on"), "yes": headings_for("states", "off")}
    for line, cells in body:
        for at, (heading, cell) in enumerate(zip(headings, cells, strict=False)):
            if at not in matched and plain_heading(heading) in off.get(answer(cell), ()):
                yield line, " ".join(heading.split()), cell.strip()


def with_one_spelling(
    body: Records, matches: Sequence[Match], known: Collection[str]
) -> tuple[Records, tuple[str, ...]]:
    """The rows with one spelling for each area, the show's where it has one, and what is to be said of that."""
    at = {match.index for match in matches if match.column in ("area", "other")}
    said = [cell.strip() for _, cells in body for index, cell in enumerate(cells) if index in at]
    other = one_spelling([name for name in said if not says_nothing(name)], known)
    notes = tuple(f"the area {quoted(name)} is taken as {quoted(area)}" for name, area in other.items())
    spelt = [
        (line, [other.get(cell.strip(), cell) if index in at else cell for index, cell in enumerate(cells)])
        for line, cells in body
    ]
    return spelt, notes
