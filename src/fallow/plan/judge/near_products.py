"""Products near their victims, kept up to date while one carrier after the other moves.

Only the products in which the moved carrier takes part, as maker or as victim, are looked for again: each choice of all
carriers but two or three is found by bisection in a sorted table of carriers, of their sums a + b and of their
differences b − c. Whole hertz throughout, so nothing is rounded or left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.carriers import Company
from fallow.plan.judge.products import FORMS, THREE_CARRIERS, Form

__all__ = ["NOBODY", "NOWHERE", "NearProducts", "People", "SumTables"]

NOWHERE = -1  # hertz of a carrier that is off
NOBODY = -1  # third letter of a product of two carriers
OCTAVE_HZ = 1 << 48  # more than any frequency: keeps octaves of width apart in one sorted array
_TIMES = np.array([[abs(k) for k in (*form.coefficients, 0)][:3] for form in FORMS], dtype=np.int64)
Whole = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class People:
    """Who the carriers of a show are, wherever they stand; arrays over n carriers.

    ``needed_hz``: distance that each asks of products, shape (form of ``FORMS``, n), 0 where not asked.
    ``reach_hz``: how near a product has to be to be kept, at least as much. ``hears``: shape (n, n), whether the first
    hears the second. ``together``: shape (n, n), whether two can take part in one product that anybody hears.
    ``meets``: shape (n, n), whether the first hears the second in some scene.
    ``scene_bits``: as of ``Company``. ``widths_hz``: how wide each is. ``edges``: who minds the edges of products.
    """

    ours: Mask
    mixes: Mask
    needed_hz: Whole
    reach_hz: Whole
    hears: Mask
    together: Mask
    meets: Mask
    scene_bits: NDArray[np.uint64]
    widths_hz: Whole
    edges: Mask

    @classmethod
    def of(cls, company: Company, look: int) -> People:
        """The carriers of ``company``; products are kept within ``look`` times the distance asked."""
        carriers = company.carriers
        needed = [[carrier.product_distances_hz.get(form, 0) for carrier in carriers] for form in FORMS]
        needed_hz = np.array(needed, dtype=np.int64).reshape(len(FORMS), len(carriers))
        areas = sorted({carrier.area for carrier in carriers})
        of_area = np.array([areas.index(carrier.area) for carrier in carriers], dtype=np.intp)
        between = np.array([[company.losses.hears(one, other) for other in areas] for one in areas], dtype=np.bool_)
        between = between.reshape(len(areas), len(areas))
        both = (between.T.astype(np.int64) @ between) > 0
        bits = company.scene_bits
        on_together = (bits[:, None, :] & bits[None, :, :]).any(axis=2)
        return cls(
            company.ours,
            np.array([carrier.mixes for carrier in carriers], dtype=np.bool_),
            needed_hz,
            look * needed_hz,
            between[np.ix_(of_area, of_area)],
            both[np.ix_(of_area, of_area)] & on_together,
            between[np.ix_(of_area, of_area)] & on_together,
            bits,
            company.widths_hz,
            np.array([carrier.edges for carrier in carriers], dtype=np.bool_),
        )

    @cached_property
    def octaves(self) -> dict[int, int]:
        """Octaves of the widths of carriers and of two of them, and the largest width in each [Hz]; one octave without
        width where nobody minds edges.
        """
        if not self.edges.any():
            return {0: 0}
        widths_hz = np.unique(self.widths_hz)
        widths_hz = np.unique(np.concatenate([widths_hz, np.add.outer(widths_hz, widths_hz).ravel()]))
        return dict(zip(self.octave_of(widths_hz).tolist(), widths_hz.tolist(), strict=True))  # the last one stays

    def octave_of(self, widths_hz: Whole) -> Whole:
        """The number of the octave in which widths lie."""
        octave = np.frexp(widths_hz.astype(np.float64))[1].astype(np.int64)
        return octave if self.edges.any() else np.zeros_like(octave)

    def half_widths_hz(self, form: Whole, victims: Whole, makers: Whole) -> Whole:
        """Half the width of each product, rounded up, where its victim minds edges, else 0; shape (product,)."""
        if not self.edges.any():
            return np.zeros_like(victims)
        widths_hz = (_TIMES[form].T * self.widths_hz[makers]).sum(axis=0)  # NOBODY counts 0 times
        return np.where(self.edges[victims], -(-widths_hz // 2), 0)

    def meet(self, victims: Whole, makers: Whole) -> Mask:
        """Which products have different carriers and victims that are on in one scene and heard, one of them ours.

        ``victims``: shape (product,). ``makers``: shape (letter, product), ``NOBODY`` where there is none.
        """
        a, b, c = makers
        c = np.where(c == NOBODY, b, c)  # a letter that is none says nothing new
        fine = (
            (a != b) & (a != victims) & (b != victims) & (c != victims) & (a != c) & ((b != c) | (makers[2] == NOBODY))
        )
        fine &= self.hears[victims, a] & self.hears[victims, b] & self.hears[victims, c]
        fine &= self.ours[a] | self.ours[b] | self.ours[c]
        if self.scene_bits.shape[1] == 1:
            bits = self.scene_bits[:, 0]
            return np.asarray(fine & ((bits[victims] & bits[a] & bits[b] & bits[c]) != 0))
        bits = self.scene_bits
        return np.asarray(fine & (bits[victims] & bits[a] & bits[b] & bits[c]).any(axis=1))


@dataclass(frozen=True, eq=False)
class NearProducts:
    """Products within reach of their victims: arrays of shape (product,), ``makers`` of shape (3, product).

    ``form``: index in ``FORMS``. ``makers``: letter by letter, the two of A+B in rising position, ``NOBODY`` for C
    where there is none. ``distance_hz``: from product to victim. ``half_width_hz``: of the product, where that counts.
    """

    form: Whole
    victim: Whole
    makers: Whole
    distance_hz: Whole
    half_width_hz: Whole

    @classmethod
    def none(cls) -> NearProducts:
        """No product at all."""
        nothing = np.zeros(0, dtype=np.int64)
        return cls(nothing, nothing, nothing.reshape(3, 0), nothing, nothing)

    @classmethod
    def joined(cls, *parts: NearProducts) -> NearProducts:
        """All products of several."""
        return cls(
            np.concatenate([part.form for part in parts]),
            np.concatenate([part.victim for part in parts]),
            np.concatenate([part.makers for part in parts], axis=1),
            np.concatenate([part.distance_hz for part in parts]),
            np.concatenate([part.half_width_hz for part in parts]),
        )

    @classmethod
    def enumerated(cls, company: Company, people: People) -> NearProducts:
        """All of a company, as the audit enumerates them."""
        found = [cls.none()]
        for victim, carrier in enumerate(company.carriers):
            for form in carrier.product_distances_hz:
                reach_hz = int(people.reach_hz[FORMS.index(form), victim])
                makers = company.products_near(victim, form, reach_hz).astype(np.int64)
                found.append(_rows(people, form, np.full(len(makers), victim), makers.T, company.hz))
        return cls.joined(*found)

    def of(self, which: Mask) -> NearProducts:
        """Some of them."""
        return NearProducts(
            self.form[which],
            self.victim[which],
            self.makers[:, which],
            self.distance_hz[which],
            self.half_width_hz[which],
        )

    def with_carrier(self, position: int) -> Mask:
        """Those in which a carrier takes part, as maker or victim."""
        a, b, c = self.makers
        return np.asarray((self.victim == position) | (a == position) | (b == position) | (c == position))

    def renumbered(self, positions: NDArray[np.intp]) -> NearProducts:
        """The same products, each carrier under another position: ``positions`` by the present ones."""
        makers = np.where(self.makers == NOBODY, NOBODY, np.append(positions, NOBODY)[self.makers])
        return replace(self, victim=positions[self.victim].astype(np.int64), makers=makers.astype(np.int64))

    def spare_hz(self, people: People) -> Whole:
        """How much farther away each is than its victim asks; negative where it is too near."""
        return self.distance_hz - self.half_width_hz - people.needed_hz[self.form, self.victim]


def _rows(people: People, form: Form, victim: Whole, makers: Whole, hz: Whole) -> NearProducts:
    """Products of one form by these carriers, standing at ``hz``, with their distances and widths."""
    letters = np.full((3, len(victim)), NOBODY, dtype=np.int64)
    letters[: len(makers)] = makers
    made = zip(form.coefficients, makers, strict=True)
    product_hz = sum((k * hz[letter] for k, letter in made), start=np.zeros(len(victim), dtype=np.int64))
    forms = np.full(len(victim), FORMS.index(form), dtype=np.int64)
    half_width_hz = people.half_widths_hz(forms, victim, letters)
    return NearProducts(forms, victim, letters, np.abs(product_hz - hz[victim]), half_width_hz)


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Sums or differences of two carriers: hertz and ``OCTAVE_HZ`` times the octave of their width, sorted, shape
    (pair,); and whose they are, shape (2, pair).
    """

    keys: Whole
    makers: Whole

    @classmethod
    def sorted_of(cls, people: People, hz: Whole, makers: Whole) -> _Pairs:
        keys = hz + OCTAVE_HZ * people.octave_of(people.widths_hz[makers].sum(axis=0))
        order = np.argsort(keys, kind="stable")
        return cls(keys[order], makers[:, order])

    def without(self, position: int) -> _Pairs:
        kept = (self.makers[0] != position) & (self.makers[1] != position)
        return _Pairs(self.keys[kept], self.makers[:, kept])

    def of(self, some: Mask) -> _Pairs:
        """Those of which both carriers are among some, shape (n,)."""
        kept = some[self.makers[0]] & some[self.makers[1]]
        return self if kept.all() else _Pairs(self.keys[kept], self.makers[:, kept])

    def merged(self, other: _Pairs) -> _Pairs:
        at = np.searchsorted(self.keys, other.keys)
        return _Pairs(np.insert(self.keys, at, other.keys), np.insert(self.makers, at, other.makers, axis=1))


