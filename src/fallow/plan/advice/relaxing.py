"""What could be asked for less, or had more of, so that links that found no place get one.

Each idea is a show and a ground in which every plan of before is still a plan. They come in the order of what they
cost people, which is our own judgement (common practice): first rules about groups, then distances that may be risked,
then a TV channel, then other gear, then walls, and last a link less.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from enum import IntEnum

import numpy as np

from fallow.plan.places import Ground, Places
from fallow.plan.wording import exact_width, worded_list
from fallow.show.duplex import both_directions, return_name, way_back
from fallow.show.equipment import Equipment
from fallow.show.grouping import Apart, Groupings, Together, groups_of
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.spectrum.verdict import Verdict
from fallow.units import Channel, Span, format_span_mhz

__all__ = ["Effort", "Idea", "ideas_for"]

LESS_SPACING_HZ = (25_000, 50_000)
WIDEST_RANGE_HZ = 40_000_000
MOST_DROPPED = 3


class Effort(IntEnum):
    """What an idea costs, cheapest first."""

    LOOSER_GROUPS = 0
    RISKED_PRODUCTS = 1
    RISKED_SPACING = 2
    CHANNEL = 3
    OTHER_GEAR = 4
    WALLS = 5
    LINK_LESS = 6


@dataclass(frozen=True, eq=False)
class Idea:
    """``text``: what to change, as the end of *more links would fit with …*. ``dropped``: a link that is given up."""

    text: str
    effort: Effort
    wanted: Wanted
    ground: Ground
    dropped: str | None = None


@dataclass(frozen=True, eq=False)
class _Opened(Ground):
    """Ground in which nobody is on one TV channel."""

    channel: Channel = Channel("", 0, 1)

    def places(self, equipment: Equipment, area: str) -> Places:
        """As of any ground; carriers wholly inside the channel are clean and not announced."""
        places = Ground.places(self, equipment, area)
        inside = _inside(self.channel, equipment, places)
        verdict = np.where(inside & (places.verdict == Verdict.OCCUPIED), Verdict.CLEAN, places.verdict)
        return replace(places, verdict=verdict.astype(np.uint8), announced=places.announced & ~inside)


def ideas_for(unplaced: Sequence[Link], wanted: Wanted, ground: Ground) -> Iterator[Idea]:
    """Ideas for links without a frequency, cheapest first."""
    kinds = _kinds_of(unplaced, wanted)
    yield from _looser_groups(unplaced, wanted, ground)
    for kind in kinds:
        yield from _nearer_products(kind, wanted, ground)
    yield from _products_as_lines(wanted, ground)
    for kind in kinds:
        yield from _less_spacing(kind, wanted, ground)
    yield from _channels(unplaced, wanted, ground)
    for kind in kinds:
        yield from _wider_tuning(kind, wanted, ground)
    yield from _apart(unplaced, wanted, ground)
    yield from _without_a_link(unplaced, wanted, ground)


def _kinds_of(links: Sequence[Link], wanted: Wanted) -> list[Equipment]:
    """Their types of equipment; that of a way back is the same one as of the way there."""
    known = wanted.equipment
    there = {return_name(name): name for name, radio in known.items() if radio.duplex is not None}
    return [known[name] for name in dict.fromkeys(there.get(link.equipment, link.equipment) for link in links)]


def _looser_groups(unplaced: Sequence[Link], wanted: Wanted, ground: Ground) -> Iterator[Idea]:
    """Hard rules about the groups of these links, asked for half as much, and as wishes."""
    concerned = frozenset[str]().union(*(groups_of(one.groups, wanted.equipment[one.equipment]) for one in unplaced))
    for rule in wanted.groupings.of_strength(hard=True).rules:
        if not concerned & set(rule.names):
            continue
        if isinstance(rule, Apart):
            looser: Apart | Together = replace(rule, distance_hz=rule.distance_hz // 2)
            text = f"{rule.group} {exact_width(rule.distance_hz // 2)} instead of {exact_width(rule.distance_hz)} from"
            told = f"{text} {rule.other}", f"{rule.group} as near to {rule.other} as other rules allow"
        else:
            looser = replace(rule, within_hz=2 * rule.within_hz)
            text = f"{rule.group} within {exact_width(2 * rule.within_hz)} instead of {exact_width(rule.within_hz)}"
            told = text, f"{rule.group} as far apart as need be"
        for words, instead in zip(told, (looser, replace(rule, hard=False)), strict=True):
            rules = [instead if one == rule else one for one in wanted.groupings.rules]
            yield Idea(words, Effort.LOOSER_GROUPS, replace(wanted, groupings=Groupings.of(rules)), ground)


def _products_as_lines(wanted: Wanted, ground: Ground) -> Iterator[Idea]:
    """That nobody minds the edges of products, where anybody does."""
    if any(kind.product_width for kind in wanted.equipment.values()):
        lines = {name: replace(kind, product_width=False) for name, kind in wanted.equipment.items()}
        text = "products taken as lines, without their own width"
        yield Idea(text, Effort.RISKED_PRODUCTS, replace(wanted, equipment=lines), ground)


def _nearer_products(kind: Equipment, wanted: Wanted, ground: Ground) -> Iterator[Idea]:
    if kind.im7_hz:
        text = f"4A−3B products of no account to {kind.name}"
        yield _of_gear(text, Effort.RISKED_PRODUCTS, replace(kind, im7_hz=None), wanted, ground)
    if kind.im3_three_hz:
        half_hz = kind.im3_three_hz // 2
        text = f"A+B−C products {exact_width(half_hz)} instead of {exact_width(kind.im3_three_hz)} from {kind.name}"
        yield _of_gear(text, Effort.RISKED_PRODUCTS, replace(kind, im3_three_hz=half_hz), wanted, ground)
        text = f"A+B−C products of no account to {kind.name}"
        yield _of_gear(text, Effort.RISKED_PRODUCTS, replace(kind, im3_three_hz=None), wanted, ground)
    if kind.im3_hz:
        half_hz = kind.im3_hz // 2
        text = f"2A−B products {exact_width(half_hz)} instead of {exact_width(kind.im3_hz)} from {kind.name}"
        yield _of_gear(text, Effort.RISKED_PRODUCTS, replace(kind, im3_hz=half_hz), wanted, ground)


def _less_spacing(kind: Equipment, wanted: Wanted, ground: Ground) -> Iterator[Idea]:
    for less_hz in LESS_SPACING_HZ:
        spacing_hz = kind.spacing_hz - less_hz
        if spacing_hz >= kind.bandwidth_hz:
            text = f"{exact_width(spacing_hz)} instead of {exact_width(kind.spacing_hz)} between links of {kind.name}"
            yield _of_gear(text, Effort.RISKED_SPACING, replace(kind, spacing_hz=spacing_hz), wanted, ground)


def _channels(unplaced: Sequence[Link], wanted: Wanted, ground: Ground) -> Iterator[Idea]:
    """TV channels in which somebody else's signal is all that keeps places from these links."""
    asked = dict.fromkeys((link.equipment, link.area) for link in unplaced)
    places = [(kind := wanted.equipment[name], ground.places(kind, area)) for name, area in asked]
    for channel in () if ground.territory is None else ground.territory.channels:
        taken = 0
        for kind, of_kind in places:
            others = of_kind.announced | (of_kind.verdict == Verdict.OCCUPIED)
            taken += int(np.count_nonzero(others & _inside(channel, kind, of_kind)))
        if taken:
            opened = _Opened(**{each.name: getattr(ground, each.name) for each in fields(ground)}, channel=channel)
            yield Idea(f"TV channel {channel.name} off the air", Effort.CHANNEL, wanted, opened)


