"""Tables of others for people: how their columns were understood, the first rows, and every cell in doubt."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.text import Text

from fallow.cli.screens.paper import console, plain_table, print_notes
from fallow.units import format_mhz

if TYPE_CHECKING:
    from fallow.workflow.show_reading import Preview

__all__ = ["show_preview"]

MOST_DOUBTS = 40


def show_preview(found: Preview) -> None:
    """A table as it was understood."""
    out = console()
    read = found.read
    rows = f"{found.rows} row{'' if found.rows == 1 else 's'}"
    left = f", {read.left_out} left out" if read.left_out else ""
    out.print(Text(f"{read.path} as {read.kind}: {rows}{left}", style="bold"))
    headings = "no headings" if read.heading_line is None else f"headings in line {read.heading_line}"
    point = {",": "comma", ".": "point"}.get(read.decimal, read.decimal)
    out.print(Text(f"{read.encoding}, cells set apart by {_mark(read.delimiter)}, decimal {point}, {headings}"))
    _print_columns(out, found)
    _print_first(out, found)
    _print_doubts(out, found)
    print_notes(out, found.notes)


def _mark(delimiter: str) -> str:
    return {"tab": "tabs", "blanks": "blanks"}.get(delimiter, repr(delimiter))


def _print_columns(out: Console, found: Preview) -> None:
    out.print("\nColumns", style="bold")
    table = plain_table(("no.", "right"))
    table.add_column("heading", overflow="fold", max_width=22)
    table.add_column("means", overflow="fold", max_width=16)
    table.add_column("unit", no_wrap=True)
    table.add_column("by", ratio=1)
    for one in found.read.columns:
        table.add_row(str(one.number), Text(one.heading or "-"), one.means or "-", one.unit or "", Text(one.how))
    out.print(table)


def _print_first(out: Console, found: Preview) -> None:
    if not found.first:
        return
    out.print("\nFirst rows", style="bold")
    table = plain_table(("line", "right"))
    table.add_column("gives", ratio=1)
    for line, image in found.first:
        said = [_said(name, value) for name, value in image.items() if _is_said(name, value)]
        table.add_row(str(line), Text("; ".join(said)))
    out.print(table)


def _print_doubts(out: Console, found: Preview) -> None:
    doubts = found.read.doubts
    if not doubts:
        return
    out.print(Text(f"\nIn doubt: {len(doubts)} cell{'' if len(doubts) == 1 else 's'}"), style="bold")
    table = plain_table(("line", "right"))
    table.add_column("column", overflow="fold", max_width=16)
    table.add_column("cell", overflow="fold", max_width=18)
    table.add_column("why", ratio=1)
    table.add_column("so", overflow="fold", max_width=14)
    for one in doubts[:MOST_DOUBTS]:
        table.add_row(str(one.line), *map(Text, (one.column, one.cell or "-", one.why, one.done)))
    out.print(table)
    if len(doubts) > MOST_DOUBTS:
        out.print(f"and {len(doubts) - MOST_DOUBTS} more; --json tells all")


def _said(name: str, value: Any) -> str:
    if name == "loss_db":  # of two areas; they are apart where there is no figure
        return "apart" if value is None else f"loss {value:g} dB"
    return f"{_name(name)} {_value(name, value)}"


def _is_said(name: str, value: Any) -> bool:
    return name == "loss_db" or (name not in ("extra", "stated") and value not in (None, "", [], {}))


def _name(name: str) -> str:
    return name.removesuffix("_hz").replace("_", " ")


def _value(name: str, value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name.endswith("_hz") and isinstance(value, int):
        return f"{format_mhz(value)} MHz" if value >= 10**7 else f"{value / 1000:g} kHz"
    if name.endswith("_hz") and isinstance(value, list):
        return ", ".join(f"{format_mhz(one)} MHz" for one in value)
    if name == "tuning":
        return ", ".join(f"{low / 1e6:g}-{high / 1e6:g} MHz" for low, high in value)
    return " | ".join(map(str, value)) if isinstance(value, list) else str(value)
