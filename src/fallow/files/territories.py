"""Rulebooks from TOML: those that fallow ships, one file per territory, and rows of the user's own in the same format.

The format is described in `docs/rules.md`. Frequencies are decimals in megahertz and must name whole hertz. A row's
grade is the weakest among the figures that it states: a band read in the law itself with a power from memory counts as
memory.
"""

from __future__ import annotations

import datetime
import re
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import cache
from importlib import resources
from os import PathLike
from pathlib import Path
from typing import Any, TypeVar, cast

from fallow.errors import InputError, UsageError
from fallow.rules.territory import ELSEWHERE, Grade, Place, Raster, Rule, Territory
from fallow.show.equipment import Kind, PowerKind
from fallow.units import Channel

__all__ = ["load_territory", "region_codes"]

W = TypeVar("W", Kind, PowerKind)

_EVERYWHERE = "everywhere"  # the file whose cautions hold in all territories
_ALSO_CALLED = {"uk": "gb"}
_DATE = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")
_FILE_KEYS = {"code", "name", "with", "cautions", "licences", "sources", "place", "raster", "rule"}


@cache
def region_codes() -> tuple[tuple[str, str], ...]:
    """Code and name of each territory that fallow ships, by code."""
    return tuple((code, str(_book(code).content["name"])) for code in _shipped_codes())


def load_territory(code: str, own: Sequence[str | PathLike[str]] = ()) -> Territory:
    """The rulebook of a territory (``de``, ``gb`` or ``uk`` ...), with the rows of the user's ``own`` files added.

    Raises UsageError for a code that is not shipped, InputError for an own file that can't be used.
    """
    plain = code.strip().lower()
    plain = _ALSO_CALLED.get(plain, plain)
    if plain not in _shipped_codes():
        known = ", ".join(f"{known} ({name})" for known, name in region_codes())
        raise UsageError(f"no rules are known for the region {code!r}", hint=f"it is one of {known}")
    territory = _shipped_territory(plain)
    for path in own:
        territory = _joined(_read_own(Path(path), territory), territory)
    return territory


def _data(name: str) -> resources.abc.Traversable:
    return resources.files("fallow.rules").joinpath("data", name)


@cache
def _shipped_codes() -> tuple[str, ...]:
    """Files named by a country code of two letters; the others hold rows that several countries share."""
    names = [entry.name.removesuffix(".toml") for entry in resources.files("fallow.rules").joinpath("data").iterdir()]
    return tuple(sorted(name for name in names if len(name) == 2))


@cache
def _shipped(name: str) -> str:
    return _data(f"{name}.toml").read_text(encoding="utf-8")


@cache
def _shipped_territory(code: str) -> Territory:
    """A shipped rulebook with the shared files that it names, and the cautions that hold everywhere."""
    book = _book(code)
    territory = book.territory(code, str(book.content["name"]))
    for name in (*book.content.get("with", ()), _EVERYWHERE):
        territory = _joined(territory, _book(name).territory(code, territory.name))
    return territory


def _book(name: str) -> _Book:
    return _Book(_shipped(name), f"fallow/rules/data/{name}.toml", None)


def _read_own(path: Path, base: Territory) -> Territory:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(f"the file of rules can't be read: {error.strerror}", path=path) from error
    except UnicodeDecodeError as error:
        raise InputError("the file of rules is not UTF-8 text", path=path) from error
    return _Book(text, str(path), base).territory(base.code, base.name)


def _joined(first: Territory, second: Territory) -> Territory:
    """Rows and channels of both, rising; what ``first`` says of a licence or place counts; its cautions stand first."""
    return replace(
        first,
        rules=_in_order((*first.rules, *second.rules)),
        rasters=(*first.rasters, *second.rasters),
        licences={**first.licences, **{k: v for k, v in second.licences.items() if k not in first.licences}},
        places=tuple({place.name: place for place in (*second.places, *first.places)}.values()),
        cautions=(*first.cautions, *second.cautions),
    )


def _in_order(rules: Iterable[Rule]) -> tuple[Rule, ...]:
    return tuple(sorted(rules, key=lambda rule: (rule.low_hz, rule.high_hz)))


