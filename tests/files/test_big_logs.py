"""Big files are read in pieces: these give what the whole gives, in little more memory than the levels take."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pyarrow
import pytest

from fallow.files import npy, read_file, source
from fallow.files.readings import Telling

FREQUENCIES = 470e6 + 25e3 * np.arange(40)


def levels_of(sweeps: int, bins: int = 40) -> np.ndarray:
    """Noise as a program prints it."""
    noise = np.random.default_rng(6).normal(-100, 4, (sweeps, bins))
    return np.round(noise, 1).astype(np.float32)


def write_matrix(path: Path, levels: np.ndarray, *, falling: bool = False) -> Path:
    """A row per sweep below a row of frequencies."""
    order = slice(None, None, -1 if falling else 1)
    mhz = [f"{470 + 0.025 * place:.3f}" for place in range(levels.shape[1])]
    rows = ["time," + ",".join(mhz[order])]
    rows += [
        f"{1714560000 + k}," + ",".join(f"{level:.1f}" for level in sweep[order]) for k, sweep in enumerate(levels)
    ]
    path.write_text("\n".join(rows) + "\n", encoding="ascii")
    return path


def write_wide(path: Path, levels: np.ndarray, *, backwards: bool = False) -> Path:
    """Two rows per sweep, of half the frequencies each."""
    rows = []
    for k, sweep in enumerate(levels):
        halves = [
            f"2024-05-01, 12:{k // 60:02}:{k % 60:02}, {low}, {low + 500_000}, 25000.00, 20, "
            + ", ".join(f"{level:.1f}" for level in part)
            for low, part in ((470_000_000, sweep[:20]), (470_500_000, sweep[20:]))
        ]
        rows += halves[::-1] if backwards else halves
    path.write_text("\n".join(rows) + "\n", encoding="ascii")
    return path


def write_stacked(path: Path, levels: np.ndarray) -> Path:
    """Frequency and level, sweeps below each other."""
    rows = [f"{470 + 0.025 * place:.3f},{level:.1f}" for sweep in levels for place, level in enumerate(sweep)]
    path.write_text("MHz,dBm\n" + "\n".join(rows) + "\n", encoding="ascii")
    return path


@pytest.mark.parametrize("falling", [False, True])
def test_a_matrix_in_many_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, falling: bool) -> None:
    levels = levels_of(150)
    path = write_matrix(tmp_path / "log.csv", levels, falling=falling)
    monkeypatch.setattr(source, "BLOCK_BYTES", 3_000)
    (series,) = read_file(path).series
    assert np.array_equal(series.levels_db, levels)


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize("cut", [0, 1])
def test_wide_rows_in_many_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, backwards: bool, cut: int) -> None:
    levels = levels_of(90)
    path = write_wide(tmp_path / "log.csv", levels, backwards=backwards)
    if cut:
        rows = path.read_text(encoding="ascii").splitlines()[:-1]
        path.write_text("\n".join(rows) + "\n", encoding="ascii")
        levels[-1, slice(0, 20) if backwards else slice(20, 40)] = np.nan
    monkeypatch.setattr(source, "BLOCK_BYTES", 3_000)
    (series,) = read_file(path).series
    assert np.array_equal(series.levels_db, levels, equal_nan=True)


def test_stacked_sweeps_in_many_blocks_the_last_one_short(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    levels = levels_of(60)
    path = write_stacked(tmp_path / "log.csv", levels)
    rows = path.read_text(encoding="ascii").splitlines()[:-7]
    path.write_text("\n".join(rows) + "\n", encoding="ascii")
    levels[-1, -7:] = np.nan
    monkeypatch.setattr(source, "BLOCK_BYTES", 2_000)
    (series,) = read_file(path).series
    assert np.array_equal(series.levels_db, levels, equal_nan=True)


@pytest.mark.parametrize("kind", ["f4", "f8", ">f4", "i2"])
@pytest.mark.parametrize("order", ["C", "F"])
@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("falling", [False, True])
def test_vectors_in_many_pieces(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, order: str, turned: bool, falling: bool
) -> None:
    levels = np.round(levels_of(70))
    stored = levels[:, ::-1] if falling else levels
    np.save(tmp_path / "axis.npy", FREQUENCIES[::-1] if falling else FREQUENCIES)
    np.save(tmp_path / "levels.npy", np.asarray(stored.T if turned else stored, dtype=kind, order=order))
    monkeypatch.setattr(npy, "_AT_ONCE", 100)
    (series,) = read_file(tmp_path / "levels.npy").series
    assert np.array_equal(series.levels_db, levels)


def test_vectors_of_linear_power_in_many_pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    levels = levels_of(30)
    np.save(tmp_path / "axis.npy", FREQUENCIES)
    np.save(tmp_path / "levels.npy", 10 ** (levels.astype(np.float64) / 10))
    monkeypatch.setattr(npy, "_AT_ONCE", 100)
    (series,) = read_file(tmp_path / "levels.npy", Telling(level_unit="linear")).series
    assert np.allclose(series.levels_db, levels, atol=1e-4)


@pytest.mark.slow
def test_vectors_need_no_memory_beyond_their_levels(tmp_path: Path) -> None:
    levels = levels_of(50_000, 200)
    np.save(tmp_path / "axis.npy", 470e6 + 25e3 * np.arange(200))
    np.save(tmp_path / "levels.npy", levels)
    tracemalloc.start()
    (series,) = read_file(tmp_path / "levels.npy").series
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert np.array_equal(series.levels_db, levels)
    assert peak < 2.2 * levels.nbytes  # the rest is the sample that tells the scale, and one piece


def test_readings_that_are_taken_out_need_no_array_of_their_own(tmp_path: Path) -> None:
    """A quarter of a log holds -999 where nothing was measured, and one level wrapped round."""
    levels = levels_of(30_000)
    levels[::4] = -999.0
    levels[29_999, 7] = -180.0
    np.save(tmp_path / "frequency_hz.npy", FREQUENCIES)
    np.save(tmp_path / "levels_dbm.npy", levels)
    read_file(tmp_path / "levels_dbm.npy")  # once before: what is imported counts too
    tracemalloc.start()
    reading = read_file(tmp_path / "levels_dbm.npy")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    (series,) = reading.series
    wrong = (levels == -999.0) | (levels == -180.0)
    assert bool((np.isnan(series.levels_db) == wrong).all())
    assert f"{wrong.sum()} levels between 470.000 and 470.975 MHz (-999 to -180) rejected" in " ".join(reading.notes)
    assert peak < 40_000_000  # levels of 5 MB, pieces of at most 2,097,152 numbers in float64 and float32


def test_what_the_parsers_threads_hold_belongs_to_them_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A thread that lets go of an object of Python's while the interpreter ends takes the whole process down."""
    path = write_stacked(tmp_path / "log.csv", levels_of(200))
    opened, before = [], pyarrow.total_allocated_bytes()
    whole = pyarrow.BufferReader

    def reader_of(source: object) -> object:
        opened.append((isinstance(source, pyarrow.Buffer), pyarrow.total_allocated_bytes() - before))
        return whole(source)

    monkeypatch.setattr(pyarrow, "BufferReader", reader_of)
    read_file(path)
    assert opened
    assert all(is_arrows and held >= 0.9 * path.stat().st_size for is_arrows, held in opened)
