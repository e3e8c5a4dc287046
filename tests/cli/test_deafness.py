"""What forbids *clean*, each from files through the command line; and what is said where nothing stands out."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

Run = Callable[..., tuple[int, str, str]]
LOW_MHZ, STEP_MHZ, BINS, SWEEPS = 470.0, 0.025, 641, 20
NOISE_DBM = -118.0  # in 25 kHz: 12 dB over a resistor's, as a pocket instrument shows


def _noise(seed: int = 1, *, sweeps: int = SWEEPS, noise_dbm: float = NOISE_DBM) -> NDArray[np.float64]:
    """Power in mW of shape (sweep, bin): averages of ten samples."""
    rng = np.random.default_rng(seed)
    return 10.0 ** (noise_dbm / 10.0) * rng.gamma(10.0, 0.1, size=(sweeps, BINS))


def _bin(mhz: float) -> int:
    return round((mhz - LOW_MHZ) / STEP_MHZ)


def _with_beacon(power: NDArray[np.float64], mhz: float = 478.0, dbm: float = -80.0) -> NDArray[np.float64]:
    power[:, _bin(mhz)] += 10.0 ** (dbm / 10.0)
    return power


def _written(path: Path, power_mw: NDArray[np.float64]) -> Path:
    """A row of frequencies, then one row per sweep, a second apart."""
    rows = ["timestamp_ms," + ",".join(f"{LOW_MHZ + STEP_MHZ * place:.3f}" for place in range(power_mw.shape[1]))]
    for second, levels in enumerate(10.0 * np.log10(power_mw)):
        rows.append(f"{1_700_000_000_000 + 1000 * second}," + ",".join(f"{level:.2f}" for level in levels))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def _air(run: Run, path: Path, *words: object, rbw: str = "25k") -> dict[str, Any]:
    telling = () if path.suffix == ".iq" else ("--level-unit", "dBm", "--rbw", rbw, "--detector", "average")
    code, out, err = run("air", path, *words, *telling, "--json")
    assert code == 0, err
    return dict(json.loads(out))


def _verdicts(air: dict[str, Any]) -> set[str]:
    return {part["verdict"] for part in air["slices"]}


def _doubts(air: dict[str, Any]) -> str:
    return " ".join(reason for part in air["slices"] if part["verdict"] == "doubtful" for reason in part["reasons"])


def test_a_quiet_air_is_clean_and_the_antenna_not_proven(run: Run, tmp_path: Path) -> None:
    air = _air(run, _written(tmp_path / "hall.csv", _noise()), "--span", "471M..485M")
    assert _verdicts(air) == {"clean"}
    assert any("antenna not proven" in note for note in air["notes"])


def test_where_something_stands_out_the_antenna_is_not_doubted(run: Run, tmp_path: Path) -> None:
    air = _air(run, _written(tmp_path / "hall.csv", _with_beacon(_noise())), "--span", "471M..485M")
    assert _verdicts(air) == {"clean", "occupied"}
    assert not any("antenna not proven" in note for note in air["notes"])


@pytest.mark.parametrize(
    ("noise_dbm", "rbw", "words", "doubt"),
    [
        (-118.0, "25k", ("--limit", "-112"), "deaf: noise and its uncertainty"),
        (-140.0, "25k", (), "deaf: the floor lies below the noise of a resistor"),
        (-118.0, "10k", (), "coarse step"),
    ],
)
def test_an_antenna_is_not_called_unproven_where_it_shows_why_nothing_is_clean(
    run: Run, tmp_path: Path, noise_dbm: float, rbw: str, words: tuple[str, ...], doubt: str
) -> None:
    air = _air(
        run, _written(tmp_path / "hall.csv", _noise(noise_dbm=noise_dbm)), "--span", "471M..485M", *words, rbw=rbw
    )
    assert _verdicts(air) == {"doubtful"}
    assert doubt in _doubts(air)
    assert not any("antenna not proven" in note for note in air["notes"])


def test_an_announcement_alone_proves_no_antenna(run: Run, tmp_path: Path) -> None:
    """Channel 23 (486 to 494 MHz) is announced and was not swept: it is occupied, and nothing stands out."""
    stations = tmp_path / "stations.csv"
    stations.write_text("channel,source\n23,announced for this test\n", encoding="utf-8")
    path = _written(tmp_path / "hall.csv", _noise())
    air = _air(run, path, "--region", "de", "--stations", stations, "--span", "471M..490M")
    assert {part["name"]: part["verdict"] for part in air["slices"]}["23"] == "occupied"
    assert any("antenna not proven" in note for note in air["notes"])


def test_what_is_deaf_in_a_part_proves_no_antenna_for_the_clean_rest(run: Run, tmp_path: Path) -> None:
    power = _noise() * 10.0 ** np.linspace(0.0, 1.0, BINS)  # a floor that rises by 10 dB over the span
    air = _air(run, _written(tmp_path / "hall.csv", power), "--limit", "-96", "--width", "1M")
    assert _verdicts(air) >= {"clean", "doubtful"}
    assert any("antenna not proven" in note for note in air["notes"])


@pytest.mark.parametrize(("limit_dbm", "clean"), [(-101, True), (-106, False), (-112, False)])
def test_floor_and_its_uncertainty_reach_the_limit(run: Run, tmp_path: Path, limit_dbm: int, clean: bool) -> None:
    # the floor is -109 dBm in 200 kHz; with 2.4 dB of uncertainty and 95 % it reaches to -105 and, with noise, farther
    path = _written(tmp_path / "hall.csv", _with_beacon(_noise()))
    air = _air(run, path, "--span", "480M..485M", "--limit", limit_dbm)
    assert ("clean" in _verdicts(air)) is clean
    if not clean:
        assert "noise and its uncertainty reach the limit" in _doubts(air)


def test_levels_below_a_resistors_noise(run: Run, tmp_path: Path) -> None:
    # kTB at 290 K in 25 kHz: -130.0 dBm (Rec. ITU-R P.372); these sweeps show -136
    path = _written(tmp_path / "hall.csv", _with_beacon(_noise(noise_dbm=-136.0)))
    air = _air(run, path, "--span", "480M..485M")
    assert _verdicts(air) == {"doubtful"}
    assert "below the noise of a resistor" in _doubts(air)


def test_an_announced_station_is_missing(run: Run, tmp_path: Path) -> None:
    stations = tmp_path / "stations.csv"
    stations.write_text("channel,source\n22,announced for this test\n", encoding="utf-8")
    path = _written(tmp_path / "hall.csv", _with_beacon(_noise(), 485.5))
    air = _air(run, path, "--region", "de", "--stations", stations, "--span", "470M..485M")
    by_name = {part["name"]: part for part in air["slices"]}
    assert by_name["22"]["verdict"] == "occupied"
    assert "clean" not in _verdicts(air)
    assert any("channel 22: announced as on the air and not in the sweeps" in note for note in air["notes"])
    assert "announced as on the air: they may be deaf" in " ".join(by_name["21"]["reasons"])


@pytest.mark.parametrize(
    ("known_mhz", "area", "missing"), [(478.0, "", False), (483.0, "", True), (483.0, "yard", False)]
)
def test_a_known_emitter_is_missing(run: Run, tmp_path: Path, known_mhz: float, area: str, missing: bool) -> None:
    known = tmp_path / "known.csv"
    known.write_text(f"name,frequency_mhz,bandwidth_khz,area\nbeacon,{known_mhz},100,{area}\n", encoding="utf-8")
    path = _written(tmp_path / "hall.csv", _with_beacon(_noise()))
    air = _air(run, path, "--span", "471M..485M", "--known", known, "--area", "hall")
    assert ("clean" in _verdicts(air)) is not missing
    assert any("beacon at 483.000 MHz: known to be on the air" in note for note in air["notes"]) is missing
    assert ("the sweeps don't show beacon at 483.000 MHz" in _doubts(air)) is missing


def test_a_known_emitter_outside_of_what_was_swept_proves_nothing(run: Run, tmp_path: Path) -> None:
    known = tmp_path / "known.csv"
    known.write_text("name,frequency_mhz\nbeacon,600\n", encoding="utf-8")
    path = _written(tmp_path / "hall.csv", _with_beacon(_noise()))
    assert "clean" in _verdicts(_air(run, path, "--span", "480M..485M", "--known", known))


def test_the_floor_follows_a_strong_signal(run: Run, tmp_path: Path) -> None:
    # a strong block comes and goes, and the floor with it, 8 dB up everywhere: overload, or switched on together
    power = _noise()
    on = np.arange(SWEEPS) % 3 == 0
    power[on] *= 10.0**0.8
    power[np.ix_(on, np.arange(_bin(470.2), _bin(472.2)))] += 1e-6
    air = _air(run, _written(tmp_path / "hall.csv", power), "--span", "474M..485M")
    assert _verdicts(air) == {"doubtful"}
    assert "overload" in _doubts(air)
    assert any(
        "overload: the floor follows the strong signals" in note and "10 dB pad" in note for note in air["notes"]
    )


def test_a_strong_signal_alone_is_no_overload(run: Run, tmp_path: Path) -> None:
    power = _noise()
    on = np.arange(SWEEPS) % 3 == 0
    power[np.ix_(on, np.arange(_bin(470.2), _bin(472.2)))] += 1e-6
    air = _air(run, _written(tmp_path / "hall.csv", power), "--span", "474M..485M")
    assert _verdicts(air) == {"clean"}


@pytest.mark.parametrize(("top_dbm", "overloaded"), [(-48.0, True), (0.0, False)])
def test_levels_at_the_top_of_the_scale(run: Run, tmp_path: Path, top_dbm: float, overloaded: bool) -> None:
    # a noise-like block of -50 dBm per bin, ten samples: cut off 2 dB up, or not at all
    power = _noise()
    block = np.arange(_bin(471.0), _bin(477.0))
    power[:, block] = 1e-5 * np.random.default_rng(2).gamma(10.0, 0.1, size=(SWEEPS, block.size)) * 10.0**0.3
    power = np.minimum(power, 10.0 ** (top_dbm / 10.0))
    air = _air(run, _written(tmp_path / "hall.csv", power), "--span", "479M..485M")
    assert _verdicts(air) == ({"doubtful"} if overloaded else {"clean"})
    assert any("the scale ends there" in note for note in air["notes"]) is overloaded


def test_steady_carriers_of_one_level_are_no_overload(run: Run, tmp_path: Path) -> None:
    power = _noise()
    for mhz in (472.0, 473.0, 474.0):
        power[:, _bin(mhz) : _bin(mhz) + 8] += 1e-5
    air = _air(run, _written(tmp_path / "hall.csv", power), "--span", "479M..485M")
    assert _verdicts(air) == {"clean"}


def test_a_recording_at_the_end_of_its_scale(run: Run, tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    for gain, overloaded in ((0.15, False), (0.9, True)):
        samples = np.clip(np.round(127.5 + 127.5 * gain * rng.standard_normal(400_000) / 2), 0, 255).astype(np.uint8)
        path = tmp_path / f"gain{gain}.iq"
        samples.tofile(path)
        air = _air(run, path, "--samples", "u8", "--rate", "2M", "--centre", "480M", "--width", "100k")
        assert any("overload: the source says so" in note for note in air["notes"]) is overloaded
        assert ("clean" in _verdicts(air)) is not overloaded


@pytest.mark.parametrize(("rbw", "clean"), [("20k", True), ("19k", False), ("3k", False)])
def test_steps_wider_than_the_resolution(run: Run, tmp_path: Path, rbw: str, clean: bool) -> None:
    path = _written(tmp_path / "hall.csv", _with_beacon(_noise()))
    air = _air(run, path, "--span", "480M..485M", "--limit", "-85", rbw=rbw)
    assert ("clean" in _verdicts(air)) is clean
    if not clean:
        assert "coarse step" in _doubts(air)


def test_a_gain_that_drifts_is_no_overload(run: Run, tmp_path: Path) -> None:
    # signal and floor go up and down together, by as much: the instrument's gain
    power = _with_beacon(_noise(), 472.0, -60.0)
    drift_db = np.linspace(0.0, 6.0, SWEEPS)[:, None]
    air = _air(run, _written(tmp_path / "hall.csv", power * 10.0 ** (drift_db / 10.0)), "--span", "474M..485M")
    assert not any("overload" in note for note in air["notes"])


def test_a_transmitters_own_skirts_are_no_overload(run: Run, tmp_path: Path) -> None:
    # a transmitter that fills the band it is heard in: what rises beside it may be its own
    power = _noise()[:, :80]
    power[::3, 20:60] += 1e-7
    power[::3, 60:] += 10.0**-11.0
    air = _air(run, _written(tmp_path / "hall.csv", power), "--width", "200k")
    assert not any("overload" in note for note in air["notes"])


def _known(path: Path, *mhz: float) -> Path:
    rows = [f"mast {place:g},{place},12.5" for place in mhz]
    path.write_text("\n".join(["name,frequency_mhz,bandwidth_khz", *rows]) + "\n", encoding="utf-8")
    return path


def test_a_known_carrier_outside_of_what_was_swept_is_told(run: Run, tmp_path: Path) -> None:
    path = _written(tmp_path / "hall.csv", _with_beacon(_noise()))
    air = _air(run, path, "--span", "480M..485M", "--known", _known(tmp_path / "known.csv", 478.0, 700.0, 486.0))
    told = "mast 700 at 700.000 MHz, mast 486 at 486.000 MHz: known to be on the air, and not in what was swept"
    assert told in air["notes"]
    assert _verdicts(air) == {"clean"}
    air = _air(run, path, "--span", "480M..485M", "--known", _known(tmp_path / "known.csv", 478.0))
    assert not any("not in what was swept" in note for note in air["notes"])


# --- scales that do not fit each other


def _in_two_scales(tmp_path: Path) -> tuple[Path, Path]:
    """The same air in dBm, and in decibels without a scale; the units stand in the headings."""
    rng, paths = np.random.default_rng(4), []
    for name, heading in (("scaled", "level_dbm"), ("bare", "level_db")):
        levels = NOISE_DBM + rng.normal(0.0, 1.5, 400)
        rows = [f"{LOW_MHZ + STEP_MHZ * place:.3f},{level:.2f}" for place, level in enumerate(levels)]
        paths.append(tmp_path / f"{name}.csv")
        paths[-1].write_text("\n".join([f"frequency_mhz,{heading}", *rows]) + "\n", encoding="utf-8")
    return paths[0], paths[1]


def test_an_absolute_reference_is_none_for_relative_levels(run: Run, tmp_path: Path) -> None:
    scaled, bare = _in_two_scales(tmp_path)
    code, _, err = run("air", bare, "--reference", scaled)
    assert code == 2
    assert "fallow: the reference has absolute levels and the survey relative ones" in err
    code, _, err = run("air", scaled, "--reference", bare)
    assert code == 2
    assert "fallow: the reference has relative levels and the survey absolute ones" in err


def test_files_of_two_scales_are_named(run: Run, tmp_path: Path) -> None:
    scaled, bare = _in_two_scales(tmp_path)
    code, out, err = run("air", scaled, bare, "--json")
    assert code == 0, err
    air = json.loads(out)
    told = f"dBm in {scaled}, decibels without a scale in {bare}"
    assert air["basis"] == "relative"
    assert any(note.startswith(f"{told}: so all levels are judged as relative") for note in air["notes"])
    code, _, err = run("air", scaled, bare, "--limit", "-90")
    assert code == 2
    assert f"can't be held against relative levels ({told})" in err
    code, out, err = run("air", scaled, bare, "--level-unit", "dBm", "--limit", "-90", "--json")
    assert code == 0, err
    assert not any("judged as relative" in note for note in json.loads(out)["notes"])
