"""Recordings of samples in files: SigMF, raw, WAV, vectors; what is asked, what is read, what is refused. All invented.

The fields of SigMF and their meaning: the SigMF specification 1.2 (sigmf.org). WAV: "Multimedia Programming Interface
and Data Specifications 1.0" (1991); RF64: EBU Tech 3306.
"""

from __future__ import annotations

import hashlib
import json
import struct
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.errors import FallowError, InputError, UsageError
from fallow.files import FileReading, FileRefusal, Telling, read_file, read_paths

RATE_HZ, CENTRE_HZ, TONE_HZ = 1_000_000, 600_000_000, 600_123_000
TOLD = Telling(samples="i16", rate_hz=RATE_HZ, centre_hz=CENTRE_HZ)


def pairs(count: int = 40_000, amplitude: float = 0.5, seed: int = 1) -> np.ndarray:
    """I and Q of a tone in noise, shape (sample, 2), full scale ±1."""
    turns = (TONE_HZ - CENTRE_HZ) / RATE_HZ * np.arange(count)
    tone = amplitude * np.stack([np.cos(2 * np.pi * turns), np.sin(2 * np.pi * turns)], axis=1)
    return tone + np.random.default_rng(seed).normal(0, 0.003, (count, 2))


def coded(values: np.ndarray, dtype: str) -> np.ndarray:
    kind = np.dtype(dtype)
    if kind.kind == "f":
        return values.astype(kind)
    half = 2.0 ** (8 * kind.itemsize - 1)
    codes = np.rint(values * (half - 1) + (half - 0.5 if kind.kind == "u" else 0.0))
    return codes.astype(kind)


def tone_of(reading: FileReading) -> tuple[float, float]:
    """Where the strongest bin stands in hertz, and its level in dB."""
    assert reading.needs == ()
    levels = np.nanmax(reading.series[0].levels_db, axis=0, initial=-300, where=~np.isnan(reading.series[0].levels_db))
    at = int(levels.argmax())
    return float(reading.series[0].axis.centres_hz[at]), float(levels[at])


def is_the_tone(reading: FileReading) -> None:
    where_hz, level_db = tone_of(reading)
    assert where_hz == pytest.approx(TONE_HZ, abs=RATE_HZ / 1024)
    assert level_db == pytest.approx(-6.02, abs=1.5)  # amplitude 0.5; up to 1.42 dB of scalloping


@pytest.mark.parametrize(
    ("samples", "dtype"),
    [
        ("u8", "u1"), ("i8", "i1"), ("u16", "<u2"), ("i16", "<i2"), ("i32", "<i4"), ("f32", "<f4"), ("f64", "<f8"),
        ("c64", "<f4"), ("c128", "<f8"), ("i16-be", ">i2"), ("f32-be", ">f4"), ("C64-BE", ">f4"), ("c128-be", ">f8"),
    ],
)  # fmt: skip
def test_raw_samples_of_every_type(tmp_path: Path, samples: str, dtype: str) -> None:
    path = tmp_path / "hall.iq"
    path.write_bytes(coded(pairs(), dtype).tobytes())
    reading = read_file(path, Telling(samples=samples, rate_hz=RATE_HZ, centre_hz=CENTRE_HZ))
    is_the_tone(reading)
    assert (reading.layout, reading.detector, reading.level_unit) == ("raw samples", "average", "dB")
    assert reading.rbw_hz == pytest.approx(1.5 * RATE_HZ / 1024)
    assert (reading.low_hz, reading.high_hz) == (599_500_000, 600_499_023)


@pytest.mark.parametrize(
    ("telling", "need"),
    [
        (
            Telling(),
            "the type, rate and centre frequency of the samples are not stated: say --samples, --rate and --centre",
        ),
        (Telling(samples="u8", rate_hz=1e6), "the centre frequency of the samples is not stated: say --centre"),
        (Telling(samples="u8", centre_hz=1), "the rate of the samples is not stated: say --rate"),
        (Telling(rate_hz=1e6, centre_hz=1), "the type of the samples is not stated: say --samples"),
    ],
)
def test_what_is_not_stated_is_asked_and_nothing_is_put_on_an_axis(tmp_path: Path, telling: Telling, need: str) -> None:
    path = tmp_path / "hall.cu8"
    path.write_bytes(coded(pairs(), "u1").tobytes())
    reading = read_file(path, telling)
    assert reading.needs == (need,)
    assert (reading.series, reading.low_hz, reading.high_hz, reading.points) == ((), None, None, 0)
    if telling.samples is None:
        assert "its name hints at samples of type u8" in reading.notes


