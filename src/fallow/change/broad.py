"""Wide stretches in which two surveys differ: a floor that rose or fell, or wide signals without a known shape.

Medians over groups of windows leave narrow things out. They are followed over several widths, so that an even rise is
found however far the groups scatter, and the chance of an error is shared out among the widths; fragments with the same
rise between them are one stretch. A stretch is a floor when it is too wide, too soft at its edges or too low for the
wide signals of the trade; blocks of television and mobile shape are looked at elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.change.chance import scatter_db
from fallow.change.side_by_side import Levels, Pair
from fallow.change.weighing import Sureness, threshold_db
from fallow.spectrum.noise.crowded import HIGHEST_RISE_DB
from fallow.spectrum.noise.running import running_quantile
from fallow.spectrum.statistics import median_of_valid

__all__ = ["Stretch", "find_stretches", "grouped_difference"]

GROUP_HZ = 250e3
FOLLOWED = (5, 15, 45, 135)  # groups of which the median is taken
FINE_SHARE = 0.9  # of a stretch seen over more groups that shows over fewer: there its edges are known better
NARROWEST_HZ = 2e6
SHARP_GROUPS = 3
SHARP_DB = 2.0
SHARP_SHARE = 0.5  # of the height, within three groups, is an edge and no slope
SHARP_SIGMAS = 6.0
WIDEST_SIGNAL_HZ = 10e6  # design decision: sharp at both ends and no wider is a signal, else a floor
SIGNAL_DB = 3.0  # above its floor in both surveys: a signal that changed
NEARLY = 0.6
NEAR_GROUPS = 4  # between two stretches of one floor, whatever they show
ALIKE_SIGMAS = 3.0  # by which two parts of one stretch may differ
BRIDGED = 2  # groups that may fall short within a stretch
MEDIAN_COST = 1.2533  # standard error of a median of normal values, against that of a mean
FEWEST_STEPS = 24  # between groups: fewer say little of their scatter
MANY = 100.0  # degrees of freedom: as good as normal


@dataclass(frozen=True)
class Stretch:
    """A wide stretch [Hz] in which the new survey is higher or lower by ``difference_db``; ``u_db`` by noise."""

    low_hz: float
    high_hz: float
    difference_db: float
    u_db: float
    is_floor: bool
    groups: slice


@dataclass(frozen=True, eq=False)
class _Groups:
    low_hz: Levels
    high_hz: Levels
    difference_db: Levels
    sigma_db: float


def grouped_difference(pair: Pair, left_out: Sequence[tuple[float, float]]) -> Levels:
    """Difference of the floors in groups of windows, dB, shape (group,), without the spans that are left out; NaN where
    there is none.
    """
    return _groups(pair, left_out).difference_db


def find_stretches(
    pair: Pair, left_out: Sequence[tuple[float, float]], sure: Sureness, shift_db: float = 0.0
) -> tuple[Stretch, ...]:
    """Stretches beyond the uncertainty of both surveys, rising in frequency. ``left_out``: spans of known blocks [Hz].

    ``shift_db`` is taken off first: what is common to signals and floor everywhere.
    """
    groups = _groups(pair, left_out)
    if not np.isfinite(groups.difference_db).any():
        return ()
    known = groups.difference_db - shift_db
    sharp = _sharp_steps(_followed(known, FOLLOWED[0]), groups)
    cuts = [int(cut) for cut in np.unique([0, *sharp, *_breaks(groups), known.size])]
    runs = _runs_of_all_widths(known, groups, cuts, sure)
    found = [_stretch(pair, groups, known, run, _within(cuts, run), set(sharp)) for run in runs]
    wide = [one for one in found if one.high_hz - one.low_hz >= max(NARROWEST_HZ, 3 * _group_hz(groups))]
    return tuple(_merged(wide, groups, known))


def _runs_of_all_widths(known: Levels, groups: _Groups, cuts: Sequence[int], sure: Sureness) -> list[tuple[int, int]]:
    """Runs of groups beyond the uncertainty, followed over few groups or, where that shows only a part of it, over
    more: first and last (exclusive) index, rising. ``cuts``: places that no run crosses.
    """
    kept: list[tuple[int, int]] = []
    for width in FOLLOWED:
        sigma = groups.sigma_db * MEDIAN_COST / np.sqrt(width)
        looks = Sureness(0.0, len(FOLLOWED) * known.size * FOLLOWED[0] // width)
        least = threshold_db(sure, 0.0, MANY) + threshold_db(looks, float(sigma), MANY)
        for begin, end in pairwise(cuts):
            if end - begin < width:
                continue
            for run in _runs(_followed(known[begin:end], width), least):
                first, last = _fitted(known, (begin + run[0], begin + run[1]), (begin, end), width)
                inside = [one for one in kept if one[0] < last and first < one[1]]
                if sum(min(last, one[1]) - max(first, one[0]) for one in inside) < FINE_SHARE * (last - first):
                    kept = [one for one in kept if one not in inside]
                    kept.append((min([first, *(one[0] for one in inside)]), max([last, *(one[1] for one in inside)])))
    return sorted(kept)


def _followed(known: Levels, width: int) -> Levels:
    return np.where(np.isfinite(known), running_quantile(known, width, 0.5, hop=1), np.nan)


def _fitted(known: Levels, run: tuple[int, int], within: tuple[int, int], width: int) -> tuple[int, int]:
    """A run with its edges where they fit best, up to ``width`` groups away: where the sum of what lies above half of
    its height is the highest (cumulative sums: Page, Biometrika 41 (1954) 100-115).
    """
    if width <= FOLLOWED[0] or run[1] - run[0] < 2:
        return run
    height = float(np.nanmedian(known[slice(*run)]))
    gain = np.clip(np.nan_to_num(known / height - 0.5), -1.0, 1.0)
    total = np.concatenate([[0.0], np.cumsum(gain)])
    middle = (run[0] + run[1]) // 2
    begin, end = max(within[0], run[0] - width), min(within[1], run[1] + width)
    return begin + int(np.argmin(total[begin : middle + 1])), middle + int(np.argmax(total[middle : end + 1]))


def _within(cuts: Sequence[int], run: tuple[int, int]) -> tuple[int, int]:
    """The cuts between which a run lies."""
    return max(cut for cut in cuts if cut <= run[0]), min(cut for cut in cuts if cut >= run[1])


def _groups(pair: Pair, left_out: Sequence[tuple[float, float]]) -> _Groups:
    per_group = max(1, round(GROUP_HZ / pair.width_hz))
    values = np.where(pair.both, pair.difference_db - pair.noise_offset_db - pair.median_bias_db, np.nan)
    for low, high in left_out:
        values[pair.windows_in(low, high)] = np.nan
    count = -(-values.size // per_group)
    padded = np.pad(values, (0, count * per_group - values.size), constant_values=np.nan).reshape(count, per_group)
    middle = median_of_valid(padded, axis=1)
    middle[np.isfinite(padded).sum(axis=1) < per_group / 2] = np.nan
    ends = np.minimum(np.arange(1, count + 1) * per_group, values.size) - 1
    noise = float(np.median(scatter_db((pair.old, pair.old.samples), (pair.new, pair.new.samples))))
    sigma = (MEDIAN_COST if per_group > 2 else 1.0) * noise / np.sqrt(max(1.0, per_group / pair.old.crowding))
    return _Groups(pair.low_hz[::per_group][:count], pair.high_hz[ends], middle, max(float(sigma), _scatter(middle)))


def _scatter(levels: Levels) -> float:
    """How far neighbouring groups scatter, dB; 0 where they are few. The median magnitude of the difference of two
    normal values is 0.954 standard deviations.
    """
    steps = np.abs(np.diff(levels))
    known = steps[np.isfinite(steps)]
    return float(np.median(known)) / 0.954 if known.size >= FEWEST_STEPS else 0.0


def _group_hz(groups: _Groups) -> float:
    return float(np.median(groups.high_hz - groups.low_hz))


def _breaks(groups: _Groups) -> NDArray[np.int64]:
    """Places where the groups are not side by side: a gap in the data."""
    return np.flatnonzero(groups.low_hz[1:] > groups.high_hz[:-1] + _group_hz(groups)) + 1


def _sharp_steps(levels: Levels, groups: _Groups) -> list[int]:
    """Places (the index right of the step) where the level changes by most of its height within three groups."""
    padded = np.pad(levels, SHARP_GROUPS, constant_values=np.nan)
    middles = median_of_valid(np.lib.stride_tricks.sliding_window_view(padded, SHARP_GROUPS), axis=1)
    before, after = middles[: levels.size], middles[SHARP_GROUPS : SHARP_GROUPS + levels.size]
    steps = np.nan_to_num(np.abs(after - before))
    heights = np.maximum(np.abs(before), np.abs(after))
    padded = np.pad(steps, 1)
    peak = (steps >= padded[:-2]) & (steps > padded[2:])
    least = max(SHARP_DB, SHARP_SIGMAS * groups.sigma_db)
    return [int(place) for place in np.flatnonzero(peak & (steps >= np.fmax(least, SHARP_SHARE * heights)))]


def _runs(levels: Levels, least: float) -> list[tuple[int, int]]:
    """First and last (exclusive) index of what lies beyond ``least`` on one side. A run is taken farther where it
    nearly does, as long as most of it does.
    """
    found = []
    for first, last in _beyond(levels, NEARLY * least):
        if abs(float(np.nanmedian(levels[first:last]))) > least:
            found.append((first, last))
        else:
            found += [(first + begin, first + end) for begin, end in _beyond(levels[first:last], least)]
    return sorted(found)


def _beyond(levels: Levels, least: float) -> list[tuple[int, int]]:
    """First and last (exclusive) index of what lies beyond ``least`` on one side, short dips bridged."""
    found: list[tuple[int, int]] = []
    for sign in (1, -1):
        places = np.flatnonzero(np.nan_to_num(sign * levels) > least)
        if places.size:
            parts = np.split(places, np.flatnonzero(np.diff(places) > BRIDGED + 1) + 1)
            found += [(int(part[0]), int(part[-1]) + 1) for part in parts]
    return sorted(found)


def _stretch(
    pair: Pair, groups: _Groups, levels: Levels, run: tuple[int, int], within: tuple[int, int], sharp: set[int]
) -> Stretch:
    """A run of groups as a stretch; soft edges lie where half of the height is reached."""
    height = float(np.nanmedian(levels[run[0] : run[1]]))
    high = np.flatnonzero(np.nan_to_num(levels[within[0] : within[1]] / height) >= 0.5) + within[0]
    inside = high[(high >= run[0] - BRIDGED) & (high < run[1] + BRIDGED)]
    first, last = (int(inside[0]), int(inside[-1]) + 1) if inside.size else run
    low_hz, high_hz = float(groups.low_hz[first]), float(groups.high_hz[last - 1])
    part = levels[first:last]
    edges = _is_sharp(first, sharp) and _is_sharp(last, sharp)
    narrow = edges and high_hz - low_hz <= WIDEST_SIGNAL_HZ
    tall = abs(height) > HIGHEST_RISE_DB
    windows = pair.windows_in(low_hz, high_hz)
    over = [float(np.nanmedian((side.mean_db - side.floor_db)[windows])) for side in (pair.old, pair.new)]
    u_db = groups.sigma_db * MEDIAN_COST / np.sqrt(max(1, part.size))
    is_floor = not (narrow or tall or min(over) > SIGNAL_DB)
    return Stretch(low_hz, high_hz, float(np.nanmedian(part)), float(u_db), is_floor, slice(first, last))


def _is_sharp(place: int, sharp: set[int]) -> bool:
    return any(abs(place - step) <= 1 for step in sharp)


def _merged(stretches: Sequence[Stretch], groups: _Groups, known: Levels) -> list[Stretch]:
    """Floors that changed alike are one, where what lies between them changed so too or is not known."""
    merged: list[Stretch] = []
    for one in sorted(stretches, key=lambda stretch: stretch.low_hz):
        last = merged[-1] if merged else None
        if last is not None and _one_floor(last, one, groups, known):
            whole = slice(last.groups.start, one.groups.stop)
            count = max(1, int(np.isfinite(known[whole]).sum()))
            merged[-1] = Stretch(
                low_hz=last.low_hz,
                high_hz=one.high_hz,
                difference_db=float(np.nanmedian(known[whole])),
                u_db=float(groups.sigma_db * MEDIAN_COST / np.sqrt(count)),
                is_floor=True,
                groups=whole,
            )
        else:
            merged.append(one)
    return merged


def _one_floor(one: Stretch, other: Stretch, groups: _Groups, known: Levels) -> bool:
    alike = abs(one.difference_db - other.difference_db) <= max(
        SHARP_DB, ALIKE_SIGMAS * float(np.hypot(one.u_db, other.u_db))
    )
    if not (one.is_floor and other.is_floor and alike and one.difference_db * other.difference_db > 0.0):
        return False
    if ((_breaks(groups) > one.groups.start) & (_breaks(groups) < other.groups.stop)).any():
        return other.low_hz - one.high_hz <= NEAR_GROUPS * GROUP_HZ
    between = known[one.groups.stop : other.groups.start]
    between = between[np.isfinite(between)]
    mean = (one.difference_db + other.difference_db) / 2
    return between.size <= NEAR_GROUPS or float(np.median(between)) / mean > 0.5
