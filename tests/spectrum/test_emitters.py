"""The list of emitters is short and true: invented airs with known truth, and the demo's wall of lights."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import fallow
from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Emitter
from invented_air import Instrument, Signal, sweep_over

FINE = Instrument(low_hz=700_000_000, step_hz=15_000, bins=2000, rbw_hz=15_000.0, samples=20, sweeps=6)


def _air(*signals: Signal, instrument: Instrument = FINE, seed: int = 1) -> Air:
    return judge(sweep_over(np.random.default_rng(seed), instrument, list(signals)))


def _has(emitter: Emitter, words: str) -> bool:
    return any(words in clue for clue in emitter.evidence)


@pytest.mark.parametrize("referenced", [False, True])
def test_a_raised_floor_is_one_rise_and_no_dozens_of_carriers(package: Path, referenced: bool) -> None:
    # what was put on the air: four stations, an intruder, own lines, and noise raised by 6 dB at 588 to 611 MHz
    folder = package / "demo" / "data" / "sweeps"
    load = fallow.open_sweeps(str(folder / "load-50-ohm.txt")) if referenced else None
    air = judge(fallow.open_sweeps(str(folder / "wall-on.csv")), reference=load)
    (wall,) = [one for one in air.emitters if 586e6 <= one.centre_hz <= 613e6]
    assert wall.looks_like == "noise-like block"
    assert wall.low_hz == pytest.approx(587e6, abs=1.5e6)
    assert wall.high_hz == pytest.approx(612e6, abs=1.5e6)
    assert _has(wall, "soft edges")
    assert len(air.emitters) <= 10
    assert not any(_has(one, "no reference to tell") for one in air.emitters)


@pytest.mark.parametrize("samples", [1, 10, 100])
@pytest.mark.parametrize("rise_db", [3.0, 6.0, 12.0])
def test_smooth_rises_are_one_emitter_at_most(samples: int, rise_db: float) -> None:
    places = np.arange(1200)
    shape = rise_db / (1 + np.exp(-(150 - np.abs(places - 600)) / 20))  # 15 MHz wide, 4 MHz of slope on each side
    instrument = Instrument(bins=1200, step_hz=50_000, rbw_hz=50e3, samples=samples, noise_shape_db=shape, sweeps=8)
    for seed in range(4):
        found = _air(instrument=instrument, seed=seed).emitters
        assert len(found) <= 1
        assert all(one.looks_like == "noise-like block" for one in found)


def test_a_carrier_on_a_raised_floor_is_found() -> None:
    shape = 8.0 / (1 + np.exp(-(150 - np.abs(np.arange(1200) - 600)) / 20))
    instrument = Instrument(bins=1200, step_hz=50_000, rbw_hz=50e3, samples=30, noise_shape_db=shape, sweeps=8)
    found = _air(Signal(500.3e6, 0.0, -95.0), instrument=instrument).emitters
    assert sorted(one.looks_like for one in found) == ["narrow carrier", "noise-like block"]


def test_noise_alone_makes_no_emitter() -> None:
    # at most one survey in a hundred; 60 allow for three (binomial, 98 %)
    made = 0
    for seed in range(60):
        instrument = Instrument(bins=800, samples=(1, 5, 40)[seed % 3], sweeps=(1, 3, 25)[seed // 3 % 3])
        made += len(_air(instrument=instrument, seed=seed).emitters) > 0
    assert made <= 3


def _comb(spacing_hz: float, count: int, seed: int = 1) -> list[Signal]:
    jitter = np.random.default_rng(seed).uniform(-7e3, 7e3, count)
    places = 703.2e6 + spacing_hz * np.arange(count) + jitter
    levels = -75.0 - 1.2 * np.abs(np.arange(count) - count / 2)
    return [Signal(float(place), 90e3, float(level)) for place, level in zip(places, levels, strict=True)]


@pytest.mark.parametrize(("spacing_hz", "count"), [(560e3, 20), (412e3, 14), (887e3, 15)])
def test_a_comb_of_lines_is_one_emitter(spacing_hz: float, count: int) -> None:
    (found,) = _air(*_comb(spacing_hz, count)).emitters
    assert found.looks_like == "unknown"
    counted = next(int(clue.split()[2]) for clue in found.evidence if clue.startswith("comb of"))
    assert count - 2 <= counted <= count  # one may stand on a clock by chance, and is suspected to be own
    assert found.low_hz == pytest.approx(703.2e6, abs=100e3)
    assert found.high_hz == pytest.approx(703.2e6 + spacing_hz * (count - 1), abs=100e3)


def test_a_comb_keeps_together_around_a_stranger() -> None:
    found = _air(*_comb(560e3, 20), Signal(709.0e6, 0.0, -85.0)).emitters
    assert len([one for one in found if _has(one, "comb of")]) == 1


def test_lines_at_random_places_are_no_comb() -> None:
    rng = np.random.default_rng(3)
    for seed in range(12):
        places = 702e6 + np.sort(rng.choice(60, 15, replace=False)) * 440e3 + rng.uniform(-150e3, 150e3, 15)
        found = _air(*(Signal(float(place), 60e3, -80.0) for place in places), seed=seed).emitters
        assert not any(_has(one, "comb of") for one in found)


def test_users_of_one_raster_are_no_comb() -> None:
    rng = np.random.default_rng(4)
    talks = [np.repeat(rng.random(20) < 0.4, 5) for _ in range(14)]
    signals = [Signal(702e6 + 1e6 * k, 60e3, -80.0, talk) for k, talk in enumerate(talks)]
    found = _air(*signals, instrument=Instrument(**{**vars(FINE), "sweeps": 100})).emitters
    assert len(found) == 14


def _microphones(
    rng: np.random.Generator, count: int, spacing_hz: float, level_dbm: float, fade_db: float = 2.0
) -> Survey:
    """Carriers 110 kHz wide at half their power, highest in the middle as FM is, which fade each by itself."""
    axis = Axis.regular(500_000_000, 25_000, 1200)
    power = 10**-11.8 * rng.gamma(4, 0.25, (10, axis.n))
    for place in 503.1e6 + spacing_hz * np.arange(count):
        shape = np.exp(-0.5 * ((axis.centres_hz - place) / (110e3 / 2.355)) ** 2)
        fades_db = level_dbm + rng.uniform(-5, 5) + rng.normal(0, fade_db, (10, 1))
        power += shape / shape.sum() * 10 ** (fades_db / 10) * rng.gamma(4, 0.25, (10, axis.n))
    return Survey((Series(axis, (10 * np.log10(power)).astype(np.float32), LevelUnit.DBM, rbw_hz=25e3),))


@pytest.mark.parametrize("level_dbm", [-60.0, -85.0])
@pytest.mark.parametrize(("count", "spacing_hz"), [(8, 300e3), (8, 400e3), (8, 500e3), (12, 600e3), (16, 600e3)])
def test_evenly_spaced_microphones_are_emitters_each(count: int, spacing_hz: float, level_dbm: float) -> None:
    # known truth: as many transmitters as were put on the air, each at its place
    found = judge(_microphones(np.random.default_rng(26), count, spacing_hz, level_dbm)).emitters
    assert [one.centre_hz for one in found] == pytest.approx(list(503.1e6 + spacing_hz * np.arange(count)), abs=50e3)
    assert all(one.high_hz - one.low_hz < 400e3 for one in found)


def test_steady_transmitters_of_one_rack_are_no_comb() -> None:
    signals = [Signal(702.1e6 + 600e3 * k, 0.0, -70.0) for k in range(20)]  # muted, equally strong
    found = _air(*signals).emitters
    assert len(found) >= 19  # one may stand on a clock by chance, and is suspected to be own
    assert not any(_has(one, "comb of") for one in found)


def test_echoes_do_not_cut_a_broad_transmission() -> None:
    # two paths (1 and 0.7 as high) 2.5 µs apart notch a transmission every 400 kHz, by 20 lg(1.7/0.3) = 15 dB
    rng, axis = np.random.default_rng(5), Axis.regular(500_000_000, 25_000, 1200)
    paths = np.abs(1 + 0.7 * np.exp(2j * np.pi * axis.centres_hz * 2.5e-6)) ** 2
    power = 10**-11.8 + 10**-8.5 * paths * (np.abs(axis.centres_hz - 515e6) < 4.1e6)
    levels = 10 * np.log10(power * rng.gamma(4, 0.25, (10, axis.n)))
    found = judge(Survey((Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=25e3),))).emitters
    assert len(found) == 1


# --- mixing responses


WIDE = Axis.regular(600_000_000, 25_000, 16_000)  # to 1000 MHz


def _block(rng: np.random.Generator, low_hz: float, width_hz: float, level_db: float) -> NDArray[np.float64]:
    """Linear power per bin of a block with a fine structure of its own, as pilots and multipath make."""
    power = np.zeros(WIDE.n)
    inside = (low_hz <= WIDE.centres_hz) & (low_hz + width_hz >= WIDE.centres_hz)
    power[inside] = 10 ** ((level_db + rng.normal(0, 1.5, int(inside.sum()))) / 10)
    return power


def _seen(rng: np.random.Generator, *parts: NDArray[np.float64]) -> Air:
    power = 10**-10.0 + np.sum(parts, axis=0)
    levels = 10 * np.log10(power * rng.gamma(100, 0.01, (4, WIDE.n)))
    return judge(Survey((Series(WIDE, levels.astype(np.float32), LevelUnit.DB, rbw_hz=25e3),)))


def _mirrored(power: NDArray[np.float64], sum_hz: float, loss_db: float) -> NDArray[np.float64]:
    places = np.round((sum_hz - WIDE.centres_hz - 600e6) / 25e3).astype(int)
    inside = (places >= 0) & (places < WIDE.n)
    return np.where(inside, power[np.clip(places, 0, WIDE.n - 1)], 0.0) * 10 ** (-loss_db / 10)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_mixing_response_names_its_sum(seed: int) -> None:
    rng, sum_hz = np.random.default_rng(seed), 1_560_000_000.0
    strong = _block(rng, 871.3e6, 9e6, -60)
    air = _seen(rng, strong, _mirrored(strong, sum_hz, 18.0), _block(rng, 930e6, 9e6, -62))
    (found,) = [one for one in air.emitters if one.low_hz < 690e6 and one.high_hz > 685e6]
    assert found.looks_like == "noise-like block"
    assert _has(found, "f to 1560.000 MHz - f")
    assert _has(found, "the image of an oscillator at 780.000 MHz") or _has(found, "mixing response")
    assert _has(found, "luck at most once in")
    assert sum(_has(one, "mixing response") for one in air.emitters) == 1


def test_blocks_of_equal_width_are_not_called_mirrored() -> None:
    # one standard makes one width: only the detail tells
    for seed in range(12):
        rng = np.random.default_rng(100 + seed)
        air = _seen(rng, _block(rng, 871.3e6, 9e6, -60), _block(rng, 680e6, 9e6, -78), _block(rng, 930e6, 9e6, -62))
        assert not any(_has(one, "mixing response") for one in air.emitters)


# --- real sweeps


def test_the_cause_of_the_blocks_at_668_to_687_mhz(airdata: Path) -> None:
    # the collection's README: edges of the downlink at 2110-2126 MHz mirrored, f to 2797.44 - f
    air = judge(fallow.open_sweeps(airdata / "wideband-300-3000"))
    blocks = [one for one in air.emitters if one.low_hz > 668e6 and one.high_hz < 688e6]
    assert [(round(one.low_hz, -5), round(one.high_hz, -5)) for one in blocks] == [
        (668_600_000, 671_700_000),
        (673_100_000, 686_700_000),
    ]
    assert all(one.looks_like == "noise-like block" and _has(one, "mixing response") for one in blocks)
    assert _has(blocks[1], "f to 2797.440 MHz - f")
    # the comb around 718 MHz, 540 to 570 kHz apart, is one emitter and no television
    (comb,) = [one for one in air.emitters if 712e6 < one.centre_hz < 726e6]
    assert _has(comb, "comb of")
    assert len(air.emitters) < 250


def test_how_often_phones_were_on(airdata: Path) -> None:
    # README: active (3 channels or more above -68 dBm) in 24 % of the seconds
    raw = (airdata / "lte-uplink-704-714" / "LTE_UL_bc17_ts1012_stream_peak1s.dat").read_bytes()
    levels = np.frombuffer(raw[-273_392:], dtype=np.int8).reshape(4882, 56).astype(np.float32)
    series = Series(Axis.regular(704_060_000, 180_000, 56), levels, LevelUnit.DBM, rbw_hz=180_000.0)
    (found,) = judge(Survey((series,))).emitters
    assert found.looks_like == "mobile uplink"
    assert found.on_share == pytest.approx(0.24, abs=0.02)
    assert found.on_share_low < 0.24 < found.on_share_high
    assert found.on_share_high - found.on_share_low > 0.05  # neighbouring seconds are alike


def test_phones_in_the_uplink_of_two_bands_name_both_downlinks() -> None:
    # 3GPP TS 36.101 table 5.5-1: 832.3 MHz is uplink of bands 5 and 26 (down: 859-894) and of band 20 (791-821)
    on = np.random.default_rng(3).random(100) < 0.3
    phones = Instrument(low_hz=831_000_000, bins=121, sweeps=100)
    (found,) = _air(Signal(832.4e6, 400e3, -80.0, on), instrument=phones).emitters
    assert found.looks_like == "mobile uplink"
    assert _has(found, "859.000 to 894.000 MHz or 791.000 to 821.000 MHz by the region, was not swept")


def test_wrapped_readings_are_missing_and_not_off() -> None:
    """A keyed transmitter most of whose readings came out as -203 dBm: it was on in just those sweeps."""
    rng = np.random.default_rng(12)
    on = rng.random(300) < 0.4
    survey = sweep_over(rng, Instrument(bins=81, sweeps=300), [Signal(471.0e6, 0.0, -60.0, on)])
    levels = survey.series[0].levels_db.copy()
    wrapped = (levels > -70.0) & (rng.random(levels.shape) < 0.9)
    levels[wrapped] = -203.0
    found = judge(Survey((survey.series[0].with_levels(levels),)))
    (keyed,) = (one for one in found.emitters if one.low_hz <= 471_000_000 <= one.high_hz)
    assert 0.3 < wrapped.any(axis=1).mean() <= 0.4
    assert keyed.on_share_low <= 0.4 <= keyed.on_share_high
    assert any("no valid level there" in clue for clue in keyed.evidence)


def test_wrapped_readings_of_a_real_receiver(airdata: Path) -> None:
    """Its README: on-off keyed from row 63 of 267 on, its strongest readings at -142.5 or -143, 81 of them."""
    survey = fallow.open_sweeps(airdata / "ism433-matrix" / "spectrum2.csv")
    found = judge(survey)
    (keyed,) = (one for one in found.emitters if one.low_hz <= 433_640_000 <= one.high_hz)
    assert keyed.on_share_low <= 85 / 267 <= keyed.on_share_high
    assert any("81 more sweeps have no valid level there" in clue for clue in keyed.evidence)
