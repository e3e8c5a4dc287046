"""Two judged surveys of one place compared: what appeared, vanished, moved, got louder or quieter, and the floor.

Where antenna and instrument are the same, their common errors cancel and only repeatability stays (JCGM 100:2008,
F.1.2.3); otherwise both budgets add. Three scales are looked at: blocks of known shape as wholes, other wide stretches,
and what is narrow. Nothing is called a change that noise alone shows in one comparison of a hundred.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from fallow.change.broad import Stretch, find_stretches, grouped_difference
from fallow.change.narrow import background_of, find_narrow_places
from fallow.change.notes import (
    few,
    notes_on_chain,
    notes_on_gaps,
    notes_on_likeness,
    notes_on_looks,
    notes_on_offset,
    notes_on_stretches,
)
from fallow.change.offset import Offset, SharedSignals, band_offsets, floor_offset, stretch_offsets
from fallow.change.places import changes_at, with_moves
from fallow.change.side_by_side import Levels, Pair, lay_side_by_side
from fallow.change.values import Change, SurveyChange, Terms, What
from fallow.change.weighing import Place, Sureness
from fallow.errors import UsageError
from fallow.spectrum.chain import budget_of, combined_u_db
from fallow.spectrum.found.blocks import Block
from fallow.spectrum.judging import Air
from fallow.units import format_width

__all__ = ["compare_surveys"]

ALIKE_SHARE = 0.25  # of their width, by which the edges of one block may differ between two surveys
EDGE_HZ = 400e3  # beside the edge of a wide change, narrow ones may be its skirts
SKIRT_DB = 3.0
FRAGMENT_HZ = 1.25e6  # so far beside a floor, a piece that changed as it did is the floor's: edges are known to groups
COMMON_SHIFT_DB = 1.0
UNEVEN_DB = 1.0  # quartile distance of the floor's difference: more is no common shift


def compare_surveys(old: Air, new: Air, *, same_chain: bool | None = None) -> SurveyChange:
    """Compare two surveys of one place. ``same_chain``: whether antenna and instrument were the same; ``None``: taken
    as the same where grid, bandwidth and detector agree, and no two instruments are named.

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
    terms = Terms(same, _u_db(old, new, same=same), old.basis == "absolute", old.link_width_hz)
    blocks = _known_blocks(old, new)
    held = SharedSignals.of(old.evidence, new.evidence, same_chain=same)
    signals, floors = held.offset(), floor_offset(np.concatenate([_floor_groups(p, blocks) for p in pairs]))
    shift = _common_shift(pairs, blocks, signals, floors, terms)
    found = [_changes_of(pair, blocks, terms, shift) for pair in pairs]
    bands, stretches = band_offsets(pairs, held, terms), stretch_offsets(held, terms)
    offset = signals or floors
    return SurveyChange(
        changes=tuple(sorted((change for one, _ in found for change in one), key=lambda change: change.low_hz)),
        offset_db=None if offset is None else offset.offset_db,
        offset_u_db=None if offset is None else offset.u_db,
        by_band=bands,
        same_chain=same,
        absolute=terms.absolute,
        notes=(
            *notes_on_chain(terms, stated=same_chain is not None),
            *notes_on_offset(signals, floors, bands, terms, shift),
            *notes_on_stretches(stretches, signals, terms),
            *notes_on_likeness(pairs),
            *notes_on_looks(old.evidence, new.evidence),
            *notes_on_gaps(old.evidence, new.evidence),
            *few([note for _, notes in found for note in notes]),
        ),
        by_stretch=stretches,
    )


def _same_kind(pair: Pair) -> bool:
    one, other = pair.old.evidence.heard, pair.new.evidence.heard
    if one.instrument and other.instrument and one.instrument != other.instrument:
        return False
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


def _floor_groups(pair: Pair, blocks: Iterable[Block]) -> Levels:
    return grouped_difference(pair, [(block.low_hz, block.high_hz) for block in blocks])


def _common_shift(
    pairs: Sequence[Pair], blocks: Sequence[Block], signals: Offset | None, floors: Offset | None, terms: Terms
) -> float:
    """What lifts signals and floor everywhere alike is no change of the air; 0 where there is no such thing.

    Relative levels of two instruments have nothing in common but this: there it is always taken off.
    """
    if not terms.same_chain and not terms.absolute:
        best = signals or floors
        return 0.0 if best is None else best.offset_db
    if signals is None or floors is None or signals.behind < 3 or abs(signals.offset_db) < COMMON_SHIFT_DB:
        return 0.0
    alike = abs(signals.offset_db - floors.offset_db) <= 2.0 * math.hypot(signals.u_db, floors.u_db) + 0.5
    groups = np.concatenate([_floor_groups(pair, blocks) for pair in pairs])
    quartiles = np.nanpercentile(groups, [25, 75])
    return signals.offset_db if alike and float(quartiles[1] - quartiles[0]) <= UNEVEN_DB else 0.0


# --- changes of one pair of series


