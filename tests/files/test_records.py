"""Sweeps in JSON and in records with lengths: every shape that counts as one, what is asked, damage. All invented."""

from __future__ import annotations

import json
import tempfile
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.errors import FallowError, InputError
from fallow.files import FileReading, Telling, read_file

N = 12
FREQUENCIES = [470.0 + 0.025 * k for k in range(N)]
LEVELS = [-95.0 + (k * 7 % 5) for k in range(N)]
PAIRS = [list(pair) for pair in zip(FREQUENCIES, LEVELS, strict=True)]


def read(tmp_path: Path, document: object, telling: Telling | None = None) -> FileReading:
    path = tmp_path / "sweep.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
    return read_file(path, telling)


@pytest.mark.parametrize(
    "document",
    [
        PAIRS,
        {"data": PAIRS},
        {"meta": {"site": "hall"}, "sweeps": [{"points": PAIRS}]},
        list(reversed(PAIRS)),
        [{"freq": f, "level": v} for f, v in PAIRS],
        [{"frequency_mhz": f, "power_dbm": v, "id": k} for k, (f, v) in enumerate(PAIRS)],
        {"frequencies": FREQUENCIES, "levels": LEVELS},
        {"frequency": [f * 1e6 for f in FREQUENCIES], "power": LEVELS},
        {"freqs": FREQUENCIES, "sweeps": [{"levels": LEVELS}]},
        {"start": 470.0, "step": 0.025, "levels": LEVELS},
        {"start_hz": 470_000_000, "stop_hz": 470_275_000, "psd": LEVELS},
        {"freqStartMHz": 470.0, "freqStepMHz": 0.025, "levels": [LEVELS]},
        {"head": {"f_start": 469_987_500, "f_stop": 470_287_500, "f_step": 25_000}, "trace": {"levels": LEVELS}},
        "\n".join(json.dumps({"start": 470.0, "step": 0.025, "levels": LEVELS}) for _ in range(1)),
    ],
)
def test_every_shape_of_one_sweep(tmp_path: Path, document: object) -> None:
    reading = read(tmp_path, document)
    (series,) = reading.series
    assert (series.axis.start_hz, series.axis.step_hz, series.axis.n) == (470_000_000, 25_000, N)
    np.testing.assert_allclose(series.levels_db[0], LEVELS)
    assert (reading.layout, reading.sweeps, reading.needs) == ("JSON", 1, ())


def test_heads_say_unit_bandwidth_detector_and_time(tmp_path: Path) -> None:
    sweeps = [{"time": f"2024-05-01T12:00:0{k}Z", "levels": LEVELS} for k in range(3)]
    document = {"instrument": {"rbw_khz": 10, "detector": "RMS average"}, "level_unit": "dBm", "unit": "dBm",
                "start_mhz": 470, "step_mhz": 0.025, "sweeps": sweeps}  # fmt: skip
    reading = read(tmp_path, document)
    assert (reading.sweeps, reading.rbw_hz, reading.detector, reading.level_unit) == (3, 10e3, "average", "dBm")
    assert reading.start == "2024-05-01T12:00:00Z"
    told = read(tmp_path, document, Telling(rbw_hz=3e3, level_unit="dB"))
    assert (told.rbw_hz, told.level_unit) == (3e3, "dB")


def test_lines_of_json_are_sweeps_of_one_series(tmp_path: Path) -> None:
    lines = [json.dumps({"t": 1714557600 + k, "frequencies": FREQUENCIES, "levels": LEVELS}) for k in range(4)]
    reading = read(tmp_path, "\n".join(lines) + "\n")
    assert [series.n_sweeps for series in reading.series] == [4]
    assert reading.series[0].times_s is not None
    np.testing.assert_allclose(reading.series[0].times_s, 1714557600 + np.arange(4))
    with pytest.raises(InputError, match="line 3: the JSON is damaged"):
        read(tmp_path, "\n".join([*lines[:2], lines[2][:-3]]))


def test_nothing_is_not_measured(tmp_path: Path) -> None:
    levels = [None, *LEVELS[1:]]
    (series,) = read(tmp_path, {"frequencies": FREQUENCIES, "levels": levels}).series
    assert np.isnan(series.levels_db[0]).tolist() == [True] + [False] * (N - 1)


