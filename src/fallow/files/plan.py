"""How a file is to be read: the outcome of looking at its sample, before the whole of it is read."""

from __future__ import annotations

from dataclasses import dataclass

from fallow.files.axes import UnitChoice
from fallow.files.dialect import Dialect
from fallow.files.levels import LevelScale
from fallow.files.wording import FREQUENCY_FACTORS_HZ

__all__ = ["Plan"]

COLUMNS, WIDE_ROWS, MATRIX, TRANSPOSED = "columns", "wide rows", "matrix", "transposed matrix"


@dataclass(frozen=True)
class Plan:
    """One way to read a file.

    ``first_line``: where the numbers begin. ``frequency``, ``levels``, ``times``: places of the columns (from 0); in
    wide rows ``lead`` is the place of the lower edge. ``upper``: the column of upper edges where ``frequency`` holds
    the lower ones, of cells that are ``cell_width`` wide (as printed). ``names``: of the level columns. ``header``: a
    matrix's frequencies, or a transposed one's times as text. ``decimals``: of the printed frequencies;
    ``level_decimals``: of the levels, where all have as many. ``sample``: frequencies and levels of the first rows, for
    comparing plans and showing them. ``strength``: how much of the plan the file states in words.
    """

    layout: str
    dialect: Dialect
    width: int
    first_line: int
    units: UnitChoice
    scale: LevelScale
    levels: tuple[int, ...]
    sample: tuple[tuple[float, ...], tuple[float, ...]]
    decimals: int = 0
    frequency: int | None = None
    lead: int = 0
    edge_decimals: int = 0
    upper: int | None = None
    cell_width: float = 0.0
    times: tuple[int, ...] = ()
    names: tuple[str, ...] = ()
    header: tuple[float, ...] = ()
    header_times: tuple[str, ...] = ()
    level_decimals: int | None = None
    suffixed: bool = False
    falling: bool = False
    counted: bool = False
    strength: int = 0
    notes: tuple[str, ...] = ()

    @property
    def content(self) -> frozenset[tuple[object, ...]]:
        """What the plan makes of the sample, once per possible unit: plans with equal content are one reading."""
        frequencies, levels = self.sample
        return frozenset(
            (tuple(f"{value * FREQUENCY_FACTORS_HZ[unit]:.9g}" for value in frequencies), levels)
            for unit in self.units.units
        )
