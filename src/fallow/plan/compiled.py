"""The kernels of ``loops``, compiled by numba. Imported only by what has made sure that compiling does not keep anybody waiting.

numba is optional: without it ``engine.NumpyKernels`` does the same. Where nothing can be cached on disk the kernels are compiled anew
in each process.
"""

from __future__ import annotations

from types import FunctionType
from typing import Any

import numba
import numpy as np
from numba.extending import register_jitable
from numpy.typing import NDArray

from fallow.plan import loops
from fallow.plan.tables import Tables

__all__ = ["CompiledKernels"]

Whole = NDArray[np.int64]

for function in vars(loops).values():
    if isinstance(function, FunctionType) and function.__module__ == loops.__name__:
        register_jitable(function)


def _compiled(function: FunctionType) -> Any:
    try:
        return numba.njit(cache=True)(function)
    except RuntimeError:  # numba found no folder that it may write its cache to
        return numba.njit(function)


_place_many = _compiled(loops.place_many)
_change_many = _compiled(loops.change_many)
_busy_row = _compiled(loops.busy_row)


class CompiledKernels:
    """As ``engine.NumpyKernels``, by compiled loops; see ``engine.Kernels``."""

    def place(self, t: Tables, classes: Whole, carriers: Whole, homes: Whole, picks: NDArray[np.float64]) -> Whole:
        """See ``engine.Kernels``."""
        found_hz = np.empty(classes.shape, dtype=np.int64)
        _place_many(t, classes, carriers, homes, picks, found_hz)
        return found_hz

    def put(self, t: Tables, classes: Whole, carriers: Whole, at_hz: Whole) -> None:
        """See ``engine.Kernels``."""
        _change_many(t, classes, carriers, at_hz, 1)

    def take(self, t: Tables, classes: Whole, carriers: Whole, at_hz: Whole) -> None:
        """See ``engine.Kernels``."""
        _change_many(t, classes, carriers, at_hz, -1)

    def busy(self, t: Tables, k: int) -> NDArray[np.int32]:
        """See ``engine.Kernels``."""
        busy = np.zeros(t.size, dtype=np.int32)
        _busy_row(t, k, busy)
        return busy
