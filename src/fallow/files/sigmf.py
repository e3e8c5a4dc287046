"""SigMF recordings: the description (``.sigmf-meta``, JSON) and the samples beside it (``.sigmf-data``).

Read after the specification, SigMF 1.2 (https://sigmf.org, CC BY-SA): the fields of ``core`` that say what the samples
are; the rest is left alone. Annotations are told as a note.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from fallow.errors import InputError
from fallow.files.readings import FileReading, Telling
from fallow.files.recordings import Capture, Progress, Recording, reading_of
from fallow.files.samples import SampleType, taking_from_file
from fallow.files.times import Clock
from fallow.units import format_span_mhz

__all__ = ["DATA_ENDING", "META_ENDING", "read_sigmf"]

META_ENDING, DATA_ENDING = ".sigmf-meta", ".sigmf-data"
_MOST_META_BYTES = 256 * 2**20
_MOST_HASHED_BYTES = 2**30
_HASH_BLOCK = 2**22
_SHA512 = re.compile(r"[0-9a-fA-F]{128}")  # FIPS 180-4: 512 bits, here as hexadecimal digits


def read_sigmf(path: Path, telling: Telling, progress: Progress | None = None) -> FileReading:
    """A recording by its description or its samples, whichever was named; the other one must lie beside it.

    Raises InputError for a description that is damaged or leaves the samples unreadable.
    """
    meta = path.with_suffix(META_ENDING)
    if not meta.is_file():
        raise InputError(f"its description {meta.name} does not lie beside it", path=path, hint="copy both files")
    said = _said(meta)
    kind = _kind(said, telling)
    data, size = _data(said)
    samples_end = size - _whole(said, said.everywhere, "core:trailing_bytes")
    chunks = _chunks(said)
    captures = tuple(_captures(said, chunks, None if kind is None else _count(samples_end, chunks, kind)))
    take = None if kind is None else taking_from_file(data, kind, chunks.skipped_before)
    odd = () if kind is None else _left_over(said, samples_end, chunks, kind)
    notes = (*_checked(said, data, size), *odd, *_untimed(said), *_described(said, captures))
    recording = Recording(
        path, "SigMF", captures, kind, take, _frequency(said, said.everywhere, "core:sample_rate"), notes
    )
    if kind is not None and not captures:
        raise InputError("it holds no whole sample", path=data)
    return reading_of(recording, telling, progress)


@dataclass(frozen=True)
class _Said:
    """The three parts of a description: what holds for all samples, captures, annotations."""

    path: Path
    everywhere: Mapping[str, object]
    captures: Sequence[Mapping[str, object]]
    annotations: Sequence[Mapping[str, object]]


@dataclass(frozen=True)
class _Chunks:
    """Where captures begin: first samples, rising, and the header bytes before each."""

    firsts: tuple[int, ...]
    header_bytes: tuple[int, ...]

    def skipped_before(self, sample: int) -> int:
        """Bytes before a sample that are none of the samples."""
        return sum(self.header_bytes[: max(bisect_right(self.firsts, sample), 1)])


def _said(meta: Path) -> _Said:
    try:
        if meta.stat().st_size > _MOST_META_BYTES:
            raise InputError("a description of that size can't be read", path=meta)
        document = json.loads(meta.read_bytes())
    except OSError as error:
        raise InputError(
            f"the file can't be opened ({(error.strerror or 'unknown reason').lower()})", path=meta
        ) from error
    except json.JSONDecodeError as error:
        what = f"the description is damaged: it is no whole JSON document ({error.msg[0].lower()}{error.msg[1:]})"
        raise InputError(what, path=meta, line=error.lineno, column=error.colno) from error
    except (ValueError, RecursionError) as error:
        raise InputError("the description is damaged: it is no whole JSON document", path=meta) from error
    parts = document if isinstance(document, dict) else {}
    everywhere, captures, annotations = (parts.get(name) for name in ("global", "captures", "annotations"))
    if not isinstance(everywhere, dict) or not isinstance(captures, list):
        raise InputError('the description lacks its parts "global" and "captures"', path=meta)
    found = annotations if isinstance(annotations, list) else []
    dicts = ([part for part in some if isinstance(part, dict)] for some in (captures, found))
    said = _Said(meta, everywhere, *dicts)
    if _whole(said, everywhere, "core:num_channels", usual=1) > 1:
        raise InputError("it holds several channels in turn: save one of them alone", path=meta)
    return said


def _kind(said: _Said, telling: Telling) -> SampleType | None:
    if telling.samples is not None:
        return SampleType.named(telling.samples)
    datatype = said.everywhere.get("core:datatype")
    if datatype is None:
        return None
    kind = SampleType.of_sigmf(datatype) if isinstance(datatype, str) else None
    if kind is None:
        raise InputError(f"{datatype!r} is no type of samples that SigMF knows", path=said.path, hint="say --samples")
    return kind


def _data(said: _Said) -> tuple[Path, int]:
    """The file of samples and its size in bytes."""
    named = said.everywhere.get("core:dataset")
    if named is not None and (not isinstance(named, str) or Path(named).name != named or "\\" in named):
        raise InputError("it names a file of samples that is not beside it", path=said.path)
    data = said.path.with_suffix(DATA_ENDING) if named is None else said.path.parent / str(named)
    if said.everywhere.get("core:metadata_only") is True or not data.is_file():
        raise InputError(f"its samples {data.name} do not lie beside it", path=said.path, hint="copy both files")
    return data, data.stat().st_size


def _chunks(said: _Said) -> _Chunks:
    firsts = tuple(_whole(said, capture, "core:sample_start") for capture in said.captures) or (0,)
    if any(later < earlier for earlier, later in pairwise(firsts)):
        raise InputError("its captures are not in the order of their samples", path=said.path)
    headers = tuple(_whole(said, capture, "core:header_bytes") for capture in said.captures) or (0,)
    return _Chunks(firsts, headers)


def _count(samples_end: int, chunks: _Chunks, kind: SampleType) -> int:
    """Whole samples in the file, whatever its description says of them."""
    return max(samples_end - sum(chunks.header_bytes), 0) // kind.sample_bytes


def _captures(said: _Said, chunks: _Chunks, count: int | None) -> Iterator[Capture]:
    """Captures that hold samples; where their number is not known yet, all of them as empty."""
    stated = said.captures or [{}]
    for capture, (first, end) in zip(stated, pairwise((*chunks.firsts, count or 0)), strict=True):
        last = capture is stated[-1]
        held = 0 if count is None else (count if last else min(end, count)) - first
        if held > 0 or count is None:
            centre = _frequency(said, capture, "core:frequency")
            yield Capture(first, held, centre, _start_s(capture.get("core:datetime")))


def _checked(said: _Said, data: Path, size: int) -> Iterator[str]:
    """Whether the samples are those that the description was written for (``core:sha512``)."""
    stated = said.everywhere.get("core:sha512")
    if stated is None:
        return
    if not isinstance(stated, str) or not _SHA512.fullmatch(stated.strip()):
        yield "core:sha512 of its description is no checksum, so its samples were not held against it"
        return
    if size > _MOST_HASHED_BYTES:
        yield "the checksum of its samples was not tried: there are too many"
        return
    digest = hashlib.sha512()
    with data.open("rb") as stream:
        while block := stream.read(_HASH_BLOCK):
            digest.update(block)
    if digest.hexdigest() != stated.strip().lower():
        differs = "their checksum differs, core:sha512"
        yield f"the samples are not those that it describes ({differs}): cut, damaged or replaced"


def _left_over(said: _Said, samples_end: int, chunks: _Chunks, kind: SampleType) -> Iterator[str]:
    """What is behind the last whole sample, beyond the bytes that are announced to be none."""
    extra = max(samples_end - sum(chunks.header_bytes), 0) % kind.sample_bytes
    if extra:
        announced = "core:trailing_bytes" in said.everywhere
        beyond = ", beyond those that core:trailing_bytes announces," if announced else ""
        yield (
            f"{extra} byte{'' if extra == 1 else 's'}{beyond} behind the last whole sample (of {kind.sample_bytes} "
            "bytes): the file was cut, or core:datatype is wrong"
        )


def _untimed(said: _Said) -> Iterator[str]:
    """Captures whose time can't be read."""
    stamps = [(number, capture.get("core:datetime")) for number, capture in enumerate(said.captures, start=1)]
    wrong = [(number, stamp) for number, stamp in stamps if stamp is not None and _start_s(stamp) is None]
    if wrong:
        number, stamp = wrong[0]
        more = f" (and {len(wrong) - 1} more)" if len(wrong) > 1 else ""
        yield f"core:datetime of capture {number}, {str(stamp)[:40]!r}, is no time in ISO 8601{more}: it was not used"


