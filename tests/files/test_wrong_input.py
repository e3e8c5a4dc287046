"""Whatever the bytes: a reading, a question, or one sentence; never a traceback, a hang or a guess."""

from __future__ import annotations

import cProfile
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.errors import FallowError, InputError
from fallow.files import FileReading, FileRefusal, read_file, read_paths
from fallow.files.kinds import named_reference
from written_sweeps import Style, columns, grid, noise

FREQUENCIES = grid("470.000", "0.025", 12)
LEVELS, OTHERS = noise(12, 2)
SEEDS = (
    "\n".join(columns(Style(), FREQUENCIES, LEVELS, OTHERS, header=["Freq (MHz)", "Max", "Avg"])),
    "\n".join(columns(Style(";", ",", "."), FREQUENCIES, LEVELS)),
    "time," + ",".join(map(str, FREQUENCIES)) + "\n2024-05-01 12:00:00," + ",".join(map(str, LEVELS)) + "\n",
    "2024-05-01, 12:00:00, 470000000, 471000000, 100000.00, 20, " + ", ".join(map(str, LEVELS[:10])) + "\n",
    "RBW: 3 kHz\nDate: 01/02/2024\nZone: Mars/Phobos\nUnit: GHz\n" + "\n".join(columns(Style(), FREQUENCIES, LEVELS)),
    "start_mhz,stop_mhz,level_dbuv/m\n"
    + "\n".join(f"{470 + k * 0.025:.3f},{470.025 + k * 0.025:.3f},{-999 if k % 4 else 20 + k}" for k in range(12)),
    "frequency;psd (W/Hz)\n" + "\n".join(f"{470_000_000 + k * 25_000};{(k + 1) * 1e-15:.3e}" for k in range(12)),
    '{"scale": "linear", "start_mhz": 470, "step_khz": 25, "levels": [1e-9, 2e-9, 1e-12, 3e-9]}',
)
PIECES = (",", ";", ".", "-", "\n", "\r", '"', "\t", " ", "E9", "e999", "nan", "inf", "MHz", "0", "9" * 30, "\x00",
          "\u2212", "_", "#", "1e308", "2024-99-99", "99:99:99", "UTC+99", "time", "dBm", "dBµV/m", "lin", "start",
          "-999", "\u00a0", "\udcff")  # fmt: skip

BINARY = "the file is no text: its bytes are binary data of a kind that fallow can't read"
NO_SWEEP = "no sweep was found in its JSON: neither frequencies with levels, nor levels with a start and a step"


