"""Plans as tables: ours and strangers' in, ours out."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path

from fallow.files.tables.columns import DECIBEL, FREQUENCY, Column, text_column
from fallow.files.tables.grid import FilePath, Row, read_table
from fallow.files.tables.show_tables import AREA, EQUIPMENT, LINK, LINK_FREQUENCY, SCENES
from fallow.files.tables.whole_file import replace_whole
from fallow.files.wording import quoted
from fallow.show.assignment import Assignment

__all__ = ["PLAN_COLUMNS", "assignment_from", "read_plan", "write_plan"]

PLAN_COLUMNS = (
    LINK,
    EQUIPMENT,
    AREA,
    SCENES,
    Column(LINK_FREQUENCY.words, FREQUENCY, required=True),
    text_column("verdict"),
    Column(("margin",), DECIBEL),
    text_column("note", "notes", "remark", "notiz", "bemerkung", "remarque", "nota", "opmerking"),
)


def read_plan(path: FilePath) -> tuple[Assignment, ...]:
    """The rows of a plan; only link, equipment and frequency must be there. Raises InputError with line and column."""
    table = read_table(path, PLAN_COLUMNS, may_be_empty=True)
    rows = []
    taken: dict[str, int] = {}
    for row in table.rows:
        assignment = assignment_from(row)
        if assignment.link in taken and not assignment.is_spare:
            what = f"{quoted(assignment.link)} stands in line {taken[assignment.link]} already"
            raise row.wrong("link", what, hint="give each row a name of its own")
        taken[assignment.link] = row.line
        rows.append(assignment)
    return tuple(rows)


def write_plan(path: FilePath, rows: Sequence[Assignment]) -> None:
    """Write a plan as CSV, whole or not at all. Raises OutputError; it makes no folders."""
    extra = list(dict.fromkeys(name for row in rows for name in row.extra))
    names = [column.name for column in PLAN_COLUMNS]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([*names, *extra])
    writer.writerows([*_cells(row), *(row.extra.get(name, "") for name in extra)] for row in rows)
    replace_whole(Path(path), text.getvalue().encode("utf-8"), "the plan")


def assignment_from(row: Row) -> Assignment:
    """A row of a plan. Raises InputError with line and column."""
    frequency_hz = row.hertz("frequency_mhz")
    if frequency_hz is not None and frequency_hz <= 0:
        raise row.wrong(
            "frequency_mhz", "a frequency must be above zero", hint="leave the cell empty where there is none"
        )
    margin = row.number("margin_db")
    return Assignment(
        link=row.needed("link"),
        equipment=row.needed("equipment"),
        area=row.text("area"),
        scenes=frozenset(row.items("scenes")),
        frequency_hz=frequency_hz,
        verdict=row.text("verdict") or None,
        margin_db=None if margin is None else float(margin),
        note=row.text("note"),
        line=row.line,
        extra=row.extra,
    )


def _cells(row: Assignment) -> Iterable[str]:
    frequency_hz = row.frequency_hz
    yield from (row.link, row.equipment, row.area, ";".join(sorted(row.scenes)))
    yield "" if frequency_hz is None else f"{frequency_hz // 10**6}.{frequency_hz % 10**6:06d}"
    yield row.verdict or ""
    yield "" if row.margin_db is None else f"{row.margin_db:.2f}"
    yield row.note
