"""The noise floor per frequency: what the instrument shows where nothing transmits.

Bins are gathered into groups and their medians taken, so that lines, carriers and bursts drop out. Blocks (what rises
sharply and falls again) are then left out and the rest is followed smoothly. An even ripple is taken as the cable's, a
sharp step that does not come back as the instrument's own, between two of its ranges. The bias of the median is removed
by the gamma distribution of the readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard
from fallow.spectrum.levels import AT_ONCE
from fallow.spectrum.noise.crowded import HIGHEST_RISE_DB, senders_in_crowds
from fallow.spectrum.noise.ripple import find_ripple
from fallow.spectrum.noise.running import running_quantile, within
from fallow.spectrum.noise.uneven_floor import unevenness_db
from fallow.spectrum.statistics import median_of_valid, noise_quantile_db

__all__ = ["Floor", "Groups", "find_floor", "group_levels"]

GROUP_HZ = 250e3  # a few groups within the narrowest TV channel
FEWEST_GROUPS = 32
WIDEST_BLOCK_HZ = 110e6  # design decision: the widest downlink of mobile networks below 3 GHz is 75 MHz
FOLLOW_HZ = 4e6  # width over which the floor is smoothed
FEWEST_FOLLOWED = 15  # groups: coarse steps leave few readings in 4 MHz
ORDINARY_HZ = 160e6  # width over which the ordinary floor is looked for
SHARP_DB = 1.5
SHARP_SIGMAS = 6.0
UNSEEN_END_HZ = 40e6  # a step this near to the end of the data may be a block that is not seen whole
SHORT_HZ = 10e6  # what comes back within this is a block, however slowly; what takes longer needs an edge at its end
RETURN_GROUPS = 12  # 3 MHz
RETURN_SHARE = 0.6  # of the step, given back there
STEP_REACH = 2  # groups over which a step may be smeared: noise is taken as the higher side's there
RISE_SHARE = 0.25  # of the groups may be lower than the rise that is told for all
FEWEST_TOLD = 0.2  # of the groups around must be measured in a sweep, or it does not tell that the floor was up
MOST_ROWS = 200  # sweeps that the group medians need at most


@dataclass(frozen=True, eq=False)
class Groups:
    """Medians of groups of bins: ``levels_db`` of shape (sweep, group) as displayed means, ``typical_db`` (group,)
    over time. ``size``: bins in a group.
    """

    centres_hz: NDArray[np.float64]
    levels_db: NDArray[np.float32]
    typical_db: NDArray[np.float64]
    sigma_db: float
    width_hz: float
    size: int


@dataclass(frozen=True, eq=False)
class Floor:
    """The floor per bin [dB as displayed, mean power], shape (bin,).

    ``noise_db``: follows every smooth rise. ``ceiling_db``: the same, beside a step the higher side; what noise alone
    may show. ``ordinary_db``: the usual floor around, never higher; a rise of the first above the second is noise that
    comes from somewhere. ``u_db``: standard error of ``noise_db``. ``rises_db``: by how much the floor was up in each
    sweep, shape (sweep, group), over ``group_centres_hz``.
    ``uneven_db``: standard deviation of the levels of its stretches, where it dips here and there.
    """

    noise_db: NDArray[np.float64]
    ceiling_db: NDArray[np.float64]
    ordinary_db: NDArray[np.float64]
    u_db: float
    rises_db: NDArray[np.float32]
    group_centres_hz: NDArray[np.float64]
    uneven_db: float = 0.0


def find_floor(heard: Heard, reference_db: NDArray[np.float64] | None = None) -> Floor:
    """The floor of a series. ``reference_db``: what the instrument makes by itself, per bin, NaN where that is not
    known.
    """
    groups = group_levels(heard)
    floor, middle_db = _floor_of(heard, groups, reference_db)
    senders = senders_in_crowds(heard, middle_db)
    return _floor_of(heard, group_levels(heard, senders), reference_db)[0] if senders.any() else floor


def _floor_of(
    heard: Heard, groups: Groups, reference_db: NDArray[np.float64] | None
) -> tuple[Floor, NDArray[np.float64]]:
    """The floor by the medians of groups of bins; and the middle of the levels as it was followed, however high, per
    bin, NaN in blocks.
    """
    base = np.zeros(groups.centres_hz.size)
    if reference_db is not None and np.isfinite(reference_db).any():
        base = _at(heard.axis.centres_hz, reference_db, groups.centres_hz)
    excess = groups.typical_db - base
    if not np.isfinite(excess).any():
        nothing = np.full(heard.axis.n, np.nan)
        floor = Floor(nothing, nothing, nothing, 0.0, np.zeros_like(groups.levels_db), groups.centres_hz)
        return floor, nothing
    ripple = find_ripple(excess, groups.centres_hz)
    base, excess = base + ripple, excess - ripple
    blocks, cut_off, steps = find_blocks(excess, groups)
    middle, residual = _follow(excess, blocks, groups.width_hz)
    ordinary = _ordinary(middle, blocks | cut_off, steps, groups.width_hz)
    followed = np.minimum(middle, ordinary + HIGHEST_RISE_DB)
    in_open_air = np.where(blocks, np.float32(np.nan), groups.levels_db)  # a block that is on lifts no floor
    rises = _rises(in_open_air, base + followed, groups.width_hz)
    centres = heard.axis.centres_hz
    per_bin = _at(groups.centres_hz, ripple, centres) + (0.0 if reference_db is None else _filled(reference_db))
    floor = Floor(
        noise_db=per_bin + _at(groups.centres_hz, followed, centres),
        ceiling_db=per_bin + _at(groups.centres_hz, _highest_near(followed), centres),
        ordinary_db=per_bin + _at(groups.centres_hz, ordinary, centres),
        u_db=residual,
        rises_db=rises,
        group_centres_hz=groups.centres_hz,
        uneven_db=unevenness_db(_filled(excess), groups.sigma_db, groups.width_hz),
    )
    in_block = np.repeat(blocks, groups.size)[: heard.axis.n]
    return floor, np.where(in_block, np.nan, per_bin + _at(groups.centres_hz, middle, centres))


def group_levels(heard: Heard, without: NDArray[np.bool_] | None = None) -> Groups:
    """Medians over groups of neighbouring bins, for each sweep (of at most ``MOST_ROWS`` for the typical one).

    ``without``: bins that are not asked, shape (bin,).
    """
    size, step = heard.axis.n, float(np.median(heard.steps_hz))
    per_group = max(1, min(round(GROUP_HZ / step), size // FEWEST_GROUPS))
    count = math.ceil(size / per_group)
    padding = count * per_group - size
    centres = np.nanmean(
        np.pad(heard.axis.centres_hz, (0, padding), constant_values=np.nan).reshape(count, per_group), axis=1
    )
    levels = np.empty((heard.n_sweeps, count), dtype=np.float32)
    for sweeps, block in heard.levels_db.blocks():
        asked = block if without is None else np.where(without, np.float32(np.nan), block)
        padded = np.pad(asked, ((0, 0), (0, padding)), constant_values=np.nan).reshape(-1, count, per_group)
        levels[sweeps] = median_of_valid(padded, axis=2)
    levels -= np.float32(noise_quantile_db(0.5, heard.noise.shape))
    typical = median_of_valid(levels[:: max(1, heard.n_sweeps // MOST_ROWS)], axis=0)
    independent = max(1.0, per_group * min(1.0, step / heard.alike_hz))
    theory = (
        1.2533 * heard.noise.sd_db() / math.sqrt(independent * min(heard.looks, MOST_ROWS))
    )  # sd of a median: √(π/2)σ/√n
    seen = (
        float(median_of_valid(np.abs(np.diff(typical)), axis=0)) / 0.954 if count > 8 else theory
    )  # median |difference| of two = 0.954σ
    sigma = max(theory, min(seen, 3.0 * theory)) if math.isfinite(seen) else theory
    return Groups(centres, levels, typical, sigma, per_group * step, per_group)


def find_blocks(
    excess_db: NDArray[np.float64], groups: Groups
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.int64]]:
    """Groups that belong to a block; groups beyond a step near the end of the data, which may be a block cut off or
    another range of the instrument; and the places of steps that do not come back (the index right of the step).
    """
    filled = _filled(excess_db)
    rises = _steps(filled)
    least = max(SHARP_DB, SHARP_SIGMAS * groups.sigma_db)
    widest = round(WIDEST_BLOCK_HZ / groups.width_hz)
    unseen, short = round(UNSEEN_END_HZ / groups.width_hz), round(SHORT_HZ / groups.width_hz)
    blocks, cut_off = np.zeros(filled.size, dtype=bool), np.zeros(filled.size, dtype=bool)
    unreturned: list[int] = []
    for place in _peaks(np.abs(rises), least):
        first, last = _block_of(filled, int(place), float(rises[place]), widest)
        if first >= last:
            continue
        at_end = first == 0 if rises[place] < 0 else last == filled.size
        if at_end and last - first <= unseen:
            cut_off[first:last] = True
        elif at_end or last - first >= widest:
            unreturned.append(int(place))
        elif last - first <= short or _returns(filled, first, last, float(rises[place])):
            blocks[first:last] = True
    return blocks, cut_off & ~blocks, np.array(unreturned, dtype=np.int64)


def _returns(levels: NDArray[np.float64], first: int, last: int, rise_db: float) -> bool:
    """Whether the far end of a block is an edge too, within a few megahertz, and no slow slope."""
    near, beyond = (levels[max(first, last - RETURN_GROUPS) : last], levels[last : last + 3])
    if rise_db < 0:
        near, beyond = levels[first : min(last, first + RETURN_GROUPS)], levels[max(0, first - 3) : first]
    return bool(near.max() - np.median(beyond) >= RETURN_SHARE * abs(rise_db))


def _block_of(levels: NDArray[np.float64], place: int, rise_db: float, widest: int) -> tuple[int, int]:
    """From a step to where the level has come back half-way: first and last (exclusive) index of the higher side."""
    if rise_db < 0:
        first, last = _block_of(levels[::-1], levels.size - place, -rise_db, widest)
        return levels.size - last, levels.size - first
    half_way = float(np.median(levels[max(0, place - 3) : place])) + rise_db / 2
    high = levels > half_way
    near = np.flatnonzero(high[place : place + 3])
    if near.size == 0:
        return place, place
    first = place + int(near[0])
    while first > 0 and high[first - 1]:
        first -= 1
    low_again = np.flatnonzero(~high[place + int(near[0]) : first + widest])
    last = place + int(near[0]) + int(low_again[0]) if low_again.size else min(first + widest, levels.size)
    return first, last


def _steps(levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """By how much the median of three groups from each place on is above that of the three before it; 0 at the ends."""
    rises = np.zeros(levels.size)
    if levels.size >= 4:
        padded = np.pad(levels, 1, mode="edge")
        smooth = np.median(np.lib.stride_tricks.sliding_window_view(padded, 3), axis=1)
        after = np.append(smooth[1:], smooth[-1])
        before = np.concatenate([smooth[:1], smooth[:1], smooth[:-2]])
        rises[1:] = (after - before)[1:]
    return rises


def _peaks(sizes: NDArray[np.float64], least: float) -> NDArray[np.int64]:
    """Places of local maxima of at least ``least``."""
    padded = np.pad(sizes, 1)
    highest = (sizes >= padded[:-2]) & (sizes > padded[2:])
    return np.flatnonzero(highest & (sizes >= least))


def _follow(
    excess_db: NDArray[np.float64], blocks: NDArray[np.bool_], width_hz: float
) -> tuple[NDArray[np.float64], float]:
    """The level outside blocks, smoothed and carried across them; and its standard error in dB."""
    open_air = np.where(blocks, np.nan, excess_db)
    if not np.isfinite(open_air).any():
        low = float(np.nanpercentile(excess_db, 10))
        open_air = np.where(excess_db <= low, excess_db, np.nan)
    window = max(FEWEST_FOLLOWED, round(FOLLOW_HZ / width_hz))
    followed = running_quantile(open_air, window, 0.5)
    residual = np.abs(open_air - followed)
    sd = 1.4826 * float(np.nanmedian(residual))  # MAD of a normal distribution
    count = max(1.0, min(window, np.isfinite(open_air).sum()))
    return _filled(np.where(np.isfinite(open_air), followed, np.nan)), 1.2533 * sd / math.sqrt(count)


def _highest_near(levels: NDArray[np.float64]) -> NDArray[np.float64]:
    padded = np.pad(levels, STEP_REACH, mode="edge")
    return np.asarray(
        np.lib.stride_tricks.sliding_window_view(padded, 2 * STEP_REACH + 1).max(axis=1), dtype=np.float64
    )


def _ordinary(
    followed: NDArray[np.float64], blocks: NDArray[np.bool_], steps: NDArray[np.int64], width_hz: float
) -> NDArray[np.float64]:
    """A low quantile over a wide window, separately between steps that do not come back; never above ``followed``."""
    window = max(3, round(ORDINARY_HZ / width_hz))
    parts = np.split(np.where(blocks, np.nan, followed), steps)
    low = np.concatenate([running_quantile(part, window, 0.2) if part.size else part for part in parts])
    return np.fmin(_filled(low) if np.isfinite(low).any() else followed, followed)


def _rises(levels_db: NDArray[np.float32], usual_db: NDArray[np.float64], width_hz: float) -> NDArray[np.float32]:
    """By how much the floor as a whole was up in each sweep: the lower quartile over a wide window, never below 0."""
    window = max(3, round(30e6 / width_hz))
    rises = np.zeros_like(levels_db)
    if levels_db.shape[0] == 1:
        return rises
    at_once = max(1, AT_ONCE // levels_db.shape[1])
    for begin in range(0, levels_db.shape[0], at_once):
        excess = levels_db[begin : begin + at_once] - usual_db
        for row in np.flatnonzero(_is_up_somewhere(excess, window, RISE_SHARE)):
            up = running_quantile(excess[row], window, RISE_SHARE)
            told = within(np.isfinite(excess[row : row + 1]), window)[0] >= FEWEST_TOLD * min(window, up.size)
            rises[begin + row] = np.where(told, np.maximum(0.0, np.nan_to_num(up)), 0.0)
    return rises


def _is_up_somewhere(excess_db: NDArray[np.float64], window: int, share: float) -> NDArray[np.bool_]:
    """Rows whose running quantile is above 0 at some place, shape (row,): counted, which is quicker than sorting."""
    valid = within(np.isfinite(excess_db), window)
    lower = within(excess_db <= 0, window)
    return np.asarray(((valid > 0) & (lower <= np.round(share * (valid - 1)))).any(axis=1))


def _filled(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """NaN replaced along straight lines between the valid neighbours."""
    valid = np.isfinite(values)
    if valid.all() or not valid.any():
        return values
    places = np.arange(values.size)
    return np.interp(places, places[valid], values[valid])


def _at(from_hz: NDArray[np.float64], values: NDArray[np.float64], to_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Straight lines between the valid values, carried on level beyond the ends."""
    valid = np.isfinite(values)
    return np.interp(to_hz, from_hz[valid], values[valid])