class _Book:
    """One file of rules while it is read: its sources, its licences, and what is said when something in it is wrong."""

    def __init__(self, text: str, path: str, base: Territory | None) -> None:
        self.path = path
        self.text = text
        try:
            self.content = tomllib.loads(text, parse_float=Decimal)
        except tomllib.TOMLDecodeError as error:
            raise InputError(f"the file of rules is not TOML: {error}", path=path) from error
        _Entry(self, "the file", None, self.content).only(_FILE_KEYS)
        self.sources = self._tables("sources", {"text", "date"})
        licences = self._tables("licences", {"text", "exempt"})
        self.licences = {key: entry.text("text") for key, entry in licences.items()}
        self.exempt = {key for key, entry in licences.items() if entry.flag("exempt")}
        self.places: dict[str, Place] = {}
        if base is not None:
            self.licences = {**base.licences, **self.licences}
            self.exempt |= {rule.licence for rule in base.rules if rule.exempt}
            self.places = {place.name: place for place in base.places}

    def territory(self, code: str, name: str) -> Territory:
        """The whole file as a value."""
        own = [_place(entry) for entry in self._entries("place")]
        self.places |= {place.name: place for place in own}
        return Territory(
            code=code,
            name=name,
            rules=_in_order(_rule(entry) for entry in self._entries("rule")),
            rasters=tuple(_raster(entry) for entry in self._entries("raster")),
            licences=self.licences,
            places=tuple(self.places.values()),
            cautions=_Entry(self, "the file", None, self.content).texts("cautions"),
        )

    def _tables(self, kind: str, keys: set[str]) -> dict[str, _Entry]:
        """The tables below a heading, such as [sources.key]."""
        values = self.content.get(kind, {})
        if not isinstance(values, dict):
            raise InputError(f"{kind} must be a table", path=self.path)
        entries = {key: _Entry(self, f"[{kind}.{key}]", None, value) for key, value in values.items()}
        for entry in entries.values():
            entry.only(keys)
        return entries

    def _entries(self, kind: str) -> list[_Entry]:
        values = self.content.get(kind, [])
        if not isinstance(values, list):
            raise InputError(f"write each {kind} under a heading [[{kind}]]", path=self.path)
        heading = re.compile(rf"\s*\[\[\s*{kind}\s*\]\]")
        lines = [number for number, line in enumerate(self.text.splitlines(), 1) if heading.match(line)]
        lines += [0] * len(values)
        return [_Entry(self, f"[[{kind}]]", line or None, value) for value, line in zip(values, lines, strict=False)]


