"""The arithmetic of a verdict: windows of one series against a limit, at a confidence.

The error of a level has a part that all bins and sweeps share (the budget's) and a part that differs (noise in the
estimate). Looking at many windows and periods makes the largest noise error larger, so each comparison allows for the
largest of as many as were looked at near the limit; the common part is counted once. Periods are the whole survey and
runs of 1, 2, 4 … sweeps, half overlapping. Source of the decision rule: JCGM 106:2012, 7.4 (probability that a
quantity lies beyond a limit).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from enum import IntFlag

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.chain import BudgetLine, combined_u_at
from fallow.spectrum.heard import Heard
from fallow.spectrum.noise_floor import Floor
from fallow.spectrum.statistics import (
    DB_PER_NEPER_OF_POWER,
    noise_quantile_db,
    normal_quantile,
    thermal_noise_dbm,
)
from fallow.spectrum.verdict import Verdict
from fallow.spectrum.window_levels import (
    WIDEST_STEP,
    Geometry,
    WindowPowers,
    bins_between,
    geometry_of,
    pieces,
    powers_in,
    sum_over,
)

__all__ = ["Decided", "Evidence", "Flag", "Rule", "decide"]

NOISE_ALONE = 0.01  # noise alone may make one slice in a hundred occupied: the contract of this project
USUAL_WINDOWS = 80  # half overlapping windows of 200 kHz in a TV channel of 8 MHz
SMALLEST_COVER = 0.9  # less of a window with a valid level is not measured: the contract of this project
RAISED_DB = 2.0  # above the floor of the reference: the contract of this project
FLOOR_RISE_DB = 3.0  # of a survey's floor above its ordinary one; common practice (the floor rises by 3 to 15 dB)
LEAST_ABOVE_NOISE_DB = 1.0  # common practice: how far the shape of a floor is known between its supports
RAGGED_DB = 3.0  # the same where the floor is raised by something from outside
TOLD_DB = 1.0  # by so much a run must be louder than the whole survey to be told instead of it
STANDS_OUT = 0.05  # chance that a run of sweeps stands out from the rest by noise, all runs together
NEAR_LIMIT = 0.5  # of the limit's power: from there a window counts as looked at; noise may hide half of a signal
FEWEST_FOR_SCATTER = 8  # sweeps from which their own scatter is believed
Values = NDArray[np.float64]
Progress = Callable[[float], None] | None


class Flag(IntFlag):
    """Why a window got its verdict; several may hold."""

    NONE = 0
    NEAR = 1
    DEAF = 2
    BELOW_KTB = 4
    COARSE = 8
    HOLE = 16
    OWN_LINE = 32
    SUSPECT_LINE = 64
    ABOVE_REFERENCE = 128
    FLOOR_RAISED = 256
    REJECTED = 512
    ANNOUNCED_MISSING = 1024
    UNCOVERED = 2048
    OWN_CARRIER = 4096
    BLOCK = 8192
    ANNOUNCED = 16384
    ONCE = 32768
    NOISE = 65536
    ABOVE = 131072
    PEAKS = 262144


@dataclass(frozen=True)
class Rule:
    """Against what windows are judged. ``limit_dbm`` for absolute levels, else ``above_floor_db``; ``u_db``: the
    common error. ``budget``: its lines where they vary over frequency.
    """

    limit_dbm: float | None
    above_floor_db: float | None
    confidence: float
    u_db: float | NDArray[np.float64]
    budget: tuple[BudgetLine, ...] = ()

    def at(self, frequencies_hz: NDArray[np.float64]) -> Rule:
        """The rule for windows around these frequencies [Hz]: the common error of each, shape (window,)."""
        return replace(self, u_db=combined_u_at(self.budget, frequencies_hz)) if self.budget else self


@dataclass(frozen=True, eq=False)
class Evidence:
    """One series with what is known about it, arrays of shape (bin,).

    ``base_db``: the floor that a relative limit counts from. ``from_reference``: whether that is the floor of a
    reference. ``own_lines``, ``suspect_lines``: bins that hold lines of the instrument itself, proven or suspected.
    """

    heard: Heard
    floor: Floor
    base_db: NDArray[np.float64]
    from_reference: bool
    own_lines: NDArray[np.bool_]
    suspect_lines: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Decided:
    """Verdicts of windows with their numbers, arrays of shape (window,); NaN where not measured.

    ``cost_db``: what the confidence costs, so that limit - level - cost is the margin. ``run``: sweeps in the period
    that decided.
    """

    verdict: NDArray[np.uint8]
    flags: NDArray[np.int64]
    level_db: NDArray[np.float64]
    u_db: NDArray[np.float64]
    floor_db: NDArray[np.float64]
    limit_db: NDArray[np.float64]
    margin_db: NDArray[np.float64]
    run: NDArray[np.int64]


def decide(
    evidence: Evidence,
    rule: Rule,
    low_hz: Values,
    high_hz: Values,
    slices: NDArray[np.int64],
    progress: Progress = None,
) -> Decided:
    """Judge windows [low, high] in hertz; ``slices`` numbers the slice that each belongs to. Shapes (window,)."""
    heard = evidence.heard
    geometry = geometry_of(heard, low_hz, high_hz)
    result = _nothing_measured(low_hz.size)
    measured = geometry.covered >= SMALLEST_COVER
    result.flags[~measured] = np.where(_any_bin(heard.own_bins, geometry), Flag.OWN_CARRIER, Flag.UNCOVERED)[~measured]
    judged = np.flatnonzero(measured)
    if judged.size == 0:
        return result
    inner = Geometry(**{name: getattr(geometry, name)[judged] for name in Geometry.__dataclass_fields__})
    rule = rule.at((inner.low_hz + inner.high_hz) / 2)
    windows = _Windows.of(evidence, rule, inner)
    found = _Findings.empty(judged.size)
    for piece in pieces(heard, inner, progress):
        _look(evidence, windows, piece, found)
    looked = np.zeros(int(slices.max()) + 1)
    np.add.at(looked, slices[judged], 1.0)
    occupied, noise_only = _occupied(evidence, rule, windows, found, slices[judged], looked)
    _conclude(result, judged, evidence, windows, found, occupied, noise_only)
    return result


def _nothing_measured(count: int) -> Decided:
    def nothing() -> Values:
        return np.full(count, np.nan)

    verdict = np.full(count, Verdict.NOT_MEASURED, dtype=np.uint8)
    none, zero = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
    return Decided(verdict, none, nothing(), nothing(), nothing(), nothing(), nothing(), zero)


def _any_bin(per_bin: NDArray[np.bool_], geometry: Geometry) -> NDArray[np.bool_]:
    bins = bins_between(geometry.first, geometry.last, per_bin.size)
    total = np.concatenate([[0], np.cumsum(per_bin[bins])])
    first, last = (np.clip(ends - bins.start, 0, total.size - 1) for ends in (geometry.first, geometry.last))
    return np.asarray(total[last] > total[first])


@dataclass(frozen=True, eq=False)
class _Windows:
    """What does not depend on the sweeps: floors and limits, shape (window,), dB, and the rule for these windows."""

    rule: Rule
    geometry: Geometry
    noise_db: NDArray[np.float64]
    ceiling_db: NDArray[np.float64]
    base_db: NDArray[np.float64]
    ordinary_db: NDArray[np.float64]
    limit_db: NDArray[np.float64]
    shape: NDArray[np.float64]

    @staticmethod
    def of(evidence: Evidence, rule: Rule, geometry: Geometry) -> _Windows:
        heard = evidence.heard
        bins = bins_between(geometry.first, geometry.last, heard.axis.n)
        ratio = np.minimum(1.0, heard.steps_hz[bins] / heard.rbw_hz) * heard.measured[bins]

        def level(per_bin_db: NDArray[np.float64]) -> NDArray[np.float64]:
            power = np.nan_to_num(10.0 ** (per_bin_db[bins] / 10.0)) * ratio
            inside = sum_over(heard, power, geometry.low_hz, geometry.high_hz, bins.start) * geometry.scale
            return 10.0 * np.log10(np.maximum(inside, 1e-300))

        base = level(evidence.base_db)
        limit = (
            np.full(base.shape, rule.limit_dbm) if rule.limit_dbm is not None else base + (rule.above_floor_db or 0.0)
        )
        ordinary = level(evidence.floor.ordinary_db)
        noise, ceiling = level(evidence.floor.noise_db), level(evidence.floor.ceiling_db)
        return _Windows(rule, geometry, noise, ceiling, base, ordinary, limit, heard.noise.shape * geometry.cells)


@dataclass(frozen=True, eq=False)
class _Findings:
    """What the sweeps showed. For each window the whole survey, and for each length of runs the one with the highest
    level.

    Arrays of shape (window,): whole_*; lists over lengths of arrays of shape (window,): the rest. Levels in dB.
    """

    whole_least: NDArray[np.float64]
    whole_most: NDArray[np.float64]
    whole_samples: NDArray[np.float64]
    sweeps: NDArray[np.int64]
    lengths: list[int]
    runs: list[int]
    least: list[NDArray[np.float64]]
    most: list[NDArray[np.float64]]
    samples: list[NDArray[np.float64]]
    above: list[NDArray[np.float64]]
    rise: list[NDArray[np.float64]]

    @staticmethod
    def empty(count: int) -> _Findings:
        least, most, samples = (np.full(count, np.nan) for _ in range(3))
        return _Findings(least, most, samples, np.zeros(count, dtype=np.int64), [], [], [], [], [], [], [])


def _look(evidence: Evidence, windows: _Windows, piece: NDArray[np.int64], found: _Findings) -> None:
    """Fill in the findings of one piece of windows."""
    heard, floor = evidence.heard, evidence.floor
    geometry = Geometry(**{name: getattr(windows.geometry, name)[piece] for name in Geometry.__dataclass_fields__})
    flagged = evidence.own_lines | evidence.suspect_lines
    powers = powers_in(heard, geometry, floor.noise_db, flagged)
    middle = (geometry.low_hz + geometry.high_hz) / 2
    group = np.minimum(np.searchsorted(floor.group_centres_hz, middle), floor.group_centres_hz.size - 1)
    rises = 10.0 ** (floor.rises_db[:, group].astype(np.float64) / 10.0)
    spread = np.minimum(1.0, geometry.step_hz / heard.rbw_hz)
    limit = 10.0 ** (windows.limit_db[piece] / 10.0)
    found.sweeps[piece] = powers.valid.sum(axis=0)
    for index, (length, run) in enumerate(_runs(powers, rises)):
        if index == len(found.lengths):
            found.lengths.append(length)
            found.runs.append(run.least.shape[0])
            for values in (found.least, found.most, found.samples, found.above, found.rise):
                values.append(np.full(windows.limit_db.size, np.nan))
        best = np.argmax(np.where(run.valid, run.least, -1.0), axis=0)
        at = (best, np.arange(piece.size))
        samples = _samples(run.least[at], run.squares[at], heard.noise.shape, spread)
        found.least[index][piece] = _db(np.where(run.valid[at], run.least[at] / np.maximum(run.count[at], 1), np.nan))
        found.most[index][piece] = _db(np.max(np.where(run.valid, run.most / np.maximum(run.count, 1), 0.0), axis=0))
        found.samples[index][piece] = samples
        found.above[index][piece] = (run.valid & (run.least > NEAR_LIMIT * limit * run.count)).sum(axis=0)
        found.rise[index][piece] = _db(run.rise[at] / np.maximum(run.count[at], 1))
        if length == heard.n_sweeps:
            found.whole_least[piece] = found.least[index][piece]
            found.whole_most[piece] = found.most[index][piece]
            found.whole_samples[piece] = np.maximum(samples, _samples_seen(powers, heard.n_sweeps))


@dataclass(frozen=True, eq=False)
class _Run:
    """Sums over runs of sweeps of one length, arrays of shape (run, window); ``count``: valid sweeps in each."""

    least: NDArray[np.float64]
    most: NDArray[np.float64]
    squares: NDArray[np.float64]
    rise: NDArray[np.float64]
    count: NDArray[np.float64]
    valid: NDArray[np.bool_]


def _runs(powers: WindowPowers, rises: NDArray[np.float64]) -> Iterator[tuple[int, _Run]]:
    """Sums over runs of 1, 2, 4 … sweeps, half overlapping, and at last over all."""
    sweeps = powers.least.shape[0]
    columns = [powers.least, powers.most, powers.squares, rises if rises.max(initial=1.0) > 1.0 else rises[:, :1]]
    if powers.valid.all():
        columns.append(np.ones((sweeps, 1)))
    else:
        columns = [np.where(powers.valid, values, 0.0) for values in columns]
        columns.append(powers.valid.astype(np.float64))
    if sweeps > 1:
        yield 1, _run_of(columns, powers.valid)
    totals = [np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)]) for values in columns]
    length = 2
    while length < sweeps:
        starts = np.append(np.arange(0, sweeps - length, length // 2), sweeps - length)
        sums = [total[starts + length] - total[starts] for total in totals]
        yield length, _run_of(sums, sums[4] >= length / 2)
        length *= 2
    sums = [total[-1:] for total in totals]
    yield sweeps, _run_of(sums, sums[4] > 0)


def _run_of(sums: list[NDArray[np.float64]], valid: NDArray[np.bool_]) -> _Run:
    least, most, squares, rise, count = (np.broadcast_to(values, sums[0].shape) for values in sums)
    return _Run(least, most, squares, rise, count, np.broadcast_to(valid, least.shape))


def _samples(power: Values, squares: Values, shape: float, spread: Values) -> Values:
    """Gamma shape of a summed power if all of it is noise-like: K·(ΣP)²/ΣP²; a steady carrier scatters less."""
    return np.asarray(shape * np.maximum(1.0, spread * power**2 / np.maximum(squares, 1e-300)))


def _samples_seen(powers: WindowPowers, sweeps: int) -> NDArray[np.float64]:
    """Gamma shape of the mean over all sweeps from their own scatter, at its 95 % limit; 0 where they are too few."""
    count = powers.valid.sum(axis=0)
    if sweeps < FEWEST_FOR_SCATTER:
        return np.zeros(count.shape)
    held = np.where(powers.valid, powers.least, 0.0)
    mean = held.sum(axis=0) / np.maximum(count, 1)
    variance = (np.where(powers.valid, held - mean, 0.0) ** 2).sum(axis=0) / np.maximum(count - 1, 1)
    freedom = np.maximum(count - 1.0, 1.0)
    lowest = (
        1.0 - 2.0 / (9.0 * freedom) - 1.645 * np.sqrt(2.0 / (9.0 * freedom))
    ) ** 3  # 5 % of χ²/ν: Wilson, Hilferty 1931
    seen = count * mean**2 * np.maximum(lowest, 1e-3) / np.maximum(variance, 1e-300)
    return np.where(count >= FEWEST_FOR_SCATTER, np.minimum(seen, 1e6), 0.0)


def _occupied(
    evidence: Evidence, rule: Rule, windows: _Windows, found: _Findings, slices: NDArray[np.int64], looked: Values
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """For each window the number of the length whose highest run proves it occupied, -1 for none; and where noise may
    be it.
    """
    bias = 0.0 if evidence.heard.noise.peak_of <= 1 or rule.limit_dbm is None else evidence.heard.noise.bias_db
    proven = np.full(slices.size, -1, dtype=np.int64)
    by_noise = np.zeros(slices.size, dtype=bool)
    raised = windows.noise_db > np.minimum(windows.ordinary_db + FLOOR_RISE_DB, windows.base_db + RAISED_DB)
    least_above_noise = np.where(raised, RAGGED_DB, LEAST_ABOVE_NOISE_DB)
    for index, length in enumerate(found.lengths):  # rising: what the longest run proves is told
        whole = length == evidence.heard.n_sweeps
        near = np.zeros(looked.size)
        np.add.at(near, slices, np.nan_to_num(found.above[index]) / 2.0)  # windows overlap by half
        samples = found.whole_samples if whole else found.samples[index]
        allowed = _allowance_db(samples, np.maximum(1.0, near)[slices], rule, len(found.lengths))
        loud = found.least[index] - bias > windows.limit_db + allowed
        tail = NOISE_ALONE / (np.maximum(USUAL_WINDOWS, looked)[slices] * found.runs[index] * len(found.lengths))
        scatter = noise_quantile_db(1.0 - tail, windows.shape * length) + 2.33 * evidence.floor.u_db
        quiet = found.least[index] <= windows.ceiling_db + found.rise[index] + np.maximum(scatter, least_above_noise)
        by_noise |= loud & quiet
        proven[loud & ~quiet] = index
    return proven, by_noise & (proven < 0)


def _allowance_db(samples: Values, looks: Values, rule: Rule, lengths: int) -> Values:
    """By how much the highest of ``looks`` levels, all at the limit, may lie above it: noise and common error together.

    The noise part allows for all ``lengths`` of runs; the common part is the same for all and needs little for that.
    """
    miss = 1.0 - max(rule.confidence, 0.5)
    middle = _gamma_quantile_db(0.5 ** (1.0 / looks), samples)
    upper = _gamma_quantile_db((1.0 - miss / lengths) ** (1.0 / looks), samples)
    common = normal_quantile(1.0 - miss * (0.85 if lengths > 1 else 1.0)) * rule.u_db
    return middle + np.hypot(common, upper - middle)


def _gamma_quantile_db(share: NDArray[np.float64] | float, samples: NDArray[np.float64]) -> NDArray[np.float64]:
    """Quantile of a gamma variate with mean 1, dB. Source: Wilson and Hilferty, PNAS 17 (1931) 684-688."""
    from scipy import special  # heavy, so only where it is used

    root = 1.0 - 1.0 / (9.0 * samples) + special.ndtri(share) / (3.0 * np.sqrt(samples))
    return np.asarray(30.0 * np.log10(np.maximum(root, 1e-3)))


def _conclude(
    result: Decided,
    judged: NDArray[np.int64],
    evidence: Evidence,
    windows: _Windows,
    found: _Findings,
    occupied: NDArray[np.int64],
    noise_only: NDArray[np.bool_],
) -> None:
    """Verdicts, flags and numbers of the windows that were measured."""
    rule = windows.rule
    highest, samples, run = _louder_period(evidence, found)
    lower_db = -_gamma_quantile_db(1.0 - rule.confidence, samples)
    cost = np.hypot(normal_quantile(rule.confidence) * rule.u_db, np.maximum(lower_db, 0.0))
    flags = _doubts(evidence, rule, windows, found, noise_only)
    margin = windows.limit_db - highest - cost
    by_line = ((flags & (Flag.OWN_LINE | Flag.SUSPECT_LINE)) > 0) & (found.whole_least + cost < windows.limit_db)
    flags[(margin <= 0) & ~by_line] |= Flag.NEAR
    once = (run == 1) & (evidence.heard.n_sweeps > 1) & (highest > found.whole_most + TOLD_DB)
    flags[(margin <= 0) & ~by_line & once] |= Flag.ONCE
    verdict = np.where(flags > 0, Verdict.DOUBTFUL, Verdict.CLEAN).astype(np.uint8)
    verdict[occupied >= 0] = Verdict.OCCUPIED
    flags[occupied >= 0] = Flag.ABOVE
    level = np.where(run == evidence.heard.n_sweeps, found.whole_least, np.nan)
    told = np.where(highest > found.whole_most + TOLD_DB, run, 0)
    for index, length in enumerate(found.lengths):
        here = np.where((occupied >= 0) & (told == 0), occupied == index, run == length)
        level[here] = found.least[index][here]
        run[here] = length
        samples[here] = (found.whole_samples if length == evidence.heard.n_sweeps else found.samples[index])[here]
    bias = evidence.heard.noise.bias_db if rule.limit_dbm is not None else 0.0
    result.verdict[judged] = verdict
    result.flags[judged] = flags
    result.level_db[judged] = level
    result.u_db[judged] = np.hypot(rule.u_db, _noise_u_db(samples, rule.confidence))
    result.floor_db[judged] = windows.base_db - bias
    result.limit_db[judged] = windows.limit_db
    result.margin_db[judged] = margin
    result.run[judged] = run


def _noise_u_db(samples: NDArray[np.float64], confidence: float) -> NDArray[np.float64]:
    """Standard uncertainty of a mean of exponential powers, dB; for few samples the lower side at the confidence asked
    rules.
    """
    plain = DB_PER_NEPER_OF_POWER / np.sqrt(samples)
    z = normal_quantile(confidence)
    return np.maximum(plain, -_gamma_quantile_db(1.0 - confidence, samples) / z) if z > 1.0 else plain


def _louder_period(
    evidence: Evidence, found: _Findings
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Level [dB], gamma shape and number of sweeps of the whole survey, or of a run that stands out from it by more
    than noise.
    """
    sweeps = evidence.heard.n_sweeps
    highest, samples = found.whole_most.copy(), found.whole_samples.copy()
    run = np.full(highest.size, sweeps, dtype=np.int64)
    for index, length in enumerate(found.lengths[:-1]):
        tail = STANDS_OUT / (found.runs[index] * len(found.lengths))
        usual = np.maximum(evidence.heard.noise.shape, found.samples[-1] / sweeps) * length
        stands_out = found.most[index] - found.whole_most > _gamma_quantile_db(1.0 - tail, usual)
        better = stands_out & (found.most[index] > highest)
        highest[better], samples[better], run[better] = found.most[index][better], found.samples[index][better], length
    return highest, samples, run


