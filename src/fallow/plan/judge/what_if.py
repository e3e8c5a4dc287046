"""What if one link stood elsewhere: the conflicts and margins of a whole plan after each move, at once.

The first state is enumerated as the audit does it; after that only what the moved carrier takes part in is looked for
again. What a state says is exactly what ``audit`` says of the same rows; the tests hold the two against each other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError
from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.conflicts import Conflict, by_kind_and_nearness, hit, place_conflicts, spacing_hz, too_near
from fallow.plan.judge.footing import Footing
from fallow.plan.judge.group_rules import apart_needed_hz, group_conflicts
from fallow.plan.judge.near_products import NOBODY, NOWHERE, NearProducts, People, SumTables
from fallow.plan.judge.pairs import pair_conflicts
from fallow.plan.judge.products import FORMS
from fallow.plan.judge.stage import Stage, carrier_of
from fallow.plan.places import Ground
from fallow.plan.wording import few
from fallow.show.assignment import Assignment
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.spectrum.verdict import Verdict

__all__ = ["Effect", "Margins", "WhatIf"]

LOOK = 2  # times the distance asked: so far products are watched, and room is told
MOST_PLACES = 100_000  # of one type of radio, that are judged beforehand
FAR = np.int64(2**60)  # hertz: nothing is near
Whole = NDArray[np.int64]
T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Margins:
    """How much room everybody has; arrays over ``names``, in the order of the rows, then foreign carriers.

    ``air_db``: limit minus level minus what the confidence costs, of the worst survey; NaN where nobody can tell.
    ``room_hz``: by how much the tightest distance, to a carrier or to a product on it, exceeds what is asked; negative
    where it is broken, infinite where nothing is near.
    """

    names: tuple[str, ...]
    air_db: NDArray[np.float64]
    room_hz: NDArray[np.float64]

    def of(self, name: str) -> tuple[float | None, float | None]:
        """Both of one carrier: dB and hertz, ``None`` where nobody can tell, or nothing is near."""
        i = self.names.index(name)
        air_db, room_hz = float(self.air_db[i]), float(self.room_hz[i])
        return (None if np.isnan(air_db) else air_db), (None if np.isinf(room_hz) else room_hz)


@dataclass(frozen=True, eq=False)
class _Place:
    """What tuning, law and air say of the place of one carrier."""

    conflicts: tuple[Conflict, ...]
    air_db: float


_OFF = _Place((), float("nan"))


@dataclass(frozen=True, eq=False)
class _State:
    """A plan and everything that is near in it.

    ``gaps_hz``: shape (n, n), how much farther apart two carriers stand than they have to, ``FAR`` where nothing is
    asked. ``tables``: hold everybody at home but ``away``, whose own place they may have wrong.
    ``like``: these carriers as they were at first, with what holds between areas and groups.
    """

    carriers: tuple[Carrier, ...]
    hz: Whole
    places: tuple[_Place, ...]
    gaps_hz: Whole
    near: NearProducts
    tables: SumTables
    away: int | None
    like: Company

    @cached_property
    def tables_at_home(self) -> SumTables:
        """The tables with everybody at home."""
        return self.tables if self.away is None else self.tables.moved(self.away, int(self.hz[self.away]))

    def conflicts(self, with_carrier: int | None = None) -> Iterator[Conflict]:
        """Everything that is broken, or what one carrier takes part in; in no order."""
        yield from self._too_near(with_carrier)
        yield from self._hits(with_carrier)
        yield from self._of_groups(with_carrier)
        for i, place in enumerate(self.places):
            if with_carrier is None or i == with_carrier:
                yield from place.conflicts

    def _too_near(self, with_carrier: int | None) -> Iterator[Conflict]:
        gaps_hz = self.gaps_hz if with_carrier is None else self.gaps_hz[with_carrier : with_carrier + 1]
        for row, j in np.argwhere(gaps_hz < 0).tolist():
            i = row if with_carrier is None else with_carrier
            if i < j or with_carrier is not None:
                ours, other = self.carriers[min(i, j)], self.carriers[max(i, j)]  # ours come first
                distance_hz, needed_hz = abs(ours.frequency_hz - other.frequency_hz), spacing_hz(ours, other)
                if distance_hz < needed_hz:  # else it is a rule about groups that asks for more
                    yield too_near(ours, other, distance_hz, needed_hz)

    def _of_groups(self, with_carrier: int | None) -> Iterator[Conflict]:
        tied = any(one.equipment is not None and one.equipment.duplex is not None for one in self.carriers)
        if not tied and not self.like.groupings.of_strength(hard=True):
            return
        there = [each for each, hz in zip(self.carriers, self.hz.tolist(), strict=True) if hz != NOWHERE]
        name = None if with_carrier is None else self.carriers[with_carrier].name
        company = Company(there, self.like.losses, self.like.groupings)
        for conflict in (*group_conflicts(company), *pair_conflicts(company)):
            if name is None or name == conflict.victim or name in conflict.carriers:
                yield conflict

    def _hits(self, with_carrier: int | None) -> Iterator[Conflict]:
        broken = self.near.spare_hz(self.tables.people) < 0
        if with_carrier is not None:
            broken &= self.near.with_carrier(with_carrier)
        rows = self.near.of(broken)
        for form, victim, makers in zip(rows.form.tolist(), rows.victim.tolist(), rows.makers.T.tolist(), strict=True):
            yield hit(FORMS[form], [self.carriers[i] for i in makers if i != NOBODY], self.carriers[victim])

    @cached_property
    def margins(self) -> Margins:
        """The room of everybody."""
        room_hz = self.gaps_hz.min(axis=1, initial=FAR).astype(np.float64)
        np.minimum.at(room_hz, self.near.victim, self.near.spare_hz(self.tables.people).astype(np.float64))
        room_hz[room_hz >= FAR] = np.inf
        names = tuple(carrier.name for carrier in self.carriers)
        return Margins(names, np.array([place.air_db for place in self.places]), room_hz)


@dataclass(frozen=True, eq=False)
class Effect:
    """What a move does, in hertz; ``None``: the link is off.

    Nothing is put into words before it is asked for.
    """

    link: str
    from_hz: int | None
    to_hz: int | None
    position: int
    before: _State
    after: _State

    @property
    def margins(self) -> Margins:
        """How much room everybody has after it."""
        return self.after.margins

    @cached_property
    def conflicts(self) -> tuple[Conflict, ...]:
        """All conflicts of the plan after it, as the audit lists them."""
        return _in_order(self.after.conflicts())

    @cached_property
    def involved(self) -> tuple[Conflict, ...]:
        """Those after it in which the link itself takes part."""
        return _in_order(self.after.conflicts(self.position))

    @cached_property
    def new(self) -> tuple[Conflict, ...]:
        """Those after it that were not there before, whatever their distance."""
        known = {_identity(conflict) for conflict in self.before.conflicts(self.position)}
        return tuple(conflict for conflict in self.involved if _identity(conflict) not in known)

    @cached_property
    def gone(self) -> tuple[Conflict, ...]:
        """Those before it that are no more."""
        left = {_identity(conflict) for conflict in self.involved}
        was = _in_order(self.before.conflicts(self.position))
        return tuple(conflict for conflict in was if _identity(conflict) not in left)


def _in_order(conflicts: Iterator[Conflict]) -> tuple[Conflict, ...]:
    return tuple(sorted(conflicts, key=by_kind_and_nearness))


def _identity(conflict: Conflict) -> tuple[str, str | None, tuple[str, ...]]:
    return conflict.kind, conflict.victim, conflict.carriers


class WhatIf:
    """A plan to play with: move a link, see what it costs, move it back.

    ``rows``: the plan. Rows without a frequency and planned links that the plan lacks can be placed; systems that
    choose their own channels are left out. Raises UsageError for equipment that is not known.
    """

    def __init__(self, rows: Sequence[Assignment], wanted: Wanted, ground: Ground | None = None) -> None:
        listed = {link.name: link for link in wanted.links}
        planned = [row for row in rows if row.link not in listed or listed[row.link].planned]
        named = {row.link for row in planned}
        missing = [_row_of(link) for link in wanted.links if link.planned and link.name not in named]
        self._rows = (*planned, *missing)
        self._wanted, self._ground = wanted, ground
        self._place_of: dict[tuple[int, int], _Place] = {}
        ours = [carrier_of(row, _hz(row), listed.get(row.link), wanted) for row in self._rows]
        company = Company(
            (*ours, *(Carrier.of_stranger(one) for one in wanted.foreign)), wanted.losses, wanted.groupings
        )
        self._asked_hz = np.maximum(_spacings_hz(company), apart_needed_hz(company))
        self._judge_places(ours)
        self._state = self._first_state(company)

    @property
    def rows(self) -> tuple[Assignment, ...]:
        """The plan as it stands now."""
        at_hz = self._state.hz.tolist()
        return tuple(
            replace(row, frequency_hz=None if hz == NOWHERE else hz) for row, hz in zip(self._rows, at_hz, strict=False)
        )

    @property
    def carriers(self) -> tuple[Carrier, ...]:
        """All carriers as they stand now, ours in the order of ``rows``, then strangers; those that are off at 0 Hz."""
        return self._state.carriers

    @property
    def stage(self) -> Stage:
        """The plan as it stands now, set up to be judged: what audits and ledgers are asked over."""
        standing = [row for row in self.rows if row.frequency_hz is not None]
        return Stage.of(standing, self._wanted, self._ground)

    @property
    def conflicts(self) -> tuple[Conflict, ...]:
        """All conflicts of the plan as it stands now, as the audit lists them."""
        return _in_order(self._state.conflicts())

    @property
    def margins(self) -> Margins:
        """How much room everybody has now."""
        return self._state.margins

    def frequency_hz(self, link: str) -> int | None:
        """Where a link stands now. Raises UsageError for an unknown name."""
        hz = int(self._state.hz[self._position(link)])
        return None if hz == NOWHERE else hz

    def carrier(self, link: str, frequency_hz: int) -> Carrier:
        """A link as a carrier at a frequency. Raises UsageError for an unknown name."""
        return replace(self._state.carriers[self._position(link)], frequency_hz=frequency_hz)

    def others(self, link: str) -> tuple[Carrier, ...]:
        """All other carriers that are on now, strangers last. Raises UsageError for an unknown name."""
        position, hz = self._position(link), self._state.hz.tolist()
        return tuple(each for i, each in enumerate(self._state.carriers) if i != position and hz[i] != NOWHERE)

    def move(self, link: str, frequency_hz: int | None) -> Effect:
        """Put a link on another frequency, or ``None`` to switch it off. Raises UsageError for an unknown name."""
        effect = self.try_(link, frequency_hz)
        self._state = effect.after
        return effect

    def try_(self, link: str, frequency_hz: int | None) -> Effect:
        """What ``move`` would do, without doing it."""
        position = self._position(link)
        to_hz = NOWHERE if frequency_hz is None else frequency_hz
        before = self._state
        from_hz = int(before.hz[position])
        after = self._moved(before, position, to_hz)
        return Effect(link, None if from_hz == NOWHERE else from_hz, frequency_hz, position, before, after)

    def _position(self, link: str) -> int:
        found = [i for i, row in enumerate(self._rows) if row.link == link]
        if len(found) != 1:
            what = f"no row of the plan is called {link!r}" if not found else f"several rows are called {link!r}"
            raise UsageError(what, hint=f"there are {few([row.link for row in self._rows])}" if not found else None)
        return found[0]

    def _judge_places(self, ours: Sequence[Carrier]) -> None:
        """Have all places of each type of radio judged at once, where they are not too many."""
        if self._ground is None or not self._ground.airs:
            return
        for carrier in {(one.equipment, one.area): one for one in ours}.values():
            equipment = carrier.equipment
            if equipment is None:
                continue
            places = sum(span.width_hz // max(equipment.step_hz, 1) for span in equipment.tuning)
            if equipment.presets_hz or places <= MOST_PLACES:
                self._ground.places(equipment, carrier.area)

    def _first_state(self, company: Company) -> _State:
        hz = company.hz.copy()
        ours = len(self._rows)
        on = np.array([row.frequency_hz is not None for row in self._rows] + [True] * (len(hz) - ours), dtype=np.bool_)
        hz[~on] = NOWHERE
        people = People.of(company, LOOK)
        places = [
            self._place(i, carrier, int(at)) for i, (carrier, at) in enumerate(zip(company.carriers, hz, strict=True))
        ]
        standing = np.flatnonzero(on)
        there = Company([company.carriers[i] for i in standing.tolist()], company.losses)
        near = NearProducts.enumerated(there, People.of(there, LOOK)).renumbered(standing)
        gaps_hz = np.abs(hz[:, None] - hz[None, :]) - self._asked_hz
        gaps_hz[(self._asked_hz == 0) | ~on[:, None] | ~on[None, :]] = FAR
        return _State(company.carriers, hz, tuple(places), gaps_hz, near, SumTables.of(people, hz), None, company)

    def _moved(self, state: _State, position: int, to_hz: int) -> _State:
        tables = state.tables if state.away == position else state.tables_at_home
        hz = state.hz.copy()
        hz[position] = to_hz
        carrier = replace(state.carriers[position], frequency_hz=max(to_hz, 0))
        near = state.near.of(~state.near.with_carrier(position))
        if to_hz != NOWHERE:
            near = NearProducts.joined(near, tables.products_with(position, to_hz))
        return _State(
            _with(state.carriers, position, carrier),
            hz,
            _with(state.places, position, self._place(position, carrier, to_hz)),
            self._gaps_after(state.gaps_hz, position, hz),
            near,
            tables,
            position,
            state.like,
        )

    def _gaps_after(self, gaps_hz: Whole, position: int, hz: Whole) -> Whole:
        asked_hz = self._asked_hz[position]
        row_hz = np.abs(hz - hz[position]) - asked_hz
        row_hz[(asked_hz == 0) | (hz == NOWHERE) | (hz[position] == NOWHERE)] = FAR
        after_hz = gaps_hz.copy()
        after_hz[position, :] = after_hz[:, position] = row_hz
        return after_hz

    def _place(self, position: int, carrier: Carrier, hz: int) -> _Place:
        if carrier.equipment is None or hz == NOWHERE:
            return _OFF
        if (position, hz) not in self._place_of:
            self._place_of[position, hz] = _judged_place(carrier, self._ground)
        return self._place_of[position, hz]


def _judged_place(carrier: Carrier, ground: Ground | None) -> _Place:
    """Ask law and air about a place; reasons of the air only where it is occupied, for they take the longest."""
    equipment = carrier.equipment
    if equipment is None:
        return _OFF
    air = None if ground is None else ground.air_at(equipment, carrier.area, carrier.frequency_hz)
    margin_db = float("nan") if air is None or air.margin_db is None else air.margin_db
    if ground is None or (air is not None and air.verdict == Verdict.OCCUPIED):
        footing = Footing.of(carrier, equipment, ground)
    else:
        at_hz = carrier.frequency_hz
        announced = ground.announced(equipment, carrier.area, at_hz)
        footing = Footing(carrier, equipment, ground.permission(equipment, at_hz), None, announced)
    return _Place(tuple(place_conflicts(footing, ground)), margin_db)


def _row_of(link: Link) -> Assignment:
    return Assignment(link.name, link.equipment, link.area, link.scenes)


def _hz(row: Assignment) -> int:
    return 0 if row.frequency_hz is None else row.frequency_hz


def _spacings_hz(company: Company) -> Whole:
    """The distance asked between any two carriers, shape (n, n); 0 where none is."""
    n = len(company.carriers)
    asked_hz = np.zeros((n, n), dtype=np.int64)
    for i, one in enumerate(company.carriers):
        for j in range(i + 1, n):
            if one.ours and company.meet(i, j):
                asked_hz[i, j] = asked_hz[j, i] = spacing_hz(one, company.carriers[j])
    return asked_hz


def _with(values: tuple[T, ...], position: int, value: T) -> tuple[T, ...]:
    return (*values[:position], value, *values[position + 1 :])
