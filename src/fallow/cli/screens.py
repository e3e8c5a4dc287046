"""Answers for people in 80 columns: the answer on top, the reason below; told by word and mark, colour last."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Literal

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fallow.spectrum.verdict import JudgedSlice, Verdict
from fallow.units import format_mhz, format_span_mhz, format_width
from fallow.workflow.survey import FileReading, FileRefusal

if TYPE_CHECKING:
    from fallow.plan.answer import PlacedLink, Plan
    from fallow.plan.audit import Audit, Conflict
    from fallow.spectrum.verdict import Emitter
    from fallow.workflow.compare import Compared, PadTest, PlanChange, SurveyChange
    from fallow.workflow.law import RegionRules
    from fallow.workflow.survey import JudgedAir

__all__ = [
    "complain_of",
    "narrator",
    "show_air",
    "show_audit",
    "show_comparison",
    "show_plan",
    "show_readings",
    "show_regions",
    "show_rules",
    "show_story",
]

STRIP_WIDTH = 72
LONGEST_REPEATED = 64  # letters of a reason that may stand in every row
MOST_EMITTERS = 24
MOST_REASONS = 2  # in a row of the table; all of them stand in the JSON answer
LONGEST_TABLE = 60  # slices; a longer survey lists only what is not clean
INK = {Verdict.CLEAN: "", Verdict.DOUBTFUL: "yellow", Verdict.NOT_MEASURED: "dim", Verdict.OCCUPIED: "bold"}


def console() -> Console:
    """Where answers go: stdout, 80 columns where nobody says otherwise."""
    return Console(highlight=False, emoji=False, markup=False)


def complain_of(refusals: Iterable[FileRefusal]) -> None:
    """Say on stderr which files could not be read, each in one sentence with its hint."""
    for refusal in refusals:
        sys.stderr.write(f"fallow: {refusal.error}\n")
        if refusal.error.hint:
            sys.stderr.write(f"hint: {refusal.error.hint}\n")


def show_readings(readings: Sequence[FileReading | FileRefusal]) -> None:
    """How each file was understood."""
    out = console()
    for reading in readings:
        if isinstance(reading, FileRefusal):
            continue
        out.print(reading.path, style="bold", soft_wrap=True)
        for line in _reading_lines(reading):
            out.print(Padding(line, (0, 0, 0, 2)))
        for need in reading.needs:
            out.print(Padding(Text(f"open: {need}", style="bold"), (0, 0, 0, 2)))
        for note in reading.notes:
            out.print(Padding(f"- {note}", (0, 0, 0, 2)))


def _reading_lines(reading: FileReading) -> list[str]:
    told = [reading.layout]
    if reading.encoding:
        told.append(reading.encoding)
    if reading.delimiter:
        told.append(f"columns split by {_delimiter_word(reading.delimiter)}")
    if reading.decimal:
        told.append(f"decimal mark {reading.decimal}")
    lines = [", ".join(told)]
    if reading.low_hz is not None and reading.high_hz is not None:
        kind = "reference, " if reading.is_reference else ""
        count = f"{reading.sweeps} sweep{'' if reading.sweeps == 1 else 's'} of {reading.points:,} points"
        lines.append(f"{kind}{count}, {format_span_mhz(reading.low_hz, reading.high_hz)}")
        rbw = "RBW not stated" if reading.rbw_hz is None else f"RBW {format_width(reading.rbw_hz)}"
        lines.append(f"levels in {reading.level_unit}, {rbw}, detector {reading.detector or 'not stated'}")
    when = reading.start or (reading.start_local and f"{reading.start_local} (zone not known)")
    if when:
        lines.append(f"from {when}")
    return lines


def _delimiter_word(delimiter: str) -> str:
    return {"\t": "tabs", " ": "spaces", ",": "commas", ";": "semicolons"}.get(delimiter, delimiter)


def show_air(judged: JudgedAir) -> None:
    """Verdicts: one line that sums up, a strip, the slices with their reasons, the emitters, the notes."""
    out = console()
    out.print(_air_summary(judged), style="bold")
    out.print(_strip(judged.slices))
    listed = judged.slices
    if len(listed) > LONGEST_TABLE:
        listed = tuple(part for part in listed if part.verdict is not Verdict.CLEAN)
        out.print(f"{len(judged.slices) - len(listed)} clean slices are not listed one by one.")
    common = _common_reasons(judged.slices)
    out.print(_slice_table(judged, listed, common))
    for reason in common:
        out.print(Padding(f"in most slices: {reason}", (0, 0, 0, 2)))
    if judged.emitters:
        strongest = sorted(judged.emitters, key=lambda one: -one.level_dbm)[:MOST_EMITTERS]
        out.print(_emitter_table(judged, sorted(strongest, key=lambda one: one.low_hz)))
        if len(judged.emitters) > MOST_EMITTERS:
            out.print(f"These are the strongest {MOST_EMITTERS} of {len(judged.emitters)}; --json lists all.")
    out.print(_budget_table(judged))
    _print_notes(out, judged.notes)


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
    per_mark = -(-len(slices) // STRIP_WIDTH)
    strip = Text(f"{format_mhz(slices[0].low_hz)} ")
    for first in range(0, len(slices), per_mark):
        worst = max(slices[first : first + per_mark], key=lambda part: part.verdict).verdict
        strip.append(worst.mark, style=INK[worst])
    return strip.append(f" {format_mhz(slices[-1].high_hz)} MHz")


def _common_reasons(slices: Sequence[JudgedSlice]) -> tuple[str, ...]:
    """Reasons that stand with more than half of the slices: said once, not in every row."""
    count = Counter(reason for part in slices for reason in part.reasons)
    return tuple(reason for reason, n in count.items() if n > 2 and n > len(slices) / 2)


def _slice_table(judged: JudgedAir, slices: Sequence[JudgedSlice], common: Sequence[str]) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), show_edge=False, header_style="underline")
    table.add_column("", width=1)
    table.add_column("slice", no_wrap=True)
    table.add_column("MHz", no_wrap=True, justify="right")
    table.add_column("verdict", no_wrap=True)
    _add_level_columns(table, judged)
    table.add_column("why", ratio=1)
    for part in slices:
        table.add_row(
            part.verdict.mark,
            part.name,
            f"{part.low_hz / 1e6:g}-{part.high_hz / 1e6:g}",
            Text(part.verdict.word, style=INK[part.verdict]),
            _level(part.level_dbm, part.u_db),
            *_field(judged, part),
            _why(part, common),
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
            f"{emitter.on_share:.0%}",
            emitter.looks_like,
            "; ".join(emitter.evidence),
        )
    return table


def show_regions(regions: Sequence[tuple[str, str]]) -> None:
    """The regions whose rules are shipped."""
    out = console()
    for code, name in regions:
        out.print(f"{code}  {name}")
    out.print("\n`fallow rules CODE` lists what a region allows.")


def show_rules(found: RegionRules) -> None:
    """The rows of a region with their answers, sources and cautions."""
    out = console()
    out.print(f"{found.territory.name} ({found.territory.code})", style="bold")
    table = Table(box=None, padding=(0, 1, 0, 0), show_edge=False, header_style="underline")
    for heading in ("MHz", "answer", "licence", "power"):
        table.add_column(heading, no_wrap=heading != "licence")
    table.add_column("conditions", ratio=1)
    table.add_column("source", no_wrap=True, justify="right")
    sources: dict[str, int] = {}
    for rule, answer in found.rows:
        told = f"{rule.source} ({rule.date}, {rule.grade})"
        width = () if rule.bandwidth_hz is None else (f"up to {format_width(rule.bandwidth_hz)} wide",)
        table.add_row(
            f"{rule.low_hz / 1e6:g}-{rule.high_hz / 1e6:g}",
            Text(answer.word, style="bold" if answer.word == "no" else ""),
            rule.licence or "-",
            _power(rule.power_mw, rule.power_kind),
            "; ".join((*width, *rule.conditions)),
            f"[{sources.setdefault(told, len(sources) + 1)}]",
        )
    out.print(table)
    out.print("\nSources (date, how well it was checked)", style="bold")
    for told, number in sources.items():
        out.print(Padding(f"[{number}] {told}", (0, 0, 0, 2)))
    if found.territory.licences:
        out.print("\nLicences (--licence NAME)", style="bold")
        for name, told in found.territory.licences.items():
            out.print(Padding(f"{name}: {told}", (0, 0, 0, 2)))
    if found.channels:
        first, last = found.channels[0], found.channels[-1]
        span = format_span_mhz(first.low_hz, last.high_hz)
        out.print(f"\n{len(found.channels)} TV channels, {first.name} to {last.name}, {span}.")
    _print_notes(out, found.territory.cautions, "Cautions")


def _power(power_mw: float | None, kind: object) -> str:
    if power_mw is None:
        return "-"
    in_unit = (
        f"{power_mw / 1000:g} W"
        if power_mw >= 1000
        else f"{power_mw:g} mW"
        if power_mw >= 0.01
        else f"{power_mw * 1e6:g} nW"
    )
    return f"{in_unit} {kind}" if kind else in_unit


def show_plan(plan: Plan) -> None:
    """The plan: what it holds and what it lacks first, then every link with its reason."""
    out = console()
    placed = [one for one in plan.links.values() if one.frequency_hz is not None]
    out.print(
        f"{len(placed)} of {len(placed) + len(plan.unplaced)} links have a frequency, {len(plan.conflicts)} conflicts",
        style="bold",
    )
    for left in plan.unplaced:
        out.print(Text(f"NO FREQUENCY: {left.link}", style="bold"))
        for because in left.because:
            out.print(Padding(f"- {because}", (0, 0, 0, 2)))
    table = Table(box=None, padding=(0, 1, 0, 0), show_edge=False, header_style="underline")
    table.add_column("link", overflow="fold", max_width=18)
    table.add_column("MHz", justify="right", no_wrap=True)
    table.add_column("air", no_wrap=True)
    table.add_column("why", ratio=1)
    shared = _shared_reasons(placed)
    for one in placed:
        told = "; ".join(f"[{shared[reason]}]" if reason in shared else reason for reason in one.reasons)
        table.add_row(one.link, format_mhz(one.frequency_hz or 0), one.verdict or "-", told)
    for spare in plan.spares:
        table.add_row(
            spare.spare,
            format_mhz(spare.frequency_hz),
            "-",
            f"kept free for any {spare.equipment}" + (f" in {spare.area}" if spare.area else ""),
        )
    out.print(table)
    for reason, number in shared.items():
        out.print(Padding(f"[{number}] {reason}", (0, 0, 0, 2)))
    for move in plan.moved:
        was = "nowhere" if move.from_hz is None else format_mhz(move.from_hz)
        out.print(f"moved: {move.link} from {was} to {'nowhere' if move.to_hz is None else format_mhz(move.to_hz)} MHz")
    _print_conflicts(out, plan.conflicts)
    if plan.most is not None and plan.unplaced:
        out.print(f"No plan can place more than {plan.most.links} links: {plan.most.because}.")
    _print_notes(out, plan.notes)


def _shared_reasons(placed: Sequence[PlacedLink]) -> dict[str, int]:
    """Reasons that several links have, long as those of the law are: numbered, and said once below."""
    count = Counter(reason for one in placed for reason in one.reasons)
    several = [reason for reason, n in count.items() if n > 1 and len(reason) > LONGEST_REPEATED]
    return {reason: number for number, reason in enumerate(several, 1)}


def show_audit(audit: Audit) -> None:
    """Every conflict, or that there is none, and how much was compared."""
    out = console()
    count = len(audit.conflicts)
    out.print("no conflict found" if not count else f"{count} conflict{'' if count == 1 else 's'}", style="bold")
    _print_conflicts(out, audit.conflicts)
    out.print(f"compared: {audit.pairs:,} pairs of carriers, {audit.products:,} products")
    _print_notes(out, audit.notes)


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
    _print_notes(out, found.notes)


def _show_survey_change(out: Console, found: SurveyChange) -> None:
    counts = Counter(str(change.what) for change in found.changes)
    told = ", ".join(f"{count} {word}" for word, count in counts.items())
    out.print(told or "nothing changed beyond what both surveys are sure of", style="bold")
    if found.changes:
        unit = "dBm" if found.absolute else "dB"
        table = _plain_table(("MHz", "right"), ("what", "left"), (f"{unit}, was", "right"), ("is", "right"))
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
    _print_notes(out, found.notes)


def _show_pad_test(out: Console, found: PadTest) -> None:
    counts = Counter(str(line.verdict.origin) for line in found.lines)
    told = ", ".join(f"{count} {word}" for word, count in counts.items())
    out.print(f"pad of {found.pad_db:g} dB: {told or 'no line stands out without it'}", style="bold")
    if found.lines:
        table = _plain_table(("MHz", "right"), ("falls by dB", "right"), ("what", "left"), ("wrong by", "right"))
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
    _print_notes(out, found.advice, "What would help")
    _print_notes(out, found.notes)


def _plain_table(*columns: tuple[str, Literal["left", "right"]]) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), show_edge=False, header_style="underline")
    for heading, justify in columns:
        table.add_column(heading, justify=justify, no_wrap=True)
    return table


def _print_conflicts(out: Console, conflicts: Sequence[Conflict]) -> None:
    for conflict in conflicts:
        out.print(Padding(f"! {conflict.text}", (0, 0, 0, 0)))


def _print_notes(out: Console, notes: Sequence[str], heading: str = "Notes") -> None:
    if notes:
        out.print(f"\n{heading}", style="bold")
        for note in notes:
            out.print(Padding(f"- {note}", (0, 0, 0, 2)))


def show_story(lines: Sequence[str]) -> None:
    """The demo's story, one screen."""
    out = console()
    for line in lines:
        out.print(line)


def narrator(*, quiet: bool) -> Callable[[str], None]:
    """Says on stderr what a long story is doing now; nothing when ``quiet``."""

    def say(line: str) -> None:
        if not quiet:
            sys.stderr.write(f"{line} ...\n")

    return say
