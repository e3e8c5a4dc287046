"""How far noise reaches up: by the model of its readings, or by what they show where that is more.

Thresholds against false emitters lie where noise comes once in millions of readings, far beyond what a survey can
count. The model (gamma distributed powers) says where that is for an ideal receiver. Readings of real ones may reach
higher: they scatter evenly in decibels, or wider still. So the upper quantiles that can be counted are held against
those of a model that scatters alike in the middle; where they lie higher by more than chance, a normal distribution in
decibels is laid through the median and the steepest of them, and the higher of both counts.

Quantiles are taken for stretches of the axis one by one, and the middle one of them counts: what is on the air
somewhere is no noise. Sources: standard error of a quantile, √(p(1-p)/n)/density (Kendall and Stuart, The Advanced
Theory of Statistics 1, 10.10, from memory); the mean of lognormal powers taken as lognormal again: Fenton, IRE Trans.
CS-8 (1960) 57-67; sums of heavy-tailed
values are large because one of them is: Embrechts, Klüppelberg, Mikosch, Modelling Extremal Events, 1.3 (from memory,
tested against drawn means).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.coming_again import coming_again, without_coming_again
from fallow.spectrum.noise.scatter import FEWEST_SWEEPS, NEAREST, find_residuals, level_step_db, some_rows
from fallow.spectrum.statistics import estimate_samples, noise_quantile_db

__all__ = ["UpperTail", "find_upper_tail"]

Values = NDArray[np.float64]
FEWEST_BEYOND = 5  # readings of a stretch beyond a quantile, or it is not asked
STRETCHES = 15
END_CHANCE = 0.02  # at which the far end begins
FARTHEST_IN = 0.05  # chance from which on readings are in the far end, where the model may fail
UNALIKE_SIGMAS = 3.0  # of a sweep's scatter from the usual one
NEAR_SHARE = 0.015  # of the model's quantile: so well its shape is known
REACH_SIGMAS, CELL_SIGMAS = 8.0, 0.02
WIDEST_EVEN_DB = 7.0  # no noise scatters wider evenly: single samples by 5.57 dB, and a receiver adds a little
HIGHEST_REACH_DB = 200.0  # beyond that no receiver reads
FEW_REACH_DB = 30.0  # of impulses, and where few sweeps tell them from what is on at times; common practice
MOST_INDEX = 0.5  # of a heavy end; that of Student's t with two degrees of freedom, of endless variance
INDICES = np.arange(-0.995, 2.0, 0.01)  # that are tried; none is 0
MIDDLE_BEYOND, FEW_BEYOND = 0.5, 0.1  # shares of the readings beyond the threshold
INDEX_SIGMA = 1.9  # standard error of an index from these two, for one such reading (Kendall and Stuart, as above)
APART_SIGMAS = 3.5  # by which both ways of finding it may differ: quantiles of a few readings each scatter widely
FARTHEST_SIGMAS = 100.0  # of a reading that is looked at: a heavy end must not be cut off
CUT_SIGMAS, MAD_SIGMA = 4.0, 1.4826
HEAVY_SIGMAS = 1.0  # given to an end that is heavy, for a bar too high is the lesser error
LEAST_LUCK = 0.5  # of that: an index from there on is no even end's
FEWEST_FOR_END = 12  # readings of a stretch beyond the threshold
FAR_CHANCE = 1e-4  # that a reading of noise is far, by the model or by even scatter
FEWEST_FAR = 4  # readings beyond that, besides twice those by chance
NEARLY_ALL = 0.9  # of the far ones: half of the height that they keep within parts low from high
FOLLOWS_ON, FOLLOWS_SIGMAS = 0.6, 2.0  # share of low ones in a tail (exponential: 0.68), less its binomial luck
WIDEST_EVEN = 1.15  # of the scatter in the middle: the luck of it
MEDIAN_COST = 1.2533  # standard error of a median of normal values, against that of a mean
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


MANY = _Held((END_CHANCE, 0.005, 0.001), 5, 3.0, math.inf)
FEW = _Held((0.05,), 3, 2.0, 1.25)  # senders widen few readings more than noise does


@dataclass(frozen=True)
class HeavyEnd:
    """Readings beyond ``from_db`` above their median, which the chance ``share`` exceeds, as a generalised Pareto
    distribution in decibels: ``scale_db`` and ``index``, the larger the more slowly they end; up to ``most_db``.
    Source: Pickands, Annals of Statistics 3 (1975) 119-131, exceedances over a high threshold (from memory, tested on
    Student's t).
    """

    from_db: float
    share: float
    scale_db: float
    index: float
    most_db: float = HIGHEST_REACH_DB

    def exceeded_db(self, chance: Values) -> Values:
        """What readings exceed with a chance, dB above their median; the threshold itself for likelier ones."""
        fewer = np.maximum(1.0, self.share / np.maximum(chance, 1e-14))
        reach = self.scale_db / self.index * (fewer**self.index - 1.0)
        return np.asarray(np.minimum(self.from_db + reach, max(self.from_db, self.most_db)), dtype=np.float64)


@dataclass(frozen=True)
class UpperTail:
    """What noise exceeds. ``shape``: of the gamma distributed reading. ``even_db``: standard deviation of the normal
    distribution in decibels that covers what readings show above it; 0 where the model covers them. ``heavy``: how
    their far end goes on where it falls off more slowly than any of the two.
    """

    shape: float
    even_db: float = 0.0
    heavy: HeavyEnd | None = None

    def exceeded_db(self, chance: ArrayLike, readings: ArrayLike = 1.0) -> Values:
        """What the mean of so many readings exceeds with this chance, dB above the mean noise; shapes broadcast."""
        count = np.asarray(readings, dtype=np.float64)
        above = noise_quantile_db(1.0 - np.asarray(chance, dtype=np.float64), self.shape * count)
        if self.even_db == 0.0 and self.heavy is None:
            return above
        higher = np.maximum(above, self._even_mean_db(chance, count))
        higher = np.maximum(higher, self._by_one_reading_db(chance, count))
        return np.asarray(np.where(np.asarray(chance) <= FARTHEST_IN, higher, above), dtype=np.float64)

    def usually_exceeded_db(self, chance: float) -> float:
        """What one reading exceeds with a chance that need not be small: by the model or, below one half, by even
        scatter, the higher one; dB above the mean noise.
        """
        of_model = float(self.exceeded_db(chance))
        if self.even_db == 0.0 or chance >= 0.5:
            return of_model
        return max(of_model, float(self._even_mean_db(chance, np.ones(()))))

    def lifted_db(self, readings: float) -> float:
        """By how much the middle of the mean of so many readings lies above the model's, dB."""
        if self.even_db == 0.0:
            return 0.0
        of_model = noise_quantile_db(0.5, self.shape * readings)
        return float(np.maximum(0.0, self._even_mean_db(0.5, np.asarray(float(readings))) - of_model))

    def spread_db(self, readings: ArrayLike) -> Values:
        """Standard deviation of the mean of so many readings, dB: of the model or of even scatter, the wider one."""
        from scipy import special  # heavy, so only where it is used

        count = np.asarray(readings, dtype=np.float64)
        of_model = np.sqrt(special.polygamma(1, np.maximum(self.shape * count, 0.3)))
        return np.asarray(np.maximum(of_model, np.sqrt(self._even_variance(count))) / LN_PER_DB, dtype=np.float64)

    def _even_variance(self, count: Values) -> Values:
        """Variance of the logarithm of a mean of lognormal powers, nepers²: Fenton 1960."""
        return np.asarray(np.log1p(np.expm1((self.even_db * LN_PER_DB) ** 2) / count), dtype=np.float64)

    def _even_mean_db(self, chance: ArrayLike, count: Values) -> Values:
        """What the mean of so many powers exceeds that scatter evenly in decibels."""
        from scipy import special  # heavy, so only where it is used

        z = -special.ndtri(np.maximum(chance, 1e-14))
        variance = self._even_variance(count)
        even = ((self.even_db * LN_PER_DB) ** 2 / 2 - variance / 2 + z * np.sqrt(variance)) / LN_PER_DB
        return np.asarray(even + noise_quantile_db(0.5, self.shape), dtype=np.float64)

    def _by_one_reading_db(self, chance: ArrayLike, count: Values) -> Values:
        """What a mean exceeds because one of its readings is that high, as heavy tails make it."""
        others = np.maximum(count - 1.0, 0.0)
        highest_db = self._even_mean_db(np.asarray(chance) / (others + 1.0), np.ones_like(count))
        if self.heavy is not None:
            above_middle_db = self.heavy.exceeded_db(np.asarray(chance) / (others + 1.0))
            highest_db = np.maximum(highest_db, above_middle_db + noise_quantile_db(0.5, self.shape))
        usual_db = (self.even_db * LN_PER_DB) ** 2 / 2 / LN_PER_DB + float(noise_quantile_db(0.5, self.shape))
        power = 10.0 ** (highest_db / 10.0) + others * 10.0 ** (usual_db / 10.0)
        return np.asarray(10.0 * np.log10(power / (others + 1.0)), dtype=np.float64)


def find_upper_tail(levels: Levels, rbw_bins: float, shape: float, alike_sweeps: float = 1.0) -> UpperTail:
    """How far the noise in levels of shape (sweep, bin) reaches up. ``rbw_bins``: resolution bandwidth in bins.
    ``shape``: of the gamma distribution that stands for one reading. ``alike_sweeps``: over how many neighbouring
    sweeps noise says one thing.
    """
    rows = some_rows(levels, alike_sweeps)
    found = find_residuals(rows, rbw_bins, level_step_db(rows), FARTHEST_SIGMAS)
    if found is None:
        return UpperTail(shape)
    left, centring = found
    left = without_coming_again(left)
    gathered = coming_again(left, max(1, math.ceil(NEAREST * rbw_bins)))
    left = _of_usual_sweeps(left - np.nanmedian(left)) / math.sqrt(1.0 + centring)
    together = max(1.0, rbw_bins)  # neighbours within one resolution say one thing
    even_db = _even_db(left, centring, together, MANY if _stretches(left, END_CHANCE, FEWEST_BEYOND) else FEW)
    scattered = not gathered and left.shape[0] > 1 and _far_ones(left, centring, together, even_db)
    if even_db == 0.0 and not scattered:
        return UpperTail(shape)
    heavy = None if gathered else _heavy_end(left, together, scattered=scattered)
    return UpperTail(shape, even_db, heavy)


def _even_db(left_db: Values, centring: float, together: float, held: _Held) -> float:
    """Standard deviation of the normal distribution in decibels that covers the quantiles which can be seen; 0 where
    the model that scatters alike in the middle covers them, but for luck, or where they are those of senders.
    """
    steepest, contradicted = 0.0, False
    first: tuple[float, float] | None = None
    of_model_db = _of_model_db(_own_shape(left_db), centring, held.chances)
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
    by_senders = steepest > held.widest * MAD_SIGMA * float(np.nanmedian(np.abs(left_db)))
    return min(steepest, WIDEST_EVEN_DB) if contradicted and not by_senders else 0.0


def _far_ones(left_db: Values, centring: float, together: float, even_db: float) -> bool:
    """Whether far more readings lie beyond the end of the model, or of even scatter where it is so, than by chance.

    Those that neither come again nor stand side by side are impulses, or can't be told from them, where they follow on
    the end of the noise as any tail does: exponential heights lie in the lower half of what nine of ten keep within by
    68 %. A crowd by itself, with a gap below it, is senders.
    """
    known = left_db[np.isfinite(left_db)]
    sd_db = MAD_SIGMA * float(np.median(np.abs(known)))
    (model_db,) = _of_model_db(_own_shape(left_db), centring, (FAR_CHANCE,))
    bar_db = max(model_db, min(even_db, WIDEST_EVEN * sd_db) * NormalDist().inv_cdf(1.0 - FAR_CHANCE))
    beyond_db = known[known > bar_db] - bar_db
    if beyond_db.size <= FEWEST_FAR * together + 2.0 * FAR_CHANCE * known.size:
        return False
    low_share = float((beyond_db <= np.quantile(beyond_db, NEARLY_ALL) / 2.0).mean())
    return low_share >= FOLLOWS_ON - FOLLOWS_SIGMAS * math.sqrt(FOLLOWS_ON * (1.0 - FOLLOWS_ON) / beyond_db.size)


def _heavy_end(left_db: Values, together: float, *, scattered: bool) -> HeavyEnd | None:
    """How the far end goes on where it falls off more slowly than evenly in decibels, by more than chance; else None.

    By probability-weighted moments of what lies beyond a threshold (Hosking and Wallis, Technometrics 29 (1987)
    339-349, from memory), stretch by stretch: the middle one counts, as elsewhere. What seems to end more slowly than
    noise does, or does so by its farthest readings alone, is senders, unless it is known to be ``scattered``.
    """
    parts = _stretches(left_db, END_CHANCE, FEWEST_FOR_END)
    if parts is None:
        return None
    tops = [np.sort(part)[-int(part.size * END_CHANCE) - 1 :] for part in parts]
    moments = np.array([_moments(top[1:] - top[0]) for top in tops])
    index = float(np.median(2.0 - moments[:, 0] / (moments[:, 0] - 2.0 * moments[:, 1])))
    alone = MEDIAN_COST * math.sqrt(together / sum(top.size for top in tops))
    luck = HEAVY_SIGMAS * alone * (1.0 + max(0.0, index))
    by_few = index - _index_within(parts) > APART_SIGMAS * INDEX_SIGMA * alone
    told = LEAST_LUCK * luck < index <= MOST_INDEX + luck and not by_few
    if not told and not scattered:
        return None
    index = min(max(0.0, index) + luck, MOST_INDEX)
    from_db, mean_db = float(np.median([top[0] for top in tops])), float(np.median(moments[:, 0]))
    most_db = FEW_REACH_DB if not told or left_db.shape[0] < FEWEST_SWEEPS else HIGHEST_REACH_DB
    return HeavyEnd(from_db, END_CHANCE, mean_db * (1.0 - index), index, most_db)


def _moments(beyond_db: Values) -> tuple[float, float]:
    """Mean of rising values, and their mean weighted with the share that lies higher."""
    weights = 1.0 - (np.arange(beyond_db.size) + 0.65) / beyond_db.size
    return float(beyond_db.mean()), float((beyond_db * weights).mean())


def _index_within(parts: list[Values]) -> float:
    """The same index by how far the middle and the tenth of what lies beyond the threshold are apart, which the
    farthest few do not move (percentiles of generalised Pareto distributions: Castillo and Hadi, J. Am. Stat. Assoc. 92
    (1997) 1609-1620, from memory).
    """
    shares = 1.0 - END_CHANCE * np.array([1.0, MIDDLE_BEYOND, FEW_BEYOND])
    from_db, middle_db, few_db = np.median([np.quantile(part, shares) for part in parts], axis=0)
    apart = (FEW_BEYOND**-INDICES - 1.0) / (MIDDLE_BEYOND**-INDICES - 1.0)
    return float(np.interp((few_db - from_db) / max(float(middle_db - from_db), 1e-9), apart, INDICES))


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
    told = _stretches(left_db, chance, FEWEST_BEYOND, fewest_stretches)
    if told is None:
        return None
    heights = [float(np.quantile(part, 1.0 - chance)) for part in told]
    return _Seen(float(np.median(heights)), sum(part.size for part in told))


def _stretches(
    left_db: Values, chance: float, fewest: int, fewest_stretches: int = MANY.stretches
) -> list[Values] | None:
    """Readings stretch by stretch of the axis, so wide that at least so many lie beyond a chance; None for too few."""
    stretches = min(STRETCHES, int(int(np.isfinite(left_db).sum()) * chance / (1.5 * fewest)))
    if stretches < fewest_stretches:
        return None
    parts = [part[np.isfinite(part)] for part in np.array_split(left_db, stretches, axis=1)]
    told = [part for part in parts if part.size * chance >= fewest]
    return told if len(told) >= fewest_stretches else None
