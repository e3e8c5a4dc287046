"""Two judged surveys of one place compared: what appeared, vanished, moved, got louder or quieter, and the floor.

Where antenna and instrument are the same, their common errors cancel and only repeatability stays (JCGM 100:2008,
F.1.2.3); otherwise both budgets add. Three scales are looked at: blocks of known shape as wholes, other wide stretches,
and what is narrow. Nothing is called a change that noise alone shows in one comparison of a hundred.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fallow.errors import UsageError
from fallow.spectrum.blocks import Block
from fallow.spectrum.broad_changes import Stretch, find_stretches, grouped_difference
from fallow.spectrum.chain import budget_of, combined_u_db
from fallow.spectrum.change import BandOffset, Change, SurveyChange, What
from fallow.spectrum.judging import Air
from fallow.spectrum.narrow_changes import background_of, find_narrow_places
from fallow.spectrum.offset import Offset, band_offsets, beyond_chance, floor_offset, signal_offset, varies
from fallow.spectrum.side_by_side import Pair, Side, gaps_between, lay_side_by_side
from fallow.spectrum.weighing import Outcome, Place, Sureness, Weighed, compare_weighed, weigh
from fallow.units import format_mhz, format_span_mhz, format_width

__all__ = ["compare_surveys"]

ALIKE_SHARE = 0.25  # of their width, by which the edges of one block may differ between two surveys
LEAST_SHIFT_WINDOWS, LEAST_SHIFT_SHARE = 0.75, 0.15  # less may be a clock or a change of shape: design decision
FARTHEST_MOVE_HZ = 8e6  # design decision: within a TV channel's width
MOVE_DB = 6.0  # by so much a carrier may change its level while it moves
EDGE_HZ = 400e3  # beside the edge of a wide change, narrow ones are its skirts
COMMON_SHIFT_DB = 1.0
UNEVEN_DB = 1.0  # quartile distance of the floor's difference: more is no common shift
WIDEST_LINE_HZ = 300e3
MOST_NAMED = 6
MOST_REMARKS = 12


@dataclass(frozen=True)
class _Asked:
    same_chain: bool
    u_db: float
    absolute: bool
    link_width_hz: float


def compare_surveys(old: Air, new: Air, *, same_chain: bool | None = None) -> SurveyChange:
    """Compare two surveys of one place. ``same_chain``: whether antenna and instrument were the same; ``None``: taken
    as the same where grid, bandwidth and detector agree.

    Raises UsageError where one has absolute and the other relative levels, and where they share no spectrum.
    """
    if old.basis != new.basis:
        raise UsageError(
            f"the old survey has {old.basis} levels and the new one {new.basis} ones",
            hint="give --level-unit if both are in dBm, or a chain with a row of kind instrument",
        )
    pairs = lay_side_by_side(old.evidence, new.evidence)
    if not pairs:
        raise UsageError("the two surveys have no spectrum in common", hint="`fallow read` shows what each file covers")
    same = all(_same_kind(pair) for pair in pairs) if same_chain is None else same_chain
    asked = _Asked(same, _u_db(old, new, same=same), old.basis == "absolute", old.link_width_hz)
    blocks = _known_blocks(old, new)
    signals, floors = signal_offset(pairs), floor_offset(np.concatenate([_floor_groups(p, blocks) for p in pairs]))
    shift = _common_shift(pairs, blocks, signals, floors, asked)
    found = [_changes_of(pair, blocks, asked, shift) for pair in pairs]
    bands = band_offsets(pairs)
    offset = signals or floors
    return SurveyChange(
        changes=tuple(sorted((change for one, _ in found for change in one), key=lambda change: change.low_hz)),
        offset_db=None if offset is None else offset.offset_db,
        offset_u_db=None if offset is None else offset.u_db,
        by_band=bands,
        same_chain=same,
        absolute=asked.absolute,
        notes=(
            *_chain_notes(asked, stated=same_chain is not None),
            *_offset_notes(signals, floors, bands, asked, shift),
            *_gap_notes(old, new),
            *_few([note for _, notes in found for note in notes]),
        ),
    )


# --- what is common to both, and what is not


def _same_kind(pair: Pair) -> bool:
    one, other = pair.old.evidence.heard, pair.new.evidence.heard
    return one.axis == other.axis and one.rbw_hz == other.rbw_hz and one.detector == other.detector


def _u_db(old: Air, new: Air, *, same: bool) -> float:
    """Standard uncertainty of a difference: of repeatability alone on one chain, of both budgets on two."""
    if not same:
        return math.hypot(combined_u_db(old.budget), combined_u_db(new.budget))
    usual = next(line.u_db for line in budget_of(None) if line.part == "repeatability")
    stated = [[line.u_db for line in air.budget if line.part == "repeatability"] for air in (old, new)]
    return math.hypot(*(lines[0] if lines else usual for lines in stated))


def _known_blocks(old: Air, new: Air) -> tuple[Block, ...]:
    """Blocks of television and mobile shape in either survey; one that both hold counts once."""
    blocks = [*new.circumstances.blocks]
    for block in old.circumstances.blocks:
        if not any(_alike(block, other) for other in blocks):
            blocks.append(block)
    return tuple(
        block
        for block in sorted(blocks, key=lambda block: block.low_hz)
        if not any(other is not block and _overlap(block, other) for other in blocks)
    )


def _alike(one: Block, other: Block) -> bool:
    most = ALIKE_SHARE * min(one.high_hz - one.low_hz, other.high_hz - other.low_hz)
    return abs(one.low_hz - other.low_hz) <= most and abs(one.high_hz - other.high_hz) <= most


def _overlap(one: Block, other: Block) -> bool:
    return one.low_hz < other.high_hz and other.low_hz < one.high_hz


def _floor_groups(pair: Pair, blocks: Iterable[Block]) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return grouped_difference(pair, [(block.low_hz, block.high_hz) for block in blocks])


def _common_shift(
    pairs: Sequence[Pair], blocks: Sequence[Block], signals: Offset | None, floors: Offset | None, asked: _Asked
) -> float:
    """What lifts signals and floor everywhere alike is no change of the air; 0 where there is no such thing.

    Relative levels of two instruments have nothing in common but this: there it is always taken off.
    """
    if not asked.same_chain and not asked.absolute:
        best = signals or floors
        return 0.0 if best is None else best.offset_db
    if signals is None or floors is None or signals.behind < 3 or abs(signals.offset_db) < COMMON_SHIFT_DB:
        return 0.0
    alike = abs(signals.offset_db - floors.offset_db) <= 2.0 * math.hypot(signals.u_db, floors.u_db) + 0.5
    groups = np.concatenate([_floor_groups(pair, blocks) for pair in pairs])
    quartiles = np.nanpercentile(groups, [25, 75])
    return signals.offset_db if alike and float(quartiles[1] - quartiles[0]) <= UNEVEN_DB else 0.0


# --- changes of one pair of series


def _changes_of(pair: Pair, blocks: Sequence[Block], asked: _Asked, shift_db: float) -> tuple[list[Change], list[str]]:
    inside = [block for block in blocks if _holds(pair, block)]
    level = _levelled(pair, shift_db)
    sure = Sureness(asked.u_db)
    stretches = find_stretches(level, [(block.low_hz, block.high_hz) for block in inside], sure)
    wide = [(block.low_hz, block.high_hz, block.looks_like) for block in inside]
    wide += [(one.low_hz, one.high_hz, "") for one in stretches if not one.is_floor]
    changes, remarks = _of_places(level, [_on_floor(level, *one) for one in wide], Sureness(asked.u_db, len(wide)))
    changes += [_floor_change(level, one, asked) for one in stretches if one.is_floor]
    places = [
        place
        for place in find_narrow_places(level, background_of(level))
        if not any(_at_edge(place, change) for change in changes)
    ]
    narrow, more = _of_places(level, [(place, "") for place in places], Sureness(asked.u_db, len(places)))
    moved = _moves(narrow)
    changes = [_as_shown(change, shift_db) for change in (*changes, *moved)]
    return changes, [*remarks, *more]


def _holds(pair: Pair, block: Block) -> bool:
    """Whether both surveys measured most of a block, its edges included."""
    windows = pair.both[pair.windows_in(block.low_hz, block.high_hz)]
    reached = pair.low_hz[0] <= block.low_hz + pair.width_hz and block.high_hz <= pair.high_hz[-1] + pair.width_hz
    return bool(reached and windows.size and windows.mean() > 0.5)


def _levelled(pair: Pair, shift_db: float) -> Pair:
    """The pair with the new survey's levels brought down by a common shift."""
    if shift_db == 0.0:
        return pair
    evidence = pair.new.evidence
    heard = replace(evidence.heard, levels_db=evidence.heard.levels_db - np.float32(shift_db))
    floor = replace(
        evidence.floor,
        noise_db=evidence.floor.noise_db - shift_db,
        ceiling_db=evidence.floor.ceiling_db - shift_db,
        ordinary_db=evidence.floor.ordinary_db - shift_db,
    )
    new: Side = replace(
        pair.new,
        evidence=replace(evidence, heard=heard, floor=floor, base_db=evidence.base_db - shift_db),
        mean_db=pair.new.mean_db - shift_db,
        highest_db=pair.new.highest_db - shift_db,
        floor_db=pair.new.floor_db - shift_db,
    )
    return replace(pair, new=new)


