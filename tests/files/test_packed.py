"""Archives, compressed files, Parquet and HDF5: the same sweeps as unpacked, no harm from bad ones. All invented."""

from __future__ import annotations

import gzip
import io
import json
import tarfile
import tempfile
import tracemalloc
import zipfile
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyarrow import parquet

from fallow.errors import InputError
from fallow.files import FileReading, FileRefusal, Telling, read_file, read_paths
from fallow.files import hdf5 as hdf5_module
from fallow.files import packed as packed_module
from written_sweeps import Style, columns, grid, noise

FREQUENCIES = grid("470.000", "0.025", 40)
LEVELS = noise(40, 1)[0]
TEXT = "\n".join(columns(Style(), FREQUENCIES, LEVELS, header=["Frequency (MHz)", "Level (dBm)"])) + "\n"


def zipped(path: Path, **members: bytes) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name.replace("__", "/").replace("_csv", ".csv").replace("_npy", ".npy"), content)
    return path


def npy(array: np.ndarray) -> bytes:
    out = io.BytesIO()
    np.save(out, array)
    return out.getvalue()


@pytest.fixture
def plain(tmp_path: Path) -> FileReading:
    path = tmp_path / "plain.csv"
    path.write_text(TEXT, encoding="utf-8")
    return read_file(path)


def same(reading: FileReading | FileRefusal, plain: FileReading) -> None:
    assert isinstance(reading, FileReading), str(reading.error)
    assert reading.series[0].axis == plain.series[0].axis
    np.testing.assert_array_equal(reading.series[0].levels_db, plain.series[0].levels_db)


def test_members_of_a_zip_are_read_and_named(tmp_path: Path, plain: FileReading) -> None:
    path = zipped(tmp_path / "survey.zip", hall_csv=TEXT.encode(), day__stage__deep_csv=TEXT.encode(), readme=b"words")
    first, second = read_paths([path])
    same(first, plain)
    same(second, plain)
    assert [first.path, second.path] == [f"{path}/day/stage/deep.csv", f"{path}/hall.csv"]
    assert isinstance(first, FileReading)
    assert first.series[0].source == first.path
    assert first.notes[-1] == "left out of survey as no sweeps: readme"
    with pytest.raises(InputError, match="it holds 2 files of sweeps"):
        read_file(path)


def test_one_compressed_file_keeps_its_name(tmp_path: Path, plain: FileReading) -> None:
    for name in ("sweep.csv.gz", "sweep.gz", "sweep", ".gz"):
        path = tmp_path / name
        path.write_bytes(gzip.compress(TEXT.encode()))
        reading = read_file(path)
        same(reading, plain)
        assert reading.path == str(path)


def test_tar_and_compressed_tar_and_what_is_compressed_in_a_zip(tmp_path: Path, plain: FileReading) -> None:
    raw = io.BytesIO()
    with tarfile.open(fileobj=raw, mode="w") as archive:
        member = tarfile.TarInfo("a/sweep.csv")
        member.size = len(TEXT)
        archive.addfile(member, io.BytesIO(TEXT.encode()))
        link = tarfile.TarInfo("a/link.csv")
        link.type, link.linkname = tarfile.SYMTYPE, "/etc/hostname"
        archive.addfile(link)
    (tmp_path / "x.tar").write_bytes(raw.getvalue())
    (tmp_path / "x.tgz").write_bytes(gzip.compress(raw.getvalue()))
    zipped(tmp_path / "x.zip", **{"sweep_csv.gz": gzip.compress(TEXT.encode())})
    for name, member_name in (("x.tar", "a/sweep.csv"), ("x.tgz", "a/sweep.csv"), ("x.zip", "sweep.csv.gz")):
        (reading,) = read_paths([tmp_path / name])
        same(reading, plain)
        assert reading.path == f"{tmp_path / name}/{member_name}"


