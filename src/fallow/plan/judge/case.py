"""The case for and against a frequency for one link: everything that speaks against it, worst first, and what for it.

What speaks against it is exactly what the audit would list, of all that involves the link, were it there and everybody
else where the plan has them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.conflicts import Conflict
from fallow.plan.judge.explain import air_in_words, nearest_carrier, nearest_product
from fallow.plan.judge.footing import Footing, nearest_tunable_hz
from fallow.plan.judge.group_rules import wishes_broken_by
from fallow.plan.judge.obstacles import obstacles_for
from fallow.plan.judge.what_if import WhatIf
from fallow.plan.places import Ground, Places
from fallow.plan.wording import few, mhz
from fallow.rules.territory import Answer
from fallow.show.assignment import SPARE_PREFIX, Assignment
from fallow.show.duplex import both_directions
from fallow.show.equipment import Equipment
from fallow.show.wanted import Wanted
from fallow.spectrum.verdict import Verdict

__all__ = ["Candidate", "Case", "case_of"]

MOST_TOLD = 5  # places that are named
_FIRST = ("rules", "tuning", "air", "foreign", "spacing")


@dataclass(frozen=True)
class Candidate:
    """A place that a link could have: hertz, the verdict on it (``None`` without surveys), and what is in the way."""

    at_hz: int
    verdict: str | None
    against: tuple[Conflict, ...] = ()


@dataclass(frozen=True)
class Case:
    """One link at one frequency.

    ``at_hz``: the frequency asked about, in hertz; ``None``: the link has none, and ``best`` names the best places.
    ``home_hz``: where the plan has it. ``against``: what the audit would list, worst first. ``in_favour``, ``notes``:
    sentences; what is doubtful, not known or to be asked stands in ``notes``. ``free_nearby``: places with nothing
    against them, the nearest one of each free stretch, nearest first.
    """

    link: str
    at_hz: int | None
    home_hz: int | None
    against: tuple[Conflict, ...] = ()
    in_favour: tuple[str, ...] = ()
    free_nearby: tuple[Candidate, ...] = ()
    best: tuple[Candidate, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def stands(self) -> bool:
        """Whether there is a frequency and nothing speaks against it."""
        return self.at_hz is not None and not self.against


def case_of(rows: Sequence[Assignment], wanted: Wanted, ground: Ground, link: str, at_hz: int | None = None) -> Case:
    """The case of a link (or spare) at a frequency; ``at_hz`` ``None``: where the plan has it.

    Raises UsageError for a name that is neither a row of the plan nor a planned link, and for equipment that is not
    known.
    """
    game = WhatIf(rows, wanted, ground)
    home_hz = game.frequency_hz(link)
    asked_hz = home_hz if at_hz is None else at_hz
    taken_along = _take_along(game, link, asked_hz, wanted)
    company = Company((*game.others(link), game.carrier(link, asked_hz or 0)), wanted.losses, wanted.groupings)
    carrier = company.carriers[-1]
    if carrier.equipment is None:  # a carrier of ours has equipment
        return Case(link, asked_hz, home_hz)
    room = _Room(game, link, ground.places(carrier.equipment, carrier.area), company, bool(ground.airs))
    if asked_hz is None:
        best = tuple(room.best())
        in_the_way = [conflict for one in best for conflict in one.against]
        return Case(link, None, None, best=best, notes=tuple(_on_nowhere(carrier, best, in_the_way)))
    against = tuple(sorted(game.try_(link, asked_hz).involved, key=_worst_first))
    footing = Footing.of(carrier, carrier.equipment, ground)
    return Case(
        link,
        asked_hz,
        home_hz,
        against,
        tuple(_in_favour(footing, company, against)),
        tuple(room.free_near(asked_hz)),
        notes=(*taken_along, *_notes(footing, company, against, ground)),
    )


def _take_along(game: WhatIf, link: str, at_hz: int | None, wanted: Wanted) -> tuple[str, ...]:
    """Put the other direction of a link where it would be, where that is nowhere yet and there is only one such place;
    and the note that says so.
    """
    both = both_directions(link, wanted)
    other = next((name for name in both if name != link), None)
    if other is None or at_hz is None or game.frequency_hz(other) is not None:
        return ()
    equipment = game.carrier(both[0], at_hz).equipment
    offset_hz = None if equipment is None or equipment.duplex is None else equipment.duplex.offset_hz
    if offset_hz is None:
        return ()
    other_hz = at_hz + (offset_hz if link == both[0] else -offset_hz)
    game.move(other, other_hz)
    return (f"{other}, which has no frequency in this plan, is taken to stand at {mhz(other_hz)} then",)


def _worst_first(conflict: Conflict) -> tuple[int, float, str, tuple[str, ...]]:
    """What no distance can mend first, then strangers, neighbours, and products by how deep they fall into a guard."""
    kind = _FIRST.index(conflict.kind) if conflict.kind in _FIRST else len(_FIRST)
    depth = (conflict.distance_hz or 0) / conflict.needed_hz if conflict.needed_hz else 0.0
    return kind, depth, conflict.victim or "", conflict.carriers


# Other places


@dataclass(frozen=True, eq=False)
class _Room:
    """Where else a link could stand, with everybody else where the plan has them; it is the last of ``company``."""

    game: WhatIf
    link: str
    places: Places
    company: Company
    judged: bool

    def free_near(self, at_hz: int) -> Iterator[Candidate]:
        """The nearest place of each stretch of free ones, nearest first; ``at_hz`` itself is no news."""
        free = self._broken == 0
        free &= self.places.may_use & (self.places.frequencies_hz != at_hz)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], free, [False]))))
        distance_hz = np.abs(self.places.frequencies_hz - at_hz)
        nearest = [first + int(np.argmin(distance_hz[first:end])) for first, end in edges.reshape(-1, 2).tolist()]
        nearest.sort(key=lambda place: int(distance_hz[place]))
        yield from self._candidates(nearest[:MOST_TOLD])

    def best(self) -> Iterator[Candidate]:
        """The places with the fewest broken distances, then the best verdicts and margins; none overlaps another."""
        usable = np.flatnonzero(self.places.may_use)
        margin_db = np.nan_to_num(self.places.margin_db[usable], nan=-np.inf)
        order = usable[np.lexsort((usable, -margin_db, self.places.verdict[usable], self._broken[usable]))]
        chosen: list[int] = []
        for place in order.tolist():
            at_hz = self.places.frequencies_hz[[*chosen, place]]
            if bool(np.all(np.abs(at_hz[:-1] - at_hz[-1]) >= self._width_hz)):
                chosen.append(place)
            if len(chosen) == MOST_TOLD:
                break
        yield from self._candidates(chosen)

    @cached_property
    def _broken(self) -> NDArray[np.int64]:
        return obstacles_for(self.company, self.places.frequencies_hz).at_place

    @property
    def _width_hz(self) -> int:
        equipment = self.company.carriers[-1].equipment
        return 1 if equipment is None else max(equipment.bandwidth_hz, 1)

    def _candidates(self, places: Sequence[int]) -> Iterator[Candidate]:
        for place in places:
            at_hz = int(self.places.frequencies_hz[place])
            verdict = Verdict(int(self.places.verdict[place])).word if self.judged else None
            against = sorted(self.game.try_(self.link, at_hz).involved, key=_worst_first)
            yield Candidate(at_hz, verdict, tuple(against))


# What speaks for a place, and what is neither


def _in_favour(footing: Footing, company: Company, against: Sequence[Conflict]) -> Iterator[str]:
    kinds = {conflict.kind for conflict in against}
    carrier, last = footing.carrier, len(company.carriers) - 1
    if "tuning" not in kinds:
        yield f"{footing.equipment.name} can be set to {mhz(carrier.frequency_hz)}"
    if footing.permission is not None and footing.is_told(Answer.YES):
        yield f"allowed: {footing.permission.text}"
    if footing.is_judged(Verdict.CLEAN) and footing.announced is None:
        yield air_in_words(footing)
    neighbour = nearest_carrier(company, last)
    if not {"spacing", "foreign"} & kinds:
        yield "no carrier that it meets asks for a distance" if neighbour is None else neighbour.text
    yield from _on_products(company, last, against)


def _on_products(company: Company, last: int, against: Sequence[Conflict]) -> Iterator[str]:
    name, asked = company.carriers[last].name, company.carriers[last].product_distances_hz
    of_products = [conflict for conflict in against if conflict.product_hz is not None]
    if asked and all(conflict.victim != name for conflict in of_products):
        product = nearest_product(company, last)
        yield "no product falls near it" if product is None else f"the nearest product on it: {product.text}"
    if all(name not in conflict.carriers for conflict in of_products):
        yield "none of the products that it takes part in falls too near to anybody"


def _notes(footing: Footing, company: Company, against: Sequence[Conflict], ground: Ground) -> Iterator[str]:
    if ground.territory is None:
        yield "no region was given, so the law was not asked"
    if footing.permission is not None and footing.is_told(Answer.ASK):
        yield f"ask before use: {footing.permission.text}"
    if not ground.airs:
        yield "no sweeps were given, so nothing is known of what is on the air"
    if footing.is_judged(Verdict.DOUBTFUL) or footing.is_judged(Verdict.NOT_MEASURED):
        yield f"the air: {air_in_words(footing)}"
    yield from wishes_broken_by(company, len(company.carriers) - 1)
    yield from _on_strangers(company)
    yield from _on_spares(against)


def _on_strangers(company: Company) -> Iterator[str]:
    """Products that strangers make alone and that fall on the link: no conflict, but worth knowing."""
    last = len(company.carriers) - 1
    told = []
    for form, needed_hz in company.carriers[last].product_distances_hz.items():
        for makers in company.products_near(last, form, needed_hz, by_ours=False).tolist():
            product_hz = form.at_hz([company.carriers[i].frequency_hz for i in makers])
            told.append(f"{form.worded([company.carriers[i].name for i in makers])} at {mhz(product_hz)}")
    if told:
        yield f"hit by products of foreign carriers alone: {few(told)}"


def _on_spares(against: Sequence[Conflict]) -> Iterator[str]:
    named = {name for one in against for name in (one.victim, *one.carriers) if name is not None}
    spares = sorted(name for name in named if name.lower().startswith(SPARE_PREFIX))
    if spares:
        yield f"spares are kept free and can be given up: {few(spares)}"


def _on_nowhere(carrier: Carrier, best: Sequence[Candidate], in_the_way: Sequence[Conflict]) -> Iterator[str]:
    yield "it has no frequency in this plan"
    if not best and carrier.equipment is not None:
        yield _no_place(carrier.equipment)
    yield from _on_spares(in_the_way)


def _no_place(equipment: Equipment) -> str:
    if nearest_tunable_hz(equipment, 0) is None:
        return f"{equipment.name} can't be set to any frequency"
    return f"{equipment.name} has no place that the law and the air leave to it"
