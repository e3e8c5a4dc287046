"""Radio links, the places and scenes they work in, and the strangers they share the air with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["AreaLosses", "ForeignCarrier", "Link", "Station"]

LOWEST_PRIORITY = 5
MOST_LOSS_DB = 300.0  # common practice: what loses more between two areas is apart
USUAL_PRIORITY = 3
USUAL_WEIGHT = 1


@dataclass(frozen=True)
class Link:
    """One radio path that needs a frequency.

    ``scenes`` empty: always on. ``priority`` 1 (most important) to 5. ``frequency_hz``: a wish or the present
    one; it may not move when ``fixed``. ``planned`` false: a system that chooses its own channels; it is listed only.
    ``line``: where it stood in its file, for messages. ``groups``: those that it is in, see ``grouping``.
    ``return_hz``: as ``frequency_hz``, of its way back, where it has one. ``move_weight``: what it counts when a
    plan in force is kept and the link changes all the same.
    """

    name: str
    equipment: str
    area: str = ""
    scenes: frozenset[str] = frozenset()
    priority: int = USUAL_PRIORITY
    frequency_hz: int | None = None
    fixed: bool = False
    planned: bool = True
    line: int | None = None
    extra: Mapping[str, str] = field(default_factory=dict, compare=False)
    groups: frozenset[str] = frozenset()
    return_hz: int | None = None
    move_weight: int = USUAL_WEIGHT


@dataclass(frozen=True)
class ForeignCarrier:
    """A carrier that is not ours. ``area`` empty: heard everywhere.

    ``spacing_hz``: distance that our links keep from it, centre to centre. ``products``: it takes part in
    intermodulation. ``protect``: our products must keep ``spacing_hz`` from it; with ``product_width`` they keep it
    with their edges. ``extra``: columns that we don't know.
    """

    name: str
    frequency_hz: int
    bandwidth_hz: int = 0
    area: str = ""
    spacing_hz: int = 0
    products: bool = False
    protect: bool = False
    extra: Mapping[str, str] = field(default_factory=dict, compare=False)
    product_width: bool = False


@dataclass(frozen=True)
class Station:
    """A TV channel announced as on the air, by its name in the region's raster. ``area`` empty: everywhere."""

    channel: str
    area: str = ""
    source: str = ""


@dataclass(frozen=True)
class AreaLosses:
    """Which areas hear each other: pairs not named fully, ``apart`` pairs not at all, the rest with ``loss_db``."""

    apart: frozenset[frozenset[str]] = frozenset()
    loss_db: Mapping[frozenset[str], float] = field(default_factory=dict)

    @property
    def pairs(self) -> frozenset[frozenset[str]]:
        """All pairs of areas that are named."""
        return self.apart | frozenset(self.loss_db)

    def hears(self, area: str, other: str) -> bool:
        """Whether receivers in ``area`` hear carriers of ``other``. The empty area is everywhere."""
        return area == other or not area or not other or frozenset((area, other)) not in self.apart
