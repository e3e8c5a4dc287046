"""Wide stretches in which two surveys differ: a floor that rose or fell, or wide signals without a known shape.

Medians over groups of windows leave narrow things out. A stretch is a floor when it is too wide, too soft at its edges
or too low for the wide signals of the trade; blocks of television and mobile shape are looked at elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.change.side_by_side import Levels, Pair
from fallow.change.weighing import Sureness, threshold_db
from fallow.spectrum.instruments.two_samples import ratio_u_db
from fallow.spectrum.noise.noise_floor import HIGHEST_RISE_DB, running_quantile
from fallow.spectrum.statistics import median_of_valid

__all__ = ["Stretch", "find_stretches", "grouped_difference"]

GROUP_HZ = 250e3
FOLLOWED = 5  # groups of which the median is taken
NARROWEST_HZ = 2e6
SHARP_GROUPS = 3
SHARP_DB = 2.0
SHARP_SHARE = 0.5  # of the height, within three groups, is an edge and no slope
SHARP_SIGMAS = 6.0
WIDEST_SIGNAL_HZ = 10e6  # design decision: sharp at both ends and no wider is a signal, else a floor
SIGNAL_DB = 3.0  # above its floor in both surveys: a signal that changed
NEARLY = 0.6
BRIDGED = 2  # groups that may fall short within a stretch
MEDIAN_COST = 1.2533  # standard error of a median of normal values, against that of a mean
MANY = 100.0  # degrees of freedom: as good as normal


@dataclass(frozen=True)
class Stretch:
    """A wide stretch [Hz] in which the new survey is higher or lower by ``difference_db``; ``u_db`` by noise."""

    low_hz: float
    high_hz: float
    difference_db: float
    u_db: float
    is_floor: bool


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
    followed = np.where(np.isfinite(known), running_quantile(known, FOLLOWED, 0.5, hop=1), np.nan)
    sigma = groups.sigma_db * MEDIAN_COST / np.sqrt(FOLLOWED)
    least = threshold_db(sure, 0.0, MANY) + threshold_db(Sureness(0.0, known.size), float(sigma), MANY)
    sharp = _sharp_steps(followed, groups)
    cuts = np.unique([0, *sharp, *_breaks(groups), known.size])
    found: list[Stretch] = []
    for begin, end in pairwise(cuts):
        for first, last in _runs(followed[begin:end], least):
            found.append(_stretch(pair, groups, known, (begin + first, begin + last), (begin, end), set(sharp)))
    wide = [one for one in found if one.high_hz - one.low_hz >= max(NARROWEST_HZ, 3 * _group_hz(groups))]
    return tuple(_merged(wide, left_out))


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
    noise = float(np.median(ratio_u_db(pair.old.samples, pair.new.samples)))
    sigma = (MEDIAN_COST if per_group > 2 else 1.0) * noise / np.sqrt(max(1.0, per_group / pair.old.crowding))
    return _Groups(pair.low_hz[::per_group][:count], pair.high_hz[ends], middle, float(sigma))


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
    return Stretch(low_hz, high_hz, float(np.nanmedian(part)), float(u_db), is_floor)


def _is_sharp(place: int, sharp: set[int]) -> bool:
    return any(abs(place - step) <= 1 for step in sharp)


def _merged(stretches: Sequence[Stretch], left_out: Sequence[tuple[float, float]]) -> list[Stretch]:
    """Floors to both sides of a known block that changed alike are one."""
    merged: list[Stretch] = []
    for one in sorted(stretches, key=lambda stretch: stretch.low_hz):
        last = merged[-1] if merged else None
        if last is not None and _one_floor(last, one, left_out):
            widths = (last.high_hz - last.low_hz, one.high_hz - one.low_hz)
            mean = (last.difference_db * widths[0] + one.difference_db * widths[1]) / sum(widths)
            merged[-1] = Stretch(last.low_hz, one.high_hz, mean, max(last.u_db, one.u_db), is_floor=True)
        else:
            merged.append(one)
    return merged


def _one_floor(one: Stretch, other: Stretch, left_out: Sequence[tuple[float, float]]) -> bool:
    alike = one.is_floor and other.is_floor and abs(one.difference_db - other.difference_db) <= SHARP_DB
    between = other.low_hz - one.high_hz
    filled = sum(max(0.0, min(high, other.low_hz) - max(low, one.high_hz)) for low, high in left_out)
    return alike and between - filled <= 4 * GROUP_HZ
