"""Several instruments in one survey: how far their levels differ, and which of them can't be believed.

Offsets come from the signals that several of them hold. One that lies farther from the others than the uncertainty of
both explains is named, if most of the others agree among each other; of two alone nobody knows which is wrong. Levels
are never corrected by an offset: that most agree does not make them right. The chance that any is named wrongly is
shared out among all units, bands and stretches that are looked at.

Source: the decision by JCGM 106:2012, 7.4; errors that all share cancel in a difference (JCGM 100:2008, F.1.2.3);
taking out the farthest first, as in Rosner, Technometrics 25 (1983) 165-172 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.chain import Chain, budget_of, combined_u_db
from fallow.spectrum.instruments.offsets import Difference, Offsets, fit_offsets
from fallow.spectrum.instruments.shared import Shared, find_shared
from fallow.spectrum.instruments.stretches import FEWEST_IN_STRETCH, propose_stretches, runs_looked_at
from fallow.spectrum.statistics import median_of_valid, normal_quantile
from fallow.spectrum.verdicts.evidence import Evidence

__all__ = [
    "Instruments",
    "Misreading",
    "Quarrel",
    "bands_of",
    "compare_instruments",
    "compare_shared",
    "differing_u_db",
    "unit_of",
]

BANDS = 8
NARROWEST_BAND_HZ = 20e6
FEWEST_SIGNALS = 2  # one alone may have changed, or stand in a shadow
WORTH_A_LOOK = 0.7  # of what a unit's own uncertainty allows: stretches nearer to the others are passed over
Table = NDArray[np.float64]
Span = tuple[float, float]


@dataclass(frozen=True)
class Misreading:
    """A unit that reads lower (``difference_db`` negative) or higher than most others, by more than explained.

    ``low_hz``, ``high_hz``: where its levels are not to be believed; ``told_hz``: where that was seen. ``u_db`` of the
    difference itself; ``allowed_db``: what the uncertainty of both explains at the confidence; ``others``: how many
    units it was held against; ``behind``: signals. ``at_least``: it does not show what it would have to show.
    """

    unit: str
    low_hz: float
    high_hz: float
    told_hz: tuple[float, float]
    difference_db: float
    u_db: float
    allowed_db: float
    others: int
    behind: int
    at_least: bool


@dataclass(frozen=True)
class Quarrel:
    """Units that differ by more than explained, though nobody can say which of them is wrong; hertz as above."""

    units: tuple[str, ...]
    told_hz: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Instruments:
    """The instruments of a survey compared. ``units``: their names, as ``unit_of`` gives them.

    ``offsets``: over all that they share, shape (unit,); ``shared``: the signals. ``misreadings``, ``quarrels``: what
    is wrong. ``allowed_db``: by how much two units may differ at the confidence, their own uncertainty alone.
    """

    units: tuple[str, ...]
    shared: Shared
    offsets: Offsets
    misreadings: tuple[Misreading, ...]
    quarrels: tuple[Quarrel, ...]
    allowed_db: float

    def against_median(self, unit: int) -> Difference:
        """A unit's offset against the median of those that share signals with it; NaN where none does."""
        if self.offsets.group[unit] < 0:
            return Difference(math.nan, math.nan, 0)
        members = self.offsets.group == self.offsets.group[unit]
        offset = float(self.offsets.offset_db[unit] - np.median(self.offsets.offset_db[members]))
        told = self.offsets.against(unit, members.astype(np.float64))
        return Difference(offset, told.u_db, told.behind)

    def told_hz(self, units: Sequence[int]) -> tuple[float, float]:
        """From the lowest to the highest signal that some units hold, in hertz."""
        known = np.isfinite(self.shared.level_db[list(units)])
        return _span(self.shared, known.sum(axis=0) >= min(2, len(units)))


def unit_of(part: Evidence) -> str:
    """What stands for the instrument of a series: its name, else the file that it came from."""
    return part.heard.instrument or part.heard.source


