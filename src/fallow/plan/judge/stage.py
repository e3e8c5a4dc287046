"""A plan set up to be judged: its carriers among strangers, each of ours with what law and air say of its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fallow.errors import UsageError
from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.footing import Footing
from fallow.plan.places import Ground
from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment
from fallow.show.link import Link
from fallow.show.wanted import Wanted

__all__ = ["Stage", "carrier_of"]


@dataclass(frozen=True, eq=False)
class Stage:
    """Rows of a plan as carriers.

    ``company``: ours in the order of the rows, then the foreign carriers. ``footings``: of ours, in the same order. The
    names of rows that are not judged: ``unplanned`` choose their own channels, ``without_frequency`` have none. Rows in
    ``different`` say something else than the list of links. ``listed_groups``: those that any listed link is in,
    whether it stands or not.
    """

    company: Company
    footings: tuple[Footing, ...]
    ground: Ground | None
    unplanned: tuple[str, ...]
    without_frequency: tuple[str, ...]
    different: tuple[str, ...]
    listed_groups: frozenset[str] = frozenset()

    @classmethod
    def of(cls, rows: Sequence[Assignment], wanted: Wanted, ground: Ground | None) -> Stage:
        """Set up a plan. A row whose link is listed stands for that link, any other for itself; spares are always on.

        Raises UsageError for equipment that is not known.
        """
        listed = {link.name: link for link in wanted.links}
        planned = [row for row in rows if row.link not in listed or listed[row.link].planned]
        footings = tuple(
            _footing(row, row.frequency_hz, listed.get(row.link), wanted, ground)
            for row in planned
            if row.frequency_hz is not None
        )
        strangers = [Carrier.of_stranger(foreign) for foreign in wanted.foreign]
        judged = [row for row in planned if row.frequency_hz is not None and row.link in listed]
        return cls(
            Company((*(footing.carrier for footing in footings), *strangers), wanted.losses, wanted.groupings),
            footings,
            ground,
            unplanned=tuple(row.link for row in rows if row.link in listed and not listed[row.link].planned),
            without_frequency=tuple(row.link for row in planned if row.frequency_hz is None),
            different=tuple(row.link for row in judged if _differs(row, listed[row.link])),
            listed_groups=frozenset[str]().union(*(link.groups for link in wanted.links)),
        )


def carrier_of(row: Assignment, frequency_hz: int, link: Link | None, wanted: Wanted) -> Carrier:
    """The carrier that a row of a plan stands for, at a frequency. ``link``: its link, where the list has one.

    Raises UsageError for equipment that is not known.
    """
    meant: Assignment | Link = row if link is None else link
    equipment = _equipment(row, meant.equipment, wanted)
    scenes = frozenset[str]() if row.is_spare and link is None else meant.scenes
    groups = frozenset[str]() if link is None else link.groups
    return Carrier.of_ours(row.link, equipment, meant.area, scenes, frequency_hz, groups)


def _footing(row: Assignment, frequency_hz: int, link: Link | None, wanted: Wanted, ground: Ground | None) -> Footing:
    carrier = carrier_of(row, frequency_hz, link, wanted)
    return Footing.of(carrier, _equipment(row, (row if link is None else link).equipment, wanted), ground)


def _equipment(row: Assignment, name: str, wanted: Wanted) -> Equipment:
    if name in wanted.equipment:
        return wanted.equipment[name]
    what = f"the equipment {name!r} of {row.link} is not known" if name else f"{row.link} has no equipment"
    raise UsageError(what, line=row.line, hint="name it as in the table of equipment")


def _differs(row: Assignment, link: Link) -> bool:
    said = ((row.equipment, link.equipment), (row.area, link.area), (row.scenes, link.scenes))
    return any(in_plan and in_plan != in_list for in_plan, in_list in said)
