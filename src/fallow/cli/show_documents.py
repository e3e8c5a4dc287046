"""Answers about the show file as JSON documents; links, plans and conflicts under the names that other commands use."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fallow.show.assignment import Assignment
    from fallow.show.equipment import Equipment
    from fallow.show.link import AreaLosses, Link
    from fallow.workflow.show_exchange import Checked, Rescued
    from fallow.workflow.show_history import Difference, Happened, Mark
    from fallow.workflow.show_overview import Overview
    from fallow.workflow.show_plan import PlanSeen
    from fallow.workflow.show_surveys import SurveySeen
    from fallow.workflow.show_tables import Added

Document = dict[str, Any]


def overview_document(found: Overview) -> Document:
    """The answer of ``list``."""
    return {
        "show": str(found.path),
        "settings": dict(found.settings),
        "counts": dict(found.counts),
        "surveys": [survey_document(survey) for survey in found.surveys],
        "plans": [plan_head_document(plan) for plan in found.plans],
        "marks": [mark_document(mark) for mark in found.marks],
        "notes_written": [{"at": n.at, "who": n.who, "about": n.about or None, "text": n.text} for n in found.written],
        "changes": found.changes,
        "writer": None if found.writer is None else str(found.writer),
        "notes": list(found.notes),
    }


def link_document(link: Link) -> Document:
    """A link as the show keeps it."""
    return {
        "link": link.name,
        "equipment": link.equipment,
        "area": link.area or None,
        "scenes": sorted(link.scenes),
        "groups": sorted(link.groups),
        "priority": link.priority,
        "frequency_hz": link.frequency_hz,
        "fixed": link.fixed,
        "planned": link.planned,
        "return_hz": link.return_hz,
        "move_weight": link.move_weight,
        "more": {name: text for name, text in link.extra.items() if text},
    }


def equipment_document(radio: Equipment) -> Document:
    """A type of radio as the show keeps it."""
    return {
        "equipment": radio.name,
        "kind": str(radio.kind),
        "tuning": [{"low_hz": span.low_hz, "high_hz": span.high_hz} for span in radio.tuning],
        "step_hz": radio.step_hz,
        "presets_hz": list(radio.presets_hz),
        "bandwidth_hz": radio.bandwidth_hz,
        "power_mw": radio.power_mw,
        "power_kind": None if radio.power_kind is None else str(radio.power_kind),
        "spacing_hz": radio.spacing_hz,
        "im3_hz": radio.im3_hz,
        "im3_three_hz": radio.im3_three_hz,
        "im5_hz": radio.im5_hz,
        "im7_hz": radio.im7_hz,
        "product_width": radio.product_width,
    }


def areas_document(losses: AreaLosses) -> Document:
    """Pairs of areas; ``loss_db`` is null where they are apart."""
    pairs = sorted((min(pair), max(pair)) for pair in losses.pairs)
    return {"areas": [{"area": a, "other": b, "loss_db": losses.loss_db.get(frozenset((a, b)))} for a, b in pairs]}


def survey_document(seen: SurveySeen) -> Document:
    """A survey and how much it holds. Times without a zone stand as ``start_local``."""
    head, extent = seen.head, seen.extent
    known = extent.zone_known
    return {
        "survey": head.name,
        "area": head.area or None,
        "is_reference": head.is_reference,
        "sweeps": extent.sweeps,
        "points": extent.points,
        "low_hz": None if extent.low_hz is None else round(extent.low_hz),
        "high_hz": None if extent.high_hz is None else round(extent.high_hz),
        "start": _iso(extent.from_s) if known else None,
        "end": _iso(extent.until_s) if known else None,
        "start_local": None if known else _iso(extent.from_s, zone=False),
        "added": head.added or None,
        "files": [{"name": source.name, "sha256": source.sha256} for source in head.sources],
        "notes": list(head.notes),
    }


def plan_head_document(plan: PlanSeen) -> Document:
    """A plan without its rows."""
    return {
        "plan": plan.head.name,
        "made": plan.head.made or None,
        "in_force": plan.is_in_force,
        "links": sum(not row.is_spare for row in plan.rows),
        "placed": sum(not row.is_spare and row.frequency_hz is not None for row in plan.rows),
        "spares": sum(row.is_spare for row in plan.rows),
        "settings": dict(plan.head.settings),
        "notes": [*plan.head.notes, *plan.renamed],
        "links_without_row": list(plan.fit.without_row),
        "rows_without_link": list(plan.fit.without_link),
        "links_twice": list(plan.fit.twice),
        "links_fixed_elsewhere": list(plan.fit.elsewhere),
    }


def plan_seen_document(plan: PlanSeen) -> Document:
    """A plan with its rows."""
    return plan_head_document(plan) | {"rows": [_row(row) for row in plan.rows]}


def _row(row: Assignment) -> Document:
    return {
        "link": row.link,
        "equipment": row.equipment,
        "area": row.area or None,
        "scenes": sorted(row.scenes),
        "frequency_hz": row.frequency_hz,
        "verdict": row.verdict,
        "margin_db": row.margin_db,
        "note": row.note or None,
    }


def change_document(change: Happened) -> Document:
    """One change of the history."""
    return {
        "number": change.number,
        "at": change.at,
        "who": change.who,
        "what": change.what,
        "why": change.why or None,
        "nature": str(change.nature),
        "of": change.of,
        "undone": change.undone,
        "can_redo": change.can_redo,
    }


def mark_document(mark: Mark) -> Document:
    """A mark: the state after that change."""
    return {"mark": mark.name, "change": mark.change, "at": mark.at}


def history_document(changes: Iterable[Happened], marks: Iterable[Mark]) -> Document:
    """The answer of ``history``."""
    return {"changes": [change_document(one) for one in changes], "marks": [mark_document(one) for one in marks]}


def added_document(
    added: Sequence[Added], survey: SurveySeen | None, refused: Sequence[str], notes: Sequence[str]
) -> Document:
    """The answer of ``add``."""
    return {
        "tables": [
            {"what": one.what, "added": one.added, "changed": one.changed, "removed": one.removed, "same": one.same}
            for one in added
        ],
        "survey": None if survey is None else survey_document(survey),
        "refused": list(refused),
        "notes": list(notes),
    }


def values_document(values: Iterable[Difference]) -> list[Document]:
    """What differs between two moments; absent values null."""
    return [
        {
            "kind": one.kind,
            "key": one.key,
            "before": None if one.before is None else json.loads(one.before),
            "after": None if one.after is None else json.loads(one.after),
        }
        for one in values
    ]


def check_document(found: Checked) -> Document:
    """The answer of ``check``."""
    return {
        "whole": found.is_whole,
        "damage": list(found.damage),
        "version": found.version,
        "is_newer": found.is_newer,
        "values": found.values,
        "changes": found.changes,
        "sweeps": found.sweeps,
        "size_bytes": found.size_bytes,
        "writer": None if found.writer is None else str(found.writer),
    }


def rescue_document(found: Rescued) -> Mapping[str, Any]:
    """What was rescued, beside the answer of ``check``."""
    return {
        "rescued": {
            "file": str(found.path),
            "values": found.values,
            "changes": found.changes,
            "sweeps": found.sweeps,
            "lost": list(found.lost),
        }
    }


def _iso(time_s: float | None, *, zone: bool = True) -> str | None:
    if time_s is None:
        return None
    when = datetime.fromtimestamp(time_s, UTC)
    return (when if zone else when.replace(tzinfo=None)).isoformat(timespec="seconds")
