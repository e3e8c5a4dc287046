"""What stands out from the floor: broad rises first, then narrow things on top of them or beside.

A broad rise is what is left when everything narrower than a megahertz or so is cut off (an opening with a low quantile
for the erosion, so that lines, notches and noise do not matter). What is narrow is measured from there: otherwise the
grain of a raised floor would splinter into dozens of carriers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.blocks import Block
from fallow.spectrum.found.together import MEDIAN_SD, OverTime, Together, find_together, over_time
from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.running import running_quantile
from fallow.spectrum.noise.standing_again import standing_again
from fallow.spectrum.noise.upper_tail import UpperTail
from fallow.spectrum.statistics import noise_quantile_db, normal_quantile
from fallow.spectrum.verdicts.deciding import Evidence

__all__ = ["BRIDGE_HZ", "FALSE_EMITTERS", "LEAST_ABOVE_FLOOR_DB", "NARROW_HZ", "Stretch", "find_stretches", "runs_of"]

LEAST_ABOVE_FLOOR_DB = 4.0
SKIRT_ABOVE_FLOOR_DB = 1.0  # a broad rise is followed down to here
FALSE_EMITTERS = 0.01  # chance that noise alone makes any emitter
NARROW_HZ = 600e3  # common practice: the widest narrow carriers of the trade
BRIDGE_HZ = 60e3  # a modulated carrier has holes; lines that stand farther apart are several emitters
OPENING_HZ = 1.6e6  # what fills less than seven tenths of this is narrow
OPENING_SHARE = 0.3
BROAD_BRIDGE_HZ = 200e3  # notches in a broad rise
RIM_DB = 3.0  # above a rise: what stands beside it and is no higher belongs to it
FEWEST_OPENED = 5  # bins
CREST_HZ = 400e3  # over which a ripple is followed: cables of 40 m make one of 2.5 MHz
FEWEST_ON_CREST = 4  # bins: coarser steps do not show it
DIPS_HZ = 16e6  # in which its dips are looked for
DIP_SHARE = 0.1  # of the levels: of a wave, that many lie within 5 % of its depth
LEAST_DIP_DB, LARGEST_DIP_DB = 0.5, 6.0  # common practice: a whip at the end of a cable is no worse matched
CLEAR_DIP = 1.5  # of what noise makes of it
PLATEAU_SHARE = 0.5  # of what noise may open to anywhere: a plateau of the floor shows from there on
RAGGED_FACTOR = 2.0  # what stands out from a ragged rise must do so by twice the raggedness


@dataclass(frozen=True)
class Stretch:
    """Bins ``first`` to ``last`` (exclusive) that stand out together. ``lift_db``: of broad noise that comes and goes
    as a whole, by how much it is up while on, else 0.
    """

    first: int
    last: int
    broad: bool
    lift_db: float = 0.0


@dataclass(frozen=True, eq=False)
class _View:
    """The mean or the highest level over the sweeps, above the floor, in dB per bin; and what noise may show of it.

    ``readings``: of how many each is the mean; ``of``: of how many such means it is the highest.
    """

    above_db: NDArray[np.float64]
    tail: UpperTail
    readings: float
    of: int

    def noise_db(self, chance: float) -> float:
        """What noise exceeds in one bin with this chance, dB above its mean."""
        return float(self.tail.exceeded_db(chance / self.of, self.readings))

    def middle_db(self, share: float) -> float:
        """What a bin of noise exceeds but for this share of them, dB above its mean."""
        chance = -math.expm1(math.log(share) / self.of)
        if self.of == 1:
            return float(self.tail.exceeded_db(chance, self.readings))
        return self.tail.usually_exceeded_db(chance)


def find_stretches(evidence: Evidence, blocks: Sequence[Block]) -> list[Stretch]:
    """Stretches that stand out in some sweep or in the mean over them, rising in frequency.

    Outside of ``blocks``; lines of the instrument itself are none. Noise alone makes any with ``FALSE_EMITTERS``.
    """
    heard, floor = evidence.heard, evidence.floor
    taken = np.zeros(heard.axis.n, dtype=bool)
    for block in blocks:
        taken[heard.axis.bins_touching(block.low_hz - heard.rbw_hz, block.high_hz + heard.rbw_hz)] = True
    lines = evidence.own_lines | evidence.suspect_lines
    seen = over_time(heard, floor.noise_db, taken | lines)
    together = find_together(seen)
    views, rippled = _views(evidence, seen), _rippled_db(heard, heard.mean_db - floor.noise_db)
    opened = [_opened(heard, np.where(taken | lines, np.nan, view.above_db)) for view in views]
    rises = np.zeros(heard.axis.n, dtype=bool)
    broad, narrow = rises.copy(), rises.copy()
    for view, level in zip(views, opened, strict=True):
        for first, last in _rises(heard, view, level):
            rises[first:last] = True
            begin, end = _cut_to_edges(heard, view.above_db, level, first, last)
            broad[begin:end] |= float(heard.steps_hz[begin:end].sum()) > NARROW_HZ
    for one in together:
        rises[slice(*one.skirts)] = True
    for view, level in zip(views, opened, strict=True):
        higher = np.maximum(_plateau_db(heard, view, level), rippled)
        narrow |= np.nan_to_num(view.above_db, nan=-99.0) > _least_db(heard, view, level, rises | broad, higher)
    if heard.upper_tail.heavy is not None:  # the highest readings prove little then, what several show does
        narrow |= standing_again(heard, floor, FALSE_EMITTERS / 2 / heard.axis.n) & ~rises & ~broad
    return _tidied(evidence, broad & ~taken, narrow & ~taken & ~lines, together)


def _views(evidence: Evidence, seen: OverTime) -> list[_View]:
    """The mean over the sweeps, and the highest: less by how much the floor as a whole was up in some of them."""
    heard, floor = evidence.heard, evidence.floor
    lifted = np.interp(heard.axis.centres_hz, floor.group_centres_hz, floor.rises_db.max(axis=0))
    fewer = _fewer_db(heard)
    views = [_View(heard.mean_db - floor.noise_db - lifted - fewer, heard.upper_tail, heard.looks, 1)]
    if heard.n_sweeps > 1:
        drift = seen.highest_drift_db(heard.noise.sd_db(), heard.alike_hz / float(heard.axis.step_hz))
        above = heard.highest_db - floor.noise_db - np.maximum(lifted, drift)
        views.append(_View(above, heard.upper_tail, 1, heard.n_sweeps))
    return views


def _rippled_db(heard: Heard, above_db: NDArray[np.float64]) -> NDArray[np.float64]:
    """By how much a bin lies on the crest of a ripple that the floor was not followed into, dB, shape (bin,).

    A standing wave of a long cable dips as deep as it rises, and what is on the air makes no dips: so no crest is
    believed to be higher than the dips around are deep. ``above_db``: the mean over the sweeps above the floor.
    """
    cells = round(CREST_HZ / float(heard.axis.step_hz))
    if cells < FEWEST_ON_CREST:
        return np.zeros(heard.axis.n)
    readings = heard.looks * max(1.0, cells * min(1.0, float(heard.axis.step_hz) / heard.alike_hz))
    by_luck = normal_quantile(1.0 - DIP_SHARE) * MEDIAN_SD * heard.noise.sd_db() / math.sqrt(readings)
    middle = above_db - float(noise_quantile_db(0.5, heard.noise.shape * heard.looks))
    smooth = running_quantile(middle, cells, 0.5, hop=1)
    around = round(DIPS_HZ / float(heard.axis.step_hz))
    centre = running_quantile(smooth, around, 0.5)
    depth = centre - running_quantile(smooth, around, DIP_SHARE)
    clear = (depth > max(LEAST_DIP_DB, CLEAR_DIP * by_luck)) & (depth <= LARGEST_DIP_DB)
    crest = np.minimum(depth + np.clip(centre, 0.0, depth), LEAST_ABOVE_FLOOR_DB)  # the floor may lie in the dips
    return np.clip(smooth, 0.0, np.where(clear, crest, 0.0))


def _fewer_db(heard: Heard) -> NDArray[np.float64]:
    """By how much farther noise reaches in the mean of a bin that some sweeps did not measure, dB, shape (bin,)."""
    if heard.complete:
        return np.zeros(heard.axis.n)
    counts, which = np.unique(np.maximum(1, heard.valid_sweeps), return_inverse=True)
    chance = FALSE_EMITTERS / 2 / heard.axis.n
    looks = np.maximum(1.0, np.append(counts, heard.n_sweeps) / heard.alike_sweeps)
    reached = heard.upper_tail.exceeded_db(chance, looks)
    return np.asarray((reached[:-1] - reached[-1])[which], dtype=np.float64)


def _rises(heard: Heard, view: _View, opened_db: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Runs that rise broadly by more than noise does, down to their skirts: first and last (exclusive) index."""
    usual = max(0.0, view.middle_db(OPENING_SHARE))
    core = max(usual + LEAST_ABOVE_FLOOR_DB, _opened_noise_db(heard, view))
    return _runs_with(opened_db > usual + SKIRT_ABOVE_FLOOR_DB, opened_db > core)


