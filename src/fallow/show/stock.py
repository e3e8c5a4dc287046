"""A shop's stock: how many of each type there are, which are out, for which show, from when to when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

__all__ = ["Booking", "Holding", "free_of"]


@dataclass(frozen=True)
class Holding:
    """So many pieces of one type of radio. ``serials``: their names, as far as they are known."""

    equipment: str
    count: int
    serials: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Booking:
    """So many pieces that are out for a show, both days included. ``serials``: which, as far as it is known."""

    equipment: str
    count: int
    show: str
    first: date
    last: date
    serials: tuple[str, ...] = ()

    def overlaps(self, first: date, last: date) -> bool:
        """Whether it has a day in common with these."""
        return self.first <= last and first <= self.last


def free_of(
    holdings: Iterable[Holding], bookings: Iterable[Booking], first: date, last: date, but: str | None = None
) -> Mapping[str, int]:
    """How many pieces of each type nobody has booked on any of these days; below zero where too many are booked.

    Bookings that follow each other do not add up: the fullest day counts. ``but``: a show whose bookings don't count.
    """
    bookings = [one for one in bookings if one.overlaps(first, last) and one.show != but]
    free = {}
    for holding in holdings:
        of_type = [one for one in bookings if one.equipment == holding.equipment]
        days = {max(one.first, first) for one in of_type}
        most = max((sum(one.count for one in of_type if one.overlaps(day, day)) for day in days), default=0)
        free[holding.equipment] = holding.count - most
    return free
