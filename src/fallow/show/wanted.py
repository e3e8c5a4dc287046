"""Everything that a plan is asked for, as one value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from fallow.show.equipment import Equipment
from fallow.show.grouping import Groupings
from fallow.show.link import AreaLosses, ForeignCarrier, Link, Station

__all__ = ["Wanted"]


@dataclass(frozen=True)
class Wanted:
    """The links of a show, what they are made of, which areas hear each other, the strangers on the air, and which
    groups of links keep apart or together.
    """

    links: tuple[Link, ...]
    equipment: Mapping[str, Equipment]
    losses: AreaLosses = AreaLosses()
    foreign: tuple[ForeignCarrier, ...] = ()
    stations: tuple[Station, ...] = ()
    groupings: Groupings = Groupings()

    def with_product_width(self) -> Wanted:
        """The same with the distances of products counted from their edges, whatever the equipment says."""
        equipment = {name: replace(each, product_width=True) for name, each in self.equipment.items()}
        foreign = tuple(replace(each, product_width=True) for each in self.foreign)
        return replace(self, equipment=equipment, foreign=foreign)
