"""Gear that goes out and comes back: which bookings are whose, and what a new one may take.

A show is known by the beginning of its history, which all its copies share, and by its name: two shows of one name are
two, and so are two copies that were given names of their own (a show made from a copy of last year's).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from fallow.errors import UsageError
from fallow.show.stock import Booking, Holding, free_of, same_piece

__all__ = [
    "Borrower",
    "Wish",
    "around",
    "booked",
    "listed_pieces",
    "named_pieces",
    "returned",
    "told",
    "told_days",
    "told_pieces",
]

MOST_IN_A_RANGE = 10_000
_RANGE = re.compile(r"(?P<before>.*?)(?P<low>\d+)\.\.(?P<again>.*?)(?P<high>\d+)", re.DOTALL)
_NUMBERED = re.compile(r"(?P<before>.*?)(?P<number>\d+)", re.DOTALL)


@dataclass(frozen=True)
class Borrower:
    """A show that borrows. ``id``: of its history, empty while there is none; ``names``: all that it was ever called;
    ``is_named``: its name was given to it and is not just that of its file.
    """

    name: str
    id: str
    names: frozenset[str]
    is_named: bool

    def has(self, one: Booking) -> bool:
        """Whether a booking is this show's."""
        return bool(self.id) and (one.show_id, one.show) == (self.id, self.name)

    def may_have(self, one: Booking) -> bool:
        """Whether it may be this show's: of its name without saying which show, or of a copy, or from before it had
        its name.
        """
        if self.has(one):
            return False
        if not one.show_id:
            return one.show == self.name
        return one.show_id == self.id and (one.show in self.names or not self.is_named)


@dataclass(frozen=True)
class Wish:
    """What a show wants: so many of each type, on these days; ``serials``: which pieces, for the types that it says."""

    wanted: Mapping[str, int]
    first: date
    last: date
    serials: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def booked(
    wish: Wish, borrower: Borrower, holdings: Sequence[Holding], others: Sequence[Booking], own: Sequence[Booking]
) -> tuple[Booking, ...]:
    """The bookings that give a show what it wants in place of its ``own``; types that the stock lacks are left out.

    Pieces that were named before stay named. Raises UsageError where too few are free, or a named piece is out.
    """
    known = {one.equipment: one for one in holdings}
    wanted = {name: count for name, count in wish.wanted.items() if name in known}
    for name in wish.serials:
        if name not in wanted:
            raise UsageError(f"pieces of {name} are named, and no link of the show is made of it")
    _check_free(replace(wish, wanted=wanted), holdings, others)
    made = []
    for name, count in wanted.items():
        before = (serial for one in own if one.equipment == name for serial in one.serials)
        serials = wish.serials.get(name)
        if serials is None:
            serials = tuple(dict.fromkeys(before))
        one = Booking(name, count, borrower.name, wish.first, wish.last, serials, borrower.id)
        _check_pieces(one, known[name], others)
        made.append(one)
    return tuple(made)


def _check_free(wish: Wish, holdings: Sequence[Holding], others: Sequence[Booking]) -> None:
    free = free_of(holdings, others, wish.first, wish.last)
    short = [name for name, count in wish.wanted.items() if free[name] < count]
    if short:
        each = (f"{wish.wanted[one]} {one} wanted, {free[one]} free{_by_whom(one, wish, others)}" for one in short)
        told_short = " and ".join(each)
        hint = "`fallow show fit` proposes what to exchange"
        raise UsageError(f"the stock does not have it on these days: {told_short}", hint=hint)


def _by_whom(name: str, wish: Wish, others: Iterable[Booking]) -> str:
    out = [one for one in others if one.equipment == name and one.overlaps(wish.first, wish.last)]
    return f" ({'; '.join(f'{one.count} for {one.show}, {told_days(one)}' for one in out)})" if out else ""


def _check_pieces(one: Booking, holding: Holding, others: Iterable[Booking]) -> None:
    """Refuse pieces that are not in the stock, out for somebody else, or more than are wanted."""
    name = one.equipment
    missing = [serial for serial in one.serials if holding.spelled(serial) is None]
    if missing:
        raise UsageError(f"the stock has no {name} {', '.join(missing)}", hint="`fallow show stock` lists the pieces")
    if one.unnamed < 0:
        what = f"{len(one.serials)} pieces of {name} are named, and {one.count} wanted: {', '.join(one.serials)}"
        raise UsageError(what, hint=f"name those that are meant: --serials '{name}=A;B', or none: --serials '{name}='")
    for other in others:
        if other.equipment == name and other.overlaps(one.first, one.last):
            taken = [serial for serial in one.serials if any(same_piece(serial, held) for held in other.serials)]
            if taken:
                what = f"{name} {', '.join(taken)}: out for {other.show}, {told_days(other)}"
                raise UsageError(what, hint=f"name others: --serials '{name}=A;B', or none: --serials '{name}='")


def returned(one: Booking, last: date | None, pieces: Iterable[str] | None = None) -> tuple[Booking, ...]:
    """What a booking becomes when nothing of it is out after ``last`` (``None``: nothing at all any more).

    ``pieces``: only these come back, the rest stays out as it was; they are spelled as in the booking.
    """
    ends = None if last is None or one.first > last else replace(one, last=min(one.last, last))
    if pieces is None:
        return () if ends is None else (ends,)
    back = tuple(serial for serial in one.serials if serial in {*pieces})
    if not back:
        return (one,)
    left = tuple(serial for serial in one.serials if serial not in back)
    parts = [replace(one, count=one.count - len(back), serials=left)]
    if ends is not None:
        parts.append(replace(ends, count=len(back), serials=back))
    return tuple(part for part in parts if part.count)


