"""What a site and a show say otherwise of the same thing, value by value, for people."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Any

from fallow.showfile.carrying import Carried
from fallow.showfile.kinds import SETTINGS
from fallow.showfile.values import AreaPair, Setting, SurveyHead
from fallow.spectrum.chain import GainCurve
from fallow.units import format_mhz, format_width

__all__ = ["Replaced", "replaced_by"]

_NAMES = {"name", "part", "id", "channel"}
_NO_PART = {AreaPair: {"area", "other"}, SurveyHead: {"series", "added", "notes"}}
_UNSAID = "nothing"


@dataclass(frozen=True)
class Replaced:
    """A figure that differs: of what it is (``guest``), the kind of that, which (``frequency``), and both, as told."""

    kind: str
    name: str
    figure: str
    new: str
    old: str

    def __str__(self) -> str:
        return f"{self.about} {self.new} in place of {self.old}"

    @property
    def about(self) -> str:
        """Of what it is, and which figure, unless the thing is but one: ``guest: frequency``, ``region``."""
        return self.name if self.figure == self.name else f"{self.name}: {self.figure}"


def replaced_by(carried: Carried) -> tuple[Replaced, ...]:
    """Each figure that a value has otherwise than the one in whose place it would stand; none where there is none."""
    if carried.there is None:
        return ()
    name = _name(carried)
    return tuple(_figures(carried, name)) or (Replaced(carried.kind.name, name, name, "as it is there", "another one"),)


def _name(carried: Carried) -> str:
    value = carried.value
    if isinstance(value, AreaPair):
        return " and ".join(sorted((value.area, value.other)))
    if hasattr(value, "channel"):
        return f"TV channel {value.channel}{f' in {value.area}' if value.area else ''}"
    return str(carried.kind.key(value))


def _figures(carried: Carried, name: str) -> Iterator[Replaced]:
    new, old = carried.value, carried.there
    for one in fields(new):
        values = getattr(new, one.name), getattr(old, one.name)
        if one.name in _NAMES or one.name in _NO_PART.get(type(new), ()) or _same(*values):
            continue
        figure = one.name.removesuffix("_hz").removesuffix("_db").replace("_", " ")
        figure = name if isinstance(new, Setting) else figure
        first, second = (_told(value, one.name, carried) for value in values)
        yield Replaced(carried.kind.name, name, figure, first, second)


def _same(one: Any, other: Any) -> bool:
    return one is other or (not isinstance(one, GainCurve) and type(one) is type(other) and bool(one == other))


def _told(value: Any, field: str, carried: Carried) -> str:
    if carried.kind is not SETTINGS and field == "loss_db" and value is None:
        return "apart"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None or value in ("", ()):
        return _UNSAID
    if field.endswith("_hz"):
        return f"{format_mhz(value)} MHz" if field == "frequency_hz" else format_width(value)
    if field.endswith("_db") and isinstance(value, int | float):
        return f"{value:g} dB"
    if field == "sources":
        return f"{len(value)} file{'' if len(value) == 1 else 's'}"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {text}" for key, text in value.items()) or _UNSAID
    return str(value) if isinstance(value, str | int | float) else "a curve"
