"""What can be had for how many moves: of all plans that a re-plan came across, those that no other one beats.

One plan beats another when it is no worse in links without a frequency, in links moved (each by its weight), in links
on places not measured and in links on doubtful ones, and better in one of them. *Fewer moves and somebody without a
frequency, or on a doubtful place; more moves, and all is clean*: which to take is hers to say.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from fallow.plan.search.question import Question
from fallow.plan.search.search import Solution
from fallow.plan.search.worth import VERDICT_STEP, Worth
from fallow.plan.wording import counted, few
from fallow.show.plan_change import Shifted

__all__ = ["Choice", "choices_among", "only_clean"]

MOST_TOLD = 5


@dataclass(frozen=True)
class Choice:
    """One way to re-plan: carriers that are retuned, and those without a frequency. ``chosen``: the plan that this
    comes with.

    ``moves``: links that are retuned, in one direction or both; ``changes``: these and the links that lose their
    frequency; ``weight``: what changes weighs together. ``left_out``: the links without a frequency.
    """

    moved: tuple[Shifted, ...]
    unplaced: tuple[str, ...]
    not_measured: int
    doubtful: int
    moves: int
    changes: int
    weight: int
    left_out: tuple[str, ...] = ()
    chosen: bool = False

    @property
    def price(self) -> tuple[int, int, int, int]:
        """What counts, the less the better."""
        return len(self.unplaced), self.weight, self.not_measured, self.doubtful

    @property
    def text(self) -> str:
        """In a few words."""
        return ", ".join(self._parts())

    def _parts(self) -> Iterator[str]:
        yield counted(self.moves, "move")
        if self.left_out:
            yield f"no frequency for {few(self.left_out)}"
        if self.not_measured:
            yield f"{self.not_measured} on places not measured"
        if self.doubtful:
            yield f"{self.doubtful} on doubtful places"
        if not (self.unplaced or self.not_measured or self.doubtful):
            yield "everybody on a place as good as any"
        if self.weight != self.changes:
            yield f"what changes weighs {self.weight}"


def choices_among(plans: Iterable[Solution], chosen: Solution, question: Question) -> tuple[Choice, ...]:
    """The chosen plan and those of the others that nobody beats, those first in which what moves weighs least."""
    first = replace(_choice(chosen, question), chosen=True)
    by_price = {first.price: first}
    for plan in plans:
        choice = _choice(plan, question)
        by_price.setdefault(choice.price, choice)
    found = list(by_price.values())
    unbeaten = [one for one in found if one.chosen or not any(_beats(other, one) for other in found)]
    told = sorted(unbeaten, key=lambda one: (not one.chosen, one.price))[:MOST_TOLD]
    return tuple(sorted(told, key=lambda one: (one.weight, one.price)))


def only_clean(question: Question) -> Question:
    """The question with nothing but clean places."""
    worths = []
    for worth in question.worths:
        clean = worth.tier < VERDICT_STEP
        worths.append(Worth(worth.frequencies_hz[clean], worth.tier[clean], worth.margin_db[clean]))
    return replace(question, worths=tuple(worths))


def _beats(one: Choice, other: Choice) -> bool:
    return one.price != other.price and all(a <= b for a, b in zip(one.price, other.price, strict=True))


def _choice(plan: Solution, question: Question) -> Choice:
    """``moved``: only who is retuned; who has lost its frequency is among ``unplaced``."""
    moved, unplaced, lost = [], [], set[str]()
    for carrier in question.links:
        at_hz = plan.frequencies_hz.get(carrier.name)
        if at_hz is None:
            unplaced.append(carrier.name)
            lost |= set() if carrier.home_hz is None else {carrier.name}
        elif carrier.home_hz not in (None, at_hz):
            moved.append(Shifted(carrier.name, carrier.home_hz, at_hz))
    there = {question.carriers[tie.back].name: question.carriers[tie.forward].name for tie in question.pairs}
    weighs = {carrier.name: carrier.weight for carrier in question.links}
    retuned = {there.get(one.link, one.link) for one in moved}
    changed = retuned | {there.get(name, name) for name in lost}
    return Choice(
        tuple(moved),
        tuple(unplaced),
        -plan.score.not_measured,
        -plan.score.doubtful,
        len(retuned),
        len(changed),
        sum(weighs[name] for name in changed),
        tuple(dict.fromkeys(there.get(name, name) for name in unplaced)),
    )
