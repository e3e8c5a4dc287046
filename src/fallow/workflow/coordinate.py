"""Coordinate: links, law and air to a plan with reasons; and the audit of any plan."""

from __future__ import annotations

import datetime
import difflib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from pathlib import Path

from fallow.errors import InputError, OutputError, UsageError
from fallow.files.tables import (
    check_links_against_equipment,
    read_links,
    read_measured,
    read_plan,
    write_plan,
)
from fallow.plan.advice.advice import Advice
from fallow.plan.advice.locks import lock_links, notes_on_strays
from fallow.plan.advice.spreading import spread_spares
from fallow.plan.answer import Plan, Unplaced, compose_plan
from fallow.plan.judge.audit import Audit
from fallow.plan.judge.audit import audit as audit_rows
from fallow.plan.judge.stage import Stage
from fallow.plan.ledger.accounts import accounts_of
from fallow.plan.ledger.ledger import Figure, Ledger, Risk
from fallow.plan.ledger.ledger_notes import notes_on_margins
from fallow.plan.ledger.level_distances import by_levels
from fallow.plan.places import Ground
from fallow.plan.search.bounds import PLACES_TRIED
from fallow.plan.search.densest import Effort
from fallow.plan.search.proven import Proven, proven_of
from fallow.plan.search.question import Question
from fallow.plan.search.tried_out import tried_out
from fallow.plan.search.trying import STEPS, Patience
from fallow.rules.permission import Circumstances
from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment
from fallow.show.grouping import Groupings
from fallow.show.link import AreaLosses, ForeignCarrier, Link, Station
from fallow.show.names import check_group_names, check_names, notes_on_names
from fallow.show.wanted import Wanted
from fallow.workflow.accelerate import kernels, trying
from fallow.workflow.advising import (
    advise_on_choices,
    advise_on_failures,
    advise_on_moves,
    advise_on_relaxations,
)
from fallow.workflow.area_airs import (
    AirGiven,
    air_notes,
    refusals_of,
)
from fallow.workflow.by_levels import plan_by_levels
from fallow.workflow.in_hand import STOPPED, InHand
from fallow.workflow.searching import Clock, Found, search
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

__all__ = [
    "Audited",
    "Coordinated",
    "Making",
    "Surroundings",
    "audit",
    "audit_files",
    "coordinate",
    "coordinate_files",
    "make_plan",
    "rows_of",
]

PLACES_TRIED_COMPILED = 500 * PLACES_TRIED
TRIED_LONGER = 10  # as many steps where the loops are compiled and there is time
TIME_FOR_PROOF = 1.05  # share of the time given that is used up when it ends
SHARE_FOR_FAILURES = 0.15  # of the time, for what to do when something fails


@dataclass(frozen=True)
class Making:
    """How a plan is made: spares per equipment and area, a plan to keep, time and seed, and where to write it.

    ``measured``: levels [dBm] of carriers by name, which replace modelled ones in the ledgers. ``on_air``: the scene
    that runs now, whose links stay where the kept plan has them; ``may_move``: links that may move all the same.
    ``failures``: look for what to do when something fails. ``steps``: stop after so many steps of the search instead of
    after a time, so that the same seed makes the same plan whenever and wherever.
    """

    spares: int | None = None
    keep: FilePath | None = None
    seconds: float = 5.0
    seed: int = 1
    out: FilePath | None = None
    measured: Mapping[str, float] | None = None
    on_air: str | None = None
    may_move: tuple[str, ...] = ()
    failures: bool = True
    steps: int | None = None


