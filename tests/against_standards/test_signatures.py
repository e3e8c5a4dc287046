"""Signals of other services: widths and pilots of ETSI EN 300 744, ATSC A/53, ARIB STD-B31, 3GPP TS 36.101 and TS
38.101-1.
"""

from __future__ import annotations

import numpy as np
import pytest

from fallow.spectrum.judging import judge
from fallow.spectrum.services import ATSC_PILOT_HZ, MOBILE_WIDTHS, TELEVISION
from fallow.spectrum.sweep import Survey
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
