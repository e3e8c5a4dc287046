"""Levels as bytes: whole numbers of the source's own step, bytes sorted by their weight, then zstd with its checksum.

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
RAW = "f4"  # float32 as they are
WHOLE = "i"  # signed whole numbers of a step
FROM_MEAN = "d"  # the whole numbers of each bin's mean, then what each sweep differs from them, signs folded in
_LEVEL = 3  # of zstd: finer ones gain 2 to 8 % at 4 to 14 times the time
_LOOKED_AT = 256  # levels that a step is tried on before it is tried on all
_WORTH_A_MEAN = 8  # sweeps: below, the means take more room than they save


class DamagedLevelsError(ValueError):
    """Bytes that hold no levels of this shape."""


def encoded(levels_db: NDArray[np.float32]) -> tuple[str, bytes]:
    """Levels [dB or dBm], float32, shape (sweep, bin) or (bin,), NaN allowed, as the name of a coding and bytes."""
    levels_db = np.ascontiguousarray(levels_db, dtype=np.float32)
    coding, numbers = _coded(levels_db)
    return coding, _zstd().ZstdCompressor(level=_LEVEL, write_checksum=True).compress(_shuffled(numbers))


def decoded(coding: str, packed: bytes, shape: tuple[int, ...]) -> NDArray[np.float32]:
    """The levels again, float32 of this shape. Raises DamagedLevelsError where the bytes do not hold them."""
    count = int(np.prod(shape))
    if coding == RAW:
        return _unshuffled(_unpacked(packed, 4 * count), "<f4").astype(np.float32).reshape(shape)
    kind, width, parts = coding[:1], coding[1:2], coding[3:]
    if kind not in (WHOLE, FROM_MEAN) or width not in ("2", "4") or not parts.isdecimal() or not int(parts):
        raise DamagedLevelsError(f"the coding {coding!r} is not known")
    if kind == WHOLE:
        numbers = _unshuffled(_unpacked(packed, count * int(width)), f"<i{width}").reshape(shape)
        holes = numbers == _hole(int(width))
    else:
        numbers, holes = _from_mean(_unpacked(packed, (count + shape[-1]) * int(width)), width, shape)
    levels_db = (numbers / int(parts)).astype(np.float32)
    levels_db[holes] = np.nan
    return levels_db


def _coded(levels_db: NDArray[np.float32]) -> tuple[str, NDArray[Any]]:
    """The coarsest step that gives every level back, and the levels as whole numbers of it; else the levels."""
    holes = np.isnan(levels_db)
    measured = levels_db[~holes]
    stride = max(1, measured.size // _LOOKED_AT)
    for parts in PARTS:
        if _is_exact(measured[::stride], parts) and _is_exact(measured, parts):
            largest = float(np.abs(measured).max()) * parts if measured.size else 0.0
            width = 2 if largest < 2**14 else 4
            if largest >= 2**30:
                break
            numbers = np.full(levels_db.shape, _hole(width), dtype=f"<i{width}")
            numbers[~holes] = np.rint(measured.astype(np.float64) * parts)
            if levels_db.ndim == 2 and levels_db.shape[0] >= _WORTH_A_MEAN:
                return f"{FROM_MEAN}{width}/{parts}", _to_mean(numbers, holes)
            return f"{WHOLE}{width}/{parts}", numbers
    return RAW, levels_db.astype("<f4")


def _hole(width: int) -> int:
    """The whole number that stands for NaN."""
    return -(1 << (8 * width - 1))


def _to_mean(numbers: NDArray[Any], holes: NDArray[np.bool_]) -> NDArray[Any]:
    """A first row with the mean of each bin, then the differences from it; 0, -1, 1, -2 ... become 0, 1, 2, 3 ...

    The bytes of higher weight are then nearly all nought. The largest number stands for NaN.
    """
    kind = f"<u{numbers.itemsize}"
    counts = np.maximum(1, (~holes).sum(axis=0))
    means = np.rint(np.where(holes, 0, numbers).sum(axis=0, dtype=np.int64) / counts).astype(np.int64)
    differences = numbers.astype(np.int64) - means
    folded = ((differences << 1) ^ (differences >> 63)).astype(kind)
    folded[holes] = np.iinfo(kind).max
    return np.concatenate([((means << 1) ^ (means >> 63)).astype(kind)[None], folded])


def _from_mean(raw: bytes, width: str, shape: tuple[int, ...]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """The whole numbers again, and where there are none."""
    folded = _unshuffled(raw, f"<u{width}").reshape(-1, shape[-1])
    holes = folded[1:] == np.iinfo(folded.dtype).max
    wide = folded.astype(np.int64)
    signed = (wide >> 1) ^ -(wide & 1)
    return (signed[1:] + signed[0]).reshape(shape), holes.reshape(shape)


def _is_exact(levels_db: NDArray[np.float32], parts: int) -> bool:
    """Whether each level is a whole number of steps, to the last bit (minus nought is not nought)."""
    if not bool(np.isfinite(levels_db).all()):
        return False
    again = (np.rint(levels_db.astype(np.float64) * parts) / parts + 0.0).astype(np.float32)
    return bool(np.array_equal(again.view(np.uint32), levels_db.view(np.uint32)))


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
