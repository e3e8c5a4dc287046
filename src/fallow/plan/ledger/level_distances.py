"""Distances that levels ask for, in place of those that a table states: an opt-in, and what it rests on.

For each type of radio the loudest carrier that it may hear, as near as anything comes, decides: how far from the
receiver's own carrier its selectivity has to be for a neighbour, or a product of such carriers, to lie 10 dB below what
the link bears at its worst. One distance covers all carriers and all areas of a type, so it is never less than any one
of them asks for. Products are also counted: as many as can fall near a receiver may not pass that level together. The
distance of products that two transmitters make when they meet stays on, whatever the receivers bear.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fallow.errors import UsageError
from fallow.plan.judge.products import FIFTH, THREE_CARRIERS, TWO_CARRIERS, Form
from fallow.plan.ledger.loudness import FRONT_END_HZ, USUAL_EIRP_DBM
from fallow.plan.ledger.product_levels import rejection_db
from fallow.plan.ledger.propagation import eirp_dbm, free_space_db, mean_distance_m
from fallow.plan.wording import exact_width, worded_list
from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment
from fallow.show.link import Link
from fallow.show.receiver import Figures, figures_of
from fallow.show.wanted import Wanted

__all__ = ["ByLevels", "by_levels"]

RESERVE_DB = 10.0  # below what a link bears, for all that the model does not know; common practice
MEETING_HZ = 50_000  # least distance of 2A−B products while transmitters can meet; common practice
STEP_HZ = 1_000  # distances are rounded up to whole kilohertz
_PEAK = {  # highest density of products, carriers being spread evenly over a band, in products per band
    TWO_CARRIERS: 1 / 2,  # 2a − b: two rectangles of widths 2 and 1, convolved
    THREE_CARRIERS: 3 / 4,  # a + b − c: three rectangles of width 1, convolved
    FIFTH: 1 / 3,  # 3a − 2b: rectangles of widths 3 and 2
}


@dataclass(frozen=True)
class ByLevels:
    """A show whose equipment asks for the distances of its levels; ``notes`` say what that rests on."""

    wanted: Wanted
    notes: tuple[str, ...]


def by_levels(wanted: Wanted, rows: Sequence[Assignment] = ()) -> ByLevels:
    """The show with distances from levels. ``rows``: of a plan without a list of links, whose equipment counts then.

    Raises UsageError where power, nearest distance, intercept point or their source is not stated for a type of radio
    that is planned: defaults are no ground for giving up distances.
    """
    placed: Sequence[Link | Assignment] = [link for link in wanted.links if link.planned]
    placed = placed or [row for row in rows if not row.is_spare]
    names = list(dict.fromkeys(one.equipment for one in placed))
    for name in names:
        _check_stated(wanted.equipment[name])
    house = _House(wanted, placed)
    found = {name: house.by_levels(wanted.equipment[name]) for name in names}
    changed = {name: levelled.equipment for name, levelled in found.items()}
    notes = [_warning(list(changed.values()))]
    notes += [_told(wanted.equipment[name], changed[name]) for name in names]
    notes += [_told_short(name, levelled.short_of) for name, levelled in found.items() if levelled.short_of]
    return ByLevels(replace(wanted, equipment={**wanted.equipment, **changed}), tuple(notes))


def _check_stated(equipment: Equipment) -> None:
    stated = {
        "power_mw": equipment.power_mw,
        "nearest_m": equipment.stated.nearest_m,
        "iip3_dbm": equipment.stated.iip3_dbm,
        "figures_source": equipment.stated.source or None,
    }
    missing = [name for name, value in stated.items() if value is None]
    if missing:
        raise UsageError(
            f"levels can't set the distances of {equipment.name}, because its {worded_list(missing)} "
            f"{'is' if len(missing) == 1 else 'are'} not stated",
            hint="state them in the equipment table, measured or from a data sheet: no default is good enough for this",
        )


@dataclass(frozen=True)
class _Levelled:
    """One type of radio with its distances; ``short_of``: those for which no distance rejects enough, so that the
    table's stay."""

    equipment: Equipment
    short_of: tuple[str, ...]


