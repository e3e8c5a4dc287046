"""Which table of a show a file is, if any: its headings tell, before anything is read as one."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from fallow.errors import InputError
from fallow.files.source import TextFile
from fallow.files.tables.chain_table import CHAIN_COLUMNS
from fallow.files.tables.columns import Column, find_columns
from fallow.files.tables.grid import FilePath
from fallow.files.tables.group_table import GROUP_COLUMNS
from fallow.files.tables.plan_table import PLAN_COLUMNS
from fallow.files.tables.show_tables import (
    AREA_COLUMNS,
    EQUIPMENT_COLUMNS,
    FOREIGN_COLUMNS,
    LINK_COLUMNS,
    STATION_COLUMNS,
)

__all__ = ["is_plan", "tables_it_may_be"]

_KINDS: Mapping[str, Sequence[Column]] = {
    "links": LINK_COLUMNS,
    "plan": PLAN_COLUMNS,
    "equipment": EQUIPMENT_COLUMNS,
    "areas": AREA_COLUMNS,
    "groups": GROUP_COLUMNS,
    "foreign": FOREIGN_COLUMNS,
    "stations": STATION_COLUMNS,
    "chain": CHAIN_COLUMNS,
}
_ONE_NEEDED = tuple(kind for kind, columns in _KINDS.items() if sum(column.required for column in columns) < 2)
_HEAD_BYTES = 65536
_TITLE_LINES = 10  # how far down headings are looked for, as in a table
_MOST_HEADINGS = 300  # a line of more is one of sweeps
_DELIMITERS = (",", ";", "\t", "|")


def is_plan(path: FilePath) -> bool:
    """Whether one of the first lines holds the headings link, equipment and frequency, in whatever spelling."""
    return any(_known(headings, PLAN_COLUMNS) for headings in _first_rows(Path(path)))


def tables_it_may_be(path: FilePath) -> tuple[str, ...]:
    """The kinds of table whose headings one of the first lines holds, of those only the ones that explain most of them.

    Several: their headings do not tell which. None: it is no table of a show. Where one heading is enough
    for a kind, all must be known, two at least: a table of sweeps may have a column for the channel too.
    """
    for headings in _first_rows(Path(path)):
        known = {kind: _known(headings, columns) for kind, columns in _KINDS.items()}
        known |= {kind: 0 for kind in _ONE_NEEDED if known[kind] < max(2, len(headings))}
        most = max(known.values())
        if most:
            return tuple(kind for kind, count in known.items() if count == most)
    return ()


def _first_rows(path: Path) -> Iterator[list[str]]:
    """The cells of the first lines, by each delimiter that may stand between them; nothing of what is no text."""
    if not path.is_file():
        return
    try:
        encoding = TextFile.open(path).encoding
    except InputError:
        return  # no text: whoever reads it as sweeps says what it is
    with path.open("rb") as stream:
        head = stream.read(_HEAD_BYTES).decode(encoding, errors="replace").removeprefix("\ufeff")
    for line in [line for line in head.splitlines() if line.strip()][: _TITLE_LINES + 1]:
        for delimiter in _DELIMITERS:
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
            if len(cells) <= _MOST_HEADINGS:
                yield cells


def _known(headings: Sequence[str], columns: Sequence[Column]) -> int:
    """How many headings are columns of a table; 0 where one that it needs is missing."""
    worded = [heading for heading in headings if any(letter.isalpha() for letter in heading)]
    found = find_columns(worded, columns)[0] if worded else {}
    return len(found) if all(column.name in found for column in columns if column.required) else 0
