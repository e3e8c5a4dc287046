"""Which ideas help links without a frequency: each is planned with, for a short time, from the plan that there is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fallow.plan.audit import audit
from fallow.plan.engine import Kernels
from fallow.plan.question import Question
from fallow.plan.relaxing import Effort, Idea, ideas_for
from fallow.plan.search import Solution, improve
from fallow.show.assignment import Assignment
from fallow.show.wanted import Wanted

__all__ = ["Relaxation", "helpful", "ideas_for", "relaxation_of"]

MOST_TOLD = 5


@dataclass(frozen=True)
class Relaxation:
    """With the change that ``text`` names a plan was found that holds ``places`` links; ``gained``: who has a place in
    it and had none. ``verified``: the audit finds no conflict in it that the plan of before did not have.
    """

    text: str
    effort: Effort
    places: int
    gained: tuple[str, ...]
    verified: bool


def relaxation_of(
    idea: Idea,
    plan: Solution,
    wanted: Wanted,
    *,
    seed: int,
    should_stop: Callable[[], bool],
    kernels: Callable[[], Kernels],
) -> Relaxation | None:
    """Plan with an idea; ``None`` where no more links found a place before ``should_stop``."""
    question = Question.build(idea.wanted, idea.ground, keep=plan.frequencies_hz, spares=0)
    everybody = len(question.links)
    best: Solution | None = None
    for best in improve(question, seed=seed, should_stop=should_stop, kernels=kernels):
        if len(best.frequencies_hz) == everybody:
            break
    if best is None or len(best.frequencies_hz) <= len(plan.frequencies_hz):
        return None
    gained = tuple(name for name in best.frequencies_hz if name not in plan.frequencies_hz)
    new = _problems(best, idea.wanted) - _problems(plan, wanted)
    return Relaxation(idea.text, idea.effort, len(best.frequencies_hz), gained, not new)


def helpful(found: Sequence[Relaxation]) -> tuple[Relaxation, ...]:
    """The cheapest ones that were verified; of those that cost alike, those that place more links first."""
    verified = sorted((one for one in found if one.verified), key=lambda one: (one.effort, -one.places))
    return tuple(verified[:MOST_TOLD])


def _problems(plan: Solution, wanted: Wanted) -> set[tuple[str, str | None, tuple[str, ...]]]:
    rows = [
        Assignment(link.name, link.equipment, link.area, link.scenes, plan.frequencies_hz[link.name])
        for link in wanted.links
        if link.name in plan.frequencies_hz
    ]
    return {(each.kind, each.victim, each.carriers) for each in audit(rows, wanted).conflicts if each.kind != "tuning"}
