"""A series made ready to be judged: corrected to the antenna, impossible readings taken out, its noise described.

Levels stay as they were measured wherever they can be believed; what can't be is *not measured* and counted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError
from fallow.spectrum.axis import Axis
from fallow.spectrum.chain import Chain
from fallow.spectrum.found.read_again import without_read_again
from fallow.spectrum.found.stacking import all_timed, stacked
from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.alike_sweeps import alike_sweeps
from fallow.spectrum.noise.by_turns import without_turns
from fallow.spectrum.noise.neighbours import alike_bins
from fallow.spectrum.noise.trace_kind import TraceKind, contradicts_hold, estimate_kind, told_contradiction, told_kind
from fallow.spectrum.noise.upper_tail import UpperTail, find_upper_tail
from fallow.spectrum.statistics import NoiseModel, estimate_peak_count, estimate_samples
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.units import Span, format_width

__all__ = ["Heard", "is_absolute", "make_ready", "mixed_scales", "told_alike", "told_width"]

IMPOSSIBLE_BELOW_DB = 60.0  # under the lower quartile of a series; single noise samples fall so low once in a million
MIN_HOLD_SHOWS = "they show the lowest level ever met, not what is usual"
MIN_HOLD_SEEN = (
    f"left out as min-hold traces, whose levels never rise from sweep to sweep: {MIN_HOLD_SHOWS} "
    "(--detector says what they are)"
)
MIN_HOLD_ALONE = "min-hold traces alone say nothing about what is on the air"
FEWEST_DIFFERENCES = 10  # below that, the scatter says nothing and single samples are assumed
MANY_DIFFERENCES = 100  # below that, the scatter is taken as larger than it looks, by two of its standard errors or so
LIMITS_APART = 3.92  # standard deviations between the limits of 95 %
MOST_FILES_NAMED = 4
MOST_DIFFERENCES = 1_000_000  # as many as a median needs by far; keeps long surveys quick


@dataclass(frozen=True, eq=False)
class Heard:
    """One series, ready. ``levels_db``: [dBm at the antenna, or the source's dB], float32, shape (sweep, bin), NaN not
    measured; indexing gives arrays.

    ``rbw_hz``: as stated, else the step. ``alike_hz``: over how many hertz readings of noise say one thing: the
    resolution bandwidth, or more where the data show more. ``own_bins``: our own carriers stood there. ``rejected``:
    impossible readings per bin. ``antenna_gain_db``: per bin, what the antenna adds; without it the level is the one at
    the instrument's end of the antenna. ``times_s``: start of each sweep as in ``Series``, shape (sweep,), where all
    files tell it.
    ``detector``: as stated, else ``None``; ``kind``: what the data say. ``overloaded``: the source says so.
    ``instrument``: which piece took it, empty where nothing tells. ``source``: the first file, for messages.
    """

    axis: Axis
    levels_db: Levels
    rbw_hz: float
    rbw_known: bool
    alike_hz: float
    detector: Detector | None
    noise: NoiseModel
    own_bins: NDArray[np.bool_]
    rejected: NDArray[np.int64]
    antenna_gain_db: NDArray[np.float64]
    name: str
    times_s: NDArray[np.float64] | None = None
    zone_known: bool = False
    instrument: str = ""
    source: str = ""
    kind: TraceKind | None = None
    overloaded: bool = False
    alike_sweeps: float = 1.0

    @property
    def held(self) -> bool:
        """Whether a level is the highest of a time that is not known: how often it was there can't be told."""
        return _believed(self.detector, self.kind) is Detector.MAX_HOLD

    @property
    def n_sweeps(self) -> int:
        """Sweeps that say something each; a max-hold trace is one, however often it was read."""
        return len(self.levels_db)

    @property
    def looks(self) -> float:
        """As many independent sweeps say as much of noise as all of them."""
        return max(1.0, self.n_sweeps / self.alike_sweeps)

    @cached_property
    def steps_hz(self) -> NDArray[np.float64]:
        """Width of each bin's cell in hertz, shape (bin,)."""
        lows, highs = self.axis.cells_hz
        return np.asarray(highs - lows, dtype=np.float64)

    @property
    def widest_rbw_hz(self) -> float:
        """How wide the resolution may be, in hertz: as stated; else as wide as readings of noise are alike."""
        return self.rbw_hz if self.rbw_known else max(self.rbw_hz, self.alike_hz)

    @cached_property
    def measured(self) -> NDArray[np.bool_]:
        """Bins with a valid level in some sweep, shape (bin,)."""
        return np.asarray(self._sums.count > 0)

    @cached_property
    def valid_sweeps(self) -> NDArray[np.int64]:
        """How many sweeps have a valid level in each bin, shape (bin,)."""
        return self._sums.count

    @cached_property
    def complete(self) -> bool:
        """Whether no level is missing anywhere."""
        return bool((self._sums.count == self.n_sweeps).all())

    @cached_property
    def mean_db(self) -> NDArray[np.float64]:
        """Mean power of each bin over the sweeps, dB, shape (bin,), NaN where nothing was measured."""
        mean = np.full(self.axis.n, np.nan)
        mean[self.measured] = 10.0 * np.log10(self._sums.power[self.measured] / self._sums.count[self.measured])
        return mean

    @cached_property
    def highest_db(self) -> NDArray[np.float64]:
        """Highest level of each bin over the sweeps, dB, shape (bin,), NaN where nothing was measured."""
        return np.where(self.measured, self._sums.highest, np.nan).astype(np.float64)

    @cached_property
    def upper_tail(self) -> UpperTail:
        """How far its noise reaches up."""
        return find_upper_tail(
            self.levels_db, self.alike_hz / float(self.axis.step_hz), self.noise.shape, self.alike_sweeps
        )

    @cached_property
    def _sums(self) -> _Sums:
        return _Sums.over(self.levels_db)


@dataclass(frozen=True, eq=False)
class _Sums:
    """What one look at every level tells of each bin, arrays of shape (bin,).

    ``count``: valid levels; ``power``: their sum [mW or the source's linear unit]; ``highest``: the highest [dB].
    """

    count: NDArray[np.int64]
    power: NDArray[np.float64]
    highest: NDArray[np.float32]

    @staticmethod
    def over(levels: Levels) -> _Sums:
        bins = levels.shape[1]
        count, power = np.zeros(bins, dtype=np.int64), np.zeros(bins)
        highest = np.full(bins, -np.inf, dtype=np.float32)
        for _, block in levels.blocks():
            np.fmax(highest, np.fmax.reduce(block, axis=0), out=highest)
            linear = np.exp(block.astype(np.float64) * (math.log(10.0) / 10.0))
            valid = np.isfinite(block)
            if valid.all():
                count += block.shape[0]
            else:
                count += valid.sum(axis=0)
                linear[~valid] = 0.0
            power += linear.sum(axis=0)
        return _Sums(count, power, highest)


def is_absolute(survey: Survey, chain: Chain | None) -> bool:
    """Whether all levels have a stated absolute scale: by their unit, or by a chain's row of kind ``instrument``."""
    stated = chain is not None and chain.states_scale
    return stated or all(series.unit is LevelUnit.DBM for series in survey.series)


def mixed_scales(survey: Survey) -> str:
    """Which files have levels in dBm and which have none of a scale; empty where all are alike."""
    named = {
        unit: tuple(dict.fromkeys(series.source or series.trace for series in survey.series if series.unit is unit))
        for unit in LevelUnit
    }
    if not all(named.values()):
        return ""
    dbm, relative = (_listed(named[unit]) for unit in (LevelUnit.DBM, LevelUnit.DB))
    return f"dBm in {dbm}, decibels without a scale in {relative}"


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_FILES_NAMED} more" if len(names) > MOST_FILES_NAMED else ""
    return f"{', '.join(names[:MOST_FILES_NAMED])}{more}"


