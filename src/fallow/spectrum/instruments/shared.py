"""The signals that several units hold, and how strong each unit shows each of them.

Grids and bandwidths differ, so a signal is summed up over a span that is wide enough for the coarsest unit that shows
it. Only what stands far above a unit's own floor says something of its gain; two floors say nothing. What others show
far above a unit's floor and the unit itself does not show says that it is deaf there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.instruments.weighed import Weighed, weigh
from fallow.spectrum.sweep import Detector
from fallow.spectrum.verdicts.evidence import Evidence
from fallow.spectrum.verdicts.window_levels import geometry_of, sum_over

__all__ = ["Shared", "find_shared", "wide_enough"]

STRONG_DB = 10.0  # above the floor: noise adds less than half a decibel
APART_HZ = 200e3  # common practice: the width of a link; stretches nearer to each other are one signal
PIECE_HZ = 8e6  # what is wider is taken in pieces: as wide as a TV channel, where fading and response differ
MOST_SIGNALS = 60  # of the span that units share; more add little and cost time
FILLED = 0.98  # of a span that a unit must have measured
LEAST_ABOVE_NOISE_DB = 0.0  # of a signal in its whole span; less, and the noise under it decides
HEARD_FOR_CERTAIN_DB = 10.0  # above its floor, by what others show: a unit that does not show it is deaf
WIDE_HZ = 4e6  # a block of television or mobile is always on
BY_NOISE = 0.001  # chance that noise alone is taken for a signal, all of them together
Span = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Shared:
    """Signals that at least two units hold. ``low_hz``, ``high_hz``: their spans, rising, shape (signal,).

    ``level_db``, ``u_db``: of each while on, without noise, and its standard error by noise and wandering [dB], shape
    (unit, signal), NaN where a unit does not hold it. ``at_most_db``: where a unit measured the span and does not hold
    the signal, what it shows there, noise and all; NaN elsewhere. ``steady``: it never went off while it was looked
    at, shape (unit, signal).
    """

    low_hz: NDArray[np.float64]
    high_hz: NDArray[np.float64]
    level_db: NDArray[np.float64]
    u_db: NDArray[np.float64]
    at_most_db: NDArray[np.float64]
    steady: NDArray[np.bool_]

    @property
    def centre_hz(self) -> NDArray[np.float64]:
        """Middle of each signal's span in hertz."""
        return (self.low_hz + self.high_hz) / 2

    def within(self, low_hz: float, high_hz: float) -> NDArray[np.bool_]:
        """Which signals lie in [low, high), shape (signal,)."""
        return (self.centre_hz >= low_hz) & (self.centre_hz < high_hz)

    def missed(self, offset_db: NDArray[np.float64]) -> NDArray[np.float64]:
        """Levels with what units ought to hold and do not: there the most that it can be, shape (unit, signal).

        ``offset_db``: of the units as far as they are known, shape (unit,); NaN counts as none. Only signals count
        that are on for certain: wide ones that another unit shows, others that two more units show, steady in all.
        """
        known = np.isfinite(self.level_db)
        at = self.level_db - np.nan_to_num(offset_db)[:, None]
        strength = np.array([float(np.median(at[known[:, k], k])) for k in range(self.low_hz.size)])
        needed = np.where(self.high_hz - self.low_hz >= WIDE_HZ, 1, 2)
        certain = ((known & self.steady).sum(axis=0) >= needed) & (self.steady | ~known).all(axis=0)
        expected = strength + np.nan_to_num(offset_db)[:, None]
        missing = ~known & certain & (expected > self.at_most_db + HEARD_FOR_CERTAIN_DB)
        return np.where(missing, self.at_most_db, self.level_db)


