"""How far noise reaches up: by the model of its readings, or by what they show where that is more.

Thresholds against false emitters lie where noise comes once in millions of readings, far beyond what a survey can
count. The model (gamma distributed powers) says where that is for an ideal receiver. Readings of real ones may reach
higher: they scatter evenly in decibels or wider (``even_scatter``), or their far end falls off more slowly than any of
the two (``heavy_end``). The highest of these counts.

Sources: the mean of lognormal powers taken as lognormal again: Fenton, IRE Trans. CS-8 (1960) 57-67; sums of
heavy-tailed values are large because one of them is: Embrechts, Klüppelberg, Mikosch, Modelling Extremal Events, 1.3
(from memory, tested against drawn means).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fallow.spectrum.levels import Levels
from fallow.spectrum.noise.coming_again import without_coming_again
from fallow.spectrum.noise.even_scatter import find_body
from fallow.spectrum.noise.heavy_end import FAR_CHANCE, HeavyEnd, above_floor, find_heavy_end, in_open_air
from fallow.spectrum.noise.scatter import find_residuals, level_step_db, some_rows
from fallow.spectrum.statistics import noise_quantile_db

__all__ = ["UpperTail", "find_upper_tail"]

Values = NDArray[np.float64]
FARTHEST_IN = 0.05  # chance from which on readings are in the far end, where the model may fail
LN_PER_DB = math.log(10.0) / 10.0


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
    rows = _without_steps(some_rows(levels, alike_sweeps))
    found = find_residuals(rows, rbw_bins, 0.0)
    if found is None:
        return UpperTail(shape)
    left, centring = without_coming_again(found[0]), found[1]
    together = max(1.0, rbw_bins)  # neighbours within one resolution say one thing
    body = find_body(left, centring, together)
    lag = math.ceil(together)
    of_model_db = float(noise_quantile_db(1.0 - FAR_CHANCE, shape) - noise_quantile_db(0.5, shape))
    from_db = max(body.exceeded_db(FAR_CHANCE), of_model_db)
    heavy = find_heavy_end(in_open_air(above_floor(rows, lag), rows), from_db, lag, together)
    return UpperTail(shape, body.even_db, heavy)


def _without_steps(rows: Values) -> Values:
    """Readings in steps spread evenly over their step, always in the same way."""
    step_db = level_step_db(rows)
    return rows + np.random.default_rng(1).uniform(-step_db / 2, step_db / 2, rows.shape) if step_db else rows
