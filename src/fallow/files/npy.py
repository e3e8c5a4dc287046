"""NumPy vectors: levels in one file, the frequencies they belong to in another one beside it, perhaps times in a third.

Nothing is ever unpickled: an array of objects is reported as not read. Which file is the axis is decided by shape and
content.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from tokenize import TokenError

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.axes import axis_of, plausible_units
from fallow.files.headings import impossible_unit
from fallow.files.levels import LevelScale, believable_levels, can_be_levels, fits_scale, scale_concluded, scale_named
from fallow.files.readings import FileReading, NotASweepError, Telling
from fallow.files.recordings import reading_of, recording_of_array
from fallow.files.records import plain_words
from fallow.files.times import epoch_scale, iso_text, zone_named
from fallow.files.wording import FREQUENCY_FACTORS_HZ, detector_named, frequency_unit_named, level_unit_named
from fallow.spectrum.sweep import Series

__all__ = ["Companions", "companions_of", "read_npy"]

_FINEST_STEP_HZ = 100.0  # gigahertz in finer steps are seconds since 1970. Source: common practice
_MOST_BYTES = 2**33
_AT_ONCE = 2**21  # numbers of a file that are mapped at once
_ENOUGH = 2_000_000  # numbers tell what their scale is
_ADDED_UP_HZ = 1.0  # by which computed frequencies may miss an even grid: far below what any clock keeps (1 ppm)
_FLOAT_DIGITS = 12  # decimals that a float64 of megahertz or hertz can be trusted with


@dataclass(frozen=True, eq=False)
class Companions:
    """Axes and times by file name, the names of files that only unpickling could read, and by file name what is said
    of a unit beside the file."""

    axes: dict[str, NDArray[np.generic]]
    times: dict[str, NDArray[np.generic]]
    pickled: tuple[str, ...]
    said: Mapping[str, str] = field(default_factory=dict)

    @property
    def serving(self) -> frozenset[str]:
        """Names of files that give no reading of their own where levels stand beside them."""
        return frozenset((*self.axes, *self.times, *(self.pickled if self.axes else ())))

    def unit_words(self, name: str) -> str:
        """The words in a file's name, and behind them what is said beside it, in which its unit may stand."""
        return f"{plain_words(Path(name).stem)} {self.said.get(name, '')}"


def companions_of(folder: Path, said: Mapping[str, str] | None = None) -> Companions:
    """The ``.npy`` files of a folder that can be axes or times; ``said`` is kept beside. Files that can't be opened
    are none."""
    axes, times, pickled = {}, {}, []
    for path in sorted(folder.glob("*.npy")):
        try:
            array = _loaded(path)
        except _PickledError:
            pickled.append(path.name)
            continue
        except InputError:
            continue
        if _is_axis(array):
            axes[path.name] = array
        elif _is_times(array):
            times[path.name] = array
    return Companions(axes, times, tuple(pickled), said or {})


def read_npy(path: Path, telling: Telling, beside: Companions | None = None) -> FileReading:
    """Levels from a ``.npy`` file of shape (bin,) or (sweep, bin) and the axis beside it. Raises InputError when it
    holds none."""
    beside = companions_of(path.parent) if beside is None else beside
    array = _loaded(path)
    if path.name in beside.axes or _is_axis(array):
        raise NotASweepError(
            "the vector holds frequencies and no levels", path=path, hint="name the files of levels beside it"
        )
    if np.iscomplexobj(array):
        return reading_of(recording_of_array(path, array), telling)
    if array.dtype.kind not in "fiu" or array.ndim not in (1, 2) or array.size < 2:
        raise NotASweepError(f"an array of type {array.dtype} and shape {array.shape} is no sweep", path=path)
    axes = {name: axis for name, axis in beside.axes.items() if axis.size in array.shape}
    if len(axes) != 1:
        return _asking(path, array, sorted(axes))
    name, frequencies = axes.popitem()
    turned = frequencies.size != array.shape[-1]
    return _read(_Vectors(path, array, turned), frequencies, name, telling, beside)