def _doubts(
    evidence: Evidence, rule: Rule, windows: _Windows, found: _Findings, noise_only: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Everything that forbids *clean*, whatever the level."""
    heard, geometry = evidence.heard, windows.geometry
    flags = np.zeros(geometry.first.size, dtype=np.int64)
    flags[noise_only] |= Flag.NOISE
    flags[(geometry.covered < 1.0 - 1e-6) | _any_bin(heard.often_missing & ~heard.own_bins, geometry)] |= Flag.HOLE
    flags[geometry.step_hz > WIDEST_STEP * heard.rbw_hz * (1 + 1e-9)] |= Flag.COARSE
    flags[_any_bin(heard.rejected > 0, geometry)] |= Flag.REJECTED
    flags[_any_bin(heard.own_bins, geometry)] |= Flag.OWN_CARRIER
    flags[~_would_hear(evidence, rule, windows)] |= Flag.DEAF
    if rule.limit_dbm is None:
        flags[_any_bin(evidence.own_lines, geometry)] |= Flag.OWN_LINE
        flags[_any_bin(evidence.suspect_lines, geometry)] |= Flag.SUSPECT_LINE
        flags |= _raised(evidence, rule, windows, found)
        return flags
    at_limit = found.whole_most + normal_quantile(rule.confidence) * rule.u_db >= windows.limit_db
    flags[at_limit & _any_bin(evidence.own_lines, geometry)] |= Flag.OWN_LINE
    flags[at_limit & _any_bin(evidence.suspect_lines, geometry)] |= Flag.SUSPECT_LINE
    flags[_below_ktb(evidence, geometry)] |= Flag.BELOW_KTB
    if heard.noise.peak_of > 1:
        flags[at_limit] |= Flag.PEAKS
    return flags


def _would_hear(evidence: Evidence, rule: Rule, windows: _Windows) -> NDArray[np.bool_]:
    """Whether a signal at the limit could be told from noise: floor, its scatter and its uncertainty stay below."""
    samples = windows.shape * evidence.heard.n_sweeps
    apart = _gamma_quantile_db(rule.confidence, samples) - _gamma_quantile_db(1.0 - rule.confidence, samples)
    common = rule.u_db if rule.limit_dbm is not None else 0.0
    uncertain = normal_quantile(rule.confidence) * np.hypot(common, evidence.floor.u_db)
    return np.asarray(windows.noise_db + np.hypot(uncertain, apart) < windows.limit_db)


def _raised(evidence: Evidence, rule: Rule, windows: _Windows, found: _Findings) -> NDArray[np.int64]:
    flags = np.zeros(windows.noise_db.size, dtype=np.int64)
    if evidence.from_reference:
        scatter = _gamma_quantile_db(rule.confidence, windows.shape * evidence.heard.n_sweeps)
        flags[found.whole_least > windows.base_db + RAISED_DB + np.maximum(scatter, 0.0)] |= Flag.ABOVE_REFERENCE
    flags[windows.noise_db > windows.ordinary_db + FLOOR_RISE_DB] |= Flag.FLOOR_RAISED
    return flags


def _below_ktb(evidence: Evidence, geometry: Geometry) -> NDArray[np.bool_]:
    """Whether the floor at the instrument's end of the antenna lies below a resistor's noise at 290 K."""
    heard = evidence.heard
    middle = np.minimum((geometry.first + geometry.last) // 2, heard.axis.n - 1)
    at_instrument = evidence.floor.noise_db[middle] - heard.noise.bias_db + heard.antenna_gain_db[middle]
    return np.asarray(at_instrument < thermal_noise_dbm(heard.rbw_hz))


def _db(power: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-300)))
