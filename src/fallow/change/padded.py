"""The pad test over two surveys: every line that the one without the pad shows, judged by what is left of it.

Also what the floor does (noise from outside falls with the pad, the instrument's own does not), whether the readings
through the pad were corrected for it already, and what would help against lines that are made inside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.change.broad import find_stretches, grouped_difference
from fallow.change.narrow import WIDEST_NARROW_HZ, surroundings_db
from fallow.change.offset import floor_offset
from fallow.change.pad_lines import (
    LineReading,
    LineVerdict,
    Origin,
    PadUncertainty,
    judge_line,
    least_pad_db,
)
from fallow.change.side_by_side import Levels, Pair, Side, lay_side_by_side
from fallow.change.weighing import Sureness
from fallow.errors import UsageError
from fallow.spectrum.chain import budget_of
from fallow.spectrum.found.lines import find_lines
from fallow.spectrum.instruments.weighed import Weighed, weigh
from fallow.spectrum.judging import Air
from fallow.spectrum.verdict import Emitter
from fallow.units import format_mhz, format_span_mhz, format_width

__all__ = ["PadLine", "PadTest", "run_pad_test"]

LARGEST_PAD_DB = 60.0
TAIL = 1e-3  # chance that noise is taken for a line that comes and goes
CORRECTED_SHARE = 0.5  # of the pad, by which the floor must rise to show that readings were corrected
STRONG_DB = 20.0  # above the floor: may overload a receiver. Common practice
LEAST_ABOVE_PRODUCT_DB = 10.0  # a product of order m stands (m - 1)·(intercept - level) below. Common practice
MOST_MAKERS = 3
FEWEST_SWEEPS = 3
SINGLE_SPREAD_DB = 5.57  # standard deviation of a single noise power in dB, π/√6 · 10/ln 10
FROM_OUTSIDE = (0.3, 1.2)  # times the pad, by which noise from outside falls where it is not alone
MADE_INSIDE = 1.5


@dataclass(frozen=True)
class PadLine:
    """A line [Hz] and what the pad test says of it."""

    low_hz: int
    high_hz: int
    verdict: LineVerdict

    @property
    def centre_hz(self) -> int:
        """Middle in hertz."""
        return round((self.low_hz + self.high_hz) / 2)


@dataclass(frozen=True)
class PadTest:
    """``lines`` rise in frequency. ``corrected``: readings through the pad were corrected for it by the instrument.

    ``advice``: what would help, in words; ``notes``: what else is to be known.
    """

    pad_db: float
    lines: tuple[PadLine, ...]
    corrected: bool
    advice: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Span:
    low_hz: float
    high_hz: float


def run_pad_test(without: Air, through: Air, pad_db: float) -> PadTest:
    """Judge every line of the survey without the pad. Raises UsageError for a pad that can't be, and where the surveys
    share no spectrum.
    """
    if not 0.0 < pad_db <= LARGEST_PAD_DB:
        raise UsageError(
            f"a pad of {pad_db:g} dB can't tell anything", hint=f"give its attenuation, up to {LARGEST_PAD_DB:g} dB"
        )
    pairs = lay_side_by_side(without.evidence, through.evidence)
    if not pairs or without.basis != through.basis:
        raise UsageError(
            "the surveys without and with the pad have no spectrum in common or levels of different kinds",
            hint="take both with the same instrument and settings",
        )
    sure = PadUncertainty(math.sqrt(2.0) * _repeatability_db(without))
    corrected = _corrected(pairs, pad_db)
    lines: list[PadLine] = []
    floors: list[str] = []
    for pair in pairs:
        level = pair.with_new_lowered(pad_db) if corrected else pair
        lines += _judged(level, _spans(pair, without), pad_db, sure)
        floors += _floor_notes(level, without, pad_db, sure)
    lines.sort(key=lambda line: line.low_hz)
    return PadTest(
        pad_db=pad_db,
        lines=tuple(lines),
        corrected=corrected,
        advice=tuple(_advice(lines, without, pad_db, sure)),
        notes=(*_notes(pairs, corrected=corrected, pad_db=pad_db), *_unmoved(lines, without), *floors),
    )


def _repeatability_db(air: Air) -> float:
    stated = [line.u_db for line in (*air.budget, *budget_of(None)) if line.part == "repeatability"]
    return stated[0]


def _corrected(pairs: Sequence[Pair], pad_db: float) -> bool:
    """Whether the floor rose with the pad: the instrument adds the pad to what it shows, its own noise included."""
    floor = floor_offset(np.concatenate([grouped_difference(pair, ()) for pair in pairs]))
    return floor is not None and floor.offset_db > CORRECTED_SHARE * pad_db


# --- lines


def _spans(pair: Pair, air: Air) -> list[_Span]:
    """What stands out without the pad: emitters, and every narrow line, the instrument's own too."""
    heard = pair.old.evidence.heard
    lows, highs = heard.axis.cells_hz
    spans = [_Span(float(lows[line.first]), float(highs[line.last - 1])) for line in find_lines(heard)]
    spans += [_Span(float(one.low_hz), float(one.high_hz)) for one in air.emitters]
    apart: list[_Span] = []
    for span in sorted(spans, key=lambda span: span.low_hz - span.high_hz):  # the widest first
        whole = pair.both[pair.windows_in(span.low_hz, span.high_hz)]
        inside = any(span.low_hz < other.high_hz and other.low_hz < span.high_hz for other in apart)
        if whole.size and whole.all() and not (inside and span.high_hz - span.low_hz > WIDEST_NARROW_HZ):
            apart = [*apart, span] if not _same(span, apart) else apart
    return sorted(apart, key=lambda span: span.low_hz)


