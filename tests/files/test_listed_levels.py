"""Levels listed below each other under their start and stop. Truth: what the tests write; the levels are invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fallow.errors import InputError
from fallow.files import read_file
from fallow.files.readings import FileReading, Telling
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
