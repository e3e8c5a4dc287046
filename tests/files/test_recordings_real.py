"""Real recordings and records, held against what their README states. They lie outside the project.

Expected values: the README beside them (samples, rate, centre, runs of activity), and the annotations that the author
of the narrow-band recording put beside it.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from fallow.files import FileReading, Telling, read_file, read_paths


def test_bursts_of_a_beacon_are_where_its_annotations_say(airdata: Path) -> None:
    path = airdata / "nbiot-832-sigmf" / "V16-beacon-NB-IoT-uplink.sigmf-meta"
    reading = read_file(path)
    (series,) = reading.series
    assert (reading.layout, reading.start, reading.detector) == ("SigMF", "2025-11-15T17:34:32.232Z", "average")
    assert reading.rbw_hz == pytest.approx(1.5 * 640_000 / 1024)
    assert "19 annotations, 832.220846 to 832.415846 MHz" in reading.notes
    assert not any("checksum" in note for note in reading.notes)  # SHA-512 agrees with the metadata
    assert series.times_s is not None
    offsets_s = series.times_s - series.times_s[0]
    floor_db = np.nanmedian(series.levels_db)
    annotations = json.loads(path.read_text(encoding="utf-8"))["annotations"]
    for said in annotations:
        first_s = said["core:sample_start"] / 640_000
        last_s = first_s + said["core:sample_count"] / 640_000
        sweeps = (offsets_s + 0.0096 > first_s) & (offsets_s < last_s)
        centre_hz = (said["core:freq_lower_edge"] + said["core:freq_upper_edge"]) / 2
        inside = np.abs(series.axis.centres_hz - centre_hz) < 15_000
        assert float(np.nanmax(np.nanmedian(series.levels_db[sweeps][:, inside], axis=1))) > floor_db + 20, said


def test_most_of_the_power_lies_between_832_22_and_832_42_mhz(airdata: Path) -> None:
    (series,) = read_file(airdata / "nbiot-832-sigmf" / "V16-beacon-NB-IoT-uplink.sigmf-data").series
    power = np.nansum(10 ** (series.levels_db.astype(float) / 10), axis=0)
    within = (series.axis.centres_hz > 832.22e6) & (series.axis.centres_hz < 832.42e6)
    assert power[within].sum() > 0.99 * power.sum()


def test_description_and_samples_together_are_one_recording(airdata: Path) -> None:
    folder = airdata / "nbiot-832-sigmf"
    for paths in ([folder], sorted(folder.iterdir())):
        assert [Path(result.path).suffix for result in read_paths(paths)] == [".sigmf-meta"]


def test_a_recording_without_a_word_is_asked_about_and_read_when_told(airdata: Path) -> None:
    path = airdata / "iq-1090-raw" / "modes1.bin"
    asked = read_file(path)
    assert asked.series == ()
    assert asked.needs == (
        "the type, rate and centre frequency of the samples are not stated: say --samples, --rate and --centre",
    )
    reading = read_file(path, Telling(samples="u8", rate_hz=2e6, centre_hz=1_090_000_000))
    (series,) = reading.series
    assert (reading.needs, series.n_sweeps) == ((), 17)
    assert series.rbw_hz == pytest.approx(1.5 * 2e6 / 1024)
    power = 10 ** (series.levels_db.astype(float) / 10)
    near = np.abs(series.axis.centres_hz - 1_090e6) < 0.4e6  # transponders answer at 1090 MHz
    assert np.nanmean(power[:, near]) > 2 * np.nanmean(power[:, ~near])
    assert any("overloaded" in note for note in reading.notes)


def test_phones_are_on_24_percent_of_the_seconds_in_89_runs(airdata: Path) -> None:
    reading = read_file(airdata / "lte-uplink-704-714" / "LTE_UL_bc17_ts1012_stream_peak1s.dat")
    (series,) = reading.series
    assert series.levels_db.shape == (4882, 56)
    assert (reading.low_hz, reading.high_hz, reading.detector, reading.level_unit) == (
        703_970_000, 714_050_000, "peak", "dBm",
    )  # fmt: skip
    assert (series.axis.start_hz, series.axis.step_hz) == (704_060_000, 180_000)
    assert series.times_s is not None
    assert (series.times_s[0], series.times_s[-1]) == (1432171042, 1432171042 + 4881)
    active = np.count_nonzero(series.levels_db > -68, axis=1) >= 3
    assert round(float(active.mean()), 3) == 0.240
    assert int(np.count_nonzero(np.diff(np.concatenate(([0], active.astype(int)))) == 1)) == 89
    levels_1_on = np.median(series.levels_db, axis=0)
    assert int(levels_1_on.argmax()) + 1 == 34  # the receiver's own line


def test_records_of_a_card_are_no_sweep_of_the_band(airdata: Path) -> None:
    folder = airdata / "wifi-card-json"
    reading = read_file(folder / "ar9390_analog_camera_ch1.dump.json")
    assert (len(reading.series), reading.sweeps, reading.level_unit) == (32, 256, "dB")
    assert all(series.levels_db.shape == (8, 56) for series in reading.series)
    assert any("its grids overlap" in note for note in reading.notes)
    assert any("change from record to record" in note for note in reading.notes)
    strongest = max(
        (series for series in reading.series if series.axis.low_hz < 2_420e6),
        key=lambda one: float(one.levels_db.max()),
    )
    carrier_hz = strongest.axis.centres_hz[np.median(strongest.levels_db, axis=0).argmax()]
    assert carrier_hz == pytest.approx(2_414e6, abs=3e6)  # the camera's channel 1
    other = read_file(folder / "ath10k_80mhz.dump.json")
    assert sorted(series.levels_db.shape for series in other.series) == [(8, 128), (8, 256)]


def test_one_sweep_as_json_is_the_same_as_its_text(airdata: Path) -> None:
    folder = airdata / "rtl-vhf-tab"
    document, text = (read_file(folder / f"1756357992-165531225.{ending}") for ending in ("json", "gp"))
    assert document.start == "2025-08-28T05:13:12Z"
    assert document.series[0].axis == text.series[0].axis
    np.testing.assert_array_equal(document.series[0].levels_db, text.series[0].levels_db)
    assert isinstance(document, FileReading)
    assert document.needs == ()