def test_a_binary_file_of_any_name_is_read_when_told(tmp_path: Path) -> None:
    path = tmp_path / "capture.dat"
    path.write_bytes(coded(pairs(), "<i2").tobytes())
    is_the_tone(read_file(path, TOLD))
    with pytest.raises(InputError, match="no text"):
        read_file(path)


def test_text_stays_text_whatever_is_told_of_recordings(tmp_path: Path) -> None:
    lines = "\n".join(f"{470 + k / 40:.3f},{-90 - k % 7}" for k in range(50))
    for name in ("sweep.csv", "sweep.raw"):
        (tmp_path / name).write_text(lines, encoding="utf-8")
        assert read_file(tmp_path / name, TOLD).points == 50


@pytest.mark.parametrize("name", ["i24", "x", "f16", "", "c64-xe", "16"])
def test_types_that_are_none(tmp_path: Path, name: str) -> None:
    (tmp_path / "a.iq").write_bytes(bytes(4000))
    with pytest.raises(UsageError, match="is no type of samples"):
        read_file(tmp_path / "a.iq", Telling(samples=name, rate_hz=1e6, centre_hz=1))


def test_other_tellings_hold_for_recordings_too(tmp_path: Path) -> None:
    path = tmp_path / "a.iq"
    path.write_bytes(coded(pairs(), "<i2").tobytes())
    told = {"samples": "i16", "rate_hz": RATE_HZ, "centre_hz": CENTRE_HZ}
    finer = read_file(path, Telling(**told, rbw_hz=500.0))
    assert finer.rbw_hz == pytest.approx(500.0, rel=0.01)
    absolute = read_file(path, Telling(**told, level_unit="dBm"))
    assert (absolute.level_unit, absolute.series[0].unit) == ("dBm", "dBm")
    assert "full scale was taken as 0 dBm, as you said" in absolute.notes


def test_overload_and_silence(tmp_path: Path) -> None:
    path = tmp_path / "a.iq"
    path.write_bytes(coded(np.clip(pairs(amplitude=1.5), -1, 1), "<i2").tobytes())
    assert any("the receiver was overloaded" in note for note in read_file(path, TOLD).notes)
    path.write_bytes(bytes(100_000))
    with pytest.raises(InputError, match="its samples are all zero or no numbers"):
        read_file(path, TOLD)
    path.write_bytes(b"\x81" * 9)
    with pytest.raises(InputError, match="2 samples are too few for a sweep"):
        read_file(path, TOLD)


# --- SigMF ---


def sigmf(folder: Path, values: np.ndarray, dtype: str = "<i2", **changes: object) -> Path:
    """A pair; ``changes`` replace fields of ``global`` (``None`` removes one), captures and annotations."""
    data = coded(values, dtype).tobytes()
    captures = changes.pop("captures", [{"core:sample_start": 0, "core:frequency": float(CENTRE_HZ),
                                         "core:datetime": "2024-05-01T12:00:00.500Z"}])  # fmt: skip
    annotations = changes.pop("annotations", [])
    data = b"".join([bytes(changes.pop("before", 0)), data, bytes(changes.pop("after", 0))])  # type: ignore[call-overload] # counts
    fields = {"core:datatype": "ci16_le", "core:sample_rate": float(RATE_HZ), "core:version": "1.2.0",
              "core:sha512": hashlib.sha512(data).hexdigest()} | changes  # fmt: skip
    described = {"global": {name: value for name, value in fields.items() if value is not None},
                 "captures": captures, "annotations": annotations}  # fmt: skip
    (folder / "hall.sigmf-meta").write_text(json.dumps(described), encoding="utf-8")
    (folder / "hall.sigmf-data").write_bytes(data)
    return folder / "hall.sigmf-meta"


@pytest.mark.parametrize(
    ("datatype", "dtype"),
    [
        ("cf32_le", "<f4"), ("cf32_be", ">f4"), ("cf64_le", "<f8"), ("ci32_le", "<i4"), ("ci16_be", ">i2"),
        ("cu16_le", "<u2"), ("cu32_be", ">u4"), ("ci8", "i1"), ("cu8", "u1"),
    ],
)  # fmt: skip
def test_sigmf_of_every_datatype(tmp_path: Path, datatype: str, dtype: str) -> None:
    reading = read_file(sigmf(tmp_path, pairs(), dtype, **{"core:datatype": datatype}))
    is_the_tone(reading)
    assert reading.start == "2024-05-01T12:00:00.500Z"


