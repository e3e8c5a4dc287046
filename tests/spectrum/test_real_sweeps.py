"""Real sweeps against what is known of them; skipped where their folder is absent. None of them is part of the project.

The truth is what the collection's README says, seen in the data there.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.spectrum.verdict import JudgedSlice, Judging, Verdict
from fallow.units import Channel

RASTER = [
    Channel(str(21 + index), 470_000_000 + 8_000_000 * index, 478_000_000 + 8_000_000 * index) for index in range(28)
]
OWN_MHZ = (
    480,
    491.52,
    500.8,
    520,
    529.275,
    533.33,
    540,
    560,
    576.315,
    576.645,
    600,
    679.68,
    680,
    690.405,
    694.875,
    703.845,
    708.315,
    737.28,
)
SHOWN_BY_LOAD_ALONE_MHZ = (540,)
IN_BLOCKS_MHZ = (520, 679.68, 680)  # under a television channel, and under a mixing response of the receiver


@pytest.fixture(scope="module")
def folder(airdata: Path) -> Path:
    return airdata / "wideband-300-3000"


def _survey(folder: Path, *names: str) -> Survey:
    axis = Axis.regular(300_000_000, 15_000, 180_001)
    levels = np.array([10 * np.log10(np.load(folder / name)) for name in names], dtype=np.float32)
    return Survey((Series(axis, levels, LevelUnit.DB),))


@pytest.fixture(scope="module")
def with_load(folder: Path) -> Air:
    air = _survey(folder, *(f"psd_arr_{index}.npy" for index in range(4)))
    return judge(air, raster=RASTER, reference=_survey(folder, "ref_psd_arr_0.npy"))


@pytest.fixture(scope="module")
def alone(folder: Path) -> Air:
    return judge(_survey(folder, *(f"psd_arr_{index}.npy" for index in range(4))))


def _channels(air: Air) -> dict[str, JudgedSlice]:
    return {judged.name: judged for judged in air.judge_slices(RASTER)}


def _span(air: Air, low_mhz: float, high_mhz: float) -> JudgedSlice:
    return air.judge_slices([Channel("", round(low_mhz * 1e6), round(high_mhz * 1e6))])[0]


@pytest.mark.parametrize("which", ["with_load", "alone"])
def test_television_is_found_notches_included(which: str, request: pytest.FixtureRequest) -> None:
    air = request.getfixturevalue(which)
    channels = _channels(air)
    for name in ("39", "42"):
        assert channels[name].verdict is Verdict.OCCUPIED
        assert channels[name].shares[Verdict.OCCUPIED] == 1.0
    assert channels["27"].verdict in (Verdict.OCCUPIED, Verdict.DOUBTFUL)
    stations = [one for one in air.emitters if one.looks_like.startswith("TV")]
    assert {one.low_hz for one in stations if one.low_hz < 700e6} <= {518_000_000, 614_000_000, 638_000_000}
    assert {614_000_000, 638_000_000} <= {one.low_hz for one in stations}


@pytest.mark.parametrize("which", ["with_load", "alone"])
def test_blocks_of_the_receiver_are_never_clean_and_never_television(
    which: str, request: pytest.FixtureRequest
) -> None:
    air = request.getfixturevalue(which)
    channels = _channels(air)
    for name in ("46", "47"):
        assert channels[name].verdict in (Verdict.OCCUPIED, Verdict.DOUBTFUL)
    assert channels["47"].shares[Verdict.CLEAN] == 0.0
    assert not [one for one in air.emitters if one.looks_like.startswith("TV") and 670e6 <= one.low_hz < 686e6]


def test_raised_and_unknown_places_are_doubtful(with_load: Air) -> None:
    channels = _channels(with_load)
    assert [channels[name].verdict for name in ("21", "28", "29")] == [Verdict.DOUBTFUL] * 3
    assert channels["21"].shares[Verdict.DOUBTFUL] == 1.0


def test_quiet_channels_are_clean_but_for_lines(with_load: Air) -> None:
    channels = _channels(with_load)
    for name in ("23", "24", "25", "26", *(str(number) for number in range(30, 39)), "40", "41", "44"):
        assert channels[name].verdict in (Verdict.CLEAN, Verdict.DOUBTFUL), name
        assert channels[name].shares[Verdict.CLEAN] > 0.85, name
    for name in ("43", "45", "48"):
        assert channels[name].shares[Verdict.OCCUPIED] < 0.2
        assert channels[name].shares[Verdict.CLEAN] > 0.7
    assert channels["22"].shares[Verdict.OCCUPIED] == 0.0
    assert channels["22"].shares[Verdict.CLEAN] > 0.5


@pytest.mark.parametrize(
    ("low_mhz", "high_mhz"),
    [(470.0, 470.6), (478.0, 478.6), (648.23, 648.43), (669.6, 670.0), (686.0, 686.6)],
)
def test_places_that_are_more_than_their_channel_are_doubtful_or_occupied(
    with_load: Air, low_mhz: float, high_mhz: float
) -> None:
    """The low ends of 21 and 22, a bell in 43, and the skirts of the receiver's blocks in 45 and 48."""
    window = with_load.judge_window(low_mhz * 1e6, high_mhz * 1e6)
    assert window.verdict in (Verdict.OCCUPIED, Verdict.DOUBTFUL)


