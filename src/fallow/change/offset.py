"""By how much one survey shows the same air higher than another: over signals that both hold, and over their floors.

The signals are found and weighed as those of the instruments of one survey are (``spectrum.shared``, ``offsets``). The
floor is told apart, because it is mostly the instrument's own and says little about antenna and cable.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.change.side_by_side import Levels, Pair
from fallow.change.values import BandOffset, Terms
from fallow.spectrum.instruments.instruments import BANDS, FEWEST_SIGNALS, NARROWEST_BAND_HZ
from fallow.spectrum.instruments.offsets import TWO_ANTENNAS_DB, paired_offset
from fallow.spectrum.instruments.shared import Shared, find_shared
from fallow.spectrum.instruments.stretches import propose_stretches, runs_looked_at
from fallow.spectrum.statistics import normal_quantile
from fallow.spectrum.verdicts.evidence import Evidence

__all__ = ["Offset", "SharedSignals", "band_offsets", "beyond_chance", "floor_offset", "stretch_offsets", "varies"]

FADING_DB = 1.0  # common practice: how well the level of one signal repeats on one antenna
NORMAL_MAD = 1.4826
MEDIAN_COST = 1.2533
VARIES_BY_CHANCE = 0.01
TOLD_BY_CHANCE = 0.01  # all bands together


@dataclass(frozen=True)
class Offset:
    """New minus old in dB with its standard uncertainty, and how many signals (or groups of floor) it rests on."""

    offset_db: float
    u_db: float
    behind: int


@dataclass(frozen=True, eq=False)
class SharedSignals:
    """The signals that an old and a new survey hold. ``usual_db``: how well one usually repeats between the two."""

    shared: Shared
    usual_db: float

    @staticmethod
    def of(old: Sequence[Evidence], new: Sequence[Evidence], *, same_chain: bool) -> SharedSignals:
        """Those of two surveys, on one antenna or on two."""
        return SharedSignals(find_shared([old, new]), FADING_DB if same_chain else TWO_ANTENNAS_DB)

    def offset(self, inside: NDArray[np.bool_] | None = None) -> Offset | None:
        """The middle over all of them, or over some, shape (signal,); ``None`` where there are none."""
        differences = self.shared.level_db[1] - self.shared.level_db[0]
        both = np.isfinite(differences) if inside is None else np.isfinite(differences) & inside
        if not both.any():
            return None
        found = paired_offset(differences[both], np.hypot(*self.shared.u_db)[both], self.usual_db)
        return Offset(found.difference_db, found.u_db, found.behind)


def floor_offset(differences_db: Levels) -> Offset | None:
    """Median over groups of floor [dB, NaN where not known]; ``None`` where nothing is known."""
    known = differences_db[np.isfinite(differences_db)]
    if known.size == 0:
        return None
    middle = float(np.median(known))
    scatter = NORMAL_MAD * float(np.median(np.abs(known - middle)))
    return Offset(middle, max(0.05, MEDIAN_COST * scatter / math.sqrt(known.size)), int(known.size))


def band_offsets(pairs: Sequence[Pair], signals: SharedSignals, terms: Terms) -> tuple[BandOffset, ...]:
    """The same part by part of the spectrum: over signals where a part holds some, else over its floor."""
    found: list[BandOffset] = []
    for pair in pairs:
        low, high = float(pair.low_hz[pair.both].min()), float(pair.high_hz[pair.both].max())
        count = max(1, min(BANDS, int((high - low) / NARROWEST_BAND_HZ)))
        for begin, end in pairwise(float(edge) for edge in np.linspace(low, high, count + 1)):
            band, seen_in = signals.offset(signals.shared.within(begin, end)), "signals"
            if band is None:
                band, seen_in = floor_offset(_floors(pair, begin, end)), "floor"
            if band is not None:
                found.append(_band(band, (begin, end), seen_in, terms, count))
    return tuple(found)


def stretch_offsets(signals: SharedSignals, terms: Terms) -> tuple[BandOffset, ...]:
    """Stretches of neighbouring signals, found from the data, over which the new survey reads unlike elsewhere by more
    than chance: rising in frequency, apart from each other. All runs of signals share the chance of an error.
    """
    differences = signals.shared.level_db[1] - signals.shared.level_db[0]
    looks = runs_looked_at(int(np.isfinite(differences).sum()))
    found: list[BandOffset] = []
    for first, last in propose_stretches(differences):
        inside = np.zeros(differences.size, dtype=bool)
        inside[first:last] = True
        here, beside = signals.offset(inside), signals.offset(~inside)
        if here is None or beside is None:
            continue
        unlike = Offset(here.offset_db - beside.offset_db, math.hypot(here.u_db, beside.u_db), here.behind)
        span = float(signals.shared.low_hz[first]), float(signals.shared.high_hz[last - 1])
        free = all(span[1] <= other.low_hz or other.high_hz <= span[0] for other in found)
        less_off = abs(here.offset_db) < abs(beside.offset_db)  # what is left beside it is the stretch
        if free and not less_off and beyond_chance(unlike, 0.0, looks):
            found.append(_band(here, span, "signals", terms, looks))
    return tuple(sorted(found, key=lambda band: band.low_hz))


def _band(band: Offset, span_hz: tuple[float, float], seen_in: str, terms: Terms, count: int) -> BandOffset:
    told = seen_in == "signals" and band.behind >= FEWEST_SIGNALS
    return BandOffset(
        low_hz=round(span_hz[0]),
        high_hz=round(span_hz[1]),
        offset_db=band.offset_db,
        u_db=band.u_db,
        seen_in=seen_in,
        behind=band.behind,
        beyond_chance=told and beyond_chance(band, 0.0, count),
        beyond_uncertainty=told and terms.absolute and beyond_chance(band, terms.u_db, count),
    )


def varies(bands: Sequence[BandOffset]) -> bool:
    """Whether the offsets of the bands that hold signals differ by more than chance. Source: χ² test of homogeneity."""
    from scipy import special  # heavy, so only where it is used

    told = [band for band in bands if band.seen_in == "signals" and band.behind >= FEWEST_SIGNALS]
    if len(told) < 2:
        return False
    weights = np.array([1.0 / band.u_db**2 for band in told])
    offsets = np.array([band.offset_db for band in told])
    mean = float((weights * offsets).sum() / weights.sum())
    chi_squared = float((weights * (offsets - mean) ** 2).sum())
    return float(special.chdtrc(len(told) - 1, chi_squared)) < VARIES_BY_CHANCE


def beyond_chance(offset: Offset, u_db: float, looks: int = 1) -> bool:
    """Whether an offset is more than its own and another uncertainty [dB] explain, at 99 %. ``looks``: how many such
    offsets share the chance of an error; what is common to all of them errs once.
    """
    own = normal_quantile(1.0 - TOLD_BY_CHANCE / looks / 2.0) * offset.u_db
    return abs(offset.offset_db) > math.hypot(own, normal_quantile(1.0 - TOLD_BY_CHANCE / 2.0) * u_db)


def _floors(pair: Pair, low_hz: float, high_hz: float) -> Levels:
    windows = pair.windows_in(low_hz, high_hz)
    return (pair.new.floor_db - pair.old.floor_db)[windows] - pair.noise_offset_db