@pytest.mark.parametrize(("datatype", "dtype"), [("rf32_le", "<f4"), ("ri16_be", ">i2"), ("ru8", "u1")])
def test_real_samples_are_read_when_taken_at_the_antenna_and_else_refused(
    tmp_path: Path, datatype: str, dtype: str
) -> None:
    values = np.cos(2 * np.pi * 0.123 * np.arange(40_000)) * 0.5
    fields = {"core:datatype": datatype}
    reading = read_file(
        sigmf(tmp_path, values, dtype, **fields, captures=[{"core:sample_start": 0, "core:frequency": 0}])
    )
    where_hz, level_db = tone_of(reading)
    assert where_hz == pytest.approx(123_000, abs=RATE_HZ / 1024)
    assert level_db == pytest.approx(-6.02, abs=1.5)
    assert (reading.low_hz, reading.high_hz) == (0, 499_023)
    asked = read_file(sigmf(tmp_path, values, dtype, **fields, captures=[{"core:sample_start": 0}]))
    assert asked.needs == ("the centre frequency of the samples is not stated: say --centre",)
    assert any("say --centre 0 if they were taken directly from the antenna" in note for note in asked.notes)
    assert read_file(tmp_path / "hall.sigmf-meta", Telling(centre_hz=0)).needs == ()
    with pytest.raises(InputError, match="real and not I and Q"):
        read_file(sigmf(tmp_path, values, dtype, **fields))


def test_annotations_and_damage_are_told(tmp_path: Path) -> None:
    notes = [{"core:sample_start": 0, "core:freq_lower_edge": 600.1e6, "core:freq_upper_edge": 600.15e6},
             {"core:sample_start": 5, "core:freq_lower_edge": 599.9e6, "core:freq_upper_edge": 600.0e6}]  # fmt: skip
    path = sigmf(tmp_path, pairs(), annotations=notes)
    said = read_file(path).notes
    assert "2 annotations, 599.900 to 600.150 MHz" in said
    assert not any("checksum" in note for note in said)
    raw = (tmp_path / "hall.sigmf-data").read_bytes()
    (tmp_path / "hall.sigmf-data").write_bytes(raw[:100_001])
    said = read_file(path).notes
    assert any("their checksum differs, core:sha512" in note for note in said)
    left_over = "1 byte behind the last whole sample (of 4 bytes): the file was cut, or core:datatype is wrong"
    assert left_over in said


def test_left_over_bytes_that_are_announced_are_no_damage(tmp_path: Path) -> None:
    announced = {"core:trailing_bytes": 2}
    assert not any(
        "behind the last" in note for note in read_file(sigmf(tmp_path, pairs(), after=2, **announced)).notes
    )
    said = read_file(sigmf(tmp_path, pairs(), after=5, **announced)).notes
    assert any(note.startswith("3 bytes, beyond those that core:trailing_bytes announces, behind") for note in said)


@pytest.mark.parametrize("stamp", ["yesterday", "2024-13-45T12:00:00Z", 17, "", "2024-05-01T25:00:00Z"])
def test_a_time_that_is_none_is_told(tmp_path: Path, stamp: object) -> None:
    captures = [{"core:sample_start": 0, "core:frequency": CENTRE_HZ, "core:datetime": stamp}]
    reading = read_file(sigmf(tmp_path, pairs(), captures=captures))
    told = f"core:datetime of capture 1, {str(stamp)!r}, is no time in ISO 8601: it was not used"
    assert told in reading.notes
    assert (reading.start, reading.needs) == (None, ())


def test_a_checksum_that_is_none_is_told(tmp_path: Path) -> None:
    for stated in ("abc", 12, "z" * 128):
        said = read_file(sigmf(tmp_path, pairs(), **{"core:sha512": stated})).notes
        assert "core:sha512 of its description is no checksum, so its samples were not held against it" in said


def test_where_a_description_breaks_off_is_told(tmp_path: Path) -> None:
    path = sigmf(tmp_path, pairs(4000))
    path.write_text('{\n  "global": {"core:datatype": "ci16_le",}\n}', encoding="utf-8")
    with pytest.raises(InputError, match="no whole JSON document") as caught:
        read_file(path)
    assert (caught.value.line, caught.value.column) == (2, 41)
    assert "Expecting" not in str(caught.value)


def test_header_and_trailing_bytes_are_no_samples(tmp_path: Path) -> None:
    captures = [{"core:sample_start": 0, "core:frequency": CENTRE_HZ, "core:header_bytes": 4001}]
    path = sigmf(tmp_path, pairs(), before=4001, after=77, captures=captures, **{"core:trailing_bytes": 77})
    is_the_tone(read_file(path))