def coordinate(
    links: Iterable[Link],
    equipment: Mapping[str, Equipment],
    *,
    areas: AreaLosses | None = None,
    groups: Groupings | None = None,
    foreign: Sequence[ForeignCarrier] = (),
    stations: Sequence[Station] = (),
    air: AirGiven = None,
    region: str | None = None,
    licence: str | None = None,
    place: str | None = None,
    on: datetime.date | None = None,
    spares: int | None = None,
    keep: Sequence[Assignment] | None = None,
    seconds: float = 5.0,
    seed: int = 1,
    measured: Mapping[str, float] | None = None,
    levels: bool = False,
    on_air: str | None = None,
    may_move: Sequence[str] = (),
    failures: bool = True,
    steps: int | None = None,
) -> Plan:
    """A frequency for every link that can have one, with spares and reasons.

    ``groups``: who keeps apart or together, see ``read_groups``; ``None``: as is common practice.

    ``air``: one judged survey or several, of which the worst verdict counts; or those of each area by its name, which
    hold for links of that area and of areas that hear it (under the empty name: for all). ``seconds``: how long to look
    for better plans. ``measured``: levels [dBm] of carriers by name, which replace modelled ones in the ledgers.
    ``levels``: they set the distances (see docs/ledger.md). With a plan to keep, links of the scene ``on_air`` stay
    where it has them, unless they are among ``may_move``. ``failures``: also look for what to do when something fails.
    ``steps``: stop after so many steps instead of ``seconds``: the same seed and steps make the same plan everywhere.
    Raises UsageError for an unknown region, licence, area, scene, link or TV channel, and for distances from levels
    that would rest on defaults.
    """
    circumstances = Circumstances(licence, place, on or datetime.date.today())
    wanted = wanted_with(links, equipment, areas=areas, groups=groups, foreign=foreign, stations=stations)
    ground = ground_with(wanted, air, region, circumstances)
    making = Making(
        spares,
        None,
        seconds,
        seed,
        None,
        measured,
        on_air=on_air,
        may_move=tuple(may_move),
        failures=failures,
        steps=steps,
    )
    return make_plan(wanted, ground, making, keep, None, levels=levels)[0]


def audit(
    rows: Sequence[Assignment],
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
    levels: bool = False,
) -> Audit:
    """Every conflict of a plan, ours or anybody's. ``air``, ``groups``, ``levels``: as in ``coordinate``.

    Raises UsageError for an unknown region, licence, area or TV channel.
    """
    circumstances = Circumstances(licence, place, on or datetime.date.today())
    wanted = wanted_with(links, equipment, areas=areas, groups=groups, foreign=foreign, stations=stations)
    ground = ground_with(wanted, air, region, circumstances, rows)
    return _audited(rows, wanted, ground, levels=levels)


@dataclass(frozen=True, eq=False)
class Coordinated:
    """A plan from files. ``stopped``: Ctrl-C cut the search short. ``refusals``: sweep files that could not be read."""

    plan: Plan
    stopped: bool
    refusals: tuple[FileRefusal, ...]


@dataclass(frozen=True, eq=False)
class Audited:
    """An audit from files. ``refusals``: sweep files that could not be read. ``ledgers``: of all rows by their names.
    ``risks``, ``assumed``: as in ``Plan``.
    """

    audit: Audit
    refusals: tuple[FileRefusal, ...]
    ledgers: Mapping[str, Ledger]
    risks: tuple[Risk, ...]
    assumed: Mapping[str, tuple[Figure, ...]]


def coordinate_files(
    links: FilePath, around: Surroundings, making: Making, progress: Progress | None = None
) -> Coordinated:
    """Tables and sweeps to a plan, written to ``making.out`` if given."""
    wanted = wanted_among(read_links(links), around)
    check_links_against_equipment(wanted.links, wanted.equipment, links, around.equipment)
    keep = None if making.keep is None else read_plan(making.keep)
    if making.out is not None:
        _check_folder(making.out)
    airs = judge_air(around, wanted, areas_of(wanted), progress)
    ground = ground_under(around.region, around.circumstances, airs, wanted)
    making = replace(making, measured=_measured(around, wanted.links, wanted))
    plan, stopped = make_plan(wanted, ground, making, keep, progress, levels=around.levels)
    plan = replace(plan, notes=(*plan.notes, *air_notes(airs)))
    if making.out is not None:
        write_plan(making.out, rows_of(plan, wanted))
    return Coordinated(plan, stopped, refusals_of(airs))


def audit_files(
    plan: FilePath, links: FilePath | None, around: Surroundings, progress: Progress | None = None
) -> Audited:
    """The audit of a plan file. ``links`` tells areas and scenes where the plan does not."""
    rows = read_plan(plan)
    wanted = wanted_among(() if links is None else read_links(links), around)
    check_links_against_equipment(wanted.links, wanted.equipment, links or plan, around.equipment)
    check_links_against_equipment(rows, wanted.equipment, plan, around.equipment)
    airs = judge_air(around, wanted, areas_of(wanted, rows), progress)
    ground = ground_under(around.region, around.circumstances, airs, wanted)
    found = _audited(rows, wanted, ground, levels=around.levels)
    stage = Stage.of(rows, wanted, ground)
    accounts = accounts_of(stage, _measured(around, rows, wanted))
    notes = (*found.notes, *notes_on_margins(accounts, stage.footings), *air_notes(airs))
    risks = accounts.risks_of({row.link for row in rows if not row.is_spare})
    return Audited(replace(found, notes=notes), refusals_of(airs), accounts.ledgers, risks, accounts.assumed)


