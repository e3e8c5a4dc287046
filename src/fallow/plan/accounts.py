"""The ledgers of a whole plan: who is on with whom in which scene, how loud, and what that makes at each receiver.

Not counted, because nothing known tells it: blocking and automatic gain, the skirts of transmitters beyond what the
selectivity allows for them, and the width of products.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.plan.footing import Footing
from fallow.plan.ledger import Entry, Ledger, Risk, balance
from fallow.plan.loudness import POWER_U_DB, Loudness
from fallow.plan.product_levels import ProductsHeard, ProductSums, power_sum_dbm, rejection_db, total_mw
from fallow.plan.products import AUDITED, FIFTH, THREE_CARRIERS, TWO_CARRIERS
from fallow.plan.propagation import thermal_noise_dbm
from fallow.plan.stage import Stage
from fallow.plan.wording import counted, exact_width
from fallow.show.receiver import Figures

__all__ = ["Accounts", "accounts_of"]

LOUDEST = 300  # carriers whose products near a victim are listed; what softer ones make counts as a sum
PATH_U_DB = 3.0  # of the path model as a whole: spread of the cases of Rec. ITU-R P.1238-11 at 10 to 25 m
PLACE_OF_LINK_U_DB = 4.0  # Rec. ITU-R P.1238-11, σ 3.76 dB (office, line of sight)
MEASURED_U_DB = 2.5  # of a level read from a pocket instrument or a receiver's meter, common practice
ABOVE_FLOOR_DB = 3.0  # a level nearer to the survey's floor than this may be the floor alone


@dataclass(frozen=True)
class Accounts:
    """Ledgers by the names of links and spares, in the order of the plan. ``without``: links whose power nobody states.

    ``assumed``: for each type of radio of the plan what its ledgers assume, in words.
    """

    ledgers: Mapping[str, Ledger]
    without: tuple[str, ...]
    assumed: Mapping[str, tuple[str, ...]]

    def risks_of(self, names: Collection[str]) -> tuple[Risk, ...]:
        """Links of these names by their margins, thinnest first."""
        mine = [one for one in self.ledgers.values() if one.link in names]
        mine.sort(key=lambda one: (one.margin_db, one.if_quiet_db, one.link))
        return tuple(Risk(one.link, one.margin_db, one.u_db, one.if_quiet_db, one.because) for one in mine)


def accounts_of(stage: Stage, measured: Mapping[str, float] | None = None) -> Accounts:
    """The ledger of every link and spare of a plan whose own power is known.

    ``measured``: levels [dBm] of carriers by their names, at the antenna of their area and re 0 dBi; they replace the
    modelled ones. All spares count as on.
    """
    office = _Office(stage, Loudness(stage, measured))
    ledgers = {}
    without = []
    for victim, footing in enumerate(stage.footings):
        if office.loudness.known_power[victim]:
            ledgers[footing.carrier.name] = office.ledger(victim, footing)
        else:
            without.append(footing.carrier.name)
    equipment = {footing.equipment.name: footing.equipment for footing in stage.footings}
    assumed = {name: _assumed(office.loudness.figures(each)) for name, each in equipment.items()}
    return Accounts(ledgers, tuple(without), {name: told for name, told in assumed.items() if told})


def _assumed(figures: Figures) -> tuple[str, ...]:
    told = [figure.text for figure in figures.assumed]
    if not figures.selectivity_is_stated:
        points = ";".join(f"{hz / 1000:g}:{db:g}" for hz, db in figures.selectivity)
        told.append(
            f"selectivity_db {points} (± {figures.selectivity_u_share * 100:g} % of it, {figures.selectivity_source})"
        )
    return tuple(told)


@dataclass(frozen=True, eq=False)
class _Scene:
    """Who is on with a victim and heard where it is: all carriers, and those that mix (the victim's own among them)."""

    name: str
    on: NDArray[np.intp]
    sums: ProductSums
    mixing: NDArray[np.intp]


class _Office:
    """Draws up the ledgers of one plan; victims of one area and the same scenes share who they hear."""

    def __init__(self, stage: Stage, loudness: Loudness) -> None:
        self.loudness = loudness
        self._company = stage.company
        self._scenes: dict[tuple[str, frozenset[str]], list[_Scene]] = {}
        self._sums: dict[bytes, ProductSums] = {}
        self._ours = stage.company.ours
        self._mixes = np.array([carrier.mixes for carrier in stage.company.carriers], dtype=np.bool_)
        areas = {carrier.area: i for i, carrier in enumerate(stage.company.carriers)}
        self._area = np.array([areas[carrier.area] for carrier in stage.company.carriers])
        mixing = [
            math.nan if carrier.equipment is None else loudness.figures(carrier.equipment).mixing_db.value
            for carrier in stage.company.carriers
        ]
        self._mixing_db = np.array(mixing, dtype=np.float64)

    def ledger(self, victim: int, footing: Footing) -> Ledger:
        """The account of one link in its worst scene."""
        figures = self.loudness.figures(footing.equipment)
        levels = self.loudness.others(victim, figures)
        steady = [_noise(footing, figures), *self._air(footing, figures)]
        per_scene = [
            (scene, list(self._disturbers(victim, figures, levels, scene))) for scene in self._on(victim, levels)
        ]
        scene, entries = max(per_scene, key=lambda one: _total_dbm(one[1]))
        wanted = self.loudness.wanted(victim, figures)
        effects = {"measured level": 1.0} if wanted.is_measured else _EFFECTS_ON_WANTED
        u_of = self._uncertainties(figures, footing)
        entry = Entry("wanted", wanted.level_dbm, _u_db(effects, u_of), wanted.text, effects=effects)
        unwanted = [_with_u(one, u_of) for one in (*steady, *entries)]
        return balance(footing.carrier.name, scene.name, entry, unwanted, figures.needed_db.value, u_of)

    def _uncertainties(self, figures: Figures, footing: Footing) -> dict[str, float]:
        return {
            "path model": PATH_U_DB,
            "place of the link": math.hypot(PLACE_OF_LINK_U_DB, POWER_U_DB, figures.distance_m.u),
            "places of the others": self.loudness.place_u_db(figures),
            "body": figures.body_db.u,
            "antenna": figures.antenna_dbi.u,
            "noise figure": figures.noise_figure_db.u,
            "intercept point": figures.iip3_dbm.u,
            "selectivity": figures.selectivity_u_share,
            "mixing of transmitters": figures.mixing_db.u,
            "air": (footing.judged.u_db or 0.0) if footing.judged is not None else 0.0,
            "measured level": MEASURED_U_DB,
            "needed": figures.needed_db.u,
        }

    def _air(self, footing: Footing, figures: Figures) -> Iterator[Entry]:
        """What the surveys show in the link's own window; nothing where they tell no level in dBm."""
        judged = footing.judged
        if judged is None or judged.level_dbm is None or footing.level_unit != "dBm":
            return
        floor_dbm = judged.floor_dbm
        only_floor = floor_dbm is not None and judged.level_dbm < floor_dbm + ABOVE_FLOOR_DB
        level_dbm = max(judged.level_dbm, floor_dbm) if only_floor and floor_dbm is not None else judged.level_dbm
        text = "at most: no more than the survey's own floor was seen" if only_floor else f"{judged.verdict.word}"
        level_dbm += figures.antenna_dbi.value
        yield Entry("air", level_dbm, 0.0, text, is_bound=only_floor, effects={"air": 1.0, "antenna": 1.0})

    def _on(self, victim: int, levels: NDArray[np.float64]) -> list[_Scene]:
        """The scenes of a victim, without those in which it hears nobody that it does not hear in another."""
        carrier = self._company.carriers[victim]
        key = carrier.area, carrier.scenes
        if key not in self._scenes:
            heard = levels > -np.inf
            heard[victim] = True
            names = sorted(carrier.scenes or {""}.union(*(one.scenes for one in self._company.carriers)))
            on = [
                (name, heard & [not one.scenes or name in one.scenes for one in self._company.carriers])
                for name in names
            ]
            self._scenes[key] = [self._scene(name, who, levels) for name, who in _widest(on)]
        return self._scenes[key]

    def _scene(self, name: str, who: NDArray[np.bool_], levels: NDArray[np.float64]) -> _Scene:
        mixing = np.flatnonzero(who & self._mixes)
        listed = mixing
        if len(mixing) > LOUDEST:
            base = np.where(np.isinf(levels), np.inf, levels)  # the victim itself, as loud as its neighbours
            listed = np.sort(mixing[np.argsort(-base[mixing], kind="stable")[:LOUDEST]])
        key = listed.tobytes()
        if key not in self._sums:
            self._sums[key] = ProductSums(self._company.hz[listed], listed)
        return _Scene(name, np.flatnonzero(who), self._sums[key], mixing)

    def _disturbers(self, victim: int, figures: Figures, levels: NDArray[np.float64], scene: _Scene) -> Iterator[Entry]:
        yield from self._neighbours(victim, figures, levels, scene)
        victim_hz = self._company.carriers[victim].frequency_hz
        for form in AUDITED:
            near = scene.sums.near(form, levels[scene.sums.members], victim_hz, figures.reach_hz)
            yield from self._in_receiver(near, figures, levels[scene.mixing])
            if form != THREE_CARRIERS:
                yield from self._in_transmitters(near, figures, levels)

    def _neighbours(self, victim: int, figures: Figures, levels: NDArray[np.float64], scene: _Scene) -> Iterator[Entry]:
        others = scene.on[scene.on != victim]
        if not len(others):
            return
        distance_hz = np.abs(self._company.hz[others] - self._company.carriers[victim].frequency_hz)
        lost_db = rejection_db(figures.selectivity, distance_hz)
        behind = levels[others] - lost_db
        worst = int(np.argmax(behind))
        name, away_hz = self._company.carriers[others[worst]].name, int(distance_hz[worst])
        text = f"{counted(len(others), 'carrier')}; the strongest {name}, {exact_width(away_hz)} away"
        effects = _effects(1, 1.0, _mean_rejection(behind, lost_db))
        yield Entry("neighbours", power_sum_dbm(behind), 0.0, text, None, (name,), away_hz, effects=effects)

    def _in_receiver(self, near: ProductsHeard, figures: Figures, levels: NDArray[np.float64]) -> Iterator[Entry]:
        """Products of one form made in the receiver: those near by one by one, all others as a sum."""
        form, reach_hz = near.form, figures.reach_hz
        made_db = form.level_dbm([0.0] * len(form.coefficients), figures.iip3_dbm.value)
        lost_db = rejection_db(figures.selectivity, near.distance_hz)
        behind = near.level_dbm + made_db - lost_db
        far_mw = max(total_mw(form, levels) - float((10 ** (near.level_dbm / 10)).sum()), 0.0)
        last_db = float(rejection_db(figures.selectivity, np.array(reach_hz)))
        far_dbm = 10 * math.log10(far_mw) + made_db - last_db if far_mw > 0 else -math.inf
        parts, lost_db = np.append(behind, far_dbm), np.append(lost_db, last_db)
        if parts.max() == -np.inf:
            return
        k = np.array(form.coefficients)
        effects = _effects(form.order, float(np.sqrt((k**2).sum())), _mean_rejection(parts, lost_db))
        effects["intercept point"] = 1.0 - form.order
        level_dbm = power_sum_dbm(parts)
        if not len(behind):
            text = f"none within {exact_width(reach_hz)}"
            yield Entry(form.name, level_dbm, 0.0, text, "receiver", effects=effects)
            return
        worst = int(np.argmax(behind))
        names, away_hz = self._names(near.makers(np.array([worst]))[0]), int(near.distance_hz[worst])
        text = f"{len(behind):,} within {exact_width(reach_hz)}; the strongest {form.worded(names)}, {_away(away_hz)}"
        yield Entry(form.name, level_dbm, 0.0, text, "receiver", names, away_hz, effects=effects)

    def _in_transmitters(self, near: ProductsHeard, figures: Figures, levels: NDArray[np.float64]) -> Iterator[Entry]:
        """The strongest product that two transmitters of one area make when they come close to each other.

        One pair at a time: it is A that mixes B's signal with its own, and the product is as far below B as A's
        ``mixing_db`` says; of 3A−2B twice as far (common practice).
        """
        makers = near.makers()
        a, b = makers.T
        together = self._ours[a] & self._ours[b] & (self._area[a] == self._area[b])
        if not together.any():
            return
        a, b, distance_hz = a[together], b[together], near.distance_hz[together]
        times = {TWO_CARRIERS: 1, FIFTH: 2}[near.form]
        lost_db = rejection_db(figures.selectivity, distance_hz)
        behind = levels[b] - times * self._mixing_db[a] - lost_db
        worst = int(np.argmax(behind))
        names, away_hz = self._names(makers[together][worst]), int(distance_hz[worst])
        text = f"if {names[0]} comes close to {names[1]}: {near.form.worded(names)}, {_away(away_hz)}"
        effects = _effects(1, 1.0, float(lost_db[worst])) | {"mixing of transmitters": -float(times)}
        yield Entry(near.form.name, float(behind[worst]), 0.0, text, "transmitters", names, away_hz, effects=effects)

    def _names(self, makers: NDArray[np.intp]) -> tuple[str, ...]:
        return tuple(self._company.carriers[i].name for i in makers.tolist())


_EFFECTS_ON_WANTED = {"path model": 1.0, "place of the link": 1.0, "body": -1.0, "antenna": 1.0}


def _effects(order: int, places: float, lost_db: float) -> dict[str, float]:
    """How an entry of so many carriers' powers moves with the inputs; its selectivity by the rejection itself."""
    return {
        "path model": float(order),
        "antenna": float(order),
        "places of the others": places,
        "selectivity": -lost_db,
    }


def _mean_rejection(levels: NDArray[np.float64], lost_db: NDArray[np.float64]) -> float:
    """What selectivity takes from a sum on average, by the power that is left of each part [dB]."""
    weight = 10 ** ((levels - levels.max()) / 10)
    return float((weight * lost_db).sum() / weight.sum())


def _noise(footing: Footing, figures: Figures) -> Entry:
    level_dbm = thermal_noise_dbm(footing.equipment.bandwidth_hz, figures.noise_figure_db.value)
    text = f"the receiver's own, in {exact_width(footing.equipment.bandwidth_hz)}"
    return Entry("noise", level_dbm, 0.0, text, effects={"noise figure": 1.0})


def _u_db(effects: Mapping[str, float], u_of: Mapping[str, float]) -> float:
    return math.sqrt(sum((effect * u_of[name]) ** 2 for name, effect in effects.items()))


def _with_u(entry: Entry, u_of: Mapping[str, float]) -> Entry:
    u_db = _u_db(entry.effects, u_of)
    return Entry(
        entry.kind,
        entry.level_dbm,
        u_db,
        entry.text,
        entry.made_in,
        entry.carriers,
        entry.distance_hz,
        entry.is_bound,
        entry.effects,
    )


def _total_dbm(entries: list[Entry]) -> float:
    return power_sum_dbm(np.array([entry.level_dbm for entry in entries]))


def _away(distance_hz: int) -> str:
    return f"{exact_width(distance_hz)} away" if distance_hz else "exactly on it"


def _widest(on: list[tuple[str, NDArray[np.bool_]]]) -> list[tuple[str, NDArray[np.bool_]]]:
    """The scenes whose carriers are not all on in another one as well."""
    kept: list[tuple[str, NDArray[np.bool_]]] = []
    for name, who in sorted(on, key=lambda one: (-int(one[1].sum()), one[0])):
        if not any((who <= wider).all() for _, wider in kept):
            kept.append((name, who))
    return kept
