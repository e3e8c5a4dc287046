"""Why a slice got its verdict, in sentences with numbers: counted over its windows, the most telling first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.blocks import Block
from fallow.spectrum.heard import told_width
from fallow.spectrum.instruments.instrument_notes import misreading_text, short_names
from fallow.spectrum.instruments.instruments import Misreading
from fallow.spectrum.verdict import Verdict
from fallow.spectrum.verdicts.deciding import RAISED_DB, Decided, Flag
from fallow.units import format_mhz, format_span_mhz

__all__ = ["Circumstances", "SliceWindows", "reasons_of"]

MOST_LINES_NAMED = 4
MUCH_CUT_DB = 0.5  # that is told as a reason of its own; the defaults' u is five times as large. Design decision
MOVES = "it moves with the instrument's tuning, which nothing on the air does"
RELATIVE_PROOF = (
    "relative levels: this compares with a floor and can't prove how strong a signal is at the antenna, "
    "nor that the antenna hears at all"
)


@dataclass(frozen=True, eq=False)
class Circumstances:
    """What the sentences need to know of the whole survey. Lines in hertz, shape (line,); ``hidden_lines_hz``: own ones
    that only the reference shows; ``strong``: the loudest blocks; ``misreadings``: instruments that can't be believed;
    ``unheard``, ``unswept``: known emitters that the sweeps don't show, and those whose place they did not measure;
    ``peaks_db``: by how much the highest of many readings may lie above the usual one. ``perhaps_rbw_hz``: how wide a
    resolution that is not stated may be where that makes levels uncertain, else 0. ``impulsive``: whether the noise of
    some series has a heavy end.
    """

    absolute: bool
    from_reference: bool
    confidence_pct: float
    link_width_hz: int
    n_sweeps: int
    rbw_assumed: bool
    own_lines_hz: NDArray[np.float64]
    hidden_lines_hz: NDArray[np.float64]
    suspect_lines_hz: NDArray[np.float64]
    moving_lines_hz: NDArray[np.float64]
    blocks: Sequence[Block]
    announced: Sequence[Block]
    missing: Sequence[str]
    unheard: Sequence[str]
    strong: Sequence[tuple[float, float]]
    misreadings: Sequence[Misreading] = ()
    unswept: Sequence[str] = ()
    peaks_db: float = 0.0
    perhaps_rbw_hz: float = 0.0
    impulsive: bool = False


@dataclass(frozen=True, eq=False)
class SliceWindows:
    """The windows of one slice: their edges in hertz and what was decided, shape (window,); ``key``: the one that
    gives the numbers.
    """

    low_hz: NDArray[np.float64]
    high_hz: NDArray[np.float64]
    decided: Decided
    key: int


def reasons_of(verdict: Verdict, windows: SliceWindows, around: Circumstances) -> tuple[str, ...]:
    """Sentences for a slice with this verdict. At least one."""
    tell = {
        Verdict.OCCUPIED: _occupied,
        Verdict.NOT_MEASURED: _not_measured,
        Verdict.DOUBTFUL: _doubtful,
        Verdict.CLEAN: _clean,
    }[verdict]
    reasons = tell(windows, around)
    reasons += _lines(windows, around)
    reasons += _on_edge(windows)
    if around.rbw_assumed and verdict is not Verdict.NOT_MEASURED:
        reasons.append(f"the resolution bandwidth is not stated: it was taken as the step{_perhaps_wider(around)}")
    if not around.absolute and verdict in (Verdict.CLEAN, Verdict.DOUBTFUL):
        reasons.append(RELATIVE_PROOF)
    return tuple(reasons)


def _perhaps_wider(around: Circumstances) -> str:
    if not around.perhaps_rbw_hz:
        return ""
    wide = told_width(around.perhaps_rbw_hz)
    return f" for clean and as {wide} (neighbours say the same so far) for occupied, and the level is told half-way"


def _on_edge(windows: SliceWindows) -> list[str]:
    """That the level is a carrier's on the slice's edge, counted whole."""
    key = windows.key
    if not windows.decided.edge_db[key] > 0.0:
        return []
    at_low = bool(windows.low_hz[key] == windows.low_hz.min())
    side = "an" if windows.low_hz.size == 1 else "the lower" if at_low else "the upper"
    return [
        f"what is loudest stands on {side} edge of the slice and is told whole; as little as half of it "
        f"({windows.decided.edge_db[key]:.1f} dB less) may be inside"
    ]


def _limit_text(windows: SliceWindows, around: Circumstances) -> str:
    limit = windows.decided.limit_db[windows.key]
    return f"the limit of {_level(limit, around)}"


def _level(level_db: float, around: Circumstances) -> str:
    return f"{level_db:.1f} {'dBm' if around.absolute else 'dB'}"


def _count(flagged: NDArray[np.bool_]) -> str:
    if flagged.size == 1:
        return ""
    return f" (in {int(flagged.sum())} of {flagged.size} windows)"


def _place(windows: SliceWindows) -> str:
    return f"{format_mhz((windows.low_hz[windows.key] + windows.high_hz[windows.key]) / 2)} MHz"


def _occupied(windows: SliceWindows, around: Circumstances) -> list[str]:
    decided, reasons = windows.decided, []
    low, high = windows.low_hz.min(), windows.high_hz.max()
    above = (decided.flags & Flag.ABOVE) > 0
    if above.any():
        key, run = windows.key, int(decided.run[windows.key])
        period = "over the whole survey" if run >= around.n_sweeps else f"in {run} of {around.n_sweeps} sweeps at least"
        if np.isfinite(decided.level_db[key]):
            reasons.append(
                f"{_level(decided.level_db[key], around)} at {_place(windows)} {period}, above "
                f"{_limit_text(windows, around)} with {around.confidence_pct:g} % confidence "
                f"(u {decided.u_db[key]:.1f} dB){_count(above)}"
            )
    touched = [block for block in around.announced if block.low_hz < high and low < block.high_hz]
    reasons += [f"{block.looks_like}: {', '.join(block.evidence)}" for block in touched]
    touched = [block for block in around.blocks if block.low_hz < high and low < block.high_hz]
    reasons += [_block_text(block) for block in touched]
    return reasons


def _block_text(block: Block) -> str:
    what = "a noise-like block" if block.looks_like == "noise-like block" else f"what looks like {block.looks_like}"
    span = format_span_mhz(block.low_hz, block.high_hz)
    if block.mirrored_sum_hz is not None:
        return f"{span} can't be heard for what the receiver itself shows there: {'; '.join(block.evidence)}"
    return f"{span} is in use by {what}, notches included: {'; '.join(block.evidence)}"


def _not_measured(windows: SliceWindows, _around: Circumstances) -> list[str]:
    flags = windows.decided.flags
    reasons = []
    own = (flags & Flag.OWN_CARRIER) > 0
    if own.any():
        reasons.append(f"our own carriers stood there, so what is under them was not measured{_count(own)}")
    open_air = ((flags & Flag.UNCOVERED) > 0) | ((windows.decided.verdict == Verdict.NOT_MEASURED) & ~own)
    if open_air.any():
        reasons.append(f"no valid level in more than a tenth of a window{_count(open_air)}")
    return reasons


def _clean(windows: SliceWindows, around: Circumstances) -> list[str]:
    decided, key = windows.decided, windows.key
    below = decided.limit_db[key] - decided.level_db[key]
    return [
        f"the strongest window, at {_place(windows)}, lies {below:.1f} dB below {_limit_text(windows, around)}, "
        f"{decided.margin_db[key]:.1f} dB more than {around.confidence_pct:g} % confidence asks for"
    ]


def _doubtful(windows: SliceWindows, around: Circumstances) -> list[str]:
    decided = windows.decided
    reasons = []
    for flag, sentence in _sentences(windows, around):
        flagged = ((decided.flags & flag) > 0) & (decided.verdict == Verdict.DOUBTFUL)
        if flagged.any():
            reasons.append(f"{sentence}{_count(flagged)}")
    return reasons or ["nothing decides it either way"]


def _sentences(windows: SliceWindows, around: Circumstances) -> list[tuple[Flag, str]]:
    percent = f"{around.confidence_pct:g} %"
    return [
        (Flag.ANNOUNCED_MISSING, f"the sweeps don't show {_missing(around)}: they may be deaf"),
        (
            Flag.BELOW_KTB,
            "deaf: the floor lies below the noise of a resistor, so the antenna is not connected or the scale is wrong",
        ),
        (
            Flag.ABOVE_REFERENCE,
            f"more than {RAISED_DB:g} dB above the floor of the reference: {_raised(windows, around)}",
        ),
        (Flag.OVERLOAD, "overload: the receiver was driven too hard to be believed here; a filter or a pad would tell"),
        (
            Flag.OWN_FILTER,
            "the levels fall off towards both ends of what was swept, as a receiver's own filter makes them: noise "
            "can't be told from a wide signal; several tunings, or a sweep with a load for an antenna, would tell",
        ),
        (Flag.FLOOR_RAISED, f"the floor itself is raised here: {_raised(windows, around)}"),
        (
            Flag.DEAF,
            f"deaf: noise and its uncertainty reach the limit, so a signal could not be told from noise with {percent}",
        ),
        (Flag.NOISE, f"above the limit, but noise alone may show as much: {_noise(windows, around)}"),
        (Flag.NEAR, f"near the limit: {_near(windows, around)}"),
        (Flag.ONCE, f"seen in one sweep of {around.n_sweeps} only"),
        (
            Flag.COARSE,
            "coarse step: wider than 1.25 times the resolution bandwidth, so a narrow carrier may hide between looks",
        ),
        (Flag.HOLE, "hole: a part of it has no valid level"),
        (Flag.SELDOM, "hole: fewer than half of the sweeps measured it"),
        (Flag.REJECTED, "readings below any receiver's noise were rejected here"),
        (Flag.OWN_CARRIER, "our own carriers stood in a part of it"),
        (Flag.OWN_LINE, "own line: the instrument makes a line here, under which nothing can be heard"),
        (Flag.SUSPECT_LINE, f"suspected own line: {_suspected(windows, around)}"),
        (Flag.READS_LOW, f"nothing else looked here: {_misread(windows, around, low=True)}"),
        (Flag.READS_HIGH, f"above the limit by one instrument's word: {_misread(windows, around, low=False)}"),
        (Flag.PEAKS, _peaks(windows, around)),
    ]


def _near(windows: SliceWindows, around: Circumstances) -> str:
    """The level near the limit that is nearest to being above it."""
    decided = windows.decided
    key = _highest(windows, (decided.flags & Flag.NEAR) > 0)
    level_db, limit_db, more_db = decided.level_db[key], decided.limit_db[key], decided.cut_db[key]
    near = f"{_level(level_db, around)} (u {decided.u_db[key]:.1f} dB) against {limit_db:.1f}"
    if more_db < MUCH_CUT_DB or level_db > limit_db or decided.edge_db[key] > 0.0:
        return near
    return f"{near}, and up to {more_db:.1f} dB more if what its edge cuts is all inside"


def _peaks(windows: SliceWindows, around: Circumstances) -> str:
    """What a level among peaks leaves open."""
    decided = windows.decided
    key = _highest(windows, (decided.flags & Flag.PEAKS) > 0)
    level_db, limit_db = decided.level_db[key], decided.limit_db[key]
    lower, of = f"up to {around.peaks_db:.1f} dB lower", ""
    if level_db - around.peaks_db > limit_db and around.n_sweeps > 1:
        lower, of = "much lower, for among so many the highest is high by chance", f" of {around.n_sweeps} sweeps"
    return (
        f"the trace shows peaks: what shows {_level(level_db, around)} at its highest{of} (u {decided.u_db[key]:.1f} "
        f"dB) may have a usual level {lower}, against {limit_db:.1f}; a trace of samples or averages would tell"
    )


def _highest(windows: SliceWindows, flagged: NDArray[np.bool_]) -> int:
    """The window among some whose level is the highest against its limit."""
    over_db = np.nan_to_num(windows.decided.level_db - windows.decided.limit_db, nan=-1e9)
    return int(np.argmax(np.where(flagged, over_db, -np.inf)))


def _misread(windows: SliceWindows, around: Circumstances, *, low: bool) -> str:
    """The instruments that read too low, or too high, in the slice."""
    begin, end = windows.low_hz.min(), windows.high_hz.max()
    told = [
        one for one in around.misreadings if (one.difference_db < 0) is low and one.low_hz < end > begin < one.high_hz
    ]
    return "; ".join(misreading_text(one, short_names([one.unit])[one.unit]) for one in told)


def _raised(windows: SliceWindows, around: Circumstances) -> str:
    middle = (windows.low_hz.min() + windows.high_hz.max()) / 2
    near = sorted(around.strong, key=lambda span: abs((span[0] + span[1]) / 2 - middle))
    if near and abs((near[0][0] + near[0][1]) / 2 - middle) < 100e6:
        return (
            f"broad noise, overload by the strong signal at {format_span_mhz(*near[0])}, or a weak unknown signal; "
            "a filter or a 10 dB pad before the instrument would tell"
        )
    return "broad noise or a weak unknown signal"


def _noise(windows: SliceWindows, around: Circumstances) -> str:
    impulses = "impulses, as there are all over the axis, " if around.impulsive else ""
    return f"{impulses}{_raised(windows, around)}"


def _missing(around: Circumstances) -> str:
    announced = [f"{', '.join(around.missing)}, announced as on the air"] if around.missing else []
    known = [f"{', '.join(around.unheard)}, known to be on the air"] if around.unheard else []
    return " and ".join(announced + known)


def _suspected(windows: SliceWindows, around: Circumstances) -> str:
    """Why a line in the slice is not believed: what moves needs no reference to tell it."""
    low, high = windows.low_hz.min(), windows.high_hz.max()
    moving, steady = (
        bool(((lines >= low) & (lines <= high)).any()) for lines in (around.moving_lines_hz, around.suspect_lines_hz)
    )
    return MOVES if moving and not steady else f"steady and narrower than a link's signal; {_would_tell(around)}"


def _would_tell(around: Circumstances) -> str:
    if around.from_reference:
        return "the reference does not show it, but a strong signal may make it inside; a 10 dB pad would tell"
    return "a reference sweep would tell"


def _lines(windows: SliceWindows, around: Circumstances) -> list[str]:
    low, high = windows.low_hz.min(), windows.high_hz.max()
    sentences = []
    for lines, what in (
        (around.own_lines_hz, "the instrument's own: also in the reference"),
        (around.hidden_lines_hz, "the instrument's own: in the reference, though not in the sweeps now"),
        (around.suspect_lines_hz, f"perhaps the instrument's own: {_would_tell(around)}"),
        (around.moving_lines_hz, MOVES),
    ):
        inside = lines[(lines >= low) & (lines <= high)]
        if inside.size:
            named = ", ".join(format_mhz(line) for line in inside[:MOST_LINES_NAMED])
            more = f" and {inside.size - MOST_LINES_NAMED} more" if inside.size > MOST_LINES_NAMED else ""
            sentences.append(f"line{'s' if inside.size > 1 else ''} at {named} MHz{more}: {what}")
    return sentences
