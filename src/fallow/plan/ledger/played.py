"""Margins of all ledgers in a plan that is played with: after a move only what the moved carrier takes part in is
counted again.

What is kept is what a ledger adds up, for each victim in each of its scenes: the powers of its neighbours, and for each
form of products the sum of those near it, before and behind its selectivity. A move takes the products of the old place
out of these sums and puts those of the new place in. The margins are those of ``accounts_of``; the tests hold the two
against each other. For the words of one ledger ask ``accounts_of(stage, only=...)``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.footing import Footing
from fallow.plan.judge.near_products import NOWHERE, People, SumTables
from fallow.plan.judge.products import AUDITED, FIFTH, FORMS, THREE_CARRIERS
from fallow.plan.judge.what_if import WhatIf
from fallow.plan.ledger.earshot import TIMES_MIXED, Earshot
from fallow.plan.ledger.loudness import Loudness
from fallow.plan.ledger.moved_products import MovedProducts
from fallow.plan.ledger.product_levels import ProductSums, power_sum_dbm
from fallow.plan.ledger.unwanted import always_there

__all__ = ["PlayedMargins"]

SOMEWHERE_HZ = 100_000_000  # of a carrier that is off, until it is on: any place would do
_THREE, _FIFTH = AUDITED.index(THREE_CARRIERS), AUDITED.index(FIFTH)
LOST_DIGITS = 1e-6  # a sum that shrinks to less than this share of itself is counted anew
Row = NDArray[np.float64]
Whole = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class _Mixed:
    """Products that two transmitters of one area make near a victim: their row, form, makers (2, product) and level."""

    row: Whole
    form: Whole
    makers: Whole
    mw: Row

    def of(self, which: Mask) -> _Mixed:
        return _Mixed(self.row[which], self.form[which], self.makers[:, which], self.mw[which])

    def joined(self, *others: _Mixed) -> _Mixed:
        parts = (self, *others)
        return _Mixed(
            np.concatenate([part.row for part in parts]),
            np.concatenate([part.form for part in parts]),
            np.concatenate([part.makers for part in parts], axis=1),
            np.concatenate([part.mw for part in parts]),
        )


@dataclass(frozen=True, eq=False)
class _Books:
    """What ledgers add up, V victims, n carriers, R rows (see ``Earshot``); all powers in milliwatts.

    ``at_antenna``, ``inside``: of carriers at victims [dBm], shape (V, n); ``power``: the latter in milliwatts.
    ``beside``: of neighbours, (R,). ``before``, ``behind``: of products near, (R, form). ``always``: noise and air,
    (V,). ``wanted``: [dBm], (V,). ``unwanted``: the sum of all, (R,). ``tables``: hold everybody at home but ``away``,
    who adds ``own`` to the rows of the others.
    """

    hz: Whole
    at_antenna: Row
    inside: Row
    power: Row
    beside: Row
    before: Row
    behind: Row
    mixed: _Mixed
    always: Row
    wanted: Row
    unwanted: Row
    tables: SumTables
    away: int | None
    own: _Sums | None = None

    @property
    def on(self) -> Mask:
        """Which carriers are, shape (n,)."""
        return np.asarray(self.hz != NOWHERE)

    @cached_property
    def tables_at_home(self) -> SumTables:
        """The tables with everybody at home."""
        return self.tables if self.away is None else self.tables.moved(self.away, int(self.hz[self.away]))

    def copied(self) -> _Books:
        """The same, to be written in."""
        written = ("at_antenna", "inside", "power", "beside", "before", "behind", "always", "wanted", "unwanted")
        return replace(self, hz=self.hz.copy(), **{name: getattr(self, name).copy() for name in written})


class PlayedMargins:
    """The margins of a plan to play with, beginning with ``game`` as it stands now.

    ``measured``: as in ``accounts_of``. ``names``: the links and spares of the game, in its order. All products near a
    victim are looked at one by one, also where so many carriers mix in one scene that a ledger lists the loudest only.
    """

    def __init__(self, game: WhatIf, measured: Mapping[str, float] | None = None) -> None:
        stage = game.stage
        self.names = tuple(row.link for row in game.rows)
        self._game, self._measured, self._ground = game, measured, stage.ground
        hz = [NOWHERE if row.frequency_hz is None else row.frequency_hz for row in game.rows]
        carriers = [replace(one, frequency_hz=SOMEWHERE_HZ) if one.frequency_hz == 0 else one for one in game.carriers]
        hz += [carrier.frequency_hz for carrier in carriers[len(hz) :]]
        company = Company(carriers, stage.company.losses)
        footings = stage.footings or _standing_for(carriers)
        self._loudness = Loudness(replace(stage, company=company, footings=footings), measured)
        self._earshot = Earshot.of(company, self._loudness)
        self._people = _people(self._earshot)
        self._books = self._opened(np.array(hz, dtype=np.int64))

    @property
    def margin_db(self) -> Row:
        """Of everybody now, in the order of ``names``; NaN for links that are off, or whose power nobody states."""
        return self._margins(self._books)

    def try_(self, link: str, frequency_hz: int | None) -> Row:
        """What ``margin_db`` would be with a link elsewhere, or off (``None``)."""
        return self._margins(self._moved(link, frequency_hz))

    def move(self, link: str, frequency_hz: int | None) -> Row:
        """Put a link elsewhere, or switch it off; and what ``margin_db`` is then."""
        self._books = self._moved(link, frequency_hz)
        return self.margin_db

    def _margins(self, books: _Books) -> Row:
        ears, count = self._earshot, len(self.names)
        worst = np.full(count, -np.inf)
        np.maximum.at(worst, ears.victim, books.unwanted)
        needed_db = np.array([self._loudness.figures(kind).needed_db.value for kind in ears.kinds])
        known = self._loudness.known_power[:count] & books.on[:count]
        with np.errstate(divide="ignore", invalid="ignore"):
            margin_db = books.wanted - 10 * np.log10(worst) - needed_db
        return np.asarray(np.where(known, margin_db, np.nan))

    # The first state

    def _opened(self, hz: Whole) -> _Books:
        ears, rows, forms = self._earshot, len(self._earshot.victim), len(AUDITED)
        at_antenna, inside = ears.levels_dbm()
        tables = SumTables.of(self._people, hz)
        mixed = _no_mixed()
        always, wanted, sums = np.zeros(len(self.names)), np.zeros(len(self.names)), np.zeros((rows, forms))
        books = _Books(
            hz,
            at_antenna,
            inside,
            10 ** (inside / 10),
            np.zeros(rows),
            sums,
            sums.copy(),
            mixed,
            always,
            wanted,
            np.zeros(rows),
            tables,
            None,
        )
        for victim in np.flatnonzero(books.on[: len(self.names)]).tolist():
            always[victim], wanted[victim] = self._of_place(victim, int(hz[victim]))
        near = [self._recounted(books, row) for row in range(rows)]
        books = replace(books, mixed=mixed.joined(*near))
        books.unwanted[:] = self._unwanted(books, np.arange(rows))
        return books

    def _of_place(self, victim: int, at_hz: int) -> tuple[float, float]:
        """What is always there at a link's place [mW], and its own level [dBm]."""
        kind = self._earshot.kinds[victim]
        figures = self._loudness.figures(kind)
        carrier = replace(self._earshot.company.carriers[victim], frequency_hz=at_hz)
        entries = always_there(Footing.of(carrier, kind, self._ground), figures)
        unwanted_dbm = power_sum_dbm(np.array([entry.level_dbm for entry in entries]))
        return 10 ** (unwanted_dbm / 10), self._loudness.wanted_at(victim, figures, at_hz)

    def _neighbours(self, books: _Books, victims: NDArray[np.intp]) -> Row:
        """Powers of all carriers behind the selectivity of some victims, shape (victim, n)."""
        distance_hz = np.abs(books.hz[victims][:, None] - books.hz)
        who = np.broadcast_to(victims[:, None], distance_hz.shape)
        return np.asarray(books.power[victims] * self._earshot.passed(who, distance_hz) * books.on)

    def _recounted(self, books: _Books, row: int) -> _Mixed:
        """Sum up all neighbours of the victim of a row, and all products near it; and those of transmitters."""
        ears, victim = self._earshot, int(self._earshot.victim[row])
        neighbours = self._neighbours(books, np.array([victim]))[0]
        books.beside[row] = neighbours[ears.audible[row]].sum()
        books.before[row] = books.behind[row] = 0.0
        nothing = _no_mixed()
        members = np.flatnonzero(ears.mixing[row] & books.on)
        if not books.on[victim] or not len(members):
            return nothing
        sums = ProductSums(books.hz[members], members)
        found = []
        for f, form in enumerate(AUDITED):
            near = sums.near(form, books.inside[victim, members], int(books.hz[victim]), int(ears.reach_hz[victim]))
            passed = ears.passed(np.full(len(near.level_dbm), victim), near.distance_hz)
            before = 10 ** (near.level_dbm / 10)
            books.before[row, f], books.behind[row, f] = before.sum(), (before * passed).sum()
            if form != THREE_CARRIERS:
                ones = np.ones(len(before), dtype=np.int64)
                found.append(self._mixed(books, row * ones, f * ones, near.makers().T, passed))
        return nothing.joined(*found)

    def _mixed(self, books: _Books, rows: Whole, forms: Whole, makers: NDArray[np.intp], passed: Row) -> _Mixed:
        """Those of some products of two carriers that two transmitters of one area make as well."""
        ears = self._earshot
        a, b = makers
        areas = ears.company.areas
        ours = (a < len(self.names)) & (b < len(self.names)) & (areas[a] == areas[b])
        rows, forms, makers, passed = rows[ours], forms[ours], makers[:, ours].astype(np.int64), passed[ours]
        times = np.array([TIMES_MIXED.get(f, 0) for f in range(len(AUDITED))])[forms]
        level_dbm = books.at_antenna[ears.victim[rows], makers[1]] - times * ears.mixing_db[makers[0]]
        return _Mixed(rows, forms, makers, 10 ** (level_dbm / 10) * passed)

    def _unwanted(self, books: _Books, rows: NDArray[np.intp]) -> Row:
        """The sum of everything in some rows, shape (row,)."""
        ears, victims = self._earshot, self._earshot.victim[rows]
        mw = books.power[victims] * (ears.mixing[rows] & books.on)
        square = mw * mw
        cube = square * mw
        s1, s2, s3, s5 = (power.sum(axis=1) for power in (mw, square, cube, square * cube))
        all_near_and_far = np.stack([s2 * s1 - s3, (s1**3 - 3 * s1 * s2 + 2 * s3) / 2, s3 * s2 - s5], axis=1)
        far = np.maximum(np.maximum(all_near_and_far, 0.0) - books.before[rows], 0.0) * ears.beyond[victims][:, None]
        received = (ears.made[victims] * (books.behind[rows] + far)).sum(axis=1)
        loudest = np.zeros((len(ears.victim), len(AUDITED)))
        np.maximum.at(loudest, (books.mixed.row, books.mixed.form), books.mixed.mw)
        return np.asarray(books.always[victims] + books.beside[rows] + received + loudest[rows].sum(axis=1))

    # After a move

    def _moved(self, link: str, frequency_hz: int | None) -> _Books:
        p, to_hz = self.names.index(link), NOWHERE if frequency_hz is None else frequency_hz
        was, ears = self._books, self._earshot
        known = [was.own] if was.away == p and was.own is not None else []
        tables = was.tables if was.away == p else was.tables_at_home
        books = self._at_new_place(replace(was, tables=tables, away=p), p, to_hz)
        here = [] if known else [_Place(int(was.hz[p]), was.power[:, p])]
        there = _Place(to_hz, books.power[:, p])
        gone, come = [*known, *self._of_carrier(books, p, [*here, there])]
        doubtful = self._changed_sums(books, gone, come)
        self._stand_anew(books, p, come)
        mine, doubtful[ears.victim == p] = ears.victim == p, False
        kept = ~((was.mixed.makers == p).any(axis=0) | mine[was.mixed.row] | doubtful[was.mixed.row])
        fresh = [self._recounted(books, row) for row in np.flatnonzero(doubtful).tolist()]
        come_mixed = come.mixed.of(~doubtful[come.mixed.row])
        books = replace(books, mixed=was.mixed.of(kept).joined(come_mixed, *fresh), own=come)
        touched = np.flatnonzero(ears.audible[:, p] | mine | doubtful)
        books.unwanted[touched] = self._unwanted(books, touched)
        return books

    def _at_new_place(self, books: _Books, p: int, to_hz: int) -> _Books:
        """Books in which one carrier stands elsewhere; what sums hold of its products is still to be changed."""
        moved = books.copied()
        moved.hz[p] = to_hz
        if to_hz != NOWHERE:
            moved.at_antenna[:, p], moved.inside[:, p] = self._earshot.levels_of_one_dbm(p, to_hz)
            moved.power[:, p] = 10 ** (moved.inside[:, p] / 10)
            moved.always[p], moved.wanted[p] = self._of_place(p, to_hz)
        return moved

    def _stand_anew(self, books: _Books, p: int, come: _Sums) -> None:
        """The sums of the carrier itself, at its new place."""
        ears = self._earshot
        mine = np.flatnonzero(ears.victim == p)
        neighbours = self._neighbours(books, np.array([p]))[0]
        books.beside[mine] = (ears.audible[mine] * neighbours).sum(axis=1)
        books.before[mine], books.behind[mine] = come.before[mine], come.behind[mine]

    def _of_carrier(self, books: _Books, p: int, places: Sequence[_Place]) -> list[_Sums]:
        """What a carrier adds to the rows of the others at some places: by itself, and by the products that it makes;
        and what others make near the last of them.
        """
        ears, shape = self._earshot, (len(places), len(self._earshot.victim), len(AUDITED))
        on = [k for k, place in enumerate(places) if place.hz != NOWHERE]
        before, behind, mixed = np.zeros(shape), np.zeros(shape), _no_mixed()
        if on:
            places_hz = [places[k].hz for k in on]
            near = MovedProducts.of(books.tables, p, places_hz, ears.reach_hz)
            row, near = self._in_rows(near)
            place, passed = np.array(on)[near.place], ears.passed(near.victim, near.distance_hz)
            own = np.stack([each.power for each in places])[place, near.victim]
            added = _made_of(near.form, np.where(near.makers == p, own, books.power[near.victim, near.makers]))
            cell = np.ravel_multi_index((place, row, near.form), shape)
            size = before.size
            before = np.bincount(cell, added, size).astype(np.float64).reshape(shape)  # whole zeros where there is none
            behind = np.bincount(cell, added * passed, size).astype(np.float64).reshape(shape)
            new = np.flatnonzero((near.form != _THREE) & (place == len(places) - 1))
            mixed = self._mixed(books, row[new], near.form[new], near.makers[:2, new], passed[new])
        last = len(places) - 1
        return [
            _Sums(self._beside(books, p, each), before[k], behind[k], mixed if k == last else _no_mixed())
            for k, each in enumerate(places)
        ]

    def _beside(self, books: _Books, p: int, place: _Place) -> Row:
        """What a carrier at a place adds to the neighbours of each row."""
        ears = self._earshot
        if place.hz == NOWHERE:
            return np.zeros(len(ears.victim))
        everybody = np.arange(len(self.names))
        alone = ears.passed(everybody, np.abs(books.hz[everybody] - place.hz)) * place.power
        return np.where(ears.audible[:, p], alone[ears.victim], 0.0)

    def _in_rows(self, near: MovedProducts) -> tuple[Whole, MovedProducts]:
        """The rows in which products count, and the product of each."""
        ears = self._earshot
        first = np.searchsorted(ears.victim, np.arange(len(self.names) + 1))
        rows = np.diff(first)
        if (rows == 1).all():  # who is heard in some scene is heard in the one that there is
            return first[near.victim], near
        many = rows[near.victim]
        product = np.repeat(np.arange(near.victim.size), many)
        row = np.repeat(first[near.victim] - np.cumsum(many) + many, many) + np.arange(product.size)
        a, b, c = near.makers[:, product]
        heard = np.flatnonzero(ears.mixing[row, a] & ears.mixing[row, b] & ears.mixing[row, c])
        return row[heard], near.those(product[heard])

    def _changed_sums(self, books: _Books, gone: _Sums, come: _Sums) -> Mask:
        """Change the sums; which rows have lost so much that few digits are left, shape (R,)."""
        left = books.beside - gone.beside
        lost = (gone.beside > 0) & (left < LOST_DIGITS * books.beside)
        books.beside[:] = left + come.beside
        for sums, less, more in ((books.before, gone.before, come.before), (books.behind, gone.behind, come.behind)):
            left = sums - less
            lost |= ((less > 0) & (left < LOST_DIGITS * sums)).any(axis=1)
            sums[:] = left + more
        return lost


