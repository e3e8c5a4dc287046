"""What is found on the air: blocks, narrow carriers, bursts; how strong each is while on, and how often that is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.apart import set_apart
from fallow.spectrum.found.blocks import Block
from fallow.spectrum.found.gatherings import Gathering, find_combs, find_hopping
from fallow.spectrum.found.looks import Look, Sighting, from_phones, look_at
from fallow.spectrum.found.mirrored import also_mirrored
from fallow.spectrum.found.on_air import on_air, told_on_air
from fallow.spectrum.found.own_patterns import Tuning, at_tuning_edge
from fallow.spectrum.found.standing_out import FALSE_EMITTERS, LEAST_ABOVE_FLOOR_DB, NARROW_HZ, Stretch, find_stretches
from fallow.spectrum.found.together import pattern_of
from fallow.spectrum.noise.crowded import HIGHEST_RISE_DB
from fallow.spectrum.verdict import Emitter
from fallow.spectrum.verdicts.deciding import Evidence
from fallow.spectrum.verdicts.window_levels import geometry_of, pieces, powers_in, sum_over

__all__ = ["MOST_EMITTERS", "find_emitters"]

HELD = "the highest level of a time that is not known: how often it is on can't be told"
MOST_EMITTERS = 400  # listed; beyond that the strongest


def find_emitters(
    evidence: Evidence, blocks: Sequence[Block], confidence_pct: float, tuning: Tuning | None = None
) -> list[Emitter]:
    """Emitters of one series: its blocks, and whatever else stands out from the floor in some sweep or in their mean.

    Lines of the instrument itself and our own carriers are none. What belongs together (a comb of lines, bursts that
    hop) is one emitter.
    """
    lines = evidence.own_lines | evidence.suspect_lines
    stretches = set_apart(evidence.heard, evidence.floor.noise_db, find_stretches(evidence, blocks), lines)
    lows, highs = evidence.heard.axis.cells_hz
    low = np.array([block.low_hz for block in blocks] + [float(lows[one.first]) for one in stretches])
    high = np.array([block.high_hz for block in blocks] + [float(highs[one.last - 1]) for one in stretches])
    if low.size == 0:
        return []
    met = _while_on(evidence, low, high, _patterns(evidence, stretches, len(blocks)))
    emitters = [
        _emitter(evidence, met, (index,), _look_of(evidence, met, block, index), confidence_pct)
        for index, block in enumerate(blocks)
    ]
    beyond, taken = len(blocks), set[int]()
    for gathering in _gatherings(evidence, stretches, met, beyond):
        members = tuple(beyond + k for k in gathering.members)
        emitters.append(_emitter(evidence, met, members, Look(gathering.looks_like, gathering.clues), confidence_pct))
        taken.update(gathering.members)
    for k, one in enumerate(stretches):
        if k not in taken:
            on, looked = met.on[:, beyond + k], met.looked[:, beyond + k]
            look = look_at(evidence, Sighting(one.first, one.last, one.broad, on, int(looked.sum())))
            if one.lift_db:
                lift = f"rises and falls as a whole, by {one.lift_db:.0f} dB"
                look = Look(look.looks_like, (*look.clues, lift))
            if one.broad:
                mirrored = also_mirrored(evidence.heard, evidence.floor, blocks, low[beyond + k], high[beyond + k])
                look = Look("noise-like block", (mirrored, *look.clues)) if mirrored else look
            own = at_tuning_edge(tuning, low[beyond + k], high[beyond + k], float(evidence.heard.axis.step_hz))
            if own:  # what moves there is the receiver, no phone
                look = Look("unknown" if look.looks_like == "mobile uplink" else look.looks_like, (*look.clues, own))
            emitters.append(_emitter(evidence, met, (beyond + k,), look, confidence_pct))
    return emitters


def _look_of(evidence: Evidence, met: _Met, block: Block, index: int) -> Look:
    """What a block looks like, now that it is known when it was on."""
    if block.looks_like == "noise-like block" and block.mirrored_sum_hz is None:
        bins = evidence.heard.axis.bins_touching(block.low_hz, block.high_hz)
        on, looked = met.on[:, index], met.looked[:, index]
        seen = Sighting(bins.start, bins.stop, True, on, int(looked.sum()))
        look = from_phones(evidence, seen, (block.low_hz, block.high_hz))
        if look is not None:
            return Look(look.looks_like, (*block.evidence, *look.clues))
    return Look(block.looks_like, block.evidence)


@dataclass(frozen=True, eq=False)
class _Met:
    """Spans and how they were met: ``level_db`` while on, shape (span,); ``on``, ``looked``: shape (sweep, span)."""

    low_hz: NDArray[np.float64]
    high_hz: NDArray[np.float64]
    level_db: NDArray[np.float64]
    on: NDArray[np.bool_]
    looked: NDArray[np.bool_]


def _gatherings(evidence: Evidence, stretches: list[Stretch], met: _Met, beyond: int) -> list[Gathering]:
    combs = find_combs(evidence, stretches, met.on[:, beyond:])
    taken = {k for comb in combs for k in comb.members}
    moving = [one.broad or not met.on[met.looked[:, beyond + k], beyond + k].all() for k, one in enumerate(stretches)]
    restless = [k for k, moves in enumerate(moving) if moves and k not in taken]
    if not restless:
        return combs
    hopping = find_hopping(evidence, [stretches[k] for k in restless])
    return combs + [Gathering(tuple(restless[k] for k in one.members), one.looks_like, one.clues) for one in hopping]


def _emitter(evidence: Evidence, met: _Met, spans: tuple[int, ...], look: Look, confidence_pct: float) -> Emitter:
    """One emitter of one span, or of several that belong together: on when any is, as strong as all."""
    which = list(spans)
    low, high = float(met.low_hz[which].min()), float(met.high_hz[which].max())
    power = (
        float((10.0 ** (met.level_db[which] / 10.0)).sum())
        if look.looks_like != "hopping"
        else float(10.0 ** (met.level_db[which].max() / 10.0))
    )
    on, looked = np.any(met.on[:, which], axis=1), np.any(met.looked[:, which], axis=1)
    times = on_air(on, looked, evidence.heard.times_s, confidence_pct)
    held = evidence.heard.held
    told = (HELD,) if held else told_on_air(times, zone_known=evidence.heard.zone_known)
    return Emitter(
        low_hz=round(low),
        high_hz=round(high),
        centre_hz=round((low + high) / 2),
        level_dbm=round(10.0 * float(np.log10(power)), 2),
        looks_like=look.looks_like,
        evidence=(*look.clues, *told),
        on_share=times.share,
        on_share_low=0.0 if held else times.low,
        on_share_high=1.0 if held else times.high,
        first_s=times.first_s,
        last_s=times.last_s,
        period_s=times.period_s,
        period_u_s=times.period_u_s,
        zone_known=evidence.heard.zone_known,
        times=None if held else times,
        told_times=told,
    )


def _patterns(evidence: Evidence, stretches: Sequence[Stretch], beyond: int) -> dict[int, NDArray[np.bool_]]:
    """In which sweeps what comes and goes as a whole was on, by its place among the spans, shape (sweep,) each."""
    return {
        beyond + k: pattern_of(evidence.heard, evidence.floor.noise_db, one.first, one.last)
        for k, one in enumerate(stretches)
        if one.lift_db
    }


def _while_on(
    evidence: Evidence,
    low_hz: NDArray[np.float64],
    high_hz: NDArray[np.float64],
    patterns: Mapping[int, NDArray[np.bool_]],
) -> _Met:
    """Each span's level while on, the sweeps in which it was on (by ``patterns`` where they tell), and those that
    looked.
    """
    heard, floor = evidence.heard, evidence.floor
    geometry = geometry_of(heard, low_hz, high_hz)
    nothing = np.zeros(heard.axis.n, dtype=bool)
    ratio = np.minimum(1.0, heard.steps_hz / heard.rbw_hz)
    noise = sum_over(heard, np.nan_to_num(10.0 ** (floor.noise_db / 10.0)) * ratio, low_hz, high_hz) * geometry.scale
    level, shape = np.full(low_hz.size, np.nan), (heard.n_sweeps, low_hz.size)
    on, looked = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    usual_noise = replace(heard.upper_tail, heavy=None)  # what was found is no noise; its far end would hide it again
    for piece in pieces(heard, geometry):
        part = type(geometry)(**{name: getattr(geometry, name)[piece] for name in geometry.__dataclass_fields__})
        powers = powers_in(heard, part, floor.noise_db, nothing)
        held = np.where(powers.valid, powers.least, 0.0)
        tail = FALSE_EMITTERS / max(1, heard.n_sweeps)
        by_noise = noise[piece] * 10.0 ** (usual_noise.exceeded_db(tail, part.cells) / 10.0)
        half_way = np.sqrt(np.maximum(noise[piece], 1e-300) * np.maximum(held.max(axis=0), 1e-300))
        heard_on = powers.valid & (held >= np.minimum(np.maximum(by_noise, half_way), held.max(axis=0)))
        for place in np.flatnonzero(np.isin(piece, list(patterns))):
            heard_on[:, place] = patterns[int(piece[place])] & powers.valid[:, place]
        on[:, piece], looked[:, piece] = heard_on, powers.valid
        mean = np.where(heard_on, held, 0.0).sum(axis=0) / np.maximum(heard_on.sum(axis=0), 1)
        level[piece] = 10.0 * np.log10(np.maximum(mean, 1e-300))
    any_on = _any_bin_on(evidence, low_hz, high_hz)
    any_on[:, list(patterns)] = False
    on |= any_on & looked
    return _Met(low_hz, high_hz, level, on, looked)


def _any_bin_on(evidence: Evidence, low_hz: NDArray[np.float64], high_hz: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Sweeps in which any bin of a wide span stood out by more than noise makes in any bin and sweep, (sweep, span).

    A band counts as occupied when any sample in it does (Rec. ITU-R SM.1880): a phone that uses a few channels of many
    is lost in the sum over all of them.
    """
    heard, floor = evidence.heard, evidence.floor
    on = np.zeros((heard.n_sweeps, low_hz.size), dtype=bool)
    wide = np.flatnonzero(high_hz - low_hz > NARROW_HZ)
    if wide.size == 0:
        return on
    single = float(heard.upper_tail.exceeded_db(FALSE_EMITTERS / (heard.axis.n * heard.n_sweeps)))
    least = (floor.noise_db + max(single, LEAST_ABOVE_FLOOR_DB)).astype(np.float32)
    least[evidence.own_lines | evidence.suspect_lines | ~np.isfinite(least)] = np.inf
    spans = [(int(index), heard.axis.bins_touching(low_hz[index], high_hz[index])) for index in wide]
    groups = [np.searchsorted(floor.group_centres_hz, (low_hz[index], high_hz[index])) for index in wide]
    rises = [
        np.minimum(floor.rises_db[:, max(0, first - 1) : last + 1].max(axis=1, initial=0.0), HIGHEST_RISE_DB)
        for first, last in groups
    ]
    for rows, block in heard.levels_db.blocks():
        for (index, bins), rise in zip(spans, rises, strict=True):
            on[rows, index] = (block[:, bins] > least[bins] + rise[rows, None]).any(axis=1)
    return on