class _House:
    """All that is placed together: how loud the loudest is at a receiver, and how many there are."""

    def __init__(self, wanted: Wanted, placed: Sequence[Link | Assignment]) -> None:
        self._wanted = wanted
        self._placed = placed
        self._kinds = {one.equipment: wanted.equipment[one.equipment] for one in placed}
        self._ends_hz = {name: _ends_hz(kind, placed) for name, kind in self._kinds.items()}

    def by_levels(self, equipment: Equipment) -> _Levelled:
        """One type of radio with the distances that its levels ask for; where none is enough, no less than the table
        asks for.
        """
        figures = figures_of(equipment)
        reach = _Reach(figures, self._bears_dbm(equipment, figures) - RESERVE_DB)
        inside_dbm = max(self._levels_dbm(equipment, figures, behind_front_end=True))
        outside_dbm = max(self._levels_dbm(equipment, figures, behind_front_end=False))
        mixing_db = min(figures_of(kind).mixing_db.value for kind in self._kinds.values())

        def products(form: Form, *others: float) -> tuple[float, ...]:
            level_dbm = form.level_dbm([inside_dbm] * len(form.coefficients), figures.iip3_dbm.value)
            mean_dbm = level_dbm - form.order * _farther_db(figures)
            together = reach.of_many(mean_dbm, self._density_per_hz(equipment, form))
            return reach.of_one(level_dbm), together, *others

        asked = {
            "spacing": (equipment.spacing_hz, (reach.of_one(inside_dbm), equipment.bandwidth_hz)),
            "2A−B": (equipment.im3_hz, products(TWO_CARRIERS, reach.of_one(outside_dbm - mixing_db), MEETING_HZ)),
            "A+B−C": (equipment.im3_three_hz, products(THREE_CARRIERS)),
            "3A−2B": (equipment.im5_hz, products(FIFTH, reach.of_one(outside_dbm - 2 * mixing_db))),
        }
        short_of = tuple(name for name, (_, needed) in asked.items() if not all(map(_is_enough, needed)))
        spacing_hz, im3_hz, three_hz, im5_hz = (_largest(table_hz, needed) for table_hz, needed in asked.values())
        changed = replace(
            equipment, spacing_hz=spacing_hz, im3_hz=im3_hz, im3_three_hz=three_hz or None, im5_hz=im5_hz or None
        )
        return _Levelled(changed, short_of)

    def _bears_dbm(self, equipment: Equipment, figures: Figures) -> float:
        """The highest unwanted level that a link bears, its own carrier being at its worst."""
        highest_hz = self._ends_hz[equipment.name][1]
        path_db = float(free_space_db(np.array([highest_hz]), figures.distance_m.value)[0])
        wanted_dbm = _eirp_dbm(equipment) + figures.antenna_dbi.value - path_db
        return wanted_dbm - figures.body_db.value - figures.fade_db.value - figures.needed_db.value

    def _levels_dbm(self, equipment: Equipment, figures: Figures, *, behind_front_end: bool) -> Iterator[float]:
        """Level of each type of transmitter at a receiver when it is nearest, at the worst end of its tuning."""
        for name, kind in self._kinds.items():
            filtered_db = self._front_end_db(equipment, name, figures) if behind_front_end else 0.0
            loss_db = self._least_loss_db(equipment.name, name)
            yield self._nearest_dbm(_eirp_dbm(kind), self._ends_hz[name][0], figures) - filtered_db - loss_db
        for stranger in self._wanted.foreign:
            if stranger.products:
                yield self._nearest_dbm(USUAL_EIRP_DBM, stranger.frequency_hz, figures)

    def _nearest_dbm(self, radiated_dbm: float, at_hz: int, figures: Figures) -> float:
        path_db = float(free_space_db(np.array([at_hz]), figures.nearest_m.value)[0])
        return radiated_dbm + figures.antenna_dbi.value - path_db

    def _front_end_db(self, equipment: Equipment, other: str, figures: Figures) -> float:
        """The least that the input filter takes from anything that another type can be tuned to."""
        (low_hz, high_hz), (other_low_hz, other_high_hz) = self._ends_hz[equipment.name], self._ends_hz[other]
        apart_hz = max(other_low_hz - high_hz, low_hz - other_high_hz, 0)
        return figures.front_end_db.value * min(apart_hz / FRONT_END_HZ, 1.0)

    def _least_loss_db(self, victim: str, other: str) -> float:
        """The least loss between any areas in which two types of radio are used; infinite where all are apart."""
        losses = self._wanted.losses
        here, there = ({one.area for one in self._placed if one.equipment == name} for name in (victim, other))
        return min(
            losses.loss_db.get(frozenset((one, two)), 0.0) if losses.hears(one, two) else math.inf
            for one in here
            for two in there
        )

    def _density_per_hz(self, equipment: Equipment, form: Form) -> float:
        """How many products of a form fall on a hertz, at most, when all carriers of the show are on at once."""
        carriers = math.ceil(1.1 * len(self._placed)) + sum(one.products for one in self._wanted.foreign)
        low_hz, high_hz = self._ends_hz[equipment.name]
        return _PEAK[form] * form.count(carriers) / max(high_hz - low_hz, equipment.bandwidth_hz)


