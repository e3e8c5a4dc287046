"""How high noise alone may show in windows: by the model of its readings, and by what the survey itself shows.

Three things make noise reach higher than a gamma distribution of as many readings as a window has cells. Readings may
scatter wider upwards (``upper_tail``); neighbours may say the same, where the resolution is wider than it was said to
be; and the floor may be uneven, where a tuner steps by a decibel or two every few megahertz. The last is seen in the
windows of the whole axis: how far their mean levels lie above the floor that was followed, beyond what their scatter
explains. What stands higher than a floor's unevenness could is a signal and not asked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.noise_floor import Floor
from fallow.spectrum.noise.standing_again import standing_again
from fallow.spectrum.noise.upper_tail import UpperTail

__all__ = ["HIGHEST_UNEVEN_DB", "Uneven", "WindowNoise"]

Values = NDArray[np.float64]
HIGHEST_UNEVEN_DB = 12.0  # above the floor: what is more is a signal; common practice (steps of 1 to 2 dB, either way)
UPPER_SHARE = 0.84  # of the windows, one standard deviation above their middle
LEFT_OUT = 2.0  # standard errors of that quantile that are given up, so that luck makes no floor uneven
AGAIN_BY_LUCK = 0.01  # chance that several readings of noise are so high together, anywhere
FEWEST_WINDOWS = 24  # side by side, or the axis says nothing


@dataclass(frozen=True, eq=False)
class WindowNoise:
    """What noise alone reaches in windows of a series."""

    heard: Heard
    floor: Floor

    @property
    def tail(self) -> UpperTail:
        """How far single readings of noise reach up."""
        return self.heard.upper_tail

    def reached_db(
        self, chance: Values, cells: Values, sweeps: Values | float, again: NDArray[np.bool_] | bool = True
    ) -> Values:
        """What the mean over so many sweeps exceeds with a chance if the floor is even, dB above it; without the far
        end of single readings where several are high ``again``.
        """
        even = self.tail.exceeded_db(chance, cells * sweeps)
        if self.tail.heavy is not None:
            even = np.where(again, replace(self.tail, heavy=None).exceeded_db(chance, cells * sweeps), even)
        return np.maximum(0.0, even)

    @cached_property
    def again(self) -> NDArray[np.bool_]:
        """Bins in which several readings are so high together as noise is nowhere, shape (bin,)."""
        return standing_again(self.heard, self.floor, AGAIN_BY_LUCK / self.heard.axis.n)

    def uneven(self, width_hz: float) -> Uneven:
        """How uneven the floor is for windows of this width."""
        above_db, apart = self._mean_above_db(width_hz)
        left = above_db[above_db <= HIGHEST_UNEVEN_DB]
        count = left.size / apart
        of_dips = math.sqrt(2.0) * self.floor.uneven_db  # the floor may have been followed from a lowered stretch
        if count < FEWEST_WINDOWS:
            return Uneven(0.0, of_dips)
        middle, upper = (float(np.quantile(left, share)) for share in (0.5, UPPER_SHARE))
        z = NormalDist().inv_cdf(UPPER_SHARE)
        luck = math.sqrt(UPPER_SHARE * (1.0 - UPPER_SHARE) / count) / NormalDist().pdf(z)
        seen = max(0.0, upper - middle) / z * max(0.0, 1.0 - LEFT_OUT * luck)
        cells = max(1.0, width_hz / max(self.heard.alike_hz, float(self.heard.axis.step_hz)))
        explained = float(self.reached_db(np.array(1.0 - UPPER_SHARE), np.array(cells), self.heard.looks)) / z
        return Uneven(max(0.0, middle), max(of_dips, math.sqrt(max(0.0, seen**2 - explained**2))))

    def _mean_above_db(self, width_hz: float) -> tuple[Values, float]:
        """Mean power over the survey above the floor's in windows all over the axis, dB; and how many of the windows
        overlap.
        """
        bins = max(1, round(width_hz / float(self.heard.axis.step_hz)))
        hop = max(1, bins // 2)
        known = self.heard.measured & np.isfinite(self.floor.ceiling_db)
        shown, noise = (
            _sums(np.where(known, 10.0 ** (level / 10.0), 0.0), bins)[::hop]
            for level in (self.heard.mean_db, self.floor.ceiling_db)
        )
        whole = _sums(known.astype(np.float64), bins)[::hop] > bins - 0.5
        return 10.0 * np.log10(shown[whole] / noise[whole]), bins / hop


@dataclass(frozen=True)
class Uneven:
    """The floor's unevenness over windows: the middle one's height above it and their standard deviation, dB."""

    middle_db: float
    sd_db: float

    def reached_db(self, even_db: Values, chance: Values) -> Values:
        """What noise reaches above the floor with a chance where an even floor would let it reach ``even_db``."""
        from scipy import special  # heavy, so only where it is used

        rough = np.minimum(-special.ndtri(chance) * self.sd_db, HIGHEST_UNEVEN_DB)
        return np.asarray(self.middle_db + np.hypot(even_db, rough), dtype=np.float64)


def _sums(per_bin: Values, bins: int) -> Values:
    total = np.concatenate([[0.0], np.cumsum(per_bin)])
    return np.asarray(total[bins:] - total[:-bins], dtype=np.float64)
