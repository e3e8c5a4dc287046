"""Two surveys on one raster: what each shows in the same windows, ready to be compared.

The windows are the cells of the coarser axis; where its bandwidth is wider than its step they lie side by side, as
wide as that, so that both surveys speak of the same spectrum.
What one of the two did not measure has no level and is told as a gap.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.instruments.two_samples import ratio_quantile_db
from fallow.spectrum.noise.running import running_quantile
from fallow.spectrum.statistics import median_of_valid, noise_quantile_db
from fallow.spectrum.verdicts.deciding import Evidence
from fallow.spectrum.verdicts.window_levels import Geometry, geometry_of, pieces, powers_in, sum_over

__all__ = ["Levels", "Pair", "Side", "gaps_between", "lay_side_by_side"]

Levels = NDArray[np.float64]
Interval = tuple[float, float]
LEAST_COVERED = 0.9  # less of a window with a level is not measured, as in a verdict
LEAST_GAP_WINDOWS = 2.0
FEWEST_FOR_CROWDING = 60
SLOW_WINDOWS = 61
FARTHEST_SHARED = 9  # windows over which one resolution filter is looked for
LEAST_SHARED = 0.15
NORMAL_MAD = 1.4826
LEAST_POWER = 1e-30  # mW: what shows none


@dataclass(frozen=True, eq=False)
class Side:
    """What one survey shows, arrays of shape (window,), NaN where not measured.

    ``mean_db``, ``highest_db``: power in the window [dBm or dB], mean and highest of the sweeps; ``middle_db``: mean
    of their levels in decibels, which one high reading moves little. ``floor_db``: what its noise floor gives there.
    ``looks``: sweeps that measured it, those with the same noise as one. ``readings``: independent noise powers in one;
    ``crowding``: how many neighbouring windows show the same noise, because the bandwidth is wider than was stated.
    """

    evidence: Evidence
    mean_db: Levels
    highest_db: Levels
    middle_db: Levels
    floor_db: Levels
    looks: NDArray[np.int64]
    readings: float
    crowding: float = 1.0

    @property
    def samples(self) -> Levels:
        """Independent noise powers in the mean, shape (window,): the shape of its gamma distribution."""
        return np.asarray(self.readings * np.maximum(self.looks, 1), dtype=np.float64)

    @property
    def even_db(self) -> float:
        """How wide its readings scatter evenly in decibels; 0 where they scatter as noise does."""
        return self.evidence.heard.upper_tail.even_db

    def readings_in(self, samples: Levels) -> Levels:
        """How many readings of noise some samples come to."""
        return np.maximum(samples / self.evidence.heard.noise.shape, 1.0)

    def usual_db(self, windows: NDArray[np.int64] | slice) -> float:
        """Mean power that most of some windows show [dB]: their median, less what a median of noise lies too low."""
        bias_db = float(noise_quantile_db(0.5, float(np.median(self.samples))))
        return float(median_of_valid(self.mean_db[windows], axis=0)) - bias_db

    @property
    def noise_scale_db(self) -> float:
        """By how much this side shows noise higher than its power in a window: its detector's bias, its RBW."""
        return self.evidence.heard.noise.bias_db + self.width_scale_db

    @property
    def width_scale_db(self) -> float:
        """By how much it does so because its RBW is wider than its step, dB."""
        heard = self.evidence.heard
        return 10.0 * math.log10(heard.rbw_hz / max(heard.rbw_hz, float(heard.axis.step_hz)))

    @property
    def bias_u_db(self) -> float:
        """Standard uncertainty of the detector's bias, dB."""
        return self.evidence.heard.noise.bias_u_db

    @property
    def bias_limits_db(self) -> tuple[float, float]:
        """Within which the detector's bias lies, dB: as far as the readings tell its kind."""
        kind, bias_db = self.evidence.heard.kind, self.evidence.heard.noise.bias_db
        if kind is None or kind.noise is None:
            return (bias_db, bias_db if kind is None else math.inf)
        return min(kind.noise.bias_db.low, bias_db), max(kind.noise.bias_db.high, bias_db)


