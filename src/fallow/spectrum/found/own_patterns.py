"""Patterns that an instrument leaves in its own sweeps: its tuning step, and the harmonics of its clocks.

Each is told with the chance that it is luck. Lines on clocks: the binomial distribution, against lines at random
places. Tuning: sharp changes of level are paired at the distances of usual tuning steps, and the pairs counted against
those at slightly other distances (Poisson), so that what gathers in busy bands does not count as regular.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.blocks import Block
from fallow.spectrum.found.lines import CLOCKS_HZ, Line, clock_tolerance_hz
from fallow.spectrum.found.regular import LEAST_CHANCE, told_chance
from fallow.spectrum.heard import Heard
from fallow.units import format_width

__all__ = [
    "LEAST_CHANGE_DB",
    "PERHAPS_OWN",
    "Tuning",
    "at_tuning_edge",
    "find_tuning",
    "is_perhaps_own",
    "placed",
    "told_clocks",
    "told_tuning",
]

STEPS_HZ = (2e6, 2.048e6, 2.4e6, 2.56e6, 2.8e6, 3.2e6, 10e6, 20e6, 25e6, 30.72e6, 40e6, 50e6, 56e6, 61.44e6)
"""Bandwidths that receivers tune in steps of. Common practice"""
BESIDE_BLOCK_HZ = 500e3
BY_LUCK = 1e-3  # stricter than elsewhere: the patterns are looked for in every survey
LEAST_CHANGE_DB = 0.5
NOISE_SIGMAS = 2.0  # of what noise changes
APART_BINS = 10
BESIDE_BINS = 6  # over which the level before a change and after it is taken
MOST_MULTIPLE = 7
FEWEST_STEPS = 4  # in the swept range
OTHER_BINS = 31  # to each side of a distance: the distances it is compared with
FITTING = 0.65  # of the share of the best one's places that show a change; a multiple with few places shows all by luck
FEWEST_ON_CLOCK = 3
PERHAPS_OWN = "perhaps its own"


@dataclass(frozen=True)
class Tuning:
    """An instrument's tuning shows ``step_hz`` apart, once at ``edge_hz``; the chance that it only looks so.

    Where the middles of its steps show as well as their edges, ``step_hz`` is half of a step. ``size_db``: by how much
    the level usually changes there, 0 where that is not known.
    """

    step_hz: float
    edge_hz: float
    chance: float
    size_db: float = 0.0


def find_tuning(heard: Heard, lines: Sequence[Line], blocks: Sequence[Block] = ()) -> Tuning | None:
    """The tuning step that sharp changes of the mean level show, None where none does beyond ``BY_LUCK``.

    ``lines`` are left out: clocks have a beat of their own; so are ``blocks``: stations stand on a raster.
    """
    if heard.axis.points_hz is not None or heard.axis.n < 100:
        return None
    step_hz, changes = float(heard.axis.step_hz), _changes(heard, lines)
    for block in blocks:
        bins = heard.axis.bins_touching(block.low_hz - BESIDE_BLOCK_HZ, block.high_hz + BESIDE_BLOCK_HZ)
        changes = changes[(changes < bins.start) | (changes >= bins.stop)]
    found: list[Tuning] = []
    for tuned_hz in STEPS_HZ:
        lag = tuned_hz / step_hz
        if lag < 4 * APART_BINS or lag * FEWEST_STEPS > heard.axis.n:
            continue
        chance = _by_luck(changes, heard.axis.n, lag) * len(STEPS_HZ)
        if chance < BY_LUCK:
            edge_hz = float(heard.axis.centres_hz[0]) + _offset(changes, lag) * step_hz
            found.append(Tuning(tuned_hz, edge_hz, chance))
    least = max(LEAST_CHANCE, 100.0 * min((one.chance for one in found), default=1.0))
    as_sure = [one for one in found if one.chance <= least]
    filled = [_filled(heard, changes, one) for one in as_sure]
    fitting = [one for one, share in zip(as_sure, filled, strict=True) if share >= FITTING * max(filled)]
    finest = min(fitting, key=lambda one: one.step_hz, default=None)  # its multiples fit as well
    return None if finest is None else replace(finest, size_db=_usual_size_db(heard, changes, finest))


def _usual_size_db(heard: Heard, changes: NDArray[np.int64], tuning: Tuning) -> float:
    """The middle of how much the level changes at the edges of the tuning, dB."""
    step_hz, first_hz = float(heard.axis.step_hz), float(heard.axis.centres_hz[0])
    lag = tuning.step_hz / step_hz
    away = np.abs(np.mod(changes - (tuning.edge_hz - first_hz) / step_hz + lag / 2, lag) - lag / 2)
    at_edges = changes[(away <= 2.0) & (changes >= APART_BINS) & (changes <= heard.axis.n - APART_BINS)]
    sides = at_edges[:, None] + np.arange(1, APART_BINS - 1)
    level = heard.mean_db
    sizes = np.abs(np.nanmean(level[sides], axis=1) - np.nanmean(level[at_edges[:, None] * 2 - sides - 1], axis=1))
    return float(np.nanmedian(sizes)) if sizes.size else 0.0


def _filled(heard: Heard, changes: NDArray[np.int64], tuning: Tuning) -> float:
    """Share of the places a tuning step apart at which the level does change."""
    step_hz, first_hz = float(heard.axis.step_hz), float(heard.axis.centres_hz[0])
    lag, begin = tuning.step_hz / step_hz, (tuning.edge_hz - first_hz) / step_hz
    places = np.arange(begin % lag, heard.axis.n, lag)
    away = np.abs(changes[:, None] - places[None, :]).min(axis=0) if changes.size else np.full(places.size, lag)
    return float((away <= 2.0).mean())


def placed(tuning: Tuning, heard: Heard, lines: Sequence[Line]) -> Tuning:
    """The same tuning with its edge where ``heard`` shows most changes: a load also shows the middle of each step."""
    step_hz = float(heard.axis.step_hz)
    changes = _changes(heard, lines)
    if heard.axis.points_hz is not None or changes.size == 0:
        return tuning
    return replace(
        tuning, edge_hz=float(heard.axis.centres_hz[0]) + _offset(changes, tuning.step_hz / step_hz) * step_hz
    )


def _changes(heard: Heard, lines: Sequence[Line]) -> NDArray[np.int64]:
    """Bins at which the level changes sharply from one side to the other, the sharpest within a few."""
    level = np.array(heard.mean_db)
    for line in lines:
        level[max(0, line.first - 2) : line.last + 2] = np.nan
    valid = np.isfinite(level)
    if not valid.any():
        return np.zeros(0, dtype=np.int64)
    level = np.interp(np.arange(level.size), np.flatnonzero(valid), level[valid])
    total = np.concatenate([[0.0], np.cumsum(level)])
    change = np.zeros(level.size)
    after, before = total[2 * BESIDE_BINS :] - total[BESIDE_BINS:-BESIDE_BINS], total[BESIDE_BINS:-BESIDE_BINS]
    change[BESIDE_BINS : level.size - BESIDE_BINS + 1] = (
        np.abs(after - before + total[: -2 * BESIDE_BINS]) / BESIDE_BINS
    )
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(change, APART_BINS), 2 * APART_BINS + 1)
    places = np.flatnonzero(change >= max(LEAST_CHANGE_DB, NOISE_SIGMAS * _change_sd_db(heard)))
    places = places[change[places] >= windows[places].max(axis=1)] if places.size else places
    return places[np.diff(places, prepend=-APART_BINS) >= APART_BINS]


def _change_sd_db(heard: Heard) -> float:
    """Standard deviation of what noise alone changes from one side to the other, dB."""
    readings = heard.looks * max(1.0, BESIDE_BINS * float(heard.axis.step_hz) / heard.alike_hz)
    return heard.noise.sd_db() * math.sqrt(2.0 / readings)


def _by_luck(changes: NDArray[np.int64], bins: int, lag: float) -> float:
    """Chance of as many pairs of changes at multiples of ``lag`` as there are, by the count at nearby distances."""
    from scipy import special  # heavy, so only where it is used

    here = np.zeros(bins + OTHER_BINS + 2)
    here[changes + 1] = 1.0
    before = np.cumsum(here)  # changes in the bins before each place
    hits, others = 0.0, 0.0
    for multiple in range(1, MOST_MULTIPLE + 1):
        apart = changes + round(multiple * lag)
        apart = apart[apart + OTHER_BINS < bins]
        hit = float((before[apart + 2] - before[apart - 1]).sum())
        others += float((before[apart + OTHER_BINS + 1] - before[apart - OTHER_BINS]).sum()) - hit
        hits += hit
    expected = (others + 1.0) * 3.0 / (2 * OTHER_BINS - 2)
    return 1.0 if hits < FEWEST_STEPS else float(special.gammainc(hits, expected))


def _offset(changes: NDArray[np.int64], lag: float) -> float:
    """The place within a step, in bins, at which most changes stand."""
    within = np.sort(np.mod(changes, lag))
    around = np.concatenate([within - lag, within, within + lag])
    counted = np.searchsorted(around, within + 1.5, side="right") - np.searchsorted(around, within - 1.5)
    best = within[int(np.argmax(counted))]
    near = np.mod(within - best + lag / 2, lag) - lag / 2
    return float(best + near[np.abs(near) <= 1.5].mean())


def at_tuning_edge(tuning: Tuning | None, low_hz: float, high_hz: float, step_hz: float) -> str:
    """A sentence where a span begins or ends at an edge of the tuning, else nothing."""
    if tuning is None:
        return ""
    away = [
        abs((edge - tuning.edge_hz + tuning.step_hz / 2) % tuning.step_hz - tuning.step_hz / 2)
        for edge in (low_hz, high_hz)
    ]
    if min(away) > 2.0 * step_hz:
        return ""
    which = "begins" if away[0] <= away[1] else "ends"
    return f"{which} where the instrument's tuning shows, every {format_width(tuning.step_hz)}: {PERHAPS_OWN}"


def is_perhaps_own(evidence: Sequence[str]) -> bool:
    """Whether the evidence of an emitter says that it may be the instrument's own."""
    return any(clue.endswith(PERHAPS_OWN) for clue in evidence)


