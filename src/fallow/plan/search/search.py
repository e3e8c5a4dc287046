"""Better and better plans until told to stop.

The first plan comes from filling in order of priority; then a few links are taken out and put back in another order and
elsewhere, again and again, and the result is kept when it is no worse in the order of ``score_of``.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.engine import HOME_ONLY, LOWEST, Kernels, numpy_kernels
from fallow.plan.search.only_distances import OnlyDistances
from fallow.plan.search.orders import ANYWHERE, area_by_area, areas_take_turns, picks_of, wandering_picks
from fallow.plan.search.packing import Packed
from fallow.plan.search.pairs import restore, standing_for
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves, Repair
from fallow.plan.search.score import Score, score_of
from fallow.plan.search.sowing import Sowing
from fallow.plan.search.standing import Standing
from fallow.plan.search.worth import VERDICT_STEP

__all__ = ["Search", "Solution", "SpareAt", "improve", "solution_of"]

Whole = NDArray[np.int64]

MOST_TAKEN = 14
"""Carriers taken out in one step."""
SOWING = 0.15
"""Share of the steps that start from a set of number theory, where that is possible."""
SOWING_PATIENCE = 20
PACKING = 0.3
"""Share of the steps for links that only keep distances, where there are any."""
FOR_BETTER_PLACES = 0.3
"""Share of the steps for links on poor places while others have none."""
FOR_MARGINS = 0.3
"""Share of the steps for the thinnest margin while there is something else to better."""
DETOURS = 0.02
"""Share of the steps that lead to one link less and are kept all the same."""
LONGEST_DETOUR = 60
WANDERING = 0.6
"""Share of the steps in which carriers wander."""
MOVES_AT_ONCE = 24
"""Moves of one wandering step."""
STIRRING = 0.1
"""Share of a wandering step's moves that lead anywhere, below which wandering counts as stuck and gets rarer."""
LEAST_WANDERING = 0.1
"""Share that is left of wandering when it is stuck: of ``WANDERING``."""
MAKING_WAY = 0.6
"""Share of the other steps in which a few make way for one that is missing, on a place where none of them stood."""
MOST_MAKING_WAY = 7
"""Carriers taken out for that: more of them seldom all find another place."""
PLACES_TOUCHED = 150_000
"""Places whose counts one move may change before steps are made smaller."""
WITHOUT_HOMES, WITH_HOMES = 400, 200
"""Steps in turn, with a plan to keep, while links are missing: more of them matter more than where the others stood."""
MOST_WAITING = 8
"""Links without a place that one step tries to place, beside the one for whose sake it is made."""


@dataclass(frozen=True)
class SpareAt:
    """A frequency kept free."""

    name: str
    equipment: str
    area: str
    frequency_hz: int


@dataclass(frozen=True)
class Solution:
    """A plan without conflicts of its own making. ``frequencies_hz``: carrier by link, placed ones only. The larger
    ``score`` is the better plan.
    """

    frequencies_hz: Mapping[str, int]
    spares: tuple[SpareAt, ...]
    score: Score


def improve(
    question: Question,
    *,
    seed: int,
    should_stop: Callable[[], bool],
    kernels: Callable[[], Kernels] = numpy_kernels,
    tell: Callable[[FewestMoves], None] | None = None,
) -> Iterator[Solution]:
    """Plans, each better than the one before; the first at once, without asking ``should_stop``.

    With a plan to keep, ``tell`` hears of the fewest moves that any plan needs, as soon as more of it is known.

    The same seed and the same number of steps (calls of ``should_stop``) give the same plans, whichever kernels do the
    work. Ends when ``should_stop`` says so, or when nothing is left to wish for.
    """
    search = Search(question, seed, kernels)
    best: Score | None = None
    told: FewestMoves | None = None
    try:
        for score, at_hz in search.steps():
            if tell is not None and told != search.repair.fewest:
                told = search.repair.fewest
                tell(told)
            if best is None or score > best:
                best = score
                yield solution_of(question, score, at_hz)
            if search.nothing_left(best) or should_stop():
                return
    finally:
        del search.repair  # it points back to the search, and would keep its tables, which are large


