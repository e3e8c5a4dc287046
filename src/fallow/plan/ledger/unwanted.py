"""What is unwanted at one receiver, entry by entry: its noise, the air, neighbours, products made in it and elsewhere.

Products in the receiver follow the third-order intercept point as in Rec. ITU-R SM.1134, each carrier less what the
receiver's input filter takes; the fifth-order intercept point is taken as high as the third-order one (common
practice). Products of transmitters follow what was measured of them, or is assumed: so many decibels below the carrier.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.carriers import Company
from fallow.plan.judge.footing import Footing
from fallow.plan.judge.products import AUDITED, FIFTH, THREE_CARRIERS, TWO_CARRIERS
from fallow.plan.ledger.ledger import Entry
from fallow.plan.ledger.product_levels import ProductsHeard, ProductSums, power_sum_dbm, rejection_db, total_mw
from fallow.plan.ledger.propagation import thermal_noise_dbm
from fallow.plan.wording import counted, exact_width
from fallow.show.receiver import Figures

__all__ = ["Reception", "Scene", "always_there", "disturbers"]

ABOVE_FLOOR_DB = 3.0  # a level nearer to the survey's floor than this may be the floor alone


@dataclass(frozen=True, eq=False)
class Reception:
    """One receiver. ``victim``: its carrier. Arrays over the carriers of the company: ``at_antenna_dbm`` their levels
    at its input (−inf for its own and for those not heard), ``front_end_db`` what its input filter takes from them.
    """

    victim: int
    figures: Figures
    at_antenna_dbm: NDArray[np.float64]
    front_end_db: NDArray[np.float64]

    @cached_property
    def inside_dbm(self) -> NDArray[np.float64]:
        """Levels behind the input filter, shape (carrier,)."""
        return self.at_antenna_dbm - self.front_end_db

    def lost_db(self, distance_hz: NDArray[np.int64]) -> NDArray[np.float64]:
        """What its selectivity takes at distances from its carrier [dB]."""
        return rejection_db(self.figures.selectivity, distance_hz)


@dataclass(frozen=True, eq=False)
class Scene:
    """Who is on with a victim and heard where it is, the victim among them: all carriers, those that mix, and the ones
    of these whose products are listed one by one.
    """

    name: str
    on: NDArray[np.intp]
    mixing: NDArray[np.intp]
    sums: ProductSums


def always_there(footing: Footing, figures: Figures) -> Iterator[Entry]:
    """The receiver's own noise; and what the surveys show in the link's window, where they tell a level in dBm."""
    level_dbm = thermal_noise_dbm(footing.equipment.bandwidth_hz, figures.noise_figure_db.value)
    text = f"the receiver's own, in {exact_width(footing.equipment.bandwidth_hz)}"
    yield Entry("noise", level_dbm, text, effects={"noise figure": 1.0})
    judged = footing.judged
    if judged is None or judged.level_dbm is None or footing.level_unit != "dBm":
        return
    floor_dbm = -math.inf if judged.floor_dbm is None else judged.floor_dbm
    only_floor = judged.level_dbm < floor_dbm + ABOVE_FLOOR_DB
    level_dbm = max(judged.level_dbm, floor_dbm) if only_floor else judged.level_dbm
    text = "at most; only the survey's own floor was seen" if only_floor else judged.verdict.word
    effects = {"air": 1.0, "antenna": 1.0}
    yield Entry("air", level_dbm + figures.antenna_dbi.value, text, is_bound=only_floor, effects=effects)


def disturbers(reception: Reception, company: Company, scene: Scene, mixing_db: NDArray[np.float64]) -> Iterator[Entry]:
    """What the other carriers of a scene do to a receiver. ``mixing_db``: of each carrier's transmitter, shape
    (carrier,), NaN for strangers.
    """
    yield from _neighbours(reception, company, scene)
    victim_hz = company.carriers[reception.victim].frequency_hz
    for form in AUDITED:
        levels = reception.inside_dbm[scene.sums.members]
        near = scene.sums.near(form, levels, victim_hz, reception.figures.reach_hz)
        yield from _made_in_receiver(reception, company, scene, near)
        if form != THREE_CARRIERS:
            yield from _made_in_transmitters(reception, company, near, mixing_db)


def _neighbours(reception: Reception, company: Company, scene: Scene) -> Iterator[Entry]:
    others = scene.on[scene.on != reception.victim]
    if not len(others):
        return
    distance_hz = np.abs(company.hz[others] - company.hz[reception.victim])
    lost_db = reception.lost_db(distance_hz)
    behind = reception.inside_dbm[others] - lost_db
    worst = int(np.argmax(behind))
    name, away_hz = company.carriers[others[worst]].name, int(distance_hz[worst])
    text = f"{counted(len(others), 'carrier')}; the strongest {name}, {exact_width(away_hz)} away"
    effects = _effects(1, 1.0, _mean_loss(behind, lost_db))
    yield Entry("neighbours", power_sum_dbm(behind), text, carriers=(name,), distance_hz=away_hz, effects=effects)


def _made_in_receiver(reception: Reception, company: Company, scene: Scene, near: ProductsHeard) -> Iterator[Entry]:
    """Products of one form made in the receiver: those near by one by one, all others as a sum."""
    form, figures = near.form, reception.figures
    made_db = form.level_dbm([0.0] * len(form.coefficients), figures.iip3_dbm.value)
    lost_db, last_db = reception.lost_db(near.distance_hz), float(reception.lost_db(np.array(figures.reach_hz)))
    before = 10 ** (near.level_dbm / 10)
    behind = before * 10 ** (-lost_db / 10)
    far = max(total_mw(form, reception.inside_dbm[scene.mixing]) - float(before.sum()), 0.0) * 10 ** (-last_db / 10)
    total = float(behind.sum()) + far
    if total <= 0:
        return
    k = np.abs(form.coefficients)
    mean_lost_db = (float((behind * lost_db).sum()) + far * last_db) / total  # no @: its threads cost more
    effects = _effects(form.order, float(np.sqrt((k**2).sum())), mean_lost_db)
    effects["intercept point"] = 1.0 - form.order
    level_dbm, reach = 10 * math.log10(total) + made_db, exact_width(figures.reach_hz)
    if not len(near.level_dbm):
        yield Entry(form.name, level_dbm, f"none within {reach}", "receiver", effects=effects)
        return
    worst = int(np.argmax(behind))
    makers, away_hz = near.makers(np.array([worst]))[0], int(near.distance_hz[worst])
    if figures.front_end_db.value > 0:
        effects["front end"] = -float(k @ reception.front_end_db[makers]) / figures.front_end_db.value
    names = _names(company, makers)
    text = f"{len(near.level_dbm):,} within {reach}; the strongest {form.worded(names)}, {_away(away_hz)}"
    yield Entry(form.name, level_dbm, text, "receiver", names, away_hz, effects=effects)


def _made_in_transmitters(
    reception: Reception, company: Company, near: ProductsHeard, mixing_db: NDArray[np.float64]
) -> Iterator[Entry]:
    """The strongest product that two transmitters of one area make when they come close to each other.

    One pair at a time: it is A that mixes B's signal with its own, and the product is as far below B as A's
    ``mixing_db`` says; of 3A−2B twice as far (common practice).
    """
    makers = near.makers()
    a, b = makers.T
    areas = company.areas
    together = company.ours[a] & company.ours[b] & (areas[a] == areas[b])
    if not together.any():
        return
    makers, distance_hz = makers[together], near.distance_hz[together]
    a, b = makers.T
    times = {TWO_CARRIERS: 1, FIFTH: 2}[near.form]
    lost_db = reception.lost_db(distance_hz)
    level = reception.at_antenna_dbm[b] - times * mixing_db[a] - lost_db
    worst = int(np.argmax(level))
    names, away_hz = _names(company, makers[worst]), int(distance_hz[worst])
    text = f"if {names[0]} comes close to {names[1]}: {near.form.worded(names)}, {_away(away_hz)}"
    effects = _effects(1, 1.0, float(lost_db[worst])) | {"mixing of transmitters": -float(times)}
    yield Entry(near.form.name, float(level[worst]), text, "transmitters", names, away_hz, effects=effects)


def _effects(order: int, places: float, lost_db: float) -> dict[str, float]:
    """How an entry of so many carriers moves with the inputs; with selectivity, a share, by all that is lost."""
    return {
        "path model": float(order),
        "antenna": float(order),
        "places of the others": places,
        "selectivity": -lost_db,
    }


def _mean_loss(levels: NDArray[np.float64], lost_db: NDArray[np.float64]) -> float:
    """What selectivity takes from a sum on average, by the power that is left of each part [dB]."""
    weight = 10 ** ((levels - levels.max()) / 10)
    return float((weight * lost_db).sum() / weight.sum())


def _names(company: Company, makers: NDArray[np.intp]) -> tuple[str, ...]:
    return tuple(company.carriers[i].name for i in makers.tolist())


def _away(distance_hz: int) -> str:
    return f"{exact_width(distance_hz)} away" if distance_hz else "exactly on it"
