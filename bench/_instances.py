"""Planning problems with known answers, for benchmarks and tests. All places and areas are invented.

``rule_r``: spacing 350 kHz, 2A−B 100 kHz, A+B−C 50 kHz, 3A−2B 50 kHz on a raster of 25 kHz (common practice).
``blocked_band`` is 470 to 608 MHz without eight of its seventeen TV channels of 8 MHz. Areas stand at random in a
square and hear each other within 120 m.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fallow.show.equipment import Equipment, Kind
from fallow.show.link import AreaLosses, Link
from fallow.show.wanted import Wanted
from fallow.units import Span

STEP_HZ = 25_000
BLOCKED8 = (1, 3, 4, 8, 9, 11, 13, 15)
HEARING_M = 120.0
APART_M = 50.0


def rule_r(tuning: tuple[Span, ...], name: str = "rule R") -> Equipment:
    """Radios under rule R that tune to ``tuning``."""
    return Equipment(name, Kind.MICROPHONE, tuning, STEP_HZ, (), 200_000, 50.0, None, 350_000, 100_000, 50_000, 50_000)


def domain(low_khz: int, high_khz: int, blocked: tuple[tuple[int, int], ...] = ()) -> tuple[Span, ...]:
    """Ranges of carriers in [low, high] that keep 100 kHz from its edges and from the blocked intervals; all in kHz
    from 470 MHz.
    """
    edges = [low_khz, *[edge for interval in sorted(blocked) for edge in interval], high_khz]
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return tuple(Span(470_000_000 + 1000 * (a + 100), 470_000_000 + 1000 * (b - 100)) for a, b in pairs if b - a > 200)


def blocked_band() -> tuple[Span, ...]:
    """470 to 608 MHz where eight of seventeen TV channels are taken."""
    return domain(0, 138_000, tuple((8_000 * (i - 1), 8_000 * i) for i in BLOCKED8))


def areas(count: int, seed: int = 1) -> tuple[list[str], AreaLosses]:
    """Names of ``count`` areas, and which of them do not hear each other."""
    random, side = np.random.default_rng(seed), 70 * np.sqrt(count) + 60
    centres = [np.zeros(2)]
    while len(centres) < count:
        centre = random.uniform(0, side, 2)
        if min(np.hypot(*(centre - other)) for other in centres) >= APART_M:
            centres.append(centre)
    names = [f"area {i + 1}" for i in range(count)]
    apart = {
        frozenset((names[i], names[j]))
        for i in range(count)
        for j in range(i)
        if np.hypot(*(centres[i] - centres[j])) >= HEARING_M
    }
    return names, AreaLosses(frozenset(apart))


def show(n_links: int, n_areas: int, equipment: Equipment, n_scenes: int = 0) -> Wanted:
    """``n_links`` alike over ``n_areas`` areas and, where there are any, in one scene each."""
    names, losses = areas(n_areas)
    order = sorted(range(n_links), key=lambda i: i % n_areas)
    links = tuple(
        Link(
            f"link {i + 1}",
            equipment.name,
            names[i % n_areas],
            frozenset({f"scene {i // n_areas % n_scenes + 1}"}) if n_scenes else frozenset(),
        )
        for i in order
    )
    return Wanted(links, {equipment.name: equipment}, losses)


@dataclass(frozen=True)
class Instance:
    """A problem with the best number of links known and the most that any plan can place, both from earlier trials of
    ours.
    """

    name: str
    wanted: Wanted
    best_known: int
    upper: int


def instances() -> tuple[Instance, ...]:
    """Instances of rule R by size."""
    band = rule_r(blocked_band())
    return (
        Instance("B2 8 MHz, one area", show(14, 1, rule_r(domain(0, 8_000))), 12, 12),
        Instance("B4 24 MHz, one area", show(30, 1, rule_r(domain(0, 24_000))), 20, 25),
        Instance("B5 blocked band, one area", show(100, 1, band), 39, 54),
        Instance("B6 open band, one area", show(100, 1, rule_r(domain(0, 138_000))), 41, 59),
        Instance("B7 blocked band, 5 areas", show(100, 5, band), 96, 100),
        Instance("B8 blocked band, 5 areas, 500 links", show(500, 5, band), 115, 162),
        Instance("B9 blocked band, 20 areas", show(200, 20, band), 196, 200),
        Instance("B10 blocked band, 20 areas, 1000 links", show(1000, 20, band), 260, 378),
    )


def issue_instance() -> Wanted:
    """100 links over three areas in the blocked band."""
    return show(100, 3, rule_r(blocked_band()))


def without_three_carriers(wanted: Wanted) -> Wanted:
    """The same without the distance of A+B−C products."""
    return replace(wanted, equipment={name: replace(e, im3_three_hz=None) for name, e in wanted.equipment.items()})
