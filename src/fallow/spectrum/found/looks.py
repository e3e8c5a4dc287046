"""What an emitter looks like, by the published parameters of services; *unknown* where the evidence lacks.

Shapes are taken from the sweeps in which the emitter was on, noise subtracted (Rec. ITU-R SM.443 asks for that before
a bandwidth is measured). The parameters and their sources stand in ``services``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.services import DOWNLINKS, DUPLEX, NARROW_DIGITAL, dect_carrier_hz
from fallow.spectrum.found.standing_out import NARROW_HZ
from fallow.spectrum.noise.crowded import HIGHEST_RISE_DB
from fallow.spectrum.noise.running import running_quantile
from fallow.spectrum.verdicts.deciding import Evidence
from fallow.units import format_mhz, format_span_mhz, format_width

__all__ = ["Look", "Sighting", "from_phones", "look_at"]

RARE_SHARE = 0.5  # on less often than this: a burst
FEWEST_FOR_RARE = 4  # sweeps
MOVES_DB = 6.0  # between sweeps: phones do, stations don't. Common practice
IN_USE_DB = 6.0  # above the floor
IN_USE_SHARE = 0.1  # of a band
BLOCK_HZ = 180e3  # a resource block: 3GPP TS 36.211, 6.2.3
DECT_WIDTHS_HZ = (0.8e6, 2.2e6)  # 1.152 Mbit/s, Gaussian filter, BT 0.5: ETSI EN 300 175-2; the tolerance is ours
SHAPE_ABOVE_DB = 15.0  # above the floor: from there widths 10 dB down can be told
FEWEST_ACROSS = 6  # resolutions within a signal whose shape is told
FLAT_RATIO = 0.72  # width 3 dB down to width 10 dB down: 0.83 for a root-raised cosine of 0.35, 0.55 for a Gaussian
FLAT_DB = 1.5
SAME_WIDTH = 0.05  # or one and a half resolutions, if that is more
FM_WIDTHS_HZ = (60e3, 260e3)  # common practice, and the usual legal width of 200 kHz (ETSI EN 300 422-1)
AUDIO_HZ = 15e3  # highest audio frequency. Common practice
SOFT_EDGE_HZ = 400e3  # a signal's edge is sharper
FEWEST_IN_EDGE = 4  # steps, or its softness is not seen
EDGE_HZ = 8e6
EDGE_WINDOW_HZ = 150e3
GSM_RASTER_HZ = 200e3  # 3GPP TS 45.005, 2
GSM_DOWNLINKS_HZ = ((869e6, 894e6), (925e6, 960e6), (1805e6, 1880e6), (1930e6, 1990e6))  # the same
GSM_LEAST_HZ = 90e3
CARRIER_HZ = 2.5e6  # LTE 3 MHz: 15 blocks, the same
LEAST_DOWNLINK_HZ = 1.0e6  # LTE 1.4 MHz: six blocks of 180 kHz, 3GPP TS 36.101 table 5.6-1
MOST_ROWS = 200  # sweeps that a shape needs at most


@dataclass(frozen=True)
class Look:
    """A class of the contract, and on which evidence."""

    looks_like: str
    clues: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Sighting:
    """A stretch of bins (``first`` to ``last``, exclusive) of one series, and the sweeps in which it was ``on``."""

    first: int
    last: int
    broad: bool
    on: NDArray[np.bool_]
    sweeps: int

    @property
    def rare(self) -> bool:
        """Whether it was seen off more often than on, in more than a few sweeps."""
        return self.sweeps >= FEWEST_FOR_RARE and int(self.on.sum()) < RARE_SHARE * self.sweeps


def look_at(evidence: Evidence, seen: Sighting) -> Look:
    """What a stretch looks like: services known by their band first, then shapes."""
    lows, highs = evidence.heard.axis.cells_hz
    span = (float(lows[seen.first]), float(highs[seen.last - 1]))
    stands_out = f"stands out from the floor over {format_width(span[1] - span[0])}"
    for of_service in (_cordless, from_phones, _to_phones):
        look = of_service(evidence, seen, span)
        if look is not None:
            return Look(look.looks_like, (stands_out, *look.clues))
    if span[1] - span[0] <= NARROW_HZ:
        shape = _shape(evidence, seen)
        return _narrow(seen, stands_out, shape)
    soft = _soft(evidence, seen)
    if soft:
        return Look("noise-like block", (stands_out, soft))
    return Look("burst" if seen.rare else "unknown", (stands_out,))


# --- services known by their band


def _cordless(evidence: Evidence, seen: Sighting, span_hz: tuple[float, float]) -> Look | None:
    """A carrier of cordless telephones: as wide, and in their raster as near as the steps can tell."""
    middle, width = (span_hz[0] + span_hz[1]) / 2, span_hz[1] - span_hz[0]
    carrier = dect_carrier_hz(middle)
    if carrier is None or not DECT_WIDTHS_HZ[0] <= width <= DECT_WIDTHS_HZ[1]:
        return None
    away, step_hz = abs(middle - carrier), float(evidence.heard.axis.step_hz)
    if step_hz > DECT_WIDTHS_HZ[0] / 2 or away > max(150e3, step_hz):
        return None
    clue = f"{away / 1e3:.0f} kHz from the carrier of cordless telephones at {format_mhz(carrier)} MHz, and as wide"
    return Look("DECT", (clue, *(("comes and goes",) if seen.rare or _moves_db(evidence, seen) >= MOVES_DB else ())))


def from_phones(evidence: Evidence, seen: Sighting, span_hz: tuple[float, float]) -> Look | None:
    """What comes and goes, or moves in level, in a band that phones send in while its base stations are heard."""
    width = span_hz[1] - span_hz[0]
    moves_db = _moves_db(evidence, seen)
    if width < 0.8 * BLOCK_HZ or not (seen.rare or moves_db >= MOVES_DB):
        return None
    if any(low <= span_hz[0] and span_hz[1] <= high for low, high in DOWNLINKS) and not seen.rare:
        return None
    partners = [down for up, down in DUPLEX if up[0] <= span_hz[0] and span_hz[1] <= up[1]]
    heard = [(down, _in_use(evidence, down)) for down in partners]
    clue = "comes and goes" if seen.rare else f"its level moves by {moves_db:.0f} dB between sweeps"
    for down, used in heard:
        if used:
            return Look(
                "mobile uplink",
                (f"{clue} in the uplink of {format_span_mhz(*down)}, which is in use", *_whole_blocks(evidence, width)),
            )
    unswept = [format_span_mhz(*down) for down, used in heard if used is None]
    if not unswept:
        return None
    which = f"{' or '.join(unswept)} by the region," if len(unswept) > 1 else f"{unswept[0]},"
    phones = f"{clue} in a band that phones send in; its downlink, {which} was not swept"
    return Look("mobile uplink", (phones, *_whole_blocks(evidence, width)))


def _whole_blocks(evidence: Evidence, width_hz: float) -> tuple[str, ...]:
    blocks, finest = max(1, round(width_hz / BLOCK_HZ)), max(evidence.heard.rbw_hz, float(evidence.heard.axis.step_hz))
    if finest > BLOCK_HZ / 4 or abs(width_hz - blocks * BLOCK_HZ) > 1.5 * finest:
        return ()
    return (f"as wide as {blocks} block{'s' if blocks > 1 else ''} of 180 kHz",)


def _in_use(evidence: Evidence, span_hz: tuple[float, float]) -> bool | None:
    """Whether a band is in use; None where less than half of it was swept."""
    heard = evidence.heard
    bins = heard.axis.bins_touching(*span_hz)
    above = (heard.mean_db - evidence.floor.noise_db)[bins]
    above = above[np.isfinite(above)]
    if above.size * float(heard.axis.step_hz) < (span_hz[1] - span_hz[0]) / 2:
        return None
    return bool((above >= IN_USE_DB).mean() >= IN_USE_SHARE)


def _to_phones(evidence: Evidence, seen: Sighting, span_hz: tuple[float, float]) -> Look | None:
    """What is there all the time in a band of base stations: sharp at both edges and wide, or on the raster of GSM."""
    inside = any(low - 2e5 <= span_hz[0] and span_hz[1] <= high + 2e5 for low, high in DOWNLINKS)
    width, step_hz = span_hz[1] - span_hz[0], float(evidence.heard.axis.step_hz)
    if not inside or seen.rare:
        return None
    if width <= NARROW_HZ:
        away = abs((span_hz[0] + span_hz[1]) / 2 / GSM_RASTER_HZ % 1 - 0.5)
        on_raster = (0.5 - away) * GSM_RASTER_HZ <= max(20e3, step_hz) and step_hz <= GSM_RASTER_HZ / 5
        known = any(low <= span_hz[0] and span_hz[1] <= high for low, high in GSM_DOWNLINKS_HZ)
        if known and on_raster and width >= GSM_LEAST_HZ:
            return Look("mobile downlink", ("in a band of GSM base stations and on their raster of 200 kHz",))
        return None
    edges_hz, _ = _edges(evidence, seen)
    sharp = sum(edge <= SOFT_EDGE_HZ for edge in edges_hz)
    if width < (LEAST_DOWNLINK_HZ if sharp == 2 else CARRIER_HZ) or sharp == 0:
        return None
    which = "both edges" if sharp == 2 else "one edge"
    return Look("mobile downlink", (f"in a band that mobile networks send in, sharp at {which}",))


def _moves_db(evidence: Evidence, seen: Sighting) -> float:
    """By how much the level of the stretch differs between sweeps (90 % less 10 %), dB; 0 for a few sweeps."""
    if seen.sweeps < FEWEST_FOR_RARE:
        return 0.0
    levels = evidence.heard.levels_db[:: max(1, seen.sweeps // MOST_ROWS), seen.first : seen.last]
    seen_levels = levels[np.isfinite(levels).any(axis=1)].astype(np.float64)
    power = np.nanmean(10.0 ** (seen_levels / 10.0), axis=1) if seen_levels.size else np.ones(1)
    low, high = np.percentile(power, (10, 90))
    return float(10.0 * np.log10(max(high, 1e-300) / max(low, 1e-300)))


# --- shapes


@dataclass(frozen=True)
class _Shape:
    """Widths 3 and 10 dB down in hertz, how well they are known, scatter of the top in dB, whether it is domed."""

    upper_hz: float
    unsure_hz: float
    lower_hz: float
    scatter_db: float
    domed: bool


def _shape(evidence: Evidence, seen: Sighting) -> _Shape | None:
    """The shape of a narrow stretch; None where it is too weak, or the resolution too coarse, to tell."""
    heard, step = evidence.heard, float(evidence.heard.axis.step_hz)
    finest = max(heard.rbw_hz, step)
    width = float(heard.steps_hz[seen.first : seen.last].sum())
    if width < FEWEST_ACROSS * finest or not seen.on.any():
        return None
    power, noise, readings = _power_while_on(evidence, seen)
    top = float(np.sort(power)[-max(3, power.size // 10) :].mean())
    if top < 10.0 ** (SHAPE_ABOVE_DB / 10.0) * float(np.median(noise)):
        return None
    if max(power[0], power[-1]) > 0.1 * top:
        return None  # cut off where it is not yet 10 dB down
    upper, lower = np.flatnonzero(power >= 0.5 * top), np.flatnonzero(power >= 0.1 * top)
    if lower[-1] - lower[0] < 2:
        return None  # fewer than three bins have no shape
    body = 10.0 * np.log10(np.maximum(power[upper[0] : upper[-1] + 1], 1e-300))
    inner = body[body.size // 10 : body.size - body.size // 10]
    thirds = np.array_split(10.0 * np.log10(np.maximum(power[lower[0] : lower[-1] + 1], 1e-300)), 3)
    domed = float(np.mean(thirds[1])) > max(float(np.mean(thirds[0])), float(np.mean(thirds[2]))) + 2.0
    own = heard.noise.sd_db() / np.sqrt(readings)
    scatter = np.sqrt(max(0.0, float(np.var(inner)) - own**2))
    widths = (float(upper[-1] - upper[0] + 1) * step, float(lower[-1] - lower[0] + 1) * step)
    return _Shape(widths[0], max(1.5 * finest, SAME_WIDTH * widths[0]), widths[1], float(scatter), domed)


def _power_while_on(evidence: Evidence, seen: Sighting) -> tuple[NDArray[np.float64], NDArray[np.float64], int]:
    """Mean power of a stretch and a little beside it, noise subtracted; the noise itself; of how many sweeps."""
    heard = evidence.heard
    beside = max(2, (seen.last - seen.first) // 8)
    bins = slice(max(0, seen.first - beside), min(heard.axis.n, seen.last + beside))
    rows = np.flatnonzero(seen.on)
    rows = rows[:: max(1, rows.size // MOST_ROWS)]
    linear = 10.0 ** (heard.levels_db[rows, bins].astype(np.float64) / 10.0)
    noise = 10.0 ** (evidence.floor.noise_db[bins] / 10.0)
    valid = np.isfinite(linear)
    mean = np.where(valid, linear, 0.0).sum(axis=0) / np.maximum(1, valid.sum(axis=0))
    return mean - noise, noise, rows.size


def _narrow(seen: Sighting, stands_out: str, shape: _Shape | None) -> Look:
    usual = "burst" if seen.rare else "narrow carrier"
    if shape is None:
        return Look(usual, (stands_out,))
    flat = shape.upper_hz >= FLAT_RATIO * shape.lower_hz and shape.scatter_db <= FLAT_DB
    if flat:
        known = [name for name, width in NARROW_DIGITAL if abs(width - shape.upper_hz) <= shape.unsure_hz]
        clue = f"flat-topped: {format_width(shape.upper_hz)} wide 3 dB down, {format_width(shape.lower_hz)} 10 dB down"
        return Look("digital narrow-band", (stands_out, clue, *(f"as wide as {name}" for name in known)))
    if shape.domed and FM_WIDTHS_HZ[0] <= shape.lower_hz <= FM_WIDTHS_HZ[1]:
        deviation_hz = shape.lower_hz / 2 - AUDIO_HZ  # Carson, Proc. IRE 10 (1922) 57-64: 2(deviation + audio)
        clue = (
            f"{format_width(shape.lower_hz)} wide 10 dB down and highest in the middle, as FM is: by Carson's rule a "
            f"deviation of about {deviation_hz / 1e3:.0f} kHz with audio up to 15 kHz"
        )
        return Look(usual, (stands_out, clue))
    return Look(usual, (stands_out,))


def _soft(evidence: Evidence, seen: Sighting) -> str:
    """A sentence for a rise that is no higher than noise and has edges softer than a signal's, else nothing."""
    edges_hz, height_db = _edges(evidence, seen)
    if not 0 < height_db <= HIGHEST_RISE_DB or min(edges_hz) < max(
        SOFT_EDGE_HZ, FEWEST_IN_EDGE * float(evidence.heard.axis.step_hz)
    ):
        return ""
    return (
        f"rises by {height_db:.0f} dB with soft edges, {format_width(min(edges_hz))} wide at least: broad noise, as "
        "lights, screens and supplies make, or overload, rather than one signal"
    )


