"""What goes into the file comes out: whole surveys, pieces of them, sweeps that arrive one by one.

Truth: the survey itself, and NumPy's slices of it.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from fallow.errors import InputError, UsageError
from fallow.showfile.kinds import SURVEYS
from fallow.showfile.store import ShowFile
from fallow.showfile.surveys import Recorder, put_survey, read_survey
from fallow.showfile.sweeps import Section
from fallow.showfile.values import SurveyHead
from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.workflow.survey import read_sweeps
from showfile import invented
from showfile.surveys_alike import assert_same

HEAD = SurveyHead("load-in")
fractions = st.fractions(1, 10**7, max_denominator=1000)


@st.composite
def axes(draw: st.DrawFn) -> Axis:
    """Regular ones with exact fractions, irregular ones with whole hertz."""
    if draw(st.booleans()):
        return Axis.regular(
            draw(st.fractions(0, 10**10, max_denominator=10**6)), draw(fractions), draw(st.integers(1, 40))
        )
    points = sorted(draw(st.sets(st.integers(0, 10**10), min_size=1, max_size=40)))
    return Axis.irregular(np.array(points, dtype=np.int64), draw(st.integers(1, 10**6)))


@st.composite
def series(draw: st.DrawFn) -> Series:
    """Any series: levels of any bits, times that may be unknown, one by one or all."""
    axis = draw(axes())
    sweeps = draw(st.integers(0, 5))
    levels_db = draw(arrays.arrays(np.float32, (sweeps, axis.n), elements=st.floats(width=32)))
    times_s = draw(st.none() | arrays.arrays(np.float64, (sweeps,), elements=st.floats(-1e10, 1e10) | st.just(np.nan)))
    return Series(
        axis, levels_db, draw(st.sampled_from(LevelUnit)), times_s, draw(st.booleans()),
        draw(st.none() | st.floats(1, 1e7)), draw(st.none() | st.sampled_from(Detector)), draw(invented.words),
        draw(invented.words), draw(invented.words),
    )  # fmt: skip


@given(survey=st.builds(Survey, st.lists(series(), max_size=3).map(tuple), invented.few_words))
@settings(max_examples=60)
def test_a_survey_comes_out_as_it_went_in(survey: Survey) -> None:
    with tempfile.TemporaryDirectory() as folder, ShowFile.create(Path(folder) / "a.fallow") as show:
        with show.change("", "survey") as change:
            head = put_survey(change, HEAD, survey)
        assert_same(survey, read_survey(show, head))


def test_it_comes_out_of_a_closed_file_too(path: Path) -> None:
    with ShowFile.create(path) as show, show.change("", "survey") as change:
        put_survey(change, HEAD, invented.survey())
    with ShowFile.open(path) as show:
        (head,) = show.all(SURVEYS)
        assert head.name == "load-in"
        assert_same(invented.survey(), read_survey(show, head))


def long_series(sweeps: int = 150, bins: int = 2345) -> Series:
    """Sweeps a second apart over several tiles in both directions; each level tells its place."""
    levels_db = (-np.arange(sweeps)[:, None] - np.arange(bins)[None, :] / 1000).astype(np.float32)
    times_s = 1000.0 + np.arange(sweeps, dtype=np.float64)
    return Series(Axis.regular(470_000_000, 25_000, bins), levels_db, LevelUnit.DBM, times_s, zone_known=True)


@given(low=st.integers(0, 2345), width=st.integers(1, 2345), start=st.integers(-5, 155), seconds=st.integers(0, 160))
@settings(max_examples=40)
def test_a_piece_is_what_numpy_cuts_out(low: int, width: int, start: int, seconds: int) -> None:
    whole = long_series()
    show, head = stored_once(whole)
    low_hz = 470_000_000 + (low - 0.4) * 25_000
    section = Section(low_hz, low_hz + (width - 0.2) * 25_000, 1000.0 + start, 1000.0 + start + seconds)
    bins = whole.axis.bins_touching(section.low_hz or 0, section.high_hz or 0)
    rows = slice(max(0, start), max(0, start + seconds + 1))
    if bins.start >= bins.stop:
        with pytest.raises(UsageError, match="nothing was measured"):
            read_survey(show, head, section)
        return
    (piece,) = read_survey(show, head, section).series
    assert piece.axis == whole.axis.cut(bins)
    np.testing.assert_array_equal(piece.levels_db, whole.levels_db[rows, bins])
    assert whole.times_s is not None
    np.testing.assert_array_equal(np.asarray(piece.times_s), whole.times_s[rows])


STORED: dict[str, tuple[ShowFile, SurveyHead]] = {}


def stored_once(whole: Series) -> tuple[ShowFile, SurveyHead]:
    """One file for all the pieces: the first 100 sweeps folded, the rest live."""
    if "only" not in STORED:
        show = ShowFile.create(Path(tempfile.mkdtemp()) / "a.fallow")
        first = Series(whole.axis, whole.levels_db[:100], whole.unit, np.asarray(whole.times_s)[:100], True)
        with show.change("", "survey") as change:
            head = put_survey(change, HEAD, Survey((first,)))
        recorder = Recorder(show, head.series[0])
        for row, time_s in zip(whole.levels_db[100:], np.asarray(whole.times_s)[100:], strict=True):
            recorder.append(row, float(time_s))
        STORED["only"] = (show, head)
    return STORED["only"]


@pytest.fixture(autouse=True, scope="module")
def _closed_at_the_end() -> Iterator[None]:
    yield
    for show, _ in STORED.values():
        show.close()


def test_a_piece_touches_only_its_tiles(path: Path) -> None:
    whole = long_series(128, 3000)
    with ShowFile.create(path) as show:
        with show.change("", "survey") as change:
            head = put_survey(change, HEAD, Survey((whole,)))
        show.connection.execute("UPDATE tile SET levels = x'00' WHERE bin != 1000 OR fold != 2")
        section = Section(496_000_000, 510_000_000, 1070.0, 1080.0)
        (piece,) = read_survey(show, head, section).series
        assert piece.levels_db.shape == (11, 561)
        with pytest.raises(InputError, match="are damaged"):
            read_survey(show, head)


def test_a_missing_tile_is_never_read_as_something(path: Path) -> None:
    with ShowFile.create(path) as show:
        with show.change("", "survey") as change:
            head = put_survey(change, HEAD, Survey((long_series(64, 3000),)))
        show.connection.execute("DELETE FROM tile WHERE bin = 1000")
        with pytest.raises(InputError, match="the sweeps 1 to 64 of series 1 are not whole"):
            read_survey(show, head)


def test_sweeps_that_arrive_one_by_one_come_out_as_one_series(path: Path) -> None:
    whole = long_series()
    with ShowFile.create(path) as show:
        recorder = Recorder.begin(show, HEAD, whole)
        for row, time_s in zip(whole.levels_db, np.asarray(whole.times_s), strict=True):
            recorder.append(row, float(time_s))
            if show.connection.execute("SELECT count(*) FROM sweep").fetchone()[0] == 20:
                recorder = Recorder(show, recorder.number)  # as after a new start
        (head,) = show.all(SURVEYS)
        assert_same(Survey((whole,)), read_survey(show, head))
        folded = show.connection.execute("SELECT first, sweeps FROM fold").fetchall()
        assert folded == [(0, 64), (64, 64)]
        assert len(show.changes()) == 1  # arriving sweeps are no edits


def test_a_survey_that_is_taken_out_comes_back_with_undo(path: Path) -> None:
    with ShowFile.create(path) as show:
        with show.change("", "survey") as change:
            put_survey(change, HEAD, invented.survey())
        with show.change("", "survey out") as change:
            change.drop(SURVEYS, "load-in")
        assert show.all(SURVEYS) == ()
        show.undo()
        (head,) = show.all(SURVEYS)
        assert_same(invented.survey(), read_survey(show, head))


def test_the_same_axis_is_kept_once(path: Path) -> None:
    whole = long_series(3, 10)
    with ShowFile.create(path) as show:
        for name in ("a", "b"):
            with show.change("", "survey") as change:
                put_survey(change, SurveyHead(name), Survey((whole, invented.survey().series[1])))
        assert show.connection.execute("SELECT count(*) FROM axis").fetchone() == (2,)


def test_an_axis_without_whole_hertz_is_kept_exactly(path: Path) -> None:
    axis = Axis.regular(Fraction(165_500_000), Fraction(2_800_000, 512), 512)
    only = Series(axis, np.zeros((1, 512), dtype=np.float32), LevelUnit.DB)
    with ShowFile.create(path) as show:
        with show.change("", "survey") as change:
            head = put_survey(change, HEAD, Survey((only,)))
        assert read_survey(show, head).series[0].axis == axis


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["wideband-300-3000", "sdr-wide-rows-0-6000", "ism433-matrix", "lte-uplink-704-714", "rtl-vhf-tab"]
)
def test_real_sweeps_come_out_as_they_went_in(airdata: Path, name: str, path: Path) -> None:
    readings = read_sweeps([airdata / name])
    survey = Survey(tuple(one for reading in readings for one in getattr(reading, "series", ())))
    assert survey.n_sweeps
    with ShowFile.create(path) as show:
        with show.change("", "survey") as change:
            head = put_survey(change, HEAD, survey)
        assert_same(survey, read_survey(show, head))
