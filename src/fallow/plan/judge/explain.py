"""Why a link stands where it stands, and what keeps another from standing anywhere, in sentences with numbers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.carriers import Company
from fallow.plan.judge.footing import Footing, nearest_tunable_hz
from fallow.plan.judge.obstacles import Obstacles, obstacles_for
from fallow.plan.judge.products import Form
from fallow.plan.places import Ground, Places
from fallow.plan.wording import counted, exact_width, mhz, worded_list
from fallow.rules.territory import Answer
from fallow.show.equipment import Equipment
from fallow.spectrum.verdict import JudgedSlice, Verdict
from fallow.units import Channel, format_span_mhz

__all__ = ["air_in_words", "because", "nearest_carrier", "nearest_product", "stands_against", "why"]

FARTHEST = 64  # times the distance asked for: a product farther away than that is of no interest
MOST_NAMED = 3
MOST_RELAXATIONS = 5
MOST_OF_A_SORT = 2

Mask = NDArray[np.bool_]


# Why here


def why(footing: Footing, company: Company, position: int, standing: str) -> tuple[str, ...]:
    """The reasons of a placed link: how it came to its place, the law, the air, and who is nearest.

    ``position``: of the link in ``company``. ``standing``: how it came here, such as ``fixed``; empty where it was
    free.
    """
    said = (standing, _of_law(footing), air_in_words(footing), _of_neighbours(company, position))
    return tuple(part for part in said if part)


def _of_law(footing: Footing) -> str:
    return "" if footing.permission is None else footing.permission.text


def air_in_words(footing: Footing) -> str:
    """What announcements and surveys say of a place, with numbers and the survey that decided; empty without any."""
    if footing.announced is not None:
        return f"TV channel {footing.announced.name} is announced there"
    return "" if footing.judged is None else _of_verdict(footing.judged, footing)


def _of_verdict(judged: JudgedSlice, footing: Footing) -> str:
    inside = [] if judged.level_dbm is None else [f"level {judged.level_dbm:.1f} {footing.level_unit}"]
    inside += [] if judged.u_db is None else [f"standard uncertainty {judged.u_db:.1f} dB"]
    inside += [] if judged.verdict == Verdict.CLEAN else judged.reasons
    told = " ".join(part for part in (judged.verdict.word, footing.told_survey) if part)
    return f"{told} ({', '.join(inside)})" if inside else told


def _of_neighbours(company: Company, position: int) -> str:
    if np.count_nonzero(company.meeting(position)) == 1:  # itself
        return "no other carrier meets it"
    carrier, product = nearest_carrier(company, position), nearest_product(company, position)
    said = [near.text for near in (carrier, product) if near is not None]
    if product is None and company.carriers[position].product_distances_hz:
        said.append("no product near it")
    return "; ".join(said) or "no distance from others is asked for"


@dataclass(frozen=True)
class Near:
    """A neighbour of a carrier: what it is, how far away, and how far away it has to be, in hertz."""

    name: str
    distance_hz: int
    needed_hz: int

    @property
    def spare_hz(self) -> int:
        """How much more than needed the distance is."""
        return self.distance_hz - self.needed_hz

    @property
    def text(self) -> str:
        """``400 kHz from vox 2 (350 kHz needed)``."""
        where = f"{exact_width(self.distance_hz)} from" if self.distance_hz else "exactly on"
        return f"{where} {self.name} ({exact_width(self.needed_hz)} needed)"


def nearest_carrier(company: Company, position: int) -> Near | None:
    """The carrier that comes nearest to breaking its spacing with another; ``None`` where it meets none."""
    carrier = company.carriers[position]
    needed_hz = np.where(company.ours, np.maximum(carrier.spacing_hz, company.spacings_hz), company.spacings_hz)
    met = company.meeting(position) & (needed_hz > 0)
    met[position] = False
    if not met.any():
        return None
    distance_hz = np.abs(company.hz - carrier.frequency_hz)
    spare_hz = distance_hz - needed_hz
    nearest = np.flatnonzero(met & (spare_hz == spare_hz[met].min())).tolist()
    first = min(nearest, key=lambda i: company.carriers[i].name)
    return Near(company.carriers[first].name, int(distance_hz[first]), int(needed_hz[first]))


def nearest_product(company: Company, position: int) -> Near | None:
    """The product that comes nearest to breaking its distance to a carrier.

    ``None`` where the carrier asks for none, or none falls within ``FARTHEST`` times the distance.
    """
    asked = company.carriers[position].product_distances_hz
    near = [product for form in asked if (product := _nearest_of_form(company, position, form)) is not None]
    return min(near, key=lambda one: one.spare_hz, default=None)


def _nearest_of_form(company: Company, position: int, form: Form) -> Near | None:
    carrier = company.carriers[position]
    needed_hz, times = carrier.product_distances_hz[form], 2
    while times <= FARTHEST:
        makers = company.products_near(position, form, times * needed_hz)
        if len(makers):
            made_hz = company.hz[makers] @ np.array(form.coefficients, dtype=np.int64)
            distance_hz = np.abs(made_hz - carrier.frequency_hz)
            half_hz = -(-(company.widths_hz[makers] @ np.abs(form.coefficients)) // 2) if carrier.edges else 0
            nearest = int(np.argmin(distance_hz - half_hz))
            who = [company.carriers[i] for i in makers[nearest].tolist()]
            name = f"product {form.worded([one.name for one in who])}"
            return Near(name, int(distance_hz[nearest]), carrier.product_needs_hz(form, who))
        times *= 2
    return None


def stands_against(footing: Footing, company: Company, position: int) -> str:
    """What is wrong with a place in ``company``, such as ``is not allowed``; empty where nothing is found.

    It looks at the place and at what others do to it, not at what its own products do to others.
    """
    if nearest_tunable_hz(footing.equipment, footing.carrier.frequency_hz) != footing.carrier.frequency_hz:
        return "it can't be set to"
    if footing.is_told(Answer.NO):
        return "is not allowed"
    if footing.announced is not None:
        return f"touches TV channel {footing.announced.name}, announced as on the air"
    if footing.is_judged(Verdict.OCCUPIED):
        return "lies in occupied spectrum"
    near = (nearest_carrier(company, position), nearest_product(company, position))
    return next((f"is {one.text}" for one in near if one is not None and one.spare_hz < 0), "")


# Why nowhere


def because(company: Company, ground: Ground) -> tuple[str, ...]:
    """What keeps the last carrier of ``company``, which has no place, from having one; and what would free places.

    The others are those that are placed. Everything is counted over the places that its equipment can be set to; each
    change named at the end was counted with everything else left as it is.
    """
    newcomer = company.carriers[-1]
    if newcomer.equipment is None:
        return ()
    places = ground.places(newcomer.equipment, newcomer.area)
    if not len(places.frequencies_hz):
        return (f"{newcomer.equipment.name} can't be set to any frequency: no preset lies inside its tuning ranges",)
    case = _Case(newcomer.equipment, newcomer.area, places, obstacles_for(company, places.frequencies_hz), ground)
    if case.usable.free.any():
        return tuple(_account(case))
    return (*_account(case), *_what_blocks(case), *_relaxations(case))


@dataclass(frozen=True, eq=False)
class _Case:
    """One link without a place: its places, and what stands in its way at each."""

    equipment: Equipment
    area: str
    places: Places
    obstacles: Obstacles
    ground: Ground

    @property
    def forbidden(self) -> Mask:
        """Places that the law does not allow."""
        return np.asarray(self.places.answer == Answer.NO)

    @property
    def announced(self) -> Mask:
        """Other places: in TV channels announced as on the air."""
        return self.places.announced & ~self.forbidden

    @property
    def occupied(self) -> Mask:
        """Other places: found occupied."""
        return np.asarray(self.places.verdict == Verdict.OCCUPIED) & ~self.forbidden & ~self.places.announced

    @cached_property
    def usable(self) -> Obstacles:
        """Obstacles at the places that a plan may use."""
        return self.obstacles.at(self.places.may_use)

    def noun(self, number: int) -> str:
        """So many places, called presets where the equipment has these."""
        return counted(number, "preset" if self.equipment.presets_hz else "place")


def _account(case: _Case) -> Iterator[str]:
    """Where all the places went, each counted once."""
    total, left = len(case.places.frequencies_hz), len(case.usable.at_place)
    free = int(np.count_nonzero(case.usable.free))
    lost = (
        (int(np.count_nonzero(case.forbidden)), "is", "are", "not allowed"),
        (int(np.count_nonzero(case.announced)), "lies", "lie", "in TV channels announced as on the air"),
        (int(np.count_nonzero(case.occupied)), "lies", "lie", "in occupied spectrum"),
        (left - free, "is", "are", "too near to other carriers or to products"),
        (free, "is", "are", "free"),
    )
    parts = [f"{counted(number, one, many)} {fate}" for number, one, many, fate in lost if number]
    yield f"of {case.noun(total)} that {case.equipment.name} can be set to, {worded_list(parts)}"
    if free:
        yield f"{case.noun(free)} would do: the search ended before it found a plan with this link; give it more time"


def _what_blocks(case: _Case) -> Iterator[str]:
    """Which distances, and whose, are in the way at the places that could be used."""
    blocked = [(number, _DISTANCES[kind]) for kind, number in case.usable.blocked_by_kind().items() if number]
    if not blocked:
        return
    kinds = [f"{words} at {number:,}" for number, words in sorted(blocked, reverse=True)]
    left = _these(case, len(case.usable.at_place))
    yield f"in the way at {left}: {worded_list(kinds)}; one place may be counted more than once"
    names = zip(case.usable.blocked_by_carrier(), case.usable.carriers, strict=True)
    often = sorted(((n, carrier) for n, carrier in names if n), key=lambda one: (-one[0], one[1].name))
    people = [f"{carrier.name} at {n:,}" for n, carrier in often[:MOST_NAMED]]
    yield f"most often in the way: {worded_list(people)}"


_DISTANCES = {
    "spacing": "the spacing to other links",
    "foreign": "the distance to foreign carriers",
    "apart": "the distance between groups",
    "together": "the width of the own group",
    "duplex": "the other direction",
    "2A-B": "products 2A−B",
    "A+B-C": "products A+B−C",
    "3A-2B": "products 3A−2B",
    "4A-3B": "products 4A−3B",
}


def _these(case: _Case, number: int) -> str:
    return f"the one {case.noun(1).split()[1]} left" if number == 1 else f"the {case.noun(number)} left"


# What would free places


def _relaxations(case: _Case) -> Iterator[str]:
    """Single changes that would free places, the most fruitful first; or that there is none."""
    found = sorted(((n, text) for n, text in _single_changes(case) if n), key=lambda one: (-one[0], one[1]))
    for number, text in found[:MOST_RELAXATIONS]:
        yield f"{case.noun(number)} would be free {text}"
    if not found:
        yield "no single change that was tried frees a place: neither a distance nor a link, a TV channel or the law"


def _single_changes(case: _Case) -> Iterator[tuple[int, str]]:
    halved = case.usable.freed_with_half_of_kind()
    for kind, number in case.usable.freed_without_kind().items():
        yield halved[kind], f"with half of {_DISTANCES_KEPT[kind]}"
        if kind not in ("spacing", "foreign") and number > halved[kind]:
            yield number, f"without {_DISTANCES_KEPT[kind]}"
    by_carrier = zip(case.usable.freed_without_carrier(), case.usable.carriers, strict=True)
    for number, carrier in sorted(by_carrier, key=lambda one: (-one[0], one[1].name))[:MOST_OF_A_SORT]:
        yield number, f"if {carrier.placed} were elsewhere or off"
    for changes in (_freed_by_law(case), _freed_by_stations(case), _freed_by_emitters(case)):
        yield from sorted(changes, reverse=True)[:MOST_OF_A_SORT]


_DISTANCES_KEPT = {
    "spacing": "the spacing between links",
    "foreign": "the distance to foreign carriers",
    "apart": "the distance between groups",
    "together": "the width of the own group",
    "duplex": "the distance from the other direction",
    "2A-B": "the distance from products 2A−B",
    "A+B-C": "the distance from products A+B−C",
    "3A-2B": "the distance from products 3A−2B",
    "4A-3B": "the distance from products 4A−3B",
}


def _freed_by_law(case: _Case) -> Iterator[tuple[int, str]]:
    otherwise_fine = (case.places.verdict != Verdict.OCCUPIED) & ~case.places.announced
    yield int(np.count_nonzero(case.obstacles.free & case.forbidden & otherwise_fine)), "if the law allowed them"


def _freed_by_stations(case: _Case) -> Iterator[tuple[int, str]]:
    otherwise_fine = case.obstacles.free & case.announced & (case.places.verdict != Verdict.OCCUPIED)
    for channel, touched in _announced_channels(case):
        yield int(np.count_nonzero(otherwise_fine & touched)), f"if TV channel {channel.name} were off the air"


def _freed_by_emitters(case: _Case) -> Iterator[tuple[int, str]]:
    for stretch in _stretches(case.occupied):
        low_hz, high_hz = case.places.frequencies_hz[[stretch.start, stretch.stop - 1]].tolist()
        span = mhz(low_hz) if low_hz == high_hz else format_span_mhz(low_hz, high_hz)
        yield int(np.count_nonzero(case.obstacles.free[stretch])), f"if what was found on the air at {span} were gone"


def _announced_channels(case: _Case) -> Iterator[tuple[Channel, Mask]]:
    """Each announced channel with the places that touch it and no other one."""
    half_hz, at_hz = case.equipment.bandwidth_hz / 2, case.places.frequencies_hz
    channels: dict[Channel, Mask] = {}
    left = case.places.announced.copy()
    while left.any():
        channel = case.ground.announced(case.equipment, case.area, int(at_hz[np.argmax(left)]))
        if channel is None or channel in channels:
            break
        channels[channel] = (at_hz + half_hz > channel.low_hz) & (at_hz - half_hz < channel.high_hz)
        left &= ~channels[channel]
    for channel, touched in channels.items():
        others = [mask for other, mask in channels.items() if other != channel]
        yield channel, touched & ~np.logical_or.reduce(others) if others else touched


def _stretches(mask: Mask) -> Iterator[slice]:
    """Runs of places that lie side by side."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False]))))
    for first, end in edges.reshape(-1, 2).tolist():
        yield slice(first, end)
