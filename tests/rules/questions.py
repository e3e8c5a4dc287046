"""Invented equipment, and questions to the rules in a line each."""

from __future__ import annotations

import datetime

from fallow.files.territories import load_territory
from fallow.rules.permission import Permission, may
from fallow.rules.territory import Answer, Circumstances
from fallow.show.equipment import Equipment, Kind, PowerKind

TODAY = datetime.date(2026, 11, 25)
YES, ASK, NO = Answer.YES, Answer.ASK, Answer.NO


def gear(
    kind: Kind = Kind.MICROPHONE,
    bandwidth_hz: int = 200_000,
    power_mw: float | None = 10.0,
    power_kind: PowerKind | None = PowerKind.EIRP,
) -> Equipment:
    """A type of radio of which only what the law asks for matters."""
    return Equipment("gear", kind, (), 25_000, (), bandwidth_hz, power_mw, power_kind, 400_000, None, None, None)


def permission(
    code: str,
    mhz: float,
    equipment: Equipment | None = None,
    licence: str | None = None,
    place: str | None = None,
    on: datetime.date = TODAY,
) -> Permission:
    """What a shipped territory says to one carrier in MHz."""
    return may(load_territory(code), equipment or gear(), round(mhz * 1e6), Circumstances(licence, place, on))


def answer(code: str, mhz: float, equipment: Equipment | None = None, licence: str | None = None) -> Answer:
    """The same as an answer, outside all special places."""
    return permission(code, mhz, equipment, licence, "elsewhere").answer
