"""The chain between air and instrument, read from a table; gains over frequency come from files that it names."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fallow.files.tables.columns import DECIBEL, FREQUENCY, Column, text_column
from fallow.files.tables.grid import FilePath, Row, read_table
from fallow.spectrum.chain import KINDS, Chain, ChainPart, GainCurve

__all__ = ["read_chain"]

_CHAIN_COLUMNS = (
    text_column("part", "name", "teil", "élément", "parte", "deel", required=True),
    text_column("kind", "art", "genre", "clase", "soort", required=True),
    Column(("gain", "gewinn", "verstärkung", "ganancia"), DECIBEL, required=True),
    Column(("u", "uncertainty", "unsicherheit", "incertitude", "incertidumbre"), DECIBEL, required=True),
)
_CURVE_COLUMNS = (
    Column(("frequency", "freq", "frequenz", "frequence", "frecuencia", "frequenza"), FREQUENCY, required=True),
    Column(("gain", "level", "gewinn", "verstärkung", "ganancia"), DECIBEL, required=True),
)
_TOUCHSTONE = (".s1p", ".s2p", ".s3p", ".s4p", ".snp", ".ts")


def read_chain(path: FilePath) -> Chain:
    """The parts of a chain in the order of the table. Raises InputError with line and column, also for curve files."""
    return Chain(tuple(_part(row) for row in read_table(path, _CHAIN_COLUMNS).rows))


def _part(row: Row) -> ChainPart:
    kind = row.needed("kind").lower()
    if kind not in KINDS:
        raise row.wrong("kind", f"the kind {row.text('kind')!r} is not known", hint=f"it is one of {', '.join(KINDS)}")
    u_db = row.value("u_db", row.needed("u_db"))
    if u_db < 0:
        raise row.wrong("u_db", f"the uncertainty {row.text('u_db')!r} is negative", hint="write it without a sign")
    return ChainPart(row.needed("part"), kind, _gain_db(row), float(u_db))


def _gain_db(row: Row) -> float | GainCurve:
    text = row.needed("gain_db")
    if row.is_number("gain_db"):
        return float(row.value("gain_db", text))
    curve = Path(row.table.path).parent / text
    if curve.suffix.lower() in _TOUCHSTONE:
        what = f"{text!r} is a Touchstone file, which can't be read yet"
        raise row.wrong("gain_db", what, hint="write frequency and gain into a table with frequency_mhz and gain_db")
    if not curve.is_file():
        raise row.wrong("gain_db", f"{text!r} is neither a number nor a file beside the table")
    return _curve(curve)


def _curve(path: Path) -> GainCurve:
    table = read_table(path, _CURVE_COLUMNS)
    frequencies_hz: list[int] = []
    gains_db: list[float] = []
    for row in table.rows:
        frequency_hz = row.value_hz("frequency_mhz", row.needed("frequency_mhz"))
        if frequencies_hz and frequency_hz <= frequencies_hz[-1]:
            raise row.wrong("frequency_mhz", "the frequencies do not rise", hint="sort the rows, each frequency once")
        frequencies_hz.append(frequency_hz)
        gains_db.append(float(row.value("gain_db", row.needed("gain_db"))))
    return GainCurve(np.array(frequencies_hz, dtype=np.float64), np.array(gains_db, dtype=np.float64))