def differing_u_db(chain: Chain | None) -> float:
    """Standard uncertainty of one unit's levels [dB] without what all units share: the parts that the chain states.

    What the chain does not state (an antenna of its own for each) differs from unit to unit.
    """
    parts = () if chain is None else chain.parts
    stated = {part.kind for part in parts} - {"instrument"}
    own = budget_of(Chain(tuple(part for part in parts if part.kind == "instrument")))
    return combined_u_db(line for line in own if line.part not in stated)


def compare_instruments(evidence: Sequence[Evidence], u_db: float, confidence_pct: float) -> Instruments | None:
    """Compare the units of a survey. ``u_db``: standard uncertainty of each, without what they share [dB]; with 0 the
    offsets are told and nothing is named. ``None`` where all series are of one unit.
    """
    units = tuple(dict.fromkeys(unit_of(part) for part in evidence))
    if len(units) < 2:
        return None
    shared = find_shared([[part for part in evidence if unit_of(part) == unit] for unit in units])
    return compare_shared(units, shared, u_db, confidence_pct)


def compare_shared(units: Sequence[str], shared: Shared, u_db: float, confidence_pct: float) -> Instruments:
    """The same from the signals that units share."""
    offsets = fit_offsets(shared.level_db, shared.u_db)
    miss = 1.0 - confidence_pct / 100.0
    found, quarrels = ((), ()) if u_db == 0.0 else _name(units, shared, offsets, u_db, miss)
    allowed = normal_quantile(1.0 - miss / 2.0) * math.sqrt(2.0) * u_db
    return Instruments(tuple(units), shared, offsets, found, quarrels, allowed)


def bands_of(shared: Shared) -> list[tuple[float, float]]:
    """Parts of the spectrum in which offsets are told one by one, in hertz; the highest edge lies outside."""
    if shared.low_hz.size == 0:
        return []
    low, high = float(shared.low_hz[0]), float(shared.high_hz[-1]) + 1.0
    count = max(1, min(BANDS, int((high - low) / NARROWEST_BAND_HZ)))
    return list(pairwise(float(edge) for edge in np.linspace(low, high, count + 1)))


# --- naming


@dataclass(frozen=True)
class _Rules:
    """What naming goes by: the unit's own uncertainty [dB], the two-sided chance of an error in one look, and how many
    ``runs`` of signals were looked at, in each of which the signals (not the unit) scatter anew.
    """

    u_db: float
    miss: float
    runs: int = 1


@dataclass(frozen=True, eq=False)
class _Signals:
    """The signals that are held against each other. ``levels_db``: with what units ought to hold and do not;
    ``errors_db``: of each; shapes (unit, signal).
    """

    shared: Shared
    levels_db: Table
    errors_db: Table

    def fitted(self, inside: NDArray[np.bool_] | None = None) -> Offsets:
        """The units' offsets over all signals, or over some, shape (signal,)."""
        which = slice(None) if inside is None else inside
        return fit_offsets(self.levels_db[:, which], self.errors_db[:, which])

    def up_to_neighbours(self, unit: int, first: int, last: int) -> Span:
        """From the last signal that a unit shows before a run of signals to the next one after it, hertz."""
        known = np.flatnonzero(np.isfinite(self.levels_db[unit]))
        before, after = known[known < first], known[known >= last]
        low = float(self.shared.high_hz[before[-1]]) if before.size else 0.0
        return low, float(self.shared.low_hz[after[0]]) if after.size else math.inf


@dataclass(frozen=True)
class _Named:
    unit: int
    difference: Difference
    allowed_db: float
    others: int


