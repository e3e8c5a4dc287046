"""Both directions of a link, judged: whether they are as far apart as its equipment needs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.conflicts import Conflict
from fallow.plan.wording import exact_width
from fallow.show.duplex import RETURN, return_name
from fallow.show.equipment import Duplex

__all__ = ["pair_conflicts", "partner_of"]


def pair_conflicts(company: Company) -> Iterator[Conflict]:
    """Every pair whose directions do not go together, and every link that has one direction only."""
    by_name = {carrier.name: carrier for carrier in company.carriers}
    yield from _ways_back_alone(company, by_name)
    for carrier in company.carriers:
        if carrier.equipment is None or carrier.equipment.duplex is None:
            continue
        back = by_name.get(return_name(carrier.name))
        if back is None:
            text = f"{carrier.placed} has no way back: {return_name(carrier.name)} has no frequency"
            yield Conflict("duplex", carrier.name, (), None, None, None, text)
        elif not _go_together(carrier, back, carrier.equipment.duplex):
            yield _conflict(carrier, back, carrier.equipment.duplex)


def _ways_back_alone(company: Company, by_name: Mapping[str, Carrier]) -> Iterator[Conflict]:
    for carrier in company.carriers:
        of_back = carrier.equipment is not None and carrier.equipment.name.endswith(RETURN)
        there = carrier.name.removesuffix(RETURN)
        if of_back and there != carrier.name and there not in by_name:
            text = f"{carrier.placed} is a way back alone: {there} has no frequency"
            yield Conflict("duplex", carrier.name, (), None, None, None, text)


def partner_of(company: Company, position: int) -> tuple[int, Duplex, int] | None:
    """The other direction of a carrier: its position, what the equipment needs, and the sign of the offset from the
    partner to this one.
    """
    carrier = company.carriers[position]
    own = _duplex_of(carrier)
    for i, other in enumerate(company.carriers):
        others = _duplex_of(other)
        if own is not None and other.name == return_name(carrier.name):
            return i, own, -1
        if others is not None and carrier.name == return_name(other.name):
            return i, others, 1
    return None


def _duplex_of(carrier: Carrier) -> Duplex | None:
    return None if carrier.equipment is None else carrier.equipment.duplex


def _go_together(one: Carrier, back: Carrier, duplex: Duplex) -> bool:
    offset_hz = back.frequency_hz - one.frequency_hz
    return abs(offset_hz) >= duplex.least_hz if duplex.offset_hz is None else offset_hz == duplex.offset_hz


def _conflict(one: Carrier, back: Carrier, duplex: Duplex) -> Conflict:
    distance_hz = abs(back.frequency_hz - one.frequency_hz)
    names = tuple(sorted((one.name, back.name)))
    if duplex.offset_hz is None:
        needed_hz, needed = duplex.least_hz, f"{exact_width(duplex.least_hz)} at least"
    else:
        where = "above" if duplex.offset_hz > 0 else "below"
        needed_hz, needed = abs(duplex.offset_hz), f"the way back exactly {exact_width(abs(duplex.offset_hz))} {where}"
    text = f"{one.placed} and {back.placed} are the two directions of one link, {exact_width(distance_hz)} apart"
    return Conflict("duplex", None, names, None, distance_hz, needed_hz, f"{text}, and {needed} is needed")