@pytest.mark.parametrize("which", ["with_load", "alone"])
def test_a_comb_with_small_steps_at_the_edges_of_51_and_52_is_no_television(
    which: str, request: pytest.FixtureRequest
) -> None:
    found = request.getfixturevalue(which).emitters
    assert not [one for one in found if one.looks_like.startswith("TV") and 708e6 <= one.low_hz < 728e6]


@pytest.mark.parametrize("which", ["with_load", "alone"])
@pytest.mark.parametrize(("low_mhz", "high_mhz"), [(832, 862), (2400, 2483)])
def test_bursts_that_come_and_go_between_sweeps_are_occupied(
    which: str, low_mhz: float, high_mhz: float, request: pytest.FixtureRequest
) -> None:
    """The mobile uplink, and Wi-Fi."""
    judged = _span(request.getfixturevalue(which), low_mhz, high_mhz)
    assert judged.verdict is Verdict.OCCUPIED
    assert judged.shares[Verdict.OCCUPIED] > 0.2


def test_the_receivers_own_lines(with_load: Air, alone: Air) -> None:
    for line_mhz in OWN_MHZ:
        low, high = (line_mhz - 0.1) * 1e6, (line_mhz + 0.1) * 1e6
        proven, suspected = with_load.judge_window(low, high), alone.judge_window(low, high)
        if line_mhz not in IN_BLOCKS_MHZ:
            assert proven.verdict is Verdict.DOUBTFUL, line_mhz
            assert suspected.verdict is Verdict.DOUBTFUL or line_mhz in SHOWN_BY_LOAD_ALONE_MHZ, line_mhz
        assert any("instrument's own" in reason for reason in proven.reasons), line_mhz
        for air in (with_load, alone):
            assert not [one for one in air.emitters if one.high_hz - one.low_hz < 1e6 and low <= one.centre_hz <= high]


@pytest.mark.parametrize("which", ["with_load", "alone"])
def test_the_rise_beside_the_strong_downlink_is_noise_or_overload(which: str, request: pytest.FixtureRequest) -> None:
    rise = _span(request.getfixturevalue(which), 740, 790)
    assert rise.verdict is Verdict.DOUBTFUL
    assert rise.shares[Verdict.OCCUPIED] == 0.0
    assert any("overload by the strong signal at 79" in reason for reason in rise.reasons)