def make_ready(
    survey: Survey, chain: Chain | None = None, own: Sequence[Span] = (), *, absolute: bool = True
) -> tuple[tuple[Heard, ...], tuple[str, ...]]:
    """The series of a survey ready to be judged, and notes for people on what was left out or assumed.

    Sweeps that were only read again count once (see ``read_again``). Series of one instrument with the same axis,
    bandwidth, detector and trace are taken as sweeps of one (see ``stacking``). Raises UsageError without any level.
    """
    notes: list[str] = []
    kept = [series for series in survey.series if series.detector is not Detector.MIN_HOLD and series.n_sweeps > 0]
    if len(kept) < len(survey.series):
        notes.append(f"min-hold traces were left out: {MIN_HOLD_SHOWS}")
    if not kept:
        raise UsageError("there are no levels to judge", hint=MIN_HOLD_ALONE)
    corrections = chain if chain is not None and absolute else None
    if not absolute and (mixed := mixed_scales(survey)):
        notes.append(f"{mixed}: so all levels are judged as relative; --level-unit dBm if they are all in dBm")
    if chain is not None and chain.parts and not absolute:
        notes.append("the chain's gains were not used: without a row of kind instrument the levels stay relative")
    groups, named = stacked(kept)
    groups, read_again = without_read_again(groups)
    groups, by_turns = without_turns(groups)
    notes.extend((*read_again, *by_turns, *named))
    heard = tuple(_ready(series, corrections, own) for series in groups)
    falling = [part for part in heard if _believed(part.detector, part.kind) is Detector.MIN_HOLD]
    if falling:
        heard = tuple(part for part in heard if part not in falling)
        notes.append(f"{', '.join(part.name for part in falling)}: {MIN_HOLD_SEEN}")
    if not heard:
        raise UsageError("there are no levels to judge", hint=MIN_HOLD_ALONE)
    if corrections is not None:
        low_hz = min(float(series.axis.centres_hz[0]) for series in kept)
        notes.extend(corrections.remarks(low_hz, max(float(series.axis.centres_hz[-1]) for series in kept)))
    if not any(part.measured.any() or part.own_bins.any() for part in heard):
        raise UsageError("there are no levels to judge: every reading is missing or impossible")
    notes.extend((*_kind_notes(heard), *_resolution_notes(heard, absolute=absolute)))
    for part in heard:
        notes.extend(_remarks(part))
    return heard, tuple(dict.fromkeys(notes))


