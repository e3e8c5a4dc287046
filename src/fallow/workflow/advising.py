"""What comes with a plan: the order of its moves, and what to do when something fails, in the time that is left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

from fallow.plan.advice.advice import Advice, Replan
from fallow.plan.advice.choices import Choice, choices_among, only_clean
from fallow.plan.advice.failures import failures_of
from fallow.plan.advice.order_of_moves import order_of_moves
from fallow.plan.advice.relaxations import Relaxation, Trials, helpful, ideas_for
from fallow.plan.advice.remedies import Remedies, Remedy
from fallow.plan.advice.waiting import waiting_places
from fallow.plan.places import Ground
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.search import Solution, improve
from fallow.show.assignment import Assignment
from fallow.show.duplex import both_directions
from fallow.show.link import USUAL_WEIGHT
from fallow.show.wanted import Wanted
from fallow.workflow.accelerate import kernels
from fallow.workflow.searching import Clock, Found

__all__ = ["advise_on_choices", "advise_on_failures", "advise_on_moves", "advise_on_relaxations"]

MOST_LET_WAIT = 20  # links that move, so that the order of their moves is worth a second look

TIME_FOR_CHOICES = 1.0  # share of the time given that is used up when it ends
TIME_FOR_FAILURES = 1.0
TIME_FOR_FAILURES_BEFORE_RELAXATIONS = 0.78
TIME_FOR_RELAXATIONS = 0.95  # the rest is for a proof


def advise_on_moves(
    before: Sequence[Assignment],
    after: Sequence[Assignment],
    wanted: Wanted,
    question: Question,
    *,
    fewest: FewestMoves,
    scene: str | None = None,
) -> Replan:
    """How a plan differs from the one in force, and the order in which links are retuned.

    Where links would have to be muted, others are let wait on free places for a while, beside spares.
    """
    now_hz = {row.link: row.frequency_hz for row in after if not row.is_spare}
    changed = [row for row in before if row.frequency_hz is not None and row.link in now_hz]
    moves = len({_whole(row.link, wanted) for row in changed if now_hz[row.link] != row.frequency_hz})
    order = order_of_moves(before, after, wanted, scene=scene)
    if order.muted and len(order.steps) <= MOST_LET_WAIT:
        was_hz = {row.link: row.frequency_hz for row in changed if row.frequency_hz is not None}
        placed_hz = {name: hz for name, hz in now_hz.items() if hz is not None}
        waiting_hz = waiting_places(was_hz, placed_hz, question, kernels())
        freer = order_of_moves(before, after, wanted, scene=scene, waiting_hz=waiting_hz)
        order = min(order, freer, key=lambda each: _weight_of(each.muted, wanted) or len(each.muted))
    lost = len({_whole(row.link, wanted) for row in changed if now_hz[row.link] is None})
    weight = _weight_of([row.link for row in changed if now_hz[row.link] != row.frequency_hz], wanted)
    return Replan(moves, fewest, order, lost, weight)


def _whole(name: str, wanted: Wanted) -> str:
    """The link of which this is one direction; two that are retuned are one change."""
    return next(iter(both_directions(name, wanted)), name)


def _weight_of(names: Sequence[str], wanted: Wanted) -> int | None:
    """What these links weigh together; ``None`` where all of the show weigh the same."""
    weights = {link.name: link.move_weight for link in wanted.links if link.planned}
    if set(weights.values()) <= {USUAL_WEIGHT}:
        return None
    return sum(weights.get(name, USUAL_WEIGHT) for name in {_whole(name, wanted) for name in names})


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
    quick_first = sorted(range(len(failures)), key=lambda i: failures[i].kind == "areas")  # which cost an audit each
    everybody = len(plan.frequencies_hz) == len(question.links)
    until = TIME_FOR_FAILURES if everybody else TIME_FOR_FAILURES_BEFORE_RELAXATIONS
    is_over = partial(clock.is_over, until, "preparing for failures")
    found: dict[int, Remedy] = {}
    stopped = False
    try:
        if not is_over():
            looking = Remedies(plan, question, wanted, ground, kernels(), seed, is_over)
            for find in (looking.by_spares, looking.by_search):
                turns = clock.turns(until)
                for i in quick_first:
                    if i in found:
                        continue
                    if is_over() or not turns.has_time():
                        break
                    remedy = find(failures[i])
                    found |= {} if remedy is None else {i: remedy}
    except KeyboardInterrupt:
        stopped = True
    remedies = tuple(found[i] for i in sorted(found))
    return Advice(remedies=remedies, not_looked_at=len(failures) - len(remedies)), stopped


def advise_on_relaxations(
    plan: Solution, wanted: Wanted, ground: Ground, advice: Advice, *, clock: Clock, seed: int
) -> tuple[Advice, bool]:
    """The advice with what would help the links without a frequency, each tried for a part of the time that is left;
    and whether Ctrl-C ended it.
    """
    unplaced = [link for link in wanted.links if link.planned and link.name not in plan.frequencies_hz]
    if not unplaced:
        return advice, False
    ideas = list(ideas_for(unplaced, wanted, ground))
    found: list[Relaxation] = []
    tried, in_more_time, stopped = 0, None, False
    turns = clock.turns(TIME_FOR_RELAXATIONS)
    try:
        if ideas and turns.has_time():
            stop = turns.next(len(ideas) + 1, "looking for what would help")
            trials = Trials(plan, wanted, ground, seed=seed, should_stop=stop, kernels=kernels())
            in_more_time = trials.without if trials.without > len(plan.frequencies_hz) else None
            while tried < len(ideas) and turns.has_time():
                relaxation = trials.of(ideas[tried], turns.next(len(ideas) - tried, "looking for what would help"))
                found += [] if relaxation is None else [relaxation]
                tried += 1
    except KeyboardInterrupt:
        stopped = True
    helps = replace(advice, relaxations=helpful(found), not_tried=len(ideas) - tried, in_more_time=in_more_time)
    return helps, stopped
