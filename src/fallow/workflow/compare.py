"""What changed: two surveys of one place, two plans, or one air without and with an attenuator."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fallow.change.padded import PadLine, PadTest, run_pad_test
from fallow.change.surveys import compare_surveys
from fallow.change.values import BandOffset, Change, SurveyChange
from fallow.errors import UsageError
from fallow.files.readings import FileRefusal, Telling
from fallow.files.tables import read_chain, read_plan
from fallow.files.tables.recognise import is_plan
from fallow.files.territories import load_territory
from fallow.show.assignment import Assignment
from fallow.show.plan_change import PlanChange, compare_plans
from fallow.spectrum.chain import Chain
from fallow.spectrum.judging import Air
from fallow.spectrum.judging import judge as judge_survey
from fallow.spectrum.sweep import Survey
from fallow.workflow.survey import FilePath, FileProgress, TakenIn, check_reference, take_in, take_in_reference

__all__ = [
    "Assignment",
    "BandOffset",
    "Change",
    "Compared",
    "Comparing",
    "PadLine",
    "PadTest",
    "PlanChange",
    "SurveyChange",
    "compare_files",
]


@dataclass(frozen=True)
class Comparing:
    """What the user says about two surveys. ``same_chain`` ``None``: by what the files show. ``pad_db``: attenuator
    that was in front of the new one. ``chain``: of both, ``new_chain``: of the new one alone.
    """

    telling: Telling = Telling()
    same_chain: bool | None = None
    pad_db: float | None = None
    region: str | None = None
    reference: Sequence[FilePath] = ()
    chain: FilePath | None = None
    new_chain: FilePath | None = None


@dataclass(frozen=True, eq=False)
class Compared:
    """The answer: ``plans`` or ``surveys``, and ``pad_test`` where one was asked for. ``refusals``: files not read."""

    plans: PlanChange | None = None
    surveys: SurveyChange | None = None
    pad_test: PadTest | None = None
    refusals: tuple[FileRefusal, ...] = ()


def compare_files(
    old: FilePath, new: FilePath, comparing: Comparing = Comparing(), progress: FileProgress | None = None
) -> Compared:
    """Compare two plans, or two surveys (files or folders). Raises UsageError where one is a plan and one is none, and
    what ``take_in``, ``judge`` and ``compare_surveys`` raise.
    """
    plans = (is_plan(old), is_plan(new))
    if all(plans):
        if comparing.pad_db is not None:
            raise UsageError("a pad means nothing for plans", hint="give two surveys, without and with the pad")
        return Compared(plans=compare_plans(read_plan(old), read_plan(new)))
    if any(plans):
        which = ("old", "new") if plans[0] else ("new", "old")
        raise UsageError(
            f"the {which[0]} file is a plan and the {which[1]} one is none", hint="compare two plans, or two surveys"
        )
    return _surveys(old, new, comparing, progress)


def _surveys(old: FilePath, new: FilePath, comparing: Comparing, progress: FileProgress | None) -> Compared:
    if comparing.new_chain is not None and comparing.same_chain:
        raise UsageError("a chain of its own for the new survey is no same chain", hint="leave one of the two out")
    taken = tuple(
        take_in([path], comparing.telling, besides=comparing.reference, progress=progress) for path in (old, new)
    )
    reference = take_in_reference(comparing.reference, comparing.telling) if comparing.reference else None
    chain = None if comparing.chain is None else read_chain(comparing.chain)
    new_chain = chain if comparing.new_chain is None else read_chain(comparing.new_chain)
    airs = [_judged(one, comparing, reference, its) for one, its in zip(taken, (chain, new_chain), strict=True)]
    refusals = tuple(refusal for one in taken for refusal in one.refusals)
    same = False if comparing.new_chain is not None and comparing.pad_db is None else comparing.same_chain
    if comparing.pad_db is not None:
        return Compared(pad_test=run_pad_test(airs[0], airs[1], comparing.pad_db), refusals=refusals)
    return Compared(surveys=_with_notes(compare_surveys(airs[0], airs[1], same_chain=same), taken), refusals=refusals)


def _judged(taken: TakenIn, comparing: Comparing, reference: Survey | None, chain: Chain | None) -> Air:
    check_reference(taken.survey, reference)
    raster = () if comparing.region is None else load_territory(comparing.region).channels
    return judge_survey(taken.survey, raster=raster, reference=reference, chain=chain)


def _with_notes(found: SurveyChange, taken: Sequence[TakenIn]) -> SurveyChange:
    """What was odd about the files themselves comes last, each remark once."""
    notes = dict.fromkeys((*found.notes, *(note for one in taken for note in one.survey.notes)))
    return replace(found, notes=tuple(notes))
