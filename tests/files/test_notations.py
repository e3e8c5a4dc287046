"""Numbers of every region read back.

Source: Unicode CLDR through babel (decimal and grouping symbols, patterns, minus signs, digits); RFC 4180 for quotes
and line ends. Babel writes neither the locale's own minus sign nor its digits; ``written_sweeps`` adds them.
Membership is tested, not counts, which depend on the CLDR version.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from babel import Locale, localedata
from babel.numbers import format_decimal
from hypothesis import given
from hypothesis import strategies as st

from fallow.errors import InputError
from fallow.files import FileReading, Telling, read_file
from fallow.files.numbers import Notation, notations
from fallow.files.source import normalise
from fallow.spectrum.sweep import LevelUnit
from written_sweeps import Style, columns, grid, noise

FREQUENCIES = grid("470.000", "0.025", 25)
HERTZ = [Decimal(int(value * 10**6)) for value in FREQUENCIES]
LEVELS = noise(25)[0]
BIDI_MINUS = ("-", "\u2212", "\u200e-", "\u200e\u2212", "\u200f-", "\u061c-", "\u200e-\u200e", "\u061c\u2212")
DIGITS = ("0123456789", "٠١٢٣٤٥٦٧٨٩", "۰۱۲۳۴۵۶۷۸۹", "०१२३४५६७८९", "০১২৩৪৫৬৭৮৯", "０１２３４５６７８９", "𞥐𞥑𞥒𞥓𞥔𞥕𞥖𞥗𞥘𞥙")


def symbol_pairs() -> list[tuple[str, str, bool]]:
    """Each (decimal, grouping, Indian grouping) that CLDR knows for any numbering system of any locale."""
    found = set()
    for name in localedata.locale_identifiers():
        locale = Locale.parse(name)
        indian = "#,##,##0" in str(locale.decimal_formats.get(None))
        for symbols in locale.number_symbols.values():
            if symbols.get("decimal") and symbols.get("group"):
                found.add((str(symbols["decimal"]), str(symbols["group"]), indian))
    return sorted(found)


def read_back(folder: Path, lines: list[str], style: Style, telling: Telling | None = None) -> FileReading:
    path = folder / "sweep.txt"
    path.write_bytes(style.encoded(lines))
    return read_file(path, telling)


def check(reading: FileReading, n: int = 25) -> None:
    assert reading.needs == ()
    assert (reading.low_hz, reading.high_hz, reading.points) == (470_000_000, 470_000_000 + (n - 1) * 25_000, n)
    series = reading.series[0]
    assert series.axis.points_hz is None
    assert (series.axis.start_hz, series.axis.step_hz) == (470_000_000, 25_000)
    np.testing.assert_allclose(series.levels_db[0], [float(level) for level in LEVELS[:n]], atol=1e-4)


def test_cldr_holds_the_pairs_that_the_tests_rely_on() -> None:
    pairs = {(decimal, group) for decimal, group, _ in symbol_pairs()}
    known = {(".", ","), (",", "."), (",", "\xa0"), (",", "\u202f"), (".", "’"), ("٫", "٬"), (".", "\xa0")}
    assert known <= pairs


@pytest.mark.parametrize(("decimal", "group", "indian"), symbol_pairs())
def test_hertz_grouped_as_any_locale_groups(tmp_path: Path, decimal: str, group: str, indian: bool) -> None:
    style = Style(";", decimal, group, indian=indian)
    check(read_back(tmp_path, columns(style, HERTZ, LEVELS), style))


@pytest.mark.parametrize(
    "locale", ["en", "de", "de_CH", "fr", "fr_CA", "en_IN", "nso", "pl", "sv", "es", "pt_PT", "ja", "da"]
)
def test_numbers_written_by_babel(tmp_path: Path, locale: str) -> None:
    rows = zip(HERTZ, LEVELS, strict=True)
    lines = [
        f"{format_decimal(frequency, locale=locale)};{format_decimal(level, locale=locale)}"
        for frequency, level in rows
    ]
    check(read_back(tmp_path, lines, Style()))


@pytest.mark.parametrize("minus", BIDI_MINUS, ids=ascii)
@pytest.mark.parametrize("digits", DIGITS)
def test_minus_signs_and_digits(tmp_path: Path, minus: str, digits: str) -> None:
    style = Style(";", ",", "\u202f", minus, digits)
    check(read_back(tmp_path, columns(style, HERTZ, LEVELS, header=["Hz", "dBm"]), style))


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-be", "cp1252"]
)
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(tmp_path: Path, encoding: str, newline: str) -> None:
    style = Style(";", ",", newline=newline, encoding=encoding)
    reading = read_back(
        tmp_path, columns(style, FREQUENCIES, LEVELS, header=["Fréquence (MHz)", "Niveau (dBm)"]), style
    )
    check(reading)
    assert reading.level_unit == "dBm"


def test_utf16_without_mark_in_another_script(tmp_path: Path) -> None:
    style = Style(";", "٫", "٬", "\u061c-", "٠١٢٣٤٥٦٧٨٩", encoding="utf-16-le")
    check(read_back(tmp_path, columns(style, HERTZ, LEVELS), style))


@pytest.mark.parametrize(
    "style",
    [
        Style(",", ",", quote=True),  # RFC 4180, 2.5: fields with commas are quoted
        Style(",", ".", quote=True, newline="\r\n"),  # RFC 4180, 2.1
        Style(";", ",", trailing=True),  # common practice, against RFC 4180, 2.4
        Style("|"),
        Style("\t", ","),
        Style(" ", ","),
        Style("   "),
    ],
    ids=repr,
)
def test_delimiters_and_quotes(tmp_path: Path, style: Style) -> None:
    check(read_back(tmp_path, columns(style, FREQUENCIES, LEVELS), style))


def test_sep_line_names_the_delimiter(tmp_path: Path) -> None:
    style = Style(";", ",")
    check(read_back(tmp_path, ["sep=;", *columns(style, FREQUENCIES, LEVELS)], style))


@pytest.mark.parametrize("header", [None, ["Frequenz", "Pegel"]])
def test_a_comma_may_be_decimal_mark_and_delimiter_at_once(tmp_path: Path, header: list[str] | None) -> None:
    style = Style(",", ",")
    check(read_back(tmp_path, columns(style, FREQUENCIES, LEVELS, header=header), style))


@pytest.mark.parametrize("exponent", ["E+08", "e8", "×10^8", "×۱۰^۸", "أس8", "Е8"])
def test_exponents_as_cldr_writes_them(tmp_path: Path, exponent: str) -> None:
    lines = [f"{frequency / 100:f}{exponent};{level}" for frequency, level in zip(FREQUENCIES, LEVELS, strict=True)]
    check(read_back(tmp_path, lines, Style()))


@pytest.mark.parametrize(
    "word", ["", "NaN", "---", "n/a", "не число", "epäluku", "非數值", "ليس رقمًا", "#N/A", "-inf", "∞"]
)
def test_words_for_not_measured(tmp_path: Path, word: str) -> None:
    lines = columns(Style(";"), FREQUENCIES, LEVELS)
    lines[7] = f"{FREQUENCIES[7]};{word}"
    reading = read_back(tmp_path, lines, Style())
    assert np.flatnonzero(np.isnan(reading.series[0].levels_db[0])).tolist() == [7]


def test_an_underscore_groups_nothing(tmp_path: Path) -> None:
    """Python's own float takes 470_125 for 470125."""
    lines = columns(Style(";"), HERTZ, LEVELS)
    lines[9] = lines[9].replace("470225000", "470_225_000")
    with pytest.raises(InputError, match="'470_225_000' is no frequency"):
        read_back(tmp_path, lines, Style())


