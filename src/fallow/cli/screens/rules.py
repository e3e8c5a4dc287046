"""What a region allows, row by row, with sources, licences and cautions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fallow.cli.screens.paper import console, print_notes
from fallow.units import format_span_mhz, format_width

if TYPE_CHECKING:
    from fallow.workflow.law import RegionRules

__all__ = ["show_regions", "show_rules"]


def show_regions(regions: Sequence[tuple[str, str]]) -> None:
    """The regions whose rules are shipped."""
    out = console()
    for code, name in regions:
        out.print(f"{code}  {name}")
    out.print("\n`fallow rules CODE` lists what a region allows.")


def show_rules(found: RegionRules) -> None:
    """The rows of a region with their answers, sources and cautions."""
    out = console()
    out.print(f"{found.territory.name} ({found.territory.code})", style="bold")
    table = Table(box=None, padding=(0, 1, 0, 0), show_edge=False, header_style="underline")
    for heading in ("MHz", "answer", "licence", "power"):
        table.add_column(heading, no_wrap=heading != "licence")
    table.add_column("conditions", ratio=1)
    table.add_column("source", no_wrap=True, justify="right")
    sources: dict[str, int] = {}
    for rule, answer in found.rows:
        told = f"{rule.source} ({rule.date}, {rule.grade})"
        width = () if rule.bandwidth_hz is None else (f"up to {format_width(rule.bandwidth_hz)} wide",)
        table.add_row(
            f"{rule.low_hz / 1e6:g}-{rule.high_hz / 1e6:g}",
            Text(answer.word, style="bold" if answer.word == "no" else ""),
            rule.licence or "-",
            _power(rule.power_mw, rule.power_kind),
            "; ".join((*width, *rule.conditions)),
            f"[{sources.setdefault(told, len(sources) + 1)}]",
        )
    out.print(table)
    out.print("\nSources (date, how well it was checked)", style="bold")
    for told, number in sources.items():
        out.print(Padding(f"[{number}] {told}", (0, 0, 0, 2)))
    if found.territory.licences:
        out.print("\nLicences (--licence NAME)", style="bold")
        for name, told in found.territory.licences.items():
            out.print(Padding(f"{name}: {told}", (0, 0, 0, 2)))
    if found.channels:
        first, last = found.channels[0], found.channels[-1]
        span = format_span_mhz(first.low_hz, last.high_hz)
        out.print(f"\n{len(found.channels)} TV channels, {first.name} to {last.name}, {span}.")
    print_notes(out, found.territory.cautions, "Cautions")


def _power(power_mw: float | None, kind: object) -> str:
    if power_mw is None:
        return "-"
    in_unit = (
        f"{power_mw / 1000:g} W"
        if power_mw >= 1000
        else f"{power_mw:g} mW"
        if power_mw >= 0.01
        else f"{power_mw * 1e6:g} nW"
    )
    return f"{in_unit} {kind}" if kind else in_unit
