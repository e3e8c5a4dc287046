"""Rules about groups of links, judged: who stands too near to another group, who too far from the own one.

Hard rules that are broken are conflicts; wishes that are not kept are told, each rule and area once.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.conflicts import Conflict
from fallow.plan.wording import counted, exact_width
from fallow.show.equipment import Kind
from fallow.show.grouping import Apart, Together, groups_of

__all__ = [
    "Unkept",
    "apart_needed_hz",
    "group_conflicts",
    "nobody_in",
    "together_with",
    "unkept_wishes",
    "wishes_broken_by",
]


@dataclass(frozen=True)
class Unkept:
    """A wish about groups that a plan does not keep. ``kind``: ``apart`` or ``together``, where ``other`` is empty.

    ``area``: where, empty: everywhere. ``carriers``: the two that break it most. ``distance_hz``: between these;
    ``wished_hz``: at least that (apart), or at most (together). ``pairs``: how many pairs break it. ``source``: of the
    figure.
    """

    kind: str
    group: str
    other: str
    area: str
    carriers: tuple[str, ...]
    distance_hz: int
    wished_hz: int
    pairs: int
    source: str
    text: str


def group_conflicts(company: Company) -> Iterator[Conflict]:
    """Every hard rule that is broken: two carriers too near, or the two ends of a group too far apart."""
    hard = company.groupings.of_strength(hard=True)
    seen = set()
    for rule in sorted(hard.apart, key=lambda rule: -rule.distance_hz):
        for one, other in _too_near(company, rule):
            if (one, other) not in seen:
                seen.add((one, other))
                yield _apart_conflict(company.carriers[one], company.carriers[other], rule)
    for spread in (spread for rule in hard.together for spread in _spreads(company, rule)):
        yield spread.conflict()


def unkept_wishes(company: Company) -> tuple[Unkept, ...]:
    """Every wish that is not kept, by rule and area."""
    wishes = company.groupings.of_strength(hard=False)
    near = [one for rule in wishes.apart for one in _unkept_apart(company, rule)]
    return (*near, *(spread.unkept() for rule in wishes.together for spread in _spreads(company, rule)))


def wishes_broken_by(company: Company, position: int) -> Iterator[str]:
    """The wishes that one carrier does not keep, each in a sentence with whoever is in the way most."""
    wishes, hz = company.groupings.of_strength(hard=False), company.hz
    for rule in wishes.apart:
        others = [sum(pair) - position for pair in _too_near(company, rule) if position in pair]
        if others:
            nearest = min(others, key=lambda i: abs(int(hz[i] - hz[position])))
            distance_hz = abs(int(hz[nearest] - hz[position]))
            yield (
                f"{_pair(rule)} are wished {exact_width(rule.distance_hz)} apart{_from(rule)}: "
                f"{counted(len(others), 'carrier')} nearer, {company.carriers[nearest].name} {exact_width(distance_hz)}"
            )
    for close in wishes.together:
        for spread in _spreads(company, close):
            if company.carriers[position].name in spread.names:
                yield spread.unkept().text


def nobody_in(company: Company) -> Iterator[str]:
    """Groups of rules that no carrier here is in, but for kinds."""
    present = (groups_of(one.groups, one.equipment) for one in company.carriers if one.equipment is not None)
    yield from sorted(company.groupings.names - frozenset(Kind) - frozenset[str]().union(*present))


def apart_needed_hz(company: Company) -> NDArray[np.int64]:
    """The distance that hard rules ask between any two carriers that meet, 0 where none does; shape (n, n)."""
    n = len(company.carriers)
    needed_hz = np.zeros((n, n), dtype=np.int64)
    for rule in company.groupings.of_strength(hard=True).apart:
        for one, others in _meeting_pairs(company, rule):
            needed_hz[one, others] = np.maximum(needed_hz[one, others], rule.distance_hz)
            needed_hz[others, one] = needed_hz[one, others]
    return needed_hz


def together_with(company: Company, one: int) -> Iterator[tuple[int, int]]:
    """The carriers with which a hard rule keeps one together: each with the farthest that it may be [Hz]."""
    carrier = company.carriers[one]
    for rule in company.groupings.of_strength(hard=True).together:
        members = _is_in(company, rule.group)
        for i in np.flatnonzero(members).tolist() if members[one] else ():
            if i != one and (rule.everywhere or company.carriers[i].area == carrier.area):
                yield i, rule.within_hz


# Apart


def _apart_conflict(one: Carrier, other: Carrier, rule: Apart) -> Conflict:
    first, second = sorted((one, other), key=lambda carrier: carrier.name)
    distance_hz = abs(one.frequency_hz - other.frequency_hz)
    text = (
        f"{first.placed} and {second.placed} stand {exact_width(distance_hz)} apart, and "
        f"{exact_width(rule.distance_hz)} are needed between {_pair(rule)}: move one of them"
    )
    return Conflict("apart", None, (first.name, second.name), None, distance_hz, rule.distance_hz, text)


def _unkept_apart(company: Company, rule: Apart) -> Iterator[Unkept]:
    """By area; where a rule holds everywhere, once."""
    pairs = [(_area_of(company, pair, rule), pair) for pair in _too_near(company, rule)]
    for area, group in groupby(sorted(pairs), key=lambda each: each[0]):
        members = [pair for _, pair in group]
        one, other = min(members, key=lambda pair: abs(int(company.hz[pair[0]] - company.hz[pair[1]])))
        names = tuple(sorted((company.carriers[one].name, company.carriers[other].name)))
        distance_hz = abs(int(company.hz[one] - company.hz[other]))
        stand = "stands" if len(members) == 1 else "stand"
        text = (
            f"{counted(len(members), 'pair')} of {_pair(rule)}{_in(area)} {stand} nearer than the "
            f"{exact_width(rule.distance_hz)} wished{_from(rule)}: the nearest are {names[0]} and {names[1]}, "
            f"{exact_width(distance_hz)} apart"
        )
        yield Unkept(
            "apart",
            rule.group,
            rule.other,
            area,
            names,
            distance_hz,
            rule.distance_hz,
            len(members),
            rule.source,
            text,
        )


def _too_near(company: Company, rule: Apart) -> Iterator[tuple[int, int]]:
    """Positions of the pairs that stand nearer than a rule asks, each once."""
    for one, others in _meeting_pairs(company, rule):
        near = others[np.abs(company.hz[others] - company.hz[one]) < rule.distance_hz]
        yield from ((one, other) for other in near.tolist())


def _meeting_pairs(company: Company, rule: Apart) -> Iterator[tuple[int, NDArray[np.intp]]]:
    """Each carrier with those after it to which a rule asks it to keep a distance."""
    in_group, in_other = _is_in(company, rule.group), _is_in(company, rule.other)
    without_area = np.array([not carrier.area for carrier in company.carriers], dtype=np.bool_)
    for one in np.flatnonzero(in_group | in_other).tolist():
        concerned = (in_other if in_group[one] else np.zeros_like(in_other)) | (
            in_group if in_other[one] else np.zeros_like(in_group)
        )
        concerned = concerned & company.meeting(one)
        concerned[: one + 1] = False
        if not rule.everywhere and not without_area[one]:
            concerned &= (company.areas == company.areas[one]) | without_area
        yield one, np.flatnonzero(concerned)


def _area_of(company: Company, pair: tuple[int, int], rule: Apart) -> str:
    return "" if rule.everywhere else company.carriers[pair[0]].area or company.carriers[pair[1]].area


# Together


@dataclass(frozen=True)
class _Spread:
    """A group that is spread too far: its ends, and how many pairs are too far apart."""

    rule: Together
    area: str
    lowest: Carrier
    highest: Carrier
    pairs: int

    @property
    def width_hz(self) -> int:
        return self.highest.frequency_hz - self.lowest.frequency_hz

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(sorted((self.lowest.name, self.highest.name)))

    @property
    def _where(self) -> str:
        ends = f"from {self.lowest.placed} to {self.highest.placed}"
        return f"{self.rule.group}{_in(self.area)} is spread over {exact_width(self.width_hz)}, {ends}"

    def conflict(self) -> Conflict:
        limit_hz = self.rule.within_hz
        text = f"{self._where}, and must lie within {exact_width(limit_hz)}: move one of the two"
        return Conflict("together", None, self.names, None, self.width_hz, limit_hz, text)

    def unkept(self) -> Unkept:
        rule = self.rule
        text = f"{self._where}, and within {exact_width(rule.within_hz)} is wished{_from(rule)}"
        distance_hz, wished_hz = self.width_hz, rule.within_hz
        names = self.names
        return Unkept(
            "together", rule.group, "", self.area, names, distance_hz, wished_hz, self.pairs, rule.source, text
        )


def _spreads(company: Company, rule: Together) -> Iterator[_Spread]:
    members = [company.carriers[i] for i in np.flatnonzero(_is_in(company, rule.group)).tolist()]
    areas = [""] if rule.everywhere else sorted({carrier.area for carrier in members})
    for area in areas:
        here = [carrier for carrier in members if rule.everywhere or carrier.area == area]
        here.sort(key=lambda carrier: (carrier.frequency_hz, carrier.name))
        if here and here[-1].frequency_hz - here[0].frequency_hz > rule.within_hz:
            yield _Spread(rule, area, here[0], here[-1], _pairs_too_far(here, rule.within_hz))


def _pairs_too_far(carriers: Sequence[Carrier], within_hz: int) -> int:
    """Of carriers in rising order."""
    hz = np.array([carrier.frequency_hz for carrier in carriers], dtype=np.int64)
    return int(np.searchsorted(hz, hz - within_hz, side="left").sum())


# Words


def _is_in(company: Company, group: str) -> NDArray[np.bool_]:
    """Which carriers of ours a group holds, shape (carrier,)."""
    return np.array(
        [one.equipment is not None and group in groups_of(one.groups, one.equipment) for one in company.carriers],
        dtype=np.bool_,
    )


def _pair(rule: Apart) -> str:
    return f"links of {rule.group}" if rule.group == rule.other else f"{rule.group} and {rule.other}"


def _in(area: str) -> str:
    return f" in {area}" if area else ""


def _from(rule: Apart | Together) -> str:
    return f" ({rule.source})" if rule.source else ""