def _same(span: _Span, others: Sequence[_Span]) -> bool:
    """Whether one of about the same extent, or a narrow one around it, is there already."""
    return any(
        other.low_hz <= span.high_hz
        and span.low_hz <= other.high_hz
        and other.high_hz - other.low_hz <= WIDEST_NARROW_HZ
        for other in others
    )


def _judged(pair: Pair, spans: Sequence[_Span], pad_db: float, sure: PadUncertainty) -> list[PadLine]:
    taken = np.zeros(pair.low_hz.size, dtype=bool)
    for span in spans:
        if span.high_hz - span.low_hz <= WIDEST_NARROW_HZ:
            taken[pair.windows_in(span.low_hz, span.high_hz)] = True
    lines = []
    for span in spans:
        sides = [_weighed(pair, side, span, taken) for side in (pair.old, pair.new)]
        if not sides[0].present or sides[1].looks == 0:
            continue
        verdict = _comes_and_goes(*sides) if not sides[0].steady else None
        verdict = verdict or judge_line(_reading(sides[0]), _reading(sides[1]), pad_db, sure)
        lines.append(PadLine(round(span.low_hz), round(span.high_hz), verdict))
    return lines


def _weighed(pair: Pair, side: Side, span: _Span, taken: NDArray[np.bool_]) -> Weighed:
    if span.high_hz - span.low_hz <= WIDEST_NARROW_HZ:
        noise_db = surroundings_db(pair, side, span.low_hz, span.high_hz, taken)
    else:
        noise_db = _floor_under(pair, side.floor_db, span)
    return weigh(side.evidence, (span.low_hz, span.high_hz), noise_db, TAIL, side.crowding)


def _floor_under(pair: Pair, floor_db: Levels, span: _Span) -> float:
    inside = floor_db[pair.windows_in(span.low_hz, span.high_hz)]
    power = float(np.mean(10.0 ** (inside[np.isfinite(inside)] / 10.0)))
    return 10.0 * math.log10(power * max(1.0, (span.high_hz - span.low_hz) / pair.width_hz))


def _reading(side: Weighed) -> LineReading:
    skew = 1.0 + 0.5 * side.spread_db / SINGLE_SPREAD_DB  # few readings reach farther down than a normal law says
    return LineReading(side.level_db, side.noise_db, max(skew * side.spread_db, side.wandering_db))


def _comes_and_goes(without: Weighed, through: Weighed) -> LineVerdict:
    """A line that is not always on: its absence behind the pad proves nothing."""
    because = f"comes and goes (on in {without.on} of {without.looks} sweeps): a pad can't tell"
    drop = without.signal_db - (through.signal_db if through.present else through.level_db)
    return LineVerdict(Origin.UNDECIDED, None, drop, math.hypot(without.u_db, through.spread_db), 1.0, because)


# --- what is said besides


def _notes(pairs: Sequence[Pair], *, corrected: bool, pad_db: float) -> list[str]:
    notes = []
    if corrected:
        notes.append(
            f"the floor is higher with the pad: the instrument corrects its readings for it, so {pad_db:g} dB were "
            "taken off before anything was judged"
        )
    looks = min(int(side.looks[pair.both].min()) for pair in pairs for side in (pair.old, pair.new))
    if looks < FEWEST_SWEEPS:
        notes.append(
            f"only {looks} sweep{'s' if looks > 1 else ''} on one side: an emitter that was on in one survey and off "
            "in the other looks like one that is made inside; take several"
        )
    return notes


