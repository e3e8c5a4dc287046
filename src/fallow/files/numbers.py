"""How numbers are written in a file: which character is the decimal mark, which one groups digits.

A notation is a property of a file. ``notations`` lists those that a file's cells admit; physics decides among them
later. Cells have passed ``source.normalise``: plain digits, ``-`` for minus.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

__all__ = ["Notation", "Number", "notations"]

_DECIMALS = ".,٫،"
_GROUPS = ".,' \u00a0٬،⹁"  # Unicode CLDR, symbols "decimal" and "group"; also "no grouping"
_BETWEEN_DIGITS = re.compile(r"(?<=\d)([.,' \u00a0٫٬،⹁])(?=\d)")
_LONGEST = 40  # characters of a number; with two digits of exponent no float runs over
_PLAIN = re.compile(r"-?[0-9]{1,15}(?:\.[0-9]{1,15})?")
_EDGE_MARK = re.compile(r"(?<!\d)([.,٫،])\d|\d([.,٫،])(?!\d)")
_UNIT_SUFFIX = r"(?:[\s\u00a0]{0,3}(?P<suffix>[kKmMgG]?[hH][zZ]|[dD][bB][a-zA-Zµμ()/ ]{0,6}|[mnpfuµμ]?[WwV]))?"


@dataclass(frozen=True)
class Number:
    """A cell that is a number: its value as plain text (``-1234.5E3``) and the unit written behind it, if any."""

    text: str
    suffix: str

    @property
    def value(self) -> float:
        """The nearest float."""
        return float(self.text)


@dataclass(frozen=True)
class Notation:
    """``decimal``: the decimal mark. ``groups``: the characters that group digits, empty where none do."""

    decimal: str
    groups: str = ""

    def number(self, cell: str) -> Number | None:
        """The cell as a number, or ``None`` when it is none in this notation."""
        if self.decimal == "." and _PLAIN.fullmatch(cell):  # most cells of most files
            return Number(cell, "")
        match = _pattern(self.decimal, self.groups).fullmatch(cell)
        if match is None or len(match["number"]) > _LONGEST:
            return None
        text = match["number"]
        for char in self.groups:
            text = text.replace(char, "")
        return Number(
            text.replace(self.decimal, ".").replace(" ", "").replace("\u00a0", ""), (match["suffix"] or "").strip()
        )


def notations(cells: Iterable[str], delimiter: str, decimal: str | None = None) -> tuple[Notation, ...]:
    """The notations that cells admit, the likeliest first; only those with ``decimal`` where the user states it."""
    marks = _marks_in(cells)
    groups_only = "".join(char for char in marks if char not in _DECIMALS)
    either = [char for char in marks if char in _DECIMALS]
    if decimal is not None:
        return (Notation(decimal, groups_only + "".join(char for char in either if char != decimal)),)
    if not either:
        return (Notation("." if delimiter != "." else ",", groups_only),)
    found = [Notation(char, groups_only + "".join(other for other in either if other != char)) for char in either]
    if len(either) == 1 and not groups_only and either[0] in _GROUPS:
        found.append(Notation("," if either[0] == "." else ".", either[0]))
    return tuple(found)


def decimals_of(text: str) -> int:
    """Digits behind the point in the plain text of a number, its exponent taken into account; negative when coarser
    than one."""
    mantissa, _, exponent = text.upper().partition("E")
    return len(mantissa.partition(".")[2]) - (int(exponent) if exponent else 0)


def _marks_in(cells: Iterable[str]) -> list[str]:
    """Characters that stand between digits, or as a decimal mark at the edge of them, in order of appearance."""
    seen: dict[str, None] = {}
    for cell in cells:
        for match in _BETWEEN_DIGITS.finditer(cell):
            seen[match[1]] = None
        for match in _EDGE_MARK.finditer(cell):
            seen[match[1] or match[2]] = None
    return list(seen)


@cache
def _pattern(decimal: str, groups: str) -> re.Pattern[str]:
    mark = re.escape(decimal)
    whole = r"\d+"
    if groups:
        one = "|".join(re.escape(char) for char in groups)
        thousands = rf"\d{{1,3}}(?:(?P<g>{one})\d{{3}})(?:(?P=g)\d{{3}})*"
        indian = rf"\d{{1,2}}(?:(?P<h>{one})\d{{2}})(?:(?P=h)\d{{2}})*(?P=h)\d{{3}}"
        whole = rf"(?:{thousands}|{indian}|\d+)"
    body = rf"(?:{whole}(?:{mark}\d*)?|{mark}\d+)"
    return re.compile(rf"(?P<number>[-+]?[ \u00a0]?{body}(?:[eE][-+]?\d{{1,2}})?){_UNIT_SUFFIX}", re.ASCII)
