"""What people are told about a comparison besides its changes: its footing, the offset, and what was not measured."""

from __future__ import annotations

from collections.abc import Sequence

from fallow.change.offset import Offset, beyond_chance, varies
from fallow.change.side_by_side import Pair, gaps_between
from fallow.change.values import BandOffset, Terms
from fallow.spectrum.heard import told_alike
from fallow.spectrum.verdicts.deciding import Evidence
from fallow.units import format_mhz, format_span_mhz

__all__ = [
    "few",
    "notes_on_chain",
    "notes_on_gaps",
    "notes_on_likeness",
    "notes_on_looks",
    "notes_on_offset",
    "notes_on_stretches",
]

MOST_NAMED = 6
MOST_REMARKS = 12
LIFTED_DB = 1.0  # by which noise may read high in a trace: more is worth a word


def notes_on_chain(terms: Terms, *, stated: bool) -> list[str]:
    """Which errors cancel and which add, and how well a difference [dB] is known."""
    how = "as you said" if stated else "grid, bandwidth and detector agree" if terms.same_chain else "they differ"
    if terms.same_chain:
        return [
            f"antenna and instrument taken as the same ({how}), so that their errors cancel: a difference is known to "
            f"{terms.u_db:.1f} dB (standard uncertainty)"
        ]
    return [
        f"antenna and instrument taken as two ({how}), so that both budgets add: a difference is known to "
        f"{terms.u_db:.1f} dB (standard uncertainty)"
    ]


def notes_on_offset(
    signals: Offset | None, floors: Offset | None, bands: Sequence[BandOffset], terms: Terms, shift_db: float
) -> list[str]:
    """By how much signals and floor differ, whether by more than chance, and whether from band to band."""
    notes = []
    if signals is not None:
        notes.append(_offset_note(signals, terms))
    if floors is not None:
        notes.append(f"the floor is {_higher(floors)} in the new survey")
    if signals is None and floors is not None:
        notes.append("no emitter is strong in both surveys: the offset is that of the floor alone")
    if shift_db:
        notes.append(
            f"{shift_db:+.1f} dB are common to everything: gain, antenna or cable, not the air; they are taken off "
            "before changes are looked for"
        )
    if varies(bands):
        told = ", ".join(
            f"{format_mhz(b.low_hz)} to {format_mhz(b.high_hz)} {b.offset_db:+.1f} ± {b.u_db:.1f}"
            for b in bands
            if b.seen_in == "signals" and b.behind > 1
        )
        notes.append(f"the offset differs from band to band by more than chance (MHz, dB): {told}")
    notes += _far_bands(bands, signals, terms)
    return notes


def notes_on_stretches(stretches: Sequence[BandOffset], signals: Offset | None, terms: Terms) -> list[str]:
    """Where the new survey reads unlike elsewhere, with the edges that the signals show."""
    notes = []
    for one in stretches:
        whose = "repeatability allows" if terms.same_chain else "the two budgets allow"
        usual = "" if signals is None else f" (over all {signals.offset_db:+.1f} dB)"
        reads, where = (
            _higher(Offset(one.offset_db, one.u_db, one.behind)),
            (round(one.low_hz, -5), round(one.high_hz, -5)),
        )
        notes.append(
            f"the new survey reads {reads} from {format_span_mhz(*where)} ({one.behind} signals), unlike elsewhere"
            f"{usual}: more than {whose if one.beyond_uncertainty else 'chance'}"
        )
    return notes


def _far_bands(bands: Sequence[BandOffset], signals: Offset | None, terms: Terms) -> list[str]:
    """Bands that differ by more than explained, where the whole does not."""
    if signals is None or (terms.absolute and beyond_chance(signals, terms.u_db)):
        return []
    whose = "repeatability allows" if terms.same_chain else "the two budgets allow"
    return [
        f"{format_span_mhz(band.low_hz, band.high_hz)}: signals ({band.behind}) are "
        f"{_higher(Offset(band.offset_db, band.u_db, band.behind))} in the new survey, more than {whose}"
        for band in bands
        if band.beyond_uncertainty
    ]


def _higher(offset: Offset) -> str:
    """An offset in words: ``1.2 ± 0.3 dB higher``."""
    return f"{abs(offset.offset_db):.1f} ± {offset.u_db:.1f} dB {'higher' if offset.offset_db >= 0 else 'lower'}"


def _offset_note(signals: Offset, terms: Terms) -> str:
    told = f"signals that both hold ({signals.behind}) are {_higher(signals)} in the new survey: "
    if not beyond_chance(signals, 0.0):
        return told + "no more than chance"
    if not beyond_chance(signals, terms.u_db):
        whose = "repeatability allows" if terms.same_chain else "the two budgets allow"
        return told + f"more than chance, and no more than {whose}"
    blame = "the chain has changed" if terms.same_chain else "one of the two has drifted or is broken"
    return told + f"more than chance and the uncertainty of both explain; if the air is the same, {blame}"


def notes_on_likeness(pairs: Sequence[Pair]) -> list[str]:
    """What else makes levels differ when two surveys were not taken alike."""
    notes = []
    sides = [(pair.old.evidence.heard, pair.new.evidence.heard) for pair in pairs]
    if any(old.detector != new.detector for old, new in sides):
        notes.append(
            "the detectors differ: what is like noise (TV, mobile) reads several decibels higher in a peak or max-hold "
            "trace; the bias of the floor is allowed for, that of such signals is not"
        )
    lifted = [max(pair.old.bias_limits_db[1], pair.new.bias_limits_db[1]) for pair in pairs if pair.could_be_one_kind]
    if any(most > LIFTED_DB for most in lifted):
        notes.append(
            "nobody states the trace kinds, and the readings allow for one and the same: taken so; a hold over more "
            "sweeps than the other shows a higher floor that has not risen (--detector says what they are)"
        )
    if any(max(old.rbw_hz, new.rbw_hz) > 1.01 * min(old.rbw_hz, new.rbw_hz) for old, new in sides):
        notes.append("the bandwidths differ: levels are compared in windows as wide as the coarser of the two looks")
    return notes


def notes_on_looks(old: Sequence[Evidence], new: Sequence[Evidence]) -> list[str]:
    """Which of the two surveys has sweeps that show the same noise."""
    return [
        f"in the {which} survey {told_alike(one.heard)}"
        for evidence, which in ((old, "old"), (new, "new"))
        for one in evidence
        if one.heard.alike_sweeps > 1.0
    ]


def notes_on_gaps(old: Sequence[Evidence], new: Sequence[Evidence]) -> list[str]:
    """What only one of the two surveys measured."""
    notes = []
    for measured, missing, which in ((old, new, "old"), (new, old, "new")):
        gaps = gaps_between(measured, missing)
        if gaps:
            named = ", ".join(format_span_mhz(low, high) for low, high in gaps[:MOST_NAMED])
            more = f" and {len(gaps) - MOST_NAMED} more" if len(gaps) > MOST_NAMED else ""
            notes.append(f"measured in the {which} survey alone, so no change can be told: {named}{more}")
    return notes


def few(remarks: Sequence[str]) -> list[str]:
    """The first remarks, and how many more there are."""
    more = len(remarks) - MOST_REMARKS
    return [*remarks[:MOST_REMARKS], *([f"and {more} more places of this kind"] if more > 0 else [])]
