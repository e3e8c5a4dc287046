"""Which instrument took which file: by what the user says, by what the files state, by sweeps of the same moment."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path

from fallow.files.readings import FileReading
from fallow.spectrum.found.stacking import kind_of, taken_at_once

__all__ = ["instruments_named", "told_apart"]

ONE = "one"  # a name like any other, so that nothing is told apart after all


def instruments_named(reading: FileReading, by: str | None) -> FileReading:
    """A reading whose series name their instrument as the user says. ``by``: ``files``, ``folders``, ``one`` (all of
    one instrument), or ``None`` (as the file states).
    """
    if by is None:
        return reading
    path = Path(reading.path)
    name = {"files": reading.path, "folders": str(path.parent), "one": ONE}[by]
    return replace(reading, series=tuple(replace(series, instrument=name) for series in reading.series))


def told_apart(readings: Sequence[FileReading]) -> tuple[tuple[FileReading, ...], tuple[str, ...]]:
    """Files of one kind whose sweeps were taken at the same moments come from as many instruments: their series are
    named by their files. With notes for people.
    """
    alike: dict[Hashable, list[FileReading]] = {}
    for reading in readings:
        for kind in {kind_of(series) for series in reading.series if not series.instrument}:
            alike.setdefault(kind, []).append(reading)
    apart: set[str] = set()
    notes: list[str] = []
    for same in alike.values():
        couples = [_at_once(one, other) for one, other in combinations(same, 2)]
        if couples and all(couples):
            apart |= {reading.path for reading in same}
            notes.append(
                f"{len(same)} files hold sweeps of one kind and of the same moments: taken as {len(same)} instruments "
                "(--instruments one says otherwise)"
            )
        elif any(couples):
            notes.append(
                "some files hold sweeps of one kind and of the same moments, so that there was more than one "
                "instrument: they are taken as one, until --instruments says files or folders"
            )
    named = tuple(instruments_named(one, "files") if one.path in apart else one for one in readings)
    return named, tuple(dict.fromkeys(notes))


def _at_once(one: FileReading, other: FileReading) -> bool:
    """Whether two files of one kind show the same moments, and are no copies of each other."""
    for mine in one.series:
        for theirs in other.series:
            if kind_of(mine) == kind_of(theirs) and taken_at_once(mine, theirs):
                return True
    return False
