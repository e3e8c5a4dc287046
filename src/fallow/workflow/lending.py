"""The stock of a library: what there is and what is free on some days; gear booked for a show and given back.

Whoever books at the same moment is waited for. Nobody's rows are changed but those of the show itself.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import Enum
from itertools import pairwise

from fallow.errors import QuestionError, UsageError
from fallow.files.tables import read_equipment
from fallow.files.tables.stock_table import OutTable, read_bookings, read_stock
from fallow.show.equipment import Equipment
from fallow.show.lending import Borrower, Wish, around, booked, named_pieces, returned, told, told_days, told_pieces
from fallow.show.stock import Booking, Clash, Excess, Holding, clashes, excesses, free_of, same_piece
from fallow.showfile.kinds import LINKS
from fallow.showfile.naming import first_change, names_ever
from fallow.showfile.store import ShowFile
from fallow.showfile.turns import one_at_a_time
from fallow.workflow.library import Library
from fallow.workflow.show import Desk, find_show, settings_of

__all__ = [
    "Booked",
    "Booking",
    "Claim",
    "Days",
    "Excess",
    "Holding",
    "Returned",
    "Stock",
    "book",
    "borrower_of",
    "days_of",
    "give_back",
    "stock_of",
    "told",
    "told_days",
    "told_pieces",
]

BOOKING_WAIT_S = 60.0  # a booking takes a moment: who waits longer is told
_STOCK_HINT = "make this table: equipment,count,serials,note with a row for each type; docs/library.md tells more"


class Claim(Enum):
    """Whose rows are that may be this show's or another's: asked, or as she says."""

    ASKED = "asked"
    OURS = "ours"
    THEIRS = "theirs"


@dataclass(frozen=True)
class Stock:
    """What the shop has, what is out, and how many pieces of each type are free on all of some days.

    ``over`` and ``clashes``: of which more is out than there is, and which pieces are out twice, on these days; for
    later days ``notes`` say it.
    """

    holdings: tuple[Holding, ...]
    bookings: tuple[Booking, ...]
    equipment: Mapping[str, Equipment]
    free: Mapping[str, int]
    first: date
    last: date
    over: tuple[Excess, ...]
    clashes: tuple[Clash, ...]
    notes: tuple[str, ...]

    @property
    def is_sound(self) -> bool:
        """Whether nothing is promised twice on these days."""
        return not self.over and not self.clashes

    def out_of(self, holding: Holding) -> tuple[Booking, ...]:
        """What of a type is out on some of these days."""
        of_type = (one for one in self.bookings if one.equipment == holding.equipment)
        return tuple(one for one in of_type if one.overlaps(self.first, self.last))

    def pieces_in(self, holding: Holding) -> tuple[str, ...]:
        """The named pieces of a type that are named in no booking on these days."""
        out = [serial for one in self.out_of(holding) for serial in one.serials]
        return tuple(one for one in holding.serials if not any(same_piece(one, other) for other in out))


@dataclass(frozen=True)
class Days:
    """From when until when, both days included. ``also``: beside what the show has booked for other days."""

    first: date
    last: date
    also: bool = False


@dataclass(frozen=True)
class Booked:
    """What was booked. ``replaced``: what the show had booked before, where it differs."""

    made: tuple[Booking, ...]
    replaced: tuple[Booking, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Returned:
    """What came back: so many bookings are gone, and what others became, which end sooner or have fewer pieces."""

    gone: int
    shortened: tuple[Booking, ...]


def stock_of(library: Library, first: date, last: date, but: Borrower | None = None) -> Stock:
    """The stock and what is free on these days; ``but``: a show whose own bookings don't count.

    Raises InputError where ``stock.csv`` is missing or can't be read.
    """
    if last < first:
        raise UsageError("the last day comes before the first", hint="say --from FIRST --until LAST")
    holdings = read_stock(_stock_table(library))
    bookings = read_bookings(library.out)
    counted = tuple(one for one in bookings if but is None or not but.has(one))
    types = library.folder / "equipment.csv"
    equipment = read_equipment(types) if types.exists() else {}
    over, twice = tuple(excesses(holdings, counted, first, last)), tuple(clashes(counted, first, last))
    notes = (
        *_told_twice(over, twice),
        *_later(holdings, counted, last),
        *_strange(holdings, [one for one in counted if one.last >= first], equipment),
        *([] if but is None else _perhaps_own(bookings, but)),
    )
    return Stock(
        holdings, bookings, equipment, free_of(holdings, counted, first, last), first, last, over, twice, notes
    )


def _stock_table(library: Library) -> str:
    path = library.stock
    if not path.exists():
        raise UsageError("the library has no stock.csv, so nobody knows what there is", path=path, hint=_STOCK_HINT)
    return str(path)


def _told_twice(over: Iterable[Excess], twice: Iterable[Clash]) -> Iterator[str]:
    for one in over:
        names = ", ".join(f"{count} for {name}" for name, count in _by_show(one.bookings).items())
        more = f" (the worst of {one.days} such days)" if one.days > 1 else ""
        verb = "is" if one.over == 1 else "are"
        yield f"{one.over} more {one.equipment} {verb} booked than there are ({one.there}), on {one.day}{more}: {names}"
    for clash in twice:
        shows = " and for ".join(booking.show for booking in clash.bookings)
        yield f"{clash.equipment} {clash.serial} is out twice on {clash.day}: for {shows}"


def _by_show(bookings: Iterable[Booking]) -> Counter[str]:
    counts: Counter[str] = Counter()
    for one in bookings:
        counts[one.show] += one.count
    return counts


def _later(holdings: Sequence[Holding], bookings: Sequence[Booking], last: date) -> Iterator[str]:
    """The same of days to come."""
    if last < date.max:
        after = last + timedelta(1)
        yield from _told_twice(excesses(holdings, bookings, after, date.max), clashes(bookings, after, date.max))


def _strange(
    holdings: Sequence[Holding], bookings: Sequence[Booking], equipment: Mapping[str, Equipment]
) -> Iterator[str]:
    """What the tables say that does not belong together."""
    known = {one.equipment: one for one in holdings}
    for booking in bookings:
        holding = known.get(booking.equipment)
        if holding is None:
            yield f"{told(booking)}: the stock does not know it"
        elif missing := [one for one in booking.serials if holding.serials and holding.spelled(one) is None]:
            yield f"{told(booking)}: the stock has no {', '.join(missing)}"
    for one, other in pairwise(sorted({(one.show, one.show_id) for one in bookings if one.show_id})):
        if one[0] == other[0]:
            yield f"two shows are called {one[0]}: give each its own name, fallow show set name=..."
    lacking = [one.equipment for one in holdings if one.equipment not in equipment]
    yield from (f"{name} is not in the library's equipment.csv, so it can't be planned with" for name in lacking)


def _perhaps_own(bookings: Sequence[Booking], borrower: Borrower) -> Iterator[str]:
    if not any(borrower.has(one) for one in bookings):
        for one in bookings:
            if borrower.may_have(one):
                yield f"{told(one)}: it may be this show's own, and is counted as another's"


def book(library: Library, days: Days, desk: Desk, pieces: Sequence[str] = (), claim: Claim = Claim.ASKED) -> Booked:
    """Enter the gear of the show's links as out on these days, in place of what the show had booked before.

    ``pieces``: which ones, as typed. Raises UsageError where more is wanted than is free or a piece is out, and
    QuestionError where it is open which rows are the show's; then nothing is changed.
    """
    with desk.looking() as show:
        borrower, wanted = borrower_of(show, desk), Counter(link.equipment for link in show.all(LINKS))
        if not wanted:
            raise UsageError("the show has no links to book gear for", path=show.path, hint="fallow show add LINKS.csv")
    with one_at_a_time(library.out, BOOKING_WAIT_S):
        stock, table = stock_of(library, days.first, days.last), OutTable.read(library.out)
        own = _own(table, borrower, claim)
        if days.also:
            own = {line: one for line, one in own.items() if one.overlaps(days.first, days.last)}
        others = [one for line, one in table.bookings.items() if line not in own]
        wish = Wish(wanted, days.first, days.last, named_pieces(pieces, stock.holdings, wanted))
        made = booked(wish, borrower, stock.holdings, others, tuple(own.values()))
        _check_none_is_lost(own.values(), made, wanted, stock, days)
        stays = [part for one in own.values() for part in around(one, days.first, days.last) if days.also]
        stays = [replace(part, show=borrower.name, show_id=borrower.id) for part in stays]
        table.change(*_in_place(own, [*made, *stays]))
    replaced = tuple(one for one in own.values() if _what(one) not in map(_what, made))
    return Booked(made, replaced, tuple(_booking_notes(made, wanted, stock, others, borrower)))


def _check_none_is_lost(
    own: Iterable[Booking], made: Iterable[Booking], wanted: Mapping[str, int], stock: Stock, days: Days
) -> None:
    """Refuse to give back what the show has booked while a type that it wants has a name that the stock lacks."""
    unknown = sorted(wanted.keys() - stock.free.keys())
    kept = {one.equipment for one in made}
    lost = [told(one) for one in own if one.equipment not in kept and one.last >= days.first]
    if unknown and lost:
        what = f"the stock does not know {', '.join(unknown)}, and this would be given back: {'; '.join(lost)}"
        hint = f"call the type as stock.csv does: fallow show equipment '{unknown[0]}' --rename NAME; or --return first"
        raise UsageError(what, hint=hint)


def _in_place(
    own: Mapping[int, Booking], made: Sequence[Booking]
) -> tuple[dict[int, Booking | None], tuple[Booking, ...]]:
    """Which rows become which bookings, each type in its own row where it has one, and what has to be added."""
    left = list(made)
    changed: dict[int, Booking | None] = {}
    for line, one in own.items():
        changed[line] = next((new for new in left if new.equipment == one.equipment), None)
        left = [new for new in left if new is not changed[line]]
    return changed, tuple(left)


def _what(one: Booking) -> Booking:
    """A booking without who it is for."""
    return replace(one, show="", show_id="")


def _booking_notes(
    made: Iterable[Booking],
    wanted: Mapping[str, int],
    stock: Stock,
    others: Iterable[Booking],
    borrower: Borrower,
) -> Iterator[str]:
    named = {one.equipment for one in stock.holdings if one.serials}
    for one in made:
        if one.equipment in named and one.unnamed:
            yield f"{one.unnamed} of {one.count} {one.equipment} not named; which they are can be said with --serials"
    for name in sorted(wanted.keys() - stock.free.keys()):
        yield f"{wanted[name]} {name} not booked: the stock does not know it"
    same = [one for one in others if one.show == borrower.name and not borrower.has(one)]
    if same:
        yield f"another show is called {borrower.name} too: {told(same[0])}; name yours: fallow show set name=..."


def give_back(
    library: Library, desk: Desk, last: date | None = None, pieces: Sequence[str] = (), claim: Claim = Claim.ASKED
) -> Returned:
    """Take the show's bookings out; with ``last`` they end on that day, and only what begins later is gone.

    ``pieces``: only these come back, as typed. Raises UsageError where one of them is in no booking of the show, and
    QuestionError where it is open which rows are the show's; then nothing is changed.
    """
    with desk.looking() as show:
        borrower = borrower_of(show, desk)
    with one_at_a_time(library.out, BOOKING_WAIT_S):
        table = OutTable.read(library.out)
        own = _own(table, borrower, claim)
        named = _named_in(own.values(), pieces)
        left = {line: returned(one, last, named.get(one.equipment, ()) if pieces else None)
                for line, one in own.items()}  # fmt: skip
        changed = {line: next(iter(parts), None) for line, parts in left.items()}
        table.change(changed, [part for parts in left.values() for part in parts[1:]])
    different = tuple(part for line, parts in left.items() for part in parts if part != own[line])
    return Returned(sum(not parts for parts in left.values()), different)


def _named_in(own: Collection[Booking], pieces: Sequence[str]) -> Mapping[str, tuple[str, ...]]:
    """The pieces that are typed, by type and as the show's bookings spell them."""
    if pieces and not own:
        raise UsageError("the show has booked nothing, so no piece of it can come back")
    serials: dict[str, dict[str, None]] = {}
    for one in own:
        serials.setdefault(one.equipment, {}).update(dict.fromkeys(one.serials))
    holdings = [Holding(name, len(found), tuple(found)) for name, found in serials.items()]
    return named_pieces(pieces, holdings, serials, "the show's bookings name")


