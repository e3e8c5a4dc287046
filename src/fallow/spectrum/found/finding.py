"""What is found in one series: its floor, lines of the instrument, blocks, emitters, and the patterns of its tuning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.as_one import on_as_one
from fallow.spectrum.found.blocks import Block, find_mobile, find_television
from fallow.spectrum.found.emitters import find_emitters
from fallow.spectrum.found.lines import Line, bins_of, find_lines, own_lines, steady_unmodulated, suspect_lines
from fallow.spectrum.found.mirrored import with_causes
from fallow.spectrum.found.moving_lines import doubted
from fallow.spectrum.found.own_patterns import Tuning, find_tuning, placed, told_clocks, told_tuning
from fallow.spectrum.found.services import usual_rasters
from fallow.spectrum.found.tuned_floor import with_tuning_steps
from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.noise_floor import find_floor
from fallow.spectrum.noise.own_filter import filter_shape_db
from fallow.spectrum.verdict import Emitter
from fallow.spectrum.verdicts.deciding import FLOOR_RISE_DB, Evidence
from fallow.spectrum.verdicts.overload import find_overload
from fallow.units import Channel

__all__ = ["Found", "Lines", "find", "loads_of"]

QUIETER_DB = 3.0  # an antenna adds to the noise of a load and takes none from it; common practice, for what scatters


def loads_of(part: Heard, loads: Sequence[Heard], heard: Sequence[Heard]) -> list[Heard]:
    """The references that speak for a series: those known to be another instrument's do not."""
    others = {other.instrument for other in heard} - {part.instrument, ""}
    return [load for load in loads if load.instrument not in others]


@dataclass(frozen=True, eq=False)
class Found:
    """What one series holds: lines of the instrument (proven, suspected, or moving with its tuning), blocks, emitters,
    and ``patterns``, which are notes for people.
    """

    evidence: Evidence
    own: tuple[Line, ...]
    suspect: tuple[Line, ...]
    moving: tuple[Line, ...]
    blocks: tuple[Block, ...]
    emitters: tuple[Emitter, ...]
    patterns: tuple[str, ...]


@dataclass(frozen=True)
class Lines:
    """The lines of a series; those of them that move with its tuning, and the places of those that may."""

    every: tuple[Line, ...]
    moving: tuple[Line, ...]
    perhaps_hz: tuple[float, ...] = ()


def find(
    heard: Heard,
    seen: Lines,
    loads: Sequence[Heard],
    raster: Sequence[Channel],
    confidence_pct: float,
    *,
    absolute: bool,
) -> Found:
    """Floor, lines, blocks and emitters of a series. ``loads``: the references that speak for it. ``raster``: the TV
    channels of the region, if one is known.
    """
    reference_db, other_settings = _believable(_reference_floor(heard, loads), heard)
    referenced = bool(np.isfinite(reference_db).any())
    own_shape_db = None if referenced else filter_shape_db(heard)
    floor = find_floor(heard, reference_db if referenced else own_shape_db)
    lines = seen.every
    own = tuple(line for load in loads for line in own_lines(heard, lines, load))
    told = (*own, *seen.moving)
    unproven = tuple(line for line in lines if not any(other.first <= line.peak < other.last for other in told))
    plain = steady_unmodulated(heard, unproven)
    suspect = suspect_lines(heard, unproven, plain, absolute=absolute, loads=loads if referenced else ())
    ordinary = np.where(floor.noise_db > floor.ordinary_db + FLOOR_RISE_DB, floor.ordinary_db, floor.noise_db)
    base = floor.noise_db if absolute else np.where(np.isfinite(reference_db), reference_db, ordinary)
    own_bins, suspect_bins = (bins_of(some, heard.axis.n) for some in (own, (*suspect, *seen.moving)))
    own_bins |= heard.axis.cells_hz[0] <= 0.0  # at 0 Hz a receiver shows itself
    overload = find_overload(heard, floor)
    filtered = own_shape_db is not None
    evidence = Evidence(heard, floor, base, referenced, own_bins, suspect_bins, overload.bins, filtered)
    shape = reference_db if referenced else np.zeros(heard.axis.n)
    flagged = evidence.own_lines | evidence.suspect_lines
    shaped = find_television(heard, shape, raster or usual_rasters(), flagged)
    television = [block for block in shaped if on_as_one(heard, floor.ordinary_db, block.low_hz, block.high_hz)]
    blocks = with_causes(heard, floor, (*television, *find_mobile(heard, floor, television)))
    tuning = _tuning(heard, lines, loads if referenced else (), blocks)
    listed = evidence
    patterns = told_clocks(plain, float(heard.axis.step_hz)) + (() if tuning is None else (told_tuning(tuning),))
    if tuning is not None:  # what its steps raise as a whole is no block, and nothing stands out there
        followed = with_tuning_steps(heard, floor, tuning)
        blocks = with_causes(heard, floor, (*television, *find_mobile(heard, followed, television)))
        listed = replace(evidence, floor=followed)
    on_air = find_emitters(listed, blocks, confidence_pct, tuning)
    emitters = tuple(doubted(emitter, seen.perhaps_hz) for emitter in on_air)
    return Found(evidence, own, suspect, seen.moving, blocks, emitters, (*overload.notes, *other_settings, *patterns))


def _believable(reference_db: NDArray[np.float64], heard: Heard) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """The floor of the reference, or none where most of the sweeps lie below it; and a sentence that says so."""
    compared = np.isfinite(reference_db) & np.isfinite(heard.mean_db)
    below_db = float(np.median((reference_db - heard.mean_db)[compared])) if compared.any() else 0.0
    if below_db <= QUIETER_DB:
        return reference_db, ()
    return np.full_like(reference_db, np.nan), (
        f"most of the sweeps lie {below_db:.0f} dB below the floor of the reference, as they can't with the same "
        "settings: its lines count, its floor does not",
    )


def _tuning(heard: Heard, lines: tuple[Line, ...], loads: Sequence[Heard], blocks: Sequence[Block]) -> Tuning | None:
    """The instrument's tuning step, from the reference where it shows one: it holds nothing but the instrument."""
    known = (find_tuning(load, find_lines(load)) for load in loads)
    from_load = next((tuning for tuning in known if tuning is not None), None)
    if from_load is not None:
        return placed(from_load, heard, lines)
    return find_tuning(heard, lines, blocks)


def _reference_floor(heard: Heard, loads: Sequence[Heard]) -> NDArray[np.float64]:
    """The floor of the reference on the axis of a series, NaN where it was not swept; noise goes with the bandwidth."""
    centres = heard.axis.centres_hz
    floor = np.full(centres.size, np.nan)
    for load in loads:
        covered = (centres >= load.axis.low_hz) & (centres <= load.axis.high_hz) & np.isnan(floor)
        wider_db = 10.0 * np.log10(heard.rbw_hz / load.rbw_hz)
        floor[covered] = np.interp(centres[covered], load.axis.centres_hz, find_floor(load).noise_db) + wider_db
    return floor
