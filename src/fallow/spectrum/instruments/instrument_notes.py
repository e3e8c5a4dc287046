"""What people are told of several instruments in one survey: how far they differ, and which can't be believed."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fallow.spectrum.instruments.instruments import Instruments, Misreading, Quarrel, unit_of
from fallow.spectrum.verdicts.evidence import Evidence
from fallow.units import format_mhz, format_span_mhz

__all__ = ["instrument_notes", "misreading_text", "short_names"]

MOST_NAMED = 8
LOUD_DB = 10.0  # a floor that much above those of its siblings: common practice, noise figures differ by a few decibels
FEWEST_SIBLINGS = 2
MANY_LINES = 3.0  # times as many lines as any sibling, and at least so many


def instrument_notes(found: Instruments, evidence: Sequence[Evidence]) -> list[str]:
    """Sentences on the offsets, on what is wrong, and on units that shared no signal with others."""
    names = short_names(found.units)
    notes = [f"{misreading_text(one, names[one.unit])}; {_follows(one)}" for one in found.misreadings]
    notes += _offsets_told(found, names)
    notes += [_quarrel_text(one, names, found) for one in found.quarrels if len(one.units) > 2]
    alone = [names[unit] for unit, group in zip(found.units, found.offsets.group, strict=True) if group < 0]
    if alone and found.allowed_db > 0.0 and _overlap(evidence):
        notes.append(
            f"{_listed(alone)}: no signal is strong in {'it' if len(alone) == 1 else 'them'} and in another "
            "instrument, so their levels can't be held against each other"
        )
    return notes + _odd_siblings(evidence, names)


def misreading_text(one: Misreading, name: str) -> str:
    """That a unit reads lower or higher than the others, and by how much."""
    at_least = "at least " if one.at_least else ""
    in_part = one.low_hz > 0.0 or math.isfinite(one.high_hz)
    where = f" from {format_span_mhz(*one.told_hz)} (" if in_part else f" ({format_span_mhz(*one.told_hz)}, "
    return (
        f"{name} reads {at_least}{abs(one.difference_db):.1f} ± {one.u_db:.1f} dB "
        f"{'lower' if one.difference_db < 0 else 'higher'} than the {one.others} others{where}"
        f"{_signals(one.behind)}): more than their uncertainty explains, {one.allowed_db:.1f} dB"
    )


def short_names(units: Sequence[str]) -> dict[str, str]:
    """Names for people: of files the end of the path, as much as tells them apart."""
    for length in range(1, 6):
        short = {unit: "/".join(unit.replace("\\", "/").rstrip("/").split("/")[-length:]) for unit in units}
        if len(set(short.values())) == len(units):
            return short
    return {unit: unit for unit in units}


def _offsets_told(found: Instruments, names: dict[str, str]) -> list[str]:
    notes = []
    for which in range(int(found.offsets.group.max(initial=-1)) + 1):
        members = [int(unit) for unit in np.flatnonzero(found.offsets.group == which)]
        if len(members) == 2:
            notes.append(_pair_text(found, members, names))
        else:
            notes.append(_many_text(found, members, names))
    return notes


def _pair_text(found: Instruments, members: Sequence[int], names: dict[str, str]) -> str:
    pair = found.offsets.pairs[members[0], members[1]]
    lower, higher = members if pair.difference_db < 0 else members[::-1]
    told = (
        f"{names[found.units[lower]]} reads {abs(pair.difference_db):.1f} ± {pair.u_db:.1f} dB below "
        f"{names[found.units[higher]]} where both looked ({format_span_mhz(*found.told_hz(members))}, "
        f"{_signals(pair.behind)})"
    )
    if found.allowed_db == 0.0:
        return f"{told}; relative scales say nothing of gain"
    allowed = f"{found.allowed_db:.1f} dB"
    if any(len(quarrel.units) == 2 for quarrel in found.quarrels if found.units[members[0]] in quarrel.units):
        return (
            f"{told}: more than the uncertainty of both explains, {allowed}; one of the two has drifted, is broken or "
            "hears less, and from two alone nobody can say which"
        )
    return f"{told}; the budget allows {allowed}"


def _many_text(found: Instruments, members: Sequence[int], names: dict[str, str]) -> str:
    ordered = sorted(
        ((unit, found.against_median(unit)) for unit in members), key=lambda one: -abs(one[1].difference_db)
    )
    told = ", ".join(
        f"{names[found.units[unit]]} {offset.difference_db:+.1f} ± {offset.u_db:.1f}"
        for unit, offset in ordered[:MOST_NAMED]
    )
    more = f" and {len(ordered) - MOST_NAMED} nearer to it" if len(ordered) > MOST_NAMED else ""
    allowed = "" if found.allowed_db == 0.0 else f"; the budget allows any two {found.allowed_db:.1f} dB"
    return (
        f"{len(members)} instruments, against their median where they hold the same signals "
        f"({format_span_mhz(*found.told_hz(members))}), dB: {told}{more}{allowed}"
    )


def _follows(one: Misreading) -> str:
    if one.difference_db < 0:
        return "drifted, broken or hearing less; what it alone looked at is doubtful at best"
    return "drifted or broken; what it alone shows above the limit is doubtful, unless it is far above"


def _quarrel_text(one: Quarrel, names: dict[str, str], found: Instruments) -> str:
    return (
        f"{_listed([names[unit] for unit in one.units])} differ by more than their uncertainty explains "
        f"({format_span_mhz(*one.told_hz)}, {found.allowed_db:.1f} dB for any two), and too few agree with each other "
        "to say which are wrong"
    )


def _signals(count: int) -> str:
    return f"{count} signal{'' if count == 1 else 's'}"


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more


def _overlap(evidence: Sequence[Evidence]) -> bool:
    """Whether two instruments measured the same spectrum."""
    reach = [(part.heard.axis.low_hz, part.heard.axis.high_hz, unit_of(part)) for part in evidence]
    return any(
        one[0] < other[1] and other[0] < one[1] and one[2] != other[2]
        for place, one in enumerate(reach)
        for other in reach[place + 1 :]
    )


# --- siblings: instruments of one kind


def _odd_siblings(evidence: Sequence[Evidence], names: dict[str, str]) -> list[str]:
    """Units whose floor lies far above those of the others of their kind, or that show many more lines of their own."""
    notes = []
    for part in evidence:
        siblings = [other for other in evidence if unit_of(other) != unit_of(part) and _siblings(part, other)]
        if len(siblings) < FEWEST_SIBLINGS:
            continue
        name = names[unit_of(part)]
        above = _usual_floor_db(part) - float(np.median([_usual_floor_db(other) for other in siblings]))
        if above > LOUD_DB:
            notes.append(
                f"the floor of {name} lies {above:.0f} dB above those of its {len(siblings)} siblings "
                f"({format_mhz(part.heard.axis.low_hz)} to {format_mhz(part.heard.axis.high_hz)} MHz): other settings, "
                "something that disturbs it, or broken; it hears less than they do"
            )
        lines, most = _own_lines(part), max(_own_lines(other) for other in siblings)
        if lines >= MANY_LINES * max(most, MANY_LINES):
            notes.append(f"{name} shows {lines} lines of its own, its siblings at most {most}: it may be broken")
    return notes


def _siblings(one: Evidence, other: Evidence) -> bool:
    a, b = one.heard, other.heard
    return a.axis == b.axis and a.rbw_hz == b.rbw_hz and a.detector == b.detector


def _usual_floor_db(part: Evidence) -> float:
    known = part.floor.ordinary_db[np.isfinite(part.floor.ordinary_db)]
    return float(np.median(known)) if known.size else math.nan


def _own_lines(part: Evidence) -> int:
    """Stretches that hold lines of the instrument itself, proven or suspected."""
    flagged = (part.own_lines | part.suspect_lines).astype(np.int8)
    return int((np.diff(flagged, prepend=0) > 0).sum())
