"""The commands: each calls one step of the workflow with what was typed, prints the answer, returns the exit code."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable, Mapping

from fallow.cli import documents, screens
from fallow.cli.case_document import case_document, taken_over_document
from fallow.cli.ledger_document import ledgers_document
from fallow.cli.progress import progress_bar
from fallow.cli.show_commands import show as show_verb
from fallow.demo.story import tell_story
from fallow.errors import UsageError
from fallow.pictures import check_picture, draw_air
from fallow.spectrum.verdict import Judging
from fallow.workflow.compare import Comparing, compare_files
from fallow.workflow.coordinate import Making, Surroundings, audit_files, coordinate_files
from fallow.workflow.law import circumstances_from, list_regions, list_rules
from fallow.workflow.survey import (
    Asked,
    FileReading,
    FileRefusal,
    Listing,
    Telling,
    channels_of,
    judge_files,
    read_sweeps,
    telling_from,
)
from fallow.workflow.taking_over import take_over
from fallow.workflow.why import why_files

__all__ = ["COMMANDS"]

DONE, BAD_NEWS, COULD_NOT = 0, 1, 2
_ABOUT_SWEEPS = (
    *("limit", "limit_above_floor", "link_width", "confidence", "reference", "chain", "own"),
    *("unit", "level_unit", "decimal", "delimiter", "rbw", "detector", "zone", "samples", "rate", "centre"),
    "instruments",
)


def read(typed: Namespace) -> int:
    """``fallow read``: 2 when nothing could be read or a question is open, 1 when one file of several was refused."""
    with progress_bar() as progress:
        readings = read_sweeps(typed.files, _telling(typed), progress)
    refused = [one for one in readings if isinstance(one, FileRefusal)]
    understood = [one for one in readings if isinstance(one, FileReading)]
    if typed.json:
        documents.print_json(documents.read_document(readings))
    elif understood or len(refused) > 1:
        screens.show_readings(readings)
    screens.ask_about(readings)
    if not understood or any(reading.needs for reading in understood):
        return COULD_NOT
    return BAD_NEWS if refused else DONE


def air(typed: Namespace) -> int:
    """``fallow air``: 1 when one file of several could not be read; occupied slices are no bad news."""
    listing = Listing(typed.region, typed.span, typed.width)
    if typed.picture is not None:
        check_picture(typed.picture)
    if typed.area is not None and typed.foreign_out is None and typed.known is None:
        raise UsageError("an --area is for a table of foreign carriers", hint="add --foreign-out FILE or --known FILE")
    with progress_bar() as progress:
        judged = judge_files(typed.files, listing, _asked(typed), progress)
    if typed.picture is not None:
        draw_air(judged.air, typed.picture, channels=channels_of(judged), span=listing.span)
    taken = None if typed.foreign_out is None else take_over(judged, typed.foreign_out, typed.area or "")
    if typed.json:
        told = {} if taken is None else taken_over_document(taken)
        documents.print_json({**documents.air_document(judged), **told})
    else:
        screens.show_air(judged)
        if taken is not None:
            screens.show_taken_over(taken)
    screens.complain_of(judged.refusals)
    return BAD_NEWS if judged.refusals else DONE


def rules(typed: Namespace) -> int:
    """``fallow rules``."""
    if typed.region is None:
        if any((typed.span, typed.licence, typed.place, typed.on)):
            raise UsageError("which region is meant", hint="name it: fallow rules de; `fallow rules` lists the regions")
        regions = list_regions()
        if typed.json:
            documents.print_json(documents.regions_document(regions))
        else:
            screens.show_regions(regions)
        return DONE
    found = list_rules(typed.region, circumstances_from(typed.licence, typed.place, typed.on), typed.span)
    if typed.json:
        documents.print_json(documents.rules_document(found))
    else:
        screens.show_rules(found)
    return DONE


def plan(typed: Namespace) -> int:
    """``fallow plan``: 1 when a link is left without a frequency or a conflict stands."""
    making = Making(
        typed.spares,
        typed.keep,
        typed.seconds,
        typed.seed,
        typed.out,
        on_air=typed.on_air,
        may_move=tuple(typed.may_move or ()),
        failures=not typed.no_failures and typed.why is None,
        steps=typed.steps,
    )
    if typed.why is not None:
        return _why(typed, making)
    if typed.at is not None:
        raise UsageError("--at asks about a link", hint="name it with --why LINK")
    with progress_bar() as progress:
        made = coordinate_files(typed.links, _surroundings(typed), making, progress)
    if typed.json:
        documents.print_json(documents.plan_document(made.plan))
    else:
        screens.show_plan(made.plan)
    screens.complain_of(made.refusals)
    if made.stopped:
        raise KeyboardInterrupt
    return BAD_NEWS if made.plan.conflicts or made.plan.unplaced or made.refusals else DONE


def _why(typed: Namespace, making: Making) -> int:
    """``fallow plan --why``: 1 when something speaks against the place, or there is none."""
    if typed.out is not None:
        raise UsageError("--why writes no plan", hint="leave --out away, or make the plan first and --keep it")
    with progress_bar() as progress:
        found = why_files(typed.links, _surroundings(typed), making, typed.why, typed.at, progress)
    if typed.json:
        documents.print_json(case_document(found.case))
    else:
        screens.show_case(found.case)
    screens.complain_of(found.refusals)
    if found.stopped:
        raise KeyboardInterrupt
    return DONE if found.case.stands and not found.refusals else BAD_NEWS


def audit(typed: Namespace) -> int:
    """``fallow audit``: 1 when a conflict was found."""
    with progress_bar() as progress:
        found = audit_files(typed.plan, typed.links, _surroundings(typed), progress)
    if typed.json:
        documents.print_json({**documents.audit_document(found.audit), **ledgers_document(found)})
    else:
        screens.show_audit(found.audit, found.risks)
    screens.complain_of(found.refusals)
    return BAD_NEWS if found.audit.conflicts or found.refusals else DONE


def compare(typed: Namespace) -> int:
    """``fallow compare``: 1 when one file of several could not be read; differences are no bad news."""
    with progress_bar() as progress:
        found = compare_files(typed.old, typed.new, _comparing(typed), progress)
    if typed.json:
        documents.print_json(documents.compare_document(found))
    else:
        screens.show_comparison(found)
    screens.complain_of(found.refusals)
    return BAD_NEWS if found.refusals else DONE


def show(typed: Namespace) -> int:
    """``fallow show``: what its verbs return."""
    return show_verb(typed, _telling)


def demo(typed: Namespace) -> int:
    """``fallow demo``: always 0 once its story has been told."""
    told = tell_story(typed.out, screens.narrator(quiet=typed.json))
    if typed.json:
        documents.print_json(
            {
                "air": documents.air_document(told.air),
                "plan": documents.plan_document(told.plan),
                "audit": documents.audit_document(told.audit),
                "files": [str(path) for path in told.files],
            }
        )
    else:
        screens.show_story(told.lines)
    return DONE


COMMANDS: Mapping[str, Callable[[Namespace], int]] = {
    "demo": demo,
    "read": read,
    "air": air,
    "rules": rules,
    "plan": plan,
    "audit": audit,
    "compare": compare,
    "show": show,
}


def _asked(typed: Namespace) -> Asked:
    return Asked(
        judging=_judging(typed),
        telling=_telling(typed),
        reference=typed.reference or (),
        chain=typed.chain,
        own=typed.own,
        stations=typed.stations,
        known=getattr(typed, "known", None),
        area=getattr(typed, "area", None) or "",
        field=getattr(typed, "field", False),
    )


def _judging(typed: Namespace) -> Judging:
    usual = Judging()
    return Judging(
        typed.limit,
        typed.limit_above_floor,
        usual.link_width_hz if typed.link_width is None else typed.link_width,
        usual.confidence_pct if typed.confidence is None else typed.confidence,
    )


def _comparing(typed: Namespace) -> Comparing:
    same_chain = True if typed.same_chain else False if typed.other_chain else None
    return Comparing(
        telling=_telling(typed),
        same_chain=same_chain,
        pad_db=typed.pad,
        region=typed.region,
        reference=typed.reference or (),
        chain=typed.chain,
        new_chain=typed.new_chain,
    )


def _surroundings(typed: Namespace) -> Surroundings:
    if typed.region is None and (typed.licence or typed.place):
        raise UsageError("a licence or place means nothing without a region", hint="add --region, as --region de")
    if not typed.air:
        _refuse_without_sweeps(typed)
    return Surroundings(
        equipment=typed.equipment,
        areas=typed.areas,
        foreign=typed.foreign,
        air=typed.air or (),
        region=typed.region,
        circumstances=circumstances_from(typed.licence, typed.place, typed.on),
        asked=_asked(typed),
        measured=typed.measured,
        levels=typed.levels,
        groups=typed.groups,
        product_width=typed.product_width,
    )


def _telling(typed: Namespace) -> Telling:
    return telling_from(
        typed.unit,
        typed.level_unit,
        typed.decimal,
        typed.delimiter,
        typed.rbw,
        typed.detector,
        typed.zone,
        (typed.samples, typed.rate, typed.centre),
        typed.instruments,
    )


def _refuse_without_sweeps(typed: Namespace) -> None:
    """Refuse options that say how sweeps are read or judged where there are none: they would change nothing."""
    given = [f"--{name.replace('_', '-')}" for name in _ABOUT_SWEEPS if getattr(typed, name) is not None]
    if given:
        what = f"{' and '.join(given)} {'says' if len(given) == 1 else 'say'} how sweeps are judged, and none are given"
        raise UsageError(what, hint="add the sweeps, as --air FILE")
