"""``fallow show site``, ``stock`` and ``fit``: the library beside the shows."""

from __future__ import annotations

from argparse import Namespace
from datetime import date
from typing import TYPE_CHECKING, Any

from fallow.cli import documents
from fallow.cli.progress import progress_bar
from fallow.cli.screens import library as screen
from fallow.errors import UsageError
from fallow.workflow.fitting import Fitting
from fallow.workflow.fitting import fit as find_fit
from fallow.workflow.lending import Claim, Days, book, days_of, give_back, stock_of
from fallow.workflow.library import list_sites, open_library, save_site, use_site

if TYPE_CHECKING:
    from fallow.workflow.fitting import Fit, Proposal
    from fallow.workflow.lending import Booked, Booking, Excess, Holding, Returned, Stock
    from fallow.workflow.library import Brought, Library
    from fallow.workflow.show import Desk
    from fallow.workflow.site_differences import Replaced

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
    replace = True if typed.replace else False if typed.keeps else None
    brought = act(typed.name, library, desk, replace=replace)
    if typed.json:
        documents.print_json(_brought(typed.name, typed.what, brought))
    else:
        screen.show_brought(typed.name, "the library" if typed.what == "save" else "the show", brought)
    return DONE


def _brought(name: str, what: str, brought: Brought) -> Document:
    return {
        "site": name,
        what: dict(brought.counts),
        "replaced": [_replaced(one) for one in brought.replaced],
        "kept": [_replaced(one) for one in brought.kept],
    }


def _replaced(one: Replaced) -> Document:
    return {"kind": one.kind, "name": one.name, "figure": one.figure, "new": one.new, "old": one.old}


def stock(typed: Namespace, desk: Desk) -> int:
    """What there is and what is free, 1 when something is promised twice; bookings entered and taken out."""
    library = open_library(typed.library)
    claim = Claim.OURS if typed.ours else Claim.THEIRS if typed.theirs else Claim.ASKED
    gives_back = getattr(typed, "return")
    if (typed.also and not typed.book) or (typed.serials and not (typed.book or gives_back)):
        raise UsageError("--serials and --also speak of a booking", hint="say --book too")
    if not (typed.book or gives_back) and claim is not Claim.ASKED:
        raise UsageError("--ours and --theirs speak of bookings that are entered or taken out", hint="say --book too")
    if gives_back:
        return _give_back(typed, library, desk, claim)
    first, last = _days(typed, desk)
    if typed.book:
        made = book(library, Days(first, last, typed.also), desk, typed.serials or (), claim)
        if typed.json:
            documents.print_json(_booked(made))
        else:
            screen.show_booked(made)
        return DONE
    found = stock_of(library, first, last)
    if typed.json:
        documents.print_json(_stock(found))
    else:
        screen.show_stock(found)
    return DONE if found.is_sound else BAD_NEWS


def _give_back(typed: Namespace, library: Library, desk: Desk, claim: Claim) -> int:
    if getattr(typed, "from") is not None:
        raise UsageError("--from says nothing of what comes back", hint="say the last day that it is out: --until DATE")
    last = None if typed.until is None else _day(typed.until)
    done = give_back(library, desk, last, typed.serials or (), claim)
    if typed.json:
        documents.print_json(_returned(done))
    else:
        screen.show_returned(done)
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


def _booked(made: Booked) -> Document:
    return {
        "booked": [_booking(one) for one in made.made],
        "replaced": [_booking(one) for one in made.replaced],
        "notes": list(made.notes),
    }


def _returned(done: Returned) -> Document:
    return {"returned": done.gone, "shortened": [_booking(one) for one in done.shortened]}


def _booking(one: Booking) -> Document:
    return {
        "equipment": one.equipment,
        "count": one.count,
        "serials": list(one.serials),
        "unnamed": one.unnamed,
        "show": one.show,
        "from": one.first.isoformat(),
        "until": one.last.isoformat(),
        "show_id": one.show_id or None,
    }


def _stock(found: Stock) -> Document:
    over = {one.equipment: one for one in found.over}
    return {
        "from": found.first.isoformat(),
        "until": found.last.isoformat(),
        "stock": [_holding(one, found, over.get(one.equipment)) for one in found.holdings],
        "out": [_booking(one) for one in found.bookings if one.overlaps(found.first, found.last)],
        "out_twice": [
            {
                "equipment": one.equipment,
                "serial": one.serial,
                "day": one.day.isoformat(),
                "shows": [each.show for each in one.bookings],
            }
            for one in found.clashes
        ],
        "notes": list(found.notes),
    }


def _holding(one: Holding, found: Stock, over: Excess | None) -> Document:
    return {
        "equipment": one.equipment,
        "count": one.count,
        "free": found.free[one.equipment],
        "over": 0 if over is None else over.over,
        "over_on": None if over is None else over.day.isoformat(),
        "serials": list(one.serials),
        "serials_in": list(found.pieces_in(one)),
        "note": one.note or None,
    }


def _fit(found: Fit) -> Document:
    return {
        "fits": found.fits,
        "links": found.links,
        "placed": found.placed,
        "served": found.served,
        "unplaced": [{"link": one.link, "because": list(one.because)} for one in found.unplaced],
        "short": [{"equipment": name, "wanted": n, "free": free} for name, (n, free) in found.short.items()],
        "proposals": [_proposal(one) for one in found.proposals],
        "partial": None if found.partial is None else _proposal(found.partial),
        "fewest_proven": found.fewest_proven,
        "plans_tried": found.tried,
        "plan": documents.plan_document(found.plan),
        "notes": list(found.notes),
    }


def _proposal(one: Proposal) -> Document:
    return {
        "pieces": one.pieces,
        "served": one.served,
        "exchanges": [
            {"links": list(each.links), "count": len(each.links), "from": each.old, "to": each.new}
            for each in one.exchanges
        ],
        "plan": documents.plan_document(one.plan),
    }
