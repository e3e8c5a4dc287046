"""The arithmetic of a verdict: windows of one series against a limit, at a confidence.

The error of a level has a part that all bins and sweeps share (the budget's) and a part that differs (noise in the
estimate). Looking at many windows and periods makes the largest noise error larger, so each comparison allows for the
largest of as many as were looked at near the limit; the common part is counted once. Periods are the whole survey and
runs of 1, 2, 4 … sweeps, half overlapping. Source of the decision rule: JCGM 106:2012, 7.4 (probability that a
quantity lies beyond a limit).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.statistics import DB_PER_NEPER_OF_POWER, normal_quantile
from fallow.spectrum.verdict import Verdict
from fallow.spectrum.verdicts.doubts import FLOOR_RISE_DB, RAISED_DB, doubts, missing_db
from fallow.spectrum.verdicts.evidence import Decided, Evidence, Flag, Rule
from fallow.spectrum.verdicts.periods import (
    CUT_OFF,
    NEAR_LIMIT,
    ON_BY_NOISE,
    Findings,
    Windows,
    gamma_quantile_db,
    look,
)
from fallow.spectrum.verdicts.slice_edges import MOST_BEYOND_DB, stands_on_edge
from fallow.spectrum.verdicts.window_levels import Geometry, any_bin, geometry_of, pieces, whole_cells
from fallow.spectrum.verdicts.window_noise import HIGHEST_UNEVEN_DB

__all__ = ["FLOOR_RISE_DB", "RAISED_DB", "Decided", "Evidence", "Flag", "Rule", "decide"]

NOISE_ALONE = 0.01  # noise alone may make one slice in a hundred occupied: the contract of this project
USUAL_WINDOWS = 80  # half overlapping windows of 200 kHz in a TV channel of 8 MHz
SMALLEST_COVER = 0.9  # less of a window with a valid level is not measured: the contract of this project
LEAST_ABOVE_NOISE_DB = 1.0  # common practice: how far the shape of a floor is known between its supports
RAGGED_DB = 3.0  # the same where the floor is raised by something from outside
TOLD_DB = 1.0  # by so much a run must be louder than the whole survey to be told instead of it
RECTANGULAR = 3.0**0.5  # what cells at the edges hold lies anywhere between their share and all (JCGM 100, 4.3.7)
MOST_LEFT_OPEN_DB = 6.0  # by cut cells, noise beside and peaks, in u; what asks for more is something else
STANDS_OUT = 0.05  # chance that a run of sweeps stands out from the rest by noise, all runs together
Values = NDArray[np.float64]
Progress = Callable[[float], None] | None


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
    geometry = whole_cells(heard, geometry_of(heard, low_hz, high_hz))
    result = _nothing_measured(low_hz.size)
    measured = geometry.covered >= SMALLEST_COVER
    result.flags[~measured] = np.where(any_bin(heard.own_bins, geometry), Flag.OWN_CARRIER, Flag.UNCOVERED)[~measured]
    judged = np.flatnonzero(measured)
    if judged.size == 0:
        return result
    inner = Geometry(**{name: getattr(geometry, name)[judged] for name in Geometry.__dataclass_fields__})
    rule = rule.at((inner.low_hz + inner.high_hz) / 2)
    windows = Windows.of(evidence, rule, inner)
    found = Findings.empty(judged.size)
    for piece in pieces(heard, inner, progress):
        look(evidence, windows, piece, found)
    looked = np.zeros(int(slices.max()) + 1)
    np.add.at(looked, slices[judged], 1.0)
    proof = _occupied(evidence, rule, windows, found, slices[judged], looked)
    _conclude(result, judged, evidence, windows, found, proof)
    on_edge = stands_on_edge(evidence, inner, slices[judged])
    beyond_db = result.cut_db[judged]
    result.edge_db[judged] = np.where(on_edge & (beyond_db > TOLD_DB), np.minimum(beyond_db, MOST_BEYOND_DB), 0.0)
    result.u_db[judged] = np.fmax(result.u_db[judged], _deciding_u_db(result, judged, proof, rule.confidence))
    return result


def _nothing_measured(count: int) -> Decided:
    def nothing() -> Values:
        return np.full(count, np.nan)

    verdict = np.full(count, Verdict.NOT_MEASURED, dtype=np.uint8)
    none, zero = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
    edge, cut = np.zeros(count), np.zeros(count)
    return Decided(verdict, none, nothing(), nothing(), nothing(), nothing(), nothing(), zero, edge, cut)


@dataclass(frozen=True, eq=False)
class _Proof:
    """What proves windows occupied, shape (window,).

    ``period``: the number of the period that does (the runs' lengths, then what was on at times), -1 for none.
    ``by_noise``: where noise may be it. ``over_db``: how far the period that is nearest to it lies above what proves a
    signal at the limit, dB; negative where it falls short, NaN where noise alone reaches the limit.
    """

    period: NDArray[np.int64]
    by_noise: NDArray[np.bool_]
    over_db: Values


def _occupied(
    evidence: Evidence, rule: Rule, windows: Windows, found: Findings, slices: NDArray[np.int64], looked: Values
) -> _Proof:
    """Whether some period shows more than the limit, and more than noise alone may."""
    bias = 0.0 if evidence.heard.noise.peak_of <= 1 or rule.limit_dbm is None else evidence.heard.noise.bias_db
    proven = np.full(slices.size, -1, dtype=np.int64)
    by_noise = np.zeros(slices.size, dtype=bool)
    over_db = np.full(slices.size, -np.inf)
    noise = windows.noise_db - bias
    periods = _periods(windows, found, evidence.heard.alike_sweeps)
    for index, period in enumerate(periods):  # runs get longer: what the longest proves is told
        near = np.zeros(looked.size)
        np.add.at(near, slices, period.near / 2.0)  # windows overlap by half
        beside = _Beside.of(windows.shown_at_limit_db, noise + period.rise_db)
        allowed = _allowance_db(period.samples, np.maximum(1.0, near)[slices], rule, len(periods), beside)
        over = period.level_db - period.bias_db - bias - (beside.total_db + allowed)
        over_db = np.fmax(over_db, over)
        loud = over > 0.0
        tail = NOISE_ALONE / (np.maximum(USUAL_WINDOWS, looked)[slices] * period.of_runs * len(periods))
        quiet = _is_noise(evidence, windows, period, tail) & loud
        by_noise |= quiet
        proven[loud & ~quiet & (proven < 0 if period.gathered else True)] = index
    over_db[noise >= windows.shown_at_limit_db] = np.nan
    return _Proof(proven, by_noise & (proven < 0), over_db)


@dataclass(frozen=True, eq=False)
class _Period:
    """The highest run of a length, or the sweeps in which something was on taken together, shape (window,).

    ``level_db``: its mean level; ``bias_db``: by how much that is raised because its sweeps were chosen; ``samples``:
    gamma shape of that mean; ``near``: how many such levels are near the limit or above; ``rise_db``: of the floor.
    ``sweeps``: as many independent ones say as much of noise (those that did not measure the window aside); the highest
    of ``of_runs``. ``gathered``: whether it is no run.
    """

    level_db: Values
    bias_db: Values | float
    samples: Values
    near: Values
    rise_db: Values
    sweeps: Values | float
    of_runs: int
    gathered: bool = False


def _periods(windows: Windows, found: Findings, alike_sweeps: float) -> list[_Period]:
    """The highest run of each length, rising, and what was on at times as a whole. ``alike_sweeps``: so many count as
    one.
    """
    periods = [
        _Period(
            found.least[index],
            0.0,
            _samples_of(found, index),
            np.nan_to_num(found.above[index]),
            found.rise[index],
            np.maximum(1.0, np.minimum(length, found.sweeps) / alike_sweeps),
            found.runs[index],
        )
        for index, length in enumerate(found.lengths)
    ]
    return [*periods, _while_on(windows, found, alike_sweeps)] if len(periods) > 1 else periods


def _while_on(windows: Windows, found: Findings, alike_sweeps: float) -> _Period:
    """The sweeps in which something was on far above noise; their mean says more than the highest of them.

    That only those were taken that show so much raises their mean: by the mean of a gamma variate above a threshold.
    """
    from scipy import special  # heavy, so only where it is used

    one = np.maximum(found.samples[0], found.on_shape)
    is_on = found.on_count > 0
    from_share = np.where(is_on, windows.least_on / 10.0 ** (np.where(is_on, found.on_least, 0.0) / 10.0), 1.0)
    chosen = special.gammaincc(one + 1.0, one * from_share) / np.maximum(special.gammaincc(one, one * from_share), 1e-9)
    level = np.where(is_on & (from_share < CUT_OFF), found.on_least, -np.inf)
    return _Period(
        level_db=level,
        bias_db=10.0 * np.log10(np.maximum(1.0, chosen)),
        samples=one * np.maximum(1.0, found.on_count / alike_sweeps),
        near=(level > windows.shown_at_limit_db + 10.0 * np.log10(NEAR_LIMIT)).astype(np.float64),
        rise_db=found.rise[0],
        sweeps=1,
        of_runs=found.runs[0],
        gathered=True,
    )


def _is_noise(evidence: Evidence, windows: Windows, period: _Period, tail: Values) -> NDArray[np.bool_]:
    """Whether a period may be noise alone, shape (window,)."""
    noise, sure_db = evidence.window_noise, 2.33 * evidence.floor.u_db
    raised = windows.noise_db > np.minimum(windows.ordinary_db + FLOOR_RISE_DB, windows.base_db + RAISED_DB)
    above = period.level_db - windows.ceiling_db - period.rise_db
    again = True if noise.tail.heavy is None else any_bin(noise.again, windows.geometry)
    even = noise.reached_db(tail, windows.geometry.cells, period.sweeps, again)
    quiet = above <= np.maximum(even + sure_db, np.where(raised, RAGGED_DB, LEAST_ABOVE_NOISE_DB))
    if not (~quiet & (above <= even + sure_db + 2.0 * HIGHEST_UNEVEN_DB)).any():
        return np.asarray(quiet)
    width = float(np.median(windows.geometry.high_hz - windows.geometry.low_hz))
    return np.asarray(quiet | (above <= noise.uneven(width).reached_db(even, tail) + sure_db))


@dataclass(frozen=True, eq=False)
class _Beside:
    """A signal at the limit with the noise beside it: their sum [dB] and the signal's share of it, shape (window,)."""

    total_db: Values
    share: Values

    @staticmethod
    def of(limit_db: Values, noise_db: Values) -> _Beside:
        signal, noise = 10.0 ** (limit_db / 10.0), 10.0 ** (noise_db / 10.0)
        return _Beside(10.0 * np.log10(signal + noise), signal / (signal + noise))

    def raised_db(self, by_db: Values | float) -> Values:
        """By how much the sum grows when the signal alone does by ``by_db``."""
        return 10.0 * np.log10(1.0 + self.share * (10.0 ** (np.asarray(by_db) / 10.0) - 1.0))


def _allowance_db(samples: Values, looks: Values, rule: Rule, lengths: int, beside: _Beside) -> Values:
    """By how much the highest of ``looks`` levels, all at the limit, may lie above it: noise and common error together.

    The noise part allows for all ``lengths`` of runs; the common part is the same for all and needs little for that,
    and it moves the signal, not the noise beside it, which is seen as it is.
    """
    miss = 1.0 - max(rule.confidence, 0.5)
    middle = gamma_quantile_db(0.5 ** (1.0 / looks), samples)
    upper = gamma_quantile_db((1.0 - miss / lengths) ** (1.0 / looks), samples)
    common = beside.raised_db(normal_quantile(1.0 - miss * (0.85 if lengths > 1 else 1.0)) * rule.u_db)
    return middle + np.hypot(common, upper - middle)


def _conclude(
    result: Decided,
    judged: NDArray[np.int64],
    evidence: Evidence,
    windows: Windows,
    found: Findings,
    proof: _Proof,
) -> None:
    """Verdicts, flags and numbers of the windows that were measured."""
    rule, occupied = windows.rule, proof.period
    loudest = _loudest(evidence, found)
    most = windows.without_lift_db(loudest.most)
    lower_db = np.maximum(-gamma_quantile_db(1.0 - rule.confidence, loudest.samples), 0.0)
    lower_db = windows.without_lift_db(loudest.most + lower_db) - most
    cost = np.hypot(normal_quantile(rule.confidence) * rule.u_db, lower_db)
    flags = doubts(evidence, rule, windows, found, proof.by_noise)
    margin = windows.limit_db - most - cost - missing_db(evidence, windows.geometry, found)
    by_line = ((flags & (Flag.OWN_LINE | Flag.SUSPECT_LINE)) > 0) & (found.whole_least + cost < windows.limit_db)
    flags[(margin <= 0) & ~by_line] |= Flag.NEAR
    louder = loudest.most > found.whole_most + TOLD_DB
    once = (loudest.run == 1) & (evidence.heard.n_sweeps > 1) & louder & ~found.on_fades
    flags[(margin <= 0) & ~by_line & once] |= Flag.ONCE
    far = windows.without_lift_db(loudest.least) - cost > windows.shown_at_limit_db
    result.cut_db[judged] = np.maximum(most - windows.without_lift_db(loudest.least), 0.0)
    flags[far & ((flags & ~(Flag.NEAR | Flag.ONCE)) > 0)] &= ~Flag.NEAR  # something else holds it back
    verdict = np.where(flags > 0, Verdict.DOUBTFUL, Verdict.CLEAN).astype(np.uint8)
    verdict[occupied >= 0] = Verdict.OCCUPIED
    flags[occupied >= 0] = Flag.ABOVE
    for index, length in enumerate(found.lengths):
        here = (occupied == index) & ~louder
        loudest.least[here] = found.least[index][here]
        loudest.run[here] = length
        loudest.samples[here] = _samples_of(found, index)[here]
    bias = evidence.heard.noise.bias_db if rule.limit_dbm is not None else 0.0
    result.verdict[judged] = verdict
    result.flags[judged] = flags
    level = windows.without_lift_db(loudest.least)
    noise_u_db = windows.without_lift_db(loudest.least + _noise_u_db(loudest.samples, rule.confidence)) - level
    result.level_db[judged] = level - windows.perhaps_db / 2.0
    edges_db = np.where((occupied >= 0) | by_line, 0.0, np.maximum(most - level, 0.0))
    lower_db = np.where(level > windows.limit_db, max(0.0, bias), 0.0)  # what is among peaks may usually be lower
    either_db = np.hypot(np.hypot(edges_db, windows.perhaps_db / 2.0), lower_db)
    result.u_db[judged] = np.hypot(np.hypot(rule.u_db, noise_u_db), either_db / RECTANGULAR)
    result.floor_db[judged] = windows.base_db - bias - windows.perhaps_db / 2.0
    result.limit_db[judged] = windows.limit_db
    result.margin_db[judged] = margin
    result.run[judged] = loudest.run


def _deciding_u_db(result: Decided, judged: NDArray[np.int64], proof: _Proof, confidence: float) -> Values:
    """The standard uncertainty with which a level decides, dB, shape (window,): what the confidence asked for costs on
    the limit's side, over its normal quantile (JCGM 106:2012, 7.4); NaN where something else decides, where a signal is
    proven, and at so low a confidence that there is no telling.

    So a level is *clean* where it lies further below the limit than quantile times u, and one that lies as far from it
    is never left in doubt: what cells that are cut, noise beside a signal and peaks leave open is in u.
    """
    z = normal_quantile(confidence)
    if z <= 1.0:
        return np.full(judged.size, np.nan)
    verdict, near = result.verdict[judged], (result.flags[judged] & Flag.NEAR) > 0
    level, limit = result.level_db[judged] + result.edge_db[judged], result.limit_db[judged]
    below = np.where(near | (verdict == Verdict.CLEAN), limit - level - result.margin_db[judged], np.nan)
    unproven = (verdict == Verdict.DOUBTFUL) & ~proof.by_noise & np.isfinite(proof.over_db)
    above = np.where(unproven, level - limit - proof.over_db, np.nan)
    deciding = np.where(level < limit, below, above) / z
    return np.where(deciding <= result.u_db[judged] + MOST_LEFT_OPEN_DB, deciding, np.nan)


def _noise_u_db(samples: NDArray[np.float64], confidence: float) -> NDArray[np.float64]:
    """Standard uncertainty of a mean of exponential powers, dB; for few samples the lower side at the confidence asked
    rules.
    """
    plain = DB_PER_NEPER_OF_POWER / np.sqrt(samples)
    z = normal_quantile(confidence)
    return np.maximum(plain, -gamma_quantile_db(1.0 - confidence, samples) / z) if z > 1.0 else plain


@dataclass(frozen=True, eq=False)
class _Loudest:
    """The period that decides about *clean*, shape (window,): its level as it proves that there is none and as it
    proves that there is one [dB], its gamma shape, and how many sweeps it has.
    """

    most: Values
    least: Values
    samples: Values
    run: NDArray[np.int64]

    def take(self, where: NDArray[np.bool_], most: Values, least: Values, samples: Values, run: Values | int) -> None:
        """Put another period in its place."""
        for mine, other in ((self.most, most), (self.least, least), (self.samples, samples), (self.run, run)):
            mine[where] = np.broadcast_to(other, where.shape)[where]


def _loudest(evidence: Evidence, found: Findings) -> _Loudest:
    """The whole survey; or the sweeps in which something was on; or a run that stands out by more than noise, and any
    where what is on fades.
    """
    sweeps = evidence.heard.n_sweeps
    run = np.full(found.whole_most.size, sweeps, dtype=np.int64)
    loudest = _Loudest(found.whole_most.copy(), found.whole_least.copy(), _samples_of(found, -1).copy(), run)
    alike = evidence.heard.alike_sweeps
    on_samples = np.maximum(1.0, found.on_count / alike) * np.maximum(found.on_shape, found.samples[0])
    at_times = _on_at_times(found, alike) & (found.on_most > loudest.most)
    loudest.take(at_times, found.on_most, found.on_least, on_samples, found.on_count)
    usual_most = loudest.most.copy()
    for index, length in enumerate(found.lengths[:-1]):
        tail = STANDS_OUT / (found.runs[index] * len(found.lengths))
        usual = (
            np.maximum(evidence.heard.noise.shape, np.maximum(found.samples[-1] / sweeps, found.on_shape_near)) * length
        )
        stands_out = found.most[index] - usual_most > gamma_quantile_db(1.0 - tail, usual)
        better = (stands_out | found.on_fades) & (found.most[index] > loudest.most)
        loudest.take(better, found.most[index], found.least[index], _samples_of(found, index), length)
    return loudest


def _on_at_times(found: Findings, alike_sweeps: float) -> NDArray[np.bool_]:
    """Where more sweeps hold something than noise alone would lift so high (binomial), so many of them one look."""
    from scipy import special  # heavy, so only where it is used

    looks = np.maximum(1, np.round(found.sweeps / alike_sweeps).astype(np.int64))
    by_noise = special.bdtrc(np.ceil(found.on_count / alike_sweeps) - 1.0, looks, ON_BY_NOISE)
    return np.asarray((found.on_count > 0) & (by_noise <= STANDS_OUT))


def _samples_of(found: Findings, index: int) -> Values:
    """Gamma shape of the highest run of a length: as the model has it, or as the sweeps scatter."""
    return np.maximum(found.samples[index], found.on_shape * np.minimum(found.lengths[index], found.on_count))
