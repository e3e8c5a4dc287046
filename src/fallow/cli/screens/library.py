"""The library for people: sites, stock, and whether the booked gear fits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from fallow.cli.screens.paper import console, plain_table, print_notes

if TYPE_CHECKING:
    from fallow.workflow.fitting import Fit, Proposal
    from fallow.workflow.library import SiteSeen, Stock

__all__ = ["show_fit", "show_sites", "show_stock"]

MOST = 12


def show_sites(sites: Sequence[SiteSeen]) -> None:
    """Every site."""
    out = console()
    out.print(f"{len(sites) or 'no'} site{'' if len(sites) == 1 else 's'}", style="bold")
    for one in sites:
        region = f" ({one.settings['region']})" if one.settings.get("region") else ""
        counts = ", ".join(f"{count} {word}" for word, count in one.counts.items() if count) or "nothing in it yet"
        out.print(Text(f"{one.name}{region}: {counts}"))


def show_stock(found: Stock) -> None:
    """What there is, what is out and what is free."""
    out = console()
    out.print(Text(f"{found.first} to {found.last}", style="bold"))
    table = plain_table()
    table.add_column("equipment", overflow="fold", max_width=24)
    for heading in ("there", "free"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("out", ratio=1)
    for one in found.holdings:
        of_type = [b for b in found.bookings if b.equipment == one.equipment and b.overlaps(found.first, found.last)]
        told = "; ".join(f"{b.count} for {b.show}, {b.first} to {b.last}" for b in of_type)
        table.add_row(Text(one.equipment), str(one.count), str(found.free[one.equipment]), Text(told))
    out.print(table)
    print_notes(out, found.notes)


def show_fit(found: Fit) -> None:
    """The answer first; then what to exchange; then why."""
    out = console()
    answer = "it fits" if found.fits else "IT DOES NOT FIT as booked"
    out.print(f"{answer}: {found.placed} of {found.links} links have a frequency", style="bold")
    for name, (wanted, free) in found.short.items():
        out.print(Text(f"{name}: {wanted} wanted, {free} free in stock"))
    if found.proposals:
        fewest = "; no exchange of fewer pieces can do" if found.fewest_proven else ""
        out.print(f"\nExchange one of these; each was planned and every link has a frequency{fewest}", style="bold")
        for number, one in enumerate(found.proposals, 1):
            _print_proposal(out, number, one)
    elif not found.fits:
        out.print(f"\nno exchange was found with which everything fits ({found.tried} plans tried)")
    if found.unplaced:
        out.print("\nWithout a frequency as booked", style="bold")
        for link in found.unplaced[:MOST]:
            out.print(Padding(Text(f"{link.link}: {_first(link.because)}"), (0, 0, 0, 2)))
        if len(found.unplaced) > MOST:
            out.print(f"  and {len(found.unplaced) - MOST} more; --json tells all")
    print_notes(out, found.notes)


def _first(because: Sequence[str]) -> str:
    """The first reason; `fallow show plan` tells them all."""
    return because[0].split(";")[0] if because else "no place was found"


def _print_proposal(out: Console, number: int, one: Proposal) -> None:
    for at, each in enumerate(one.exchanges):
        names = ", ".join(each.links)
        mark = f"{number}." if at == 0 else "  "
        line = f"{mark} {len(each.links)} {each.old} for {each.new}: {names}"
        out.print(Padding(Text(line), (0, 0, 0, 2)))
