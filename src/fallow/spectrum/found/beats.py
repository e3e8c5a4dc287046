"""Whether an emitter keeps a beat, how long that is, and how far the figure can be off.

Where the starts of its runs are regular beyond luck (``regular``), periods are counted from the first start to the last
one: a start is seen up to one sweep late, so a strict beat is off by no more than one sweep over all periods counted.
Starts that wander by more than that make it less sure, by as much more as they wander.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.regular import LEAST_CHANCE, Regular, find_regular, lone_distances, told_chance

__all__ = ["Beat", "changes_among", "find_beat", "told_beat"]

BY_LUCK = 0.01  # chance that a beat is named where there is none
FEWEST_STARTS = 5
FEWEST_FOR_BEAT = 20  # sweeps
LEAST_BEAT_SWEEPS = 3.0  # a shorter beat can't be told from the sweeps' own, but for one that alternates with them
ALTERNATING_BY_ITSELF = 0.9  # a chain without a beat may change as often from sweep to sweep. Common practice
STRICT = 1.05  # sweeps by which the starts of a strict beat may lie apart from it, all together
_LONGEST_IN_SECONDS = 600.0  # longer ones are told in minutes
WANDER = 2.5  # times the width in which starts wander: chosen so that 95 in 100 simulated beats are covered


@dataclass(frozen=True)
class Beat:
    """``step``: in sweeps, ``u_step``: by how much it may be off; ``step_s`` and ``u_step_s``: the same in seconds,
    ``None`` without times. ``count`` starts; ``chance``: probability that an emitter without a beat looks so regular.
    """

    step: float
    u_step: float
    step_s: float | None
    u_step_s: float | None
    count: int
    chance: float


@dataclass(frozen=True, eq=False)
class _Starts:
    """Where runs begin: sweeps, their times in seconds (or ``None``), and the unbroken stretch of sweeps of each."""

    sweeps: NDArray[np.int64]
    times_s: NDArray[np.float64] | None
    stretches: NDArray[np.int64]

    @property
    def distances(self) -> NDArray[np.float64]:
        """From each start to the next one of the same stretch, in sweeps."""
        return np.asarray(np.diff(self.sweeps)[np.diff(self.stretches) == 0], dtype=np.float64)


def find_beat(
    on: NDArray[np.bool_], joined: NDArray[np.bool_], starts: NDArray[np.int64], times_s: NDArray[np.float64] | None
) -> Beat | None:
    """The beat of the starts, where a chain without any would show one less than once in a hundred.

    ``on``: per sweep; ``joined``: whether each sweep and the next are neighbours, shape (sweep - 1,); ``starts``: the
    first sweep of each run; ``times_s``: of the sweeps. Distances across a pause say nothing, nor does a run that was
    on already when the sweeps began.
    """
    if on.size < FEWEST_FOR_BEAT:
        return None
    stretch = np.concatenate([[0], np.cumsum(~joined)])
    begins = np.concatenate([[True], ~joined])[starts] if starts.size else np.zeros(0, dtype=bool)
    kept = starts[~begins]
    seen = _Starts(kept, None if times_s is None else times_s[kept], stretch[kept])
    if seen.distances.size < FEWEST_STARTS - 1:
        return None
    regular = _regular(on, joined, seen.distances) or _alternating(on, joined, seen.distances)
    return None if regular is None else _counted(seen, regular, _sweep_s(times_s, joined))


def _regular(on: NDArray[np.bool_], joined: NDArray[np.bool_], distances: NDArray[np.float64]) -> Regular | None:
    rises, falls = changes_among(on, joined)
    longest = int(distances.max()) * 4
    up = lone_distances(min(1.0, rises[0] / max(1, rises[1])), 1, longest)
    down = lone_distances(min(1.0, falls[0] / max(1, falls[1])), 1, longest)
    found = find_regular(distances, np.convolve(up, down)[: longest + 1])
    return found if found is not None and found.chance < BY_LUCK and found.step >= LEAST_BEAT_SWEEPS else None


def _alternating(on: NDArray[np.bool_], joined: NDArray[np.bool_], distances: NDArray[np.float64]) -> Regular | None:
    """On in every second sweep, more strictly than a chain that likes to change would be."""
    from scipy import special  # heavy, so only where it is used

    rises, falls = changes_among(on, joined)
    changed, stayed = rises[0] + falls[0], int(joined.sum()) - rises[0] - falls[0]
    chance = float(special.betainc(max(changed, 1), stayed + 1, ALTERNATING_BY_ITSELF))  # binomial tail
    chance = max(LEAST_CHANCE, chance)
    return Regular(2.0, 0.5, distances.size + 1, chance) if chance < BY_LUCK else None


def changes_among(on: NDArray[np.bool_], joined: NDArray[np.bool_]) -> tuple[tuple[int, int], tuple[int, int]]:
    """Changes from off to on among the neighbours of which the first is off, and the reverse."""
    before, after = on[:-1][joined], on[1:][joined]
    rises = (int((~before & after).sum()), int((~before).sum()))
    return rises, (int((before & ~after).sum()), int(before.sum()))


# --- how long


def _counted(seen: _Starts, regular: Regular, sweep_s: float | None) -> Beat:
    step, u_step = _period(seen.sweeps.astype(np.float64), 1.0, list(_unbroken(seen, regular)), regular)
    step_s, u_step_s = None, None
    if seen.times_s is not None and sweep_s is not None:
        scaled = Regular(regular.step * sweep_s, regular.deviation * sweep_s, regular.count, regular.chance)
        step_s, u_step_s = _period(seen.times_s, sweep_s, list(_unbroken(seen, regular)), scaled)
    return Beat(step, u_step, step_s, u_step_s, regular.count, regular.chance)


def _unbroken(seen: _Starts, regular: Regular) -> Iterator[tuple[NDArray[np.int64], NDArray[np.float64]]]:
    """Starts that follow each other in the beat: which ones, and how many periods each comes after the first."""
    apart = np.diff(seen.sweeps)
    multiples = np.maximum(1.0, np.round(apart / regular.step))
    fits = np.abs(apart - multiples * regular.step) <= regular.deviation + 0.5
    breaks = np.flatnonzero(~(fits & (np.diff(seen.stretches) == 0))) + 1
    for places in np.split(np.arange(seen.sweeps.size), breaks):
        if places.size > 1:
            yield places, np.concatenate([[0.0], np.cumsum(multiples[places[:-1]])])


def _period(
    starts: NDArray[np.float64],
    grain: float,
    unbroken: list[tuple[NDArray[np.int64], NDArray[np.float64]]],
    regular: Regular,
) -> tuple[float, float]:
    """The period and by how much it may be off, in the unit of ``starts``, which are seen up to a ``grain`` late."""
    periods = sum(float(counted[-1]) for _, counted in unbroken)
    if not periods:
        return regular.step, regular.deviation
    period = sum(float(starts[places[-1]] - starts[places[0]]) for places, _ in unbroken) / periods
    wander = max(float(np.ptp(starts[places] - counted * period)) for places, counted in unbroken)
    off = grain if wander <= STRICT * grain else WANDER * wander
    return period, off * math.sqrt(len(unbroken)) / periods


def _sweep_s(times_s: NDArray[np.float64] | None, joined: NDArray[np.bool_]) -> float | None:
    """The longest usual distance of neighbouring sweeps in seconds: so late a start may be seen."""
    if times_s is None or not joined.any():
        return None
    return float(np.quantile(np.diff(times_s)[joined], 0.9))


def told_beat(beat: Beat) -> str:
    """The beat in a sentence for people."""
    if beat.step_s is None or beat.u_step_s is None:
        every = _within(beat.step, beat.u_step, "sweeps")
    elif beat.step_s < 1.0:
        every = _within(beat.step_s * 1e3, beat.u_step_s * 1e3, "ms")
    elif beat.step_s < _LONGEST_IN_SECONDS:
        every = _within(beat.step_s, beat.u_step_s, "s")
    else:
        every = _within(beat.step_s / 60.0, beat.u_step_s / 60.0, "min")
    told = f"comes every {every}, {beat.count} times; by luck so regular: {told_chance(beat.chance)}"
    if beat.step < LEAST_BEAT_SWEEPS:
        told += "; that is every second sweep, and what comes more often would look the same"
    return told


def _within(value: float, off: float, unit: str) -> str:
    """A figure with no more digits than its error lets stand, and the error, rounded up: ``64.7 s (±0.6 s)``."""
    digit = 10.0 ** math.floor(math.log10(off))
    decimals = max(0, -round(math.log10(digit)))
    error = math.ceil(off / digit - 1e-9) * digit
    return f"{round(value, decimals):.10g} {unit} (±{error:.1g} {unit})"
