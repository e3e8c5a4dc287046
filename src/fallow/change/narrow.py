"""Places up to two megahertz wide where two surveys differ by more than noise and by more than their surroundings do.

The difference of the two surveys is followed smoothly (so a raised floor or a block makes no narrow change), and what
stands out from it is looked for in windows of several widths. Single sweeps are looked at as well: a burst drowns in a
mean.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.change.chance import by_chance_db, scatter_db
from fallow.change.side_by_side import Levels, Pair, Side
from fallow.change.weighing import FALSE_CHANGES, Place
from fallow.spectrum.noise.running import running_quantile
from fallow.spectrum.statistics import normal_quantile

__all__ = ["WIDEST_NARROW_HZ", "background_of", "find_narrow_places", "surroundings_db"]

WIDEST_NARROW_HZ = 2e6
FEWEST_BEHIND = 15  # windows that the background is the median of, at least
LENGTHS = (1, 2, 4, 8)  # windows added up: signals are as wide as that
LEAST_DB = 2.0
SHARE_OF_CHANCE = 0.2  # of all false changes; four lengths and two directions each
RAGGED_HZ = 8e6  # width over which the raggedness of the difference is judged
NORMAL_MAD = 1.4826
BRIDGE_HZ = 60e3
BESIDE_HZ = 600e3  # to each side: what a narrow signal stands on


@dataclass(frozen=True)
class _Stretch:
    first: int
    last: int
    sign: int


def background_of(pair: Pair) -> Levels:
    """The difference of two surveys without what is narrow, dB, shape (window,)."""
    return _followed(pair, pair.difference_db) - pair.median_bias_db


def _followed(pair: Pair, difference_db: Levels) -> Levels:
    window = max(FEWEST_BEHIND, round(2 * WIDEST_NARROW_HZ / pair.width_hz))
    known = np.where(pair.both, difference_db, np.nan)
    return running_quantile(known, window, 0.5, hop=max(1, window // 64))


def find_narrow_places(pair: Pair, background_db: Levels) -> tuple[Place, ...]:
    """Places that noise alone shows in two of a thousand comparisons, with what surrounds them, rising in frequency."""
    if not pair.both.any():
        return ()
    above = np.where(pair.both, pair.difference_db - background_db, 0.0)
    flags = _in_the_mean(pair, above, background_db)
    flags = np.where(flags != 0, flags, _in_the_middle(pair))
    flags = np.where(flags != 0, flags, _in_single_sweeps(pair, background_db))
    stretches = _joined(pair, _grown(above, flags))
    taken = np.zeros(pair.low_hz.size, dtype=bool)
    for stretch in stretches:
        taken[stretch.first : stretch.last] = True
    narrow = [stretch for stretch in stretches if _width(pair, stretch) <= WIDEST_NARROW_HZ]
    return tuple(_places(pair, narrow, taken))


def surroundings_db(pair: Pair, side: Side, low_hz: float, high_hz: float, taken: NDArray[np.bool_]) -> float:
    """Mean power that the windows beside a span show, in the width of the span, dB: of both sides the lower one, as one
    of them may lie within a block. ``taken``: windows left out.
    """
    inside = pair.windows_in(low_hz, high_hz)
    beside = pair.windows_in(low_hz - BESIDE_HZ, high_hz + BESIDE_HZ)
    reach = max(4, inside.stop - inside.start)
    first, last = min(beside.start, inside.start - reach), max(beside.stop, inside.stop + reach)
    around = (np.arange(max(0, first), inside.start), np.arange(inside.stop, min(last, pair.low_hz.size)))
    free = [part[~taken[part] & np.isfinite(side.mean_db[part])] for part in around]
    levels = [side.usual_db(part) for part in free if part.size >= min(4, reach)]
    if not levels:
        levels = [float(np.nanmedian(side.floor_db))]
    return min(levels) + 10.0 * float(np.log10(max(1.0, (high_hz - low_hz) / pair.width_hz)))


def _in_the_mean(pair: Pair, above: Levels, background_db: Levels) -> NDArray[np.int8]:
    """Windows in which the mean powers differ by more than noise: +1 new is higher, -1 lower, 0 neither."""
    tail = FALSE_CHANGES * SHARE_OF_CHANCE / (len(LENGTHS) * 2 * pair.both.sum())
    lift = np.where(pair.both, 10.0 ** (-background_db / 10.0), 0.0)
    old = np.where(pair.both, 10.0 ** (np.nan_to_num(pair.old.mean_db, nan=-300.0) / 10.0), 0.0)
    new = np.where(pair.both, 10.0 ** (np.nan_to_num(pair.new.mean_db, nan=-300.0) / 10.0), 0.0) * lift
    flags = np.zeros(above.size, dtype=np.int8)
    for length in LENGTHS:
        if length > above.size:
            break
        whole = _sums(pair.both.astype(np.float64), length) == length
        ratio = _ratio_db(_sums(new, length), _sums(old, length), whole, pair)
        k_new, k_old = (
            np.maximum(_sums(side.samples, length) / side.crowding, _sums(side.samples, length) / length)
            for side in (pair.new, pair.old)
        )
        sides = ((pair.new, k_new), (pair.old, k_old))
        ragged = _raggedness(ratio, whole, scatter_db(*sides), round(RAGGED_HZ / pair.width_hz))
        for sign, (higher, lower) in ((1, sides), (-1, sides[::-1])):
            least = np.maximum(LEAST_DB, by_chance_db(tail, higher, lower) * ragged)
            places = np.flatnonzero(sign * ratio > least)
            filled = np.minimum(_filled(new, places, length), _filled(old, places, length)) / length
            higher, lower = ((side, samples[places] * filled) for side, samples in (higher, lower))
            tops = by_chance_db(tail, higher, lower) * ragged[places]
            for place in places[sign * ratio[places] > np.maximum(LEAST_DB, tops)]:
                if not flags[place : place + length].any():
                    flags[place : place + length] = sign
    return flags


def _in_the_middle(pair: Pair) -> NDArray[np.int8]:
    """Windows whose mean levels in decibels differ by more than noise: where readings scatter evenly in decibels, a
    mean of powers is as high as the highest of them, and this one is told better.
    """
    flags = np.zeros(pair.low_hz.size, dtype=np.int8)
    if not (pair.same_axis and pair.old.even_db > 0.0 and pair.new.even_db > 0.0):
        return flags
    difference = pair.new.middle_db - pair.old.middle_db
    above = np.where(pair.both, difference - _followed(pair, difference), 0.0)
    single = (
        side.evidence.heard.upper_tail.spread_db(side.readings_in(np.array(side.readings)))
        for side in (pair.old, pair.new)
    )
    looks = (np.maximum(side.looks, 1) for side in (pair.old, pair.new))
    by_noise = np.hypot(*(one / np.sqrt(count) for one, count in zip(single, looks, strict=True)))
    ragged = _raggedness(above, pair.both, by_noise, round(RAGGED_HZ / pair.width_hz))
    tail = FALSE_CHANGES * SHARE_OF_CHANCE / (2 * pair.both.sum())
    out = np.abs(above) > np.maximum(LEAST_DB, normal_quantile(1.0 - tail) * by_noise * ragged)
    flags[out] = np.sign(above[out]).astype(np.int8)
    return flags


def _filled(power: Levels, places: NDArray[np.int64], length: int) -> Levels:
    """Over how many of ``length`` windows from each place on a power is spread: (Σp)²/Σp²."""
    parts = power[places[:, None] + np.arange(length)]
    return np.asarray(np.square(parts.sum(axis=1)) / np.maximum(np.square(parts).sum(axis=1), 1e-300))


def _ratio_db(new: Levels, old: Levels, whole: NDArray[np.bool_], pair: Pair) -> Levels:
    """New against old, dB. On two axes each is held against the highest of the other's neighbours as well."""
    if pair.same_axis:
        highest_old, highest_new = old, new
    else:
        highest_old, highest_new = _highest_near(old), _highest_near(new)
    with np.errstate(divide="ignore", invalid="ignore"):
        up = np.where(whole, 10.0 * np.log10(new / highest_old), 0.0)
        down = np.where(whole, 10.0 * np.log10(highest_new / old), 0.0)
    if pair.same_axis:
        return up
    return np.where(up > 0.0, up, np.minimum(down, 0.0))


