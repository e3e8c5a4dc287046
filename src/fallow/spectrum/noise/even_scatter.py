"""How wide noise scatters that is no ideal receiver's: evenly in decibels, as far as its readings can be counted.

The upper quantiles that can be counted are held against those of a model that scatters alike in the middle; where they
lie higher by more than chance, a normal distribution in decibels is laid through the median and the steepest of them.
It is no wider than the readings' middle lets it be: what is beyond may be many short emitters, or a heavy end.

Quantiles are taken for stretches of the axis one by one, and the middle one of them counts: what is on the air
somewhere is no noise. Source: standard error of a quantile, √(p(1-p)/n)/density (Kendall and Stuart, The Advanced
Theory of Statistics 1, 10.10, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.statistics import estimate_samples

__all__ = ["Body", "find_body"]

Values = NDArray[np.float64]
FEWEST_BEYOND = 5  # readings of a stretch beyond a quantile, or it is not asked
STRETCHES = 15
UNALIKE_SIGMAS = 3.0  # of a sweep's scatter from the usual one
NEAR_SHARE = 0.015  # of the model's quantile: so well its shape is known
REACH_SIGMAS, CELL_SIGMAS = 8.0, 0.02
WIDEST_EVEN_DB = 7.0  # no noise scatters wider evenly: single samples by 5.57 dB, and a receiver adds a little
WIDEST_EVEN = 1.15  # of the scatter in the middle: what noise even in decibels needs, and luck
CUT_SIGMAS, MAD_SIGMA = 4.0, 1.4826
LN_PER_DB = math.log(10.0) / 10.0


@dataclass(frozen=True)
class _Held:
    """How readings are held against the model: at which chances, in how many stretches at least (the middle one is no
    emitter's), how many standard errors above the model are no luck, and how many times as wide as their middle they
    may be.
    """

    chances: tuple[float, ...]
    stretches: int
    luck_sigmas: float
    widest: float


MANY = _Held((0.02, 0.005, 0.001), 5, 3.0, math.inf)
FEW = _Held((0.05,), 3, 2.0, 1.25)  # senders widen few readings more than noise does


@dataclass(frozen=True, eq=False)
class Body:
    """How most readings of noise scatter. ``even_db``: standard deviation of the normal distribution in decibels that
    covers them; 0 where the model does. ``shape``: of the gamma distributed readings that are as wide in the middle.
    ``centring``: variance of the floor that was taken off, in variances of one reading.
    """

    even_db: float
    shape: float
    centring: float

    def exceeded_db(self, chance: float) -> float:
        """What a reading exceeds with a small chance, dB above the median."""
        (model_db,) = _of_model_db(self.shape, self.centring, (chance,))
        return max(float(model_db), self.even_db * NormalDist().inv_cdf(1.0 - chance))


def find_body(left_db: Values, centring: float, together: float) -> Body:
    """How residuals of shape (sweep, bin) scatter, NaN where there is none. ``centring``: as in ``Body``.
    ``together``: so many neighbours say one thing.
    """
    left_db = _of_usual_sweeps(left_db - np.nanmedian(left_db)) / math.sqrt(1.0 + centring)
    shape, sd_db = _own_shape(left_db), MAD_SIGMA * float(np.nanmedian(np.abs(left_db)))
    held = MANY if _stretches(left_db, MANY.chances[0], MANY.stretches) else FEW
    steepest_db = _steepest_db(left_db, _of_model_db(shape, centring, held.chances), together, held)
    if steepest_db > held.widest * sd_db:  # by senders
        return Body(0.0, shape, centring)
    return Body(min(steepest_db, WIDEST_EVEN_DB, WIDEST_EVEN * sd_db), shape, centring)


def _steepest_db(left_db: Values, of_model_db: Values, together: float, held: _Held) -> float:
    """Standard deviation of the normal distribution in decibels that covers the quantiles which can be seen; 0 where
    the model that scatters alike in the middle covers them, but for luck.
    """
    steepest, contradicted = 0.0, False
    first: tuple[float, float] | None = None
    for chance, model_db in zip(held.chances, of_model_db, strict=True):
        seen = _usual_quantile(left_db, chance, held.stretches)
        if seen is None:
            break
        z = NormalDist().inv_cdf(1.0 - chance)
        spread = seen.height_db / z
        luck = math.sqrt(chance * together / seen.readings) / NormalDist().pdf(z) * spread
        contradicted |= seen.height_db > model_db * (1.0 + NEAR_SHARE) + held.luck_sigmas * luck
        slope = 0.0 if first is None else (seen.height_db - first[1]) / (z - first[0])
        steepest, first = max(steepest, spread, slope), first or (z, seen.height_db)
    return steepest if contradicted else 0.0


def _own_shape(left_db: Values) -> float:
    """The gamma shape that scatters as the residuals do in their middle: a gain that drifts is not in it."""
    known = left_db[np.isfinite(left_db)]
    return estimate_samples(float(np.median(np.abs(known - np.roll(known, known.size // 2)))))


def _of_model_db(shape: float, centring: float, chances: Sequence[float]) -> Values:
    """What gamma distributed readings exceed with each of some chances, dB above their median, when a floor was taken
    off that is itself a mean of them, and their scatter made as wide as theirs alone.
    """
    from scipy import special  # heavy, so only where it is used

    spread_db = math.sqrt(float(special.polygamma(1, shape))) / LN_PER_DB
    edges_db = np.arange(-REACH_SIGMAS, REACH_SIGMAS, CELL_SIGMAS) * spread_db
    below = special.gammainc(shape, shape * 10.0 ** (edges_db / 10.0))
    floor_db = math.sqrt(centring) * spread_db
    places_db = np.arange(-4.0, 4.0 + CELL_SIGMAS / 2, CELL_SIGMAS) * spread_db
    kernel = np.exp(-0.5 * np.square(places_db / max(floor_db, CELL_SIGMAS * spread_db / 4)))
    below = np.convolve(np.pad(below, places_db.size // 2, mode="edge"), kernel / kernel.sum(), mode="valid")
    quantiles_db = np.interp((0.5, *(1.0 - chance for chance in chances)), below, edges_db)
    return np.asarray((quantiles_db[1:] - quantiles_db[0]) / math.sqrt(1.0 + centring), dtype=np.float64)


def _of_usual_sweeps(left_db: Values) -> Values:
    """Only the sweeps that scatter no wider than the usual one: noise is alike in all of them, what sends is not."""
    known = np.isfinite(left_db)
    count = np.maximum(1, known.sum(axis=1))
    usual_db = CUT_SIGMAS * MAD_SIGMA * float(np.nanmedian(np.abs(left_db)))
    cut = np.clip(np.where(known, left_db, 0.0), -usual_db, usual_db)  # one reading far out makes no sweep unusual
    spread = np.sqrt(np.square(cut).sum(axis=1) / count)
    usual = float(np.median(spread[known.any(axis=1)]))
    usual_sweeps = spread <= usual * (1.0 + UNALIKE_SIGMAS / np.sqrt(2.0 * count))
    return np.asarray(left_db[usual_sweeps], dtype=np.float64)


@dataclass(frozen=True)
class _Seen:
    """A quantile of the usual stretch in dB above the median, and of how many readings in all."""

    height_db: float
    readings: int


def _usual_quantile(left_db: Values, chance: float, fewest_stretches: int) -> _Seen | None:
    """What readings exceed with a chance in the middle one of the stretches; None where readings are too few."""
    told = _stretches(left_db, chance, fewest_stretches)
    if told is None:
        return None
    heights = [float(np.quantile(part, 1.0 - chance)) for part in told]
    return _Seen(float(np.median(heights)), sum(part.size for part in told))


def _stretches(left_db: Values, chance: float, fewest_stretches: int) -> list[Values] | None:
    """Readings stretch by stretch of the axis, so wide that enough lie beyond a chance; None for too few."""
    stretches = min(STRETCHES, int(int(np.isfinite(left_db).sum()) * chance / (1.5 * FEWEST_BEYOND)))
    if stretches < fewest_stretches:
        return None
    parts = [part[np.isfinite(part)] for part in np.array_split(left_db, stretches, axis=1)]
    told = [part for part in parts if part.size * chance >= FEWEST_BEYOND]
    return told if len(told) >= fewest_stretches else None
