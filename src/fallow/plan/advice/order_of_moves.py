"""In which order links are retuned, one after the other, so that nobody collides half-way.

After each step the carriers on are those not moved yet where they were and those moved where they go. What may not be:
a conflict between an old place and a new one. Conflicts of the old plan alone were there before, those of the new plan
alone stay, so neither is the order's fault. Every such mixed conflict says: not all of these new places while all of
these old ones are in use. So the question is a walk from *all old* to *all new*, one link a step; where there is none,
a link may wait on a third frequency, and where that does not help either, some links have to be muted meanwhile.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import nsmallest
from itertools import chain, combinations

import numpy as np

from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.group_rules import apart_needed_hz
from fallow.show.assignment import Assignment
from fallow.show.link import USUAL_WEIGHT
from fallow.show.wanted import Wanted

__all__ = ["OrderOfMoves", "Retuning", "order_of_moves"]

DEAD_ENDS = 3_000
"""That one walk may meet, where few move: then every order is tried."""
FEW_DEAD_ENDS = 100
"""The same where more than ``MANY`` move, or some may wait."""
WAITING_TRIED = 2
"""Places where one link may wait."""
MANY = 12
TRIALS = 60
"""Choices of muted links that are tried."""
MOST_DETOURS = 4
MOST_MUTED_BY_TRIAL = 3
"""Links muted at most where every choice is tried; beyond, whoever is stuck is muted, one after the other."""

Version = tuple[int, int]  # a mover, and which of its places: 0 old, 1 new, 2 and on: where it may wait
NOBODY: Version = (-1, 0)


@dataclass(frozen=True)
class Retuning:
    """One step. ``from_hz`` ``None``: it is switched on; ``to_hz`` ``None``: switched off.

    ``waits``: it goes on from here later. ``silent``: it is off while this is done, so it can't collide.
    """

    link: str
    from_hz: int | None
    to_hz: int | None
    waits: bool = False
    silent: bool = False


@dataclass(frozen=True)
class OrderOfMoves:
    """The steps in their order. ``muted``: links that stay off from before the first step until after the last."""

    steps: tuple[Retuning, ...]
    muted: tuple[str, ...] = ()


def order_of_moves(
    before: Sequence[Assignment],
    after: Sequence[Assignment],
    wanted: Wanted,
    *,
    scene: str | None = None,
    waiting_hz: Mapping[str, Sequence[int]] | None = None,
) -> OrderOfMoves:
    """From one plan to another. ``before``, ``after``: rows; links of ``after`` that ``before`` lacks are switched on.

    Rows of ``before`` that are no links any more are on the air too: those in the way of a move are switched off first.
    ``scene``: the one that runs now; links that are off in it come first, in silence. ``waiting_hz``: by link, where it
    might wait, beside spares of its equipment and area, old or new.
    """
    movers = _movers(before, after, wanted)
    silent = [mover for mover in movers if mover.to_hz is None or not _is_on(mover.row, scene)]
    heard = [mover for mover in movers if mover not in silent]
    names = {mover.row.link for mover in movers}
    rows = [row for row in after if row.link not in names and not row.is_spare and _is_on(row, scene)]
    waiting_hz = _waiting(heard, before, after, waiting_hz or {})
    strays = [row for row in _strays(before, after, wanted) if _is_on(row, scene)]
    silent = [*_in_the_way(strays, rows, heard, wanted, waiting_hz), *silent]
    air = _Air(rows, heard, wanted, waiting_hz)
    steps = [Retuning(mover.row.link, mover.from_hz, mover.to_hz, silent=True) for mover in silent]
    walk, muted = _walk_muting_few(air)
    names_of = [mover.row.link for mover in heard]
    steps += [Retuning(names_of[m], heard[m].from_hz, heard[m].to_hz, silent=True) for m in muted]
    return OrderOfMoves((*steps, *_as_steps(walk, air)), tuple(names_of[m] for m in muted))


@dataclass(frozen=True)
class _Mover:
    """``weight``: what it costs to touch it, as the table of links says."""

    row: Assignment
    from_hz: int | None
    to_hz: int | None
    weight: int = USUAL_WEIGHT


def _movers(before: Sequence[Assignment], after: Sequence[Assignment], wanted: Wanted) -> list[_Mover]:
    """Links whose place differs, as the list of links or the new plan describes them; those that only go off first."""
    was_hz = {row.link: row.frequency_hz for row in before if not row.is_spare}
    listed = {link.name: link for link in wanted.links}
    found = []
    for row in after:
        if row.is_spare or was_hz.get(row.link) == row.frequency_hz:
            continue
        link, weight = listed.get(row.link), USUAL_WEIGHT
        if link is not None:
            row = Assignment(row.link, link.equipment, link.area, link.scenes, row.frequency_hz)
            weight = link.move_weight
        found.append(_Mover(row, was_hz.get(row.link), row.frequency_hz, weight))
    return sorted(found, key=lambda mover: mover.to_hz is not None)


def _strays(before: Sequence[Assignment], after: Sequence[Assignment], wanted: Wanted) -> list[Assignment]:
    """Rows of the plan before, on a frequency, that are no links any more."""
    known = {row.link for row in after} | {link.name for link in wanted.links}
    return [row for row in before if not row.is_spare and row.frequency_hz is not None and row.link not in known]


def _in_the_way(
    strays: Sequence[Assignment],
    rows: Sequence[Assignment],
    movers: Sequence[_Mover],
    wanted: Wanted,
    waiting_hz: Mapping[str, Sequence[int]],
) -> list[_Mover]:
    """Those that no new or waiting place goes together with, as movers that go off; of equipment that nobody knows that
    can't be told, so they count.
    """
    known = [_Mover(row, row.frequency_hz, None) for row in strays if row.equipment in wanted.equipment]
    unknown = [_Mover(row, row.frequency_hz, None) for row in strays if row.equipment not in wanted.equipment]
    if not known:
        return unknown if movers else []
    air = _Air(rows, [*movers, *known], wanted, waiting_hz)
    first = len(movers)
    return [*(unknown if movers else ()), *(each for m, each in enumerate(known, first) if air.crowd(m, 0))]


def _is_on(row: Assignment, scene: str | None) -> bool:
    return scene is None or not row.scenes or scene in row.scenes


def _waiting(
    movers: Sequence[_Mover],
    before: Sequence[Assignment],
    after: Sequence[Assignment],
    more_hz: Mapping[str, Sequence[int]],
) -> dict[str, list[int]]:
    """Spares of its equipment and area, and what else is offered, by link."""
    spares: dict[tuple[str, str], list[int]] = defaultdict(list)
    for row in (*after, *before):
        if row.is_spare and row.frequency_hz is not None:
            spares[row.equipment, row.area].append(row.frequency_hz)
    found = {}
    for row in (mover.row for mover in movers):
        found[row.link] = list(dict.fromkeys([*spares[row.equipment, row.area], *more_hz.get(row.link, ())]))
    return found


class _Air:
    """The movers, where each may stand, and which of their places don't go together."""

    def __init__(
        self,
        rows: Sequence[Assignment],
        movers: Sequence[_Mover],
        wanted: Wanted,
        waiting_hz: Mapping[str, Sequence[int]],
    ) -> None:
        self.movers = movers
        self.places_hz = [
            [
                mover.from_hz,
                mover.to_hz,
                *(hz for hz in waiting_hz.get(mover.row.link, ()) if hz not in (mover.from_hz, mover.to_hz)),
            ]
            for mover in movers
        ]
        against: dict[Version, list[list[Version]]] = defaultdict(list)
        for together in set(self._mixed(rows, wanted)):
            for version in together:
                others = [other for other in together if other != version]
                against[version].append((others + [NOBODY] * 3)[:3])
        self.against = {version: np.array(rest, dtype=np.intp) for version, rest in against.items()}
        self.waiting = [self._best_to_wait(m) for m in range(len(movers))]

    def _mixed(self, rows: Sequence[Assignment], wanted: Wanted) -> Iterator[tuple[Version, ...]]:
        """Places of movers that break a rule together, perhaps with others; neither all old nor all new."""
        versions: list[Version | None] = []
        carriers: list[Carrier] = []
        for row in rows:
            if row.frequency_hz is not None:
                versions.append(None)
                carriers.append(_carrier(row, row.frequency_hz, wanted))
        for m, mover in enumerate(self.movers):
            for place, hz in enumerate(self.places_hz[m]):
                if hz is not None:
                    versions.append((m, place))
                    carriers.append(_carrier(mover.row, hz, wanted))
        versions += [None] * len(wanted.foreign)
        carriers += [Carrier.of_stranger(foreign) for foreign in wanted.foreign]
        for members in _conflicts(Company(carriers, wanted.losses, wanted.groupings)):
            moving = {version for i in members if (version := versions[i]) is not None}
            if len({m for m, _ in moving}) == len(moving) and {place for _, place in moving} not in ({0}, {1}, set()):
                yield tuple(sorted(moving))

    def _best_to_wait(self, m: int) -> list[int]:
        """Of the places where a mover may wait, those that meet the fewest others."""
        return sorted(range(2, len(self.places_hz[m])), key=lambda place: (self.crowd(m, place), place))[:WAITING_TRIED]

    def crowd(self, m: int, place: int) -> int:
        """How many conflicts a place of a mover takes part in."""
        return len(self.against.get((m, place), ()))

    def allows(self, state: Sequence[int], m: int, place: int) -> bool:
        """Whether a mover can go to a place while the others are where ``state`` says."""
        rest = self.against.get((m, place))
        if rest is None:
            return True
        at = np.array([*state, 0], dtype=np.intp)  # the last is nobody, who is always there
        return not bool((at[rest[:, :, 0]] == rest[:, :, 1]).all(axis=1).any())