def _wider_tuning(kind: Equipment, wanted: Wanted, ground: Ground) -> Iterator[Idea]:
    """The same gear with one more range, as wide as its widest, right below or above what it has; so for the ranges of
    its way back, where these are its own.
    """
    back = None if kind.duplex is None else way_back(kind)
    if not kind.presets_hz:
        for more in _ranges_beside(kind.tuning):
            wider, alone = replace(kind, tuning=(*kind.tuning, more)), replace(kind, tuning=(more,))
            follows = back is not None and kind.duplex is not None and kind.duplex.offset_hz is not None
            if _may_be_used(alone, ground) and (not follows or _may_be_used(way_back(alone), ground)):
                yield _of_gear(_tunes_to(kind, more), Effort.OTHER_GEAR, wider, wanted, ground)
    if back is not None and kind.duplex is not None and kind.duplex.offset_hz is None:
        for more in _ranges_beside(back.tuning):
            if _may_be_used(replace(back, tuning=(more,)), ground):
                wider = replace(kind, duplex=replace(kind.duplex, ranges=(*kind.duplex.ranges, more)))
                yield _of_gear(_tunes_to(back, more), Effort.OTHER_GEAR, wider, wanted, ground)


def _ranges_beside(tuning: Sequence[Span]) -> tuple[Span, ...]:
    """A range right below all of these, and one right above."""
    if not tuning:
        return ()
    width_hz = min(WIDEST_RANGE_HZ, max(span.width_hz for span in tuning))
    low_hz, high_hz = min(span.low_hz for span in tuning), max(span.high_hz for span in tuning)
    return Span(max(1, low_hz - width_hz), low_hz), Span(high_hz, high_hz + width_hz)