@dataclass(frozen=True, eq=False)
class SumTables:
    """Carriers that mix, at their places, with the sums and differences of those that can meet in a product.

    ``hz``: shape (n,), ``NOWHERE`` for carriers that are off. Without pairs where nobody asks for A+B−C.
    """

    people: People
    hz: Whole
    sums: _Pairs
    differences: _Pairs

    @classmethod
    def of(cls, people: People, hz: Whole) -> SumTables:
        """Tables of all carriers."""
        mixing = people.mixes & (hz != NOWHERE)
        together = people.together & mixing[:, None] & mixing[None, :]
        if not people.needed_hz[FORMS.index(THREE_CARRIERS)].any():
            together = np.zeros_like(together)
        up = np.stack(np.nonzero(np.triu(together, 1)))
        np.fill_diagonal(together, val=False)
        both = np.stack(np.nonzero(together))
        sums = _Pairs.sorted_of(people, hz[up].sum(axis=0), up)
        return cls(people, hz, sums, _Pairs.sorted_of(people, hz[both[0]] - hz[both[1]], both))

    def moved(self, position: int, to_hz: int) -> SumTables:
        """The tables with one carrier elsewhere, or off."""
        hz = self.hz.copy()
        hz[position] = to_hz
        sums, differences = self.sums.without(position), self.differences.without(position)
        if to_hz == NOWHERE or not self.people.mixes[position] or not len(self._askers(THREE_CARRIERS)):
            return replace(self, hz=hz, sums=sums, differences=differences)
        others = self._mixing[self.people.together[position, self._mixing]]
        others = others[others != position]
        own = np.full(len(others), position, dtype=np.int64)
        up = np.stack([np.minimum(own, others), np.maximum(own, others)])
        both = np.stack([np.concatenate([own, others]), np.concatenate([others, own])])
        return SumTables(
            self.people,
            hz,
            sums.merged(_Pairs.sorted_of(self.people, hz[up].sum(axis=0), up)),
            differences.merged(_Pairs.sorted_of(self.people, hz[both[0]] - hz[both[1]], both)),
        )

    def products_with(self, position: int, at_hz: int, *, on_it: bool = True) -> NearProducts:
        """The products in which one carrier, ours, would take part at a place, within reach of their victims. Without
        ``on_it`` those of which it is the victim are left out.

        Where that carrier stands in the tables does not matter.
        """
        parts = [NearProducts.none()]
        for form in FORMS:
            if self.people.needed_hz[FORMS.index(form)].any():
                parts += self._around(position)._of_form(form, position, at_hz, on_it=on_it)
        return NearProducts.joined(*parts)

    def _around(self, position: int) -> SumTables:
        """The tables with those pairs alone that can meet a carrier; they are kept, for it is often the same one."""
        if position not in self._kept_around:
            together = self.people.together[position]
            sums, differences = self.sums.of(together), self.differences.of(together)
            self._kept_around[position] = replace(self, sums=sums, differences=differences)
        return self._kept_around[position]

    @cached_property
    def _kept_around(self) -> dict[int, SumTables]:
        return {}

    @cached_property
    def _mixing(self) -> NDArray[np.intp]:
        return np.flatnonzero(self.people.mixes & (self.hz != NOWHERE))

    @cached_property
    def _single(self) -> tuple[Whole, NDArray[np.intp]]:
        """Carriers that mix: keys as of ``_Pairs``, rising, and positions."""
        keys = self.hz + OCTAVE_HZ * self.people.octave_of(self.people.widths_hz)
        order = self._mixing[np.argsort(keys[self._mixing], kind="stable")]
        return keys[order], order

    def _askers(self, form: Form) -> NDArray[np.intp]:
        """Carriers that are on and ask for a distance from products of a form."""
        return np.flatnonzero((self.people.needed_hz[FORMS.index(form)] > 0) & (self.hz != NOWHERE))

    def _of_form(self, form: Form, position: int, at_hz: int, *, on_it: bool) -> list[NearProducts]:
        victims = self._askers(form)
        victims = victims[(victims != position) & self.people.meets[victims, position]]
        reach_hz = self.people.reach_hz[FORMS.index(form)]
        asks = on_it and bool(reach_hz[position])
        mixes = bool(self.people.mixes[position])
        if form == THREE_CARRIERS:
            found = [self._three_on(position, at_hz, int(reach_hz[position]))] if asks else []
            found += [self._three_by(position, at_hz, victims, reach_hz[victims])] if mixes else []
        else:
            found = [self._two_on(form, position, at_hz, int(reach_hz[position]))] if asks else []
            found += [self._two_by(form, position, at_hz, victims, reach_hz[victims])] if mixes else []
        return [self._checked(form, position, at_hz, *each) for each in found]

    def _two_on(self, form: Form, position: int, at_hz: int, reach_hz: int) -> tuple[Whole, Whole]:
        """m A − n B near the carrier: n B near m A less its place."""
        m, n = form.coefficients[0], -form.coefficients[1]
        keys, who = self._single
        known_hz, edges = m * self.people.widths_hz[who], self.people.edges[position]
        around = _Around(m * self.hz[who] - at_hz, np.int64(reach_hz), known_hz, edges)
        first, second = self._between(keys, n, around)
        return np.full(len(first), position, dtype=np.int64), np.stack([who[first], who[second]])

    def _two_by(
        self, form: Form, position: int, at_hz: int, victims: NDArray[np.intp], reach_hz: Whole
    ) -> tuple[Whole, Whole]:
        """m A − n B with the carrier as A: n B near m A − v; or as B: m A near v + n B."""
        m, n = form.coefficients[0], -form.coefficients[1]
        keys, who = self._single
        own_hz, edges = self.people.widths_hz[position], self.people.edges[victims]
        hit, other = self._between(keys, n, _Around(m * at_hz - self.hz[victims], reach_hz, m * own_hz, edges))
        as_first = np.stack([np.full(len(hit), position), who[other]])
        around = _Around(self.hz[victims] + n * at_hz, reach_hz, n * own_hz, edges)
        hit_too, another = self._between(keys, m, around)
        as_second = np.stack([who[another], np.full(len(hit_too), position)])
        return victims[np.concatenate([hit, hit_too])], np.concatenate([as_first, as_second], axis=1)

    def _three_on(self, position: int, at_hz: int, reach_hz: int) -> tuple[Whole, Whole]:
        """A + B − C near the carrier: A + B near its place plus C."""
        _, who = self._single
        known_hz, edges = self.people.widths_hz[who], self.people.edges[position]
        around = _Around(at_hz + self.hz[who], np.int64(reach_hz), known_hz, edges)
        sums = self.sums.of(self.people.meets[position])
        taken, added = self._between(sums.keys, 1, around)
        makers = np.concatenate([sums.makers[:, added], who[taken][None, :]])
        return np.full(len(taken), position, dtype=np.int64), makers

    def _three_by(self, position: int, at_hz: int, victims: NDArray[np.intp], reach_hz: Whole) -> tuple[Whole, Whole]:
        """A + B − C with the carrier as A or B: B − C near v − A; or as C: A + B near v + C."""
        own_hz, edges = self.people.widths_hz[position], self.people.edges[victims]
        around = _Around(self.hz[victims] - at_hz, reach_hz, own_hz, edges)
        hit, pair = self._between(self.differences.keys, 1, around)
        own, (other, less) = np.full(len(hit), position, dtype=np.int64), self.differences.makers[:, pair]
        added = np.stack([np.minimum(own, other), np.maximum(own, other), less])
        around = _Around(self.hz[victims] + at_hz, reach_hz, own_hz, edges)
        hit_too, pair = self._between(self.sums.keys, 1, around)
        taken = np.full((1, len(hit_too)), position, dtype=np.int64)
        as_third = np.concatenate([self.sums.makers[:, pair], taken])
        return victims[np.concatenate([hit, hit_too])], np.concatenate([added, as_third], axis=1)

    def _between(self, keys: Whole, times: int, around: _Around) -> tuple[Whole, Whole]:
        """All entries of sorted keys that, so many times, are nearer to a frequency than its reach and half the width
        of the product: which frequency, and which entry; both of shape (found,). A few more may be among them.
        """
        found = []
        for octave, widest_hz in self.people.octaves.items():
            half_hz = -(-(around.known_hz + times * widest_hz) // 2)
            reach_hz = around.reach_hz + np.where(around.edges, half_hz, 0)
            found.append(_between(times * keys, around.hz + times * octave * OCTAVE_HZ, reach_hz))
        which, entry = zip(*found, strict=True)
        return np.concatenate(which), np.concatenate(entry)

    def _checked(self, form: Form, position: int, at_hz: int, victims: Whole, makers: Whole) -> NearProducts:
        """Those that meet and are near, with their distances; the tables may hold the carrier at another place."""
        hz = self.hz.copy()
        hz[position] = at_hz
        as_maker = sum(letter == position for letter in makers)
        fine = np.flatnonzero(as_maker == (victims != position))
        rows = _rows(self.people, form, victims[fine], makers[:, fine], hz)
        near = rows.distance_hz - rows.half_width_hz < self.people.reach_hz[rows.form, rows.victim]
        return rows.of(near & self.people.meet(rows.victim, rows.makers))


@dataclass(frozen=True, eq=False)
class _Around:
    """Frequencies near which something is looked for, shape (frequency,): how near, how wide the carriers known already
    are together, and whether edges count.
    """

    hz: Whole
    reach_hz: Whole | np.int64
    known_hz: Whole | np.int64
    edges: Mask | np.bool_


def _between(sorted_hz: Whole, around_hz: Whole, reach_hz: Whole | np.int64) -> tuple[Whole, Whole]:
    """All entries nearer to a frequency than its reach: which frequency, and which entry; both of shape (found,)."""
    low = np.searchsorted(sorted_hz, around_hz - reach_hz, side="right")
    high = np.searchsorted(sorted_hz, around_hz + reach_hz, side="left")
    found = np.maximum(high - low, 0)
    which = np.repeat(np.arange(len(around_hz)), found)
    first = np.repeat(low - np.cumsum(found) + found, found)
    return which, first + np.arange(len(which))
