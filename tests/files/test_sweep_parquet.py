"""Sweeps as fallow exports them, and damaged files of that kind. The contents are made up here."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fallow.errors import InputError
from fallow.files.sweep_parquet import SweepFile, write_sweeps
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import LevelUnit, Series

HEAD = Series(Axis.regular(470_000_000, 25_000, 41), np.empty((0, 41), np.float32), LevelUnit.DBM, np.empty(0), True)
LEVELS = np.linspace(-110, -60, 82, dtype=np.float32).reshape(2, 41)


def exported(path: Path) -> Path:
    write_sweeps(path, HEAD, [(np.array([1.7e9, np.nan]), LEVELS)])
    return path


def test_what_was_exported_comes_back(tmp_path: Path) -> None:
    file = SweepFile(exported(tmp_path / "sweeps.parquet"))
    ((times_s, levels_db),) = file.blocks()
    assert file.head.axis == HEAD.axis
    assert np.array_equal(times_s, [1.7e9, np.nan], equal_nan=True)
    assert np.array_equal(levels_db, LEVELS)


def test_a_footer_that_nests_without_end_is_refused_on_one_line(tmp_path: Path) -> None:
    """What the library says of it ends with a new line; a search for files that break readers found it."""
    path = tmp_path / "sweeps.parquet"
    footer = b"\x1c" * 600  # a structure that begins with a structure, and so on (Thrift compact protocol, type 12)
    path.write_bytes(b"PAR1" + footer + len(footer).to_bytes(4, "little") + b"PAR1")
    with pytest.raises(InputError, match="these are no sweeps as fallow exports them") as refused:
        SweepFile(path)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("kept", [0, 4, 100, 600, -1])
def test_a_file_that_was_cut_is_refused(tmp_path: Path, kept: int) -> None:
    path = exported(tmp_path / "sweeps.parquet")
    path.write_bytes(path.read_bytes()[:kept])
    with pytest.raises(InputError):
        list(SweepFile(path).blocks())