def _as_shown(change: Change, shift_db: float) -> Change:
    """A change in the levels that the new survey showed, its common shift included."""
    if shift_db == 0.0:
        return change
    because = f"{change.because}; a common shift of {shift_db:+.1f} dB is not counted"
    return replace(change, to_dbm=change.to_dbm + shift_db, because=because)


def _on_floor(pair: Pair, low_hz: float, high_hz: float, looks_like: str) -> tuple[Place, str]:
    """A wide span that stands on the noise floor."""
    windows = pair.windows_in(low_hz, high_hz)
    levels = []
    for side in (pair.old, pair.new):
        power = 10.0 ** (side.floor_db[windows][np.isfinite(side.floor_db[windows])] / 10.0)
        count = max(1.0, (high_hz - low_hz) / pair.width_hz)
        levels.append(10.0 * math.log10(float(power.mean()) * count) if power.size else math.nan)
    return Place(low_hz, high_hz, levels[0], levels[1]), looks_like


def _of_places(pair: Pair, places: Sequence[tuple[Place, str]], sure: Sureness) -> tuple[list[Change], list[str]]:
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
        old, new = _both_weighed(pair, place, sure)
        if not place.parts:
            yield place, looks_like
        elif not (old.present and new.present) or abs(new.signal_db - old.signal_db) > MOVE_DB:
            yield from ((part, looks_like) for part in place.parts)
        else:
            changes += _shift(pair, place, old, new, sure)


