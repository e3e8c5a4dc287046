"""Values carried from one show file into another, surveys with their sweeps."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from fallow.showfile.changing import Change
from fallow.showfile.kinds import KindOfItem
from fallow.showfile.store import ShowFile
from fallow.showfile.sweeps import copy_series
from fallow.showfile.values import SurveyHead

__all__ = ["carry"]


def carry(
    source: ShowFile, to: ShowFile, change: Change, kinds: Iterable[KindOfItem[Any]], wanted: Callable[[Any], bool]
) -> dict[str, int]:
    """Put the wanted values of these kinds into another file, within its change; returns how many are new or different
    there, by kind. A survey of the same name with the same files stays as it is. Raises InputError for damage.
    """
    counts = {}
    with source.snapshot():
        for kind in kinds:
            values = [one for one in source.all(kind) if wanted(one)]
            values = [one for one in values if not _alike(one, to.get(kind, kind.key(one)))]
            change.put(kind, *(_brought(source, change, one) for one in values))
            counts[kind.name] = len(values)
    return counts


def _alike(value: Any, there: Any) -> bool:
    if isinstance(value, SurveyHead) and there is not None:
        return bool(value.sources) and value.sources == there.sources
    return bool(value == there)


def _brought(source: ShowFile, change: Change, value: Any) -> Any:
    """The value; a survey with its sweeps copied."""
    if not isinstance(value, SurveyHead):
        return value
    numbers = tuple(copy_series(source.connection, one, change.connection, source.path) for one in value.series)
    return replace(value, series=numbers)
