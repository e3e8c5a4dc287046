"""When an emitter was on: how often, with limits that allow for its memory; runs; whether it keeps a beat.

Sweeps that follow each other closely see the same transmission, so they say less than as many independent ones. The
emitter is taken for a two-state Markov chain; N sweeps with correlation r between neighbours are worth
N·(1 - r)/(1 + r) independent ones. Source: Rec. ITU-R SM.1880 and Report ITU-R SM.2256 (dependent samples); the
variance of the mean of such a chain. The limits themselves: Clopper and Pearson, Biometrika 26 (1934) 404-413.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.beats import FEWEST_FOR_BEAT, Beat, changes_among, find_beat, told_beat
from fallow.spectrum.statistics import binomial_limits

__all__ = ["OnAir", "effective_sweeps", "on_air", "told_on_air", "told_seen"]

SURE = 0.7  # so many standard errors: chosen so that 95 % limits hold 95 times in 100 over simulated chains
PAUSE = 3.0  # times the usual distance of sweeps: what is farther apart are no neighbours


@dataclass(frozen=True)
class OnAir:
    """When an emitter was on. ``on`` of ``sweeps`` that looked; ``effective``: as many independent ones say as much.

    ``low``, ``high``: two-sided limits of the share of time. ``unseen``: sweeps without a valid level there. A reading
    may be missing because of what was on (a chip whose number wraps round), so ``low`` holds had it been off in all of
    them, ``high`` had it been on in all. ``runs``: unbroken runs of sweeps, the ``shortest`` and
    the ``longest`` in sweeps. ``first_s``, ``last_s``: when it was seen first and last, seconds since 1970, None
    without times. ``sweep_s``: the usual distance of sweeps in seconds. ``beat``: None where there is none.
    """

    on: int
    sweeps: int
    unseen: int
    effective: float
    low: float
    high: float
    runs: int
    shortest: int
    longest: int
    first_s: float | None
    last_s: float | None
    sweep_s: float | None
    beat: Beat | None

    @property
    def share(self) -> float:
        """Share of the sweeps in which it was on."""
        return self.on / max(1, self.sweeps)

    @property
    def period_s(self) -> float | None:
        """The beat in seconds; ``None`` where there is none, or the sweeps have no times."""
        return None if self.beat is None else self.beat.step_s

    @property
    def period_u_s(self) -> float | None:
        """By how many seconds the beat may be off."""
        return None if self.beat is None else self.beat.u_step_s


def on_air(
    on: NDArray[np.bool_], looked: NDArray[np.bool_], times_s: NDArray[np.float64] | None, confidence_pct: float
) -> OnAir:
    """The times of one emitter. ``on``, ``looked``: per sweep, in their order, shape (sweep,); ``times_s``: the
    sweeps' starts in seconds, NaN where unknown. Only sweeps that looked count.
    """
    seen = on[looked]
    times = None if times_s is None else times_s[looked]
    times = times if times is not None and times.size > 0 and bool(np.isfinite(times).all()) else None
    sweep_s = float(np.median(np.diff(times))) if times is not None and times.size > 1 else None
    joined = np.ones(max(0, seen.size - 1), dtype=bool)
    if times is not None and sweep_s is not None and sweep_s > 0:
        joined = (np.diff(times) > 0.0) & (
            np.diff(times) <= PAUSE * sweep_s
        )  # a clock that was set back: no neighbours
    starts, lengths = _runs(seen, joined)
    hits, unseen, effective = int(seen.sum()), int(looked.size - seen.size), effective_sweeps(seen, joined)
    low, high = (
        binomial_limits(most / max(1, looked.size) * effective, effective, confidence_pct)[end]
        for end, most in enumerate((hits, hits + unseen))
    )
    places = np.flatnonzero(seen)
    return OnAir(
        on=hits,
        sweeps=int(seen.size),
        unseen=unseen,
        effective=effective,
        low=low,
        high=high,
        runs=starts.size,
        shortest=int(lengths.min(initial=seen.size)),
        longest=int(lengths.max(initial=0)),
        first_s=float(times[places].min()) if times is not None and hits else None,
        last_s=float(times[places].max()) if times is not None and hits else None,
        sweep_s=sweep_s if sweep_s is not None and sweep_s > 0 else None,
        beat=find_beat(seen, joined, starts, times),
    )


def effective_sweeps(on: NDArray[np.bool_], joined: NDArray[np.bool_]) -> float:
    """How many independent sweeps say as much: N·(1 - r)/(1 + r), never more than N.

    ``joined``: whether each sweep and the next are neighbours, shape (sweep - 1,). r = 1 - P(off to on) - P(on to off),
    each estimated as (changes + ½)/(chances + 1) (Jeffreys' prior of a share), so that what never changed is not taken
    for proof that it can't. Few changes tell their rate badly: it is lowered by its own relative error, 1/√changes.
    """
    rises, falls = changes_among(on, joined)
    rate = (rises[0] + 0.5) / (rises[1] + 1.0) + (falls[0] + 0.5) / (falls[1] + 1.0)
    changes = rises[0] + falls[0]
    if changes:
        rate *= 1.0 - SURE / math.sqrt(changes + 1.0)
    memory = max(0.0, 1.0 - rate)
    return on.size * (1.0 - memory) / (1.0 + memory)


def _runs(on: NDArray[np.bool_], joined: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First sweep and length of each unbroken run."""
    if on.size == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    follows = np.concatenate([[False], on[:-1] & joined])
    goes_on = np.concatenate([on[1:] & joined, [False]])
    starts, ends = np.flatnonzero(on & ~follows), np.flatnonzero(on & ~goes_on)
    return starts, ends - starts + 1


def told_on_air(times: OnAir, *, zone_known: bool) -> tuple[str, ...]:
    """When it was on, in sentences for people."""
    told = [f"on in {times.on} of {times.sweeps} sweeps"]
    if times.runs and times.on < times.sweeps:
        runs = "1 run" if times.runs == 1 else f"{times.runs} runs"
        lengths = str(times.longest) if times.shortest == times.longest else f"{times.shortest} to {times.longest}"
        told[0] += f", in {runs} of {lengths} sweep{'' if times.longest == 1 else 's'}{_seconds(times)}"
    if times.unseen:
        told.append(_told_unseen(times))
    if times.sweeps >= FEWEST_FOR_BEAT and times.on < times.sweeps and times.effective < 0.8 * times.sweeps:
        told.append(f"neighbouring sweeps are alike: they say as much as {_independent(times.effective)}")
    if times.beat is not None:
        told.append(told_beat(times.beat))
    if times.first_s is not None and times.last_s is not None and times.sweeps > 1:
        told.append(told_seen(times.first_s, times.last_s, zone_known=zone_known))
    return tuple(told)


def told_seen(first_s: float, last_s: float, *, zone_known: bool) -> str:
    """From when to when, in a sentence; seconds since 1970. The day is told once where it is the same."""
    first, last = (datetime.fromtimestamp(at, UTC) for at in (first_s, last_s))
    until = f"{last:%H:%M:%S}" if first.date() == last.date() else f"{last:%Y-%m-%d %H:%M:%S}"
    clock = "UTC" if zone_known else "by its own clock"
    return f"first seen {first:%Y-%m-%d %H:%M:%S}, last {until} {clock}"


def _independent(effective: float) -> str:
    return "one independent one" if round(effective) <= 1 else f"{effective:.0f} independent ones"


def _told_unseen(times: OnAir) -> str:
    one = times.unseen == 1
    return (
        f"{times.unseen} more sweep{' has' if one else 's have'} no valid level there and "
        f"count{'s' if one else ''} neither as on nor as off: on up to {times.high:.0%} of the time"
    )


def _seconds(times: OnAir) -> str:
    if times.sweep_s is None or times.longest < 2:
        return ""
    return f", the longest about {_duration(times.longest * times.sweep_s)}"


def _duration(seconds: float) -> str:
    if seconds < 1.0:
        return f"{seconds * 1e3:.3g} ms"
    return f"{seconds:.3g} s" if seconds < 600.0 else f"{seconds / 60.0:.0f} min"