@pytest.mark.parametrize("which", ["with_load", "alone"])
@pytest.mark.parametrize(("low_mhz", "high_mhz"), [(791, 821), (925, 960), (1805, 1880), (2110, 2170), (2620, 2690)])
def test_mobile_downlinks_are_occupied(
    which: str, low_mhz: float, high_mhz: float, request: pytest.FixtureRequest
) -> None:
    judged = _span(request.getfixturevalue(which), low_mhz, high_mhz)
    assert judged.verdict is Verdict.OCCUPIED
    assert judged.shares[Verdict.OCCUPIED] > 0.6


def test_gsm_carriers_beside_lte_are_listed_each(with_load: Air) -> None:
    """Carriers on the raster of 200 kHz (3GPP TS 45.005) between 936 and 943 MHz, by the levels 15 dB and more above
    the valleys to both sides; the tuner raises all of 914 to 976 MHz by 12 dB.
    """
    tops_mhz = (937.0, 937.6, 938.4, 939.4, 940.8, 941.8, 942.4)
    found = [one for one in with_load.emitters if one.high_hz - one.low_hz < 600e3]
    assert [any(one.low_hz < 1e6 * top < one.high_hz for one in found) for top in tops_mhz] == [True] * 7


def _wide_rows(airdata: Path) -> Survey:
    rows = [line.split(", ") for line in (airdata / "sdr-wide-rows-0-6000" / "sweep.txt").read_text().splitlines()]
    rows.sort(key=lambda row: int(row[2]))
    levels = np.array([[float(level) for row in rows for level in row[6:]]], dtype=np.float32)
    return Survey((Series(Axis.regular(500_000, 1_000_000, 6000), levels, LevelUnit.DB),))


def test_one_sweep_of_single_samples_can_not_say(airdata: Path) -> None:
    air = judge(_wide_rows(airdata))
    windows = [Channel("", low, low + 1_000_000) for low in range(470_000_000, 700_000_000, 1_000_000)]
    assert {judged.verdict for judged in air.judge_slices(windows)} == {Verdict.DOUBTFUL}
    assert air.judge_window(95e6, 95.2e6).reasons


def test_the_filter_of_a_dongle_is_no_spectrum(airdata: Path) -> None:
    """The round shape of the whole sweep is the receiver's filter (README of the data): no emitter, no clean place."""
    rows = np.loadtxt(airdata / "rtl-vhf-tab" / "1756357992-165531225.gp", delimiter="\t")
    axis = Axis.regular(round(rows[0, 0]), round(rows[1, 0] - rows[0, 0]), len(rows))
    air = judge(Survey((Series(axis, rows[None, :, 1].astype(np.float32), LevelUnit.DB),)))
    slices = air.judge_slices([Channel("", low, low + 200_000) for low in range(165_600_000, 168_200_000, 200_000)])
    assert air.emitters == ()
    assert {judged.verdict for judged in slices} == {Verdict.DOUBTFUL}


def test_what_a_receiver_shows_at_0_hz_is_its_own(airdata: Path) -> None:
    air = judge(_wide_rows(airdata))
    judged = air.judge_slices([Channel("", 0, 1_000_000)])[0]
    assert judged.verdict is Verdict.DOUBTFUL
    assert any("own line" in reason for reason in judged.reasons)


def test_the_phones_uplink(airdata: Path) -> None:
    raw = (airdata / "lte-uplink-704-714" / "LTE_UL_bc17_ts1012_stream_peak1s.dat").read_bytes()
    levels = np.frombuffer(raw[-273_392:], dtype=np.int8).reshape(4882, 56).astype(np.float32)
    axis = Axis.regular(704_060_000, 180_000, 56)
    series = Series(axis, levels, LevelUnit.DBM, rbw_hz=180_000.0, detector=Detector.PEAK)
    air = judge(Survey((series,)), Judging(limit_dbm=-50.0))
    assert air.judge_slices([Channel("", 704_000_000, 714_000_000)])[0].verdict is Verdict.OCCUPIED
    deaf = judge(Survey((series,)), Judging(limit_dbm=-90.0)).judge_slices([Channel("", 704_000_000, 714_000_000)])[0]
    assert deaf.shares[Verdict.CLEAN] == 0.0
