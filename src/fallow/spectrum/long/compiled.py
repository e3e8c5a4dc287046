"""The kernel of ``counting``, compiled by numba. Imported only by what has made sure that compiling does not keep
anybody waiting.

numba is optional: without it ``counting.count_whole`` does the same.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Any

import numba
import numpy as np

from fallow.spectrum.long.counting import Kernel, count_each

__all__ = ["compiled", "count_quickly", "exercise"]


def compiled(function: Callable[..., object]) -> Any:
    """The function as numba compiles it when it is first called; other threads run on beside it.

    It is kept on disk only in the folder that numba was told (its ``CACHE_DIR``) and may write to. Elsewhere numba
    would not see that something has changed that is compiled into the function from another file.
    """
    settings: Any = numba.config
    if settings.CACHE_DIR:
        with suppress(RuntimeError):  # numba found no folder that it may write to
            kept: Any = numba.njit(cache=True, nogil=True)(function)
            if kept.stats.cache_path.startswith(settings.CACHE_DIR):
                return kept
    return numba.njit(nogil=True)(function)


count_quickly: Kernel = compiled(count_each)


def exercise() -> None:
    """Use the kernel once: compiles it, or loads it from the cache."""
    count_quickly(np.zeros((1, 1), dtype=np.float32), np.zeros((1, 1), dtype=np.uint32), 0, 1.0)
