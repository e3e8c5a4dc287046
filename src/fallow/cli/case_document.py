"""The case of a link at a frequency, and what was taken over from a survey, as JSON documents."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fallow.workflow.taking_over import TakenOver
    from fallow.workflow.why import Candidate, Case

__all__ = ["case_document", "taken_over_document"]


def case_document(case: Case) -> dict[str, Any]:
    """The answer of ``plan --why``; conflicts as in ``audit``."""
    return {
        "link": case.link,
        "at_hz": case.at_hz,
        "home_hz": case.home_hz,
        "against": [asdict(conflict) for conflict in case.against],
        "in_favour": list(case.in_favour),
        "free_nearby_hz": [free.at_hz for free in case.free_nearby],
        "free_nearby": [{"at_hz": free.at_hz, "verdict": free.verdict} for free in case.free_nearby],
        "best": [_candidate(one) for one in case.best],
        "notes": list(case.notes),
    }


def _candidate(one: Candidate) -> dict[str, Any]:
    return {"at_hz": one.at_hz, "verdict": one.verdict, "against": [asdict(conflict) for conflict in one.against]}


def taken_over_document(taken: TakenOver) -> dict[str, Any]:
    """What ``air --foreign-out`` adds to its answer."""
    return {
        "foreign_out": {
            "path": taken.path,
            "carriers": [one.name for one in taken.carriers],
            "left_out": dict(taken.left_out),
        }
    }
