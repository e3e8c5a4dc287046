"""Sets of whole numbers whose differences all differ, from finite fields: the densest that are known in closed form.

Singer's sets have p + 1 members modulo p² + p + 1 (J. Singer, Trans. AMS 43 (1938)), Bose's p members modulo p² − 1 (R. C. Bose, J. Indian
Math. Soc. 6 (1942)); both from memory. Multiplied by a unit and turned they stay such sets, and so do stretches cut out of them.
"""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["bose", "primes_up_to", "singer", "turned", "units_of"]

Whole = NDArray[np.int64]
Element = tuple[int, ...]


def singer(p: int) -> tuple[Whole, int]:
    """Singer's set for a prime p, rising, and its modulus p² + p + 1."""
    modulus = p * p + p + 1
    powers = _powers(p, 3)
    members = [0, *(i for i in range(len(powers)) if powers[i][2] == 0 and powers[i][1] == 1)]
    return np.unique(np.array(members, dtype=np.int64) % modulus), modulus


def bose(p: int) -> tuple[Whole, int]:
    """Bose's set for a prime p, rising, and its modulus p² − 1."""
    powers = _powers(p, 2)
    return np.array([i for i in range(len(powers)) if powers[i][1] == 1], dtype=np.int64), p * p - 1


def turned(members: Whole, modulus: int, unit: int) -> Whole:
    """The set multiplied by a number without common divisor with the modulus, rising."""
    return np.sort(members * unit % modulus)


def units_of(modulus: int) -> list[int]:
    """Numbers below the modulus without common divisor with it; of each and its negative only the smaller."""
    return [unit for unit in range(1, modulus // 2 + 1) if math.gcd(unit, modulus) == 1]


def primes_up_to(most: int) -> list[int]:
    """Primes from 2 to ``most``."""
    return [n for n in range(2, most + 1) if all(n % d for d in range(2, math.isqrt(n) + 1))]


@functools.lru_cache(maxsize=32)
def _powers(p: int, degree: int) -> tuple[Element, ...]:
    """All powers of a generator of the field with p^degree elements, as coefficients of 1, x, x² …; the generator is x."""
    size = p**degree - 1
    factors = [d for d in range(2, p * p + p + 2) if size % d == 0 and all(d % e for e in range(2, math.isqrt(d) + 1))]
    for digits in np.ndindex(*(p,) * degree):
        tail = digits[::-1]  # the constant term runs fastest: it has to generate the field of p elements
        if tail[0] and all(_power(p, tail, size // prime) != _one(degree) for prime in factors):
            powers = [_one(degree)]
            for _ in range(size - 1):
                powers.append(_times_x(p, tail, powers[-1]))
            if _times_x(p, tail, powers[-1]) == _one(degree):
                return tuple(powers)
    raise ValueError(f"{p} is not a prime")


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