def test_three_digits_behind_one_mark_are_two_readings_of_equal_content(tmp_path: Path) -> None:
    """470,125 is 470.125 MHz or 470125 kHz: the same."""
    style = Style(";", ",")
    reading = read_back(tmp_path, columns(style, FREQUENCIES, [Decimal(int(level)) for level in LEVELS]), style)
    assert (reading.needs, reading.low_hz, reading.high_hz) == ((), 470_000_000, 470_600_000)


def test_notations_of_cells() -> None:
    assert Notation(",", ".") in notations(["1.234.567", "-85,3"], ";")
    assert Notation(",", ".").number("1.234.567,5").text == "1234567.5"  # type: ignore[union-attr]  # it is a number
    assert Notation(".", ",").number("12,34,567.5").text == "1234567.5"  # type: ignore[union-attr]  # Indian grouping
    for wrong in ("1,2345", "12,34", "1.2.3", "1_000", "0x1F", "--5", "5-", "1e999", ""):
        assert Notation(".", ",").number(wrong) is None


def test_normalising_leaves_ascii_alone() -> None:
    assert normalise("470.125;-95\n") == "470.125;-95\n"
    assert normalise("\u200e\u2212٩٥") == "-95"


@given(st.from_regex(r"-?[0-9]{1,17}(\.[0-9]{0,17})?", fullmatch=True))
def test_plain_numbers_are_what_python_reads(cell: str) -> None:
    for groups in ("", ",", "' "):
        number = Notation(".", groups).number(cell)
        assert number is not None
        assert (number.value, number.suffix) == (float(cell), "")


