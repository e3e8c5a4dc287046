"""Comparisons of noise that scatters unlike the model, of traces whose kind nobody states, and of weak even rises.

Truth is what the invented readings were given. Promised is 95 % over a whole comparison: of n pairs of noise at most as
many show a change as a right program shows once in a thousand (binomial distribution, SciPy).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from fallow.change.surveys import compare_surveys
from fallow.change.values import Change, SurveyChange, What
from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import judge
from fallow.spectrum.noise.upper_tail import UpperTail
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey

Levels = NDArray[np.float64]
Noise = Callable[[np.random.Generator, int, int], Levels]
STEP_HZ = 25_000


def even(rng: np.random.Generator, sweeps: int, bins: int) -> Levels:
    """A swept analyser that does not average, as one was seen: normal in decibels, 5.6 dB."""
    return np.asarray(rng.normal(-110.0, 5.6, (sweeps, bins)))


def single(rng: np.random.Generator, sweeps: int, bins: int) -> Levels:
    """Single readings of noise power."""
    return np.asarray(-110.0 + 10.0 * np.log10(rng.exponential(size=(sweeps, bins))))


def held(rng: np.random.Generator, sweeps: int, bins: int) -> Levels:
    """The highest of so many sweeps as one."""
    return np.asarray(single(rng, sweeps, bins).max(axis=0, keepdims=True))


def compared(old: Levels, new: Levels, detector: Detector | None = None) -> SurveyChange:
    axis = Axis.regular(470_000_000, STEP_HZ, old.shape[1])
    surveys = [
        Survey((Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=float(STEP_HZ), detector=detector),))
        for levels in (old, new)
    ]
    return compare_surveys(*(judge(survey) for survey in surveys))


def most_by_luck(pairs: int) -> int:
    return int(stats.binom.ppf(0.999, pairs, 0.05))


def floors(found: SurveyChange) -> list[Change]:
    return [change for change in found.changes if change.what is What.FLOOR]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("noise", "sweeps", "bins"),
    [(even, 1, 1000), (even, 10, 1000), (even, 60, 500), (held, 10, 1000), (held, 100, 1000)],
)
def test_noise_of_every_kind_makes_no_change(noise: Noise, sweeps: int, bins: int) -> None:
    changed = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        changed += bool(compared(noise(rng, sweeps, bins), noise(rng, sweeps, bins)).changes)
    assert changed <= most_by_luck(20)


def test_holds_over_unlike_numbers_of_sweeps_are_no_risen_floor() -> None:
    changed = 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        changed += bool(compared(held(rng, 10, 2000), held(rng, 100, 2000)).changes)
    assert changed <= most_by_luck(10)


def test_one_kind_taken_for_both_is_said() -> None:
    rng = np.random.default_rng(2)
    said = [note for note in compared(held(rng, 30, 2000), held(rng, 30, 2000)).notes if "taken so" in note]
    assert len(said) == 1
    plain = compared(single(rng, 10, 1000), single(rng, 10, 1000))
    assert not any("taken so" in note for note in plain.notes)


# --- carriers in noise that scatters evenly


@pytest.mark.parametrize(("noise", "sweeps", "above_db"), [(even, 10, 17.0), (even, 60, 10.0), (single, 10, 14.0)])
def test_a_carrier_that_appears_in_it_is_found(noise: Noise, sweeps: int, above_db: float) -> None:
    """One bin, in all sweeps, so far above the mean power of the noise: 95 times in 100, so 8 of 10 at least."""
    found = 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        old, power = noise(rng, sweeps, 800), 10.0 ** (noise(rng, sweeps, 800) / 10.0)
        power[:, 400] += power.mean() * 10.0 ** (above_db / 10.0)
        changes = compared(old, 10.0 * np.log10(power)).changes
        centre_hz = 470e6 + 400 * STEP_HZ
        found += [one.what for one in changes if one.low_hz <= centre_hz <= one.high_hz] == [What.APPEARED]
    assert found >= stats.binom.ppf(0.005, 10, 0.95)


def test_three_sweeps_a_side_are_enough_for_a_carrier_near_the_noise() -> None:
    """200 kHz wide, 4 dB over averaged noise in each of its bins: 95 times in 100, so 8 of 10 at least."""
    found = 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        old, new = (-115.0 + 10.0 * np.log10(rng.gamma(4.0, 0.25, (3, 800))) for _ in range(2))
        changes = compared(old, with_carriers(new, {400: -101.0}, rng)).changes
        found += [one.what for one in changes if one.low_hz <= 470e6 + 403.5 * STEP_HZ <= one.high_hz] == [
            What.APPEARED
        ]
    assert found >= stats.binom.ppf(0.005, 10, 0.95)


# --- carriers in noise with a heavy end


def heavy(rng: np.random.Generator, sweeps: int, bins: int) -> Levels:
    """Student's t with five degrees of freedom, in steps of 2 dB: single readings 20 dB above the rest."""
    return np.asarray(-115.0 + 2.0 * rng.standard_t(5, (sweeps, bins)))


def with_carriers(noise: Levels, levels_dbm: dict[int, float], rng: np.random.Generator) -> Levels:
    """Carriers 200 kHz wide from a bin on, each of which wanders by 1 dB from sweep to sweep."""
    power = 10.0 ** (noise / 10.0)
    for first, level in levels_dbm.items():
        wandering = rng.normal(level, 1.0, (len(noise), 1))
        power[:, first : first + 8] += 10.0 ** (wandering / 10.0) / 8
    return np.asarray(10.0 * np.log10(power))


