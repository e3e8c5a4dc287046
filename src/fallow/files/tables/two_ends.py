"""A band in two columns, *from* and *to*: a stranger's is its centre and width, a radio's its tuning range.

The words for the two ends are from memory (en, de, fr, es, it, nl, pl, pt, sv).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from fallow.files.source import normalise
from fallow.files.tables.columns import plain_heading, split_unit
from fallow.files.tables.grid import Records, Row
from fallow.files.tables.show_tables import foreign_from
from fallow.files.tables.two_frequencies import frequencies_hz
from fallow.files.wording import quoted
from fallow.show.link import ForeignCarrier

__all__ = ["Ends", "ends_in", "joined", "stranger_from"]

_PAIRS = (
    *(("from", "to"), ("from", "till"), ("start", "stop"), ("start", "end"), ("begin", "end"), ("low", "high")),
    *(("lower", "upper"), ("bottom", "top"), ("min", "max"), ("fmin", "fmax"), ("minimum", "maximum")),
    *(("von", "bis"), ("anfang", "ende"), ("untere", "obere"), ("unten", "oben"), ("de", "a"), ("debut", "fin")),
    *(("desde", "hasta"), ("inicio", "fin"), ("da", "a"), ("inizio", "fine"), ("van", "tot"), ("od", "do")),
    *(("de", "ate"), ("inicio", "fim"), ("fran", "till"), ("minima", "maxima"), ("laagste", "hoogste")),
)
_OF_FREQUENCY = re.compile(r"(?:freq|frec|frek|czest|tuning|band|range|bereich|plage|rango|edge|eckfreq).*|f|rf|tx")
_UNITS = {"hz", "khz", "mhz", "ghz", "in"}
_BETWEEN = re.compile(r"(?<=[\w.,])\s*(?:\.\.|-|\b(?:to|bis|à|tot|till)\b)\s*", re.IGNORECASE)
_MOST = 0.8  # share of the rows that must bear out that these are the ends of bands
_PLAIN_NUMBERS_HZ = 41e6  # below it a number without any unit or word may be an hour or a day


@dataclass(frozen=True)
class Ends:
    """Where the two columns stand, and the units of their headings in lower case."""

    low: int
    high: int
    low_unit: str | None
    high_unit: str | None


def ends_in(headings: Sequence[str], rows: Records) -> Ends | None:
    """The columns that hold the lower and the upper ends of bands, ``None`` where there are no such two."""
    said = [_end_words(heading) for heading in headings]
    for low, (low_words, low_rest) in enumerate(said):
        for high, (high_words, high_rest) in enumerate(said):
            are_alike = low_rest == high_rest or not high_rest
            if are_alike and any(one in low_words and other in high_words for one, other in _PAIRS):
                ends = Ends(low, high, _unit(headings[low]), _unit(headings[high]))
                if low != high and _rise(ends, bool(low_rest), rows):
                    return ends
    return None


def _end_words(heading: str) -> tuple[frozenset[str], frozenset[str]]:
    """The words of a heading that may be ends, and those that speak of frequencies; nothing where it says more."""
    words = {*plain_heading(heading).split("_")} - _UNITS
    ends = words & {word for pair in _PAIRS for word in pair}
    rest = words - ends
    if not ends or not all(_OF_FREQUENCY.fullmatch(word) for word in rest):
        return frozenset(), frozenset()
    return frozenset(ends), frozenset(rest)


def _unit(heading: str) -> str | None:
    unit = split_unit(heading)[1]
    return unit if unit in _UNITS else None


def _rise(ends: Ends, is_named: bool, rows: Records) -> bool:
    """Whether nearly all rows hold a frequency and a higher one."""
    filled = [cells for _, cells in rows if ends.low < len(cells) > ends.high]
    filled = [cells for cells in filled if cells[ends.low].strip() and cells[ends.high].strip()]
    good = 0
    for cells in filled:
        low_hz = frequencies_hz(cells[ends.low], ends.low_unit)
        high_hz = frequencies_hz(cells[ends.high], ends.high_unit)
        is_sure = is_named or bool(ends.low_unit or ends.high_unit) or max(low_hz, default=0) >= _PLAIN_NUMBERS_HZ
        good += is_sure and any(low < high for low in low_hz for high in high_hz)
    return bool(filled) and good >= _MOST * len(filled)


def joined(ends: Ends, headings: Sequence[str], rows: Records) -> tuple[tuple[str, ...], Records]:
    """The table with each band as ``470-478`` in the column of its lower end."""
    named = list(headings)
    named[ends.low] = f"{headings[ends.low]} – {headings[ends.high]}"
    return tuple(named), [(line, _joined(ends, cells)) for line, cells in rows]


def _joined(ends: Ends, cells: Sequence[str]) -> list[str]:
    padded = [*cells, *[""] * (max(ends.low, ends.high) + 1 - len(cells))]
    low, high = padded[ends.low].strip(), padded[ends.high].strip()
    if ends.low_unit != ends.high_unit:
        low, high = _with_unit(low, ends.low_unit), _with_unit(high, ends.high_unit)
    padded[ends.low] = f"{low}-{high}" if low or high else ""
    return padded


def _with_unit(cell: str, unit: str | None) -> str:
    return f"{cell} {unit}" if unit and cell and not any(sign.isalpha() for sign in cell) else cell


def stranger_from(row: Row) -> ForeignCarrier:
    """A row of foreign carriers in which a band may stand for the frequency: then its centre, and its width.

    Where no spacing is stated, links keep out of the band: it is half its width. Raises InputError with its place.
    """
    name = "frequency_mhz"
    text = normalise(row.text(name))
    ends = [end.strip() for end in _BETWEEN.split(text)]
    if len(ends) == 1 and not text.startswith("-"):
        return foreign_from(row)
    if len(ends) != 2 or not all(ends):
        raise row.wrong(name, "one end of the band is missing" if len(ends) < 3 else f"{quoted(text)} is no band")
    low_hz, high_hz = (row.value_hz(name, end) for end in ends)
    if not 0 < low_hz <= high_hz:
        raise row.wrong(name, f"the band {quoted(text)} does not rise", hint="write the lower end first")
    at = row.table.found[name].index
    carrier = foreign_from(Row(row.table, row.line, [*row.cells[:at], ends[0], *row.cells[at + 1 :]]))
    return replace(
        carrier,
        frequency_hz=(low_hz + high_hz) // 2,
        bandwidth_hz=carrier.bandwidth_hz if row.text("bandwidth_khz") else high_hz - low_hz,
        spacing_hz=carrier.spacing_hz if row.text("spacing_khz") else (high_hz - low_hz + 1) // 2,
    )
