"""Sweeps that a file holds as records, each with its own heads: put together into series.

A record knows its frequencies, its levels and what stands around them (``heads``). Records on one grid become the
sweeps of one series; records on other grids stay apart, even where they overlap, because they are no parts of one
sweep.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError, UsageError
from fallow.files.axes import axis_of, plausible_units
from fallow.files.levels import LevelScale, can_be_levels, scale_concluded, scale_named, series_levels
from fallow.files.readings import FileReading, Telling
from fallow.files.times import clock_for, epoch_scale, iso_text, zone_named
from fallow.files.wording import FREQUENCY_FACTORS_HZ, detector_named, frequency_unit_named, level_unit_named
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import Detector, Series
from fallow.units import parse_frequency_hz

__all__ = ["Record", "head_named", "plain_words", "reading_of_records"]

Heads = Mapping[str, object]  # words around the numbers: lower case, blanks between, as ``plain_words`` makes them

_UNIT_IN_KEY = re.compile(r"(?:[kKMG]?Hz|[dD]B(?:m|uV|W)?)(?![a-z])")
_MOST_DECIMALS = 9
_TIMES = ("timestamp", "time stamp", "datetime", "date time", "start time", "utc", "epoch", "time", "date", "ts", "t")
_RBWS = ("rbw", "resolution bandwidth", "resolution bw")
_DETECTORS = ("detector", "det", "detector mode", "trace mode", "trace type", "trace", "mode")
_FREQUENCY_UNITS = ("frequency unit", "freq unit", "unit frequency", "x unit")
_LEVEL_UNITS = ("level unit", "power unit", "amplitude unit", "y unit", "unit", "units")
_GAINS = ("rssi", "gain", "noise", "agc", "attenuation")


@dataclass(frozen=True, eq=False)
class Record:
    """One sweep of one trace.

    ``frequencies``: rising, in the unit that ``frequency_words`` name, if any. ``levels``: as written, NaN for none,
    of the same shape (bin,). ``level_words``: the heading above them.
    """

    frequencies: tuple[float, ...]
    levels: NDArray[np.float64]
    heads: Heads
    frequency_words: str = ""
    level_words: str = ""
    trace: str = ""


@dataclass(eq=False)
class _Group:
    """Records of one trace on one grid, with one bandwidth and detector."""

    first: Record
    rbw_hz: float | None
    detector: Detector | None
    levels: list[NDArray[np.float64]] = field(default_factory=list)
    stamps: list[object] = field(default_factory=list)


def reading_of_records(
    records: Sequence[Record], layout: str, path: Path, telling: Telling, notes: Sequence[str] = ()
) -> FileReading:
    """The reading of a file's records. Raises InputError where their frequencies or levels can't be."""
    unit, said = _frequency_unit(records, telling)
    bare = FileReading(str(path), layout, "utf-8", None, None, "dB", (), False, None, None, tuple(notes))
    if unit is None:
        return replace(bare, needs=(said,))
    scale = _scale(records, telling)
    groups = _grouped(records, telling)
    times = _times([stamp for group in groups for stamp in group.stamps], telling)
    series: list[Series] = []
    remarks: list[str] = [said, scale.note, *times.notes]
    done = 0
    for group in groups:
        axis = _axis(group.first, unit, path)
        levels, rejected = series_levels(np.array(group.levels), scale, axis, group.rbw_hz)
        seconds = times.seconds[done : done + len(group.levels)]
        done += len(group.levels)
        known = seconds if bool(np.isfinite(seconds).any()) else None
        series.append(
            Series(
                axis, levels, scale.unit, known, times.utc, group.rbw_hz, group.detector, group.first.trace, str(path)
            )
        )
        remarks += rejected
    remarks += _remarks(records, groups)
    start = _start(times)
    said_notes = tuple(dict.fromkeys(note for note in (*notes, *remarks) if note))
    return replace(
        bare, level_unit=scale.told, series=tuple(series), notes=said_notes,
        start=start if times.utc else None, start_local=None if times.utc else start,
    )  # fmt: skip


def plain_words(key: str) -> str:
    """A key as words: ``freqStepHz`` and ``freq_step_hz`` become ``freq step hz``."""
    units = _UNIT_IN_KEY.sub(lambda unit: f" {unit[0].lower()} ", key)
    parted = re.sub(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", units)
    return " ".join(re.split(r"[\W_]+", parted.strip().lower())).strip()


def head_named(heads: Heads, names: Sequence[str]) -> tuple[str, object] | None:
    """The first head (words and value) with one of these names, a unit of frequency behind it or not."""
    for name in names:
        for words, value in heads.items():
            if words == name or (words.startswith(f"{name} ") and frequency_unit_named(words[len(name) :]) is not None):
                return words, value
    return None


# --- frequencies ---


def _frequency_unit(records: Sequence[Record], telling: Telling) -> tuple[str | None, str]:
    """The unit, and a note on it; without a unit the question."""
    if telling.unit is not None:
        return next(name for name in FREQUENCY_FACTORS_HZ if name.lower() == telling.unit.lower()), ""
    stated = {frequency_unit_named(record.frequency_words) for record in records}
    stated |= {_unit_head(record.heads) for record in records} if stated == {None} else set()
    stated -= {None}
    if len(stated) == 1:
        return stated.pop(), ""
    low = min(record.frequencies[0] for record in records)
    high = max(record.frequencies[-1] for record in records)
    step = float(np.median(np.diff(records[0].frequencies))) if len(records[0].frequencies) > 1 else 1.0
    possible = plausible_units(low, high, step)
    if len(possible) == 1:
        note = f"the unit of the frequencies is not stated: assumed to be {possible[0]} (--unit says otherwise)"
        return possible[0], note
    return None, f"the unit of the frequencies is open: {' or '.join(possible) or 'none fits'} (say --unit)"


def _unit_head(heads: Heads) -> str | None:
    found = head_named(heads, _FREQUENCY_UNITS)
    return frequency_unit_named(str(found[1])) if found is not None else None


def _axis(record: Record, unit: str, path: Path) -> Axis:
    if len(record.frequencies) < 2:
        raise InputError("a record of one frequency is no sweep", path=path)
    decimals = max(_decimals(frequency) for frequency in record.frequencies)
    return axis_of(np.array(record.frequencies), unit, decimals, str(path))


def _decimals(number: float) -> int:
    if number.is_integer():
        return 0
    exponent = Decimal(repr(number)).as_tuple().exponent
    return min(max(-exponent, 0), _MOST_DECIMALS) if isinstance(exponent, int) else _MOST_DECIMALS


# --- levels ---


def _scale(records: Sequence[Record], telling: Telling) -> LevelScale:
    if telling.level_unit is not None:
        return scale_named(telling.level_unit, "you")
    for record in records:
        head = head_named(record.heads, _LEVEL_UNITS)
        unit = level_unit_named(record.level_words) or (level_unit_named(str(head[1])) if head is not None else None)
        if unit is not None:
            return scale_named(unit, "the file")
    values = np.concatenate([record.levels for record in records])
    if not can_be_levels(values):
        raise InputError("its numbers are neither decibels nor linear power")
    return scale_concluded(values)


# --- what belongs together ---


def _grouped(records: Sequence[Record], telling: Telling) -> list[_Group]:
    groups: dict[tuple[object, ...], _Group] = {}
    for record in records:
        rbw_hz = telling.rbw_hz or _rbw_hz(record)
        detector = telling.detector or _detector(record)
        key = (record.frequencies, record.trace, rbw_hz, detector)
        group = groups.setdefault(key, _Group(record, rbw_hz, detector))
        group.levels.append(record.levels)
        group.stamps.append(_stamp(record.heads))
    return list(groups.values())


def _rbw_hz(record: Record) -> float | None:
    found = head_named(record.heads, _RBWS)
    if found is None:
        return None
    words, value = found
    if isinstance(value, str):
        try:
            return float(parse_frequency_hz(value)) or None
        except UsageError:
            return None
    factor = FREQUENCY_FACTORS_HZ[frequency_unit_named(words) or "Hz"]
    return float(value) * factor if isinstance(value, int | float) and value > 0 and math.isfinite(value) else None


def _detector(record: Record) -> Detector | None:
    found = head_named(record.heads, _DETECTORS)
    stated = None if found is None or not isinstance(found[1], str) else detector_named(plain_words(found[1]))
    return detector_named(record.level_words) or stated


def _remarks(records: Sequence[Record], groups: Sequence[_Group]) -> Iterator[str]:
    """What is odd about records taken together."""
    grids = {group.first.frequencies for group in groups}
    if len(grids) > 1:
        yield f"{len(records)} records on {len(grids)} grids: each record is a sweep of its own"
    spans = sorted((grid[0], grid[-1]) for grid in grids)
    if any(later[0] < earlier[1] for earlier, later in pairwise(spans)):
        yield "its grids overlap; they were not joined, because each was taken at a time of its own"
    changing = [
        name for name in _GAINS if len({head[1] for r in records if (head := head_named(r.heads, (name,)))}) > 1
    ]
    if changing:
        yield f"its {' and '.join(changing)} change from record to record: so may the gain, and with it the floor"


# --- times ---


def _stamp(heads: Heads) -> object:
    """When a record was taken, as it is written; of several such heads one that counts from 1970."""
    found = [v for name in _TIMES for words, v in heads.items() if words == name or words.startswith(f"{name} ")]
    counted = [value for value in found if isinstance(value, int | float) and epoch_scale([value]) is not None]
    return (*counted, *found, None)[0]


@dataclass(frozen=True, eq=False)
class _Times:
    """Seconds since 1970, shape (record,), NaN where unknown; whether they are UTC; what is to be said of them."""

    seconds: NDArray[np.float64]
    utc: bool
    notes: tuple[str, ...] = ()


def _times(stamps: Sequence[object], telling: Telling) -> _Times:
    nothing = np.full(len(stamps), np.nan)
    texts = [stamp for stamp in stamps if isinstance(stamp, str)]
    numbers = [float(s) for s in stamps if isinstance(s, int | float) and not isinstance(s, bool)]
    zone = None if telling.zone is None else zone_named(telling.zone)
    if texts:
        clock, is_open = clock_for(texts, zone)
        read = [clock.seconds(stamp) if isinstance(stamp, str) else (math.nan, False) for stamp in stamps]
        seconds = np.array([one[0] for one in read])
        notes = ("day and month of its dates can't be told apart: there are no times",) if is_open else ()
        known = [utc for second, utc in read if math.isfinite(second)]
        return _Times(seconds, bool(known) and all(known), notes)
    scale = epoch_scale(numbers)
    if not numbers or scale is None:
        notes = ("its times count from a moment that is not stated: they were not used",) if numbers else ()
        return _Times(nothing, False, notes)
    counted = [float(s) * scale if isinstance(s, int | float) else math.nan for s in stamps]
    return _Times(np.array(counted), True)


def _start(times: _Times) -> str | None:
    finite = times.seconds[np.isfinite(times.seconds)]
    return iso_text(float(finite.min()), utc=times.utc) if finite.size else None
