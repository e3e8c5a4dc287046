"""A library beside the shows: sites with their air and law, and a shop's stock.

A folder: ``sites/NAME.fallow`` (show files without links and plans), ``equipment.csv``, ``stock.csv`` and ``out.csv``.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from fallow.errors import InputError, OutputError, UsageError
from fallow.files.tables import read_equipment
from fallow.files.tables.stock_table import read_bookings, read_stock, write_bookings
from fallow.show.equipment import Equipment
from fallow.show.stock import Booking, Holding, free_of
from fallow.showfile.carrying import carry
from fallow.showfile.holding import Holding as Show
from fallow.showfile.kinds import AREA_PAIRS, CHAIN, FOREIGN, LINKS, NOTES, SETTINGS, STATIONS, SURVEYS
from fallow.showfile.store import ShowFile
from fallow.showfile.turns import one_at_a_time
from fallow.showfile.values import Note, Setting
from fallow.workflow.show import IN_FORCE, SUFFIX, Desk, FilePath, find_show, settings_of

__all__ = [
    "Booking",
    "Library",
    "SiteSeen",
    "Stock",
    "book",
    "days_of",
    "give_back",
    "list_sites",
    "open_library",
    "save_site",
    "stock_of",
    "use_site",
]

BOOKING_WAIT_S = 60.0  # a booking takes a moment: who waits longer is told
_OF_A_SITE = (SETTINGS, AREA_PAIRS, FOREIGN, STATIONS, CHAIN, SURVEYS, NOTES)
_OF_A_SHOW = {"name", "on", IN_FORCE}  # settings that a site has no part in
_NAME = re.compile(r"[^\\/:*?\"<>|\x00-\x1f.][^\\/:*?\"<>|\x00-\x1f]{0,99}")


@dataclass(frozen=True)
class Library:
    """A folder of sites and stock."""

    folder: Path

    def site(self, name: str) -> Path:
        """The file of a site. Raises UsageError for a name that no file can have."""
        if not _NAME.fullmatch(name):
            raise UsageError(f"{name!r} is no name for a site", hint="leave out signs that file names can't have")
        return self.folder / "sites" / f"{name}{SUFFIX}"

    @property
    def sites(self) -> tuple[str, ...]:
        """The names of all sites, sorted."""
        return tuple(sorted(one.stem for one in (self.folder / "sites").glob(f"*{SUFFIX}") if one.is_file()))

    @property
    def out(self) -> Path:
        """The table of what is out."""
        return self.folder / "out.csv"


@dataclass(frozen=True)
class SiteSeen:
    """A site: its settings, and how much of what it holds, by the word for it."""

    name: str
    settings: Mapping[str, Any]
    counts: Mapping[str, int]


@dataclass(frozen=True)
class Stock:
    """What the shop has, what is out, and how many pieces of each type are free on some days."""

    holdings: tuple[Holding, ...]
    bookings: tuple[Booking, ...]
    equipment: Mapping[str, Equipment]
    free: Mapping[str, int]
    first: date
    last: date
    notes: tuple[str, ...]


def open_library(folder: FilePath) -> Library:
    """The library in a folder. Raises InputError where there is none."""
    folder = Path(folder)
    if not folder.is_dir():
        raise InputError("there is no such folder", path=folder, hint="a library is a folder: make it first")
    return Library(folder)


def list_sites(library: Library) -> tuple[SiteSeen, ...]:
    """Every site of the library."""
    return tuple(_seen(name, library) for name in library.sites)


def _seen(name: str, library: Library) -> SiteSeen:
    with ShowFile.open(site_file(name, library)) as site:
        counts = {kind.word: site.count(kind) for kind in _OF_A_SITE if kind is not SETTINGS}
        return SiteSeen(name, settings_of(site), counts)


def site_file(name: str, library: Library) -> Path:
    """The file of a site. Raises UsageError where the library has none of that name."""
    path = library.site(name)
    if not path.is_file():
        hint = f"the sites are: {', '.join(library.sites) or 'none'}; `fallow show site save NAME` makes one"
        raise UsageError(f"the library has no site {name!r}", path=library.folder, hint=hint)
    return path


def save_site(name: str, library: Library, desk: Desk) -> Mapping[str, int]:
    """Put what a show knows of its site into the library: law, areas, stations, strangers, chain, surveys, notes.

    A site that is there already is brought up to date, with its history. Returns what is new there, by kind. Raises
    OutputError where it can't be written.
    """
    path = library.site(name)
    try:
        path.parent.mkdir(exist_ok=True)
    except OSError as error:
        raise OutputError("the folder of sites can't be made", path=path.parent) from error
    is_new = not path.exists()
    with ExitStack() as until_saved, desk.looking() as show, _writing(path, desk, is_new=is_new) as site:
        if is_new:
            until_saved.callback(path.unlink, missing_ok=True)
        with desk.change(site, f"from {show.path.name}") as change:
            counts = carry(show, site, change, _OF_A_SITE, _is_of_the_site)
            change.put(SETTINGS, Setting("site", name))
        until_saved.pop_all()
    return counts


def _writing(path: Path, desk: Desk, *, is_new: bool) -> ShowFile:
    return ShowFile.create(path, desk.who) if is_new else ShowFile.open(path, write=True, who=desk.who, wait_s=2.0)


def use_site(name: str, library: Library, desk: Desk) -> Mapping[str, int]:
    """Bring a site of the library into the show, as one change. Returns what is new in the show, by kind."""
    what = f"site {name!r} from the library"
    with (
        ShowFile.open(site_file(name, library)) as site,
        desk.writing() as show,
        desk.change(show, what) as change,
    ):
        return carry(site, show, change, _OF_A_SITE, _is_of_the_site)


def _is_of_the_site(value: Any) -> bool:
    """Whether a value says something of the place, not of the production; a note about one link does not."""
    if isinstance(value, Setting):
        return value.name not in _OF_A_SHOW
    return not (isinstance(value, Note) and value.about)


def stock_of(library: Library, first: date, last: date, but: str | None = None) -> Stock:
    """The stock and what is free on these days; ``but``: a show whose own bookings don't count.

    Raises InputError where ``stock.csv`` is missing or can't be read.
    """
    if last < first:
        raise UsageError("the last day comes before the first", hint="say --from FIRST --until LAST")
    holdings = read_stock(library.folder / "stock.csv")
    bookings = read_bookings(library.out) if library.out.exists() else ()
    types = library.folder / "equipment.csv"
    equipment = read_equipment(types) if types.exists() else {}
    free = free_of(holdings, bookings, first, last, but)
    return Stock(holdings, bookings, equipment, free, first, last, tuple(_notes(holdings, bookings, free, equipment)))


def _notes(
    holdings: tuple[Holding, ...],
    bookings: tuple[Booking, ...],
    free: Mapping[str, int],
    equipment: Mapping[str, Equipment],
) -> list[str]:
    notes = [f"{-count} more {name!r} are booked than there are" for name, count in free.items() if count < 0]
    unknown = sorted({one.equipment for one in bookings} - {one.equipment for one in holdings})
    notes += [f"{name!r} is booked, and the stock does not know it" for name in unknown]
    lacking = [one.equipment for one in holdings if one.equipment not in equipment]
    notes += [f"{name!r} is not in the library's equipment.csv, so it can't be planned with" for name in lacking]
    return notes


def book(library: Library, first: date, last: date, desk: Desk) -> tuple[Booking, ...]:
    """Enter the gear of the show's links as out on these days, in place of what the show had booked before.

    Who books at the same moment is waited for. Raises UsageError where more is wanted than is free, then nothing is
    changed.
    """
    with desk.looking() as show:
        name, wanted = show_name(show, desk), used_by(show)
    with one_at_a_time(library.out, BOOKING_WAIT_S):
        stock = stock_of(library, first, last, but=name)
        _check_free(wanted, stock, library)
        kept = [one for one in stock.bookings if one.show != name]
        made = tuple(Booking(one, count, name, first, last) for one, count in wanted.items() if one in stock.free)
        write_bookings(library.out, [*kept, *made])
    return made


def _check_free(wanted: Mapping[str, int], stock: Stock, library: Library) -> None:
    short = {one: count for one, count in wanted.items() if one in stock.free and stock.free[one] < count}
    if short:
        told = ", ".join(f"{count} {one} wanted, {max(stock.free[one], 0)} free" for one, count in short.items())
        hint = "`fallow show fit` proposes what to exchange"
        raise UsageError(f"the stock does not have it on these days: {told}", path=library.out, hint=hint)


def give_back(library: Library, desk: Desk) -> int:
    """Take the show's bookings out; returns how many there were. Who books at the same moment is waited for."""
    with desk.looking() as show:
        name = show_name(show, desk)
    with one_at_a_time(library.out, BOOKING_WAIT_S):
        bookings = read_bookings(library.out) if library.out.exists() else ()
        kept = [one for one in bookings if one.show != name]
        if len(kept) < len(bookings):
            write_bookings(library.out, kept)
    return len(bookings) - len(kept)


def show_name(show: Show, desk: Desk) -> str:
    """What the show is called in the table of what is out: its name, else that of its file."""
    return str(settings_of(show).get("name") or find_show(desk.path).stem)


def used_by(show: Show) -> Counter[str]:
    """How many pieces of each type the links of a show are made of."""
    return Counter(link.equipment for link in show.all(LINKS))


def days_of(desk: Desk) -> date:
    """The day of the show by its settings, else today; without a show today."""
    try:
        path = find_show(desk.path)
    except UsageError:
        return date.today()
    with ShowFile.open(path) as show:
        said = settings_of(show).get("on")
    return date.fromisoformat(str(said)) if said else date.today()