def _shift(pair: Pair, place: Place, old: Weighed, new: Weighed, sure: Sureness) -> list[Change]:
    """A signal that is about as strong in both surveys, a little higher or lower; none where only its shape differs."""
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
    old = weigh(pair.old, place.low_hz, place.high_hz, place.old_noise_db, sure.tail)
    return old, weigh(pair.new, place.low_hz, place.high_hz, place.new_noise_db, sure.tail)


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


def _floor_change(pair: Pair, stretch: Stretch, asked: _Asked) -> Change:
    """A floor in a link's width, before and after."""
    windows = pair.windows_in(stretch.low_hz, stretch.high_hz)
    wider_db = 10.0 * math.log10(max(1.0, asked.link_width_hz / pair.width_hz))
    before = float(np.nanmedian(pair.old.mean_db[windows])) - pair.old.noise_scale_db + wider_db
    verb = "rose" if stretch.difference_db > 0 else "fell"
    width = format_width(stretch.high_hz - stretch.low_hz)
    because = (
        f"the level {verb} by {abs(stretch.difference_db):.1f} dB all over {width}, "
        f"too broad or too soft at its edges for a signal; levels are those in a link's width of "
        f"{format_width(asked.link_width_hz)}"
    )
    return Change(
        low_hz=round(stretch.low_hz),
        high_hz=round(stretch.high_hz),
        what=What.FLOOR,
        from_dbm=before,
        to_dbm=before + stretch.difference_db,
        difference_db=stretch.difference_db,
        u_db=math.hypot(asked.u_db, stretch.u_db),
        because=because,
    )


