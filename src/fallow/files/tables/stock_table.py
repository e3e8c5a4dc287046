"""A shop's stock as tables: what there is (``stock.csv``), and what is out for whom (``out.csv``)."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from fallow.files.tables.columns import Column, text_column
from fallow.files.tables.grid import FilePath, Row, read_table
from fallow.files.tables.whole_file import replace_whole
from fallow.show.stock import Booking, Holding

__all__ = ["read_bookings", "read_stock", "write_bookings"]

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
)


def read_stock(path: FilePath) -> tuple[Holding, ...]:
    """What the shop has, one row for each type. Raises InputError with line and column."""
    rows = read_table(path, _STOCK, may_be_empty=True).unique("equipment")
    return tuple(Holding(row.text("equipment"), _count(row), row.items("serials"), row.text("note")) for row in rows)


def read_bookings(path: FilePath) -> tuple[Booking, ...]:
    """What is out, for which show, from when until when, both days included. Raises InputError with its place."""
    return tuple(_booking(row) for row in read_table(path, _OUT, may_be_empty=True).rows)


def write_bookings(path: FilePath, bookings: Sequence[Booking]) -> None:
    """What is out as CSV, whole or not at all. Raises OutputError."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("equipment", "count", "serials", "show", "from", "until"))
    for one in bookings:
        writer.writerow((one.equipment, one.count, ";".join(one.serials), one.show, one.first, one.last))
    replace_whole(Path(path), text.getvalue().encode("utf-8"), "what is out")


def _booking(row: Row) -> Booking:
    first, last = _day(row, "from"), _day(row, "until")
    if last < first:
        raise row.wrong("until", "it comes back before it goes out", hint="write the first day under from")
    return Booking(row.needed("equipment"), _count(row), row.needed("show"), first, last, row.items("serials"))


def _count(row: Row) -> int:
    """The count that is stated, else that of the serial names."""
    serials = row.items("serials")
    if len({*serials}) < len(serials):
        raise row.wrong("serials", "a serial name stands there twice")
    value = row.number("count")
    if value is None:
        return len(serials)
    if value != int(value) or not 0 <= value < 10**6:
        raise row.wrong("count", f"{row.text('count')!r} is no number of pieces")
    if serials and len(serials) > value:
        raise row.wrong("serials", f"{len(serials)} serial names for {int(value)} pieces")
    return int(value)


def _day(row: Row, name: str) -> date:
    try:
        return date.fromisoformat(row.needed(name))
    except ValueError as error:
        raise row.wrong(name, f"{row.text(name)!r} is not a date", hint="write it as 2026-07-18") from error