def rows_of(plan: Plan, wanted: Wanted) -> tuple[Assignment, ...]:
    """A plan as the rows of a plan file: links in their order, then spares."""
    by_name = {link.name: link for link in wanted.links}
    rows = []
    for placed in plan.links.values():
        link = by_name[placed.link]
        rows.append(
            Assignment(
                placed.link,
                link.equipment,
                link.area,
                link.scenes,
                placed.frequency_hz,
                placed.verdict,
                placed.margin_db,
                placed.why,
            )
        )
    rows += [Assignment(one.spare, one.equipment, one.area, frozenset(), one.frequency_hz) for one in plan.spares]
    return tuple(rows)


def make_plan(
    wanted: Wanted,
    ground: Ground,
    making: Making,
    keep: Sequence[Assignment] | None,
    progress: Progress | None,
    *,
    levels: bool,
) -> tuple[Plan, bool]:
    """A plan by the distances of the table or, with ``levels``, by those that levels ask for. Raises UsageError for
    names that can't be told apart.
    """
    check_names(wanted)
    check_group_names(wanted)

    def make(show: Wanted, share: float) -> tuple[Plan, bool]:
        steps = None if making.steps is None else round(share * making.steps)
        return _make(show, ground, replace(making, seconds=share * making.seconds, steps=steps), keep, progress)

    return plan_by_levels(make, wanted, ground) if levels else make(wanted, 1.0)


def _audited(rows: Sequence[Assignment], wanted: Wanted, ground: Ground, *, levels: bool) -> Audit:
    check_names(wanted, rows)
    names = notes_on_names(wanted, rows)
    if not levels:
        found = audit_rows(rows, wanted, ground)
        return replace(found, notes=(*names, *found.notes))
    levelled = by_levels(wanted, rows)
    found = audit_rows(rows, levelled.wanted, ground)
    return replace(found, notes=(*levelled.notes, *names, *found.notes))


def _told_room(wanted: Wanted, factor: Fraction, *, keeps: bool) -> str:
    """By how much distances exceed what is asked. Links that are fixed or keep their places stand as near to each
    other as they do.
    """
    fixed = sum(link.fixed and link.planned for link in wanted.links)
    which = "between our carriers and products" if fixed < 2 else "in which a link that is not fixed takes part"
    which = "in which a link that is new or moves takes part" if keeps else which
    told = f"there is room: every distance {which} is at least {float(factor):g} times what is asked"
    return f"{told}; distances from foreign carriers are not widened" if wanted.foreign else told


def _measured(around: Surroundings, placed: Sequence[Link | Assignment], wanted: Wanted) -> Mapping[str, float] | None:
    """Levels of our carriers from their table. Raises InputError for one that is none of ours nor foreign."""
    if around.measured is None:
        return None
    levels = read_measured(around.measured)
    known = [
        *(one.name if isinstance(one, Link) else one.link for one in placed),
        *(one.name for one in wanted.foreign),
    ]
    for name in levels:
        if name not in known:
            near = difflib.get_close_matches(name, known, 1)
            hint = f"did you mean {near[0]!r}?" if near else None
            raise InputError(f"no link and no foreign carrier is called {name!r}", path=around.measured, hint=hint)
    return levels


def _make(
    wanted: Wanted, ground: Ground, making: Making, keep: Sequence[Assignment] | None, progress: Progress | None
) -> tuple[Plan, bool]:
    """A plan with what comes with it; where Ctrl-C ends that, the best plan so far, and that it was stopped."""
    clock, in_hand = Clock(making.seconds, progress, making.steps), InHand()
    with clock.ears.open():
        try:
            return _made(wanted, ground, making, keep, clock, in_hand)
        except KeyboardInterrupt:
            clock.ears.heard()
            return in_hand.told(ground, clock, making.seed), True


