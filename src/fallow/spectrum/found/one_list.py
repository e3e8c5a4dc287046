"""The emitters of several series as one list: what stands at one place in several of them is one emitter.

The strongest sighting gives place, level and look. How often it was on is told over all looks together: those of every
series that shows it, and of every one that measured its place and would have heard it. Sweeps of several series may be
of the same moments; then they say no more than the series that says most. Only where times prove that one came after
the other do they add up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.on_air import OnAir, on_air, told_seen
from fallow.spectrum.found.standing_out import FALSE_EMITTERS, LEAST_ABOVE_FLOOR_DB
from fallow.spectrum.statistics import binomial_limits
from fallow.spectrum.verdict import Emitter
from fallow.spectrum.verdicts.evidence import Evidence
from fallow.spectrum.verdicts.window_levels import geometry_of, powers_in, sum_over

__all__ = ["Sightings", "one_list"]

WIDER = 3.0  # times: what is wider than that, its own resolution allowed for, is something else
MOST_NAMED = 4  # series whose counts are told one by one


@dataclass(frozen=True, eq=False)
class Sightings:
    """One series and the emitters that were found in it."""

    evidence: Evidence
    emitters: Sequence[Emitter]

    @property
    def finest_hz(self) -> float:
        """How fine it tells places."""
        heard = self.evidence.heard
        return max(heard.rbw_hz, float(heard.axis.step_hz))


@dataclass(frozen=True, eq=False)
class _Looks:
    """How often an emitter was on in one series."""

    series: Sightings
    times: OnAir


def one_list(series: Sequence[Sightings], confidence_pct: float, *, absolute: bool, most: int) -> tuple[Emitter, ...]:
    """At most ``most`` emitters, the strongest ones, rising in frequency. ``absolute``: levels of all series can be
    compared, so that one which does not show an emitter can be asked whether it would have.
    """
    kept: list[tuple[int, Emitter, list[tuple[int, Emitter]]]] = []
    listed = [(home, emitter) for home, one in enumerate(series) for emitter in one.emitters]
    for home, emitter in sorted(listed, key=lambda pair: -pair[1].level_dbm):
        doubles = [
            (other, seen)
            for where, other, seen in kept
            if where != home and _within(emitter, other) and not _told_apart(series, home, emitter, other)
        ]
        if not doubles:
            kept.append((home, emitter, []))
        for other, seen in doubles:
            if _same(series, emitter, other):
                seen.append((home, emitter))
    joined = (_over_all(series, home, one, seen, confidence_pct, absolute=absolute) for home, one, seen in kept[:most])
    return tuple(sorted(joined, key=lambda emitter: emitter.low_hz))


def _within(emitter: Emitter, other: Emitter) -> bool:
    return other.low_hz <= emitter.centre_hz <= other.high_hz


def _told_apart(series: Sequence[Sightings], home: int, emitter: Emitter, other: Emitter) -> bool:
    """Whether the series of one shows the other beside it: a carrier that stands in a block is not the block."""
    if _same(series, emitter, other):
        return False
    own = (one for one in series[home].emitters if one is not emitter and _within(emitter, one))
    return any(_same(series, one, other) for one in own)


def _same(series: Sequence[Sightings], emitter: Emitter, other: Emitter) -> bool:
    """Whether one is about as wide as the other, as far as the coarsest series tells."""
    finest = max(one.finest_hz for one in series if emitter in one.emitters or other in one.emitters)
    widths = sorted((emitter.high_hz - emitter.low_hz, other.high_hz - other.low_hz))
    return widths[1] <= WIDER * max(widths[0], finest)


def _over_all(
    series: Sequence[Sightings],
    home: int,
    strongest: Emitter,
    others: Sequence[tuple[int, Emitter]],
    confidence_pct: float,
    *,
    absolute: bool,
) -> Emitter:
    """The strongest sighting with the times of all looks at it."""
    seen = {home: [strongest]}
    for where, emitter in others:
        seen.setdefault(where, []).append(emitter)
    looks = []
    for place, one in enumerate(series):
        if one.evidence.heard.held:
            continue  # the highest of a time tells no share of it
        times = [emitter.times for emitter in seen.get(place, ()) if emitter.times is not None]
        told = max(times, key=lambda each: each.on) if times else None
        if told is None and place not in seen and absolute:
            told = _would_be_on(one.evidence, strongest, confidence_pct)
        if told is not None:
            looks.append(_Looks(one, told))
    if len(looks) < 2:
        return strongest
    return _told(strongest, looks, len(seen), confidence_pct)


def _would_be_on(evidence: Evidence, emitter: Emitter, confidence_pct: float) -> OnAir | None:
    """How often an emitter was on in a series that does not show it; None where it would not have been heard."""
    heard, floor = evidence.heard, evidence.floor
    low, high = np.array([float(emitter.low_hz)]), np.array([float(emitter.high_hz)])
    bins = heard.axis.bins_touching(low[0], high[0])
    if low[0] < heard.axis.low_hz or high[0] > heard.axis.high_hz or not heard.measured[bins].all():
        return None
    geometry = geometry_of(heard, low, high)
    per_bin = np.nan_to_num(10.0 ** (floor.noise_db / 10.0)) * np.minimum(1.0, heard.steps_hz / heard.rbw_hz)
    noise = float((sum_over(heard, per_bin, low, high) * geometry.scale)[0])
    level = 10.0 ** (emitter.level_dbm / 10.0)
    by_luck = float(heard.upper_tail.exceeded_db(FALSE_EMITTERS / heard.n_sweeps, geometry.cells)[0])
    if 10.0 * np.log10(level / max(noise, 1e-300)) < LEAST_ABOVE_FLOOR_DB + max(LEAST_ABOVE_FLOOR_DB, by_luck):
        return None
    powers = powers_in(heard, geometry, floor.noise_db, np.zeros(heard.axis.n, dtype=bool))
    on = np.asarray(powers.valid & (powers.least >= np.sqrt(noise * level)))[:, 0]
    looked = np.asarray(powers.valid[:, 0])
    return on_air(on, looked, heard.times_s, confidence_pct) if looked.any() else None


# --- told over all


def _told(strongest: Emitter, looks: Sequence[_Looks], shown_by: int, confidence_pct: float) -> Emitter:
    hits, sweeps = sum(one.times.on for one in looks), sum(one.times.sweeps for one in looks)
    unseen = sum(one.times.unseen for one in looks)
    effective = _effective(looks)
    share = hits / max(1, sweeps)
    low = binomial_limits(hits / max(1, sweeps + unseen) * effective, effective, confidence_pct)[0]
    high = binomial_limits((hits + unseen) / max(1, sweeps + unseen) * effective, effective, confidence_pct)[1]
    zones = {one.series.evidence.heard.zone_known for one in looks if one.times.first_s is not None}
    firsts = [one.times.first_s for one in looks if one.times.first_s is not None]
    lasts = [one.times.last_s for one in looks if one.times.last_s is not None]
    comparable = len(zones) == 1
    first_s, last_s = (min(firsts), max(lasts)) if comparable else (strongest.first_s, strongest.last_s)
    zone_known = zones == {True} if comparable else strongest.zone_known
    when = () if first_s is None or last_s is None else (told_seen(first_s, last_s, zone_known=zone_known),)
    return replace(
        strongest,
        evidence=(*_without_times(strongest), *_counted(looks, shown_by), _told_worth(looks, effective), *when),
        on_share=share,
        on_share_low=low,
        on_share_high=high,
        first_s=first_s,
        last_s=last_s,
        zone_known=zone_known,
    )


def _without_times(emitter: Emitter) -> tuple[str, ...]:
    return tuple(clue for clue in emitter.evidence if clue not in emitter.told_times)


def _counted(looks: Sequence[_Looks], shown_by: int) -> tuple[str, ...]:
    hits, sweeps = sum(one.times.on for one in looks), sum(one.times.sweeps for one in looks)
    names = list(dict.fromkeys(_name(one.series) for one in looks))
    counts = [f"{one.times.on} of {one.times.sweeps}" for one in looks[:MOST_NAMED]]
    if len(names) > 1:  # grids of one file bear one name
        counts = [f"{count} in {_name(one.series)}" for count, one in zip(counts, looks, strict=False)]
    where = f" in {names[0]}" if len(names) == 1 else ""
    more = f" and {len(looks) - MOST_NAMED} more" if len(looks) > MOST_NAMED else ""
    shown = min(shown_by, len(looks))
    return (
        f"on in {hits} of {sweeps} sweeps of the {len(looks)} series that could hear it, {shown} of which "
        f"show{'s' if shown == 1 else ''} it: {', '.join(counts)}{more}{where}",
    )


def _told_worth(looks: Sequence[_Looks], effective: float) -> str:
    after = len(_in_turn(looks)) == len(looks)
    why = "one after the other" if after else "perhaps of the same moments"
    return f"the series are {why}: together they say as much as {effective:.0f} independent sweeps"


def _name(series: Sightings) -> str:
    heard = series.evidence.heard
    return heard.name or heard.source or heard.instrument or "an unnamed series"


def _effective(looks: Sequence[_Looks]) -> float:
    """Independent sweeps that all looks are worth: those of series in turn add up, of others the most counts."""
    return sum(max(one.times.effective for one in group) for group in _in_turn(looks))


def _in_turn(looks: Sequence[_Looks]) -> list[list[_Looks]]:
    """Groups of looks of which each is over before the next begins; all in one group where times don't tell."""
    spans = [_span_s(one) for one in looks]
    zones = {one.series.evidence.heard.zone_known for one in looks}
    if any(span is None for span in spans) or len(zones) > 1:
        return [list(looks)]
    groups: list[list[_Looks]] = []
    until = -np.inf
    for (begin, end), one in sorted(
        ((span, one) for span, one in zip(spans, looks, strict=True) if span is not None), key=lambda pair: pair[0]
    ):
        if begin > until:
            groups.append([])
        groups[-1].append(one)
        until = max(until, end)
    return groups


def _span_s(looks: _Looks) -> tuple[float, float] | None:
    times: NDArray[np.float64] | None = looks.series.evidence.heard.times_s
    if times is None or not np.isfinite(times).all():
        return None
    return float(times.min()), float(times.max())
