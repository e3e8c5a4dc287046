"""Sweeps as Parquet, for other programs and back: one row for each sweep, what the series says of itself in the head.

Columns: ``time_s``, seconds since 1970 (null: not known), and ``levels_db``, a list of float32 (NaN: not measured). The
metadata of the file holds one JSON object under the key ``fallow``: the axis as exact fractions of a hertz, unit,
bandwidth, detector and so on, under the names of the fields of ``Series``.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import fields
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError, OutputError
from fallow.files.tables.grid import FilePath
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import Detector, LevelUnit, Series

__all__ = ["SweepFile", "write_sweeps"]

KEY = b"fallow"
Block = tuple[NDArray[np.float64], NDArray[np.float32]]


def write_sweeps(path: FilePath, head: Series, blocks: Iterable[Block]) -> None:
    """Write sweeps as they come: times [s], shape (sweep,), and levels [dB], shape (sweep, bin). ``head``: the series.

    Raises OutputError where the file can't be written; then nothing is left of it.
    """
    import pyarrow as pa  # heavy: only where Parquet is written
    import pyarrow.parquet as pq

    path = Path(path)
    metadata = {KEY: json.dumps(_described(head), ensure_ascii=False).encode("utf-8")}
    schema = pa.schema([("time_s", pa.float64()), ("levels_db", pa.list_(pa.float32(), head.axis.n))], metadata)
    try:
        with pq.ParquetWriter(path, schema, compression="zstd", use_dictionary=False) as writer:
            for times_s, levels_db in blocks:
                times = pa.array(times_s, pa.float64(), mask=np.isnan(times_s))
                flat = pa.array(np.ascontiguousarray(levels_db, dtype=np.float32).ravel(), pa.float32())
                rows = pa.FixedSizeListArray.from_arrays(flat, head.axis.n)
                writer.write_table(pa.table([times, rows], schema=schema))
    except OSError as error:
        with suppress(OSError):
            path.unlink()
        reason = (os.strerror(error.errno) if error.errno else str(error)).lower()
        raise OutputError(f"the sweeps can't be written ({reason}), and nothing was changed", path=path) from error


class SweepFile:
    """Such a file, opened. ``head``: the series without its sweeps. Raises InputError for what is none."""

    def __init__(self, path: FilePath) -> None:
        import pyarrow as pa  # heavy: only where Parquet is read
        import pyarrow.parquet as pq

        self.path = Path(path)
        self._damage = (OSError, pa.ArrowException)
        try:
            self._file: Any = pq.ParquetFile(self.path)
            self.head = _head(json.loads((self._file.schema_arrow.metadata or {})[KEY]))
        except (*self._damage, KeyError, TypeError, ValueError) as error:
            raise InputError(
                f"these are no sweeps as fallow exports them ({_one_line(error)})", path=self.path
            ) from error

    def blocks(self) -> Iterator[Block]:
        """The sweeps, some at a time: times [s] and levels [dB]. Raises InputError where the file is damaged."""
        try:
            for batch in self._file.iter_batches(batch_size=64):
                times_s = batch.column("time_s").to_numpy(zero_copy_only=False).astype(np.float64)
                flat = batch.column("levels_db").flatten().to_numpy(zero_copy_only=False)
                yield times_s, flat.astype(np.float32).reshape(times_s.size, self.head.axis.n)
        except (*self._damage, KeyError, ValueError) as error:
            raise InputError(f"the sweeps can't be read ({_one_line(error)})", path=self.path) from error

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()


def _one_line(error: Exception) -> str:
    """What a library says, on one line."""
    return " ".join(str(error).split())


_OWN = ("axis", "levels_db", "times_s", "unit", "detector")


def _described(head: Series) -> dict[str, Any]:
    """What a series says of itself."""
    axis = head.axis
    points_hz = None if axis.points_hz is None else axis.points_hz.tolist()
    plain = {field.name: getattr(head, field.name) for field in fields(Series) if field.name not in _OWN}
    return {
        "axis": {"start_hz": str(axis.start_hz), "step_hz": str(axis.step_hz), "n": axis.n, "points_hz": points_hz},
        "unit": str(head.unit),
        "detector": None if head.detector is None else str(head.detector),
        "has_times": head.times_s is not None,
        **plain,
    }


def _head(said: dict[str, Any]) -> Series:
    axis, points_hz = said["axis"], said["axis"]["points_hz"]
    points = None if points_hz is None else np.array(points_hz, dtype=np.int64)
    known = {field.name for field in fields(Series)} - {*_OWN}
    return Series(
        axis=Axis(Fraction(axis["start_hz"]), Fraction(axis["step_hz"]), axis["n"], points),
        levels_db=np.empty((0, axis["n"]), dtype=np.float32),
        unit=LevelUnit(said["unit"]),
        times_s=np.empty(0) if said["has_times"] else None,
        detector=None if said["detector"] is None else Detector(said["detector"]),
        **{name: value for name, value in said.items() if name in known},
    )