def _described(said: _Said, captures: Sequence[Capture]) -> Iterator[str]:
    """What else it says: annotations, and captures without samples."""
    if said.annotations:
        many = f"{len(said.annotations)} annotation{'' if len(said.annotations) == 1 else 's'}"
        lows, highs = (
            [edge for note in said.annotations if (edge := _frequency(said, note, f"core:freq_{end}_edge")) is not None]
            for end in ("lower", "upper")
        )
        spans = bool(lows and highs and max(highs) > min(lows))
        yield f"{many}, {format_span_mhz(float(min(lows)), float(max(highs)))}" if spans else many
    empty = len(said.captures) - len(captures)
    if said.captures and empty:
        yield f"{empty} of {len(said.captures)} captures lie beyond the end of the samples"


def _frequency(said: _Said, part: Mapping[str, object], name: str) -> Fraction | None:
    """A number in hertz, exactly as it is written; ``None`` where it is missing."""
    value = part.get(name)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InputError(f"{name} is no number", path=said.path)
    return Fraction(repr(value))


def _whole(said: _Said, part: Mapping[str, object], name: str, usual: int = 0) -> int:
    value = part.get(name, usual)
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value // 1 or value < 0:
        raise InputError(f"{name} is no whole number", path=said.path)
    return int(value)


def _start_s(stamp: object) -> float | None:
    """SigMF times are UTC (ISO 8601 with Z)."""
    seconds = Clock(zone=UTC).seconds(stamp)[0] if isinstance(stamp, str) else math.nan
    return seconds if math.isfinite(seconds) else None
