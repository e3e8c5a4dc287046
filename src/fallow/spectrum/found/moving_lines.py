"""Narrow lines that move with the instrument's tuning: it makes them itself, and nobody transmits them.

Two passes over one piece of spectrum, begun at different places, show an emitter at its own frequency in both. A line
that the second pass shows farther up by just as much as it began (or as its tuning steps lie) farther up, and not where
the first pass had it, keeps its place in the instrument. So may a line that comes while another goes: the chance of
that is told, by the binomial distribution against lines at random places.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.lines import Line
from fallow.spectrum.found.own_patterns import PERHAPS_OWN, Tuning, find_tuning
from fallow.spectrum.found.regular import told_chance
from fallow.spectrum.heard import Heard
from fallow.spectrum.verdict import Emitter
from fallow.units import format_mhz, format_width

__all__ = ["Moving", "doubted", "find_moving"]

BY_LUCK = 0.01  # chance, over all pairs of passes, that lines are said to move and don't
PERHAPS_BY_LUCK = 0.3  # up to here a line is listed as an emitter, and doubted
MOST_LINES_NAMED = 8
Frequencies = NDArray[np.float64]


@dataclass(frozen=True)
class Moving:
    """The lines of each series that move with its tuning, in the order of the series; what is to be said of them.

    ``perhaps_hz``: of each series the lines that seem to, and may by luck.
    """

    lines: tuple[tuple[Line, ...], ...]
    perhaps_hz: tuple[tuple[float, ...], ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Pass:
    """One series: which it is, its lines, and where they stand."""

    index: int
    heard: Heard
    lines: tuple[Line, ...]

    @cached_property
    def tuning(self) -> Tuning | None:
        """The tuning step that it shows."""
        return find_tuning(self.heard, self.lines)

    @cached_property
    def at_hz(self) -> Frequencies:
        return np.array([line.frequency_hz for line in self.lines])

    @property
    def reach_hz(self) -> float:
        """How far apart two readings of the same line may stand."""
        return 0.75 * float(self.heard.axis.step_hz) + 0.25 * self.heard.rbw_hz

    def measured(self, at_hz: Frequencies) -> NDArray[np.bool_]:
        """Where the pass looked and would show a line."""
        axis = self.heard.axis
        inside = (at_hz >= axis.low_hz) & (at_hz < axis.high_hz)
        bins = np.clip(np.searchsorted(axis.cells_hz[1], at_hz, side="right"), 0, axis.n - 1)
        return np.asarray(inside & self.heard.measured[bins])


def find_moving(heard: Sequence[Heard], lines: Sequence[tuple[Line, ...]]) -> Moving:
    """Lines that move with the tuning between any two series that may be of one instrument; none where luck would do.

    ``lines``: those of each series, as ``find_lines`` gives them.
    """
    passes = [_Pass(index, part, found) for index, (part, found) in enumerate(zip(heard, lines, strict=True))]
    tried = list(_pairs(passes))
    moving: list[dict[float, Line]] = [{} for _ in heard]
    perhaps: list[dict[float, Line]] = [{} for _ in heard]
    notes: list[str] = []
    for before, after, shift_hz in tried:
        found = _moved(before, after, shift_hz)
        chance = 1.0 if found is None else min(1.0, found.chance * len(tried))
        if found is None or chance >= PERHAPS_BY_LUCK:
            continue
        sure = chance < BY_LUCK
        for one, places in ((before, found.before), (after, found.after)):
            (moving if sure else perhaps)[one.index].update({one.lines[k].frequency_hz: one.lines[k] for k in places})
        notes += [_told(before, found, shift_hz, chance)] if sure else []
    told = tuple(tuple(found.values()) for found in moving)
    return Moving(told, tuple(tuple(found) for found in perhaps), tuple(notes))


def doubted(emitter: Emitter, perhaps_hz: Sequence[float]) -> Emitter:
    """The emitter with a doubt in its evidence, where it is a line that may move with the tuning."""
    if not any(emitter.low_hz <= line <= emitter.high_hz for line in perhaps_hz):
        return emitter
    return replace(
        emitter, evidence=(*emitter.evidence, f"it seems to move with the tuning, or by luck: {PERHAPS_OWN}")
    )


def _pairs(passes: Sequence[_Pass]) -> Iterator[tuple[_Pass, _Pass, float]]:
    """Pairs of passes that overlap, the one that began lower first, and by how much the tuning may have moved."""
    for before, after in permutations(passes, 2):
        begin_hz = after.heard.axis.low_hz - before.heard.axis.low_hz
        overlap_hz = min(one.heard.axis.high_hz for one in (before, after)) - after.heard.axis.low_hz
        units = {one.heard.instrument for one in (before, after)} - {""}
        apart = 3.0 * max(before.reach_hz, after.reach_hz)
        if begin_hz < 0 or overlap_hz <= 0 or len(units) > 1 or not (before.lines and after.lines):
            continue
        if begin_hz > apart:
            yield before, after, begin_hz
        tuned, tuned_after = before.tuning, after.tuning
        if tuned is None or tuned_after is None or tuned.step_hz != tuned_after.step_hz:
            continue
        edge_hz = (tuned_after.edge_hz - tuned.edge_hz) % tuned.step_hz
        for shift_hz in (edge_hz, edge_hz - tuned.step_hz):
            if abs(shift_hz) > apart and abs(shift_hz - begin_hz) > apart:
                yield before, after, shift_hz


@dataclass(frozen=True)
class _Moved:
    """The places of lines that moved, in either pass, and the chance that so many fit by luck."""

    before: tuple[int, ...]
    after: tuple[int, ...]
    chance: float


def _moved(before: _Pass, after: _Pass, shift_hz: float) -> _Moved | None:
    from scipy import special  # heavy, so only where it is used

    reach_hz = max(before.reach_hz, after.reach_hz)
    gone = _alone(before, after, shift_hz, reach_hz)
    come = _alone(after, before, -shift_hz, reach_hz)
    if gone.size == 0 or come.size == 0:
        return None
    away = np.abs(before.at_hz[gone][:, None] + shift_hz - after.at_hz[come][None, :])
    fits = away <= reach_hz
    hits = int(fits.any(axis=1).sum())
    if hits == 0:
        return None
    low_hz = max(one.heard.axis.low_hz for one in (before, after))
    width_hz = min(one.heard.axis.high_hz for one in (before, after)) - low_hz
    each = min(1.0, come.size * (2.0 * reach_hz + float(after.heard.axis.step_hz)) / width_hz)
    chance = float(special.betainc(hits, gone.size - hits + 1, each)) if each < 1.0 else 1.0
    which, there = fits.any(axis=1), fits.any(axis=0)
    return _Moved(tuple(int(k) for k in gone[which]), tuple(int(k) for k in come[there]), chance)


def _alone(one: _Pass, other: _Pass, shift_hz: float, reach_hz: float) -> NDArray[np.int64]:
    """Lines that the other pass does not show though it looked, and whose place farther on it looked at too."""
    looked = other.measured(one.at_hz) & other.measured(one.at_hz + shift_hz)
    nearest = np.abs(one.at_hz[:, None] - other.at_hz[None, :]).min(axis=1)
    return np.flatnonzero(looked & (nearest > 2.0 * reach_hz))


def _told(before: _Pass, found: _Moved, shift_hz: float, chance: float) -> str:
    places = before.at_hz[list(found.before)]
    named = ", ".join(format_mhz(place) for place in places[:MOST_LINES_NAMED])
    more = f" and {places.size - MOST_LINES_NAMED} more" if places.size > MOST_LINES_NAMED else ""
    one = places.size == 1
    return (
        f"line{'' if one else 's'} at {named} MHz{more} move{'s' if one else ''} with the instrument's tuning, by "
        f"{format_width(abs(shift_hz))} between two passes (by luck: {told_chance(chance)}): its own, no emitter"
        f"{'' if one else 's'}"
    )