@pytest.mark.parametrize("mark", ["-999", "999", "-9999", "-200"])
def test_a_number_that_stands_where_nothing_was_measured_is_no_level(tmp_path: Path, mark: str) -> None:
    """A filler in a third of the rows: not measured there, told with its number and how many. Common practice."""
    path = tmp_path / "sweep.csv"
    levels = ["-" + str(100 + k % 7) + ".5" if k % 3 else mark for k in range(60)]
    rows = [f"{470 + k * 0.025:.3f},{level}" for k, level in enumerate(levels)]
    path.write_text("frequency_mhz,level_dbm\n" + "\n".join(rows) + "\n")
    reading = read_file(path)
    (series,) = reading.series
    assert np.array_equal(np.isnan(series.levels_db[0]), [level == mark for level in levels])
    assert any(note.startswith("20 levels") and f"({mark})" in note for note in reading.notes)


@pytest.mark.parametrize("heading", ["level_dbuv/m", "level dB(µV/m)", "dBμV / m"])
def test_field_strength_is_no_voltage_at_the_receiver(tmp_path: Path, heading: str) -> None:
    """dB(µV/m) is a unit of its own (Rec. ITU-R V.574, from memory): it tells no dBm without the antenna: relative."""
    path = tmp_path / "sweep.csv"
    rows = [f"{470 + k * 0.025:.3f},{20 + k % 7}.5" for k in range(60)]
    path.write_text(f"frequency_mhz,{heading}\n" + "\n".join(rows) + "\n", encoding="utf-8")
    reading = read_file(path)
    (series,) = reading.series
    assert series.unit is LevelUnit.DB
    assert series.levels_db[0, 0] == pytest.approx(20.5)
    assert any("field strength" in note for note in reading.notes)


def test_two_columns_of_frequencies_are_asked_about_with_an_answer_that_helps(tmp_path: Path) -> None:
    """No option chooses one of two columns that are no edges, so the question says what to do with the file."""
    path = tmp_path / "sweep.csv"
    middles = [470 + k * 0.025 for k in range(60)]
    rows = [f"{mid:.4f},{mid + 70:.4f},-{100 + k % 7}.5" for k, mid in enumerate(middles)]
    path.write_text("frequency_mhz,mixer_mhz,level_dbm\n" + "\n".join(rows) + "\n")
    (question,) = read_file(path).needs
    assert "leave only one column of frequencies" in question
    assert "--unit" not in question
