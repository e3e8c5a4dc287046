"""By how much one survey shows the same air higher than another: over signals that both hold, and over their floors.

The floor is told apart, because it is mostly the instrument's own and says little about antenna and cable.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fallow.change.side_by_side import Levels, Pair
from fallow.change.values import BandOffset
from fallow.spectrum.statistics import normal_quantile

__all__ = ["Offset", "band_offsets", "beyond_chance", "floor_offset", "signal_offset", "varies"]

STRONG_DB = 10.0  # above the floor in both surveys: noise adds less than half a decibel
APART_HZ = 500e3  # strong windows so far apart belong to two emitters
FADING_DB = 1.0  # common practice: how well the level of one emitter repeats; for scatter that can't be seen
NORMAL_MAD = 1.4826
MEDIAN_COST = 1.2533
FEWEST_BEHIND = 4  # emitters from which their own scatter is believed
BANDS = 8
FEWEST_IN_BAND = 2  # one emitter alone may have changed by itself
NARROWEST_BAND_HZ = 20e6
VARIES_BY_CHANCE = 0.01


@dataclass(frozen=True)
class Offset:
    """New minus old in dB with its standard uncertainty, and how many emitters (or groups of floor) it rests on."""

    offset_db: float
    u_db: float
    behind: int


@dataclass(frozen=True)
class _Emitter:
    centre_hz: float
    difference_db: float


def signal_offset(pairs: Sequence[Pair]) -> Offset | None:
    """Median over the emitters that both surveys hold; ``None`` where there are none."""
    return _middle([emitter for pair in pairs for emitter in _shared(pair)])


def floor_offset(differences_db: Levels) -> Offset | None:
    """Median over groups of floor [dB, NaN where not known]; ``None`` where nothing is known."""
    known = differences_db[np.isfinite(differences_db)]
    if known.size == 0:
        return None
    middle = float(np.median(known))
    scatter = NORMAL_MAD * float(np.median(np.abs(known - middle)))
    return Offset(middle, max(0.05, MEDIAN_COST * scatter / math.sqrt(known.size)), int(known.size))


def band_offsets(pairs: Sequence[Pair]) -> tuple[BandOffset, ...]:
    """The same part by part of the spectrum: over signals where a part holds some, else over its floor."""
    found: list[BandOffset] = []
    for pair in pairs:
        low, high = float(pair.low_hz[pair.both].min()), float(pair.high_hz[pair.both].max())
        count = max(1, min(BANDS, int((high - low) / NARROWEST_BAND_HZ)))
        edges = np.linspace(low, high, count + 1)
        shared = _shared(pair)
        for begin, end in pairwise(edges):
            band = _middle([emitter for emitter in shared if begin <= emitter.centre_hz < end])
            seen_in = "signals"
            if band is None:
                band, seen_in = floor_offset(_floors(pair, float(begin), float(end))), "floor"
            if band is not None:
                found.append(BandOffset(round(begin), round(end), band.offset_db, band.u_db, seen_in, band.behind))
    return tuple(found)


def varies(bands: Sequence[BandOffset]) -> bool:
    """Whether the offsets of the bands that hold signals differ by more than chance. Source: χ² test of homogeneity."""
    from scipy import special  # heavy, so only where it is used

    told = [band for band in bands if band.seen_in == "signals" and band.behind >= FEWEST_IN_BAND]
    if len(told) < 2:
        return False
    weights = np.array([1.0 / band.u_db**2 for band in told])
    offsets = np.array([band.offset_db for band in told])
    mean = float((weights * offsets).sum() / weights.sum())
    chi_squared = float((weights * (offsets - mean) ** 2).sum())
    return float(special.chdtrc(len(told) - 1, chi_squared)) < VARIES_BY_CHANCE


def beyond_chance(offset: Offset, u_db: float) -> bool:
    """Whether an offset is more than its own and another uncertainty [dB] explain, at 99 %."""
    return abs(offset.offset_db) > normal_quantile(0.995) * math.hypot(offset.u_db, u_db)


def _shared(pair: Pair) -> list[_Emitter]:
    """What stands far above the floor in both surveys, emitter by emitter; lines of the instrument itself are none."""
    with np.errstate(invalid="ignore"):
        strong = pair.both & (pair.old.mean_db > pair.old.floor_db + STRONG_DB)
        strong &= pair.new.mean_db > pair.new.floor_db + STRONG_DB
    for side in (pair.old, pair.new):
        lines = side.evidence.own_lines | side.evidence.suspect_lines
        if lines.any():
            centres = side.evidence.heard.axis.centres_hz[lines]
            strong &= ~np.isin(np.arange(strong.size), np.searchsorted(pair.high_hz, centres))
    places = np.flatnonzero(strong)
    if places.size == 0:
        return []
    parts = np.split(places, np.flatnonzero(np.diff(pair.centre_hz[places]) > APART_HZ) + 1)
    return [_Emitter(float(pair.centre_hz[part].mean()), float(np.median(pair.difference_db[part]))) for part in parts]


def _middle(emitters: Sequence[_Emitter]) -> Offset | None:
    if not emitters:
        return None
    differences = np.array([emitter.difference_db for emitter in emitters])
    middle = float(np.median(differences))
    scatter = NORMAL_MAD * float(np.median(np.abs(differences - middle)))
    if differences.size < FEWEST_BEHIND:
        scatter = max(FADING_DB, float(np.ptp(differences)) / 2)
    return Offset(middle, max(0.05, MEDIAN_COST * scatter / math.sqrt(differences.size)), int(differences.size))


def _floors(pair: Pair, low_hz: float, high_hz: float) -> Levels:
    windows = pair.windows_in(low_hz, high_hz)
    return (pair.new.floor_db - pair.old.floor_db)[windows] - pair.noise_offset_db
