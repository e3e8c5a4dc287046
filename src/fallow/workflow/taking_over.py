"""What was found on the air, taken over as foreign carriers that a plan can live with."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from os import PathLike, fspath

from fallow.files.tables.foreign_table import write_foreign
from fallow.show.link import ForeignCarrier
from fallow.spectrum.found.own_patterns import is_perhaps_own
from fallow.spectrum.found.standing_out import NARROW_HZ
from fallow.spectrum.verdict import USUAL_LINK_WIDTH_HZ, Emitter
from fallow.units import format_mhz
from fallow.workflow.survey import JudgedAir

__all__ = ["TakenOver", "foreign_carriers", "take_over"]

NARROW_LOOKS = ("narrow carrier", "digital narrow-band", "burst", "unknown")
EDGE_TO_EDGE_HZ = 150_000  # common practice: 350 kHz between two analogue carriers of 200 kHz
_SPACING_FROM = "half its width, half a link's of {link:g} kHz and {edge:g} kHz between them (common practice)"


@dataclass(frozen=True)
class TakenOver:
    """The table of foreign carriers that was written. ``left_out``: emitters that are none, by why, with their number.

    Wide blocks, what hops and what may be the instrument's own make no carrier.
    """

    path: str
    carriers: tuple[ForeignCarrier, ...]
    left_out: dict[str, int]


def take_over(judged: JudgedAir, path: str | PathLike[str], area: str = "") -> TakenOver:
    """Write the narrow emitters of a judged survey as a table of foreign carriers.

    ``area``: where the survey was taken; empty: the carriers count everywhere. Raises OutputError; an older file of
    that name is replaced, whole or not at all.
    """
    carriers = foreign_carriers(judged.emitters, area, judged.air.basis)
    left_out = Counter(why for one in judged.emitters if (why := _why_none(one)))
    write_foreign(path, carriers)
    return TakenOver(fspath(path), carriers, dict(left_out))


def foreign_carriers(
    emitters: tuple[Emitter, ...], area: str = "", basis: str = "absolute"
) -> tuple[ForeignCarrier, ...]:
    """Narrow emitters as carriers that take part in products and ask for no protection.

    Their spacing is half the width found, half a link's, and what stands between the edges of two carriers by common
    practice; with every figure that it rests on it stands in the columns that we add.
    """
    taken: Counter[str] = Counter()
    carriers = []
    for one in emitters:
        if not _why_none(one):
            name = f"found {format_mhz(one.centre_hz)} MHz"
            taken[name] += 1
            again = f" ({taken[name]})" if taken[name] > 1 else ""
            carriers.append(_carrier(one, name + again, area, "level_dbm" if basis == "absolute" else "level_db"))
    return tuple(carriers)


def _carrier(one: Emitter, name: str, area: str, level: str) -> ForeignCarrier:
    width_hz = one.high_hz - one.low_hz
    return ForeignCarrier(
        name,
        one.centre_hz,
        width_hz,
        area,
        spacing_hz=1000 * -(-(width_hz + USUAL_LINK_WIDTH_HZ + 2 * EDGE_TO_EDGE_HZ) // 2000),
        products=True,
        extra={
            level: f"{one.level_dbm:.1f}",
            "on_share": f"{one.on_share:.4f}",
            "looks_like": one.looks_like,
            "spacing_from": _SPACING_FROM.format(link=USUAL_LINK_WIDTH_HZ / 1e3, edge=EDGE_TO_EDGE_HZ / 1e3),
        },
    )


def _why_none(one: Emitter) -> str:
    """Why an emitter is no foreign carrier; empty where it is one."""
    if is_perhaps_own(one.evidence):
        return "perhaps the instrument's own"
    if one.looks_like not in NARROW_LOOKS:
        return one.looks_like
    return f"{one.looks_like}, but wide" if one.high_hz - one.low_hz > NARROW_HZ else ""