def find_shared(units: Sequence[Sequence[Evidence]]) -> Shared:
    """The signals that at least two of several units hold. ``units``: the series of each."""
    strong = [[_strong_spans(part) for part in parts] for parts in units]
    spans = _common_spans(units, strong)
    low, high = np.array([span[0] for span in spans]), np.array([span[1] for span in spans])
    shape = (len(units), len(spans))
    level, u_db, at_most = (np.full(shape, np.nan) for _ in range(3))
    steady = np.zeros(shape, dtype=bool)
    tail = BY_NOISE / max(1, len(spans))
    peaks = [_shows_peaks(part) for parts in units for part in parts]
    left_out = any(peaks) and not all(peaks)  # they show what is like noise higher by an amount that depends on it
    for unit, parts in enumerate(units):
        for signal, span in enumerate(spans):
            told = [one for one in zip(parts, strong[unit], strict=True) if not (left_out and _shows_peaks(one[0]))]
            best = _best_of(told, span, tail)
            if best is None:
                continue
            held, weighed = best
            if held:
                level[unit, signal], u_db[unit, signal] = weighed.signal_db, weighed.u_db
                steady[unit, signal] = weighed.steady
            else:
                at_most[unit, signal] = max(weighed.level_db, weighed.noise_db)
    kept = np.isfinite(level).sum(axis=0) > 1
    kept |= np.isfinite(level).any(axis=0) & np.isfinite(at_most).any(axis=0)
    return Shared(low[kept], high[kept], level[:, kept], u_db[:, kept], at_most[:, kept], steady[:, kept])


def wide_enough(part: Evidence) -> float:
    """The width in hertz that a unit can tell apart: the wider of its bandwidth and its step."""
    return max(part.heard.rbw_hz, float(part.heard.axis.step_hz))


def _strong_spans(part: Evidence) -> list[Span]:
    """Where a series shows signals far above its floor, as spans in hertz; the instrument's own lines are none."""
    with np.errstate(invalid="ignore"):
        strong = part.heard.mean_db > part.floor.noise_db + STRONG_DB
    strong &= ~(part.own_lines | part.suspect_lines | part.heard.own_bins)
    lows, highs = part.heard.axis.cells_hz
    places = np.flatnonzero(strong)
    if places.size == 0:
        return []
    apart = lows[places[1:]] > highs[places[:-1]] + max(APART_HZ, 2.0 * wide_enough(part))
    runs = np.split(places, np.flatnonzero(apart) + 1)
    return [(float(lows[run[0]]), float(highs[run[-1]])) for run in runs]


