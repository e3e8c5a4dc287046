"""Blocks of television and mobile shape: what is flat, wide and sharply cut at both edges.

Television is told by a step in level at *both* edges of a raster channel, and by filling what lies between; the level
itself tells nothing, because fading digs notches. Mobile is told by sharp edges and a width that the standards know.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.services import DOWNLINKS, MOBILE_WIDTHS, TELEVISION, UPLINKS, Television
from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.noise_floor import Floor
from fallow.spectrum.noise.running import running_quantile
from fallow.units import Channel, format_mhz, format_span_mhz, format_width

__all__ = ["Block", "find_mobile", "find_television"]

STRIP_HZ = 400e3  # of the block at each edge
GUARD_HZ = 150e3  # how far into the next channel its own guard band reaches at least (EN 300 744: 196 kHz)
LEAST_STEP_DB = 0.8
LEAST_SIGMAS = 4.0
FILLED_SHARE = 0.8
SUBCELL_HZ = 100e3
ROUGHEST_DB = 2.0  # between neighbouring 100 kHz; fading is smoother, a comb of lines is not
PILOT_DB = 3.0
PILOT_SCORE = 1000.0  # a pilot decides between standards
SHARP_EDGE_DB = 6.0
LEAST_MOBILE_HZ = 4.2e6
COARSEST_HZ = 200e3  # with wider steps a width can't be told


@dataclass(frozen=True)
class Block:
    """A block in use: the span that it takes, what it looks like, on which evidence.

    ``mirrored_sum_hz``: S, where it is the receiver's own picture of a stronger block, turned round: f to S - f.
    """

    low_hz: float
    high_hz: float
    looks_like: str
    evidence: tuple[str, ...]
    mirrored_sum_hz: float | None = None


def find_television(
    heard: Heard, base_db: NDArray[np.float64], raster: Sequence[Channel], lines: NDArray[np.bool_]
) -> list[Block]:
    """Raster channels that hold television. ``base_db``: the instrument's floor per bin; ``lines``: bins left out."""
    levels = np.where(lines, np.nan, heard.mean_db - base_db)
    found = []
    for channel in raster:
        if channel.low_hz < heard.axis.low_hz - GUARD_HZ or channel.high_hz > heard.axis.high_hz + GUARD_HZ:
            continue
        candidates = [
            match
            for standard in TELEVISION
            if abs(standard.channel_hz - (channel.high_hz - channel.low_hz)) < 1000
            for match in [_match(heard, levels, channel, standard)]
            if match is not None
        ]
        if candidates:
            best = max(candidates, key=lambda match: match.score)
            found.append((best.score, _television(channel, best)))
    return _apart(found)


def _apart(scored: list[tuple[float, Block]]) -> list[Block]:
    """Of blocks that overlap (rasters of several regions were tried) only the one that fits best stays."""
    kept: list[Block] = []
    for _, block in sorted(scored, key=lambda pair: -pair[0]):
        if all(block.high_hz <= other.low_hz or block.low_hz >= other.high_hz for other in kept):
            kept.append(block)
    return sorted(kept, key=lambda block: block.low_hz)


@dataclass(frozen=True)
class _Match:
    """A standard that fits a channel: how well, the steps at both edges in dB, whether its pilot is there."""

    standard: Television
    score: float
    lower_db: float
    upper_db: float
    pilot: bool


def _television(channel: Channel, match: _Match) -> Block:
    standard = match.standard
    name = f"channel {channel.name}" if channel.name else f"{format_span_mhz(channel.low_hz, channel.high_hz)}"
    evidence = [
        f"the level steps up by {match.lower_db:.1f} dB at the lower and {match.upper_db:.1f} dB at the upper edge "
        f"of {name}",
        f"it fills the {format_width(standard.width_hz)} that {standard.name} occupies",
    ]
    if match.pilot:
        evidence.append("a pilot stands 309 kHz above the lower edge")
    known = standard.pilot_hz is None or match.pilot
    looks_like = f"TV, {standard.name}" if known else "TV"
    return Block(float(channel.low_hz), float(channel.high_hz), looks_like, tuple(evidence))


