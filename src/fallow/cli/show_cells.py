"""What can be typed of one value of the show: options, and the cells of its table that they stand for.

One shape for all: ``fallow show THING NAME --option VALUE`` changes it or adds it, ``--set COLUMN=VALUE`` says what has
no option of its own as it would stand in the table, ``--rename NEW`` and ``--drop NAME`` do what they say.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fallow.cli import typed
from fallow.errors import UsageError

__all__ = [
    "CHAIN",
    "EQUIPMENT",
    "FOREIGN",
    "GROUPS",
    "LINKS",
    "STATIONS",
    "Option",
    "add_options",
    "cells_of",
    "stated",
]

NOTHING = ("", "none", "-")
_NO_WIDTH_BELOW_HZ = 1_000  # common practice: a bare number below it was meant in kHz
_NUMBER = re.compile(r"\s*[\d._]+\s*")
_ENDS = re.compile(r"\s*(?:\.\.|[-\N{EN DASH}]|\bto\b)\s*")


@dataclass(frozen=True)
class Option:
    """An option and the column that it fills. ``read``: the text that is typed as a cell."""

    word: str
    column: str
    help: str
    read: Callable[[str], str]
    metavar: str


def add_options(parser: argparse.ArgumentParser, options: Sequence[Option], name: str, columns: str) -> None:
    """Enter options, with ``--set``. ``name``: what ``--rename`` gives a new name, empty: nothing; ``columns``: that
    ``--set`` is good for.
    """
    for one in options:
        parser.add_argument(f"--{one.word}", type=one.read, metavar=one.metavar, help=one.help)
    parser.add_argument(
        "--set", action="append", metavar="COLUMN=VALUE", help=f"any column, as in the table: {columns}"
    )
    if name:
        parser.add_argument("--rename", metavar="NEW", help=f"give {name} another name; what speaks of it follows")


def cells_of(said: argparse.Namespace, options: Sequence[Option]) -> dict[str, str]:
    """The cells that were typed, by their columns. Raises UsageError for a ``--set`` that says nothing."""
    cells = {}
    for one in options:
        value = getattr(said, one.word.replace("-", "_"))
        if value is not None:
            cells[one.column] = value
    for word in said.set or ():
        name, equals, text = word.partition("=")
        if not equals or not name.strip():
            raise UsageError(f"{word!r} says nothing", hint="write --set COLUMN=VALUE, as in --set 'remark=spare pack'")
        cells[name.strip()] = stated(text)
    return cells


def stated(text: str) -> str:
    """A word or number as it is; ``none`` takes it out: nothing is stated."""
    return "" if text.strip().lower() in NOTHING else text.strip()


def _frequency(text: str) -> str:
    """A frequency; 0 or ``none`` takes it out."""
    value_hz = 0 if text.strip().lower() in NOTHING else typed.frequency_hz(text)
    return f"{value_hz} Hz" if value_hz else ""


def _width(text: str) -> str:
    """A width or distance; ``none`` takes it out. A bare number that can't be hertz is refused."""
    if text.strip().lower() in NOTHING:
        return ""
    value_hz = typed.frequency_hz(text)
    if _NUMBER.fullmatch(text) and 0 < value_hz < _NO_WIDTH_BELOW_HZ:
        raise argparse.ArgumentTypeError(f"{text!r} has no unit: write {text.strip()}k where kilohertz are meant")
    return f"{value_hz} Hz"


def _place(text: str) -> str:
    """A frequency somewhere in the radio spectrum."""
    return f"{typed.place_hz(text)} Hz"


def _places(text: str) -> str:
    """Frequencies with a semicolon between; ``none`` takes them out."""
    return ";".join(map(_place, _listed(text)))


def _ranges(text: str) -> str:
    """Ranges with a semicolon between, ``470M..526M`` or ``470-526 MHz``; ``none`` takes them out."""
    return ";".join(map(_range, _listed(text)))


def _listed(text: str) -> list[str]:
    return [] if text.strip().lower() in NOTHING else [part for part in text.split(";") if part.strip()]


