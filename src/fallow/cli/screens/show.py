"""The show file for people: what is in it, its history, whether it is whole."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from fallow.cli.screens.paper import console, plain_table, print_notes
from fallow.cli.screens.values import told_change
from fallow.units import format_mhz, format_span_mhz, format_width

if TYPE_CHECKING:
    from fallow.show.equipment import Equipment
    from fallow.show.link import AreaLosses, Link
    from fallow.workflow.show_exchange import Checked, Rescued
    from fallow.workflow.show_history import Difference, Happened, Mark
    from fallow.workflow.show_overview import Overview
    from fallow.workflow.show_plan import PlanSeen
    from fallow.workflow.show_surveys import SurveySeen

__all__ = [
    "show_areas",
    "show_cells",
    "show_check",
    "show_equipment",
    "show_history",
    "show_lines",
    "show_links",
    "show_overview",
    "show_plan_rows",
    "show_plans",
    "show_rescued",
    "show_surveys",
    "show_values",
]

MOST_VALUES = 40  # differences that are listed one by one
_KEPT_FOR_ITSELF = ("mark", "event", "merge")
_ONE = {
    "links": "link",
    "areas": "area",
    "foreign carriers": "foreign carrier",
    "stations": "station",
    "rules about groups": "rule about groups",
    "parts of the chain": "part of the chain",
}


def show_lines(lines: Iterable[str]) -> None:
    """What was done, line by line."""
    out = console()
    for line in lines:
        out.print(Text(line))


def show_overview(found: Overview) -> None:
    """The show at a glance."""
    out = console()
    name = found.settings.get("name") or found.path.stem
    site = found.settings.get("site")
    out.print(Text(f"{name}{f', {site}' if site else ''}", style="bold"))
    rest = [f"{key} {value}" for key, value in found.settings.items() if key not in ("name", "site")]
    if rest:
        out.print(Text("; ".join(rest)))
    counts = (
        f"{count} {_ONE.get(word, word) if count == 1 else word}" for word, count in found.counts.items() if count
    )
    out.print(", ".join(counts) or "nothing in it yet")
    if found.surveys:
        out.print("\nSurveys", style="bold")
        _print_surveys(out, found.surveys)
    if found.plans:
        out.print("\nPlans", style="bold")
        _print_plans(out, found.plans)
    if found.marks:
        out.print("\nMarks", style="bold")
        for one in found.marks:
            out.print(Text(f"{one.name}: after change {one.change}, {_when(one.at)}"))
    written = [
        f"{_when(one.at)} {one.who}{f' on {one.about}' if one.about else ''}: {one.text}" for one in found.written
    ]
    print_notes(out, written, "Written down")
    out.print(f"\n{found.changes} change{'' if found.changes == 1 else 's'}; `fallow show history` tells them")


def show_links(links: Sequence[Link]) -> None:
    """Every link."""
    out = console()
    out.print(_counted(len(links), "link"), style="bold")
    if not links:
        return
    table = plain_table()
    table.add_column("link", overflow="fold", max_width=18)
    table.add_column("equipment", overflow="fold", max_width=16)
    table.add_column("area", overflow="fold", max_width=12)
    table.add_column("scenes", overflow="fold", max_width=16)
    table.add_column("prio", justify="right", no_wrap=True)
    table.add_column("MHz", justify="right", no_wrap=True)
    for link in links:
        at = "" if link.frequency_hz is None else format_mhz(link.frequency_hz) + (" !" if link.fixed else "")
        scenes = "; ".join(sorted(link.scenes)) or "always"
        cells = (link.name, link.equipment, link.area, scenes, str(link.priority), at if link.planned else "its own")
        table.add_row(*map(Text, cells))
    out.print(table)
    if any(link.fixed for link in links):
        out.print("! fixed: it may not move")


def show_equipment(equipment: Sequence[Equipment]) -> None:
    """Every type of radio."""
    out = console()
    out.print(f"{len(equipment)} equipment", style="bold")
    if not equipment:
        return
    table = plain_table()
    table.add_column("equipment", overflow="fold", max_width=18)
    table.add_column("kind", no_wrap=True)
    table.add_column("MHz", ratio=1)
    table.add_column("step", justify="right", no_wrap=True)
    table.add_column("width", justify="right", no_wrap=True)
    table.add_column("spacing", justify="right", no_wrap=True)
    for radio in equipment:
        ranges = "; ".join(f"{span.low_hz / 1e6:g}-{span.high_hz / 1e6:g}" for span in radio.tuning)
        presets = f"{len(radio.presets_hz)} presets" if radio.presets_hz else ""
        tunes = "; ".join(filter(None, (ranges, presets)))
        widths = (format_width(hz) for hz in (radio.step_hz, radio.bandwidth_hz, radio.spacing_hz))
        table.add_row(*map(Text, (radio.name, str(radio.kind), tunes, *widths)))
    out.print(table)


_LISTED = (
    *("link", "equipment", "area", "scenes", "priority", "frequency_mhz", "fixed", "planned"),
    *("kind", "tuning_mhz", "step_khz", "bandwidth_khz", "spacing_khz"),
)


def show_cells(cells: Mapping[str, str]) -> None:
    """What is said of one link or type of radio beside what the list shows, by the columns of its table."""
    out = console()
    for name, text in cells.items():
        if text and name not in _LISTED:
            out.print(Padding(Text(f"{name}: {text}"), (0, 0, 0, 2)))


def show_areas(areas: Sequence[str], losses: AreaLosses) -> None:
    """The areas, and what pairs of them lose."""
    out = console()
    out.print(Text(f"{_counted(len(areas), 'area')}: {', '.join(areas)}" if areas else "no areas", style="bold"))
    for one, other in sorted((min(pair), max(pair)) for pair in losses.pairs):
        loss_db = losses.loss_db.get(frozenset((one, other)))
        out.print(Text(f"{one} and {other}: {'apart' if loss_db is None else f'{loss_db:g} dB'}"))
    out.print("pairs not named hear each other fully")


def show_surveys(surveys: Sequence[SurveySeen]) -> None:
    """Every survey."""
    out = console()
    out.print(_counted(len(surveys), "survey"), style="bold")
    if surveys:
        _print_surveys(out, surveys)
    for seen in surveys:
        print_notes(out, seen.head.notes, f"Notes on {seen.head.name}")


def show_plans(plans: Sequence[PlanSeen]) -> None:
    """Every plan."""
    out = console()
    out.print(_counted(len(plans), "plan"), style="bold")
    if plans:
        _print_plans(out, plans)


def show_plan_rows(plan: PlanSeen) -> None:
    """A plan, row by row."""
    out = console()
    out.print(Text(f"{plan.head.name}{', in force' if plan.is_in_force else ''}", style="bold"))
    table = plain_table()
    table.add_column("link", overflow="fold", max_width=18)
    table.add_column("area", overflow="fold", max_width=12)
    table.add_column("MHz", justify="right", no_wrap=True)
    table.add_column("air", no_wrap=True)
    table.add_column("note", ratio=1)
    for row in plan.rows:
        at = "none" if row.frequency_hz is None else format_mhz(row.frequency_hz)
        table.add_row(*map(Text, (row.link, row.area, at, row.verdict or "-", row.note)))
    out.print(table)
    print_notes(out, (*plan.head.notes, *plan.renamed, *plan.fit.notes))


def show_history(changes: Sequence[Happened], marks: Sequence[Mark]) -> None:
    """Every change, the newest last; what was taken back is told by a word."""
    out = console()
    out.print(_counted(len(changes), "change"), style="bold")
    if not changes:
        return
    names: dict[int, list[str]] = {}
    for one in marks:
        names.setdefault(one.change, []).append(one.name)
    table = plain_table(("no.", "right"), ("when", "left"))
    table.add_column("who", overflow="fold", max_width=12)
    table.add_column("what", ratio=1)
    for change in changes:
        what = change.what + (f" ({change.why})" if change.why else "")
        what += " [undone]" if change.undone else ""
        what += "".join(f"\n= {name}" for name in names.get(change.number, ()))
        table.add_row(str(change.number), _when(change.at), Text(change.who), Text(what))
    out.print(table)
    for name in names.get(0, ()):
        out.print(Text(f"= {name}: before the first change"))


def show_values(values: Sequence[Difference]) -> None:
    """What differs between two moments."""
    out = console()
    plans = {one.key for one in values if one.kind == "plan"}  # told as wholes
    told = [one for one in values if one.kind not in _KEPT_FOR_ITSELF]
    told = [one for one in told if one.kind != "plan_row" or json.loads(one.key)[0] not in plans]
    out.print(f"{_counted(len(told), 'value')} differ{'s' if len(told) == 1 else ''}", style="bold")
    for one in told[:MOST_VALUES]:
        word = "added" if one.before is None else "taken out" if one.after is None else "changed"
        out.print(Text(f"{one.kind.replace('_', ' ')} {_key(one.key)} {word}{_fields(one)}"))
    if len(told) > MOST_VALUES:
        out.print(f"and {len(told) - MOST_VALUES} more; --json tells all")


def show_check(found: Checked) -> None:
    """Whether the file is whole."""
    out = console()
    told = f"{found.values} values, {found.changes} changes, {found.sweeps:,} sweeps, {found.size_bytes / 1e6:.1f} MB"
    out.print("the file is whole" if found.is_whole else "THE FILE IS DAMAGED", style="bold")
    if found.is_whole or found.version:
        out.print(f"{told if found.is_whole else f'what could be read: {told}'}; version {found.version}")
    for line in found.damage:
        out.print(Text(f"! {line}"))
    if found.is_newer:
        out.print("a newer fallow wrote it: its history was counted, not followed")
    if found.writer is not None:
        alive = "has it open for writing" if found.writer.is_alive else "did not close it; nothing stored is lost"
        out.print(Text(f"{found.writer} {alive}"))


def show_rescued(found: Rescued) -> None:
    """What was rescued, and what was not."""
    out = console()
    counts = ((found.values, "value"), (found.changes, "change"), (found.sweeps, "sweep"))
    told = ", ".join(_counted(count, word) for count, word in counts)
    out.print(Text(f"written to {found.path}: {told}", style="bold"))
    for line in found.lost:
        out.print(Text(f"! {line}"))


def _print_surveys(out: Console, surveys: Sequence[SurveySeen]) -> None:
    table = plain_table()
    table.add_column("survey", overflow="fold", max_width=18)
    table.add_column("sweeps", justify="right", no_wrap=True)
    table.add_column("span", overflow="fold", max_width=26)
    table.add_column("area", overflow="fold", max_width=12)
    table.add_column("from", ratio=1)
    for seen in surveys:
        extent = seen.extent
        span = "" if extent.low_hz is None or extent.high_hz is None else format_span_mhz(extent.low_hz, extent.high_hz)
        area = "reference" if seen.head.is_reference else seen.head.area or "all"
        table.add_row(*map(Text, (seen.head.name, f"{extent.sweeps:,}", span, area, _start(seen))))
    out.print(table)


def _print_plans(out: Console, plans: Sequence[PlanSeen]) -> None:
    for plan in plans:
        links = [row for row in plan.rows if not row.is_spare]
        placed = sum(row.frequency_hz is not None for row in links)
        made = f", {_when(plan.head.made)}" if plan.head.made else ""
        spares = len(plan.rows) - len(links)
        told = f"{plan.head.name}: {placed} of {len(links)} links have a frequency, {_counted(spares, 'spare')}{made}"
        out.print(Text(told + (", in force" if plan.is_in_force else "")))
        for line in plan.fit.notes if plan.is_in_force else ():
            out.print(Padding(Text(f"! {line}"), (0, 0, 0, 2)))


def _start(seen: SurveySeen) -> str:
    if seen.extent.from_s is None:
        return "time not known"
    when = datetime.fromtimestamp(seen.extent.from_s, UTC)
    return f"{when.astimezone():%Y-%m-%d %H:%M}" if seen.extent.zone_known else f"{when:%Y-%m-%d %H:%M}, its clock"


def _fields(one: Difference) -> str:
    """What changed in a value, field by field."""
    if one.before is None or one.after is None:
        return ""
    return f": {told_change(json.loads(one.before), json.loads(one.after))}"[:200]


def _key(key: str) -> str:
    """A key of several parts in words."""
    if not key.startswith("["):
        return key
    parts = json.loads(key)
    return " / ".join(str(part) for part in parts if part not in ("", 0))


def _when(at: str) -> str:
    """A moment by the clock here; what is no moment (the file is damaged), as it stands there."""
    try:
        return f"{datetime.fromisoformat(at).astimezone():%Y-%m-%d %H:%M}"
    except ValueError:
        return at


def _counted(count: int, word: str) -> str:
    return f"{count or 'no'} {word}{'' if count == 1 else 's'}"
