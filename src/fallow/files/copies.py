"""Files that were given twice under different names, or once more inside an archive: the same sweeps count once.

Two readings are copies where the files are as long as each other, were understood alike, and hold the same axes, times
and levels to the last digit. What differs only in its name is no second look at the air.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from fallow.files.readings import FileReading, FileRefusal
from fallow.spectrum.sweep import Series

__all__ = ["copies_marked", "same_sweeps"]


def copies_marked(results: Sequence[FileReading | FileRefusal]) -> tuple[FileReading | FileRefusal, ...]:
    """The results, each reading that copies an earlier one with that one's path in ``copy_of`` and a note."""
    originals: dict[tuple[object, ...], list[FileReading]] = {}
    marked: list[FileReading | FileRefusal] = []
    for result in results:
        if isinstance(result, FileReading) and result.series:
            alike = originals.setdefault(_features(result), [])
            original = next((one for one in alike if _same_sweeps(one, result)), None)
            if original is None:
                alike.append(result)
            elif Path(original.path).resolve() != Path(result.path).resolve():
                note = f"the same sweeps as in {original.path}, to the last digit: they count once"
                result = replace(result, copy_of=original.path, notes=(*result.notes, note))
        marked.append(result)
    return tuple(marked)


def _features(reading: FileReading) -> tuple[object, ...]:
    """What copies have in common, quick to compare: the first sweep of each series among it."""
    shapes = tuple((series.levels_db.shape, series.levels_db[:1].tobytes()) for series in reading.series)
    return (
        reading.size_bytes,
        *(reading.layout, reading.encoding, reading.delimiter, reading.decimal, reading.level_unit),
        *(reading.is_reference, reading.start, reading.start_local, reading.stated_span_hz),
        shapes,
    )


def _same_sweeps(one: FileReading, other: FileReading) -> bool:
    return all(same_sweeps(first, second) for first, second in zip(one.series, other.series, strict=True))


def same_sweeps(one: Series, other: Series) -> bool:
    """Whether two series hold the same sweeps to the last digit, and say the same of them; their names aside."""
    said = (one.unit, one.rbw_hz, one.detector, one.trace, one.zone_known, one.overloaded)
    if said != (other.unit, other.rbw_hz, other.detector, other.trace, other.zone_known, other.overloaded):
        return False
    if one.axis != other.axis or one.levels_db.shape != other.levels_db.shape or _times(one) != _times(other):
        return False
    pairs = zip(one.levels_db, other.levels_db, strict=True)  # sweep by sweep: a day of them is big
    return all(np.array_equal(first, second, equal_nan=True) for first, second in pairs)


def _times(series: Series) -> bytes | None:
    return None if series.times_s is None else series.times_s.tobytes()
