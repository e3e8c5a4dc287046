"""A plan as an answer when there is no time: every frequency and every conflict, without reasons, margins or bounds."""

from __future__ import annotations

from collections.abc import Mapping

from fallow.plan.answer import PlacedLink, Plan, Spare, Unplaced, moves_of, rows_of_solution
from fallow.plan.judge.audit import audit_of
from fallow.plan.judge.footing import Footing
from fallow.plan.judge.stage import Stage
from fallow.plan.places import Ground
from fallow.plan.search.search import Solution
from fallow.show.link import Link
from fallow.show.wanted import Wanted

__all__ = ["compose_in_haste"]

_NOT_TOLD = "the search was stopped before the reasons were looked for"
_LEFT_OUT = (
    "stopped, so reasons, margins, a bound and what to do when something fails were left out; fallow audit tells "
    "margins, and plan --why reasons"
)


def compose_in_haste(
    best: Solution, wanted: Wanted, ground: Ground, *, keep: Mapping[str, int] | None = None, seed: int = 1
) -> Plan:
    """As ``answer.compose_plan``, but only what nobody can do without: frequencies, verdicts, and the audit."""
    links = [link for link in wanted.links if link.planned]
    stage = Stage.of(rows_of_solution(links, best), wanted, ground)
    judged = audit_of(stage)
    footings = {footing.carrier.name: footing for footing in stage.footings}
    left_out = (link.name for link in links if link.name not in best.frequencies_hz)
    return Plan(
        links={link.name: _placed(link, footings.get(link.name)) for link in links},
        unplaced=tuple(Unplaced(name, (_NOT_TOLD,)) for name in left_out),
        spares=tuple(Spare(one.name, one.equipment, one.area, one.frequency_hz) for one in best.spares),
        most=None,
        moved=tuple(moves_of(best, keep or {})),
        conflicts=judged.conflicts,
        notes=(*judged.notes, _LEFT_OUT),
        seed=seed,
        seconds=0.0,
    )


def _placed(link: Link, footing: Footing | None) -> PlacedLink:
    if footing is None:
        return PlacedLink(link.name, None, None, ("no place was found for it",))
    verdict = None if footing.judged is None else footing.judged.verdict.word
    return PlacedLink(link.name, footing.carrier.frequency_hz, verdict, (), footing.survey or None)
