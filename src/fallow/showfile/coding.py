"""Levels as bytes: whole numbers of the source's own step, bytes sorted by their weight, then zstd.

An instrument that shows tenths of a decibel says nothing finer, and whole tenths pack into a third of what float32
takes. The step is found from the levels alone and proven on each of them: every float32 comes back bit by bit, else
float32 itself is kept. NaN (not measured) stays NaN, whichever of its bit patterns it had.
"""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError

__all__ = ["DamagedLevelsError", "decoded", "encoded"]

# What a decibel is divided into, coarse before fine: decimal steps as files print them, binary ones as converters give.
PARTS = (1, 2, 4, 5, 8, 10, 16, 20, 32, 50, 64, 100, 128, 200, 256, 500, 1000, 1024, 10_000)
RAW = "f4"
_HOLE = {"i2": -(2**15), "i4": -(2**31)}
_MOST = {"i2": 2**15 - 1, "i4": 2**31 - 1}
_LEVEL = 3  # of zstd: finer ones gain 2 to 8 % at 4 to 14 times the time
_LOOKED_AT = 256  # levels that a step is tried on before it is tried on all


class DamagedLevelsError(ValueError):
    """Bytes that hold no levels of this shape."""


def encoded(levels_db: NDArray[np.float32]) -> tuple[str, bytes]:
    """Levels [dB or dBm], float32 of any shape, NaN allowed, as the name of a coding and bytes."""
    coding, numbers = _coded(np.ascontiguousarray(levels_db, dtype=np.float32).ravel())
    return coding, _zstd().ZstdCompressor(level=_LEVEL).compress(_shuffled(numbers))


def decoded(coding: str, packed: bytes, shape: tuple[int, ...]) -> NDArray[np.float32]:
    """The levels again, float32 of this shape. Raises DamagedLevelsError where the bytes do not hold them."""
    kind, _, parts = coding.partition("/")
    count = int(np.prod(shape))
    if kind != RAW and (kind not in _HOLE or not parts.isdecimal() or not int(parts)):
        raise DamagedLevelsError(f"the coding {coding!r} is not known")
    numbers = _unshuffled(_unpacked(packed, count * int(kind[1])), f"<{kind}")
    if kind == RAW:
        return numbers.astype(np.float32).reshape(shape)
    levels_db = (numbers / int(parts)).astype(np.float32)
    levels_db[numbers == _HOLE[kind]] = np.nan
    return levels_db.reshape(shape)


def _coded(levels_db: NDArray[np.float32]) -> tuple[str, NDArray[Any]]:
    """The coarsest step that gives every level back, and the levels as multiples of it; else the levels."""
    measured = levels_db[~np.isnan(levels_db)]
    stride = max(1, measured.size // _LOOKED_AT)
    for parts in PARTS:
        if _is_exact(measured[::stride], parts) and _is_exact(measured, parts):
            kind = "i2" if _fits(measured, parts, "i2") else "i4"
            if not _fits(measured, parts, kind):
                break
            numbers = np.full(levels_db.shape, _HOLE[kind], dtype=f"<{kind}")
            numbers[~np.isnan(levels_db)] = np.rint(measured.astype(np.float64) * parts)
            return f"{kind}/{parts}", numbers
    return RAW, levels_db.astype("<f4")


def _is_exact(levels_db: NDArray[np.float32], parts: int) -> bool:
    """Whether each level is a whole number of steps, to the last bit (minus nought is not nought)."""
    if not bool(np.isfinite(levels_db).all()):
        return False
    again = (np.rint(levels_db.astype(np.float64) * parts) / parts + 0.0).astype(np.float32)
    return bool(np.array_equal(again.view(np.uint32), levels_db.view(np.uint32)))


def _fits(levels_db: NDArray[np.float32], parts: int, kind: str) -> bool:
    return not levels_db.size or float(np.abs(levels_db).max()) * parts < _MOST[kind]


def _shuffled(numbers: NDArray[Any]) -> bytes:
    """All lowest bytes, then all next ones: what hardly varies then stands together."""
    width = numbers.dtype.itemsize
    return numbers.view(np.uint8).reshape(-1, width).T.tobytes()


def _unshuffled(raw: bytes, kind: str) -> NDArray[Any]:
    width = np.dtype(kind).itemsize
    return np.frombuffer(raw, dtype=np.uint8).reshape(width, -1).T.copy().view(kind).ravel()


def _unpacked(packed: bytes, size: int) -> bytes:
    """The bytes behind, if there are ``size`` of them: a damaged file does not choose how much memory is taken."""
    zstd = _zstd()
    try:
        if zstd.frame_content_size(packed) != size:
            raise DamagedLevelsError("the levels are of another size than is stated")
        return bytes(zstd.ZstdDecompressor().decompress(packed, max_output_size=size))
    except zstd.ZstdError as error:
        raise DamagedLevelsError(f"the levels can't be unpacked ({error})") from error


@functools.cache
def _zstd() -> Any:
    """The library, loaded when sweeps are first kept or read."""
    try:
        import zstandard  # heavy: not wanted by shows without sweeps
    except ImportError as error:
        hint = "install it: pip install zstandard"
        raise UsageError("sweeps in a show file need the Python package zstandard", hint=hint) from error
    return zstandard
