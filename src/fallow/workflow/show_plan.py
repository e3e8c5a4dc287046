"""Judge, plan and audit from the show: its surveys, chain, links and law, and the plan back into it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from fallow.errors import UsageError
from fallow.files.tables import check_links_against_equipment
from fallow.plan.answer import Plan
from fallow.plan.judge.audit import Audit
from fallow.plan.judge.audit import audit as audit_rows
from fallow.rules.permission import Circumstances
from fallow.show.assignment import Assignment
from fallow.show.duplex import unfolded
from fallow.show.names import notes_on_names
from fallow.show.wanted import Wanted
from fallow.showfile.kinds import CHAIN, EQUIPMENT, LINKS, PLAN_ROWS, PLANS, SURVEYS
from fallow.showfile.store import ShowFile
from fallow.showfile.surveys import read_survey
from fallow.showfile.values import PlanHead, SurveyHead
from fallow.spectrum.chain import Chain
from fallow.spectrum.sweep import Survey
from fallow.spectrum.verdict import Judging
from fallow.workflow.area_airs import JudgedArea, air_notes, check_area
from fallow.workflow.coordinate import Making, make_plan
from fallow.workflow.law import circumstances_from
from fallow.workflow.show import (
    Desk,
    drop_plan,
    plan_in_force,
    rows_of_plan,
    settings_of,
    store_plan,
    survey_head,
    wanted_of,
)
from fallow.workflow.show_rows import RowsAndLinks, rows_and_links, twice_in_plan
from fallow.workflow.surroundings import areas_of, ground_under
from fallow.workflow.survey import JudgedAir, Listing, judge_with

__all__ = [
    "PlanSeen",
    "ShowMaking",
    "ShowPlanned",
    "air_of_show",
    "airs_of",
    "audit_show",
    "circumstances_of",
    "drop_plans",
    "judge_in_show",
    "list_plans",
    "plan_of",
    "plan_show",
    "region_of",
]

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class ShowMaking:
    """How a plan is made from the show. ``surveys``: which of them count, ``None``: all; ``keep``: a plan of the show,
    empty: the one in force; ``levels``: levels set the distances.
    """

    name: str | None = None
    spares: int | None = None
    keep: str | None = None
    seconds: float = 5.0
    seed: int = 1
    surveys: Sequence[str] | None = None
    levels: bool = False


@dataclass(frozen=True, eq=False)
class ShowPlanned:
    """A plan that is in the show now. ``stopped``: Ctrl-C cut the search short."""

    name: str
    plan: Plan
    stopped: bool


@dataclass(frozen=True)
class PlanSeen:
    """A plan of the show: its head, its rows, whether it is the one in force, and how it fits the links of the show.

    ``renamed``: what its notes call by a name that is no longer the right one, in sentences.
    """

    head: PlanHead
    rows: tuple[Assignment, ...]
    is_in_force: bool
    fit: RowsAndLinks = RowsAndLinks()
    renamed: tuple[str, ...] = ()


def plan_show(making: ShowMaking, desk: Desk, progress: Progress | None = None) -> ShowPlanned:
    """A frequency for every link of the show, stored into it as the plan in force.

    The file is held while the search goes on, so that the plan fits the links. Raises UsageError and InputError as
    ``coordinate`` does, and where the show has no links.
    """
    with desk.writing() as show:
        wanted = unfolded(wanted_of(show))
        if not wanted.links:
            raise UsageError("the show has no links", path=show.path, hint="fallow show add --links FILE")
        check_links_against_equipment(wanted.links, wanted.equipment, show.path)
        keep = None if making.keep is None else rows_of_plan(show, making.keep or _in_force(show))
        airs = airs_of(show, making.surveys, wanted, areas_of(wanted), progress)
        ground = ground_under(region_of(show), circumstances_of(show), airs, wanted)
        how = Making(making.spares, None, making.seconds, making.seed)
        plan, stopped = make_plan(wanted, ground, how, keep, progress, levels=making.levels)
        plan = replace(plan, notes=(*plan.notes, *air_notes(airs)))
        return ShowPlanned(store_plan(show, plan, wanted, desk, making.name), plan, stopped)


def audit_show(desk: Desk, name: str | None = None, progress: Progress | None = None) -> tuple[str, Audit]:
    """Every conflict of a plan of the show, ``None``: of the one in force; with the plan's name.

    A link with two rows is a conflict of its own, ``twice``; links without a row and rows without a link are noted.
    """
    with desk.looking() as show:
        name = name or _in_force(show)
        rows, wanted = rows_of_plan(show, name), wanted_of(show)
        fit, wanted = rows_and_links(rows, wanted), unfolded(wanted)
        check_links_against_equipment(rows, wanted.equipment, show.path)
        airs = airs_of(show, None, wanted, areas_of(wanted, rows), progress)
        found = audit_rows(rows, wanted, ground_under(region_of(show), circumstances_of(show), airs, wanted))
    conflicts = (*map(twice_in_plan, fit.twice), *found.conflicts)
    notes = (*fit.notes, *notes_on_names(wanted, rows), *found.notes, *air_notes(airs))
    return name, replace(found, conflicts=conflicts, notes=notes)


def air_of_show(
    desk: Desk, listing: Listing, names: Sequence[str] | None = None, progress: Progress | None = None
) -> JudgedAir:
    """What is on the air by the surveys of these names together, ``None``: by all. The region is the show's own where
    the listing has none.
    """
    with desk.looking() as show:
        heads = _heads(show, names)
        if not heads:
            raise UsageError("the show has no survey of the air", path=show.path, hint="fallow show add FILE")
        survey = Survey.of(read_survey(show, head) for head in heads)
        listing = replace(listing, region=listing.region or region_of(show))
        return judge_in_show(show, survey, listing, wanted_of(show), progress)


def list_plans(desk: Desk) -> tuple[PlanSeen, ...]:
    """The plans of the show, in the order in which they came."""
    with desk.looking() as show:
        return seen_plans(show)


def seen_plans(show: ShowFile) -> tuple[PlanSeen, ...]:
    """The plans of a show that is open."""
    return tuple(_seen(show, head) for head in show.all(PLANS))


def plan_of(desk: Desk, name: str | None = None) -> PlanSeen:
    """A plan of the show, ``None``: the one in force. Raises UsageError where there is none."""
    with desk.looking() as show:
        name = name or _in_force(show)
        rows_of_plan(show, name)
        return _seen(show, next(head for head in show.all(PLANS) if head.name == name))


def drop_plans(names: Sequence[str], desk: Desk) -> None:
    """Take plans out of the show. Raises UsageError where one is not there."""
    with desk.writing() as show:
        for name in names:
            rows_of_plan(show, name)
        with desk.change(show, f"plans taken out: {', '.join(names)}") as change:
            for name in names:
                drop_plan(change, show, name)


def _seen(show: ShowFile, head: PlanHead) -> PlanSeen:
    rows = tuple(row.assignment for row in show.all(PLAN_ROWS) if row.plan == head.name)
    fit = rows_and_links(rows, wanted_of(show))
    return PlanSeen(head, rows, plan_in_force(show) == head.name, fit, tuple(_renamed_since(show, head, rows)))


def _renamed_since(show: ShowFile, head: PlanHead, rows: Sequence[Assignment]) -> Iterator[str]:
    """Links and types of radio that the notes of a plan know by another name."""
    told = "\n".join((*head.notes, *(row.note for row in rows)))
    for (kind, name), now in show.renames(head.made).items():
        if kind in (LINKS.name, EQUIPMENT.name) and re.search(rf"(?<!\w){re.escape(name)}(?!\w)", told):
            yield f"what was {name!r} when this plan was made is called {now!r} now"


def _in_force(show: ShowFile) -> str:
    name = plan_in_force(show)
    if name is None:
        raise UsageError("the show has no plan in force", path=show.path, hint="make one: fallow show plan")
    return name


def _check_region(show: ShowFile, wanted: Wanted) -> None:
    if wanted.stations and region_of(show) is None:
        hint = "say where: fallow show set region=de"
        raise UsageError("announced TV channels mean nothing without a region", path=show.path, hint=hint)


def region_of(show: ShowFile) -> str | None:
    """The region by the settings of the show; ``None`` where none is stated."""
    said = settings_of(show).get("region")
    return None if said is None else str(said)


def circumstances_of(show: ShowFile) -> Circumstances:
    """Licence, place and day by the settings of the show; the day is today where none is stated."""
    said = {name: str(value) for name, value in settings_of(show).items()}
    return circumstances_from(said.get("licence"), said.get("place"), said.get("on"))


def airs_of(
    show: ShowFile, names: Sequence[str] | None, wanted: Wanted, areas: frozenset[str], progress: Progress | None
) -> tuple[JudgedArea, ...]:
    """Each survey of the air judged. Raises UsageError for one of an area that nobody knows."""
    _check_region(show, wanted)
    heads = _heads(show, names)
    for head in heads:
        check_area(head.area, areas, f"survey {head.name}")
    listing = Listing(region_of(show))
    return tuple(
        JudgedArea(head.area, head.name, judge_in_show(show, read_survey(show, head), listing, wanted, progress))
        for head in heads
    )


def _heads(show: ShowFile, names: Sequence[str] | None) -> tuple[SurveyHead, ...]:
    if names is not None:
        return tuple(survey_head(show, name) for name in names)
    return tuple(head for head in show.all(SURVEYS) if not head.is_reference)


def judge_in_show(
    show: ShowFile, survey: Survey, listing: Listing, wanted: Wanted, progress: Progress | None = None
) -> JudgedAir:
    """A survey judged with the reference, chain and limits of the show; stations everywhere show whether it is deaf."""
    parts = show.all(CHAIN)
    references = [read_survey(show, head) for head in show.all(SURVEYS) if head.is_reference]
    return judge_with(
        survey,
        _judging(show),
        listing,
        reference=Survey.of(references) if references else None,
        chain=Chain(parts) if parts else None,
        stations=[station for station in wanted.stations if not station.area] if listing.region else [],
        progress=None if progress is None else lambda share: progress("judging", share),
    )


def _judging(show: ShowFile) -> Judging:
    """The limits of the show, where it states any."""
    said = {name: float(value) for name, value in settings_of(show).items() if isinstance(value, int | float)}
    usual = Judging()
    return Judging(
        said.get("limit_dbm"),
        said.get("limit_above_floor_db"),
        round(said.get("link_width_hz", usual.link_width_hz)),
        said.get("confidence_pct", usual.confidence_pct),
    )
