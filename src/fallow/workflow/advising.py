"""What comes with a plan: the order of its moves, and what to do when something fails, in the time that is left."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from fallow.plan.advice import Advice, Replan
from fallow.plan.choices import Choice, choices_among, only_clean
from fallow.plan.failures import failures_of
from fallow.plan.order_of_moves import order_of_moves
from fallow.plan.places import Ground
from fallow.plan.question import Question
from fallow.plan.relaxations import Relaxation, helpful, ideas_for, relaxation_of
from fallow.plan.remedies import Remedies, Remedy
from fallow.plan.repair import FewestMoves
from fallow.plan.search import Solution, improve
from fallow.show.assignment import Assignment
from fallow.show.wanted import Wanted
from fallow.workflow.accelerate import kernels
from fallow.workflow.searching import Clock, Found

__all__ = ["advise_on_choices", "advise_on_failures", "advise_on_moves", "advise_on_relaxations"]

TIME_FOR_CHOICES = 1.1  # share of the time given that is used up when it ends
TIME_FOR_FAILURES = 1.0
TIME_FOR_RELAXATIONS = 1.3  # they take more than was given rather than be at the cost of the plan


def advise_on_moves(
    before: Sequence[Assignment],
    after: Sequence[Assignment],
    wanted: Wanted,
    fewest: FewestMoves,
    scene: str | None = None,
) -> Replan:
    """How a plan differs from the one in force, and the order in which links are retuned."""
    now_hz = {row.link: row.frequency_hz for row in after if not row.is_spare}
    changed = [row for row in before if row.frequency_hz is not None and row.link in now_hz]
    moves = sum(now_hz[row.link] != row.frequency_hz for row in changed)
    return Replan(moves, fewest, order_of_moves(before, after, wanted, scene=scene))


def advise_on_choices(
    found: Found, plan: Solution, question: Question, *, clock: Clock, seed: int
) -> tuple[tuple[Choice, ...], bool]:
    """Other ways to re-plan, where some have less of one thing for more of another; and whether Ctrl-C ended it.

    Where links stand on places that are not clean, plans with clean ones alone are looked for as well.
    """
    plans, stopped = [*found.seen], False
    try:
        if plan.score.doubtful or plan.score.not_measured:
            over = partial(clock.is_over, TIME_FOR_CHOICES, "looking for other ways")
            plans += improve(only_clean(question), seed=seed, should_stop=over, kernels=kernels())
    except KeyboardInterrupt:
        stopped = True
    choices = choices_among(plans, plan, question)
    return (choices if len(choices) > 1 else ()), stopped


def advise_on_failures(
    plan: Solution, question: Question, wanted: Wanted, ground: Ground, *, clock: Clock, seed: int
) -> tuple[Advice, bool]:
    """Remedies for as many failures as there is time for, those by spares first; and whether Ctrl-C ended that."""
    failures = list(failures_of(plan.frequencies_hz, wanted, ground))
    found: dict[int, Remedy] = {}
    stopped = False
    try:
        looking = Remedies(plan, question, wanted, ground, kernels(), seed)
        for find in (looking.by_spares, looking.by_search):
            for i, failure in enumerate(failures):
                if clock.is_over(TIME_FOR_FAILURES, "preparing for failures"):
                    break
                remedy = None if i in found else find(failure)
                if remedy is not None:
                    found[i] = remedy
    except KeyboardInterrupt:
        stopped = True
    remedies = tuple(found[i] for i in sorted(found))
    return Advice(remedies=remedies, not_looked_at=len(failures) - len(remedies)), stopped


def advise_on_relaxations(
    plan: Solution, wanted: Wanted, ground: Ground, *, clock: Clock, seed: int
) -> tuple[tuple[Relaxation, ...], bool]:
    """What would help the links without a frequency, each tried for a part of the time; and whether Ctrl-C ended it."""
    unplaced = [link for link in wanted.links if link.planned and link.name not in plan.frequencies_hz]
    if not unplaced:
        return (), False
    ideas = list(ideas_for(unplaced, wanted, ground))
    found: list[Relaxation] = []
    try:
        for left, idea in zip(range(len(ideas), 0, -1), ideas, strict=True):
            until = clock.used_share + (TIME_FOR_RELAXATIONS - clock.used_share) / left
            stop = partial(clock.is_over, until, "looking for what would help")
            relaxation = relaxation_of(idea, plan, wanted, seed=seed, should_stop=stop, kernels=kernels())
            found += [] if relaxation is None else [relaxation]
            if clock.is_over(TIME_FOR_RELAXATIONS):
                break
    except KeyboardInterrupt:
        return helpful(found), True
    return helpful(found), False