@dataclass(frozen=True, eq=False)
class Pair:
    """The same windows [low, high] in hertz, rising, as an old and a new survey show them."""

    low_hz: Levels
    high_hz: Levels
    old: Side
    new: Side

    @property
    def width_hz(self) -> float:
        """Width of a window in hertz."""
        return float(np.median(self.high_hz - self.low_hz))

    @cached_property
    def centre_hz(self) -> Levels:
        """Middle of each window in hertz."""
        return (self.low_hz + self.high_hz) / 2

    @cached_property
    def both(self) -> NDArray[np.bool_]:
        """Windows that both surveys measured."""
        return np.isfinite(self.old.mean_db) & np.isfinite(self.new.mean_db)

    @cached_property
    def difference_db(self) -> Levels:
        """New minus old, mean power, as displayed."""
        return self.new.mean_db - self.old.mean_db

    @cached_property
    def same_axis(self) -> bool:
        """Whether both have the same bins. If not, a narrow signal may fall into one window here and two there."""
        return self.old.evidence.heard.axis == self.new.evidence.heard.axis

    @cached_property
    def noise_offset_db(self) -> float:
        """Difference that the same noise shows in its mean power, because of detector and RBW alone.

        Where nobody states the detectors and the data leave open that both traces are of one kind, they are taken so.
        """
        if self.could_be_one_kind:
            return self.new.width_scale_db - self.old.width_scale_db
        return self.new.noise_scale_db - self.old.noise_scale_db

    @cached_property
    def noise_offset_u_db(self) -> float:
        """Standard uncertainty of ``noise_offset_db``: how well the bias of two trace kinds is known that differ, or
        half of what the likeliest kinds differ by where they are taken as one.
        """
        if self.could_be_one_kind:
            return abs(self.new.evidence.heard.noise.bias_db - self.old.evidence.heard.noise.bias_db) / 2.0
        return math.hypot(self.old.bias_u_db, self.new.bias_u_db)

    @property
    def could_be_one_kind(self) -> bool:
        """Whether nobody states the trace kinds, and the readings of both allow for one and the same bias."""
        stated = [side.evidence.heard.detector for side in (self.old, self.new)]
        if stated != [None, None]:
            return False
        old, new = self.old.bias_limits_db, self.new.bias_limits_db
        return old[0] <= new[1] and new[0] <= old[1]

    @cached_property
    def median_bias_db(self) -> float:
        """By how much the median of the difference lies off that of the mean powers, by the scatter of noise alone."""
        samples = (np.array(np.median(side.samples)) for side in (self.new, self.old))
        return float(ratio_quantile_db(0.5, *samples))

    def with_new_lowered(self, shift_db: float) -> Pair:
        """The pair with all levels of the new survey brought down by ``shift_db``."""
        if shift_db == 0.0:
            return self
        evidence, floor = self.new.evidence, self.new.evidence.floor
        heard = replace(evidence.heard, levels_db=evidence.heard.levels_db.raised_by(-shift_db))
        lowered = replace(
            floor,
            noise_db=floor.noise_db - shift_db,
            ceiling_db=floor.ceiling_db - shift_db,
            ordinary_db=floor.ordinary_db - shift_db,
        )
        new = replace(
            self.new,
            evidence=replace(evidence, heard=heard, floor=lowered, base_db=evidence.base_db - shift_db),
            mean_db=self.new.mean_db - shift_db,
            highest_db=self.new.highest_db - shift_db,
            middle_db=self.new.middle_db - shift_db,
            floor_db=self.new.floor_db - shift_db,
        )
        return replace(self, new=new)

    def windows_in(self, low_hz: float, high_hz: float) -> slice:
        """The windows whose middles lie in [low, high]."""
        first, last = np.searchsorted(self.centre_hz, (low_hz, high_hz))
        return slice(int(first), int(last))


