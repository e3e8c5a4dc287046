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
from fallow.spectrum.statistics import NoiseModel, estimate_peak_count, estimate_samples
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.units import Span

__all__ = ["Heard", "is_absolute", "make_ready"]

IMPOSSIBLE_BELOW_DB = 60.0  # under the lower quartile of a series; single noise samples fall so low once in a million
OFTEN_SHARE = 0.9  # of the sweeps that must have a level, or the bin is a hole
FEWEST_DIFFERENCES = 10  # below that, the scatter says nothing and single samples are assumed
MANY_DIFFERENCES = 100  # below that, the scatter is taken as larger than it looks, by two of its standard errors or so
MOST_DIFFERENCES = 1_000_000  # as many as a median needs by far; keeps long surveys quick


@dataclass(frozen=True, eq=False)
class Heard:
    """One series, ready. ``levels_db``: [dBm at the antenna, or the source's dB], float32, shape (sweep, bin), NaN not
    measured.

    ``rbw_hz``: as stated, else the step. ``own_bins``: our own carriers stood there. ``rejected``: impossible readings
    per bin. ``antenna_gain_db``: per bin, what the antenna adds; without it the level is the one at the instrument's
    end of the antenna.
    """

    axis: Axis
    levels_db: NDArray[np.float32]
    rbw_hz: float
    rbw_known: bool
    detector: Detector | None
    noise: NoiseModel
    own_bins: NDArray[np.bool_]
    rejected: NDArray[np.int64]
    antenna_gain_db: NDArray[np.float64]
    name: str

    @property
    def n_sweeps(self) -> int:
        """Sweeps that say something each; a max-hold trace is one, however often it was read."""
        return int(self.levels_db.shape[0])

    @cached_property
    def steps_hz(self) -> NDArray[np.float64]:
        """Width of each bin's cell in hertz, shape (bin,)."""
        lows, highs = self.axis.cells_hz
        return np.asarray(highs - lows, dtype=np.float64)

    @cached_property
    def measured(self) -> NDArray[np.bool_]:
        """Bins with a valid level in some sweep, shape (bin,)."""
        return np.asarray(np.isfinite(self.levels_db).any(axis=0))

    @cached_property
    def often_missing(self) -> NDArray[np.bool_]:
        """Bins without a valid level in more than a tenth of the sweeps, shape (bin,)."""
        if self.complete:
            return np.zeros(self.axis.n, dtype=bool)
        return np.asarray(np.isfinite(self.levels_db).mean(axis=0) < OFTEN_SHARE)

    @cached_property
    def complete(self) -> bool:
        """Whether no level is missing anywhere."""
        return bool(np.isfinite(self.levels_db).all())

    @cached_property
    def mean_db(self) -> NDArray[np.float64]:
        """Mean power of each bin over the sweeps, dB, shape (bin,), NaN where nothing was measured."""
        power = np.zeros(self.axis.n)
        count = np.zeros(self.axis.n)
        for row in self.levels_db:  # one sweep at a time: a long survey must not be copied whole
            valid = np.isfinite(row)
            power[valid] += 10.0 ** (row[valid].astype(np.float64) / 10.0)
            count += valid
        mean = np.full(self.axis.n, np.nan)
        some = count > 0
        mean[some] = 10.0 * np.log10(power[some] / count[some])
        return mean

    @cached_property
    def highest_db(self) -> NDArray[np.float64]:
        """Highest level of each bin over the sweeps, dB, shape (bin,), NaN where nothing was measured."""
        highest = np.max(np.where(np.isfinite(self.levels_db), self.levels_db, -np.inf), axis=0)
        return np.where(np.isfinite(highest), highest, np.nan).astype(np.float64)


def is_absolute(survey: Survey, chain: Chain | None) -> bool:
    """Whether all levels have a stated absolute scale: by their unit, or by a chain's row of kind ``instrument``."""
    stated = chain is not None and chain.states_scale
    return stated or all(series.unit is LevelUnit.DBM for series in survey.series)


def make_ready(
    survey: Survey, chain: Chain | None = None, own: Sequence[Span] = (), *, absolute: bool = True
) -> tuple[tuple[Heard, ...], tuple[str, ...]]:
    """The series of a survey ready to be judged, and notes for people on what was left out or assumed.

    Series of the same axis, bandwidth, detector and trace are taken as sweeps of one. Raises UsageError without any
    level.
    """
    notes: list[str] = []
    kept = [series for series in survey.series if series.detector is not Detector.MIN_HOLD and series.n_sweeps > 0]
    if len(kept) < len(survey.series):
        notes.append("min-hold traces were left out: they show the lowest level ever met, not what is usual")
    if not kept:
        raise UsageError(
            "there are no levels to judge", hint="min-hold traces alone say nothing about what is on the air"
        )
    corrections = chain if chain is not None and absolute else None
    if chain is not None and chain.parts and not absolute:
        notes.append("the chain's gains were not used: without a row of kind instrument the levels stay relative")
    heard = tuple(_ready(series, corrections, own) for series in _merged(kept))
    if corrections is not None:
        low_hz = min(float(series.axis.centres_hz[0]) for series in kept)
        notes.extend(corrections.remarks(low_hz, max(float(series.axis.centres_hz[-1]) for series in kept)))
    if not any(part.measured.any() or part.own_bins.any() for part in heard):
        raise UsageError("there are no levels to judge: every reading is missing or impossible")
    for part in heard:
        notes.extend(_remarks(part))
    return heard, tuple(dict.fromkeys(notes))


