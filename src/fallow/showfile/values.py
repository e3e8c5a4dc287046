"""What a show file holds beside links, equipment and carriers: settings, plans, surveys, notes, marks, events."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fallow.show.assignment import Assignment

__all__ = [
    "AreaPair",
    "Event",
    "Mark",
    "Merge",
    "Note",
    "PlanHead",
    "PlanRow",
    "Setting",
    "SourceFile",
    "SurveyHead",
    "Value",
]

Value = str | int | float | bool | None


@dataclass(frozen=True)
class Setting:
    """One thing that holds for the whole show, such as the region or the licence."""

    name: str
    value: Value


@dataclass(frozen=True)
class AreaPair:
    """Two areas and what is lost between them in decibels; ``None``: they are apart and do not hear each other."""

    area: str
    other: str
    loss_db: float | None


@dataclass(frozen=True)
class PlanHead:
    """A plan without its rows. ``made``: ISO 8601. ``settings``: seed, seconds and whatever else it was made with."""

    name: str
    made: str = ""
    notes: tuple[str, ...] = ()
    settings: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True)
class PlanRow:
    """A row of a plan. ``copy`` counts rows of one name, which spares of other people's plans may share."""

    plan: str
    assignment: Assignment
    copy: int = 0


@dataclass(frozen=True)
class SourceFile:
    """A file that sweeps came from: its name, and the SHA-256 of its bytes in hexadecimal."""

    name: str
    sha256: str


@dataclass(frozen=True)
class SurveyHead:
    """A survey without its sweeps. ``series``: their numbers in the file. ``is_reference``: taken with a load.

    ``area``: where it was taken, empty: it holds for all. ``added``: ISO 8601. ``notes``: those of its files' readers.
    """

    name: str
    series: tuple[int, ...] = ()
    is_reference: bool = False
    area: str = ""
    added: str = ""
    notes: tuple[str, ...] = ()
    sources: tuple[SourceFile, ...] = ()


@dataclass(frozen=True)
class Note:
    """Something that somebody wrote down. ``about``: a link, an area, a plan; empty: the show."""

    id: str
    at: str
    who: str
    text: str
    about: str = ""


@dataclass(frozen=True)
class Mark:
    """A name for a moment of the history, such as ``as handed out``: the state after change number ``change``."""

    name: str
    change: int
    at: str


@dataclass(frozen=True)
class Event:
    """Something that happened, such as an alarm. ``at``: ISO 8601; ``what``: a word for its kind; ``data``: figures."""

    id: str
    at: str
    what: str
    text: str
    data: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True)
class Merge:
    """Another copy of the show whose changes are in this one, up to the one with the uid ``until``. ``name``: its file.

    ``series``: the numbers here of its series, by their numbers there. ``known``: the uids of the changes that it knew
    of and this copy did not. ``origins``: by the uid of the change that made it, or of a decision of this merge, kind
    and key of each value that has another origin here than this merge.
    """

    until: str
    at: str
    name: str = ""
    series: Mapping[str, int] = field(default_factory=dict)
    known: tuple[str, ...] = ()
    origins: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
