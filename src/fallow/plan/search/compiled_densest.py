"""The loops of ``densest_loops``, compiled by numba. Imported only where compiling keeps nobody waiting."""

from __future__ import annotations

from types import FunctionType

from numba.extending import register_jitable

from fallow.plan.search import densest_loops
from fallow.plan.search.densest import Effort, Steps, shortest_spans
from fallow.spectrum.long.compiled import compiled

__all__ = ["exercise", "fit_quickly"]

for function in vars(densest_loops).values():
    if isinstance(function, FunctionType) and function.__module__ == densest_loops.__name__:
        register_jitable(function)

fit_quickly = compiled(densest_loops.fit_upwards)


def exercise() -> None:
    """Use the loops once: compiles them, or loads them from the cache."""
    shortest_spans(Steps(1, 1, 1, 0), 3, Effort(100, fit_quickly))