def _range(text: str) -> str:
    ends = _ENDS.split(text.strip())
    if len(ends) != 2:
        raise argparse.ArgumentTypeError(f"{text.strip()!r} is no range: write two frequencies, as 470M..526M")
    unit = re.sub(r"[\d._\s]", "", ends[1])
    low = ends[0] + unit if _NUMBER.fullmatch(ends[0]) else ends[0]
    return f"{_place(low)}..{_place(ends[1])}"


def _whole(text: str) -> str:
    return str(typed.whole(text))


_yes_or_no = typed.one_of("yes", "no")
LINKS = (
    Option("equipment", "equipment", "what it is made of", stated, "NAME"),
    Option("area", "area", "where it works", stated, "AREA"),
    Option("group", "group", "its groups, a semicolon between; none: in none", stated, "LIST"),
    Option("scenes", "scenes", "scenes in which it is on, a semicolon between; none: always", stated, "LIST"),
    Option("priority", "priority", "1 (most important) to 5", _whole, "N"),
    Option("frequency", "frequency_mhz", "a wish or its place; 0 takes it out", _frequency, "HZ"),
    Option("return", "return_mhz", "the same of its way back", _frequency, "HZ"),
    Option("planned", "planned", "no: it chooses its own frequency", _yes_or_no, "yes/no"),
    Option("remark", "remark", "a remark that stays with it", stated, "TEXT"),
    Option("weight", "move_weight", "it counts as so many links where changes are counted", _whole, "N"),
)
EQUIPMENT = (
    Option("kind", "kind", "microphone, in-ear, intercom, cue, assistive, camera, control, data", stated, "KIND"),
    Option("tuning", "tuning_mhz", "ranges, a semicolon between: '470M..526M;600M..606M'", _ranges, "LIST"),
    Option("step", "step_khz", "the step of its tuning, from the lower end of each range", _width, "HZ"),
    Option("presets", "presets_mhz", "only these frequencies, a semicolon between; none: any", _places, "LIST"),
    Option("bandwidth", "bandwidth_khz", "its occupied bandwidth", _width, "HZ"),
    Option("power", "power_mw", "in milliwatt", stated, "MW"),
    Option("power-kind", "power_kind", "what the power is: eirp, erp, conducted", stated, "KIND"),
    Option("spacing", "spacing_khz", "from carrier to carrier", _width, "HZ"),
    Option("im3", "im3_khz", "distance of products 2A-B; none: not asked", _width, "HZ"),
    Option("im3-three", "im3_three_khz", "of products A+B-C", _width, "HZ"),
    Option("im5", "im5_khz", "of products 3A-2B", _width, "HZ"),
    Option("im7", "im7_khz", "of products 4A-3B", _width, "HZ"),
    Option("product-width", "product_width", "products keep their distance with their edges", _yes_or_no, "yes/no"),
)
FOREIGN = (
    Option("frequency", "frequency_mhz", "where it is", _place, "HZ"),
    Option("bandwidth", "bandwidth_khz", "how wide it is", _width, "HZ"),
    Option("area", "area", "where it is heard; none: everywhere", stated, "AREA"),
    Option("spacing", "spacing_khz", "how far our links keep from it", _width, "HZ"),
    Option("products", "products", "it takes part in intermodulation", _yes_or_no, "yes/no"),
    Option("protect", "protect", "our products keep the spacing from it too", _yes_or_no, "yes/no"),
)
STATIONS = (Option("source", "source", "who announced it", stated, "TEXT"),)
GROUPS = (
    Option("apart", "apart_mhz", "so far the two groups keep from each other", _width, "HZ"),
    Option("within", "within_mhz", "so wide the one group may be", _width, "HZ"),
    Option(
        "areas",
        "areas",
        "same: links of one area; all: all that hear each other",
        typed.one_of("same", "all"),
        "same/all",
    ),
    Option("hard", "hard", "a plan that breaks it has a conflict; else it is a wish", _yes_or_no, "yes/no"),
    Option("source", "source", "where the figure is from", stated, "TEXT"),
)
CHAIN = (
    Option("kind", "kind", "instrument, antenna, cable, filter, pad, other", stated, "KIND"),
    Option("gain", "gain_db", "in dB, a loss negative; or the file of a curve", stated, "DB"),
    Option("u", "u_db", "standard uncertainty in dB", stated, "DB"),
    Option("vswr", "vswr", "its match; none: not known", stated, "N"),
)
