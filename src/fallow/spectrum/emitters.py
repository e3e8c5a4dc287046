"""What is found on the air: blocks, narrow carriers, bursts; how strong each is while on, and how often that is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.blocks import Block
from fallow.spectrum.deciding import Evidence
from fallow.spectrum.services import DOWNLINKS, UPLINKS
from fallow.spectrum.statistics import binomial_limits, noise_quantile_db
from fallow.spectrum.verdict import Emitter
from fallow.spectrum.window_levels import geometry_of, pieces, powers_in, sum_over
from fallow.units import format_width

__all__ = ["MOST_EMITTERS", "find_emitters"]

MOST_EMITTERS = 400  # listed; beyond that the strongest
LEAST_ABOVE_FLOOR_DB = 4.0
FALSE_EMITTERS = 0.01  # chance that noise alone makes any emitter
NARROW_HZ = 600e3  # common practice: the widest narrow carriers of the trade
RARE_SHARE = 0.5  # on less often than this: a burst
BRIDGE_HZ = 60e3  # a modulated carrier has holes; lines that stand farther apart are several emitters
DECT_BANDS_HZ = ((1880e6, 1900e6), (1920e6, 1930e6))  # ETSI EN 300 175-2; 47 CFR 15.303 (from memory)


def find_emitters(evidence: Evidence, blocks: Sequence[Block], confidence_pct: float) -> list[Emitter]:
    """Emitters of one series: its blocks, and whatever else stands out from the floor in some sweep or in their mean.

    Lines of the instrument itself and our own carriers are none.
    """
    stretches = _stand_outs(evidence, blocks)
    lows, highs = evidence.heard.axis.cells_hz
    low = np.array([block.low_hz for block in blocks] + [float(lows[first]) for first, _ in stretches])
    high = np.array([block.high_hz for block in blocks] + [float(highs[last - 1]) for _, last in stretches])
    if low.size == 0:
        return []
    level, on, sweeps = _while_on(evidence, low, high)
    emitters = []
    for index in range(low.size):
        share = float(on[index] / max(1, sweeps[index]))
        if index < len(blocks):
            looks_like, clues = blocks[index].looks_like, blocks[index].evidence
        else:
            looks_like, clues = _class_of(low[index], high[index], share, int(sweeps[index]))
        limits = binomial_limits(int(on[index]), int(sweeps[index]), confidence_pct)
        emitters.append(
            Emitter(
                low_hz=round(low[index]),
                high_hz=round(high[index]),
                centre_hz=round((low[index] + high[index]) / 2),
                level_dbm=round(float(level[index]), 2),
                looks_like=looks_like,
                evidence=(*clues, f"on in {int(on[index])} of {int(sweeps[index])} sweeps"),
                on_share=share,
                on_share_low=limits[0],
                on_share_high=limits[1],
            )
        )
    return emitters


def _stand_outs(evidence: Evidence, blocks: Sequence[Block]) -> list[tuple[int, int]]:
    """Runs of bins above the floor by more than noise makes: first and last (exclusive) index."""
    heard, floor = evidence.heard, evidence.floor
    readings = heard.noise.shape
    single = noise_quantile_db(1.0 - FALSE_EMITTERS / (heard.axis.n * heard.n_sweeps), readings)
    mean = noise_quantile_db(1.0 - FALSE_EMITTERS / heard.axis.n, readings * heard.n_sweeps)
    lifted = np.interp(heard.axis.centres_hz, floor.group_centres_hz, floor.rises_db.max(axis=0))
    above = heard.highest_db - floor.noise_db - lifted
    out = np.nan_to_num(above, nan=-99.0) > max(float(single), LEAST_ABOVE_FLOOR_DB)
    above = heard.mean_db - floor.noise_db - lifted
    out |= np.nan_to_num(above, nan=-99.0) > max(float(mean), LEAST_ABOVE_FLOOR_DB)
    out &= ~(evidence.own_lines | evidence.suspect_lines)
    for block in blocks:
        out[heard.axis.bins_touching(block.low_hz - heard.rbw_hz, block.high_hz + heard.rbw_hz)] = False
    places = np.flatnonzero(out)
    if places.size == 0:
        return []
    bridge = max(BRIDGE_HZ, 1.5 * heard.rbw_hz, 1.5 * float(heard.axis.step_hz))
    breaks = np.flatnonzero(np.diff(heard.axis.centres_hz[places]) > bridge) + 1
    return [(int(run[0]), int(run[-1]) + 1) for run in np.split(places, breaks)]


def _while_on(
    evidence: Evidence, low_hz: NDArray[np.float64], high_hz: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]:
    """Level in dB while on, sweeps in which it was on, sweeps that looked; shapes (emitter,)."""
    heard, floor = evidence.heard, evidence.floor
    geometry = geometry_of(heard, low_hz, high_hz)
    nothing = np.zeros(heard.axis.n, dtype=bool)
    ratio = np.minimum(1.0, heard.steps_hz / heard.rbw_hz)
    noise = sum_over(heard, np.nan_to_num(10.0 ** (floor.noise_db / 10.0)) * ratio, low_hz, high_hz) * geometry.scale
    level, on = np.full(low_hz.size, np.nan), np.zeros(low_hz.size, dtype=np.int64)
    sweeps = np.zeros(low_hz.size, dtype=np.int64)
    for piece in pieces(heard, geometry):
        part = type(geometry)(**{name: getattr(geometry, name)[piece] for name in geometry.__dataclass_fields__})
        powers = powers_in(heard, part, floor.noise_db, nothing)
        held = np.where(powers.valid, powers.least, 0.0)
        tail = FALSE_EMITTERS / max(1, heard.n_sweeps)
        by_noise = noise[piece] * 10.0 ** (noise_quantile_db(1.0 - tail, heard.noise.shape * part.cells) / 10.0)
        half_way = np.sqrt(np.maximum(noise[piece], 1e-300) * np.maximum(held.max(axis=0), 1e-300))
        heard_on = powers.valid & (held >= np.minimum(np.maximum(by_noise, half_way), held.max(axis=0)))
        on[piece], sweeps[piece] = heard_on.sum(axis=0), powers.valid.sum(axis=0)
        mean = np.where(heard_on, held, 0.0).sum(axis=0) / np.maximum(on[piece], 1)
        level[piece] = 10.0 * np.log10(np.maximum(mean, 1e-300))
    return level, on, sweeps


def _class_of(low_hz: float, high_hz: float, share: float, sweeps: int) -> tuple[str, tuple[str, ...]]:
    width = high_hz - low_hz
    clues = (f"stands out from the floor over {format_width(width)}",)
    rare = sweeps >= 4 and share < RARE_SHARE
    if any(low <= low_hz and high_hz <= high for low, high in DECT_BANDS_HZ) and 0.8e6 <= width <= 2.2e6:
        return "DECT", (*clues, "in the band of cordless telephones, about as wide as they are")
    if width <= NARROW_HZ:
        return ("burst" if rare else "narrow carrier"), clues
    if rare and any(low <= low_hz and high_hz <= high for low, high in UPLINKS):
        return "mobile uplink", (*clues, "comes and goes in a band that phones send in")
    if any(low - 2e5 <= low_hz and high_hz <= high + 2e5 for low, high in DOWNLINKS):
        return "mobile downlink", (*clues, "in a band that mobile networks send in; its edges were not recognised")
    return ("burst" if rare else "unknown"), clues