def _carrier(row: Assignment, frequency_hz: int, wanted: Wanted) -> Carrier:
    listed = wanted.links if wanted.groupings else ()
    groups = next((link.groups for link in listed if link.name == row.link), frozenset[str]())
    return Carrier.of_ours(row.link, wanted.equipment[row.equipment], row.area, row.scenes, frequency_hz, groups)


def _conflicts(company: Company) -> Iterator[tuple[int, ...]]:
    """Positions of the carriers of each broken distance."""
    carriers, groups_hz = company.carriers, apart_needed_hz(company)
    for one, other in combinations(range(len(carriers)), 2):
        ours, second = carriers[one], carriers[other]
        if ours.ours and company.meet(one, other):
            needed_hz = max(ours.spacing_hz, second.spacing_hz) if second.ours else second.spacing_hz
            needed_hz = max(needed_hz, int(groups_hz[one, other]))
            if abs(ours.frequency_hz - second.frequency_hz) < needed_hz:
                yield one, other
    for victim, _, makers in company.product_hits():
        for row in makers.tolist():
            yield (victim, *row)


def _walk_muting_few(air: _Air) -> tuple[list[Version], tuple[int, ...]]:
    """A walk, and who is muted for it: nobody where possible, else few, and those of little weight."""
    stuck: set[int] = set()
    for detours in range(MOST_DETOURS + 1):
        walk, stuck = _Walk(air, (), detours).result()
        if not stuck:
            return walk, ()
    weight = [mover.weight for mover in air.movers]
    for few in _lightest_sets(sorted(stuck), weight):
        walk, left = _Walk(air, few, 0).result()
        if not left:
            return walk, few
    muted: tuple[int, ...] = ()
    while True:
        walk, stuck = _Walk(air, muted, 0).result()
        if not stuck:
            return walk, tuple(sorted(muted))
        muted = (*muted, max(stuck, key=lambda m: ((air.crowd(m, 0) + air.crowd(m, 1)) / weight[m], -m)))