def test_vectors_find_their_axis_within_the_archive(tmp_path: Path) -> None:
    path = zipped(
        tmp_path / "arrays.npz", freq_npy=npy(np.array(FREQUENCIES, float)), psd_npy=npy(np.array(LEVELS, float))
    )
    (reading,) = read_paths([path])
    assert isinstance(reading, FileReading)
    assert (reading.path, reading.points) == (f"{path}/psd.npy", 40)


def test_a_sigmf_archive(tmp_path: Path) -> None:
    meta = {"global": {"core:datatype": "ci8", "core:sample_rate": 1e6, "core:version": "1.2.0"},
            "captures": [{"core:sample_start": 0, "core:frequency": 6e8}], "annotations": []}  # fmt: skip
    samples = np.random.default_rng(1).integers(-99, 99, 40_000).astype(np.int8).tobytes()
    path = tmp_path / "rec.sigmf"
    with tarfile.open(path, "w") as archive:
        for name, content in (("rec/rec.sigmf-meta", json.dumps(meta).encode()), ("rec/rec.sigmf-data", samples)):
            member = tarfile.TarInfo(name)
            member.size = len(content)
            archive.addfile(member, io.BytesIO(content))
    (reading,) = read_paths([path])
    assert isinstance(reading, FileReading)
    assert (reading.layout, reading.low_hz, reading.path) == ("SigMF", 599_500_000, f"{path}/rec/rec.sigmf-meta")


def test_a_broken_member_is_named_and_its_line(tmp_path: Path) -> None:
    path = zipped(tmp_path / "s.zip", bad_csv=TEXT.replace("470.100,-", "470.100,x").encode(), good_csv=TEXT.encode())
    refusal, _ = read_paths([path])
    assert isinstance(refusal, FileRefusal)
    assert refusal.path == f"{path}/bad.csv"
    assert str(refusal.error).startswith(f"{path}/bad.csv, line 6")


@pytest.mark.parametrize("name", ["../../escaped.csv", "/escaped.csv", "C:\\escaped.csv", "..\\..\\escaped.csv"])
def test_names_choose_no_place_outside(tmp_path: Path, plain: FileReading, name: str) -> None:
    (tmp_path / "deep" / "er").mkdir(parents=True)
    path = tmp_path / "deep" / "er" / "s.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(name, TEXT)
    (reading,) = read_paths([path])
    same(reading, plain)
    assert not list(tmp_path.rglob("escaped.csv"))


def test_bombs_are_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        packed_module.Budget, "__init__", lambda self: self.__dict__.update(bytes_left=2**22, members_left=9)
    )
    (tmp_path / "b.csv.gz").write_bytes(gzip.compress(bytes(2**25)))
    zipped(tmp_path / "b.zip", zeros_csv=bytes(2**25))
    zipped(tmp_path / "many.zip", **{f"m{k}_csv": b"1" for k in range(30)})
    inner = zipped(tmp_path / "inner.zip", zeros_csv=bytes(2**21)).read_bytes()
    zipped(tmp_path / "nested.zip", **{f"n{k}.zip": inner for k in range(5)})
    tracemalloc.start()
    results = read_paths(sorted(tmp_path.glob("*.*")))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    said = [str(result.error) for result in results if isinstance(result, FileRefusal)]
    assert sum("MB come out of it" in text for text in said) >= 3
    assert sum("files come out of it" in text for text in said) >= 1
    assert peak < 2**25


def test_too_deep(tmp_path: Path) -> None:
    content = TEXT.encode()
    for _ in range(4):
        content = gzip.compress(content)
    (tmp_path / "s.gz").write_bytes(content)
    with pytest.raises(InputError, match="archives lie too deep"):
        read_file(tmp_path / "s.gz")


def test_a_lie_about_size_is_found_out(tmp_path: Path) -> None:
    path = zipped(tmp_path / "s.zip", sweep_csv=TEXT.encode())
    raw = bytearray(path.read_bytes())
    at = raw.rindex(b"PK\x01\x02")
    raw[at + 24 : at + 28] = (2**31).to_bytes(4, "little")  # uncompressed size in the central directory
    path.write_bytes(raw)
    (result,) = read_paths([path])
    assert isinstance(result, FileReading) or "damaged" in str(result.error)


