"""Signals of other services: widths, pilots and rasters of ETSI EN 300 744, ATSC A/53, ARIB STD-B31, 3GPP TS 36.101, TS
36.211 and TS 38.101-1, ETSI EN 300 175-2; Carson's rule.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis
from fallow.spectrum.found.services import ATSC_PILOT_HZ, MOBILE_WIDTHS, TELEVISION, dect_carrier_hz
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Verdict
from fallow.units import Channel
from invented_air import Instrument, Signal, sweep_over

UHF_8 = [
    Channel(str(21 + index), 470_000_000 + 8_000_000 * index, 478_000_000 + 8_000_000 * index) for index in range(6)
]
UHF_6 = [
    Channel(str(14 + index), 470_000_000 + 6_000_000 * index, 476_000_000 + 6_000_000 * index) for index in range(8)
]


def test_widths() -> None:
    # DVB-T: (K-1)/Tu with K = 6817 carriers and Tu = 7·8192/(8·BW): 7.607143, 6.656250, 5.705357 MHz (EN 300 744)
    for channel_mhz, width_mhz in ((8, 7.607143), (7, 6.656250), (6, 5.705357)):
        useful_s = 7 * 8192 / (8 * channel_mhz * 1e6)
        ours = next(one for one in TELEVISION if (one.name, one.channel_hz) == ("DVB-T", channel_mhz * 1_000_000))
        assert ours.width_hz == pytest.approx(6816 / useful_s, abs=1) == pytest.approx(width_mhz * 1e6, abs=1)
    rate_hz = 684 * 4.5e6 / 286  # symbol rate of 8-VSB (A/53)
    assert pytest.approx((6e6 - rate_hz / 2) / 2, abs=0.001) == ATSC_PILOT_HZ
    assert next(one for one in TELEVISION if one.name == "ATSC").width_hz == pytest.approx(rate_hz / 2, abs=1)


@pytest.mark.parametrize(
    ("name", "blocks"),
    [
        ("LTE 5 MHz", 25),
        ("LTE 10 MHz", 50),
        ("LTE 20 MHz", 100),
        ("NR 10 MHz", 52),
        ("NR 20 MHz", 106),
        ("NR 50 MHz", 270),
    ],
)
def test_mobile_widths(name: str, blocks: int) -> None:
    # 180 kHz per block at 15 kHz; TS 36.101 table 5.6-1, TS 38.101-1 table 5.3.2-1; exact
    assert dict(MOBILE_WIDTHS)[name] == 180_000 * blocks


def _air(*signals: Signal, seed: int = 1, noise_dbm: float = -125.0) -> Survey:
    instrument = Instrument(step_hz=25_000, bins=1921, rbw_hz=25_000.0, samples=10, sweeps=8, noise_dbm=noise_dbm)
    return sweep_over(np.random.default_rng(seed), instrument, list(signals))


def _density(dbm_per_25_khz: float, width_hz: float) -> float:
    return dbm_per_25_khz + 10 * np.log10(width_hz / 25e3)


@pytest.mark.parametrize("raster", [UHF_8, []])
def test_dvb_t_is_recognised_with_and_without_a_region(raster: list[Channel]) -> None:
    air = judge(_air(Signal(482e6, 7.607e6, _density(-110, 7.607e6))), raster=raster)
    (found,) = [one for one in air.emitters if one.looks_like.startswith("TV")]
    assert (found.looks_like, found.low_hz, found.high_hz) == ("TV, DVB-T", 478_000_000, 486_000_000)
    assert found.on_share == 1.0
    verdicts = {one.name: one for one in air.judge_slices(UHF_8)}
    assert verdicts["22"].verdict is Verdict.OCCUPIED
    assert verdicts["22"].shares[Verdict.OCCUPIED] == 1.0
    assert verdicts["24"].verdict is Verdict.CLEAN


def test_neighbouring_channels_are_two_stations() -> None:
    both = [Signal(centre, 7.607e6, _density(level, 7.607e6)) for centre, level in ((482e6, -100), (490e6, -108))]
    air = judge(_air(*both), raster=UHF_8)
    assert [one.low_hz for one in air.emitters if one.looks_like == "TV, DVB-T"] == [478_000_000, 486_000_000]


def test_atsc_is_told_by_its_pilot() -> None:
    # the pilot stands 11.3 dB under the data power, 309.44 kHz above the lower edge (A/53)
    power = _density(-105, 5.381e6)
    signals = [Signal(479e6, 5.381e6, power), Signal(476e6 + ATSC_PILOT_HZ, 0.0, power - 11.284)]
    air = judge(_air(*signals), raster=UHF_6)
    assert [(one.looks_like, one.low_hz) for one in air.emitters] == [("TV, ATSC", 476_000_000)]


def test_isdb_t_is_told_by_its_offset() -> None:
    air = judge(_air(Signal(479e6 + 142_857, 5.572e6, _density(-105, 5.572e6))), raster=UHF_6)
    assert [(one.looks_like, one.low_hz) for one in air.emitters] == [("TV, ISDB-T", 476_000_000)]


def test_mobile_blocks_are_not_television() -> None:
    # 13.5 MHz (LTE 15 MHz) lies over a whole channel without an edge of its own there
    air = judge(_air(Signal(490e6, 13.5e6, _density(-100, 13.5e6))), raster=UHF_8)
    (found,) = air.emitters
    assert found.looks_like == "noise-like block"
    assert any("LTE 15 MHz" in clue for clue in found.evidence)


@pytest.mark.parametrize("centre_hz", [480.3e6, 484.0e6])
def test_a_block_off_the_raster_is_no_television(centre_hz: float) -> None:
    air = judge(_air(Signal(centre_hz, 7.607e6, _density(-105, 7.607e6))), raster=UHF_8)
    assert not [one for one in air.emitters if one.looks_like.startswith("TV")]


def test_noise_is_no_television() -> None:
    for seed in range(20):
        assert judge(_air(seed=seed), raster=UHF_8).emitters == ()


@pytest.mark.parametrize("step_hz", [25_000, 100_000, 200_000])
def test_neighbouring_stations_are_told_apart_with_coarse_steps(step_hz: int) -> None:
    # both leave 196 kHz to their channel's edge (EN 300 744), so 392 kHz between them
    instrument = Instrument(
        low_hz=469_990_000, step_hz=step_hz, bins=48_000_000 // step_hz, rbw_hz=float(step_hz), samples=10, sweeps=5
    )
    both = [Signal(centre, 7.607e6, -60.0) for centre in (482e6, 490e6)]
    air = judge(sweep_over(np.random.default_rng(3), instrument, both), raster=UHF_8)
    assert [one.low_hz for one in air.emitters if one.looks_like == "TV, DVB-T"] == [478_000_000, 486_000_000]


# --- cordless telephones, phones, hopping, digital and FM


def _evening(*signals: Signal, low_hz: int, step_hz: int, bins: int, sweeps: int = 40, seed: int = 1) -> Air:
    instrument = Instrument(low_hz=low_hz, step_hz=step_hz, bins=bins, rbw_hz=float(step_hz), sweeps=sweeps)
    return judge(sweep_over(np.random.default_rng(seed), instrument, list(signals)))


def _sometimes(share: float, seed: int, sweeps: int = 40) -> NDArray[np.bool_]:
    return np.random.default_rng(seed).random(sweeps) < share


def test_the_raster_of_cordless_telephones() -> None:
    # ETSI EN 300 175-2: 1897.344 MHz - c x 1.728 MHz, c = 0..9; the US carriers (47 CFR 15 subpart D) from memory
    europe = [1881.792, 1883.520, 1885.248, 1886.976, 1888.704, 1890.432, 1892.160, 1893.888, 1895.616, 1897.344]
    america = [1921.536, 1923.264, 1924.992, 1926.720, 1928.448]
    for carrier_mhz in europe + america:
        assert dect_carrier_hz(carrier_mhz * 1e6 + 300e3) == pytest.approx(carrier_mhz * 1e6)
    assert dect_carrier_hz(1899.072e6) is None
    assert dect_carrier_hz(1905e6) is None


def test_cordless_telephones_are_told_by_raster_and_width() -> None:
    signals = [Signal(1897.344e6 - 1.728e6 * c, 1.1e6, -70.0, _sometimes(0.6, c)) for c in (1, 5, 8)]
    air = _evening(*signals, low_hz=1_870_000_000, step_hz=50_000, bins=1200)
    assert [one.looks_like for one in air.emitters] == ["DECT"] * 3
    off = _evening(Signal(1890.0e6 - 0.4e6, 1.1e6, -70.0), low_hz=1_870_000_000, step_hz=50_000, bins=1200)
    assert [one.looks_like for one in off.emitters] != ["DECT"]


def test_phones_are_told_by_band_partner_and_their_comings_and_goings() -> None:
    # TS 36.101 table 5.5-1: band 20, 832-862 MHz up, 791-821 MHz down; blocks of 180 kHz (TS 36.211, 6.2.3)
    down = Signal(796e6, 9e6, -60.0)
    up = [Signal(842e6 + 4e6 * k, 4 * 180e3, -75.0, _sometimes(0.2, k)) for k in range(3)]
    air = _evening(down, *up, low_hz=788_000_000, step_hz=45_000, bins=1700)
    assert [one.looks_like for one in air.emitters] == ["mobile downlink"] + ["mobile uplink"] * 3
    assert all(any("4 blocks of 180 kHz" in clue for clue in one.evidence) for one in air.emitters[1:])
    steady = _evening(down, Signal(842e6, 720e3, -75.0), low_hz=788_000_000, step_hz=45_000, bins=1700)
    assert [one.looks_like for one in steady.emitters] == ["mobile downlink", "unknown"]


@pytest.mark.parametrize(
    ("low_hz", "step_hz", "bins", "raster_hz", "width_hz", "channels"),
    [(2_400_000_000, 100_000, 850, 1e6, 0.9e6, 79), (868_000_000, 10_000, 450, 100e3, 60e3, 25)],
)
def test_hopping_is_one_emitter(
    low_hz: int, step_hz: int, bins: int, raster_hz: float, width_hz: float, channels: int
) -> None:
    # 79 channels, 1 MHz apart, from 2402 MHz: the Bluetooth core specification, volume 2, part A, 2 (from memory)
    rng = np.random.default_rng(8)
    at = rng.integers(0, channels, 150)
    places = low_hz + 2 * raster_hz + raster_hz * np.arange(channels)
    signals = [Signal(float(places[k]), width_hz, -70.0, at == k) for k in range(channels)]
    (found,) = _evening(*signals, low_hz=low_hz, step_hz=step_hz, bins=bins, sweeps=150).emitters
    assert found.looks_like == "hopping"
    assert any("multiples of" in clue for clue in found.evidence)


def test_users_who_stay_do_not_hop() -> None:
    rng = np.random.default_rng(9)
    talks = [np.repeat(rng.random(20) < 0.15, 10) for _ in range(12)]
    signals = [Signal(451e6 + 100e3 * k, 10e3, -85.0, talk) for k, talk in enumerate(talks)]
    air = _evening(*signals, low_hz=450_000_000, step_hz=5_000, bins=800, sweeps=200)
    assert not [one for one in air.emitters if one.looks_like == "hopping"]
    assert len(air.emitters) == sum(bool(talk.any()) for talk in talks)


@pytest.mark.parametrize(("width_hz", "name"), [(180e3, "narrow-band IoT"), (200e3, None), (60e3, None)])
def test_flat_tops_are_digital(width_hz: float, name: str | None) -> None:
    # 12 carriers of 15 kHz are 180 kHz: TS 36.211, 10.1
    (found,) = _evening(Signal(803e6, width_hz, -80.0), low_hz=800_000_000, step_hz=5_000, bins=2000).emitters
    assert found.looks_like == "digital narrow-band"
    assert any("narrow-band IoT" in clue for clue in found.evidence) == (name is not None)


def test_a_dome_is_a_carrier_like_fm() -> None:
    # Carson's rule: 2 x (deviation + audio); a Gaussian is 2.1460 / 1.1774 times as wide 10 dB down as 3 dB down
    centres = 800e6 + 5e3 * np.arange(2000)
    dome = np.exp(-0.5 * ((centres - 805e6) / (55e3 / 2.3548)) ** 2)
    power = 10**-13.0 + dome / dome.sum() * 10**-7.0
    levels = 10 * np.log10(power * np.random.default_rng(1).gamma(30, 1 / 30, (20, 2000)))
    series = Series(Axis.regular(800_000_000, 5000, 2000), levels.astype(np.float32), LevelUnit.DBM, rbw_hz=5e3)
    (found,) = judge(Survey((series,))).emitters
    assert found.looks_like == "narrow carrier"
    (told,) = [clue for clue in found.evidence if "Carson" in clue]
    assert float(told.split("about ")[1].split(" kHz")[0]) == pytest.approx(100.2 / 2 - 15, abs=3)


def test_what_the_resolution_hides_is_not_named() -> None:
    (found,) = _evening(Signal(803e6, 180e3, -70.0), low_hz=800_000_000, step_hz=100_000, bins=400).emitters
    assert found.looks_like == "narrow carrier"
