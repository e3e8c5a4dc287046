"""Areas against areas: a table whose headings and first column are the same names, read as pairs."""

from __future__ import annotations

from fallow.files.tables.columns import plain_heading
from fallow.files.tables.grid import Records
from fallow.files.wording import says_not_measured

__all__ = ["as_pairs"]

_PAIR = ("area", "other", "loss_db")


def as_pairs(headings: tuple[str, ...], rows: Records) -> tuple[tuple[str, ...], Records] | None:
    """The cells of a matrix as rows of area, other area and loss, ``None`` where the table is no matrix.

    A pair that stands on both sides of the diagonal with the same cell is given once; empty cells say nothing.
    """
    across = {plain_heading(name): at for at, name in enumerate(headings) if at and name.strip()}
    down = {plain_heading(cells[0]) for _, cells in rows if cells and cells[0].strip()}
    if (len(across) < 2 and len(down) < 2) or not across or 2 * len(down & across.keys()) < len(down | across.keys()):
        return None
    pairs: Records = []
    seen: set[tuple[frozenset[str], str]] = set()
    for line, cells in rows:
        for at in sorted(across.values()):
            cell = cells[at].strip() if at < len(cells) else ""
            ends = frozenset((plain_heading(cells[0]), plain_heading(headings[at])))
            if len(ends) == 2 and not says_not_measured(cell) and (ends, cell) not in seen:
                seen.add((ends, cell))
                pairs.append((line, [cells[0].strip(), headings[at].strip(), cell]))
    return _PAIR, pairs