def test_an_archive_that_points_outside_itself_is_damaged(tmp_path: Path) -> None:
    path = zipped(tmp_path / "survey.zip", hall_csv=TEXT.encode())
    content = bytearray(path.read_bytes())
    at = content.rindex(b"PK\x05\x06") + 16  # where the list of members begins (APPNOTE 4.3.16, from memory)
    content[at : at + 4] = b"\xff\xff\xff\x7f"
    path.write_bytes(content)
    (refusal,) = read_paths([path])
    assert isinstance(refusal, FileRefusal)
    assert refusal.error.what in (
        "the archive can't be unpacked (it is damaged)",
        "the archive is damaged or of a kind that can't be unpacked",
    )


def _seeds() -> list[tuple[str, bytes]]:
    table = pa.table({"frequency_mhz": [float(f) for f in FREQUENCIES], "level_dbm": [float(v) for v in LEVELS]})
    columns_of_it = pa.BufferOutputStream()
    parquet.write_table(table, columns_of_it)
    inner, outer = io.BytesIO(), io.BytesIO()
    for stream, name, content in ((inner, "hall.csv.gz", gzip.compress(TEXT.encode())), (outer, "day.zip", None)):
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(name, inner.getvalue() if content is None else content)
    return [("s.parquet", bytes(columns_of_it.getvalue())), ("s.zip", outer.getvalue())]


@settings(deadline=None, max_examples=60)
@given(st.sampled_from(_seeds()), st.lists(st.tuples(st.floats(0, 1), st.binary(max_size=6), st.integers(0, 9))))
def test_damaged_files_are_a_reading_or_a_sentence(
    seed: tuple[str, bytes], damage: list[tuple[float, bytes, int]]
) -> None:
    name, content = seed
    for share, piece, gone in damage:
        at = int(share * len(content))
        content = content[:at] + piece + content[at + gone :]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        for found in read_paths([path]):
            if isinstance(found, FileRefusal):
                assert "\n" not in str(found.error)
            else:
                assert found.needs or found.points == 40 or damage


def test_office_documents_and_locked_archives(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "plan.xlsx", "w") as archive:
        archive.writestr("[Content_Types].xml", "<x/>")
    with pytest.raises(InputError, match="office document: save what is in it as text"):
        read_file(tmp_path / "plan.xlsx")
    raw = bytearray(zipped(tmp_path / "s.zip", sweep_csv=TEXT.encode()).read_bytes())
    for signature, flags in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        raw[raw.index(signature) + flags] |= 1
    (tmp_path / "locked.zip").write_bytes(raw)
    with pytest.raises(InputError, match="locked with a password"):
        read_file(tmp_path / "locked.zip")


# --- columns ---


def test_a_long_table_as_parquet(tmp_path: Path, plain: FileReading) -> None:
    table = pa.table({"frequency_mhz": [float(f) for f in FREQUENCIES], "level_dbm": [float(v) for v in LEVELS]})
    parquet.write_table(table, tmp_path / "sweep.parquet")
    reading = read_file(tmp_path / "sweep.parquet")
    same(reading, plain)
    assert (reading.layout, reading.level_unit, reading.path) == (
        "Parquet, frequency and level columns",
        "dBm",
        str(tmp_path / "sweep.parquet"),
    )
    assert (reading.encoding, reading.delimiter) == (None, None)
    same(read_file(tmp_path / "sweep.parquet", Telling(samples="u8", rate_hz=1e6, centre_hz=1)), plain)


def test_a_wide_table_as_parquet_with_times_and_holes(tmp_path: Path) -> None:
    times = pa.array([1714557600 + k for k in range(3)], pa.timestamp("s", "UTC"))
    wide = {"time": times} | {f: [float(v), None, float(v) + 1] for f, v in zip(FREQUENCIES, LEVELS, strict=True)}
    parquet.write_table(pa.table({str(name): column for name, column in wide.items()}), tmp_path / "s.parquet")
    reading = read_file(tmp_path / "s.parquet")
    assert (reading.layout, reading.sweeps, reading.points) == ("Parquet, matrix", 3, 40)
    assert reading.start == "2024-05-01T10:00:00Z"
    assert np.isnan(reading.series[0].levels_db[1]).all()


