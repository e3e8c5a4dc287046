"""A survey judged: what is on the air, and the verdict of any slice or window of it.

``judge`` prepares everything that does not depend on the question (corrections, floors, lines, blocks, emitters); the
``Air`` that it returns is then asked for slices (as bad as their worst window) or for single windows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.errors import UsageError
from fallow.spectrum.chain import BudgetLine, Chain, budget_of, combined_u_db
from fallow.spectrum.found.blocks import Block
from fallow.spectrum.found.emitters import MOST_EMITTERS
from fallow.spectrum.found.finding import Found, Lines, find, loads_of
from fallow.spectrum.found.lines import find_lines
from fallow.spectrum.found.moving_lines import find_moving
from fallow.spectrum.found.one_list import Sightings, one_list
from fallow.spectrum.heard import Heard, is_absolute, make_ready, mixed_scales
from fallow.spectrum.instruments.instrument_notes import instrument_notes
from fallow.spectrum.instruments.instruments import Instruments, compare_instruments, differing_u_db
from fallow.spectrum.instruments.trust import Trust, side_by_side, worst_of
from fallow.spectrum.statistics import missed_share
from fallow.spectrum.sweep import Survey
from fallow.spectrum.verdict import (
    USUAL_LIMIT_ABOVE_FLOOR_DB,
    USUAL_LIMIT_DBM,
    Emitter,
    JudgedSlice,
    Judging,
    Verdict,
    WindowVerdicts,
)
from fallow.spectrum.verdicts.deciding import Decided, Evidence, Flag, Rule, decide
from fallow.spectrum.verdicts.reasons import RELATIVE_PROOF, Circumstances, SliceWindows, reasons_of
from fallow.spectrum.verdicts.window_levels import perhaps_high_db
from fallow.units import Channel, Span, format_mhz

__all__ = ["ANTENNA_NOT_PROVEN", "Air", "judge", "stretch_of"]

ANTENNA_NOT_PROVEN = (
    "antenna not proven: nothing stands out beyond what noise alone may show, and so it looks in a quiet place and "
    "with an antenna that is not connected"
)
DEAFNESS = Flag.DEAF | Flag.BELOW_KTB | Flag.OVERLOAD | Flag.COARSE
STRONG_DB = 20.0  # above the floor: may overload a receiver. Common practice
SHOWN_DB = 1.5  # above the floor: an announced channel counts as heard
MOST_LINES_NAMED = 12
READY_SHARE = 0.3  # of the time until a survey is ready for questions
Edges = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Air:
    """A survey judged, ready to be asked. Levels are dBm at the antenna, or with a relative basis the source's own
    unit.

    ``limit_dbm`` or ``limit_above_floor_db`` is the limit that was used, the other is ``None``. ``missed_share``:
    share of time that an emitter can be on and yet stay unseen. ``low_hz``, ``high_hz``: extent of what was swept.
    ``instruments``: how those of the survey compare, where there are several.
    """

    basis: str
    limit_dbm: float | None
    limit_above_floor_db: float | None
    floor_from: str
    confidence_pct: float
    link_width_hz: int
    sweeps: int
    missed_share: float
    emitters: tuple[Emitter, ...]
    notes: tuple[str, ...]
    budget: tuple[BudgetLine, ...]
    low_hz: float
    high_hz: float
    evidence: tuple[Evidence, ...]
    rule: Rule
    circumstances: Circumstances
    instruments: Instruments | None = None

    @property
    def heard_with_floors(self) -> tuple[tuple[Heard, NDArray[np.float64]], ...]:
        """Each series as it was judged, with its noise floor per bin in dB: what a picture needs."""
        return tuple((part.heard, part.floor.noise_db) for part in self.evidence)

    def judge_slices(
        self, channels: Sequence[Channel], progress: Callable[[float], None] | None = None
    ) -> tuple[JudgedSlice, ...]:
        """Each slice as bad as its worst window of a link's width, windows half overlapping. ``progress``: told the
        share that is done, 0 to 1.
        """
        laid = [_lay(channel, self.link_width_hz) for channel in channels]
        if not laid:
            return ()
        low, high = (np.concatenate([edges[side] for edges in laid]) for side in (0, 1))
        slices = np.repeat(np.arange(len(laid)), [edges[0].size for edges in laid])
        decided = self._decide(low, high, slices, progress)
        ends = np.cumsum([0, *(edges[0].size for edges in laid)])
        return tuple(
            self._sum_up(channel, low[first:last], high[first:last], _part(decided, slice(first, last)))
            for channel, first, last in zip(channels, ends[:-1], ends[1:], strict=True)
        )

    def judge_windows(self, low_hz: NDArray[np.floating], high_hz: NDArray[np.floating]) -> WindowVerdicts:
        """The verdict of each window [low, high] in hertz, exactly as wide as it is. Raises ValueError where one is
        empty.
        """
        low, high = np.asarray(low_hz, dtype=np.float64), np.asarray(high_hz, dtype=np.float64)
        if low.shape != high.shape or low.ndim != 1 or bool(np.any(high <= low)):
            raise ValueError("windows need a lower and a higher edge each")
        decided = self._decide(low, high, np.arange(low.size))
        return WindowVerdicts(decided.verdict, decided.level_db, decided.u_db, decided.floor_db, decided.margin_db)

    def judge_window(self, low_hz: float, high_hz: float) -> JudgedSlice:
        """One window [low, high] in hertz with its reasons."""
        low, high = np.array([float(low_hz)]), np.array([float(high_hz)])
        decided = self._decide(low, high, np.zeros(1, dtype=np.int64))
        return self._sum_up(Channel("", round(low_hz), round(high_hz)), low, high, decided)

    def _decide(
        self, low: Edges, high: Edges, slices: NDArray[np.int64], progress: Callable[[float], None] | None = None
    ) -> Decided:
        parts = self.evidence
        trust = Trust(tuple(self.circumstances.misreadings), self.rule.confidence)
        decided = []
        for index, part in enumerate(parts):
            stretch = stretch_of(progress, index / len(parts), (index + 1) / len(parts))
            found = decide(part, self.rule, low, high, slices, stretch)
            decided.append(trust.weighed(part, side_by_side(part, parts), found, low, high))
        worst = worst_of(decided)
        _overlay(worst, low, high, self.circumstances)
        return replace(worst, level_db=worst.level_db + worst.edge_db)

    def _sum_up(self, channel: Channel, low: Edges, high: Edges, decided: Decided) -> JudgedSlice:
        verdict = Verdict(int(decided.verdict.max()))
        over = np.where(decided.verdict == verdict, decided.level_db - decided.limit_db, -np.inf)
        key = int(np.argmax(np.nan_to_num(over, nan=-1e9)))
        return JudgedSlice(
            name=channel.name,
            low_hz=channel.low_hz,
            high_hz=channel.high_hz,
            verdict=verdict,
            reasons=reasons_of(verdict, SliceWindows(low, high, decided, key), self.circumstances),
            level_dbm=_number(decided.level_db[key]),
            u_db=_number(decided.u_db[key]),
            floor_dbm=_number(decided.floor_db[key]),
            shares=_shares(low, high, decided.verdict),
            at_hz=float((low[key] + high[key]) / 2),
            deaf=bool((decided.flags & DEAFNESS).any()),
            stands_out=bool((decided.flags & (Flag.ABOVE | Flag.BLOCK)).any()),
        )


def stretch_of(progress: Callable[[float], None] | None, begin: float, end: float) -> Callable[[float], None] | None:
    """What tells of a part of the work as the stretch of the whole from ``begin`` to ``end``."""
    return None if progress is None else lambda share: progress(begin + (end - begin) * share)


def judge(
    survey: Survey,
    judging: Judging = Judging(),  # noqa: B008 - a frozen value
    *,
    raster: Sequence[Channel] = (),
    reference: Survey | None = None,
    chain: Chain | None = None,
    own: Sequence[Span] = (),
    announced: Sequence[Channel] = (),
    known: Sequence[Channel] = (),
    progress: Callable[[float], None] | None = None,
) -> Air:
    """Judge a survey against a limit.

    ``raster``: the TV channels of the region, if one is known. ``reference``: sweeps with a load in place of the
    antenna. ``own``: spans in which our own carriers were on. ``announced``: TV channels that are on the air by
    announcement. ``known``: emitters that are known to be on the air there. ``progress``: told the share that is done,
    0 to 1. Raises UsageError for a limit that does not fit the survey's levels, for a reference in another unit, and
    where there are no levels.
    """
    absolute = is_absolute(survey, chain)
    budget = _budget(survey, chain, absolute=absolute, referenced=reference is not None)
    rule = _rule(judging, budget, survey, absolute=absolute)
    heard, notes = make_ready(survey, chain, own, absolute=absolute)
    if progress is not None:
        progress(READY_SHARE)
    loads = _loads(reference, survey, chain, absolute=absolute)
    lines = [find_lines(part) for part in heard]
    moving = find_moving(heard, lines)
    found = []
    for index, part in enumerate(heard):
        seen = Lines(lines[index], moving.lines[index], moving.perhaps_hz[index])
        its_loads = loads_of(part, loads, heard)
        found.append(find(part, seen, its_loads, raster, judging.confidence_pct, absolute=absolute))
        if progress is not None:
            progress(READY_SHARE + (1.0 - READY_SHARE) * (index + 1) / len(heard))
    evidence = tuple(one.evidence for one in found)
    sightings = [Sightings(one.evidence, _told_half_way(one, absolute=absolute)) for one in found]
    emitters = one_list(sightings, judging.confidence_pct, absolute=absolute, most=MOST_EMITTERS)
    instruments = compare_instruments(evidence, differing_u_db(chain) if absolute else 0.0, judging.confidence_pct)
    around = _circumstances(evidence, found, judging, (announced, known), instruments, absolute=absolute)
    fewest = _fewest_looks(heard)
    return Air(
        basis="absolute" if absolute else "relative",
        limit_dbm=rule.limit_dbm,
        limit_above_floor_db=rule.above_floor_db,
        floor_from="reference" if any(part.from_reference for part in evidence) else "survey",
        confidence_pct=judging.confidence_pct,
        link_width_hz=judging.link_width_hz,
        sweeps=survey.n_sweeps,
        missed_share=missed_share(fewest, judging.confidence_pct),
        emitters=emitters,
        notes=(
            *notes,
            *_notes(around, emitters),
            *moving.notes,
            *dict.fromkeys(told for one in found for told in one.patterns),
            *(part.upper_tail.heavy.told(part.name) for part in heard if part.upper_tail.heavy),
            *(() if instruments is None else instrument_notes(instruments, evidence)),
        ),
        budget=budget,
        low_hz=min(part.axis.low_hz for part in heard),
        high_hz=max(part.axis.high_hz for part in heard),
        evidence=evidence,
        rule=rule,
        circumstances=around,
        instruments=instruments,
    )


# --- what is asked for


def _rule(judging: Judging, budget: tuple[BudgetLine, ...], survey: Survey, *, absolute: bool) -> Rule:
    if absolute and judging.limit_above_floor_db is not None:
        raise UsageError(
            "a limit above the floor is for relative levels, and these are in dBm",
            hint="give the limit in dBm with --limit",
        )
    if not absolute and judging.limit_dbm is not None:
        mixed = mixed_scales(survey)
        raise UsageError(
            f"a limit in dBm can't be held against relative levels{f' ({mixed})' if mixed else ''}",
            hint="give --limit-above-floor, or a --chain with a row of kind instrument that states the scale",
        )
    varying = budget if any(line.over_frequency is not None for line in budget) else ()
    confidence, u_db = judging.confidence_pct / 100.0, combined_u_db(budget)
    if absolute:
        limit = USUAL_LIMIT_DBM if judging.limit_dbm is None else judging.limit_dbm
        return Rule(limit, None, confidence, u_db, varying)
    above = USUAL_LIMIT_ABOVE_FLOOR_DB if judging.limit_above_floor_db is None else judging.limit_above_floor_db
    return Rule(None, above, confidence, u_db, varying)


def _budget(survey: Survey, chain: Chain | None, *, absolute: bool, referenced: bool) -> tuple[BudgetLine, ...]:
    if not absolute:
        return _relative_budget(referenced=referenced)
    swept = [series.axis for series in survey.series if series.n_sweeps > 0]
    if not swept:
        return budget_of(chain)
    return budget_of(chain, (min(axis.low_hz for axis in swept), max(axis.high_hz for axis in swept)))


def _relative_budget(*, referenced: bool) -> tuple[BudgetLine, ...]:
    """What is left when a level and a floor of the same instrument are compared: common errors cancel (JCGM 100,
    F.1.2.3).
    """
    defaults = {line.part: line for line in budget_of(None)}
    if referenced:
        return (
            defaults["repeatability"],
            BudgetLine(
                "repeatability of the reference", defaults["repeatability"].u_db, defaults["repeatability"].source
            ),
        )
    return defaults["repeatability"], defaults["response"]


def _loads(reference: Survey | None, survey: Survey, chain: Chain | None, *, absolute: bool) -> tuple[Heard, ...]:
    if reference is None:
        return ()
    if not absolute and not {one.unit for one in reference.series} <= {one.unit for one in survey.series}:
        raise UsageError(
            "the reference has absolute levels and the survey relative ones",
            hint="say so with --level-unit if both are dBm",
        )
    if absolute and not is_absolute(reference, chain):
        raise UsageError(
            "the reference has relative levels and the survey absolute ones",
            hint="say so with --level-unit if both are dBm",
        )
    return make_ready(reference, chain, absolute=absolute)[0]


# --- what is found


def _fewest_looks(heard: Sequence[Heard]) -> int:
    """Sweeps at the place that was looked at least; instruments and traces that ran side by side count once."""
    edges = np.unique([edge for part in heard for edge in (part.axis.low_hz, part.axis.high_hz)])
    looks = [
        max((part.n_sweeps for part in heard if part.axis.low_hz <= low and high <= part.axis.high_hz), default=0)
        for low, high in pairwise(edges)
    ]
    return min((count for count in looks if count > 0), default=0)


def _told_half_way(found: Found, *, absolute: bool) -> list[Emitter]:
    """The emitters of a series, their levels told as those of windows are where the resolution is not stated."""
    widths = np.array([emitter.high_hz - emitter.low_hz for emitter in found.emitters], dtype=np.float64)
    lower_db = perhaps_high_db(found.evidence.heard, widths) / 2.0 if absolute else np.zeros(widths.size)
    return [
        replace(emitter, level_dbm=round(emitter.level_dbm - float(by_db), 2))
        for emitter, by_db in zip(found.emitters, lower_db, strict=True)
    ]


def _circumstances(
    evidence: Sequence[Evidence],
    found: Sequence[Found],
    judging: Judging,
    expected: tuple[Sequence[Channel], Sequence[Channel]],
    instruments: Instruments | None,
    *,
    absolute: bool,
) -> Circumstances:
    announced, known = expected
    blocks = tuple(block for one in found for block in one.blocks)
    strong = [
        (float(emitter.low_hz), float(emitter.high_hz))
        for one in found
        for emitter in one.emitters
        if emitter.high_hz - emitter.low_hz > 1e6 and _height_db(one.evidence, emitter) >= STRONG_DB
    ]
    return Circumstances(
        absolute=absolute,
        from_reference=any(part.from_reference for part in evidence),
        confidence_pct=judging.confidence_pct,
        link_width_hz=judging.link_width_hz,
        n_sweeps=max(part.heard.n_sweeps for part in evidence),
        rbw_assumed=not all(part.heard.rbw_known for part in evidence),
        perhaps_rbw_hz=_perhaps_rbw_hz([part.heard for part in evidence]) if absolute else 0.0,
        impulsive=any(part.heard.upper_tail.heavy is not None for part in evidence),
        own_lines_hz=_own_lines_hz(found, shown=True),
        hidden_lines_hz=np.setdiff1d(_own_lines_hz(found, shown=False), _own_lines_hz(found, shown=True)),
        suspect_lines_hz=np.unique([line.frequency_hz for one in found for line in one.suspect]),
        moving_lines_hz=np.unique([line.frequency_hz for one in found for line in one.moving]),
        blocks=blocks,
        announced=tuple(
            Block(channel.low_hz, channel.high_hz, "announced as on the air", (f"channel {channel.name}",))
            for channel in announced
        ),
        missing=tuple(f"channel {channel.name}" for channel in announced if _not_shown(channel, evidence, blocks)),
        unheard=tuple(_named(one) for one in known if _is_heard(one, found) is False),
        unswept=tuple(_named(one) for one in known if _is_heard(one, found) is None),
        strong=strong,
        misreadings=() if instruments is None else instruments.misreadings,
        peaks_db=max(part.heard.noise.bias_db for part in evidence),
    )


def _perhaps_rbw_hz(heard: Sequence[Heard]) -> float:
    """How wide a resolution that was taken as the step may be, hertz; 0 where no data show more than the step."""
    return max((part.widest_rbw_hz for part in heard if part.widest_rbw_hz > part.rbw_hz), default=0.0)


def _own_lines_hz(found: Sequence[Found], *, shown: bool) -> NDArray[np.float64]:
    """Lines of the references that the sweeps show, or that they don't, in hertz, rising, each once."""
    return np.unique([line.frequency_hz for one in found for line in one.own if line.shown is shown])


