"""The slices of a survey on screen: one by one with their reasons, neighbours together, or, where there are very many,
summed up over stretches.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fallow.spectrum.verdict import JudgedSlice, Verdict

if TYPE_CHECKING:
    from fallow.spectrum.verdict import Emitter
    from fallow.workflow.survey import JudgedAir

__all__ = ["INK", "add_level_columns", "field_cell", "print_slices"]

MOST_REASONS = 2  # in a row of the table; all of them stand in the JSON answer
LONGEST_TABLE = 60  # slices; a longer survey lists only what is not clean, and neighbours of one verdict together
MOST_ROWS = 40  # of such neighbours; beyond, whole stretches are summed up
MOST_STRETCHES = 30
ROUND_WIDTHS = (1.0, 2.0, 5.0, 10.0)
FIGURES = re.compile(r"[-\d.]+")
INK = {Verdict.CLEAN: "", Verdict.DOUBTFUL: "yellow", Verdict.NOT_MEASURED: "dim", Verdict.OCCUPIED: "bold"}
COLUMNS = (Verdict.CLEAN, Verdict.DOUBTFUL, Verdict.OCCUPIED, Verdict.NOT_MEASURED)


def print_slices(out: Console, judged: JudgedAir) -> None:
    """The slices with their verdicts, and what is said of most of them once."""
    common = _common_reasons(judged.slices)
    many = len(judged.slices) > LONGEST_TABLE
    listed = [part for part in judged.slices if not many or part.verdict is not Verdict.CLEAN]
    rows = _joined([_Row(part, part, part, 1, _why(part, common)) for part in listed], many=many)
    if len(rows) > max(MOST_ROWS, LONGEST_TABLE * (not many)):
        out.print(_stretch_table(judged))
        out.print(_how_to_see_more(judged.slices))
    else:
        clean = len(judged.slices) - len(listed)
        if clean:
            out.print(f"{clean} clean slice{'s are' if clean > 1 else ' is'} not listed one by one.")
        out.print(_slice_table(judged, rows))
    for reason in common:
        out.print(Padding(f"in most slices: {reason}", (0, 0, 0, 2)))


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


def _joined(rows: Sequence[_Row], *, many: bool) -> list[_Row]:
    """Each run of neighbours of one verdict and reason in one row: without a level, or where slices are ``many``."""
    joined: list[_Row] = []
    for row in rows:
        before = joined[-1] if joined else None
        if before is None or not _alike(before, row, many=many):
            joined.append(row)
            continue
        loud = max(before, row, key=lambda one: _loudness(one.strongest))
        joined[-1] = _Row(before.first, row.last, loud.strongest, before.count + 1, loud.why)
    return joined


def _loudness(part: JudgedSlice) -> float:
    return -math.inf if part.level_dbm is None else part.level_dbm


def _alike(before: _Row, row: _Row, *, many: bool) -> bool:
    """Whether a slice goes on with the row before: the same verdict for the same kind of reason, figures apart."""
    here, there = before.last, row.first
    if here.verdict is not there.verdict or here.high_hz != there.low_hz:
        return False
    if here.level_dbm is None and there.level_dbm is None:
        return before.why == row.why
    return many and _kind(before.last) == _kind(row.first)


def _kind(part: JudgedSlice) -> str:
    """The weightiest reason without its figures."""
    return FIGURES.sub("", part.reasons[0]) if part.reasons else ""


def _slice_table(judged: JudgedAir, rows: Sequence[_Row]) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), show_edge=False, header_style="underline")
    table.add_column("", width=1)
    table.add_column("slice", no_wrap=True)
    table.add_column("MHz", no_wrap=True, justify="right")
    table.add_column("verdict", no_wrap=True)
    add_level_columns(table, judged)
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
            *field_cell(judged, part),
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


def add_level_columns(table: Table, judged: JudgedAir) -> None:
    table.add_column("dBm" if judged.basis == "absolute" else "dB", justify="right", no_wrap=True)
    if judged.tells_field:
        table.add_column("dBµV/m", justify="right", no_wrap=True)


def field_cell(judged: JudgedAir, found: JudgedSlice | Emitter) -> tuple[str, ...]:
    """The cell of the field strength, where there is such a column."""
    strength_dbuvm = judged.field_dbuvm(found)
    return (_level(strength_dbuvm, None),) if judged.tells_field else ()


# --- very many


@dataclass(frozen=True)
class _Stretch:
    """Neighbouring slices summed up."""

    slices: tuple[JudgedSlice, ...]

    @property
    def strongest(self) -> JudgedSlice:
        """The slice with the highest level."""
        return max(self.slices, key=_loudness)

    def count(self, verdict: Verdict) -> int:
        """How many slices have a verdict."""
        return sum(part.verdict is verdict for part in self.slices)


def _stretches(slices: Sequence[JudgedSlice]) -> Iterator[_Stretch]:
    """Stretches of a round width, at most ``MOST_STRETCHES`` or one more; those of which nothing is known as one."""
    least_hz = (slices[-1].high_hz - slices[0].low_hz) / MOST_STRETCHES
    decade_hz = 10.0 ** math.floor(math.log10(least_hz))
    width_hz = next(factor * decade_hz for factor in ROUND_WIDTHS if factor * decade_hz >= least_hz * (1 - 1e-9))
    parts = [_Stretch(tuple(some)) for _, some in groupby(slices, key=lambda part: part.low_hz // width_hz)]
    for unread, some in groupby(parts, key=lambda part: part.count(Verdict.NOT_MEASURED) == len(part.slices)):
        if unread:
            yield _Stretch(tuple(one for part in some for one in part.slices))
        else:
            yield from some


def _stretch_table(judged: JudgedAir) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), show_edge=False, header_style="underline")
    table.add_column("MHz", no_wrap=True, justify="right")
    for verdict in COLUMNS:
        table.add_column(verdict.word, no_wrap=True, justify="right")
    table.add_column("strongest at", no_wrap=True, justify="right")
    add_level_columns(table, judged)
    for stretch in _stretches(judged.slices):
        first, last, loud = stretch.slices[0], stretch.slices[-1], stretch.strongest
        counts = [stretch.count(verdict) for verdict in COLUMNS]
        at_hz = loud.at_hz if loud.level_dbm is not None else None
        table.add_row(
            f"{first.low_hz / 1e6:g}-{last.high_hz / 1e6:g}",
            *(
                Text(str(count), style=INK[verdict]) if count else "-"
                for count, verdict in zip(counts, COLUMNS, strict=True)
            ),
            "-" if at_hz is None else f"{loud.verdict.mark} {at_hz / 1e6:.3f}",
            _level(loud.level_dbm, loud.u_db),
            *field_cell(judged, loud),
        )
    return table


def _how_to_see_more(slices: Sequence[JudgedSlice]) -> str:
    """How the slices are seen one by one, by the example of those around the first occupied one, or the first ones."""
    shown = LONGEST_TABLE - LONGEST_TABLE % 10
    occupied = next((k for k, part in enumerate(slices) if part.verdict is Verdict.OCCUPIED), 0)
    first = max(0, min(occupied - shown // 2, len(slices) - shown))
    some = slices[first : first + shown]
    span = f"{some[0].low_hz / 1e6:.10g}M..{some[-1].high_hz / 1e6:.10g}M"
    return f"Numbers of slices. One by one, with reasons: a narrower --span, such as {span}; --json lists all."
