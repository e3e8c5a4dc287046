"""NumPy vectors and what lies beside them. All arrays are invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fallow.errors import InputError
from fallow.files import FileReading, FileRefusal, Telling, read_file, read_paths

AXIS_HZ = 470e6 + 15e3 * np.arange(400)


def levels(seed: int, shape: tuple[int, ...] = (400,)) -> np.ndarray:
    return np.random.default_rng(seed).normal(-95, 2, shape)


def saved(folder: Path, **arrays: np.ndarray) -> Path:
    for name, array in arrays.items():
        np.save(folder / f"{name}.npy", array)
    return folder


def test_each_vector_of_levels_is_a_reading_and_the_axis_serves_it(tmp_path: Path) -> None:
    saved(tmp_path, freq=AXIS_HZ, psd_0=levels(0), psd_1=levels(1), load_0=levels(2))
    results = read_paths([tmp_path])
    readings = [result for result in results if isinstance(result, FileReading)]
    assert [Path(reading.path).name for reading in readings] == ["load_0.npy", "psd_0.npy", "psd_1.npy"]
    assert [reading.is_reference for reading in readings] == [True, False, False]
    axis = readings[1].series[0].axis
    assert (axis.points_hz, axis.start_hz, axis.step_hz, axis.n) == (None, 470_000_000, 15_000, 400)
    np.testing.assert_allclose(readings[1].series[0].levels_db[0], levels(0), atol=1e-4)


def test_named_one_by_one_the_axis_is_found_beside(tmp_path: Path) -> None:
    saved(tmp_path, freq=AXIS_HZ, psd_0=levels(0))
    assert read_file(tmp_path / "psd_0.npy").points == 400
    results = read_paths([tmp_path / "freq.npy", tmp_path / "psd_0.npy"])
    assert [Path(result.path).name for result in results] == ["psd_0.npy"]


def test_a_square_of_sweeps_with_times(tmp_path: Path) -> None:
    seconds = 1714560000.0 + np.arange(6)
    saved(tmp_path, axis=AXIS_HZ / 1e6, sweeps=levels(3, (6, 400)), when=seconds)
    reading = read_file(tmp_path / "sweeps.npy")
    assert (reading.sweeps, reading.points, reading.start) == (6, 400, "2024-05-01T10:40:00Z")
    assert any("assumed to be MHz" in note for note in reading.notes)
    turned = saved(tmp_path, sweeps=levels(3, (6, 400)).T) / "sweeps.npy"
    np.testing.assert_array_equal(read_file(turned).series[0].levels_db, reading.series[0].levels_db)


def test_datetimes_by_the_number_in_the_name(tmp_path: Path) -> None:
    when = np.array(["2024-05-01T12:00:00", "2024-05-01T12:00:53"], dtype="datetime64[s]")
    saved(tmp_path, freq=AXIS_HZ, psd_0=levels(0), psd_1=levels(1), times=when)
    assert read_file(tmp_path / "psd_1.npy").start_local == "2024-05-01T12:00:53"
    assert read_file(tmp_path / "psd_1.npy", Telling(zone="+02:00")).start == "2024-05-01T10:00:53Z"


def test_linear_power_is_told_by_what_decibels_can_not_be(tmp_path: Path) -> None:
    saved(tmp_path, freq=AXIS_HZ, psd_0=10 ** (levels(0) / 10))
    reading = read_file(tmp_path / "psd_0.npy")
    assert reading.level_unit == "linear"
    np.testing.assert_allclose(reading.series[0].levels_db[0], levels(0), atol=1e-3)


def test_objects_are_never_unpickled(tmp_path: Path) -> None:
    class Trap:
        def __reduce__(self) -> tuple[object, tuple[str]]:
            return (Path(tmp_path / "sprung").write_text, ("",))

    np.save(tmp_path / "when.npy", np.array([Trap()], dtype=object), allow_pickle=True)
    saved(tmp_path, freq=AXIS_HZ, psd_0=levels(0))
    results = read_paths([tmp_path])
    assert [Path(result.path).name for result in results] == ["psd_0.npy"]
    assert isinstance(results[0], FileReading)
    assert any(note.startswith("when.npy was not read: it would have to be unpickled") for note in results[0].notes)
    with pytest.raises(InputError, match="it would have to be unpickled"):
        read_file(tmp_path / "when.npy")
    assert not (tmp_path / "sprung").exists()


def test_a_lone_vector_asks_for_its_axis(tmp_path: Path) -> None:
    saved(tmp_path, psd_0=levels(0))
    reading = read_file(tmp_path / "psd_0.npy")
    assert reading.series == ()
    assert reading.needs[0].startswith("no file beside it holds the frequencies of its 400 numbers")


def test_two_axes_of_one_length_are_asked_about(tmp_path: Path) -> None:
    saved(tmp_path, freq=AXIS_HZ, other=AXIS_HZ + 200e6, psd_0=levels(0))
    assert read_file(tmp_path / "psd_0.npy").needs == (
        "several files beside it hold as many frequencies: freq.npy, other.npy; leave one of them there",
    )


@pytest.mark.parametrize(
    ("array", "what"),
    [
        (np.ones((2, 400), dtype=complex), "complex numbers of shape (2, 400) are no recording: one row of samples is"),
        (np.zeros((2, 3, 400)), "an array of type float64 and shape (2, 3, 400) is no sweep"),
        (np.array(["a", "b"]), "an array of type <U1 and shape (2,) is no sweep"),
        (np.full(400, 0.0), "its numbers are neither decibels nor linear power"),
    ],
)
def test_other_arrays_are_refused(tmp_path: Path, array: np.ndarray, what: str) -> None:
    saved(tmp_path, freq=AXIS_HZ, psd_0=array)
    with pytest.raises(InputError) as caught:
        read_file(tmp_path / "psd_0.npy")
    assert caught.value.what == what


def test_a_damaged_vector_is_refused(tmp_path: Path) -> None:
    saved(tmp_path, freq=AXIS_HZ, psd_0=levels(0))
    path = tmp_path / "psd_0.npy"
    path.write_bytes(path.read_bytes()[:1000])
    (result,) = (result for result in read_paths([path]) if isinstance(result, FileRefusal))
    assert str(result.error) == f"{path}: the file is a damaged .npy file"


def test_frequencies_added_up_in_floats_are_an_even_grid(tmp_path: Path) -> None:
    """A hertz off a grid of 15 kHz is a fiftieth of what a clock of 1 ppm is off at 50 MHz."""
    drifting = AXIS_HZ + np.floor(np.arange(400) / 100) - np.arange(400) * 0.0075
    saved(tmp_path, freq=drifting, psd_0=levels(0))
    axis = read_file(tmp_path / "psd_0.npy").series[0].axis
    assert axis.points_hz is None
    assert axis.step_hz == 15_000
    uneven = AXIS_HZ + 40.0 * (np.arange(400) % 3)
    saved(tmp_path, freq=uneven)
    assert read_file(tmp_path / "psd_0.npy").series[0].axis.points_hz is not None


def test_names_of_vectors_state_units(tmp_path: Path) -> None:
    saved(tmp_path, freq_mhz=np.linspace(0.5, 3.5, 400), levels_dbm=levels(0))
    reading = read_file(tmp_path / "levels_dbm.npy")
    assert (reading.level_unit, reading.low_hz, reading.high_hz) == ("dBm", 500_000, 3_500_000)
    assert reading.notes == ("frequencies from freq_mhz.npy",)
    assert read_file(tmp_path / "levels_dbm.npy", Telling(unit="GHz", level_unit="dB")).high_hz == 3_500_000_000


def test_a_name_that_can_t_be_true_is_asked_about(tmp_path: Path) -> None:
    saved(tmp_path, freq_ghz=AXIS_HZ, psd=levels(0))
    (need,) = read_file(tmp_path / "psd.npy").needs
    assert need == ("freq_ghz.npy says GHz, and 470000000 to 475985000 GHz are no frequencies of a sweep (say --unit)")


def test_a_unit_in_a_name_that_the_numbers_contradict_is_not_taken(tmp_path: Path) -> None:
    saved(tmp_path, freq=AXIS_HZ, noise_mw=levels(0))
    assert read_file(tmp_path / "noise_mw.npy").level_unit == "dB"
