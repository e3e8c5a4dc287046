"""How loud every carrier of a plan is at each receiver: modelled from power and distance, or measured.

The wanted carrier counts at its worst: farthest away, behind a body, in a fade. Every other one counts with its mean
power over the places where it may be, evenly between nearest and farthest; the spread stays in its uncertainty. What
areas lose counts in full.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.plan.judge.carriers import Carrier
from fallow.plan.judge.footing import Footing
from fallow.plan.judge.stage import Stage
from fallow.plan.ledger.propagation import eirp_dbm, free_space_db, mean_distance_m, spread_db
from fallow.show.equipment import Equipment
from fallow.show.receiver import Figures, figures_of

__all__ = ["Loudness", "Wanted"]

USUAL_EIRP_DBM = 17.0  # 50 mW: "typical transmitter 50 mW or less", ERC/REC 70-03 Annex 10 (draft)
PLACE_U_DB = 4.0  # scatter about the mean path: Rec. ITU-R P.1238-11, σ 3.76 dB (office, line of sight)
POWER_U_DB = 1.0  # of a stated power; common practice
FRONT_END_HZ = 20_000_000  # how far outside the tuning range a receiver's input filter does all it can; common practice
UNKNOWN_POWER_U_DB = 5.0  # of an assumed power; common practice


@dataclass(frozen=True)
class Wanted:
    """The wanted level of one link at its receiver's input, less its reserve for fading."""

    level_dbm: float
    is_measured: bool
    text: str