def _named(emitter: Channel) -> str:
    middle_hz = (emitter.low_hz + emitter.high_hz) / 2
    return f"{emitter.name} at {format_mhz(middle_hz)} MHz" if emitter.name else f"{format_mhz(middle_hz)} MHz"


def _is_heard(known: Channel, found: Sequence[Found]) -> bool | None:
    """Whether something stands out at a known emitter's place; ``None`` where no series measured all of that."""
    looked = False
    for one in found:
        heard = one.evidence.heard
        apart = max(heard.rbw_hz, float(heard.axis.step_hz))
        low, high = known.low_hz - apart, known.high_hz + apart
        bins = heard.axis.bins_touching(low, high)
        if low < heard.axis.low_hz or high > heard.axis.high_hz or not heard.measured[bins].all():
            continue
        looked = True
        shown = [(float(emitter.low_hz), float(emitter.high_hz)) for emitter in one.emitters]
        shown += [(line.frequency_hz, line.frequency_hz) for line in (*one.own, *one.suspect)]
        if any(first <= high and low <= last for first, last in shown):
            return True
    return False if looked else None


def _height_db(evidence: Evidence, emitter: Emitter) -> float:
    """Median height of an emitter above the floor, dB."""
    bins = evidence.heard.axis.bins_touching(emitter.low_hz, emitter.high_hz)
    return float(np.nanmedian((evidence.heard.mean_db - evidence.floor.noise_db)[bins]))