def outcome(data: bytes) -> str:
    """What becomes of bytes; raises nothing but what it must not."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sweep.csv"
        path.write_bytes(data)
        try:
            reading = read_file(path)
        except FallowError as error:
            return "refused" if str(error).count("\n") == 0 else "refused in more than one line"
    for series in reading.series:
        assert series.axis.n == series.levels_db.shape[1]
        assert bool(np.all(np.diff(series.axis.centres_hz) > 0))
        assert not bool(np.isinf(series.levels_db).any())
    return "asked" if reading.needs else "read"


@settings(max_examples=150)
@given(st.binary(max_size=400))
def test_any_bytes(data: bytes) -> None:
    assert outcome(data) in ("read", "asked", "refused")


@settings(max_examples=250)
@given(
    st.sampled_from(SEEDS),
    st.lists(st.tuples(st.floats(0, 1), st.sampled_from(PIECES), st.integers(0, 6)), max_size=12),
)
def test_sweeps_with_damage(seed: str, damage: list[tuple[float, str, int]]) -> None:
    text = seed
    for place, piece, lost in damage:
        at = int(place * len(text))
        text = text[:at] + piece + text[at + lost :]
    assert outcome(text.encode("utf-8", "surrogateescape")) in ("read", "asked", "refused")


@pytest.mark.parametrize(
    ("name", "data", "what"),
    [
        ("a.csv", b"", "the file is empty"),
        ("a.csv", b"\xef\xbb\xbf\r\n", "the file is empty"),
        ("a.csv", b"\x00\x01\x02" * 99, BINARY),
        ("a.txt", b"just some words about nothing\n", "there are no numbers in it"),
        ("a.zip", b"PK\x03\x04rest", "the archive is damaged or of a kind that can't be unpacked"),
        ("a.csv.gz", b"\x1f\x8b\x08rest", "the archive is damaged or of a kind that can't be unpacked"),
        ("a.csv.xz", b"\xfd7zXZrest", "it is compressed: unpack it first"),
        ("a.webp", b"RIFF....WEBP", "it is a film or a picture, no sweep"),
        ("a.wav", b"RIFF....WAVE", "the WAV file is damaged: it lacks its format or its data"),
        ("a.sigmf-data", b"\x80\x7f" * 50, "its description a.sigmf-meta does not lie beside it"),
        ("a.json", b'{"a": 1}', NO_SWEEP),
        ("a.txt", b"[[470.0, -95.0], [471.0, -96.0]]", NO_SWEEP),
        ("a.dat", b'221\r{"Ver": 1}', "a record of 221 bytes is announced and cut off"),
        ("a.png", b"\x89PNG\r\n\x1a\n", "it is a picture, no sweep"),
        ("a.xml", b"<sweep/>", "it is XML or a web page, no table of text"),
        ("a.parquet", b"PAR1rest", "the Parquet file is damaged, or of a kind that can't be read"),
    ],
)  # fmt: skip
def test_other_kinds_of_files_are_named(tmp_path: Path, name: str, data: bytes, what: str) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_file(tmp_path / name)
    assert str(caught.value) == f"{tmp_path / name}: {what}"


def test_missing_paths_and_folders(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such file"):
        read_file(tmp_path / "absent.csv")
    with pytest.raises(InputError, match="it is a folder, not a file"):
        read_file(tmp_path)
    missing, empty = read_paths([tmp_path / "absent.csv", tmp_path])
    assert isinstance(missing, FileRefusal)
    assert isinstance(empty, FileRefusal)
    assert str(empty.error) == f"{tmp_path}: the folder holds no sweeps (nothing)"


def test_a_folder_skips_what_is_for_people_and_reports_what_is_broken(tmp_path: Path) -> None:
    (tmp_path / "README.txt").write_text("words 1 2 3\n", encoding="utf-8")
    (tmp_path / "plot.png").write_bytes(b"\x89PNG")
    (tmp_path / "day 2").mkdir()
    good = "\n".join(columns(Style(), FREQUENCIES, LEVELS))
    (tmp_path / "day 2" / "good.csv").write_text(good, encoding="utf-8")
    (tmp_path / "bad.csv").write_text(good.replace("470.100,-", "470.100,x"), encoding="utf-8")
    refusal, reading = read_paths([tmp_path])
    assert isinstance(refusal, FileRefusal)
    assert refusal.error.line == 5
    assert isinstance(reading, FileReading)
    assert reading.notes[-1] == f"left out of {tmp_path.name} as no sweeps: README.txt, plot.png"


@pytest.mark.parametrize(
    ("name", "is_reference"),
    [
        ("ref_psd_arr_0.npy", True), ("reference.csv", True), ("load.csv", True), ("50ohm.csv", True),
        ("50-ohm_2.txt", True), ("hall terminated.csv", True), ("dummy load 1.csv", True), ("Referenz.csv", True),
        ("load/sweep.csv", True),
        ("load-in.csv", False), ("load_in_sweep.csv", False), ("payload.csv", False), ("prefix.csv", False),
        ("preferred.csv", False), ("stage.csv", False), ("references-hall/sweep.csv", False),
    ],
)  # fmt: skip
def test_what_a_reference_is_called(name: str, is_reference: bool) -> None:
    assert named_reference(Path(name)) is is_reference


@pytest.mark.parametrize("row", ["", "2024-05-01, 12:00:01, "])
def test_a_wide_row_of_one_cell_is_no_sweep(tmp_path: Path, row: str) -> None:
    path = tmp_path / "row.csv"
    path.write_text(f"{row}470000000, 471000000, 1000000.00, 1, -94.5\n", encoding="utf-8")
    with pytest.raises(InputError, match="a sweep of a single frequency is no sweep"):
        read_file(path)


def test_one_row_of_very_many_numbers_is_refused_soon(tmp_path: Path) -> None:
    # a row of 200,000 numbers took 10 s, most of it for questions that its first cells settle
    path = tmp_path / "row.csv"
    path.write_text(",".join(f"{-60 - k % 997 / 10:.2f}" for k in range(20_000)) + "\n", encoding="utf-8")
    profile = cProfile.Profile()
    with pytest.raises(InputError, match="no sweep that fallow can read"):
        profile.runcall(read_file, path)
    profile.create_stats()
    calls = sum(entry[1] for entry in profile.stats.values())  # type: ignore[attr-defined] # filled by create_stats
    assert calls < 60 * 20_000  # there were 107 for each number
