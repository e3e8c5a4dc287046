"""What is on the air: a summary, a strip of marks, slices with their reasons, emitters, the budget."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fallow.cli.screens.paper import console, print_notes
from fallow.spectrum.verdict import JudgedSlice, Verdict
from fallow.units import format_mhz, format_width

if TYPE_CHECKING:
    from fallow.spectrum.verdict import Emitter
    from fallow.workflow.survey import JudgedAir

__all__ = ["show_air"]

SCREEN_WIDTH = 80
MOST_EMITTERS = 24
MOST_REASONS = 2  # in a row of the table; all of them stand in the JSON answer
LONGEST_TABLE = 60  # slices; a longer survey lists only what is not clean, and neighbours of one verdict together
FIGURES = re.compile(r"[-\d.]+")
INK = {Verdict.CLEAN: "", Verdict.DOUBTFUL: "yellow", Verdict.NOT_MEASURED: "dim", Verdict.OCCUPIED: "bold"}


def show_air(judged: JudgedAir) -> None:
    """Verdicts: one line that sums up, a strip, the slices with their reasons, the emitters, the notes."""
    out = console()
    out.print(_air_summary(judged), style="bold")
    out.print(_strip(judged.slices))
    common = _common_reasons(judged.slices)
    rows = [_Row(part, part, part, 1, _why(part, common)) for part in judged.slices]
    many = len(rows) > LONGEST_TABLE
    rows = _joined([row for row in rows if not many or row.first.verdict is not Verdict.CLEAN], levels_too=many)
    if many:
        clean = sum(part.verdict is Verdict.CLEAN for part in judged.slices)
        if clean:
            out.print(f"{clean} clean slice{'s are' if clean > 1 else ' is'} not listed one by one.")
    out.print(_slice_table(judged, rows))
    for reason in common:
        out.print(Padding(f"in most slices: {reason}", (0, 0, 0, 2)))
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


def _common_reasons(slices: Sequence[JudgedSlice]) -> tuple[str, ...]:
    """Reasons that stand with more than half of the slices: said once, not in every row."""
    count = Counter(reason for part in slices for reason in part.reasons)
    return tuple(reason for reason, n in count.items() if n > 2 and n > len(slices) / 2)


@dataclass(frozen=True)
class _Row:
    """``count`` neighbouring slices, ``first`` to ``last``, of one verdict; ``why`` of the ``strongest``."""

    first: JudgedSlice
    last: JudgedSlice
    strongest: JudgedSlice
    count: int
    why: str


def _joined(rows: Sequence[_Row], *, levels_too: bool) -> list[_Row]:
    """Each run of neighbours of one verdict and reason in one row: without a level, or of doubtful ones with one."""
    joined: list[_Row] = []
    for row in rows:
        before = joined[-1] if joined else None
        if before is None or not _alike(before, row, levels_too):
            joined.append(row)
            continue
        loud = max(before, row, key=lambda one: -math.inf if (level := one.strongest.level_dbm) is None else level)
        joined[-1] = _Row(before.first, row.last, loud.strongest, before.count + 1, loud.why)
    return joined


def _alike(before: _Row, row: _Row, levels_too: bool) -> bool:
    """Whether a slice goes on with the row before: the same verdict for the same reasons, figures apart."""
    here, there = before.last, row.first
    if here.verdict is not there.verdict or here.high_hz != there.low_hz:
        return False
    if here.level_dbm is None and there.level_dbm is None:
        return before.why == row.why
    return levels_too and here.verdict is Verdict.DOUBTFUL and FIGURES.sub("", before.why) == FIGURES.sub("", row.why)


def _slice_table(judged: JudgedAir, rows: Sequence[_Row]) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), show_edge=False, header_style="underline")
    table.add_column("", width=1)
    table.add_column("slice", no_wrap=True)
    table.add_column("MHz", no_wrap=True, justify="right")
    table.add_column("verdict", no_wrap=True)
    _add_level_columns(table, judged)
    table.add_column("why", ratio=1)
    for row in rows:
        part = row.strongest
        of_many = f"{row.count} slices, the strongest: " if row.count > 1 and part.level_dbm is not None else ""
        table.add_row(
            part.verdict.mark,
            row.first.name if row.count == 1 else f"{row.first.name} to {row.last.name}",
            f"{row.first.low_hz / 1e6:g}-{row.last.high_hz / 1e6:g}",
            Text(part.verdict.word, style=INK[part.verdict]),
            _level(part.level_dbm, part.u_db),
            *_field(judged, part),
            of_many + row.why,
        )
    return table


def _why(part: JudgedSlice, common: Sequence[str]) -> str:
    """The weightiest reasons; how much of the slice each verdict covers where it is not all of it."""
    own = [reason for reason in part.reasons if reason not in common]
    told = own[:MOST_REASONS]
    if len(own) > MOST_REASONS:
        told.append(f"{len(own) - MOST_REASONS} more (--json)")
    shares = [f"{share:.0%} {verdict.word}" for verdict, share in part.shares.items() if 0.005 <= share < 0.995]
    return "; ".join([*told, *([f"in all {', '.join(shares)}"] if len(shares) > 1 else [])])


def _level(level_dbm: float | None, u_db: float | None) -> str:
    if level_dbm is None:
        return "-"
    return f"{level_dbm:.0f}" if u_db is None else f"{level_dbm:.0f}±{u_db:.1f}"


def _add_level_columns(table: Table, judged: JudgedAir) -> None:
    table.add_column("dBm" if judged.basis == "absolute" else "dB", justify="right", no_wrap=True)
    if judged.tells_field:
        table.add_column("dBµV/m", justify="right", no_wrap=True)


def _field(judged: JudgedAir, found: JudgedSlice | Emitter) -> tuple[str, ...]:
    """The cell of the field strength, where there is such a column."""
    strength_dbuvm = judged.field_dbuvm(found)
    return (_level(strength_dbuvm, None),) if judged.tells_field else ()


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
    _add_level_columns(table, judged)
    table.add_column("on", no_wrap=True, justify="right")
    table.add_column("looks like", no_wrap=True)
    table.add_column("evidence", ratio=1)
    for emitter in emitters:
        table.add_row(
            format_mhz(emitter.centre_hz),
            format_width(emitter.high_hz - emitter.low_hz),
            f"{emitter.level_dbm:.0f}",
            *_field(judged, emitter),
            _share(emitter),
            emitter.looks_like,
            "; ".join(emitter.evidence),
        )
    return table