def _not_shown(channel: Channel, evidence: Sequence[Evidence], blocks: Sequence[Block]) -> bool:
    """Whether series that measured all of a channel show nothing in it."""
    if any(block.low_hz < channel.high_hz and channel.low_hz < block.high_hz for block in blocks):
        return False
    looked = False
    for part in evidence:
        bins = part.heard.axis.bins_touching(channel.low_hz, channel.high_hz)
        inside = part.heard.axis.low_hz <= channel.low_hz and channel.high_hz <= part.heard.axis.high_hz
        if not inside or not part.heard.measured[bins].all():
            continue
        looked = True
        if float(np.nanmedian((part.heard.mean_db - part.floor.ordinary_db)[bins])) > SHOWN_DB:
            return False
    return looked


def _notes(around: Circumstances, emitters: Sequence[Emitter]) -> list[str]:
    notes = []
    if not around.absolute:
        notes.append(RELATIVE_PROOF)
    for lines, what in (
        (around.own_lines_hz, "also in the reference: the instrument's own, no emitters"),
        (around.hidden_lines_hz, "in the reference alone: the instrument's own, which the sweeps don't show now"),
        (
            around.suspect_lines_hz,
            "steady and narrow, and suspected to be the instrument's own: no emitters until proven",
        ),
    ):
        if lines.size:
            named = ", ".join(format_mhz(line) for line in lines[:MOST_LINES_NAMED])
            more = f" and {lines.size - MOST_LINES_NAMED} more" if lines.size > MOST_LINES_NAMED else ""
            notes.append(f"lines at {named} MHz{more} are {what}")
    if len(emitters) >= MOST_EMITTERS:
        notes.append(f"only the {MOST_EMITTERS} strongest emitters are listed")
    if around.missing:
        notes.append(f"{', '.join(around.missing)}: announced as on the air and not in the sweeps, which may be deaf")
    if around.unheard:
        notes.append(f"{', '.join(around.unheard)}: known to be on the air and not in the sweeps, which may be deaf")
    if around.unswept:
        notes.append(f"{', '.join(around.unswept)}: known to be on the air, and not in what was swept")
    if not (around.missing or around.unheard or emitters):
        notes.append(ANTENNA_NOT_PROVEN)
    return notes


