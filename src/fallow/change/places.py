"""Changes at places: each weighed in both surveys; small shifts, and what went here and came there, told as moved."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from fallow.change.side_by_side import Pair, Side
from fallow.change.values import Change, What
from fallow.change.weighing import Outcome, Place, Sureness, compare_weighed
from fallow.spectrum.instruments.weighed import Weighed, weigh
from fallow.units import format_mhz, format_span_mhz, format_width

__all__ = ["changes_at", "with_moves"]

LEAST_SHIFT_WINDOWS, LEAST_SHIFT_SHARE = 0.75, 0.15  # less may be a clock or a change of shape: design decision
FARTHEST_MOVE_HZ = 8e6  # design decision: within a TV channel's width
MOVE_DB = 6.0  # by so much a carrier may change its level while it moves: design decision
WIDEST_LINE_HZ = 300e3  # common practice: what an instrument makes by itself is a line


def changes_at(pair: Pair, places: Sequence[tuple[Place, str]], sure: Sureness) -> tuple[list[Change], list[str]]:
    """Weigh places, each with what it looks like: the changes, and remarks on what is no proven change."""
    changes: list[Change] = []
    remarks: list[str] = []
    for place, looks_like in _shifts_first(pair, places, sure, changes):
        if not (math.isfinite(place.old_noise_db) and math.isfinite(place.new_noise_db)):
            continue
        outcome = compare_weighed(*_both_weighed(pair, place, sure), sure)
        if outcome.what is not None:
            changes.append(_change(pair, place, outcome, outcome.what, looks_like))
        elif outcome.because:
            remarks.append(f"{format_span_mhz(place.low_hz, place.high_hz)}: {outcome.because}")
    return changes, remarks


def _shifts_first(
    pair: Pair, places: Sequence[tuple[Place, str]], sure: Sureness, changes: list[Change]
) -> Iterator[tuple[Place, str]]:
    """The places that are left once small shifts are found, which go to ``changes``; what is no shift falls apart."""
    for place, looks_like in places:
        shifts = _shift(pair, place, sure) if place.parts else []
        changes += shifts
        if not place.parts:
            yield place, looks_like
        elif not shifts:
            yield from ((part, looks_like) for part in place.parts if _came_or_went(pair, part, sure))


def _came_or_went(pair: Pair, place: Place, sure: Sureness) -> bool:
    """Beside a change of the other sign, only that is told: the rest is the changing shape of one signal."""
    return compare_weighed(*_both_weighed(pair, place, sure), sure).what in (What.APPEARED, What.VANISHED)


def _shift(pair: Pair, place: Place, sure: Sureness) -> list[Change]:
    """A signal that is about as strong in both surveys, a little higher or lower; none where only its shape differs."""
    old, new = _both_weighed(pair, place, sure)
    told = old.present and new.present and old.repeated and new.repeated
    if not told or abs(new.signal_db - old.signal_db) > MOVE_DB:
        return []
    steps = [after.level_db - before.level_db for before, after in (_both_weighed(pair, p, sure) for p in place.parts)]
    if min(steps) >= 0.0 or max(steps) <= 0.0:
        return []
    before, after = (_centre_of_power(pair, side, place) for side in (pair.old, pair.new))
    half = (place.high_hz - place.low_hz - abs(after - before)) / 2
    if half <= 0 or abs(after - before) < max(LEAST_SHIFT_WINDOWS * pair.width_hz, LEAST_SHIFT_SHARE * 2 * half):
        return []
    gone, come = ((round(centre - half), round(centre + half)) for centre in (before, after))
    up = "up" if after > before else "down"
    shift = Change(
        low_hz=come[0],
        high_hz=come[1],
        what=What.MOVED,
        from_dbm=old.signal_db,
        to_dbm=new.signal_db,
        difference_db=new.signal_db - old.signal_db,
        u_db=math.hypot(sure.u_db, old.u_db, new.u_db),
        because=f"{format_width(2 * half)} wide, {format_width(abs(after - before))} further {up}, about as strong",
        moved_from_hz=gone,
    )
    return [shift]


def _centre_of_power(pair: Pair, side: Side, place: Place) -> float:
    """Where the power above the surroundings has its middle, hertz."""
    windows = pair.windows_in(place.low_hz, place.high_hz)
    noise_db = place.old_noise_db if side is pair.old else place.new_noise_db
    per_window = 10.0 ** (noise_db / 10.0) * pair.width_hz / (place.high_hz - place.low_hz)
    power = np.maximum(10.0 ** (np.nan_to_num(side.mean_db[windows], nan=-300.0) / 10.0) - per_window, 0.0)
    centres = pair.centre_hz[windows]
    return float((power * centres).sum() / power.sum()) if power.sum() > 0 else float(centres.mean())


def _both_weighed(pair: Pair, place: Place, sure: Sureness) -> tuple[Weighed, Weighed]:
    span = (place.low_hz, place.high_hz)
    old = weigh(pair.old.evidence, span, place.old_noise_db, sure.tail, pair.old.crowding)
    return old, weigh(pair.new.evidence, span, place.new_noise_db, sure.tail, pair.new.crowding)


def _change(pair: Pair, place: Place, outcome: Outcome, what: What, looks_like: str) -> Change:
    width = format_width(place.high_hz - place.low_hz)
    told = [f"{width} wide" + (f", looks like {looks_like}" if looks_like else ""), outcome.because]
    if own := _own_line(pair, place, what):
        told.append(own)
    return Change(
        low_hz=round(place.low_hz),
        high_hz=round(place.high_hz),
        what=what,
        from_dbm=outcome.from_db,
        to_dbm=outcome.to_db,
        difference_db=outcome.to_db - outcome.from_db,
        u_db=outcome.u_db,
        because="; ".join(told),
    )


def _own_line(pair: Pair, place: Place, what: What) -> str:
    """What is known of the instrument's own lines there; what comes or goes is none by its pattern alone."""
    if place.high_hz - place.low_hz > WIDEST_LINE_HZ:
        return ""
    sides = [
        (side.evidence, side.evidence.heard.axis.bins_touching(place.low_hz, place.high_hz))
        for side in (pair.old, pair.new)
    ]
    if any(evidence.own_lines[bins].any() for evidence, bins in sides):
        return "the instrument makes a line of its own there, by its reference"
    if what in (What.LOUDER, What.QUIETER) and any(evidence.suspect_lines[bins].any() for evidence, bins in sides):
        return "perhaps a line of the instrument itself, by its pattern"
    return ""


