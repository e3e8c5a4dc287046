"""Whether some carriers fit in beside those that stand: every way is tried, one after the other.

Next comes a carrier of the class with the fewest free places. Carriers of one class are no different from each other,
so they take their places in rising order. A carrier without any free place ends a branch.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.standing import Standing

__all__ = ["Fitting"]

Whole = NDArray[np.int64]

NODES_PER_STEP = 20


class Fitting:
    """Tries to place ``carriers``, none of which stands, without moving anybody else.

    Exact where every place lies on the raster. After ``True`` all stand; after ``False`` none does.
    """

    def __init__(self, standing: Standing, carriers: Sequence[int]) -> None:
        self.standing = standing
        self._waiting: dict[int, list[int]] = {}
        for i in carriers:
            self._waiting.setdefault(int(standing.classes[i]), []).append(i)
        self._above_hz = dict.fromkeys(self._waiting, -1)
        self._branches = self._tried()

    def step(self) -> bool | None:
        """Look at some places more: whether all fit, or ``None`` while that is open."""
        for _ in range(NODES_PER_STEP):
            outcome = next(self._branches)
            if outcome is not None:
                return outcome
        return None

    def give_up(self) -> None:
        """Take away whom it has placed so far."""
        self._branches.close()

    def _tried(self) -> Generator[bool | None, None, None]:
        """``None`` for each place looked at, at last the outcome."""
        placed: list[int] = []
        try:
            done = yield from self._branch(placed)
        except GeneratorExit:
            self.standing.take(placed)
            raise
        yield done

    def _branch(self, placed: list[int]) -> Generator[None, None, bool]:
        yield None
        tightest = self._tightest()
        if tightest is None:
            return not any(self._waiting.values())
        k, free_hz = tightest
        carrier, above_hz = self._waiting[k].pop(), self._above_hz[k]
        for hz in free_hz.tolist():
            self.standing.put([carrier], [hz])
            placed.append(carrier)
            self._above_hz[k] = hz
            if (yield from self._branch(placed)):
                return True
            self.standing.take([placed.pop()])
        self._waiting[k].append(carrier)
        self._above_hz[k] = above_hz
        return False

    def _tightest(self) -> tuple[int, Whole] | None:
        """The class with the least to spare and its free places; ``None`` when nobody waits or somebody can't fit."""
        found: tuple[int, Whole] | None = None
        for k, waiting in self._waiting.items():
            if waiting:
                free_hz = self.standing.free_hz(k)
                free_hz = free_hz[free_hz > self._above_hz[k]]
                if free_hz.size < len(waiting):
                    return None
                if found is None or free_hz.size < found[1].size:
                    found = k, free_hz
        return found