def _made(
    wanted: Wanted,
    ground: Ground,
    making: Making,
    keep: Sequence[Assignment] | None,
    clock: Clock,
    in_hand: InHand,
) -> tuple[Plan, bool]:
    """Search until the time is up, then audit the best plan, put it into words and add what comes with it."""
    unlocked = wanted
    wanted, kept, notes = _locked(wanted, making, keep)
    build = partial(Question.build, ground=ground, keep=kept, spares=making.spares)
    question = build(wanted)
    share = 1.0 - SHARE_FOR_FAILURES if making.failures else 1.0
    found = search(question, wanted, build, seed=making.seed, clock=clock, share=share)
    in_hand.hold(found.best, wanted, kept, (*question.notes, *notes_on_names(wanted), *notes))
    found, proven_notes = _tried_out(found, question, clock, in_hand)
    notes += proven_notes
    best, stopped = found.best, found.stopped
    if stopped and in_hand.takes_long:
        raise KeyboardInterrupt
    if found.factor > 1:
        notes.append(_told_room(wanted, found.factor, keeps=bool(kept)))
    advice = Advice()
    if making.failures and not stopped:
        channels = () if ground.territory is None else ground.territory.channels
        best = spread_spares(best, build(found.roomy), channels, kernels())
        any_scene = question if wanted == unlocked else build(unlocked)
        advice, stopped = advise_on_failures(best, any_scene, unlocked, ground, clock=clock, seed=making.seed)
    if not stopped:
        advice, stopped = advise_on_relaxations(best, wanted, ground, advice, clock=clock, seed=making.seed)
    proven = Proven()
    if stopped and in_hand.takes_long:
        raise KeyboardInterrupt
    if len(best.frequencies_hz) < len(question.links) and not stopped:
        proven = proven_of(question, best.frequencies_hz, _effort(clock), _patience(clock), kernels())
    plan = compose_plan(best, wanted, ground, keep=kept, bound=proven.most, seed=making.seed, measured=making.measured)
    plan = replace(plan, unplaced=tuple(_told_why(one, proven) for one in plan.unplaced))
    if keep is not None:
        rows = rows_of(plan, wanted)
        replan = advise_on_moves(keep, rows, wanted, question, fewest=found.fewest, scene=making.on_air)
        advice = replace(advice, replan=replan)
    if keep is not None and not stopped:
        choices, stopped = advise_on_choices(found, best, question, clock=clock, seed=making.seed)
        advice = replace(advice, choices=choices)
    if stopped:
        notes.append(STOPPED)
    notes = [*question.notes, *notes_on_names(wanted), *plan.notes, *notes, *advice.notes]
    return replace(plan, notes=tuple(notes), seconds=clock.used_s, advice=advice), stopped


def _tried_out(found: Found, question: Question, clock: Clock, in_hand: InHand) -> tuple[Found, tuple[str, ...]]:
    """What was found with what trying every way says of it, perhaps a better plan; and notes on what that proves."""
    if found.stopped or in_hand.wanted is None:
        return found, ()
    tried = tried_out(found.best, found.fewest, question, Patience, clock.heeding(kernels()))
    found = replace(found, fewest=tried.fewest)
    if tried.plan is not found.best:
        in_hand.best, seen = tried.plan, (*found.seen, tried.plan)
        found = replace(found, best=tried.plan, seen=seen, factor=Fraction(1), roomy=in_hand.wanted)
    return found, tried.notes


def _told_why(one: Unplaced, proven: Proven) -> Unplaced:
    """Both directions together tell why a link is left out, where either by itself would have a place."""
    return replace(one, because=proven.because(one.link, one.because))


def _effort(clock: Clock) -> Effort:
    """What proving a bound may cost: little by loops that are not compiled, else as long as there is time."""
    fit, compiled = trying()
    over = partial(clock.is_over, TIME_FOR_PROOF, "looking for a proof")
    return Effort(PLACES_TRIED_COMPILED, fit, over) if compiled else Effort(PLACES_TRIED, fit, over)


def _patience(clock: Clock) -> Callable[[], Patience]:
    """What each trial of every way to place links with two directions, or few links, may cost."""
    over = partial(clock.is_over, TIME_FOR_PROOF, "looking for a proof")
    return lambda: Patience(TRIED_LONGER * STEPS if trying()[1] else STEPS, over)


def _locked(
    wanted: Wanted, making: Making, keep: Sequence[Assignment] | None
) -> tuple[Wanted, Mapping[str, int] | None, list[str]]:
    """The show with those fixed that may not move now, the plan in force as hertz by link, and notes on both."""
    if keep is None:
        if making.on_air is not None or making.may_move:
            raise UsageError(
                "what is on the air or may move is asked about a plan in force", hint="name it: --keep PLAN"
            )
        return wanted, None, []
    kept = {row.link: row.frequency_hz for row in keep if row.frequency_hz is not None}
    locked = lock_links(wanted, kept, scene=making.on_air, may_move=making.may_move)
    return locked.wanted, locked.keep, [*locked.notes, *notes_on_strays(keep, wanted)]


def _check_folder(out: FilePath) -> None:
    """Refuse before the long search what could not be written after it."""
    if not Path(out).parent.is_dir():
        raise OutputError("its folder does not exist, so nothing was written", path=out, hint="make the folder first")
