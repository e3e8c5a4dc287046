"""Values carried from one show file into another, surveys with their sweeps."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fallow.showfile.changing import Change
from fallow.showfile.images import image_of, written
from fallow.showfile.kinds import KindOfItem
from fallow.showfile.store import ShowFile
from fallow.showfile.sweeps import copy_series
from fallow.showfile.values import AreaPair, SurveyHead

__all__ = ["Carried", "carry", "to_carry"]


@dataclass(frozen=True)
class Carried:
    """A value that the other file lacks, or has otherwise. ``there``: what stands there, ``None``: nothing."""

    kind: KindOfItem[Any]
    value: Any
    there: Any | None


def to_carry(
    source: ShowFile, to: ShowFile, kinds: Iterable[KindOfItem[Any]], wanted: Callable[[Any], bool]
) -> tuple[Carried, ...]:
    """The wanted values of these kinds that the other file lacks or has otherwise. Raises InputError for damage.

    The sweeps of a survey are the same where they are from the same files.
    """
    found = [
        Carried(kind, value, to.get(kind, kind.key(value)))
        for kind in kinds
        for value in source.all(kind)
        if wanted(value)
    ]
    return tuple(one for one in found if one.there is None or not _alike(one.value, one.there))


def carry(source: ShowFile, change: Change, carried: Sequence[Carried]) -> None:
    """Put values into another file, within its change: new ones, and in place of what differs."""
    with source.snapshot():
        for one in carried:
            change.put(one.kind, _brought(source, change, one))


def _alike(value: Any, there: Any) -> bool:
    if isinstance(value, AreaPair):
        return bool(value.loss_db == there.loss_db)  # whichever of the two is named first
    if isinstance(value, SurveyHead) and _has_same_sweeps(value, there):
        return (value.area, value.is_reference) == (there.area, there.is_reference)
    return written(image_of(value)) == written(image_of(there))


def _has_same_sweeps(survey: SurveyHead, there: SurveyHead) -> bool:
    return bool(survey.sources) and survey.sources == there.sources


def _brought(source: ShowFile, change: Change, carried: Carried) -> Any:
    """The value; a survey with its sweeps copied where they are not there already."""
    value, there = carried.value, carried.there
    if not isinstance(value, SurveyHead):
        return value
    if there is not None and _has_same_sweeps(value, there):
        return replace(value, series=there.series)
    numbers = tuple(copy_series(source.connection, one, change.connection, source.path) for one in value.series)
    return replace(value, series=numbers)