# --- windows and slices


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _lay(channel: Channel, width_hz: int) -> tuple[Edges, Edges]:
    """Half overlapping windows that cover a slice; the last one ends with it. A slice narrower than a link is one
    window.
    """
    low, high = float(channel.low_hz), float(channel.high_hz)
    if high - low <= width_hz:
        return np.array([low]), np.array([high])
    lows = np.arange(low, high - width_hz, width_hz / 2)
    lows = np.append(lows, high - width_hz)
    return lows, lows + width_hz


def _overlay(decided: Decided, low: Edges, high: Edges, around: Circumstances) -> None:
    """Blocks in use and announced channels make occupied; what is missing of them makes clean doubtful."""
    if around.missing or around.unheard:
        clean = decided.verdict == Verdict.CLEAN
        decided.verdict[clean] = Verdict.DOUBTFUL
        decided.flags[clean] = Flag.ANNOUNCED_MISSING
    for blocks, flag in ((around.blocks, Flag.BLOCK), (around.announced, Flag.ANNOUNCED)):
        for block in blocks:
            touched = (low < block.high_hz) & (high > block.low_hz)
            decided.flags[touched] = np.where(decided.verdict == Verdict.OCCUPIED, decided.flags, 0)[touched] | flag
            decided.verdict[touched] = Verdict.OCCUPIED


def _part(decided: Decided, which: slice) -> Decided:
    return Decided(**{field.name: getattr(decided, field.name)[which] for field in fields(Decided)})


def _shares(low: Edges, high: Edges, verdicts: NDArray[np.uint8]) -> dict[Verdict, float]:
    """How much of the slice each verdict covers; a place has the worst verdict of the windows over it."""
    edges = np.unique(np.concatenate([low, high]))
    first = np.searchsorted(high, edges[1:])
    last = np.searchsorted(low, edges[:-1], side="right")
    ends = np.stack([first, last], axis=1).ravel()
    worst = np.maximum.reduceat(np.append(verdicts, 0), ends)[::2]
    widths = np.diff(edges)
    return {verdict: float(widths[worst == verdict].sum() / widths.sum()) for verdict in Verdict}
