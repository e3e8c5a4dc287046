"""The kernels of ``loops``, compiled by numba. Imported only by what has made sure that compiling does not keep
anybody waiting.

numba is optional: without it ``engine.NumpyKernels`` does the same.
"""

from __future__ import annotations

from types import FunctionType

import numpy as np
from numba.extending import register_jitable
from numpy.typing import NDArray

from fallow.plan.places import Ground
from fallow.plan.search import crowd_loops, loops, odd_loops
from fallow.plan.search.crowd import Crowd, Settling, crowd_of
from fallow.plan.search.question import Question, whole
from fallow.plan.search.tables import Tables
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.spectrum.long.compiled import compiled
from fallow.units import Span

__all__ = ["CompiledKernels", "exercise"]

Whole = NDArray[np.int64]

for module in (odd_loops, loops, crowd_loops):
    for function in vars(module).values():
        if isinstance(function, FunctionType) and function.__module__ == module.__name__:
            register_jitable(function)


_work = compiled(loops.work)
_fill_upwards = compiled(crowd_loops.fill_upwards)
_settle = compiled(crowd_loops.settle)
_busy_row = compiled(loops.busy_row)

_NOBODY = np.zeros(0, dtype=np.int64)
_NO_PICKS = np.zeros(0)


class CompiledKernels:
    """As ``engine.NumpyKernels``, by compiled loops; see ``engine.Kernels``."""

    def place(self, t: Tables, classes: Whole, carriers: Whole, homes: Whole, picks: NDArray[np.float64]) -> Whole:
        """See ``engine.Kernels``."""
        found_hz = np.empty(classes.shape, dtype=np.int64)
        _work(loops.PLACE, t, classes, carriers, found_hz, homes, picks)
        return found_hz

    def put(self, t: Tables, classes: Whole, carriers: Whole, at_hz: Whole) -> None:
        """See ``engine.Kernels``."""
        _work(loops.PUT, t, classes, carriers, at_hz, _NOBODY, _NO_PICKS)

    def take(self, t: Tables, classes: Whole, carriers: Whole, at_hz: Whole) -> None:
        """See ``engine.Kernels``."""
        _work(loops.TAKE, t, classes, carriers, at_hz, _NOBODY, _NO_PICKS)

    def wander(
        self, t: Tables, classes: Whole, at_hz: Whole, moves: Whole, picks: NDArray[np.float64], waiting: Whole
    ) -> int:
        """See ``engine.Kernels``."""
        return int(_work(loops.WANDER, t, classes, moves, at_hz, waiting, picks))

    def busy(self, t: Tables, k: int) -> NDArray[np.int32]:
        """See ``engine.Kernels``."""
        busy = np.zeros(t.size, dtype=np.int32)
        _busy_row(t, k, busy)
        return busy

    def fill_upwards(self, c: Crowd, lean: Whole, share: int, noise: Whole, taken: NDArray[np.uint8]) -> int:
        """See ``engine.Kernels``."""
        return int(_fill_upwards(c, lean, share, noise, taken))

    def settle(self, s: Settling, now: int, picks: NDArray[np.float64]) -> int:
        """See ``engine.Kernels``."""
        return int(_settle(s, now, picks))


def exercise() -> None:
    """Use every kernel once on a small question: compiles them, or loads them from the cache."""
    span = Span(500_000_000, 502_000_000)
    radio = Equipment(
        "invented", Kind.MICROPHONE, (span,), 25_000, (), 200_000, None, None, 350_000, 100_000, 50_000, 50_000
    )
    wanted = Wanted((Link("one", radio.name), Link("two", radio.name)), {radio.name: radio})
    tables = Question.build(wanted, Ground()).tables()
    kernels, who = CompiledKernels(), whole([0, 1])
    classes, homes = whole([0, 0]), whole([-1, -1])
    at_hz = kernels.place(tables, classes, who, homes, np.array([-1.0, 0.5]))
    kernels.busy(tables, 0)
    kernels.wander(tables, classes, at_hz, who, np.array([-1.0, 0.5]), who[:0])
    kernels.take(tables, classes, who, at_hz)
    kernels.put(tables, classes, who, at_hz)
    _exercise_on_crowd(kernels)


def _exercise_on_crowd(kernels: CompiledKernels) -> None:
    one = whole([1])
    crowd = crowd_of(one, one.reshape(1, 1), np.ones((1, 2), dtype=np.bool_))
    kernels.fill_upwards(crowd, one, 0, one.reshape(1, 1), np.zeros((1, 2), dtype=np.uint8))
    kernels.settle(Settling.begun(crowd, whole([0]), whole([0])), 0, np.zeros((1, 3)))
