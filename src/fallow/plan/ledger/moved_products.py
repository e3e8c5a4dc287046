"""The products of one carrier at one or more places, each near its victim: what margins that are kept up to date need.

Each choice of all carriers but two or three is found by bisection in a sorted row of carriers, of their sums or of
their differences; all searches in one row are made at once. Whole hertz throughout.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.near_products import NOWHERE, SumTables
from fallow.plan.judge.products import AUDITED, FIFTH, THREE_CARRIERS, TWO_CARRIERS

__all__ = ["MovedProducts"]

Whole = NDArray[np.int64]
Mask = NDArray[np.bool_]
_TWO, _THREE, _FIFTH = (AUDITED.index(form) for form in (TWO_CARRIERS, THREE_CARRIERS, FIFTH))


@dataclass(frozen=True, eq=False)
class MovedProducts:
    """Products in which one carrier takes part; arrays of shape (product,), ``makers`` of shape (3, product).

    ``place``: which of its places. ``form``: index in ``AUDITED``. ``makers``: letter by letter, of two carriers the
    second one again as the third. ``distance_hz``: from the victim.
    """

    place: Whole
    form: Whole
    victim: Whole
    makers: Whole
    distance_hz: Whole

    @classmethod
    def of(cls, tables: SumTables, p: int, places_hz: Sequence[int], reach_hz: Whole) -> MovedProducts:
        """Those that carrier ``p``, one of ours, makes at each of some places, and those that others make near the last
        of them; of different makers, each of which the victim hears in some scene.

        ``tables``: hold all others at home. ``reach_hz``: how near to each victim, inclusive, shape (victim,).
        """
        around = _Around.of(tables, p, np.array(places_hz, dtype=np.int64), reach_hz)
        parts = [_of_two(around), *_of_three(around)]
        return cls(
            np.concatenate([part.place for part in parts]),
            np.concatenate([part.form for part in parts]),
            np.concatenate([part.victim for part in parts]),
            np.concatenate([part.makers for part in parts], axis=1),
            np.concatenate([part.distance_hz for part in parts]),
        )

    def those(self, which: Whole) -> MovedProducts:
        """Some of them, by their numbers."""
        return MovedProducts(
            self.place[which], self.form[which], self.victim[which], self.makers[:, which], self.distance_hz[which]
        )


class _Around(NamedTuple):
    """A carrier at its places and everybody else.

    ``ears``: who hears whom mix, shape (n, n). ``place`` to ``within_hz``: each place with each victim, shape (place ×
    victim,). ``last_hz``, ``own_reach_hz``: its last place, where it is a victim itself. ``others``: who else mixes,
    rising in hertz, ``others_hz``.
    """

    tables: SumTables
    ears: Mask
    p: int
    last: int
    last_hz: int
    own_reach_hz: int
    place: Whole
    at_hz: Whole
    victim: Whole
    victim_hz: Whole
    within_hz: Whole
    others: Whole
    others_hz: Whole

    @classmethod
    def of(cls, tables: SumTables, p: int, places_hz: Whole, reach_hz: Whole) -> _Around:
        people, hz = tables.people, tables.hz
        on = hz != NOWHERE
        on[p] = False
        victims = np.flatnonzero(on[: reach_hz.size] & people.meets[: reach_hz.size, p])
        others = np.flatnonzero(on & people.mixes & people.together[p])
        others = others[np.argsort(hz[others], kind="stable")]
        place, victim = np.repeat(np.arange(places_hz.size), victims.size), np.tile(victims, places_hz.size)
        own = places_hz.size - 1, int(places_hz[-1]), int(reach_hz[p])
        near = place, places_hz[place], victim, hz[victim], reach_hz[victim]
        ears = people.meets & people.mixes
        np.fill_diagonal(ears, val=False)  # nobody disturbs itself
        return cls(tables, ears, p, *own, *near, others, hz[others])

    def heard(self, victims: Whole, *makers: Whole) -> Mask:
        """Whether victims hear all of some carriers, which mix."""
        ears, row = self.ears.ravel(), victims * self.ears.shape[1]
        return np.asarray(np.logical_and.reduce([ears[row + each] for each in makers]))


class _Sought(NamedTuple):
    """Frequencies near which something is sought, shape (frequency,), and what is known of the products that it makes.

    ``times``: how often what is found counts. ``known``: the letter that is known. ``first``: 1 where that is A.
    """

    form: Whole
    times: Whole
    hz: Whole
    known: Whole
    first: Whole
    place: Whole
    victim: Whole
    within_hz: Whole

    @classmethod
    def by_it(cls, around: _Around, form: int, times: int, hz: Whole, *, first: bool) -> _Sought:
        """Near the victims, by the carrier itself."""
        near = around.place, around.victim, around.within_hz
        return cls(*_alike(hz, form, times), hz, *_alike(hz, around.p, int(first)), *near)

    @classmethod
    def on_it(cls, around: _Around, form: int, times: int, hz: Whole, *, first: bool) -> _Sought:
        """Near the last place of the carrier, by all others, one of which is known."""
        within_hz = np.full(hz.size, around.own_reach_hz)
        is_first = np.full(hz.size, int(first))
        return cls(*_alike(hz, form, times), hz, around.others, is_first, *_alike(hz, around.last, around.p), within_hz)

    @classmethod
    def joined(cls, *parts: _Sought) -> _Sought:
        """All of several."""
        return cls(*(np.concatenate(each) for each in zip(*parts, strict=True)))

    def those(self, which: Whole) -> _Sought:
        """Some of them, by their numbers."""
        return _Sought(*(each[which] for each in self))

    def near(self, rising_hz: Whole) -> tuple[Whole, Whole]:
        """All pairs (i, j) with |times · rising[j] − hz[i]| ≤ within: which frequency, and which entry."""
        low = np.searchsorted(rising_hz, -((self.within_hz - self.hz) // self.times), side="left")
        found = np.searchsorted(rising_hz, (self.hz + self.within_hz) // self.times, side="right") - low
        which = np.repeat(np.arange(self.hz.size), found)
        first = np.repeat(low - np.cumsum(found) + found, found)
        return which, first + np.arange(which.size)


def _of_two(around: _Around) -> MovedProducts:
    """m A − n B: one letter known, and the other sought, in one search for all."""
    at_hz, victim_hz = around.at_hz, around.victim_hz
    sought = _Sought.joined(
        _Sought.by_it(around, _TWO, 1, 2 * at_hz - victim_hz, first=True),
        _Sought.by_it(around, _TWO, 2, victim_hz + at_hz, first=False),
        _Sought.by_it(around, _FIFTH, 2, 3 * at_hz - victim_hz, first=True),
        _Sought.by_it(around, _FIFTH, 3, victim_hz + 2 * at_hz, first=False),
        _Sought.on_it(around, _TWO, 1, 2 * around.others_hz - around.last_hz, first=True),
        _Sought.on_it(around, _FIFTH, 2, 3 * around.others_hz - around.last_hz, first=True),
    )
    which, entry = sought.near(around.others_hz)
    known, found = sought.known[which], around.others[entry]
    fine = np.flatnonzero((known != found) & around.heard(sought.victim[which], known, found))
    of, found, found_hz = sought.those(which[fine]), found[fine], around.others_hz[entry[fine]]
    a, b = np.where(of.first == 1, of.known, found), np.where(of.first == 1, found, of.known)
    return MovedProducts(of.place, of.form, of.victim, np.stack([a, b, b]), np.abs(of.times * found_hz - of.hz))


def _of_three(around: _Around) -> Iterator[MovedProducts]:
    """A + B − C: the carrier as A, and a difference sought; or as C, or some other C, and a sum sought."""
    p, at_hz, victim_hz, tables = around.p, around.at_hz, around.victim_hz, around.tables
    less = _Sought.by_it(around, _THREE, 1, victim_hz - at_hz, first=True)
    more = _Sought.joined(
        _Sought.by_it(around, _THREE, 1, victim_hz + at_hz, first=False),
        _Sought.on_it(around, _THREE, 1, around.last_hz + around.others_hz, first=False),
    )
    for sought, pairs in ((less, tables.differences), (more, tables.sums)):
        which, entry = sought.near(pairs.keys)
        known, (one, other) = sought.known[which], pairs.makers[:, entry]
        fine = (one != p) & (other != p) & (one != known) & (other != known)  # p counts where it is known alone
        some = np.flatnonzero(fine & around.heard(sought.victim[which], known, one, other))
        of, one, other = sought.those(which[some]), one[some], other[some]
        makers = (of.known, one, other) if sought is less else (one, other, of.known)
        yield MovedProducts(of.place, of.form, of.victim, np.stack(makers), np.abs(pairs.keys[entry[some]] - of.hz))


def _alike(hz: Whole, one: int, other: int) -> tuple[Whole, Whole]:
    """The same two numbers for each frequency."""
    return np.full(hz.size, one, dtype=np.int64), np.full(hz.size, other, dtype=np.int64)
