"""What a territory allows, as plain values: its rows, its TV channels, its licences and places, its cautions.

A row is a statement about one band under one licence, with where it was read, when that text was written and how well
it was checked. Rows are data (`rules/data/*.toml`, or a user's own file); `fallow.files.territories` loads them.
"""

from __future__ import annotations

import datetime
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from functools import cached_property

from fallow.errors import UsageError
from fallow.show.equipment import Kind, PowerKind
from fallow.units import Channel, Span, format_width

__all__ = ["ELSEWHERE", "Answer", "Circumstances", "Grade", "Place", "Raster", "Rule", "Territory", "licences_in"]

ELSEWHERE = "elsewhere"
"""What a user writes for "in none of the places that the rows name"."""


class Answer(IntEnum):
    """May a link be there? Ordered: the better the answer, the larger the number."""

    NO = 0
    ASK = 1
    YES = 2

    @property
    def word(self) -> str:
        """``yes``, ``ask`` or ``no``."""
        return self.name.lower()


class Grade(StrEnum):
    """How well a row was checked: the law's words seen, quoted by others, or from memory."""

    SEEN = "seen"
    SECOND_HAND = "second-hand"
    MEMORY = "memory"

    @property
    def weakness(self) -> int:
        """0 for the best grade; larger is weaker."""
        return list(Grade).index(self)


@dataclass(frozen=True)
class Place:
    """A named place for which some rows hold. ``aliases`` are other spellings; ``text`` says what it covers."""

    name: str
    text: str
    aliases: tuple[str, ...] = ()

    def is_called(self, name: str) -> bool:
        """Whether ``name`` means this place; case, accents and punctuation do not count."""
        return _plain(name) in {_plain(known) for known in (self.name, *self.aliases)}


@dataclass(frozen=True)
class Rule:
    """One row. Band edges and widths in hertz, power in milliwatt; ``None`` where the row sets no such limit.

    ``allows`` false: transmitting is prohibited there for wireless audio (where a ``licence`` is named: for its holders
    only). ``exempt``: nobody has to apply for the licence or to state it. ``kinds`` empty: for links of every kind.
    ``carriers_hz`` not empty: only these centres. ``wider_than_hz``: only for equipment wider than this. ``needs``:
    what has to be settled outside fallow; such a row never says more than *ask*. ``places``: holds only there.
    ``named_place``: a place must be stated. ``remarks``: what else the text says. ``date``: of the text that was read
    (``2026``, ``2026-07`` or ``2026-07-18``). ``grade``: the weakest among the figures that the row states.
    """

    low_hz: int
    high_hz: int
    allows: bool
    licence: str
    source: str
    date: str
    grade: Grade
    exempt: bool = False
    kinds: frozenset[Kind] = frozenset()
    carriers_hz: tuple[int, ...] = ()
    power_mw: float | None = None
    power_kind: PowerKind | None = None
    bandwidth_hz: int | None = None
    wider_than_hz: int | None = None
    needs: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    places: tuple[Place, ...] = ()
    named_place: bool = False
    valid_from: datetime.date | None = None
    valid_to: datetime.date | None = None

    @property
    def span(self) -> Span:
        """The band."""
        return Span(self.low_hz, self.high_hz)

    @property
    def conditions(self) -> tuple[str, ...]:
        """All that the row asks for besides band, licence, power and width, in words, for listings."""
        told = [f"for {', '.join(kind for kind in Kind if kind in self.kinds)} only"] if self.kinds else []
        told += [f"in {', '.join(place.name for place in self.places)}"] if self.places else []
        told += [f"wider than {format_width(self.wider_than_hz)} only"] if self.wider_than_hz else []
        told += ["a fixed, named place"] if self.named_place else []
        told += [f"needs {need}" for need in self.needs]
        told += [f"from {self.valid_from.isoformat()}"] if self.valid_from else []
        told += [f"until {self.valid_to.isoformat()}"] if self.valid_to else []
        return (*told, *self.remarks)

    def is_valid(self, on: datetime.date) -> bool:
        """Whether the row is in force on a day, its first and last day included."""
        return (self.valid_from is None or self.valid_from <= on) and (self.valid_to is None or on <= self.valid_to)

    def is_here(self, stated: str | None, known: Iterable[Place] = ()) -> bool | None:
        """Whether the row holds at the stated place; None where that can't be told.

        ``known``: the places that the territory knows. A name that is none of them settles nothing, ``elsewhere`` does.
        """
        if not self.places:
            return True
        if stated is None:
            return None
        if any(place.is_called(stated) for place in self.places):
            return True
        is_known = stated.strip().lower() == ELSEWHERE or any(place.is_called(stated) for place in known)
        return False if is_known else None


@dataclass(frozen=True)
class Raster:
    """A run of TV channels with where its edges were read."""

    channels: tuple[Channel, ...]
    source: str
    date: str
    grade: Grade


@dataclass(frozen=True)
class Circumstances:
    """What the user states: the licences held (one name, or several with commas), the place, and the day that counts.

    ``place``: one of the territory's places; ``elsewhere`` for none of them; or the name of a venue, which settles only
    that a place was named.
    """

    licence: str | None
    place: str | None
    on: datetime.date


@dataclass(frozen=True)
class Territory:
    """What a territory allows. ``code``: ISO 3166, lower case. ``rules``: rising. ``licences``: name to what it is."""

    code: str
    name: str
    rules: tuple[Rule, ...]
    rasters: tuple[Raster, ...]
    licences: Mapping[str, str]
    places: tuple[Place, ...]
    cautions: tuple[str, ...]

    @cached_property
    def channels(self) -> tuple[Channel, ...]:
        """TV channels in the order of frequency."""
        return tuple(sorted((c for raster in self.rasters for c in raster.channels), key=lambda c: c.low_hz))

    def channel(self, name: str) -> Channel | None:
        """The TV channel of that name (``21``, ``ch 21``, ``9a``), or None."""
        wanted = _plain(name).removeprefix("channel").removeprefix("ch")
        return next((channel for channel in self.channels if _plain(channel.name) == wanted), None)

    def place(self, name: str) -> Place | None:
        """The place of that name in the rows, or None."""
        return next((place for place in self.places if place.is_called(name)), None)

    def licences_held(self, stated: str | None) -> frozenset[str] | None:
        """The licences in ``stated`` (one name, or several with commas); None where nothing was stated.

        Raises UsageError for a name that the territory's rows do not know.
        """
        if stated is None:
            return None
        known = {name.lower(): name for name in self.licences}
        for name in _names(stated):
            if name not in known:
                hint = f"it is one of: {', '.join(self.licences)}" if known else "leave --licence out"
                raise UsageError(f"no licence of {self.name} is called {name!r}", hint=hint)
        return licences_in(stated)


def licences_in(stated: str) -> frozenset[str]:
    """The names in a licence option, in lower case."""
    return frozenset(_names(stated))


def _names(stated: str) -> list[str]:
    return [name.strip().lower() for name in stated.split(",")]


def _plain(text: str) -> str:
    """Letters and digits only, in lower case, without accents: how names are compared."""
    return "".join(sign for sign in unicodedata.normalize("NFKD", text).casefold() if sign.isalnum())
