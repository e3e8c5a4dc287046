"""Overload seen in the sweeps themselves: the receiver was driven too hard, so what it shows is in doubt.

Three ways to see it. The source says so. Levels pile up at the top of the scale: of the readings near the highest one,
most are exactly as high, in more bins than one signal's tip fills. Or the floor follows a strong signal: it is up in
the sweeps in which that is up, far from it in frequency. Two things that are switched on together look the same, so
this makes *doubtful* and no more. The last is told by the correlation of the strongest signals, by rank and as on or
off, with the rise of the floor over the sweeps; neighbours in time are alike, so n sweeps count as n·(1 - ab)/(1 + ab),
a and b being the correlations of either with itself one sweep later (Bartlett, J. Roy. Stat. Soc. 98 (1935) 536-543;
from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.regular import told_chance
from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.noise_floor import Floor
from fallow.spectrum.statistics import median_of_valid
from fallow.units import format_span_mhz

__all__ = ["Overload", "find_overload"]

STRONG_DB = 20.0  # above the floor: may overload a receiver. Common practice
MOVES_DB = 10.0  # by which the strong signals must come and go: less may be the gain, which moves the floor alike
FOLLOWS_DB = 1.0  # by which the floor must be higher while they are strong
FEWEST_SWEEPS = 6
FEWEST_OF_EITHER = 2  # sweeps with the strong signals up, and down
BY_LUCK = 1e-3
PLACE_HZ = 30e6  # the width over which a rise of the floor is taken
SKIRT_HZ = 1e6  # beside a strong signal, or its own width: what rises there may be its transmitter's. Common practice
FEWEST_QUIET, MOST_QUIET = 20, 200  # bins that tell the floor of a place
TOP_DB = 3.0  # from the highest reading down: where readings pile up when the scale ends
PILED_SHARE = 0.5  # of those readings are exactly the highest
FEWEST_PILED = 5  # bins, beside the tip of one signal
SCATTERED_SHARE = 0.05  # so many, for each that is piled up, lie just under the top
FEWEST_UNDER = 3  # different readings there
Values = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Overload:
    """Where a series can't be believed: ``bins`` of shape (bin,); and why, for people."""

    bins: NDArray[np.bool_]
    notes: tuple[str, ...] = ()


def find_overload(heard: Heard, floor: Floor) -> Overload:
    """What shows in a series that its receiver was overloaded; no bins where nothing does."""
    everywhere, nowhere = np.ones(heard.axis.n, dtype=bool), np.zeros(heard.axis.n, dtype=bool)
    if heard.overloaded:
        return Overload(everywhere, ("overload: the source says so, so nothing in it is clean",))
    piled = _piled_up(heard, floor)
    if piled:
        return Overload(everywhere, (piled,))
    bins, chance = _following(heard, floor)
    if not bins.any():
        return Overload(nowhere)
    strong = np.flatnonzero(_strong(heard, floor))
    low_hz, high_hz = heard.axis.cells_hz
    note = (
        f"overload: the floor follows the strong signals at {format_span_mhz(low_hz[strong[0]], high_hz[strong[-1]])} "
        f"(by luck so: {told_chance(chance)}); a filter against them or a 10 dB pad before the instrument would tell"
    )
    return Overload(bins, (note,))


def _strong(heard: Heard, floor: Floor) -> NDArray[np.bool_]:
    """Bins that stand high above the floor in some sweep, shape (bin,)."""
    return np.asarray(np.nan_to_num(heard.highest_db - floor.noise_db, nan=-1.0) >= STRONG_DB)


def _piled_up(heard: Heard, floor: Floor) -> str:
    """A sentence where the highest readings are all alike in more bins than the tip of one signal fills."""
    strong = np.flatnonzero(_strong(heard, floor))
    if strong.size < FEWEST_PILED:
        return ""
    top = np.float32(np.nanmax(heard.highest_db))
    bins, below, piled = np.zeros(strong.size, dtype=bool), [], 0
    for _, block in heard.levels_db.blocks():
        levels = block[:, strong]
        bins |= (levels == top).any(axis=0)
        piled += int((levels == top).sum())
        below.append(top - levels[(levels < top) & (levels >= top - np.float32(TOP_DB))])
    under = np.concatenate(below)
    tip = math.ceil(heard.rbw_hz / float(heard.axis.step_hz))
    few = int(bins.sum()) < FEWEST_PILED + tip or piled < PILED_SHARE * (piled + under.size)
    if few or under.size < SCATTERED_SHARE * piled or not _scattered(under):
        return ""
    return (
        f"overload: {piled} of the {piled + under.size} highest readings are exactly {top:.1f} dB, in "
        f"{int(bins.sum())} bins: the scale ends there, so nothing in it is clean"
    )


def _scattered(under_db: NDArray[np.float32]) -> bool:
    """Whether the readings under the top scatter as those of a signal that is cut off; a steady carrier's don't."""
    return float(np.median(under_db)) >= 0.5 and np.unique(np.round(under_db, 2)).size >= FEWEST_UNDER