class _Entry:
    """One table of the file: typed access to its values, with errors that say where."""

    def __init__(self, book: _Book, name: str, line: int | None, values: object) -> None:
        self.book = book
        self.name = name
        self.line = line
        if not isinstance(values, dict):
            raise self.wrong("it must be a table of keys and values")
        self.values = cast("dict[str, Any]", values)

    def wrong(self, what: str, hint: str | None = None) -> InputError:
        """The error for something in this table."""
        return InputError(f"{self.name}: {what}", path=self.book.path, line=self.line, hint=hint)

    def only(self, keys: set[str]) -> None:
        """Complain about a key that means nothing here."""
        for key in self.values:
            if key not in keys:
                raise self.wrong(f"{key!r} means nothing here", hint=f"known are {', '.join(sorted(keys))}")

    def text(self, key: str, default: str | None = None) -> str:
        """A text that must be there, unless a default is given."""
        value = self.values.get(key, default)
        if not isinstance(value, str) or (default is None and not value.strip()):
            raise self.wrong(f"{key} must be a text")
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts; empty where the key is missing."""
        values = self.values.get(key, [])
        if not isinstance(values, list) or not all(isinstance(value, str) and value.strip() for value in values):
            raise self.wrong(f"{key} must be a list of texts")
        return tuple(values)

    def flag(self, key: str) -> bool:
        """True or false; false where the key is missing."""
        value = self.values.get(key, False)
        if not isinstance(value, bool):
            raise self.wrong(f"{key} must be true or false")
        return value

    def number(self, key: str, value: object) -> Decimal:
        """A value as an exact, positive decimal."""
        if (
            isinstance(value, bool)
            or not isinstance(value, int | Decimal)
            or not Decimal(value).is_finite()
            or value <= 0
        ):
            raise self.wrong(f"{key} must be a number above zero, and {value!r} is not")
        return Decimal(value)

    def hertz(self, key: str, value: object, unit_hz: int) -> int:
        """A value in units of ``unit_hz`` as whole hertz."""
        value_hz = self.number(key, value) * unit_hz
        if value_hz != value_hz.to_integral_value():
            raise self.wrong(f"{key}: {value} is no whole number of hertz")
        return int(value_hz)

    def optional_hertz(self, key: str, unit_hz: int) -> int | None:
        """As `hertz`, or None where the key is missing."""
        return None if key not in self.values else self.hertz(key, self.values[key], unit_hz)

    def day(self, key: str) -> datetime.date | None:
        """A date, or None where the key is missing."""
        value = self.values.get(key)
        if value is not None and (not isinstance(value, datetime.date) or isinstance(value, datetime.datetime)):
            raise self.wrong(f"{key} must be a date such as 2030-12-31, without quotation marks")
        return value

    def grade(self, value: object) -> Grade:
        """One of the three grades."""
        if value not in list(Grade):
            raise self.wrong(f"checked: {value!r} is no grade", hint=f"it is one of {', '.join(Grade)}")
        return Grade(str(value))


def _rule(entry: _Entry) -> Rule:
    entry.only(_RULE_KEYS)
    allows = _allows(entry)
    low_hz, high_hz = _band(entry)
    source, date = _source(entry)
    licence = entry.text("licence", None if allows else "")
    if licence and licence not in entry.book.licences:
        raise entry.wrong(f"the licence {licence!r} is not under [licences]")
    power = entry.values.get("power_mw")
    return Rule(
        low_hz=low_hz,
        high_hz=high_hz,
        allows=allows,
        licence=licence,
        source=source,
        date=date,
        grade=_weakest(entry),
        exempt=licence in entry.book.exempt,
        kinds=frozenset(_word(entry, "kinds", kind, Kind) for kind in entry.texts("kinds")),
        carriers_hz=_carriers(entry),
        power_mw=None if power is None else float(entry.number("power_mw", power)),
        power_kind=_power_kind(entry),
        bandwidth_hz=entry.optional_hertz("bandwidth_khz", 1000),
        wider_than_hz=entry.optional_hertz("wider_than_khz", 1000),
        needs=entry.texts("needs"),
        remarks=entry.texts("conditions"),
        places=_places(entry),
        named_place=entry.flag("named_place"),
        valid_from=entry.day("valid_from"),
        valid_to=entry.day("valid_to"),
    )


_RULE_KEYS = {
    "mhz", "status", "licence", "kinds", "carriers_mhz", "power_mw", "power_kind", "bandwidth_khz", "wider_than_khz",
    "needs", "conditions", "places", "named_place", "valid_from", "valid_to", "sources", "source", "date", "checked",
}  # fmt: skip


def _places(entry: _Entry) -> tuple[Place, ...]:
    known = entry.book.places
    unknown = [name for name in entry.texts("places") if name not in known]
    if unknown:
        raise entry.wrong(f"the place {unknown[0]!r} has no [[place]]")
    return tuple(known[name] for name in entry.texts("places"))


def _power_kind(entry: _Entry) -> PowerKind | None:
    if "power_kind" not in entry.values:
        return None
    return _word(entry, "power_kind", entry.text("power_kind"), PowerKind)


def _allows(entry: _Entry) -> bool:
    status = entry.text("status")
    if status not in ("permit", "prohibit"):
        raise entry.wrong(f"status must be permit or prohibit, and {status!r} is neither")
    return status == "permit"


def _band(entry: _Entry) -> tuple[int, int]:
    edges = entry.values.get("mhz")
    if not isinstance(edges, list) or len(edges) != 2:
        raise entry.wrong("mhz must be the two edges of the band, for example mhz = [470, 608]")
    low_hz, high_hz = (entry.hertz("mhz", edge, 10**6) for edge in edges)
    if high_hz <= low_hz:
        raise entry.wrong(f"the band from {edges[0]} to {edges[1]} MHz does not rise")
    return low_hz, high_hz


def _carriers(entry: _Entry) -> tuple[int, ...]:
    """Centres: a list in MHz, or ``{first, step, count, without}`` where ``without`` are numbers counted from 1."""
    value = entry.values.get("carriers_mhz", [])
    if isinstance(value, list):
        return tuple(entry.hertz("carriers_mhz", centre, 10**6) for centre in value)
    grid = _Entry(entry.book, f"{entry.name} carriers_mhz", entry.line, value)
    grid.only({"first", "step", "count", "without"})
    first_hz, step_hz = (grid.hertz(key, grid.values.get(key), 10**6) for key in ("first", "step"))
    count = int(grid.number("count", grid.values.get("count")))
    left_out = grid.values.get("without", [])
    return tuple(first_hz + step_hz * (n - 1) for n in range(1, count + 1) if n not in left_out)


def _weakest(entry: _Entry) -> Grade:
    """The weakest grade among band, power and width, as far as the row states them."""
    checked = entry.values.get("checked")
    if not isinstance(checked, dict):
        return entry.grade(checked)
    stated = {"band": True, "power": "power_mw" in entry.values, "width": "bandwidth_khz" in entry.values}
    for figure, is_stated in stated.items():
        if is_stated != (figure in checked):
            what = f"the row states {'a' if is_stated else 'no'} {figure}, and checked says otherwise"
            raise entry.wrong(what, hint="checked grades what the row states of band, power and width")
    return max((entry.grade(value) for value in checked.values()), key=lambda grade: grade.weakness)


def _source(entry: _Entry) -> tuple[str, str]:
    """The words of the sources, and the date of the oldest (the row's own where it gives one)."""
    found = [(entry.text("source"), entry.text("date"))] if "source" in entry.values else []
    for key in entry.texts("sources"):
        if key not in entry.book.sources:
            raise entry.wrong(f"the source {key!r} is not under [sources]")
        source = entry.book.sources[key]
        found.append((source.text("text"), source.text("date")))
    if not found:
        raise entry.wrong("it names no source", hint="write source and date, or sources with keys of [sources]")
    date = entry.text("date") if "date" in entry.values else min(date for _, date in found)
    if not _DATE.fullmatch(date):
        raise entry.wrong(f"the date {date!r} is not written as 2026, 2026-07 or 2026-07-18")
    return "; ".join(text for text, _ in found), date


def _word(entry: _Entry, key: str, word: str, words: type[W]) -> W:
    if word not in list(words):
        raise entry.wrong(f"{key}: {word!r} is not known", hint=f"it is one of {', '.join(words)}")
    return words(word)


def _place(entry: _Entry) -> Place:
    entry.only({"name", "aliases", "text"})
    name = entry.text("name")
    if name.lower() == ELSEWHERE:
        raise entry.wrong(f"a place can't be called {ELSEWHERE}: that means none of the places")
    return Place(name, entry.text("text"), entry.texts("aliases"))


def _raster(entry: _Entry) -> Raster:
    """Channels of one width side by side: named by numbers ``first`` to ``last``, or by ``names``."""
    entry.only({"first", "last", "names", "low_mhz", "width_mhz", "sources", "source", "date", "checked"})
    low_hz, width_hz = (entry.hertz(key, entry.values.get(key), 10**6) for key in ("low_mhz", "width_mhz"))
    names = entry.texts("names")
    if not names:
        first, last = (int(entry.number(key, entry.values.get(key))) for key in ("first", "last"))
        names = tuple(str(number) for number in range(first, last + 1))
    edges = [low_hz + width_hz * index for index in range(len(names) + 1)]
    channels = tuple(Channel(name, edges[index], edges[index + 1]) for index, name in enumerate(names))
    source, date = _source(entry)
    return Raster(channels, source, date, entry.grade(entry.values.get("checked")))
