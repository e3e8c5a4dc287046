"""Who stands on the air of a show, ours and strangers, as plain values; who meets whom.

The audit and the explanations look at a plan through this page; the search does not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.products import AUDITED, FIFTH, SEVENTH, THREE_CARRIERS, TWO_CARRIERS, Form, Neighbourhood
from fallow.plan.wording import mhz
from fallow.show.equipment import Equipment
from fallow.show.grouping import Groupings
from fallow.show.link import AreaLosses, ForeignCarrier

__all__ = ["Carrier", "Company", "product_distances_hz", "scene_bits"]

_WORD = 64
NO_RULES = Groupings()


@dataclass(frozen=True)
class Carrier:
    """A carrier with what it asks of others. ``equipment`` ``None``: a stranger.

    ``scenes`` empty: always on. ``spacing_hz``: distance that other carriers keep from it. ``product_distances_hz``:
    how far products of each form have to stay away; forms not named are not asked. ``mixes``: it takes part in
    products. ``bandwidth_hz``: occupied, 0 where it is not known. ``groups``: those that the table of links names.
    ``edges``: the distances asked are those of a product's nearer edge, not of its middle.
    """

    name: str
    frequency_hz: int
    area: str
    scenes: frozenset[str]
    equipment: Equipment | None
    spacing_hz: int
    product_distances_hz: Mapping[Form, int]
    mixes: bool
    bandwidth_hz: int = 0
    groups: frozenset[str] = frozenset()
    edges: bool = False

    @classmethod
    def of_ours(
        cls,
        name: str,
        equipment: Equipment,
        area: str,
        scenes: frozenset[str],
        frequency_hz: int,
        groups: frozenset[str] = frozenset(),
    ) -> Carrier:
        """A link or spare of ours; all of them mix."""
        distances = product_distances_hz(equipment)
        spacing_hz, width_hz = equipment.spacing_hz, equipment.bandwidth_hz
        edges = equipment.product_width
        return cls(name, frequency_hz, area, scenes, equipment, spacing_hz, distances, True, width_hz, groups, edges)

    @classmethod
    def of_stranger(cls, foreign: ForeignCarrier) -> Carrier:
        """A foreign carrier: always on. Where it is protected, products of all forms keep its spacing from it."""
        guarded = AUDITED if foreign.protect and foreign.spacing_hz > 0 else ()
        return cls(
            foreign.name,
            foreign.frequency_hz,
            foreign.area,
            frozenset(),
            None,
            foreign.spacing_hz,
            dict.fromkeys(guarded, foreign.spacing_hz),
            foreign.products,
            foreign.bandwidth_hz,
            edges=foreign.product_width,
        )

    @property
    def ours(self) -> bool:
        """Whether it is a link or spare of ours."""
        return self.equipment is not None

    @property
    def placed(self) -> str:
        """Name and place for people: ``vox 1 (470.125 MHz)``."""
        return f"{self.name} ({mhz(self.frequency_hz)})"

    def product_needs_hz(self, form: Form, makers: Sequence[Carrier]) -> int:
        """How far the middle of a product has to stay away that these make: the distance asked from its form and, where
        edges count, half its width.
        """
        widths_hz = [maker.bandwidth_hz for maker in makers]
        return self.product_distances_hz[form] + (form.half_width_hz(widths_hz) if self.edges else 0)


def product_distances_hz(equipment: Equipment) -> dict[Form, int]:
    """The distances that a receiver of this type asks for, by form of product; a distance of 0 asks for nothing."""
    asked = {
        TWO_CARRIERS: equipment.im3_hz,
        THREE_CARRIERS: equipment.im3_three_hz,
        FIFTH: equipment.im5_hz,
        SEVENTH: equipment.im7_hz,
    }
    return {form: hz for form, hz in asked.items() if hz}


class Company:
    """Carriers of a show together: who is on with whom, and who hears whom; and the rules about groups of them."""

    def __init__(self, carriers: Sequence[Carrier], losses: AreaLosses, groupings: Groupings = NO_RULES) -> None:
        self.carriers = tuple(carriers)
        self.losses = losses
        self.groupings = groupings
        self._neighbourhoods: dict[tuple[str, frozenset[str], bool], tuple[NDArray[np.intp], Neighbourhood]] = {}

    @cached_property
    def hz(self) -> NDArray[np.int64]:
        """Frequencies, shape (carrier,)."""
        return np.array([carrier.frequency_hz for carrier in self.carriers], dtype=np.int64)

    @cached_property
    def widths_hz(self) -> NDArray[np.int64]:
        """Occupied bandwidths, shape (carrier,), 0 where one is not known."""
        return np.array([carrier.bandwidth_hz for carrier in self.carriers], dtype=np.int64)

    @cached_property
    def ours(self) -> NDArray[np.bool_]:
        """Which carriers are ours, shape (carrier,)."""
        return np.array([carrier.ours for carrier in self.carriers], dtype=np.bool_)

    @cached_property
    def spacings_hz(self) -> NDArray[np.int64]:
        """The distance that other carriers keep from each, shape (carrier,)."""
        return np.array([carrier.spacing_hz for carrier in self.carriers], dtype=np.int64)

    @cached_property
    def areas(self) -> NDArray[np.intp]:
        """A number for each carrier's area, shape (carrier,); equal where the areas are."""
        numbers = {area: i for i, area in enumerate({carrier.area: None for carrier in self.carriers})}
        return np.array([numbers[carrier.area] for carrier in self.carriers], dtype=np.intp)

    @cached_property
    def _areas_meet(self) -> NDArray[np.bool_]:
        """Which areas hear each other, by the numbers of ``areas``."""
        names = list({carrier.area: None for carrier in self.carriers})
        met = [[self.losses.hears(one, other) for other in names] for one in names]
        return np.array(met, dtype=np.bool_).reshape(len(names), len(names))

    @cached_property
    def _mixes(self) -> NDArray[np.bool_]:
        return np.array([carrier.mixes for carrier in self.carriers], dtype=np.bool_)

    @cached_property
    def _always_on(self) -> bool:
        """Whether all carriers are."""
        return not any(carrier.scenes for carrier in self.carriers)

    @cached_property
    def scene_bits(self) -> NDArray[np.uint64]:
        """When each carrier is on, shape (carrier, word): a bit per named scene, and one for the time outside them all.

        A carrier without scenes has every bit. Carriers are on together in one scene when they all have one bit.
        """
        return scene_bits([carrier.scenes for carrier in self.carriers])

    def meet(self, one: int, other: int) -> bool:
        """Whether two carriers are on together in some scene and their areas hear each other."""
        a, b = self.carriers[one], self.carriers[other]
        on_together = not a.scenes or not b.scenes or bool(a.scenes & b.scenes)
        return on_together and self.losses.hears(a.area, b.area)

    def meeting(self, one: int) -> NDArray[np.bool_]:
        """Which carriers a carrier meets, as ``meet`` says it for two, itself included; shape (carrier,)."""
        on_together: NDArray[np.bool_] = (self.scene_bits & self.scene_bits[one]).any(axis=1)
        return np.asarray(on_together & self._areas_meet[self.areas[one], self.areas])

    def mixing_with(self, victim: int) -> NDArray[np.intp]:
        """Positions of the carriers that mix and that meet a victim, itself included if it mixes, shape (heard,)."""
        return np.flatnonzero(self._mixes & self.meeting(victim))

    def on_in_one_scene(self, makers: NDArray[np.intp], victim: int) -> NDArray[np.bool_]:
        """For each row of ``makers`` (shape (product, letter)): whether all of them and the victim share one scene."""
        if self._always_on:
            return np.ones(len(makers), dtype=np.bool_)
        shared: NDArray[np.uint64] = np.bitwise_and.reduce(self.scene_bits[makers], axis=1) & self.scene_bits[victim]
        return np.asarray(shared.any(axis=1), dtype=np.bool_)

    def product_hits(self, *, by_ours: bool = True) -> Iterator[tuple[int, Form, NDArray[np.intp]]]:
        """For each victim and form that it asks for: who makes the products that fall too near to it.

        Yields (position of the victim, form, positions of the makers as in ``products_near``).
        """
        for victim, carrier in enumerate(self.carriers):
            if by_ours or carrier.ours:
                for form, needed_hz in carrier.product_distances_hz.items():
                    yield victim, form, self.products_near(victim, form, needed_hz, by_ours=by_ours)

    def products_near(self, victim: int, form: Form, within_hz: int, *, by_ours: bool = True) -> NDArray[np.intp]:
        """Who makes the products of a form that fall less than ``within_hz`` from a victim; shape (product, letter).

        Where the victim minds edges, it is the nearer edge of the product that counts.

        The makers and the victim are all different, on together in one scene, and heard where the victim is. With
        ``by_ours`` at least one maker is ours. Without it none is: such a product is nobody's conflict, but worth
        knowing.
        """
        carrier = self.carriers[victim]
        mixing, neighbourhood = self._neighbourhood(victim, by_ours=by_ours)
        look = neighbourhood.edges_near if carrier.edges else neighbourhood.near
        makers = mixing[look(form, carrier.frequency_hz, within_hz)]
        makers = makers[(makers != victim).all(axis=1)]
        makers = makers[self.ours[makers].any(axis=1) == by_ours]
        return np.compress(self.on_in_one_scene(makers, victim), makers, axis=0)

    def _neighbourhood(self, victim: int, *, by_ours: bool) -> tuple[NDArray[np.intp], Neighbourhood]:
        """The carriers that mix and meet a victim, with their products; one for all victims of an area and scenes."""
        alike = self.carriers[victim].area, self.carriers[victim].scenes, by_ours
        if alike not in self._neighbourhoods:
            mixing = self.mixing_with(victim)
            mixing = mixing if by_ours else mixing[~self.ours[mixing]]
            self._neighbourhoods[alike] = mixing, Neighbourhood(self.hz[mixing], self.widths_hz[mixing])
        return self._neighbourhoods[alike]


def scene_bits(scenes: Sequence[frozenset[str]]) -> NDArray[np.uint64]:
    """One row of 64-bit words per set of scenes, see ``Company.scene_bits``; shape (set, word)."""
    bit = {name: i + 1 for i, name in enumerate(sorted(frozenset[str]().union(*scenes)))}
    rows = np.zeros((len(scenes), len(bit) // _WORD + 1), dtype=np.uint64)
    for row, names in zip(rows, scenes, strict=True):
        for i in [bit[name] for name in names] if names else range(len(bit) + 1):
            row[i // _WORD] |= np.uint64(1 << (i % _WORD))
    return rows
