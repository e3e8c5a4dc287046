"""The columns of an equipment table about the way back, and whether a link's own way back goes with them.

What no plan could ever hold is refused here, where the row can be named: a way back nearer to the way there than the
spacing of the equipment, ranges that lie too near to each other, a way back that contradicts its equipment.
"""

from __future__ import annotations

from collections.abc import Sequence

from fallow.errors import InputError
from fallow.files.tables.columns import FREQUENCY, Column
from fallow.files.tables.grid import FilePath, Row
from fallow.files.wording import quoted
from fallow.show.duplex import way_back
from fallow.show.equipment import Duplex, Equipment
from fallow.show.link import Link
from fallow.units import Span, format_mhz, format_width

__all__ = ["DUPLEX_COLUMNS", "check_duplex", "check_way_back", "duplex_of"]

DUPLEX_COLUMNS = (
    Column(("return", "rückweg", "retour", "retorno", "terugweg"), FREQUENCY),
    Column(("duplex", "duplexabstand"), FREQUENCY),
    Column(("duplex_least", "duplex least"), FREQUENCY),
)
_ONE_PLACE_HINT = "either the way back stands at a fixed distance (duplex_mhz), or anywhere in return_mhz"


def duplex_of(row: Row, ranges: tuple[Span, ...], least_hz: int | None) -> Duplex | None:
    """The way back, where the row says anything of it. ``ranges``, ``least_hz``: its columns, read. Raises InputError
    for columns that contradict each other.
    """
    offset_hz = row.hertz("duplex_mhz")
    if offset_hz is not None and (ranges or least_hz):
        raise row.wrong("duplex_mhz", "a fixed distance leaves no choice of ranges", hint=_ONE_PLACE_HINT)
    if offset_hz == 0:
        raise row.wrong("duplex_mhz", "the way back can't stand where the way there does", hint="for example 40 or -40")
    if least_hz and not ranges:
        raise row.wrong("duplex_least_mhz", "the ranges of the way back are missing", hint="state return_mhz")
    return Duplex(offset_hz, ranges, least_hz or 0) if ranges or offset_hz is not None else None


def check_duplex(row: Row, radio: Equipment) -> None:
    """Raise InputError, with line and column, for equipment whose two directions can go together nowhere."""
    duplex, there = radio.duplex, _carriers_lie_in(radio)
    if duplex is None:
        return
    needed_hz, spacing = radio.spacing_hz, f"the spacing of {format_width(radio.spacing_hz)}"
    if duplex.offset_hz is not None:
        if any(span.low_hz + duplex.offset_hz <= 0 for span in there):
            raise row.wrong("duplex_mhz", "the way back would lie below zero", hint="a smaller distance")
        if abs(duplex.offset_hz) < needed_hz:
            what = f"{format_width(abs(duplex.offset_hz))} between the two directions of a link is less than {spacing}"
            hint = "both are carriers on the air: a wider duplex distance, or a smaller spacing_khz"
            raise row.wrong("duplex_mhz", what, hint=hint)
        return
    farthest_hz = _farthest_hz(there, duplex.ranges)
    if there and farthest_hz < max(duplex.least_hz, needed_hz):
        wanted = f"the {format_width(duplex.least_hz)} asked for" if duplex.least_hz > needed_hz else spacing
        column = "duplex_least_mhz" if duplex.least_hz > needed_hz else "return_mhz"
        what = f"the two directions of a link are {format_width(farthest_hz)} apart at most, less than {wanted}"
        raise row.wrong(column, what, hint="ranges farther from each other, or a smaller distance")


def check_way_back(link: Link, radio: Equipment, path: FilePath | None = None) -> None:
    """Raise InputError for a link that states a way back which its equipment can't give it. ``path``: of the links.

    A link whose equipment has no way back is left alone, and so is one that is not planned.
    """
    duplex, back_hz = radio.duplex, link.return_hz
    if duplex is None or back_hz is None or not link.planned:
        return

    def wrong(what: str, hint: str) -> InputError:
        return InputError(what, path=path, line=link.line, column="return_mhz", hint=hint)

    back = f"the way back of {quoted(link.name)} at {format_mhz(back_hz)} MHz"
    if duplex.offset_hz is not None and link.frequency_hz is not None:
        if back_hz - link.frequency_hz != duplex.offset_hz:
            right_hz = link.frequency_hz + duplex.offset_hz
            what = f"{back} contradicts its equipment: {quoted(radio.name)} puts it at {format_mhz(right_hz)} MHz"
            raise wrong(what, "leave the cell empty: the fixed duplex distance says where it is")
        return
    elsewhere = _carriers_lie_in(way_back(radio))
    if elsewhere and not any(span.low_hz <= back_hz <= span.high_hz for span in elsewhere):
        ranges = ", ".join(_told(span) for span in elsewhere)
        raise wrong(f"{back} lies outside the ranges of {quoted(radio.name)}", f"its way back tunes to {ranges}")
    least_hz = max(duplex.least_hz, radio.spacing_hz)
    if link.frequency_hz is not None and abs(back_hz - link.frequency_hz) < least_hz:
        apart = format_width(abs(back_hz - link.frequency_hz))
        what = f"{back} is only {apart} from the way there"
        raise wrong(what, f"{quoted(radio.name)} needs {format_width(least_hz)} at least (duplex_least_mhz, spacing)")


def _carriers_lie_in(radio: Equipment) -> tuple[Span, ...]:
    """Where carriers of the way there may stand, each preset a span of its own."""
    inside = [
        hz
        for hz in radio.presets_hz
        if not radio.tuning or any(span.low_hz <= hz <= span.high_hz for span in radio.tuning)
    ]
    return tuple(Span(hz, hz) for hz in inside) if radio.presets_hz else radio.tuning


def _told(span: Span) -> str:
    low, high = format_mhz(span.low_hz), format_mhz(span.high_hz)
    return f"{low} MHz" if span.low_hz == span.high_hz else f"{low} to {high} MHz"


def _farthest_hz(there: Sequence[Span], back: Sequence[Span]) -> int:
    """The largest distance between a carrier of the one and a carrier of the other."""
    return max((max(b.high_hz - a.low_hz, a.high_hz - b.low_hz) for a in there for b in back), default=0)
