"""``fallow show add TABLE --as KIND``: anybody's table, previewed and brought in."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING, Any

from fallow.cli import documents
from fallow.cli.screens.show import show_lines
from fallow.cli.screens.tables import show_preview
from fallow.errors import UsageError
from fallow.workflow.show_reading import TableTelling, add_table, preview_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fallow.workflow.show import Desk
    from fallow.workflow.show_reading import Preview

__all__ = ["add_anybodys_table"]

DONE, BAD_NEWS = 0, 1
Document = dict[str, Any]


def add_anybodys_table(typed: Namespace, desk: Desk) -> int:
    """1 when a cell could not be taken as it stands."""
    if len(typed.files) != 1:
        raise UsageError("--as speaks of one table", hint="name one file: fallow show add FILE --as links")
    telling = TableTelling(
        _pairs(typed.column or (), "--column", "HEADING"),
        _pairs(typed.fill or (), "--fill", "VALUE"),
        typed.decimal,
        typed.delimiter,
        typed.unit,
        scenes=typed.scenes,
        encoding=typed.encoding,
    )
    path, kind = typed.files[0], getattr(typed, "as")
    if typed.preview:
        found, tables = preview_table(path, kind, telling, desk), []
    else:
        done = add_table(path, kind, telling, desk, plan_name=typed.plan_name, replace_all=typed.replace)
        found, tables = done.preview, list(done.added)
    if typed.json:
        counts = [
            {"what": one.what, "added": one.added, "changed": one.changed, "removed": one.removed, "same": one.same}
            for one in tables
        ]
        documents.print_json({"tables": counts, "preview": preview_document(found)})
    else:
        show_preview(found)
        show_lines(["", *map(str, tables)] if tables else ["", "nothing was changed: this was the preview"])
    return BAD_NEWS if found.read.doubts else DONE


def _pairs(words: Sequence[str], option: str, second: str) -> dict[str, str]:
    """``equipment=pack`` as a pair. Raises UsageError for what is none."""
    pairs = {}
    for word in words:
        name, equals, said = word.partition("=")
        if not equals or not name.strip() or not said.strip():
            raise UsageError(f"{word!r} says nothing", hint=f"write {option} COLUMN={second}")
        pairs[name.strip()] = said.strip()
    return pairs


def preview_document(found: Preview) -> Document:
    """A table as it was understood."""
    read = found.read
    return {
        "path": str(read.path),
        "as": read.kind,
        "encoding": read.encoding,
        "delimiter": read.delimiter,
        "decimal": read.decimal,
        "heading_line": read.heading_line,
        "rows": found.rows,
        "left_out": read.left_out,
        "columns": [
            {"number": one.number, "heading": one.heading, "means": one.means, "unit": one.unit, "by": one.how}
            for one in read.columns
        ],
        "first": [{"line": line, **image} for line, image in found.first],
        "doubts": [
            {"line": one.line, "column": one.column, "cell": one.cell, "why": one.why, "done": one.done}
            for one in read.doubts
        ],
        "notes": list(found.notes),
    }