def test_parquet_that_can_t_be_read(tmp_path: Path) -> None:
    parquet.write_table(pa.table({"f": [[1.0, 2.0]]}), tmp_path / "nested.parquet")
    with pytest.raises(InputError, match="its columns hold lists"):
        read_file(tmp_path / "nested.parquet")
    parquet.write_table(pa.table({"f": [1.0] * 500}), tmp_path / "cut.parquet")
    whole = (tmp_path / "cut.parquet").read_bytes()
    (tmp_path / "cut.parquet").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match="the Parquet file is damaged"):
        read_file(tmp_path / "cut.parquet")


def test_hdf5(tmp_path: Path) -> None:
    h5py = pytest.importorskip("h5py", reason="the extra hdf5 is not installed")
    with h5py.File(tmp_path / "s.h5", "w") as file:
        file["scan/frequency"] = np.array(FREQUENCIES, float)
        file["scan/frequency"].attrs["units"] = "MHz"
        file["scan/level"] = np.tile(np.array(LEVELS, float), (3, 1)) + np.arange(3)[:, None]
        file["scan/level"].attrs["units"] = "dBm"
        file["elsewhere"] = h5py.ExternalLink("other.h5", "x")
        file.create_dataset("huge", (2**40,), "f4", chunks=(1024,))
    (refusal,) = read_paths([tmp_path / "s.h5"])
    assert isinstance(refusal, FileRefusal)
    assert "more comes out of it than can be read" in str(refusal.error)
    with h5py.File(tmp_path / "s.h5", "a") as file:
        del file["huge"]
    (reading,) = read_paths([tmp_path / "s.h5"])
    assert isinstance(reading, FileReading)
    assert (reading.sweeps, reading.points, reading.level_unit, reading.low_hz) == (3, 40, "dBm", 470_000_000)
    (tmp_path / "s.h5").write_bytes((tmp_path / "s.h5").read_bytes()[:900])
    with pytest.raises(InputError, match="the HDF5 file is damaged"):
        read_file(tmp_path / "s.h5")


def written_hdf5(path: Path, **arrays: np.ndarray) -> Path:
    h5py = pytest.importorskip("h5py", reason="the extra hdf5 is not installed")
    with h5py.File(path, "w") as file:
        for name, array in arrays.items():
            file[name] = array
    return path


LOW_MHZ = np.linspace(0.5, 3.5, 40)  # could be gigahertz, if its name did not say
MORE_LEVELS = np.tile(np.array(LEVELS, float), (3, 1)) + np.arange(3)[:, None]


@pytest.mark.parametrize(
    ("axis", "level", "unit"),
    [("freq_mhz", "power_dbm", "dBm"), ("frequencyMHz", "levels_dBuV", "dBuV"), ("f_MHz", "powerDbm", "dBm")],
)
def test_units_in_the_names_of_hdf5_data(tmp_path: Path, axis: str, level: str, unit: str) -> None:
    shift = 107 if unit == "dBuV" else 0
    (reading,) = read_paths([written_hdf5(tmp_path / "s.h5", **{axis: LOW_MHZ, level: MORE_LEVELS + shift})])
    assert isinstance(reading, FileReading)
    assert (reading.level_unit, reading.low_hz, reading.high_hz) == (unit, 500_000, 3_500_000)
    assert not any("not stated" in note for note in reading.notes)


def test_each_array_of_an_hdf5_file_keeps_its_own_unit(tmp_path: Path) -> None:
    names = {"frequency_hz": LOW_MHZ * 1e6, "levels_dbm": MORE_LEVELS, "levels_dbuv": MORE_LEVELS + 106.99}
    first, second = read_paths([written_hdf5(tmp_path / "s.h5", **names)])
    assert isinstance(first, FileReading)
    assert isinstance(second, FileReading)
    assert (first.level_unit, second.level_unit) == ("dBm", "dBuV")
    np.testing.assert_allclose(first.series[0].levels_db, second.series[0].levels_db, atol=1e-3)


