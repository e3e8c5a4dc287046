"""Types of radio equipment: what they can tune to, how wide and strong they are, what distances they need."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fallow.units import Span

__all__ = ["Duplex", "Equipment", "Kind", "PowerKind", "Stated"]


class Kind(StrEnum):
    """What a radio link is for."""

    MICROPHONE = "microphone"
    IN_EAR = "in-ear"
    INTERCOM = "intercom"
    CUE = "cue"
    ASSISTIVE = "assistive"
    CAMERA = "camera"
    CONTROL = "control"
    DATA = "data"


class PowerKind(StrEnum):
    """Which power a figure states: radiated re isotropic, radiated re half-wave dipole, or at the antenna terminal."""

    EIRP = "eirp"
    ERP = "erp"
    CONDUCTED = "conducted"


@dataclass(frozen=True)
class Stated:
    """What the table says of the figures in ``receiver.Figures``; ``None`` or empty: nothing. ``source``: of them all.

    ``selectivity``: pairs of distance from the carrier [Hz] and rejection [dB], both rising.
    """

    distance_m: float | None = None
    nearest_m: float | None = None
    body_db: float | None = None
    fade_db: float | None = None
    noise_figure_db: float | None = None
    needed_db: float | None = None
    iip3_dbm: float | None = None
    front_end_db: float | None = None
    mixing_db: float | None = None
    antenna_dbi: float | None = None
    selectivity: tuple[tuple[int, float], ...] = ()
    source: str = ""


@dataclass(frozen=True)
class Duplex:
    """The way back of a link with two directions.

    ``offset_hz``: where it is from the way there, negative: below; ``None``: anywhere in ``ranges``, at least
    ``least_hz`` away [Hz].
    """

    offset_hz: int | None = None
    ranges: tuple[Span, ...] = ()
    least_hz: int = 0


@dataclass(frozen=True)
class Equipment:
    """One type of radio. Frequencies and distances in whole hertz, power in milliwatt.

    ``tuning`` are ranges of the carrier, edges included; ``step_hz`` counts from the lower end of each range. With
    ``presets_hz`` only these carriers exist (those inside ``tuning`` where it is given). A distance of ``None`` is not
    asked for. ``stated``: what its links hear and bear, as far as the table says it. ``product_width``: products keep
    their distance with their edges, not with their middles. ``duplex``: its links have a way back.
    """

    name: str
    kind: Kind
    tuning: tuple[Span, ...]
    step_hz: int
    presets_hz: tuple[int, ...]
    bandwidth_hz: int
    power_mw: float | None
    power_kind: PowerKind | None
    spacing_hz: int
    im3_hz: int | None
    im3_three_hz: int | None
    im5_hz: int | None
    stated: Stated = Stated()
    im7_hz: int | None = None
    product_width: bool = False
    duplex: Duplex | None = None
