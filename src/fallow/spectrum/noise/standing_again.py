"""What several readings show together: so a carrier is told from noise whose single readings reach anywhere.

Where the far end of noise falls off slowly, one reading proves little, however high it is. Independent ones that are
high together prove the more: a carrier stands in its bins in other sweeps, or side by side where it is wider than the
resolution. So levels are looked at that only so many of the sweeps reach, or that two neighbours of one sweep do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.noise_floor import Floor
from fallow.spectrum.noise.scatter import NEAREST, some_rows

__all__ = ["Together", "reached_together", "standing_again"]

Values = NDArray[np.float64]
SHARES = (0.25, 0.5)  # of the sweeps that have to be high, besides two of them


@dataclass(frozen=True, eq=False)
class Together:
    """A level that ``again`` of ``looks`` readings reach, the highest of ``tries`` such: dB above the floor, shape
    (bin,), NaN where there were too few.
    """

    above_db: Values
    looks: int
    again: int
    tries: int = 1

    def each_exceeds(self, chance: float) -> float:
        """The chance with which one reading exceeds what as many do with ``chance`` (binomial distribution)."""
        from scipy import special  # heavy, so only where it is used

        return float(special.betaincinv(self.again, self.looks - self.again + 1, chance / self.tries))


def reached_together(heard: Heard, floor: Floor) -> list[Together]:
    """What several readings of a series reach together: two of all sweeps, two side by side in any of them, and a share
    of as many sweeps as a scatter needs. Of sweeps that show the same noise only some count, each as one reading.
    """
    rows = some_rows(heard.levels_db, heard.alike_sweeps) - floor.noise_db
    falling = -np.sort(-rows, axis=0)  # NaN goes last
    looks, independent = len(falling), heard.alike_sweeps == 1.0
    counts = {math.ceil(share * looks) for share in SHARES} - {1, 2} | (set() if independent else {2})
    of_some = [Together(falling[count - 1], looks, count) for count in sorted(counts) if count <= looks]
    twice, beside = _highest_together(heard, floor)
    of_all = [Together(twice, heard.n_sweeps, 2)] if independent and heard.n_sweeps > 1 else []
    return [*of_all, *of_some, Together(beside, 2, 2, tries=2 * heard.n_sweeps)]


def _highest_together(heard: Heard, floor: Floor) -> tuple[Values, Values]:
    """The second highest reading of each bin, and the highest that it and an independent neighbour reach in one sweep:
    dB above the floor, shape (bin,), NaN where there were too few.
    """
    lag = max(1, math.ceil(NEAREST * heard.alike_hz / float(heard.axis.step_hz)))
    bins = heard.axis.n
    highest, second, pairs = np.full(bins, np.nan), np.full(bins, np.nan), np.full(max(0, bins - lag), np.nan)
    noise_db = floor.noise_db.astype(np.float32)
    for _, block in heard.levels_db.blocks():
        block -= noise_db
        for row in block:
            second = np.fmax(second, np.where(np.isnan(row), np.nan, np.minimum(highest, row)))
            highest = np.fmax(highest, row)
        pairs = np.fmax(pairs, np.fmax.reduce(np.minimum(block[:, lag:], block[:, :-lag]), axis=0))
    beside = np.full(bins, np.nan)
    beside[lag:] = pairs
    beside[: pairs.size] = np.fmax(beside[: pairs.size], pairs)
    return second, beside


def standing_again(heard: Heard, floor: Floor, chance: float) -> NDArray[np.bool_]:
    """Bins in which noise reaches with ``chance`` (each), at most, what several readings show, shape (bin,)."""
    again = np.zeros(heard.axis.n, dtype=bool)
    views = reached_together(heard, floor)
    for view in views:
        least = heard.upper_tail.exceeded_db(view.each_exceeds(chance / len(views)))
        again |= np.nan_to_num(view.above_db, nan=-np.inf) > least
    return again