def crowd(rng: np.random.Generator, count: int) -> dict[int, float]:
    firsts = np.sort(rng.choice(np.arange(10, 1180, 14), count, replace=False))
    return {int(first): float(level) for first, level in zip(firsts, rng.uniform(-85.0, -50.0, count), strict=True)}


@pytest.mark.slow
@pytest.mark.parametrize(("sweeps", "carriers"), [(20, 40), (20, 10), (3, 40)])
def test_single_readings_far_up_between_carriers_are_no_change(sweeps: int, carriers: int) -> None:
    changed = 0
    for seed in range(1000, 1020):
        rng = np.random.default_rng(seed)
        there = crowd(rng, carriers)
        old, new = (with_carriers(heavy(rng, sweeps, 1200), there, rng) for _ in range(2))
        changed += bool(compared(old, new).changes)
    assert changed <= most_by_luck(20)


def test_what_comes_and_goes_for_good_between_them_is_found() -> None:
    """One of 40 carriers vanishes and another appears: two changes in each of six pairs, whatever single readings do in
    the place of the one that is not there.
    """
    for seed in range(5000, 5006):
        rng = np.random.default_rng(seed)
        there = crowd(rng, 42)
        firsts = list(there)
        gone, come = firsts[1], firsts[40]
        before = {first: level for first, level in there.items() if first != come}
        after = {first: level for first, level in there.items() if first != gone}
        old, new = (with_carriers(heavy(rng, 20, 1200), air, rng) for air in (before, after))
        changes = compared(old, new).changes
        assert [change.what for change in changes] == [What.VANISHED, What.APPEARED]
        for change, first in zip(changes, (gone, come), strict=True):
            assert change.low_hz <= 470e6 + (first + 3.5) * STEP_HZ <= change.high_hz


# --- weak even rises


@pytest.mark.parametrize("noise", [even, single])
def test_an_even_rise_over_75_megahertz_is_one_stretch(noise: Noise) -> None:
    """3 dB from 520 to 595 MHz, in 10 of 10 pairs one change with its amount; edges to a tenth of its width."""
    for seed in range(6):
        rng = np.random.default_rng(seed)
        old, new = noise(rng, 10, 8000), noise(rng, 10, 8000)
        new[:, 2000:5000] += 3.0
        (change,) = compared(old, new).changes
        assert change.what is What.FLOOR
        assert change.difference_db == pytest.approx(3.0, abs=0.4)
        assert 0.70 < change.u_db < 0.80  # repeatability of two surveys, 0.71 dB, and a little noise
        assert change.low_hz == pytest.approx(520e6, abs=7.5e6)
        assert change.high_hz == pytest.approx(595e6, abs=7.5e6)


def test_a_rise_that_one_sweep_can_not_show_bin_by_bin_shows_over_its_width() -> None:
    """One sweep that scatters by 5.6 dB: 3.5 dB over 75 MHz are found in most pairs, and as one stretch."""
    found = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        old, new = even(rng, 1, 8000), even(rng, 1, 8000)
        new[:, 2000:5000] += 3.5
        found.append(len(floors(compared(old, new))))
    assert max(found) == 1
    assert sum(found) >= 5


def test_two_rises_with_plain_air_between_are_two() -> None:
    rng = np.random.default_rng(4)
    old, new = single(rng, 20, 6000), single(rng, 20, 6000)
    new[:, 1000:2200] += 4.0
    new[:, 3000:4200] += 4.0
    assert len(floors(compared(old, new))) == 2


# --- the arithmetic


@pytest.mark.parametrize("readings", [4, 10, 40])
def test_means_of_readings_that_scatter_evenly_reach_as_far_as_drawn_ones(readings: int) -> None:
    """Against 200,000 drawn means at 1 in 1,000 and 1 in 10,000: one high reading makes a high mean."""
    rng, tail = np.random.default_rng(5), UpperTail(1e6, even_db=5.6)
    means = 10.0 * np.log10((10.0 ** (rng.normal(0.0, 5.6, (200_000, readings)) / 10.0)).mean(axis=1))
    for chance in (1e-3, 1e-4):
        assert tail.exceeded_db(chance, readings) == pytest.approx(np.quantile(means, 1.0 - chance), abs=1.0)
    assert tail.spread_db(readings) == pytest.approx(means.std(), rel=0.2)


@pytest.mark.parametrize("sweeps", [3, 20])
def test_a_trace_that_hardly_moves_is_one_look(sweeps: int) -> None:
    """Ten pairs in which each survey shows one and the same noise in all its sweeps, but for 0.3 dB: counted as so many
    looks each, 20 sweeps made dozens of changes a pair.
    """
    rng, changed = np.random.default_rng(sweeps), 0
    for _ in range(10):
        old, new = (single(rng, 1, 1600) + rng.normal(0.0, 0.3, (sweeps, 1600)) for _ in range(2))
        changed += bool(compared(old, new).changes)
    assert changed <= most_by_luck(10)
    new[:, 800:808] += 35.0
    assert [change.what for change in compared(old, new).changes] == [What.APPEARED]