def _following(heard: Heard, floor: Floor) -> tuple[NDArray[np.bool_], float]:
    """Bins whose floor is up when the strong signals are, shape (bin,); and the chance that it is luck."""
    follows = np.zeros(heard.axis.n, dtype=bool)
    strong = _strong(heard, floor)
    quiet = heard.measured & ~_beside(heard, strong)
    if heard.n_sweeps < FEWEST_SWEEPS or not strong.any() or quiet.sum() < FEWEST_QUIET:
        return follows, 1.0
    power_db = _power_db(heard, np.flatnonzero(strong))
    known = np.isfinite(power_db)
    if known.sum() < FEWEST_SWEEPS:
        return follows, 1.0
    loud = power_db > (power_db[known].min() + power_db[known].max()) / 2.0
    if min((known & loud).sum(), (known & ~loud).sum()) < FEWEST_OF_EITHER:
        return follows, 1.0
    if np.median(power_db[known & loud]) - np.median(power_db[known & ~loud]) < MOVES_DB:
        return follows, 1.0
    least, places = 1.0, _places(heard)
    for place in places:
        bins = place.start + np.flatnonzero(quiet[place])
        if bins.size < FEWEST_QUIET:
            continue
        rise_db = _rise_db(heard, floor, bins)
        looked = known & np.isfinite(rise_db)
        if not (looked & loud).any() or not (looked & ~loud).any():
            continue
        higher_db = np.median(rise_db[looked & loud]) - np.median(rise_db[looked & ~loud])
        above_db = power_db[looked] - rise_db[looked]  # a gain that drifts moves both alike
        ranks = np.argsort(np.argsort(above_db)).astype(np.float64)
        by_either = min(_by_luck(how, rise_db[looked]) for how in (ranks, loud[looked].astype(np.float64)))
        chance = 2.0 * by_either * len(places)
        if chance < BY_LUCK and higher_db >= FOLLOWS_DB:
            follows[place], least = True, min(least, chance)
    return follows, least


def _beside(heard: Heard, strong: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Strong bins and what lies so near to a stretch of them that a transmitter's own skirts may reach it."""
    ends = np.flatnonzero(np.diff(np.concatenate([[False], strong, [False]]).astype(np.int8)))
    lows, highs = heard.axis.cells_hz
    near = np.zeros(strong.size, dtype=bool)
    for first, last in zip(ends[::2], ends[1::2], strict=True):
        low_hz, high_hz = float(lows[first]), float(highs[last - 1])
        reach_hz = max(SKIRT_HZ, high_hz - low_hz)
        near[heard.axis.bins_touching(low_hz - reach_hz, high_hz + reach_hz)] = True
    return near


def _places(heard: Heard) -> list[slice]:
    """The axis in pieces whose floor is looked at together."""
    count = max(1, round((heard.axis.high_hz - heard.axis.low_hz) / PLACE_HZ))
    ends = np.linspace(0, heard.axis.n, count + 1).round().astype(int)
    return [slice(int(first), int(last)) for first, last in pairwise(ends) if last > first]


def _rise_db(heard: Heard, floor: Floor, bins: NDArray[np.int64]) -> Values:
    """By how much the middle of some bins was above its floor in each sweep, dB, shape (sweep,)."""
    some = bins[:: max(1, bins.size // MOST_QUIET)]
    rise = np.empty(heard.n_sweeps)
    for rows, block in heard.levels_db.blocks():
        rise[rows] = median_of_valid(block[:, some] - floor.noise_db[some], axis=1)
    return rise


def _power_db(heard: Heard, bins: NDArray[np.int64]) -> Values:
    """Power in some bins together, for each sweep, dB, shape (sweep,), NaN where none was measured."""
    power = np.full(heard.n_sweeps, np.nan)
    for rows, block in heard.levels_db.blocks():
        levels = block[:, bins].astype(np.float64)
        total = np.nansum(10.0 ** (levels / 10.0), axis=1)
        power[rows] = np.where(total > 0, 10.0 * np.log10(np.maximum(total, 1e-300)), np.nan)
    return power


def _by_luck(loudness: Values, rises_db: Values) -> float:
    """Chance of as high a correlation between the two without any. ``loudness``: ranks, or 1 where it is loud."""
    from scipy import special  # heavy, so only where it is used

    one, other = (_standardised(values) for values in (loudness, rises_db))
    if one is None or other is None:
        return 1.0
    memory = max(0.0, float((one[1:] * one[:-1]).mean())) * max(0.0, float((other[1:] * other[:-1]).mean()))
    freedom = one.size * (1.0 - memory) / (1.0 + memory) - 2.0
    correlation = min(float((one * other).mean()), 1.0 - 1e-9)
    if freedom < 1.0 or correlation <= 0.0:
        return 1.0
    t = correlation * math.sqrt(freedom / (1.0 - correlation**2))
    return float(special.stdtr(freedom, -t))


def _standardised(values: Values) -> Values | None:
    spread = float(values.std())
    return (values - values.mean()) / spread if spread > 0 else None