class Loudness:
    """Levels at the receivers' inputs [dBm] for the carriers of a stage, in its company's order.

    ``measured``: level of a carrier by its name, as received at the antenna of its own area, 0 dBi; it replaces what
    the model says of that carrier, for its own receiver and for those that stand beside it. ``at_nearest``: all others
    are as near as they come at once, which never happens, instead of anywhere between.
    """

    def __init__(self, stage: Stage, measured: Mapping[str, float] | None = None, *, at_nearest: bool = False) -> None:
        self.stage = stage
        self._at_nearest = at_nearest
        self.carriers = stage.company.carriers
        self._measured = measured or {}
        self._figures: dict[str, Figures] = {}
        powers = [_eirp_dbm(carrier) for carrier in self.carriers]
        self.known_power = np.array([power is not None for power in powers], dtype=np.bool_)
        eirp = np.array([USUAL_EIRP_DBM if power is None else power for power in powers], dtype=np.float64)
        self._at_a_metre_dbm = eirp - free_space_db(stage.company.hz, 1.0) if len(powers) else eirp
        self._measured_dbm = np.array([self._measured_level(carrier) for carrier in self.carriers], dtype=np.float64)
        told = self.known_power | ~np.isnan(self._measured_dbm)
        self._power_u_db = POWER_U_DB if told.all() else UNKNOWN_POWER_U_DB
        self._losses: dict[str, NDArray[np.float64]] = {}

    def figures(self, equipment: Equipment) -> Figures:
        """The figures of a type of radio, worked out once."""
        if equipment.name not in self._figures:
            self._figures[equipment.name] = figures_of(equipment)
        return self._figures[equipment.name]

    def wanted_at(self, victim: int, figures: Figures, at_hz: int) -> float:
        """The level of a link's own carrier if it stood elsewhere [dBm]."""
        here_dbm = self.wanted(victim, figures).level_dbm
        if not math.isnan(self._measured_dbm[victim]):
            return here_dbm
        here_db, there_db = free_space_db(np.array([self.stage.company.hz[victim], at_hz]), 1.0)
        return here_dbm + float(here_db - there_db)

    def wanted(self, victim: int, figures: Figures) -> Wanted:
        """The level of a link's own carrier, less its reserve for fading."""
        fade_db, gain_dbi = figures.fade_db.value, figures.antenna_dbi.value
        measured_dbm = float(self._measured_dbm[victim])
        if not math.isnan(measured_dbm):
            level_dbm = measured_dbm + gain_dbi - fade_db
            return Wanted(level_dbm, True, f"measured {measured_dbm:.1f} dBm, less {fade_db:g} dB for fading")
        distance_m, body_db = figures.distance_m.value, figures.body_db.value
        path_db = 20 * math.log10(distance_m) + body_db + fade_db
        level_dbm = float(self._at_a_metre_dbm[victim]) + gain_dbi - path_db
        text = f"from {distance_m:g} m, less {body_db:g} dB for the body and {fade_db:g} dB for fading"
        return Wanted(level_dbm, False, text)

    def others(self, victim: int, figures: Figures) -> NDArray[np.float64]:
        """Level of every carrier at a victim's receiver [dBm], shape (carrier,); −inf for itself and those that its
        area does not hear.
        """
        modelled = self._at_a_metre_dbm - 20 * math.log10(self._heard_from_m(figures))
        levels = np.where(np.isnan(self._measured_dbm), modelled, self._measured_dbm)
        levels = levels + figures.antenna_dbi.value - self._losses_db(self.carriers[victim].area)
        levels[victim] = -np.inf
        return levels

    def of_one(
        self, carrier: int, at_hz: int, of_kind: Sequence[tuple[Equipment, NDArray[np.intp]]]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """As ``others``, of one carrier that stands elsewhere, at all carriers of ours, ``of_kind`` being their types
        and who is of each; at the antenna and behind the input filter, both of shape (victim,).
        """
        count = sum(len(victims) for _, victims in of_kind)
        power_dbm = _eirp_dbm(self.carriers[carrier])
        metre_dbm = USUAL_EIRP_DBM if power_dbm is None else power_dbm
        metre_dbm -= float(free_space_db(np.array([at_hz]), 1.0)[0])
        measured_dbm = float(self._measured_dbm[carrier])
        at_antenna, filtered = np.empty(count), np.empty(count)
        for kind, victims in of_kind:
            figures = self.figures(kind)
            level_dbm = metre_dbm - 20 * math.log10(self._heard_from_m(figures))
            level_dbm = level_dbm if math.isnan(measured_dbm) else measured_dbm
            at_antenna[victims] = level_dbm + figures.antenna_dbi.value
            outside_hz = float(_outside_hz(kind, np.array([at_hz]))[0])
            filtered[victims] = figures.front_end_db.value * min(outside_hz / FRONT_END_HZ, 1.0)
        for area, there in self._victims_by_area(count).items():
            at_antenna[there] -= self._losses_db(area)[carrier]
        if carrier < count:
            at_antenna[carrier] = -np.inf
        return at_antenna, at_antenna - filtered

    def front_end_db(self, equipment: Equipment) -> NDArray[np.float64]:
        """What the filter before a receiver's first stage takes from every carrier [dB], shape (carrier,): nothing
        inside its tuning range, all that it can from ``FRONT_END_HZ`` outside on, a straight line between.
        """
        most_db = self.figures(equipment).front_end_db.value
        outside_hz = _outside_hz(equipment, self.stage.company.hz)
        return np.asarray(most_db * np.minimum(outside_hz / FRONT_END_HZ, 1.0))

    def place_u_db(self, figures: Figures) -> float:
        """Standard uncertainty [dB] of one other carrier's level: where it is, and how strong; all powers count as
        uncertain as the most uncertain one.
        """
        spread = spread_db(figures.nearest_m.value, max(figures.distance_m.value, figures.nearest_m.value))
        return math.hypot(PLACE_U_DB, spread, self._power_u_db, figures.nearest_m.u_db / 2, figures.distance_m.u_db / 2)

    def _heard_from_m(self, figures: Figures) -> float:
        """The distance that stands for all places where another carrier may be."""
        nearest_m, farthest_m = figures.nearest_m.value, figures.distance_m.value
        return nearest_m if self._at_nearest else mean_distance_m(nearest_m, farthest_m)

    def _victims_by_area(self, count: int) -> dict[str, list[int]]:
        """The first carriers, by their areas."""
        by_area: dict[str, list[int]] = {}
        for i, carrier in enumerate(self.carriers[:count]):
            by_area.setdefault(carrier.area, []).append(i)
        return by_area

    def _measured_level(self, carrier: Carrier) -> float:
        if carrier.name in self._measured:
            return self._measured[carrier.name]
        return math.nan if carrier.ours else self._surveyed(carrier)

    def _surveyed(self, stranger: Carrier) -> float:
        """What the surveys show where a foreign carrier stands; NaN where nothing tells it in dBm."""
        if not self.stage.footings:
            return math.nan
        window = replace(self.stage.footings[0].equipment, bandwidth_hz=max(stranger.bandwidth_hz, 1))
        footing = Footing.of(stranger, window, self.stage.ground)
        if footing.judged is None or footing.judged.level_dbm is None or footing.level_unit != "dBm":
            return math.nan
        return footing.judged.level_dbm

    def _losses_db(self, area: str) -> NDArray[np.float64]:
        """What every carrier loses on its way into an area [dB]; infinite where it is not heard."""
        if area not in self._losses:
            losses = self.stage.company.losses
            per_area = {
                other: losses.loss_db.get(frozenset((area, other)), 0.0) if losses.hears(area, other) else math.inf
                for other in {carrier.area for carrier in self.carriers}
            }
            self._losses[area] = np.array([per_area[carrier.area] for carrier in self.carriers], dtype=np.float64)
        return self._losses[area]


def _eirp_dbm(carrier: Carrier) -> float | None:
    return None if carrier.equipment is None else eirp_dbm(carrier.equipment)


def _outside_hz(equipment: Equipment, hz: NDArray[np.int64]) -> NDArray[np.int64]:
    """How far each carrier lies outside the tuning ranges (or presets) of a type of radio; 0 where it has none."""
    ends = [(span.low_hz, span.high_hz) for span in equipment.tuning]
    if not ends and equipment.presets_hz:
        ends = [(min(equipment.presets_hz), max(equipment.presets_hz))]
    outside = [np.maximum(np.maximum(low - hz, hz - high), 0) for low, high in ends]
    return np.minimum.reduce(outside) if outside else np.zeros(hz.shape, dtype=np.int64)