def test_records_on_several_grids_stay_apart(tmp_path: Path) -> None:
    records = [{"centre": 470 + k % 2, "gain": k, "data": [[f + 0.1 * (k % 2), v] for f, v in PAIRS]} for k in range(6)]
    reading = read(tmp_path, records)
    assert [series.n_sweeps for series in reading.series] == [3, 3]
    assert any("6 records on 2 grids" in note for note in reading.notes)
    assert any("its grids overlap" in note for note in reading.notes)
    assert any("its gain change" in note for note in reading.notes)


def test_an_open_unit_is_asked_and_can_be_told(tmp_path: Path) -> None:
    document = {"frequencies": [0.5 + 0.1 * k for k in range(N)], "levels": LEVELS}
    asked = read(tmp_path, document)
    assert asked.needs == ("the unit of the frequencies is open: MHz or GHz (say --unit)",)
    assert asked.series == ()
    told = read(tmp_path, document, Telling(unit="GHz"))
    assert told.series[0].axis.step_hz == Fraction(100_000_000)


def test_levels_are_never_taken_for_frequencies_nor_the_other_way(tmp_path: Path) -> None:
    rows = [[88.0 + 0.1 * k, -60.0 - k % 3, -61.0] for k in range(N)]  # FM numbers could pass for decibels
    reading = read(tmp_path, {"start": 88.0, "step": 0.1, "data": rows})
    assert all(series.axis.start_hz == 88_000_000 for series in reading.series)
    np.testing.assert_allclose(reading.series[0].levels_db[0], [row[1] for row in rows])


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ('{"frequencies": [470, 471', "line 1, column 26: the JSON is damaged or cut off here"),
        ("[" * 100_000, "the JSON is damaged"),
        ('{"a": ' + "9" * 5000 + "}", "the JSON is damaged: nested too deeply, or a number without end"),
        ('{"places": [[51.5, -0.1], [51.6, -0.2], [51.7, -0.3]]}', "no sweep was found in its JSON"),
        ('{"frequencies": [470, 480, 475], "levels": [-90, -91, -92]}', "no sweep was found in its JSON"),
        ("null", "no sweep was found in its JSON"),
    ],
)
def test_json_that_is_no_sweep(tmp_path: Path, text: str, what: str) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert what in str(caught.value)


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=5)
        | st.dictionaries(st.sampled_from(["frequency", "levels", "start", "step", "time", "unit", "rbw"]), inner)
    ),
    max_leaves=30,
)


@settings(max_examples=200)
@given(JSON, st.booleans())
def test_any_document(document: object, numbers: bool) -> None:
    if numbers:
        document = {"frequency": FREQUENCIES, "levels": LEVELS, "rest": document, "rbw": document, "time": document}
    with tempfile.TemporaryDirectory() as folder:
        try:
            reading = read(Path(folder), document)
        except FallowError:
            assert not numbers
            return
    for series in reading.series:
        assert series.axis.n == series.levels_db.shape[1]
        assert not bool(np.isinf(series.levels_db).any())


# --- records with lengths ---

HEAD = {"Type": "Data", "DataType": "Binary - int8", "ByteOrder": "N/A", "Compression": "None", "nM": -1,
        "t1": 1432171042,
        "mPar": {"fStart": 700_000_000.0, "fStop": 701_800_000.0, "n": 10, "Det": "Peak", "tm": 2.0}}  # fmt: skip
SPECTRA = (-90 + np.arange(40) % 7).astype(np.int8).reshape(4, 10)


def prefixed(*heads: dict[str, object], levels: bytes = SPECTRA.tobytes(), **changes: object) -> bytes:
    out = b""
    for head in heads or ({"Type": "Loc"}, {"Type": "Sys", "Antenna": {"g": 2.0}}, HEAD | changes):
        text = json.dumps(head).encode()
        out += str(len(text)).encode() + b"\r" + text
    return out + levels


def test_records_with_lengths(tmp_path: Path) -> None:
    path = tmp_path / "sensor.dat"
    path.write_bytes(prefixed())
    reading = read_file(path)
    (series,) = reading.series
    np.testing.assert_array_equal(series.levels_db, SPECTRA)
    assert (reading.low_hz, reading.high_hz, reading.detector) == (700_000_000, 701_800_000, "peak")
    assert (series.axis.start_hz, series.axis.step_hz) == (700_090_000, 180_000)
    assert series.times_s is not None
    np.testing.assert_allclose(series.times_s, 1432171042 + 2.0 * np.arange(4))
    assert "its heads state antenna 2 dB, which were not applied: a chain can say so" in reading.notes


