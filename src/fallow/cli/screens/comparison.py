"""What changed between two surveys or two plans, and what a pad tells."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from rich.console import Console
from rich.text import Text

from fallow.cli.screens.paper import console, plain_table, print_notes
from fallow.units import format_mhz

if TYPE_CHECKING:
    from fallow.workflow.compare import Compared, PadTest, PlanChange, SurveyChange

__all__ = ["show_comparison"]


def show_comparison(found: Compared) -> None:
    """What changed between two plans or two surveys, or what the pad test says."""
    if found.plans is not None:
        _show_plan_change(console(), found.plans)
    if found.surveys is not None:
        _show_survey_change(console(), found.surveys)
    if found.pad_test is not None:
        _show_pad_test(console(), found.pad_test)


def _show_plan_change(out: Console, found: PlanChange) -> None:
    counts = ((len(found.moved), "moved"), (len(found.added), "added"), (len(found.removed), "removed"))
    told = ", ".join(f"{count} {word}" for count, word in (*counts, (len(found.changed), "changed")) if count)
    out.print(f"{told or 'nothing changed'}; {found.kept} as before", style="bold")
    for move in found.moved:
        was, now = ("nowhere" if f is None else f"{format_mhz(f)} MHz" for f in (move.from_hz, move.to_hz))
        out.print(Text(f"moved: {move.link} from {was} to {now}"))
    for word, rows in (("added", found.added), ("removed", found.removed)):
        for row in rows:
            where = "without a frequency" if row.frequency_hz is None else f"at {format_mhz(row.frequency_hz)} MHz"
            out.print(Text(f"{word}: {row.link} ({row.equipment}{row.area and f', {row.area}'}) {where}"))
    for change in found.changed:
        before, after = (value or "nothing" for value in (change.before, change.after))
        out.print(Text(f"changed: {change.what} of {change.link} from {before} to {after}"))
    print_notes(out, found.notes)


def _show_survey_change(out: Console, found: SurveyChange) -> None:
    counts = Counter(str(change.what) for change in found.changes)
    told = ", ".join(f"{count} {word}" for word, count in counts.items())
    out.print(told or "nothing changed beyond what both surveys are sure of", style="bold")
    if found.changes:
        unit = "dBm" if found.absolute else "dB"
        table = plain_table(("MHz", "right"), ("what", "left"), (f"{unit}, was", "right"), ("is", "right"))
        table.add_column("by dB", justify="right", no_wrap=True)
        table.add_column("why", ratio=1)
        for change in found.changes:
            table.add_row(
                f"{change.low_hz / 1e6:.2f}-{change.high_hz / 1e6:.2f}",
                Text(str(change.what), style="bold"),
                f"{change.from_dbm:.0f}",
                f"{change.to_dbm:.0f}",
                f"{change.difference_db:+.1f}±{change.u_db:.1f}",
                change.because,
            )
        out.print(table)
    _show_bands(out, found)
    print_notes(out, found.notes)


def _show_bands(out: Console, found: SurveyChange) -> None:
    """By how much two units differ band by band; of one and the same only where it is more than chance."""
    told = [band for band in found.by_band if band.seen_in == "signals"]
    if not told or (found.same_chain and not any(band.beyond_chance for band in told)):
        return
    out.print("\nThe new survey shows the same signals higher by", style="bold")
    table = plain_table(("MHz", "right"), ("by dB", "right"), ("signals", "right"))
    table.add_column("which is", ratio=1)
    for band in told:
        few = "one signal alone, which may have changed"
        known = "more than the uncertainty of both explains" if band.beyond_uncertainty else "more than chance"
        table.add_row(
            f"{band.low_hz / 1e6:.1f}-{band.high_hz / 1e6:.1f}",
            f"{band.offset_db:+.1f}±{band.u_db:.1f}",
            str(band.behind),
            few if band.behind == 1 else known if band.beyond_chance else "no more than chance",
        )
    out.print(table)


def _show_pad_test(out: Console, found: PadTest) -> None:
    counts = Counter(str(line.verdict.origin) for line in found.lines)
    told = ", ".join(f"{count} {word}" for word, count in counts.items())
    out.print(f"pad of {found.pad_db:g} dB: {told or 'no line stands out without it'}", style="bold")
    if found.lines:
        table = plain_table(("MHz", "right"), ("falls by dB", "right"), ("what", "left"), ("wrong by", "right"))
        table.add_column("why", ratio=1)
        for line in found.lines:
            verdict = line.verdict
            order = "" if verdict.order is None else f", order {verdict.order}"
            table.add_row(
                format_mhz(line.centre_hz),
                f"{verdict.drop_db:.1f}±{verdict.u_db:.1f}",
                Text(f"{verdict.origin}{order}", style="bold"),
                f"{verdict.error_probability:.1%}",
                verdict.because,
            )
        out.print(table)
    print_notes(out, found.advice, "What would help")
    print_notes(out, found.notes)
