"""Which column of a table is which: names in several languages, spellings, and the unit that a name carries."""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

__all__ = [
    "DECIBEL",
    "FREQUENCY",
    "GAIN",
    "LENGTH",
    "LEVEL",
    "PLAUSIBLE",
    "POWER",
    "WIDTH",
    "Column",
    "Found",
    "Quantity",
    "claims_of",
    "find_columns",
    "plain_heading",
    "split_unit",
    "text_column",
]

_HERTZ = {"hz": Decimal(1), "khz": Decimal(10**3), "mhz": Decimal(10**6), "ghz": Decimal(10**9)}


@dataclass(frozen=True)
class Quantity:
    """What the numbers of a column measure: its units with their factors, and the unit that we write."""

    units: Mapping[str, Decimal]
    usual: str
    must_say: bool
    """Whether a number without any unit, in a column whose name has none, is too ambiguous to be read."""


FREQUENCY = Quantity(_HERTZ, "mhz", must_say=False)
WIDTH = Quantity(_HERTZ, "khz", must_say=True)
POWER = Quantity({"mw": Decimal(1), "w": Decimal(1000)}, "mw", must_say=True)
DECIBEL = Quantity({"db": Decimal(1)}, "db", must_say=False)
LEVEL = Quantity({"dbm": Decimal(1)}, "dbm", must_say=False)
GAIN = Quantity({"dbi": Decimal(1), "db": Decimal(1)}, "dbi", must_say=False)
LENGTH = Quantity({"m": Decimal(1), "km": Decimal(1000)}, "m", must_say=False)


PLAUSIBLE = {  # the numbers of frequencies where links work, by unit; common practice
    "mhz": (Decimal(20), Decimal(20_000)),
    "khz": (Decimal(20_000), Decimal(20_000_000)),
    "hz": (Decimal(20_000_000), Decimal(20_000_000_000)),
}


@dataclass(frozen=True)
class Column:
    """A column that a table may have. ``words``: its name without the unit, and what others call it."""

    words: tuple[str, ...]
    quantity: Quantity | None = None
    required: bool = False
    is_number: bool = False

    @property
    def name(self) -> str:
        """Its name as we write it: ``frequency_mhz``."""
        return self.words[0] if self.quantity is None else f"{self.words[0]}_{self.quantity.usual}"


@dataclass(frozen=True)
class Found:
    """Where a column stands in a file, how it is spelled there, and the unit that its name carries, if any."""

    index: int
    heading: str
    unit: str | None


def text_column(*words: str, required: bool = False) -> Column:
    """A column of words."""
    return Column(words, required=required)


def find_columns(headings: Sequence[str], wanted: Sequence[Column]) -> tuple[dict[str, Found], list[str]]:
    """Which heading is which column, by name as we write it; and the columns that two headings claim.

    A heading that is spelled as we spell it beats one of the other words.
    """
    found: dict[str, Found] = {}
    twice = []
    for column in wanted:
        claims = claims_of(column, headings)
        ranked = [claim for claim in claims if plain_heading(claim.heading) == column.name]
        ranked = ranked or [claim for claim in claims if split_unit(claim.heading)[0] == column.words[0]] or claims
        if len(ranked) > 1:
            twice.append(column.name)
        if ranked:
            found[column.name] = ranked[0]
    return found, twice


def claims_of(column: Column, headings: Sequence[str]) -> list[Found]:
    """Every heading that says, by one of its words and no unit of something else, that it is this column."""
    return [claim for index, heading in enumerate(headings) if (claim := _claim(column, index, heading))]


def _claim(column: Column, index: int, heading: str) -> Found | None:
    """The heading as this column, or None. A unit of another quantity makes it another column."""
    if column.quantity is None:
        return Found(index, heading, None) if plain_heading(heading) in map(plain_heading, column.words) else None
    base, unit = split_unit(heading)
    words = [plain_heading(word) for word in column.words]
    if base in words and (unit is None or unit in column.quantity.units):
        return Found(index, heading, unit)
    return None


def split_unit(heading: str) -> tuple[str, str | None]:
    """A heading as its name and the unit at its end."""
    plain = plain_heading(heading)
    base, _, last = plain.rpartition("_")
    is_unit = any(last in quantity.units for quantity in (FREQUENCY, POWER, DECIBEL, LEVEL, GAIN, LENGTH))
    return (base, last) if base and is_unit else (plain, None)


@functools.lru_cache(maxsize=8192)
def plain_heading(heading: str) -> str:
    """Lower case without accents; everything that is no letter or digit becomes one underscore."""
    letters = unicodedata.normalize("NFKD", heading).casefold()
    letters = "".join(sign for sign in letters if not unicodedata.combining(sign))
    return re.sub(r"[\W_]+", "_", letters).strip("_")
