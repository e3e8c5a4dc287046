"""``fallow show foreign``, ``stations`` and ``groups``: what stands around the links, listed and taken out."""

from __future__ import annotations

from argparse import Namespace
from typing import TYPE_CHECKING, Any

from rich.text import Text

from fallow.cli import documents
from fallow.cli.screens.paper import console, plain_table
from fallow.errors import UsageError
from fallow.units import format_mhz, format_width
from fallow.workflow.show_around import drop_foreign, drop_rules, drop_stations, foreign_of, rules_of, stations_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fallow.show.link import ForeignCarrier, Station
    from fallow.workflow.show import Desk
    from fallow.workflow.show_around import Rule

__all__ = ["list_foreign", "list_groups", "list_stations"]

DONE = 0
Document = dict[str, Any]


def list_foreign(typed: Namespace, desk: Desk) -> int:
    """The carriers that are not ours."""
    if typed.drop:
        drop_foreign(typed.drop, desk)
    found = foreign_of(desk)
    if typed.json:
        documents.print_json({"foreign": [_foreign_document(one) for one in found]})
    else:
        _print(
            "foreign carrier",
            ("name", "MHz", "width", "area", "keep off", "also"),
            [_foreign_row(one) for one in found],
        )
    return DONE


def list_stations(typed: Namespace, desk: Desk) -> int:
    """The TV channels announced as on the air."""
    if typed.area is not None and not typed.drop:
        raise UsageError("--area says which ones are taken out", hint="fallow show stations --drop 21 --area stage")
    if typed.drop:
        drop_stations(typed.drop, desk, typed.area)
    found = stations_of(desk)
    if typed.json:
        documents.print_json({"stations": [_station_document(one) for one in found]})
    else:
        _print("station", ("channel", "area", "source"), [(s.channel, s.area or "everywhere", s.source) for s in found])
    return DONE


def list_groups(typed: Namespace, desk: Desk) -> int:
    """The rules about groups that the show states; the usual ones hold beside them."""
    if typed.drop:
        drop_rules(typed.drop, desk)
    found = rules_of(desk)
    if typed.json:
        documents.print_json({"groups": [_rule_document(number, one) for number, one in enumerate(found, 1)]})
    else:
        rows = [(str(number), *_rule_row(one)) for number, one in enumerate(found, 1)]
        _print("rule", ("no.", "groups", "asks for", "areas", "hard"), rows)
    return DONE


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