def _believed(stated: Detector | None, kind: TraceKind | None) -> Detector | None:
    """The trace kind as stated, else as the data tell it; averages told to be a hold are no hold."""
    if kind is None or (stated is not None and not contradicts_hold(stated, kind)):
        return stated
    return kind.detector


def _kind_notes(heard: Sequence[Heard]) -> list[str]:
    """What the data say where no detector is stated: once for all series of which they say the same kind."""
    alike: dict[Detector | None, list[Heard]] = {}
    for part in heard:
        if part.kind is not None and part.detector is None:
            alike.setdefault(part.kind.detector, []).append(part)
    return [
        f"detector not stated{_where(parts)}: {told_kind(parts[0].kind)} (--detector says what it is)"
        for parts in alike.values()
        if parts[0].kind is not None
    ]


def _where(parts: Sequence[Heard]) -> str:
    """The first name of some series and how many others there are, in brackets; empty where none has one."""
    names = list(dict.fromkeys(part.name for part in parts if part.name))
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return f" ({names[0]}{more})" if names else ""


def told_width(width_hz: float) -> str:
    """A width in hertz as people write it, with the two digits that count in an estimate."""
    return format_width(round(width_hz, 1 - math.floor(math.log10(width_hz))))


def _resolution_notes(heard: Sequence[Heard], *, absolute: bool) -> list[str]:
    """As what a resolution that is not stated was taken, and what that does to levels: once for each step."""
    alike: dict[float, list[Heard]] = {}
    for part in heard:
        if not part.rbw_known:
            alike.setdefault(part.rbw_hz, []).append(part)
    notes = []
    for step_hz, parts in alike.items():
        told = f"resolution bandwidth not stated{_where(parts)}: taken as the step, {step_hz / 1e3:.4g} kHz"
        widest_hz = max(part.widest_rbw_hz for part in parts)
        if widest_hz > step_hz:
            told += f"; neighbours say the same over about {told_width(widest_hz)}: it may be as wide as that"
            if absolute:
                lower_db = 10.0 * math.log10(widest_hz / step_hz)
                told += f", and levels {lower_db:.1f} dB lower: they are told half-way, and u holds both"
            told += " (--rbw says what it is)"
        notes.append(told)
    return notes


