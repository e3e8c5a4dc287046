"""The contract's words on conflicts as loops over every two, three and four carriers; and random shows to try them on.

Slow on purpose: nothing is shared with the planner but the values that it is given. Everything random here is invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np

from fallow.plan.search.search import Solution
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import AreaLosses, ForeignCarrier, Link
from fallow.show.wanted import Wanted
from fallow.units import Span


@dataclass(frozen=True)
class Standing:
    """A carrier on the air. ``may_be_blamed``: it is ours and not fixed."""

    name: str
    hz: int
    area: str
    scenes: frozenset[str]
    spacing_hz: int
    two_hz: int
    three_hz: int
    fifth_hz: int
    seventh_hz: int
    width_hz: int
    edges: bool
    mixes: bool
    ours: bool
    may_be_blamed: bool


def standing_links(wanted: Wanted, solution: Solution) -> list[Standing]:
    """Our carriers of a plan, fixed links and spares among them, and the strangers."""
    found = []
    for link in wanted.links:
        if link.planned and link.name in solution.frequencies_hz:
            e = wanted.equipment[link.equipment]
            found.append(
                of_ours(link.name, solution.frequencies_hz[link.name], link.area, link.scenes, e, fixed=link.fixed)
            )
    found += [
        of_ours(s.name, s.frequency_hz, s.area, frozenset(), wanted.equipment[s.equipment], fixed=False)
        for s in solution.spares
    ]
    return found + [of_stranger(foreign) for foreign in wanted.foreign]


def of_ours(name: str, hz: int, area: str, scenes: frozenset[str], e: Equipment, *, fixed: bool) -> Standing:
    """A link or spare."""
    distances = (e.im3_hz or 0, e.im3_three_hz or 0, e.im5_hz or 0, e.im7_hz or 0, e.bandwidth_hz, e.product_width)
    return Standing(name, hz, area, scenes, e.spacing_hz, *distances, mixes=True, ours=True, may_be_blamed=not fixed)


def of_stranger(foreign: ForeignCarrier) -> Standing:
    """A foreign carrier."""
    guard_hz = foreign.spacing_hz if foreign.protect else 0
    return Standing(
        f"foreign {foreign.name}",
        foreign.frequency_hz,
        foreign.area,
        frozenset(),
        foreign.spacing_hz,
        *(guard_hz, guard_hz, guard_hz, 0),
        foreign.bandwidth_hz,
        foreign.product_width,
        mixes=foreign.products,
        ours=False,
        may_be_blamed=False,
    )


def share_a_scene(carriers: tuple[Standing, ...]) -> bool:
    """Whether there is a scene in which all of them are on; those without scenes are on in every one."""
    named = [carrier.scenes for carrier in carriers if carrier.scenes]
    return not named or bool(frozenset.intersection(*named))


def plain_conflicts(carriers: list[Standing], losses: AreaLosses) -> list[tuple[str, ...]]:
    """Every conflict for which somebody may be blamed, as kind and names."""
    found = []
    for a, b in combinations(carriers, 2):
        if not (a.ours or b.ours) or not losses.hears(a.area, b.area) or not share_a_scene((a, b)):
            continue
        needed_hz = max(a.spacing_hz, b.spacing_hz) if a.ours and b.ours else (b if a.ours else a).spacing_hz
        if abs(a.hz - b.hz) < needed_hz:
            found.append(("spacing", (a, b)))
    for victim in carriers:
        heard = [c for c in carriers if c is not victim and c.mixes and losses.hears(victim.area, c.area)]
        for a, b in permutations(heard, 2):
            for kind, m, needed_hz in (
                ("2A-B", 2, victim.two_hz),
                ("3A-2B", 3, victim.fifth_hz),
                ("4A-3B", 4, victim.seventh_hz),
            ):
                half_hz = (m * a.width_hz + (m - 1) * b.width_hz) / 2 if victim.edges else 0
                if needed_hz and abs(m * a.hz - (m - 1) * b.hz - victim.hz) < needed_hz + half_hz:
                    found.append((kind, (victim, a, b)))
        for a, b in combinations(heard, 2):
            others = [c for c in heard if c is not a and c is not b]
            for c in others if victim.three_hz else ():
                half_hz = (a.width_hz + b.width_hz + c.width_hz) / 2 if victim.edges else 0
                if abs(a.hz + b.hz - c.hz - victim.hz) < victim.three_hz + half_hz:
                    found.append(("A+B-C", (victim, a, b, c)))
    return [
        (kind, *(carrier.name for carrier in who))
        for kind, who in found
        if any(carrier.may_be_blamed for carrier in who)
        and share_a_scene(who)
        and (kind == "spacing" or any(carrier.ours for carrier in who[1:]))
    ]


def random_show(seed: int) -> Wanted:
    """A small invented show in a narrow band, so that conflicts abound: areas, scenes, mixed kinds, strangers, odd
    hertz.
    """
    random = np.random.default_rng(seed)
    odd = bool(random.random() < 0.5)
    equipment = {name: _random_equipment(name, random, odd=odd) for name in ("ax", "bo", "cy")[: random.integers(1, 4)]}
    areas = ["", "hall", "yard", "cellar"][: random.integers(1, 5)]
    pairs = [frozenset(pair) for pair in combinations(areas[1:], 2)]
    losses = AreaLosses(frozenset(pair for pair in pairs if random.random() < 0.4))
    scenes = ["one", "two", "three"][: random.integers(0, 4)]
    links = tuple(
        _random_link(i, random, list(equipment), areas, scenes, odd=odd) for i in range(random.integers(1, 11))
    )
    foreign = tuple(_random_foreign(i, random, areas, odd=odd) for i in range(random.integers(0, 4)))
    return Wanted(links, equipment, losses, foreign)


def _random_equipment(name: str, random: np.random.Generator, *, odd: bool) -> Equipment:
    low_hz = 500_000_000 + 5_000 * int(random.integers(0, 20)) + (int(random.integers(0, 5000)) if odd else 0)
    tuning = (Span(low_hz, low_hz + 25_000 * int(random.integers(10, 120))),)
    presets = (
        tuple(sorted(low_hz + int(hz) for hz in random.integers(0, 3_000_000, 8))) if random.random() < 0.2 else ()
    )
    distances = [None if random.random() < 0.3 else int(random.integers(1, 120_000)) for _ in range(3)]
    spacing_hz = int(random.integers(1, 300_000))
    more = np.random.default_rng([low_hz, spacing_hz])  # drawn by itself: what was there before stays as it was
    widths_hz = [199_999, 33_333]  # with those of strangers no more than the search tells apart
    return Equipment(
        name,
        Kind.MICROPHONE,
        () if presets else tuning,
        25_000,
        presets,
        int(more.choice(widths_hz)),
        None,
        None,
        spacing_hz,
        *distances,
        im7_hz=int(more.integers(1, 60_000)) if more.random() < 0.4 else None,
        product_width=bool(more.random() < 0.5),
    )


def _random_link(
    i: int, random: np.random.Generator, equipment: list[str], areas: list[str], scenes: list[str], *, odd: bool
) -> Link:
    on = frozenset(scene for scene in scenes if random.random() < 0.4)
    wishes = random.random() < 0.3
    step_hz = 1 if odd else 25_000
    frequency_hz = 500_000_000 + step_hz * int(random.integers(0, 3_000_000 // step_hz)) if wishes else None
    return Link(
        f"link {i}",
        str(random.choice(equipment)),
        str(random.choice(areas)),
        on,
        int(random.integers(1, 6)),
        frequency_hz,
        fixed=wishes and bool(random.random() < 0.5),
        planned=bool(random.random() < 0.95),
    )


def _random_foreign(i: int, random: np.random.Generator, areas: list[str], *, odd: bool) -> ForeignCarrier:
    step_hz = 1 if odd else 25_000
    return ForeignCarrier(
        f"stranger {i}",
        500_000_000 + step_hz * int(random.integers(0, 3_500_000 // step_hz)),
        [0, 300_001][i % 2],
        str(random.choice(areas)),
        int(random.integers(0, 200_000)),
        products=bool(random.random() < 0.6),
        protect=bool(random.random() < 0.5),
        product_width=i == 1,
    )
