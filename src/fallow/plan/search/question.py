"""The whole question as arrays, built once: what is to be placed, where it may stand, and who disturbs whom.

A *carrier* is a link, a spare or a stranger; carriers of one *class* share equipment, area and scenes, and so
everything that the tables of ``tables`` need to know. Building the question asks the ground for the places of each
equipment and area once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError
from fallow.plan.places import Ground, Places
from fallow.plan.search.asked import Carrier, asked_links, asked_spares
from fallow.plan.search.engine import Kernels, NumpyKernels, enter
from fallow.plan.search.groupings import Wishes, apart_hz, farthest_hz, that_can_be_kept
from fallow.plan.search.groups import Class, Groups, class_of_foreign, group_classes, spacings_hz
from fallow.plan.search.raster import Raster, choose_raster
from fallow.plan.search.tables import NO_PLACE, Tables
from fallow.plan.search.worth import Worth, worth_of_places
from fallow.show.duplex import return_name
from fallow.show.equipment import Duplex, Equipment
from fallow.show.grouping import Groupings
from fallow.show.link import AreaLosses
from fallow.show.wanted import Wanted

__all__ = ["Carrier", "Question", "Tie", "empty_tables", "whole"]

MOST_IN_A_GROUP = 1_000  # beyond, the counts of three-carrier products might not fit into 32 bits


@dataclass(frozen=True)
class Tie:
    """Two carriers that are the directions of one link, and how they go together."""

    forward: int
    back: int
    duplex: Duplex


@dataclass(frozen=True, eq=False)
class Facts:
    """What carriers are, arrays of shape (carrier,); frequencies in hertz, −1 where there is none. ``weight``: what
    a move counts.
    """

    rank: NDArray[np.int64]
    class_index: NDArray[np.int64]
    is_spare: NDArray[np.bool_]
    is_fixed: NDArray[np.bool_]
    home_hz: NDArray[np.int64]
    wish_hz: NDArray[np.int64]
    weight: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Question:
    """What the search is asked. ``carriers``: planned links in the order of the table, then spares.

    ``groupings``: rules about groups that are kept; ``wished``: those that would be nice.

    ``worths``: the places of each class of ours (the strangers' classes come last and have none). ``strangers``: class
    and hertz of each foreign carrier. ``keeping``: there is a plan to keep.
    """

    carriers: tuple[Carrier, ...]
    classes: tuple[Class, ...]
    worths: tuple[Worth, ...]
    strangers: tuple[tuple[int, int], ...]
    raster: Raster
    losses: AreaLosses
    keeping: bool = False
    groupings: Groupings = Groupings()
    wished: Groupings = Groupings()

    @classmethod
    def build(
        cls,
        wanted: Wanted,
        ground: Ground,
        *,
        keep: Mapping[str, int] | None = None,
        spares: int | None = None,
    ) -> Question:
        """Put the question. ``keep``: hertz by link of the plan in force. ``spares``: how many for each equipment in
        each area; ``None``: one per ten links there, at least one. Raises UsageError for what can't be asked.
        """
        links = [link for link in wanted.links if link.planned]
        asked = [*asked_links(links, wanted, keep or {}), *asked_spares(links, wanted, spares)]
        ours = list(dict.fromkeys(class_ for class_, _ in asked))
        wide = any(one.product_width for one in wanted.equipment.values()) or any(
            one.product_width for one in wanted.foreign
        )
        of_foreign = [class_of_foreign(foreign, wide=wide) for foreign in wanted.foreign]
        classes = (*ours, *dict.fromkeys(of_foreign))
        index = {class_: k for k, class_ in enumerate(classes)}
        worths = _worths(ours, wanted, ground)
        question = cls(
            tuple(replace(carrier, class_index=index[class_]) for class_, carrier in asked),
            classes,
            worths,
            tuple((index[each], one.frequency_hz) for each, one in zip(of_foreign, wanted.foreign, strict=True)),
            choose_raster([worth.frequencies_hz for worth in worths]),
            wanted.losses,
            keep is not None,
            that_can_be_kept(wanted),
            wanted.groupings.of_strength(hard=False),
        )
        question.check_size()
        return question

    @property
    def links(self) -> tuple[Carrier, ...]:
        """The planned links."""
        return tuple(carrier for carrier in self.carriers if not carrier.is_spare)

    @property
    def spares(self) -> tuple[Carrier, ...]:
        """The spares asked for."""
        return tuple(carrier for carrier in self.carriers if carrier.is_spare)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader of the plan should know about how the question was put."""
        return self.raster.notes

    @cached_property
    def groups(self) -> Groups:
        """Who hears whom, see ``groups``."""
        return group_classes(self.classes, self.losses)

    @cached_property
    def members(self) -> tuple[int, ...]:
        """How many carriers each group can hold."""
        members = [carrier.class_index for carrier in self.carriers] + [k for k, _ in self.strangers]
        count = np.bincount(members, minlength=len(self.classes))
        pairs = zip(self.groups.heard, self.groups.victims, strict=True)
        return tuple(int(count[list(heard | victims)].sum()) for heard, victims in pairs)

    @cached_property
    def facts(self) -> Facts:
        """What carriers are, as arrays."""
        return Facts(
            np.array([carrier.rank for carrier in self.carriers], dtype=np.int64),
            np.array([carrier.class_index for carrier in self.carriers], dtype=np.int64),
            np.array([carrier.is_spare for carrier in self.carriers], dtype=np.bool_),
            np.array([carrier.fixed_hz is not None for carrier in self.carriers], dtype=np.bool_),
            whole(-1 if carrier.home_hz is None else carrier.home_hz for carrier in self.carriers),
            whole(-1 if carrier.wish_hz is None else carrier.wish_hz for carrier in self.carriers),
            whole(carrier.weight for carrier in self.carriers),
        )

    def worth_at(self, at_hz: NDArray[np.int64]) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
        """Tier and margin [dB] of each carrier where it stands; ``NO_PLACE`` and NaN where it stands nowhere or on no
        place.
        """
        position = self.raster.positions(at_hz)
        tier = np.where(position >= 0, self.tier[self.facts.class_index, position], NO_PLACE).astype(np.uint8)
        margin_db = np.where(position >= 0, self.margin_db[self.facts.class_index, position], np.nan)
        for i in np.flatnonzero((position < 0) & (at_hz >= 0)).tolist():
            worth = self.worths[self.carriers[i].class_index]
            place = worth.index(int(at_hz[i]))
            if place is not None:
                tier[i], margin_db[i] = worth.tier[place], worth.margin_db[place]
        return tier, margin_db

    @cached_property
    def pairs(self) -> tuple[Tie, ...]:
        """Carriers that are the two directions of one link."""
        index = {carrier.name: i for i, carrier in enumerate(self.carriers)}
        return tuple(
            Tie(i, index[return_name(carrier.name)], carrier.equipment.duplex)
            for i, carrier in enumerate(self.carriers)
            if carrier.equipment.duplex is not None and return_name(carrier.name) in index
        )

    @cached_property
    def in_pairs(self) -> frozenset[int]:
        """Carriers that are one of two directions."""
        return frozenset(i for pair in self.pairs for i in (pair.forward, pair.back))

    @cached_property
    def followers(self) -> frozenset[int]:
        """Carriers that are placed by their other direction."""
        free = [pair for pair in self.pairs if self.carriers[pair.forward].fixed_hz is None]
        return frozenset(pair.back if self.carriers[pair.back].fixed_hz is None else -1 for pair in free) - {-1}

    def away(self, at_hz: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which carriers at ``at_hz`` (int64, shape (carrier,), −1: nowhere) are no longer where the plan to keep has
        them. A link with two directions is away once, as its way there, whichever of them has moved.
        """
        away = np.asarray((self.facts.home_hz >= 0) & (at_hz != self.facts.home_hz))
        there, back = self._followed
        away[there] |= away[back]
        away[back] = False
        return away

    @cached_property
    def _followed(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Ways there that are not fixed, and their ways back."""
        free = [pair for pair in self.pairs if self.carriers[pair.forward].fixed_hz is None]
        return whole(pair.forward for pair in free), whole(pair.back for pair in free)

    @cached_property
    def spacing_hz(self) -> NDArray[np.int64]:
        """``Tables.spacing_hz``."""
        asked_hz = apart_hz(self.classes, self.groupings.apart, self.losses)
        return np.maximum(spacings_hz(self.classes, self.losses), asked_hz)

    @cached_property
    def farthest_hz(self) -> NDArray[np.int64]:
        """``Tables.farthest_hz``."""
        return farthest_hz(self.classes, self.groupings.together)

    @cached_property
    def wishes(self) -> Wishes:
        """What is wished of groups, as distances between classes."""
        return Wishes.of(self.classes, self.wished, self.losses)

    def unkept(self, at_hz: NDArray[np.int64]) -> int:
        """How many pairs of carriers at ``at_hz`` (int64, shape (carrier,), −1: nowhere) break a wish about groups."""
        return self.wishes.broken_in(self.facts.class_index, at_hz) if self.wishes else 0

    @cached_property
    def meetings(self) -> NDArray[np.bool_]:
        """Which classes can stand in each other's way, shape (class, class)."""
        met = (self.spacing_hz > 0) | (self.farthest_hz > 0)
        for heard, victims in zip(self.groups.heard, self.groups.victims, strict=True):
            together = list(heard | victims)
            met[np.ix_(together, together)] = True
        return met | met.T

    @cached_property
    def has_margins(self) -> bool:
        """Whether margins differ, so that a better plan can be wider in them."""
        return any(np.unique(worth.margin_db).size > 1 for worth in self.worths)

    @cached_property
    def margin_db(self) -> NDArray[np.float32]:
        """Margins [dB] of all places on the raster, shape (class, place), NaN where there is none."""
        margin_db = np.full((len(self.classes), self.raster.size), np.nan, dtype=np.float32)
        for k, worth in enumerate(self.worths):
            position = self.raster.positions(worth.frequencies_hz)
            margin_db[k, position[position >= 0]] = worth.margin_db[position >= 0]
        return margin_db

    @cached_property
    def odd_classes(self) -> frozenset[int]:
        """Classes all of whose places lie off the raster."""
        return frozenset(
            k for k, worth in enumerate(self.worths) if worth.frequencies_hz.size and not self.extent[k].any()
        )

    @cached_property
    def tier(self) -> NDArray[np.uint8]:
        """``Worth.tier`` of all places on the raster, shape (class, place), ``NO_PLACE`` where there is none."""
        tier = np.full((len(self.classes), self.raster.size), NO_PLACE, dtype=np.uint8)
        for k, worth in enumerate(self.worths):
            position = self.raster.positions(worth.frequencies_hz)
            tier[k, position[position >= 0]] = worth.tier[position >= 0]
        return tier

    @cached_property
    def extent(self) -> NDArray[np.int64]:
        """``Tables.extent``."""
        extent = np.zeros((len(self.classes), 2), dtype=np.int64)
        for k, row in enumerate(self.tier):
            places = np.flatnonzero(row != NO_PLACE)
            if places.size:
                extent[k] = places[0], places[-1] + 1
        return extent

    @property
    def bytes_of_tables(self) -> int:
        """How much memory the counts of ``tables`` take."""
        grades = self.groups.grade_count
        by_grade, by_pair = int(grades.sum()), int((grades * (grades + 1) // 2).sum())
        rows = len(self.members) + 5 * by_grade + 6 * by_pair + len(self.classes)  # histograms are twice as long
        return np.dtype(np.int32).itemsize * rows * self.raster.size

    def check_size(self) -> None:
        """Raise UsageError when counts could grow beyond what the tables hold."""
        for members, distances in zip(self.members, self.groups.distance_hz.tolist(), strict=True):
            if members > MOST_IN_A_GROUP and distances[1] > 0:
                areas = f"tell apart areas that do not hear each other, so that at most {MOST_IN_A_GROUP:,} meet"
                fewer = f"ask for fewer spares: there are {len(self.spares):,} for {len(self.links):,} links"
                raise UsageError(
                    f"{members:,} carriers that hear each other are more than A+B−C can be checked for",
                    hint=fewer if members - len(self.spares) <= MOST_IN_A_GROUP else areas,
                )

    def tables(self, kernels: Kernels | None = None) -> Tables:
        """Fresh tables in which strangers and fixed links stand."""
        kernels = kernels or NumpyKernels()
        tables = empty_tables(self)
        kernels.put(tables, *self._strangers())
        tables.victim_row[tables.victim_row.any(axis=1)] = 0  # products of strangers alone: Worth.tier knows them
        kernels.put(tables, *self._fixed())
        return tables

    def tables_of_standing(self) -> Tables:
        """The same without any counts, which take much more memory: for ``exact`` alone."""
        tables = empty_tables(self, counting=False)
        for classes, carriers, at_hz in (self._strangers(), self._fixed()):
            for k, carrier, hz in zip(classes.tolist(), carriers.tolist(), at_hz.tolist(), strict=True):
                enter(tables, k, carrier, hz)
        return tables

    def _strangers(self) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """Classes, numbers (after all carriers) and hertz."""
        numbers = range(len(self.carriers), len(self.carriers) + len(self.strangers))
        return whole(k for k, _ in self.strangers), whole(numbers), whole(hz for _, hz in self.strangers)

    def _fixed(self) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """The same of fixed links."""
        fixed = [(i, carrier) for i, carrier in enumerate(self.carriers) if carrier.fixed_hz is not None]
        at_hz = whole(carrier.fixed_hz or 0 for _, carrier in fixed)
        return whole(carrier.class_index for _, carrier in fixed), whole(i for i, _ in fixed), at_hz


def empty_tables(question: Question, *, counting: bool = True) -> Tables:
    """Tables without any carrier; without ``counting`` also without room for counts."""
    raster, groups = question.raster, question.groups
    n_classes, n_groups = len(question.classes), len(question.members)
    two_hz, three_hz = _distances_by_grade(groups)
    three_reach = _reach(three_hz, raster.step_hz)
    pad = max(int(three_reach.max(initial=0)), 0) + 1
    pairs = groups.grade_count * (groups.grade_count + 1) // 2
    n_grades, n_pairs = int(groups.grade_count.sum()), int(pairs.sum())
    members = max(question.members, default=1)

    def counts(*shape: int) -> NDArray[np.int32]:
        return np.zeros(shape, dtype=np.int32)

    def numbers(*shape: int) -> NDArray[np.int64]:
        return np.zeros(shape, dtype=np.int64)

    places = raster.size if counting else 0
    cells = 2 * raster.size + 2 * pad if counting else 0
    return Tables(
        base_hz=raster.base_hz,
        step_hz=raster.step_hz,
        size=raster.size,
        pad=pad,
        tier=np.where(question.tier == NO_PLACE, NO_PLACE, 2 * question.tier).astype(np.uint8),
        extent=question.extent,
        segments=np.ascontiguousarray(raster.segments),
        victim_extent=_joint_extents(question.extent, groups.victims),
        sender_extent=_joint_extents(question.extent, groups.heard),
        group_start=groups.start,
        groups=groups.index,
        roles=groups.roles,
        grades=groups.grades,
        grade_count=groups.grade_count,
        grade_start=np.cumsum(groups.grade_count) - groups.grade_count,
        pair_start=np.cumsum(pairs) - pairs,
        two_hz=two_hz,
        three_hz=three_hz,
        two_reach=_reach(two_hz, raster.step_hz),
        three_reach=three_reach,
        spacing_hz=question.spacing_hz,
        farthest_hz=question.farthest_hz,
        victim_row=counts(n_groups, places),
        sender_row=counts(n_grades, places),
        spacing_row=counts(n_classes, places),
        differences=counts(n_grades, cells),
        sums=counts(n_grades, cells),
        victim_less_sender=counts(n_pairs, cells),
        sender_less_victim=counts(n_pairs, cells),
        victim_and_sender=counts(n_pairs, cells),
        senders_hz=numbers(n_groups, members),
        senders_grade=numbers(n_groups, members),
        senders_at=numbers(n_groups, members),
        senders=numbers(n_groups, members),
        sender_count=numbers(n_groups),
        victims_hz=numbers(n_groups, members),
        victims_at=numbers(n_groups, members),
        victims=numbers(n_groups, members),
        victim_count=numbers(n_groups),
        odd_count=numbers(n_groups),
    )


def _distances_by_grade(groups: Groups) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """``Tables.two_hz`` and ``three_hz``: what is asked of a form, and half of what its makers are wide together."""
    widths_hz = groups.widths_hz
    two, three, fifth, seventh = groups.distance_hz.T
    a_hz, b_hz = widths_hz[:, :, np.newaxis], widths_hz[:, np.newaxis, :]
    forms = [
        asked[:, np.newaxis, np.newaxis] - (-((f + 2) * a_hz + (f + 1) * b_hz) // 2)
        for f, asked in enumerate((two, fifth, seventh))
    ]
    two_hz = np.stack(forms, axis=1)
    two_hz[groups.distance_hz[:, [0, 2, 3]] == 0] = 0
    together_hz = (a_hz + b_hz)[:, :, :, np.newaxis] + widths_hz[:, np.newaxis, np.newaxis, :]
    three_hz = three[:, np.newaxis, np.newaxis, np.newaxis] - (-together_hz // 2)
    three_hz[three == 0] = 0
    return two_hz, three_hz


def _reach(distance_hz: NDArray[np.int64], step_hz: int) -> NDArray[np.int64]:
    """The most whole steps that are less than a distance; −1 where none is asked."""
    return np.where(distance_hz > 0, -(-distance_hz // step_hz) - 1, -1)


def _joint_extents(extent: NDArray[np.int64], members: Sequence[frozenset[int]]) -> NDArray[np.int64]:
    """First place of any class of each set, and one past the last; (0, 0) where none has places."""
    joint = np.zeros((len(members), 2), dtype=np.int64)
    for g, classes in enumerate(members):
        own = extent[sorted(classes)]
        own = own[own[:, 1] > own[:, 0]]
        if own.size:
            joint[g] = own[:, 0].min(), own[:, 1].max()
    return joint


def whole(values: Iterable[int]) -> NDArray[np.int64]:
    """Whole numbers as the kernels want them."""
    return np.array(list(values), dtype=np.int64)


def _worths(classes: Sequence[Class], wanted: Wanted, ground: Ground) -> tuple[Worth, ...]:
    """The places of each class; the ground is asked once per equipment and area."""
    places: dict[tuple[Equipment, str], Places] = {}
    worths = []
    for each in classes:
        if each.equipment is None:
            continue
        key = each.equipment, each.area
        if key not in places:
            places[key] = ground.places(*key)
        worths.append(worth_of_places(places[key], each, wanted.foreign, wanted.losses))
    return tuple(worths)
