"""Levels of single carriers as they were measured, by the names of links or foreign carriers."""

from __future__ import annotations

from fallow.files.tables.columns import LEVEL, Column, text_column
from fallow.files.tables.grid import FilePath, read_table

__all__ = ["read_measured"]

_COLUMNS = (
    text_column("link", "name", "carrier", "strecke", "liaison", "enlace", "verbinding", required=True),
    Column(("level", "pegel", "niveau", "nivel"), LEVEL, required=True),
)
_LOWEST_DBM, _HIGHEST_DBM = -180.0, 40.0  # below: no receiver hears it; above: no antenna receives it


def read_measured(path: FilePath) -> dict[str, float]:
    """Levels [dBm] by name, at the antenna of the link's area and re 0 dBi. Raises InputError with line and column."""
    levels = {}
    for row in read_table(path, _COLUMNS).unique("link"):
        row.needed("level_dbm")
        level_dbm = float(row.number("level_dbm") or 0)
        if not _LOWEST_DBM <= level_dbm <= _HIGHEST_DBM:
            hint = f"levels are in dBm, {_LOWEST_DBM:g} to {_HIGHEST_DBM:g}"
            raise row.wrong("level_dbm", f"{row.text('level_dbm')!r} is no level at an antenna", hint=hint)
        levels[row.text("link")] = level_dbm
    return levels