class _Reach:
    """How far from its carrier a receiver has to keep what is too loud for it."""

    def __init__(self, figures: Figures, bears_dbm: float) -> None:
        self._bears_dbm = bears_dbm
        last_hz, last_db = figures.selectivity[-1]
        self._hz = np.arange(0, last_hz + 2 * STEP_HZ, STEP_HZ)
        self._lost_db = rejection_db(figures.selectivity, self._hz)
        passed = 10 ** (-self._lost_db / 10) * STEP_HZ
        beyond = 10 ** (-last_db / 10) * last_hz
        self._passed_hz = 2 * (np.cumsum(passed[::-1])[::-1] + beyond)

    def of_one(self, level_dbm: float) -> float:
        """For one carrier or product at a level; infinite where even the last point does not reject enough."""
        enough = np.flatnonzero(level_dbm - self._lost_db <= self._bears_dbm)
        return int(self._hz[enough[0]]) if enough.size else math.inf

    def of_many(self, level_dbm: float, density_per_hz: float) -> float:
        """For so many products per hertz at a level, together, those nearer than the distance being kept away;
        infinite where even the farthest are too many.
        """
        with np.errstate(divide="ignore"):
            together_dbm = level_dbm + 10 * np.log10(density_per_hz * self._passed_hz)
        enough = np.flatnonzero(together_dbm <= self._bears_dbm)
        return int(self._hz[enough[0]]) if enough.size else math.inf


def _largest(table_hz: int | None, needed_hz: Sequence[float]) -> int:
    """The largest of what is needed; where for something no distance is enough, no less than the table asks for."""
    largest_hz = max((int(hz) for hz in needed_hz if _is_enough(hz)), default=0)
    return largest_hz if all(map(_is_enough, needed_hz)) else max(largest_hz, table_hz or 0)


def _is_enough(distance_hz: float) -> bool:
    return math.isfinite(distance_hz)


def _farther_db(figures: Figures) -> float:
    """How much softer a carrier is on average than at its nearest."""
    nearest_m = figures.nearest_m.value
    return 20 * math.log10(mean_distance_m(nearest_m, max(figures.distance_m.value, nearest_m)) / nearest_m)


def _eirp_dbm(equipment: Equipment) -> float:
    radiated_dbm = eirp_dbm(equipment)
    return USUAL_EIRP_DBM if radiated_dbm is None else radiated_dbm


def _ends_hz(equipment: Equipment, placed: Sequence[Link | Assignment]) -> tuple[int, int]:
    """The lowest and highest carrier of a type of radio. Raises UsageError where it has none at all."""
    ends = [hz for span in equipment.tuning for hz in (span.low_hz, span.high_hz)] or list(equipment.presets_hz)
    ends += [one.frequency_hz for one in placed if one.equipment == equipment.name and one.frequency_hz is not None]
    if not ends:
        what = f"levels can't set the distances of {equipment.name}, which has neither tuning range nor presets"
        raise UsageError(what, hint="fill in tuning_mhz in the equipment table")
    return min(ends), max(ends)


def _warning(changed: Sequence[Equipment]) -> str:
    sources = worded_list(list(dict.fromkeys(one.stated.source for one in changed)))
    return (
        "DISTANCES COME FROM LEVELS: they hold only while nothing comes nearer to a receiver's antenna than stated and "
        f"its intercept point is what {sources} says; antenna amplifiers lower it dB for dB; {RESERVE_DB:g} dB are "
        "kept in reserve"
    )


def _told(before: Equipment, after: Equipment) -> str:
    pairs = (
        ("spacing", before.spacing_hz, after.spacing_hz),
        ("2A−B", before.im3_hz, after.im3_hz),
        ("A+B−C", before.im3_three_hz, after.im3_three_hz),
        ("3A−2B", before.im5_hz, after.im5_hz),
    )
    told = [f"{what} {_width(new)} instead of {_width(old)}" for what, old, new in pairs if old or new]
    stated = before.stated
    rests = f"nearest {stated.nearest_m:g} m, intercept point {stated.iip3_dbm:g} dBm"
    return f"{before.name} by levels: {', '.join(told)} ({rests}, {stated.source})"


def _told_short(name: str, short_of: Sequence[str]) -> str:
    return (
        f"{name}: no distance that its selectivity states rejects enough for {worded_list(list(short_of))}, so the "
        "table's distances are not loosened there and the reserve is NOT kept: see its margin in the ledger, and state "
        "its selectivity farther out"
    )


def _width(distance_hz: int | None) -> str:
    return exact_width(distance_hz) if distance_hz else "none"