def _changes_of(pair: Pair, blocks: Sequence[Block], terms: Terms, shift_db: float) -> tuple[list[Change], list[str]]:
    inside = [block for block in blocks if _holds(pair, block)]
    level = pair.with_new_lowered(shift_db)
    sure = Sureness(math.hypot(terms.u_db, pair.noise_offset_u_db))
    stretches = find_stretches(level, [(block.low_hz, block.high_hz) for block in inside], sure)
    wide = [(block.low_hz, block.high_hz, block.looks_like) for block in inside]
    wide += [(one.low_hz, one.high_hz, "") for one in stretches if not one.is_floor]
    changes, remarks = changes_at(level, [_on_floor(level, *one) for one in wide], Sureness(terms.u_db, len(wide)))
    changes += [_floor_change(level, one, terms) for one in stretches if one.is_floor]
    places = [(place, "") for place in find_narrow_places(level, background_of(level))]
    free = [couple for couple in places if not any(_at_edge(couple[0], change) for change in changes)]
    skirts = [couple for couple in places if couple not in free]
    narrow, more = changes_at(level, free, Sureness(terms.u_db, len(places)))
    beside, _ = changes_at(level, skirts, Sureness(terms.u_db, len(places)))
    narrow += [one for one in beside if not any(_is_skirt(one, change) for change in changes)]
    changes, narrow = _whole_floors(changes, narrow)
    changes = [_as_shown(change, shift_db) for change in (*changes, *with_moves(narrow))]
    return changes, [*remarks, *more]


def _whole_floors(wide: Sequence[Change], narrow: Sequence[Change]) -> tuple[list[Change], list[Change]]:
    """Floors with the pieces beside them that carriers cut off, and the narrow changes that are left."""
    whole, left = [], list(narrow)
    for change in wide:
        while pieces := [one for one in left if _continues(change, one)]:
            piece = min(pieces, key=lambda one: _apart_hz(one, change))
            left.remove(piece)
            low_hz, high_hz = min(change.low_hz, piece.low_hz), max(change.high_hz, piece.high_hz)
            change = replace(change, low_hz=low_hz, high_hz=high_hz)
        whole.append(change)
    return whole, left


def _continues(floor: Change, piece: Change) -> bool:
    """Whether a piece of air beside a changed floor changed as that did, from noise to noise."""
    as_much = abs(piece.difference_db - floor.difference_db) <= SKIRT_DB
    alike = floor.what is What.FLOOR and piece.what in (What.APPEARED, What.VANISHED) and as_much
    inside = floor.low_hz <= piece.low_hz and piece.high_hz <= floor.high_hz
    return alike and not inside and _apart_hz(piece, floor) <= FRAGMENT_HZ


def _apart_hz(piece: Change, floor: Change) -> int:
    return max(piece.low_hz - floor.high_hz, floor.low_hz - piece.high_hz)


def _holds(pair: Pair, block: Block) -> bool:
    """Whether both surveys measured most of a block, its edges included."""
    windows = pair.both[pair.windows_in(block.low_hz, block.high_hz)]
    reached = pair.low_hz[0] <= block.low_hz + pair.width_hz and block.high_hz <= pair.high_hz[-1] + pair.width_hz
    return bool(reached and windows.size and windows.mean() > 0.5)


def _on_floor(pair: Pair, low_hz: float, high_hz: float, looks_like: str) -> tuple[Place, str]:
    """A wide span that stands on the noise floor."""
    windows = pair.windows_in(low_hz, high_hz)
    levels = []
    for side in (pair.old, pair.new):
        power = 10.0 ** (side.floor_db[windows][np.isfinite(side.floor_db[windows])] / 10.0)
        count = max(1.0, (high_hz - low_hz) / pair.width_hz)
        levels.append(10.0 * math.log10(float(power.mean()) * count) if power.size else math.nan)
    return Place(low_hz, high_hz, levels[0], levels[1]), looks_like


def _floor_change(pair: Pair, stretch: Stretch, terms: Terms) -> Change:
    """A floor in a link's width, before and after."""
    windows = pair.windows_in(stretch.low_hz, stretch.high_hz)
    wider_db = 10.0 * math.log10(max(1.0, terms.link_width_hz / pair.width_hz))
    before = pair.old.usual_db(windows) - pair.old.noise_scale_db + wider_db
    verb, width = "rose" if stretch.difference_db > 0 else "fell", format_width(stretch.high_hz - stretch.low_hz)
    because = (
        f"the level {verb} all over {width}: too broad, or too soft at its edges, for a signal; levels are in "
        f"{format_width(terms.link_width_hz)}"
    )
    return Change(
        low_hz=round(stretch.low_hz),
        high_hz=round(stretch.high_hz),
        what=What.FLOOR,
        from_dbm=before,
        to_dbm=before + stretch.difference_db,
        difference_db=stretch.difference_db,
        u_db=math.hypot(terms.u_db, pair.noise_offset_u_db, stretch.u_db),
        because=because,
    )


def _as_shown(change: Change, shift_db: float) -> Change:
    """A change in the levels that the new survey showed, its common shift included."""
    if shift_db == 0.0:
        return change
    because = f"{change.because}; a common shift of {shift_db:+.1f} dB is not counted"
    return replace(change, to_dbm=change.to_dbm + shift_db, because=because)


def _is_skirt(one: Change, wide: Change) -> bool:
    """Whether a narrow change beside the edge of a wide one is not much more than that itself."""
    return _at_edge(one, wide) and abs(one.difference_db) <= abs(wide.difference_db) + SKIRT_DB


def _at_edge(place: Place | Change, change: Change) -> bool:
    """Whether a narrow place lies at the edge of a wide change."""
    return any(place.low_hz - EDGE_HZ <= edge <= place.high_hz + EDGE_HZ for edge in (change.low_hz, change.high_hz))
