"""Ask about one frequency of one link, and play with a plan: why there, why not there, what if."""

from __future__ import annotations

import datetime
import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from fallow.errors import UsageError
from fallow.files.tables import check_links_against_equipment, read_links, read_plan
from fallow.plan.answer import Plan
from fallow.plan.judge.case import Candidate, Case, case_of
from fallow.plan.judge.what_if import WhatIf
from fallow.plan.ledger.level_distances import by_levels
from fallow.plan.places import Ground
from fallow.rules.permission import Circumstances
from fallow.show.assignment import SPARE_PREFIX, Assignment
from fallow.show.equipment import Equipment
from fallow.show.grouping import Groupings
from fallow.show.link import AreaLosses, ForeignCarrier, Link, Station
from fallow.show.wanted import Wanted
from fallow.workflow.area_airs import AirGiven, refusals_of
from fallow.workflow.coordinate import Making, make_plan, rows_of
from fallow.workflow.surroundings import (
    FilePath,
    Progress,
    Surroundings,
    areas_of,
    ground_under,
    ground_with,
    judge_air,
    wanted_among,
    wanted_with,
)
from fallow.workflow.survey import FileRefusal

__all__ = ["Candidate", "Case", "Explained", "what_if", "why", "why_files"]


def why(
    plan: Plan | Sequence[Assignment],
    link: str,
    equipment: Mapping[str, Equipment],
    *,
    at_hz: int | None = None,
    links: Iterable[Link] = (),
    areas: AreaLosses | None = None,
    groups: Groupings | None = None,
    foreign: Sequence[ForeignCarrier] = (),
    stations: Sequence[Station] = (),
    air: AirGiven = None,
    region: str | None = None,
    licence: str | None = None,
    place: str | None = None,
    on: datetime.date | None = None,
) -> Case:
    """What speaks for and against a link of a plan at a frequency (hertz), or where the plan has it.

    The rest as in ``audit``. Raises UsageError for a link that is not known, and as ``audit`` does.
    """
    wanted = wanted_with(links, equipment, areas=areas, groups=groups, foreign=foreign, stations=stations)
    rows = _rows(plan, wanted)
    circumstances = Circumstances(licence, place, on or datetime.date.today())
    ground = ground_with(wanted, air, region, circumstances, rows)
    return case_of(rows, wanted, ground, link, at_hz)


def what_if(
    plan: Plan | Sequence[Assignment],
    equipment: Mapping[str, Equipment],
    *,
    links: Iterable[Link] = (),
    areas: AreaLosses | None = None,
    groups: Groupings | None = None,
    foreign: Sequence[ForeignCarrier] = (),
    stations: Sequence[Station] = (),
    air: AirGiven = None,
    region: str | None = None,
    licence: str | None = None,
    place: str | None = None,
    on: datetime.date | None = None,
) -> WhatIf:
    """A plan to play with: ``move`` a link and see at once which conflicts come and go, and how much room is left.

    The rest as in ``audit``, and raises as it does.
    """
    wanted = wanted_with(links, equipment, areas=areas, groups=groups, foreign=foreign, stations=stations)
    rows = _rows(plan, wanted)
    circumstances = Circumstances(licence, place, on or datetime.date.today())
    ground = ground_with(wanted, air, region, circumstances, rows)
    return WhatIf(rows, wanted, ground)


def _rows(plan: Plan | Sequence[Assignment], wanted: Wanted) -> Sequence[Assignment]:
    if not isinstance(plan, Plan):
        return plan
    if set(plan.links) - {link.name for link in wanted.links}:
        raise UsageError("a plan without its links says too little", hint="give the links that it was made for, too")
    return rows_of(plan, wanted)


@dataclass(frozen=True, eq=False)
class Explained:
    """A case from files. ``stopped``: Ctrl-C cut the search short. ``refusals``: sweep files that could not be read."""

    case: Case
    stopped: bool
    refusals: tuple[FileRefusal, ...]


def why_files(
    links: FilePath,
    around: Surroundings,
    making: Making,
    link: str,
    at_hz: int | None = None,
    progress: Progress | None = None,
) -> Explained:
    """The case of a link at a frequency (hertz), in the plan ``making.keep``; without one in a plan made now.

    Raises UsageError for a link that is not known, before anything takes time.
    """
    wanted = wanted_among(read_links(links), around)
    check_links_against_equipment(wanted.links, wanted.equipment, links, around.equipment)
    kept = None if making.keep is None else read_plan(making.keep)
    if kept is not None:
        check_links_against_equipment(kept, wanted.equipment, making.keep, around.equipment)
    _check_name(link, wanted, kept)
    airs = judge_air(around, wanted, areas_of(wanted, kept or ()), progress)
    ground = ground_under(around.region, around.circumstances, airs, wanted)
    rows, notes, stopped = (kept, (), False) if kept is not None else _planned(wanted, ground, around, making, progress)
    if around.levels:
        levelled = by_levels(wanted, rows)
        wanted, notes = levelled.wanted, (*notes, *levelled.notes)
    case = case_of(rows, wanted, ground, link, at_hz)
    return Explained(replace(case, notes=(*case.notes, *notes)), stopped, refusals_of(airs))


def _planned(
    wanted: Wanted, ground: Ground, around: Surroundings, making: Making, progress: Progress | None
) -> tuple[Sequence[Assignment], tuple[str, ...], bool]:
    plan, stopped = make_plan(wanted, ground, making, None, progress, levels=around.levels)
    note = f"explained in a plan made just now (seed {making.seed}); --keep PLAN asks about a plan in force"
    return rows_of(plan, wanted), (note,), stopped


def _check_name(name: str, wanted: Wanted, kept: Sequence[Assignment] | None) -> None:
    """Refuse a name that no row will have; the names of spares are known only when there is a plan."""
    listed = {link.name: link for link in wanted.links}
    if name in listed and not listed[name].planned:
        raise UsageError(f"{name} chooses its own channels, so nothing is planned for it")
    known = {*listed, *(row.link for row in kept or ())}
    if name in known or (kept is None and name.lower().startswith(SPARE_PREFIX)):
        return
    near = difflib.get_close_matches(name, known, 1)
    hint = f"did you mean {near[0]!r}?" if near else f"there are {', '.join(list(listed)[:12])}"
    raise UsageError(f"no link is called {name!r}", hint=hint)
