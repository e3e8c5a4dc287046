"""What each place is worth to a class of carriers: the verdict on it, strangers' products on it, what the law wants to
be asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.plan.places import Places
from fallow.plan.search.groups import Class
from fallow.rules.territory import Answer
from fallow.show.link import AreaLosses, ForeignCarrier
from fallow.spectrum.verdict import Verdict

__all__ = ["ASK_BIT", "HIT_BIT", "VERDICT_STEP", "Worth", "worth_of_places"]

ASK_BIT, HIT_BIT, VERDICT_STEP = 1, 2, 4


@dataclass(frozen=True, eq=False)
class Worth:
    """Places that a plan may take, arrays of shape (place,).

    ``tier``: uint8, 0 best: ``VERDICT_STEP`` × verdict, plus ``HIT_BIT`` where products of strangers alone fall too
    near, plus ``ASK_BIT`` where the law says *ask*; so a better verdict outweighs the rest. ``margin_db``: NaN where
    not measured.
    """

    frequencies_hz: NDArray[np.int64]
    tier: NDArray[np.uint8]
    margin_db: NDArray[np.float64]

    def index(self, frequency_hz: int) -> int | None:
        """Which place a carrier is, ``None`` when it is none."""
        i = int(np.searchsorted(self.frequencies_hz, frequency_hz))
        return i if i < self.frequencies_hz.size and self.frequencies_hz[i] == frequency_hz else None


def worth_of_places(places: Places, each: Class, foreign: Sequence[ForeignCarrier], losses: AreaLosses) -> Worth:
    """The usable ones of ``places`` with their worth to a class."""
    usable = places.may_use
    frequencies_hz = places.frequencies_hz[usable]
    heard = [stranger for stranger in foreign if stranger.products and losses.hears(each.area, stranger.area)]
    hit = _hit_by_products(frequencies_hz, heard, each)
    verdict = np.minimum(places.verdict[usable], Verdict.NOT_MEASURED)
    tier = VERDICT_STEP * verdict + HIT_BIT * hit + ASK_BIT * (places.answer[usable] == Answer.ASK)
    return Worth(frequencies_hz, tier.astype(np.uint8), places.margin_db[usable])


def _hit_by_products(
    frequencies_hz: NDArray[np.int64], heard: Sequence[ForeignCarrier], each: Class
) -> NDArray[np.bool_]:
    """Which places lie too near to products that these carriers make among themselves."""
    hits = np.zeros(frequencies_hz.size + 1, dtype=np.int64)
    hz = np.array([stranger.frequency_hz for stranger in heard], dtype=np.int64)
    widths_hz = np.array([stranger.bandwidth_hz if each.edges else 0 for stranger in heard], dtype=np.int64)
    two, three, fifth, seventh = each.distances_hz
    a, b = np.nonzero(~np.eye(hz.size, dtype=np.bool_))
    for form, distance_hz in enumerate((two, fifth, seventh)):
        m, n = form + 2, form + 1
        half_hz = -(-(m * widths_hz[a] + n * widths_hz[b]) // 2)
        _mark(hits, frequencies_hz, m * hz[a] - n * hz[b], distance_hz, half_hz)
    once = a < b
    for c in range(hz.size):
        others = once & (a != c) & (b != c)
        one, other = a[others], b[others]
        half_hz = -(-(widths_hz[one] + widths_hz[other] + widths_hz[c]) // 2)
        _mark(hits, frequencies_hz, hz[one] + hz[other] - hz[c], three, half_hz)
    return np.asarray(np.cumsum(hits[:-1]) > 0)


def _mark(
    hits: NDArray[np.int64],
    frequencies_hz: NDArray[np.int64],
    products_hz: NDArray[np.int64],
    distance_hz: int,
    half_hz: NDArray[np.int64],
) -> None:
    """Mark places nearer than ``distance_hz`` to a product that reaches ``half_hz`` to each side, as +1 where a stretch
    begins and −1 where it ends.
    """
    if distance_hz > 0:
        within_hz = distance_hz + half_hz
        np.add.at(hits, np.searchsorted(frequencies_hz, products_hz - within_hz, side="right"), 1)
        np.subtract.at(hits, np.searchsorted(frequencies_hz, products_hz + within_hz, side="left"), 1)