def with_moves(changes: Sequence[Change]) -> list[Change]:
    """What vanished in one place and appeared as strong and as wide nearby has moved; each is used once."""
    gone = [change for change in changes if change.what is What.VANISHED]
    come = [change for change in changes if change.what is What.APPEARED]
    couples = [(abs(a.centre_hz - b.centre_hz), a, b) for a in gone for b in come if _could_be_one(a, b)]
    used: list[Change] = []
    moved = []
    for distance, before, after in sorted(couples, key=lambda couple: couple[0]):
        if any(one is before or one is after for one in used):
            continue
        used += [before, after]
        moved.append(_moved(before, after, distance))
    return [change for change in changes if not any(change is one for one in used)] + moved


def _could_be_one(before: Change, after: Change) -> bool:
    widths = (before.high_hz - before.low_hz, after.high_hz - after.low_hz)
    near = abs(before.centre_hz - after.centre_hz) <= FARTHEST_MOVE_HZ
    as_strong = abs(after.to_dbm - before.from_dbm) <= MOVE_DB
    return near and as_strong and max(widths) <= 2.0 * min(widths)


def _moved(before: Change, after: Change, distance_hz: float) -> Change:
    up = "up" if after.centre_hz > before.centre_hz else "down"
    because = (
        f"gone from {format_mhz(before.centre_hz)} MHz and new {format_width(distance_hz)} further {up}, about as "
        "strong and as wide; it may be another emitter"
    )
    return replace(
        after,
        what=What.MOVED,
        from_dbm=before.from_dbm,
        difference_db=after.to_dbm - before.from_dbm,
        u_db=math.hypot(before.u_db, after.u_db) / math.sqrt(2.0),
        because=because,
        moved_from_hz=(before.low_hz, before.high_hz),
    )
