"""A table of somebody is changed where it stands. Truth: its bytes before, line by line, and Python's csv module."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.errors import InputError, OutputError
from fallow.files.tables.stock_table import OutTable, read_bookings
from fallow.show.stock import Booking

DAY = date(2026, 7, 18)
NEW = Booking("ear A", 2, "Ünder the oak", DAY, DAY, ("E1", "E2"), "abc")
HEADINGS = ["remark", "equipment", "count", "show", "Colour, inside", "from", "until", "serials"]
ODD = (
    'keep me,hand A,2,Gala,"red\nand blue",2026-07-18,2026-07-20,A1;A2\n'
    "\n"
    '"a ""b""", hand B ,1,Fair,,2026-07-01,2026-07-02,\n'
    "c,hand A,1,Trio,green,2026-07-18,2026-07-18,\n"
)


def table(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    path = tmp_path / "out.csv"
    path.write_bytes(text.encode(encoding))
    return path


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_rows_that_are_not_touched_keep_their_bytes(tmp_path: Path, encoding: str, line_end: str) -> None:
    text = (",".join([*HEADINGS[:4], '"Colour, inside"', *HEADINGS[5:]]) + "\n" + ODD).replace("Gala", "Gala für alle")
    text = text.replace("\n", line_end)
    path = table(tmp_path, text, encoding)
    out = OutTable.read(path)
    (first, second, third) = out.bookings
    out.change({second: None, first: out.bookings[first]}, [NEW])
    lines = text.split(line_end)
    kept = [lines[0] + ",show_id", *lines[1:4], lines[5]]
    row = ",ear A,2,Ünder the oak,,2026-07-18,2026-07-18,E1;E2,abc"
    assert path.read_bytes().decode(encoding) == "".join(f"{line}{line_end}" for line in [*kept, row])
    assert list(read_bookings(path)) == [out.bookings[first], out.bookings[third], NEW]


def test_a_changed_row_keeps_its_place_and_what_we_do_not_know(tmp_path: Path) -> None:
    text = (
        "sep=;\nWhat is out;;;;;\nvon;bis;Gerät;Stück;produktion;Farbe\n"
        "2026-07-18;2026-07-19;hand A;3;Gala;rot\n2026-07-18;2026-07-19;hand B;3;Fair;grün"
    )
    path = table(tmp_path, text)
    out = OutTable.read(path)
    (line, _) = out.bookings
    out.change({line: Booking("hand A", 4, "Gala", DAY, DAY, (), "x")}, [NEW])
    assert path.read_text(encoding="utf-8").splitlines() == [
        "sep=;",
        "What is out;;;;;",
        "von;bis;Gerät;Stück;produktion;Farbe;show_id;serials",
        "2026-07-18;2026-07-18;hand A;4;Gala;rot;x;",
        "2026-07-18;2026-07-19;hand B;3;Fair;grün",
        '2026-07-18;2026-07-18;ear A;2;Ünder the oak;;abc;"E1;E2"',
    ]


@pytest.mark.parametrize(
    ("written", "days"),
    [
        (["18.07.2026", "3.8.2026"], ["2026-07-18", "2026-08-03"]),  # CLDR: German and others, the day first
        (["18/07/2026", "03/08/2026"], ["2026-07-18", "2026-08-03"]),  # the first one tells the order
        (["7/18/2026", "8/3/2026"], ["2026-07-18", "2026-08-03"]),  # CLDR: en-US
        (["18-07-2026 00:00", "2026/08/03"], ["2026-07-18", "2026-08-03"]),
        (["0001-01-01", "9999-12-31"], ["0001-01-01", "9999-12-31"]),
    ],
)
def test_days_as_a_spreadsheet_leaves_them_are_read_and_stay(
    tmp_path: Path, written: list[str], days: list[str]
) -> None:
    text = f"equipment,count,show,from,until\nhand A,1,gala,{written[0]},{written[1]}\n"
    out = OutTable.read(table(tmp_path, text))
    assert [one.isoformat() for one in (out.bookings[2].first, out.bookings[2].last)] == days
    out.change({2: out.bookings[2]}, [NEW])
    assert ",".join(written) in (tmp_path / "out.csv").read_text(encoding="utf-8")


def test_what_is_as_it_was_is_not_written(tmp_path: Path) -> None:
    path = table(tmp_path, ",".join(['"remark"', *HEADINGS[1:4], "Colour", *HEADINGS[5:]]) + "\n" + ODD)
    before = path.stat().st_mtime_ns, path.read_bytes()
    out = OutTable.read(path)
    out.change(dict(out.bookings), ())
    assert (path.stat().st_mtime_ns, path.read_bytes()) == before


def test_a_table_that_is_not_there_is_made(tmp_path: Path) -> None:
    OutTable.read(tmp_path / "out.csv").change({}, [NEW])
    assert (tmp_path / "out.csv").read_text(encoding="utf-8").splitlines() == [
        "equipment,count,serials,show,from,until,show_id",
        "ear A,2,E1;E2,Ünder the oak,2026-07-18,2026-07-18,abc",
    ]


def test_what_its_encoding_can_not_hold_is_told_and_nothing_is_changed(tmp_path: Path) -> None:
    path = table(tmp_path, "equipment,count,show,from,until\nhänd,1,x,2026-07-18,2026-07-18\n", "cp1252")
    before = path.read_bytes()
    with pytest.raises(OutputError, match="'Ω' can't be written into a table in cp1252") as told:
        OutTable.read(path).change({}, [Booking("hand A", 1, "Ωmega", DAY, DAY)])
    assert told.value.hint == "save the table as UTF-8"
    assert path.read_bytes() == before


def test_bytes_that_are_no_letters_stay(tmp_path: Path) -> None:
    path = tmp_path / "out.csv"
    path.write_bytes(b"equipment,count,show,from,until,note\nh\xe4nd,1,x,2026-07-18,2026-07-18,\x81\x8d\xff\n")
    OutTable.read(path).change({}, [Booking("hand A", 1, "gala", DAY, DAY)])
    assert b"\x81\x8d\xff\n" in path.read_bytes()


def test_what_is_no_such_table_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no column"):
        OutTable.read(table(tmp_path, "a,b\n1,2\n"))


cells = st.text(st.sampled_from('ab ,;"\n\t|é='), max_size=5)
rows = st.lists(st.tuples(st.sampled_from(["hand A", "ear"]), st.integers(0, 9), cells, cells), min_size=1, max_size=6)


@settings(max_examples=60, deadline=None)
@given(rows, st.sampled_from(",;\t|"), st.sampled_from(["\n", "\r\n"]), st.data())
def test_any_cells_stay_beside_any_change(
    tmp_path_factory: pytest.TempPathFactory,
    drawn: list[tuple[str, int, str, str]],
    delimiter: str,
    line_end: str,
    data: st.DataObject,
) -> None:
    path = tmp_path_factory.mktemp("out") / "out.csv"
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, lineterminator=line_end)
    writer.writerow(["x", "equipment", "count", "show", "from", "until", "y"])
    for name, count, one, other in drawn:
        writer.writerow([one, name, count, "gala", "2026-07-18", "2026-07-18", other])
    path.write_bytes(text.getvalue().encode())
    out = OutTable.read(path)
    assert len(out.bookings) == len(drawn)
    changes = {line: data.draw(st.sampled_from([None, one, NEW])) for line, one in out.bookings.items()}
    added = data.draw(st.lists(st.just(NEW), max_size=2))
    out.change(changes, added)
    found = list(csv.reader(io.StringIO(path.read_bytes().decode(), newline=""), delimiter=delimiter))[1:]
    left = [(one[2:], changes[line]) for one, line in zip(drawn, out.bookings, strict=True) if changes[line]]
    assert list(read_bookings(path)) == [change for _, change in left] + added
    for row, (before, change) in zip(found, left, strict=False):
        beside = (row[0], row[6])
        assert beside == before or (change is NEW and beside == tuple(cell.lstrip(" ") for cell in before))


@pytest.mark.parametrize(
    ("encoding", "show"),
    [("cp1252", "Söder à l’été"), ("cp1250", "Stała próba źródła"), ("mac-roman", "Söder für alle")],
)
def test_a_table_of_an_old_code_page_is_read_and_written_in_it(tmp_path: Path, encoding: str, show: str) -> None:
    rows = [f"hand A,1,{show},2026-07-18,2026-07-18,x", f"hand A,2,{show} 2,2026-07-18,2026-07-18,y"]
    path = table(tmp_path, "\n".join(["equipment,count,show,from,until,show_id", *rows, ""]), encoding)
    out = OutTable.read(path)
    assert [one.show for one in out.bookings.values()] == [show, f"{show} 2"]
    out.change({2: Booking("hand A", 3, show, DAY, DAY, (), "x")}, ())
    changed = rows[0].replace("A,1", "A,3")
    expected = "\n".join(["equipment,count,show,from,until,show_id", changed, rows[1], ""])
    assert path.read_bytes() == expected.encode(encoding)