def _lightest_sets(movers: Sequence[int], weight: Sequence[int]) -> list[tuple[int, ...]]:
    """Some sets of few movers, those first that weigh least."""
    sets = chain.from_iterable(combinations(movers, count) for count in range(1, MOST_MUTED_BY_TRIAL + 1))
    return nsmallest(TRIALS, sets, key=lambda few: (sum(weight[m] for m in few), len(few)))


class _Walk:
    """From all old to all new by depth first; states that lead nowhere are remembered."""

    def __init__(self, air: _Air, muted: Sequence[int], detours: int) -> None:
        self.air, self.muted, self.detours = air, frozenset(muted), detours
        self.patience = DEAD_ENDS if len(air.movers) <= MANY and not detours else FEW_DEAD_ENDS
        self.dead: set[tuple[int, ...]] = set()
        self.walk: list[Version] = []
        self.farthest: set[int] = {m for m in range(len(air.movers)) if m not in self.muted}

    def result(self) -> tuple[list[Version], set[int]]:
        """The steps, and who could not be moved in the walk that came farthest; nobody where it is whole."""
        state = [-1 if m in self.muted else 0 for m in range(len(self.air.movers))]
        return (self.walk, set()) if self._go_through(state) else ([], self.farthest)

    def _go_through(self, state: list[int]) -> bool:
        left = set(self.farthest)
        tried = [iter(self._options(state, left))]
        came_from: list[int] = []
        while left:
            step = next(tried[-1], None)
            if step is not None:
                m, place = step
                came_from.append(state[m])
                self._move(state, left, m, place)
                self.walk.append(step)
                dead = (*state, self.detours) in self.dead
                tried.append(iter(() if dead else self._options(state, left)))
                if len(left) < len(self.farthest):
                    self.farthest = set(left)
                continue
            self.dead.add((*state, self.detours))
            tried.pop()
            if not self.walk or len(self.dead) > self.patience:
                return False
            m, place = self.walk.pop()
            self.detours += place > 1
            self._move(state, left, m, came_from.pop())
        return True

    def _move(self, state: list[int], left: set[int], m: int, place: int) -> None:
        if place > 1 and state[m] == 0:
            self.detours -= 1
        state[m] = place
        if place == 1:
            left.discard(m)
        else:
            left.add(m)

    def _options(self, state: Sequence[int], left: set[int]) -> list[Version]:
        """Moves that collide with nobody: those whose old place is in most people's way first; waiting places last."""
        straight = sorted(left, key=lambda m: (-self.air.crowd(m, state[m]), m))
        options = [(m, 1) for m in straight]
        if self.detours:
            options += [(m, i) for m in straight if state[m] == 0 for i in self.air.waiting[m]]
        return [(m, place) for m, place in options if self.air.allows(state, m, place)]


def _as_steps(walk: Sequence[Version], air: _Air) -> Iterator[Retuning]:
    at_hz = [places[0] for places in air.places_hz]
    for m, place in walk:
        to_hz = air.places_hz[m][place]
        yield Retuning(air.movers[m].row.link, at_hz[m], to_hz, waits=place > 1)
        at_hz[m] = to_hz
