"""Recordings of samples: what is known of one, what has to be asked, and the sweeps that come of it.

Nothing is put on a frequency axis before type, rate and centre are stated, by the file or by the user.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError
from fallow.files.levels import LevelScale, scale_named
from fallow.files.readings import FileReading, Telling
from fallow.files.samples import SampleType, Taking, blocks_of, share_clipped, taking_from_file
from fallow.files.times import iso_text
from fallow.spectrum.iq import INNER_SHARE, Resolution, Stretch, resolution_for, sweeps_of
from fallow.spectrum.sweep import Detector, Series
from fallow.units import format_mhz, format_width

__all__ = ["RAW_ENDINGS", "Capture", "Progress", "Recording", "read_raw", "reading_of", "recording_of_array"]

RAW_ENDINGS = {  # how recorders name raw files, and the type that the name hints at. Source: common practice
    ".iq": "", ".bin": "", ".raw": "", ".complex": "", ".cfile": "f32", ".cu8": "u8", ".cs8": "i8", ".cs16": "i16",
    ".cf32": "f32", ".fc32": "f32", ".c64": "c64", ".c128": "c128", ".cf64": "f64", ".sc16": "i16", ".sc8": "i8",
}  # fmt: skip
Progress = Callable[[float], None]
_HIGHEST_HZ = 10**12
_CLIPPED_SHARE = 1e-4  # of the samples, more than which is said. Source: common practice


@dataclass(frozen=True)
class Capture:
    """Samples that follow each other on one tuning; ``start_s``: UTC, seconds since 1970. ``None`` where unknown."""

    first: int
    count: int
    centre_hz: Fraction | None = None
    start_s: float | None = None


@dataclass(frozen=True, eq=False)
class Recording:
    """What a file says of its samples. ``kind`` and ``rate_hz`` are ``None`` where it does not."""

    path: Path
    layout: str
    captures: tuple[Capture, ...]
    kind: SampleType | None = None
    take: Taking | None = None
    rate_hz: Fraction | None = None
    notes: tuple[str, ...] = ()


def read_raw(path: Path, telling: Telling, progress: Progress | None = None) -> FileReading:
    """A file of nothing but samples: everything about it has to be told. Raises InputError, UsageError."""
    try:
        size = path.stat().st_size
    except OSError as error:
        raise InputError(
            f"the file can't be opened ({(error.strerror or 'unknown reason').lower()})", path=path
        ) from error
    known = (f"{size} bytes that are no text: taken for a recording of samples, which says nothing of itself",)
    hint = RAW_ENDINGS.get(path.suffix.lower(), "")
    if telling.samples is None:
        hints = (f"its name hints at samples of type {hint}",) if hint else ()
        return reading_of(Recording(path, "raw samples", (Capture(0, 0),), notes=(*known, *hints)), telling)
    kind = SampleType.named(telling.samples)
    count, rest = divmod(size, kind.sample_bytes)
    cut = (f"{rest} bytes at its end are no whole sample",) if rest else ()
    take = taking_from_file(path, kind)
    return reading_of(Recording(path, "raw samples", (Capture(0, count),), kind, take, notes=cut), telling, progress)


def recording_of_array(path: Path, array: NDArray[np.generic]) -> Recording:
    """A ``.npy`` vector of complex numbers, shape (sample,). Raises InputError for other shapes."""
    if array.ndim != 1:
        raise InputError(f"complex numbers of shape {array.shape} are no recording: one row of samples is", path=path)
    bits = 4 * array.dtype.itemsize
    kind = SampleType(np.dtype(f"{'>' if array.dtype.byteorder == '>' else '<'}f{bits // 8}"))

    def take(first: int, count: int) -> NDArray[np.complex64]:
        with np.errstate(over="ignore", invalid="ignore"):  # what holds such samples is left out
            return array[first : first + count].astype(np.complex64)

    return Recording(path, "complex vector", (Capture(0, array.size),), kind, take)


def reading_of(recording: Recording, telling: Telling, progress: Progress | None = None) -> FileReading:
    """The sweeps of a recording, or the question that it leaves open.

    ``progress`` is called with the share of the samples that is done, 0 to 1.
    Raises InputError where there are too few samples, or frequencies can't be told from them.
    """
    recording, told_notes = _with_telling(recording, telling)
    questions = tuple(_questions(recording))
    if questions or recording.kind is None or recording.take is None or recording.rate_hz is None:
        known = tuple(_known(recording))
        return _bare(recording, (*recording.notes, *told_notes, *known), _one_question(questions))
    count = sum(capture.count for capture in recording.captures)
    take = recording.take if progress is None else _reporting(recording.take, count, progress)
    try:
        series, notes = _sweeps(recording, recording.kind, take, recording.rate_hz, telling)
    except InputError as error:
        raise InputError(error.what, path=recording.path, hint=error.hint) from error
    scale = _scale(telling)
    series = tuple(part.with_levels(part.levels_db + np.float32(scale.offset_db), scale.unit) for part in series)
    starts = [float(np.nanmin(part.times_s)) for part in series if part.times_s is not None]
    reading = _bare(recording, (*recording.notes, *told_notes, *notes, _scale_note(scale, telling)), ())
    start = iso_text(min(starts), utc=True) if starts else None
    return replace(reading, level_unit=scale.told, series=series, start=start)


def _with_telling(recording: Recording, telling: Telling) -> tuple[Recording, tuple[str, ...]]:
    """What the user says beats what the file states, and that is said."""
    notes = []
    rate_hz, centre = recording.rate_hz, telling.centre_hz
    if telling.rate_hz is not None:
        if rate_hz is not None and rate_hz != Fraction(telling.rate_hz):
            notes.append(f"it states {_rate(rate_hz)}; you said {_rate(Fraction(telling.rate_hz))}, which was taken")
        rate_hz = Fraction(telling.rate_hz)
    captures = recording.captures
    stated = {capture.centre_hz for capture in captures} - {None}
    if centre is not None and len(stated) > 1:
        notes.append("it states several tunings, so that --centre was taken only where it states none")
        captures = tuple(
            replace(c, centre_hz=Fraction(centre) if c.centre_hz is None else c.centre_hz) for c in captures
        )
    elif centre is not None:
        notes += [
            f"it states a centre of {format_mhz(float(f))} MHz; yours was taken"
            for f in stated
            if f not in (None, centre)
        ]
        captures = tuple(replace(c, centre_hz=Fraction(centre)) for c in captures)
    return replace(recording, rate_hz=rate_hz, captures=captures), tuple(notes)


def _questions(recording: Recording) -> Iterator[tuple[str, str]]:
    """What is open, and the option that answers it."""
    if recording.kind is None:
        yield "type", "--samples"
    if recording.rate_hz is None:
        yield "rate", "--rate"
    if any(capture.centre_hz is None for capture in recording.captures):
        yield "centre frequency", "--centre"


def _one_question(questions: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    if not questions:
        return ()
    words, options = zip(*questions, strict=True)
    verb = "is" if len(words) == 1 else "are"
    return (f"the {_joined(words)} of the samples {verb} not stated: say {_joined(options)}",)


def _joined(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _known(recording: Recording) -> Iterator[str]:
    """What a recording that is asked about does say."""
    if recording.kind is not None:
        count = sum(capture.count for capture in recording.captures)
        yield f"{count} samples ({recording.kind.told})"
        if recording.kind.is_real:
            yield "its samples are real: say --centre 0 if they were taken directly from the antenna"
    if recording.rate_hz is not None:
        yield f"{_rate(recording.rate_hz)}"


def _sweeps(
    recording: Recording, kind: SampleType, take: Taking, rate_hz: Fraction, telling: Telling
) -> tuple[tuple[Series, ...], tuple[str, ...]]:
    """Series and notes. Everything is known."""
    _check_range(rate_hz, recording.captures, kind)
    stretches = [_stretch(capture, take) for capture in recording.captures]
    lengths = [stretch.n_samples for stretch in stretches]
    detector = telling.detector or Detector.AVERAGE
    resolution = resolution_for(rate_hz, lengths, telling.rbw_hz, detector)
    series = sweeps_of(stretches, resolution, real=kind.is_real, source=str(recording.path))
    notes = [*_method_notes(kind, resolution, len({stretch.centre_hz for stretch in stretches}))]
    short = sum(resolution.segments_in(length) < resolution.segments for length in lengths)
    if short:
        notes.append(f"{short} of {len(lengths)} stretches are too short for a sweep and were left out")
    if all(bool(np.isnan(part.levels_db).all()) for part in series):
        raise InputError("its samples are all zero or no numbers")
    clipped = max(share_clipped(take, capture.first, capture.count, kind) for capture in recording.captures[:64])
    if clipped > _CLIPPED_SHARE:
        notes.append(
            f"{clipped:.2%} of the samples looked at stand at an end of the scale: the receiver was overloaded, and "
            f"lines may be its own"
        )
        series = tuple(replace(part, overloaded=True) for part in series)
    return series, tuple(notes)


def _reporting(take: Taking, count: int, progress: Progress) -> Taking:
    """The same way to take samples, which tells how far it is."""
    done = 0

    def take_and_tell(first: int, many: int) -> NDArray[np.complex64]:
        nonlocal done
        done += many
        progress(min(done / max(count, 1), 1.0))
        return take(first, many)

    return take_and_tell


def _stretch(capture: Capture, take: Taking) -> Stretch:
    blocks = partial(blocks_of, take, capture.first, capture.count)
    return Stretch(capture.centre_hz or Fraction(0), capture.count, blocks, capture.start_s)


def _check_range(rate_hz: Fraction, captures: Sequence[Capture], kind: SampleType) -> None:
    centres = [capture.centre_hz or Fraction(0) for capture in captures]
    if not 0 < rate_hz <= _HIGHEST_HZ:
        raise InputError(f"{float(rate_hz):g} is no number of samples per second")
    if not all(0 <= centre <= _HIGHEST_HZ for centre in centres):
        raise InputError("its centre is no frequency of a receiver")
    if kind.is_real and any(centres):
        raise InputError(
            "its samples are real and not I and Q, so that it is open on which side of the centre a signal lies",
            hint="record I and Q; or say --centre 0 if the samples were taken directly from the antenna",
        )


def _method_notes(kind: SampleType, resolution: Resolution, tunings: int) -> Iterator[str]:
    yield (
        f"samples ({kind.told}, {_rate(resolution.rate_hz)}) turned into sweeps of {1e3 * resolution.sweep_s:.3g} ms "
        f"by Welch's method: {resolution.segments} segments of {resolution.points} samples each, half overlapping, "
        f"Hann window (noise bandwidth 1.5 bins), detector {resolution.detector}"
    )
    edge_hz = float(resolution.rate_hz) * (1 - INNER_SHARE) / 2
    yield (
        f"marked as not measured: the bins that the receiver's DC offset reaches, and {format_width(edge_hz)} at each "
        f"edge of the band, where its filter falls off"
    )
    if tunings > 1:
        yield f"{tunings} tunings stitched; each bin is from the one in whose middle it lies"


def _scale(telling: Telling) -> LevelScale:
    """Full scale as 0 dB, or what the user says it is."""
    named = scale_named(telling.level_unit or "dB", "you")
    return scale_named("dB", "") if named.linear or not math.isfinite(named.offset_db) else named


def _scale_note(scale: LevelScale, telling: Telling) -> str:
    if telling.level_unit is not None and scale.told != "dB":
        return f"full scale was taken as 0 {scale.told}, as you said"
    return "levels are dB of full scale: they are relative, until a chain states the instrument's scale"


def _bare(recording: Recording, notes: tuple[str, ...], needs: tuple[str, ...]) -> FileReading:
    return FileReading(
        str(recording.path), recording.layout, None, None, None, "dB", (), False, None, None, notes, needs
    )


def _rate(rate_hz: Fraction) -> str:
    return f"{float(rate_hz):.10g} samples per second"