def test_tunings_are_stitched_and_captures_of_one_tuning_follow_each_other(tmp_path: Path) -> None:
    captures = [{"core:sample_start": 10_000 * k, "core:frequency": CENTRE_HZ + 600_000 * (k % 2),
                 "core:datetime": f"2024-05-01T12:00:0{k}Z"} for k in range(4)]  # fmt: skip
    reading = read_file(sigmf(tmp_path, pairs(), captures=captures))
    series = reading.series[0]
    assert series.n_sweeps >= 2
    assert (reading.low_hz, reading.high_hz) == (599_500_000, pytest.approx(601_100_000, abs=2000))
    assert any("2 tunings stitched" in note for note in reading.notes)
    assert series.times_s is not None
    assert bool(np.all(np.diff(series.times_s) > 0))


def test_what_the_user_says_beats_the_description_and_that_is_said(tmp_path: Path) -> None:
    path = sigmf(tmp_path, pairs())
    reading = read_file(path, Telling(centre_hz=500_000_000, rate_hz=2_000_000))
    assert (reading.low_hz, reading.needs) == (499_000_000, ())
    assert "it states a centre of 600.000 MHz; yours was taken" in reading.notes
    assert any(note.startswith("it states 1000000 samples per second; you said 2000000") for note in reading.notes)


@pytest.mark.parametrize("missing", ["core:datatype", "core:sample_rate"])
def test_a_description_that_leaves_something_out_is_asked_about(tmp_path: Path, missing: str) -> None:
    path = sigmf(tmp_path, pairs(), **{missing: None})
    assert len(read_file(path).needs) == 1
    is_the_tone(read_file(path, TOLD))


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"core:datatype": "ci12_le"}, "'ci12_le' is no type of samples that SigMF knows"),
        ({"core:datatype": 7}, "7 is no type of samples that SigMF knows"),
        ({"core:num_channels": 2}, "it holds several channels in turn"),
        ({"core:sample_rate": "fast"}, "core:sample_rate is no number"),
        ({"core:sample_rate": -1}, "-1 is no number of samples per second"),
        ({"core:sample_rate": 1e300}, "1e+300 is no number of samples per second"),
        ({"core:dataset": "../../secret"}, "it names a file of samples that is not beside it"),
        ({"core:metadata_only": True}, "do not lie beside it"),
        ({"core:trailing_bytes": 10**30}, "it holds no whole sample"),
        ({"captures": [{"core:sample_start": 10**30, "core:frequency": 1}]}, "it holds no whole sample"),
        ({"captures": [{"core:sample_start": 0, "core:frequency": 1e300}]}, "no frequency of a receiver"),
        ({"captures": [{"core:sample_start": 9}, {"core:sample_start": 3}]}, "not in the order of their samples"),
        ({"captures": [{"core:sample_start": "0"}]}, "core:sample_start is no whole number"),
        ({"captures": {}}, "lacks its parts"),
    ],
)  # fmt: skip
def test_descriptions_that_can_t_be(tmp_path: Path, changes: dict[str, object], what: str) -> None:
    with pytest.raises(InputError) as caught:
        read_file(sigmf(tmp_path, pairs(4000), **changes))
    assert what in str(caught.value)


def test_half_a_pair(tmp_path: Path) -> None:
    path = sigmf(tmp_path, pairs(4000))
    data = path.with_suffix(".sigmf-data")
    is_single = read_paths([path, data])
    assert len(is_single) == 1
    path.rename(tmp_path / "kept")
    (refusal,) = read_paths([data])
    assert isinstance(refusal, FileRefusal)
    assert "its description hall.sigmf-meta does not lie beside it" in str(refusal.error)
    (tmp_path / "kept").rename(path)
    data.unlink()
    with pytest.raises(InputError, match=r"its samples hall\.sigmf-data do not lie beside it"):
        read_file(path)
    path.write_text("{", encoding="utf-8")
    with pytest.raises(InputError, match="the description is damaged"):
        read_file(path)


# --- WAV and vectors ---


def wav(
    values: np.ndarray, dtype: str, *, tag: int = 1, channels: int = 2, size: int | None = None, extra: bytes = b""
) -> bytes:
    kind = np.dtype(dtype)
    data = coded(values, dtype).tobytes()
    frame = channels * kind.itemsize
    form = struct.pack("<HHIIHH", tag, channels, RATE_HZ, RATE_HZ * frame, frame, 8 * kind.itemsize)
    chunks = b"fmt " + struct.pack("<I", 16) + form + extra
    chunks += b"data" + struct.pack("<I", len(data) if size is None else size) + data
    return b"RIFF" + struct.pack("<I", len(chunks) + 4) + b"WAVE" + chunks


