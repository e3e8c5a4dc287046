"""Broken rules of a plan as values, each in words with what to do at most; and the order in which they are listed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fallow.plan.judge.carriers import Carrier
from fallow.plan.judge.footing import Footing, nearest_allowed_hz, nearest_tunable_hz
from fallow.plan.judge.products import FORMS, THREE_CARRIERS, Form
from fallow.plan.places import Ground
from fallow.plan.wording import exact_width, mhz, worded_list
from fallow.rules.territory import Answer
from fallow.spectrum.verdict import Verdict

__all__ = ["KINDS", "Conflict", "by_kind_and_nearness", "hit", "place_conflicts", "spacing_hz", "too_near"]

KINDS = (
    *("spacing", *(form.name for form in FORMS), "foreign"),
    *("apart", "together", "duplex", "tuning", "rules", "air", "twice"),
)


@dataclass(frozen=True)
class Conflict:
    """One broken rule. Distances in hertz; ``text`` says it to people, with what to do at most.

    ``kind`` is one of ``KINDS``. ``carriers`` are the letters of the product in order (A+B−C: A before B in the
    alphabet), or the pair of a spacing or of a rule about groups in alphabetical order, or the foreign carrier.
    """

    kind: str
    victim: str | None
    carriers: tuple[str, ...]
    product_hz: int | None
    distance_hz: int | None
    needed_hz: int | None
    text: str


def by_kind_and_nearness(conflict: Conflict) -> tuple[int, int, str, tuple[str, ...]]:
    """The key by which an audit sorts conflicts: kind, distance, victim, carriers."""
    nearness = -1 if conflict.distance_hz is None else conflict.distance_hz
    return KINDS.index(conflict.kind), nearness, conflict.victim or "", conflict.carriers


def spacing_hz(ours: Carrier, other: Carrier) -> int:
    """The distance asked between a carrier of ours and another: the larger spacing of two of ours, or a stranger's."""
    return max(ours.spacing_hz, other.spacing_hz) if other.ours else other.spacing_hz


def too_near(ours: Carrier, other: Carrier, distance_hz: int, needed_hz: int) -> Conflict:
    """Two carriers, at least one of them ours, at less than the distance asked for, in hertz."""
    apart = f"{exact_width(distance_hz)} apart, and {exact_width(needed_hz)} are needed"
    if not other.ours:
        text = f"{ours.placed} and the foreign carrier {other.placed} stand {apart}: move {ours.name}"
        return Conflict("foreign", ours.name, (other.name,), None, distance_hz, needed_hz, text)
    first, second = sorted((ours, other), key=lambda carrier: carrier.name)
    text = f"{first.placed} and {second.placed} stand {apart}: move one of them"
    return Conflict("spacing", None, (first.name, second.name), None, distance_hz, needed_hz, text)


def hit(form: Form, makers: Sequence[Carrier], victim: Carrier) -> Conflict:
    """A product that falls too near to its victim. ``makers``: letter by letter, those of A+B in any order."""
    if form == THREE_CARRIERS:
        makers = [*sorted(makers[:2], key=lambda carrier: carrier.name), makers[2]]
    names = tuple(carrier.name for carrier in makers)
    product_hz = form.at_hz([carrier.frequency_hz for carrier in makers])
    distance_hz, needed_hz = abs(product_hz - victim.frequency_hz), victim.product_needs_hz(form, makers)
    movable = [carrier.name for carrier in (victim, *makers) if carrier.ours]
    where = "exactly on" if distance_hz == 0 else f"{exact_width(distance_hz)} from"
    text = (
        f"{form.worded(names)} falls {where} {victim.placed}, and {exact_width(needed_hz)} are needed"
        f"{_of_width(form, makers, victim)}: move {worded_list(movable, 'or')}"
    )
    return Conflict(form.name, victim.name, names, product_hz, distance_hz, needed_hz, text)


def _of_width(form: Form, makers: Sequence[Carrier], victim: Carrier) -> str:
    """What of the distance needed is the product's own width, where that counts."""
    half_hz = form.half_width_hz([maker.bandwidth_hz for maker in makers]) if victim.edges else 0
    return f", {exact_width(half_hz)} of them because it is up to {exact_width(2 * half_hz)} wide" if half_hz else ""


def place_conflicts(footing: Footing, ground: Ground | None) -> Iterator[Conflict]:
    """What tuning, law and air have against the place of one carrier."""
    yield from _off_tuning(footing)
    yield from _against_law(footing, ground)
    yield from _on_occupied_air(footing)


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