def lay_side_by_side(old: Sequence[Evidence], new: Sequence[Evidence]) -> tuple[Pair, ...]:
    """Series of two surveys in pairs, those most alike first; each place is compared once. Empty where none overlap."""
    candidates = [(one, other) for one in old for other in new if _overlap_hz(one, other) > 0]
    candidates.sort(key=lambda couple: (_unlike(*couple), -_overlap_hz(*couple)))
    pairs: list[Pair] = []
    taken: list[Interval] = []
    for one, other in candidates:
        low, high = _raster(one, other)
        middle = (low + high) / 2
        free = np.ones(middle.size, dtype=bool)
        for begin, end in taken:
            free &= (middle < begin) | (middle > end)
        if not free.any():
            continue
        pair = _crowded(low[free], high[free], _side(one, low[free], high[free]), _side(other, low[free], high[free]))
        if pair.both.any():
            pairs.append(pair)
            taken += _runs(pair.low_hz, pair.high_hz, pair.both)
    return tuple(pairs)


def gaps_between(measured: Sequence[Evidence], missing: Sequence[Evidence]) -> tuple[Interval, ...]:
    """Spans in hertz that the first survey measured and the second did not; slivers of a window or two left out."""
    if not measured or not missing:
        return ()
    least = LEAST_GAP_WINDOWS * max(_window_hz(one, one) for one in (*measured, *missing))
    rest = _united(_spans(measured))
    for low, high in _united(_spans(missing)):
        rest = [part for begin, end in rest for part in ((begin, min(end, low)), (max(begin, high), end))]
        rest = [(begin, end) for begin, end in rest if end > begin]
    return tuple((begin, end) for begin, end in sorted(set(rest)) if end - begin >= least)


def _crowded(low_hz: Levels, high_hz: Levels, old: Side, new: Side) -> Pair:
    """The two sides as a pair that knows how far noise is shared by neighbours: by the autocorrelation of what is left
    of their difference when its slow part is taken away, outliers cut.
    """
    pair = Pair(low_hz, high_hz, old, new)
    steps = np.diff(pair.difference_db[pair.both])
    if steps.size < FEWEST_FOR_CROWDING:
        return pair
    scatter = float(np.median(np.abs(steps))) / 0.954  # median |difference| of two normal values = 0.954 σ
    values = pair.difference_db[pair.both]
    slow = running_quantile(values, SLOW_WINDOWS, 0.5, hop=4)
    spread = max(scatter, NORMAL_MAD * float(np.median(np.abs(values - slow))))
    rest = np.clip(values - slow, -3.0 * spread, 3.0 * spread)
    power = float(np.mean(rest**2))
    if power <= 0.0:
        return pair
    shared = [float(np.mean(rest[lag:] * rest[:-lag])) / power for lag in range(1, FARTHEST_SHARED)]
    first_apart = next((lag for lag, share in enumerate(shared) if share < LEAST_SHARED), len(shared))
    crowding = 1.0 + 2.0 * sum(shared[:first_apart])
    return replace(pair, old=replace(old, crowding=crowding), new=replace(new, crowding=crowding))


def _unlike(one: Evidence, other: Evidence) -> int:
    """How many of axis, bandwidth and detector differ."""
    a, b = one.heard, other.heard
    return (a.axis != b.axis) * 4 + (a.detector != b.detector) * 2 + (a.rbw_hz != b.rbw_hz)


def _overlap_hz(one: Evidence, other: Evidence) -> float:
    a, b = one.heard.axis, other.heard.axis
    return min(a.high_hz, b.high_hz) - max(a.low_hz, b.low_hz)


def _window_hz(one: Evidence, other: Evidence) -> float:
    return max(max(part.heard.rbw_hz, float(part.heard.axis.step_hz)) for part in (one, other))