def _own(table: OutTable, borrower: Borrower, claim: Claim) -> dict[int, Booking]:
    """The show's bookings, by line. Raises QuestionError where some may be its own or another's, and none is for sure.

    Once it has booked rows of its own, the others are another's unless she says so.
    """
    own = {line: one for line, one in table.bookings.items() if borrower.has(one)}
    perhaps = {line: one for line, one in table.bookings.items() if borrower.may_have(one)}
    if claim is Claim.OURS:
        return {**own, **perhaps}
    if perhaps and not own and claim is Claim.ASKED:
        raise QuestionError(
            f"these bookings may be of this show, {borrower.name}, or of another",
            readings=tuple(told(one) for one in perhaps.values()),
            path=table.path,
            hint="say --ours (this show's) or --theirs (another's: they stay)",
        )
    return own


def borrower_of(show: ShowFile, desk: Desk) -> Borrower:
    """Who a show is in the table of what is out."""
    name, stem = settings_of(show).get("name"), find_show(desk.path).stem.strip()
    began = first_change(show)
    show_id = f"h{began}" if began else ""  # a letter first: digits with an e would be a number to a spreadsheet
    return Borrower(str(name or stem), show_id, names_ever(show) | {stem}, bool(name))


def days_of(desk: Desk) -> date:
    """The day of the show by its settings, else today; where no show is meant, or it is not said which, today."""
    try:
        path = find_show(desk.path)
    except (UsageError, QuestionError):
        return date.today()
    with ShowFile.open(path) as show:
        said = settings_of(show).get("on")
    return date.fromisoformat(str(said)) if said else date.today()
