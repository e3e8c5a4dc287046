"""Levels corrected and joined when asked for, against plain arrays that are corrected and joined at once."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from fallow.spectrum.axis import Axis
from fallow.spectrum.chain import Chain, ChainPart
from fallow.spectrum.heard import make_ready
from fallow.spectrum.judging import judge
from fallow.spectrum.levels import Levels
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import Judging
from fallow.units import Channel, Span

BINS = 7


def parts_of(rng: np.random.Generator, heights: list[int]) -> tuple[np.ndarray, ...]:
    """Readings with holes and infinities, as readers and users may hand them over."""
    parts = [(rng.standard_normal((height, BINS)) * 10 - 100).astype(np.float32) for height in heights]
    for part in parts:
        part[rng.random(part.shape) < 0.05] = np.nan
        part[rng.random(part.shape) < 0.03] = np.inf
    return tuple(parts)


def plain(levels: Levels) -> np.ndarray:
    """The plain twin: everything at once."""
    whole = np.concatenate(levels.parts)
    if levels.added_db is not None:
        whole = whole + levels.added_db
    whole[np.isinf(whole)] = np.nan
    whole[whole < np.float32(levels.lowest_db)] = np.nan
    if levels.hidden is not None:
        whole[:, levels.hidden] = np.nan
    return whole


@given(some.integers(0, 10_000), some.lists(some.integers(1, 6), min_size=1, max_size=4), some.data())
def test_any_piece_is_that_of_the_plain_twin(seed: int, heights: list[int], data: some.DataObject) -> None:
    rng = np.random.default_rng(seed)
    levels = Levels(
        parts_of(rng, heights),
        added_db=rng.standard_normal(BINS).astype(np.float32) if seed % 2 else None,
        lowest_db=-115.0 if seed % 3 else -np.inf,
        hidden=rng.random(BINS) < 0.2 if seed % 5 else None,
    )
    whole = plain(levels)
    count = len(levels)
    assert levels.shape == whole.shape
    assert np.array_equal(np.asarray(levels), whole, equal_nan=True)
    assert np.array_equal(list(levels), whole, equal_nan=True)
    rows = data.draw(some.one_of(some.slices(count), some.integers(-count, count - 1)))
    bins = data.draw(some.one_of(some.slices(BINS), some.integers(-BINS, BINS - 1)))
    assert np.array_equal(levels[rows], whole[rows], equal_nan=True)
    assert np.array_equal(levels[rows, bins], whole[rows][..., bins], equal_nan=True)
    picked = rng.integers(0, count, 5)
    assert np.array_equal(levels[picked], whole[picked], equal_nan=True)
    begin, end = sorted(rng.integers(0, count + 1, 2).tolist())
    assert np.array_equal(np.asarray(levels.sweeps(begin, end)), whole[begin:end], equal_nan=True)
    assert np.allclose(np.asarray(levels.raised_by(2.5)), whole + 2.5, equal_nan=True, atol=1e-4)
    blocks = list(levels.blocks(at_once=3 * BINS))
    assert np.array_equal(np.concatenate([block for _, block in blocks]), whole, equal_nan=True)
    assert [place for sweeps, _ in blocks for place in range(sweeps.start, sweeps.stop)] == list(range(count))


def test_a_sweep_that_is_not_there_is_an_index_error() -> None:
    levels = Levels((np.zeros((2, 3), dtype=np.float32),))
    with pytest.raises(IndexError, match="2 sweeps"):
        levels[2]
    with pytest.raises(IndexError, match="3 bins"):
        levels[0, -4]


def test_what_is_given_is_never_changed() -> None:
    part = np.array([[-100.0, np.inf, -300.0]], dtype=np.float32)
    before = part.copy()
    levels = Levels((part,), np.float32([1, 1, 1]), -200.0, np.array([True, False, False]))
    levels[:], levels[0, 0], list(levels)
    assert np.array_equal(part, before)


def test_files_of_one_survey_are_put_in_the_order_of_their_times() -> None:
    axis = Axis.regular(470_000_000, 25_000, 40)
    hours = [
        Series(axis, np.full((2, 40), -90.0 - hour, dtype=np.float32), LevelUnit.DBM, np.array([hour, hour + 0.5]))
        for hour in (2.0, 0.0, 1.0)
    ]
    (heard,), _ = make_ready(Survey(tuple(hours)))
    assert heard.times_s is not None
    assert heard.times_s.tolist() == [0.0, 0.5, 1.0, 1.5, 2.0, 2.5]
    assert heard.levels_db[:, 0].tolist() == [-90.0, -90.0, -91.0, -91.0, -92.0, -92.0]


def test_where_a_time_is_missing_the_order_is_the_one_given() -> None:
    axis = Axis.regular(470_000_000, 25_000, 40)
    first = Series(axis, np.full((1, 40), -90.0, dtype=np.float32), LevelUnit.DBM, np.array([5.0]))
    (heard,), _ = make_ready(Survey((first, Series(axis, first.levels_db - 1, LevelUnit.DBM))))
    assert heard.times_s is None
    assert heard.levels_db[:, 0].tolist() == [-90.0, -91.0]


@pytest.mark.slow
def test_a_long_survey_is_judged_without_a_copy_of_it() -> None:
    """60,000 sweeps of 500 bins are 120 MB: judging them needs no copy of these."""
    rng = np.random.default_rng(3)
    axis = Axis.regular(470_000_000, 25_000, 500)
    hour = (10 * np.log10(rng.gamma(10, 0.1, (6000, 500))) - 105).astype(np.float32)
    series = [Series(axis, hour, LevelUnit.DBM, rbw_hz=25e3) for _ in range(10)]
    chain = Chain((ChainPart("cable", "cable", -3.0, 0.2),))
    channels = [Channel(str(low), low * 1_000_000, (low + 4) * 1_000_000) for low in (470, 474, 478)]
    tracemalloc.start()
    air = judge(Survey(tuple(series)), Judging(), chain=chain, own=[Span(471_000_000, 471_200_000)])
    assert air.judge_slices(channels)[1].level_dbm == pytest.approx(-93.0, abs=0.1)  # 8 cells and the cable's 3 dB
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert air.sweeps == 60_000
    assert peak < 180e6  # 116 MB; a corrected copy alone would add 120 MB, floats of its powers 240 MB