def _least_db(
    heard: Heard,
    view: _View,
    opened_db: NDArray[np.float64],
    rises: NDArray[np.bool_],
    higher_db: NDArray[np.float64],
) -> NDArray[np.float64]:
    """What a bin must exceed to stand out: from the floor, which may lie ``higher_db`` higher than followed, or on a
    rise from that, and from its raggedness.
    """
    least = max(view.noise_db(FALSE_EMITTERS / 2 / heard.axis.n), LEAST_ABOVE_FLOOR_DB)  # two views
    threshold = least + higher_db
    for first, last in _runs_with(rises, rises):
        rough = (view.above_db - opened_db)[first:last]
        ragged = float(np.nanquantile(rough, 0.9)) if np.isfinite(rough).any() else 0.0
        threshold[first:last] = np.maximum(0.0, opened_db[first:last]) + max(least, RAGGED_FACTOR * ragged)
    return threshold


def _plateau_db(heard: Heard, view: _View, opened_db: NDArray[np.float64]) -> NDArray[np.float64]:
    """By how much the floor may lie higher in plateaus, where a tuner steps by a decibel or two, dB, shape (bin,)."""
    usual = view.middle_db(OPENING_SHARE) + (view.tail.lifted_db(view.readings) if view.of == 1 else 0.0)
    by_luck = PLATEAU_SHARE * max(0.0, _opened_noise_db(heard, view) - usual)
    return np.clip(np.nan_to_num(opened_db) - usual - by_luck, 0.0, LEAST_ABOVE_FLOOR_DB)