def told_tuning(tuning: Tuning) -> str:
    """A note on the tuning for people."""
    size = f" by about {tuning.size_db:.1f} dB" if tuning.size_db >= LEAST_CHANGE_DB else ""
    return (
        f"the level changes sharply{size} every {format_width(tuning.step_hz)}, as an instrument's does at the edges "
        f"or middles of its tuning steps (by luck so regular: {told_chance(tuning.chance)}): "
        "steps, humps and lines there are its own"
    )


def told_clocks(lines: Sequence[Line], step_hz: float) -> tuple[str, ...]:
    """Notes on clocks on whose multiples more of the (steady, unmodulated) lines stand than chance puts there."""
    from scipy import special  # heavy, so only where it is used

    told = []
    for clock in CLOCKS_HZ:
        on_clock = sum(
            abs(line.frequency_hz - round(line.frequency_hz / clock) * clock)
            <= clock_tolerance_hz(line.frequency_hz, step_hz)
            for line in lines
        )
        widths = [2.0 * clock_tolerance_hz(line.frequency_hz, step_hz) / clock for line in lines]
        hit = min(1.0, float(np.mean(widths))) if widths else 1.0
        luck = float(special.betainc(on_clock, len(lines) - on_clock + 1, hit)) if on_clock else 1.0
        if on_clock >= FEWEST_ON_CLOCK and luck * len(CLOCKS_HZ) < BY_LUCK:
            told.append(
                f"{on_clock} of {len(lines)} steady, unmodulated lines stand on multiples of {format_width(clock)}; "
                f"chance puts {len(lines) * hit:.1f} there (by luck so many: {told_chance(luck * len(CLOCKS_HZ))}): "
                "the harmonics of a clock of the instrument or of something near it"
            )
    return tuple(told)
