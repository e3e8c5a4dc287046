"""The levels of many sweeps as one array that is never held as such: parts as they were read, corrected when asked for.

A day of sweeps is hundreds of megabytes. A corrected or joined copy of it would double that, so corrections are applied
to whatever piece is asked for, and whoever needs all of it goes through it block by block.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

__all__ = ["AT_ONCE", "Levels"]

AT_ONCE = 1_000_000  # levels that are worked on at once: 8 MB in float64, about what a processor keeps near
Several = slice | NDArray[np.integer] | NDArray[np.bool_]
Places = int | Several


@dataclass(frozen=True, eq=False)
class Levels:
    """Levels of shape (sweep, bin), NaN where not measured: ``parts`` below each other, each of that shape, corrected.

    ``added_db``: [dB], shape (bin,), what is added to each reading; where it is NaN nothing was measured. Readings
    below ``lowest_db`` (after that) and all readings of ``hidden`` bins are not measured either. Indexing by sweeps,
    or by sweeps and bins, gives an array of its own, float32; so does ``numpy.asarray``, which holds all of it.
    """

    parts: tuple[NDArray[np.floating], ...]
    added_db: NDArray[np.float32] | None = None
    lowest_db: float = -np.inf
    hidden: NDArray[np.bool_] | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """How many sweeps and bins there are."""
        return sum(part.shape[0] for part in self.parts), int(self.parts[0].shape[1])

    @property
    def size(self) -> int:
        """How many levels there are."""
        sweeps, bins = self.shape
        return sweeps * bins

    def __len__(self) -> int:
        return self.shape[0]

    def __getitem__(self, key: Places | tuple[Places, Places]) -> NDArray[np.float32]:
        rows, bins = key if isinstance(key, tuple) else (key, slice(None))
        some_rows, some_bins = _places(rows, self.shape[0], "sweep"), _places(bins, self.shape[1], "bin")
        found = self.corrected(self._readings(some_rows, some_bins), some_bins)
        found = found[0] if some_rows is not rows else found
        return np.asarray(found[..., 0] if some_bins is not bins else found)

    def __iter__(self) -> Iterator[NDArray[np.float32]]:
        for _, block in self.blocks():
            yield from block

    def __array__(self, dtype: np.dtype | None = None, copy: bool | None = None) -> NDArray[np.floating]:
        whole = self[:]
        return whole if dtype is None else whole.astype(dtype, copy=False)

    def blocks(self, at_once: int = AT_ONCE) -> Iterator[tuple[slice, NDArray[np.float32]]]:
        """All sweeps in blocks of about ``at_once`` levels: which sweeps, and their levels, shape (sweep, bin)."""
        rows = max(1, at_once // self.shape[1])
        before = 0
        for part in self.parts:
            for begin in range(0, part.shape[0], rows):
                piece = np.array(part[begin : begin + rows], dtype=np.float32)
                yield slice(before + begin, before + begin + piece.shape[0]), self.corrected(piece, slice(None))
            before += part.shape[0]

    def sweeps(self, begin: int, end: int) -> Levels:
        """The levels of some sweeps alone; nothing is copied."""
        kept, before = [], 0
        for part in self.parts:
            kept.append(part[max(0, begin - before) : max(0, end - before)])
            before += part.shape[0]
        return replace(self, parts=tuple(part for part in kept if part.shape[0]) or (self.parts[0][:0],))

    def raised_by(self, shift_db: float) -> Levels:
        """The same levels, each ``shift_db`` higher; nothing is copied."""
        added = np.zeros(self.shape[1], dtype=np.float32) if self.added_db is None else self.added_db
        return replace(self, added_db=added + np.float32(shift_db), lowest_db=self.lowest_db + shift_db)

    def corrected(self, readings: NDArray[np.float32], bins: Several) -> NDArray[np.float32]:
        """Readings of the given bins, shape (sweep, bin), as levels; the array given is changed and given back."""
        if self.added_db is not None:
            readings += self.added_db[bins]
        readings[np.isinf(readings)] = np.nan
        if self.lowest_db > -np.inf:
            readings[readings < np.float32(self.lowest_db)] = np.nan
        if self.hidden is not None:
            readings[:, self.hidden[bins]] = np.nan
        return readings

    def _readings(self, rows: Several, bins: Several) -> NDArray[np.float32]:
        """Readings as they are, in an array of their own."""
        if len(self.parts) == 1:
            return np.array(self.parts[0][rows][:, bins], dtype=np.float32)
        found = np.empty((np.arange(len(self))[rows].size, np.arange(self.shape[1])[bins].size), dtype=np.float32)
        for there, part, here in self._homes(rows):
            found[there] = part[here][:, bins]
        return found

    def _homes(self, rows: Several) -> Iterator[tuple[Several, NDArray[np.floating], Several]]:
        """For each part that holds some of the rows: their places among the rows, the part, their places in it."""
        if isinstance(rows, slice) and rows.step in (None, 1):
            first, last, _ = rows.indices(len(self))
            before = 0
            for part in self.parts:
                begin, end = max(0, first - before), min(part.shape[0], last - before)
                if begin < end:
                    yield slice(before + begin - first, before + end - first), part, slice(begin, end)
                before += part.shape[0]
            return
        wanted = np.arange(len(self))[rows]
        ends = np.cumsum([part.shape[0] for part in self.parts])
        home = np.searchsorted(ends, wanted, side="right")
        for index in np.unique(home):
            places = np.flatnonzero(home == index)
            yield places, self.parts[index], wanted[places] - (ends[index] - self.parts[index].shape[0])


def _places(key: Places, count: int, what: str) -> Several:
    """A number as a slice of one; anything else as it is. Raises IndexError for a number that is none of ``count``."""
    if not isinstance(key, int | np.integer):
        return key
    if not -count <= key < count:
        raise IndexError(f"there are {count} {what}s, and none with the number {key}")
    return slice(int(key) % count, int(key) % count + 1)
