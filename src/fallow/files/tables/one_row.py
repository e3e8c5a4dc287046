"""One row of a table of ours, typed cell by cell: what is said of one value goes through the reader of its table."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, Generic, TypeVar

from fallow.errors import InputError, UsageError
from fallow.files.tables.chain_table import CHAIN_COLUMNS, part_from
from fallow.files.tables.columns import Column, Found, find_columns
from fallow.files.tables.foreign_table import foreign_cells
from fallow.files.tables.grid import Row, Table
from fallow.files.tables.group_table import GROUP_COLUMNS, rule_from
from fallow.files.tables.show_tables import (
    EQUIPMENT_COLUMNS,
    FOREIGN_COLUMNS,
    LINK_COLUMNS,
    STATION_COLUMNS,
    equipment_from,
    foreign_from,
    link_from,
    station_from,
)
from fallow.files.tables.writing import (
    equipment_cells,
    link_cells,
    part_cells,
    rule_cells,
    station_cells,
)
from fallow.show.equipment import Equipment
from fallow.show.grouping import Apart, Together
from fallow.show.link import ForeignCarrier, Link, Station
from fallow.spectrum.chain import ChainPart

__all__ = ["CHAIN", "EQUIPMENT", "FOREIGN", "GROUPS", "LINKS", "STATIONS", "Cells", "RowKind", "edited", "made"]

Cells = Mapping[str, str]
T = TypeVar("T")
_NEAR = 0.8  # spacing_kz is nearly spacing_khz, fixed_by is not fixed


@dataclass(frozen=True)
class RowKind(Generic[T]):
    """One table of ours. ``read``: a row as a value; ``cells``: the cells of a value; ``keeps_more``: whether cells
    under headings that are not known stay with the value. ``follow``: fields that are made from the cell of a column.
    """

    word: str
    columns: Sequence[Column]
    read: Callable[[Row], T]
    cells: Callable[[T], Cells]
    keeps_more: bool = False
    follow: tuple[str, tuple[str, ...]] = ("", ())


EQUIPMENT: RowKind[Equipment] = RowKind("equipment", EQUIPMENT_COLUMNS, equipment_from, equipment_cells)
LINKS: RowKind[Link] = RowKind("links", LINK_COLUMNS, link_from, link_cells, keeps_more=True)
FOREIGN: RowKind[ForeignCarrier] = RowKind("foreign", FOREIGN_COLUMNS, foreign_from, foreign_cells, keeps_more=True)
STATIONS: RowKind[Station] = RowKind("stations", STATION_COLUMNS, station_from, station_cells)
GROUPS: RowKind[Apart | Together] = RowKind("groups", GROUP_COLUMNS, rule_from, rule_cells)
CHAIN: RowKind[ChainPart] = RowKind(
    "chain",
    CHAIN_COLUMNS,
    part_from,
    part_cells,
    follow=("gain_db", ("gain_db", "reflections", "reverse_db", "gain_known", "notes")),
)


def made(kind: RowKind[T], cells: Cells) -> T:
    """The value that a row of these cells gives. Raises UsageError for a cell that is wrong, or a column unknown."""
    _check_columns(kind, cells)
    return _read(kind, cells)


def edited(kind: RowKind[T], value: T, cells: Cells) -> T:
    """A value with other cells; what no cell speaks of stays. Raises as ``made`` does."""
    before = kind.cells(value)
    _check_columns(kind, cells, before)
    old, new = _read(kind, before), _read(kind, {**before, **cells})
    record: Any = value  # each of these is a dataclass
    if type(old) is not type(new):
        return new
    names = {one.name for one in fields(record) if not _same(getattr(old, one.name), getattr(new, one.name))}
    names |= {*kind.follow[1]} if kind.follow[0] in cells else set()
    changed: T = replace(record, **{name: getattr(new, name) for name in names})
    return changed


def _same(one: Any, other: Any) -> bool:
    """Whether a field stayed; a curve read anew is another one."""
    return one is other or (type(one) is type(other) and not hasattr(one, "frequencies_hz") and bool(one == other))


def _check_columns(kind: RowKind[Any], cells: Cells, kept: Cells = MappingProxyType({})) -> None:
    """Raise UsageError for a column that the table does not have, or has under another name, or nearly under this one.

    ``kept``: cells that stay with the value already.
    """
    names = [column.name for column in kind.columns]
    for name in [name for name in cells if name not in kept]:
        known, _ = find_columns([name], kind.columns)
        if name not in names and known:
            raise UsageError(f"{name!r} is no column as fallow writes it", hint=f"write {next(iter(known))}=VALUE")
        if name not in names and not kind.keeps_more:
            raise UsageError(f"the table of {kind.word} has no column {name!r}", hint=f"it has {', '.join(names)}")
        near = [] if name in names else difflib.get_close_matches(name.lower(), names, 1, cutoff=_NEAR)
        if near:
            hint = f"did you mean {near[0]}? Call a column of your own otherwise"
            raise UsageError(f"the table of {kind.word} has no column {name!r}, but nearly", hint=hint)


def _read(kind: RowKind[T], cells: Cells) -> T:
    headings = tuple(cells)
    columns = {column.name: column for column in kind.columns}
    found = {name: Found(at, name, None) for at, name in enumerate(headings) if name in columns}
    usual = {name: quantity.usual for name in found if (quantity := columns[name].quantity) is not None}
    table = Table(Path(), columns, headings, found, units=usual)
    try:
        return kind.read(Row(table, 0, [cells[name] for name in headings]))
    except InputError as error:
        place = f"{error.column}: " if error.column else ""
        raise UsageError(f"{place}{error.what}", hint=error.hint) from error
