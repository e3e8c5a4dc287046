"""Values of the show for people: what one says of itself, and what changed in it, field by field."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fallow.units import format_mhz, format_width

__all__ = ["brief", "field_text", "told_change"]

LONGEST = 60  # letters of one field
_NOT_FOR_PEOPLE = ("series", "made", "added", "stated")  # numbers and times that fallow keeps for itself
_PLACES = ("frequency_hz", "return_hz", "presets_hz")


def told_change(before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """What differs between two images of a value."""
    before, after = _flat(before), _flat(after)
    names = [name for name in {**before, **after} if before.get(name) != after.get(name)]
    for_people = [name for name in names if name not in _NOT_FOR_PEOPLE]
    told = [
        f"{_name(name)} {field_text(name, before.get(name))} -> {field_text(name, after.get(name))}"
        for name in for_people
    ]
    if "series" in names:
        told.append("other sweeps")
    return "; ".join(told) or "in what fallow keeps for itself"


def brief(image: Mapping[str, Any]) -> str:
    """What a new value says for itself."""
    image = _flat(image)
    said = [str(image[name]) for name in ("text", "value", "equipment", "area") if image.get(name)]
    said += [field_text("frequency_hz", image["frequency_hz"])] if image.get("frequency_hz") else []
    return ", ".join(said)[:200]


def _flat(image: Mapping[str, Any]) -> dict[str, Any]:
    """An image with the columns that fallow does not know, and the row of a plan, beside its own fields."""
    flat = dict(image)
    for name in ("assignment", "extra"):
        if isinstance(image.get(name), dict):
            flat |= flat.pop(name)
    return {name: value for name, value in flat.items() if not (name == "extra" and not value)}


def _name(name: str) -> str:
    for unit in ("_hz", "_db", "_dbm", "_mw", "_m"):
        name = name.removesuffix(unit)
    return name.replace("_", " ")


def field_text(name: str, value: Any) -> str:
    """A field of an image with its unit, without brackets or quotation marks."""
    if value is None or value in ([], "", {}):
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = ", ".join(_item(name, one) for one in value) if isinstance(value, list) else _item(name, value)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


def _item(name: str, value: Any) -> str:
    """One thing of a list, or a field that is none."""
    if isinstance(value, dict):
        return str(value["name"]) if "name" in value else ", ".join(f"{key} {one}" for key, one in value.items())
    if isinstance(value, list):
        ends = [one / 1e6 if name in ("tuning", "ranges") and isinstance(one, int) else one for one in value]
        return "-".join(f"{end:g}" if isinstance(end, float) else str(end) for end in ends)
    if isinstance(value, int) and name in _PLACES:
        return f"{format_mhz(value)} MHz"
    if isinstance(value, int) and name.endswith("_hz"):
        return format_width(value)
    units = {"_db": " dB", "_dbm": " dBm", "_mw": " mW"}
    return f"{value}{next((unit for end, unit in units.items() if name.endswith(end)), '')}"
