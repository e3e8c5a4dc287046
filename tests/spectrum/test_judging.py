"""What a judged survey answers, as the contract of verdicts says; invented airs with known truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fallow.errors import UsageError
from fallow.spectrum.axis import Axis
from fallow.spectrum.chain import Chain, ChainPart
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging, Verdict
from fallow.units import Channel, Span
from invented_air import Instrument, Signal, sweep_over

SLICE = Channel("one", 470_000_000, 478_000_000)
USUAL = Instrument(samples=10, sweeps=10, noise_dbm=-125.0)


def _survey(*signals: Signal, instrument: Instrument = USUAL, seed: int = 1) -> Survey:
    return sweep_over(np.random.default_rng(seed), instrument, list(signals))


def _air(*signals: Signal, instrument: Instrument = USUAL, seed: int = 1, **asked: float) -> Air:
    return judge(_survey(*signals, instrument=instrument, seed=seed), Judging(**asked))  # type: ignore[arg-type] # of the test


def test_a_quiet_slice_is_clean_and_the_antenna_is_not_proven() -> None:
    air = _air()
    (judged,) = air.judge_slices([SLICE])
    assert judged.verdict is Verdict.CLEAN
    assert judged.shares[Verdict.CLEAN] == 1.0
    assert judged.u_db == pytest.approx(2.43, abs=0.05)
    assert judged.floor_dbm == pytest.approx(-125 + 10 * np.log10(8), abs=0.5)
    assert any("antenna not proven" in note for note in air.notes)


def test_a_carrier_makes_its_place_occupied_and_the_rest_stays() -> None:
    air = _air(Signal(473.5e6, 0.0, -70.0))
    (judged,) = air.judge_slices([SLICE])
    assert judged.verdict is Verdict.OCCUPIED
    assert judged.level_dbm == pytest.approx(-70.0, abs=0.3)
    assert 0.03 < judged.shares[Verdict.OCCUPIED] < 0.06
    assert judged.shares[Verdict.CLEAN] > 0.9
    assert sum(judged.shares.values()) == pytest.approx(1.0)
    (found,) = air.emitters
    assert found.looks_like == "narrow carrier"
    assert abs(found.centre_hz - 473.5e6) <= 25e3
    assert found.level_dbm == pytest.approx(-70.0, abs=0.5)
    assert not any("antenna not proven" in note for note in air.notes)


def test_a_burst_in_one_sweep_of_fifty_is_met_with_its_level_while_on() -> None:
    on = np.arange(50) == 20
    air = _air(Signal(473.5e6, 0.0, -70.0, on), instrument=replace(USUAL, sweeps=50))
    (judged,) = air.judge_slices([SLICE])
    assert judged.verdict is Verdict.OCCUPIED
    assert judged.level_dbm == pytest.approx(-70.0, abs=1.0)
    assert "in 1 of 50 sweeps" in judged.reasons[0]
    (found,) = air.emitters
    assert found.looks_like == "burst"
    assert found.on_share == pytest.approx(0.02)
    assert found.on_share_low < 0.02 < found.on_share_high


def test_near_the_limit_is_doubtful() -> None:
    (judged,) = _air(Signal(473.5e6, 0.0, -91.0)).judge_slices([SLICE])
    assert judged.verdict is Verdict.DOUBTFUL
    assert "near the limit" in judged.reasons[0]


def test_a_deaf_instrument_never_says_clean() -> None:
    (judged,) = _air(instrument=replace(USUAL, noise_dbm=-100.0)).judge_slices([SLICE])
    assert judged.verdict is Verdict.DOUBTFUL
    assert any("deaf" in reason for reason in judged.reasons)


def test_levels_below_a_resistor_are_deaf() -> None:
    # kTB in 25 kHz is -130.0 dBm (Rec. ITU-R P.372)
    (judged,) = _air(instrument=replace(USUAL, noise_dbm=-131.0)).judge_slices([SLICE])
    assert judged.verdict is Verdict.DOUBTFUL
    assert any("noise of a resistor" in reason for reason in judged.reasons)


def test_a_coarse_step_is_at_best_doubtful() -> None:
    (judged,) = _air(instrument=replace(USUAL, rbw_hz=3_000.0, noise_dbm=-134.0)).judge_slices([SLICE])
    assert judged.verdict is Verdict.DOUBTFUL
    assert any("coarse step" in reason for reason in judged.reasons)


def test_an_unknown_bandwidth_is_said() -> None:
    series = replace(_survey().series[0], rbw_hz=None)
    (judged,) = judge(Survey((series,))).judge_slices([SLICE])
    assert judged.verdict is Verdict.CLEAN
    assert any("resolution bandwidth is not stated" in reason for reason in judged.reasons)


def test_gaps_and_holes() -> None:
    levels = _survey().series[0].levels_db.copy()
    levels[:, 40:80] = np.nan  # 471.0 to 472.0 MHz
    levels[:, 200] = np.nan  # one bin of 25 kHz, more than a tenth of 200 kHz, less than a tenth of 400 kHz
    series = _survey().series[0].with_levels(levels)
    (judged,) = judge(Survey((series,))).judge_slices([SLICE])
    assert judged.verdict is Verdict.NOT_MEASURED
    assert judged.shares[Verdict.NOT_MEASURED] == pytest.approx(0.15, abs=0.05)
    wide = judge(Survey((series,)), Judging(link_width_hz=400_000)).judge_window(474.8e6, 475.2e6)
    assert wide.verdict is Verdict.DOUBTFUL
    assert any("hole" in reason for reason in wide.reasons)
    assert judge(Survey((series,))).judge_window(300e6, 301e6).level_dbm is None


def test_occupied_comes_before_not_measured() -> None:
    levels = _survey(Signal(476e6, 0.0, -60.0)).series[0].levels_db.copy()
    levels[:, 40:80] = np.nan
    (judged,) = judge(Survey((_survey().series[0].with_levels(levels),))).judge_slices([SLICE])
    assert judged.verdict is Verdict.OCCUPIED


def test_own_carriers_are_no_unwanted_level_and_no_emitter() -> None:
    air = judge(_survey(Signal(473.5e6, 0.0, -40.0)), own=[Span(473_400_000, 473_600_000)])
    (judged,) = air.judge_slices([SLICE])
    assert judged.verdict is Verdict.NOT_MEASURED
    assert "our own carriers" in judged.reasons[0]
    assert judged.shares[Verdict.CLEAN] > 0.9
    assert air.emitters == ()


def test_announced_channels_are_occupied_and_make_a_silent_survey_suspect() -> None:
    far = Channel("60", 782_000_000, 790_000_000)
    air = judge(_survey(), announced=[SLICE, far])
    silent, outside = air.judge_slices([SLICE, far])
    assert silent.verdict is outside.verdict is Verdict.OCCUPIED
    assert any("announced" in reason for reason in outside.reasons)
    assert air.judge_window(477.99e6, 478.01e6).verdict is Verdict.OCCUPIED
    quiet = judge(_survey(instrument=replace(USUAL, bins=700)), announced=[SLICE]).judge_window(480e6, 480.2e6)
    assert quiet.verdict is Verdict.DOUBTFUL
    assert any("channel one" in reason for reason in quiet.reasons)
    heard = judge(
        _survey(Signal(474e6, 7.6e6, -80.0), instrument=replace(USUAL, bins=700)), announced=[SLICE]
    ).judge_window(480e6, 480.2e6)
    assert heard.verdict is Verdict.CLEAN


def test_the_worst_of_several_instruments_counts_and_silence_of_one_does_not() -> None:
    loud, quiet = _survey(Signal(473.5e6, 0.0, -70.0)), _survey(instrument=replace(USUAL, rbw_hz=24_000.0), seed=2)
    beyond = _survey(instrument=replace(USUAL, low_hz=600_000_000), seed=3)
    air = judge(Survey.of([loud, quiet, beyond]))
    (judged,) = air.judge_slices([SLICE])
    assert judged.verdict is Verdict.OCCUPIED
    assert judged.shares[Verdict.NOT_MEASURED] == 0.0
    assert air.sweeps == 30


def test_what_could_be_missed() -> None:
    # 1 - 0.05^(1/10), and of a place that only one sweep looked at
    assert _air().missed_share == pytest.approx(1 - 0.05**0.1)
    short = _survey(instrument=replace(USUAL, sweeps=1, low_hz=600_000_000))
    assert judge(Survey.of([_survey(), short])).missed_share == pytest.approx(0.95)


def test_relative_levels_count_from_their_floor() -> None:
    relative = replace(USUAL, unit=LevelUnit.DB, noise_dbm=-60.0, samples=100)
    air = _air(Signal(473.5e6, 100e3, -40.0), instrument=relative)
    assert (air.basis, air.limit_dbm, air.limit_above_floor_db, air.floor_from) == ("relative", None, 6.0, "survey")
    (judged,) = air.judge_slices([SLICE])
    assert judged.verdict is Verdict.OCCUPIED
    (quiet,) = _air(instrument=relative).judge_slices([SLICE])
    assert quiet.verdict is Verdict.CLEAN
    assert any("relative levels" in reason for reason in quiet.reasons)


def test_a_chain_with_an_instrument_makes_relative_levels_absolute() -> None:
    relative = replace(USUAL, unit=LevelUnit.DB, noise_dbm=-60.0)
    chain = Chain((ChainPart("calibration", "instrument", 65.0, 1.0),))
    air = judge(_survey(Signal(473.5e6, 0.0, -5.0), instrument=relative), chain=chain)
    assert air.basis == "absolute"
    (judged,) = air.judge_slices([SLICE])
    assert judged.level_dbm == pytest.approx(-70.0, abs=0.5)


def test_limits_that_do_not_fit_are_refused() -> None:
    relative = _survey(instrument=replace(USUAL, unit=LevelUnit.DB))
    with pytest.raises(UsageError, match="limit in dBm") as refused:
        judge(relative, Judging(limit_dbm=-90.0))
    assert refused.value.hint is not None
    assert "--limit-above-floor" in refused.value.hint
    with pytest.raises(UsageError, match="limit above the floor"):
        judge(_survey(), Judging(limit_above_floor_db=6.0))
    with pytest.raises(UsageError, match="reference has relative levels"):
        judge(_survey(), reference=relative)


def test_a_window_well_above_the_reference_is_at_best_doubtful() -> None:
    relative = replace(USUAL, unit=LevelUnit.DB, noise_dbm=-60.0, samples=100)
    load = _survey(instrument=relative, seed=7)
    for rise_db, verdict in ((0.0, Verdict.CLEAN), (3.5, Verdict.DOUBTFUL)):
        noise = replace(relative, noise_dbm=-60.0 + rise_db)
        air = judge(_survey(instrument=noise, seed=8), reference=load)
        assert air.floor_from == "reference"
        (judged,) = air.judge_slices([SLICE])
        assert judged.verdict is verdict
    assert any("above the floor of the reference" in reason for reason in judged.reasons)


def test_raised_noise_is_no_signal() -> None:
    relative = replace(USUAL, unit=LevelUnit.DB, noise_dbm=-60.0, samples=100)
    load = _survey(instrument=relative, seed=7)
    air = judge(_survey(instrument=replace(relative, noise_dbm=-51.0), seed=8), reference=load)
    (judged,) = air.judge_slices([SLICE])
    assert judged.verdict is Verdict.DOUBTFUL


@pytest.mark.parametrize(("level_dbm", "verdict"), [(-80.0, Verdict.DOUBTFUL), (-70.0, Verdict.OCCUPIED)])
def test_what_peaks_leave_open_is_named(level_dbm: float, verdict: Verdict) -> None:
    """The highest of a hundred single samples of noise lies ln(100) + 0.577 = 5.2 times or 7.1 dB above its mean
    (Rényi 1953): so far below a peak a signal's usual level may lie, and no farther.
    """
    rng = np.random.default_rng(3)
    levels = 10 * np.log10(rng.exponential(size=(100, 1200)).max(axis=0, keepdims=True)) - 118.0
    levels[:, 600] = level_dbm
    axis = Axis.regular(470_000_000, 25_000, 1200)
    series = Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=25e3, detector=Detector.MAX_HOLD)
    (judged,) = judge(Survey((series,))).judge_slices([Channel("", 484_500_000, 485_500_000)])
    assert judged.verdict is verdict
    if verdict is Verdict.DOUBTFUL:
        assert not any("near the limit" in reason for reason in judged.reasons)
        (told,) = (reason for reason in judged.reasons if "the trace shows peaks" in reason)
        lower_db = float(told.split("up to ")[1].split()[0])
        assert lower_db == pytest.approx(7.1, abs=1.0)


def test_max_hold_is_no_raised_floor() -> None:
    plain = _survey(instrument=replace(USUAL, samples=1, sweeps=100)).series[0]
    held = replace(plain, levels_db=plain.levels_db.max(axis=0, keepdims=True), detector=Detector.MAX_HOLD)
    air = judge(Survey((held,)))
    (judged,) = air.judge_slices([SLICE])
    assert judged.verdict in (Verdict.CLEAN, Verdict.DOUBTFUL)
    assert judged.floor_dbm == pytest.approx(-125 + 10 * np.log10(8), abs=1.5)
    assert air.emitters == ()


def test_one_window_asked_in_three_ways() -> None:
    air = _air(Signal(473.5e6, 0.0, -70.0))
    low, high = np.array([473.4e6, 475.0e6]), np.array([473.6e6, 475.2e6])
    many = air.judge_windows(low, high)
    for index in range(2):
        one = air.judge_window(low[index], high[index])
        (as_slice,) = air.judge_slices([Channel("", int(low[index]), int(high[index]))])
        assert one.verdict == as_slice.verdict == many.verdict[index]
        assert one.level_dbm == as_slice.level_dbm == pytest.approx(many.level_dbm[index])
        assert (many.margin_db[index] > 0) == (one.verdict is Verdict.CLEAN)
    with pytest.raises(ValueError, match="lower and a higher edge"):
        air.judge_windows(high, low)
    assert air.judge_slices([]) == ()
    assert air.judge_windows(np.array([]), np.array([])).verdict.size == 0


def test_a_slice_narrower_than_a_link_is_one_window() -> None:
    (judged,) = _air().judge_slices([Channel("", 474_000_000, 474_050_000)])
    assert judged.shares[judged.verdict] == 1.0


@pytest.mark.parametrize(
    ("sweeps", "bins", "step_hz"), [(1, 1, 25_000), (2, 2, 1_000_000), (1, 7, 25_000), (3, 40, 1000)]
)
def test_small_surveys_are_answered(sweeps: int, bins: int, step_hz: int) -> None:
    levels = np.full((sweeps, bins), -100.0, dtype=np.float32)
    for unit in LevelUnit:
        air = judge(Survey((Series(Axis.regular(470_000_000, step_hz, bins), levels, unit),)))
        for judged in air.judge_slices([SLICE, Channel("far", 10, 20)]):
            assert judged.reasons
            assert sum(judged.shares.values()) == pytest.approx(1.0)


def test_irregular_axes_and_gaps() -> None:
    points = np.concatenate([np.arange(470_000_000, 472_000_000, 25_000), np.arange(474_000_000, 478_000_000, 20_000)])
    rng = np.random.default_rng(1)
    levels = (-125 + 10 * np.log10(rng.gamma(10, 0.1, (8, points.size)))).astype(np.float32)
    air = judge(Survey((Series(Axis.irregular(points), levels, LevelUnit.DBM, rbw_hz=25_000.0),)))
    assert air.judge_window(470.5e6, 470.7e6).verdict is Verdict.CLEAN
    assert air.judge_window(473e6, 473.2e6).verdict is Verdict.NOT_MEASURED
    (judged,) = air.judge_slices([SLICE])
    assert judged.shares[Verdict.NOT_MEASURED] == pytest.approx(0.25, abs=0.04)


def test_progress_is_told_and_ends_at_one() -> None:
    told: list[float] = []
    judge(_survey(), progress=told.append)
    assert told[-1] == 1.0
