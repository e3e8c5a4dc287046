"""What a type of radio hears and bears: the figures that a link's account in decibels rests on, stated or assumed.

A table of equipment may state any of them. What it does not state is assumed by the kind of radio; each assumption has
a standard uncertainty and a source, and whoever uses one shows it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

from fallow.show.equipment import Equipment, Kind, Stated

__all__ = ["Figure", "Figures", "figures_of"]


@dataclass(frozen=True)
class Figure:
    """One number by the name of its column, with its standard uncertainty in dB; ``is_stated``: by the table.

    The uncertainty of a distance is that of its path loss. ``shown``: how it is written in the table.
    """

    name: str
    value: float
    u_db: float
    source: str
    is_stated: bool
    shown: str


@dataclass(frozen=True)
class Figures:
    """All figures of one type of radio.

    ``distance_m``: how far away the link's transmitter is at most. ``nearest_m``: how near any other transmitter comes
    to its receiver's antenna. ``body_db``: what the body of who carries it takes. ``fade_db``: reserve for fading.
    ``needed_db``: how far the wanted level has to stand above all that is unwanted. ``iip3_dbm``: third-order
    intercept point at the receiver's input. ``front_end_db``: what the filter before that takes from carriers 20 MHz or
    more outside the tuning range. ``mixing_db``: how far below the carriers a 2A−B product of two
    transmitters close together is radiated. ``antenna_dbi``: gain of the receiving antenna less its cable.
    ``selectivity``: pairs of distance from the carrier [Hz] and rejection [dB], both rising; straight lines between
    them, 0 dB on the carrier, and beyond the last pair its rejection. ``selectivity_db``: the last rejection; a nearer
    one is uncertain in proportion.
    """

    distance_m: Figure
    nearest_m: Figure
    body_db: Figure
    fade_db: Figure
    noise_figure_db: Figure
    needed_db: Figure
    iip3_dbm: Figure
    front_end_db: Figure
    mixing_db: Figure
    antenna_dbi: Figure
    selectivity_db: Figure
    selectivity: tuple[tuple[int, float], ...]

    @property
    def reach_hz(self) -> int:
        """How far from the carrier products are looked at one by one: where ``FAR_DB`` are rejected, or to the end."""
        return next((hz for hz, db in self.selectivity if db >= FAR_DB), self.selectivity[-1][0])

    @property
    def assumed(self) -> tuple[Figure, ...]:
        """The figures that nobody stated, in the order of the fields."""
        values = [getattr(self, field.name) for field in fields(self)]
        return tuple(value for value in values if isinstance(value, Figure) and not value.is_stated)

    @property
    def selectivity_u_share(self) -> float:
        """Standard uncertainty of the selectivity as a share of what it rejects."""
        return self.selectivity_db.u_db / self.selectivity_db.value if self.selectivity_db.value else 0.0


FAR_DB = 80.0  # rejection beyond which single products no longer matter
PRACTICE = "common practice"
BODY = "median of a body-worn transmitter in UHF, from memory"
NOISE = "a receiver's usual noise figure, common practice"
COUPLED = "free space over 1 m at 600 MHz (Rec. ITU-R P.525) and 20 dB lost in the output stage, which is assumed"
MASK = "an assumed receiver filter, common practice"

_ASSUMED: Mapping[str, tuple[float, float, str]] = {  # value, standard uncertainty [dB], source
    "distance_m": (40.0, 3.0, PRACTICE),
    "nearest_m": (10.0, 3.0, PRACTICE),
    "body_db": (10.0, 4.0, BODY),
    "fade_db": (20.0, 0.0, PRACTICE),
    "noise_figure_db": (8.0, 2.0, NOISE),
    "needed_db": (20.0, 3.0, PRACTICE),
    "iip3_dbm": (-5.0, 5.0, PRACTICE),
    "front_end_db": (20.0, 6.0, PRACTICE),
    "mixing_db": (48.0, 10.0, COUPLED),
    "antenna_dbi": (0.0, 3.0, PRACTICE),
}
_BY_KIND: Mapping[Kind, Mapping[str, float]] = {  # where a kind differs from the microphone above; common practice
    Kind.IN_EAR: {"nearest_m": 5.0, "iip3_dbm": -10.0, "antenna_dbi": -5.0},
    Kind.INTERCOM: {"distance_m": 60.0, "nearest_m": 3.0},
    Kind.CUE: {"distance_m": 80.0, "nearest_m": 3.0, "antenna_dbi": -3.0},
    Kind.ASSISTIVE: {"nearest_m": 5.0, "iip3_dbm": -10.0, "antenna_dbi": -5.0},
    Kind.CAMERA: {"distance_m": 60.0, "body_db": 3.0, "needed_db": 15.0},
    Kind.CONTROL: {"nearest_m": 3.0, "body_db": 0.0, "needed_db": 15.0},
    Kind.DATA: {"nearest_m": 3.0, "body_db": 0.0, "needed_db": 15.0},
}
_STATED_U_DB: Mapping[str, float] = {  # of a figure that the table states; common practice
    "distance_m": 1.0,
    "nearest_m": 1.0,
    "body_db": 2.0,
    "fade_db": 0.0,
    "noise_figure_db": 1.0,
    "needed_db": 1.0,
    "iip3_dbm": 2.0,
    "front_end_db": 3.0,
    "mixing_db": 5.0,
    "antenna_dbi": 1.0,
}
_ASSUMED_MASK = (
    (0.5, 20.0),
    (1.0, 40.0),
    (1.5, 55.0),
    (1.75, 70.0),
    (3.0, 85.0),
    (10.0, 100.0),
)  # of the bandwidth; dB
_ASSUMED_U_SHARE, _STATED_U_SHARE = 0.1, 0.05  # of the rejection; common practice


def figures_of(equipment: Equipment) -> Figures:
    """The figures of a type of radio: what its table states, the rest assumed by its kind."""
    numbers = {name: _figure(name, equipment.stated, equipment.kind) for name in _ASSUMED}
    mask, selectivity = _selectivity(equipment)
    return Figures(**numbers, selectivity_db=selectivity, selectivity=mask)


def _figure(name: str, stated: Stated, kind: Kind) -> Figure:
    value: float | None = getattr(stated, name)
    if value is not None:
        return Figure(name, value, _STATED_U_DB[name], _source(stated), True, f"{value:g}")
    usual, u_db, source = _ASSUMED[name]
    of_kind = _BY_KIND.get(kind, {})
    assumed = of_kind.get(name, usual)
    if name == "nearest_m" and stated.distance_m is not None:
        assumed = min(assumed, stated.distance_m)  # never beyond the farthest
    return Figure(name, assumed, u_db, PRACTICE if name in of_kind else source, False, f"{assumed:g}")


def _selectivity(equipment: Equipment) -> tuple[tuple[tuple[int, float], ...], Figure]:
    stated = equipment.stated
    mask = stated.selectivity or _assumed_mask(equipment)
    shown, last_db = ";".join(f"{hz / 1000:g}:{db:g}" for hz, db in mask), mask[-1][1]
    share = _STATED_U_SHARE if stated.selectivity else _ASSUMED_U_SHARE
    source = _source(stated) if stated.selectivity else MASK
    return mask, Figure("selectivity_db", last_db, share * last_db, source, bool(stated.selectivity), shown)


def _source(stated: Stated) -> str:
    return stated.source or "stated in the table of equipment"


def _assumed_mask(equipment: Equipment) -> tuple[tuple[int, float], ...]:
    return tuple((round(share * equipment.bandwidth_hz), db) for share, db in _ASSUMED_MASK)
