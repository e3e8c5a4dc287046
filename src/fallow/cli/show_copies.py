"""``fallow show compare OTHER`` and ``fallow show merge OTHER``: another copy of the show, seen and brought in."""

from __future__ import annotations

import json
from argparse import Namespace
from typing import TYPE_CHECKING, Any

from fallow.cli import documents
from fallow.cli.screens.copies import show_copies, show_merged
from fallow.errors import UsageError
from fallow.workflow.show_merge import Choices, compare_with, merge_show, row_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fallow.workflow.show import Desk
    from fallow.workflow.show_merge import ComparedCopies, MergedCopies, Unit

__all__ = ["compare_copies", "merge"]

DONE = 0
Document = dict[str, Any]


def compare_copies(typed: Namespace, desk: Desk) -> int:
    """Another copy beside the show."""
    found = compare_with(typed.old, desk)
    if typed.json:
        documents.print_json(copies_document(found))
    else:
        show_copies(found)
    return DONE


def merge(typed: Namespace, desk: Desk) -> int:
    """Another copy's changes brought in."""
    usual = "ours" if typed.ours else "theirs" if typed.theirs else None
    found = merge_show(typed.other, Choices(usual, _each(typed.take or ())), desk, unrelated=typed.unrelated)
    if typed.json:
        documents.print_json(merged_document(found))
    else:
        show_merged(found)
    return DONE


def _each(words: Sequence[str]) -> dict[str, str]:
    """``vox 1=theirs`` as a choice. Raises UsageError for what is none."""
    each = {}
    for word in words:
        name, _, said = word.rpartition("=")
        if not name or said.strip().lower() not in ("ours", "theirs", "apart"):
            raise UsageError(f"{word!r} is no choice", hint="write NAME=ours or NAME=theirs, as in --take 'vox 1=ours'")
        each[name.strip()] = said.strip().lower()
    return each


def copies_document(found: ComparedCopies) -> Document:
    """The answer of ``compare`` about two copies."""
    return {
        "here": str(found.here),
        "there": str(found.there),
        "changes_in_common": found.shared,
        "differences": [_unit(unit) for unit in found.units],
        "conflicts": [unit.label for unit in found.conflicts],
        "events_there": found.events,
        "notes": list(found.notes),
    }


def merged_document(found: MergedCopies) -> Document:
    """The answer of ``merge``."""
    return {
        "change": found.change,
        "taken": [unit.label for unit in found.taken],
        "kept": [unit.label for unit in found.kept],
        "notes": list(found.notes),
    }


def _unit(unit: Unit) -> Document:
    return {
        "name": unit.label,
        "kind": unit.kind,
        "side": str(unit.side),
        "rows": [row_name(row) for row in unit.rows],
        "values": [
            {
                "kind": part.kind,
                "key": part.key,
                "common": _value(part.base),
                "here": _value(part.here),
                "there": _value(part.there),
            }
            for part in unit.parts
        ],
    }


def _value(image: str | None) -> Any:
    return json.loads(image) if image else None
