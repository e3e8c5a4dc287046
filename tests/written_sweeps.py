"""Sweeps written as text in any notation and shape, for tests that read them back.

Babel writes the numbers as Unicode CLDR says; minus signs, native digits and minimum grouping, which babel leaves
out, are added here. All levels and frequencies are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np


@dataclass(frozen=True)
class Style:
    """A notation and a dialect: ``digits`` are the ten digits, ``group`` may be empty."""

    delimiter: str = ","
    decimal: str = "."
    group: str = ""
    minus: str = "-"
    digits: str = "0123456789"
    newline: str = "\n"
    encoding: str = "utf-8"
    quote: bool = False
    indian: bool = False
    trailing: bool = False

    def number(self, value: Decimal) -> str:
        """One number in this style."""
        sign, text = ("-", f"{-value:f}") if value < 0 else ("", f"{value:f}")
        whole, _, fraction = text.partition(".")
        if self.group:
            whole = self._grouped(whole)
        out = whole + (self.decimal + fraction if fraction else "")
        out = out.translate({ord("0") + place: digit for place, digit in enumerate(self.digits)})
        return (self.minus if sign else "") + out

    def _grouped(self, whole: str) -> str:
        head, parts = whole[:-3], [whole[-3:]]
        size = 2 if self.indian else 3
        while head:
            head, part = head[:-size], head[-size:]
            parts.insert(0, part)
        return self.group.join(parts)

    def line(self, cells: list[str]) -> str:
        """One line of cells that are text already."""
        if self.quote:
            cells = ['"' + cell.replace('"', '""') + '"' for cell in cells]
        return self.delimiter.join(cells) + (self.delimiter if self.trailing else "")

    def encoded(self, lines: list[str], *, last_newline: bool = True) -> bytes:
        """The whole file."""
        text = self.newline.join(lines) + (self.newline if last_newline else "")
        return text.encode(self.encoding)


def noise(n: int, sweeps: int = 1, *, seed: int = 1, middle: float = -95.0, decimals: int = 1) -> list[list[Decimal]]:
    """Levels of invented noise, ``sweeps`` lists of ``n``."""
    drawn = np.random.default_rng(seed).normal(middle, 2.5, (sweeps, n))
    return [[Decimal(f"{value:.{decimals}f}") for value in row] for row in drawn]


def grid(start: str, step: str, n: int) -> list[Decimal]:
    """``n`` frequencies from ``start`` on."""
    return [Decimal(start) + place * Decimal(step) for place in range(n)]


def columns(
    style: Style, frequencies: list[Decimal], *levels: list[Decimal], header: list[str] | None = None
) -> list[str]:
    """Lines of frequency and level columns."""
    lines = [] if header is None else [style.line(header)]
    rows = zip(frequencies, *levels, strict=True)
    return lines + [style.line([style.number(value) for value in row]) for row in rows]
