"""Tables in which two columns say where each cell begins and ends. Truth: what the tests write; all invented."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fallow.errors import InputError
from fallow.files import read_file
from fallow.files.readings import FileReading, Telling

FACTORS_HZ = {"Hz": 1, "kHz": 1_000, "MHz": 1_000_000}


def level(place: int) -> float:
    return -100.0 - place * 7 % 13 / 2


def written(path: Path, heading: str, edges: list[tuple[str, str]], mark: str = ",") -> FileReading:
    rows = [f"{low}{mark}{high}{mark}{level(k):.1f}" for k, (low, high) in enumerate(edges)]
    path.write_text("\n".join([heading, *rows, ""]), encoding="utf-8")
    return read_file(path)


def cells(count: int = 60, step: float = 0.025, width: float = 0.025) -> list[tuple[str, str]]:
    return [(f"{470 + k * step:.4f}", f"{470 + k * step + width:.4f}") for k in range(count)]


HEADINGS = (
    "start_mhz,stop_mhz,level_dbm",
    "f_low (MHz),f_high (MHz),power dBm",
    "from MHz,to MHz,dBm",
    "Frequenz von [MHz],Frequenz bis [MHz],Pegel [dBm]",
    "Fréquence début (MHz),Fréquence fin (MHz),Niveau (dBm)",
    "Frecuencia inicial MHz,Frecuencia final MHz,Nivel dBm",
    "Frequenza da MHz,Frequenza a MHz,Livello dBm",
    "frekvens från MHz,frekvens till MHz,nivå dBm",
    "開始周波数 MHz,終了周波数 MHz,レベル dBm",
    "start_mhz,stop,level_dbm",  # half of the headings is enough where the cells follow each other
)


@pytest.mark.parametrize("heading", HEADINGS)
def test_a_row_with_two_edges_is_read_in_their_middle(tmp_path: Path, heading: str) -> None:
    found = written(tmp_path / "sweep.csv", heading, cells())
    (series,) = found.series
    np.testing.assert_allclose(series.axis.centres_hz, 470_012_500 + 25_000 * np.arange(60), atol=0.5)
    assert series.levels_db[0].tolist() == [level(k) for k in range(60)]
    assert (series.rbw_hz, found.low_hz, found.high_hz, found.needs) == (25_000, 470_000_000, 471_500_000, ())
    assert (
        "each row is a cell from a lower to an upper edge: its frequency is the middle, and the resolution bandwidth "
        "is taken as its width, 25 kHz (--rbw says otherwise)"
    ) in found.notes


def test_a_told_or_stated_bandwidth_beats_the_width_of_the_cells(tmp_path: Path) -> None:
    path = tmp_path / "sweep.csv"
    written(path, "start_mhz,stop_mhz,level_dbm", cells())
    assert read_file(path, Telling(rbw_hz=3_000)).rbw_hz == 3_000
    stated = written(path, "RBW: 10 kHz\nstart_mhz,stop_mhz,level_dbm", cells())
    assert stated.rbw_hz == 10_000
    assert "each row is a cell from a lower to an upper edge: its frequency is the middle" in stated.notes


def test_cells_with_gaps_between_them_need_headings_that_say_so(tmp_path: Path) -> None:
    found = written(tmp_path / "sweep.csv", "start_mhz,stop_mhz,level_dbm", cells(width=0.01))
    assert found.rbw_hz == 10_000
    assert float(found.series[0].axis.centres_hz[0]) == 470_005_000
    assert float(found.series[0].axis.centres_hz[1]) == 470_030_000
    other = written(tmp_path / "other.csv", "frequency_mhz,mixer_mhz,level_dbm", cells(width=0.01))
    assert other.needs[0].endswith("leave only one column of frequencies in the file, of two edges the middle")


def test_the_middle_may_stand_between_the_edges(tmp_path: Path) -> None:
    path = tmp_path / "sweep.csv"
    rows = [f"{470 + k / 40:.4f},{470.0125 + k / 40:.4f},{470.025 + k / 40:.4f},{level(k)}" for k in range(50)]
    path.write_text("\n".join(["start_mhz,centre_mhz,stop_mhz,level_dbm", *rows, ""]), encoding="utf-8")
    found = read_file(path)
    assert float(found.series[0].axis.centres_hz[0]) == 470_012_500
    assert len(found.notes) == 1


def test_the_highest_level_is_no_upper_edge(tmp_path: Path) -> None:
    """In gigahertz every positive level lies above its frequency."""
    path = tmp_path / "sweep.csv"
    rows = [f"{0.47 + 0.000025 * k:.6f},{6 + k % 3},{11 + k % 5}" for k in range(50)]
    path.write_text("\n".join(["start_ghz,min_dbuv,max_dbuv", *rows, ""]), encoding="utf-8")
    found = read_file(path)
    assert float(found.series[0].axis.centres_hz[0]) == 470_000_000
    assert [series.trace for series in found.series] == ["min_dbuv", "max_dbuv"]


def test_levels_beside_two_edges_are_no_steps(tmp_path: Path) -> None:
    """Cells in hertz with positive levels might be taken for rows of several levels with a step."""
    path = tmp_path / "sweep.csv"
    rows = [
        f"{470_000_000 + 25_000 * k},{470_025_000 + 25_000 * k},{8 + k % 3},{11 + k % 3},{6 + k % 3}" for k in range(50)
    ]
    path.write_text("\n".join(["start Hz,stop Hz,level dBuV,peak dBuV,mean dBuV", *rows, ""]), encoding="utf-8")
    found = read_file(path)
    assert [series.trace for series in found.series] == ["level dBuV", "peak dBuV", "mean dBuV"]
    assert {series.axis.n for series in found.series} == {50}


def test_cells_that_overlap_or_differ_are_refused(tmp_path: Path) -> None:
    heading = "start_mhz,stop_mhz,level_dbm"
    with pytest.raises(InputError, match=r"cells 50 kHz wide that overlap: around 470.025 MHz and around 470.05 MHz"):
        written(tmp_path / "overlap.csv", heading, cells(width=0.05))
    mixed = [(low, f"{float(low) + (0.02 if k % 2 else 0.01):.4f}") for k, (low, _) in enumerate(cells())]
    with pytest.raises(InputError, match="the rows are cells of different widths"):
        written(tmp_path / "mixed.csv", heading, mixed)


def test_a_lone_cell_of_another_width_is_left_out_and_told(tmp_path: Path) -> None:
    edges = cells()
    found = written(tmp_path / "sweep.csv", "start_mhz,stop_mhz,level_dbm", [*edges[:-1], (edges[-1][0], "471.4900")])
    assert found.points == 59
    assert "1 row was left out: not 25 kHz wide like the other cells" in found.notes


def test_sweeps_below_each_other_keep_their_times(tmp_path: Path) -> None:
    path = tmp_path / "sweep.csv"
    rows = [
        f"2024-05-01T10:00:{s:02}Z,{low},{high},{level(k + s)}"
        for s in range(4)
        for k, (low, high) in enumerate(cells(30))
    ]
    path.write_text("\n".join(["time,start_mhz,stop_mhz,level_dbm", *rows, ""]), encoding="utf-8")
    found = read_file(path)
    assert (found.sweeps, found.points, found.start) == (4, 30, "2024-05-01T10:00:00Z")


def test_a_cut_last_line_costs_no_more_than_itself(tmp_path: Path) -> None:
    path = tmp_path / "sweep.csv"
    written(path, "start_mhz,stop_mhz,level_dbm", cells())
    whole = path.read_text(encoding="utf-8")
    for length in range(len(whole) - 26, len(whole)):
        path.write_text(whole[:length], encoding="utf-8")
        assert read_file(path).points in (59, 60)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    unit=st.sampled_from(sorted(FACTORS_HZ)),
    count=st.integers(12, 60),
    step_hz=st.integers(2_000, 400_000),
    start_khz=st.integers(470_000, 600_000),
    falling=st.booleans(),
    digits=st.integers(0, 3),
)
def test_middles_are_right_to_half_a_printed_digit(
    tmp_path: Path, unit: str, count: int, step_hz: int, start_khz: int, falling: bool, digits: int
) -> None:
    """However the edges are rounded: truth is the grid that they were rounded from."""
    grain_hz = next(grain for grain in (10**digits, 100, 10, 1) if 40 * grain <= step_hz)
    places = {"Hz": 0, "kHz": 3, "MHz": 6}[unit]
    true_hz = [start_khz * 1_000 + k * step_hz for k in range(count + 1)]
    said = [f"{round(hz / grain_hz) * grain_hz / FACTORS_HZ[unit]:.{places}f}" for hz in true_hz]
    edges = list(pairwise(said))
    found = written(tmp_path / "s.csv", f"start {unit},stop {unit},dBm", edges[::-1] if falling else edges)
    (series,) = found.series
    middles = (np.array(true_hz[:-1]) + np.array(true_hz[1:])) / 2
    assert series.axis.n == count
    assert np.abs(series.axis.centres_hz - middles).max() <= 1.5 * grain_hz + 0.5
    assert series.rbw_hz is not None
    assert abs(series.rbw_hz - step_hz) <= grain_hz
