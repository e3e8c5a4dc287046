"""Answers as JSON documents: hertz as integers, levels as numbers, absent values null."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from fallow.cli.advice_document import advice_document
from fallow.cli.ledger_document import assumed_document, ledger_document, risks_document
from fallow.cli.lettering import PLAIN_LETTERS
from fallow.workflow.survey import FileReading, FileRefusal, iso_text

if TYPE_CHECKING:
    from fallow.plan.answer import Plan
    from fallow.plan.judge.audit import Audit, Conflict, Unkept
    from fallow.spectrum.verdict import Emitter, JudgedSlice
    from fallow.workflow.compare import (
        Assignment,
        BandOffset,
        Change,
        Compared,
        PadLine,
        PadTest,
        PlanChange,
        SurveyChange,
    )
    from fallow.workflow.law import RegionRules
    from fallow.workflow.survey import Instruments, JudgedAir

__all__ = [
    "air_document",
    "audit_document",
    "compare_document",
    "plan_document",
    "print_json",
    "read_document",
    "regions_document",
    "rules_document",
]

Document = dict[str, Any]


def print_json(document: Document) -> None:
    """Write one JSON document to stdout in UTF-8, whatever the console's encoding."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    sys.stdout.flush()
    sys.stdout.buffer.write(text.encode("utf-8", PLAIN_LETTERS))
    sys.stdout.buffer.flush()


def read_document(readings: Sequence[FileReading | FileRefusal]) -> Document:
    """The answer of ``read``: readings and refusals in the order of the files."""
    return {"files": [_reading(reading) for reading in readings]}


def _reading(reading: FileReading | FileRefusal) -> Document:
    if isinstance(reading, FileRefusal):
        error = reading.error
        said = {"notes": [str(error)], "needs": [], "error": str(error), "hint": error.hint}
        return {"path": reading.path, **_UNREAD, "start_local": None, "sweeps": 0, "points": 0, **said}
    return {
        "path": reading.path,
        "layout": reading.layout,
        "encoding": reading.encoding,
        "delimiter": reading.delimiter,
        "decimal": reading.decimal,
        "level_unit": reading.level_unit,
        "sweeps": reading.sweeps,
        "points": reading.points,
        "low_hz": reading.low_hz,
        "high_hz": reading.high_hz,
        "rbw_hz": _whole(reading.rbw_hz),
        "detector": None if reading.detector is None else str(reading.detector),
        "instrument": reading.instrument,
        "start": reading.start,
        "start_local": reading.start_local,
        "is_reference": reading.is_reference,
        "notes": list(reading.notes),
        "needs": list(reading.needs),
    }


_UNREAD = dict.fromkeys(
    (
        *("layout", "encoding", "delimiter", "decimal", "level_unit"),
        *("low_hz", "high_hz", "rbw_hz", "detector", "instrument", "start"),
    )
)


def air_document(judged: JudgedAir) -> Document:
    """The answer of ``air``."""
    air = judged.air
    absolute = air.basis == "absolute"
    return {
        "basis": air.basis,
        "limit_dbm": _number(air.limit_dbm) if absolute else None,
        "limit_above_floor_db": None if absolute else _number(air.limit_above_floor_db),
        "floor_from": air.floor_from,
        "confidence": air.confidence_pct,
        "sweeps": air.sweeps,
        "missed_share": _number(air.missed_share, 6),
        "slices": [_slice(part) | _field(judged, part) for part in judged.slices],
        "emitters": [_emitter(emitter) | _field(judged, emitter) for emitter in judged.emitters],
        "instruments": _instruments(judged),
        "notes": [*judged.notes, *judged.unlisted],
        "budget": [{"part": line.part, "u_db": _number(line.u_db, 3), "source": line.source} for line in air.budget],
    }


def _instruments(judged: JudgedAir) -> list[Document]:
    """The offset of each instrument against the median of those that share signals with it, and what is wrong."""
    found = judged.air.instruments
    return [] if found is None else [_instrument(found, unit) for unit in range(len(found.units))]


def _instrument(found: Instruments, unit: int) -> Document:
    offset = found.against_median(unit)
    return {
        "instrument": found.units[unit],
        "offset_db": _number(offset.difference_db),
        "offset_u_db": _number(offset.u_db),
        "signals": offset.behind,
        "misreadings": [
            {
                "low_hz": _whole(one.told_hz[0]),
                "high_hz": _whole(one.told_hz[1]),
                "difference_db": _number(one.difference_db),
                "u_db": _number(one.u_db),
                "allowed_db": _number(one.allowed_db),
            }
            for one in found.misreadings
            if one.unit == found.units[unit]
        ],
    }


