"""Two columns of frequencies in one table: old and new, transmitter and receiver, kilohertz and megahertz.

Where they say the same, or one of them is empty, nothing is to be asked. Where they differ only the user knows which of
them the links stand at.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from fallow.files.numbers import Notation
from fallow.files.source import normalise
from fallow.files.tables.columns import FREQUENCY, PLAUSIBLE, plain_heading

__all__ = ["Difference", "FrequencyColumn", "first_difference", "frequencies_hz", "twin_difference"]

FrequencyColumn = tuple[int, str | None]  # where it stands, and the unit of its heading, in lower case
_BOTH_MARKS = (Notation(".", ",'\u00a0 "), Notation(",", ".'\u00a0 "))
_OTHERS = re.compile(r"backup|back-up|spare|reserve|ersatz|secours|r[eé]serva|riserva|alternat", re.IGNORECASE)


@dataclass(frozen=True)
class Difference:
    """A row in which two columns that may be the frequency differ: what they say, or that one says nothing."""

    line: int
    readings: tuple[str, str]


def first_difference(
    columns: Sequence[FrequencyColumn], headings: Sequence[str], rows: Sequence[tuple[int, Sequence[str]]]
) -> Difference | None:
    """Where columns that may be the frequency differ; ``rows``: line number and cells.

    A column for spares is none of them, unless all are, nor is one without any cell.
    """
    first_hand = [one for one in columns if not _OTHERS.search(headings[one[0]])]
    filled = {at for at, _ in columns if any(at < len(cells) and cells[at].strip() for _, cells in rows)}
    asked = [one for one in first_hand or columns if one[0] in filled]
    for line, cells in rows:
        said = [(at, frequencies_hz(cells[at], unit)) for at, unit in asked if at < len(cells)]
        said = [(at, found) for at, found in said if found or not cells[at].strip()]
        for (at, one), (other_at, other) in pairwise(said):
            if one.isdisjoint(other) and (one or other):
                return Difference(line, (_reading(at, headings, cells), _reading(other_at, headings, cells)))
    return None


def twin_difference(at: int, headings: Sequence[str], rows: Sequence[tuple[int, Sequence[str]]]) -> Difference | None:
    """Where a column and another one with the same heading say something else, ``None`` where there is no such row."""
    plain = plain_heading(headings[at])
    twins = [other for other, one in enumerate(headings) if other != at and plain and plain_heading(one) == plain]
    for line, cells in rows:
        for other in twins:
            said, also = (cells[place].strip() if place < len(cells) else "" for place in (at, other))
            if also and also != said and frequencies_hz(said, None).isdisjoint(frequencies_hz(also, None)):
                return Difference(line, (_reading(at, headings, cells), _reading(other, headings, cells)))
    return None


def _reading(at: int, headings: Sequence[str], cells: Sequence[str]) -> str:
    said = cells[at].strip() if at < len(cells) else ""
    return f"column {at + 1}, {' '.join(headings[at].split()) or 'without a heading'}: {said or 'nothing'}"


def frequencies_hz(cell: str, unit: str | None) -> frozenset[int]:
    """What a cell may mean in hertz, each a frequency where links work; empty where it is none."""
    low, high = PLAUSIBLE["hz"]
    found = set()
    for notation in _BOTH_MARKS:
        number = notation.number(normalise(cell).strip())
        if number is None or (number.suffix and number.suffix.lower() not in FREQUENCY.units):
            continue
        own = number.suffix.lower() or unit
        for one in (own,) if own is not None else PLAUSIBLE:
            value_hz = number.value * float(FREQUENCY.units[one])
            if low <= value_hz < high:
                found.add(round(value_hz))
    return frozenset(found)