def _may_be_used(kind: Equipment, ground: Ground) -> bool:
    return bool(ground.places(kind, "").may_use.any())


def _tunes_to(kind: Equipment, more: Span) -> str:
    return f"{kind.name} that tunes to {format_span_mhz(more.low_hz, more.high_hz)} as well"


def _apart(unplaced: Sequence[Link], wanted: Wanted, ground: Ground) -> Iterator[Idea]:
    areas = sorted({link.area for link in wanted.links} - {""})
    pairs = dict.fromkeys(frozenset((link.area, area)) for link in unplaced for area in areas if link.area)
    for pair in pairs:
        if len(pair) == 2 and pair not in wanted.losses.apart:
            losses = replace(wanted.losses, apart=wanted.losses.apart | {pair})
            text = f"{worded_list(sorted(pair))} out of each other's hearing"
            yield Idea(text, Effort.WALLS, replace(wanted, losses=losses), replace(ground, losses=losses))


def _without_a_link(unplaced: Sequence[Link], wanted: Wanted, ground: Ground) -> Iterator[Idea]:
    """The least important of those that may move are given up, one at a time."""
    names = {link.name for link in unplaced}
    back = {return_name(link.name) for link in wanted.links if both_directions(link.name, wanted)}
    names |= back
    placed = [link for link in wanted.links if link.planned and not link.fixed and link.name not in names]
    for link in sorted(placed, key=lambda link: -link.priority)[:MOST_DROPPED]:
        off = both_directions(link.name, wanted) or (link.name,)
        fewer = replace(wanted, links=tuple(each for each in wanted.links if each.name not in off))
        yield Idea(f"no frequency for {link.name}", Effort.LINK_LESS, fewer, ground, link.name)


def _of_gear(text: str, effort: Effort, kind: Equipment, wanted: Wanted, ground: Ground) -> Idea:
    """The idea that a type of equipment is otherwise, in both directions where its links have two."""
    changed = {kind.name: kind}
    if kind.duplex is not None:
        changed[return_name(kind.name)] = way_back(kind)
    return Idea(text, effort, replace(wanted, equipment={**wanted.equipment, **changed}), ground)


def _inside(channel: Channel, equipment: Equipment, places: Places) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    half_hz = max(equipment.bandwidth_hz, 1) / 2
    hz = places.frequencies_hz
    return (hz - half_hz >= channel.low_hz) & (hz + half_hz <= channel.high_hz)
