"""A shop's stock as tables: what there is (``stock.csv``), and what is out for whom (``out.csv``)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, timedelta
from math import isnan, nan
from pathlib import Path

from fallow.files.tables.code_pages import code_page_of
from fallow.files.tables.columns import Column, text_column
from fallow.files.tables.grid import FilePath, Row, read_table
from fallow.files.tables.shape import known_headings
from fallow.files.tables.standing import StandingTable
from fallow.files.tables.whole_file import replace_whole
from fallow.files.times import Clock
from fallow.show.lending import listed_pieces
from fallow.show.stock import Booking, Holding

__all__ = ["OutTable", "read_bookings", "read_stock"]

_TYPE = text_column("equipment", "type", "gerät", "gerätetyp", "équipement", "equipo", "apparaat", required=True)
_COUNT = Column(("count", "pieces", "anzahl", "stück", "nombre", "cantidad", "aantal"), is_number=True)
_SERIALS = text_column("serials", "serial", "seriennummern", "seriennummer", "numéros", "números", "serienummers")
_STOCK = (_TYPE, _COUNT, _SERIALS, text_column("note", "notes", "bemerkung", "remarque", "nota", "opmerking"))
_OUT = (
    _TYPE,
    _COUNT,
    _SERIALS,
    text_column("show", "production", "produktion", "spectacle", "producción", "productie", required=True),
    text_column("from", "von", "du", "desde", "van", required=True),
    text_column("until", "to", "bis", "au", "hasta", "tot", required=True),
    text_column("show_id"),
)
_YEAR = re.compile(r"\d{4}")  # two digits may be a year, a month or a day
_DAY_FIRST, _MONTH_FIRST = Clock(True, UTC), Clock(False, UTC)
_HEADINGS = ",".join(column.name for column in _OUT)


def read_stock(path: FilePath) -> tuple[Holding, ...]:
    """What the shop has, one row for each type. Raises InputError with line and column."""
    path = Path(path)
    rows = read_table(path, _STOCK, may_be_empty=True, encoding=_encoding(path, _STOCK)).unique("equipment")
    return tuple(Holding(row.text("equipment"), _count(row), _serials(row), row.text("note")) for row in rows)


def read_bookings(path: FilePath) -> tuple[Booking, ...]:
    """What is out, for which show, from when until when, both days included; nothing where the table is not there yet.

    Raises InputError with its place.
    """
    return tuple(OutTable.read(Path(path)).bookings.values())


@dataclass(frozen=True)
class OutTable:
    """The table of what is out, to be changed where it stands. ``bookings``: by the number of their line."""

    path: Path
    bookings: Mapping[int, Booking]
    encoding: str

    @classmethod
    def read(cls, path: Path) -> OutTable:
        """What is out; nothing where the table is not there yet. Raises InputError with its place."""
        if not path.exists():
            return cls(path, {}, "utf-8")
        encoding = _encoding(path, _OUT)
        rows = read_table(path, _OUT, may_be_empty=True, encoding=encoding).rows
        clock = _clock(row.text(name) for row in rows for name in ("from", "until"))
        return cls(path, {row.line: _booking(row, clock) for row in rows}, encoding)

    def change(self, changed: Mapping[int, Booking | None], added: Sequence[Booking]) -> None:
        """Write other bookings in the place of some (``None``: they are taken out) and add some.

        All else in the table stays as it is: other columns, order, encoding. Raises OutputError; then nothing changes.
        """
        differing = {line: one for line, one in changed.items() if one != self.bookings[line]}
        if not differing and not added:
            return
        if not self.path.exists():
            replace_whole(self.path, f"{_HEADINGS}\n".encode(), "what is out")
        cells = {line: None if one is None else _cells(one) for line, one in differing.items()}
        StandingTable.read(self.path, _OUT, self.encoding).write(cells, [_cells(one) for one in added])


def _encoding(path: Path, columns: Sequence[Column]) -> str:
    """What the file says of its encoding, else what its letters do."""
    return code_page_of(path, lambda text: known_headings(text, columns)).name


def _cells(one: Booking) -> dict[str, str]:
    return {
        "equipment": one.equipment,
        "count": str(one.count),
        "serials": ";".join(one.serials),
        "show": one.show,
        "from": one.first.isoformat(),
        "until": one.last.isoformat(),
        "show_id": one.show_id,
    }


def _booking(row: Row, clock: Clock) -> Booking:
    first, last = _day(row, "from", clock), _day(row, "until", clock)
    if last < first:
        raise row.wrong("until", "it comes back before it goes out", hint="write the first day under from")
    serials, show_id = _serials(row), row.text("show_id")
    return Booking(row.needed("equipment"), _count(row), row.needed("show"), first, last, serials, show_id)


def _count(row: Row) -> int:
    """The count that is stated, else that of the serial names."""
    serials = _serials(row)
    if len({*serials}) < len(serials):
        raise row.wrong("serials", "a serial name stands there twice")
    value = row.number("count")
    if value is None:
        return len(serials)
    if value != int(value) or not 0 <= value < 10**6:
        raise row.wrong("count", f"{row.text('count')!r} is no number of pieces")
    if serials and len(serials) > value:
        raise row.wrong("serials", f"{len(serials)} serial names for {int(value)} piece{'' if value == 1 else 's'}")
    return int(value)


def _serials(row: Row) -> tuple[str, ...]:
    return listed_pieces(row.items("serials"))


def _clock(days: Iterable[str]) -> Clock:
    """How the days of a table are written by a spreadsheet that does not keep ours; one order of day and month."""
    readings = [(isnan(_DAY_FIRST.seconds(day)[0]), isnan(_MONTH_FIRST.seconds(day)[0])) for day in days]
    is_day_first, is_month_first = (False, True) in readings, (True, False) in readings
    return Clock(is_day_first if is_day_first != is_month_first else None, UTC)


def _day(row: Row, name: str, clock: Clock) -> date:
    text = row.needed(name)
    seconds = clock.seconds(text)[0] if _YEAR.search(text) else nan
    if isnan(seconds):
        is_open = _YEAR.search(text) and not isnan(_DAY_FIRST.seconds(text)[0])
        what = "may be two days, with the month first or last" if is_open else "is not a date"
        raise row.wrong(name, f"{text!r} {what}", hint="write it as 2026-07-18")
    return date(1970, 1, 1) + timedelta(seconds=seconds)
