"""WAV files that hold I and Q as left and right: type, rate and number of samples from the file, the centre never.

RIFF/WAVE after "Multimedia Programming Interface and Data Specifications 1.0" (IBM, Microsoft, 1991), with the 64-bit
sizes of EBU Tech 3306 (RF64). Chunks that particular programs add for their tuning have no open description and are
not read.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from fallow.errors import InputError
from fallow.files.readings import FileReading, NotASweepError, Telling
from fallow.files.recordings import Capture, Progress, Recording, reading_of
from fallow.files.samples import SampleType, taking_from_file

__all__ = ["read_wav"]

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_UNKNOWN_SIZE = 0xFFFFFFFF  # RF64: the size stands in the chunk ds64
_KNOWN_CHUNKS = (b"fmt ", b"data", b"fact", b"LIST", b"ds64", b"JUNK", b"PEAK", b"PAD ", b"bext", b"id3 ")
_MOST_CHUNKS = 1000


def read_wav(path: Path, telling: Telling, progress: Progress | None = None) -> FileReading:
    """A recording of I (left) and Q (right). Raises InputError for a damaged file, a sound, or an unread type."""
    chunks = _chunks(path)
    if b"fmt " not in chunks or b"data" not in chunks:
        raise InputError("the WAV file is damaged: it lacks its format or its data", path=path)
    form = _form(path, chunks[b"fmt "])
    if form.channels != 2:
        raise NotASweepError(f"it is a sound of {form.channels} channels; a recording has two, I and Q", path=path)
    data = chunks[b"data"]
    count = data.held // form.kind.sample_bytes
    if count == 0:
        raise InputError("it holds no samples", path=path)
    take = taking_from_file(path, form.kind, lambda _: data.start)
    recording = Recording(
        path, "WAV recording", (Capture(0, count),), form.kind, take, Fraction(form.rate), tuple(_notes(chunks))
    )
    return reading_of(recording, telling, progress)


@dataclass(frozen=True)
class _Chunk:
    """Where a chunk's bytes start, how many it states, and how many the file holds."""

    start: int
    stated: int
    held: int


@dataclass(frozen=True)
class _Form:
    channels: int
    rate: int
    kind: SampleType


def _chunks(path: Path) -> dict[bytes, _Chunk]:
    """The first chunk of each name. Sizes beyond the end of the file are cut there."""
    found: dict[bytes, _Chunk] = {}
    try:
        size = path.stat().st_size
        with path.open("rb") as stream:
            place = 12
            while place + 8 <= size and len(found) < _MOST_CHUNKS:
                stream.seek(place)
                name, stated = struct.unpack("<4sI", stream.read(8))
                if name == b"data" and b"ds64" in found and stated == _UNKNOWN_SIZE:
                    stream.seek(found[b"ds64"].start + 8)
                    stated = int.from_bytes(stream.read(8), "little")
                to_end = name == b"data" and stated in (0, _UNKNOWN_SIZE)  # a recorder that was killed
                held = size - place - 8 if to_end else min(stated, size - place - 8)
                found.setdefault(name, _Chunk(place + 8, stated, held))
                place += 8 + held + held % 2
    except OSError as error:
        raise InputError(f"reading stopped ({(error.strerror or 'unknown reason').lower()})", path=path) from error
    return found


def _form(path: Path, chunk: _Chunk) -> _Form:
    with path.open("rb") as stream:
        stream.seek(chunk.start)
        raw = stream.read(min(chunk.held, 40))
    if len(raw) < 16:
        raise InputError("the WAV file is damaged: its format is cut", path=path)
    tag, channels, rate, _, frame, bits = struct.unpack("<HHIIHH", raw[:16])
    if tag == _EXTENSIBLE and len(raw) >= 26:
        tag = int.from_bytes(raw[24:26], "little")
    letter = {_PCM: "u" if bits == 8 else "i", _FLOAT: "f"}.get(tag, "")
    if bits not in {"u": (8,), "i": (16, 32), "f": (32, 64)}.get(letter, ()):
        raise InputError(
            f"its samples ({bits} bits, format {tag}) can't be read", path=path, hint="save it with 16 bits"
        )
    if frame != channels * bits // 8:
        raise InputError("the WAV file is damaged: its format contradicts itself", path=path)
    return _Form(channels, rate, SampleType(np.dtype(f"<{letter}{bits // 8}")))


def _notes(chunks: dict[bytes, _Chunk]) -> Iterator[str]:
    yield "left was taken for I and right for Q; the other way round the spectrum is mirrored about its centre"
    unread = [name.decode("latin-1").strip() for name in chunks if name not in _KNOWN_CHUNKS]
    if unread and all(name.isprintable() for name in unread):
        yield f"what its chunks {', '.join(unread[:5])} say was not read: they have no open description"
    data = chunks[b"data"]
    if data.stated != data.held:
        yield "its data does not end where it says: read as far as the file goes"
