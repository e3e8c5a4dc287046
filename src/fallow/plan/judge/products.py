"""Intermodulation products of carriers: which there are, where they fall, how strong they are.

A product of order m is a sum of carriers with whole coefficients k, where the |k| add up to m and the k to 1: only
those can fall back into the band. Frequencies are whole hertz, so a product is exact. The number of products by form is
plain combinatorics; strengths follow from the power series of a memoryless device.

A product of m signals is their product in time, so its spectrum is the convolution of theirs (the convolution theorem),
a carrier that takes part k times being convolved k times, and the support of a convolution is as wide as the supports
together: a product of carriers of widths w is at most Σ |k|·w wide.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise, permutations

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError

__all__ = [
    "AUDITED",
    "FIFTH",
    "FORMS",
    "SEVENTH",
    "THREE_CARRIERS",
    "TWO_CARRIERS",
    "Form",
    "Neighbourhood",
    "forms_of_order",
    "products_of",
]

_LETTERS = "ABCDEFG"


@dataclass(frozen=True)
class Form:
    """A kind of product by its coefficients: the positive ones first, each group falling, such as (2, −1) for 2A−B."""

    coefficients: tuple[int, ...]

    @property
    def order(self) -> int:
        """Sum of the absolute coefficients."""
        return sum(abs(k) for k in self.coefficients)

    @property
    def name(self) -> str:
        """As the trade writes it, in plain ASCII: ``2A-B``, ``A+B-C``."""
        return _signed_sum(self.coefficients, _LETTERS, times="", plus="+", minus="-")

    def worded(self, names: Sequence[str]) -> str:
        """The product of named carriers for people: ``2 × vox 1 − vox 2``."""
        return _signed_sum(self.coefficients, names, times=" × ", plus=" + ", minus=" − ")

    def count(self, carriers: int) -> int:
        """How many products of this form so many different carriers make: n!/(n−j)! over the swaps of equal letters."""
        if carriers < len(self.coefficients):
            return 0
        swaps = math.prod(math.factorial(self.coefficients.count(k)) for k in set(self.coefficients))
        return math.perm(carriers, len(self.coefficients)) // swaps

    def at_hz(self, carriers_hz: Sequence[int]) -> int:
        """Where the product of these carriers falls, in hertz."""
        return sum(k * hz for k, hz in zip(self.coefficients, carriers_hz, strict=True))

    def half_width_hz(self, widths_hz: Sequence[int]) -> int:
        """From the middle of the product of carriers of these occupied widths to its edge, at most; rounded up to whole
        hertz. Carriers without a known width count as lines.
        """
        return -(-sum(abs(k) * hz for k, hz in zip(self.coefficients, widths_hz, strict=True)) // 2)

    def level_dbm(self, carriers_dbm: Sequence[float], intercept_dbm: float) -> float:
        """Level of the product for carriers at these levels, all at one port.

        ``intercept_dbm`` is the intercept point of the form's own order, defined with two equal carriers. A memoryless
        device makes a product in proportion to the multinomial m!/Π|k|!, so forms of more carriers are stronger: A+B−C
        by 6.02 dB.
        """
        weighted = sum(abs(k) * level for k, level in zip(self.coefficients, carriers_dbm, strict=True))
        half = self.order // 2
        stronger = _multinomial(self.coefficients) / _multinomial((half + 1, -half))
        return weighted - (self.order - 1) * intercept_dbm + 20 * math.log10(stronger)


TWO_CARRIERS = Form((2, -1))
THREE_CARRIERS = Form((1, 1, -1))
FIFTH = Form((3, -2))
SEVENTH = Form((4, -3))
AUDITED = (TWO_CARRIERS, THREE_CARRIERS, FIFTH)
"""The forms that are usual, and that a protected foreign carrier is guarded from."""
FORMS = (*AUDITED, SEVENTH)
"""All forms that a receiver may ask distances from. Of order 7, 4A−3B alone is made by two carriers near the band."""


def forms_of_order(order: int) -> tuple[Form, ...]:
    """All forms of an odd order that can fall back into the band, fewest carriers first.

    Raises UsageError for an order that is even or below 3: those products fall far away from their carriers.
    """
    if order < 3 or order % 2 == 0:
        raise UsageError(f"products of order {order} do not fall near their carriers", hint="ask for order 3, 5 or 7")
    plus, minus = (order + 1) // 2, (order - 1) // 2
    forms = [Form((*up, *(-k for k in down))) for up in _partitions(plus, plus) for down in _partitions(minus, minus)]
    return tuple(sorted(forms, key=lambda form: (len(form.coefficients), [-k for k in form.coefficients])))


def products_of(form: Form, carriers_hz: Sequence[int]) -> Iterator[tuple[tuple[int, ...], int]]:
    """Every product of the form, once: the positions of its carriers, letter by letter, and the hertz where it falls.

    Plain enumeration; carriers of equal coefficient are listed in rising position, so A+B−C and B+A−C are one.
    """
    twins = [i for i, (k, following) in enumerate(pairwise(form.coefficients)) if k == following]
    for chosen in permutations(range(len(carriers_hz)), len(form.coefficients)):
        if all(chosen[i] < chosen[i + 1] for i in twins):
            yield chosen, form.at_hz([carriers_hz[i] for i in chosen])


@dataclass(frozen=True, eq=False)
class _Sums:
    """Multiples or sums of carriers, sorted int64 of shape (sum,), how wide each is, and who makes each, of shape
    (sum, letter).
    """

    hz: NDArray[np.int64]
    widths_hz: NDArray[np.int64]
    makers: NDArray[np.intp]

    @classmethod
    def of(cls, hz: NDArray[np.int64], widths_hz: NDArray[np.int64], makers: NDArray[np.intp]) -> _Sums:
        order = np.argsort(hz, kind="stable")
        return cls(hz[order], widths_hz[order], makers[order])

    def by_octave_of_width(self) -> Iterator[_Sums]:
        """The same in parts, in each of which no width is more than twice another."""
        octave = np.frexp(self.widths_hz.astype(np.float64))[1]
        for one in np.unique(octave).tolist():
            yield _Sums(self.hz[octave == one], self.widths_hz[octave == one], self.makers[octave == one])


class Neighbourhood:
    """The products of one set of carriers, to be asked which of them fall near a frequency.

    ``carriers_hz``, ``widths_hz``: whole hertz, shape (carrier,); without widths all are lines. A product is what a
    form adds minus what it takes away, so the products near a frequency are found by looking, for each sum, which
    carrier to take away; nothing is rounded or left out.
    """

    def __init__(
        self, carriers_hz: Sequence[int] | NDArray[np.int64], widths_hz: NDArray[np.int64] | None = None
    ) -> None:
        self.carriers_hz = np.asarray(carriers_hz, dtype=np.int64)
        self.widths_hz = np.zeros_like(self.carriers_hz) if widths_hz is None else widths_hz

    def near(self, form: Form, frequency_hz: int, within_hz: int) -> NDArray[np.intp]:
        """All choices of different carriers whose product is less than ``within_hz`` away from the frequency.

        Returns positions of carriers, shape (product, letter), letters in the order of the form's coefficients; the two
        of A+B in rising position. Only ``FORMS`` are known here.
        """
        added, taken = self._sums[form]
        return _combined(added, taken, frequency_hz, np.int64(within_hz))

    def edges_near(self, form: Form, frequency_hz: int, within_hz: int) -> NDArray[np.intp]:
        """As ``near``, the distance being that of the nearer edge of a product; see ``Form.half_width_hz``."""
        added, taken = self._sums[form]
        found = []
        for part in taken.by_octave_of_width():
            half_hz = -(-(added.widths_hz + part.widths_hz.max()) // 2)
            found.append(_combined(added, part, frequency_hz, within_hz + half_hz))
        letters = np.concatenate(found) if found else np.zeros((0, len(form.coefficients)), dtype=np.intp)
        k = np.array(form.coefficients, dtype=np.int64)
        half_hz = -(-(self.widths_hz[letters] @ np.abs(k)) // 2)
        near = np.abs(self.carriers_hz[letters] @ k - frequency_hz) < within_hz + half_hz
        return np.compress(near, letters, axis=0)

    @cached_property
    def _sums(self) -> dict[Form, tuple[_Sums, _Sums]]:
        hz, widths_hz = self.carriers_hz, self.widths_hz
        one = np.arange(len(hz))[:, None]
        pair = np.stack(np.triu_indices(len(hz), 1), axis=1)
        multiples = {k: _Sums.of(k * hz, k * widths_hz, one) for k in (1, 2, 3, 4)}
        pairs = _Sums.of(hz[pair].sum(axis=1), widths_hz[pair].sum(axis=1), pair)
        return {
            TWO_CARRIERS: (multiples[2], multiples[1]),
            THREE_CARRIERS: (pairs, multiples[1]),
            FIFTH: (multiples[3], multiples[2]),
            SEVENTH: (multiples[4], multiples[3]),
        }


def _combined(
    added: _Sums, taken: _Sums, frequency_hz: int, within_hz: NDArray[np.int64] | np.int64
) -> NDArray[np.intp]:
    """Whom to add and whom to take away, all different, to come nearer to a frequency than ``within_hz``, which may
    differ from sum to sum.
    """
    low = np.searchsorted(taken.hz, added.hz - frequency_hz - within_hz, side="right")
    high = np.searchsorted(taken.hz, added.hz - frequency_hz + within_hz, side="left")
    found = np.maximum(high - low, 0)
    some = np.flatnonzero(found)
    found = found[some]
    first = np.repeat(low[some] - np.cumsum(found) + found, found)
    last_letter = taken.makers[first + np.arange(len(first))]
    letters: NDArray[np.intp] = np.hstack([np.repeat(added.makers[some], found, axis=0), last_letter])
    return np.compress((letters[:, :-1] != letters[:, -1:]).all(axis=1), letters, axis=0)


def _partitions(total: int, largest: int) -> Iterator[tuple[int, ...]]:
    """All ways to write ``total`` as falling positive numbers of at most ``largest``."""
    if total == 0:
        yield ()
    for first in range(min(total, largest), 0, -1):
        for rest in _partitions(total - first, first):
            yield (first, *rest)


def _multinomial(coefficients: Sequence[int]) -> int:
    """m!/Π|k|!: how often a product occurs in the m-th power of a sum of carriers."""
    order = sum(abs(k) for k in coefficients)
    return math.factorial(order) // math.prod(math.factorial(abs(k)) for k in coefficients)


def _signed_sum(coefficients: Sequence[int], names: Sequence[str], *, times: str, plus: str, minus: str) -> str:
    text = ""
    for k, name in zip(coefficients, names, strict=False):
        sign = (minus if k < 0 else plus) if text else ""
        text += sign + (name if abs(k) == 1 else f"{abs(k)}{times}{name}")
    return text
