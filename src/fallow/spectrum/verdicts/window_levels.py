"""Power in windows of an axis, for each sweep: sums over cells, with the part of a cell that a window holds.

A cell counts step/RBW of its reading (at most once: a wider step has looked at a part only), so that noise adds up to
the power in the window's width. Source: channel power, Rec. ITU-R SM.1753-2 and every spectrum analyser's handbook. A
window narrower than a cell, or than the RBW, is charged with a whole cell: a narrow carrier may stand anywhere in it.
So is, where verdicts are asked for, one that is as wide as a cell and lies over the halves of two. A wider window whose
edges cut cells gets their shares only: a carrier in a cell that is cut stands as likely outside.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard
from fallow.spectrum.verdicts.cut_cells import goes_on_outside

__all__ = [
    "Geometry",
    "WindowPowers",
    "any_bin",
    "geometry_of",
    "perhaps_high_db",
    "pieces",
    "powers_in",
    "some_sweeps",
    "sum_over",
    "whole_cells",
]

MOST_NUMBERS = 3_000_000  # sweeps times bins (or windows) that are kept at once: about 25 MB each
IN_REACH = 200_000  # of these are worked on at once: what a processor keeps near makes it twice as quick
LOUD_PART_DB = 6.0  # above the floor of the whole window: a part of it that shows as much holds something
NEARLY_HALF = 0.01  # of a window: cells that hold as much of it but for this are held alike
WIDEST_STEP = 1.25  # in RBWs; beyond that a carrier may hide between the looks. Source: design decision


@dataclass(frozen=True, eq=False)
class Geometry:
    """Where windows lie on an axis, arrays of shape (window,).

    ``first``, ``last``: bins touched (last exclusive). ``sum_low_hz``, ``sum_high_hz``: over what power adds up: the
    windows, or a cell that stands for one. ``scale``: what a narrow window's
    power is raised by to stand for a whole resolution bandwidth. ``covered``: share in measured cells. ``cells``: how
    many independent readings add up in it, at least 1.
    """

    low_hz: NDArray[np.float64]
    high_hz: NDArray[np.float64]
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    sum_low_hz: NDArray[np.float64]
    sum_high_hz: NDArray[np.float64]
    scale: NDArray[np.float64]
    covered: NDArray[np.float64]
    cells: NDArray[np.float64]
    step_hz: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class WindowPowers:
    """Power in windows for each sweep, mW or the source's linear unit, arrays of shape (sweep, window).

    ``least``: shared by overlap, to prove a signal. ``most``: whole cells but for what goes on beyond the edges, and
    never less than the strongest bin, to prove that there is none. ``squares``: Σ(weighted power)², which tells over
    how many cells the power is spread. ``valid``: whether the sweep measured the window well enough.
    """

    least: NDArray[np.float64]
    most: NDArray[np.float64]
    squares: NDArray[np.float64]
    valid: NDArray[np.bool_]


def geometry_of(heard: Heard, low_hz: NDArray[np.float64], high_hz: NDArray[np.float64]) -> Geometry:
    """Where the windows [low, high] lie on the axis of a series."""
    lows, highs = heard.axis.cells_hz
    first = np.searchsorted(highs, low_hz, side="right")
    last = np.maximum(first, np.searchsorted(lows, high_hz, side="left"))
    width = high_hz - low_hz
    middle = np.minimum(np.searchsorted(highs, (low_hz + high_hz) / 2), heard.axis.n - 1)
    step = heard.steps_hz[middle]
    coarsest = np.maximum(step, heard.rbw_hz)
    bins = bins_between(first, last, heard.axis.n)
    measured = np.where(heard.measured[bins], heard.steps_hz[bins], 0.0)
    covered = sum_over(heard, measured, low_hz, high_hz, bins.start) / width
    return Geometry(
        low_hz=low_hz,
        high_hz=high_hz,
        first=first,
        last=last,
        sum_low_hz=low_hz,
        sum_high_hz=high_hz,
        scale=np.maximum(1.0, coarsest / width),
        covered=np.minimum(covered, 1.0),
        cells=np.maximum(1.0, width / np.maximum(coarsest, heard.alike_hz)),
        step_hz=step,
    )


def whole_cells(heard: Heard, geometry: Geometry) -> Geometry:
    """The same windows, but one no wider than a cell stands for the cell that holds most of it; of two that hold as
    much, for the one with the higher mean level. So a carrier that stands anywhere in it is seen in full.
    """
    lows, highs = heard.axis.cells_hz
    width, middle = geometry.high_hz - geometry.low_hz, (geometry.low_hz + geometry.high_hz) / 2
    left, right = (
        np.minimum(np.searchsorted(highs, middle + offset), heard.axis.n - 1)
        for offset in (-NEARLY_HALF * width, NEARLY_HALF * width)
    )
    power = np.nan_to_num(10.0 ** (heard.mean_db / 10.0))
    cell = np.where(power[left] >= power[right], left, right)
    narrow = (width <= heard.steps_hz[cell] * (1 + 1e-9)) & (lows[cell] < geometry.high_hz)
    narrow &= geometry.low_hz < highs[cell]
    low, high = np.where(narrow, lows[cell], geometry.low_hz), np.where(narrow, highs[cell], geometry.high_hz)
    scale = np.where(narrow, np.maximum(1.0, heard.rbw_hz / heard.steps_hz[cell]), geometry.scale)
    return replace(geometry, sum_low_hz=low, sum_high_hz=high, scale=scale)


def perhaps_high_db(heard: Heard, width_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """By how much levels in windows of so many hertz read high if the resolution is as wide as it may be, dB.

    0 where it is stated. Else it was taken as the step: readings that are alike over R are so by a resolution of R,
    whose sums are too high by R/step (in a window narrower than R, charged with all that R holds, by width/step), or
    because power was smoothed along frequency, which leaves sums as they are. The data can't tell which.
    """
    wide = np.minimum(np.maximum(width_hz, heard.rbw_hz), heard.widest_rbw_hz)
    return np.asarray(10.0 * np.log10(wide / heard.rbw_hz))


def bins_between(first: NDArray[np.int64], last: NDArray[np.int64], n: int) -> slice:
    """The bins of an axis of ``n`` from the lowest ``first`` to the highest ``last`` (not included), one at least."""
    begin = min(int(first.min(initial=n)), n - 1)
    return slice(begin, min(n, max(begin + 1, int(last.max(initial=0)))))


def any_bin(per_bin: NDArray[np.bool_], geometry: Geometry) -> NDArray[np.bool_]:
    """Whether a window touches any of the bins that are marked, shape (window,)."""
    bins = bins_between(geometry.first, geometry.last, per_bin.size)
    total = np.concatenate([[0], np.cumsum(per_bin[bins])])
    first, last = (np.clip(ends - bins.start, 0, total.size - 1) for ends in (geometry.first, geometry.last))
    return np.asarray(total[last] > total[first])


def sum_over(
    heard: Heard,
    per_bin: NDArray[np.float64],
    low_hz: NDArray[np.float64],
    high_hz: NDArray[np.float64],
    origin: int = 0,
) -> NDArray[np.float64]:
    """Sum of a quantity per cell over windows, cells shared by overlap.

    ``per_bin``: shape (…, bin), from bin ``origin`` on. Returns shape (…, window).
    """
    lows, highs = heard.axis.cells_hz
    count = per_bin.shape[-1]
    lows, highs = lows[origin : origin + count], highs[origin : origin + count]
    total = np.zeros((*per_bin.shape[:-1], count + 1))
    np.cumsum(per_bin, axis=-1, out=total[..., 1:])
    return _up_to(total, per_bin, lows, highs, high_hz) - _up_to(total, per_bin, lows, highs, low_hz)


def _up_to(
    total: NDArray[np.float64],
    per_bin: NDArray[np.float64],
    lows: NDArray[np.float64],
    highs: NDArray[np.float64],
    at_hz: NDArray[np.float64],
) -> NDArray[np.float64]:
    place = np.minimum(np.searchsorted(highs, at_hz), highs.size - 1)
    inside = np.clip((at_hz - lows[place]) / (highs[place] - lows[place]), 0.0, 1.0)
    return np.asarray(total[..., place] + per_bin[..., place] * inside)


def pieces(
    heard: Heard, geometry: Geometry, progress: Callable[[float], None] | None = None
) -> Iterator[NDArray[np.int64]]:
    """Indices of windows that are worked on together, neighbours in frequency, so that memory stays bounded.

    ``progress``: told the share of the windows that is done, 0 to 1.
    """
    order = np.argsort(geometry.low_hz, kind="stable")
    most = max(1, MOST_NUMBERS // max(1, heard.n_sweeps))
    begin = 0
    while begin < order.size:
        reach = np.maximum.accumulate(geometry.last[order[begin : begin + most]]) - geometry.first[order[begin]]
        end = begin + max(1, int(np.searchsorted(reach, most, side="right")))
        yield order[begin:end]
        begin = end
        if progress is not None:
            progress(begin / order.size)


def powers_in(
    heard: Heard,
    geometry: Geometry,
    instead_db: NDArray[np.float64],
    replaced: NDArray[np.bool_],
    *,
    partly: bool = False,
) -> WindowPowers:
    """Power in the windows of one piece. Bins in ``replaced`` count in ``least`` as if they showed ``instead_db`` (per
    bin), the floor. ``partly``: a sweep that measured only a part of a window counts with that, too, where it alone is
    far above the floor and above what the whole window usually shows.
    """
    bins = bins_between(geometry.first, geometry.last, heard.axis.n)
    instead = np.where(replaced[bins], 10.0 ** (instead_db[bins] / 10.0), np.nan)
    enough = None
    if partly and not heard.complete:
        usual = np.fmax(
            np.nan_to_num(instead_db, nan=-np.inf) + LOUD_PART_DB, np.nan_to_num(heard.mean_db, nan=-np.inf)
        )
        spread = np.minimum(1.0, heard.steps_hz[bins] / heard.rbw_hz)
        ends = geometry.sum_low_hz, geometry.sum_high_hz
        enough = sum_over(heard, 10.0 ** (usual[bins] / 10.0) * spread, *ends, bins.start) * geometry.scale
    counted = np.minimum(WIDEST_STEP, heard.steps_hz / heard.rbw_hz)
    beyond = goes_on_outside(heard, counted, geometry.low_hz, geometry.high_hz)
    parts = [
        _powers(heard, geometry, sweeps, bins, instead, enough, beyond)
        for sweeps in some_sweeps(heard.n_sweeps, bins.stop - bins.start)
    ]
    if len(parts) == 1:
        return parts[0]
    return WindowPowers(
        *(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(WindowPowers))
    )


def some_sweeps(count: int, bins: int) -> list[slice]:
    """All of ``count`` sweeps, in stretches that are worked on at once when so many bins of each are asked for."""
    rows = max(1, IN_REACH // bins)
    return [slice(begin, min(count, begin + rows)) for begin in range(0, count, rows)]


def _powers(
    heard: Heard,
    geometry: Geometry,
    sweeps: slice,
    bins: slice,
    instead: NDArray[np.float64],
    enough: NDArray[np.float64] | None,
    beyond: NDArray[np.float64],
) -> WindowPowers:
    """The same for some sweeps. ``instead``: power that a bin counts with in ``least``, NaN for its own. ``enough``:
    power from which on a part of each window says something. ``beyond``: what counts in its cells and lies outside.
    """
    ratio = heard.steps_hz[bins] / heard.rbw_hz
    power = np.exp(heard.levels_db[sweeps, bins].astype(np.float64) * (np.log(10.0) / 10.0))
    valid = np.ones((power.shape[0], geometry.first.size), dtype=bool)
    if not heard.complete:
        valid = _valid(heard, geometry, np.isfinite(power), bins)
        power = np.nan_to_num(power, copy=False)
    touched = _touched_sum(power * np.minimum(WIDEST_STEP, ratio), geometry, bins.start) - beyond
    strongest = _touched_max(power, geometry, bins.start)
    squares = _touched_sum(np.square(power * np.minimum(1.0, ratio)), geometry, bins.start) * geometry.scale**2
    other = np.isfinite(instead)
    if other.any():
        power[:, other] = instead[other]
    shared = sum_over(heard, power * np.minimum(1.0, ratio), geometry.sum_low_hz, geometry.sum_high_hz, bins.start)
    least = shared * geometry.scale
    if enough is not None:
        valid = valid | (least > enough)
    return WindowPowers(least, np.maximum(np.maximum(touched, shared), strongest), squares, valid)


def _valid(heard: Heard, geometry: Geometry, finite: NDArray[np.bool_], bins: slice) -> NDArray[np.bool_]:
    """Sweeps that measured at least nine tenths of what any sweep measured of the window."""
    covered = sum_over(heard, finite * heard.steps_hz[bins], geometry.low_hz, geometry.high_hz, bins.start)
    return np.asarray((covered > 0) & (covered >= 0.9 * geometry.covered * (geometry.high_hz - geometry.low_hz)))


def _touched_sum(per_bin: NDArray[np.float64], geometry: Geometry, origin: int) -> NDArray[np.float64]:
    total = np.zeros((per_bin.shape[0], per_bin.shape[1] + 1))
    np.cumsum(per_bin, axis=1, out=total[:, 1:])
    first, last = (np.clip(ends - origin, 0, per_bin.shape[1]) for ends in (geometry.first, geometry.last))
    return np.asarray(total[:, last] - total[:, first])


def _touched_max(per_bin: NDArray[np.float64], geometry: Geometry, origin: int) -> NDArray[np.float64]:
    padded = np.append(per_bin, np.zeros((per_bin.shape[0], 1)), axis=1)
    first, last = (np.clip(ends - origin, 0, per_bin.shape[1]) for ends in (geometry.first, geometry.last))
    ends = np.stack([first, np.maximum(last, first + 1)], axis=1).ravel()
    return np.asarray(np.maximum.reduceat(padded, np.minimum(ends, per_bin.shape[1]), axis=1)[:, ::2])
