"""What a change between two surveys is: what happened, where, from which level to which, how sure, and why so said."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["BandOffset", "Change", "SurveyChange", "Terms", "What"]


class What(StrEnum):
    """What happened to a piece of the air between an old survey and a new one."""

    APPEARED = "appeared"
    VANISHED = "vanished"
    LOUDER = "louder"
    QUIETER = "quieter"
    MOVED = "moved"
    FLOOR = "floor"


@dataclass(frozen=True)
class Change:
    """One change. Edges in hertz; of something that moved, those of its new place.

    ``from_dbm``, ``to_dbm``: levels [dBm, or the source's dB], of a signal in its whole width, of a floor in a link's
    width; where nothing was, what the survey showed there. ``u_db``: standard uncertainty of ``difference_db`` (new
    minus old). ``moved_from_hz``: the old place, ``None`` for all other changes.
    """

    low_hz: int
    high_hz: int
    what: What
    from_dbm: float
    to_dbm: float
    difference_db: float
    u_db: float
    because: str
    moved_from_hz: tuple[int, int] | None = None

    @property
    def centre_hz(self) -> float:
        """Middle in hertz."""
        return (self.low_hz + self.high_hz) / 2


@dataclass(frozen=True)
class BandOffset:
    """By how much the new survey shows the same signals (or only its floor) higher in a part of the spectrum, dB.

    ``seen_in``: ``signals`` or ``floor``; ``behind``: how many signals, or groups of floor, it rests on.
    ``beyond_chance``: whether it is more than chance; ``beyond_uncertainty``: than the uncertainty of both surveys.
    """

    low_hz: int
    high_hz: int
    offset_db: float
    u_db: float
    seen_in: str
    behind: int
    beyond_chance: bool
    beyond_uncertainty: bool


@dataclass(frozen=True)
class SurveyChange:
    """Two surveys compared. ``changes`` rise in frequency.

    ``offset_db``: by how much the new survey shows everything that both hold higher, with its standard uncertainty;
    ``None`` where nothing tells. ``by_band``: the same part by part; ``by_stretch``: where signals read unlike
    elsewhere by more than chance, edges found from the data. ``same_chain``: whether antenna and instrument
    were taken as the same, so that their common errors cancel. ``notes``: for people.
    """

    changes: tuple[Change, ...]
    offset_db: float | None
    offset_u_db: float | None
    by_band: tuple[BandOffset, ...]
    same_chain: bool
    absolute: bool
    notes: tuple[str, ...]
    by_stretch: tuple[BandOffset, ...] = ()


@dataclass(frozen=True)
class Terms:
    """What a comparison rests on. ``u_db``: standard uncertainty of a difference that noise has no part in."""

    same_chain: bool
    u_db: float
    absolute: bool
    link_width_hz: float