def around(one: Booking, first: date, last: date) -> tuple[Booking, ...]:
    """What is left of a booking before and after some days."""
    parts = []
    if one.first < first:
        parts.append(replace(one, last=min(one.last, first - timedelta(1))))
    if one.last > last:
        parts.append(replace(one, first=max(one.first, last + timedelta(1))))
    return tuple(parts)


def named_pieces(
    words: Iterable[str], holdings: Sequence[Holding], among: Iterable[str], holder: str = "the stock has"
) -> Mapping[str, tuple[str, ...]]:
    """Pieces as typed, ``A1``, ``A1..A7``, ``A1;A3`` or ``hand A=1..7``, by type and as the stock spells them.

    ``among``: the types that may be meant where none is said. ``hand A=`` alone names no piece of that type. Raises
    UsageError, which says what the ``holder`` has not, for what is none or may be of several types.
    """
    types = {one.equipment: one for one in holdings}
    meant = [types[name] for name in among if name in types]
    found: dict[str, dict[str, None]] = {}
    for word in words:
        name, equals, listed = word.partition("=")
        if equals and name.strip() in types:
            candidates = [types[name.strip()]]
            found.setdefault(name.strip(), {})
        else:
            candidates, listed = meant, word
        for item in filter(None, map(str.strip, listed.split(";"))):
            holding, pieces = _pieces_of(item, candidates, holdings, holder)
            found.setdefault(holding.equipment, {}).update(dict.fromkeys(pieces))
    return {name: tuple(pieces) for name, pieces in found.items()}


def _pieces_of(
    item: str, candidates: Sequence[Holding], holdings: Sequence[Holding], holder: str
) -> tuple[Holding, tuple[str, ...]]:
    """One piece, or a range of them, and the type that it is of."""
    fits = [(one, pieces) for one in candidates if (pieces := _in_stock(item, one)) is not None]
    if len(fits) == 1:
        return fits[0]
    if fits:
        names = [one.equipment for one, _ in fits]
        raise UsageError(f"{item!r} may be of {' or '.join(names)}", hint=f"say which: --serials '{names[0]}={item}'")
    elsewhere = [one.equipment for one in holdings if _in_stock(item, one) is not None]
    of = " and ".join(one.equipment for one in candidates) or "any type that the show is made of"
    also = f"; it is a {elsewhere[0]}" if elsewhere else ""
    raise UsageError(f"{holder} no piece {item!r} of {of}{also}", hint="`fallow show stock` lists the pieces")


def _in_stock(item: str, holding: Holding) -> tuple[str, ...] | None:
    """The pieces that are meant, as the stock spells them; ``None`` where one of them is not in it."""
    one = holding.spelled(item)
    if one is not None:
        return (one,)
    match = _RANGE.fullmatch(item)
    if match is None or match["again"].casefold() not in ("", match["before"].casefold()):
        return None
    low, high = int(match["low"]), int(match["high"])
    if not low <= high < low + MOST_IN_A_RANGE:
        return None
    numbered = dict(_numbered(holding, match["before"]))
    found = [numbered.get(number) for number in range(low, high + 1)]
    pieces = tuple(piece for piece in found if piece is not None)
    return pieces if len(pieces) == len(found) else None


def listed_pieces(items: Iterable[str]) -> tuple[str, ...]:
    """Pieces as a table lists them, ranges written out: ``A01..A03`` as A01, A02, A03."""
    return tuple(piece for item in items for piece in _written_out(item))


def _written_out(item: str) -> tuple[str, ...]:
    match = _RANGE.fullmatch(item)
    if match is None or match["again"].casefold() not in ("", match["before"].casefold()):
        return (item,)
    low, high = int(match["low"]), int(match["high"])
    if not low <= high < low + MOST_IN_A_RANGE:
        return (item,)
    return tuple(f"{match['before']}{number:0{len(match['low'])}d}" for number in range(low, high + 1))


def _numbered(holding: Holding, before: str) -> Iterator[tuple[int, str]]:
    for serial in holding.serials:
        match = _NUMBERED.fullmatch(serial)
        if match is not None and match["before"].casefold() == before.casefold():
            yield int(match["number"]), serial


def told(one: Booking) -> str:
    """A booking as a sentence says it: ``7 hand A for Gala, 2026-07-18 to 2026-07-20``."""
    return f"{one.count} {one.equipment} for {one.show}, {told_days(one)}"


def told_days(one: Booking) -> str:
    """The days of a booking: ``2026-07-18 to 2026-07-20``, or the one day."""
    return f"{one.first}" if one.first == one.last else f"{one.first} to {one.last}"


def told_pieces(serials: Iterable[str]) -> str:
    """Pieces by name, three or more that follow each other as a range: ``A1..A7, A9``."""
    runs: list[list[str]] = []
    for serial in sorted(serials, key=_by_number):
        if runs and _follows(runs[-1][-1], serial):
            runs[-1].append(serial)
        else:
            runs.append([serial])
    return ", ".join(f"{run[0]}..{run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)


def _by_number(serial: str) -> tuple[str, int, str]:
    match = _NUMBERED.fullmatch(serial)
    return (serial, -1, serial) if match is None else (match["before"], int(match["number"]), serial)


def _follows(one: str, other: str) -> bool:
    before, number, _ = _by_number(one)
    return number >= 0 and _by_number(other)[:2] == (before, number + 1)
