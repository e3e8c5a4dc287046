"""What comes with a plan: the moves in their order, and how it stands when something fails."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from fallow.units import format_mhz

if TYPE_CHECKING:
    from fallow.plan.advice.advice import Advice, Remedy, Retuning

__all__ = ["print_failures", "print_moves", "print_relaxations"]

MOST_MOVES_TOLD = 4


def print_moves(out: Console, advice: Advice) -> None:
    """How many links change, whether fewer would do, the steps one after the other, and other ways."""
    replan = advice.replan
    if replan is None:
        return
    out.print(Text(f"{replan.text[:1].upper()}{replan.text[1:]}."))
    if replan.order.muted:
        out.print(Text(f"No order is free of collisions: mute {', '.join(replan.order.muted)} before the first step."))
    for number, step in enumerate(replan.order.steps, 1):
        out.print(Padding(Text(f"{number}. {_worded(step)}"), (0, 0, 0, 2)))
    if advice.choices:
        out.print(Text("It could be had otherwise (--json tells each way in full):"))
    for choice in advice.choices:
        out.print(Padding(Text(f"- {choice.text}{' (this plan)' if choice.chosen else ''}"), (0, 0, 0, 2)))


def _worded(step: Retuning) -> str:
    off = " (while it is off)" if step.silent else ""
    if step.to_hz is None:
        return f"{step.link}: off"
    if step.from_hz is None:
        return f"{step.link}: on at {format_mhz(step.to_hz)} MHz{off}"
    way = f"{step.link}: {format_mhz(step.from_hz)} → {format_mhz(step.to_hz)} MHz"
    return f"{way}{', and on from there later' if step.waits else ''}{off}"


def print_relaxations(out: Console, advice: Advice) -> None:
    """What would help links without a frequency, cheapest first; each was planned with."""
    if advice.relaxations:
        out.print(Text("More links would find a place with (cheapest first, each tried out):"))
    for one in advice.relaxations:
        gained = f", {one.gained[0]} among them" if len(one.gained) == 1 else ""
        out.print(
            Padding(Text(f"- {one.text}: {one.places} links placed instead of {one.without}{gained}"), (0, 0, 0, 2))
        )


def print_failures(out: Console, advice: Advice) -> None:
    """How many failures the plan survives; the larger ones with their moves, and all that it does not survive."""
    if not advice.remedies:
        return
    survived = sum(remedy.survives for remedy in advice.remedies)
    known = f"{survived} of {len(advice.remedies)} failures are survived"
    more = f" ({advice.not_looked_at} more were not looked at for lack of time)" if advice.not_looked_at else ""
    out.print(Text(f"When something fails: {known}{more}."))
    for remedy in advice.remedies:
        if not remedy.survives or remedy.failure.kind != "frequency":
            out.print(Padding(Text("; ".join(_told(remedy))), (0, 0, 0, 2)))


def _told(remedy: Remedy) -> Iterator[str]:
    moves = [f"{move.link} → {format_mhz(move.to_hz)}" for move in remedy.moves if move.to_hz is not None]
    shown = ", ".join(moves[:MOST_MOVES_TOLD])
    left = len(moves) - MOST_MOVES_TOLD
    yield f"{'+' if remedy.survives else '!'} {remedy.failure.name}: {shown or 'nobody has to move'}" + (
        f" and {left} more" if left > 0 else ""
    )
    if remedy.lost:
        yield f"no place for {', '.join(remedy.lost)}"
    elif not remedy.verified:
        yield "a conflict remains"
