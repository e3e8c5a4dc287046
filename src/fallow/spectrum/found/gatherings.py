"""Emitters that belong together: combs of lines at one spacing; short bursts that hop over a raster of channels."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.regular import Regular, find_regular, lone_distances, told_chance
from fallow.spectrum.found.standing_out import BRIDGE_HZ, FALSE_EMITTERS, Stretch
from fallow.spectrum.heard import Heard
from fallow.spectrum.verdicts.deciding import Evidence
from fallow.units import format_width

__all__ = ["Gathering", "find_combs", "find_hopping"]

BY_LUCK = 0.01
FEWEST_LINES = 8
MOST_MISSING = 4  # spacings from one line of a comb to the next
LED_SHARE = 0.7  # of the lines in a comb that must be its own
LIKE_SHARE = 0.15  # how much spacings may differ from their neighbours
WEAKER_DB = 8.0  # than a line this near: no line of the same comb
NEAR_HZ = 1.2e6
LIKE_DB = 3.0  # from one line of a comb to the next. Common practice
FADES_DB = 1.0  # of a line against the others, from sweep to sweep: lines of one source do not fade apart
FEWEST_OF_ONE_SOURCE = 13  # lines; as many microphones of one shop fill a rack. Common practice
RASTER_HZ = 25e3  # channels of radio microphones lie on multiples of it (common practice); a source knows of none
TOGETHER_SHARE = 0.8  # of the time that any line of a comb is on
ECHO = 0.3  # correlation of a level with itself one spacing on: the comb goes on there
FEWEST_HOPS = 12
FEWEST_CHANNELS = 8
REGION_HZ = 10e6  # hops farther apart are others
MOST_ROWS = 2000  # sweeps that are looked at for hops
SPARSE_SHARE = 0.25  # of the region that is on at once
STAYS_SHARE = 0.3  # of the hops that are still there in the next sweep


@dataclass(frozen=True)
class Gathering:
    """Stretches (by index) that are one emitter; what it looks like, and why."""

    members: tuple[int, ...]
    looks_like: str
    clues: tuple[str, ...]


def find_combs(evidence: Evidence, stretches: list[Stretch], on: NDArray[np.bool_]) -> list[Gathering]:
    """Lines at one spacing, which may drift slowly along the comb; what lies between them belongs to it.

    ``on``: in which sweeps each stretch was on, shape (sweep, stretch). Wants ``FEWEST_OF_ONE_SOURCE`` lines of slowly
    changing level that are on together, do not fade apart and keep to no raster of channels, and a chance below
    ``BY_LUCK`` that lines at random places look so. Evenly spaced carriers with less evidence stay emitters each.
    """
    heard = evidence.heard
    lines = [index for index, one in enumerate(stretches) if not one.broad]
    if len(lines) < FEWEST_LINES:
        return []
    peaks = np.array([np.nanmax(heard.highest_db[stretches[k].first : stretches[k].last]) for k in lines])
    centres = np.array([(stretches[k].first + stretches[k].last - 1) / 2 for k in lines])
    kept = _prominent(centres, peaks, NEAR_HZ / float(heard.axis.step_hz))
    combs = []
    for begin, end in _tracked(centres[kept]):
        places = centres[kept[begin : end + 1]]
        found = _comb(places, kept.size, 1.0 + BRIDGE_HZ / float(heard.axis.step_hz))
        own = kept[begin : end + 1]
        if found is None or found.count < FEWEST_OF_ONE_SOURCE or _on_raster(found, float(heard.axis.step_hz)):
            continue
        members = [lines[k] for k in own]
        if _of_one_source(peaks[own], on[:, members]) and not _fade_apart(heard, [stretches[k] for k in members]):
            combs.append(_gathered(evidence, stretches, (float(places[0]), float(places[-1])), found))
    return combs


def _of_one_source(peaks_db: NDArray[np.float64], on: NDArray[np.bool_]) -> bool:
    """Whether lines change slowly in level from each to the next and are on together; users of one raster are not."""
    together = float(on.mean()) / max(float(on.any(axis=1).mean()), 1e-9)
    return float(np.median(np.abs(np.diff(peaks_db)))) <= LIKE_DB and together >= TOGETHER_SHARE


def _on_raster(found: Regular, step_hz: float) -> bool:
    """Whether the spacing is a multiple of ``RASTER_HZ``, as near as so many lines tell it."""
    spacing_hz = found.step * step_hz
    away_hz = abs(spacing_hz - RASTER_HZ * round(spacing_hz / RASTER_HZ))
    return away_hz <= 2.0 * found.deviation * step_hz / found.count


def _fade_apart(heard: Heard, lines: list[Stretch]) -> bool:
    """Whether the levels of lines move against each other from sweep to sweep, by more than their noise does."""
    levels = [heard.levels_db[:MOST_ROWS, one.first : one.last].astype(np.float64) for one in lines]
    power_db = 10.0 * np.log10(np.stack([np.nanmean(10.0 ** (level / 10.0), axis=1) for level in levels]))
    power_db = power_db[:, np.isfinite(power_db).all(axis=0)]
    if power_db.shape[1] < 2:
        return False
    apart_db = (power_db - np.median(power_db, axis=0)).std(axis=1, ddof=1)
    cells = np.median([one.last - one.first for one in lines]) * min(1.0, float(heard.axis.step_hz) / heard.alike_hz)
    noise_db = heard.noise.sd_db() / math.sqrt(max(1.0, float(cells)))
    return float(np.median(apart_db)) > math.hypot(FADES_DB, noise_db)


def _prominent(centres: NDArray[np.float64], peaks_db: NDArray[np.float64], reach: float) -> NDArray[np.int64]:
    """Indices of lines that have no much stronger one near; the lines of a comb differ slowly from one to the next."""
    first, last = np.searchsorted(centres, centres - reach), np.searchsorted(centres, centres + reach, side="right")
    strongest = np.maximum.reduceat(np.append(peaks_db, -np.inf), np.stack([first, last], axis=1).ravel())[::2]
    return np.flatnonzero(peaks_db >= strongest - WEAKER_DB)


def _tracked(places: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Runs of lines that a slowly drifting spacing leads through, others between them allowed: first and last index."""
    runs, begin = [], 0
    while begin < places.size - 1:
        met = _followed(places, begin)
        if len(met) >= FEWEST_LINES and len(met) >= LED_SHARE * (met[-1] - begin + 1):
            runs.append((begin, met[-1]))
            begin = met[-1]
        begin += 1
    return runs


