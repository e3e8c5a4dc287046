"""A part of the chain as an image, with its curves over frequency."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.chain import ChainPart, Reflections
from fallow.spectrum.curve import Curve, GainCurve

__all__ = ["chain_part_from", "chain_part_image"]

Image = Mapping[str, Any]


def chain_part_image(part: ChainPart) -> Image:
    """A part as a JSON object: a number, or a curve as lists of hertz and of values."""
    sides = part.reflections
    return {
        "part": part.part,
        "kind": part.kind,
        "gain_db": _gain_image(part.gain_db),
        "u_db": part.u_db,
        "reflections": None
        if sides is None
        else {
            "towards_antenna": _side_image(sides.towards_antenna),
            "towards_instrument": _side_image(sides.towards_instrument),
        },
        "reverse_db": None if part.reverse_db is None else _curve_image(part.reverse_db),
        "gain_known": part.gain_known,
        "notes": list(part.notes),
    }


def chain_part_from(image: Image) -> ChainPart:
    """The part that an image shows. Raises KeyError, TypeError or UsageError where it is none."""
    sides, reverse = image.get("reflections"), image.get("reverse_db")
    return ChainPart(
        part=image["part"],
        kind=image["kind"],
        gain_db=_gain(image["gain_db"]),
        u_db=image["u_db"],
        reflections=None
        if sides is None
        else Reflections(_side(sides["towards_antenna"]), _side(sides["towards_instrument"])),
        reverse_db=None if reverse is None else _curve(reverse),
        gain_known=image.get("gain_known", True),
        notes=tuple(image.get("notes", ())),
    )


def _gain_image(gain_db: float | GainCurve) -> float | Image:
    if not isinstance(gain_db, GainCurve):
        return gain_db
    u_db = None if gain_db.u_db is None else _numbers(gain_db.u_db)
    return {"frequencies_hz": _numbers(gain_db.frequencies_hz), "gains_db": _numbers(gain_db.gains_db), "u_db": u_db}


def _gain(image: float | Image) -> float | GainCurve:
    if not isinstance(image, Mapping):
        return image
    u_db = image.get("u_db")
    return GainCurve(_array(image["frequencies_hz"]), _array(image["gains_db"]), None if u_db is None else _array(u_db))


def _side_image(side: float | Curve) -> float | Image:
    return _curve_image(side) if isinstance(side, Curve) else side


def _side(image: float | Image) -> float | Curve:
    return _curve(image) if isinstance(image, Mapping) else image


def _curve_image(curve: Curve) -> Image:
    return {"frequencies_hz": _numbers(curve.frequencies_hz), "values": _numbers(curve.values)}


def _curve(image: Image) -> Curve:
    return Curve(_array(image["frequencies_hz"]), _array(image["values"]))


def _numbers(values: NDArray[np.float64]) -> list[float]:
    return [float(value) for value in values]


def _array(numbers: list[float]) -> NDArray[np.float64]:
    return np.array(numbers, dtype=np.float64)
