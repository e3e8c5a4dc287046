"""What is to be placed: the planned links, and the spares that come after them."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fallow.errors import UsageError
from fallow.plan.search.groups import Class, class_of_ours
from fallow.show.assignment import SPARE_PREFIX
from fallow.show.duplex import return_name
from fallow.show.equipment import Equipment
from fallow.show.link import LOWEST_PRIORITY, Link
from fallow.show.wanted import Wanted

__all__ = ["Carrier", "asked_links", "asked_spares"]

LINKS_PER_SPARE = 10  # common practice: one spare per ten links of a kind and place, at least one
SPARE_RANK = LOWEST_PRIORITY + 1


@dataclass(frozen=True)
class Carrier:
    """One thing to place. ``rank``: 1 most important … 5, 6 for a spare.

    ``fixed_hz``: it stands there whatever speaks against it. ``home_hz``: where the plan to keep has it. ``wish_hz``:
    where it would like to stand. ``weight``: what it costs to move it away from home.
    """

    name: str
    equipment: Equipment
    area: str
    rank: int
    class_index: int = -1
    fixed_hz: int | None = None
    home_hz: int | None = None
    wish_hz: int | None = None
    weight: int = 1

    @property
    def is_spare(self) -> bool:
        """Whether it is a frequency kept free rather than a link."""
        return self.rank == SPARE_RANK


def asked_links(links: Sequence[Link], wanted: Wanted, keep: Mapping[str, int]) -> list[tuple[Class, Carrier]]:
    """The planned links, each with its class. ``keep``: hertz by link of the plan in force. Raises UsageError for what
    can't be asked.
    """
    asked = []
    there = {link.name for link in links if _equipment_of(link, wanted).duplex is not None}
    tied = there | {return_name(name) for name in there}
    for link in links:
        equipment = _equipment_of(link, wanted)
        home_hz, wish_hz = keep.get(link.name), None if link.fixed else link.frequency_hz
        if link.name in tied and wish_hz is None and not link.fixed:  # a direction stays while the other moves
            wish_hz = home_hz
        if link.fixed and link.frequency_hz is None:
            raise UsageError(
                f"{link.name} is fixed, but no frequency says where", line=link.line, hint="state its frequency_mhz"
            )
        carrier = Carrier(
            link.name,
            equipment,
            link.area,
            link.priority,
            fixed_hz=link.frequency_hz if link.fixed else None,
            home_hz=home_hz,
            wish_hz=wish_hz,
            weight=link.move_weight,
        )
        groups = link.groups & wanted.groupings.names
        asked.append((class_of_ours(equipment, link.area, link.scenes, groups), carrier))
    return asked


def asked_spares(links: Sequence[Link], wanted: Wanted, spares: int | None) -> list[tuple[Class, Carrier]]:
    """Spares for each equipment in each area where links of it are, with names that nobody else has."""
    taken = {link.name for link in wanted.links}
    there = {return_name(name): name for name, radio in wanted.equipment.items() if radio.duplex is not None}
    asked = []
    for (equipment, area), count in Counter((link.equipment, link.area) for link in links).items():
        names = (_spare_name(there.get(equipment, equipment), area, number) for number in itertools.count(1))
        names = (return_name(name) for name in names) if equipment in there else names
        free = itertools.islice((name for name in names if name not in taken), _spares_for(count, spares))
        for name in list(free):
            carrier = Carrier(name, wanted.equipment[equipment], area, SPARE_RANK)
            asked.append((class_of_ours(carrier.equipment, area, frozenset()), carrier))
            taken.add(name)
    return asked


def _spares_for(links: int, spares: int | None) -> int:
    return -(-links // LINKS_PER_SPARE) if spares is None else spares


def _spare_name(equipment: str, area: str, number: int) -> str:
    return " ".join(part for part in (SPARE_PREFIX, equipment, area, str(number)) if part)


def _equipment_of(link: Link, wanted: Wanted) -> Equipment:
    if link.equipment not in wanted.equipment:
        raise UsageError(
            f"{link.name} is of the equipment {link.equipment!r}, which is not known",
            line=link.line,
            hint="add a row for it to the equipment table",
        )
    return wanted.equipment[link.equipment]
