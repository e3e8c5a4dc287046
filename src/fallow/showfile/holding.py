"""What can be asked for values: the show as it is, and the show as it was."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Protocol, TypeVar

from fallow.errors import FallowError, InputError
from fallow.showfile.history import Row
from fallow.showfile.images import value_from
from fallow.showfile.kinds import KindOfItem
from fallow.showfile.mishaps import DAMAGED_HINT

__all__ = ["Holding", "Past", "value_of"]

T = TypeVar("T")


class Holding(Protocol):
    """A show at some moment."""

    def all(self, kind: KindOfItem[T]) -> tuple[T, ...]:
        """All values of a kind, in their order."""

    def get(self, kind: KindOfItem[T], key: str) -> T | None:
        """One value, ``None`` where there is none of that key."""


class Past:
    """The show as it was after some change. ``state``: rows by kind and key."""

    def __init__(self, state: Mapping[tuple[str, str], Row], path: Path) -> None:
        self.state = state
        self._path = path

    def all(self, kind: KindOfItem[T]) -> tuple[T, ...]:
        """All values of a kind, in their order."""
        rows = [(row.place or 0, key, row.image or "") for (name, key), row in self.state.items() if name == kind.name]
        return tuple(value_of(kind, key, image, self._path) for _, key, image in sorted(rows))

    def get(self, kind: KindOfItem[T], key: str) -> T | None:
        """One value, ``None`` where there is none of that key."""
        row = self.state.get((kind.name, key))
        return None if row is None or row.image is None else value_of(kind, key, row.image, self._path)


def value_of(kind: KindOfItem[T], key: str, image: str, path: Path, hint: str = DAMAGED_HINT) -> T:
    """The value that an image shows. Raises InputError, with what is wrong and ``hint``, where it shows none."""
    try:
        return value_from(kind.type, json.loads(image))
    except (TypeError, ValueError, FallowError) as error:
        reason = error.what if isinstance(error, FallowError) else str(error)
        what = f"the {kind.word} {key!r} can't be understood ({reason})"
        raise InputError(what, path=path, hint=hint) from error
