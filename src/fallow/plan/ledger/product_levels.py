"""How strong the intermodulation products are that fall on a receiver, all of one form at once.

Products near the victim are listed one by one, each with its level behind the receiver's selectivity. Of those beyond
the last point of the selectivity all lose the same, so their sum follows from the power sums of the carriers: nothing
is left out. What is listed is found from the sorted sums of what a form adds, by looking up for each carrier that it
takes away which sums lead near the victim.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.products import FIFTH, THREE_CARRIERS, TWO_CARRIERS, Form

__all__ = ["ProductSums", "ProductsHeard", "power_sum_dbm", "rejection_db", "total_mw"]

Selectivity = Sequence[tuple[int, float]]


@dataclass(frozen=True, eq=False)
class ProductsHeard:
    """Products of one form near a victim, arrays of shape (product,).

    ``added``, ``taken``: which sum and which carrier of ``sums`` make each. ``distance_hz``: from the victim.
    ``level_dbm``: the sum of the carriers' levels by their coefficients, without intercept point and selectivity.
    """

    form: Form
    sums: ProductSums
    added: NDArray[np.intp]
    taken: NDArray[np.intp]
    distance_hz: NDArray[np.int64]
    level_dbm: NDArray[np.float64]

    def makers(self, products: NDArray[np.intp] | slice = slice(None)) -> NDArray[np.intp]:
        """Which carriers of the plan make some of the products, shape (product, letter)."""
        letters = [*self.sums.added[self.form].makers[self.added[products]].T, self.taken[products]]
        makers: NDArray[np.intp] = self.sums.members[np.stack(letters, axis=1)]
        return makers


@dataclass(frozen=True, eq=False)
class _Added:
    """What a form adds, sorted: int64 hertz of shape (sum,), and who makes each, of shape (sum, letter)."""

    hz: NDArray[np.int64]
    makers: NDArray[np.intp]

    @classmethod
    def of(cls, hz: NDArray[np.int64], makers: NDArray[np.intp]) -> _Added:
        order = np.argsort(hz, kind="stable")
        return cls(hz[order], makers[order])


class ProductSums:
    """The carriers that may mix in one scene, at ``hz`` (int64, shape (carrier,)), ready to be asked for products.

    ``members``: which carriers of the plan they are, shape (carrier,).
    """

    def __init__(self, hz: NDArray[np.int64], members: NDArray[np.intp]) -> None:
        self.members = members
        self._hz = hz
        one = np.arange(len(hz))[:, None]
        pair = np.stack(np.triu_indices(len(hz), 1), axis=1)
        self.added = {
            TWO_CARRIERS: _Added.of(2 * hz, one),
            THREE_CARRIERS: _Added.of(hz[pair].sum(axis=1), pair),
            FIFTH: _Added.of(3 * hz, one),
        }

    def near(self, form: Form, levels_dbm: NDArray[np.float64], victim_hz: int, within_hz: int) -> ProductsHeard:
        """The products of different carriers within a distance of the victim.

        ``levels_dbm``: of the members at the victim's receiver, shape (carrier,); −inf for the victim and for what it
        does not hear, whose products are left out.
        """
        sums, k = self.added[form], np.abs(form.coefficients)
        heard = np.flatnonzero(levels_dbm > -np.inf)
        around_hz = victim_hz + int(k[-1]) * self._hz[heard]
        of, added = _ranges(sums.hz, around_hz, within_hz)
        taken = heard[of]
        makers = sums.makers.T
        sums_dbm = k[0] * levels_dbm[makers].sum(axis=0)
        valid = sums_dbm[added] > -np.inf
        for letter in makers:
            valid &= letter[added] != taken
        found = np.flatnonzero(valid)
        added, of, taken = added[found], of[found], taken[found]
        level = sums_dbm[added] + (k[-1] * levels_dbm)[taken]
        return ProductsHeard(form, self, added, taken, np.abs(sums.hz[added] - around_hz[of]), level)


def total_mw(form: Form, levels_dbm: NDArray[np.float64]) -> float:
    """Sum over all products of different carriers of the carriers' powers [mW] raised to their coefficients.

    For audited forms, from power sums S_k = Σ p^k: 2A−B S2·S1 − S3, 3A−2B S3·S2 − S5, A+B−C three times the elementary
    symmetric sum (S1³ − 3·S1·S2 + 2·S3)/6 (Newton's identities).
    """
    mw = 10 ** (levels_dbm / 10)
    s1, s2, s3 = (float((mw**k).sum()) for k in (1, 2, 3))
    if form == TWO_CARRIERS:
        return max(s2 * s1 - s3, 0.0)
    if form == FIFTH:
        return max(s3 * s2 - float((mw**5).sum()), 0.0)
    return max((s1**3 - 3 * s1 * s2 + 2 * s3) / 2, 0.0)


def rejection_db(selectivity: Selectivity, distance_hz: NDArray[np.int64]) -> NDArray[np.float64]:
    """What a receiver's selectivity takes at distances from its carrier [dB]: straight lines from 0 dB at 0 Hz through
    its points, and the last one's beyond.
    """
    at_hz, lost_db = zip((0, 0.0), *selectivity, strict=True)
    return np.asarray(np.interp(distance_hz, at_hz, lost_db))


def power_sum_dbm(levels_dbm: NDArray[np.float64]) -> float:
    """Levels added as powers [dBm]; −inf for none."""
    loudest = float(levels_dbm.max(initial=-np.inf))
    if loudest == -np.inf:
        return loudest
    return loudest + 10 * float(np.log10((10 ** ((levels_dbm - loudest) / 10)).sum()))


def _ranges(
    sorted_hz: NDArray[np.int64], around_hz: NDArray[np.int64], within_hz: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """All pairs (i, j) with |sorted_hz[j] − around_hz[i]| ≤ within_hz, as two arrays of shape (pair,)."""
    low = np.searchsorted(sorted_hz, around_hz - within_hz, side="left")
    count = np.searchsorted(sorted_hz, around_hz + within_hz, side="right") - low
    of = np.repeat(np.arange(len(around_hz)), count)
    ahead = np.cumsum(count) - count
    return of, np.repeat(low - ahead, count) + np.arange(len(of))
