"""Records with their length before them: ``221<CR>{json}574<CR>{json}515<CR>{json}`` and then plain numbers.

The layout in which networks of spectrum sensors send what they measured: heads of the types *Loc* (where), *Sys* (with
what) and *Data* (how), each a JSON object with its length in bytes before it; behind a *Data* head the levels in dBm,
sweep by sweep. Levels, grid, detector, bandwidth and times come from the heads; antenna and cable that they state are
told and not applied.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.axes import axis_of
from fallow.files.json_records import frequencies_by_heads
from fallow.files.levels import scale_named, series_levels
from fallow.files.readings import FileReading, NotASweepError, Telling
from fallow.files.records import plain_words
from fallow.files.times import epoch_scale, iso_text
from fallow.files.wording import detector_named
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import Series

__all__ = ["STARTS_AS", "read_length_prefixed"]

STARTS_AS = re.compile(rb"\s*\d{1,7}[\r\n]+\s*\{")
_LENGTH = re.compile(rb"\s*(\d{1,7})[\r\n]+")
_TYPES = {"int8": "i1", "int16": "i2", "float32": "f4"}
_MOST_BYTES = 2**30
_FEWEST_LEVELS = 3
_UNKNOWN_COUNT = -1  # of sweeps: a stream, to the end of the file
Heads = Mapping[str, object]


def read_length_prefixed(path: Path, telling: Telling) -> FileReading:
    """All data of such a file as series, one per grid. Raises InputError for a damaged file."""
    content = _content(path)
    parts = list(_parts(content, path))
    if not parts:
        raise NotASweepError("its records hold no levels", path=path)
    series: list[Series] = []
    notes: list[str] = []
    for part in parts:
        one, remarks = _series(part, telling, path)
        series.append(one)
        notes += remarks
    starts = [float(np.nanmin(one.times_s)) for one in series if one.times_s is not None]
    edges = [part.edges_hz for part in parts if part.edges_hz is not None]
    bare = FileReading(str(path), "records with lengths", "utf-8", None, None, "dBm", tuple(series), False, None, None)
    return replace(
        bare,
        start=iso_text(min(starts), utc=True) if starts else None,
        notes=tuple(dict.fromkeys(notes)),
        level_unit=series[0].unit if telling.level_unit else "dBm",
        stated_span_hz=(min(e[0] for e in edges), max(e[1] for e in edges)) if len(edges) == len(parts) else None,
    )


@dataclass(frozen=True, eq=False)
class _Part:
    """Levels behind one *Data* head. ``values``: as written, shape (sweep, bin), NaN where a sweep was cut off."""

    heads: Heads
    axis: Axis
    edges_hz: tuple[int, int] | None
    values: NDArray[np.float64]
    cut: bool


def _content(path: Path) -> bytes:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError("a file of that size can't be read", path=path, hint="split it")
        return path.read_bytes()
    except OSError as error:
        raise InputError(
            f"the file can't be opened ({(error.strerror or 'unknown reason').lower()})", path=path
        ) from error


def _parts(content: bytes, path: Path) -> Iterator[_Part]:
    """Heads one after the other; what a *Data* head announces is taken as far as the file goes."""
    place = 0
    known: dict[str, object] = {}
    while place < len(content) and content[place : place + 64].strip():
        match = _LENGTH.match(content, place)
        if match is None:
            raise InputError(f"at byte {place} there is no length of a record: damaged or cut off", path=path)
        end = match.end() + int(match[1])
        if end > len(content):
            raise InputError(f"a record of {int(match[1])} bytes is announced and cut off", path=path)
        head = _head(content[match.end() : end], path)
        place = end
        if str(head.get("type", "")).lower() == "data":
            part, place = _part({**known, **head}, content, place, path)
            yield part
        elif str(head.get("type", "")).lower() == "sys":
            known = head


def _head(raw: bytes, path: Path) -> dict[str, object]:
    try:
        document = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise InputError("a head is no JSON: the lengths before the records are wrong", path=path) from error
    return _flat(document) if isinstance(document, dict) else {}


def _flat(node: Mapping[str, object]) -> dict[str, object]:
    """Words and numbers of an object and of the objects in it, the outer ones first; ``NaN`` in words is nothing."""
    inner: dict[str, object] = {}
    for value in node.values():
        if isinstance(value, dict):
            inner.update(_flat(value))
    own = {plain_words(k): v for k, v in node.items() if isinstance(v, str | int | float) and v not in ("NaN", "N/A")}
    return {**inner, **own}


def _part(heads: Heads, content: bytes, place: int, path: Path) -> tuple[_Part, int]:
    """The levels that a head announces, from ``place`` on, and where they end. Nothing is allocated on trust."""
    dtype = _dtype(heads, path)
    n, announced = _whole(heads, "n", path), _whole(heads, "n m", path)
    held = (len(content) - place) // dtype.itemsize
    if held < n:
        raise InputError(f"its heads announce sweeps of {n} levels, and not one of them is whole", path=path)
    found = frequencies_by_heads(heads, n, edges=True)
    if found is None:
        raise InputError("its heads do not say where the levels lie (fStart, fStop, n)", path=path)
    frequencies = np.array(found[0])
    step_hz = frequencies[1] - frequencies[0]
    edges = (round(frequencies[0] - step_hz / 2), round(frequencies[-1] + step_hz / 2))
    count = held if announced == _UNKNOWN_COUNT else min(n * announced, held)
    values = np.full(-(-count // n) * n, np.nan)
    values[:count] = np.frombuffer(content, dtype, count, place)
    cut = count % n != 0 or (announced != _UNKNOWN_COUNT and count < n * announced)
    axis = axis_of(frequencies, "Hz", 3, str(path))
    stated_hz = heads.get("f start")
    is_cells = isinstance(stated_hz, int | float) and bool(frequencies[0] > stated_hz)
    part = _Part(heads, axis, edges if is_cells else None, values.reshape(-1, n), cut)
    return part, place + count * dtype.itemsize


def _dtype(heads: Heads, path: Path) -> np.dtype[np.generic]:
    stated = str(heads.get("data type", "")).lower()
    kind = next((code for name, code in _TYPES.items() if stated.replace(" ", "").endswith(name)), None)
    if kind is None or str(heads.get("compression", "None")).lower() not in ("none", ""):
        raise InputError(
            f"its levels are written as {stated or 'nothing that it states'}, which can't be read", path=path
        )
    order = str(heads.get("byte order", "")).lower()
    if kind == "i1":
        return np.dtype(kind)
    if not order.startswith(("big", "network", "little")):
        raise InputError("its heads leave the order of the bytes open", path=path)
    return np.dtype(("<" if order.startswith("little") else ">") + kind)


def _whole(heads: Heads, name: str, path: Path) -> int:
    value = heads.get(name, _UNKNOWN_COUNT if name == "n m" else 0)
    lowest = _UNKNOWN_COUNT if name == "n m" else _FEWEST_LEVELS
    if isinstance(value, int | float) and lowest <= value <= _MOST_BYTES and value == int(value):
        return int(value)
    raise InputError(f"its heads state no number of {'sweeps' if name == 'n m' else 'levels in a sweep'}", path=path)


def _series(part: _Part, telling: Telling, path: Path) -> tuple[Series, list[str]]:
    scale = scale_named(telling.level_unit or "dBm", "you" if telling.level_unit else "the file")
    levels, rejected = series_levels(part.values, scale, part.axis, telling.rbw_hz)
    detector = telling.detector or detector_named(str(part.heads.get("det", "")))
    times = _times(part)
    series = Series(
        part.axis, levels, scale.unit, times, times is not None, telling.rbw_hz, detector, source=str(path)
    )  # fmt: skip
    return replace(series, overloaded=part.heads.get("ol") == 1), [*rejected, *_notes(part, telling)]


def _times(part: _Part) -> NDArray[np.float64] | None:
    """One sweep every ``tm`` seconds from ``t1`` on."""
    start, each = (part.heads.get(name) for name in ("t1", "tm"))
    if not isinstance(start, int | float) or epoch_scale([float(start)]) != 1.0:
        return None
    times = np.full(part.values.shape[0], np.nan)
    times[:1] = float(start)
    if isinstance(each, int | float) and math.isfinite(each) and each > 0:
        times = float(start) + float(each) * np.arange(times.size)
    return times


def _notes(part: _Part, telling: Telling) -> Iterator[str]:
    heads = part.heads
    if telling.level_unit is None:
        yield "levels are dBm at the instrument's input: so this layout defines them"
    if part.cut:
        yield "the last sweep or sweeps are cut off: what is whole was kept, the rest was not measured"
    antenna = {"antenna": heads.get("g"), "cable": heads.get("l cable")}
    stated = [f"{name} {value:g} dB" for name, value in antenna.items() if isinstance(value, int | float)]
    if stated:
        yield f"its heads state {' and '.join(stated)}, which were not applied: a chain can say so"
    if heads.get("ol") == 1:
        yield "its heads say that the instrument was overloaded: lines may be its own"
