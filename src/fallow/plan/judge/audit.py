"""The judge of any plan, ours or a hand-made one: every conflict, each listed once, in words.

Written to be plainly right: each rule of distance is one short function, over exact whole hertz, and nothing is taken
over from the search. What it must agree with is a still plainer enumeration in the tests.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.audit_notes import notes_on
from fallow.plan.judge.carriers import Company
from fallow.plan.judge.conflicts import (
    KINDS,
    Conflict,
    by_kind_and_nearness,
    hit,
    place_conflicts,
    spacing_hz,
    too_near,
)
from fallow.plan.judge.group_rules import Unkept, group_conflicts, unkept_wishes
from fallow.plan.judge.pairs import pair_conflicts
from fallow.plan.judge.products import FORMS, Form
from fallow.plan.judge.stage import Stage
from fallow.plan.places import Ground
from fallow.show.assignment import Assignment
from fallow.show.wanted import Wanted

__all__ = ["KINDS", "Audit", "Conflict", "Unkept", "audit", "audit_of"]

MOST_PRODUCTS = 200_000
"""Conflicts of products that are listed; a plan with more is not one (all links on one frequency, say)."""


@dataclass(frozen=True)
class Audit:
    """What an audit found, and how much it compared, after scenes and areas.

    ``pairs``: two links of ours that are on together and hear each other, and a link of ours with a foreign carrier
    that it hears and that asks for a distance. ``products``: one product (at least one of its carriers ours) against
    one victim that asks for a distance from its form; a product is counted once for each victim that hears all its
    carriers in one scene with it. ``unkept``: wishes about groups of links that the plan does not keep.
    """

    conflicts: tuple[Conflict, ...]
    pairs: int
    products: int
    notes: tuple[str, ...]
    unkept: tuple[Unkept, ...] = ()


def audit(rows: Sequence[Assignment], wanted: Wanted, ground: Ground | None = None) -> Audit:
    """Every conflict of a plan.

    ``rows``: the plan; a row whose link is among ``wanted.links`` is judged as that link, any other by its own
    equipment, area and scenes; spares are always on. Rows without frequency and systems that choose their own
    channels are not judged, and noted. ``ground``: law and air; ``None`` where neither is known. Raises UsageError
    for equipment that is not known.
    """
    return audit_of(Stage.of(rows, wanted, ground))


def audit_of(stage: Stage) -> Audit:
    """The audit of a plan that is set up already."""
    company = stage.company
    pairs = list(_pairs_that_meet(company))
    hits = list(islice(_product_hits(company), MOST_PRODUCTS + 1))
    found = [*_too_near(company, pairs), *group_conflicts(company), *pair_conflicts(company), *hits[:MOST_PRODUCTS]]
    for footing in stage.footings:
        found += place_conflicts(footing, stage.ground)
    return Audit(
        conflicts=tuple(sorted(found, key=by_kind_and_nearness)),
        pairs=len(pairs),
        products=sum(_products_compared(company)),
        notes=(*notes_on(stage), *_on_what_is_not_listed(hits)),
        unkept=unkept_wishes(company),
    )


def _on_what_is_not_listed(hits: Sequence[Conflict]) -> Iterator[str]:
    if len(hits) > MOST_PRODUCTS:
        yield f"more than {MOST_PRODUCTS:,} products fall too near: only the first ones are listed, mend these before"


# Distances between carriers


def _pairs_that_meet(company: Company) -> Iterator[tuple[int, int]]:
    """Positions of two carriers of which one at least is ours and between which a distance is asked."""
    asks = np.array([carrier.ours or carrier.spacing_hz > 0 for carrier in company.carriers], dtype=np.bool_)
    for one in np.flatnonzero(company.ours).tolist():
        met = company.meeting(one) & asks
        met[: one + 1] = False  # each pair once; strangers come after ours
        for other in np.flatnonzero(met).tolist():
            yield one, other


def _too_near(company: Company, pairs: Sequence[tuple[int, int]]) -> Iterator[Conflict]:
    for one, other in pairs:
        ours, second = company.carriers[one], company.carriers[other]
        needed_hz = spacing_hz(ours, second)
        distance_hz = abs(ours.frequency_hz - second.frequency_hz)
        if distance_hz < needed_hz:
            yield too_near(ours, second, distance_hz, needed_hz)


# Products


def _product_hits(company: Company) -> Iterator[Conflict]:
    for victim, form, makers in company.product_hits():
        for row in makers[: MOST_PRODUCTS + 1].tolist():
            yield hit(form, [company.carriers[i] for i in row], company.carriers[victim])


def _products_compared(company: Company) -> Iterator[int]:
    """How many products are compared with each victim; see ``Audit``. Counted by sets of scenes, not one by one."""
    scenes, scene_of = np.unique(company.scene_bits, axis=0, return_inverse=True)
    scene_of = scene_of.ravel()
    counted: dict[tuple[int, str, int | None], dict[Form, int]] = {}
    for victim, carrier in enumerate(company.carriers):
        if not carrier.product_distances_hz:
            continue
        key = int(scene_of[victim]), carrier.area, None if carrier.ours else victim
        if key not in counted:
            mixing = company.mixing_with(victim)
            mixing = mixing[mixing != victim]
            numbers = np.bincount(scene_of[mixing], minlength=len(scenes))
            counted[key] = _choices(scenes & scenes[key[0]], numbers, int((~company.ours[mixing]).sum()))
        yield sum(counted[key][form] for form in carrier.product_distances_hz)


def _choices(scenes: NDArray[np.uint64], numbers: NDArray[np.intp], strangers: int) -> dict[Form, int]:
    """How many products of each form can be made with one victim's listeners, at least one carrier being ours.

    ``scenes``: shape (set, word), cut to when the victim is on. ``numbers``: how many carriers have each set of scenes.
    Choices with repetition are counted first, then those in which carriers repeat are taken off.
    """
    present = scenes.any(axis=1) & (numbers > 0)
    scenes, numbers = scenes[present], numbers[present]
    one = int(numbers.sum())
    two = three = 0
    for i, number in enumerate(numbers.tolist()):
        with_i = scenes & scenes[i]
        two += number * int(numbers[with_i.any(axis=1)].sum())
        meets = (with_i[:, None, :] & scenes[None, :, :]).any(axis=2)
        three += number * int(numbers @ (meets @ numbers))
    pairs, triples = two - one, three - 3 * two + 2 * one
    return {form: (pairs if len(form.coefficients) == 2 else triples // 2) - form.count(strangers) for form in FORMS}
