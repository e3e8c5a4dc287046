"""What comes with a plan as JSON: moves in their order, and what to do when something fails."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fallow.plan.advice.advice import Advice, Choice, Relaxation, Remedy, Replan, Retuning, Shifted

__all__ = ["advice_document"]

Document = dict[str, Any]


def advice_document(advice: Advice) -> Document:
    """Keys of the answer of ``plan``."""
    return {
        **_replan(advice.replan),
        "choices": [_choice(choice) for choice in advice.choices],
        "failures": [_remedy(remedy) for remedy in advice.remedies],
        "failures_not_looked_at": advice.not_looked_at,
        "relaxations": [_relaxation(one) for one in advice.relaxations],
    }


def _replan(replan: Replan | None) -> Document:
    if replan is None:
        return {"moves_at_least": None, "moves_proven": None, "moves_because": None, "order": [], "muted": []}
    return {
        "moves_at_least": replan.fewest.at_least,
        "moves_weight": replan.weight,
        "moves_weight_at_least": None if replan.weight is None else replan.fewest.weight_at_least,
        "moves_proven": replan.is_smallest,
        "moves_because": replan.fewest.because,
        "order": [_step(step) for step in replan.order.steps],
        "muted": list(replan.order.muted),
    }


def _step(step: Retuning) -> Document:
    return {
        "link": step.link,
        "from_hz": step.from_hz,
        "to_hz": step.to_hz,
        "waits": step.waits,
        "silent": step.silent,
    }


def _choice(choice: Choice) -> Document:
    return {
        "moves": choice.moves,
        "weight": choice.weight,
        "not_measured": choice.not_measured,
        "doubtful": choice.doubtful,
        "unplaced": list(choice.unplaced),
        "moved": [_move(move) for move in choice.moved],
        "chosen": choice.chosen,
        "text": choice.text,
    }


def _move(move: Shifted) -> Document:
    return {"link": move.link, "from_hz": move.from_hz, "to_hz": move.to_hz}


def _remedy(remedy: Remedy) -> Document:
    return {
        "failure": remedy.failure.name,
        "kind": remedy.failure.kind,
        "moves": [_move(move) for move in remedy.moves],
        "lost": list(remedy.lost),
        "verified": remedy.verified,
    }


def _relaxation(one: Relaxation) -> Document:
    return {
        "text": one.text,
        "places": one.places,
        "places_without": one.without,
        "gained": list(one.gained),
        "effort": one.effort.name.lower().replace("_", " "),
        "verified": one.verified,
    }
