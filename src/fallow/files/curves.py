"""A gain over frequency from a text file of any region: two columns, a third one for the uncertainty where it has one.

Delimiter, decimal mark and headings are found as for sweeps; a file that can be read in two ways is not guessed at.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.dialect import Column, Table, is_comment, is_data, tables
from fallow.files.readings import Telling
from fallow.files.source import Line, TextFile
from fallow.files.wording import FREQUENCY_FACTORS_HZ, frequency_unit_named, says
from fallow.spectrum.curve import GainCurve

__all__ = ["read_curve"]

_MOST_BYTES = 16 * 2**20  # a sweep log given by mistake is larger
_USUAL = {"MHz": (20.0, 20e3), "kHz": (20e3, 20e6), "Hz": (20e6, 20e9)}  # common practice: where links work
_MOST_DB = 150.0  # common practice: no part of a chain gains or loses more
_UNCERTAINTY = re.compile(r"u|std|uncertainty|unsicherheit|incertitude|incertidumbre|incertezza|onzekerheid|osäkerhet")
_GAIN = re.compile(r"gain|dbi|s21|gewinn|verstärkung|ganancia|guadagno|ganho|versterking|vinst|correction|korrektur")
_LOSS = re.compile(
    r"loss|attenuation|dämpfung|verlust|affaiblissement|perte|pérdida|atenuación|perdita|verlies|demping"
)
_WORD = re.compile(r"[^\W\d_]+\d*")


def read_curve(path: Path) -> tuple[GainCurve, tuple[str, ...]]:
    """The curve of a file, and notes on what was taken for granted. Raises InputError with line and column."""
    lines = _lines(path)
    readings: list[_Reading] = []
    failures: list[InputError] = []
    for table in tables(lines, Telling(), lambda: bool(readings)):
        try:
            reading = _read(table, lines, path)
        except InputError as error:
            failures.append(error)
            continue
        if not any(reading.same_as(other) for other in readings):
            readings.append(reading)
    return _only(readings, failures, path)


@dataclass(frozen=True, eq=False)
class _Reading:
    curve: GainCurve
    notes: tuple[str, ...]

    def same_as(self, other: _Reading) -> bool:
        return np.array_equal(self.curve.frequencies_hz, other.curve.frequencies_hz) and np.array_equal(
            self.curve.gains_db, other.curve.gains_db
        )

    @property
    def first_point(self) -> str:
        return f"{self.curve.gains_db[0]:g} dB at {self.curve.frequencies_hz[0] / 1e6:.9g} MHz"


def _only(
    readings: Sequence[_Reading], failures: Sequence[InputError], path: Path
) -> tuple[GainCurve, tuple[str, ...]]:
    if len(readings) == 1:
        return readings[0].curve, readings[0].notes
    if readings:
        ways = " or ".join(reading.first_point for reading in readings[:3])
        hint = "write numbers with a decimal point, semicolons between columns, and name them frequency_mhz and gain_db"
        raise InputError(f"the curve can be read in {len(readings)} ways: {ways}", path=path, hint=hint)
    if failures:
        raise failures[0]
    hint = "it needs a column of frequencies and one of gains in dB"
    raise InputError("no curve was found in the file", path=path, hint=hint)


def _lines(path: Path) -> list[Line]:
    file = TextFile.open(path)
    if file.size > _MOST_BYTES:
        raise InputError("the file is too large for a curve", path=path)
    text = "".join(block.text for block in file.blocks())
    return [Line(number, line) for number, line in enumerate(text.rstrip("\n").split("\n"), start=1)]


# --- one way to read it


def _read(table: Table, lines: Sequence[Line], path: Path) -> _Reading:
    _check_whole(table, lines, path)
    numbers = [column for column in table.columns if column.kind == "number"]
    frequency, gain, u = _columns(numbers, path)
    frequencies_hz = _frequencies_hz(frequency, table, path)
    gains_db = _values(gain, table, path)
    notes = []
    if _named(gain, _LOSS):
        if gains_db.min() < 0:
            what = f"the column {gain.name!r} holds negative losses"
            raise InputError(what, path=path, hint="name it gain_db if negative numbers are losses")
        gains_db = -gains_db
        notes.append(f"{path.name}: the column {gain.name!r} is taken as losses, so as negative gains")
    if np.abs(gains_db).max() > _MOST_DB:
        raise InputError(f"a gain of {gains_db[np.abs(gains_db).argmax()]:g} dB can't be", path=path)
    u_db = None if u is None else _values(u, table, path)
    if u_db is not None and u_db.min() < 0:
        raise InputError("an uncertainty is negative", path=path, column=_label(u) if u else None)
    return _Reading(GainCurve(frequencies_hz, gains_db, u_db), tuple(notes))


def _check_whole(table: Table, lines: Sequence[Line], path: Path) -> None:
    """Every line from the first row on must be a row of the same shape: nothing is left out without a word."""
    rows = {row.number for row in table.body}
    first = table.body[0].number
    for row in table.above:
        if is_data(row.cells, table.dialect.notation) and not is_comment(lines[row.number - 1].text):
            what = f"the line has other columns than line {first}"
            raise InputError(what, path=path, line=row.number, hint="every row needs a frequency and a gain")
    for line in lines[first - 1 :]:
        if line.number not in rows and not is_comment(line.text):
            what = f"{line.text.strip()[:40]!r} can't be read as a frequency and a gain"
            raise InputError(what, path=path, line=line.number)
    if len(table.body) < 2:
        raise InputError("one point is no curve", path=path, line=first, hint="write its gain into the chain itself")


def _columns(numbers: Sequence[Column], path: Path) -> tuple[Column, Column, Column | None]:
    """Which column is the frequency, which the gain, which (if any) the uncertainty."""
    frequency = next((c for c in numbers if says(_bare(c), "frequency") or frequency_unit_named(_bare(c))), None)
    frequency = frequency or next(iter(numbers), None)
    rest = [column for column in numbers if column is not frequency]
    u = next((column for column in rest if _named(column, _UNCERTAINTY)), None)
    rest = [column for column in rest if column is not u]
    if len(rest) > 1:
        rest = [column for column in rest if _named(column, _GAIN) or _named(column, _LOSS)]
    if frequency is None or len(rest) != 1:
        hint = "name them frequency_mhz and gain_db, and u_db where there is an uncertainty"
        raise InputError("it is not clear which columns are the frequency and the gain", path=path, hint=hint)
    return frequency, rest[0], u


def _bare(column: Column) -> str:
    """A heading with blanks for underscores, so that its words and its unit stand alone."""
    return column.name.replace("_", " ").casefold()


def _named(column: Column, words: re.Pattern[str]) -> bool:
    return any(words.fullmatch(word) for word in _WORD.findall(_bare(column)))


def _label(column: Column) -> str:
    return column.name or str(column.place + 1)


def _values(column: Column, table: Table, path: Path) -> NDArray[np.float64]:
    """The numbers of a column; a unit other than dB, or a gap, is refused."""
    values = []
    for row, cell, number in zip(table.body, column.cells, column.numbers, strict=True):
        if number is None:
            raise InputError(f"{cell!r} is no number", path=path, line=row.number, column=_label(column))
        if number.suffix and not number.suffix.lower().startswith("db"):
            what = f"{cell!r} has a unit that does not belong here"
            raise InputError(what, path=path, line=row.number, column=_label(column))
        values.append(number.value)
    return np.array(values, dtype=np.float64)


def _frequencies_hz(column: Column, table: Table, path: Path) -> NDArray[np.float64]:
    found = []
    for row, factor, cell, number in _with_factors(column, table, path):
        if number is None or number < 0:
            raise InputError(f"{cell!r} is no frequency", path=path, line=row, column=_label(column))
        found.append(round(number * factor, 3))
        if len(found) > 1 and found[-1] <= found[-2]:
            hint = "sort the rows, each frequency once"
            what = "the frequencies do not rise"
            raise InputError(what, path=path, line=row, column=_label(column), hint=hint)
    return np.array(found, dtype=np.float64)


def _with_factors(column: Column, table: Table, path: Path) -> Iterator[tuple[int, int, str, float | None]]:
    """Line, hertz per unit, cell and number of each row; the unit is the cell's, the heading's, or the usual one."""
    usual = _unit(column, table, path)
    for row, cell, number in zip(table.body, column.cells, column.numbers, strict=True):
        suffix = "" if number is None else number.suffix
        unit = (frequency_unit_named(suffix) if suffix else usual) or ""
        if unit not in FREQUENCY_FACTORS_HZ:
            what = f"{cell!r} has a unit that does not belong here"
            raise InputError(what, path=path, line=row.number, column=_label(column))
        yield row.number, FREQUENCY_FACTORS_HZ[unit], cell, None if number is None else number.value


def _unit(column: Column, table: Table, path: Path) -> str:
    """The unit of the numbers without one: from the heading, from the line above the rows, or by their size."""
    named = frequency_unit_named(_bare(column)) or (
        frequency_unit_named(table.preamble[-1].text) if table.preamble else None
    )
    if named is not None:
        return named
    bare = [number.value for number in column.numbers if number is not None and not number.suffix]
    likely = [unit for unit, (low, high) in _USUAL.items() if all(low <= value < high for value in bare)]
    if bare and len(likely) != 1:
        hint = "name the column frequency_mhz, or as its unit is"
        raise InputError("the unit of the frequencies is not clear", path=path, column=_label(column), hint=hint)
    return likely[0]
