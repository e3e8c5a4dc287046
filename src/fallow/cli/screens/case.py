"""A link at a frequency: what speaks against it, worst first, what for it, and where else it could be; and which
emitters were taken over as foreign carriers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding

from fallow.cli.screens.paper import console, print_notes
from fallow.units import format_mhz

if TYPE_CHECKING:
    from fallow.plan.judge.audit import Conflict
    from fallow.workflow.taking_over import TakenOver
    from fallow.workflow.why import Candidate, Case

__all__ = ["show_case", "show_taken_over"]

MOST_AGAINST = 12
MOST_IN_THE_WAY = 3  # at each of the best places of a link that has none


def show_case(case: Case) -> None:
    """The answer in one line, then what is against it, what for it, and free places near it."""
    out = console()
    out.print(_answer(case), style="bold")
    _print_against(out, case.against, MOST_AGAINST)
    if case.in_favour:
        out.print("\nFor it", style="bold")
        for text in case.in_favour:
            out.print(Padding(f"+ {text}", (0, 0, 0, 0)))
    if case.at_hz is not None:
        out.print(f"\n{_free(case.free_nearby)}")
    if case.best:
        out.print("\nThe best places, with everybody else where they are", style="bold")
    for one in case.best:
        out.print(f"{_place(one)}: {'free' if not one.against else _counted(len(one.against)) + ' in the way'}")
        _print_against(out, one.against, MOST_IN_THE_WAY)
    print_notes(out, case.notes)


def _answer(case: Case) -> str:
    if case.at_hz is None:
        return f"{case.link} has no frequency"
    where = f"{case.link} at {format_mhz(case.at_hz)} MHz"
    if case.home_hz == case.at_hz:
        where += ", where the plan has it"
    elif case.home_hz is not None:
        where += f" (the plan has it at {format_mhz(case.home_hz)})"
    if not case.against:
        return f"{where}: nothing speaks against it"
    return f"{where}: {_counted(len(case.against))} against it"


def _counted(number: int) -> str:
    return f"{number:,} {'thing' if number == 1 else 'things'}"


def _print_against(out: Console, against: Sequence[Conflict], most: int) -> None:
    for conflict in against[:most]:
        out.print(Padding(f"! {conflict.text}", (0, 0, 0, 0)))
    if len(against) > most:
        out.print(f"  and {len(against) - most:,} more")


def _free(places: Sequence[Candidate]) -> str:
    if not places:
        return "No place that its equipment can be set to is free."
    return f"Free places nearest to it: {', '.join(_place(one) for one in places)}."


def _place(one: Candidate) -> str:
    at = f"{format_mhz(one.at_hz)} MHz"
    return at if one.verdict in (None, "clean") else f"{at} ({one.verdict})"


def show_taken_over(taken: TakenOver) -> None:
    """How many emitters became foreign carriers, and why the others did not."""
    out, number = console(), len(taken.carriers)
    out.print(f"\n{number} narrow emitter{'' if number == 1 else 's'} written to {taken.path}", style="bold")
    if taken.left_out:
        told = "; ".join(f"{count} {why}" for why, count in sorted(taken.left_out.items(), key=lambda one: -one[1]))
        out.print(f"left out: {told}")
