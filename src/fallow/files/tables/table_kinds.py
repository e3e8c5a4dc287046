"""The kinds of tables that are read by evidence: their columns, and how a row becomes a value."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fallow.errors import UsageError
from fallow.files.tables.columns import Column
from fallow.files.tables.grid import Row
from fallow.files.tables.plan_table import PLAN_COLUMNS, assignment_from
from fallow.files.tables.show_tables import (
    AREA_COLUMNS,
    EQUIPMENT_COLUMNS,
    FOREIGN_COLUMNS,
    LINK_COLUMNS,
    STATION_COLUMNS,
    areas_from,
    equipment_from,
    link_from,
    rows_of_channels,
    station_from,
)
from fallow.files.tables.two_ends import stranger_from
from fallow.files.wording import quoted
from fallow.show.assignment import Assignment

__all__ = ["TABLE_KINDS", "TableKind", "table_kind"]


@dataclass(frozen=True)
class TableKind:
    """A kind of table. ``convert``: a row as a value; ``key``: what no two rows may share. ``rows``: the rows that one
    row stands for.

    ``names``: the column that names a row. ``rename``: gives a row another name, where rows may lack or share one.
    ``keeps_extra``: whether values keep columns that we do not know. ``band``: the column that may be told by its two
    ends in columns of their own. ``figure``: what a value says where two rows of one key may differ, for people.
    """

    name: str
    columns: Sequence[Column]
    convert: Callable[[Row], Any]
    key: Callable[[Any], str | None]
    names: str
    rename: Callable[[Any, str], Any] | None = None
    keeps_extra: bool = True
    band: str | None = None
    rows: Callable[[Row], Sequence[Row]] = lambda row: (row,)
    figure: Callable[[Any], str] = lambda _: ""

    @property
    def may_lack(self) -> str | None:
        """The column that rows can do without although a value needs it: they are called by their lines."""
        return None if self.rename is None else self.names


def table_kind(name: str) -> TableKind:
    """The kind of table of that name. Raises UsageError where there is none."""
    if name not in TABLE_KINDS:
        raise UsageError(f"{quoted(name)} is no kind of table", hint=f"it is one of {', '.join(TABLE_KINDS)}")
    return TABLE_KINDS[name]


def _key_of_row(row: Assignment) -> str | None:
    return None if row.is_spare else row.link


TABLE_KINDS = {
    kind.name: kind
    for kind in (
        TableKind("links", LINK_COLUMNS, link_from, lambda link: link.name, "link"),
        TableKind("plan", PLAN_COLUMNS, assignment_from, _key_of_row, "link"),
        TableKind(
            "foreign",
            FOREIGN_COLUMNS,
            stranger_from,
            lambda one: one.name,
            "name",
            rename=lambda one, name: replace(one, name=name),
            band="frequency",
        ),
        TableKind(
            "equipment",
            EQUIPMENT_COLUMNS,
            equipment_from,
            lambda radio: radio.name,
            "equipment",
            keeps_extra=False,
            band="tuning",
        ),
        TableKind(
            "areas",
            AREA_COLUMNS,
            areas_from,
            lambda row: " / ".join(sorted(row[:2])),
            "area",
            keeps_extra=False,
            figure=lambda row: "apart" if row[2] is None else f"{row[2]:g} dB",
        ),
        TableKind(
            "stations",
            STATION_COLUMNS,
            station_from,
            lambda one: f"{one.channel} {one.area}".strip(),
            "channel",
            keeps_extra=False,
            rows=rows_of_channels,
        ),
    )
}
