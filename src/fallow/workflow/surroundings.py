"""What links live among: the tables and sweeps that the options name, brought in as values of the plan."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from os import PathLike, fspath

from fallow.files.tables import read_areas, read_equipment, read_foreign, read_groups, read_stations
from fallow.files.territories import load_territory
from fallow.plan.places import Ground
from fallow.rules.permission import Circumstances
from fallow.show.assignment import Assignment
from fallow.show.duplex import unfolded
from fallow.show.equipment import Equipment
from fallow.show.grouping import USUAL, Groupings
from fallow.show.link import AreaLosses, ForeignCarrier, Link, Station
from fallow.show.names import check_group_names, check_names
from fallow.show.wanted import Wanted
from fallow.workflow.area_airs import AirGiven, JudgedArea, air_files, area_airs, check_area, judge_areas, named_airs
from fallow.workflow.survey import Asked, announced_channels

__all__ = [
    "FilePath",
    "Progress",
    "Surroundings",
    "areas_of",
    "ground_under",
    "ground_with",
    "judge_air",
    "wanted_among",
    "wanted_with",
]

FilePath = str | PathLike[str]
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Surroundings:
    """Files and words that say what links live among: equipment, areas, foreign carriers, air, law.

    ``air``: the words of each option ``--air``, files or ``AREA=FILE``. ``measured``: a table of levels of our own
    carriers. ``levels``: levels set the distances, not the table of equipment. ``groups``: a table of rules
    about groups of links. ``product_width``: products keep their distances with their edges, whatever the tables say.
    """

    equipment: FilePath
    areas: FilePath | None = None
    foreign: FilePath | None = None
    air: Sequence[Sequence[FilePath]] = ()
    region: str | None = None
    circumstances: Circumstances | None = None
    asked: Asked = Asked()
    measured: FilePath | None = None
    levels: bool = False
    groups: FilePath | None = None
    product_width: bool = False


def wanted_with(
    links: Iterable[Link],
    equipment: Mapping[str, Equipment],
    *,
    areas: AreaLosses | None,
    groups: Groupings | None,
    foreign: Sequence[ForeignCarrier],
    stations: Sequence[Station],
) -> Wanted:
    """The links with what they live among; without rules about groups with the usual ones. Raises UsageError."""
    losses = AreaLosses() if areas is None else areas
    rules = USUAL if groups is None else groups
    return unfolded(Wanted(tuple(links), equipment, losses, tuple(foreign), tuple(stations), rules))


def wanted_among(links: Sequence[Link], around: Surroundings) -> Wanted:
    """The links with the tables of what they live among. Raises InputError, and UsageError for an unknown area."""
    wanted = wanted_with(
        links,
        read_equipment(around.equipment),
        areas=None if around.areas is None else read_areas(around.areas),
        groups=None if around.groups is None else read_groups(around.groups),
        foreign=() if around.foreign is None else read_foreign(around.foreign),
        stations=() if around.asked.stations is None else read_stations(around.asked.stations),
    )
    check_names(wanted, path=None if around.foreign is None else fspath(around.foreign))
    if links:
        _check_areas(wanted, around)
        check_group_names(wanted, None if around.groups is None else fspath(around.groups))
    return wanted.with_product_width() if around.product_width else wanted


def _check_areas(wanted: Wanted, around: Surroundings) -> None:
    """Refuse a station or stranger in an area that nobody knows: a slip of the pen would silently switch it off."""
    known = areas_of(wanted)
    for one, path in ((one, around.asked.stations) for one in wanted.stations):
        check_area(one.area, known, path)
    for stranger in wanted.foreign:
        check_area(stranger.area, known, around.foreign)


def areas_of(wanted: Wanted, rows: Sequence[Assignment] = ()) -> frozenset[str]:
    """The areas that links, rows of a plan and the table of areas name."""
    of_pairs = {area for pair in wanted.losses.pairs for area in pair}
    return frozenset({link.area for link in wanted.links} | {row.area for row in rows} | of_pairs | {""})


def judge_air(
    around: Surroundings, wanted: Wanted, areas: frozenset[str], progress: Progress | None
) -> tuple[JudgedArea, ...]:
    """The surveys that the options name, judged. ``areas``: those that there are. Raises as ``judge_files`` does."""
    return judge_areas(air_files(around.air, areas), around.asked, around.region, wanted.stations, progress)


def ground_with(
    wanted: Wanted,
    air: AirGiven,
    region: str | None,
    circumstances: Circumstances,
    rows: Sequence[Assignment] = (),
) -> Ground:
    """Law and judged surveys under a plan, of which ``rows`` may name more areas. Raises as ``ground_under`` does."""
    return ground_under(region, circumstances, named_airs(air, areas_of(wanted, rows)), wanted)


def ground_under(
    region: str | None, circumstances: Circumstances | None, airs: Sequence[JudgedArea], wanted: Wanted
) -> Ground:
    """Law and air under a plan. Raises UsageError for an unknown region, licence or TV channel."""
    territory = None if region is None else load_territory(region)
    if territory is not None and circumstances is not None:
        territory.licences_held(circumstances.licence)  # raises for a name that nobody knows
    announced_channels(wanted.stations, territory)  # raises for a channel that the raster does not have
    return Ground(territory, circumstances, area_airs(airs), wanted.stations, wanted.losses)
