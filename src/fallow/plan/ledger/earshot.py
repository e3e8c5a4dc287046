"""What every receiver of a plan hears, as arrays: who is on with it in which scene, and how loud.

A *row* is one victim in one of its scenes; those in which it hears nobody that it does not hear in another are left
out. Everything here follows ``accounts``, which draws up ledgers in words; the tests hold the two against each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.carriers import Company
from fallow.plan.judge.products import AUDITED, FIFTH, TWO_CARRIERS
from fallow.plan.ledger.accounts import widest
from fallow.plan.ledger.loudness import Loudness
from fallow.plan.ledger.product_levels import rejection_db
from fallow.show.equipment import Equipment

__all__ = ["TIMES_MIXED", "Earshot"]

Row = NDArray[np.float64]
Mask = NDArray[np.bool_]
Whole = NDArray[np.int64]

TIMES_MIXED = {AUDITED.index(TWO_CARRIERS): 1, AUDITED.index(FIFTH): 2}
"""How many times ``mixing_db`` below its second carrier two transmitters make a product, by form."""


@dataclass(frozen=True, eq=False)
class Earshot:
    """The receivers of V links of ours among n carriers, at first where ``company`` has them.

    ``victim``: of each row, shape (R,). ``audible``: who is on and heard, the victim itself left out, shape (R, n).
    """

    company: Company
    loudness: Loudness
    kinds: tuple[Equipment, ...]
    victim: NDArray[np.intp]
    audible: Mask

    @classmethod
    def of(cls, company: Company, loudness: Loudness) -> Earshot:
        """All links of ours of a company."""
        kinds = [carrier.equipment for carrier in company.carriers if carrier.equipment is not None]
        scenes = {""}.union(*(carrier.scenes for carrier in company.carriers))
        known: dict[tuple[str, frozenset[str]], list[Mask]] = {}
        victims, rows = [], []
        for victim, kind in enumerate(kinds):
            carrier = company.carriers[victim]
            key = carrier.area, carrier.scenes
            if key not in known:
                heard = loudness.others(victim, loudness.figures(kind)) > -np.inf
                heard[victim] = True
                on = [(name, heard & _on_in(company, name)) for name in sorted(carrier.scenes or scenes)]
                known[key] = [who for _, who in widest(on)]
            for who in known[key]:
                rows.append(who.copy())
                rows[-1][victim] = False
                victims.append(victim)
        audible = np.array(rows, dtype=np.bool_).reshape(len(rows), len(company.carriers))
        return cls(company, loudness, tuple(kinds), np.array(victims, dtype=np.intp), audible)

    @cached_property
    def mixing(self) -> Mask:
        """Who of them takes part in products, shape (R, n)."""
        mixes = np.array([carrier.mixes for carrier in self.company.carriers], dtype=np.bool_)
        return self.audible & mixes

    @cached_property
    def mixing_db(self) -> Row:
        """Of each carrier's transmitter, NaN for strangers, shape (n,)."""
        strangers = [math.nan] * (len(self.company.carriers) - len(self.kinds))
        return np.array([self.loudness.figures(kind).mixing_db.value for kind in self.kinds] + strangers)

    @cached_property
    def of_kind(self) -> list[tuple[Equipment, NDArray[np.intp]]]:
        """Each type of radio with its victims."""
        kinds = list(dict.fromkeys(self.kinds))
        return [(kind, np.array([i for i, one in enumerate(self.kinds) if one == kind])) for kind in kinds]

    @cached_property
    def made(self) -> Row:
        """Milliwatts that a receiver makes of one milliwatt to the power of the order, shape (V, form)."""
        made_db = [
            [form.level_dbm([0.0] * len(form.coefficients), figures.iip3_dbm.value) for form in AUDITED]
            for figures in map(self.loudness.figures, self.kinds)
        ]
        return np.asarray(10 ** (np.array(made_db).reshape(-1, len(AUDITED)) / 10))

    @cached_property
    def reach_hz(self) -> Whole:
        """How far from each victim products are looked at one by one, shape (V,)."""
        return np.array([self.loudness.figures(kind).reach_hz for kind in self.kinds], dtype=np.int64)

    @cached_property
    def beyond(self) -> Row:
        """The share of what falls beyond that a receiver lets through, shape (V,)."""
        return self.passed(np.arange(len(self.kinds)), self.reach_hz)

    def passed(self, victims: NDArray[np.intp] | Whole, distance_hz: Whole) -> Row:
        """The share of a power at a distance that each victim's selectivity lets through; the shapes are alike."""
        lost_db = np.zeros(distance_hz.shape)
        for kind, who in self.of_kind:
            chosen = np.isin(victims, who) if len(self.of_kind) > 1 else np.ones(victims.shape, dtype=np.bool_)
            lost_db[chosen] = rejection_db(self.loudness.figures(kind).selectivity, distance_hz[chosen])
        return np.asarray(10 ** (-lost_db / 10))

    def levels_dbm(self) -> tuple[Row, Row]:
        """Of every carrier at every victim, at its antenna and behind its input filter, both of shape (V, n)."""
        figures = [self.loudness.figures(kind) for kind in self.kinds]
        at_antenna = [self.loudness.others(victim, each) for victim, each in enumerate(figures)]
        filtered = [self.loudness.front_end_db(kind) for kind in self.kinds]
        shape = len(self.kinds), len(self.company.carriers)
        levels = np.array(at_antenna).reshape(shape)
        return levels, levels - np.array(filtered).reshape(shape)

    def levels_of_one_dbm(self, carrier: int, at_hz: int) -> tuple[Row, Row]:
        """The same of one carrier that stands elsewhere, both of shape (V,)."""
        return self.loudness.of_one(carrier, at_hz, self.of_kind)


def _on_in(company: Company, scene: str) -> Sequence[bool]:
    return [not one.scenes or scene in one.scenes for one in company.carriers]
