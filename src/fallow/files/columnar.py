"""Parquet: a table of frequencies and levels in columns, read by the same evidence as text.

The columns are written out as text, block by block, and read as a table of that shape: long, wide or with one row per
sweep. So headings, units, times and questions are the same whichever way a table was kept.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO, Any

from fallow.errors import InputError
from fallow.files.delimited import read_delimited
from fallow.files.headings import names_frequency, names_level
from fallow.files.packed import Budget, renamed, take_bytes
from fallow.files.readings import FileReading, FileRefusal, Telling
from fallow.files.wording import frequency_unit_named, level_unit_named

__all__ = ["PARQUET", "read_parquet"]

PARQUET = b"PAR1"
_BATCH_ROWS = 4096
_MOST_COLUMNS = 200_000


def read_parquet(path: Path, telling: Telling, progress: Callable[[float], None] | None = None) -> FileReading:
    """A Parquet file of plain columns. Raises InputError for a damaged one, nested columns, or no sweep in it."""
    with TemporaryDirectory(prefix="fallow-", ignore_cleanup_errors=True) as place:
        text = Path(place) / f"{path.stem}.csv"
        with text.open("wb") as out:
            _write_text(path, out)
        try:
            reading = read_delimited(text, replace(telling, delimiter=",", decimal="."), progress)
        except InputError as error:
            rows = f"row {error.line - 1}: " if error.line is not None and error.line > 1 else ""
            raise type(error)(f"{rows}{error.what}", path=path, column=error.column, hint=error.hint) from error
        result = renamed(reading, text, str(path))
        if isinstance(result, FileRefusal):
            raise result.error
        return replace(result, layout=f"Parquet, {result.layout}", encoding=None, delimiter=None, decimal=None)


def _write_text(path: Path, out: IO[bytes]) -> None:
    """All rows as text, in blocks, up to a budget."""
    import pyarrow as pa  # heavy, and needed for few files only
    from pyarrow import csv, parquet

    budget = Budget()
    try:
        with parquet.ParquetFile(path) as file:
            schema = file.schema_arrow
            if len(schema) > _MOST_COLUMNS or any(pa.types.is_nested(column.type) for column in schema):
                raise InputError("its columns hold lists or are too many: one value per cell can be read", path=path)
            headings = _headings(schema)
            options = csv.WriteOptions(include_header=True, quoting_style="needed")
            for batch in file.iter_batches(_BATCH_ROWS):
                block = pa.BufferOutputStream()
                csv.write_csv(pa.Table.from_batches([batch]).rename_columns(headings), block, options)
                written = block.getvalue()
                take_bytes(budget, written.size, path)
                out.write(written)
                options = csv.WriteOptions(include_header=False, quoting_style="needed")
    except (pa.ArrowException, OSError, ValueError, MemoryError) as error:
        raise InputError("the Parquet file is damaged, or of a kind that can't be read", path=path) from error


def _headings(schema: Any) -> list[str]:
    """The columns' names, each with the unit that its metadata, or else the file's, states and its name does not."""
    general = " ".join(_units_said(schema.metadata))
    return [_heading(column.name, f"{' '.join(_units_said(column.metadata))} {general}") for column in schema]


def _heading(name: str, said: str) -> str:
    if names_frequency(name) and frequency_unit_named(name) is None:
        unit = frequency_unit_named(said)
    elif names_level(name) and level_unit_named(name) is None:
        unit = level_unit_named(said)
    else:
        return name
    return name if unit is None else f"{name} ({unit})"


def _units_said(metadata: Mapping[bytes, bytes] | None) -> Iterator[str]:
    for key, value in (metadata or {}).items():
        if {b"unit", b"units"} & set(re.split(rb"[\W_]+", key.lower())):
            yield value.decode("utf-8", "replace")
