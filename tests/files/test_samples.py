"""Every sample file, good or broken on purpose, and what has to be said about it. The samples are invented: see
SOURCES.md there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fallow.errors import InputError
from fallow.files import FileReading, FileRefusal, Telling, read_file, read_paths
from fallow.spectrum.sweep import Detector, LevelUnit

SWEEPS = Path(__file__).parent.parent / "samples" / "sweeps"

READ = {  # file: (layout, delimiter, decimal, level unit, sweeps, points)
    "decimal_comma_semicolon.csv": ("frequency and level columns", ";", ",", "dBm", 1, 41),
    "utf16_tab.txt": ("frequency and level columns", "\t", ",", "dBm", 1, 41),
    "grouped_hertz.csv": ("frequency and level columns", ";", ",", "dBm", 1, 41),
    "three_traces.csv": ("frequency column and 3 traces", ",", ".", "dBm", 1, 41),
    "stacked_sweeps.csv": ("frequency and level columns, sweeps below each other", ",", ".", "dBm", 2, 41),
    "matrix_local_time.csv": ("matrix", ";", ",", "dB", 6, 8),
    "transposed_matrix.csv": ("transposed matrix", ",", ".", "dB", 5, 41),
    "wide_rows_out_of_order.txt": ("wide rows", ",", ".", "dB", 2, 40),
    "wide_rows_too_short.txt": ("wide rows", ",", ".", "dB", 1, 150),
    "level_first_falling.txt": ("frequency and level columns", " ", ".", "dB", 1, 41),
    "unit_in_every_cell.csv": ("frequency and level columns", ";", ",", "dBm", 1, 41),
    "gaps_and_empty_levels.csv": ("frequency and level columns", ",", ".", "dBm", 1, 31),
    "wrapped_level.csv": ("frequency and level columns", ",", ".", "dBm", 1, 41),
    "antenna_none.csv": ("frequency and level columns", ",", ".", "dBm", 1, 41),
    "truncated_last_line.csv": ("frequency and level columns", ",", ".", "dBm", 1, 41),
    "superscript_in_heading.csv": ("frequency and level columns", ",", ".", "dB", 1, 41),
}

REFUSED = {
    "bad_cell_far_down.csv": ", line 32, column 2: '-9x5' is no level",
    "digits_with_underscore.csv": ", line 32, column 1: '470_750_000' is no frequency",
    "row_too_long.csv": ", line 32: the row has 3 cells where 2 were expected",
    "transposed_matrix_turns_back.csv": ": each column is a sweep, and yet its frequencies turn back and stand there "
    "again",
    "header_only.csv": ": there are no numbers in it",
    "empty.csv": ": the file is empty",
    "binary.dat": ": the file is no text: its bytes are binary data of a kind that fallow can't read",
    "links_not_sweep.csv": ": no table of frequencies and levels was found in it: no lines hold numbers in two "
    "columns or more",
    "frequencies_without_levels.csv": ": it is no sweep that fallow can read (wide rows: fewer than five columns, "
    "which lower edge, upper edge, step and levels need; matrix: no row of rising frequencies stands above rows of "
    "levels; columns: no column holds levels)",
    "impossible_unit.csv": ": it is no sweep that fallow can read (wide rows: fewer than five columns, which lower "
    "edge, upper edge, step and levels need; matrix: no row of rising frequencies stands above rows of levels; "
    "columns: the file says MHz, and 470000000 to 471000000 MHz are no frequencies of a sweep)",
}

ASKED = {
    "unit_open.csv": "the file does not say the unit of its frequencies: in MHz: 0.5 MHz at -94.1 dB, 0.55 MHz at "
    "-92.9 dB (--unit MHz), or in GHz: 500 MHz at -94.1 dB, 550 MHz at -92.9 dB (--unit GHz)",
    "rows_counted.csv": "the only rising column counts rows, which may be no frequencies: 1 MHz at -94.1 dB, 2 MHz at "
    "-92.9 dB? If they are, say so with --unit",
}


def read(name: str, **telling: object) -> FileReading:
    return read_file(SWEEPS / name, Telling(**telling))  # type: ignore[arg-type]  # each test gives what it tells


def test_every_sample_is_spoken_of() -> None:
    assert {*READ, *REFUSED, *ASKED} == {path.name for path in SWEEPS.iterdir()}


@pytest.mark.parametrize("name", READ)
def test_how_a_good_file_is_understood(name: str) -> None:
    reading = read(name)
    assert reading.needs == ()
    understood = (
        reading.layout,
        reading.delimiter,
        reading.decimal,
        reading.level_unit,
        reading.sweeps,
        reading.points,
    )
    assert understood == READ[name]
    assert reading.low_hz == 470_000_000


@pytest.mark.parametrize("name", REFUSED)
def test_the_sentence_about_a_broken_file(name: str) -> None:
    with pytest.raises(InputError) as caught:
        read(name)
    assert str(caught.value) == f"{SWEEPS / name}{REFUSED[name]}"


@pytest.mark.parametrize("name", ASKED)
def test_the_question_about_an_open_file(name: str) -> None:
    reading = read(name)
    assert reading.needs == (ASKED[name],)
    assert reading.series == ()


def test_a_question_is_answered_by_telling() -> None:
    assert read("unit_open.csv", unit="GHz").low_hz == 500_000_000
    assert read("unit_open.csv", unit="MHz").low_hz == 500_000
    assert read("rows_counted.csv", unit="MHz").high_hz == 41_000_000


def test_what_the_preamble_says() -> None:
    reading = read("decimal_comma_semicolon.csv")
    assert (reading.rbw_hz, reading.detector) == (10_000.0, Detector.AVERAGE)
    assert (reading.start, reading.start_local) == (None, "2024-05-01T12:33:05")
    assert read("decimal_comma_semicolon.csv", zone="+02:00").start == "2024-05-01T10:33:05Z"
    told = read("decimal_comma_semicolon.csv", rbw_hz=3000.0, detector=Detector.PEAK)
    assert (told.rbw_hz, told.detector) == (3000.0, Detector.PEAK)


def test_traces_keep_their_names_and_detectors() -> None:
    series = read("three_traces.csv").series
    assert [part.trace for part in series] == ["Max Hold", "Average", "Min Hold"]
    assert [part.detector for part in series] == [Detector.MAX_HOLD, Detector.AVERAGE, Detector.MIN_HOLD]
    assert float(series[0].levels_db[0, 0] - series[2].levels_db[0, 0]) == pytest.approx(16.0, abs=1e-4)


def test_wide_rows_are_sorted_and_one_sweep_may_cross_a_second() -> None:
    reading = read("wide_rows_out_of_order.txt")
    series = reading.series[0]
    assert (reading.low_hz, reading.high_hz) == (470_000_000, 474_000_000)  # edges, as the rows state them
    assert series.axis.points_hz is None
    assert (series.axis.start_hz, series.axis.step_hz) == (470_050_000, 100_000)  # cells between the edges
    assert np.diff(series.times_s).tolist() == [1.0]
    assert not np.isnan(series.levels_db).any()


def test_a_short_wide_row_leaves_the_rest_not_measured() -> None:
    reading = read("wide_rows_too_short.txt")
    measured = ~np.isnan(reading.series[0].levels_db[0])
    assert np.flatnonzero(measured).tolist() == [*range(7), *range(50, 57), *range(100, 107)]
    assert "rows hold 7 levels where their edges and step make 50: the rest was not measured" in reading.notes


def test_gaps_stay_gaps() -> None:
    series = read("gaps_and_empty_levels.csv").series[0]
    assert np.flatnonzero(np.isnan(series.levels_db[0])).tolist() == [5, 6, 7]
    assert series.axis.covered_share(470_550_000, 470_700_000) == 0.0  # inside the hole of ten bins


def test_a_wrapped_level_is_no_quiet_spot() -> None:
    reading = read("wrapped_level.csv")
    assert np.flatnonzero(np.isnan(reading.series[0].levels_db[0])).tolist() == [17]
    assert any(note.startswith("1 level at 470.425 MHz (-199.5) rejected as not measured") for note in reading.notes)


def test_a_cut_line_is_kept_as_far_as_it_is_whole() -> None:
    reading = read("truncated_last_line.csv")
    assert np.flatnonzero(np.isnan(reading.series[0].levels_db[0])).tolist() == [40]
    assert any("cut off" in note for note in reading.notes)


def test_a_load_in_place_of_the_antenna_is_seen() -> None:
    assert read("antenna_none.csv").is_reference
    assert not read("three_traces.csv").is_reference


def test_levels_without_reference_are_relative_and_said_to_be() -> None:
    reading = read("level_first_falling.txt")
    assert reading.series[0].unit is LevelUnit.DB
    assert any("relative" in note for note in reading.notes)
    assert read("level_first_falling.txt", level_unit="dBm").series[0].unit is LevelUnit.DBM


def test_a_folder_is_one_survey_and_says_what_it_left_out() -> None:
    results = read_paths([SWEEPS])
    readings = [result for result in results if isinstance(result, FileReading)]
    refused = {Path(result.path).name for result in results if isinstance(result, FileRefusal)}
    assert {Path(reading.path).name for reading in readings} == {*READ, *ASKED}
    assert refused == set(REFUSED) - {"links_not_sweep.csv", "binary.dat"}
    assert any("binary.dat, links_not_sweep.csv" in note for note in readings[0].notes)