@pytest.mark.parametrize(("dtype", "tag"), [("u1", 1), ("<i2", 1), ("<i4", 1), ("<f4", 3), ("<f8", 3)])
def test_wav(tmp_path: Path, dtype: str, tag: int) -> None:
    path = tmp_path / "hall.wav"
    path.write_bytes(wav(pairs(), dtype, tag=tag))
    asked = read_file(path)
    assert asked.needs == ("the centre frequency of the samples is not stated: say --centre",)
    assert "1000000 samples per second" in asked.notes
    is_the_tone(read_file(path, Telling(centre_hz=CENTRE_HZ)))


def test_wav_of_a_recorder_that_was_killed_and_of_64_bit_sizes(tmp_path: Path) -> None:
    path = tmp_path / "hall.wav"
    for size in (0, 0xFFFFFFFF, 2**31):
        path.write_bytes(wav(pairs(), "<i2", size=size, extra=b"auxi" + struct.pack("<I", 3) + b"abc\0"))
        reading = read_file(path, Telling(centre_hz=CENTRE_HZ))
        is_the_tone(reading)
        assert "what its chunks auxi say was not read: they have no open description" in reading.notes
    long = b"ds64" + struct.pack("<IQQQI", 28, 0, 160_000, 40_000, 0)
    path.write_bytes(b"RF64" + wav(pairs(), "<i2", size=0xFFFFFFFF, extra=long + b"")[4:])
    is_the_tone(read_file(path, Telling(centre_hz=CENTRE_HZ)))


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (wav(pairs(100)[:, 0], "<i2", channels=1), "it is a sound of 1 channels"),
        (wav(pairs(100), "<i2", tag=85), "its samples (16 bits, format 85) can't be read"),
        (wav(pairs(100), "<i2")[:30], "the WAV file is damaged"),
        (wav(pairs(0), "<i2"), "it holds no samples"),
    ],
)
def test_wav_that_is_no_recording(tmp_path: Path, content: bytes, what: str) -> None:
    (tmp_path / "a.wav").write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_file(tmp_path / "a.wav", Telling(centre_hz=CENTRE_HZ))
    assert what in str(caught.value)


@pytest.mark.parametrize("dtype", ["<c8", ">c8", "<c16", ">c16"])
def test_complex_vectors(tmp_path: Path, dtype: str) -> None:
    path = tmp_path / "hall.npy"
    np.save(path, (pairs()[:, 0] + 1j * pairs()[:, 1]).astype(dtype))
    assert read_file(path).needs == (
        "the rate and centre frequency of the samples are not stated: say --rate and --centre",
    )
    is_the_tone(read_file(path, Telling(rate_hz=RATE_HZ, centre_hz=CENTRE_HZ)))


# --- whatever the bytes ---

WAV = wav(pairs(300), "<i2")
META = json.dumps({"global": {"core:datatype": "ci8", "core:sample_rate": 1e6, "core:trailing_bytes": 3},
                   "captures": [{"core:sample_start": 0, "core:frequency": 6e8, "core:header_bytes": 2,
                                 "core:datetime": "2024-05-01T12:00:00Z"}],
                   "annotations": [{"core:freq_lower_edge": 1, "core:freq_upper_edge": 2}]}).encode()  # fmt: skip


@settings(max_examples=150)
@given(
    st.sampled_from([("a.wav", WAV), ("a.sigmf-meta", META), ("a.iq", b"\x80\x7f" * 200)]),
    st.lists(st.tuples(st.floats(0, 1), st.binary(max_size=4), st.integers(0, 5)), max_size=6),
    st.sampled_from([Telling(), TOLD, Telling(samples="c128-be", rate_hz=1e6, centre_hz=0, rbw_hz=9e3)]),
)
def test_damaged_recordings(seed: tuple[str, bytes], damage: list[tuple[float, bytes, int]], told: Telling) -> None:
    name, content = seed
    for place, piece, lost in damage:
        at = int(place * len(content))
        content = content[:at] + piece + content[at + lost :]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        path.with_suffix(".sigmf-data").write_bytes(bytes(range(256)) * 4)
        try:
            reading = read_file(path, told)
        except FallowError:
            return
    for series in reading.series:
        assert series.axis.n == series.levels_db.shape[1]
        assert not bool(np.isinf(series.levels_db).any())
