"""What chance alone does between two surveys of the same noise: how far the ratio of what they show may reach.

Where the readings of a survey scatter as its model says, the ratio of two means is an F variate. Readings of real
receivers may reach higher (they scatter evenly in decibels): then what the higher side may show above its middle and
what the lower side may show below it are added as independent errors, and the higher of both answers counts.
"""

from __future__ import annotations

import numpy as np

from fallow.change.side_by_side import Levels, Side
from fallow.spectrum.instruments.two_samples import ratio_quantile_db, ratio_u_db
from fallow.spectrum.statistics import normal_quantile

__all__ = ["by_chance_db", "scatter_db"]

MIDDLE = 0.5


def by_chance_db(chance: float, above: tuple[Side, Levels], below: tuple[Side, Levels]) -> Levels:
    """What the ratio of two means of the same noise exceeds with a chance, dB. Each side comes with the samples behind
    its mean, as in ``Side.samples``; shapes broadcast.
    """
    by_model = ratio_quantile_db(chance, above[1], below[1])
    if above[0].even_db == 0.0 and below[0].even_db == 0.0:
        return by_model
    counts = np.broadcast_arrays(above[0].readings_in(above[1]), below[0].readings_in(below[1]))
    couples, places = np.unique(np.stack([count.ravel() for count in counts]).round(3), axis=1, return_inverse=True)
    reach = _up_db(above[0], couples[0], chance)
    depth = normal_quantile(1.0 - chance) * below[0].evidence.heard.upper_tail.spread_db(couples[1])
    even = np.hypot(reach, depth)[places.ravel()].reshape(counts[0].shape)
    return np.maximum(by_model, even)


def scatter_db(one: tuple[Side, Levels], other: tuple[Side, Levels]) -> Levels:
    """Standard deviation of the ratio of two means of noise, dB; sides and samples as in ``by_chance_db``."""
    by_model = ratio_u_db(one[1], other[1])
    if one[0].even_db == 0.0 and other[0].even_db == 0.0:
        return by_model
    spreads = [side.evidence.heard.upper_tail.spread_db(side.readings_in(samples)) for side, samples in (one, other)]
    return np.maximum(by_model, np.hypot(*spreads))


def _up_db(side: Side, readings: Levels, chance: float) -> Levels:
    """How far the mean of some readings of noise may reach above its own middle, dB."""
    upper = side.evidence.heard.upper_tail
    middle = np.maximum(upper.exceeded_db(MIDDLE, readings), 0.0)
    return np.asarray(upper.exceeded_db(chance, readings) - middle, dtype=np.float64)
