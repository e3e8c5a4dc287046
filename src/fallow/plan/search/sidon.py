"""Sets of whole numbers whose differences all differ, from finite fields: the densest that are known in closed form.

Singer's sets have p + 1 members modulo p² + p + 1 (J. Singer, Trans. AMS 43 (1938)), Bose's p members modulo p² − 1
(R. C. Bose, J. Indian Math. Soc. 6 (1942)); both from memory. Multiplied by a unit and turned they stay such sets, and
so do stretches cut out of them.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["bose", "primes_up_to", "singer", "turned", "units_of"]

Whole = NDArray[np.int64]
Element = tuple[int, ...]


def singer(p: int) -> tuple[Whole, int]:
    """Singer's set for a prime p, rising, and its modulus p² + p + 1."""
    modulus = p * p + p + 1
    members = [i for i, power in enumerate(_powers(p, 3, modulus)) if power[2] == 0]
    return np.array(members, dtype=np.int64), modulus


def bose(p: int) -> tuple[Whole, int]:
    """Bose's set for a prime p, rising, and its modulus p² − 1."""
    members = [i for i, power in enumerate(_powers(p, 2, p * p - 1)) if power[1] == 1]
    return np.array(members, dtype=np.int64), p * p - 1


def turned(members: Whole, modulus: int, unit: int) -> Whole:
    """The set multiplied by a number without common divisor with the modulus, rising."""
    return np.sort(members * unit % modulus)


def units_of(modulus: int) -> list[int]:
    """Numbers below the modulus without common divisor with it; of each and its negative only the smaller."""
    return [unit for unit in range(1, modulus // 2 + 1) if math.gcd(unit, modulus) == 1]


def primes_up_to(most: int) -> list[int]:
    """Primes from 2 to ``most``."""
    return [n for n in range(2, most + 1) if all(n % d for d in range(2, math.isqrt(n) + 1))]


@functools.lru_cache(maxsize=64)
def _powers(p: int, degree: int, count: int) -> tuple[Element, ...]:
    """The first powers of a generator of the field with p^degree elements, as coefficients of 1, x, x² …; the
    generator is x.
    """
    size = p**degree - 1
    factors = [d for d in range(2, p * p + p + 2) if size % d == 0 and all(d % e for e in range(2, math.isqrt(d) + 1))]
    for digits in np.ndindex(*(p,) * degree):
        tail = digits[::-1]  # the constant term runs fastest: it has to generate the field of p elements
        if tail[0] and _generates(p, tail, size, factors):
            powers = [_one(degree)]
            while len(powers) < count:
                powers.append(_times_x(p, tail, powers[-1]))
            return tuple(powers)
    raise ValueError(f"{p} is not a prime")


def _generates(p: int, tail: Element, size: int, factors: Sequence[int]) -> bool:
    """Whether x runs through all elements but 0, modulo x^degree = tail: its order is ``size`` and no less."""
    one = _one(len(tail))
    return _power(p, tail, size) == one and all(_power(p, tail, size // prime) != one for prime in factors)


def _one(degree: int) -> Element:
    return (1, *(0,) * (degree - 1))


def _times_x(p: int, tail: Element, element: Element) -> Element:
    """An element times x, modulo x^degree = tail."""
    carried = element[-1]
    return tuple((low + carried * t) % p for low, t in zip((0, *element[:-1]), tail, strict=True))


def _power(p: int, tail: Element, exponent: int) -> Element:
    """x to a power, by squaring."""
    result = _one(len(tail))
    for bit in f"{exponent:b}":
        result = _product(p, tail, result, result)
        if bit == "1":
            result = _times_x(p, tail, result)
    return result


def _product(p: int, tail: Element, one: Element, other: Element) -> Element:
    total = (0,) * len(tail)
    for coefficient in reversed(one):
        total = _times_x(p, tail, total)
        total = tuple((t + coefficient * o) % p for t, o in zip(total, other, strict=True))
    return total
