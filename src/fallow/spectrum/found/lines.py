"""Narrow lines that the instrument makes by itself: proven by a reference sweep, suspected by pattern without one.

A reference sweep has a load in place of the antenna, so a line in it is the instrument's own. Without one, a line is
suspect when it is steady, as narrow as the instrument can show (an unmodulated carrier) and stands on a multiple of a
usual clock as several others do; or when the instrument is seen to make many lines. One line alone is no pattern.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.running import running_quantile
from fallow.spectrum.statistics import noise_quantile_db

__all__ = [
    "CLOCKS_HZ",
    "Line",
    "bins_of",
    "clock_tolerance_hz",
    "find_lines",
    "own_lines",
    "steady_unmodulated",
    "suspect_lines",
]

CLOCKS_HZ = (10e6, 13e6, 15.36e6, 19.2e6, 25e6, 28.8e6)  # common practice: reference oscillators of receivers
NEIGHBOURHOOD_HZ = 600e3
LEAST_HEIGHT_DB = 2.5
FALSE_LINES = 0.01  # chance that noise alone makes any line
SAME_LINE_DB = (
    12.0  # own lines grow when the antenna is on, by coupling; what grows by more is on the air. Common practice
)
STEADY_DB = 2.0  # between the weakest and the strongest sweep
FINEST_MODULATION_HZ = 30e3  # common practice: with a wider resolution a modulated carrier looks like a line
MOST_ROWS = 1000  # sweeps that this needs at most
SKIRT_DB = -14.0
MANY_LINES = 10  # common practice: a calibrated instrument shows a few at most
STRONGEST_OWN_DB = 40.0  # above the level around it: what stands higher is on the air. Common practice
NARROWEST_SIGNAL_HZ = 80e3  # common practice: a modulated link is wider than this, 10 dB down


@dataclass(frozen=True)
class Line:
    """A narrow line: its bins (``first`` to ``last``, exclusive), the strongest of them, power above the level around
    it. ``shown``: whether the sweeps themselves show it, or only the reference.
    """

    first: int
    last: int
    peak: int
    frequency_hz: float
    above_mw: float
    shown: bool = True


def find_lines(heard: Heard) -> tuple[Line, ...]:
    """Lines of the mean over sweeps that stand out from the 600 kHz around them by more than noise makes."""
    around = _around_db(heard)
    readings = heard.noise.shape * heard.looks
    least = max(LEAST_HEIGHT_DB, float(noise_quantile_db(1.0 - FALSE_LINES / heard.axis.n, readings)))
    height = np.nan_to_num(heard.mean_db - around, nan=-99.0)
    lines = []
    for first, last in _stretches(height > min(least, 1.0), height >= least):
        if (last - first) * float(heard.axis.step_hz) > NEIGHBOURHOOD_HZ / 2:
            continue
        peak = first + int(np.argmax(height[first:last]))
        above = 10.0 ** (heard.mean_db[peak] / 10.0) - 10.0 ** (around[peak] / 10.0)
        lines.append(Line(first, last, peak, float(heard.axis.centres_hz[peak]), float(above)))
    return tuple(lines)


def own_lines(heard: Heard, lines: tuple[Line, ...], reference: Heard) -> tuple[Line, ...]:
    """The lines of the reference on the axis of ``heard``, but for those that are much stronger on the air.

    A line of the reference that the sweeps don't show stays: it comes and goes.
    """
    apart = 2.0 * max(heard.rbw_hz, reference.rbw_hz, float(heard.axis.step_hz), float(reference.axis.step_hz))
    places = np.array([line.frequency_hz for line in lines])
    own = []
    for line in find_lines(reference):
        low, high = float(reference.axis.cells_hz[0][line.first]), float(reference.axis.cells_hz[1][line.last - 1])
        bins = heard.axis.bins_touching(low, high)
        near = [lines[index] for index in np.flatnonzero(np.abs(places - line.frequency_hz) <= apart)]
        on_air = max((other.above_mw for other in near), default=0.0)
        if bins.start < bins.stop and on_air <= 10.0 ** (SAME_LINE_DB / 10.0) * line.above_mw:
            first = min([bins.start, *(other.first for other in near)])
            last = max([bins.stop, *(other.last for other in near)])
            peak = (bins.start + bins.stop) // 2
            own.append(replace(line, first=first, last=last, peak=peak, shown=bool(near)))
    return tuple(own)


def steady_unmodulated(heard: Heard, lines: tuple[Line, ...]) -> tuple[Line, ...]:
    """Those lines that keep their level and are as narrow as the instrument can show: what a clock makes. None where
    the resolution is too coarse to tell.
    """
    if max(heard.rbw_hz, float(heard.axis.step_hz)) > FINEST_MODULATION_HZ:
        return ()
    around = _around_db(heard)
    return tuple(line for line in _steady(heard, lines) if _unmodulated(heard, line, around))


def suspect_lines(
    heard: Heard,
    lines: tuple[Line, ...],
    plain: tuple[Line, ...],
    *,
    absolute: bool,
    loads: Sequence[Heard] = (),
) -> tuple[Line, ...]:
    """Those lines that may be made inside, though no reference proves it. ``plain``: the steady, unmodulated ones.

    Those on multiples of usual clocks, where more stand there than chance explains. An instrument that is seen to make
    many lines (a reference shows ``MANY_LINES``, or far more lines stand on clocks than chance puts there) is not
    believed any steady narrow line while its levels are relative: a load shows only the lines that need no signal from
    outside.
    """
    if max(heard.rbw_hz, float(heard.axis.step_hz)) > FINEST_MODULATION_HZ:
        return ()
    around = _around_db(heard)
    weak = [line for line in plain if _above_db(line, around) <= STRONGEST_OWN_DB]
    on_clock = [line for line in weak if _on_clock(line.frequency_hz, float(heard.axis.step_hz))]
    if loads:
        makes_many = sum(len(find_lines(load)) for load in loads) >= MANY_LINES
    else:
        makes_many = _more_than_chance(len(on_clock), len(plain), float(heard.axis.step_hz))
    if makes_many and not absolute:
        return tuple(line for line in _steady(heard, lines) if _narrow(heard, line, around))
    return tuple(on_clock) if makes_many and not loads else ()


def _above_db(line: Line, around_db: NDArray[np.float64]) -> float:
    return float(10.0 * np.log10(line.above_mw) - around_db[line.peak])


def _more_than_chance(on_clock: int, lines: int, step_hz: float) -> bool:
    """Whether more lines stand on multiples of clocks than lines at random would, at odds of 1 in 1000 (binomial)."""
    from scipy import special  # heavy, so only where it is used

    chance = min(1.0, sum((step_hz + 2e3) / clock for clock in CLOCKS_HZ))
    return on_clock >= 3 and float(special.betainc(on_clock, lines - on_clock + 1, chance)) < 1e-3


def bins_of(lines: tuple[Line, ...], count: int) -> NDArray[np.bool_]:
    """The bins of the lines and one more to each side, shape (bin,)."""
    bins = np.zeros(count, dtype=bool)
    for line in lines:
        bins[max(0, line.first - 1) : line.last + 1] = True
    return bins


def _around_db(heard: Heard) -> NDArray[np.float64]:
    window = max(15, round(NEIGHBOURHOOD_HZ / float(heard.axis.step_hz)))
    return running_quantile(heard.mean_db, window, 0.5, hop=max(1, window // 8))


def _stretches(wide: NDArray[np.bool_], core: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Runs of ``wide`` that hold some ``core``: first and last (exclusive) index."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], wide, [False]]).astype(np.int8)))
    total = np.concatenate([[0], np.cumsum(core)])
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if total[b] > total[a]]


def clock_tolerance_hz(frequency_hz: float, step_hz: float) -> float:
    """How far a line may stand from a multiple of its clock: half a step, and 1 ppm, which a receiver's oscillator
    keeps (common practice).
    """
    return 0.5 * step_hz + 1e-6 * frequency_hz


def _on_clock(frequency_hz: float, step_hz: float) -> bool:
    tolerance = clock_tolerance_hz(frequency_hz, step_hz)
    return any(abs(frequency_hz - round(frequency_hz / clock) * clock) <= tolerance for clock in CLOCKS_HZ)


def _steady(heard: Heard, lines: tuple[Line, ...]) -> list[Line]:
    """The lines whose levels differ little between sweeps (90 % less 10 % of them)."""
    if not lines:
        return []
    levels = heard.levels_db[:: max(1, heard.n_sweeps // MOST_ROWS), np.array([line.peak for line in lines])]
    ordered = np.sort(levels, axis=0)  # NaN goes last
    valid = np.isfinite(ordered).sum(axis=0)
    places = np.arange(len(lines))
    low, high = (np.round(share * np.maximum(0, valid - 1)).astype(int) for share in (0.1, 0.9))
    spread = ordered[high, places] - ordered[low, places]
    return [line for line, moves, count in zip(lines, spread, valid, strict=True) if count and moves <= STEADY_DB]


def _narrow(heard: Heard, line: Line, around_db: NDArray[np.float64]) -> bool:
    """Whether the line is narrower, 10 dB under its top, than a link's signal."""
    power = 10.0 ** (heard.mean_db[line.first : line.last] / 10.0) - 10.0 ** (around_db[line.peak] / 10.0)
    return int((power > 0.1 * line.above_mw).sum()) * float(heard.axis.step_hz) <= NARROWEST_SIGNAL_HZ


def _unmodulated(heard: Heard, line: Line, around_db: NDArray[np.float64]) -> bool:
    """Whether the line falls to almost nothing a few resolutions away, as the instrument's own shape does."""
    reach = max(1, round(heard.rbw_hz / float(heard.axis.step_hz)))
    sides = []
    for begin, end in (
        (line.peak - 7 * reach, line.peak - 3 * reach),
        (line.peak + 3 * reach + 1, line.peak + 7 * reach + 1),
    ):
        side = heard.mean_db[max(0, begin) : max(0, end)]
        side = side[np.isfinite(side)]
        if side.size:
            sides.append(10.0 ** (float(np.median(side)) / 10.0) - 10.0 ** (around_db[line.peak] / 10.0))
    return not sides or max(sides) < 10.0 ** (SKIRT_DB / 10.0) * line.above_mw
