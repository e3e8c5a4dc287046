"""The judge of any plan, ours or a hand-made one: every conflict, each listed once, in words.

Written to be plainly right: each rule of distance is one short function here, over exact whole hertz, and nothing is
taken over from the search. What it must agree with is a still plainer enumeration in the tests.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice

import numpy as np
from numpy.typing import NDArray

from fallow.plan.audit_notes import notes_on
from fallow.plan.carriers import Carrier, Company
from fallow.plan.footing import Footing, nearest_allowed_hz, nearest_tunable_hz
from fallow.plan.places import Ground
from fallow.plan.products import AUDITED, THREE_CARRIERS, Form
from fallow.plan.stage import Stage
from fallow.plan.wording import exact_width, mhz, worded_list
from fallow.rules.territory import Answer
from fallow.show.assignment import Assignment
from fallow.show.wanted import Wanted
from fallow.spectrum.verdict import Verdict

__all__ = ["KINDS", "Audit", "Conflict", "audit", "audit_of"]

KINDS = ("spacing", *(form.name for form in AUDITED), "foreign", "tuning", "rules", "air")
MOST_PRODUCTS = 200_000
"""Conflicts of products that are listed; a plan with more is not one (all links on one frequency, say)."""


@dataclass(frozen=True)
class Conflict:
    """One broken rule. Distances in hertz; ``text`` says it to people, with what to do at most.

    ``kind`` is one of ``KINDS``. ``carriers`` are the letters of the product in order (A+B−C: A before B in the
    alphabet), or the pair of a spacing in alphabetical order, or the foreign carrier.
    """

    kind: str
    victim: str | None
    carriers: tuple[str, ...]
    product_hz: int | None
    distance_hz: int | None
    needed_hz: int | None
    text: str


@dataclass(frozen=True)
class Audit:
    """What an audit found, and how much it compared, after scenes and areas.

    ``pairs``: two links of ours that are on together and hear each other, and a link of ours with a foreign carrier
    that it hears and that asks for a distance. ``products``: one product (at least one of its carriers ours) against
    one victim that asks for a distance from its form; a product is counted once for each victim that hears all its
    carriers in one scene with it.
    """

    conflicts: tuple[Conflict, ...]
    pairs: int
    products: int
    notes: tuple[str, ...]


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
    found = [*_too_near(company, pairs), *hits[:MOST_PRODUCTS]]
    for footing in stage.footings:
        found += [*_off_tuning(footing), *_against_law(footing, stage.ground), *_on_occupied_air(footing)]
    return Audit(
        conflicts=tuple(sorted(found, key=_by_kind_and_nearness)),
        pairs=len(pairs),
        products=sum(_products_compared(company)),
        notes=(*notes_on(stage), *_on_what_is_not_listed(hits)),
    )


def _on_what_is_not_listed(hits: Sequence[Conflict]) -> Iterator[str]:
    if len(hits) > MOST_PRODUCTS:
        yield f"more than {MOST_PRODUCTS:,} products fall too near: only the first ones are listed, mend these before"


def _by_kind_and_nearness(conflict: Conflict) -> tuple[int, int, str, tuple[str, ...]]:
    nearness = -1 if conflict.distance_hz is None else conflict.distance_hz
    return KINDS.index(conflict.kind), nearness, conflict.victim or "", conflict.carriers


# Distances between carriers


def _pairs_that_meet(company: Company) -> Iterator[tuple[int, int]]:
    """Positions of two carriers of which one at least is ours and between which a distance is asked."""
    carriers = company.carriers
    for one, other in combinations(range(len(carriers)), 2):
        stranger = not carriers[other].ours
        if not carriers[one].ours or (stranger and carriers[other].spacing_hz <= 0):
            continue
        if company.meet(one, other):
            yield one, other


def _too_near(company: Company, pairs: Sequence[tuple[int, int]]) -> Iterator[Conflict]:
    for one, other in pairs:
        ours, second = company.carriers[one], company.carriers[other]
        needed_hz = max(ours.spacing_hz, second.spacing_hz) if second.ours else second.spacing_hz
        distance_hz = abs(ours.frequency_hz - second.frequency_hz)
        if distance_hz < needed_hz:
            yield _spacing(ours, second, distance_hz, needed_hz)


def _spacing(ours: Carrier, other: Carrier, distance_hz: int, needed_hz: int) -> Conflict:
    apart = f"{exact_width(distance_hz)} apart, and {exact_width(needed_hz)} are needed"
    if not other.ours:
        text = f"{ours.placed} and the foreign carrier {other.placed} stand {apart}: move {ours.name}"
        return Conflict("foreign", ours.name, (other.name,), None, distance_hz, needed_hz, text)
    first, second = sorted((ours, other), key=lambda carrier: carrier.name)
    text = f"{first.placed} and {second.placed} stand {apart}: move one of them"
    return Conflict("spacing", None, (first.name, second.name), None, distance_hz, needed_hz, text)


# Products


def _product_hits(company: Company) -> Iterator[Conflict]:
    for victim, form, makers in company.product_hits():
        for row in makers[: MOST_PRODUCTS + 1].tolist():
            yield _product(form, [company.carriers[i] for i in row], company.carriers[victim])


def _product(form: Form, makers: Sequence[Carrier], victim: Carrier) -> Conflict:
    if form == THREE_CARRIERS:
        makers = [*sorted(makers[:2], key=lambda carrier: carrier.name), makers[2]]
    names = tuple(carrier.name for carrier in makers)
    product_hz = form.at_hz([carrier.frequency_hz for carrier in makers])
    distance_hz, needed_hz = abs(product_hz - victim.frequency_hz), victim.product_distances_hz[form]
    movable = [carrier.name for carrier in (victim, *makers) if carrier.ours]
    where = "exactly on" if distance_hz == 0 else f"{exact_width(distance_hz)} from"
    text = (
        f"{form.worded(names)} falls {where} {victim.placed}, and {exact_width(needed_hz)} are needed: "
        f"move {worded_list(movable, 'or')}"
    )
    return Conflict(form.name, victim.name, names, product_hz, distance_hz, needed_hz, text)


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
    return {form: (pairs if len(form.coefficients) == 2 else triples // 2) - form.count(strangers) for form in AUDITED}


# Where a carrier may stand at all


def _off_tuning(footing: Footing) -> Iterator[Conflict]:
    carrier = footing.carrier
    nearest_hz = nearest_tunable_hz(footing.equipment, carrier.frequency_hz)
    if nearest_hz != carrier.frequency_hz:
        yield _off(
            "tuning", carrier, f"{footing.equipment.name} can't be set to the place of {carrier.placed}", nearest_hz
        )


def _against_law(footing: Footing, ground: Ground | None) -> Iterator[Conflict]:
    carrier, permission = footing.carrier, footing.permission
    if ground is not None and permission is not None and footing.is_told(Answer.NO):
        nearest_hz = nearest_allowed_hz(footing.equipment, carrier.frequency_hz, ground)
        yield _off("rules", carrier, f"{carrier.placed} is not allowed: {permission.text}", nearest_hz)


def _off(kind: str, carrier: Carrier, reason: str, nearest_hz: int | None) -> Conflict:
    usable = "allowed" if kind == "rules" else "possible"
    if nearest_hz is None:
        return Conflict(kind, carrier.name, (), None, None, 0, f"{reason}; no place is {usable} for its equipment")
    distance_hz = abs(nearest_hz - carrier.frequency_hz)
    text = f"{reason}; the nearest {usable} place is {mhz(nearest_hz)}, {exact_width(distance_hz)} away"
    return Conflict(kind, carrier.name, (), None, distance_hz, 0, text)


def _on_occupied_air(footing: Footing) -> Iterator[Conflict]:
    reasons = []
    if footing.announced is not None:
        reasons.append(f"touches TV channel {footing.announced.name}, announced as on the air there")
    if footing.judged is not None and footing.is_judged(Verdict.OCCUPIED):
        why = f" ({'; '.join(footing.judged.reasons)})" if footing.judged.reasons else ""
        where = f" {footing.told_survey}" if footing.told_survey else ""
        reasons.append(f"stands in occupied spectrum{where}{why}")
    if reasons:
        name, text = footing.carrier.name, f"{footing.carrier.placed} {' and '.join(reasons)}: move it"
        yield Conflict("air", name, (), None, None, None, text)