@pytest.mark.parametrize(
    ("kind", "order", "dtype"),
    [("int16", "Little Endian", "<i2"), ("int16", "Network", ">i2"), ("float32", "Big Endian", ">f4")],
)
def test_other_types_of_levels(tmp_path: Path, kind: str, order: str, dtype: str) -> None:
    levels = SPECTRA.astype(dtype).tobytes()
    (tmp_path / "s.dat").write_bytes(prefixed(DataType=f"Binary - {kind}", ByteOrder=order, levels=levels))
    np.testing.assert_array_equal(read_file(tmp_path / "s.dat").series[0].levels_db, SPECTRA)


def test_a_cut_sweep_keeps_what_is_whole(tmp_path: Path) -> None:
    (tmp_path / "s.dat").write_bytes(prefixed()[:-3])
    reading = read_file(tmp_path / "s.dat")
    assert np.isnan(reading.series[0].levels_db).sum() == 3
    assert any("cut off" in note for note in reading.notes)


@pytest.mark.parametrize("start", ["x", float("nan"), float("inf"), True])
def test_a_start_that_is_no_frequency_is_a_sentence(tmp_path: Path, start: object) -> None:
    (tmp_path / "s.dat").write_bytes(prefixed(mPar=HEAD["mPar"] | {"fStart": start}))  # type: ignore[operator]  # a dict
    with pytest.raises(InputError, match="its heads do not say where the levels lie"):
        read_file(tmp_path / "s.dat")


def test_several_data_heads(tmp_path: Path) -> None:
    one = prefixed(HEAD | {"nM": 4})
    (tmp_path / "s.dat").write_bytes(one + one)
    assert [series.n_sweeps for series in read_file(tmp_path / "s.dat").series] == [4, 4]


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (prefixed({"Type": "Loc"}, levels=b""), "its records hold no levels"),
        (b"9999\r{}", "a record of 9999 bytes is announced and cut off"),
        (b"2\r{}oops", "at byte 4 there is no length of a record"),
        (b"3\r{}\n7\r{}", "a record of 7 bytes is announced and cut off"),
        (prefixed(DataType="ASCII"), "its levels are written as ascii, which can't be read"),
        (prefixed(Compression="Zip"), "which can't be read"),
        (prefixed(DataType="Binary - int16"), "its heads leave the order of the bytes open"),
        (prefixed(mPar={"n": 10}), "its heads do not say where the levels lie"),
        (prefixed(mPar=HEAD["mPar"] | {"n": 10**12}), "its heads state no number of levels in a sweep"),  # type: ignore[operator] # a dict
        (prefixed(nM="many"), "its heads state no number of sweeps"),
    ],
)
def test_records_that_can_t_be(tmp_path: Path, content: bytes, what: str) -> None:
    (tmp_path / "s.dat").write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_file(tmp_path / "s.dat")
    assert what in str(caught.value)


def test_declared_counts_allocate_nothing(tmp_path: Path) -> None:
    """A sweep of 800 million levels and a billion sweeps, in a file of a few hundred bytes."""
    import tracemalloc

    (tmp_path / "s.dat").write_bytes(prefixed(nM=10**9, mPar=HEAD["mPar"] | {"n": 800_000_000}))  # type: ignore[operator] # a dict
    tracemalloc.start()
    with pytest.raises(InputError):
        read_file(tmp_path / "s.dat")
    assert tracemalloc.get_traced_memory()[1] < 2**24
    tracemalloc.stop()


@settings(max_examples=150)
@given(st.lists(st.tuples(st.floats(0, 1), st.binary(max_size=4), st.integers(0, 5)), max_size=5))
def test_damaged_records(damage: list[tuple[float, bytes, int]]) -> None:
    content = prefixed()
    for place, piece, lost in damage:
        at = int(place * len(content))
        content = content[:at] + piece + content[at + lost :]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "s.dat"
        path.write_bytes(content)
        try:
            reading = read_file(path)
        except FallowError:
            return
    assert reading.needs or all(series.axis.n == series.levels_db.shape[1] for series in reading.series)