def _raster(one: Evidence, other: Evidence) -> tuple[Levels, Levels]:
    """Windows for two series: the cells of their common axis, or side by side over what both reach."""
    a, b = one.heard, other.heard
    width = _window_hz(one, other)
    coarser = max((a.axis, b.axis), key=lambda axis: axis.step_hz)
    if width <= float(coarser.step_hz) * 1.01:
        lows, highs = coarser.cells_hz
        inside = (highs > max(a.axis.low_hz, b.axis.low_hz)) & (lows < min(a.axis.high_hz, b.axis.high_hz))
        return lows[inside], highs[inside]
    low, high = max(a.axis.low_hz, b.axis.low_hz), min(a.axis.high_hz, b.axis.high_hz)
    edges = low + width * np.arange(max(2, int((high - low) / width + 1e-6) + 1))
    return np.asarray(edges[:-1], dtype=np.float64), np.asarray(edges[1:], dtype=np.float64)


def _side(evidence: Evidence, low_hz: Levels, high_hz: Levels) -> Side:
    heard = evidence.heard
    geometry = geometry_of(heard, low_hz, high_hz)
    mean, highest, middle = (np.full(low_hz.size, np.nan) for _ in range(3))
    sweeps = np.zeros(low_hz.size, dtype=np.int64)
    for piece in pieces(heard, geometry):
        part = Geometry(**{name: getattr(geometry, name)[piece] for name in Geometry.__dataclass_fields__})
        powers = powers_in(heard, part, evidence.floor.noise_db, _nothing(evidence))
        held = np.where(powers.valid, powers.least, 0.0)
        sweeps[piece] = powers.valid.sum(axis=0)
        mean[piece] = held.sum(axis=0) / np.maximum(sweeps[piece], 1)
        highest[piece] = held.max(axis=0)
        in_db = 10.0 * np.log10(np.maximum(held, LEAST_POWER))
        middle[piece] = np.where(powers.valid, in_db, 0.0).sum(axis=0) / np.maximum(sweeps[piece], 1)
    measured = (geometry.covered >= LEAST_COVERED) & (sweeps > 0) & (mean > 0)
    looks = np.maximum(1, np.round(sweeps / heard.alike_sweeps)).astype(np.int64)
    ratio = np.minimum(1.0, heard.steps_hz / heard.rbw_hz)
    per_bin = np.nan_to_num(10.0 ** (evidence.floor.noise_db / 10.0)) * ratio * heard.measured
    floor = sum_over(heard, per_bin, low_hz, high_hz) * geometry.scale
    return Side(
        evidence=evidence,
        mean_db=_decibels(mean, measured),
        highest_db=_decibels(highest, measured),
        middle_db=np.where(measured, middle, np.nan),
        floor_db=_decibels(floor, measured & (floor > 0)),
        looks=np.where(measured, looks, 0),
        readings=heard.noise.shape * float(np.median(geometry.cells)),
    )


def _decibels(power: Levels, where: NDArray[np.bool_]) -> Levels:
    out = np.full(power.shape, np.nan)
    out[where] = 10.0 * np.log10(power[where])
    return out


def _nothing(evidence: Evidence) -> NDArray[np.bool_]:
    return np.zeros(evidence.heard.axis.n, dtype=bool)


def _spans(evidence: Iterable[Evidence]) -> list[Interval]:
    found = []
    for part in evidence:
        found += _runs(*part.heard.axis.cells_hz, part.heard.measured)
    return found


def _runs(low_hz: Levels, high_hz: Levels, which: NDArray[np.bool_]) -> list[Interval]:
    """Stretches of windows that touch each other, as spans in hertz."""
    places = np.flatnonzero(which)
    if places.size == 0:
        return []
    apart = low_hz[places[1:]] > high_hz[places[:-1]] + 1.0
    parts = np.split(places, np.flatnonzero(apart) + 1)
    return [(float(low_hz[part[0]]), float(high_hz[part[-1]])) for part in parts]


def _united(spans: Sequence[Interval]) -> list[Interval]:
    united: list[Interval] = []
    for low, high in sorted(spans):
        if united and low <= united[-1][1] + 1.0:
            united[-1] = (united[-1][0], max(high, united[-1][1]))
        else:
            united.append((low, high))
    return united