def _match(heard: Heard, levels: NDArray[np.float64], channel: Channel, standard: Television) -> _Match | None:
    """How a standard fits a channel; None where it does not."""
    margin = max(heard.rbw_hz, float(heard.axis.step_hz)) / 2 + 20e3
    middle = (channel.low_hz + channel.high_hz) / 2 + standard.offset_hz
    low, high = middle - standard.width_hz / 2, middle + standard.width_hz / 2
    inside_low, inside_high = low + standard.slope_hz + margin, high - standard.slope_hz - margin
    away = max(margin, standard.slope_hz)
    below, above = (channel.low_hz - GUARD_HZ, low - away), (high + away, channel.high_hz + GUARD_HZ)
    lower = _step(heard, levels, below, (inside_low, inside_low + STRIP_HZ))
    upper = _step(heard, levels, above, (inside_high - STRIP_HZ, inside_high))
    if lower is None or upper is None or min(lower.step_db, upper.step_db) < LEAST_STEP_DB:
        return None
    sigmas, inside = min(lower.step_db / lower.u_db, upper.step_db / upper.u_db), (inside_low, inside_high)
    if sigmas < LEAST_SIGMAS or not _filled(heard, levels, inside, (lower.outside_db, upper.outside_db)):
        return None
    if not channel.name:  # without a region's raster, any shoulder of a broad rise would be an edge of some channel
        slopes = (
            _slope(heard, levels, inside_low, STRIP_HZ) * (inside_low + STRIP_HZ / 2 - sum(below) / 2),
            _slope(heard, levels, inside_high, -STRIP_HZ) * (sum(above) / 2 - inside_high + STRIP_HZ / 2),
        )
        steps = (lower.step_db, upper.step_db)
        if any(step - max(slope, 0.0) < LEAST_STEP_DB for step, slope in zip(steps, slopes, strict=True)):
            return None
    pilot_hz = None if standard.pilot_hz is None else channel.low_hz + standard.pilot_hz
    pilot = pilot_hz is not None and _pilot(heard, levels, pilot_hz, inside)
    if standard.pilot_hz is not None and not (pilot or channel.name):
        return None  # without a region, soft edges alone would be found in any fading
    edges = (_sharpness(heard, levels, low, -away, margin), _sharpness(heard, levels, high, away, -margin))
    return _Match(standard, min(edges) + (PILOT_SCORE if pilot else 0.0), lower.step_db, upper.step_db, pilot)


def _slope(heard: Heard, levels: NDArray[np.float64], edge_hz: float, inward_hz: float) -> float:
    """How steeply the level rises inwards from an edge, dB per hertz: between the first and the second strip inside."""
    first, second = (
        _between(heard, levels, (min(begin, begin + inward_hz), max(begin, begin + inward_hz)))
        for begin in (edge_hz, edge_hz + inward_hz)
    )
    return float(np.median(second) - np.median(first)) / abs(inward_hz) if first.size and second.size else 0.0


def _sharpness(heard: Heard, levels: NDArray[np.float64], edge_hz: float, out_hz: float, in_hz: float) -> float:
    """Step in dB between the 100 kHz that begin ``out_hz`` and ``in_hz`` from an edge: what tells standards apart."""
    strips = []
    for away_hz in (out_hz, in_hz):
        far_hz = away_hz + math.copysign(SUBCELL_HZ, away_hz)
        strip = _between(heard, levels, (edge_hz + min(away_hz, far_hz), edge_hz + max(away_hz, far_hz)))
        strips.append(float(np.mean(strip)) if strip.size else 0.0)
    return strips[1] - strips[0]


@dataclass(frozen=True)
class _Step:
    step_db: float
    u_db: float
    outside_db: float


def _step(
    heard: Heard, levels: NDArray[np.float64], outside_hz: tuple[float, float], inside_hz: tuple[float, float]
) -> _Step | None:
    outer, inner = _between(heard, levels, outside_hz), _between(heard, levels, inside_hz)
    if outer.size == 0 or inner.size == 0:
        return None
    u_db = math.hypot(_median_u_db(heard, outer, outside_hz), _median_u_db(heard, inner, inside_hz))
    return _Step(float(np.median(inner) - np.median(outer)), max(u_db, 0.05), float(np.median(outer)))


def _median_u_db(heard: Heard, values: NDArray[np.float64], span_hz: tuple[float, float]) -> float:
    independent = max(1.0, values.size * min(1.0, float(heard.axis.step_hz) / heard.alike_hz))
    return 1.2533 * _mean_sd_db(heard, span_hz) / math.sqrt(independent)  # sd of a median: √(π/2)·σ/√n


def _mean_sd_db(heard: Heard, span_hz: tuple[float, float]) -> float:
    """Standard deviation of a bin's mean over the sweeps that measured it, dB: as in the middle one of the span."""
    first, last = np.searchsorted(heard.axis.centres_hz, span_hz)
    looks = heard.valid_sweeps[first:last]
    looks = looks[looks > 0]
    return heard.noise.sd_db() / math.sqrt(float(np.median(looks)) if looks.size else 1.0)


def _between(heard: Heard, levels: NDArray[np.float64], span_hz: tuple[float, float]) -> NDArray[np.float64]:
    """Levels of the bins whose centres lie in the span, without the missing ones."""
    first, last = np.searchsorted(heard.axis.centres_hz, span_hz)
    part = levels[first:last]
    return part[np.isfinite(part)]