def test_units_that_groups_state_and_records_of_named_fields(tmp_path: Path) -> None:
    h5py = pytest.importorskip("h5py", reason="the extra hdf5 is not installed")
    with h5py.File(tmp_path / "s.h5", "w") as file:
        file.attrs["level_unit"] = np.bytes_("dBm")
        group = file.create_group("scan")
        group.attrs["Frequency Unit"] = "MHz"
        pairs = list(zip(LOW_MHZ, MORE_LEVELS[0], strict=True))
        group["points"] = np.array(pairs, dtype=[("f", "f8"), ("level", "f4")])
    (reading,) = read_paths([tmp_path / "s.h5"])
    assert isinstance(reading, FileReading)
    assert (reading.path, reading.level_unit) == (f"{tmp_path / 's.h5'}/scan points level.npy", "dBm")
    assert reading.high_hz == 3_500_000


def test_a_number_in_a_name_is_no_entry_of_the_times(tmp_path: Path) -> None:
    names = {"frequency_hz": LOW_MHZ * 1e6, "levels": MORE_LEVELS[0], "time_s": 1714557600.0 + np.arange(5)}
    (reading,) = read_paths([written_hdf5(tmp_path / "s.h5", **names)])
    assert isinstance(reading, FileReading)
    assert reading.start is None


def test_units_in_the_metadata_of_parquet(tmp_path: Path) -> None:
    megahertz, dbm = {"unit": "MHz"}, {"units": "dBm"}
    fields = [
        pa.field("frequency", pa.float64(), metadata=megahertz),
        pa.field("level", pa.float64(), metadata=dbm),
    ]
    values = [LOW_MHZ, MORE_LEVELS[0]]
    parquet.write_table(pa.table(values, schema=pa.schema(fields)), tmp_path / "own.parquet")
    general = pa.table({"frequency": LOW_MHZ, "level": MORE_LEVELS[0]}).replace_schema_metadata(
        {"level_unit": "dBm", "freq unit": "MHz"}
    )
    parquet.write_table(general, tmp_path / "general.parquet")
    for name in ("own", "general"):
        reading = read_file(tmp_path / f"{name}.parquet")
        assert (reading.level_unit, reading.high_hz) == ("dBm", 3_500_000)
        assert not any("not stated: assumed" in note for note in reading.notes)


def test_an_hdf5_library_that_hangs_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hdf5_module, "find_spec", lambda _: True)
    monkeypatch.setattr(hdf5_module, "_LONGEST_S", 0.2)
    monkeypatch.setattr(hdf5_module, "_CHILD", "while True: pass")
    (tmp_path / "s.h5").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(600))
    with pytest.raises(InputError, match="the HDF5 file is damaged, or of a kind that can't be read"):
        read_file(tmp_path / "s.h5")


def test_an_hdf5_library_that_asks_for_all_memory_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("resource", reason="this system does not bound the memory of a process")
    monkeypatch.setattr(hdf5_module, "find_spec", lambda _: True)
    greedy = """import sys
from fallow.files import hdf5
def greedy(*_):
    bytearray(2**33)
    sys.stdout.write('{"too_much": false, "said": {}}')
hdf5.lay_out_arrays = greedy
hdf5.lay_out_apart(*sys.argv[1:])"""
    monkeypatch.setattr(hdf5_module, "_CHILD", greedy)
    (tmp_path / "s.h5").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(600))
    with pytest.raises(InputError, match="the HDF5 file is damaged, or of a kind that can't be read"):
        read_file(tmp_path / "s.h5")


def test_without_the_extra_hdf5_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hdf5_module, "find_spec", lambda _: None)
    (tmp_path / "s.h5").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(600))
    with pytest.raises(InputError, match="needs the extra hdf5") as caught:
        read_file(tmp_path / "s.h5", Telling())
    assert "fallow[hdf5]" in (caught.value.hint or "")