def _highest_near(values: Levels) -> Levels:
    """The highest of each value and its two neighbours."""
    padded = np.pad(values, 1, mode="edge")
    return np.maximum(np.maximum(padded[:-2], padded[2:]), values)


def _raggedness(ratio_db: Levels, known: NDArray[np.bool_], by_noise_db: Levels, window: int) -> Levels:
    """How many times as far the difference scatters around here as noise does; at least 1."""
    scatter = running_quantile(np.where(known, np.abs(ratio_db), np.nan), max(window, FEWEST_BEHIND), 0.5)
    return np.maximum(1.0, NORMAL_MAD * np.nan_to_num(scatter) / by_noise_db)


def _in_single_sweeps(pair: Pair, background_db: Levels) -> NDArray[np.int8]:
    """Windows in which a sweep of one survey is higher than noise makes it above what the other shows on average."""
    flags = np.zeros(pair.low_hz.size, dtype=np.int8)
    for side, other, sign in ((pair.new, pair.old, 1), (pair.old, pair.new, -1)):
        looks = int(side.looks.max())
        tail = FALSE_CHANGES * SHARE_OF_CHANCE / (2 * pair.both.sum() * looks)
        top = by_chance_db(tail, (side, np.array(side.readings)), (other, other.samples))
        usual = np.where(pair.both, other.mean_db, np.nan)
        usual = (usual if pair.same_axis else _highest_near(usual)) + sign * background_db
        over = np.nan_to_num(side.highest_db - _lifted_db(pair, side) - usual, nan=-99.0)
        flags[over > np.maximum(2.0 * LEAST_DB, top * _unrest(pair, side, looks))] = sign
    return flags


