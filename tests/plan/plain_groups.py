"""Rules about groups of links as loops over every two carriers, and every assignment of a tiny show; slow on purpose.

Nothing is shared with the planner but the values that it is given. Everything here is invented.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations, product

import numpy as np

from fallow.show.equipment import Equipment, Kind
from fallow.show.grouping import Apart, Groupings, Together
from fallow.show.link import AreaLosses, Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.plain_conflicts import of_ours, of_stranger, plain_conflicts


def plain_breaches(wanted: Wanted, at_hz: Mapping[str, int], *, hard: bool) -> list[tuple[str, frozenset[str]]]:
    """Every pair of links that breaks a rule of this strength: kind and names, each pair once for each rule."""
    found = []
    links = [link for link in wanted.links if link.name in at_hz]
    for one, other in combinations(links, 2):
        distance_hz = abs(at_hz[one.name] - at_hz[other.name])
        names = frozenset((one.name, other.name))
        found += [
            ("apart", names)
            for rule in wanted.groupings.apart
            if rule.hard == hard and concerns(rule, one, other, wanted) and distance_hz < rule.distance_hz
        ]
        found += [
            ("together", names)
            for rule in wanted.groupings.together
            if rule.hard == hard
            and is_in(one, rule.group, wanted)
            and is_in(other, rule.group, wanted)
            and (rule.everywhere or one.area == other.area)
            and distance_hz > rule.within_hz
        ]
    return found


def concerns(rule: Apart, one: Link, other: Link, wanted: Wanted) -> bool:
    """Whether a rule asks these two to keep apart."""
    pairs = ((one, other), (other, one))
    if not any(is_in(a, rule.group, wanted) and is_in(b, rule.other, wanted) for a, b in pairs):
        return False
    if one.scenes and other.scenes and not one.scenes & other.scenes:
        return False
    if rule.everywhere:
        return wanted.losses.hears(one.area, other.area)
    return one.area == other.area or "" in (one.area, other.area)


def is_in(link: Link, group: str, wanted: Wanted) -> bool:
    """Whether a link is in a group."""
    equipment = wanted.equipment[link.equipment]
    return group in link.groups or group in (equipment.name, equipment.kind)


def every_plan(wanted: Wanted) -> Iterator[dict[str, int]]:
    """Every assignment of a tiny show in which no rule is broken that must be kept, links left out included."""
    choices = [(None, *places_hz(wanted.equipment[link.equipment])) for link in wanted.links]
    for chosen in product(*choices):
        at_hz = {link.name: hz for link, hz in zip(wanted.links, chosen, strict=True) if hz is not None}
        standing = [
            of_ours(
                link.name, at_hz[link.name], link.area, link.scenes, wanted.equipment[link.equipment], fixed=link.fixed
            )
            for link in wanted.links
            if link.name in at_hz
        ]
        standing += [of_stranger(foreign) for foreign in wanted.foreign]
        if not plain_conflicts(standing, wanted.losses) and not plain_breaches(wanted, at_hz, hard=True):
            yield at_hz


def places_hz(equipment: Equipment) -> range:
    """All places of a type of radio with one tuning range."""
    span = equipment.tuning[0]
    return range(span.low_hz, span.high_hz + 1, equipment.step_hz)


def tiny_show(seed: int, *, hard: bool | None = None) -> Wanted:
    """Up to four links on few places, with rules about groups; ``hard``: of all rules, else any."""
    random = np.random.default_rng(seed)
    equipment = {name: _radio(name, kind, random) for name, kind in (("vox", Kind.MICROPHONE), ("ear", Kind.IN_EAR))}
    areas, scenes = ["", "hall", "yard"], ["one", "two"]
    links = tuple(
        Link(
            f"link {i}",
            str(random.choice(list(equipment))),
            str(random.choice(areas)),
            frozenset(scene for scene in scenes if random.random() < 0.3),
            int(random.integers(1, 4)),
            groups=frozenset(name for name in ("band", "choir") if random.random() < 0.5),
        )
        for i in range(random.integers(2, 5))
    )
    names = ["band", "choir", "vox", "ear", "microphone", "in-ear"]
    rules: list[Apart | Together] = []
    for _ in range(random.integers(1, 4)):
        everywhere, strength = bool(random.random() < 0.5), bool(random.random() < 0.5) if hard is None else hard
        if random.random() < 0.6:
            one, other = (str(random.choice(names)) for _ in range(2))
            rules.append(Apart(one, other, 100_000 * int(random.integers(1, 8)), everywhere, strength))
        else:
            within_hz = 100_000 * int(random.integers(1, 6))
            rules.append(Together(str(random.choice(names)), within_hz, everywhere, strength))
    losses = AreaLosses(frozenset([frozenset(("hall", "yard"))]) if random.random() < 0.5 else frozenset())
    return Wanted(links, equipment, losses, groupings=Groupings.of(rules))


def _radio(name: str, kind: Kind, random: np.random.Generator) -> Equipment:
    low_hz = 500_000_000 + 100_000 * int(random.integers(0, 5))
    tuning = (Span(low_hz, low_hz + 100_000 * int(random.integers(4, 9))),)
    distances = [None if random.random() < 0.5 else 100_000 for _ in range(3)]
    return Equipment(name, kind, tuning, 100_000, (), 50_000, None, None, 100_000, *distances)