def _filled(
    heard: Heard, levels: NDArray[np.float64], span_hz: tuple[float, float], outside_db: tuple[float, float]
) -> bool:
    """Whether almost all of the span is above the line between the levels outside, and smooth over 100 kHz."""
    first, last = np.searchsorted(heard.axis.centres_hz, span_hz)
    per_cell = max(1, round(SUBCELL_HZ / float(heard.axis.step_hz)))
    count = (last - first) // per_cell
    if count < 8:
        return False
    cells = levels[first : first + count * per_cell].reshape(count, per_cell)
    with_levels = cells[np.isfinite(cells).any(axis=1)]
    medians = np.array([np.median(cell[np.isfinite(cell)]) for cell in with_levels])
    noise_db = _mean_sd_db(heard, span_hz) / math.sqrt(per_cell)
    above = medians > np.linspace(*outside_db, medians.size) + 2.0 * noise_db
    smooth = float(np.median(np.abs(np.diff(medians)))) <= ROUGHEST_DB + 1.5 * noise_db
    return smooth and float(above.mean()) >= FILLED_SHARE


def _pilot(heard: Heard, levels: NDArray[np.float64], pilot_hz: float, inside_hz: tuple[float, float]) -> bool:
    reach = 30e3 + float(
        heard.axis.step_hz
    )  # interference offsets move pilots by up to 23 kHz: checks against 47 CFR practice
    near, plateau = _between(heard, levels, (pilot_hz - reach, pilot_hz + reach)), _between(heard, levels, inside_hz)
    least_db = PILOT_DB + 2.0 * _mean_sd_db(heard, inside_hz)
    return bool(near.size) and float(near.max() - np.median(plateau)) >= least_db


def find_mobile(heard: Heard, floor: Floor, taken: Sequence[Block]) -> list[Block]:
    """Blocks with sharp edges and a width of mobile networks, outside the spans of ``taken``."""
    if max(heard.rbw_hz, float(heard.axis.step_hz)) > COARSEST_HZ:
        return []
    window = max(3, round(SUBCELL_HZ / float(heard.axis.step_hz)))
    smooth = running_quantile(heard.mean_db, window, 0.5, hop=max(1, window // 3))
    up = np.nan_to_num(smooth - floor.noise_db, nan=-99.0) > 3.0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], up, [False]]).astype(np.int8)))
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        low, high = float(heard.axis.cells_hz[0][first]), float(heard.axis.cells_hz[1][last - 1])
        if high - low < LEAST_MOBILE_HZ or any(block.low_hz < high and low < block.high_hz for block in taken):
            continue
        steps = _edge_steps(heard, smooth, int(first), int(last))
        if min(steps) >= SHARP_EDGE_DB:
            block = _mobile(low, high, steps, heard)
            if block is not None:
                found.append(block)
    return found


def _edge_steps(heard: Heard, smooth: NDArray[np.float64], first: int, last: int) -> tuple[float, float]:
    """By how much the level falls within 300 kHz outside of each edge, dB."""
    reach = max(2, round(300e3 / float(heard.axis.step_hz)))
    lower = np.nanmedian(smooth[first + reach // 2 : first + 2 * reach]) - np.nanmin(
        smooth[max(0, first - reach) : first + 1]
    )
    upper = np.nanmedian(smooth[last - 2 * reach : last - reach // 2]) - np.nanmin(smooth[last - 1 : last + reach])
    at_ends = (first == 0, last == smooth.size)
    return (0.0 if at_ends[0] else float(lower)), (0.0 if at_ends[1] else float(upper))


def _mobile(low_hz: float, high_hz: float, steps_db: tuple[float, float], heard: Heard) -> Block | None:
    width, middle = high_hz - low_hz, (low_hz + high_hz) / 2
    tolerance = max(150e3, 2.0 * float(heard.axis.step_hz), 0.03 * width)
    names = [name for name, known in MOBILE_WIDTHS if abs(known - width) <= tolerance]
    downlink = any(low - 2e5 <= low_hz and high_hz <= high + 2e5 for low, high in DOWNLINKS)
    uplink = any(low - 2e5 <= low_hz and high_hz <= high + 2e5 for low, high in UPLINKS)
    if not names and not downlink:
        return None
    evidence = [f"sharp edges of {steps_db[0]:.0f} and {steps_db[1]:.0f} dB around {format_width(width)}"]
    if names:
        evidence.append(f"as wide as {' or '.join(names)}")
    if downlink or uplink:
        evidence.append(
            f"{format_mhz(middle)} MHz lies in a band that mobile networks use {'to' if downlink else 'from'} phones"
        )
    looks_like = "mobile downlink" if downlink else "noise-like block"  # phones don't send without a pause
    return Block(low_hz, high_hz, looks_like, tuple(evidence))