def _at_edge(place: Place, change: Change) -> bool:
    """Whether a narrow place is the skirt of a wide change."""
    return any(place.low_hz - EDGE_HZ <= edge <= place.high_hz + EDGE_HZ for edge in (change.low_hz, change.high_hz))


# --- what moved


def _moves(changes: Sequence[Change]) -> list[Change]:
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


# --- what people are told besides


def _chain_notes(asked: _Asked, *, stated: bool) -> list[str]:
    how = "as you said" if stated else "grid, bandwidth and detector agree" if asked.same_chain else "they differ"
    if asked.same_chain:
        return [
            f"antenna and instrument taken as the same ({how}), so that their errors cancel: a difference is known to "
            f"{asked.u_db:.1f} dB (standard uncertainty)"
        ]
    return [
        f"antenna and instrument taken as two ({how}), so that both budgets add: a difference is known to "
        f"{asked.u_db:.1f} dB (standard uncertainty)"
    ]


def _offset_notes(
    signals: Offset | None, floors: Offset | None, bands: Sequence[BandOffset], asked: _Asked, shift_db: float
) -> list[str]:
    notes = []
    if signals is not None:
        notes.append(_offset_note(signals, asked))
    if floors is not None:
        notes.append(f"the floor is {floors.offset_db:+.1f} ± {floors.u_db:.1f} dB higher in the new survey")
    if signals is None and floors is not None:
        notes.append("no emitter is strong in both surveys: the offset is that of the floor alone")
    if shift_db:
        notes.append(
            f"signals and floor are {shift_db:+.1f} dB higher everywhere: gain, antenna or cable, not the air; it is "
            "taken off before changes are looked for"
        )
    if varies(bands):
        told = ", ".join(
            f"{format_mhz(b.low_hz)} to {format_mhz(b.high_hz)} {b.offset_db:+.1f} ± {b.u_db:.1f}"
            for b in bands
            if b.seen_in == "signals" and b.behind > 1
        )
        notes.append(f"the offset differs from band to band by more than chance (MHz, dB): {told}")
    return notes


def _offset_note(signals: Offset, asked: _Asked) -> str:
    told = f"signals that both hold ({signals.behind}) are {signals.offset_db:+.1f} ± {signals.u_db:.1f} dB higher in "
    told += "the new survey: "
    if not beyond_chance(signals, 0.0):
        return told + "no more than chance"
    if not beyond_chance(signals, asked.u_db):
        whose = "repeatability allows" if asked.same_chain else "the two budgets allow"
        return told + f"more than chance, and no more than {whose}"
    blame = "the chain has changed" if asked.same_chain else "one of the two has drifted or is broken"
    return told + f"more than chance and the uncertainty of both explain; if the air is the same, {blame}"


def _few(remarks: Sequence[str]) -> list[str]:
    more = len(remarks) - MOST_REMARKS
    return [*remarks[:MOST_REMARKS], *([f"and {more} more places of this kind"] if more > 0 else [])]


def _gap_notes(old: Air, new: Air) -> list[str]:
    notes = []
    for measured, missing, which in ((old, new, "old"), (new, old, "new")):
        gaps = gaps_between(measured.evidence, missing.evidence)
        if gaps:
            named = ", ".join(format_span_mhz(low, high) for low, high in gaps[:MOST_NAMED])
            more = f" and {len(gaps) - MOST_NAMED} more" if len(gaps) > MOST_NAMED else ""
            notes.append(f"measured in the {which} survey alone, so no change can be told: {named}{more}")
    return notes