def _unmoved(lines: Sequence[PadLine], air: Air) -> list[str]:
    """Television and mobile can't be the instrument's own: where they do not fall, the pad was not in the way."""
    blocks = [block for block in air.circumstances.blocks if block.looks_like.startswith(("TV", "mobile"))]
    unmoved = [
        line
        for line in lines
        if line.verdict.origin is Origin.OWN
        and any(block.low_hz <= line.centre_hz <= block.high_hz for block in blocks)
        and line.high_hz - line.low_hz > WIDEST_NARROW_HZ
    ]
    if not unmoved:
        return []
    named = ", ".join(format_mhz(line.centre_hz) for line in unmoved)
    return [
        f"blocks of TV or mobile shape at {named} MHz do not fall: was the pad in the way? Or the instrument corrects "
        "for it and the floor comes from outside; then nothing here can be believed"
    ]


def _floor_notes(pair: Pair, air: Air, pad_db: float, sure: PadUncertainty) -> list[str]:
    """Stretches of floor that fall with the pad: noise from outside, or the broad noise of an overload."""
    blocks = [(block.low_hz, block.high_hz) for block in air.circumstances.blocks]
    notes = []
    for stretch in find_stretches(pair, blocks, Sureness(sure.repeat_db)):
        fall = -stretch.difference_db
        where = format_span_mhz(stretch.low_hz, stretch.high_hz)
        if fall > MADE_INSIDE * pad_db:
            notes.append(f"{where}: the level falls by {fall:.1f} dB, more than the pad takes: overload makes it")
        elif FROM_OUTSIDE[0] * pad_db <= fall <= FROM_OUTSIDE[1] * pad_db:
            notes.append(f"{where}: the level falls by {fall:.1f} dB: from outside, not the instrument's own noise")
    return notes


def _advice(lines: Sequence[PadLine], air: Air, pad_db: float, sure: PadUncertainty) -> list[str]:
    inside = [line for line in lines if line.verdict.origin is Origin.INSIDE]
    advice = []
    if inside:
        advice.append(_filter_advice(inside, air))
        advice.append(
            f"until then keep the pad in: each dB of it takes 3 dB from a product of order 3 and 1 dB from what is "
            f"real; with {pad_db:g} dB the floor stands {pad_db:g} dB higher against the air"
        )
    if any(line.verdict.origin is Origin.OWN for line in lines):
        advice.append(
            "the instrument's own lines are no emitters: a reference sweep with a load marks them (--reference)"
        )
    if any(line.verdict.origin is Origin.UNDECIDED for line in lines):
        least = least_pad_db(math.hypot(sure.repeat_db, sure.mismatch_db) / math.sqrt(2.0))
        if pad_db < least:
            advice.append(f"a pad of {math.ceil(least)} dB or more would tell the orders apart; this one is too small")
        advice.append(
            "undecided lines near the noise: take more sweeps, or a narrower resolution bandwidth, with and without pad"
        )
    return advice


def _filter_advice(inside: Sequence[PadLine], air: Air) -> str:
    """Which strong signals a filter should keep out: the strongest of those that can make the lines."""
    strong = sorted(_makers(inside, air), key=lambda one: -one.level_dbm)[:MOST_MAKERS]
    made = f"{len(inside)} line{' is' if len(inside) == 1 else 's are'} made inside by strong signals"
    if not strong:
        return (
            f"{made}, and nothing in what was swept is strong enough: they lie outside of it, and a filter that passes "
            "only the band of your links keeps them out"
        )
    named = ", ".join(
        f"{format_mhz((one.low_hz + one.high_hz) / 2)} MHz ({format_width(one.high_hz - one.low_hz)} wide)"
        for one in strong
    )
    return (
        f"{made}; the strongest here: {named}. A filter in front that stops these and passes the band of your links, "
        "or an antenna that looks away from them, takes the lines away"
    )


def _makers(inside: Sequence[PadLine], air: Air) -> list[Emitter]:
    """Emitters that can make the lines: far above the floor, and above all of the lines by more than a receiver that
    is not quite deaf lets a product come up to what makes it.
    """
    least_db = max(_height(air, line.low_hz, line.high_hz)[0] for line in inside) + LEAST_ABOVE_PRODUCT_DB
    return [
        one
        for one in air.emitters
        if not any(one.low_hz < line.high_hz and line.low_hz < one.high_hz for line in inside)
        and max(one.level_dbm, _height(air, one.low_hz, one.high_hz)[0]) >= least_db
        and _height(air, one.low_hz, one.high_hz)[1] >= STRONG_DB
    ]


def _height(air: Air, low_hz: float, high_hz: float) -> tuple[float, float]:
    """The strongest bin of a part of the spectrum: its level [dBm or dB], and how far that is above the floor [dB]."""
    heights = [(-math.inf, -math.inf)]
    for part in air.evidence:
        bins = part.heard.axis.bins_touching(low_hz, high_hz)
        level = part.heard.mean_db[bins]
        if np.isfinite(level).any():
            at = int(np.nanargmax(level))
            heights.append((float(level[at]), float(level[at] - part.floor.noise_db[bins][at])))
    return max(heights)