def _followed(places: NDArray[np.float64], begin: int) -> list[int]:
    """The lines that are met from ``begin`` on with the spacing to the next line, adapted a little at each."""
    met, spacing, multiple = [begin, begin + 1], float(places[begin + 1] - places[begin]), 1
    while multiple <= MOST_MISSING:
        expected = places[met[-1]] + multiple * spacing
        index = int(np.searchsorted(places, expected - LIKE_SHARE * spacing))
        if index < places.size and places[index] <= expected + LIKE_SHARE * spacing:
            spacing += float(places[index] - expected) / multiple / 4
            met.append(index)
            multiple = 1
        else:
            multiple += 1
    return met


def _comb(places: NDArray[np.float64], lines: int, resolved: float) -> Regular | None:
    """The spacing of lines, if lines at random places would show it anywhere less than once in a hundred.

    ``lines``: how many there were to pick from; ``resolved``: the least distance of two lines, in bins.
    """
    distances = np.diff(places)
    least = int(min(resolved, distances.min()))
    lone = lone_distances(1.0 / max(1.5, float(distances.mean()) - least + 1.0), least, int(distances.max()) * 4)
    found = find_regular(distances, lone)
    if found is None:
        return None
    chance = min(1.0, found.chance * lines**2)  # as many runs of lines could have been picked
    return Regular(found.step, found.deviation, places.size, chance) if chance < BY_LUCK else None


def _gathered(evidence: Evidence, stretches: list[Stretch], ends: tuple[float, float], found: Regular) -> Gathering:
    step_hz = float(evidence.heard.axis.step_hz)
    first, last = ends[0] - found.step / 2, ends[1] + found.step / 2
    members = [k for k, one in enumerate(stretches) if first <= (one.first + one.last - 1) / 2 <= last]
    members += [
        k
        for k in (members[0] - 1, members[-1] + 1)
        if 0 <= k < len(stretches) and _goes_on(evidence, stretches[k], (first, last), found.step)
    ]
    clue = (
        f"comb of {found.count} lines, about {format_width(found.step * step_hz)} apart "
        f"(within {format_width(found.deviation * step_hz)}); by luck: {told_chance(found.chance)}"
    )
    return Gathering(tuple(sorted(members)), "unknown", (clue, "one source makes such a comb, nearby or inside"))


def _goes_on(evidence: Evidence, beside: Stretch, span: tuple[float, float], spacing: float) -> bool:
    """Whether a stretch at the comb's end repeats itself with the comb's spacing."""
    lag = round(spacing)
    away = max(beside.first - span[1], span[0] - beside.last)
    if away > 2 * spacing or beside.last - beside.first < 3 * lag:
        return away <= spacing and beside.last - beside.first < spacing
    level = evidence.heard.mean_db[beside.first : beside.last]
    level = np.nan_to_num(level - np.nanmedian(level))
    return any(float(np.corrcoef(level[:-k], level[k:])[0, 1]) >= ECHO for k in (lag - 1, lag, lag + 1) if k > 0)


