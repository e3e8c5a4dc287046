"""What to do when a named failure strikes: a set of moves after which the plan has no conflict, found beforehand.

First each link that loses its place takes a spare of its equipment and area: spares are planned with everybody else,
so whoever takes one meets nobody new, unless areas hear each other that did not. Where there are too few spares the
question is put again as it is then, and the plan with the fewest moves that a short search finds is the remedy, which
is audited.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import count

import numpy as np

from fallow.plan.advice.failures import Failure
from fallow.plan.judge.audit import audit
from fallow.plan.judge.conflicts import Conflict
from fallow.plan.places import Ground
from fallow.plan.search.engine import Kernels
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.search import Solution, SpareAt, improve
from fallow.plan.search.worth import Worth
from fallow.show.assignment import Assignment
from fallow.show.duplex import return_name
from fallow.show.link import Link
from fallow.show.plan_change import Shifted
from fallow.show.wanted import Wanted

__all__ = ["Remedies", "Remedy"]

STEPS = 50
"""Of the search for a plan without what the failure takes away."""
STEPS_FOR_FEWER = 15
"""More of them once every link stands, for fewer moves."""

Problem = tuple[str, str | None, tuple[str, ...]]


@dataclass(frozen=True)
class Remedy:
    """The moves against one failure. ``lost``: links that have no place then. ``verified``: the audit finds no conflict
    that the plan did not have before. ``by_spares``: all moves go to spares.
    """

    failure: Failure
    moves: tuple[Shifted, ...]
    lost: tuple[str, ...]
    verified: bool
    by_spares: bool = False

    @property
    def survives(self) -> bool:
        """Whether every link goes on, without a new conflict."""
        return self.verified and not self.lost


class Remedies:
    """Looks for remedies for one plan. ``question``: the one that the plan answers. ``is_over``: the time for it."""

    def __init__(
        self,
        plan: Solution,
        question: Question,
        wanted: Wanted,
        ground: Ground,
        kernels: Callable[[], Kernels],
        seed: int = 1,
        is_over: Callable[[], bool] = lambda: False,
    ) -> None:
        self.plan, self.question, self.wanted, self.ground = plan, question, wanted, ground
        self.seed, self.kernels, self.is_over = seed, kernels, is_over
        self.at_hz = plan.frequencies_hz
        placed = [link for link in wanted.links if link.name in self.at_hz]
        self.links = sorted(placed, key=lambda link: link.priority)
        self.before = _problems(audit(self._rows(self.at_hz), wanted).conflicts)

    def against(self, failure: Failure) -> Remedy | None:
        """The remedy for one failure; see ``by_search``."""
        return self.by_spares(failure) or self.by_search(failure)

    def by_spares(self, failure: Failure) -> Remedy | None:
        """The remedy that takes nothing but spares, where there is one: found at once."""
        lost = [link for link in self.links if self._loses(failure, link, self.at_hz[link.name])]
        moved_hz = self._to_spares(failure, lost)
        if moved_hz is None:
            return None
        remedy = self._remedy(failure, dict(self.at_hz) | moved_hz, by_spares=True)
        return remedy if remedy.verified else None

    def _to_spares(self, failure: Failure, lost: Sequence[Link]) -> dict[str, int] | None:
        """A spare that the failure leaves for every link that loses its place; ``None`` where there are too few."""
        left = {
            spare.name: spare
            for spare in self.plan.spares
            if not failure.loses(self.wanted.equipment[spare.equipment], spare.area, spare.frequency_hz)
        }
        moved_hz: dict[str, int] = {}
        for link in lost:
            there = self._there.get(link.name, link)
            if there.name in moved_hz:
                continue
            found = next((spare for spare in left.values() if self._is_for(spare, there, left)), None)
            if found is None or link.fixed:
                return None
            moved_hz[there.name] = left.pop(found.name).frequency_hz
            if there.name in self._with_two_directions:
                moved_hz[return_name(there.name)] = left.pop(return_name(found.name)).frequency_hz
        return moved_hz

    def _is_for(self, spare: SpareAt, link: Link, left: Mapping[str, SpareAt]) -> bool:
        """Whether a link can take a spare: both directions of it, where it has two."""
        whole = link.name not in self._with_two_directions or return_name(spare.name) in left
        return whole and (spare.equipment, spare.area) == (link.equipment, link.area)

    @cached_property
    def _with_two_directions(self) -> frozenset[str]:
        """Links with a way back."""
        return frozenset(self.question.carriers[pair.forward].name for pair in self.question.pairs)

    @cached_property
    def _there(self) -> Mapping[str, Link]:
        """The way there of each way back, by the latter's name."""
        return {return_name(one.name): one for one in self.wanted.links if one.name in self._with_two_directions}

    @cached_property
    def _spares_do_for_all(self) -> bool:
        """Whether who takes a spare keeps all rules that the spare kept."""
        return not self.question.pairs and not self.wanted.groupings.of_strength(hard=True)

    def by_search(self, failure: Failure) -> Remedy | None:
        """The plan with the fewest moves that a short search finds, with its new conflicts (such as of fixed links).
        ``None`` where the time was over while somebody had no place.
        """
        question = self._question_under(failure)
        fewest, plans = [FewestMoves()], list[Solution]()
        steps, last, cut = count(1), STEPS, False

        def should_stop() -> bool:
            nonlocal last, cut
            step, cut = next(steps), self.is_over()
            if cut:
                return True
            if plans and len(plans[-1].frequencies_hz) == len(self.at_hz):
                last = min(last, step + STEPS_FOR_FEWER)
                return step >= last or -plans[-1].score.changed <= fewest[-1].weight_at_least
            return step >= last

        kernels, seed = self.kernels, self.seed
        for plan in improve(question, seed=seed, should_stop=should_stop, kernels=kernels, tell=fewest.append):
            plans.append(plan)
        if cut and len(plans[-1].frequencies_hz) < len(self.at_hz):
            return None
        return self._remedy(failure, plans[-1].frequencies_hz)

    def _question_under(self, failure: Failure) -> Question:
        """Put anew where other surveys hold then, else with what the failure takes away taken off."""
        if self._brings_together(failure):
            return Question.build(*failure.strikes(self.wanted, self.ground), keep=self.at_hz, spares=0)
        return struck(self.question, failure, self.at_hz)

    def _brings_together(self, failure: Failure) -> bool:
        """Whether links meet then that did not before."""
        return failure.losses_after(self.wanted.losses) != self.wanted.losses

    def _remedy(self, failure: Failure, now_hz: Mapping[str, int], *, by_spares: bool = False) -> Remedy:
        """A plan for the time after a failure as moves. Spares were audited together with all links before: of whoever
        takes one only the place is to be looked at, unless areas hear each other then, or there are groups, in which a
        spare is not, or links of two directions. What moves is audited apart for its places; there a direction may be
        without its other one, which stays.
        """
        moves = [Shifted(name, hz, now_hz[name]) for name, hz in self.at_hz.items() if now_hz.get(name, hz) != hz]
        moved = {move.link for move in moves}
        wanted, ground = failure.strikes(self.wanted, self.ground)
        settled = by_spares and moves and not self._brings_together(failure) and self._spares_do_for_all
        problems = set() if settled else self._new_problems(failure, now_hz)
        places = audit(self._rows({n: hz for n, hz in now_hz.items() if n in moved}), wanted, ground).conflicts
        problems |= _problems([each for each in places if each.kind != "duplex"])
        stays = [link for link in self.links if link.name in now_hz and link.name not in moved]
        lost = [link.name for link in stays if self._loses(failure, link, now_hz[link.name])]
        lost += [link.name for link in self.links if link.name not in now_hz]
        fixed = [link.name for link in self.links if link.fixed and any(link.name in _named(each) for each in problems)]
        return Remedy(failure, tuple(moves), tuple(dict.fromkeys((*lost, *fixed))), not problems, by_spares)

    def _new_problems(self, failure: Failure, at_hz: Mapping[str, int]) -> set[Problem]:
        """Broken distances that the plan did not have before."""
        return _problems(audit(self._rows(at_hz), failure.strikes(self.wanted, self.ground)[0]).conflicts) - self.before

    def _loses(self, failure: Failure, link: Link, frequency_hz: int) -> bool:
        return failure.loses(self.wanted.equipment[link.equipment], link.area, frequency_hz)

    def _rows(self, at_hz: Mapping[str, int]) -> list[Assignment]:
        return [
            Assignment(link.name, link.equipment, link.area, link.scenes, at_hz[link.name])
            for link in self.wanted.links
            if link.name in at_hz
        ]


def struck(question: Question, failure: Failure, at_hz: Mapping[str, int]) -> Question:
    """The question as a failure puts it that lets areas hear whom they heard; with a plan (hertz by link) to keep and
    without spares.
    """
    worths = []
    for each, worth in zip(question.classes, question.worths, strict=False):
        equipment = each.equipment
        left = np.array(
            [
                equipment is not None and not failure.loses(equipment, each.area, hz)
                for hz in worth.frequencies_hz.tolist()
            ],
            dtype=np.bool_,
        )
        worths.append(Worth(worth.frequencies_hz[left], worth.tier[left], worth.margin_db[left]))
    links = [replace(carrier, home_hz=at_hz.get(carrier.name)) for carrier in question.links]
    return replace(question, carriers=tuple(links), worths=tuple(worths), keeping=True)


def _problems(conflicts: Sequence[Conflict]) -> set[Problem]:
    return {(each.kind, each.victim, each.carriers) for each in conflicts}


def _named(problem: Problem) -> tuple[str | None, ...]:
    _, victim, carriers = problem
    return victim, *carriers
