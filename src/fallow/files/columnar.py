"""Parquet: a table of frequencies and levels in columns, read by the same evidence as text.

The columns are written out as text, block by block, and read as a table of that shape: long, wide or with one row per
sweep. So headings, units, times and questions are the same whichever way a table was kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO

from fallow.errors import InputError
from fallow.files.delimited import read_delimited
from fallow.files.packed import Budget, renamed, take_bytes
from fallow.files.readings import FileReading, FileRefusal, Telling

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
            options = csv.WriteOptions(include_header=True, quoting_style="needed")
            for batch in file.iter_batches(_BATCH_ROWS):
                block = pa.BufferOutputStream()
                csv.write_csv(pa.Table.from_batches([batch]), block, options)
                written = block.getvalue()
                take_bytes(budget, written.size, path)
                out.write(written)
                options = csv.WriteOptions(include_header=False, quoting_style="needed")
    except (pa.ArrowException, OSError, ValueError, MemoryError) as error:
        raise InputError("the Parquet file is damaged, or of a kind that can't be read", path=path) from error