def _edges(evidence: Evidence, seen: Sighting) -> tuple[tuple[float, float], float]:
    """Widths in hertz of the lower and the upper edge (a quarter to three quarters of the height), and the height."""
    heard, step = evidence.heard, float(evidence.heard.axis.step_hz)
    window = max(3, round(EDGE_WINDOW_HZ / step)) | 1
    reach = max(window, round(EDGE_HZ / step))
    begin, end = max(0, seen.first - reach), min(heard.axis.n, seen.last + reach)
    above = _mean_while_on_db(evidence, seen, begin, end) - evidence.floor.noise_db[begin:end]
    level = running_quantile(above, window, 0.5, hop=1)
    inside = level[seen.first - begin : seen.last - begin]
    height = float(np.nanquantile(inside, 0.75)) if inside.size else 0.0
    return (
        _crossing(level, seen.first - begin, height, step),
        _crossing(level[::-1], end - seen.last, height, step),
    ), height


def _mean_while_on_db(evidence: Evidence, seen: Sighting, begin: int, end: int) -> NDArray[np.float64]:
    """Mean power of some bins while the stretch was on, dB, shape (bin,)."""
    heard, rows = evidence.heard, np.flatnonzero(seen.on)
    if rows.size in (0, heard.n_sweeps):
        return heard.mean_db[begin:end]
    rows = rows[:: max(1, rows.size // MOST_ROWS)]
    linear = 10.0 ** (heard.levels_db[rows, begin:end].astype(np.float64) / 10.0)
    valid = np.isfinite(linear)
    mean = np.where(valid, linear, 0.0).sum(axis=0) / np.maximum(1, valid.sum(axis=0))
    return np.asarray(10.0 * np.log10(np.where(valid.any(axis=0), mean, np.nan)), dtype=np.float64)


def _crossing(level_db: NDArray[np.float64], first: int, height_db: float, step_hz: float) -> float:
    """Width in which the level rises from a quarter to three quarters of the height, around ``first``, in hertz."""
    above = np.flatnonzero(level_db[first:] >= 0.75 * height_db)
    if above.size == 0:
        return 0.0
    top = first + int(above[0])
    below = np.flatnonzero(level_db[:top] <= 0.25 * height_db)
    return (top - int(below[-1])) * step_hz if below.size else top * step_hz
