"""What is left of readings when the floor is taken off: noise alone, as far as that can be had from any air.

With many sweeps each reading is held against the mean of the others in its bin, so that the shape of the floor does
not matter; with few, against the mean of its neighbours along frequency. What stands out, moves or leans is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.coming_again import without_coming_again
from fallow.spectrum.statistics import median_of_valid

__all__ = [
    "Scatter",
    "along_frequency",
    "find_residuals",
    "find_scatter",
    "level_step_db",
    "readings_alike",
    "some_rows",
]

Values = NDArray[np.float64]
MOST_ROWS = 64  # sweeps that are looked at
MOST_READINGS = 200_000
FEWEST_SWEEPS = 6  # from which a bin's own sweeps tell its floor
GROUP = 33  # bins whose median is the rough floor
SIDE = 8  # independent neighbours to each side whose mean is the floor
OUTLIER_SIGMAS = 6.0
LOW_PLACES = (8, 2)  # of a group's rising levels: a quarter and a twelfth of noise lie lower; senders are not there
LOW_APART = 0.725  # standard deviations between those two of normal values; with 33 of them 0.63 and 1.35 below
LOW_BELOW = 0.63
FARTHEST_SIGMAS = 12.0
NEAREST = 1.2  # in resolutions: neighbours from there on are independent
FEWEST_READINGS = 50
LEANING_SIGMAS = 4.0  # difference of the neighbours' means on the two sides
UNALIKE_SIGMAS = 4.0  # of a bin's scatter from the usual one
FARTHEST_LAG = 40  # bins over which neighbours are believed to be alike
ALIKE = 0.1  # correlation from which they are
BY_LUCK_SIGMAS = 3.0  # of the correlation of independent readings
STEPS_DB = (1.0, 0.5, 0.25, 0.2, 0.1)
NORMAL_MAD = 1.4826


@dataclass(frozen=True, eq=False)
class Scatter:
    """Readings without their floor, ``residuals_db`` of shape (reading,).

    ``independent``: as many independent readings say as much. ``centring``: variance of the floor that was taken off,
    in variances of one reading. ``step_db``: readings are multiples of this; 0 where they are not.
    """

    residuals_db: Values
    independent: float
    centring: float
    step_db: float


def some_rows(levels: Levels, alike_sweeps: float = 1.0) -> Values:
    """At most ``MOST_ROWS`` sweeps, evenly taken, with at most ``MOST_READINGS`` readings (but one sweep whole).

    ``alike_sweeps``: so many that follow each other say one thing, so that no two are taken that are nearer.
    """
    sweeps, bins = levels.shape
    wanted = min(MOST_ROWS, max(1, MOST_READINGS // bins))
    independent = max(1, math.floor(sweeps / max(1.0, alike_sweeps)))
    rows = np.unique(np.linspace(0, sweeps - 1, min(independent, wanted)).round().astype(np.int64))
    return levels[rows].astype(np.float64)


def find_scatter(rows: Values, rbw_bins: float, step_db: float) -> Scatter | None:
    """The scatter of readings of shape (sweep, bin), NaN where not measured. ``rbw_bins``: resolution in bins.

    Readings in steps are spread evenly over their step first, always in the same way. What comes and goes widens the
    scatter over time, the shape of the floor that along frequency: the narrower one is noise. None where nothing is
    left.
    """
    found = find_residuals(rows, rbw_bins, step_db)
    if found is None:
        return None
    left, centring = without_coming_again(found[0]), found[1]
    known = left[np.isfinite(left)]
    return Scatter(known - np.median(known), known.size / readings_alike(left), centring, step_db)


def find_residuals(
    rows: Values,
    rbw_bins: float,
    step_db: float,
    farthest_sigmas: float = FARTHEST_SIGMAS,
    outlier_sigmas: float = OUTLIER_SIGMAS,
) -> tuple[Values, float] | None:
    """The same residuals [dB] where they stand, shape (sweep, bin) but for the ends, NaN where there is none or one is
    farther out than so many standard deviations; and the variance of the floor that was taken off, in variances of one
    reading. ``outlier_sigmas``: above a rough floor, from where on a reading is left out of that floor, too. None where
    nothing is left.
    """
    if step_db:
        rows = rows + np.random.default_rng(1).uniform(-step_db / 2, step_db / 2, rows.shape)
    several = rows.shape[0] >= FEWEST_SWEEPS
    lag = max(1, math.ceil(NEAREST * rbw_bins))
    out = _standing_out(_mean(rows, 0), outlier_sigmas)
    if 1 < rows.shape[0] < FEWEST_SWEEPS:
        high = _standing_out(rows, outlier_sigmas)
        out = out | (high & ~_lone(high, lag))
    rows = np.where(out, np.nan, rows)
    views = [_along_frequency(rows, lag)] + ([_over_time(rows)] if several else [])
    views = [(left, centring) for left, centring in views if np.isfinite(left).sum() >= FEWEST_READINGS]
    if not views:
        return None
    left, centring = min(views, key=lambda view: _sigma(view[0]) / math.sqrt(1.0 + view[1]))
    return np.where(np.abs(left - _middle(left)) <= farthest_sigmas * max(_sigma(left), 1e-9), left, np.nan), centring


def along_frequency(rows: Values, rbw_bins: float) -> Values:
    """What is left of readings of shape (sweep, bin) without the mean of their neighbours along frequency, dB, of the
    same shape but for the ends; NaN where a bin stands out in the mean of the sweeps.
    """
    rows = np.where(_standing_out(_mean(rows, 0), OUTLIER_SIGMAS), np.nan, rows)
    return _along_frequency(rows, max(1, math.ceil(NEAREST * rbw_bins)))[0]


def level_step_db(rows: Values) -> float:
    """The step that all readings are multiples of, dB; 0 where there is none of the usual ones."""
    known = rows[np.isfinite(rows)][:20_000]
    for step in STEPS_DB:
        if known.size and float(np.abs(known / step - np.round(known / step)).max()) < 2e-3:
            return step
    return 0.0


def _standing_out(rows: Values, sigmas: float) -> NDArray[np.bool_]:
    """Readings so far above the rough floor, and their neighbours; both of shape (sweep, bin).

    Where carriers stand close, they lift the middle of their group and widen the scatter: so the floor is taken from a
    group's lower readings, and the scatter from those, if that is the narrower one.
    """
    bins = rows.shape[1]
    if bins < 3 * GROUP:
        return np.zeros(rows.shape, dtype=bool)
    groups = bins // GROUP
    rising = np.sort(rows[:, : groups * GROUP].reshape(rows.shape[0], groups, GROUP), axis=2)  # NaN goes last
    valid = np.isfinite(rising).sum(axis=2)
    low, lower = (_at_place(rising, valid, place) for place in LOW_PLACES)
    places, centres = np.arange(bins), (np.arange(groups) + 0.5) * GROUP - 0.5
    above = np.full(rows.shape, np.nan)
    for sweep, floor in enumerate(low):
        known = np.isfinite(floor)
        if known.any():
            above[sweep] = rows[sweep] - np.interp(places, centres[known], floor[known])
    of_low = _middle(low - lower) / LOW_APART
    out = above > min((LOW_BELOW + sigmas) * of_low, _middle(above) + sigmas * _sigma(above))
    beside = np.pad(out, ((0, 0), (1, 1)))
    return np.asarray(out | beside[:, :-2] | beside[:, 2:])


def _lone(high: NDArray[np.bool_], lag: int) -> NDArray[np.bool_]:
    """Which high readings are so in no other sweep and not ``lag`` bins away: noise is so, too; shape (sweep, bin)."""
    reach = lag + 1  # neighbours of what stands out are high, too
    beside = np.pad(high, ((0, 0), (reach, reach)))
    wide = beside[:, : -2 * reach] | beside[:, 2 * reach :]
    return np.asarray(high & (high.sum(axis=0) == 1) & ~wide)


def _at_place(rising: Values, valid: NDArray[np.int64], place: int) -> Values:
    """The reading at a place of ``GROUP`` rising ones, or there in proportion where fewer are valid; shape (sweep,
    group), NaN for none.
    """
    index = np.round(place / (GROUP - 1) * np.maximum(0, valid - 1)).astype(np.int64)
    return np.asarray(np.take_along_axis(rising, index[:, :, None], axis=2)[:, :, 0], dtype=np.float64)


def _mean(values: Values, axis: int) -> Values:
    """Mean along an axis of what is not NaN, which stays an axis of length 1; NaN where nothing is."""
    count = np.isfinite(values).sum(axis=axis, keepdims=True)
    total = np.nan_to_num(values).sum(axis=axis, keepdims=True)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _middle(values: Values) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else 0.0


def _sigma(values: Values) -> float:
    """Robust standard deviation of what is not NaN."""
    return NORMAL_MAD * _middle(np.abs(values - _middle(values)))


def _over_time(rows: Values) -> tuple[Values, float]:
    """Each reading less the mean of the other sweeps in its bin; bins that scatter unlike the usual are NaN."""
    left = rows - _mean(rows, 0)
    left -= median_of_valid(left, axis=1)[:, None]  # the gain may drift from sweep to sweep
    count = np.isfinite(left).sum(axis=0)
    enough = count >= max(FEWEST_SWEEPS, rows.shape[0] // 2)
    if not enough.any():
        return np.full(rows.shape, np.nan), 0.0
    left *= count / np.maximum(count - 1.0, 1.0)
    spread = np.sqrt(_mean(np.square(left), 0)[0])
    usual = max(1e-9, float(np.median(spread[enough])))
    alike = np.abs(spread / usual - 1.0) <= UNALIKE_SIGMAS / np.sqrt(np.maximum(count, 1))
    return np.where(enough & alike, left, np.nan), 1.0 / (float(np.median(count[enough])) - 1.0)


def _along_frequency(rows: Values, lag: int) -> tuple[Values, float]:
    """Each reading less the mean of its neighbours, ``lag`` to ``SIDE * lag`` bins away on both sides."""
    reach = SIDE * lag
    if rows.shape[1] <= 4 * reach:
        return np.full(rows.shape, np.nan), 0.0
    valid = np.isfinite(rows)
    total = np.cumsum(np.pad(np.where(valid, rows, 0.0), ((0, 0), (1, 0))), axis=1)
    count = np.cumsum(np.pad(valid, ((0, 0), (1, 0))), axis=1)
    places = np.arange(reach, rows.shape[1] - reach)
    sides = [(places - reach, places - lag + 1), (places + lag, places + reach + 1)]
    n = [count[:, last] - count[:, first] for first, last in sides]
    below, above = (
        (total[:, last] - total[:, first]) / np.maximum(k, 1) for (first, last), k in zip(sides, n, strict=True)
    )
    left = rows[:, places] - (below + above) / 2
    lean = above - below
    steady = np.minimum(*n) >= 0.6 * (reach - lag + 1)
    steady &= np.abs(lean) <= LEANING_SIGMAS * max(_sigma(lean), 1e-9)
    return np.where(steady, left, np.nan), 1.0 / (2 * SIDE)


def readings_alike(left_db: Values) -> float:
    """How many neighbouring readings say as much as one independent one, from residuals of shape (sweep, bin), NaN
    where there is none.

    Source: variance of a sum of correlated readings, 1 + 2·Σρ times that of independent ones; ρ of their powers.
    """
    valid = np.isfinite(left_db)
    readings = max(1, int(valid.sum()))
    power = np.where(valid, 10.0 ** (np.nan_to_num(left_db) / 10.0), 0.0)
    power = np.where(valid, power - power.sum() / readings, 0.0)
    variance = max(1e-12, float(np.square(power).sum()) / readings)
    together = 1.0
    for lag in range(1, min(FARTHEST_LAG, left_db.shape[1] // 4)):
        pairs = max(1, int((valid[:, lag:] & valid[:, :-lag]).sum()))
        correlation = float((power[:, lag:] * power[:, :-lag]).sum()) / pairs / variance
        if correlation < max(ALIKE, BY_LUCK_SIGMAS * math.sqrt(together / pairs)):
            break
        together += 2.0 * correlation
    return together