def _name(
    units: Sequence[str], shared: Shared, offsets: Offsets, u_db: float, miss: float
) -> tuple[tuple[Misreading, ...], tuple[Quarrel, ...]]:
    """What is wrong: over everything, band by band, and in stretches found from the signals; half of the chance of an
    error for the first, a quarter for each of the others.
    """
    table = _Signals(shared, shared.missed(offsets.offset_db), np.where(np.isfinite(shared.u_db), shared.u_db, 0.0))
    bands = bands_of(shared)
    whole, quarrel = _outliers(table.fitted(), _Rules(u_db, miss / 2.0))
    rules = _Rules(u_db, miss / 4.0 / max(1, len(bands)))
    by_band: list[tuple[Span, list[_Named]]] = []
    for band in bands if len(bands) > 1 else ():
        fitted = table.fitted(shared.within(*band))
        by_band.append((band, _outliers(fitted, rules)[0]))
        whole = [one for one in whole if not _is_fine_there(one, fitted, rules)]
    stretches = _in_stretches(table, _Rules(u_db, miss / 4.0, runs_looked_at(shared.low_hz.size)))
    whole = [one for one in whole if not _is_fine_beside(one, stretches, table, rules)]
    told = {one.unit for one in whole}
    found = [_misreading(units, table, one, (0.0, math.inf)) for one in whole]
    stretched = [_misreading(units, table, one, span) for span, one in stretches if one.unit not in told]
    for band, named in by_band:
        apart = [one for one in named if one.unit not in told and not _overlaps(units[one.unit], band, stretched)]
        found += [_misreading(units, table, one, band) for one in apart]
    quarrels = [Quarrel(tuple(units[unit] for unit in group), _span_of(shared, group)) for group in quarrel]
    return (*_joined(found), *stretched), tuple(quarrels)


def _in_stretches(table: _Signals, rules: _Rules) -> list[tuple[Span, _Named]]:
    """Units that lie off the others in a stretch of signals, each with where it is not to be believed: up to the next
    signals that it shows as others do.
    """
    found: list[tuple[Span, _Named]] = []
    count = table.levels_db.shape[0]
    least = WORTH_A_LOOK * normal_quantile(1.0 - rules.miss / count / 2.0) * rules.u_db
    for unit in range(count if count > 2 else 0):
        apart = table.levels_db[unit] - median_of_valid(np.delete(table.levels_db, unit, axis=0), axis=0)
        for first, last in propose_stretches(apart):
            if abs(float(np.nanmedian(apart[first:last]))) < least:
                continue
            inside = np.zeros(table.shared.low_hz.size, dtype=bool)
            inside[first:last] = True
            span = table.up_to_neighbours(unit, first, last)
            named = [one for one in _outliers(table.fitted(inside), rules)[0] if one.unit == unit]
            if named and not any(_meet(span, other) for other, one in found if one.unit == unit):
                found += [(span, one) for one in named if one.difference.behind >= FEWEST_IN_STRETCH]
    return found


def _is_fine_beside(one: _Named, stretches: Sequence[tuple[Span, _Named]], table: _Signals, rules: _Rules) -> bool:
    """Whether a unit that is off as a whole is so because of stretches, and agrees with the others beside them."""
    spans = [span for span, other in stretches if other.unit == one.unit]
    beside = np.ones(table.shared.low_hz.size, dtype=bool)
    for low, high in spans:
        beside &= ~table.shared.within(low, high)
    return bool(spans) and bool(beside.any()) and _is_fine_there(one, table.fitted(beside), rules)


def _overlaps(unit: str, band: Span, stretched: Sequence[Misreading]) -> bool:
    """Whether a band touches a stretch that tells the same of a unit more exactly."""
    return any(one.unit == unit and _meet(band, (one.low_hz, one.high_hz)) for one in stretched)


def _meet(one: Span, other: Span) -> bool:
    return one[0] < other[1] and other[0] < one[1]


def _outliers(offsets: Offsets, rules: _Rules) -> tuple[list[_Named], list[list[int]]]:
    """Units that lie off the others, group by group; and groups in which most do not agree, so that none is named."""
    named: list[_Named] = []
    quarrels: list[list[int]] = []
    for which in range(int(offsets.group.max(initial=-1)) + 1):
        left = [int(unit) for unit in np.flatnonzero(offsets.group == which)]
        count = len(left)
        off: list[_Named] = []
        while len(left) > 2:
            farthest = max((_held_against(offsets, unit, left, rules, count) for unit in left), key=_excess)
            if _excess(farthest) <= 1.0:
                break
            off.append(farthest)
            left.remove(farthest.unit)
        apart = len(left) == 2 and _excess(_held_against(offsets, left[0], left, rules, 1)) > 1.0
        if apart or len(off) >= len(left):
            quarrels.append([int(unit) for unit in np.flatnonzero(offsets.group == which)])
        else:
            named += [one for one in off if one.difference.behind >= FEWEST_SIGNALS]
    return named, quarrels