def _slice(part: JudgedSlice) -> Document:
    return {
        "name": part.name,
        "low_hz": part.low_hz,
        "high_hz": part.high_hz,
        "verdict": part.verdict.word,
        "reasons": list(part.reasons),
        "level_dbm": _number(part.level_dbm),
        "u_db": _number(part.u_db),
        "floor_dbm": _number(part.floor_dbm),
        "shares": {verdict.word: _number(share, 4) for verdict, share in part.shares.items()},
    }


def _emitter(emitter: Emitter) -> Document:
    return {
        "low_hz": emitter.low_hz,
        "high_hz": emitter.high_hz,
        "centre_hz": emitter.centre_hz,
        "level_dbm": _number(emitter.level_dbm),
        "looks_like": emitter.looks_like,
        "evidence": list(emitter.evidence),
        "on_share": _number(emitter.on_share, 4),
        "on_share_low": _number(emitter.on_share_low, 4),
        "on_share_high": _number(emitter.on_share_high, 4),
        **_seen(emitter),
    }


def _seen(emitter: Emitter) -> Document:
    """When it was seen: with zone, or by the source's own clock where its zone is not known."""
    zoned = emitter.zone_known
    first, last = (None if at is None else iso_text(at, utc=zoned) for at in (emitter.first_s, emitter.last_s))
    return {
        "first_seen": first if zoned else None,
        "last_seen": last if zoned else None,
        "first_seen_local": None if zoned else first,
        "last_seen_local": None if zoned else last,
        "period_s": _number(emitter.period_s, 3),
        "period_u_s": _number(emitter.period_u_s, 3),
    }


def _field(judged: JudgedAir, found: JudgedSlice | Emitter) -> Document:
    return {"level_dbuvm": _number(judged.field_dbuvm(found))} if judged.tells_field else {}


def rules_document(found: RegionRules) -> Document:
    """The answer of ``rules R``."""
    return {
        "region": found.territory.code,
        "rows": [
            {
                "low_hz": rule.low_hz,
                "high_hz": rule.high_hz,
                "answer": answer.word,
                "licence": rule.licence or None,
                "power_mw": rule.power_mw,
                "power_kind": None if rule.power_kind is None else str(rule.power_kind),
                "bandwidth_hz": rule.bandwidth_hz,
                "conditions": list(rule.conditions),
                "source": rule.source,
                "date": rule.date,
                "grade": str(rule.grade),
                "carriers_hz": list(rule.carriers_hz),
            }
            for rule, answer in found.rows
        ],
        "channels": [{"name": c.name, "low_hz": c.low_hz, "high_hz": c.high_hz} for c in found.channels],
        "licences": dict(found.territory.licences),
        "cautions": list(found.territory.cautions),
    }


def regions_document(regions: Sequence[tuple[str, str]]) -> Document:
    """The answer of ``rules`` without a region."""
    return {"regions": [{"region": code, "name": name} for code, name in regions]}


def plan_document(plan: Plan) -> Document:
    """The answer of ``plan``."""
    return {
        "links": [
            {
                "link": placed.link,
                "frequency_hz": placed.frequency_hz,
                "verdict": placed.verdict,
                "margin_db": _number(placed.margin_db),
                "why": placed.why,
                "decided_by": placed.decided_by,
                "ledger": ledger_document(placed.ledger),
            }
            for placed in plan.links.values()
        ],
        "unplaced": [{"link": one.link, "because": list(one.because)} for one in plan.unplaced],
        "spares": [
            {"spare": one.spare, "equipment": one.equipment, "area": one.area, "frequency_hz": one.frequency_hz}
            for one in plan.spares
        ],
        "most": None if plan.most is None else {"links": plan.most.links, "because": plan.most.because},
        "moved": [{"link": move.link, "from_hz": move.from_hz, "to_hz": move.to_hz} for move in plan.moved],
        "conflicts": [_conflict(conflict) for conflict in plan.conflicts],
        "unkept": [_unkept(one) for one in plan.unkept],
        "risks": risks_document(plan.risks),
        "assumed": assumed_document(plan.assumed),
        **advice_document(plan.advice),
        "notes": list(plan.notes),
        "seed": plan.seed,
        "seconds": _number(plan.seconds, 3),
    }


