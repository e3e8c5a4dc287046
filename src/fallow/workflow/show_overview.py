"""The show at a glance, and the lists of what is in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from fallow.show.wanted import Wanted
from fallow.showfile.kinds import APART, CHAIN, EQUIPMENT, FOREIGN, LINKS, MARKS, NOTES, STATIONS, TOGETHER
from fallow.showfile.values import Mark, Note, Value
from fallow.showfile.writer import Writer
from fallow.workflow.show import Desk, settings_of, wanted_of
from fallow.workflow.show_plan import PlanSeen, seen_plans
from fallow.workflow.show_surveys import SurveySeen, seen_surveys

__all__ = ["Overview", "show_at_a_glance", "show_wanted"]


@dataclass(frozen=True)
class Overview:
    """What the show holds. ``counts``: by the word for it. ``changes``: how many; ``writer``: who writes now."""

    path: Path
    settings: Mapping[str, Value]
    counts: Mapping[str, int]
    surveys: tuple[SurveySeen, ...]
    plans: tuple[PlanSeen, ...]
    marks: tuple[Mark, ...]
    written: tuple[Note, ...]
    changes: int
    writer: Writer | None
    notes: tuple[str, ...]


def show_at_a_glance(desk: Desk) -> Overview:
    """The show at this moment."""
    with desk.looking() as show, show.snapshot():
        counts = {
            "links": show.count(LINKS),
            "equipment": show.count(EQUIPMENT),
            "areas": len(areas_in(wanted_of(show))),
            "foreign carriers": show.count(FOREIGN),
            "stations": show.count(STATIONS),
            "rules about groups": show.count(APART) + show.count(TOGETHER),
            "parts of the chain": show.count(CHAIN),
        }
        return Overview(
            path=show.path,
            settings=settings_of(show),
            counts=counts,
            surveys=seen_surveys(show),
            plans=seen_plans(show),
            marks=show.all(MARKS),
            written=show.all(NOTES),
            changes=len(show.changes()),
            writer=show.writer,
            notes=show.notes,
        )


def show_wanted(desk: Desk) -> Wanted:
    """Links, equipment, areas and strangers of the show."""
    with desk.looking() as show, show.snapshot():
        return wanted_of(show)


def areas_in(wanted: Wanted) -> tuple[str, ...]:
    """The areas that links and pairs of areas name, sorted."""
    of_pairs = {area for pair in wanted.losses.pairs for area in pair}
    return tuple(sorted(({link.area for link in wanted.links} | of_pairs) - {""}))
