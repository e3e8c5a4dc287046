"""Ledgers and the risk list of a plan as parts of a JSON document."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fallow.plan.ledger.ledger import Entry, Figure, Ledger, Risk
    from fallow.workflow.coordinate import Audited

__all__ = ["assumed_document", "ledger_document", "ledgers_document", "risks_document"]

Document = dict[str, Any]


def ledger_document(ledger: Ledger | None) -> Document | None:
    """A link's account: what is wanted, each entry of what is unwanted, and what is left."""
    if ledger is None:
        return None
    return {
        "scene": ledger.scene or None,
        "margin_db": _number(ledger.margin_db),
        "u_db": _number(ledger.u_db),
        "margin_if_quiet_db": _number(ledger.if_quiet_db),
        "unwanted_dbm": _number(ledger.unwanted_dbm),
        "needed_db": _number(ledger.needed_db),
        "driver": ledger.because,
        "rests_on": ledger.rests_on,
        "lines": [_entry(ledger.wanted), *(_entry(entry) for entry in ledger.unwanted)],
    }


def ledgers_document(audited: Audited) -> Document:
    """What an audit says in decibels: risks, what they assume, and the ledger of every row."""
    return {
        "risks": risks_document(audited.risks),
        "assumed": assumed_document(audited.assumed),
        "ledgers": [{"link": name, "ledger": ledger_document(one)} for name, one in audited.ledgers.items()],
    }


def risks_document(risks: Sequence[Risk]) -> list[Document]:
    """Links by their margins, thinnest first."""
    return [
        {
            "link": risk.link,
            "margin_db": _number(risk.margin_db),
            "u_db": _number(risk.u_db),
            "margin_if_quiet_db": _number(risk.if_quiet_db),
            "driver": risk.text,
        }
        for risk in risks
    ]


def assumed_document(assumed: Mapping[str, Sequence[Figure]]) -> list[Document]:
    """What the ledgers assume for each type of radio, figure by figure as a table would state it."""
    return [
        {
            "equipment": equipment,
            "figures": [
                {"figure": one.name, "value": one.shown, "u_db": _number(one.u_db), "source": one.source}
                for one in figures
            ],
        }
        for equipment, figures in assumed.items()
    ]


def _entry(entry: Entry) -> Document:
    return {
        "kind": entry.kind,
        "made_in": entry.made_in,
        "level_dbm": _number(entry.level_dbm),
        "u_db": _number(entry.u_db),
        "is_bound": entry.is_bound,
        "carriers": list(entry.carriers),
        "distance_hz": entry.distance_hz,
        "text": entry.text,
    }


def _number(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None
