"""What stands in the way of one more carrier, place by place, counted over a plan that stands.

Each distance is a stretch of frequencies on which the newcomer x would break it: |k · x − c| < d, where k is how
often x takes part in the product (1 where it is the victim). Nothing here is shared with the search.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.group_rules import apart_needed_hz, together_with
from fallow.plan.judge.pairs import partner_of
from fallow.plan.judge.products import FORMS, THREE_CARRIERS, Form

__all__ = ["OF_DISTANCE", "Obstacles", "obstacles_for"]

OF_DISTANCE = ("spacing", "foreign", "apart", "together", "duplex", *(form.name for form in FORMS))
LARGEST_TABLE = 2_000_000
BEYOND_HZ = 10**13  # wider than any spectrum
_OF_TWO = tuple(form for form in FORMS if len(form.coefficients) == 2)
_LINE = np.zeros(1, dtype=np.int64)  # half the width of what has none


@dataclass(frozen=True, eq=False)
class Obstacles:
    """How many distances a newcomer would break at each place, arrays of int64.

    ``by_kind``: shape (kind of ``OF_DISTANCE``, place). ``by_carrier``: shape (carrier of the plan, place); a distance
    counts for each carrier that takes part in it. ``halved``: as ``by_kind`` if all distances were half as large.
    """

    carriers: tuple[Carrier, ...]
    by_kind: NDArray[np.int64]
    halved: NDArray[np.int64]
    by_carrier: NDArray[np.int64]

    @cached_property
    def at_place(self) -> NDArray[np.int64]:
        """All broken distances, shape (place,)."""
        return np.asarray(self.by_kind.sum(axis=0))

    @property
    def free(self) -> NDArray[np.bool_]:
        """Places where no distance would be broken, shape (place,)."""
        return np.asarray(self.at_place == 0)

    def at(self, places: NDArray[np.bool_]) -> Obstacles:
        """The same for some of the places only."""
        return Obstacles(self.carriers, self.by_kind[:, places], self.halved[:, places], self.by_carrier[:, places])

    def blocked_by_kind(self) -> dict[str, int]:
        """For each kind of distance: the places at which it is in the way."""
        return dict(zip(OF_DISTANCE, np.count_nonzero(self.by_kind, axis=1).tolist(), strict=True))

    def freed_without_kind(self) -> dict[str, int]:
        """For each kind of distance: the places at which nothing else is in the way."""
        return self._freed(self.by_kind > 0)

    def freed_with_half_of_kind(self) -> dict[str, int]:
        """For each kind: the places at which nothing else is in the way, and with half its distances nothing at all."""
        return self._freed((self.by_kind > 0) & (self.halved == 0))

    def _freed(self, lifted: NDArray[np.bool_]) -> dict[str, int]:
        alone = lifted & (self.by_kind == self.at_place)
        return dict(zip(OF_DISTANCE, np.count_nonzero(alone, axis=1).tolist(), strict=True))

    def blocked_by_carrier(self) -> list[int]:
        """For each carrier of the plan: the places at which it takes part in what is in the way."""
        blocked: list[int] = np.count_nonzero(self.by_carrier, axis=1).tolist()
        return blocked

    def freed_without_carrier(self) -> list[int]:
        """For each carrier of the plan: the places at which it takes part in all that is in the way."""
        alone = (self.by_carrier > 0) & (self.by_carrier == self.at_place)
        freed: list[int] = np.count_nonzero(alone, axis=1).tolist()
        return freed


def obstacles_for(company: Company, places_hz: NDArray[np.int64]) -> Obstacles:
    """Count what stands in the way of the last carrier of ``company``, the newcomer, at each place.

    ``places_hz``: int64, rising, shape (place,). The newcomer's own frequency does not matter; the others stand where
    they are.
    """
    tally = _Tally(places_hz, len(company.carriers) - 1)
    for stretches in (
        *_of_spacing(company),
        *_of_groups(company),
        *_of_other_direction(company),
        *_of_products_on_it(company),
        *_of_its_products(company),
    ):
        tally.add(stretches)
    return Obstacles(company.carriers[:-1], *map(_Tally.total, (tally.by_kind, tally.halved, tally.by_carrier)))


@dataclass(frozen=True, eq=False)
class _Stretches:
    """Where the newcomer x breaks a distance of one kind: |times · x − around_hz| < within_hz + half_width_hz.

    ``around_hz``: shape (stretch,). ``others``: carriers that take part beside the newcomer, shape (stretch, other).
    ``can_be_halved``: it is a distance that could be asked half as large. ``half_width_hz``: of the product, where that
    counts, shape (stretch,) or (1,).
    """

    kind: str
    times: int
    around_hz: NDArray[np.int64]
    within_hz: int
    others: NDArray[np.intp]
    half_width_hz: NDArray[np.int64] = field(default_factory=lambda: _LINE)
    can_be_halved: bool = True


class _Tally:
    """Counts per place, kept as +1 where a stretch begins and −1 where it ends."""

    def __init__(self, places_hz: NDArray[np.int64], carriers: int) -> None:
        self._steps = _Steps(places_hz)
        self.by_kind = np.zeros((len(OF_DISTANCE), len(places_hz) + 1), dtype=np.int64)
        self.halved = np.zeros_like(self.by_kind)
        self.by_carrier = np.zeros((carriers, len(places_hz) + 1), dtype=np.int64)

    def add(self, stretches: _Stretches) -> None:
        """Count stretches; those that hold no place count nothing."""
        kind = OF_DISTANCE.index(stretches.kind)
        half_width_hz = np.broadcast_to(stretches.half_width_hz, stretches.around_hz.shape)
        first, end = self._steps.inside(stretches.times, stretches.around_hz, stretches.within_hz + half_width_hz)
        some = np.flatnonzero(first < end)
        first, end = first[some], end[some]
        _mark(self.by_kind[kind], first, end)
        for other in stretches.others[some].T:
            _mark(self.by_carrier, first, end, other)
        parts = 2 if stretches.can_be_halved else 1
        half_hz = -(-stretches.within_hz // parts)  # of whole hertz: less than the half, rounded up
        within_hz = half_hz + half_width_hz[some]
        _mark(self.halved[kind], *self._steps.inside(stretches.times, stretches.around_hz[some], within_hz))

    @staticmethod
    def total(counts: NDArray[np.int64]) -> NDArray[np.int64]:
        """Marks to counts, shape (row, place)."""
        return np.cumsum(counts, axis=1)[:, :-1]


class _Steps:
    """Finds places among sorted ones: by a table over their common step where that is small, else by bisection."""

    def __init__(self, places_hz: NDArray[np.int64]) -> None:
        self._places_hz = places_hz
        self._low_hz = int(places_hz[0]) if len(places_hz) else 0
        self._step_hz = int(np.gcd.reduce(np.diff(places_hz))) or 1
        steps = (places_hz - self._low_hz) // self._step_hz
        self._up_to: NDArray[np.int64] | None = None
        if len(steps) and steps[-1] < LARGEST_TABLE:
            self._up_to = np.concatenate(([0], np.cumsum(np.bincount(steps))))

    def inside(
        self, times: int, around_hz: NDArray[np.int64], within_hz: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """The first place p with |times · p − around_hz| < within_hz, and the first one beyond it."""
        first = self._count_up_to((around_hz - within_hz) // times)
        end = self._count_up_to((around_hz + within_hz - 1) // times)
        return first, end

    def _count_up_to(self, hz: NDArray[np.int64]) -> NDArray[np.int64]:
        if self._up_to is None:
            return np.searchsorted(self._places_hz, hz, side="right")
        step = (hz - self._low_hz) // self._step_hz + 1
        return self._up_to[np.clip(step, 0, len(self._up_to) - 1)]


def _mark(
    counts: NDArray[np.int64], first: NDArray[np.int64], end: NDArray[np.int64], row: NDArray[np.intp] | int = 0
) -> None:
    """Mark stretches in a row of counts, or each in its own row of a table."""
    cells = counts.reshape(-1)
    np.add.at(cells, row * counts.shape[-1] + first, 1)
    np.subtract.at(cells, row * counts.shape[-1] + end, 1)


def _of_spacing(company: Company) -> Iterator[_Stretches]:
    new = len(company.carriers) - 1
    newcomer = company.carriers[new]
    for i in np.flatnonzero(company.meeting(new)[:new]).tolist():
        other = company.carriers[i]
        needed_hz = max(newcomer.spacing_hz, other.spacing_hz) if other.ours else other.spacing_hz
        if needed_hz > 0:
            kind = "spacing" if other.ours else "foreign"
            yield _Stretches(kind, 1, company.hz[[i]], needed_hz, np.array([[i]], dtype=np.intp))


def _of_groups(company: Company) -> Iterator[_Stretches]:
    """Hard rules about groups that the newcomer would break with a carrier that stands: too near, or too far."""
    new = len(company.carriers) - 1
    needed_hz = apart_needed_hz(company)[new]
    for i in np.flatnonzero(needed_hz[:new]).tolist():
        yield _Stretches("apart", 1, company.hz[[i]], int(needed_hz[i]), np.array([[i]], dtype=np.intp))
    for i, most_hz in together_with(company, new):
        beyond_hz = np.array([-1, 1]) * (most_hz + BEYOND_HZ) + company.hz[i]
        yield _Stretches("together", 1, beyond_hz, BEYOND_HZ, np.full((2, 1), i, dtype=np.intp), can_be_halved=False)


def _of_other_direction(company: Company) -> Iterator[_Stretches]:
    """Where the newcomer would not go together with its other direction."""
    new = len(company.carriers) - 1
    partner = partner_of(company, new)
    if partner is None:
        return
    i, duplex, sign = partner
    other = np.array([[i]], dtype=np.intp)
    if duplex.offset_hz is None:
        yield _Stretches("duplex", 1, company.hz[[i]], duplex.least_hz, other, can_be_halved=False)
        return
    middle_hz = int(company.hz[i]) + sign * duplex.offset_hz
    beyond_hz = middle_hz + np.array([-1, 1]) * BEYOND_HZ
    yield _Stretches("duplex", 1, beyond_hz, BEYOND_HZ, np.repeat(other, 2, axis=0), can_be_halved=False)


def _of_products_on_it(company: Company) -> Iterator[_Stretches]:
    """Products that hit the newcomer; those that strangers make alone forbid nothing."""
    new, hz = len(company.carriers) - 1, company.hz
    makers = company.mixing_with(new)
    makers = makers[makers != new]
    asked = company.carriers[new].product_distances_hz
    for form in _OF_TWO:
        if form in asked:
            pair = _ours_among(company, _together(company, _ordered_pairs(makers), new))
            half_hz = _half_width_hz(company, form, new, pair)
            yield _Stretches(form.name, 1, hz[pair] @ np.array(form.coefficients), asked[form], pair, half_hz)
    if THREE_CARRIERS in asked:
        for c in makers:
            three = _with(_unordered_pairs(makers[makers != c]), c)
            three = _ours_among(company, _together(company, three, new))
            around_hz = hz[three[:, 0]] + hz[three[:, 1]] - hz[three[:, 2]]
            half_hz = _half_width_hz(company, THREE_CARRIERS, new, three)
            yield _Stretches(THREE_CARRIERS.name, 1, around_hz, asked[THREE_CARRIERS], three, half_hz)


def _of_its_products(company: Company) -> Iterator[_Stretches]:
    """Products in which the newcomer takes part, on each standing carrier that asks for a distance."""
    new = len(company.carriers) - 1
    for victim in np.flatnonzero(company.meeting(new)[:new]).tolist():
        makers = company.mixing_with(victim)
        carrier = company.carriers[victim]
        if new not in makers or not carrier.product_distances_hz:
            continue
        makers = makers[(makers != new) & (makers != victim)]
        makers = makers[company.on_in_one_scene(makers[:, None], new)]
        yield from _of_its_two_carrier_products(company, victim, makers)
        if THREE_CARRIERS in carrier.product_distances_hz:
            yield from _of_its_three_carrier_products(company, victim, makers)


def _of_its_two_carrier_products(company: Company, victim: int, makers: NDArray[np.intp]) -> Iterator[_Stretches]:
    """m A − n B with the newcomer as A or as B: m x = v + n B, or n x = m A − v."""
    new = len(company.carriers) - 1
    others = _together(company, _with(makers[:, None], victim), new)
    made_hz, at_hz = company.hz[others[:, 0]], company.hz[victim]
    as_first = np.stack([np.full(len(others), new), others[:, 0]], axis=1)
    for form in _OF_TWO:
        within_hz = company.carriers[victim].product_distances_hz.get(form, 0)
        if within_hz:
            m, n = form.coefficients[0], -form.coefficients[1]
            first_hz, second_hz = (_half_width_hz(company, form, victim, who) for who in (as_first, as_first[:, ::-1]))
            yield _Stretches(form.name, m, at_hz + n * made_hz, within_hz, others, first_hz)
            yield _Stretches(form.name, n, m * made_hz - at_hz, within_hz, others, second_hz)


def _of_its_three_carrier_products(company: Company, victim: int, makers: NDArray[np.intp]) -> Iterator[_Stretches]:
    """A+B−C with the newcomer as A: x = v − B + C; or as C: x = A + B − v."""
    new, at_hz = len(company.carriers) - 1, company.hz[victim]
    within_hz = company.carriers[victim].product_distances_hz[THREE_CARRIERS]

    def half_hz(others: NDArray[np.intp]) -> NDArray[np.int64]:
        return _half_width_hz(
            company, THREE_CARRIERS, victim, np.hstack([others[:, :2], np.full_like(others[:, :1], new)])
        )

    added = _together(company, _with(_ordered_pairs(makers), victim), new)
    around_hz = at_hz - company.hz[added[:, 0]] + company.hz[added[:, 1]]
    yield _Stretches(THREE_CARRIERS.name, 1, around_hz, within_hz, added, half_hz(added))
    taken = _together(company, _with(_unordered_pairs(makers), victim), new)
    around_hz = company.hz[taken[:, 0]] + company.hz[taken[:, 1]] - at_hz
    yield _Stretches(THREE_CARRIERS.name, 1, around_hz, within_hz, taken, half_hz(taken))


def _half_width_hz(company: Company, form: Form, victim: int, makers: NDArray[np.intp]) -> NDArray[np.int64]:
    """Of the products that rows of ``makers`` make, letter by letter, where the victim minds their edges: half their
    width, rounded up; shape (product,) or (1,).
    """
    if not company.carriers[victim].edges:
        return _LINE
    return np.asarray(-(-(company.widths_hz[makers] @ np.abs(form.coefficients)) // 2))


def _ordered_pairs(one: NDArray[np.intp]) -> NDArray[np.intp]:
    first, second = np.nonzero(~np.eye(len(one), dtype=np.bool_))
    return np.stack([one[first], one[second]], axis=1)


def _unordered_pairs(one: NDArray[np.intp]) -> NDArray[np.intp]:
    first, second = np.triu_indices(len(one), 1)
    return np.stack([one[first], one[second]], axis=1)


def _with(rows: NDArray[np.intp], last: int | np.intp) -> NDArray[np.intp]:
    """Rows with one more carrier at their end."""
    return np.hstack([rows, np.full((len(rows), 1), last, dtype=np.intp)])


def _together(company: Company, rows: NDArray[np.intp], new: int) -> NDArray[np.intp]:
    """The rows of carriers that are on in one scene with the newcomer."""
    return rows[company.on_in_one_scene(rows, new)]


def _ours_among(company: Company, rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """The rows in which at least one carrier is ours."""
    return rows[company.ours[rows].any(axis=1)]