def _remarks(part: Heard) -> list[str]:
    where = f" ({part.name})" if part.name else ""
    remarks = []
    if part.kind is not None and part.detector is not None:
        against = told_contradiction(part.detector, part.kind)
        remarks += [f"{against}{where} (--detector says what it is)"] if against else []
    if part.alike_sweeps > 1.0:
        remarks.append(told_alike(part) + where)
    rejected = int(part.rejected.sum())
    if rejected:
        remarks.append(
            f"{rejected} readings{where} lie more than {IMPOSSIBLE_BELOW_DB:.0f} dB under the usual level, where no "
            "receiver's noise does: rejected, they are not measured"
        )
    return remarks


def told_alike(part: Heard) -> str:
    """How many of the sweeps show the same noise, and what they count as."""
    if round(part.looks) == 1:
        return (
            f"all {part.n_sweeps} sweeps show the same noise (a trace that hardly moves, or a finely uneven floor): "
            "they count as one look"
        )
    return (
        f"about {part.alike_sweeps:.2g} sweeps that follow each other show the same noise (a running average, for "
        f"one): the {part.n_sweeps} count as {part.looks:.0f} looks"
    )


def _ready(parts: Sequence[Series], chain: Chain | None, own: Sequence[Span]) -> Heard:
    series, axis = parts[0], parts[0].axis
    gains = np.zeros(axis.n) if chain is None else chain.gain_at(axis.centres_hz)
    without = np.zeros(axis.n) if chain is None else chain.gain_at(axis.centres_hz, without=("antenna",))
    added = None if chain is None else -gains.astype(np.float32)
    levels = Levels(tuple(part.levels_db for part in parts), added)
    times = np.concatenate([part.times_s for part in parts if part.times_s is not None]) if all_timed(parts) else None
    lowest = _lowest_possible_db(levels)
    rejected = _count_below(levels, lowest)
    rbw = series.rbw_hz if series.rbw_hz and series.rbw_hz > 0 else float(axis.step_hz)
    own_bins = _own_bins(axis, own, rbw)
    shown = replace(levels, added_db=None)
    alike = alike_bins(shown, rbw / float(axis.step_hz), stated=series.rbw_hz is not None)
    alike_in_time = 1.0 if series.from_samples else alike_sweeps(shown, alike)
    kind = estimate_kind(shown, alike, alike_in_time)
    if _believed(series.detector, kind) is Detector.MAX_HOLD:
        levels, times = (_held(levels), None) if len(levels) > 1 else (levels, times)
        lowest, alike_in_time = -math.inf, 1.0
    spread_db = _scatter_db(levels, axis, alike) if alike_in_time == 1.0 else _widest_scatter_db(levels, alike)
    noise = _noise_model(spread_db, series.detector, kind)
    hidden = own_bins if own_bins.any() else None
    return Heard(
        axis=axis,
        levels_db=replace(levels, lowest_db=lowest if rejected.any() else -math.inf, hidden=hidden),
        rbw_hz=rbw,
        rbw_known=series.rbw_hz is not None,
        alike_hz=alike * float(axis.step_hz),
        detector=series.detector,
        noise=noise,
        own_bins=own_bins,
        rejected=rejected,
        antenna_gain_db=gains - without,
        name=series.trace or series.source,
        times_s=times,
        zone_known=series.zone_known,
        kind=kind,
        overloaded=any(part.overloaded for part in parts),
        instrument=series.instrument,
        source=series.source,
        alike_sweeps=alike_in_time,
    )


