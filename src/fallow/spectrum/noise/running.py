"""Quantiles and counts that run along an axis, with what is not valid left out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["running_quantile", "within"]


def running_quantile(
    values: NDArray[np.float64], window: int, share: float, *, hop: int | None = None
) -> NDArray[np.float64]:
    """Quantile of the valid values within ``window`` places around each; every ``hop`` places, with lines between."""
    if values.size == 0:
        return values
    window = _odd(window, values.size)
    hop = hop or max(1, window // 32)
    starts = np.arange(0, values.size, hop)
    padded = np.pad(values, window // 2, constant_values=np.nan)
    views = np.lib.stride_tricks.sliding_window_view(padded, window)[starts]
    ordered = np.sort(views, axis=1)  # NaN goes last
    valid = np.isfinite(ordered).sum(axis=1)
    picked = ordered[np.arange(starts.size), np.maximum(0, np.round(share * (valid - 1)).astype(int))]
    return np.interp(np.arange(values.size), starts[valid > 0], picked[valid > 0]) if (valid > 0).any() else values


def within(flags: NDArray[np.bool_], window: int) -> NDArray[np.int64]:
    """How many are set within ``window`` places around each, along the last axis of (row, place)."""
    half = _odd(window, flags.shape[1]) // 2
    total = np.cumsum(np.pad(flags, ((0, 0), (half + 1, half))), axis=1)
    return np.asarray(total[:, 2 * half + 1 :] - total[:, : -2 * half - 1])


def _odd(window: int, size: int) -> int:
    """An odd window that is not wider than what there is by more than one."""
    return min(window | 1, (size - 1) | 1)
