"""Two copies of a show merged. Truth: a plain three-way merge of dictionaries, written here; and what was put in."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fallow.show.assignment import Assignment
from fallow.show.link import ForeignCarrier, Link
from fallow.showfile.changing import Said
from fallow.showfile.checking import check
from fallow.showfile.copying import copy_show
from fallow.showfile.history import Nature, State, present
from fallow.showfile.kinds import EVENTS, FOREIGN, LINKS, MARKS, MERGES, PLAN_ROWS, PLANS, SETTINGS, SURVEYS
from fallow.showfile.merging import Copies, Side, compare_copies, merge_copies
from fallow.showfile.store import ShowFile
from fallow.showfile.surveys import Recorder, put_survey, read_survey
from fallow.showfile.values import Event, Mark, PlanHead, PlanRow, Setting, SourceFile, SurveyHead
from showfile import invented
from showfile.surveys_alike import assert_same

Images = dict[tuple[str, str], str]
Edit = tuple[str, str, int | None]
NAMES = [f"vox {n}" for n in range(5)]
edits = st.lists(
    st.tuples(st.sampled_from(["link", "foreign", "setting"]), st.sampled_from(NAMES), st.none() | st.integers(1, 3)),
    max_size=5,
)
quick = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def make(path: Path, *todo: Edit) -> None:
    """A show in which this was done, one change each."""
    ShowFile.create(path).close()
    edit(path, todo)


def edit(path: Path, todo: tuple[Edit, ...] | list[Edit]) -> None:
    """Put (a number) or drop (nothing) values, one change each."""
    with ShowFile.open(path, write=True, who="Kim") as show:
        for kind, name, number in todo:
            with show.change("", f"{kind} {name}") as change:
                if number is not None:
                    if kind == "link":
                        change.put(LINKS, Link(name, "hand", priority=number))
                    elif kind == "foreign":
                        change.put(FOREIGN, ForeignCarrier(name, number))
                    else:
                        change.put(SETTINGS, Setting(name, number))
                elif show.get({"link": LINKS, "foreign": FOREIGN, "setting": SETTINGS}[kind], name) is not None:
                    change.drop({"link": LINKS, "foreign": FOREIGN, "setting": SETTINGS}[kind], name)


def images(path: Path) -> Images:
    """All values but what a merge enters."""
    with ShowFile.open(path) as show:
        return {name: row.image or "" for name, row in present(show.connection).items() if name[0] != MERGES.name}


def state(path: Path) -> State:
    with ShowFile.open(path) as show:
        return present(show.connection)


def merge(here: Path, there: Path, both: str = "") -> int | None:
    """Merge; ``both``: which side counts where both were changed differently."""
    with ShowFile.open(here, write=True, who="Kim") as ours, ShowFile.open(there) as theirs:
        copies = compare_copies(ours, theirs)
        assert both or not copies.on(Side.BOTH), [unit.label for unit in copies.on(Side.BOTH)]
        sides = (Side.THERE, Side.JOINED, *((Side.BOTH,) if both == "theirs" else ()))
        taken = [unit for unit in copies.units if unit.side in sides]
        return merge_copies(ours, theirs, copies, taken, Said("Kim", "", "merged", Nature.EDIT))


def compared(here: Path, there: Path) -> Copies:
    with ShowFile.open(here) as ours, ShowFile.open(there) as theirs:
        return compare_copies(ours, theirs)


def three_way(base: Images, here: Images, there: Images, both: str) -> Images:
    """The plain twin."""
    merged: Images = {}
    for name in {*base, *here, *there}:
        b, h, t = base.get(name), here.get(name), there.get(name)
        image = t if h == b else h if t == b or both == "ours" else t
        if image is not None:
            merged[name] = image
    return merged


@pytest.fixture
def pair(tmp_path: Path) -> Callable[..., tuple[Path, Path]]:
    """A show and a copy of it."""

    def build(*todo: Edit) -> tuple[Path, Path]:
        here, there = tmp_path / "here.fallow", tmp_path / "there.fallow"
        make(here, *(todo or (("link", "vox 0", 1),)))
        copy_show(here, there)
        return here, there

    return build


@pytest.mark.slow
@quick
@given(edits, edits, edits, st.sampled_from(["ours", "theirs"]))
def test_a_merge_is_that_of_the_plain_twin_is_undone_by_one_undo_and_does_nothing_twice(
    first: list[Edit], ours: list[Edit], theirs: list[Edit], both: str
) -> None:
    with TemporaryDirectory() as folder:
        here, there = Path(folder) / "here.fallow", Path(folder) / "there.fallow"
        make(here, ("setting", "site", 1), *first)
        base = images(here)
        copy_show(here, there)
        edit(here, ours)
        edit(there, theirs)
        before, their_images = state(here), images(there)
        expected = three_way(base, images(here), their_images, both)
        number = merge(here, there, both)
        assert images(here) == expected
        after = state(here)
        assert merge(here, there, both) is None
        assert state(here) == after
        if number is not None:
            with ShowFile.open(here, write=True) as show:
                undone = show.undo()
                assert undone is not None
                assert undone.number == number
            assert state(here) == before
            with ShowFile.open(here, write=True) as show:
                show.redo()
            assert state(here) == after
        assert images(there) == their_images
        assert merge(there, here) is None or number is not None or ours
        assert images(there) == expected
        assert check(here).is_whole
        assert check(there).is_whole


@pytest.mark.slow
@quick
@given(edits, edits, edits)
def test_independent_edits_merged_are_both_applied(first: list[Edit], ours: list[Edit], theirs: list[Edit]) -> None:
    touched = {(kind, name) for kind, name, _ in ours}
    theirs = [one for one in theirs if one[:2] not in touched]
    with TemporaryDirectory() as folder:
        here, there, one = (Path(folder) / f"{name}.fallow" for name in ("here", "there", "one"))
        make(here, ("setting", "site", 1), *first)
        copy_show(here, there)
        copy_show(here, one)
        edit(here, ours)
        edit(there, theirs)
        edit(one, [*ours, *theirs])
        merge(here, there)
        assert images(here) == images(one)


@pytest.mark.slow
@quick
@given(st.lists(st.tuples(st.sampled_from("hm"), edits, st.sampled_from(["here", "there"])), max_size=5))
def test_two_who_merge_again_and_again_end_alike_and_are_asked_about_nothing_twice(
    steps: list[tuple[str, list[Edit], str]],
) -> None:
    """Edits of the one speak of links, those of the other of strangers, so that no question may ever arise."""
    with TemporaryDirectory() as folder:
        paths = {name: Path(folder) / f"{name}.fallow" for name in ("here", "there")}
        make(paths["here"], ("setting", "site", 1))
        copy_show(paths["here"], paths["there"])
        for what, todo, where in steps:
            other = paths["there" if where == "here" else "here"]
            if what == "m":
                merge(paths[where], other)
            else:
                kind = "link" if where == "here" else "foreign"
                edit(paths[where], [(kind, name, number) for _, name, number in todo])
        expected = {name: image for name, image in images(paths["here"]).items() if name[0] != "foreign"}
        expected |= {name: image for name, image in images(paths["there"]).items() if name[0] == "foreign"}
        merge(paths["here"], paths["there"])
        merge(paths["there"], paths["here"])
        assert images(paths["here"]) == images(paths["there"]) == expected


def test_two_who_merge_each_other_at_the_same_time_are_not_asked_again(pair: Callable[..., tuple[Path, Path]]) -> None:
    here, there = pair()
    edit(here, [("link", "vox 1", 1)])
    edit(there, [("link", "vox 2", 2)])
    old = there.with_name("old.fallow")
    copy_show(there, old)
    merge(there, here)
    merge(here, old)
    edit(here, [("link", "vox 1", 3)])
    edit(there, [("link", "vox 2", 3)])
    merge(here, there)
    merge(there, here)
    assert images(here) == images(there)
    assert [json.loads(images(here)["link", name])["priority"] for name in ("vox 1", "vox 2")] == [3, 3]


def test_a_question_once_decided_is_not_asked_again(pair: Callable[..., tuple[Path, Path]]) -> None:
    here, there = pair()
    edit(here, [("link", "vox 0", 2)])
    edit(there, [("link", "vox 0", 3)])
    (unit,) = compared(here, there).units
    assert (unit.side, unit.label) == (Side.BOTH, "link vox 0")
    merge(here, there, "ours")
    assert compared(here, there).on(Side.BOTH) == ()
    edit(there, [("link", "vox 1", 1)])
    merge(here, there)
    assert json.loads(images(here)["link", "vox 0"])["priority"] == 2
    edit(there, [("link", "vox 0", 4)])
    assert [unit.label for unit in compared(here, there).on(Side.BOTH)] == ["link vox 0"]


def test_what_a_third_copy_brought_is_known(pair: Callable[..., tuple[Path, Path]]) -> None:
    here, there = pair()
    third = here.with_name("third.fallow")
    copy_show(here, third)
    edit(there, [("link", "vox 0", 2)])
    edit(third, [("link", "vox 0", 3)])
    merge(there, third, "ours")
    merge(here, there)
    assert merge(here, third) is None
    assert json.loads(images(here)["link", "vox 0"])["priority"] == 2


def plan(path: Path, made: str, frequencies_hz: Mapping[str, int], name: str = "plan 1") -> None:
    """Store a plan, or move rows of it where ``made`` is the same."""
    with ShowFile.open(path, write=True) as show, show.change("", "plan") as change:
        rows = [PlanRow(name, Assignment(link, "hand", frequency_hz=hz)) for link, hz in frequencies_hz.items()]
        change.put(PLANS, PlanHead(name, made))
        change.put(PLAN_ROWS, *rows)


def test_a_plan_is_never_put_together_from_two(pair: Callable[..., tuple[Path, Path]]) -> None:
    here, there = pair()
    plan(here, "2026-07-18T10:00:00+00:00", {"vox 0": 470_000_000, "vox 1": 471_000_000})
    plan(there, "2026-07-18T11:00:00+00:00", {"vox 0": 470_000_000, "vox 1": 472_000_000, "vox 2": 473_000_000})
    (unit,) = compared(here, there).units
    assert (unit.side, unit.label) == (Side.BOTH, "plan plan 1")
    merge(here, there, "theirs")
    expected = {name: image for name, image in images(there).items() if name[0] in ("plan", "plan_row")}
    assert {name: image for name, image in images(here).items() if name[0] in ("plan", "plan_row")} == expected


def test_rows_of_one_plan_moved_by_hand_are_merged_one_by_one(tmp_path: Path) -> None:
    here, there = tmp_path / "here.fallow", tmp_path / "there.fallow"
    make(here, ("link", "vox 0", 1))
    made = "2026-07-18T10:00:00+00:00"
    plan(here, made, {"vox 0": 470_000_000, "vox 1": 471_000_000})
    copy_show(here, there)
    plan(here, made, {"vox 0": 480_000_000})
    plan(there, made, {"vox 1": 481_000_000})
    merge(here, there)
    with ShowFile.open(here) as show:
        found = {row.assignment.link: row.assignment.frequency_hz for row in show.all(PLAN_ROWS)}
    assert found == {"vox 0": 480_000_000, "vox 1": 481_000_000}


def add_survey(path: Path, name: str, shift_db: float, sha: str = "") -> None:
    """Add an invented survey, its levels shifted, so that each is another."""
    survey = invented.survey()
    shifted = type(survey)(
        tuple(type(one)(**{**vars(one), "levels_db": one.levels_db + np.float32(shift_db)}) for one in survey.series),
        survey.notes,
    )
    with ShowFile.open(path, write=True) as show, show.change("", name) as change:
        before = show.get(SURVEYS, name) or SurveyHead(name, added=f"2026-07-18T{shift_db:02.0f}:00:00+00:00")
        sources = (*before.sources, SourceFile("hall.csv", sha or f"{shift_db}"))
        put_survey(change, SurveyHead(**{**vars(before), "sources": sources}), shifted)


def sweeps_of(path: Path, name: str) -> list[Any]:
    with ShowFile.open(path) as show:
        head = show.get(SURVEYS, name)
        assert head is not None
        return [one.levels_db for one in read_survey(show, head).series]


def test_surveys_of_the_other_come_with_their_sweeps(pair: Callable[..., tuple[Path, Path]]) -> None:
    here, there = pair()
    add_survey(here, "hall", 1)
    add_survey(there, "yard", 2)
    add_survey(there, "stage", 3)
    merge(here, there)
    for name, level in (("hall", 1), ("yard", 2), ("stage", 3)):
        for one, other in zip(sweeps_of(here, name), invented.survey().series, strict=True):
            np.testing.assert_array_equal(one, other.levels_db + np.float32(level))
    assert check(here).is_whole
    merge(there, here)
    with ShowFile.open(here) as ours, ShowFile.open(there) as theirs:
        for name in ("hall", "yard", "stage"):
            heads = [one for show in (ours, theirs) if (one := show.get(SURVEYS, name))]
            assert_same(read_survey(ours, heads[0]), read_survey(theirs, heads[1]))
    assert compared(here, there).units == ()


def test_a_survey_that_grew_in_both_has_all_sweeps_and_a_file_that_both_have_once(
    pair: Callable[..., tuple[Path, Path]],
) -> None:
    here, there = pair()
    add_survey(here, "hall", 1)
    merge(there, here)
    add_survey(here, "hall", 2)
    add_survey(there, "hall", 3)
    (unit,) = compared(here, there).units
    assert unit.side is Side.JOINED
    merge(here, there)
    assert [float(one[0, 0]) for one in sweeps_of(here, "hall")[::2]] == pytest.approx([-109, -108, -107])
    add_survey(there, "yard", 4, "same")
    add_survey(here, "yard", 5, "same")
    assert [unit.side for unit in compared(here, there).units] == [Side.HERE]
    assert merge(here, there) is not None
    assert len(sweeps_of(here, "yard")) == 2
    assert merge(here, there) is None


def test_a_survey_whose_area_was_renamed_here_grows_by_what_came_there(pair: Callable[..., tuple[Path, Path]]) -> None:
    here, there = pair()
    add_survey(here, "hall", 1)
    merge(there, here)
    with ShowFile.open(here, write=True, who="us") as show, show.change("", "area") as change:
        change.put(SURVEYS, *(replace(head, area="main") for head in show.all(SURVEYS)))
    add_survey(there, "hall", 3)
    assert [unit.side for unit in compared(here, there).units] == [Side.JOINED]
    merge(here, there)
    with ShowFile.open(here) as show:
        head = show.get(SURVEYS, "hall")
        assert head is not None
        assert head.area == "main"
    assert len(sweeps_of(here, "hall")) == 4
    merge(there, here)
    assert compared(here, there).units == ()


def test_a_survey_that_was_brought_and_grew_there_grows_here(pair: Callable[..., tuple[Path, Path]]) -> None:
    here, there = pair()
    add_survey(here, "other", 9)  # so that numbers of series differ
    add_survey(there, "yard", 1)
    merge(here, there)
    add_survey(there, "yard", 2)
    merge(here, there)
    assert [float(one[0, 0]) for one in sweeps_of(here, "yard")[::2]] == pytest.approx([-109, -108])
    with ShowFile.open(here) as show:
        (sweeps,) = show.connection.execute("SELECT count(DISTINCT series) FROM fold").fetchone()
    assert sweeps == 6  # nothing was copied twice


def test_a_recording_that_went_on_in_one_copy_is_brought_and_in_both_is_told(tmp_path: Path) -> None:
    here, there = tmp_path / "here.fallow", tmp_path / "there.fallow"
    make(here, ("link", "vox 0", 1))
    like = invented.survey().series[1]
    with ShowFile.open(here, write=True) as show:
        recorder = Recorder.begin(show, SurveyHead("watch"), like)
        recorder.append(like.levels_db[0], 1.0)
    copy_show(here, there)
    with ShowFile.open(there, write=True) as show:
        Recorder(show, recorder.number).append(like.levels_db[1], 2.0)
    assert merge(here, there) is not None
    assert [len(one) for one in sweeps_of(here, "watch")] == [2]
    assert compared(here, there).units == ()
    with ShowFile.open(there, write=True) as show:
        Recorder(show, recorder.number).append(like.levels_db[1], 2.5)
    assert merge(here, there) is not None
    assert [len(one) for one in sweeps_of(here, "watch")] == [3]
    both = tmp_path / "both.fallow"
    copy_show(there, both)
    with ShowFile.open(there, write=True) as show:
        Recorder(show, recorder.number).append(like.levels_db[0], 3.0)
    with ShowFile.open(both, write=True) as show:
        Recorder(show, recorder.number).append(like.levels_db[0] + 1, 3.0)
        Recorder(show, recorder.number).append(like.levels_db[0] + 1, 4.0)
    found = compared(there, both)
    assert found.units == ()
    assert "both copies added sweeps" in found.notes[0]


def test_events_of_both_are_kept_and_marks_stay_where_their_moments_are(
    pair: Callable[..., tuple[Path, Path]],
) -> None:
    here, there = pair()
    for path, name in ((here, "a"), (there, "b")):
        with ShowFile.open(path, write=True) as show, show.change("", "event", is_fact=True) as change:
            change.put(EVENTS, Event(name, "2026-07-18T10:00:00+00:00", "alarm", f"invented {name}"))
    with ShowFile.open(there, write=True) as show, show.change("", "mark", is_fact=True) as change:
        change.put(MARKS, Mark("as handed out", 1, "2026-07-18T10:00:00+00:00"))
    number = merge(here, there)
    assert number is not None
    with ShowFile.open(here, write=True) as show:
        assert {one.id for one in show.all(EVENTS)} == {"a", "b"}
        assert show.all(MARKS) == ()
        show.undo()
        assert {one.id for one in show.all(EVENTS)} == {"a", "b"}
    assert "as handed out" in compared(here, there).notes[0]


def test_a_merge_that_fails_changes_nothing(pair: Callable[..., tuple[Path, Path]], tmp_path: Path) -> None:
    here, there = pair()
    edit(there, [("link", "vox 1", 1)])
    before = state(here)
    with ShowFile.open(here, write=True) as ours, ShowFile.open(there) as theirs:
        copies = compare_copies(ours, theirs)
        (unit,) = copies.units
        broken = type(unit)((type(unit.parts[0])("link", "vox 1", None, None, '{"name":7}'),), Side.THERE)
        with pytest.raises(Exception, match="can't be understood"):
            merge_copies(ours, theirs, copies, [unit, broken], Said("Kim", "", "merged", Nature.EDIT))
    assert state(here) == before
    shutil.copy(there, tmp_path / "copied by hand.fallow")
    assert merge(here, tmp_path / "copied by hand.fallow") is not None
