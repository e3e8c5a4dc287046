"""Small files that declare much: refused in a sentence before they take memory or time. All contents are invented."""

from __future__ import annotations

import random
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from fallow.errors import InputError
from fallow.files import read_file


def refused(path: Path, rows: list[str], match: str) -> None:
    """The file is refused in one sentence, and takes less than 200 MB on the way."""
    path.write_text("\n".join([*rows, ""]), encoding="ascii")
    tracemalloc.start()
    with pytest.raises(InputError, match=match):
        read_file(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 200e6


def test_wide_rows_whose_edges_and_step_declare_what_they_do_not_hold(tmp_path: Path) -> None:
    rows = [f"2024-05-01, 12:00:{k:02}, 100000000, 103000000, 1.0, 3, -90.1, -91.2, -92.{k % 9}" for k in range(60)]
    refused(tmp_path / "wide.csv", rows, "hold 180 levels on a grid with room for 180000000: nearly nothing")


def test_one_long_sweep_and_very_many_of_three_frequencies(tmp_path: Path) -> None:
    rows = [f"{470 + 0.025 * k:.3f},{-90 - k % 7}.5" for k in range(20_000)]
    short = [f"{mhz:.3f},-95.5" for mhz in (470.025, 471.0, 480.5)] * 4_000
    refused(tmp_path / "short.csv", ["MHz,dBm", *rows, *short], "hold 32000 levels on a grid with room for 80020000")


def test_few_levels_of_many_are_still_read(tmp_path: Path) -> None:
    rows = [f"2024-05-01, 12:00:{k:02}, 100000000, 100512000, 1000, 7" + ", -90.5" * 6 + f", -9{k}" for k in range(9)]
    path = tmp_path / "wide.csv"
    path.write_text("\n".join([*rows, ""]), encoding="ascii")
    (series,) = read_file(path).series
    assert series.levels_db.shape == (9, 512)
    assert np.count_nonzero(~np.isnan(series.levels_db)) == 9 * 7


@pytest.mark.parametrize("pieces", [300, 3_000])
def test_pieces_that_jump_to_and_fro_are_no_sweeps(tmp_path: Path, pieces: int) -> None:
    order = list(range(pieces))
    random.Random(1).shuffle(order)
    rows = [f"{400 + 0.025 * (4 * k + i):.3f},{-90 - (k + i) % 7}.5" for k in order for i in range(4)]
    refused(tmp_path / "shuffled.csv", ["MHz,dBm", *rows], "the frequencies jump to and fro")


def test_pieces_from_the_top_down_are_one_sweep_however_many(tmp_path: Path) -> None:
    rows = [f"{400 + 0.025 * (4 * k + i):.3f},{-90 - k % 7}.{i}" for k in reversed(range(4_000)) for i in range(4)]
    path = tmp_path / "downwards.csv"
    path.write_text("\n".join(["MHz,dBm", *rows, ""]), encoding="ascii")
    (series,) = read_file(path).series
    truth = [-float(f"{90 + k % 7}.{i}") for k in range(4_000) for i in range(4)]
    assert np.array_equal(series.levels_db, np.array([truth], dtype=np.float32))


def test_thousands_of_columns_take_seconds(tmp_path: Path) -> None:
    """Comparing each with each would take more than a minute."""
    columns = 10_000
    rows = [f"{470 + i}," + ",".join(f"-9{(k + i) % 7}" for k in range(columns)) for i in range(3)]
    path = tmp_path / "columns.csv"
    path.write_text("\n".join(["MHz," + ",".join(f"t{k}" for k in range(columns)), *rows, ""]), encoding="ascii")
    began = time.process_time()
    assert len(read_file(path).series) == columns
    assert time.process_time() - began < 30


def test_a_long_text_that_begins_with_a_start_is_put_aside(tmp_path: Path) -> None:
    began = time.process_time()
    words = ["lorem ipsum 12 dolor, sit; amet 3.5", "1 2 3 foo 4,5;6", "dolor: 12.5 sit"] * 20_000
    refused(tmp_path / "words.txt", ["start: 5 MHz", *words], "no table of frequencies and levels")
    assert time.process_time() - began < 30
