"""Values as JSON objects and back, led by the types of their fields.

An *image* has one entry for each field of the value, under the field's name: hertz as whole numbers, decibels as
numbers, spans as two numbers, sets as sorted lists, what is not stated as null. Images of years ago stay readable: a
field that is missing has its default, one that is not known is left alone. A field that is new in a value is kept
without anybody thinking of it. Where a value stood in its file (``line``) is not kept.
"""

from __future__ import annotations

import dataclasses
import functools
import json
from collections.abc import Mapping, Set
from enum import Enum
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, cast, get_args, get_origin, get_type_hints

import numpy as np

from fallow.units import Span

__all__ = ["Image", "fields_from", "image_of", "value_from", "written"]

T = TypeVar("T")
Image = Mapping[str, Any]
NOT_KEPT = ("line",)


def written(image: Image) -> str:
    """An image as the file keeps it: equal images are equal texts. Raises ValueError for NaN and infinity."""
    return json.dumps(image, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def image_of(value: Any) -> Any:
    """A value as plain JSON data. Raises TypeError for what has no image."""
    if isinstance(value, Span):
        return [value.low_hz, value.high_hz]
    if dataclasses.is_dataclass(value):
        names = (field.name for field in dataclasses.fields(value) if field.name not in NOT_KEPT)
        return {name: image_of(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {str(name): image_of(one) for name, one in value.items()}
    if isinstance(value, Set):
        return sorted(image_of(one) for one in value)
    if isinstance(value, list | tuple):
        return [image_of(one) for one in value]
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, Enum):
        return value.value
    if value is None or isinstance(value, str | int | float):
        return value
    raise TypeError(f"{type(value).__name__} has no image")


def value_from(kind: type[T], image: Image) -> T:
    """The value of a dataclass that an image shows. Raises TypeError or ValueError where it shows none."""
    return kind(**fields_from(kind, image))


def fields_from(kind: type[Any], image: Image) -> dict[str, Any]:
    """The fields of a dataclass that an image shows. Raises TypeError or ValueError for what is none."""
    if not isinstance(image, Mapping):
        raise TypeError(f"{kind.__name__} is no {type(image).__name__}")
    hints: dict[str, Any] = _hints(kind)  # type: ignore[arg-type] # a type is hashable, which mypy does not see
    return {name: _field(name, hints[name], one) for name, one in image.items() if name in hints}


def _field(name: str, kind: Any, image: Any) -> Any:
    try:
        return _from(kind, image)
    except (TypeError, ValueError) as error:
        raise TypeError(f"{name}: {error}") from error


@functools.cache
def _hints(kind: type[Any]) -> dict[str, Any]:
    """The types of the fields of a dataclass that are kept."""
    hints = get_type_hints(kind)
    fields = dataclasses.fields(kind)
    return {field.name: hints[field.name] for field in fields if field.name not in NOT_KEPT}


def _from(kind: Any, image: Any) -> Any:
    """Plain JSON data as a value of a type."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        return _from_one_of(inner, image)
    if origin is tuple:
        kinds = [inner[0]] * len(image) if inner[-1] is Ellipsis else inner
        return tuple(_from(one, part) for one, part in zip(kinds, _checked(image, list), strict=True))
    if origin is frozenset:
        return frozenset(_from(inner[0], part) for part in _checked(image, list))
    if origin is np.ndarray:
        return np.array(_checked(image, list), dtype=np.float64)
    if origin is not None and issubclass(origin, Mapping):
        return {name: _from(inner[1], part) for name, part in _checked(image, dict).items()}
    if kind is Span:
        return Span(*_checked(image, list))
    if dataclasses.is_dataclass(kind):
        return value_from(cast("type[Any]", kind), image)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(image)
    return _scalar(kind, image)


def _checked(image: Any, kind: type[T]) -> T:
    if not isinstance(image, kind):
        raise TypeError(f"{image!r} is no {_WORDS[kind]}")
    return image


_WORDS = {str: "text", int: "whole number", float: "number", bool: "true or false", list: "list", dict: "object"}


def _from_one_of(kinds: tuple[Any, ...], image: Any) -> Any:
    """Nothing, a composed value where the image is one, else a plain one."""
    if image is None and NoneType in kinds:
        return None
    composed = [one for one in kinds if dataclasses.is_dataclass(one) and one is not Span]
    if isinstance(image, Mapping) and composed:
        return _from(composed[0], image)
    plain = [one for one in kinds if one is not NoneType and one not in composed]
    scalars = [one for one in plain if one in (str, int, float, bool)]
    return image if len(scalars) > 1 and isinstance(image, tuple(scalars)) else _from(plain[0], image)


def _scalar(kind: Any, image: Any) -> Any:
    """A text, a number, or yes and no; a whole number where any number may stand."""
    if kind is float and isinstance(image, int) and not isinstance(image, bool):
        return float(image)
    if not isinstance(image, kind) or (isinstance(image, bool) and kind is not bool):
        raise TypeError(f"{image!r} is no {_WORDS.get(kind, kind.__name__)}")
    return image
