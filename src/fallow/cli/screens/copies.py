"""Two copies of a show for people: what was changed where, and what a merge brought."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from fallow.cli.screens.paper import console, print_notes
from fallow.cli.screens.values import brief, field_text, told_change
from fallow.workflow.show_merge import row_name

if TYPE_CHECKING:
    from fallow.workflow.show_merge import ComparedCopies, MergedCopies, Unit

__all__ = ["show_copies", "show_merged"]

MOST = 40  # things that are listed one by one under a heading
MOST_ROWS = 20  # links of one plan
_HEADINGS = {
    "both": "Changed in both, differently",
    "joined": "Added to in both; a merge keeps all of it",
    "there": "Changed there",
    "here": "Changed here",
}


def show_copies(found: ComparedCopies) -> None:
    """What differs between two copies: first what has to be decided."""
    out = console()
    common = f"{found.shared} change{'' if found.shared == 1 else 's'} in common"
    out.print(Text(f"{found.here} and {found.there}: {common}", style="bold"))
    if not found.units:
        out.print("they hold the same")
    for side, heading in _HEADINGS.items():
        units = [unit for unit in found.units if unit.side == side]
        _print_units(out, heading, units)
    if found.events:
        out.print(f"\n{found.events} event{'' if found.events == 1 else 's'} only there; a merge brings them")
    print_notes(out, found.notes)


def show_merged(found: MergedCopies) -> None:
    """What a merge brought, and what stays as it was."""
    out = console()
    if found.change is None:
        out.print(Text(f"nothing new in {found.compared.there}; nothing was changed"))
    else:
        out.print(Text(f"merged with {found.compared.there} as change {found.change}", style="bold"))
    _print_units(out, "Taken from there", found.taken)
    _print_units(out, "Left as it is here", found.kept)
    print_notes(out, found.notes)


def _print_units(out: Console, heading: str, units: Sequence[Unit]) -> None:
    if not units:
        return
    out.print(f"\n{heading}", style="bold")
    for unit in units[:MOST]:
        out.print(Padding(Text(unit.label), (0, 0, 0, 2)))
        for line in _told(unit):
            out.print(Padding(Text(line), (0, 0, 0, 6)))
    if len(units) > MOST:
        out.print(f"  and {len(units) - MOST} more; --json tells all")


def _told(unit: Unit) -> list[str]:
    """What became of it, here and there."""
    part = unit.parts[0]
    sides = [("here", [one.here for one in unit.parts]), ("there", [one.there for one in unit.parts])]
    base = [one.base for one in unit.parts]
    if unit.kind == "plan":
        lines = [f"{word}: {_plan_change(base, images)}" for word, images in sides if images != base]
        if part.here and part.there:
            return [*lines, *_rows(unit)]
        held = [one.here or one.there for one in unit.parts[1:]]
        return [f"{line}: {_counted(held)}" if line.endswith("added") else line for line in lines]
    return [f"{word}: {_change(part.base, images[0])}" for word, images in sides if images != base]


def _plan_change(before: Sequence[str | None], after: Sequence[str | None]) -> str:
    """A plan as a whole; its rows are told one by one."""
    if after[0] is None:
        return "taken out"
    return "made anew" if before[0] else "added"


def _counted(rows: Sequence[str | None]) -> str:
    """How many links of a plan that only one copy has stand on a frequency."""
    said = [json.loads(row)["assignment"] for row in rows if row is not None]
    links = [row for row in said if not row["link"].lower().startswith("spare")]
    placed = sum(row.get("frequency_hz") is not None for row in links)
    return f"{placed} of {len(links)} links have a frequency"


def _rows(unit: Unit) -> list[str]:
    """The links of a plan that differ, each as it is here and there."""
    rows = [f"{row_name(row)}: here {_place(row.here)}, there {_place(row.there)}" for row in unit.rows[:MOST_ROWS]]
    if len(unit.rows) > MOST_ROWS:
        rows.append(f"and {len(unit.rows) - MOST_ROWS} more; --json tells all")
    return rows


def _place(image: str | None) -> str:
    """Where a row of a plan puts its link."""
    if image is None:
        return "not in it"
    return field_text("frequency_hz", json.loads(image)["assignment"].get("frequency_hz"))


def _change(before: str | None, after: str | None) -> str:
    """A change of one value, field by field. An empty text is a past that the copies do not share."""
    if after is None:
        return "taken out"
    if not before:
        said = brief(json.loads(after))
        return f"{'added' if before is None else 'now'}{f': {said}' if said else ''}"
    return told_change(json.loads(before), json.loads(after))