@dataclass(frozen=True, eq=False)
class _Vectors:
    """A file of levels of shape (bin,) or (sweep, bin), or where it is ``turned`` (bin, sweep)."""

    path: Path
    array: NDArray[np.generic]
    turned: bool

    @property
    def sample(self) -> NDArray[np.float64]:
        """Some of the numbers, in whole rows of the file. Reading a row maps much around it, so it is mapped anew."""
        count, width = self._stored_shape
        thin = max(1, count * width // _ENOUGH)
        together = thin * max(1, _AT_ONCE // (thin * width))
        parts = [np.array(self._stored(k, k + together)[::thin], dtype=np.float64) for k in range(0, count, together)]
        return np.concatenate(parts)

    @property
    def _stored_shape(self) -> tuple[int, int]:
        """Rows and columns in the order in which the numbers stand in the file."""
        rows, columns = np.atleast_2d(self.array).shape
        return (columns, rows) if self._by_columns else (rows, columns)

    def _stored(self, begin: int, end: int) -> NDArray[np.generic]:
        """Rows of the file as they stand there, from a mapping of their own, which goes when they do."""
        mapped = np.atleast_2d(_loaded(self.path))
        return (mapped.T if self._by_columns else mapped)[begin:end]

    @property
    def _by_columns(self) -> bool:
        """Whether what stands together in the file is a column of its array."""
        return bool(self.array.flags.f_contiguous and not self.array.flags.c_contiguous)

    def levels_db(self, scale: LevelScale, *, falling: bool) -> NDArray[np.float32]:
        """All of it as levels, shape (sweep, bin). The file is mapped piece by piece, so that it is never held too."""
        there = np.atleast_2d(self.array)
        levels = np.empty(there.shape[::-1] if self.turned else there.shape, dtype=np.float32)
        upwards = levels[:, ::-1] if falling else levels
        target = upwards.T if self.turned != self._by_columns else upwards
        rows = max(1, _AT_ONCE // target.shape[1])
        for begin in range(0, target.shape[0], rows):
            piece = np.array(self._stored(begin, begin + rows), dtype=np.float64)
            target[begin : begin + rows] = scale.levels_db(piece)
        return levels


def _read(
    vectors: _Vectors,
    frequencies: NDArray[np.generic],
    axis_name: str,
    telling: Telling,
    beside: Companions,
) -> FileReading:
    path, points = vectors.path, np.asarray(frequencies, dtype=np.float64)
    falling = bool(points[0] > points[-1])
    points = points[::-1] if falling else points
    unit, remark = _unit(points, axis_name, telling, beside)
    if unit is None:
        return _bare(path, (remark,))
    scale = _scale(vectors.sample, telling, path, beside)
    slack = _ADDED_UP_HZ / FREQUENCY_FACTORS_HZ[unit]
    axis = axis_of(np.ascontiguousarray(points), unit, _FLOAT_DIGITS, str(path), slack)
    levels, rejected = believable_levels(vectors.levels_db(scale, falling=falling), scale, axis, telling.rbw_hz)
    seconds, zone_known, time_notes = _times_for(path, levels.shape[0], telling, beside)
    series = Series(
        axis, levels, scale.unit, seconds, zone_known, telling.rbw_hz,
        telling.detector or detector_named(path.stem.replace("_", " ")),
        source=str(path),
    )  # fmt: skip
    start = None if seconds is None else iso_text(float(np.nanmin(seconds)), utc=zone_known)
    notes = (f"frequencies from {axis_name}", remark, scale.note, *rejected, *time_notes, *_pickled_notes(beside))
    reading = _bare(path, ())
    return FileReading(
        reading.path, reading.layout, None, None, None, scale.told, (series,), False,
        start if zone_known else None, None if zone_known else start, tuple(note for note in notes if note),
    )  # fmt: skip


def _unit(points: NDArray[np.float64], axis_name: str, telling: Telling, beside: Companions) -> tuple[str | None, str]:
    """The unit of rising frequencies, and a note on it; without a unit the question."""
    if telling.unit is not None:
        return next(name for name in FREQUENCY_FACTORS_HZ if name.lower() == telling.unit.lower()), ""
    low, high = float(points[0]), float(points[-1])
    stated = frequency_unit_named(beside.unit_words(axis_name))
    if stated is not None:
        impossible = impossible_unit(stated, low, high, axis_name)
        return (None, f"{impossible} (say --unit)") if impossible else (stated, "")
    units = plausible_units(low, high, float(np.median(np.diff(points))))
    if len(units) == 1:
        return units[0], f"the unit of the frequencies is not stated: assumed to be {units[0]} (--unit says otherwise)"
    return None, f"the unit of the frequencies in {axis_name} is open: {' or '.join(units) or 'none fits'} (say --unit)"


def _scale(values: NDArray[np.float64], telling: Telling, path: Path, beside: Companions) -> LevelScale:
    if telling.level_unit is not None:
        return scale_named(telling.level_unit, "you")
    named = level_unit_named(beside.unit_words(path.name))
    if named is not None and fits_scale(values, scale_named(named, "the file")):
        return scale_named(named, "the file")
    if not can_be_levels(values.reshape(-1)) or float(np.nanmin(values)) == float(np.nanmax(values)):
        raise InputError("its numbers are neither decibels nor linear power", path=path)
    return scale_concluded(values)


def _times_for(
    path: Path, sweeps: int, telling: Telling, beside: Companions
) -> tuple[NDArray[np.float64] | None, bool, tuple[str, ...]]:
    """Times of the sweeps: one per row where as many stand beside it, or, for a vector, the one with the number of
    its name."""
    number = re.search(r"(\d+)$", path.stem)
    for name, times in beside.times.items():
        seconds, known = _seconds(times, telling)
        if sweeps > 1 and seconds.size == sweeps:
            return seconds, known, (f"times from {name}",)
        if sweeps == 1 and number is not None and int(number[1]) < seconds.size:
            return (
                seconds[int(number[1]) : int(number[1]) + 1],
                known,
                (f"time from {name}, entry {number[1]} counted from 0",),
            )
    return None, False, ()


def _seconds(times: NDArray[np.generic], telling: Telling) -> tuple[NDArray[np.float64], bool]:
    if times.dtype.kind == "M":
        seconds = times.astype("datetime64[us]").astype(np.int64) / 1e6
        if telling.zone is None:
            return seconds, False
        zone = zone_named(telling.zone)
        local = [datetime.fromtimestamp(float(second), UTC).replace(tzinfo=zone) for second in seconds]
        return np.array([moment.timestamp() for moment in local]), True
    numbers = np.asarray(times, dtype=np.float64)
    return numbers * (epoch_scale(numbers.tolist()) or 1.0), True


def _pickled_notes(beside: Companions) -> tuple[str, ...]:
    return tuple(
        f"{name} was not read: it would have to be unpickled, which could run foreign code" for name in beside.pickled
    )


def _asking(path: Path, array: NDArray[np.generic], axes: Sequence[str]) -> FileReading:
    if axes:
        return _bare(
            path, (f"several files beside it hold as many frequencies: {', '.join(axes)}; leave one of them there",)
        )
    shape = " x ".join(str(size) for size in array.shape)
    return _bare(
        path,
        (f"no file beside it holds the frequencies of its {shape} numbers: put a .npy vector of them into its folder",),
    )


def _bare(path: Path, needs: tuple[str, ...]) -> FileReading:
    return FileReading(str(path), "vectors", None, None, None, "dB", (), False, None, None, (), needs)


class _PickledError(InputError):
    """The array holds objects, which only unpickling could read."""


def _loaded(path: Path) -> NDArray[np.generic]:
    try:
        array = np.load(path, allow_pickle=False, mmap_mode="r")
    except ValueError as error:
        if "pickle" in str(error).lower() or "object" in str(error).lower():
            raise _PickledError(
                "it was not read: it would have to be unpickled, which could run foreign code", path=path
            ) from error
        raise InputError("the file is a damaged .npy file", path=path) from error
    except (OSError, EOFError, SyntaxError, TypeError, OverflowError, MemoryError, TokenError) as error:
        raise InputError("the file is a damaged .npy file", path=path) from error
    if not isinstance(array, np.ndarray) or array.nbytes > _MOST_BYTES:
        raise NotASweepError("it holds no array of levels", path=path)
    return array


def _is_axis(array: NDArray[np.generic]) -> bool:
    """A vector that strictly rises or falls, never below zero, and is no vector of times."""
    if array.ndim != 1 or array.size < 2 or array.dtype.kind not in "fiu":
        return False
    values = np.asarray(array, dtype=np.float64)
    steps = np.diff(values)
    even = bool(np.all(steps > 0)) or bool(np.all(steps < 0))
    if epoch_scale(values.tolist()) is not None and float(np.median(np.abs(steps))) < _FINEST_STEP_HZ:
        return False
    return even and float(values.min()) >= 0 and bool(plausible_units(*_range_and_step(values)))


def _range_and_step(values: NDArray[np.float64]) -> tuple[float, float, float]:
    return float(values.min()), float(values.max()), float(np.median(np.abs(np.diff(values))))


def _is_times(array: NDArray[np.generic]) -> bool:
    if array.ndim != 1 or array.size < 1:
        return False
    if array.dtype.kind == "M":
        return True
    return array.dtype.kind in "fiu" and epoch_scale(np.asarray(array, dtype=np.float64).tolist()) is not None
