"""What the sweeps showed of windows: their level over the whole survey and over runs of sweeps, and how it scatters.

Periods are the whole survey and runs of 1, 2, 4 … sweeps, half overlapping.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.verdicts.evidence import Evidence, Rule
from fallow.spectrum.verdicts.window_levels import (
    Geometry,
    WindowPowers,
    bins_between,
    perhaps_high_db,
    powers_in,
    sum_over,
)

__all__ = ["CUT_OFF", "NEAR_LIMIT", "ON_BY_NOISE", "Findings", "Windows", "gamma_quantile_db", "look"]

NEAR_LIMIT = 0.5  # of the limit's power: from there a window counts as looked at; noise may hide half of a signal
FEWEST_FOR_SCATTER = 6  # sweeps from which their own scatter is believed
ON_BY_NOISE = 0.01  # share of the sweeps in which noise alone looks like something that is on
LEAST_ON_DB = 3.0  # above the floor, however little its noise scatters: common practice for the shape of a floor
ONE_SIDE_95 = 1.645  # standard deviations, normal distribution
CUT_OFF = 0.15  # of their mean: where sweeps with less are left out, the rest scatters less than the signal does
Values = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Windows:
    """What does not depend on the sweeps: floors and limits, shape (window,), dB, and the rule for these windows.

    ``on_db``: above the floor, from where a sweep holds something: noise reaches it once in a hundred sweeps.
    ``lift_db``: by how much noise reads high at least, where levels are the highest of many readings. ``perhaps_db``:
    by how much levels may read high because the resolution is not stated; relative ones are held against a floor that
    does as well.
    """

    rule: Rule
    geometry: Geometry
    noise_db: NDArray[np.float64]
    ceiling_db: NDArray[np.float64]
    base_db: NDArray[np.float64]
    ordinary_db: NDArray[np.float64]
    limit_db: NDArray[np.float64]
    shape: NDArray[np.float64]
    on_db: NDArray[np.float64]
    lift_db: float = 0.0
    perhaps_db: Values | float = 0.0

    @staticmethod
    def of(evidence: Evidence, rule: Rule, geometry: Geometry) -> Windows:
        heard = evidence.heard
        bins = bins_between(geometry.first, geometry.last, heard.axis.n)
        ratio = np.minimum(1.0, heard.steps_hz[bins] / heard.rbw_hz) * heard.measured[bins]

        def level(per_bin_db: NDArray[np.float64]) -> NDArray[np.float64]:
            power = np.nan_to_num(10.0 ** (per_bin_db[bins] / 10.0)) * ratio
            inside = sum_over(heard, power, geometry.sum_low_hz, geometry.sum_high_hz, bins.start) * geometry.scale
            return 10.0 * np.log10(np.maximum(inside, 1e-300))

        base = level(evidence.base_db)
        limit = (
            np.full(base.shape, rule.limit_dbm) if rule.limit_dbm is not None else base + (rule.above_floor_db or 0.0)
        )
        ordinary = level(evidence.floor.ordinary_db)
        noise, ceiling = level(evidence.floor.noise_db), level(evidence.floor.ceiling_db)
        lift_db = heard.noise.least_bias_db if rule.limit_dbm is not None else 0.0
        shape = heard.noise.shape * geometry.cells
        absolute, width_hz = rule.limit_dbm is not None, geometry.high_hz - geometry.low_hz
        perhaps_db = perhaps_high_db(heard, width_hz) if absolute else np.zeros(width_hz.size)
        usual = replace(heard.upper_tail, heavy=None)  # impulses are on, too
        on_db = np.maximum(usual.exceeded_db(ON_BY_NOISE, geometry.cells), LEAST_ON_DB)
        return Windows(rule, geometry, noise, ceiling, base, ordinary, limit, shape, on_db, lift_db, perhaps_db)

    @property
    def shown_at_limit_db(self) -> Values:
        """What a signal at the limit shows at most, dB: more than that is asked for to prove that one is above it."""
        return self.limit_db + self.perhaps_db

    def without_lift_db(self, level_db: Values) -> Values:
        """Levels in dB without what the highest of many readings adds to the noise in them.

        A signal that was on for one of the readings shows as much as it is, or more; only the noise beside it is shown
        higher than it is, and that is known from where nothing is on.
        """
        if not self.lift_db:
            return level_db
        shown, noise = 10.0 ** (level_db / 10.0), 10.0 ** (self.noise_db / 10.0)
        lowered = shown - noise * (1.0 - 10.0 ** (-self.lift_db / 10.0))
        return np.asarray(10.0 * np.log10(np.maximum(lowered, shown * 10.0 ** (-self.lift_db / 10.0))))

    @cached_property
    def least_on(self) -> NDArray[np.float64]:
        """The power from which a sweep holds something, linear."""
        return np.asarray(10.0 ** ((self.noise_db + self.on_db) / 10.0))


@dataclass(frozen=True, eq=False)
class Findings:
    """What the sweeps showed. For each window the whole survey, the sweeps in which something was on, and for each
    length of runs the one with the highest level. Levels in dB.

    Arrays of shape (window,): ``whole_…``, ``on_…`` and ``sweeps``; lists over lengths of such arrays: the rest.
    ``on_count``: sweeps with something on. ``on_shape``: gamma shape of the power in one of them, seen from their own
    scatter; ``on_shape_near`` from that of neighbours, which leaves out fading and drift; 0 where they are too few, or
    say the same. ``on_fades``: whether that power differs by more than noise-like power does.
    """

    whole_least: NDArray[np.float64]
    whole_most: NDArray[np.float64]
    on_least: NDArray[np.float64]
    on_most: NDArray[np.float64]
    on_count: NDArray[np.float64]
    on_shape: NDArray[np.float64]
    on_shape_near: NDArray[np.float64]
    on_fades: NDArray[np.bool_]
    sweeps: NDArray[np.int64]
    lengths: list[int]
    runs: list[int]
    least: list[NDArray[np.float64]]
    most: list[NDArray[np.float64]]
    samples: list[NDArray[np.float64]]
    above: list[NDArray[np.float64]]
    rise: list[NDArray[np.float64]]

    @staticmethod
    def empty(count: int) -> Findings:
        def nothing() -> Values:
            return np.full(count, np.nan)

        on = (nothing(), nothing(), np.zeros(count), np.zeros(count), np.zeros(count), np.zeros(count, dtype=bool))
        return Findings(nothing(), nothing(), *on, np.zeros(count, dtype=np.int64), [], [], [], [], [], [], [])


def look(evidence: Evidence, windows: Windows, piece: NDArray[np.int64], found: Findings) -> None:
    """Fill in the findings of one piece of windows."""
    heard, floor = evidence.heard, evidence.floor
    geometry = Geometry(**{name: getattr(windows.geometry, name)[piece] for name in Geometry.__dataclass_fields__})
    flagged = evidence.own_lines | evidence.suspect_lines
    powers = powers_in(heard, geometry, floor.noise_db, flagged, partly=True)
    middle = (geometry.low_hz + geometry.high_hz) / 2
    group = np.minimum(np.searchsorted(floor.group_centres_hz, middle), floor.group_centres_hz.size - 1)
    rises = 10.0 ** (floor.rises_db[:, group].astype(np.float64) / 10.0)
    powers = replace(powers, squares=_squares(powers, np.minimum(1.0, geometry.step_hz / heard.alike_hz)))
    limit = 10.0 ** (windows.shown_at_limit_db[piece] / 10.0)
    found.sweeps[piece] = powers.valid.sum(axis=0)
    _look_while_on(powers, windows.least_on[piece], piece, found)
    if heard.alike_sweeps == 1.0:
        _scatter_while_on(powers, windows.least_on[piece], piece, found, heard.noise.shape)
    for index, (length, run) in enumerate(_runs(powers, rises)):
        if index == len(found.lengths):
            found.lengths.append(length)
            found.runs.append(run.least.shape[0])
            for values in (found.least, found.most, found.samples, found.above, found.rise):
                values.append(np.full(windows.limit_db.size, np.nan))
        best = np.argmax(np.where(run.valid, run.least, -1.0), axis=0)
        at = (best, np.arange(piece.size))
        samples = _samples(run.least[at], run.squares[at] * min(length, heard.alike_sweeps), heard.noise.shape)
        found.least[index][piece] = _db(np.where(run.valid[at], run.least[at] / np.maximum(run.count[at], 1), np.nan))
        found.most[index][piece] = _db(np.max(np.where(run.valid, run.most / np.maximum(run.count, 1), 0.0), axis=0))
        found.samples[index][piece] = samples
        found.above[index][piece] = (run.valid & (run.least > NEAR_LIMIT * limit * run.count)).sum(axis=0)
        found.rise[index][piece] = _db(run.rise[at] / np.maximum(run.count[at], 1))
        if length == heard.n_sweeps:
            found.whole_least[piece] = found.least[index][piece]
            found.whole_most[piece] = found.most[index][piece]


def _look_while_on(powers: WindowPowers, least_on: Values, piece: NDArray[np.int64], found: Findings) -> None:
    """The mean over the sweeps with more power than ``least_on``."""
    on = powers.valid & (powers.least > least_on)
    count = on.sum(axis=0).astype(np.float64)
    found.on_count[piece] = count
    found.on_least[piece] = _db(np.add.reduce(powers.least, axis=0, where=on) / np.maximum(count, 1.0))
    found.on_most[piece] = _db(np.add.reduce(powers.most, axis=0, where=on) / np.maximum(count, 1.0))


def _scatter_while_on(
    powers: WindowPowers, least_on: Values, piece: NDArray[np.int64], found: Findings, shape: float
) -> None:
    """How the power of the same sweeps scatters; ``shape``: as noise-like power in one reading does at most."""
    on = powers.valid & (powers.least > least_on)
    count = on.sum(axis=0).astype(np.float64)
    mean = np.add.reduce(powers.least, axis=0, where=on) / np.maximum(count, 1.0)
    squares = np.add.reduce(np.square(powers.least), axis=0, where=on) - count * mean**2
    found.on_fades[piece] = _fades(count, mean, squares, shape)
    if powers.valid.shape[0] < FEWEST_FOR_SCATTER:
        return
    whole = least_on < CUT_OFF * mean
    found.on_shape[piece] = np.where(whole, _shape_seen(count - 1.0, mean, squares), 0.0)
    both = on[1:] & on[:-1]
    squares = np.add.reduce(np.square(np.diff(powers.least, axis=0)), axis=0, where=both) / 2.0
    found.on_shape_near[piece] = np.where(whole, _shape_seen(both.sum(axis=0) / 1.5, mean, squares / 1.5), 0.0)


def _shape_seen(freedom: Values, mean: Values, squares: Values) -> Values:
    """Gamma shape of powers from their mean and the sum of squares about it, at its lower 95 % limit; 0 for too few.

    ``freedom``: degrees of freedom; differences of neighbours have two thirds of their number (von Neumann et al.,
    Ann. Math. Stat. 12 (1941) 153-162: from memory).
    """
    variance = np.maximum(squares, 0.0) / np.maximum(freedom, 1.0)
    freedom = np.maximum(freedom, 1.0)
    lowest = np.maximum(_chi_square_limit(freedom, -ONE_SIDE_95), 1e-3)
    seen = mean**2 * lowest / np.maximum(variance, 1e-6 * mean**2 + 1e-300)
    return np.where(freedom >= FEWEST_FOR_SCATTER - 1, seen, 0.0)


def _fades(count: Values, mean: Values, squares: Values, shape: float) -> NDArray[np.bool_]:
    """Whether ``count`` powers, of which the mean and the sum of squares about it are given, scatter wider than 95 % of
    as many gamma variates of a shape K.

    Their variance s² scatters by 2/ν + 6/(K·n) of its square (Kendall and Stuart, from memory), as χ² with fewer
    degrees of freedom does.
    """
    freedom = np.maximum(count - 1.0, 1e-3) / (1.0 + 3.0 / shape)
    widest = _chi_square_limit(freedom, ONE_SIDE_95) * mean**2 / shape
    return np.asarray((count > 1.0) & (squares > widest * np.maximum(count - 1.0, 1.0)))


def _chi_square_limit(freedom: Values, sigmas: float) -> Values:
    """Quantile of χ²/ν. Source: Wilson and Hilferty, PNAS 17 (1931) 684-688."""
    return (1.0 - 2.0 / (9.0 * freedom) + sigmas * np.sqrt(2.0 / (9.0 * freedom))) ** 3


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


def _squares(powers: WindowPowers, apart: Values) -> Values:
    """Σ(power)² of the independent parts that each sweep's power consists of, shape (sweep, window).

    ``apart``: of the cells side by side in one sweep, the share that are independent; each sweep has one such part at
    least. Sweeps are independent of each other.
    """
    return np.minimum(np.square(powers.least), powers.squares / apart)


def _samples(power: Values, squares: Values, shape: float) -> Values:
    """Gamma shape of a summed power if all of it is noise-like: K·(ΣP)²/ΣP²; a steady carrier scatters less."""
    return np.asarray(shape * np.maximum(1.0, power**2 / np.maximum(squares, 1e-300)))


def gamma_quantile_db(share: NDArray[np.float64] | float, samples: NDArray[np.float64]) -> NDArray[np.float64]:
    """Quantile of a gamma variate with mean 1, dB. Source: Wilson and Hilferty, PNAS 17 (1931) 684-688."""
    from scipy import special  # heavy, so only where it is used

    root = 1.0 - 1.0 / (9.0 * samples) + special.ndtri(share) / (3.0 * np.sqrt(samples))
    return np.asarray(30.0 * np.log10(np.maximum(root, 1e-3)))


def _db(power: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-300)))
