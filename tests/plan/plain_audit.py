"""The audit's plain twin: every choice of carriers and victim, one after the other, by the words of the rules alone.

It knows no table, no sorting and no bit mask, and takes n⁴ steps; it is here to be compared with, never to be quick.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations, permutations


@dataclass(frozen=True)
class On:
    """A carrier in words: ``needs`` maps the name of a form of product to the distance that is asked, in hertz; where
    ``edges`` count, from the edge of a product.
    """

    name: str
    hz: int
    area: str
    scenes: frozenset[str]
    ours: bool
    spacing_hz: int
    needs: tuple[tuple[str, int], ...]
    mixes: bool
    width_hz: int
    edges: bool


def carriers_in_words(rows, wanted):
    """Rows of a plan and foreign carriers as ``On``; rows are complete here."""
    found = []
    for row in rows:
        kind = wanted.equipment[row.equipment]
        needs = (("2A-B", kind.im3_hz), ("A+B-C", kind.im3_three_hz), ("3A-2B", kind.im5_hz), ("4A-3B", kind.im7_hz))
        asked = tuple((form, hz) for form, hz in needs if hz is not None and hz > 0)
        scenes = frozenset() if row.link.startswith("spare") else row.scenes
        wide = kind.bandwidth_hz, kind.product_width
        found.append(On(row.link, row.frequency_hz, row.area, scenes, True, kind.spacing_hz, asked, True, *wide))
    for other in wanted.foreign:
        guarded = other.protect and other.spacing_hz > 0
        asked = tuple((form, other.spacing_hz) for form in ("2A-B", "A+B-C", "3A-2B")) if guarded else ()
        found.append(
            On(
                other.name,
                other.frequency_hz,
                other.area,
                frozenset(),
                False,
                other.spacing_hz,
                asked,
                other.products,
                other.bandwidth_hz,
                other.product_width,
            )
        )
    return found


def hears(wanted, victim, carrier):
    apart = frozenset((victim.area, carrier.area)) in wanted.losses.apart
    return victim.area == "" or carrier.area == "" or victim.area == carrier.area or not apart


def in_one_scene(everybody, some):
    """Whether there is one scene, or the time outside all scenes, in which all of ``some`` are on."""
    named = {scene for one in everybody for scene in one.scenes}
    return any(all(not one.scenes or scene in one.scenes for one in some) for scene in (*named, None))


def compared_products(everybody, wanted):
    """Every product with each victim it is compared with: (form, makers in order, product, victim, distance asked, half
    the product's width where that counts).
    """
    for victim in everybody:
        for form, asked_hz in victim.needs:
            for makers, product_hz in _products(form, [one for one in everybody if one is not victim and one.mixes]):
                if not any(maker.ours for maker in makers):
                    continue
                if not all(hears(wanted, victim, maker) for maker in makers):
                    continue
                if in_one_scene(everybody, [victim, *makers]):
                    yield form, makers, product_hz, victim, asked_hz, _half_width_hz(form, makers, victim)


def _half_width_hz(form, makers, victim):
    """Half of so many times the width of each maker as it takes part in the product; rounded up."""
    times = {"2A-B": (2, 1), "A+B-C": (1, 1, 1), "3A-2B": (3, 2), "4A-3B": (4, 3)}[form]
    return math.ceil(sum(k * maker.width_hz for k, maker in zip(times, makers, strict=True)) / 2) if victim.edges else 0


def _products(form, mixing):
    if form == "2A-B":
        for a, b in permutations(mixing, 2):
            yield (a, b), 2 * a.hz - b.hz
    if form == "3A-2B":
        for a, b in permutations(mixing, 2):
            yield (a, b), 3 * a.hz - 2 * b.hz
    if form == "4A-3B":
        for a, b in permutations(mixing, 2):
            yield (a, b), 4 * a.hz - 3 * b.hz
    if form == "A+B-C":
        for a, b in combinations(mixing, 2):
            for c in mixing:
                if c is not a and c is not b:
                    first, second = sorted((a, b), key=lambda one: one.name)
                    yield (first, second, c), a.hz + b.hz - c.hz


def plain_audit(rows, wanted):
    """(conflicts as tuples in the order of the fields of a conflict without its text, pairs, products)."""
    everybody = carriers_in_words(rows, wanted)
    found, pairs, products = [], 0, 0
    for one, other in combinations(everybody, 2):
        if not (one.ours or other.ours) or not in_one_scene(everybody, [one, other]) or not hears(wanted, one, other):
            continue
        if one.ours and other.ours:
            needed_hz = max(one.spacing_hz, other.spacing_hz)
        else:
            needed_hz = other.spacing_hz
            if needed_hz == 0:
                continue
        pairs += 1
        distance_hz = abs(one.hz - other.hz)
        if distance_hz < needed_hz and other.ours:
            found.append(("spacing", None, tuple(sorted((one.name, other.name))), None, distance_hz, needed_hz))
        elif distance_hz < needed_hz:
            found.append(("foreign", one.name, (other.name,), None, distance_hz, needed_hz))
    for form, makers, product_hz, victim, asked_hz, half_hz in compared_products(everybody, wanted):
        products += 1
        distance_hz, needed_hz = abs(product_hz - victim.hz), asked_hz + half_hz
        if distance_hz < needed_hz:
            names = tuple(maker.name for maker in makers)
            found.append((form, victim.name, names, product_hz, distance_hz, needed_hz))
    return sorted(found, key=str), pairs, products