def _lowest_possible_db(levels: Levels) -> float:
    sample = levels[:: max(1, levels.size // MOST_DIFFERENCES)].ravel()
    sample = sample[:: max(1, sample.size // MOST_DIFFERENCES)]
    sample = sample[np.isfinite(sample)]
    return float(np.percentile(sample, 25)) - IMPOSSIBLE_BELOW_DB if sample.size else -math.inf


def _count_below(levels: Levels, lowest_db: float) -> NDArray[np.int64]:
    """How many readings of each bin lie below a level, shape (bin,)."""
    count = np.zeros(levels.shape[1], dtype=np.int64)
    for _, block in levels.blocks():
        if np.fmin.reduce(block, axis=None) < lowest_db:
            count += (block < np.float32(lowest_db)).sum(axis=0)
    return count


def _held(levels: Levels) -> Levels:
    """The highest level of each bin as one sweep."""
    highest = np.full((1, levels.shape[1]), np.nan, dtype=np.float32)
    for _, block in levels.blocks():
        np.fmax(highest, np.fmax.reduce(block, axis=0), out=highest)
    return Levels((highest,))


def _own_bins(axis: Axis, own: Sequence[Span], rbw_hz: float) -> NDArray[np.bool_]:
    bins = np.zeros(axis.n, dtype=bool)
    for span in own:
        bins[axis.bins_touching(span.low_hz - rbw_hz / 2, span.high_hz + rbw_hz / 2)] = True
    return bins


def _noise_model(spread_db: float | None, stated: Detector | None, kind: TraceKind) -> NoiseModel:
    if _believed(stated, kind) in (Detector.PEAK, Detector.MAX_HOLD):
        if kind.noise is not None and kind.detector is not None and kind.noise.peak_of.best > 1.0:
            bias_db = kind.noise.bias_db
            u_db = (bias_db.high - bias_db.low) / LIMITS_APART
            return NoiseModel(kind.noise.samples.best, kind.noise.peak_of.best, bias_u_db=u_db)
        peak_of = 100.0 if spread_db is None else max(2.0, estimate_peak_count(spread_db))
        return NoiseModel(samples=1.0, peak_of=peak_of)
    samples = 1.0 if spread_db is None else estimate_samples(spread_db)
    if stated is None and kind.detector is None and kind.noise is not None:
        return NoiseModel(samples, at_most=NoiseModel(kind.noise.samples.low, kind.noise.peak_of.high).shape)
    return NoiseModel(samples)


def _scatter_db(levels: Levels, axis: Axis, alike: float) -> float | None:
    """Median magnitude of the difference of two readings of the same noise; the larger of two ways of looking.

    Between sweeps drift adds to it, along frequency the shape of the spectrum does: neither makes it too small.
    """
    thin = max(1, levels.size // MOST_DIFFERENCES)
    candidates: list[NDArray[np.floating]] = []
    if levels.shape[0] > 1:
        candidates.append(np.diff(levels[:, ::thin] if thin < axis.n // 64 else levels[:: thin + 1], axis=0))
    candidates.append(_bent(levels[::thin], alike))
    spreads = [spread for differences in candidates if (spread := _middle_magnitude(differences)) is not None]
    return max(spreads, default=None)


def _widest_scatter_db(levels: Levels, alike: float) -> float | None:
    """The same where sweeps say the same, along frequency alone, of the sweep that scatters most: a running average
    begins with single readings, and what it shows then stays for a while.
    """
    rows = levels[:: max(1, levels.size // MOST_DIFFERENCES)]
    spreads = [spread for row in rows if (spread := _middle_magnitude(_bent(row[None, :], alike))) is not None]
    return max(spreads, default=None)


def _bent(rows: NDArray[np.float32], alike: float) -> NDArray[np.float32]:
    """Each reading of shape (sweep, bin) less the mean of two independent neighbours, as wide as a difference of two:
    var(b - (a + c)/2) = 1.5σ², a difference's is 2σ². Empty where there are too few bins.
    """
    lag = max(1, math.ceil(2.0 * alike))
    if rows.shape[1] <= 2 * lag + FEWEST_DIFFERENCES:
        return rows[:, :0]
    bent = rows[:, lag:-lag] - (rows[:, : -2 * lag] + rows[:, 2 * lag :]) / 2
    return np.asarray(bent * np.float32(math.sqrt(4.0 / 3.0)), dtype=np.float32)


def _middle_magnitude(differences_db: NDArray[np.floating]) -> float | None:
    """Median magnitude, raised where there are not many; None where there are too few."""
    valid = np.abs(differences_db[np.isfinite(differences_db)])
    if valid.size < FEWEST_DIFFERENCES:
        return None
    unsure = 2.0 / math.sqrt(valid.size) if valid.size < MANY_DIFFERENCES else 0.0
    return float(np.median(valid)) * (1.0 + unsure)
