"""What is on the air: a summary, a strip of marks, slices with their reasons, emitters, the budget."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from fallow.cli.screens.paper import console, print_notes
from fallow.cli.screens.slices import INK, add_level_columns, field_cell, print_slices
from fallow.spectrum.verdict import JudgedSlice, Verdict
from fallow.units import format_mhz, format_width

if TYPE_CHECKING:
    from fallow.spectrum.verdict import Emitter
    from fallow.workflow.survey import JudgedAir

__all__ = ["show_air"]

SCREEN_WIDTH = 80
MOST_EMITTERS = 24


def show_air(judged: JudgedAir) -> None:
    """Verdicts: one line that sums up, a strip, the slices with their reasons, the emitters, the notes."""
    out = console()
    out.print(_air_summary(judged), style="bold")
    out.print(_strip(judged.slices))
    print_slices(out, judged)
    if judged.emitters:
        strongest = sorted(judged.emitters, key=lambda one: -one.level_dbm)[:MOST_EMITTERS]
        out.print(_emitter_table(judged, sorted(strongest, key=lambda one: one.low_hz)))
        if len(judged.emitters) > MOST_EMITTERS:
            out.print(f"These are the strongest {MOST_EMITTERS} of {len(judged.emitters)}; --json lists all.")
    out.print(_budget_table(judged))
    print_notes(out, (*judged.unlisted, *judged.notes))


def _air_summary(judged: JudgedAir) -> str:
    air = judged.air
    counts = [
        (v, sum(part.verdict is v for part in judged.slices))
        for v in (Verdict.CLEAN, Verdict.DOUBTFUL, Verdict.OCCUPIED, Verdict.NOT_MEASURED)
    ]
    told = ", ".join(f"{n} {v.word}" for v, n in counts if n) or "nothing to judge"
    limit = (
        f"{air.limit_dbm:g} dBm"
        if air.basis == "absolute"
        else f"{air.limit_above_floor_db:g} dB above the floor of the {air.floor_from}"
    )
    sweeps = f"{air.sweeps} sweep{'' if air.sweeps == 1 else 's'}"
    return f"{told}, against {limit} at {air.confidence_pct:g} % ({sweeps}, {air.basis})"


def _strip(slices: Sequence[JudgedSlice]) -> Text:
    """The verdicts side by side as marks. Of slices that share a mark the worst one shows."""
    if not slices:
        return Text("")
    begin, end = f"{format_mhz(slices[0].low_hz)} ", f" {format_mhz(slices[-1].high_hz)} MHz"
    per_mark = -(-len(slices) // (SCREEN_WIDTH - len(begin) - len(end)))
    strip = Text(begin)
    for first in range(0, len(slices), per_mark):
        worst = max(slices[first : first + per_mark], key=lambda part: part.verdict).verdict
        strip.append(worst.mark, style=INK[worst])
    return strip.append(end)


def _budget_table(judged: JudgedAir) -> Table:
    """What makes the levels uncertain: each part, its standard uncertainty, and where the figure comes from."""
    of = "levels" if judged.basis == "absolute" else "levels against the floor"
    table = Table(
        box=None,
        padding=(0, 1, 0, 0),
        show_edge=False,
        header_style="underline",
        title=f"\nHow far the {of} can be trusted (u: standard uncertainty)",
        title_justify="left",
        title_style="bold",
    )
    table.add_column("part", max_width=24)
    table.add_column("u dB", justify="right", no_wrap=True)
    table.add_column("from", ratio=1)
    for line in judged.air.budget:
        table.add_row(line.part, f"{line.u_db:.2f}", line.source)
    least_db, most_db = judged.u_range_db
    varies = f"{least_db:.2f} to {most_db:.2f} dB over frequency; at most " if most_db - least_db >= 0.005 else ""
    expanded = f"{varies}±{2 * most_db:.1f} dB with k = 2, about 95 % (JCGM 100)"
    table.add_row("together", f"{most_db:.2f}", expanded)
    return table


def _share(emitter: Emitter) -> str:
    """Share of the time that it was on; a question mark where it may be any."""
    unknown = emitter.on_share_low <= 0.0 and emitter.on_share_high >= 1.0
    return "?" if unknown else f"{emitter.on_share:.0%}"


def _emitter_table(judged: JudgedAir, emitters: Sequence[Emitter]) -> Table:
    table = Table(
        box=None,
        padding=(0, 1, 0, 0),
        show_edge=False,
        header_style="underline",
        title="\nEmitters",
        title_justify="left",
        title_style="bold",
    )
    table.add_column("MHz", no_wrap=True, justify="right")
    table.add_column("wide", no_wrap=True, justify="right")
    add_level_columns(table, judged)
    table.add_column("on", no_wrap=True, justify="right")
    table.add_column("looks like", no_wrap=True)
    table.add_column("evidence", ratio=1)
    for emitter in emitters:
        table.add_row(
            format_mhz(emitter.centre_hz),
            format_width(emitter.high_hz - emitter.low_hz),
            f"{emitter.level_dbm:.0f}",
            *field_cell(judged, emitter),
            _share(emitter),
            emitter.looks_like,
            "; ".join(emitter.evidence),
        )
    return table
