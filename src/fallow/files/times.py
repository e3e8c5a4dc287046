"""Dates and times as files write them: ISO 8601, regional dates, seconds since 1970; one order of day and month per
file.

A date such as 03/04/2024 says nothing by itself; other dates of the same file may. Where none does, there is no time
and a note, never a guess.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fallow.errors import UsageError

__all__ = ["Clock", "clock_for", "epoch_scale", "iso_text", "looks_like_time", "zone_named"]

_ISO_DATE = r"(?P<y>\d{4})[-/.年](?P<m>\d{1,2})[-/.月](?P<d>\d{1,2})日?"
_DAY_FIRST_OR_NOT = r"(?P<p>\d{1,2})(?P<sep>[-/.])(?P<q>\d{1,2})(?P=sep)(?P<yy>\d{4}|\d{2})"
_NAMED = r"(?P<nd>\d{1,2})[-. ](?P<name>[A-Za-z]{3,9})[-. ](?P<ny>\d{4})"
_DATE = rf"(?:{_ISO_DATE}|{_DAY_FIRST_OR_NOT}|{_NAMED})"
_SECOND = r"(?P<S>\d{2})(?:[.,:](?P<f>\d{1,9}))?s?"
_TIME = rf"(?P<H>\d{{1,2}})(?:(?=[.]\d\d[.]\d\d)[.]|[:h])(?P<M>\d{{2}})(?:[:.m]{_SECOND})?\s*(?P<ap>[aApP]\.?[mM]\.?)?"
_ZONE = r"(?P<z>Z|UTC|GMT|[-+]\d{2}:?\d{2}|(?:UTC|GMT)[-+]\d{1,2}(?::?\d{2})?)?"
_STAMP = re.compile(rf"(?:{_DATE})?(?:(?<=.)[T ,_]+|^)?(?:{_TIME})?\s*{_ZONE}", re.IGNORECASE)
_COMPACT = re.compile(
    r"(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})T(?P<H>\d{2})(?P<M>\d{2})(?P<S>\d{2})(?:[.,](?P<f>\d{1,9}))?(?P<z>Z|[-+]\d{2}:?\d{2})?"
)
_MONTH_NAMES = "jan feb mar apr may jun jul aug sep oct nov dec"  # English. Source: common practice
_MONTHS = {_MONTH_NAMES[4 * month : 4 * month + 3]: month + 1 for month in range(12)}
_OFFSET = re.compile(r"(?:UTC|GMT)?([-+])(\d{1,2}):?(\d{2})?", re.IGNORECASE)
_EARLIEST_S, _LATEST_S = 631152000.0, 4102444800.0  # 1990 to 2100, UTC


@dataclass(frozen=True)
class Clock:
    """How a file's times are read: is the day written before the month, and in which zone, where they don't say.

    ``day_first`` is ``None`` where the file leaves it open.
    """

    day_first: bool | None = None
    zone: tzinfo | None = None

    def seconds(self, text: str) -> tuple[float, bool]:
        """Seconds since 1970 and whether they are UTC; NaN where the text is no date with a time, or its order is
        open."""
        match = _matched(text)
        date = None if match is None else self._date(match)
        if match is None or date is None:
            return math.nan, False
        try:
            moment = datetime(*date, *_hour_minute_second(match), tzinfo=UTC) + _fraction(match)
        except (ValueError, OverflowError):
            return math.nan, False
        stated = _zone_of(match)
        zone = stated or self.zone
        if zone is None:
            return moment.timestamp(), False
        return moment.replace(tzinfo=zone).timestamp(), True

    def _date(self, match: re.Match[str]) -> tuple[int, int, int] | None:
        parts = match.groupdict()
        if parts.get("y"):
            return int(parts["y"]), int(parts["m"]), int(parts["d"])
        if parts.get("nd"):
            month = _MONTHS.get(parts["name"][:3].lower())
            return None if month is None else (int(parts["ny"]), month, int(parts["nd"]))
        if not parts.get("p"):
            return None
        first, second, year = int(parts["p"]), int(parts["q"]), int(parts["yy"])
        day_first = True if parts["sep"] == "." else self.day_first  # dots: day first. Source: common practice
        if day_first is None:
            return None
        return (year + 2000 if year < 100 else year), (second if day_first else first), (first if day_first else second)


def clock_for(stamps: Iterable[str], zone: tzinfo | None) -> tuple[Clock, bool]:
    """The clock that a file's stamps allow, and whether their order of day and month stays open."""
    firsts, seconds = set(), set()
    for stamp in stamps:
        match = _matched(stamp)
        if match is not None and match.groupdict().get("p") and match["sep"] != ".":
            firsts.add(int(match["p"]))
            seconds.add(int(match["q"]))
    if firsts == seconds:  # no such dates, or days and months that are the same number
        return Clock(True, zone), False
    day_first = any(first > 12 for first in firsts)
    month_first = any(second > 12 for second in seconds)
    if day_first != month_first:
        return Clock(day_first, zone), False
    return Clock(None, zone), True


