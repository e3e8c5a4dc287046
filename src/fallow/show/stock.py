"""A shop's stock: how many of each type there are, which are out, for which show, from when to when.

Days are whole: a piece that comes back on a day is not there for anybody else on it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import zip_longest

__all__ = ["Booking", "Clash", "Excess", "Holding", "clashes", "excesses", "free_of", "same_piece"]

_DAY = timedelta(1)


@dataclass(frozen=True)
class Holding:
    """So many pieces of one type of radio. ``serials``: their names, as far as they are known."""

    equipment: str
    count: int
    serials: tuple[str, ...] = ()
    note: str = ""

    def spelled(self, serial: str) -> str | None:
        """A serial name as the stock spells it; ``None`` where it has no such piece."""
        return next((one for one in self.serials if same_piece(one, serial)), None)


@dataclass(frozen=True)
class Booking:
    """So many pieces that are out for a show, both days included. ``serials``: which, as far as it is known.

    ``show_id``: which show of that name, as its file tells it; empty where nothing does.
    """

    equipment: str
    count: int
    show: str
    first: date
    last: date
    serials: tuple[str, ...] = ()
    show_id: str = ""

    def overlaps(self, first: date, last: date) -> bool:
        """Whether it has a day in common with these."""
        return self.first <= last and first <= self.last

    @property
    def unnamed(self) -> int:
        """How many of its pieces are known by their number only."""
        return self.count - len(self.serials)


@dataclass(frozen=True)
class Excess:
    """More pieces of a type are out than there are. ``day``: the worst day, the first of several; ``days``: how many
    there are in all; ``bookings``: those of the worst day.
    """

    equipment: str
    there: int
    day: date
    days: int
    bookings: tuple[Booking, ...]

    @property
    def over(self) -> int:
        """So many more are out than there are."""
        return _pieces(self.bookings) - self.there


@dataclass(frozen=True)
class Clash:
    """One piece is out twice on a day. ``day``: the first one."""

    equipment: str
    serial: str
    day: date
    bookings: tuple[Booking, Booking]


def same_piece(one: str, other: str) -> bool:
    """Whether two serial names mean one piece: capitals and blanks around them do not count."""
    return one.strip().casefold() == other.strip().casefold()


def free_of(holdings: Iterable[Holding], bookings: Sequence[Booking], first: date, last: date) -> Mapping[str, int]:
    """How many pieces of each type nobody has booked on any of these days; never below zero.

    Bookings that follow each other do not add up: the fullest day counts.
    """
    free = {}
    for holding in holdings:
        most = max((_pieces(out) for _, _, out in _spans(holding.equipment, bookings, first, last)), default=0)
        free[holding.equipment] = max(holding.count - most, 0)
    return free


def excesses(holdings: Iterable[Holding], bookings: Sequence[Booking], first: date, last: date) -> Iterator[Excess]:
    """The types of which more pieces are out than there are, on any of these days."""
    for holding in holdings:
        over = [
            (begin, end, out)
            for begin, end, out in _spans(holding.equipment, bookings, first, last)
            if _pieces(out) > holding.count
        ]
        if over:
            day, _, worst = max(over, key=lambda span: _pieces(span[2]))
            days = sum((end - begin).days + 1 for begin, end, _ in over)
            yield Excess(holding.equipment, holding.count, day, days, worst)


def clashes(bookings: Iterable[Booking], first: date, last: date) -> Iterator[Clash]:
    """The pieces that are out twice on one of these days; each pair of bookings is told once."""
    holders: dict[tuple[str, str], list[Booking]] = defaultdict(list)
    for booking in bookings:
        for serial in booking.serials if booking.overlaps(first, last) else ():
            piece = (booking.equipment, serial.strip().casefold())
            for other in holders[piece]:
                day = max(first, booking.first, other.first)
                if day <= min(last, booking.last, other.last):
                    yield Clash(booking.equipment, serial, day, (other, booking))
            holders[piece].append(booking)


def _spans(
    equipment: str, bookings: Sequence[Booking], first: date, last: date
) -> Iterator[tuple[date, date, tuple[Booking, ...]]]:
    """Spans of these days, each with what of a type is out on all of its days; spans without any are left out."""
    out = [one for one in bookings if one.equipment == equipment and one.overlaps(first, last)]
    begins = sorted({max(one.first, first) for one in out} | {one.last + _DAY for one in out if one.last < last})
    for begin, after in zip_longest(begins, begins[1:]):
        on_it = tuple(one for one in out if one.overlaps(begin, begin))
        if on_it:
            yield begin, last if after is None else after - _DAY, on_it


def _pieces(bookings: Iterable[Booking]) -> int:
    return sum(one.count for one in bookings)