def _common_spans(units: Sequence[Sequence[Evidence]], strong: Sequence[Sequence[list[Span]]]) -> list[Span]:
    """Spans for the signals that units show strongly and others measured too, wide enough for all who show them."""
    twice, once = _reached(units, strong)
    found: list[Span] = []
    for low, high in (*_thinned(twice, MOST_SIGNALS), *_thinned(once, MOST_SIGNALS // 2)):
        margin = max(
            wide_enough(part)
            for parts, theirs in zip(units, strong, strict=True)
            for part, spans in zip(parts, theirs, strict=True)
            if _inside(spans, low, high)
        )
        found.append((low - margin, high + margin))
    return _thinned([piece for span in _united(found) for piece in _pieces(span)], 2 * MOST_SIGNALS)


def _reached(
    units: Sequence[Sequence[Evidence]], strong: Sequence[Sequence[list[Span]]]
) -> tuple[list[Span], list[Span]]:
    """Where two units or more show something strong; and where one alone does, though others measured there."""
    of_units = [_united([span for spans in theirs for span in spans]) for theirs in strong]
    edges = np.unique([edge for spans in of_units for span in spans for edge in span])
    middle = (edges[:-1] + edges[1:]) / 2
    depth = np.sum([_holds(spans, middle) for spans in of_units], axis=0) if middle.size else np.zeros(0)
    reach = [_united([(part.heard.axis.low_hz, part.heard.axis.high_hz) for part in parts]) for parts in units]
    measured = np.sum([_holds(spans, middle) for spans in reach], axis=0) if middle.size else np.zeros(0)
    twice = _united([(float(edges[k]), float(edges[k + 1])) for k in np.flatnonzero(depth > 1)], APART_HZ)
    once = _united(
        [(float(edges[k]), float(edges[k + 1])) for k in np.flatnonzero((depth == 1) & (measured > 1))], APART_HZ
    )
    return twice, [span for span in once if not _inside(twice, *span)]


def _holds(spans: Sequence[Span], at_hz: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which frequencies lie in one of some rising spans, shape (frequency,)."""
    if not spans:
        return np.zeros(at_hz.size, dtype=bool)
    low, high = np.array(spans).T
    place = np.searchsorted(low, at_hz, side="right") - 1
    return np.asarray((place >= 0) & (at_hz < high[np.maximum(place, 0)]))


def _inside(spans: Sequence[Span], low_hz: float, high_hz: float) -> bool:
    """Whether one of the spans touches [low, high]."""
    return any(low <= high_hz and low_hz <= high for low, high in spans)


def _united(spans: Sequence[Span], gap_hz: float = 0.0) -> list[Span]:
    """Spans that touch, or are at most ``gap_hz`` apart, as one."""
    united: list[Span] = []
    for low, high in sorted(spans):
        if united and low <= united[-1][1] + gap_hz:
            united[-1] = (united[-1][0], max(high, united[-1][1]))
        else:
            united.append((low, high))
    return united


def _pieces(span: Span) -> list[Span]:
    count = max(1, math.ceil((span[1] - span[0]) / PIECE_HZ - 0.1))
    edges = np.linspace(span[0], span[1], count + 1)
    return [(float(low), float(high)) for low, high in pairwise(edges)]


def _thinned(spans: Sequence[Span], most: int) -> list[Span]:
    """At most so many, evenly from all."""
    if len(spans) <= most:
        return list(spans)
    return [spans[round(place)] for place in np.linspace(0, len(spans) - 1, most)]


def _shows_peaks(part: Evidence) -> bool:
    return part.heard.detector in (Detector.PEAK, Detector.MAX_HOLD) or part.heard.noise.peak_of > 1


def _best_of(parts: Sequence[tuple[Evidence, list[Span]]], span: Span, tail: float) -> tuple[bool, Weighed] | None:
    """Whether a unit holds a signal, and how it shows the span, by the series that tells most; ``None`` where it did
    not measure it, or where a line of its own is in the way. ``parts``: its series, each with its strong spans.
    """
    best: tuple[bool, Weighed] | None = None
    for part, strong in parts:
        weighed = _weighed_in(part, span, tail)
        if weighed is None:
            continue
        held = _inside(strong, *span) and weighed.present
        held &= weighed.signal_db >= weighed.noise_db + LEAST_ABOVE_NOISE_DB
        if best is None or (held, -weighed.u_db if held else 0.0) > (best[0], -best[1].u_db if best[0] else 0.0):
            best = held, weighed
    return best


def _weighed_in(part: Evidence, span: Span, tail: float) -> Weighed | None:
    heard = part.heard
    low, high = np.array([span[0]]), np.array([span[1]])
    geometry = geometry_of(heard, low, high)
    bins = slice(int(geometry.first[0]), int(geometry.last[0]))
    flagged = part.own_lines | part.suspect_lines | heard.own_bins
    if geometry.covered[0] < FILLED or flagged[bins].any():
        return None
    ratio = np.minimum(1.0, heard.steps_hz / heard.rbw_hz)
    noise = np.nan_to_num(10.0 ** (part.floor.noise_db / 10.0)) * ratio * heard.measured
    power = float(sum_over(heard, noise, low, high)[0] * geometry.scale[0])
    if power <= 0.0:
        return None
    weighed = weigh(part, span, 10.0 * math.log10(power), tail)
    return weighed if weighed.looks else None