def _held_against(offsets: Offsets, unit: int, among: Sequence[int], rules: _Rules, looks: int) -> _Named:
    """One unit against the mean of the others among some. ``looks``: how many units share the chance of an error."""
    weights = np.zeros(offsets.group.size)
    weights[[other for other in among if other != unit]] = 1.0
    difference = offsets.against(unit, weights)
    others = len(among) - 1
    own = normal_quantile(1.0 - rules.miss / looks / 2.0) * rules.u_db * math.sqrt(1.0 + 1.0 / others)
    by_signals = normal_quantile(1.0 - rules.miss / looks / rules.runs / 2.0) * difference.u_db
    return _Named(unit, difference, math.hypot(own, by_signals), others)


def _excess(one: _Named) -> float:
    return abs(one.difference.difference_db) / one.allowed_db


def _is_fine_there(one: _Named, fitted: Offsets, rules: _Rules) -> bool:
    """Whether a unit that is off as a whole agrees with the others in one band, less than half as far off."""
    members = [int(unit) for unit in np.flatnonzero(fitted.group == fitted.group[one.unit])]
    if fitted.group[one.unit] < 0 or len(members) < 3:
        return False
    there = _held_against(fitted, one.unit, members, rules, len(members)).difference
    return there.behind >= FEWEST_SIGNALS and abs(there.difference_db) < abs(one.difference.difference_db) / 2.0


def _misreading(units: Sequence[str], table: _Signals, one: _Named, where: Span) -> Misreading:
    shared = table.shared
    told = shared.within(*where) & np.isfinite(table.levels_db[one.unit])
    return Misreading(
        unit=units[one.unit],
        low_hz=where[0],
        high_hz=where[1],
        told_hz=_span(shared, told),
        difference_db=one.difference.difference_db,
        u_db=one.difference.u_db,
        allowed_db=one.allowed_db,
        others=one.others,
        behind=int(told.sum()),
        at_least=bool(np.isnan(shared.level_db[one.unit, told]).any()),
    )


def _joined(found: Iterable[Misreading]) -> tuple[Misreading, ...]:
    """Neighbouring bands in which one unit is off in the same direction as one."""
    joined: list[Misreading] = []
    for one in sorted(found, key=lambda misreading: (misreading.unit, misreading.low_hz)):
        last = joined[-1] if joined else None
        same = last is not None and last.unit == one.unit and last.difference_db * one.difference_db > 0
        if last is None or not same or one.low_hz > last.high_hz:
            joined.append(one)
            continue
        shares = (last.behind / (last.behind + one.behind), one.behind / (last.behind + one.behind))
        joined[-1] = Misreading(
            unit=one.unit,
            low_hz=last.low_hz,
            high_hz=one.high_hz,
            told_hz=(last.told_hz[0], one.told_hz[1]),
            difference_db=shares[0] * last.difference_db + shares[1] * one.difference_db,
            u_db=math.hypot(shares[0] * last.u_db, shares[1] * one.u_db),
            allowed_db=max(last.allowed_db, one.allowed_db),
            others=min(last.others, one.others),
            behind=last.behind + one.behind,
            at_least=last.at_least or one.at_least,
        )
    return tuple(joined)


def _span_of(shared: Shared, group: Sequence[int]) -> tuple[float, float]:
    return _span(shared, np.isfinite(shared.level_db[list(group)]).sum(axis=0) > 1)


def _span(shared: Shared, which: NDArray[np.bool_]) -> tuple[float, float]:
    if not which.any():
        return math.nan, math.nan
    return float(shared.low_hz[which].min()), float(shared.high_hz[which].max())
