"""A plan, and an audit: what is missing or broken first, then every link with its reasons."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fallow.cli.screens.advice import print_failures, print_moves, print_relaxations
from fallow.cli.screens.paper import console, print_notes
from fallow.cli.screens.risks import print_risks
from fallow.units import format_mhz

if TYPE_CHECKING:
    from fallow.plan.answer import PlacedLink, Plan
    from fallow.plan.judge.audit import Audit, Conflict, Unkept
    from fallow.plan.ledger.ledger import Risk

__all__ = ["show_audit", "show_plan"]

LONGEST_REPEATED = 64  # letters of a reason that may stand in every row


def show_plan(plan: Plan) -> None:
    """The plan: what it holds and what it lacks first, then every link with its reason."""
    out = console()
    placed = [one for one in plan.links.values() if one.frequency_hz is not None]
    out.print(_summary(len(placed), len(placed) + len(plan.unplaced), len(plan.conflicts)), style="bold")
    for left in plan.unplaced:
        out.print(Text(f"NO FREQUENCY: {left.link}", style="bold"))
        for because in left.because:
            out.print(Padding(f"- {because}", (0, 0, 0, 2)))
    print_risks(out, plan.risks)
    table = Table(box=None, padding=(0, 1, 0, 0), show_edge=False, header_style="underline")
    table.add_column("link", overflow="fold", max_width=18)
    table.add_column("MHz", justify="right", no_wrap=True)
    table.add_column("air", no_wrap=True)
    table.add_column("margin", justify="right", no_wrap=True)
    table.add_column("why", ratio=1)
    shared = _shared_reasons(placed)
    for one in placed:
        told = "; ".join(f"[{shared[reason]}]" if reason in shared else reason for reason in one.reasons)
        table.add_row(one.link, format_mhz(one.frequency_hz or 0), one.verdict or "-", _margin(one), told)
    for spare in plan.spares:
        table.add_row(
            spare.spare,
            format_mhz(spare.frequency_hz),
            "-",
            "-",
            f"kept free for any {spare.equipment}" + (f" in {spare.area}" if spare.area else ""),
        )
    out.print(table)
    for reason, number in shared.items():
        out.print(Padding(f"[{number}] {reason}", (0, 0, 0, 2)))
    print_moves(out, plan.advice)
    _print_conflicts(out, plan.conflicts)
    _print_unkept(out, plan.unkept)
    if plan.most is not None and plan.unplaced:
        out.print(f"No plan can place more than {plan.most.links} links: {plan.most.because}.")
    print_relaxations(out, plan.advice)
    print_failures(out, plan.advice)
    print_notes(out, plan.notes)


def _summary(placed: int, links: int, conflicts: int) -> str:
    """How many links have a frequency, and how many conflicts there are."""
    of, has = "link" if links == 1 else "links", "has" if links == 1 else "have"
    return f"{placed} of {links} {of} {has} a frequency, {conflicts} {'conflict' if conflicts == 1 else 'conflicts'}"


def _margin(placed: PlacedLink) -> str:
    return "-" if placed.margin_db is None else f"{placed.margin_db:.0f} dB"


def _shared_reasons(placed: Sequence[PlacedLink]) -> dict[str, int]:
    """Reasons that several links have, long as those of the law are: numbered, and said once below."""
    count = Counter(reason for one in placed for reason in one.reasons)
    several = [reason for reason, n in count.items() if n > 1 and len(reason) > LONGEST_REPEATED]
    return {reason: number for number, reason in enumerate(several, 1)}


def show_audit(audit: Audit, risks: Sequence[Risk] = ()) -> None:
    """Every conflict, or that there is none, and how much was compared."""
    out = console()
    count = len(audit.conflicts)
    out.print("no conflict found" if not count else f"{count} conflict{'' if count == 1 else 's'}", style="bold")
    _print_conflicts(out, audit.conflicts)
    _print_unkept(out, audit.unkept)
    print_risks(out, risks)
    out.print(f"compared: {audit.pairs:,} pairs of carriers, {audit.products:,} products")
    print_notes(out, audit.notes)


def _print_conflicts(out: Console, conflicts: Sequence[Conflict]) -> None:
    for conflict in conflicts:
        out.print(Padding(f"! {conflict.text}", (0, 0, 0, 0)))


def _print_unkept(out: Console, unkept: Sequence[Unkept]) -> None:
    for one in unkept:
        out.print(f"wish not kept: {one.text}")