def _opened(heard: Heard, above_db: NDArray[np.float64]) -> NDArray[np.float64]:
    """The levels without what is narrow: a low quantile over a window, then given back its width; shape (bin,)."""
    window = max(FEWEST_OPENED, round(OPENING_HZ / float(heard.axis.step_hz)))
    low = running_quantile(above_db, window, OPENING_SHARE, hop=max(1, window // 8))
    return _running_max(low, round((0.5 - OPENING_SHARE) * window))


def _opened_noise_db(heard: Heard, view: _View) -> float:
    """What the opened level of noise exceeds anywhere with ``FALSE_EMITTERS``, dB above the mean of noise.

    A quantile of n readings lies above x where more than 1 - share of them do (binomial distribution).
    """
    from scipy import special  # heavy, so only where it is used

    window = max(FEWEST_OPENED, round(OPENING_HZ / float(heard.axis.step_hz)))
    count = max(2, round(window * min(1.0, float(heard.axis.step_hz) / heard.alike_hz)))
    most = math.ceil((1.0 - OPENING_SHARE) * count)
    each = float(special.betaincinv(most, count - most + 1, FALSE_EMITTERS / heard.axis.n))
    return view.middle_db(1.0 - each)


def _running_max(values: NDArray[np.float64], reach: int) -> NDArray[np.float64]:
    """The highest of the values up to ``reach`` places away to either side."""
    highest, done = np.pad(values, reach, constant_values=-np.inf), 1
    while done < 2 * reach + 1:
        shift = min(done, 2 * reach + 1 - done)
        highest = np.maximum(highest[:-shift], highest[shift:])
        done += shift
    return highest


def _runs_with(wide: NDArray[np.bool_], core: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Runs of ``wide`` that hold some ``core``: first and last (exclusive) index."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], wide, [False]]).astype(np.int8)))
    total = np.concatenate([[0], np.cumsum(core)])
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if total[b] > total[a]]


def _cut_to_edges(
    heard: Heard, above_db: NDArray[np.float64], opened_db: NDArray[np.float64], first: int, last: int
) -> tuple[int, int]:
    """A rise from its outermost bin above half its height (in dB, at that end) to the other one."""
    reach = 2 * max(1, round(OPENING_HZ / float(heard.axis.step_hz)) // 2)
    lower = float(np.nanmedian(opened_db[first : min(last, first + reach)])) / 2
    upper = float(np.nanmedian(opened_db[max(first, last - reach) : last])) / 2
    level = np.nan_to_num(above_db, nan=-99.0)
    begin = _outermost(level, first, lower, reach)
    return begin, max(begin + 1, level.size - _outermost(level[::-1], level.size - last, upper, reach))


def _outermost(level_db: NDArray[np.float64], first: int, half_db: float, reach: int) -> int:
    """Where an unbroken run above ``half_db`` begins: outward from ``first``, or the next one inward."""
    inside = np.flatnonzero(level_db[first : first + reach] > half_db)
    if inside.size == 0:
        return first
    if inside[0] > 0:
        return first + int(inside[0])
    below = np.flatnonzero(level_db[max(0, first - reach) : first] <= half_db)
    return max(0, first - reach) + int(below[-1]) + 1 if below.size else max(0, first - reach)


def _tidied(
    evidence: Evidence, broad: NDArray[np.bool_], narrow: NDArray[np.bool_], together: Sequence[Together]
) -> list[Stretch]:
    """Rises, without small gaps, and the narrow stretches that are more than the rim of one."""
    heard = evidence.heard
    finest = max(1.5 * heard.rbw_hz, 1.5 * float(heard.axis.step_hz))
    rises, lifts = _joined(runs_of(heard, broad, max(BROAD_BRIDGE_HZ, finest)), together)
    above = np.nan_to_num(heard.highest_db - evidence.floor.noise_db, nan=-99.0)
    kept: list[Stretch] = []
    rim = max(1, round(BRIDGE_HZ / float(heard.axis.step_hz)))
    for first, last in runs_of(heard, narrow, max(BRIDGE_HZ, finest)):
        beside = [k for k, (low, high) in enumerate(rises) if low - rim <= last and first <= high + rim]
        if beside and above[first:last].max() <= RIM_DB + np.quantile(above[slice(*rises[beside[0]])], 0.9):
            low, high = rises[beside[0]]
            rises[beside[0]] = (min(low, first), max(high, last))
        else:
            kept.append(Stretch(first, last, False))
    wide = [Stretch(low, high, True, lift) for (low, high), lift in zip(rises, lifts, strict=True)]
    return sorted(kept + wide, key=lambda one: one.first)


def _joined(
    rises: Sequence[tuple[int, int]], together: Sequence[Together]
) -> tuple[list[tuple[int, int]], list[float]]:
    """Rises and what is lifted together, with the lift of each (0 for a rise); of two that overlap the wider one."""
    kept, lifted = [], list(together)
    for low, high in rises:
        covered = sum(max(0, min(high, one.last) - max(low, one.first)) for one in lifted)
        if covered < (high - low) / 2:
            kept.append((low, high))
            lifted = [one for one in lifted if one.last <= low or high <= one.first]
    return kept + [(one.first, one.last) for one in lifted], [0.0] * len(kept) + [one.lift_db for one in lifted]


def runs_of(heard: Heard, out: NDArray[np.bool_], bridge_hz: float) -> list[tuple[int, int]]:
    """Runs of the bins that are ``out``, over gaps of up to ``bridge_hz``: first and last (exclusive) index."""
    places = np.flatnonzero(out)
    if places.size == 0:
        return []
    breaks = np.flatnonzero(np.diff(heard.axis.centres_hz[places]) > bridge_hz) + 1
    return [(int(run[0]), int(run[-1]) + 1) for run in np.split(places, breaks)]
