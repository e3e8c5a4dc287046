"""What can be typed of links, equipment, areas, strangers, stations, rules and chain of a show; light on purpose."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from fallow.cli import show_cells, typed
from fallow.cli.show_cells import add_options

__all__ = ["add_wanted"]

Verb = Callable[[str, str], argparse.ArgumentParser]


def add_wanted(verb: Verb) -> None:
    """Enter these verbs. ``verb``: makes the parser of one, by its name and what it does."""
    for add in (_links, _equipment, _areas, _foreign, _stations, _groups, _chain):
        add(verb)


def _links(verb: Verb) -> None:
    links = verb("links", "list the links, or change or add one")
    links.add_argument("name", nargs="?", metavar="LINK", help="the link to be changed or added")
    add_options(links, show_cells.LINKS, "the link", "columns that fallow does not know are kept")
    fixed = links.add_mutually_exclusive_group()
    fixed.add_argument("--fixed", action="store_true", default=None, help="it may not move")
    fixed.add_argument("--free", dest="fixed", action="store_false", help="it may move")
    links.add_argument("--drop", nargs="+", metavar="LINK", help="take these links out")


def _equipment(verb: Verb) -> None:
    equipment = verb("equipment", "list the equipment, or change or add a type")
    equipment.add_argument("name", nargs="?", metavar="NAME", help="the type to be changed or added")
    figures = "duplex_mhz, return_mhz, and the figures of docs/ledger.md"
    add_options(equipment, show_cells.EQUIPMENT, "it", figures)
    equipment.add_argument("--drop", nargs="+", metavar="NAME", help="take it out; no link may be made of it")


def _areas(verb: Verb) -> None:
    areas = verb("areas", "list what areas lose between them, or say it")
    areas.add_argument("area", nargs="?", metavar="AREA", help="one area")
    areas.add_argument("other", nargs="?", metavar="OTHER", help="the other")
    loss = areas.add_mutually_exclusive_group()
    loss.add_argument("--loss", type=typed.number, metavar="DB", help="so many dB are lost between them")
    loss.add_argument("--apart", action="store_true", help="they do not hear each other")
    loss.add_argument("--full", action="store_true", help="they hear each other fully")
    loss.add_argument("--rename", metavar="NEW", help="give AREA another name; all that is in it follows")


def _foreign(verb: Verb) -> None:
    foreign = verb("foreign", "list the carriers that are not ours, or change or add one")
    foreign.add_argument("name", nargs="?", metavar="NAME", help="the carrier to be changed or added")
    add_options(foreign, show_cells.FOREIGN, "it", "columns that fallow does not know are kept")
    foreign.add_argument("--drop", nargs="+", metavar="NAME", help="take these out")


def _stations(verb: Verb) -> None:
    stations = verb("stations", "list the TV channels announced, or change or add one")
    stations.add_argument("name", nargs="?", metavar="CHANNEL", help="the channel to be changed or announced")
    stations.add_argument(
        "--area", type=show_cells.stated, metavar="AREA", help="announced for this area; none: everywhere"
    )
    add_options(stations, show_cells.STATIONS, "", "area=AREA puts it elsewhere")
    stations.add_argument("--drop", nargs="+", metavar="CHANNEL", help="take these out, as listed")


def _groups(verb: Verb) -> None:
    groups = verb("groups", "list the rules about groups, or change or add one")
    groups.add_argument("name", nargs="?", metavar="GROUP", help="a group, equipment or kind")
    groups.add_argument("other", nargs="?", metavar="OTHER", help="from whom it keeps apart")
    add_options(groups, show_cells.GROUPS, "", "apart_mhz=4")
    groups.add_argument("--drop", nargs="+", type=typed.whole, metavar="N", help="take these out, by number as listed")


def _chain(verb: Verb) -> None:
    chain = verb("chain", "list antenna, cable, filter and pad, or change or add one")
    chain.add_argument("name", nargs="?", metavar="PART", help="the part to be changed or added")
    add_options(chain, show_cells.CHAIN, "it", "u_db=1.5")
    chain.add_argument("--before", metavar="PART", help="the signal passes it before this one (default: last)")
    chain.add_argument("--drop", nargs="+", metavar="PART", help="take these out")
