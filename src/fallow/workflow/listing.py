"""Which slices an answer about the air lists, and what of the data it does not list."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from fallow.errors import UsageError
from fallow.rules.territory import Territory
from fallow.spectrum.judging import Air
from fallow.units import Channel, Span, format_span_mhz, format_width

__all__ = ["Listing", "slices_of", "unlisted"]

USUAL_WINDOW_HZ = 1_000_000  # listed side by side where there is no raster
MOST_SLICES = 50_000  # in one answer. Common practice: 6 GHz in windows of 1 MHz are 6,000
MOST_WINDOWS = 1_000_000  # of a link's width, half overlapping; their numbers take about 1 GB
Extent = tuple[float, float]


@dataclass(frozen=True)
class Listing:
    """Which slices an answer lists: TV channels of a region, or windows of a width; of all the data, or of a span."""

    region: str | None = None
    span: Span | None = None
    width_hz: int | None = None


def slices_of(air: Air, territory: Territory | None, listing: Listing) -> tuple[Channel, ...]:
    """The slices to list, rising in frequency. Raises UsageError where they are too many to be read or judged."""
    slices = _slices(air, territory, listing)
    windows = sum(2 * (part.high_hz - part.low_hz) // air.link_width_hz for part in slices)
    if windows > MOST_WINDOWS:
        raise UsageError(
            f"{windows} windows of a link's width, {format_width(air.link_width_hz)}, would have to be judged",
            hint="give a --span, or a larger --link-width",
        )
    return slices


def _slices(air: Air, territory: Territory | None, listing: Listing) -> tuple[Channel, ...]:
    low_hz, high_hz = air.low_hz, air.high_hz
    if listing.span is not None:
        low_hz, high_hz = listing.span.low_hz, listing.span.high_hz
    if listing.width_hz is None and territory is not None:
        touched = tuple(c for c in territory.channels if c.low_hz < high_hz and low_hz < c.high_hz)
        if touched:
            return touched
    return _windows(low_hz, high_hz, listing.width_hz or USUAL_WINDOW_HZ, aligned=listing.span is None)


def _windows(low_hz: float, high_hz: float, width_hz: int, *, aligned: bool) -> tuple[Channel, ...]:
    """Windows side by side from the lower end, or (``aligned``) the first multiple of the width in the data."""
    first = math.ceil(low_hz / width_hz) * width_hz if aligned else round(low_hz)
    end = math.floor(high_hz) if aligned else round(high_hz)
    if aligned and first >= end:
        first = math.floor(low_hz)
    if end <= first:
        end = first + width_hz
    if (end - first) // width_hz > MOST_SLICES:
        raise UsageError(
            f"{(end - first) // width_hz} windows of {format_width(width_hz)} are more than anybody reads",
            hint="give a --span, or a larger --width",
        )
    edges = [*range(first, end, width_hz), end]
    return tuple(Channel(f"{low / 1e6:g}", low, high) for low, high in pairwise(edges))


def unlisted(air: Air, slices: Sequence[Channel], listing: Listing) -> tuple[str, ...]:
    """What the list leaves out of the data, or asks for where there is none; each in a sentence for people.

    A piece that holds no reading (half a cell beyond an edge) is not worth a word.
    """
    if listing.span is not None:
        return _without_data(air, listing.span)
    shown = _joined((part.low_hz, part.high_hz) for part in slices)
    outside = [piece for piece in _without(_swept(air), shown) if _holds_reading(air, piece)]
    if not outside:
        return ()
    how = f"--span {_typed(air.low_hz)}..{_typed(air.high_hz)} lists all of it"
    if listing.region is not None and listing.width_hz is None:
        how = "--width 1M lists windows of all the data instead of TV channels"
    return (f"not listed of the data: {_told(outside)}; {how}",)


def _without_data(air: Air, span: Span) -> tuple[str, ...]:
    step_hz = max(float(part.heard.axis.step_hz) for part in air.evidence)
    missing = _without([(float(span.low_hz), float(span.high_hz))], _swept(air))
    told = [piece for piece in missing if piece[1] - piece[0] > step_hz]
    if missing == [(span.low_hz, span.high_hz)]:
        reach = format_span_mhz(air.low_hz, air.high_hz)
        return (f"no data lies in the span, {format_span_mhz(*missing[0])}: the sweeps reach from {reach}",)
    return (f"no data lies in {_told(told)} of the span",) if told else ()


def _swept(air: Air) -> list[Extent]:
    return _joined((part.heard.axis.low_hz, part.heard.axis.high_hz) for part in air.evidence)


def _holds_reading(air: Air, piece: Extent) -> bool:
    """Whether the middle of any bin lies in a piece."""
    centres = (part.heard.axis.centres_hz for part in air.evidence)
    return any(bool(((piece[0] < each) & (each < piece[1])).any()) for each in centres)


def _joined(extents: Iterable[Extent]) -> list[Extent]:
    """The same extents, rising, those that touch or overlap as one."""
    joined: list[Extent] = []
    for low, high in sorted(extents):
        if joined and low <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(high, joined[-1][1]))
        else:
            joined.append((low, high))
    return joined


def _without(extents: Iterable[Extent], taken: Sequence[Extent]) -> list[Extent]:
    """What is left of the extents beside those that are taken (rising, apart from each other)."""
    left: list[Extent] = []
    for low, high in extents:
        at = low
        for begin, end in taken:
            if begin >= high or end <= at:
                continue
            if begin > at:
                left.append((at, begin))
            at = end
        if at < high:
            left.append((at, high))
    return left


def _told(pieces: Sequence[Extent]) -> str:
    told = [format_span_mhz(*piece) for piece in pieces]
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"


def _typed(hz: float) -> str:
    """A frequency as it is typed in a --span."""
    return f"{round(hz) / 1e6:.6f}".rstrip("0").rstrip(".") + "M"
