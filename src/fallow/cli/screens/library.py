"""The library for people: sites, stock, and whether the booked gear fits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from fallow.cli.screens.paper import console, plain_table, print_notes
from fallow.workflow.lending import told, told_days, told_pieces

if TYPE_CHECKING:
    from fallow.workflow.fitting import Fit, Proposal
    from fallow.workflow.lending import Booked, Booking, Holding, Returned, Stock
    from fallow.workflow.library import Brought, SiteSeen

__all__ = ["counted_kinds", "show_booked", "show_brought", "show_fit", "show_returned", "show_sites", "show_stock"]

MOST = 12
_WORDS = {"foreign": "foreign carrier"}


def counted_kinds(counts: Mapping[str, int]) -> str:
    """How many of which kind, those that are there: ``1 setting, 3 area pairs, 2 foreign carriers``."""
    return ", ".join(f"{count} {_kind(name, count)}" for name, count in counts.items() if count)


def _kind(name: str, count: int) -> str:
    word = name.replace("_", " ")
    return _WORDS.get(word, word) + ("" if count == 1 else "s")


def show_sites(sites: Sequence[SiteSeen]) -> None:
    """Every site."""
    out = console()
    out.print(f"{len(sites) or 'no'} site{'' if len(sites) == 1 else 's'}", style="bold")
    for one in sites:
        region = f" ({one.settings['region']})" if one.settings.get("region") else ""
        out.print(Text(f"{one.name}{region}: {counted_kinds(one.counts) or 'nothing in it yet'}"))


def show_brought(name: str, place: str, brought: Brought) -> None:
    """What was brought to a place (``the show``): what is new there, then each figure that differed."""
    out = console()
    out.print(Text(f"{name}: {counted_kinds(brought.counts) or 'nothing'} new in {place}"))
    for one in brought.replaced:
        out.print(Text(f"replaced: {one}"))
    for one in brought.kept:
        out.print(Text(f"stays as it is: {one.about} {one.old}, not {one.new}"))


def show_stock(found: Stock) -> None:
    """What there is, what is out and what is free; what is promised twice is said first."""
    out = console()
    out.print(Text(f"{found.first} to {found.last}", style="bold"))
    if not found.is_sound:
        out.print("PROMISED TWICE: see the notes", style="bold")
    table = plain_table()
    table.add_column("equipment", overflow="fold", max_width=24)
    for heading in ("there", "free"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("out", ratio=1, overflow="fold")
    for one in found.holdings:
        told_out = "\n".join([*(_out(each, one) for each in found.out_of(one)), *_in(one, found)])
        table.add_row(Text(one.equipment), str(one.count), str(found.free[one.equipment]), Text(told_out))
    out.print(table)
    _print_notes(out, found.notes)


def _print_notes(out: Console, notes: Sequence[str]) -> None:
    """The first notes: of a table that is wrong throughout there may be very many."""
    more = [f"and {len(notes) - MOST} more; --json tells all"] if len(notes) > MOST else []
    print_notes(out, [*notes[:MOST], *more])


def _out(one: Booking, holding: Holding) -> str:
    """Who has how many, until when, and which."""
    which = told_pieces(one.serials)
    if holding.serials and one.serials and one.unnamed:
        which = f"{which} and {one.unnamed} not named"
    return f"{one.count} for {one.show}, {told_days(one)}" + (f": {which}" if which else "")


def _in(holding: Holding, found: Stock) -> list[str]:
    """Which pieces are in; where some that are out are not named, it may be any of them that are."""
    pieces = found.pieces_in(holding)
    out = found.out_of(holding)
    if not pieces:
        return []
    return [f"{'not named as out' if any(one.unnamed for one in out) else 'in'}: {told_pieces(pieces)}"]


def show_booked(made: Booked) -> None:
    """What is booked now, and in place of what."""
    out = console()
    for one in made.made:
        which = f": {told_pieces(one.serials)}" if one.serials else ""
        out.print(Text(f"{one.count} {one.equipment} booked, {told_days(one)}{which}"))
    for one in made.replaced:
        out.print(Text(f"in place of {told(one)}"))
    print_notes(out, made.notes)


def show_returned(done: Returned) -> None:
    """What came back."""
    out = console()
    if done.gone or not done.shortened:
        out.print(f"{done.gone or 'no'} booking{'' if done.gone == 1 else 's'} taken out")
    for one in done.shortened:
        which = f": {told_pieces(one.serials)}" if one.serials else ""
        out.print(Text(f"now {told(one)}{which}"))


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
            _print_proposal(out, f"{number}.", one)
    elif not found.fits:
        _print_partial(out, found)
    if found.unplaced:
        out.print("\nWithout a frequency as booked", style="bold")
        for link in found.unplaced[:MOST]:
            out.print(Padding(Text(f"{link.link}: {_first(link.because)}"), (0, 0, 0, 2)))
        if len(found.unplaced) > MOST:
            out.print(f"  and {len(found.unplaced) - MOST} more; --json tells all")
    _print_notes(out, found.notes)


def _print_partial(out: Console, found: Fit) -> None:
    """What helps some of the links, where nothing helps all."""
    if found.tried > 1:
        out.print(f"\nno exchange was found with which everything fits ({found.tried} plans tried)")
    else:
        out.print("\nno exchange could be tried: no other type of that kind is known to be free")
    if found.partial is not None:
        served = f"{found.partial.served} links have a frequency and a piece with it (as booked: {found.served})"
        out.print(f"\nThe best found: {served}", style="bold")
        _print_proposal(out, "-", found.partial)


def _first(because: Sequence[str]) -> str:
    """The first reason; `fallow show plan` tells them all."""
    return because[0].split(";")[0] if because else "no place was found"


def _print_proposal(out: Console, mark: str, one: Proposal) -> None:
    for at, each in enumerate(one.exchanges):
        names = ", ".join(each.links)
        line = f"{mark if at == 0 else ' ' * len(mark)} {len(each.links)} {each.old} for {each.new}: {names}"
        out.print(Padding(Text(line), (0, 0, 0, 2)))