def audit_document(audit: Audit) -> Document:
    """The answer of ``audit``."""
    return {
        "conflicts": [_conflict(conflict) for conflict in audit.conflicts],
        "unkept": [_unkept(one) for one in audit.unkept],
        "checked": {"pairs": audit.pairs, "products": audit.products},
        "notes": list(audit.notes),
    }


def _unkept(one: Unkept) -> Document:
    return {
        "kind": one.kind,
        "group": one.group,
        "other": one.other or None,
        "area": one.area or None,
        "carriers": list(one.carriers),
        "distance_hz": one.distance_hz,
        "wished_hz": one.wished_hz,
        "pairs": one.pairs,
        "source": one.source or None,
        "text": one.text,
    }


def compare_document(found: Compared) -> Document:
    """The answer of ``compare``: of two plans, or of two surveys (with ``pad_test`` where one was asked for)."""
    if found.plans is not None:
        return _plan_change(found.plans)
    document = _survey_change(found.surveys)
    if found.pad_test is not None:
        document["pad_test"] = _pad_test(found.pad_test)
        document["notes"] = list(found.pad_test.notes)
    return document


def _plan_change(found: PlanChange) -> Document:
    return {
        "moved": [{"link": one.link, "from_hz": one.from_hz, "to_hz": one.to_hz} for one in found.moved],
        "added": [_plan_row(row) for row in found.added],
        "removed": [_plan_row(row) for row in found.removed],
        "changed": [{"link": one.link, "what": one.what, "from": one.before, "to": one.after} for one in found.changed],
        "kept": found.kept,
        "notes": list(found.notes),
    }


def _plan_row(row: Assignment) -> Document:
    return {"link": row.link, "equipment": row.equipment, "area": row.area, "frequency_hz": row.frequency_hz}


def _survey_change(found: SurveyChange | None) -> Document:
    if found is None:
        return {"changes": [], "offset_db": None, "offset_u_db": None, "notes": []}
    return {
        "changes": [_change(change) for change in found.changes],
        "offset_db": _number(found.offset_db),
        "offset_u_db": _number(found.offset_u_db),
        "offset_by_band": [_band_offset(band) for band in found.by_band],
        "offset_by_stretch": [_band_offset(stretch) for stretch in found.by_stretch],
        "basis": "absolute" if found.absolute else "relative",
        "same_chain": found.same_chain,
        "notes": list(found.notes),
    }


def _band_offset(band: BandOffset) -> Document:
    return {
        "low_hz": band.low_hz,
        "high_hz": band.high_hz,
        "offset_db": _number(band.offset_db),
        "u_db": _number(band.u_db),
        "seen_in": band.seen_in,
        "behind": band.behind,
        "beyond_chance": band.beyond_chance,
        "beyond_uncertainty": band.beyond_uncertainty,
    }


def _change(change: Change) -> Document:
    moved = change.moved_from_hz
    return {
        "low_hz": change.low_hz,
        "high_hz": change.high_hz,
        "what": str(change.what),
        "from_dbm": _number(change.from_dbm),
        "to_dbm": _number(change.to_dbm),
        "difference_db": _number(change.difference_db),
        "u_db": _number(change.u_db),
        "because": change.because,
        "from_low_hz": None if moved is None else moved[0],
        "from_high_hz": None if moved is None else moved[1],
    }


def _pad_test(found: PadTest) -> Document:
    return {
        "pad_db": _number(found.pad_db),
        "corrected": found.corrected,
        "lines": [_pad_line(line) for line in found.lines],
        "advice": list(found.advice),
    }


def _pad_line(line: PadLine) -> Document:
    verdict = line.verdict
    return {
        "centre_hz": line.centre_hz,
        "low_hz": line.low_hz,
        "high_hz": line.high_hz,
        "drop_db": _number(verdict.drop_db),
        "u_db": _number(verdict.u_db),
        "what": str(verdict.origin),
        "order": verdict.order,
        "error_probability": _number(verdict.error_probability, 6),
        "because": verdict.because,
    }


def _conflict(conflict: Conflict) -> Document:
    return {
        "kind": conflict.kind,
        "victim": conflict.victim,
        "carriers": list(conflict.carriers),
        "product_hz": conflict.product_hz,
        "distance_hz": conflict.distance_hz,
        "needed_hz": conflict.needed_hz,
        "text": conflict.text,
    }


def _number(value: float | None, digits: int = 2) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), digits)


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)
