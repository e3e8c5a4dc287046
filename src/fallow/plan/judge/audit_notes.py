"""What an audit says beside its conflicts: what was not judged, what needs asking, what is doubtful; in groups."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fallow.plan.judge.carriers import Company
from fallow.plan.judge.footing import Footing
from fallow.plan.judge.group_rules import nobody_in
from fallow.plan.judge.stage import Stage
from fallow.plan.places import Ground
from fallow.plan.wording import counted, few, mhz
from fallow.rules.territory import Answer
from fallow.spectrum.verdict import Verdict

__all__ = ["notes_on"]


def notes_on(stage: Stage) -> tuple[str, ...]:
    """The notes of an audit, each one sentence: on the rows, groups, the law, the air, and strangers' products."""
    return (
        *_on_rows(stage),
        *_on_law(stage),
        *_on_air(stage),
        *_on_groups(stage),
        *_on_strangers_products(stage.company),
    )


def _on_rows(stage: Stage) -> Iterator[str]:
    if stage.unplanned:
        yield f"not judged, because they choose their own channels: {few(stage.unplanned)}"
    if stage.without_frequency:
        yield f"not judged, because they have no frequency: {few(stage.without_frequency)}"
    if stage.different:
        names = few(stage.different)
        yield f"the plan and the list of links differ in equipment, area or scenes, and the list was believed: {names}"


def _on_groups(stage: Stage) -> Iterator[str]:
    without = [name for name in nobody_in(stage.company) if name not in stage.listed_groups]
    if without:
        yield f"nobody here is in {few(without)}, so rules about that say nothing: the list of links tells who is"


def _on_law(stage: Stage) -> Iterator[str]:
    if stage.ground is None or stage.ground.territory is None:
        yield "no region was given, so the law was not asked: every place counts as allowed"
    asking: dict[str, list[str]] = {}
    for footing in stage.footings:
        if footing.permission is not None and footing.is_told(Answer.ASK):
            asking.setdefault(footing.permission.text, []).append(footing.carrier.name)
    for text, names in asking.items():
        yield f"ask before use ({counted(len(names), 'carrier')}: {few(names)}): {text}"


def _on_air(stage: Stage) -> Iterator[str]:
    if stage.ground is None or not stage.ground.airs:
        yield "no sweeps were given, so nothing is known of what is on the air"
    else:
        yield from _on_areas_without_survey(stage, stage.ground)
        yield from _on_what_decided(stage.footings)
    for verdict in (Verdict.DOUBTFUL, Verdict.NOT_MEASURED):
        yield from _in_a_group(verdict, stage.footings)


def _on_areas_without_survey(stage: Stage, ground: Ground) -> Iterator[str]:
    """Areas with carriers and no survey of their own, by the surveys that hold there; only where others have one."""
    surveyed = {one.area for one in ground.airs}
    if not surveyed - {""}:
        return
    areas = dict.fromkeys(footing.carrier.area for footing in stage.footings)
    going_by: dict[tuple[str, ...], list[str]] = {}
    for area in areas:
        if area and area not in surveyed:
            going_by.setdefault(tuple(one.name for one in ground.surveys.holding(area)), []).append(area)
    for names, without in going_by.items():
        by = f"its carriers go by {few(names)}" if names else "its places count as not measured"
        many = by if len(without) == 1 else by.replace("its", "their", 1)
        yield f"no survey was taken in {few(without)}: {many}"


def _on_what_decided(footings: Sequence[Footing]) -> Iterator[str]:
    """Which survey gave the verdict for whom, where there are several."""
    by_survey: dict[str, list[str]] = {}
    for footing in footings:
        if footing.told_survey:
            by_survey.setdefault(footing.survey, []).append(footing.carrier.name)
    for survey, names in by_survey.items():
        yield f"the survey {survey} decides for {counted(len(names), 'carrier')}: {few(names)}"


def _in_a_group(verdict: Verdict, footings: Sequence[Footing]) -> Iterator[str]:
    names = [footing.carrier.name for footing in footings if footing.is_judged(verdict)]
    if names:
        stand = "stands on a place" if len(names) == 1 else "stand on places"
        yield f"{counted(len(names), 'carrier')} {stand} judged {verdict.word}: {few(names)}"


def _on_strangers_products(company: Company) -> Iterator[str]:
    hit: dict[int, list[str]] = {}
    for victim, form, makers in company.product_hits(by_ours=False):
        for row in makers.tolist():
            product_hz = form.at_hz([company.carriers[i].frequency_hz for i in row])
            worded = form.worded([company.carriers[i].name for i in row])
            hit.setdefault(victim, []).append(f"{worded} at {mhz(product_hz)}")
    if hit:
        told = [f"{company.carriers[i].placed} by {few(products)}" for i, products in hit.items()]
        yield f"hit by products of foreign carriers alone, so only another place would help: {few(told)}"
