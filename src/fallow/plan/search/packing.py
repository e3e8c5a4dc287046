"""Links that ask for nothing but distances from each other: many areas and types at once, packed as densely as we can.

Two searches take turns. *Leaning* fills the places from below, again and again, with classes made a little more or a
little less urgent than what their tightest clique needs, and keeps what fits more; *settling* takes the best of these
into fewer places and moves whoever has somebody in the way (tabu search). Neither alone comes as near to the shortest
spans that are published.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.crowd import Crowd, Settling, crowd_of
from fallow.plan.search.engine import Kernels

__all__ = ["Packed", "Packing", "shortest"]

Whole = NDArray[np.int64]

FILLS = 300
"""Steps of leaning before settling has its turn."""
ROUNDS = 40
"""Steps of settling without a better plan before leaning has its turn."""
MOVES = 5_000
"""Moves of one step of settling."""
AFRESH = 0.05
"""Share of the fills that do not start from the best one."""
UNIT = 1_000
"""A lean, or a noise, of one."""
NOISE_ROWS = 16


class Packed(NamedTuple):
    """A plan of a crowd. ``left``: carriers without a place. ``top``: the highest place taken. ``taken``: shape (class,
    place).
    """

    left: int
    top: int
    taken: NDArray[np.uint8]


class _Lean(NamedTuple):
    """How much more urgent each class is taken, the share of its own need in that, and how much is left to chance."""

    classes: NDArray[np.float64]
    share: float
    noise: float


class Packing:
    """Plans of one crowd, one per step. ``narrow``: settle for ever fewer places, once everybody has one. ``moves``:
    of one step of settling.
    """

    def __init__(
        self,
        crowd: Crowd,
        random: np.random.Generator,
        kernels: Callable[[], Kernels],
        *,
        narrow: bool,
        moves: int = MOVES,
    ) -> None:
        self.crowd, self.random, self.kernels = crowd, random, kernels
        self.moves = moves
        self.narrow = narrow
        self.best: Packed | None = None
        self._classes = np.repeat(np.arange(crowd.need.size), crowd.need)

    def steps(self) -> Iterator[Packed]:
        """Plans as they come, better or not, without end."""
        while True:
            yield from self._leaning()
            yield from self._settling()

    def _leaning(self) -> Iterator[Packed]:
        best: tuple[Packed, _Lean] | None = None
        for _ in range(FILLS):
            afresh = best is None or self.random.random() < AFRESH
            lean = self._any_lean() if best is None or afresh else self._another(best[1])
            packed = self._filled(lean)
            if best is None or packed[:2] <= best[0][:2]:
                best = packed, lean
            yield self._seen(packed)

    def _seen(self, packed: Packed) -> Packed:
        if self.best is None or packed[:2] < self.best[:2]:
            self.best = packed
        return packed

    def _any_lean(self) -> _Lean:
        random, n = self.random, self.crowd.need.size
        spread = random.choice([0.0, 0.1, 0.3])
        leans = np.exp(random.normal(0.0, spread, n))
        return _Lean(leans, random.choice([0.0, 0.3, 1.0, 3.0]), random.choice([0.0, 0.02, 0.1]))

    def _another(self, lean: _Lean) -> _Lean:
        random, n = self.random, self.crowd.need.size
        change = random.normal(0.0, 0.15, n) * (random.random(n) < max(0.15, 2 / n))
        share, noise = lean.share, lean.noise
        if random.random() < 0.2:
            share *= np.exp(random.normal(0.0, 0.5))
        if random.random() < 0.2:
            noise *= np.exp(random.normal(0.0, 0.3))
        return _Lean(np.clip(lean.classes * np.exp(change), 0.02, 50.0), min(share, 100.0), min(noise, 0.3))

    def _filled(self, lean: _Lean) -> Packed:
        taken = np.zeros(self.crowd.open.shape, dtype=np.uint8)
        noise = 1.0 + lean.noise * self.random.normal(0.0, 1.0, (NOISE_ROWS, self.crowd.need.size))
        left = self.kernels().fill_upwards(
            self.crowd,
            np.rint(UNIT * lean.classes).astype(np.int64),
            round(8 * lean.share),
            np.rint(UNIT * np.clip(noise, 0.1, 2.0)).astype(np.int64),
            taken,
        )
        return _packed(left, taken)

    def _settling(self) -> Iterator[Packed]:
        """Moves in places that are too few for the best plan, as long as that leads anywhere."""
        best = self.best
        while best is not None and (best.left or (self.narrow and best.top > 0)):
            crowd = self.crowd if best.left else _below(self.crowd, best.top)
            if not crowd.open[crowd.need > 0].any(axis=1).all():
                return
            settling = Settling.begun(crowd, self._classes, self._moved_into(crowd, best))
            found = None
            for turn in range(ROUNDS):
                in_the_way = self.kernels().settle(settling, turn * self.moves, self.random.random((self.moves, 3)))
                packed = self._seen(_standing(settling, self.crowd.open.shape[1]))
                yield packed
                if not in_the_way:
                    found = packed
                    break
            best = found

    def _moved_into(self, crowd: Crowd, packed: Packed) -> Whole:
        """Places of all carriers, class by class: where they are, if that is open still, else anywhere that is."""
        places = crowd.open.shape[1]
        at = []
        for k, need in enumerate(crowd.need.tolist()):
            kept = np.flatnonzero(packed.taken[k, :places] & crowd.open[k])
            others = (
                self.random.choice(np.flatnonzero(crowd.open[k]), need - kept.size) if need > kept.size else kept[:0]
            )
            at += [*kept.tolist(), *others.tolist()]
        return np.array(at, dtype=np.int64)


def shortest(
    need: Whole,
    apart: Whole,
    *,
    seed: int,
    should_stop: Callable[[], bool],
    kernels: Callable[[], Kernels],
) -> Iterator[Packed]:
    """Plans of so many carriers of each class, ``apart`` places from each other, each shorter than the one before.

    The same seed and number of steps (calls of ``should_stop``) give the same plans. The span is ``top`` of a plan,
    which begins at place 0.
    """
    random = np.random.default_rng(seed)
    places = 1 + int(need.sum()) * int(apart.max(initial=0))
    first = next(Packing(_open_crowd(need, apart, places), random, kernels, narrow=False).steps())
    yield first
    packing = Packing(_open_crowd(need, apart, first.top + 1 + first.top // 8), random, kernels, narrow=True)
    best = first.top
    for packed in packing.steps():
        if packed.left == 0 and packed.top < best:
            best = packed.top
            yield packed
        if should_stop():
            return


def _open_crowd(need: Whole, apart: Whole, places: int) -> Crowd:
    return crowd_of(need, apart, np.ones((need.size, places), dtype=np.bool_))


def _below(crowd: Crowd, places: int) -> Crowd:
    return crowd._replace(open=np.ascontiguousarray(crowd.open[:, :places]))


def _packed(left: int, taken: NDArray[np.uint8]) -> Packed:
    used = np.flatnonzero(taken.any(axis=0))
    return Packed(left, int(used[-1]) if used.size else 0, taken)


def _standing(settling: Settling, places: int) -> Packed:
    """Those who can stay: one after the other leaves who has the most others in the way."""
    crowd = settling.crowd
    at, classes, in_the_way = settling.at, settling.classes, settling.in_the_way()
    stays = np.ones(at.size, dtype=np.bool_)
    while in_the_way[stays].any():
        worst = int(np.argmax(np.where(stays, in_the_way, -1)))
        stays[worst] = False
        in_the_way -= np.abs(at - at[worst]) < crowd.apart[classes, classes[worst]]
    taken = np.zeros((crowd.need.size, places), dtype=np.uint8)
    taken[classes[stays], at[stays]] = 1
    return _packed(int(np.count_nonzero(~stays)), taken)
