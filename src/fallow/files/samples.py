"""How the samples of a recording are written: type, byte order, full scale; and how they become complex numbers."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fallow.errors import InputError, UsageError

__all__ = ["SAMPLE_NAMES", "SampleType", "Taking", "blocks_of", "share_clipped", "taking_from_file"]

SAMPLE_NAMES = ("u8", "i8", "u16", "i16", "i32", "f32", "f64", "c64", "c128")  # each also with -be behind
BLOCK_SAMPLES = 2**18
_NAME = re.compile(r"(?P<short>[uif](?:8|16|32|64)|c(?:64|128))(?P<order>-[bl]e)?", re.IGNORECASE)
_SIGMF = re.compile(r"(?P<parts>[rc])(?P<kind>[fiu])(?P<bits>8|16|32|64)(?P<order>_[bl]e)?")
_MID_CODE = 0.5  # offset binary has no code for zero: it lies between the two in the middle. Source: common practice

Taking = Callable[[int, int], NDArray[np.complex64]]  # (first sample, how many) → samples, full scale ±1


@dataclass(frozen=True)
class SampleType:
    """One number of a sample: ``dtype``; ``parts``: 2 for I and Q one after the other, 1 for real samples."""

    dtype: np.dtype[np.generic]
    parts: int = 2

    @classmethod
    def named(cls, name: str) -> SampleType:
        """The type as the user writes it, for example ``i16`` (I and Q as 16-bit integers) or ``c64-be``.

        Raises UsageError for anything else.
        """
        match = _NAME.fullmatch(name.strip())
        if match is None or match["short"].lower() not in SAMPLE_NAMES:
            raise UsageError(
                f"{name!r} is no type of samples",
                hint=f"give one of {', '.join(SAMPLE_NAMES)}, with -be for big endian",
            )
        short = match["short"].lower()
        one = {"c64": "f32", "c128": "f64"}.get(short, short)
        return cls(_dtype(one[0], int(one[1:]), (match["order"] or "").lower() == "-be"))

    @classmethod
    def of_sigmf(cls, datatype: str) -> SampleType | None:
        """The type that a SigMF ``core:datatype`` names (SigMF 1.2, dataset format), ``None`` where it names none."""
        match = _SIGMF.fullmatch(datatype)
        if match is None or (match["kind"] == "f" and int(match["bits"]) < 32):
            return None
        if (match["order"] is None) != (match["bits"] == "8"):
            return None
        dtype = _dtype(match["kind"], int(match["bits"]), match["order"] == "_be")
        return cls(dtype, 2 if match["parts"] == "c" else 1)

    @property
    def sample_bytes(self) -> int:
        """Bytes of one sample."""
        return self.parts * self.dtype.itemsize

    @property
    def is_real(self) -> bool:
        """Whether samples have no imaginary part."""
        return self.parts == 1

    @property
    def told(self) -> str:
        """For people: ``16-bit integers, I and Q``."""
        kind = {"f": "floats", "i": "integers", "u": "unsigned integers"}[self.dtype.kind]
        order = ", big endian" if self.dtype.byteorder == ">" else ""
        return f"{8 * self.dtype.itemsize}-bit {kind}{order}, {'real' if self.is_real else 'I and Q'}"

    def complex_of(self, numbers: NDArray[np.generic]) -> NDArray[np.complex64]:
        """Numbers as they stand in the file, shape (sample · parts,), as complex64 of shape (sample,), full scale 1."""
        with np.errstate(over="ignore", invalid="ignore"):  # what holds such samples is left out
            values = numbers.astype(np.float32)
        if self.dtype.kind in "iu":
            half = 2.0 ** (8 * self.dtype.itemsize - 1)
            values = (values - np.float32(half - _MID_CODE if self.dtype.kind == "u" else 0.0)) / np.float32(half)
        return values.astype(np.complex64) if self.is_real else np.ascontiguousarray(values).view(np.complex64)


def taking_from_file(path: Path, kind: SampleType, skipped_before: Callable[[int], int] | None = None) -> Taking:
    """A way to take samples out of a file. ``skipped_before``: bytes before a sample that are no samples.

    Taking raises InputError when reading fails.
    """

    def take(first: int, count: int) -> NDArray[np.complex64]:
        try:
            offset = (0 if skipped_before is None else skipped_before(first)) + first * kind.sample_bytes
            numbers = np.fromfile(path, kind.dtype, count * kind.parts, offset=offset)
        except OSError as error:
            raise InputError(f"reading stopped ({(error.strerror or 'unknown reason').lower()})", path=path) from error
        return kind.complex_of(numbers[: numbers.size // kind.parts * kind.parts])

    return take


def blocks_of(take: Taking, first: int, count: int) -> Iterator[NDArray[np.complex64]]:
    """The samples from ``first`` on, in blocks of bounded size."""
    for start in range(first, first + count, BLOCK_SAMPLES):
        yield take(start, min(BLOCK_SAMPLES, first + count - start))


def share_clipped(take: Taking, first: int, count: int, kind: SampleType) -> float:
    """Share (0 to 1) of the first samples that stand at an end of the scale; 0 for floats, which have no end."""
    if kind.dtype.kind == "f":
        return 0.0
    samples = take(first, min(count, BLOCK_SAMPLES))
    limit = 1.0 - 1.25 / 2 ** (8 * kind.dtype.itemsize - 1)
    at_end = (np.abs(samples.real) >= limit) | (np.abs(samples.imag) >= limit)
    return float(at_end.mean()) if samples.size else 0.0


def _dtype(kind: str, bits: int, big_endian: bool) -> np.dtype[np.generic]:
    return np.dtype(f"{'>' if big_endian else '<'}{kind}{bits // 8}")