# --- hopping


@dataclass(frozen=True, eq=False)
class _Hops:
    """Short runs of bins that were on in single sweeps, arrays of shape (hop,)."""

    sweep: NDArray[np.int64]
    centre: NDArray[np.float64]
    width: NDArray[np.int64]


def find_hopping(evidence: Evidence, stretches: list[Stretch]) -> list[Gathering]:
    """Bursts of one width that never stay and keep to a raster of channels.

    ``stretches``: those that are not on all the time. Sweeps must be many enough to show ``FEWEST_HOPS``.
    """
    step_hz = float(evidence.heard.axis.step_hz)
    found: list[Gathering] = []
    group: list[int] = []
    for index, one in enumerate([*stretches, None]):
        beyond = group and one is not None and (one.first - stretches[group[-1]].last) * step_hz > REGION_HZ
        if group and (one is None or beyond):
            clues = _hopping(evidence, [stretches[k] for k in group])
            if clues:
                found.append(Gathering(tuple(group), "hopping", clues))
            group = []
        group.append(index)
    return found


def _hopping(evidence: Evidence, stretches: list[Stretch]) -> tuple[str, ...]:
    hops = _hops(evidence, stretches)
    if hops.sweep.size < FEWEST_HOPS:
        return ()
    usual = float(np.median(hops.width))
    like = (hops.width >= usual / 2) & (hops.width <= usual * 2)
    extent = float(hops.centre[like].max() - hops.centre[like].min()) + usual
    sweeps = np.unique(hops.sweep).size
    on_share = float(hops.width.sum()) / (sweeps * extent)
    if like.mean() < 0.7 or on_share > SPARSE_SHARE or _staying(hops) > STAYS_SHARE:
        return ()
    channels = _channels(hops.centre[like], usual)
    distances = np.diff(channels)
    if channels.size < FEWEST_CHANNELS:
        return ()
    least = int(min(distances.min(), usual / 2 + 1))  # nearer ones are taken for one channel
    lone = lone_distances(1.0 / max(1.5, float(distances.mean()) - least + 1.0), least, int(distances.max()) * 4)
    raster = find_regular(distances, lone)
    if raster is None or raster.chance >= BY_LUCK:
        return ()
    step_hz = float(evidence.heard.axis.step_hz)
    return (
        f"{hops.sweep.size} short bursts of about {format_width(usual * step_hz)} on {channels.size} channels, in "
        f"{sweeps} sweeps; hardly any is still there in the next sweep",
        f"the channels are multiples of {format_width(raster.step * step_hz)} apart; by luck: "
        f"{told_chance(raster.chance)}",
    )


def _hops(evidence: Evidence, stretches: list[Stretch]) -> _Hops:
    """What was on in each sweep within the stretches."""
    heard, floor = evidence.heard, evidence.floor
    lifted = np.interp(heard.axis.centres_hz, floor.group_centres_hz, floor.rises_db.max(axis=0))
    single = float(heard.upper_tail.exceeded_db(FALSE_EMITTERS / (heard.axis.n * heard.n_sweeps)))
    parts = []
    for one in stretches:
        bins = slice(one.first, one.last)
        level = heard.levels_db[:MOST_ROWS, bins]
        top = np.fmax.reduce(level, axis=1, keepdims=True)  # what is far below the strongest is its skirt
        least = (floor.noise_db + lifted)[bins] + max(single, 4.0)
        on = np.nan_to_num(level, nan=-np.inf) > np.maximum(least, top - 15.0)
        edges = np.diff(np.pad(on.astype(np.int8), ((0, 0), (1, 1))), axis=1)
        sweep, first = np.nonzero(edges == 1)
        last = np.nonzero(edges == -1)[1]
        parts.append((sweep, one.first + (first + last - 1) / 2, last - first))
    return _Hops(*(np.concatenate([part[k] for part in parts]) for k in range(3)))


def _staying(hops: _Hops) -> float:
    """Share of the hops at whose place another one is in the next sweep."""
    stays = 0
    for sweep in np.unique(hops.sweep):
        now, then = hops.centre[hops.sweep == sweep], hops.centre[hops.sweep == sweep + 1]
        if then.size:
            half = float(np.median(hops.width)) / 2
            stays += int((np.abs(now[:, None] - then[None, :]).min(axis=1) <= half).sum())
    return stays / max(1, hops.sweep.size)


def _channels(centres: NDArray[np.float64], width: float) -> NDArray[np.float64]:
    """Mean centres of hops that lie within half a width of each other."""
    ordered = np.sort(centres)
    groups = np.split(ordered, np.flatnonzero(np.diff(ordered) > width / 2) + 1)
    return np.array([float(np.mean(group)) for group in groups])