def _lifted_db(pair: Pair, side: Side) -> Levels:
    """By how much the floor as a whole was up in some sweep of a survey, dB, shape (window,)."""
    floor = side.evidence.floor
    lifted = np.interp(pair.centre_hz, floor.group_centres_hz, floor.rises_db.max(axis=0))
    return np.asarray(lifted, dtype=np.float64)


def _unrest(pair: Pair, side: Side, looks: int) -> Levels:
    """How many times as far single sweeps rise above their mean around here as noise does; at least 1."""
    upper = side.evidence.heard.upper_tail
    by_noise = float(upper.exceeded_db(-math.expm1(math.log(0.5) / looks), side.readings_in(np.array(side.readings))))
    if looks < 2 or by_noise <= 0.0:
        return np.ones(pair.low_hz.size)
    rise = np.where(pair.both, side.highest_db - side.mean_db, np.nan)
    window = max(FEWEST_BEHIND, round(RAGGED_HZ / pair.width_hz))
    return np.maximum(1.0, np.nan_to_num(running_quantile(rise, window, 0.5)) / by_noise)


def _grown(above: Levels, flags: NDArray[np.int8]) -> list[_Stretch]:
    """Runs of flagged windows of one sign, grown while the difference stays a quarter as high as in the run."""
    stretches = []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags, [0]])))
    for first, last in pairwise(edges):
        sign = int(flags[first])
        if sign == 0:
            continue
        height = max(LEAST_DB / 2, float((sign * above[first:last]).max()) / 4)
        begin, end = int(first), int(last)
        while begin > 0 and sign * above[begin - 1] > height:
            begin -= 1
        while end < above.size and sign * above[end] > height:
            end += 1
        stretches.append(_Stretch(begin, end, sign))
    return stretches


def _joined(pair: Pair, stretches: list[_Stretch]) -> list[_Stretch]:
    """Neighbours of one sign that overlap or nearly touch are one."""
    bridge = max(BRIDGE_HZ, 1.5 * pair.width_hz)
    joined: list[_Stretch] = []
    for stretch in sorted(stretches, key=lambda one: one.first):
        last = joined[-1] if joined else None
        near = last is not None and pair.low_hz[stretch.first] - pair.high_hz[last.last - 1] <= bridge
        both = None if last is None else _Stretch(last.first, max(last.last, stretch.last), last.sign)
        if last is not None and both is not None and near and last.sign == stretch.sign and _fits(pair, both, last):
            joined[-1] = both
        else:
            joined.append(stretch)
    return joined


def _fits(pair: Pair, both: _Stretch, last: _Stretch) -> bool:
    """Whether two may be one: they overlap, or are narrow together."""
    return both.last == last.last or _width(pair, both) <= WIDEST_NARROW_HZ


def _places(pair: Pair, stretches: Sequence[_Stretch], taken: NDArray[np.bool_]) -> Iterator[Place]:
    """Each stretch as a place; two of opposite sign side by side are one, where something may have shifted."""
    bridge = max(BRIDGE_HZ, 1.5 * pair.width_hz)
    waiting = list(stretches)
    while waiting:
        one = waiting.pop(0)
        other = waiting[0] if waiting else None
        near = other is not None and pair.low_hz[other.first] - pair.high_hz[one.last - 1] <= bridge
        if other is None or not near or other.sign == one.sign:
            yield _place(pair, one, taken)
            continue
        waiting.pop(0)
        whole = _place(pair, _Stretch(one.first, other.last, 0), taken)
        yield replace(whole, parts=(_place(pair, one, taken), _place(pair, other, taken)))


def _place(pair: Pair, stretch: _Stretch, taken: NDArray[np.bool_]) -> Place:
    beyond = 0 if pair.same_axis else 1
    first, last = max(0, stretch.first - beyond), min(pair.low_hz.size, stretch.last + beyond)
    low, high = float(pair.low_hz[first]), float(pair.high_hz[last - 1])
    old, new = (surroundings_db(pair, side, low, high, taken) for side in (pair.old, pair.new))
    return Place(low, high, old, new)


def _width(pair: Pair, stretch: _Stretch) -> float:
    return float(pair.high_hz[stretch.last - 1] - pair.low_hz[stretch.first])


def _sums(values: Levels, length: int) -> Levels:
    total = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray(total[length:] - total[:-length])
