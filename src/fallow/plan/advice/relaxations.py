"""Which ideas help links without a frequency: each is planned with, for a short time, from the plan that there is.

A search that goes on may place more links with any idea, even with none. So the same search goes on with nothing
changed first, from the same plan with the same seed, and an idea counts only for what it places beyond what that one
had placed after as many steps, and beyond what its own plan still holds under the rules as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

from fallow.plan.advice.relaxing import Effort, Idea, ideas_for
from fallow.plan.judge.audit import audit
from fallow.plan.places import Ground
from fallow.plan.search.engine import Kernels
from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution, improve
from fallow.show.assignment import Assignment
from fallow.show.wanted import Wanted

__all__ = ["Relaxation", "Trials", "helpful", "ideas_for"]

MOST_TOLD = 5

Problem = tuple[str, str | None, tuple[str, ...]]


@dataclass(frozen=True)
class Relaxation:
    """With the change that ``text`` names a plan was found that holds ``places`` links; ``gained``: who has a place in
    it and had none. ``verified``: the audit finds no conflict in it that the plan of before did not have.

    ``without``: how many links were placed without the change in as many steps; those of the plan at least.
    """

    text: str
    effort: Effort
    places: int
    gained: tuple[str, ...]
    verified: bool
    without: int


class Trials:
    """Plans with ideas, all from one plan. ``wanted``, ``ground``: what it was made for.

    The search with nothing changed goes on until ``should_stop`` says so; no idea is given more steps than that took.
    """

    def __init__(
        self,
        plan: Solution,
        wanted: Wanted,
        ground: Ground,
        *,
        seed: int,
        should_stop: Callable[[], bool],
        kernels: Callable[[], Kernels],
    ) -> None:
        self.plan, self.wanted, self.ground = plan, wanted, ground
        self.seed, self.kernels = seed, kernels
        self._unchanged = self._go_on(wanted, ground, should_stop)

    @property
    def without(self) -> int:
        """How many links the search places that goes on with nothing changed; those of the plan at least."""
        return self._without_after(self._unchanged.steps)

    def of(self, idea: Idea, should_stop: Callable[[], bool]) -> Relaxation | None:
        """Plan with an idea; ``None`` where nobody got a place through it before ``should_stop``."""
        run = self._go_on(idea.wanted, idea.ground, should_stop, self._unchanged.steps)
        places, without = len(run.best.frequencies_hz), self._without_after(run.steps)
        if places <= without:
            return None
        without = max(without, self._held_as_it_is(run.best))
        if places <= without:
            return None
        gained = tuple(name for name in run.best.frequencies_hz if name not in self.plan.frequencies_hz)
        new = _problems(run.best, idea.wanted) - self._problems_before
        return Relaxation(idea.text, idea.effort, places, gained, not new, without)

    def _go_on(
        self, wanted: Wanted, ground: Ground, should_stop: Callable[[], bool], most_steps: int | None = None
    ) -> _Run:
        """Search on from the plan until every link stands, at most so many steps."""
        steps, placed, best = 0, [(0, len(self.plan.frequencies_hz))], self.plan

        def enough() -> bool:
            nonlocal steps
            steps += 1
            return should_stop() or (most_steps is not None and steps >= most_steps)

        question = self._question(wanted, ground, self.plan)
        for best in improve(question, seed=self.seed, should_stop=enough, kernels=self.kernels):
            placed.append((steps, len(best.frequencies_hz)))
            if placed[-1][1] == len(question.links):
                break
        return _Run(best, steps, tuple(placed))

    def _without_after(self, steps: int) -> int:
        return max(places for step, places in self._unchanged.placed if step <= steps)

    def _held_as_it_is(self, found: Solution) -> int:
        """How many links stand when those of a plan that collide under the rules as they are have to look elsewhere;
        those of the plan of before where more important ones would be left out for that.
        """
        question = self._question(self.wanted, self.ground, found)
        first = next(improve(question, seed=self.seed, should_stop=lambda: True, kernels=self.kernels))
        return len((first if first.score.placed >= self.plan.score.placed else self.plan).frequencies_hz)

    @staticmethod
    def _question(wanted: Wanted, ground: Ground, plan: Solution) -> Question:
        return Question.build(wanted, ground, keep=plan.frequencies_hz, spares=0)

    @cached_property
    def _problems_before(self) -> set[Problem]:
        return _problems(self.plan, self.wanted)


@dataclass(frozen=True)
class _Run:
    """A search that went on: its best plan, the steps made, and after which steps so many links stood."""

    best: Solution
    steps: int
    placed: tuple[tuple[int, int], ...]


def helpful(found: Sequence[Relaxation]) -> tuple[Relaxation, ...]:
    """The cheapest ones that were verified; of those that cost alike, those through which more links get a place
    first.
    """
    verified = sorted((one for one in found if one.verified), key=lambda one: (one.effort, one.without - one.places))
    return tuple(verified[:MOST_TOLD])


def _problems(plan: Solution, wanted: Wanted) -> set[Problem]:
    rows = [
        Assignment(link.name, link.equipment, link.area, link.scenes, plan.frequencies_hz[link.name])
        for link in wanted.links
        if link.name in plan.frequencies_hz
    ]
    return {(each.kind, each.victim, each.carriers) for each in audit(rows, wanted).conflicts if each.kind != "tuning"}