def _remarks(part: Heard) -> list[str]:
    where = f" ({part.name})" if part.name else ""
    remarks = []
    if not part.rbw_known:
        remarks.append(f"resolution bandwidth not stated{where}: taken as the step, {part.rbw_hz / 1e3:.4g} kHz")
    rejected = int(part.rejected.sum())
    if rejected:
        remarks.append(
            f"{rejected} readings{where} lie more than {IMPOSSIBLE_BELOW_DB:.0f} dB under the usual level, where no "
            "receiver's noise does: rejected, they are not measured"
        )
    return remarks


def _merged(series: Sequence[Series]) -> list[Series]:
    merged: list[Series] = []
    for one in series:
        for index, other in enumerate(merged):
            if _same_kind(one, other):
                merged[index] = replace(other, levels_db=np.concatenate([other.levels_db, one.levels_db]), times_s=None)
                break
        else:
            merged.append(one)
    return merged


def _same_kind(one: Series, other: Series) -> bool:
    stated = (one.unit, one.rbw_hz, one.detector, one.trace) == (other.unit, other.rbw_hz, other.detector, other.trace)
    return stated and one.axis == other.axis


def _ready(series: Series, chain: Chain | None, own: Sequence[Span]) -> Heard:
    axis = series.axis
    gains = np.zeros(axis.n) if chain is None else chain.gain_at(axis.centres_hz)
    without = np.zeros(axis.n) if chain is None else chain.gain_at(axis.centres_hz, without=("antenna",))
    levels = np.asarray(series.levels_db, dtype=np.float32)
    if chain is not None:
        levels = levels - gains.astype(np.float32)
    levels = np.where(np.isfinite(levels), levels, np.float32(np.nan))
    impossible = _impossible(levels)
    rbw = series.rbw_hz if series.rbw_hz and series.rbw_hz > 0 else float(axis.step_hz)
    own_bins = _own_bins(axis, own, rbw)
    if series.detector is Detector.MAX_HOLD and levels.shape[0] > 1:
        levels = np.fmax.reduce(levels, axis=0, keepdims=True)
    noise = _noise_model(levels, axis, rbw, series.detector)
    if impossible.any() or own_bins.any():
        levels = levels.copy()
        levels[:, own_bins] = np.nan
        if series.detector is not Detector.MAX_HOLD:
            levels[impossible] = np.nan
    return Heard(
        axis=axis,
        levels_db=levels,
        rbw_hz=rbw,
        rbw_known=series.rbw_hz is not None,
        detector=series.detector,
        noise=noise,
        own_bins=own_bins,
        rejected=impossible.sum(axis=0),
        antenna_gain_db=gains - without,
        name=series.trace or series.source,
    )


def _impossible(levels: NDArray[np.float32]) -> NDArray[np.bool_]:
    sample = levels.ravel()[:: max(1, levels.size // MOST_DIFFERENCES)]
    sample = sample[np.isfinite(sample)]
    if sample.size == 0:
        return np.zeros(levels.shape, dtype=bool)
    return np.asarray(levels < np.percentile(sample, 25) - IMPOSSIBLE_BELOW_DB)


def _own_bins(axis: Axis, own: Sequence[Span], rbw_hz: float) -> NDArray[np.bool_]:
    bins = np.zeros(axis.n, dtype=bool)
    for span in own:
        bins[axis.bins_touching(span.low_hz - rbw_hz / 2, span.high_hz + rbw_hz / 2)] = True
    return bins


def _noise_model(levels: NDArray[np.float32], axis: Axis, rbw_hz: float, detector: Detector | None) -> NoiseModel:
    spread_db = _scatter_db(levels, axis, rbw_hz)
    if detector in (Detector.PEAK, Detector.MAX_HOLD):
        peak_of = 100.0 if spread_db is None else max(2.0, estimate_peak_count(spread_db))
        return NoiseModel(samples=1.0, peak_of=peak_of)
    return NoiseModel(samples=1.0 if spread_db is None else estimate_samples(spread_db))


def _scatter_db(levels: NDArray[np.float32], axis: Axis, rbw_hz: float) -> float | None:
    """Median magnitude of the difference of two readings of the same noise; the larger of two ways of looking.

    Between sweeps drift adds to it, along frequency the shape of the spectrum does: neither makes it too small.
    """
    lag = max(1, math.ceil(2.0 * rbw_hz / float(axis.step_hz)))
    thin = max(1, levels.size // MOST_DIFFERENCES)
    candidates: list[NDArray[np.floating]] = []
    if levels.shape[0] > 1:
        candidates.append(np.diff(levels[:, ::thin] if thin < axis.n // 64 else levels[:: thin + 1], axis=0))
    if axis.n > 2 * lag + FEWEST_DIFFERENCES:
        rows = levels[::thin]
        bent = rows[:, lag:-lag] - (rows[:, : -2 * lag] + rows[:, 2 * lag :]) / 2
        candidates.append(bent * np.float32(math.sqrt(4.0 / 3.0)))  # var(b - (a+c)/2) = 1.5σ², a difference's is 2σ²
    spreads = []
    for differences in candidates:
        valid = np.abs(differences[np.isfinite(differences)])
        if valid.size >= FEWEST_DIFFERENCES:
            unsure = 2.0 / math.sqrt(valid.size) if valid.size < MANY_DIFFERENCES else 0.0
            spreads.append(float(np.median(valid)) * (1.0 + unsure))
    return max(spreads) if spreads else None
