"""``fallow show site``, ``stock`` and ``fit``: the library beside the shows."""

from __future__ import annotations

from argparse import Namespace
from datetime import date
from typing import TYPE_CHECKING, Any

from fallow.cli import documents
from fallow.cli.progress import progress_bar
from fallow.cli.screens import library as screen
from fallow.cli.screens.show import show_lines
from fallow.errors import UsageError
from fallow.workflow.fitting import Fitting
from fallow.workflow.fitting import fit as find_fit
from fallow.workflow.library import (
    book,
    days_of,
    give_back,
    list_sites,
    open_library,
    save_site,
    stock_of,
    use_site,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fallow.workflow.fitting import Fit, Proposal
    from fallow.workflow.library import Booking, Stock
    from fallow.workflow.show import Desk

__all__ = ["fit", "site", "stock"]

DONE, BAD_NEWS = 0, 1
Document = dict[str, Any]


def site(typed: Namespace, desk: Desk) -> int:
    """Sites listed, saved, used."""
    library = open_library(typed.library)
    if typed.what == "list":
        found = list_sites(library)
        if typed.json:
            documents.print_json({"sites": [{"site": one.name, **one.settings, "counts": one.counts} for one in found]})
        else:
            screen.show_sites(found)
        return DONE
    if typed.name is None:
        raise UsageError("which site is meant", hint=f"name it: fallow show site {typed.what} NAME")
    act = save_site if typed.what == "save" else use_site
    return _answer(typed, typed.name, act(typed.name, library, desk))


def _answer(typed: Namespace, name: str, counts: Mapping[str, int]) -> int:
    if typed.json:
        documents.print_json({"site": name, typed.what: dict(counts)})
    else:
        told = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in counts.items() if count)
        show_lines([f"{name}: {told or 'nothing'} new {'in the library' if typed.what == 'save' else 'in the show'}"])
    return DONE


def stock(typed: Namespace, desk: Desk) -> int:
    """What there is and what is free; bookings entered and taken out."""
    library = open_library(typed.library)
    if getattr(typed, "return"):
        count = give_back(library, desk)
        if typed.json:
            documents.print_json({"returned": count})
        else:
            show_lines([f"{count} booking{'' if count == 1 else 's'} taken out"])
        return DONE
    first, last = _days(typed, desk)
    if typed.book:
        made = book(library, first, last, desk)
        if typed.json:
            documents.print_json({"booked": [_booking(one) for one in made]})
        else:
            show_lines([f"{one.count} {one.equipment} booked, {one.first} to {one.last}" for one in made])
        return DONE
    found = stock_of(library, first, last)
    if typed.json:
        documents.print_json(_stock(found))
    else:
        screen.show_stock(found)
    return DONE


def fit(typed: Namespace, desk: Desk) -> int:
    """1 when something does not fit as booked."""
    first, last = _days(typed, desk)
    asked = Fitting(typed.library, typed.site, first, last, typed.seconds, typed.patience, typed.seed)
    with progress_bar() as progress:
        found = find_fit(asked, desk, progress)
    if typed.json:
        documents.print_json(_fit(found))
    else:
        screen.show_fit(found)
    return DONE if found.fits else BAD_NEWS


def _days(typed: Namespace, desk: Desk) -> tuple[date, date]:
    """The days that are meant: as typed, else the show's, else today."""
    said = getattr(typed, "from")
    first = days_of(desk) if said is None else _day(said)
    return first, first if typed.until is None else _day(typed.until)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise UsageError(f"{text!r} is not a date", hint="write it as 2026-07-18") from error


def _booking(one: Booking) -> Document:
    return {
        "equipment": one.equipment,
        "count": one.count,
        "serials": list(one.serials),
        "show": one.show,
        "from": one.first.isoformat(),
        "until": one.last.isoformat(),
    }


def _stock(found: Stock) -> Document:
    return {
        "from": found.first.isoformat(),
        "until": found.last.isoformat(),
        "stock": [
            {
                "equipment": one.equipment,
                "count": one.count,
                "free": found.free[one.equipment],
                "serials": list(one.serials),
                "note": one.note or None,
            }
            for one in found.holdings
        ],
        "out": [_booking(one) for one in found.bookings if one.overlaps(found.first, found.last)],
        "notes": list(found.notes),
    }


def _fit(found: Fit) -> Document:
    return {
        "fits": found.fits,
        "links": found.links,
        "placed": found.placed,
        "unplaced": [{"link": one.link, "because": list(one.because)} for one in found.unplaced],
        "short": [{"equipment": name, "wanted": n, "free": free} for name, (n, free) in found.short.items()],
        "proposals": [_proposal(one) for one in found.proposals],
        "fewest_proven": found.fewest_proven,
        "plans_tried": found.tried,
        "plan": documents.plan_document(found.plan),
        "notes": list(found.notes),
    }


def _proposal(one: Proposal) -> Document:
    return {
        "pieces": one.pieces,
        "exchanges": [
            {"links": list(each.links), "count": len(each.links), "from": each.old, "to": each.new}
            for each in one.exchanges
        ],
        "plan": documents.plan_document(one.plan),
    }
