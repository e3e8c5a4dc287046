"""Both directions of a link: one to the pack and one back, as two links that are planned together.

A link whose equipment has a way back stands for two: itself, and ``NAME return`` of the equipment ``EQUIPMENT
return``. Names alone tell which belong together, so that a plan from anywhere can be judged.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from fallow.errors import UsageError
from fallow.show.equipment import Duplex, Equipment
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span

__all__ = ["RETURN", "both_directions", "return_name", "unfolded", "way_back"]

RETURN = " return"


def return_name(name: str) -> str:
    """What the way back of a link, a spare or a type of equipment is called."""
    return f"{name}{RETURN}"


def both_directions(name: str, wanted: Wanted) -> tuple[str, ...]:
    """The two directions of a link by the name of either, in a show that is unfolded; nothing where it has one."""
    there = name.removesuffix(RETURN)
    has_two = any(one.name == there and wanted.equipment[one.equipment].duplex for one in wanted.links)
    return (there, return_name(there)) if has_two else ()


def unfolded(wanted: Wanted) -> Wanted:
    """The show with the way back of each link that has one as a link of its own. Raises UsageError for a name that is
    taken.
    """
    back = {name: radio for name, radio in wanted.equipment.items() if radio.duplex is not None}
    if not back:
        return wanted
    taken = {link.name for link in wanted.links}
    links = [each for link in wanted.links for each in _directions(link, back, taken)]
    derived = {return_name(name): way_back(radio) for name, radio in back.items()}
    return replace(wanted, links=tuple(links), equipment={**wanted.equipment, **derived})


def _directions(link: Link, back: dict[str, Equipment], taken: set[str]) -> Iterator[Link]:
    """A link, and its way back where it has one."""
    radio = back.get(link.equipment)
    if radio is None or radio.duplex is None or not link.planned:
        yield link
        return
    name = return_name(link.name)
    if name in taken:
        hint = "call it otherwise: that is the name of the other one's way back"
        raise UsageError(f"{name!r} is no name for a link beside {link.name!r}", line=link.line, hint=hint)
    there_hz, back_hz = link.frequency_hz, link.return_hz
    if radio.duplex.offset_hz is not None:  # what is wished of the one way is wished of the other
        there_hz = back_hz - radio.duplex.offset_hz if there_hz is None and back_hz is not None else there_hz
        back_hz = there_hz + radio.duplex.offset_hz if back_hz is None and there_hz is not None else back_hz
    yield replace(link, frequency_hz=there_hz)
    yield replace(
        link,
        name=name,
        equipment=return_name(link.equipment),
        frequency_hz=back_hz,
        fixed=link.fixed and back_hz is not None,
        return_hz=None,
        extra={},
    )


def way_back(radio: Equipment) -> Equipment:
    """The equipment of the way back: the same with its own ranges."""
    duplex = radio.duplex or Duplex()
    offset_hz = duplex.offset_hz
    if offset_hz is None:
        return replace(radio, name=return_name(radio.name), tuning=duplex.ranges, presets_hz=(), duplex=None)
    tuning = tuple(Span(span.low_hz + offset_hz, span.high_hz + offset_hz) for span in radio.tuning)
    presets_hz = tuple(hz + offset_hz for hz in radio.presets_hz)
    return replace(radio, name=return_name(radio.name), tuning=tuning, presets_hz=presets_hz, duplex=None)
