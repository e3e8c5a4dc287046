"""How often an emitter was on, over invented two-state chains with known truth; and whether it keeps a beat.

Variance of the mean of such a chain and its effective samples: Rec. ITU-R SM.1880, Report ITU-R SM.2256 (dependent
samples); figures recomputed with the closed form p(1-p)/N·[1 + 2Σ(1-k/N)r^k].
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from fallow.spectrum.found.on_air import effective_sweeps, on_air, told_on_air
from fallow.spectrum.found.regular import find_regular, lone_distances
from fallow.spectrum.statistics import binomial_limits


def _chain(rng: np.random.Generator, sweeps: int, mean_on: float, mean_off: float) -> NDArray[np.bool_]:
    """A chain whose runs last ``mean_on`` and ``mean_off`` sweeps on average, begun in its steady state."""
    draws, on = rng.random(sweeps), np.empty(sweeps, dtype=bool)
    on[0] = draws[0] < mean_on / (mean_on + mean_off)
    for index in range(1, sweeps):
        on[index] = draws[index] >= 1 / mean_on if on[index - 1] else draws[index] < 1 / mean_off
    return on


def _looked(on: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.ones(on.size, dtype=bool)


@pytest.mark.parametrize(("revisit_s", "sweeps", "worth"), [(1, 3600, 200.3), (5, 720, 195.5), (10, 360, 182.1)])
def test_effective_sweeps(revisit_s: int, sweeps: int, worth: float) -> None:
    # on for 10 s, off for 90 s on average, one hour: N(1-r)/(1+r) with r = exp(-revisit·(1/10 + 1/90))
    memory = math.exp(-revisit_s * (1 / 10 + 1 / 90))
    lags = np.arange(1, sweeps)
    exactly = sweeps / (1 + 2 * float(((1 - lags / sweeps) * memory**lags).sum()))
    assert exactly == pytest.approx(worth, abs=0.05)
    assert sweeps * (1 - memory) / (1 + memory) == pytest.approx(exactly, rel=0.005)
    rng = np.random.default_rng(1)
    up, down = 0.1 * (1 - memory), 0.9 * (1 - memory)
    found = [
        effective_sweeps(on, np.ones(sweeps - 1, dtype=bool))
        for on in (_chain(rng, sweeps, 1 / down, 1 / up) for _ in range(40))
    ]
    # the estimate leans to fewer, by the error of a rate that is told by some 70 changes
    assert 0.8 * worth < float(np.median(found)) < 1.1 * worth


@pytest.mark.parametrize("sweeps", [60, 200])
@pytest.mark.parametrize(("mean_on", "mean_off"), [(1.25, 5), (2, 2), (2, 18), (5, 5), (10, 20), (18, 2)])
def test_limits_hold_with_memory(sweeps: int, mean_on: float, mean_off: float) -> None:
    # of those that were seen at all 95 in 100, but for the scatter of 300 trials (three standard errors)
    rng, share = np.random.default_rng(sweeps), mean_on / (mean_on + mean_off)
    chains = [on for on in (_chain(rng, sweeps, mean_on, mean_off) for _ in range(300)) if on.any()]
    found = [on_air(on, _looked(on), None, 95.0) for on in chains]
    held = sum(one.low <= share <= one.high for one in found) / len(found)
    assert held >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / len(found))


def test_limits_that_take_sweeps_as_independent_do_not_hold() -> None:
    # why memory is allowed for: the same chains, the plain binomial limits
    rng = np.random.default_rng(3)
    chains = [_chain(rng, 200, 10, 20) for _ in range(300)]
    limits = [binomial_limits(int(on.sum()), on.size, 95.0) for on in chains]
    assert sum(low <= 1 / 3 <= high for low, high in limits) / len(limits) < 0.6


def test_independent_sweeps_keep_narrow_limits() -> None:
    rng = np.random.default_rng(4)
    on = rng.random(400) < 0.3
    found, plain = on_air(on, _looked(on), None, 95.0), binomial_limits(int(on.sum()), 400, 95.0)
    assert found.high - found.low < 1.3 * (plain[1] - plain[0])


@pytest.mark.parametrize(
    ("beat", "sweeps", "length", "missed"), [(60, 600, 1, 0.0), (30, 400, 2, 0.2), (10, 100, 3, 0.0), (7, 70, 1, 0.0)]
)
def test_a_beat_is_named(beat: int, sweeps: int, length: int, missed: float) -> None:
    rng, named = np.random.default_rng(beat), 0
    for _ in range(40):
        on = np.zeros(sweeps, dtype=bool)
        for start in np.arange(rng.uniform(0, beat), sweeps - length, beat):
            if rng.random() >= missed:
                on[int(start) : int(start) + length] = True
        found = on_air(on, _looked(on), None, 95.0).beat
        named += found is not None and abs(found.step - beat) < 0.5
    assert named >= 36


@pytest.mark.parametrize(("mean_on", "mean_off"), [(1.1, 1.1), (1.2, 4), (2, 2), (2, 20), (8, 8), (3, 40)])
def test_chance_makes_no_beat(mean_on: float, mean_off: float) -> None:
    # at most one in a hundred; 150 trials allow for five (binomial, 99.6 %)
    rng = np.random.default_rng(6)
    chains = [_chain(rng, 300, mean_on, mean_off) for _ in range(150)]
    assert sum(on_air(on, _looked(on), None, 95.0).beat is not None for on in chains) <= 5


def test_points_at_random_show_no_step() -> None:
    rng = np.random.default_rng(7)
    lone = lone_distances(1 / 20, 1, 400)
    found = [find_regular(rng.geometric(1 / 20, 12), lone) for _ in range(300)]
    assert sum(one is not None and one.chance < 0.01 for one in found) <= 8


def test_when_it_was_seen_is_told_with_times() -> None:
    on = np.zeros(600, dtype=bool)
    on[5::60] = True
    times_s = 1_700_000_000.0 + np.arange(600)
    found = on_air(on, _looked(on), times_s, 95.0)
    assert (found.first_s, found.last_s) == (times_s[5], times_s[545])
    assert (found.runs, found.shortest, found.longest) == (10, 1, 1)
    told = " ".join(told_on_air(found, zone_known=True))
    seen = "first seen 2023-11-14 22:13:25, last 22:22:25 UTC"
    for words in ("on in 10 of 600 sweeps", "10 runs of 1 sweep", "comes every 60 s", seen):
        assert words in told


def _bursts(times_s: np.ndarray, every_s: float, jitter_s: float, long_s: float) -> np.ndarray:
    """Which sweeps meet bursts that begin every so many seconds, each early or late by up to ``jitter_s``."""
    rng, on = np.random.default_rng(8), np.zeros(times_s.size, dtype=bool)
    for begin in np.arange(20.0, times_s[-1], every_s):
        late = begin + rng.uniform(-jitter_s, jitter_s)
        on |= (times_s >= late) & (times_s < late + long_s)
    return on


@pytest.mark.parametrize("what", ["plain", "gap", "clock set forward", "clock set back"])
@pytest.mark.parametrize(("every_s", "jitter_s", "long_s"), [(60.0, 2.0, 5.0), (47.0, 0.5, 3.0)])
def test_a_beat_lives_through_pauses_and_clocks_that_jump(
    what: str, every_s: float, jitter_s: float, long_s: float
) -> None:
    """An hour of sweeps of one second; the beat, the counted runs and the span of times are those that were made."""
    true_s = np.arange(3600.0) + (np.arange(3600) >= 1800) * (600.0 if what == "gap" else 0.0)
    on = _bursts(true_s, every_s, jitter_s, long_s)
    set_by = {"clock set forward": 37.4, "clock set back": -300.0}.get(what, 0.0)
    clock_s = 1.7e9 + true_s + (np.arange(3600) >= 1800) * set_by
    found = on_air(on, _looked(on), clock_s, 95.0)
    assert found.period_s is not None
    assert found.period_u_s is not None
    assert abs(found.period_s - every_s) <= found.period_u_s <= 0.01 * every_s
    assert found.beat is not None
    assert found.beat.count == pytest.approx(true_s[-1] / every_s, abs=15 if what == "gap" else 3)
    assert (found.first_s, found.last_s) == (clock_s[on].min(), clock_s[on].max())
    assert found.low <= long_s / every_s <= found.high


@pytest.mark.parametrize(
    ("period_s", "sweep_s", "sweeps", "long_s", "starts_by_s", "beats_by_s", "missed"),
    [
        (65.0, 10.0, 360, 20.0, 0.0, 0.0, 0.0),
        (47.3, 2.0, 900, 3.0, 0.0, 0.0, 0.0),
        (65.0, 2.0, 900, 6.0, 0.0, 0.0, 0.2),
        (65.0, 1.0, 1500, 5.0, 3.0, 0.0, 0.0),  # each start early or late
        (65.0, 1.0, 1500, 5.0, 0.0, 3.0, 0.0),  # each beat longer or shorter, which adds up
    ],
)
def test_the_error_of_a_beat_covers_the_truth(
    period_s: float, sweep_s: float, sweeps: int, long_s: float, starts_by_s: float, beats_by_s: float, missed: float
) -> None:
    """Counted over simulated emitters; the truth is the period that they were made with: 95 in 100 at least."""
    rng, times_s, covered, named = np.random.default_rng(11), np.arange(sweeps) * sweep_s, 0, 0
    for _ in range(30):
        on, begin = np.zeros(sweeps, dtype=bool), rng.uniform(0.0, period_s)
        while begin < times_s[-1]:
            late = begin + rng.uniform(-starts_by_s, starts_by_s)
            if rng.random() >= missed:
                on |= (times_s >= late) & (times_s < late + long_s)
            begin += period_s + rng.uniform(-beats_by_s, beats_by_s)
        found = on_air(on, _looked(on), 1.7e9 + times_s, 95.0)
        if found.period_s is not None and found.period_u_s is not None:
            named += 1
            covered += abs(found.period_s - period_s) <= found.period_u_s
            assert found.period_u_s <= 0.03 * period_s
    assert named >= 28
    assert covered >= named - 3  # of 30 where 95 in 100 are right: more misses come less than once in 20


def test_a_beat_counted_over_the_whole_span_is_off_by_a_sweep_over_its_periods() -> None:
    times_s = np.arange(360) * 10.0
    on = times_s % 65.0 < 20.0
    found = on_air(on, _looked(on), 1.7e9 + times_s, 95.0)
    assert found.period_s == 65.0
    assert found.period_u_s == pytest.approx(10.0 / 54)
    assert "comes every 65 s (±0.2 s), 55 times" in " ".join(told_on_air(found, zone_known=True))


def test_what_alternates_with_the_sweeps_keeps_a_beat_that_may_be_a_faster_one() -> None:
    on = np.arange(120) % 2 == 0
    times_s = np.asarray(1.7e9 + np.arange(120) * 10.0, dtype=np.float64)
    found = on_air(on, _looked(on), times_s, 95.0)
    assert (found.period_s, found.beat is not None and found.beat.step) == (20.0, 2.0)
    assert "that is every second sweep, and what comes more often would look the same" in " ".join(
        told_on_air(found, zone_known=True)
    )
    rng = np.random.default_rng(12)  # a coin that is thrown for each sweep alternates half of the time
    coins = [rng.random(300) < 0.5 for _ in range(100)]
    assert not any(on_air(coin, _looked(coin), None, 95.0).beat for coin in coins)


def test_sweeps_far_apart_are_no_neighbours() -> None:
    # two files of one place, an hour apart: on to the end of the first, on from the start of the second
    on = np.array([False] * 5 + [True] * 10 + [False] * 5)
    times_s = np.concatenate([np.arange(10.0), 3600 + np.arange(10.0)])
    found = on_air(on, _looked(on), times_s, 95.0)
    assert (found.runs, found.longest) == (2, 5)


def test_sweeps_that_did_not_look_do_not_count() -> None:
    on, looked = np.array([True, False, True, False]), np.array([True, False, True, True])
    found = on_air(on, looked, None, 95.0)
    assert (found.on, found.sweeps, found.runs) == (2, 3, 1)
    nothing = on_air(on, np.zeros(4, dtype=bool), None, 95.0)
    assert (nothing.sweeps, nothing.low, nothing.high) == (0, 0.0, 1.0)


@pytest.mark.parametrize("wrapped", [0.3, 0.95])
def test_readings_that_are_missing_while_it_was_on_widen_the_limits(wrapped: float) -> None:
    """A receiver whose strongest readings wrap round to impossible ones loses just those sweeps in which it was on."""
    rng, share = np.random.default_rng(6), 0.35
    held = []
    for _ in range(200):
        on = rng.random(300) < share
        looked = ~(on & (rng.random(300) < wrapped))
        found = on_air(on & looked, looked, None, 95.0)
        held.append(found.low <= share <= found.high)
        seen = binomial_limits(found.on, found.sweeps, 95.0)
        assert not seen[0] <= share <= seen[1] or wrapped < 0.5  # what the sweeps that looked would claim
    assert np.mean(held) >= 0.95


def test_sweeps_without_a_level_are_told() -> None:
    looked = np.ones(100, dtype=bool)
    looked[:40] = False
    told = told_on_air(on_air(np.arange(100) >= 90, looked, None, 95.0), zone_known=False)
    assert told[0].startswith("on in 10 of 60 sweeps")
    assert told[1].startswith("40 more sweeps have no valid level there and count neither as on nor as off: on up to ")