def looks_like_time(text: str) -> bool:
    """Whether a cell holds a date, a time of day or both."""
    match = _matched(text)
    return match is not None and any(match.groupdict().get(part) for part in ("y", "p", "nd", "H"))


def has_date(text: str) -> bool:
    """Whether a cell holds a date."""
    match = _matched(text)
    return match is not None and any(match.groupdict().get(part) for part in ("y", "p", "nd"))


def epoch_scale(values: Sequence[float]) -> float | None:
    """Seconds per unit when the numbers are times since 1970 (in s, ms, µs or ns, by their size), else ``None``."""
    finite = [value for value in values if math.isfinite(value)]
    if not finite:
        return None
    for scale in (1.0, 1e-3, 1e-6, 1e-9):
        if min(finite) * scale >= _EARLIEST_S and max(finite) * scale <= _LATEST_S:
            return scale
    return None


def zone_named(text: str) -> tzinfo:
    """A zone by its IANA name or as an offset such as ``+02:00``. Raises UsageError for anything else."""
    bare = text.strip()
    if bare.upper() in ("Z", "UTC", "GMT"):
        return UTC
    match = _OFFSET.fullmatch(bare)
    offset = None if match is None else _offset(match)
    if offset is not None:
        return offset
    try:
        return ZoneInfo(bare)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UsageError(f"{text!r} is no time zone", hint="write it as Europe/Paris or as +02:00") from error


def iso_text(seconds: float, *, utc: bool) -> str:
    """ISO 8601, to the millisecond where it isn't a whole second; with ``Z`` when it is UTC."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=round(seconds * 1000))
    text = moment.replace(tzinfo=None).isoformat(timespec="milliseconds").removesuffix(".000")
    return text + ("Z" if utc else "")


def _matched(text: str) -> re.Match[str] | None:
    bare = text.strip().strip("\"'")
    if not bare or len(bare) > 60:
        return None
    match = _COMPACT.fullmatch(bare) or _STAMP.fullmatch(bare)
    return match if match is not None and match.group(0) else None


def _hour_minute_second(match: re.Match[str]) -> tuple[int, int, int]:
    hour, minute, second = (int(match[part] or 0) for part in "HMS")
    half = (match.groupdict().get("ap") or "").lower()
    if half:
        hour = hour % 12 + (12 if half.startswith("p") else 0)
    return hour, minute, min(second, 59)


def _fraction(match: re.Match[str]) -> timedelta:
    digits = match["f"]
    return timedelta(seconds=float(f"0.{digits}")) if digits else timedelta()


def _zone_of(match: re.Match[str]) -> tzinfo | None:
    text = match["z"]
    if not text:
        return None
    offset = _OFFSET.fullmatch(text)
    return UTC if offset is None else _offset(offset)


def _offset(match: re.Match[str]) -> tzinfo | None:
    minutes = int(match[2]) * 60 + int(match[3] or 0)
    if minutes > 14 * 60:  # the widest offset in use; source: IANA time zone database
        return None
    return timezone(timedelta(minutes=minutes if match[1] == "+" else -minutes))
