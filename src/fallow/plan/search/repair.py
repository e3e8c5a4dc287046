"""The nearest good plan when something has changed: as few links moved as can be, and how few no plan can beat.

Everybody goes home who can. Those who can't (their home is lost, or somebody stands in its way) get another place:
straight away, else by pushing one or two others aside, else after the search has shaken everything until all links
stand. Such a plan has moved far too many, so it is *shrunk*: moved links are taken out a few at a time and sent home
where that is free again. Short attempts from different beginnings beat one long one. Last, every set of links that is
no larger than the bound allows is tried out: either one of them does it, or the bound rises.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import HOME_ONLY, LOWEST
from fallow.plan.search.fitting import Fitting
from fallow.plan.search.pairs import restore
from fallow.plan.search.question import Question
from fallow.plan.search.standing import Standing

__all__ = ["FewestMoves", "Repair"]

Whole = NDArray[np.int64]

ATTEMPTS = 8
"""Beginnings of a repair."""
PUSHES = 40
"""Tries to place one link by pushing others aside, per attempt."""
SHAKES = 1_200
"""Steps of the search per attempt, until all links stand."""
SHRINKS_IN_VAIN = 250
"""Steps without gain after which a plan counts as shrunk."""
FEW_IN_VAIN = 30
MAKING_ROOM = 30
MOST_SENT_HOME = 8
WORSE_FOR_ONCE = 0.02
FITTING_STEPS = 400
"""Steps, each of some places looked at, that the proof may take in all."""


@dataclass(frozen=True)
class FewestMoves:
    """No plan that places as many links moves fewer than ``at_least`` of them; ``because`` is one sentence.

    ``weighs``: nor links that weigh less together; ``None`` where all weigh the same.
    """

    at_least: int = 0
    because: str = "every link can stay where it is"
    weighs: int | None = None

    @property
    def weight_at_least(self) -> int:
        """What moves in any plan, by weight."""
        return self.at_least if self.weighs is None else self.weighs


class Shake(Protocol):
    """One step of the search; ``begins``: the first of a row."""

    def __call__(self, *, begins: bool) -> None: ...


class Repair:
    """Moves the carriers of ``standing``; spares must not stand in it.

    ``shake`` makes one step of the search. ``placeable``: links that have places at all and are not fixed.
    """

    def __init__(self, standing: Standing, placeable: Sequence[int], random: np.random.Generator, shake: Shake) -> None:
        self.standing, self.random, self.shake = standing, random, shake
        self.question: Question = standing.question
        self.facts = self.question.facts
        self.movable = list(placeable)
        self.with_home = [i for i in self.movable if self.facts.home_hz[i] >= 0]
        self.fewest = self.fewest_simply = FewestMoves()
        self.fitting_steps = FITTING_STEPS
        self.best_hz: Whole | None = None
        self.weighed = bool((self.facts.weight != 1).any())
        self.best_weight = int(self.facts.weight.sum()) + 1
        self.lost: list[int] = []
        self.quarrels: list[list[int]] = []

    def steps(self) -> Iterator[bool]:
        """Work in small steps; true when a plan with all links and fewer moves than before stands."""
        self._count_lost()
        for attempt in range(ATTEMPTS):
            yield from self._attempt(attempt)
            if self._is_proven() or (attempt > 1 and self.best_hz is None):
                break
            if attempt == 0 and self.best_hz is not None:
                yield from self._prove()
                if self._is_proven():
                    break
        if self.best_hz is not None:
            self._restore(self.best_hz)

    # ---- how few moves there must be

    def _count_lost(self) -> None:
        """Homes that are lost, and sets of homes that do not go together: one link at least of each has to move."""
        self.standing.take(self.movable)
        stuck = self._away()
        stuck[self.with_home] = False
        self.lost = [i for i in self.with_home if not self._goes_home_alone(i)]
        self.quarrels = self._quarrels([i for i in self.with_home if i not in self.lost])
        gone, weight = int(np.count_nonzero(stuck)) + len(self.lost), self.facts.weight
        weighs = int(weight[stuck].sum() + weight[self.lost].sum()) + sum(int(weight[q].min()) for q in self.quarrels)
        reason = _reason(gone, len(self.quarrels))
        told = weighs if self.weighed else None
        self.fewest = self.fewest_simply = FewestMoves(gone + len(self.quarrels), reason, told)

    def _goes_home_alone(self, carrier: int) -> bool:
        goes = self._goes_home(carrier)
        self.standing.take([carrier])
        return goes

    def _quarrels(self, carriers: Sequence[int]) -> list[list[int]]:
        """Sets of links without a member in common that can't all be at home, each as small as can be."""
        left, found = list(carriers), list[list[int]]()
        self.standing.take(self.movable)
        for i in carriers:
            if i not in left or self._goes_home(i):
                continue
            before_hz = self.standing.at_hz.copy()
            found.append([i, *self._in_the_way(i, [other for other in left if before_hz[other] >= 0])])
            self._restore(before_hz)
            self.standing.take(found[-1])
            left = [other for other in left if other not in found[-1]]
        return found

    def _in_the_way(self, stuck: int, present: Sequence[int]) -> list[int]:
        """Of carriers at home, a smallest set that keeps one from its own; the others are taken away."""
        needed = []
        for other in present:
            self.standing.take([other])
            if self._goes_home(stuck):
                self.standing.take([stuck])
                self._goes_home(other)
                needed.append(other)
        return needed

    def _goes_home(self, carrier: int) -> bool:
        self.standing.place([carrier], [int(self.facts.home_hz[carrier])], [HOME_ONLY])
        return bool(self.standing.at_hz[carrier] >= 0)

    # ---- one attempt

    def _attempt(self, attempt: int) -> Iterator[bool]:
        self._all_home(shuffled=attempt > 0)
        yield False
        for _ in range(PUSHES):
            missing = self._missing()
            if not missing:
                break
            self._push_aside(self._any_of(missing))
            yield False
        for shakes in range(SHAKES):
            if not self._missing():
                break
            self.shake(begins=shakes == 0)
            yield False
        if not self._missing():
            yield self._note()
            yield from self._shrink()

    def _all_home(self, *, shuffled: bool) -> None:
        """Everybody home who can, the others to any free place, those with the least choice first."""
        self.standing.take(self.movable)
        order = self.random.permutation(self.with_home).tolist() if shuffled else self._by_rank(self.with_home)
        order.sort(key=lambda i: -int(self.facts.weight[i]))
        self._send(order)
        rest = self._missing()
        if shuffled:
            rest = self.random.permutation(rest).tolist()
        picks = self.random.random(len(rest)) if shuffled else np.full(len(rest), LOWEST)
        room = {i: self._room(i) for i in rest}
        rest.sort(key=lambda i: (int(self.facts.rank[i]), room[i]))
        self._home(rest, picks.tolist())

    def _push_aside(self, missing: int) -> None:
        """Place a link by moving one other, or two, to other places."""
        rows = self.question.meetings[self.facts.class_index[missing], self.facts.class_index]
        standing = [i for i in self.movable if rows[i] and self.standing.at_hz[i] >= 0]
        standing = [i for i in standing if i not in self.question.in_pairs]
        for pushed in self.random.permutation(standing).tolist():
            was_hz = int(self.standing.at_hz[pushed])
            self.standing.take([pushed])
            if self._place_anywhere(missing):
                if self._place_anywhere(pushed):
                    return
                self.standing.take([missing])
            self.standing.put([pushed], [was_hz])

    def _place_anywhere(self, carrier: int) -> bool:
        self.standing.place([carrier], [self._home_of(carrier)], [float(self.random.random()) * 0.999])
        return bool(self.standing.at_hz[carrier] >= 0)

    def _shrink(self) -> Iterator[bool]:
        """Send moved links home, a few at a time, making way for them."""
        in_vain = 0
        while in_vain < SHRINKS_IN_VAIN and not self._is_proven():
            before_hz, before = self.standing.at_hz.copy(), self._weight()
            if in_vain > FEW_IN_VAIN and self.random.random() < 0.5:
                self._insist_on_home()
            else:
                self._send_some_home()
            if self._missing() or (self._weight() > before and self.random.random() > WORSE_FOR_ONCE):
                self._restore(before_hz)
            in_vain = 0 if self._weight() < before else in_vain + 1
            yield self._note()

    def _send_some_home(self) -> None:
        away = self._away()
        movable = np.array([i for i in self.movable if away[i] or self.facts.home_hz[i] < 0], dtype=np.int64)
        if not movable.size:
            return
        count = int(self.random.integers(1, min(MOST_SENT_HOME, movable.size) + 1))
        taken: list[int] = self.random.permutation(movable)[:count].tolist()
        if self.random.random() < 0.2:
            taken = list(dict.fromkeys([*taken, self._any_of(self.movable)]))
        self.standing.take(taken)
        order: list[int] = self.random.permutation(taken).tolist()
        order.sort(key=lambda i: self.facts.home_hz[i] < 0 or i in self.lost)
        self._home(order, np.minimum(self.random.random(len(order)), 0.999).tolist())

    def _insist_on_home(self) -> None:
        """Send one link home whatever is in its way: of the others that are away, those that now stand wrong look for
        another place.
        """
        away = self._away()
        returning = [i for i in self.with_home if away[i] and i not in self.lost]
        if not returning:
            return
        first = self._any_of(returning)
        others = [i for i in self.movable if (away[i] or self.facts.home_hz[i] < 0) and i != first]
        others = self.random.permutation(np.array(others, dtype=np.int64)).tolist()
        was_hz = self.standing.at_hz[others].tolist()
        self.standing.take([first, *others])
        self._send([first])
        self.standing.place(others, was_hz, [HOME_ONLY] * len(others))
        pushed = [i for i in others if self.standing.at_hz[i] < 0]
        self._home(pushed, np.minimum(self.random.random(len(pushed)), 0.999).tolist())
        for _ in range(MAKING_ROOM):
            if not self._missing():
                return
            self._make_room(others)

    def _make_room(self, among: Sequence[int]) -> None:
        """Rearrange some of these carriers so that no more of them wait than before."""
        before_hz, waiting = self.standing.at_hz.copy(), self._missing()
        standing = [i for i in among if self.standing.at_hz[i] >= 0]
        count = int(self.random.integers(1, min(MOST_SENT_HOME, max(1, len(standing))) + 1))
        taken: list[int] = self.random.permutation(np.array(standing, dtype=np.int64))[:count].tolist()
        self.standing.take(taken)
        order = [*waiting, *taken]
        if self.random.random() < 0.5:
            order = self.random.permutation(order).tolist()
        self._home(order, np.minimum(self.random.random(len(order)), 0.999).tolist())
        if len(self._missing()) > len(waiting):
            self._restore(before_hz)

    # ---- proof

    def _prove(self) -> Iterator[bool]:
        """Try out every set of links that may move, from the bound upward, until one does it or the steps are used."""
        if not self.question.raster.exact or self.question.odd_classes or self.question.pairs or self.weighed:
            return
        self.standing.take(self.movable)
        self._send(self._by_rank(self.with_home))
        base_hz = self.standing.at_hz.copy()
        while not self._is_proven():
            for moved in self._sets_to_move():
                self._restore(base_hz)
                self.fitting_steps = max(0, self.fitting_steps - 1)
                yield False
                fits = yield from self._fits(moved)
                if fits is None:
                    return
                if fits:
                    yield self._note()
                    break
            else:
                self._raise_bound()

    def _fits(self, moved: Sequence[int]) -> Generator[bool, None, bool | None]:
        """Whether all links can be placed with only these away from home; ``None`` when the steps are used up."""
        self.standing.take(moved)
        bound_home = [i for i in self.with_home if i not in moved and i not in self.lost]
        self._send([i for i in bound_home if self.standing.at_hz[i] < 0])
        if any(self.standing.at_hz[i] < 0 for i in bound_home):
            return False
        fitting = Fitting(self.standing, self._missing())
        while self.fitting_steps:
            self.fitting_steps -= 1
            outcome = fitting.step()
            yield False
            if outcome is not None:
                return outcome
        fitting.give_up()
        return None

    def _raise_bound(self) -> None:
        moved = self.fewest.at_least
        tried = f"every way to place all links with {moved} moved was tried, and there is none"
        self.fewest = FewestMoves(moved + 1, f"{self.fewest_simply.because}; {tried}")

    def _sets_to_move(self) -> Iterator[tuple[int, ...]]:
        """All sets of links that, with those whose home is lost, make up the bound: one of each quarrel, and more."""
        more = self.fewest.at_least - self.fewest_simply.at_least
        others = [i for i in self.with_home if i not in self.lost]
        for one_each in product(*self.quarrels):
            for extra in combinations([i for i in others if i not in one_each], more):
                yield (*one_each, *extra)

    # ---- small things

    def _is_proven(self) -> bool:
        return self.best_hz is not None and self.best_weight <= self.fewest.weight_at_least

    def _note(self) -> bool:
        """Remember the plan that stands if what moves weighs less than ever."""
        weight = self._weight()
        if self._missing() or weight >= self.best_weight:
            return False
        self.best_weight, self.best_hz = weight, self.standing.at_hz.copy()
        return True

    def _away(self) -> NDArray[np.bool_]:
        return self.question.away(self.standing.at_hz)

    def _weight(self) -> int:
        """Of all that has moved."""
        return int(self.facts.weight[self._away()].sum())

    def _missing(self) -> list[int]:
        return [i for i in self.movable if self.standing.at_hz[i] < 0]

    def _send(self, carriers: Sequence[int]) -> None:
        """Home, or nowhere."""
        self._home(carriers, [HOME_ONLY] * len(carriers))

    def _home(self, carriers: Sequence[int], picks: Sequence[float]) -> None:
        self.standing.place(carriers, [self._home_of(i) for i in carriers], picks)

    def _home_of(self, carrier: int) -> int:
        return int(self.facts.home_hz[carrier])

    def _by_rank(self, carriers: Sequence[int]) -> list[int]:
        return sorted(carriers, key=lambda i: int(self.facts.rank[i]))

    def _room(self, carrier: int) -> int:
        return self.standing.free_hz(int(self.facts.class_index[carrier])).size

    def _any_of(self, carriers: Sequence[int]) -> int:
        return int(carriers[int(self.random.integers(len(carriers)))])

    def _restore(self, at_hz: Whole) -> None:
        restore(self.standing, at_hz)


def _reason(lost: int, quarrels: int) -> str:
    if not lost and not quarrels:
        return "every link can stay where it is"
    parts = []
    if lost:
        who, where = ("link", "it") if lost == 1 else ("links", "them")
        parts.append(f"{lost} {who} can't stay where the plan in force has {where}")
    if quarrels:
        who, goes, where = ("set", "goes", "it is") if quarrels == 1 else ("sets", "go", "they are")
        parts.append(f"{quarrels} {who} of links no longer {goes} together where {where}")
    return " and ".join(parts)