@dataclass(frozen=True, eq=False)
class _Sums:
    """What one carrier adds to rows: by itself (R,), by its products before and behind selectivity (R, form), and by
    those of transmitters.
    """

    beside: Row
    before: Row
    behind: Row
    mixed: _Mixed


@dataclass(frozen=True, eq=False)
class _Place:
    """Where a carrier stands, and its power from there at all victims [mW], shape (V,)."""

    hz: int
    power: Row


def _made_of(form: Whole, power: Row) -> Row:
    """The powers [mW] of makers, shape (3, product), raised to how often each takes part, and multiplied."""
    a, b, c = power
    both = a * b
    made = both * np.where(form == _THREE, c, a)
    made[form == _FIFTH] *= both[form == _FIFTH]
    return np.asarray(made)


def _no_mixed() -> _Mixed:
    nothing = np.zeros(0, dtype=np.int64)
    return _Mixed(nothing, nothing, nothing.reshape(2, 0), np.zeros(0))


def _standing_for(carriers: Sequence[Carrier]) -> tuple[Footing, ...]:
    """A link of ours, though none is on: what surveys show of strangers is asked for with its type of radio."""
    ours = [(one, one.equipment) for one in carriers if one.equipment is not None]
    return tuple(Footing(one, equipment, None, None, None) for one, equipment in ours[:1])


def _people(ears: Earshot) -> People:
    """Who meets whom; everybody of ours asks for products within reach of its receiver."""
    people = People.of(ears.company, 1)
    reach_hz = np.zeros((len(FORMS), len(ears.company.carriers)), dtype=np.int64)
    for form in AUDITED:
        reach_hz[FORMS.index(form), : len(ears.kinds)] = ears.reach_hz + 1  # a product at the reach itself counts
    return replace(people, needed_hz=reach_hz, reach_hz=reach_hz, edges=np.zeros_like(people.edges))
