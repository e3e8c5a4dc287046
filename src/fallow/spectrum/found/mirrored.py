"""Mixing responses of the receiver: a block that is a stronger one turned round, f to S - f.

A receiver's mixer also takes in what lies on the far side of its oscillator's harmonics, and shows it mirrored. Such a
block is as wide as its source, and carries the same fine detail (pilots, allocation, multipath) in reverse order. The
widths give a few sums S to try; the detail is then correlated with the mirrored spectrum at *every* sum, and counted
how many of them agree as well: that is the chance that the agreement is luck. Blocks of one standard have equal widths
by right, so widths alone prove nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.blocks import Block
from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.noise_floor import Floor
from fallow.spectrum.noise.running import running_quantile
from fallow.units import format_mhz, format_span_mhz

__all__ = ["also_mirrored", "with_causes"]

BY_LUCK = 0.01
WEAKER_DB = 6.0  # than its source, at least
EDGE_HZ = 150e3  # how well an edge is known on each side
DETAIL_HZ = 500e3  # what varies more slowly is shape, not detail
DETAIL_DB = 4.0  # more is a line, and lines agree by themselves
LEAST_DETAIL_BINS = 100
LEAST_CORRELATION = 0.3
BESIDE_HZ = 30e6  # what else may come from the same mixing
COVERED_SHARE = 0.8
MIXES = ((2, "the image"), (4, "the third harmonic"))  # S = 2·LO; S = 4·LO: f - 3·LO, reversed. From memory
TUNED_HZ = 60e6  # from the oscillator to what is shown around it, at most. Common practice


@dataclass(frozen=True)
class _Mirror:
    """A source (index) and the sum that turns it into the target; correlation of their detail, and the chance of it."""

    source: int
    sum_hz: float
    correlation: float
    chance: float


def with_causes(heard: Heard, floor: Floor, blocks: Sequence[Block]) -> tuple[Block, ...]:
    """The blocks; those that are a stronger block mirrored say so first, with the sum and the chance of an error."""
    above = heard.mean_db - floor.noise_db
    heights = [float(np.nanmedian(above[heard.axis.bins_touching(one.low_hz, one.high_hz)])) for one in blocks]
    told = list(blocks)
    detail: NDArray[np.float64] | None = None
    for target, block in enumerate(blocks):
        sources = _sources(blocks, heights, target)
        if block.looks_like != "noise-like block" or not sources or heard.axis.points_hz is not None:
            continue
        detail = _detail(heard) if detail is None else detail
        mirror = _mirror_of(heard, detail, blocks, target, sources)
        if mirror is not None:
            told[target] = _told(block, blocks[mirror.source], mirror)
    return tuple(told)


def _sources(blocks: Sequence[Block], heights_db: Sequence[float], target: int) -> list[int]:
    """Blocks that are stronger and as wide, as far as edges are known."""
    width = blocks[target].high_hz - blocks[target].low_hz
    return [
        index
        for index, other in enumerate(blocks)
        if abs(other.high_hz - other.low_hz - width) <= 2 * EDGE_HZ
        and heights_db[index] >= heights_db[target] + WEAKER_DB
    ]


def _told(block: Block, source: Block, mirror: _Mirror) -> Block:
    clue = (
        f"the stronger block at {format_span_mhz(source.low_hz, source.high_hz)} mirrored, f to "
        f"{format_mhz(mirror.sum_hz)} MHz - f: a mixing response of the receiver{_mix(block, mirror.sum_hz)}; their "
        f"fine detail agrees with a correlation of {mirror.correlation:.2f}, which is luck at most once in "
        f"{round(1.0 / mirror.chance):,}"
    )
    widths = tuple(clue for clue in block.evidence if "band that" not in clue)
    return replace(block, evidence=(clue, *widths), mirrored_sum_hz=mirror.sum_hz)


def _mix(block: Block, sum_hz: float) -> str:
    middle = (block.low_hz + block.high_hz) / 2
    for factor, what in MIXES:
        if abs(sum_hz / factor - middle) <= TUNED_HZ:
            return f", as {what} of an oscillator at {format_mhz(sum_hz / factor)} MHz makes"
    return ""


def _mirror_of(
    heard: Heard, detail: NDArray[np.float64], blocks: Sequence[Block], target: int, sources: Sequence[int]
) -> _Mirror | None:
    """The source whose mirrored detail agrees best, where luck does that less than once in a hundred."""
    block, step_hz = blocks[target], float(heard.axis.step_hz)
    bins = heard.axis.bins_touching(block.low_hz + EDGE_HZ, block.high_hz - EDGE_HZ)
    if bins.stop - bins.start < LEAST_DETAIL_BINS:
        return None
    agrees, twice_hz = _correlations(detail, bins), 2.0 * float(heard.axis.centres_hz[0])
    reach, best = round(EDGE_HZ / step_hz), None
    tried = len(sources) * (2 * reach + 1)
    for index in sources:
        sum_hz = (block.low_hz + block.high_hz + blocks[index].low_hz + blocks[index].high_hz) / 2
        place = round((sum_hz - twice_hz) / step_hz) - (bins.stop - 1)
        places = np.arange(max(0, place - reach), min(agrees.size, place + reach + 1))
        if places.size == 0:
            continue
        peak = int(places[np.argmax(agrees[places])])
        correlation, chance = float(agrees[peak]), _by_luck(agrees, peak, tried)
        if correlation >= LEAST_CORRELATION and chance < BY_LUCK and (best is None or chance < best.chance):
            best = _Mirror(index, twice_hz + (peak + bins.stop - 1) * step_hz, correlation, chance)
    return best


def _by_luck(agrees: NDArray[np.float64], peak: int, tried: int) -> float:
    """Chance that one of ``tried`` places agrees as well as ``peak``, by counting the places that do."""
    others = np.delete(agrees, np.arange(max(0, peak - 2), min(agrees.size, peak + 3)))
    return min(1.0, tried * (int((others >= agrees[peak]).sum()) + 1.0) / others.size)


def _detail(heard: Heard) -> NDArray[np.float64]:
    """What is left of the mean level when everything slower than half a megahertz is taken away, dB, shape (bin,)."""
    level = np.nan_to_num(heard.mean_db, nan=float(np.nanmedian(heard.mean_db)))
    window = round(DETAIL_HZ / float(heard.axis.step_hz)) | 1
    slow = running_quantile(level, window, 0.5, hop=4)
    left, right = np.pad(level, 1, mode="edge")[:-2], np.pad(level, 1, mode="edge")[2:]
    quick = np.maximum(np.minimum(left, right), np.minimum(np.maximum(left, right), level))  # median of three
    return np.clip(quick - slow, -DETAIL_DB, DETAIL_DB)


def _correlations(detail: NDArray[np.float64], bins: slice) -> NDArray[np.float64]:
    """Correlation of the bins, in reverse order, with every stretch as long; shape (place of its first bin,)."""
    from scipy import fft  # heavy, so only where it is used

    turned = detail[bins][::-1] - float(detail[bins].mean())
    count, size = turned.size, fft.next_fast_len(detail.size + turned.size, real=True)
    product = fft.irfft(fft.rfft(detail, size) * np.conj(fft.rfft(turned, size)), size)[: detail.size - count + 1]
    sums, squares = (np.concatenate([[0.0], np.cumsum(values)]) for values in (detail, np.square(detail)))
    mean = (sums[count:] - sums[:-count]) / count
    variance = np.maximum((squares[count:] - squares[:-count]) / count - np.square(mean), 1e-9)
    found = product / (count * np.sqrt(variance * max(float(turned.var()), 1e-9)))
    found[max(0, bins.start - count) : bins.stop] = 0.0  # with itself
    return np.asarray(found)


def also_mirrored(heard: Heard, floor: Floor, blocks: Sequence[Block], low_hz: float, high_hz: float) -> str:
    """A sentence for a span near a mirrored block where the same mixing explains it, else nothing.

    Almost all of its mirror image must be stronger.
    """
    above = heard.mean_db - floor.noise_db
    for block in blocks:
        if block.mirrored_sum_hz is None or max(block.low_hz - high_hz, low_hz - block.high_hz) > BESIDE_HZ:
            continue
        image = (block.mirrored_sum_hz - high_hz, block.mirrored_sum_hz - low_hz)
        bins, own = heard.axis.bins_touching(*image), heard.axis.bins_touching(low_hz, high_hz)
        if bins.stop <= bins.start:
            continue
        least = float(np.nanmedian(above[own])) + WEAKER_DB
        if float((np.nan_to_num(above[bins], nan=-99.0) >= least).mean()) >= COVERED_SHARE:
            return (
                f"the mixing response that shows {format_span_mhz(block.low_hz, block.high_hz)} mirrors the stronger "
                f"{format_span_mhz(*image)} to here"
            )
    return ""