def solution_of(question: Question, score: Score, at_hz: Whole) -> Solution:
    """Carriers at ``at_hz`` (−1: nowhere) as a plan."""
    placed = [(carrier, int(hz)) for carrier, hz in zip(question.carriers, at_hz, strict=True) if hz >= 0]
    return Solution(
        {carrier.name: hz for carrier, hz in placed if not carrier.is_spare},
        tuple(SpareAt(c.name, c.equipment.name, c.area, hz) for c, hz in placed if c.is_spare),
        score,
    )


class Search:
    """The plan in the making and what is known of it. Spares stand in it only when all links do.

    ``like``: another search, which is gone on with from where it is.
    """

    def __init__(
        self, question: Question, seed: int, kernels: Callable[[], Kernels], like: Search | None = None
    ) -> None:
        self.question = question
        self.random = np.random.default_rng(seed)
        self.standing: Standing = standing_for(question, kernels) if like is None else like.standing.copied()
        self.facts = question.facts
        movable = [i for i in np.flatnonzero(~self.facts.is_fixed).tolist() if i not in question.followers]
        self.links = [int(i) for i in movable if not self.facts.is_spare[i]]
        self.placeable = [i for i in self.links if question.worths[self.facts.class_index[i]].frequencies_hz.size]
        self.spares = [int(i) for i in movable if self.facts.is_spare[i]]
        self.meets = question.meetings
        self.homes_hz = self._homes_hz()
        self.clinging = True  # to homes
        self.pace = _pace(question)
        self.sown_in_vain = 0
        self.stirring = 1.0
        self.astray = 0
        self.best, self.best_hz = self._current(), self.standing.at_hz.copy()
        self.sowing = Sowing(question, self.standing.tables)
        self.only_distances: OnlyDistances = (
            OnlyDistances(question, self.standing) if like is None else like.only_distances
        )
        self.packing = self.only_distances.packing(self.random, kernels)
        self.repair = Repair(self.standing, self.placeable, self.random, self._shake)
        self.makes_way = not self.repair.with_home  # a plan to keep is shaken better without
        self.on_raster = ~np.isin(self.facts.class_index, list(question.odd_classes))
        self.on_raster[list(question.in_pairs)] = False  # these do not wander

    def nothing_left(self, score: Score) -> bool:
        """Whether no plan can have a better score."""
        everything = -1 not in self.standing.at_hz and score.wishes == np.count_nonzero(self.facts.wish_hz >= 0)
        changed = score.changed + self.repair.fewest.weight_at_least
        spoilt = any((changed, score.not_measured, score.doubtful, score.hit, score.ask))
        return everything and not spoilt and not self.question.has_margins

    def steps(self) -> Iterator[tuple[Score, Whole]]:
        """Plans as they come, one per step, better or not."""
        yield from self.fills()
        if self.repair.with_home:
            yield from self._repairing()
        yield from self.onwards()

    def fills(self) -> Iterator[tuple[Score, Whole]]:
        """The first plans, from nothing; the better one is left standing."""
        yield self._filled(area_by_area(self.question, self.links))
        if self._missing():
            first, at_hz = self._current(), self.standing.at_hz.copy()
            self.standing.take(self.links)
            yield self._filled(areas_take_turns(self.question, self.links))
            if self._current() < first:
                self._restore(at_hz)
        self._begin_here()

    def onwards(self) -> Iterator[tuple[Score, Whole]]:
        """Plans from the one that stands, without end."""
        loose_hz: Whole | None = None
        while True:
            if self.repair.with_home and self._missing():
                loose_hz = yield from self._without_homes(loose_hz)
            for _ in range(WITH_HOMES):
                yield self._step()

    def _without_homes(self, loose_hz: Whole | None) -> Generator[tuple[Score, Whole], None, Whole | None]:
        """Steps that care for no home, from where the last such ones ended, until one link more stands; then on from
        that plan, else from the one that stood before.
        """
        placed, before_hz = self._current().placed, self.standing.at_hz.copy()
        self.clinging = False
        if loose_hz is not None:
            self._restore(loose_hz)
        self._begin_here()
        for _ in range(WITHOUT_HOMES):
            self._step()
            yield score_of(self.question, self.standing.at_hz), self.standing.at_hz.copy()
            if self._current().placed > placed:
                before_hz = self.standing.at_hz.copy()
                break
        loose_hz = self.standing.at_hz.copy()
        self.clinging = True
        self._restore(before_hz)
        self._begin_here()
        return loose_hz if (loose_hz != before_hz).any() else None

    def follow(self, at_hz: Whole) -> None:
        """Go on from another plan."""
        links_missing = bool((at_hz[self.placeable] < 0).any())
        self._restore(np.where(self.facts.is_spare & ~self.facts.is_fixed & links_missing, -1, at_hz))
        self._begin_here()

    def _repairing(self) -> Iterator[tuple[Score, Whole]]:
        """Plans with all links that move fewer and fewer; where there is none, the best so far is left standing."""
        best, best_hz = self.best, self.best_hz
        self.standing.take(self.spares)
        for better in self.repair.steps():
            if better:
                best, best_hz = self._with_spares()
                yield best, best_hz
                self.standing.take(self.spares)
            else:
                yield self._current(), self.standing.at_hz.copy()
        self._restore(best_hz)
        self._begin_here()

    def _shake(self, *, begins: bool) -> None:
        """One step for the repair that cares for no home; what was best before the first does not count."""
        self.clinging = False
        if begins:
            self._begin_here()
        self._step()
        self.standing.take(self.spares)
        self.clinging = True

    def _begin_here(self) -> None:
        self.best, self.best_hz, self.astray = self._current(), self.standing.at_hz.copy(), 0

    def _homes_hz(self) -> list[int]:
        """Where each carrier is tried first, −1 for nowhere: at home, else where it wishes to be if that is a clean
        place.
        """
        facts = self.facts
        clean = self.question.worth_at(facts.wish_hz)[0] < VERDICT_STEP
        homes_hz: list[int] = np.where(facts.home_hz >= 0, facts.home_hz, np.where(clean, facts.wish_hz, -1)).tolist()
        return homes_hz

    # ---- filling

    def _filled(self, order: Sequence[int]) -> tuple[Score, Whole]:
        """Place all links in this order, those with a home first; then the spares."""
        at_home = [i for i in order if self.facts.home_hz[i] >= 0]
        self._place(at_home, [HOME_ONLY] * len(at_home))
        rest = [i for i in order if self.standing.at_hz[i] < 0]
        self._place(rest, [LOWEST] * len(rest))
        return self._with_spares()

    def _place(self, carriers: Sequence[int], picks: Sequence[float]) -> None:
        """Place carriers in turn: at home, else where they wish to be if that is a clean place, else as picked."""
        self.standing.place(carriers, [self.homes_hz[i] for i in carriers], picks)

    def _with_spares(self) -> tuple[Score, Whole]:
        """The plan with as many spares as fit; they stay only when all links are placed."""
        waiting = [i for i in self.spares if self.standing.at_hz[i] < 0]
        self._place(waiting, [LOWEST] * len(waiting))
        at_hz = self.standing.at_hz.copy()
        if self._missing():
            self.standing.take(self.spares)
        return score_of(self.question, at_hz), at_hz

    def _missing(self) -> list[int]:
        """Links without a place, those left out for which there is none at all."""
        return [i for i in self.placeable if self.standing.at_hz[i] < 0]

    # ---- taking out and putting back

    def _step(self) -> tuple[Score, Whole]:
        """Change the plan somewhere, and keep that if it is no worse."""
        missing = self._missing()
        waiting = [i for i in missing if i not in self.question.in_pairs] if self.makes_way else []
        before_hz, before = self.standing.at_hz.copy(), self._current()
        kind = self.random.random() if missing else 1.0
        if kind < SOWING / (1 + self.sown_in_vain / SOWING_PATIENCE) and self.sowing.possible:
            self._sow()
            self.sown_in_vain += 1
        elif kind < PACKING and self.packing is not None:
            self._pack(self.packing, missing)
        elif kind < WANDERING * self._liveliness():
            self._wander(missing)
        elif waiting and self.random.random() < MAKING_WAY:
            self._make_way(waiting)
        else:
            first = self._wanted_first(missing)
            taken = self._neighbours(first)
            self.standing.take(taken)
            self._put_back(first, taken, missing)
        after = self._current()
        if after < before and not (missing and self._worth_a_detour(after)):
            self._restore(before_hz)
            after = before
        elif after > before and missing:
            return self._with_spares()
        elif not self._missing() and self.question.has_margins:
            self.standing.shun_margins_up_to(after.thinnest_db)
        return self._return_from_detour(after), self.standing.at_hz.copy()

    def _worth_a_detour(self, after: Score) -> bool:
        """Now and then a plan with one link less is a way out of a dead end."""
        return sum(after.placed) >= sum(self.best.placed) - 1 and self.random.random() < DETOURS

    def _return_from_detour(self, current: Score) -> Score:
        """Remember the best plan, and go back to it when a detour has led nowhere; the score of what stands then."""
        if current >= self.best:
            self.best, self.best_hz, self.astray = current, self.standing.at_hz.copy(), 0
        else:
            self.astray += 1
            if self.astray > LONGEST_DETOUR:
                self._restore(self.best_hz)
                self.astray = 0
                return self._current()
        return current

    def _sow(self) -> None:
        """Start anew from places whose differences all differ."""
        self.standing.take(self.links)
        homes_hz = self.sowing.draw_hz(self.random)[: len(self.links)].tolist()
        sown = self.links[: len(homes_hz)]
        self.standing.place(sown, homes_hz, [HOME_ONLY] * len(sown))
        left = self._missing()
        self._place(left, [LOWEST] * len(left))

    def _pack(self, packing: Iterator[Packed], missing: Sequence[int]) -> None:
        """Start anew with the links that only keep distances, where that leaves out fewer of them."""
        links = self.only_distances.links
        homes_hz = self.only_distances.draw_hz(packing, len(set(links) & set(missing)))
        if homes_hz is not None:
            self.standing.take(links)
            self.standing.place(links, homes_hz, [HOME_ONLY] * len(links))
            self._place(self._missing(), [LOWEST] * len(self._missing()))

    def _wander(self, missing: Sequence[int]) -> None:
        """Move carriers about among their free places until one that is missing finds room."""
        facts, at_hz = self.facts, self.standing.at_hz
        movable = (at_hz >= 0) & ~facts.is_fixed & self.on_raster
        if self.clinging and self.random.random() < 0.7:
            movable &= (at_hz != facts.home_hz) & (at_hz != facts.wish_hz)
        candidates = np.flatnonzero(movable)
        waiting = [i for i in missing if self.on_raster[i]]
        if candidates.size and waiting:
            moves = self.random.choice(candidates, max(2, int(self.pace * MOVES_AT_ONCE)))
            picks = wandering_picks(self.random, moves.size)
            before_hz = at_hz.copy()
            self.standing.wander(moves.tolist(), picks, self._most_urgent(waiting))
            moved = int(np.count_nonzero(before_hz != at_hz))
            self.stirring += 0.1 * (moved / moves.size - self.stirring)

    def _liveliness(self) -> float:
        """The share of wandering that is left: less where hardly any of its moves lead anywhere, if there is something
        else to do.
        """
        return 1.0 if not self.makes_way else max(min(1.0, self.stirring / STIRRING), LEAST_WANDERING)

    def _make_way(self, missing: Sequence[int]) -> None:
        """Take a few carriers out and put one that is missing where none of them stood; they go back or anywhere."""
        first = self._any_of(self._most_urgent(missing))
        before_hz, classes = self.standing.at_hz.copy(), self.facts.class_index
        meets = self.meets[classes[first], classes] & (before_hz >= 0) & ~self.facts.is_fixed
        candidates = np.flatnonzero(meets)
        n = min(int(self.random.integers(2, MOST_MAKING_WAY + 1)), candidates.size)
        taken: list[int] = self.random.choice(candidates, n, replace=False).tolist()
        self.standing.take(taken)
        free_hz = self.standing.free_hz(int(classes[first]))
        free_hz = free_hz[~np.isin(free_hz, before_hz[taken])]
        if free_hz.size:
            self.standing.put([first], [int(free_hz[self.random.integers(free_hz.size)])])
            back = self.random.random() < 0.5
            homes_hz = [int(before_hz[i]) if back else self.homes_hz[i] if self.clinging else -1 for i in taken]
            shares = np.minimum(self.random.random(n), ANYWHERE)
            self.standing.place(taken, homes_hz, shares.tolist())
            others = [i for i in missing if i != first]
            left = self._most_urgent(others) if others else []
            self._place(left, [LOWEST] * len(left))

    def _most_urgent(self, missing: Sequence[int]) -> list[int]:
        """One of each class among those of the best rank, in any order; the others of a class are no different."""
        rank, class_index = self.facts.rank, self.facts.class_index
        best = min(rank[i] for i in missing)
        one_each = {int(class_index[i]): i for i in missing if rank[i] == best}
        order: list[int] = self.random.permutation(list(one_each.values())).tolist()
        return order

    def _current(self) -> Score:
        score = score_of(self.question, self.standing.at_hz)
        return score if self.clinging else score._replace(changed=0)

    def _restore(self, at_hz: Whole) -> None:
        restore(self.standing, at_hz)

    def _wanted_first(self, missing: Sequence[int]) -> int:
        """The carrier for whose sake this step is made: one without a place, else one whose place could be better."""
        if missing and self.random.random() > FOR_BETTER_PLACES:
            best_rank = min(self.facts.rank[i] for i in missing)
            urgent = [i for i in missing if self.facts.rank[i] == best_rank]
            return self._any_of(urgent if self.random.random() < 0.8 else missing)
        standing = self.standing.at_hz >= 0
        unhappy = [i for i in self._unhappy() if standing[i] or not missing]
        return self._any_of(unhappy or missing or self.links + self.spares)

    def _unhappy(self) -> list[int]:
        """Carriers that want something: spares without a place, links away from home, on poor places or at the
        thinnest margin.
        """
        at_hz, facts = self.standing.at_hz, self.facts
        tier, margin_db = self.question.worth_at(at_hz)
        wants = (facts.home_hz >= 0) & (at_hz != facts.home_hz) & self.clinging
        wants |= (tier > 0) & ~facts.is_spare
        wants |= (facts.wish_hz >= 0) & (at_hz != facts.wish_hz)
        wants |= at_hz < 0
        unhappy = np.flatnonzero(wants & ~facts.is_fixed).tolist()
        if self.question.has_margins and (not unhappy or self.random.random() < FOR_MARGINS):
            thinnest_db = np.nan_to_num(margin_db, nan=np.inf).min(initial=np.inf)
            thin = np.flatnonzero((margin_db <= thinnest_db) & ~facts.is_fixed).tolist()
            return thin or unhappy
        return unhappy

    def _any_of(self, carriers: Sequence[int]) -> int:
        return int(carriers[int(self.random.integers(len(carriers)))])

    def _neighbours(self, first: int) -> list[int]:
        """The carriers to take out: some that can stand in its way, near each other in frequency, of one class, or
        just any.
        """
        at_hz, classes = self.standing.at_hz, self.facts.class_index
        meets = self.meets[classes[first], classes] & (at_hz >= 0) & ~self.facts.is_fixed
        meets[first] = False
        candidates = np.flatnonzero(meets)
        if candidates.size:
            most = max(4, int(self.pace * MOST_TAKEN))
            n = int(self.random.integers(min(3, candidates.size), min(most, candidates.size) + 1))
            kind = self.random.random()
            if kind < 0.4:
                middle_hz = at_hz[self._any_of(candidates.tolist())]
                candidates = candidates[np.argsort(np.abs(at_hz[candidates] - middle_hz), kind="stable")[:n]]
            else:
                alike = candidates[classes[candidates] == classes[self._any_of(candidates.tolist())]]
                candidates = self.random.permutation(alike if kind < 0.6 else candidates)[:n]
        taken = candidates.tolist()
        return [first, *taken] if at_hz[first] >= 0 else taken

    def _put_back(self, first: int, taken: Sequence[int], missing: Sequence[int]) -> None:
        others = [i for i in taken if i != first]
        more = [i for i in missing if i != first]
        if len(more) > MOST_WAITING:
            few = self._most_urgent(more)
            more = (few + self.random.choice(more, MOST_WAITING).tolist())[:MOST_WAITING]
            more = list(dict.fromkeys(more))
        if self.random.random() < 0.5:
            order = [first, *self.random.permutation(others + more).tolist()]
        else:
            order = self.random.permutation([first, *others, *more]).tolist()
        if self.random.random() < 0.7:
            order.sort(key=lambda i: self.facts.rank[i])
        away = 0.0 if self.random.random() < 0.7 else 0.5  # now and then somebody leaves home for another's sake
        away = away if self.clinging else 1.0
        homes_hz = [-1 if self.random.random() < away else self.homes_hz[i] for i in order]
        self.standing.place(order, homes_hz, picks_of(self.random, len(order), 0.5 if missing else 0.2))


def _pace(question: Question) -> float:
    """How much one step may do, at most 1: less where a move touches many groups, so that the search stops promptly."""
    touched = len(question.groups.index) / max(len(question.classes), 1) * question.raster.size
    return min(1.0, PLACES_TOUCHED / max(touched, 1.0))
