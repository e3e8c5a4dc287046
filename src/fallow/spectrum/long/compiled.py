"""The kernel of ``counting``, compiled by numba. Imported only by what has made sure that compiling does not keep
anybody waiting.

numba is optional: without it ``counting.count_whole`` does the same. Where nothing can be cached on disk the kernel is
compiled anew in each process.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba
import numpy as np

from fallow.spectrum.long.counting import Kernel, count_each

__all__ = ["compiled", "count_quickly", "exercise"]


def compiled(function: Callable[..., object]) -> Any:
    """The function as numba compiles it when it is first called, kept on disk where it can be; other threads run on
    beside it.
    """
    try:
        return numba.njit(cache=True, nogil=True)(function)
    except RuntimeError:  # numba found no folder that it may write its cache to
        return numba.njit(nogil=True)(function)


count_quickly: Kernel = compiled(count_each)


def exercise() -> None:
    """Use the kernel once: compiles it, or loads it from the cache."""
    count_quickly(np.zeros((1, 1), dtype=np.float32), np.zeros((1, 1), dtype=np.uint32), 0, 1.0)
