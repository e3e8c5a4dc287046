"""Real sweeps, with every trap that their README names. They lie outside the project and are skipped where they are
absent.

The expected values are those of that README (grids, counts, instants, wrapped readings), checked against the files by
hand.
"""

from __future__ import annotations

import json
import os
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import fallow
from fallow.files import FileReading, FileRefusal, Telling, read_file, read_paths

AIRDATA = Path(os.environ.get("FALLOW_AIRDATA") or Path(__file__).resolve().parents[2] / ".." / "shared" / "airdata")
pytestmark = pytest.mark.skipif(not AIRDATA.is_dir(), reason="the real sweeps are not here (set FALLOW_AIRDATA)")


@pytest.mark.parametrize(("name", "sweeps"), [("spectrum.csv", 158), ("spectrum2.csv", 267)])
def test_matrix_with_wrapped_readings(name: str, sweeps: int) -> None:
    reading = read_file(AIRDATA / "ism433-matrix" / name)
    series = reading.series[0]
    assert (reading.layout, reading.sweeps, reading.points) == ("matrix", sweeps, 50)
    assert (series.axis.start_hz, series.axis.step_hz) == (433_420_000, 20_000)
    assert (reading.start or "").startswith("2025-12-01T")
    carrier = round((433_640_000 - 433_420_000) / 20_000)
    rejected = np.isnan(series.levels_db)
    assert rejected.sum() == rejected[:, carrier].sum() > 0
    assert float(np.nanmin(series.levels_db)) > -80
    assert any("433.640 MHz (-143 to -142.5) rejected" in note for note in reading.notes)


def test_wide_rows_out_of_order_across_a_second() -> None:
    reading = read_file(AIRDATA / "sdr-wide-rows-0-6000" / "sweep.txt")
    assert (reading.layout, reading.sweeps, reading.points) == ("wide rows", 1, 6000)
    assert (reading.low_hz, reading.high_hz) == (0, 6_000_000_000)
    assert reading.start_local == "2020-06-26T14:57:57"
    series = reading.series[0]
    assert series.unit == "dB"
    assert not np.isnan(series.levels_db).any()
    assert float(series.levels_db[0, 0]) == pytest.approx(-8.30)
    assert float(series.levels_db[0, 5]) == pytest.approx(-55.66)  # third row of the file, 5 to 10 MHz


def test_tab_columns_with_a_fractional_step() -> None:
    reading = read_file(AIRDATA / "rtl-vhf-tab" / "1756357992-165531225.gp")
    assert (reading.delimiter, reading.points, reading.sweeps) == ("\t", 513, 1)
    axis = reading.series[0].axis
    assert (axis.start_hz, axis.step_hz) == (165_531_225, Fraction(168_328_649 - 165_531_225, 512))
    assert len(reading.series) == 2  # level, and its rolling mean


def test_wide_rows_cut_to_seven_values() -> None:
    reading = read_file(AIRDATA / "rtl-vhf-tab" / "8e778934-5283-4d3e-9641-ccd8b33893c1.csv")
    series = reading.series[0]
    assert int(np.count_nonzero(~np.isnan(series.levels_db))) == 3 * 7
    assert (reading.low_hz, reading.high_hz) == (117_975_000, 126_367_274)
    assert "rows hold 7 levels where their edges and step make 512: the rest was not measured" in reading.notes


def test_vectors_with_a_reference_and_a_pickle() -> None:
    results = read_paths([AIRDATA / "wideband-300-3000"])
    readings = {Path(result.path).name: result for result in results if isinstance(result, FileReading)}
    assert set(readings) == {f"psd_arr_{k}.npy" for k in range(4)} | {"ref_psd_arr_0.npy"}
    assert len(readings) == len(results)
    assert [name for name, reading in readings.items() if reading.is_reference] == ["ref_psd_arr_0.npy"]
    for reading in readings.values():
        assert (reading.level_unit, reading.points) == ("linear", 180_001)
        assert (reading.series[0].axis.start_hz, reading.series[0].axis.step_hz) == (300_000_000, 15_000)
        assert any("read as linear power" in note and "relative" in note for note in reading.notes)
        assert (reading.start, reading.start_local) == (None, None)  # times that only unpickling could read
        assert any("datetime_arr.npy was not read" in note for note in reading.notes)
    assert float(np.median(readings["psd_arr_0.npy"].series[0].levels_db)) == pytest.approx(-49, abs=2)


def test_the_load_beside_the_sweeps_is_not_taken_for_the_air() -> None:
    survey = fallow.open_sweeps(AIRDATA / "wideband-300-3000")
    assert [Path(series.source).name for series in survey.series] == [f"psd_arr_{k}.npy" for k in range(4)]
    assert any("ref_psd_arr_0.npy" in note and "not taken for the air" in note for note in survey.notes)


def test_bursts_without_an_annotation_are_there_too() -> None:
    """The annotations list what was decoded, not all that was sent."""
    path = AIRDATA / "nbiot-832-sigmf" / "V16-beacon-NB-IoT-uplink.sigmf-meta"
    (series,) = read_file(path).series
    assert series.times_s is not None
    offsets_s = series.times_s - series.times_s[0]
    inside = (series.axis.centres_hz > 832.22e6) & (series.axis.centres_hz < 832.42e6)
    on = np.nanmax(series.levels_db[:, inside], axis=1) > float(np.nanmedian(series.levels_db)) + 20
    said = json.loads(path.read_text(encoding="utf-8"))["annotations"]
    spans = [(one["core:sample_start"] / 640e3, one["core:sample_count"] / 640e3) for one in said]
    told = np.any([(offsets_s + 0.0096 > first) & (offsets_s < first + length) for first, length in spans], axis=0)
    assert 0 < np.count_nonzero(on & ~told) < np.count_nonzero(on)


def test_of_the_whole_folder_only_the_raw_recording_is_asked_about() -> None:
    results = read_paths([AIRDATA], Telling())
    asked = [result for result in results if isinstance(result, FileReading) and result.needs]
    assert [Path(result.path).name for result in asked] == ["modes1.bin"]
    assert sum(isinstance(result, FileReading) for result in results) == 16
    assert not any(isinstance(result, FileRefusal) for result in results)
