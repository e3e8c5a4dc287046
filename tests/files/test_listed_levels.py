"""Levels listed below each other under their start and stop. Truth: what the tests write; the levels are invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fallow.errors import InputError
from fallow.files import read_file
from fallow.files.readings import FileReading, NotASweepError, Telling
from fallow.spectrum.sweep import Detector, LevelUnit

COUNT = 60
LEVELS = [-100.0 - k * 7 % 13 / 2 for k in range(COUNT)]
RISING = 470_000_000 + 25_000 * np.arange(COUNT)


def listed(path: Path, heads: str, *, counted: str = "", comma: bool = False, first: int = 1) -> FileReading:
    rows = [f"{level:.1f}" for level in LEVELS]
    rows = [row.replace(".", ",") for row in rows] if comma else rows
    rows = [f"{first + k}{counted}{row}" for k, row in enumerate(rows)] if counted else rows
    path.write_text("\n".join([*heads.split("|"), *rows, ""]), encoding="utf-8")
    return read_file(path)


@pytest.mark.parametrize(
    ("heads", "how"),
    [
        ("Start Frequency: 470 MHz|Stop Frequency: 471.475 MHz|Level (dBm)", {}),
        ("# f_start = 470000000|# f_stop = 471475000|dBm", {}),
        ("Start;470000000|Stop;471475000|Points;60||Point;dBm", {"counted": ";"}),
        ("Start,470000000|Stop,471475000|Index,dBm", {"counted": ",", "first": 0}),
        ("Center Freq (MHz),470.7375|Span (MHz),1.475|Amplitude (dBm)", {}),
        ("Startfrequenz;470,000 MHz|Stoppfrequenz;471,475 MHz|Pegel [dBm]", {"comma": True}),
        ("start: 470 MHz|step: 25 kHz|level dBm", {}),
        ("Fréquence début: 470 MHz|Fréquence fin: 471,475 MHz|Niveau (dBm)", {"comma": True}),
        ("Start Time: 10:00:00|Start Freq|470 MHz|Start Frequency: 470 MHz|Stop Frequency: 471.475 MHz|dBm", {}),
    ],
)
def test_frequencies_follow_from_the_lines_above(tmp_path: Path, heads: str, how: dict[str, object]) -> None:
    found = listed(tmp_path / "trace.csv", heads, **how)  # type: ignore[arg-type]
    (series,) = found.series
    np.testing.assert_allclose(series.axis.centres_hz, RISING, atol=1.0)
    assert series.levels_db[0].tolist() == LEVELS
    assert (series.unit, found.needs) == (LevelUnit.DBM, ())
    assert "frequencies by what stands above the levels: 60 from 470.000 to 471.475 MHz" in found.notes


def test_bandwidth_detector_and_time_are_taken_from_above(tmp_path: Path) -> None:
    heads = "Start: 470 MHz|Stop: 471.475 MHz|RBW: 10 kHz|Trace: average|Date: 2024-05-17 10:00:00|dBm"
    found = listed(tmp_path / "trace.csv", heads)
    assert (found.rbw_hz, found.detector, found.start_local) == (10_000, Detector.AVERAGE, "2024-05-17T10:00:00")


def test_without_a_unit_it_is_assumed_and_told(tmp_path: Path) -> None:
    found = listed(tmp_path / "trace.csv", "Start: 470|Stop: 471.475|dBm")
    assert found.low_hz == 470_000_000
    assert "the unit of the frequencies is not stated: assumed to be MHz (--unit says otherwise)" in found.notes


def test_points_that_are_not_as_many_as_the_levels_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="it states 61 points, and 60 levels follow"):
        listed(tmp_path / "trace.csv", "Start: 470 MHz|Stop: 471.475 MHz|Points: 61|dBm")


@pytest.mark.parametrize(
    "heads",
    [
        "",
        "just words",
        "Start: 470|Stop: 471.475|values",
        "start time: 10:00|stop time: 11:00|dBm",
        "Start: 470 MHz|dBm",
        "Stop: 471 MHz|Span: 1 MHz|dBm",
    ],
)
def test_where_the_frequencies_are_not_said_nothing_is_read(tmp_path: Path, heads: str) -> None:
    with pytest.raises(InputError):
        listed(tmp_path / "trace.csv", heads)


def test_gaps_are_not_measured_and_told_options_count(tmp_path: Path) -> None:
    path = tmp_path / "trace.csv"
    listed(path, "Start: 470|Stop: 471.475|dBµV")
    path.write_text(path.read_text(encoding="utf-8").replace("-103.5\n", "---\n"), encoding="utf-8")
    found = read_file(path, Telling(unit="MHz", level_unit="dBm", rbw_hz=3_000))
    (series,) = found.series
    assert np.flatnonzero(np.isnan(series.levels_db[0])).tolist() == [k for k, x in enumerate(LEVELS) if x == -103.5]
    assert (series.unit, series.rbw_hz) == (LevelUnit.DBM, 3_000)


# --- how many levels there are ---

SPAN = "Start: 470 MHz|Stop: 471.475 MHz|dBm"
STEPPED = "Start: 470 MHz|Stop: 471.475 MHz|Step: 25 kHz|dBm"
COUNTED = "Start: 470 MHz|Stop: 471.475 MHz|Points: 60|dBm"
CARRIER = 40  # the level that stands out, at 471 MHz


def written(path: Path, heads: str, change: dict[int, str | None] | None = None, *, behind: str = "") -> FileReading:
    """A file with a carrier at 471 MHz, and some of its lines replaced, or left out where ``None``."""
    rows: list[str | None] = [f"{level:.1f}" for level in LEVELS]
    rows[CARRIER] = "-60.0"
    for row, text in (change or {}).items():
        rows[row] = text
    lines = [*heads.split("|"), *(row for row in rows if row is not None)]
    path.write_text("\n".join(lines) + "\n" + behind, encoding="utf-8")
    return read_file(path)


def carrier_hz(found: FileReading) -> int:
    (series,) = found.series
    return round(float(series.axis.centres_hz[int(np.nanargmax(series.levels_db[0]))]))


@pytest.mark.parametrize("heads", [SPAN, STEPPED, COUNTED])
@pytest.mark.parametrize("mark", ["OVR", "---", "", "nan", "-inf", "*", "over range"])
def test_a_line_that_stands_for_a_missing_level_keeps_its_place(tmp_path: Path, heads: str, mark: str) -> None:
    found = written(tmp_path / "trace.csv", heads, {20: mark, 50: mark})
    assert carrier_hz(found) == 471_000_000
    assert np.flatnonzero(np.isnan(found.series[0].levels_db[0])).tolist() == [20, 50]
    assert "2 of its levels are missing: not measured there" in found.notes


@pytest.mark.parametrize("heads", [SPAN, STEPPED, COUNTED, "Start: 470 MHz|Step: 25 kHz|dBm"])
@pytest.mark.parametrize("row", [3, 30, 57])
def test_an_unreadable_line_between_levels_is_refused_with_its_line(tmp_path: Path, heads: str, row: int) -> None:
    with pytest.raises(InputError, match="'# marker' stands between levels") as refused:
        written(tmp_path / "trace.csv", heads, {row: "# marker"})
    assert refused.value.line == len(heads.split("|")) + row + 1


@pytest.mark.parametrize("heads", [SPAN, STEPPED, COUNTED])
@pytest.mark.parametrize("whole", [57, 45, 41, 25])
def test_a_file_that_broke_off_is_never_stretched(tmp_path: Path, heads: str, whole: int) -> None:
    with pytest.raises(InputError, match=rf"{whole} (levels|follow)"):
        written(tmp_path / "trace.csv", heads, dict.fromkeys(range(whole, COUNT)))


def test_without_stop_nothing_is_stretched_and_that_is_told(tmp_path: Path) -> None:
    found = written(tmp_path / "trace.csv", "Start: 470 MHz|Step: 25 kHz|dBm", dict.fromkeys(range(50, COUNT)))
    assert (carrier_hz(found), found.points) == (471_000_000, 50)
    assert any("that none of its levels is missing can't be checked" in note for note in found.notes)


def test_the_step_that_follows_is_told(tmp_path: Path) -> None:
    found = written(tmp_path / "trace.csv", SPAN)
    assert "neither points nor step are stated: a step of 25 kHz follows from 60 levels" in found.notes
    assert not any("follows" in note for note in written(tmp_path / "trace.csv", COUNTED).notes)


def test_a_step_that_nobody_chooses_needs_the_points(tmp_path: Path) -> None:
    odd = "Start: 470 MHz|Stop: 471.234 MHz|dBm"
    with pytest.raises(InputError, match=r"20.9152542 kHz apart, which is no round number"):
        written(tmp_path / "trace.csv", odd)
    assert written(tmp_path / "trace.csv", odd.replace("|dBm", "|Points: 60|dBm")).points == COUNT


def test_start_stop_and_step_that_contradict_each_other_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"its start, stop and step make 30\.5 levels, and 60 follow"):
        written(tmp_path / "trace.csv", STEPPED.replace("25 kHz", "50 kHz"))
    with pytest.raises(InputError, match=r"make 30\.5 levels"):
        written(tmp_path / "trace.csv", COUNTED.replace("|dBm", "|Step: 50 kHz|dBm"))


def test_a_step_without_a_unit_is_no_step_in_hertz(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="its step is 25, and no unit stands with it"):
        written(tmp_path / "trace.csv", "Start: 470 MHz|Step: 25|dBm")


@pytest.mark.parametrize("heads", [SPAN, COUNTED])
def test_blank_lines_that_only_part_levels_are_none(tmp_path: Path, heads: str) -> None:
    every_other = {row: f"{LEVELS[row]:.1f}\n" for row in range(COUNT) if row != CARRIER} | {CARRIER: "-60.0\n"}
    for change in (every_other, {7: f"{LEVELS[7]:.1f}\n"}):
        found = written(tmp_path / "trace.csv", heads, change)
        assert (carrier_hz(found), found.points) == (471_000_000, COUNT)


def test_what_stands_below_the_levels_is_told(tmp_path: Path) -> None:
    found = written(tmp_path / "trace.csv", SPAN, behind="Peak: -60\nMean: -104\n")
    assert carrier_hz(found) == 471_000_000
    assert "what stands below the levels was not used: 'Peak: -60' in line 64" in found.notes
    with pytest.raises(InputError, match="which is no round number"):
        written(tmp_path / "trace.csv", SPAN, behind="\n2\n3\n")


def test_a_count_that_goes_wrong_is_refused_or_asked_about(tmp_path: Path) -> None:
    rows: dict[int, str | None] = {row: f"{row},{LEVELS[row]:.1f}" for row in range(COUNT)}
    assert written(tmp_path / "trace.csv", SPAN, rows).points == COUNT
    assert written(tmp_path / "trace.csv", SPAN, rows | {30: None}).needs  # a rising column may be frequencies


def test_a_count_that_goes_wrong_far_down_is_refused_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "trace.csv"
    rows = [f"{row},{LEVELS[row % COUNT]:.1f}" for row in range(601) if row != 550]
    path.write_text("\n".join(["Start: 470 MHz", "Stop: 485 MHz", "dBm", *rows, ""]), encoding="utf-8")
    with pytest.raises(InputError, match="its levels are counted, and 551 follows 549") as refused:
        read_file(path)
    assert refused.value.line == 554


@pytest.mark.parametrize("left", ["-1", "-10", "-101", "-101."])
def test_a_last_level_that_is_cut_off_is_not_measured(tmp_path: Path, left: str) -> None:
    path = tmp_path / "trace.csv"
    written(path, COUNTED, {COUNT - 1: "-101.5"})
    whole = path.read_text(encoding="utf-8")
    path.write_text(whole.rstrip("\n"), encoding="utf-8")
    assert read_file(path).series[0].levels_db[0, -1] == -101.5
    path.write_text(whole.removesuffix("-101.5\n") + left, encoding="utf-8")
    found = read_file(path)
    assert np.flatnonzero(np.isnan(found.series[0].levels_db[0])).tolist() == [COUNT - 1]
    assert "the last line is cut off: its level was not measured" in found.notes


@pytest.mark.parametrize("heads", [SPAN, COUNTED])
def test_a_level_with_another_decimal_mark_is_none(tmp_path: Path, heads: str) -> None:
    with pytest.raises(InputError, match="'1,2' stands between levels"):
        written(tmp_path / "trace.csv", heads, {30: "1,2"})


def test_one_level_too_few_for_the_stated_step_is_told(tmp_path: Path) -> None:
    note = "its levels are taken as cells between start and stop: as points, one of them would be missing"
    assert note in written(tmp_path / "trace.csv", STEPPED, {30: None}).notes
    assert note not in written(tmp_path / "trace.csv", STEPPED).notes


# --- several blocks, and other ways to write them ---


def test_every_block_of_a_file_is_read(tmp_path: Path) -> None:
    rows = "\n".join(f"{level:.1f}" for level in LEVELS)
    again = f"Start: 600 MHz\nStop: 601.475 MHz\ndBm\n{rows}\n"
    found = written(tmp_path / "trace.csv", "RBW: 10 kHz|" + SPAN, behind=again)
    assert [round(float(one.axis.centres_hz[0])) for one in found.series] == [470_000_000, 600_000_000]
    assert (found.sweeps, found.points, found.rbw_hz) == (2, 2 * COUNT, 10_000)
    assert "frequencies by what stands above the levels: 60 from 600.000 to 601.475 MHz" in found.notes


def test_blocks_on_one_grid_are_sweeps_of_one_series(tmp_path: Path) -> None:
    rows = "\n".join(f"{level:.1f}" for level in LEVELS)
    found = written(tmp_path / "trace.csv", COUNTED, behind="\n".join([*COUNTED.split("|"), rows, ""]))
    (series,) = found.series
    assert series.levels_db.shape == (2, COUNT)


def test_blocks_of_one_span_and_different_counts_contradict_each_other(tmp_path: Path) -> None:
    rows = "\n".join(f"{level:.1f}" for level in LEVELS[:30])
    with pytest.raises(InputError, match="30 levels stand from here on and 60 in the block above") as refused:
        written(tmp_path / "trace.csv", SPAN, behind="\n".join([*SPAN.split("|"), rows, ""]))
    assert refused.value.line is not None


@pytest.mark.parametrize("levels", [5, 45])
def test_a_block_that_can_not_be_read_is_refused_not_dropped(tmp_path: Path, levels: int) -> None:
    rows = "\n".join(f"{level:.1f}" for level in LEVELS[:levels])
    with pytest.raises(InputError) as refused:
        written(tmp_path / "trace.csv", SPAN, behind=f"Start: 600 MHz\nStop: 601.475 MHz\ndBm\n{rows}\n")
    assert refused.value.line == 67


def test_levels_with_their_unit_behind_each(tmp_path: Path) -> None:
    rows: dict[int, str | None] = {row: f"{level:.1f} dBm" for row, level in enumerate(LEVELS)}
    found = written(tmp_path / "trace.csv", "Start: 470 MHz|Stop: 471.475 MHz", rows)
    assert (found.series[0].unit, found.points) == (LevelUnit.DBM, COUNT)


def test_a_start_above_the_stop_lists_falling_frequencies(tmp_path: Path) -> None:
    found = written(tmp_path / "trace.csv", "Start: 471.475 MHz|Stop: 470 MHz|dBm")
    assert carrier_hz(found) == 471_475_000 - CARRIER * 25_000


def test_heads_may_stand_without_a_mark_between_word_and_number(tmp_path: Path) -> None:
    assert carrier_hz(written(tmp_path / "trace.csv", "Centre 470.7375 MHz|Span 1.475 MHz|dBm")) == 471_000_000


def test_numbers_that_no_unit_calls_levels_say_so(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="60 numbers stand in it under a start, and no unit says"):
        written(tmp_path / "trace.csv", "Start: 470|Stop: 471.475")
    path = tmp_path / "trace.csv"
    assert read_file(path, Telling(unit="MHz")).points == COUNT


def test_a_text_with_a_start_and_some_numbers_is_no_broken_sweep(tmp_path: Path) -> None:
    path = tmp_path / "diary.txt"
    path.write_text("Start: 470 MHz\n12\nthen we had a break\n14\nStop: 471 MHz\n", encoding="utf-8")
    with pytest.raises(NotASweepError):
        read_file(path)


# --- several levels in a line ---

HEADS = "Start: 470 MHz|Stop: 471.475 MHz"


def rows_of(width: int, delimiter: str, levels: list[float] = LEVELS) -> list[str]:
    return [delimiter.join(f"{x:.1f}" for x in levels[k : k + width]) for k in range(0, len(levels), width)]


def reading_of(path: Path, heads: str, rows: list[str], telling: Telling | None = None) -> FileReading:
    path.write_text("\n".join([*heads.split("|"), *rows, ""]), encoding="utf-8")
    return read_file(path, telling)


@pytest.mark.parametrize("width", [2, 3, 7, 10, 59, 60])
@pytest.mark.parametrize("delimiter", [",", ", ", ";", "\t", " ", "   "])
def test_rows_of_levels_are_what_the_same_levels_below_each_other_are(
    tmp_path: Path, width: int, delimiter: str
) -> None:
    found = reading_of(tmp_path / "rows.csv", f"{HEADS}|Level (dBm)", rows_of(width, delimiter))
    (series,), (plain,) = found.series, listed(tmp_path / "plain.csv", f"{HEADS}|Level (dBm)").series
    assert series.axis == plain.axis
    assert np.array_equal(series.levels_db, plain.levels_db)
    how = "one row" if width == 60 else f"rows of {width}"
    assert f"its levels stand one behind the other, in {how}" in found.notes


@pytest.mark.parametrize(
    ("heading", "counted", "names"),
    [
        ("level_dbm,max_dbm", False, ["level_dbm", "max_dbm"]),
        ("Average (dBm),Max (dBm)", False, ["Average", "Max"]),
        ("index,level_dbm,max_dbm", True, ["level_dbm", "max_dbm"]),
        ("", True, ["column 2", "column 3"]),
        ("Points: 60|dBm", False, ["column 1", "column 2"]),
    ],
)
def test_columns_of_levels_are_traces(tmp_path: Path, heading: str, counted: bool, names: list[str]) -> None:
    rows = [f"{level:.1f},{level + 6:.1f}" for level in LEVELS]
    rows = [f"{k},{row}" for k, row in enumerate(rows)] if counted else rows
    found = reading_of(tmp_path / "traces.csv", f"{HEADS}|{heading}" if heading else HEADS, rows)
    assert [series.trace for series in found.series] == names
    for series, above in zip(found.series, (0.0, 6.0), strict=True):
        assert np.array_equal(series.axis.centres_hz, RISING)
        assert series.levels_db[0].tolist() == [level + above for level in LEVELS]


def test_traces_of_two_blocks_are_two_sweeps_each(tmp_path: Path) -> None:
    rows = [f"{level:.1f};{level + 6:.1f}" for level in LEVELS]
    block = [*HEADS.split("|"), "average;max hold", *rows]
    found = reading_of(tmp_path / "traces.csv", "# twice", block + block)
    assert [(series.trace, series.n_sweeps) for series in found.series] == [("average", 2), ("max hold", 2)]
    assert [series.detector for series in found.series] == [Detector.AVERAGE, Detector.MAX_HOLD]


@pytest.mark.parametrize("points", [30, 60])
def test_how_many_there_must_be_tells_rows_from_columns(tmp_path: Path, points: int) -> None:
    found = reading_of(tmp_path / "two.csv", f"{HEADS}|Points: {points}|dBm", rows_of(2, ","))
    assert [series.axis.n for series in found.series] == ([60] if points == 60 else [30, 30])


def test_where_nothing_tells_traces_from_rows_it_is_asked(tmp_path: Path) -> None:
    two = [f"{level:.1f},{level + 6:.1f}" for level in LEVELS]
    with pytest.raises(InputError, match=r"60 rows of 2 levels each .* nothing says whether") as refused:
        reading_of(tmp_path / "two.csv", f"{HEADS}|dBm", two)
    assert refused.value.line == 4
    assert "'Points: 60'" in str(refused.value.hint)


@pytest.mark.parametrize("heads", ["average  max hold", "average max"])
def test_headings_parted_by_blanks_are_headings_where_each_names_a_trace(tmp_path: Path, heads: str) -> None:
    rows = [f"{level:.1f} {level + 6:.1f}" for level in LEVELS]
    if heads.endswith("hold"):  # three words above two columns: which belong together is a guess
        with pytest.raises(InputError, match="nothing says"):
            reading_of(tmp_path / "two.txt", f"{HEADS}|{heads}", rows)
    else:
        found = reading_of(tmp_path / "two.txt", f"{HEADS}|{heads}", rows)
        assert [series.detector for series in found.series] == [Detector.AVERAGE, Detector.MAX_HOLD]


# --- the end of the file ---


@pytest.mark.parametrize("heads", [COUNTED, STEPPED, SPAN])
@pytest.mark.parametrize(
    ("width", "lost"), [(width, lost) for width in (1, 7, 10, 60) for lost in range(1, 8 if width == 1 else 10)]
)
def test_whatever_was_cut_off_the_last_levels_no_other_one_moves(
    tmp_path: Path, heads: str, width: int, lost: int
) -> None:
    """Either the file is refused, or each level stands at its frequency, and one that lost digits is not measured."""
    path = tmp_path / "cut.csv"
    distinct = [-100.0 - k * 7 % COUNT / 8 for k in range(COUNT)]
    rows = [",".join(f"{level:.3f}" for level in distinct[k : k + width]) for k in range(0, COUNT, width)]
    path.write_text("\n".join([*heads.split("|"), *rows])[:-lost], encoding="utf-8")
    try:
        (series,) = read_file(path).series
    except InputError:
        assert lost >= len("-106.625")  # the whole level is gone
    else:
        assert np.array_equal(series.axis.centres_hz, RISING)
        assert np.isnan(series.levels_db[0, -1])
        assert series.levels_db[0, :-1].tolist() == distinct[:-1]


@pytest.mark.parametrize("cells", [0, 1, 3, 9, 11])
@pytest.mark.parametrize("row", [0, 2, 4])
def test_a_row_that_lost_levels_is_refused_with_its_line(tmp_path: Path, cells: int, row: int) -> None:
    rows = rows_of(10, ",")
    rows[row] = ",".join((rows[row].split(",") * 2)[:cells]) or "# no levels"
    with pytest.raises(InputError) as refused:
        reading_of(tmp_path / "rows.csv", f"{HEADS}|dBm", rows)
    assert refused.value.line == row + (5 if row == cells == 0 else 4)  # there no row is lost, and all are too few


def test_gaps_in_rows_keep_their_places(tmp_path: Path) -> None:
    rows = rows_of(10, ",")
    rows[1] = ",".join(["-101", "", "OVR", "---", "nan", *rows[1].split(",")[5:]])
    (series,) = reading_of(tmp_path / "rows.csv", f"{HEADS}|dBm", rows).series
    assert np.flatnonzero(np.isnan(series.levels_db[0])).tolist() == [11, 12, 13, 14]


def test_two_columns_or_one_with_decimal_commas(tmp_path: Path) -> None:
    rows = [f"{level + 140:.0f},{level + 146:.0f}" for level in LEVELS]
    heads = f"{HEADS}|level dBuV,max dBuV"
    with pytest.raises(InputError, match="'40,46' may be numbers with a decimal comma, or 2 numbers"):
        reading_of(tmp_path / "two.csv", heads, rows)
    assert len(reading_of(tmp_path / "two.csv", heads, rows, Telling(decimal=".")).series) == 2
    (series,) = reading_of(tmp_path / "two.csv", heads, rows, Telling(decimal=",", level_unit="dB")).series
    assert float(series.levels_db[0, 0]) == pytest.approx(40.46)


@pytest.mark.parametrize(
    ("heads", "why"),
    [
        ("# a list", "nothing above them says where they start and how far they go"),
        ("Start: 470 MHz|dBm", "above them stands a start, and neither a stop nor a step"),
        ("Start: 470 MHz|Stop: 470 MHz|dBm", "what stands above them makes no frequencies of them"),
    ],
)
def test_a_list_without_its_frequencies_is_refused_with_what_is_missing(tmp_path: Path, heads: str, why: str) -> None:
    with pytest.raises(NotASweepError, match=why) as refused:
        listed(tmp_path / "trace.csv", heads)
    assert refused.value.line == len(heads.split("|")) + 1
    assert "Start: 470 MHz" in str(refused.value.hint)


@pytest.mark.parametrize(
    "heads", ["Start,470000000|Stop,471475000|dBm", "Start,470|Stop,471.475|dBm", "Start,0.47 GHz|Stop,0.471475 GHz"]
)
def test_the_step_is_told_with_its_unit(tmp_path: Path, heads: str) -> None:
    found = listed(tmp_path / "trace.csv", heads)
    assert "neither points nor step are stated: a step of 25 kHz follows from 60 levels" in found.notes
