"""The ledgers of a whole plan: who is on with whom in which scene, and what that leaves of each link's margin.

Not counted, because nothing known tells it: blocking and automatic gain, the skirts of transmitters beyond what the
selectivity allows for them, and the width of products.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.footing import Footing
from fallow.plan.judge.stage import Stage
from fallow.plan.ledger.ledger import Entry, Ledger, Risk, balance
from fallow.plan.ledger.loudness import POWER_U_DB, Loudness
from fallow.plan.ledger.product_levels import ProductSums, power_sum_dbm
from fallow.plan.ledger.unwanted import Reception, Scene, always_there, disturbers
from fallow.show.receiver import Figure, Figures

__all__ = ["Accounts", "accounts_of", "widest"]

LOUDEST = 300  # carriers whose products near a victim are listed; what softer ones make counts as a sum
PATH_U_DB = 3.0  # of the path model: line-of-sight cases of Rec. ITU-R P.1238-11 scatter 2.7 dB at 10 m, 3.3 at 25 m
PLACE_OF_LINK_U_DB = 4.0  # Rec. ITU-R P.1238-11, σ 3.76 dB (office, line of sight)
MEASURED_U_DB = 2.5  # of a level read from a pocket instrument or a receiver's meter, common practice
EFFECTS_ON_WANTED = {"path model": 1.0, "place of the link": 1.0, "body": -1.0, "antenna": 1.0}

Row = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Accounts:
    """Ledgers by the names of links and spares, in the order of the plan. ``without``: links whose power nobody states.

    ``assumed``: for each type of radio of the plan the figures that its ledgers assume.
    """

    ledgers: Mapping[str, Ledger]
    without: tuple[str, ...]
    assumed: Mapping[str, tuple[Figure, ...]]

    def risks_of(self, names: Collection[str]) -> tuple[Risk, ...]:
        """Links of these names by their margins, thinnest first."""
        mine = [one for one in self.ledgers.values() if one.link in names]
        mine.sort(key=lambda one: (one.margin_db, one.if_quiet_db, one.link))
        return tuple(Risk(one.link, one.margin_db, one.u_db, one.if_quiet_db, one.because) for one in mine)


def accounts_of(
    stage: Stage,
    measured: Mapping[str, float] | None = None,
    *,
    at_nearest: bool = False,
    only: Collection[str] | None = None,
) -> Accounts:
    """The ledger of every link and spare of a plan whose own power is known, or of those named in ``only``.

    ``measured``: levels [dBm] of carriers by their names, at the antenna of their area and re 0 dBi; they replace the
    modelled ones. All spares count as on. ``at_nearest``: with all others as near as they come at once.
    """
    office = _Office(stage, Loudness(stage, measured, at_nearest=at_nearest))
    ledgers = {}
    without = []
    for victim, footing in enumerate(stage.footings):
        if only is not None and footing.carrier.name not in only:
            continue
        if office.loudness.known_power[victim]:
            ledgers[footing.carrier.name] = office.ledger(victim, footing)
        else:
            without.append(footing.carrier.name)
    equipment = {footing.equipment.name: footing.equipment for footing in stage.footings}
    assumed = {name: office.loudness.figures(each).assumed for name, each in equipment.items()}
    return Accounts(ledgers, tuple(without), {name: told for name, told in assumed.items() if told})


class _Office:
    """Draws up the ledgers of one plan; victims of one area and the same scenes share who they hear."""

    def __init__(self, stage: Stage, loudness: Loudness) -> None:
        self.loudness = loudness
        self._company = stage.company
        self._carriers = stage.company.carriers
        self._scenes: dict[tuple[str, frozenset[str]], list[Scene]] = {}
        self._sums: dict[bytes, ProductSums] = {}
        self._mixes = np.array([carrier.mixes for carrier in self._carriers], dtype=np.bool_)
        kinds = [carrier.equipment for carrier in self._carriers]
        mixing = [math.nan if kind is None else loudness.figures(kind).mixing_db.value for kind in kinds]
        self._mixing_db = np.array(mixing, dtype=np.float64)

    def ledger(self, victim: int, footing: Footing) -> Ledger:
        """The account of one link in its worst scene."""
        figures = self.loudness.figures(footing.equipment)
        levels = self.loudness.others(victim, figures)
        reception = Reception(victim, figures, levels, self.loudness.front_end_db(footing.equipment))
        per_scene = {
            scene.name: list(disturbers(reception, self._company, scene, self._mixing_db))
            for scene in self._scenes_of(victim, levels)
        }
        scene = max(per_scene, key=lambda name: _total_dbm(per_scene[name]))
        u_of = self._uncertainties(figures, footing)
        unwanted = [_with_u(one, u_of) for one in (*always_there(footing, figures), *per_scene[scene])]
        entry = _with_u(self._wanted(victim, figures), u_of)
        closed = balance(footing.carrier.name, scene, entry, unwanted, figures.needed_db.value, u_of)
        heard = any(one.kind == "air" for one in unwanted)
        return replace(closed, is_deaf=footing.judged is not None and not heard)

    def _wanted(self, victim: int, figures: Figures) -> Entry:
        wanted = self.loudness.wanted(victim, figures)
        effects = {"measured level": 1.0} if wanted.is_measured else EFFECTS_ON_WANTED
        return Entry("wanted", wanted.level_dbm, wanted.text, effects=effects)

    def _uncertainties(self, figures: Figures, footing: Footing) -> dict[str, float]:
        return {
            "path model": PATH_U_DB,
            "place of the link": math.hypot(PLACE_OF_LINK_U_DB, POWER_U_DB, figures.distance_m.u_db),
            "places of the others": self.loudness.place_u_db(figures),
            "body": figures.body_db.u_db,
            "antenna": figures.antenna_dbi.u_db,
            "noise figure": figures.noise_figure_db.u_db,
            "intercept point": figures.iip3_dbm.u_db,
            "front end": figures.front_end_db.u_db,
            "selectivity": figures.selectivity_u_share,
            "mixing of transmitters": figures.mixing_db.u_db,
            "air": 0.0 if footing.judged is None else footing.judged.u_db or 0.0,
            "measured level": MEASURED_U_DB,
            "needed": figures.needed_db.u_db,
        }

    def _scenes_of(self, victim: int, levels: Row) -> list[Scene]:
        """The scenes of a victim, without those in which it hears nobody that it does not hear in another."""
        carrier = self._carriers[victim]
        key = carrier.area, carrier.scenes
        if key not in self._scenes:
            heard = levels > -np.inf
            heard[victim] = True
            names = sorted(carrier.scenes or {""}.union(*(one.scenes for one in self._carriers)))
            on = [(name, heard & [not one.scenes or name in one.scenes for one in self._carriers]) for name in names]
            self._scenes[key] = [self._scene(name, who, levels) for name, who in widest(on)]
        return self._scenes[key]

    def _scene(self, name: str, who: Mask, levels: Row) -> Scene:
        mixing = np.flatnonzero(who & self._mixes)
        listed = mixing
        if len(mixing) > LOUDEST:
            loud = np.where(np.isinf(levels), np.inf, levels)[mixing]  # the victim itself, as loud as its neighbours
            listed = np.sort(mixing[np.argsort(-loud, kind="stable")[:LOUDEST]])
        key = listed.tobytes()
        if key not in self._sums:
            self._sums[key] = ProductSums(self._company.hz[listed], listed)
        return Scene(name, np.flatnonzero(who), mixing, self._sums[key])


def _with_u(entry: Entry, u_of: Mapping[str, float]) -> Entry:
    squares = [(effect * u_of[name]) ** 2 for name, effect in entry.effects.items()]
    return replace(entry, u_db=math.sqrt(sum(squares)))


def _total_dbm(entries: list[Entry]) -> float:
    return power_sum_dbm(np.array([entry.level_dbm for entry in entries]))


def widest(on: list[tuple[str, Mask]]) -> list[tuple[str, Mask]]:
    """The scenes whose carriers are not all on in another one as well."""
    kept: list[tuple[str, Mask]] = []
    for name, who in sorted(on, key=lambda one: (-int(one[1].sum()), one[0])):
        if not any((who <= wider).all() for _, wider in kept):
            kept.append((name, who))
    return kept
