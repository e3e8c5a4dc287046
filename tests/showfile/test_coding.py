"""Levels come back bit by bit, whatever they were. Truth: the bits of the float32 that went in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from numpy.typing import NDArray

from fallow.showfile.coding import DamagedLevelsError, decoded, encoded

SHAPES = st.tuples(st.integers(1, 12), st.integers(1, 6)) | st.tuples(st.integers(1, 30))
ANY = arrays.arrays(np.float32, SHAPES, elements=st.floats(width=32))


def same_bits(one: NDArray[np.float32], other: NDArray[np.float32]) -> bool:
    """Whether every level is the same to the last bit; NaN is NaN."""
    holes = np.isnan(one)
    return bool(np.array_equal(holes, np.isnan(other))) and bool(
        np.array_equal(one[~holes].view(np.uint32), other[~holes].view(np.uint32))
    )


@given(levels_db=ANY)
def test_any_levels_come_back(levels_db: NDArray[np.float32]) -> None:
    assert same_bits(levels_db, decoded(*encoded(levels_db), levels_db.shape))


@given(parts=st.sampled_from([1, 2, 4, 5, 8, 10, 20, 50, 100, 128, 1000]), data=st.data())
def test_levels_in_steps_come_back_and_are_kept_as_whole_numbers(parts: int, data: st.DataObject) -> None:
    numbers = data.draw(arrays.arrays(np.int32, SHAPES, elements=st.integers(-160 * parts, 30 * parts)))
    levels_db = (numbers / parts).astype(np.float32)
    levels_db[data.draw(arrays.arrays(np.bool_, levels_db.shape))] = np.nan
    coding, packed = encoded(levels_db)
    assert same_bits(levels_db, decoded(coding, packed, levels_db.shape))
    assert coding[0] in "id"
    assert int(coding.partition("/")[2]) <= parts


@pytest.mark.parametrize("decimals", [0, 1, 2, 3])
def test_the_step_of_levels_as_files_print_them_is_found(decimals: int) -> None:
    rng = np.random.default_rng(decimals)
    levels_db = np.array([float(f"{level:.{decimals}f}") for level in rng.normal(-95, 9, 4000)], dtype=np.float32)
    coding, _ = encoded(levels_db)
    assert coding == f"{'i4' if decimals == 3 else 'i2'}/{10**decimals}"


def test_an_offset_in_tenths_or_hundredths_is_a_step_too() -> None:
    microvolts = np.arange(0, 800, dtype=np.float64) / 10
    levels_dbm = (microvolts - 106.99).astype(np.float32)  # dBµV to dBm at 50 ohms, rounded as people round it
    coding, packed = encoded(levels_dbm)
    assert coding == "i2/100"
    assert same_bits(levels_dbm, decoded(coding, packed, levels_dbm.shape))


def test_one_level_off_the_step_keeps_all_as_they_are() -> None:
    levels_db = np.full(5000, -95.5, dtype=np.float32)
    levels_db[4321] = np.float32(1 / 3)
    coding, packed = encoded(levels_db)
    assert coding == "f4"
    assert same_bits(levels_db, decoded(coding, packed, levels_db.shape))


@pytest.mark.parametrize("sigma_db", [1.0, 2.0, 4.0])
def test_tenths_take_hardly_more_than_their_entropy(sigma_db: float) -> None:
    """Differential entropy of a normal variate: log2(sigma sqrt(2 pi e)) bits; Cover and Thomas 2006, example 8.1.2."""
    bits = np.log2(10 * sigma_db * np.sqrt(2 * np.pi * np.e))
    floor_db = np.linspace(-110, -60, 1000)  # which the means of the bins take out
    noise_db = np.random.default_rng(1).normal(0, sigma_db, (64, 1000))
    levels_db = (np.rint((floor_db + noise_db) * 10) / 10).astype(np.float32)
    assert bits / 8 < len(encoded(levels_db)[1]) / levels_db.size < 1.06 * bits / 8 + 0.04


def test_damaged_bytes_are_told_and_choose_no_size() -> None:
    levels_db = np.full((4, 5), -95.5, dtype=np.float32)
    coding, packed = encoded(levels_db)
    for wrong in (
        ("i2/0", packed),
        ("i8/1", packed),
        ("", packed),
        (coding, packed[:-4]),
        (coding, b""),
        ("f4", packed),
    ):
        with pytest.raises(DamagedLevelsError):
            decoded(*wrong, levels_db.shape)
    with pytest.raises(DamagedLevelsError, match="another size"):
        decoded(coding, packed, (4, 6))
