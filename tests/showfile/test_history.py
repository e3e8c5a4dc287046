"""Undo, redo and the past, against a plain twin: a list of whole states.

Truth: the twin below, which keeps every state whole and knows no images.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.errors import UsageError
from fallow.show.link import Link
from fallow.showfile.changing import Change
from fallow.showfile.history import Nature, difference, present
from fallow.showfile.kinds import EVENTS, LINKS, MARKS, SETTINGS
from fallow.showfile.store import ShowFile
from fallow.showfile.values import Event, Mark, Setting
from showfile import invented

names = st.sampled_from(["a", "b", "c", "d"])
put = st.tuples(st.just("put"), names, st.sampled_from(["hand", "ear"]))
drop = st.tuples(st.just("drop"), names, st.just(""))
edits = st.lists(put | drop, min_size=1, max_size=4)
steps = st.lists(edits | st.sampled_from(["undo", "redo", "fact"]), max_size=14)


class Twin:
    """The plain twin: states as dictionaries whose order is the order of the links."""

    def __init__(self) -> None:
        self.state: dict[str, str] = {}
        self.stood: list[dict[str, str]] = []
        self.undone: list[dict[str, str]] = []
        self.seen: list[dict[str, str]] = [{}]

    def edit(self, todo: list[tuple[str, str, str]]) -> None:
        """Put and drop; nothing is kept of what changes nothing."""
        before = deepcopy(self.state)
        touched = False
        for verb, name, equipment in todo:
            if verb == "put":
                touched |= self.state.get(name) != equipment
                self.state[name] = equipment
            elif name in self.state:
                touched = True
                del self.state[name]
        if touched:
            self.stood.append(before)
            self.undone.clear()
            self.seen.append(deepcopy(self.state))

    def undo(self) -> bool:
        """Back to the state before the last edit that stands."""
        if not self.stood:
            return False
        self.undone.append(self.state)
        self.state = self.stood.pop()
        self.seen.append(deepcopy(self.state))
        return True

    def redo(self) -> bool:
        """On to the state after it again."""
        if not self.undone:
            return False
        self.stood.append(self.state)
        self.state = self.undone.pop()
        self.seen.append(deepcopy(self.state))
        return True


@given(steps=steps)
@settings(max_examples=60)
def test_undo_redo_and_the_past_agree_with_a_plain_twin(steps: list[list[tuple[str, str, str]] | str]) -> None:
    with tempfile.TemporaryDirectory() as folder, ShowFile.create(Path(folder) / "a.fallow", "Kim") as show:
        twin = Twin()
        for step in steps:
            if step == "undo":
                assert (show.undo() is not None) == twin.undo()
            elif step == "redo":
                assert (show.redo() is not None) == twin.redo()
            elif step == "fact":
                number = len(show.changes())
                with show.change("", "event", is_fact=True) as change:
                    change.put(EVENTS, Event(f"e{number}", "", "note", "something happened"))
                twin.seen.append(deepcopy(twin.state))
            else:
                do(show, twin, step)
            assert kept(show.all(LINKS)) == list(twin.state.items())
        for number, state in enumerate(twin.seen):
            assert dict(kept(show.past(number).all(LINKS))) == state
        assert len(show.changes()) == len(twin.seen) - 1


def do(show: ShowFile, twin: Twin, todo: list[tuple[str, str, str]]) -> None:
    """The same edit in both."""
    with show.change("", "edit") as change:
        there = {link.name for link in show.all(LINKS)}
        for verb, name, equipment in todo:
            if verb == "put":
                change.put(LINKS, Link(name, equipment))
                there.add(name)
            elif name in there:
                change.drop(LINKS, name)
                there.discard(name)
    twin.edit(todo)


def kept(links: tuple[Link, ...]) -> list[tuple[str, str]]:
    """Links as the twin keeps them."""
    return [(link.name, link.equipment) for link in links]


def test_the_history_says_who_when_why_and_what(path: Path) -> None:
    with ShowFile.create(path, "Kim") as show:
        with show.change("the guests came", "links: 3 added") as change:
            change.put(LINKS, *invented.LINKS)
        (only,) = show.changes()
        assert (only.number, only.who, only.why, only.what) == (1, "Kim", "the guests came", "links: 3 added")
        assert only.nature is Nature.EDIT
        assert only.at.endswith("+00:00")


def test_undone_changes_stay_visible_and_a_new_one_ends_redo(path: Path) -> None:
    with ShowFile.create(path, "Kim") as show:
        for number in (1, 2):
            with show.change("", f"setting {number}") as change:
                change.put(SETTINGS, Setting("site", f"hall {number}"))
        undone = show.undo("no, the other")
        assert undone is not None
        assert undone.what == "setting 2"
        assert [(one.number, one.undone, one.can_redo) for one in show.changes()] == [
            (1, False, False),
            (2, True, True),
            (3, False, False),
        ]
        assert show.get(SETTINGS, "site") == Setting("site", "hall 1")
        with show.change("", "another") as change:
            change.put(SETTINGS, Setting("site", "hall 3"))
        assert show.redo() is None
        assert [one.number for one in show.changes() if one.undone] == [2]
        assert show.past(2).get(SETTINGS, "site") == Setting("site", "hall 2")


def test_undo_passes_over_facts(path: Path) -> None:
    with ShowFile.create(path, "Kim") as show:
        with show.change("", "a link") as change:
            change.put(LINKS, Link("vox 1", "hand"))
        with show.change("", "mark", is_fact=True) as change:
            change.put(MARKS, Mark("as handed out", 1, "2026-07-18T18:00:00+00:00"))
        show.undo()
        assert show.all(LINKS) == ()
        assert [mark.name for mark in show.all(MARKS)] == ["as handed out"]
        assert [link.name for link in show.past(1).all(LINKS)] == ["vox 1"]
        show.redo()
        assert [link.name for link in show.all(LINKS)] == ["vox 1"]


def test_an_edit_may_not_touch_a_fact_nor_a_fact_an_edit(path: Path) -> None:
    with ShowFile.create(path, "Kim") as show:
        with pytest.raises(ValueError, match="fact"), show.change("", "") as change:
            change.put(MARKS, Mark("m", 0, ""))
        with pytest.raises(ValueError, match="fact"), show.change("", "", is_fact=True) as change:
            change.put(LINKS, Link("vox 1", "hand"))
        assert show.changes() == ()


def test_what_fails_half_way_leaves_no_trace(path: Path) -> None:
    with ShowFile.create(path, "Kim") as show:
        with pytest.raises(UsageError, match="there is no link 'nobody'"):
            put_and_then(show, lambda change: change.drop(LINKS, "nobody"))
        with pytest.raises(KeyboardInterrupt):
            put_and_then(show, stopped)
        assert (show.all(LINKS), show.changes()) == ((), ())


def put_and_then(show: ShowFile, do_more: Callable[[Change], None]) -> None:
    """A change that puts a link and goes on."""
    with show.change("", "") as change:
        change.put(LINKS, Link("vox 1", "hand"))
        do_more(change)


def stopped(_: Change) -> None:
    """What Ctrl-C does."""
    raise KeyboardInterrupt


def test_what_changes_nothing_is_no_change(path: Path) -> None:
    with ShowFile.create(path, "Kim") as show:
        for _ in range(2):
            with show.change("", "the same again") as change:
                change.put(LINKS, *invented.LINKS)
        assert len(show.changes()) == 1


def test_two_states_are_compared_value_by_value(path: Path) -> None:
    with ShowFile.create(path, "Kim") as show:
        with show.change("", "") as change:
            change.put(LINKS, Link("a", "hand"), Link("b", "hand"))
        with show.change("", "") as change:
            change.drop(LINKS, "a")
            change.put(LINKS, Link("b", "ear"), Link("c", "hand"))
        found = difference(show.past(1).state, present(show.connection))
        assert [(one.key, one.before is None, one.after is None) for one in found] == [
            ("a", False, True),
            ("b", False, False),
            ("c", True, False),
        ]


def test_there_is_no_state_after_a_change_that_never_was(path: Path) -> None:
    with ShowFile.create(path, "Kim") as show, pytest.raises(UsageError, match="there is no change 5") as caught:
        show.past(5)
    assert caught.value.hint == "the last one is 0"
