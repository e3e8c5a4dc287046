"""What the lines above the numbers say: units, bandwidth, detector, start time, zone, a load in place of the
antenna."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from fallow.files.source import Line
from fallow.files.times import has_date, looks_like_time
from fallow.files.wording import (
    FREQUENCY_FACTORS_HZ,
    detector_named,
    frequency_unit_named,
    level_unit_named,
    says,
    words_of,
)
from fallow.spectrum.sweep import Detector

__all__ = ["Preamble", "read_preamble"]

LONGEST_NAME = 60  # of an instrument; what is longer is prose
_WITH_UNIT = re.compile(r"(\d+(?:[.,]\d+)?)[\s,;|\"]*([kMG]?Hz)\b", re.IGNORECASE)
_KEY = re.compile(r"\s*[#!%/*;]*\s*[\"']?([^:=;,\t|\d]{1,40}?)[\"']?\s*(?:[:=;,\t|]|\s(?=\d))\s*(.+)")
_EQUATION = re.compile(r"([A-Za-z][\w-]*)=(\S+)")
_LEVEL_IN_LINE = re.compile(r"-?\d+(?:[.,]\d+)?[\s,;|\"]*(dBm|dB[uµμ]V)\b", re.IGNORECASE)
_ZONE = re.compile(r"(UTC|GMT)\s*(?:([-+])\s*(\d{1,2})(?::?(\d{2}))?)?|\b([A-Z][A-Za-z]+/[A-Z][A-Za-z_]+)\b")


@dataclass(frozen=True)
class Preamble:
    """What was said above the numbers. ``edges_hz``: frequencies that were written with their unit.

    ``stamp``: date and time as written, empty where there is none. ``zone``: as written, ``None`` where there is none.
    ``instrument``: its name and number, empty where they are not told.
    """

    units: frozenset[str] = frozenset()
    edges_hz: tuple[float, ...] = ()
    level_unit: str | None = None
    rbw_hz: float | None = None
    detector: Detector | None = None
    stamp: str = ""
    zone: str | None = None
    is_reference: bool = False
    instrument: str = ""
    notes: tuple[str, ...] = field(default=())

    def frequency_unit(self, low: float, high: float) -> str | None:
        """The unit that is stated for the frequencies, or in which their ends are frequencies named in the preamble."""
        if len(self.units) == 1:
            return next(iter(self.units))
        for unit, factor in FREQUENCY_FACTORS_HZ.items():
            ends = [end * factor for end in (low, high)]
            if sum(any(abs(end - edge) <= 1e-3 * edge for edge in self.edges_hz) for end in ends) == 2:
                return unit
        return None


def read_preamble(lines: Sequence[Line], file_unit: str | None = None) -> Preamble:
    """Search the lines above the numbers. ``file_unit``: the unit of frequencies written without one, where it is
    known."""
    pairs = [(match[1].strip(), match[2].strip(" \t\"';,|")) for line in lines if (match := _KEY.match(line.text))]
    pairs += [(key.strip(), value) for line in lines for key, value in _EQUATION.findall(line.text)]
    texts = [line.text for line in lines]
    level_unit, level_note = _level_unit(pairs, texts)
    return Preamble(
        units=frozenset(unit for key, value in pairs if says(key, "unit") and (unit := frequency_unit_named(value))),
        edges_hz=tuple(_hertz(match) for text in texts if not says(text, "rbw") for match in _WITH_UNIT.finditer(text)),
        level_unit=level_unit,
        rbw_hz=_rbw_hz(pairs, texts, file_unit),
        detector=next(
            (kind for key, value in pairs if says(key, "detector") and (kind := detector_named(value))), None
        ),
        stamp=_stamp(pairs),
        zone=_zone(pairs),
        is_reference=any(says(text, "reference-text") for text in texts),
        instrument=_instrument(pairs),
        notes=level_note,
    )


def _level_unit(pairs: Sequence[tuple[str, str]], texts: Sequence[str]) -> tuple[str | None, tuple[str, ...]]:
    for key, value in pairs:
        if says(key, "unit") and frequency_unit_named(value) is None and (unit := level_unit_named(value)):
            return unit, ()
        if says(key, "level") and level_unit_named(value) and not re.search(r"\d", value):
            return level_unit_named(value), ()
    found = {
        match[1].lower().replace("µ", "u").replace("μ", "u")
        for text in texts
        for match in _LEVEL_IN_LINE.finditer(text)
    }
    if len(found) == 1:
        unit = found.pop()
        return unit, (
            f"levels are taken for {unit.replace('dbm', 'dBm').replace('dbuv', 'dBµV')}, as a level in the preamble is",
        )
    return None, ()


def _rbw_hz(pairs: Sequence[tuple[str, str]], texts: Sequence[str], file_unit: str | None) -> float | None:
    for text in texts:
        if says(text, "rbw"):
            match = _WITH_UNIT.search(text[_after_rbw(text) :])
            if match is not None:
                return _hertz(match)
    for key, value in pairs:
        unit = frequency_unit_named(key) or ("Hz" if file_unit is None else file_unit)
        number = re.fullmatch(r"\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?", value)
        if says(key, "rbw") and number is not None:
            hertz = float(value.replace(",", ".")) * FREQUENCY_FACTORS_HZ[unit]
            return hertz if 0 < hertz <= 100e6 else None
    return None


def _after_rbw(text: str) -> int:
    """Where the words for bandwidth begin, so that a centre frequency before them on the line is not taken for it."""
    match = re.search(r"rbw|res|band|auflös|ancho|larghezza|largura|upplös|rozdz|分解能", text, re.IGNORECASE)
    return match.start() if match is not None else 0


def _instrument(pairs: Sequence[tuple[str, str]]) -> str:
    """The name of the instrument and its number, as far as they are told; it must be the whole word that says so."""
    name, number = (
        next((value[:LONGEST_NAME] for key, value in pairs if key.casefold() in words_of(meaning)), "")
        for meaning in ("instrument", "serial")
    )
    return f"{name} {number}".strip() if name else number and f"no. {number}"


def _stamp(pairs: Sequence[tuple[str, str]]) -> str:
    """The start as one text: from one line, or from a date line and a time line."""
    date = time = ""
    for key, value in pairs:
        if not (says(key, "start") or says(key, "time") or says(key, "date")):
            continue
        value = re.sub(r"\s*\(.*\)\s*$", "", value)
        if has_date(value) and re.search(r"\d[:h]\d\d|T\d{6}", value):
            return value
        if not date and has_date(value):
            date = value
        elif not time and looks_like_time(value) and not has_date(value):
            time = value
    return f"{date} {time}".strip() if date else ""


def _zone(pairs: Sequence[tuple[str, str]]) -> str | None:
    for key, value in pairs:
        if not re.search(r"zone|utc|gmt", key, re.IGNORECASE):
            continue
        match = _ZONE.search(value) or re.fullmatch(r"\s*([-+]\d{1,2}(?::?\d{2})?)\s*", value)
        if match is not None:
            return match[0].replace(" ", "")
    return None


def _hertz(match: re.Match[str]) -> float:
    unit = frequency_unit_named(match[2])
    return float(match[1].replace(",", ".")) * (FREQUENCY_FACTORS_HZ[unit] if unit else 1)
