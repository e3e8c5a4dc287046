"""``fallow show foreign``, ``stations``, ``groups`` and ``chain``: what stands around the links, listed and changed."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING, Any, TypeVar

from rich.text import Text

from fallow.cli import documents, show_cells
from fallow.cli.screens.paper import console, plain_table
from fallow.cli.screens.show import show_cells as print_cells
from fallow.cli.show_wanted import edit_of
from fallow.errors import UsageError
from fallow.units import format_mhz, format_span_mhz, format_width
from fallow.workflow.show_around import drop_foreign, drop_rules, drop_stations, foreign_of, rules_of, stations_of
from fallow.workflow.show_by_hand import (
    Edit,
    change_foreign,
    change_part,
    change_rule,
    change_station,
    drop_parts,
    parts_of,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fallow.show.link import ForeignCarrier, Station
    from fallow.workflow.show import Desk
    from fallow.workflow.show_around import Rule
    from fallow.workflow.show_by_hand import PartSeen

__all__ = ["chain", "foreign", "groups", "stations"]

DONE = 0
T = TypeVar("T")
Document = dict[str, Any]


def foreign(typed: Namespace, desk: Desk) -> int:
    """The carriers that are not ours: listed, changed, added, taken out."""
    edit = edit_of(typed, show_cells.FOREIGN, "foreign")
    if typed.drop:
        drop_foreign(typed.drop, desk)
    elif edit is not None:
        change_foreign(typed.name, edit, desk)
    found = _named(foreign_of(desk), typed, "foreign carrier", "--frequency", lambda one: one.name)
    if typed.json:
        documents.print_json({"foreign": [_foreign_document(one) for one in found]})
    else:
        _print(
            "foreign carrier",
            ("name", "MHz", "width", "area", "keep off", "also"),
            [_foreign_row(one) for one in found],
        )
        if typed.name is not None:
            print_cells(found[0].extra)
    return DONE


def stations(typed: Namespace, desk: Desk) -> int:
    """The TV channels announced as on the air: listed, changed, added, taken out."""
    edit = edit_of(typed, show_cells.STATIONS, "stations")
    if typed.name is None and typed.area is not None and not typed.drop:
        hint = "fallow show stations 21 --area stage, or --drop 21 --area stage"
        raise UsageError("--area says which channel is meant, and none is named", hint=hint)
    if typed.drop:
        drop_stations(typed.drop, desk, typed.area)
    elif typed.name is not None:
        change_station(typed.name, typed.area, edit or Edit(), desk)
    found = stations_of(desk)
    if typed.json:
        documents.print_json({"stations": [_station_document(one) for one in found]})
    else:
        _print("station", ("channel", "area", "source"), [(s.channel, s.area or "everywhere", s.source) for s in found])
    return DONE


def groups(typed: Namespace, desk: Desk) -> int:
    """The rules about groups that the show states, listed and changed; the usual ones hold beside them."""
    edit = edit_of(typed, show_cells.GROUPS, "groups")
    if typed.drop:
        drop_rules(typed.drop, desk)
    elif edit is not None:
        change_rule(typed.name, typed.other, edit, desk)
    found = rules_of(desk)
    if typed.json:
        documents.print_json({"groups": [_rule_document(number, one) for number, one in enumerate(found, 1)]})
    else:
        rows = [(str(number), *_rule_row(one)) for number, one in enumerate(found, 1)]
        _print("rule", ("no.", "groups", "asks for", "areas", "hard"), rows)
    return DONE


def chain(typed: Namespace, desk: Desk) -> int:
    """The parts of the chain, in the order in which the signal passes them: listed, changed, added, taken out."""
    edit = edit_of(typed, show_cells.CHAIN, "chain")
    if typed.drop:
        drop_parts(typed.drop, desk)
    elif typed.name is not None and (edit is not None or typed.before is not None):
        change_part(typed.name, edit or Edit(), desk, typed.before)
    found = _named(parts_of(desk), typed, "part of the chain", "--kind, --gain and --u", lambda one: one.part)
    if typed.json:
        documents.print_json({"chain": [_part_document(one) for one in found]})
    else:
        rows = [(one.part, one.kind, _gain(one), f"{one.u_db:g} dB") for one in found]
        _print("part", ("part", "kind", "gain", "uncertainty"), rows)
    return DONE


def _named(found: Sequence[T], typed: Namespace, word: str, needed: str, name_of: Callable[[T], str]) -> Sequence[T]:
    """The one that is named, under its new name where it got one, or all. Raises UsageError where there is none."""
    name = typed.name if typed.rename is None else typed.rename
    chosen = [one for one in found if name in (None, name_of(one))]
    if name is not None and not chosen:
        raise UsageError(f"there is no {word} {name!r}", hint=f"say {needed} to add it")
    return chosen


def _gain(part: PartSeen) -> str:
    """A gain for people: one number, or from where to where a curve goes."""
    if part.gain_db is not None:
        return f"{part.gain_db:g} dB"
    gains_db = [gain_db for _, gain_db in part.curve]
    span = format_span_mhz(part.curve[0][0], part.curve[-1][0])
    return f"{min(gains_db):.2f} to {max(gains_db):.2f} dB, {span}"


def _part_document(part: PartSeen) -> Document:
    return {
        "part": part.part,
        "kind": part.kind,
        "gain_db": part.gain_db,
        "curve": [{"frequency_hz": round(hz), "gain_db": gain_db} for hz, gain_db in part.curve],
        "u_db": part.u_db,
    }


def _print(what: str, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    out = console()
    out.print(f"{len(rows)} {what}{'' if len(rows) == 1 else 's'}", style="bold")
    if rows:
        table = plain_table()
        for heading in headings:
            table.add_column(heading, overflow="fold")
        for row in rows:
            table.add_row(*map(Text, row))
        out.print(table)


def _foreign_row(one: ForeignCarrier) -> tuple[str, ...]:
    width = format_width(one.bandwidth_hz) if one.bandwidth_hz else ""
    off = format_width(one.spacing_hz) if one.spacing_hz else ""
    also = ", ".join(word for word, said in (("products", one.products), ("protect", one.protect)) if said)
    return one.name, format_mhz(one.frequency_hz), width, one.area or "everywhere", off, also


def _foreign_document(one: ForeignCarrier) -> Document:
    return {
        "name": one.name,
        "frequency_hz": one.frequency_hz,
        "bandwidth_hz": one.bandwidth_hz,
        "area": one.area or None,
        "spacing_hz": one.spacing_hz,
        "products": one.products,
        "protect": one.protect,
        "more": {name: text for name, text in one.extra.items() if text},
    }


def _station_document(one: Station) -> Document:
    return {"channel": one.channel, "area": one.area or None, "source": one.source or None}


def _rule_row(rule: Rule) -> tuple[str, ...]:
    distance_hz = _apart_hz(rule)
    asks = (
        f"within {format_width(_within_hz(rule) or 0)}" if distance_hz is None else f"{format_width(distance_hz)} apart"
    )
    return " and ".join(rule.names), asks, "all" if rule.everywhere else "same", "yes" if rule.hard else "no"


def _rule_document(number: int, rule: Rule) -> Document:
    return {
        "number": number,
        "group": rule.names[0],
        "from": rule.names[1] if len(rule.names) > 1 else None,
        "apart_hz": _apart_hz(rule),
        "within_hz": _within_hz(rule),
        "areas": "all" if rule.everywhere else "same",
        "hard": rule.hard,
        "source": rule.source or None,
    }


def _apart_hz(rule: Rule) -> int | None:
    return getattr(rule, "distance_hz", None)


def _within_hz(rule: Rule) -> int | None:
    return getattr(rule, "within_hz", None)
