"""Three and four copies of a show, changed and merged in any order. Truth: a plain twin of sets, written here.

In the twin a value is the number of the edit that made it, and a copy the set of all edits that it has seen. Nothing is
lost where each edit is in the end either what stands there or was seen by whoever made what stands there.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fallow.show.assignment import Assignment
from fallow.show.link import ForeignCarrier
from fallow.showfile.changing import Said
from fallow.showfile.checking import check
from fallow.showfile.copying import copy_show
from fallow.showfile.history import Nature
from fallow.showfile.kinds import FOREIGN, PLAN_ROWS, PLANS, SURVEYS
from fallow.showfile.merging import Side, compare_copies, merge_copies
from fallow.showfile.store import ShowFile
from fallow.showfile.surveys import put_survey, read_survey
from fallow.showfile.values import PlanHead, PlanRow, SurveyHead
from showfile import invented

COPIES, KEYS = 4, ("a", "b")
slow = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
steps = st.lists(
    st.tuples(
        st.sampled_from(["put", "put", "drop", "merge", "merge", "merge"]),
        st.integers(0, COPIES - 1),
        st.integers(1, COPIES - 1),
        st.sampled_from(KEYS),
        st.sampled_from(["ours", "theirs"]),
    ),
    max_size=14,
)


@dataclass
class Twin:
    """A copy as sets: what stands at each key (the edit, and its value), and all edits it has seen."""

    values: dict[str, tuple[int, int | None]] = field(default_factory=lambda: dict.fromkeys(KEYS, (0, 1)))
    seen: set[int] = field(default_factory=lambda: {0})


@dataclass
class World:
    """All copies, beside their twins. ``made``: every edit: its key, its value, and what its copy had seen."""

    folder: Path
    twins: list[Twin] = field(default_factory=lambda: [Twin() for _ in range(COPIES)])
    made: dict[int, tuple[str, int | None, frozenset[int]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        ShowFile.create(self.path(0)).close()
        for key in KEYS:
            put(self.path(0), key, 1)
        for number in range(1, COPIES):
            copy_show(self.path(0), self.path(number))

    def path(self, number: int) -> Path:
        return self.folder / f"{number}.fallow"

    def edit(self, number: int, key: str, *, drop: bool) -> None:
        value = None if drop else len(self.made) + 100  # each edit puts another value
        if drop and any((key, None) == one[:2] for one in self.made.values()):
            return  # nor is anything taken out twice: what is as before again counts as not changed
        put(self.path(number), key, value)
        self._make(number, key, value)

    def merge(self, to: int, of: int, choice: str) -> None:
        """Merge, and compare what is asked and taken with what the twin says."""
        expected = self._expected(to, of)
        with ShowFile.open(self.path(to), write=True, who="Kim") as ours, ShowFile.open(self.path(of)) as theirs:
            copies = compare_copies(ours, theirs)
            found = {unit.name: unit.side for unit in copies.units}
            assert found == expected
            taken = [u for u in copies.units if u.side is Side.THERE or (u.side is Side.BOTH and choice == "theirs")]
            merge_copies(ours, theirs, copies, taken, Said("Kim", "", "merged", Nature.EDIT))
            assert not compare_copies(ours, theirs).on(Side.BOTH)
        self._merge_twins(to, of, expected, choice)

    def _expected(self, to: int, of: int) -> dict[str, Side]:
        ours, theirs = self.twins[to], self.twins[of]
        sides = {}
        for key in KEYS:
            (edit, value), (other, there) = ours.values[key], theirs.values[key]
            if value != there:
                known = (edit in theirs.seen, other in ours.seen)
                sides[key] = {(True, False): Side.THERE, (False, True): Side.HERE}.get(known, Side.BOTH)
        return sides

    def _merge_twins(self, to: int, of: int, sides: dict[str, Side], choice: str) -> None:
        ours, theirs = self.twins[to], self.twins[of]
        ours_before = dict(ours.values)
        news = {key for key in KEYS if theirs.values[key][0] not in ours.seen}
        ours.seen |= theirs.seen
        for key in KEYS:
            side = sides.get(key)
            if side is Side.BOTH:
                self._make(to, key, (theirs if choice == "theirs" else ours).values[key][1])
            elif side is Side.THERE or (side is None and key in news):
                ours.values[key] = theirs.values[key]
            else:
                assert ours.values[key] == ours_before[key]

    def _make(self, number: int, key: str, value: int | None) -> None:
        edit, twin = len(self.made) + 1, self.twins[number]
        self.made[edit] = (key, value, frozenset(twin.seen))
        twin.values[key] = (edit, value)
        twin.seen.add(edit)

    def all_alike(self) -> None:
        """Everything into the first, that into all others, without a question; and nothing is lost."""
        for number in range(1, COPIES):
            self.merge(0, number, "theirs")
        for number in range(1, COPIES):
            self.merge(number, 0, "none may be asked")
        for number in range(COPIES):
            assert values(self.path(number)) == {
                key: value for key, (_, value) in self.twins[0].values.items() if value
            }
            assert check(self.path(number)).is_whole
        for key in KEYS:
            accounted = {
                self.twins[0].values[key][1]
            }  # what stands; what its maker had seen; what that one's maker had
            of_key = {edit: made for edit, made in self.made.items() if made[0] == key}
            for _ in of_key:
                seen = {edit for _, value, before in of_key.values() if value in accounted for edit in before}
                accounted |= {value for edit, (_, value, _) in of_key.items() if edit in seen}
            assert {value for _, value, _ in of_key.values()} <= accounted, "a value is lost that nobody saw"


def put(path: Path, key: str, value: int | None) -> None:
    with ShowFile.open(path, write=True, who="Kim") as show, show.change("", key) as change:
        if value is None:
            change.drop(FOREIGN, key)
        else:
            change.put(FOREIGN, ForeignCarrier(key, value))


def values(path: Path) -> dict[str, int]:
    with ShowFile.open(path) as show:
        return {one.name: one.frequency_hz for one in show.all(FOREIGN) if one.name in KEYS}


@pytest.mark.slow
@slow
@given(steps)
def test_any_history_of_four_copies_is_merged_as_the_twin_says_and_nothing_is_lost(
    todo: list[tuple[str, int, int, str, str]],
) -> None:
    with TemporaryDirectory() as folder:
        world = World(Path(folder))
        for what, number, distance, key, choice in todo:
            if what == "merge":
                world.merge(number, (number + distance) % COPIES, choice)
            else:
                world.edit(number, key, drop=what == "drop")
        world.all_alike()


@pytest.fixture
def world(tmp_path: Path) -> World:
    return World(tmp_path)


def test_what_came_over_a_third_copy_and_was_taken_back_stays_so(world: World) -> None:
    """A third copy's value, learned by two, is changed back in one of them: the other does not bring it again."""
    world.edit(0, "a", drop=False)
    for number in (1, 2):
        world.merge(number, 0, "")
    put(world.path(2), "b", 7)
    before = values(world.path(0))["a"]
    put(world.path(2), "a", before + 1)
    for number in (0, 1):
        merge(world.path(number), world.path(2))
    put(world.path(0), "a", before)
    merge(world.path(0), world.path(1))
    assert values(world.path(0))["a"] == before
    merge(world.path(1), world.path(0))
    assert values(world.path(1))["a"] == before


def test_crosswise_merges_that_chose_differently_are_asked_about(world: World) -> None:
    world.edit(0, "a", drop=False)
    world.edit(1, "a", drop=False)
    copy_show(world.path(1), world.path(1).with_name("old.fallow"))
    world.merge(1, 0, "ours")
    merge(world.path(0), world.path(1).with_name("old.fallow"), Side.BOTH)
    with ShowFile.open(world.path(0)) as ours, ShowFile.open(world.path(1)) as theirs:
        assert compare_copies(ours, theirs).on(Side.BOTH) == ()  # both chose the same
    put(world.path(0), "a", 900)
    with ShowFile.open(world.path(0)) as ours, ShowFile.open(world.path(1)) as theirs:
        assert [unit.side for unit in compare_copies(ours, theirs).units] in ([Side.BOTH], [Side.HERE])


def test_a_merge_that_was_undone_can_be_made_again(world: World) -> None:
    world.edit(1, "a", drop=False)
    merge(world.path(0), world.path(1))
    with ShowFile.open(world.path(0), write=True) as show:
        show.undo()
    assert values(world.path(0)) == {"a": 1, "b": 1}
    merge(world.path(2), world.path(0))
    merge(world.path(0), world.path(1))
    assert values(world.path(0)) == values(world.path(1)) == {"a": 100, "b": 1}
    with ShowFile.open(world.path(0), write=True) as show:
        show.undo()
        show.redo()
    merge(world.path(1), world.path(0))
    put(world.path(1), "a", 900)
    merge(world.path(0), world.path(1))
    assert values(world.path(0)) == {"a": 900, "b": 1}


def test_an_undo_is_brought_to_who_had_the_change_already(world: World) -> None:
    put(world.path(0), "a", 100)
    merge(world.path(1), world.path(0))
    put(world.path(0), "a", 200)
    merge(world.path(1), world.path(0))
    with ShowFile.open(world.path(0), write=True) as show:
        show.undo()
    merge(world.path(1), world.path(0))
    assert values(world.path(1)) == {"a": 100, "b": 1}


def test_an_undone_merge_leaves_what_was_alike_as_it_was_before(world: World) -> None:
    """Both took b out; a merge told so and was undone; then one learns of b again, from a third who has it still."""
    for number in (0, 1):
        put(world.path(number), "b", None)
    put(world.path(1), "a", 5)
    merge(world.path(1), world.path(0))
    with ShowFile.open(world.path(1), write=True) as show:
        show.undo()
    merge(world.path(0), world.path(1))
    put(world.path(2), "b", 7)
    merge(world.path(0), world.path(2), Side.BOTH)
    merge(world.path(1), world.path(0))
    assert values(world.path(1)) == {"a": 5, "b": 7}


def test_what_both_changed_alike_is_known_to_be_the_same(world: World) -> None:
    for number in (0, 1):
        put(world.path(number), "a", 50)
    merge(world.path(0), world.path(1))
    put(world.path(1), "a", 60)
    merge(world.path(0), world.path(1))
    assert values(world.path(0)) == {"a": 60, "b": 1}


def test_a_plan_over_a_third_copy_is_not_put_together_from_two(world: World) -> None:
    for number, made in ((0, "one"), (1, "two")):
        with ShowFile.open(world.path(number), write=True) as show, show.change("", "plan") as change:
            change.put(PLANS, PlanHead("plan 1", made))
            change.put(PLAN_ROWS, *(PlanRow("plan 1", Assignment(f"vox {n}", "hand")) for n in range(2 + number)))
    merge(world.path(2), world.path(0))
    merge(world.path(3), world.path(1))
    with ShowFile.open(world.path(2)) as ours, ShowFile.open(world.path(3)) as theirs:
        (unit,) = compare_copies(ours, theirs).units
    assert (unit.side, unit.label) == (Side.BOTH, "plan plan 1")
    merge(world.path(2), world.path(3), Side.BOTH)
    merge(world.path(3), world.path(2))
    merge(world.path(1), world.path(3))
    merge(world.path(0), world.path(1))
    with ShowFile.open(world.path(0)) as show:
        assert [one.made for one in show.all(PLANS)] == ["two"]
        assert len(show.all(PLAN_ROWS)) == 3


def test_a_survey_over_a_third_copy_is_there_once_with_its_sweeps(world: World) -> None:
    """Numbers of series differ in the copies, so that the sweeps themselves tell."""
    survey = invented.survey()
    for number, name in ((0, "hall"), (1, "yard")):
        with ShowFile.open(world.path(number), write=True) as show, show.change("", name) as change:
            shifted = [
                type(one)(**{**vars(one), "levels_db": one.levels_db + np.float32(number)}) for one in survey.series
            ]
            put_survey(change, SurveyHead(name), type(survey)(tuple(shifted), survey.notes))
    merge(world.path(2), world.path(0))
    merge(world.path(3), world.path(1))
    merge(world.path(3), world.path(0))
    merge(world.path(2), world.path(1))
    with ShowFile.open(world.path(2)) as ours, ShowFile.open(world.path(3)) as theirs:
        assert compare_copies(ours, theirs).units == ()
    put(world.path(3), "a", 5)
    merge(world.path(2), world.path(3))
    with ShowFile.open(world.path(2)) as show:
        assert show.connection.execute("SELECT count(*) FROM series").fetchone() == (4,)
        for number, name in ((0, "hall"), (1, "yard")):
            head = show.get(SURVEYS, name)
            assert head is not None
            for one, other in zip(read_survey(show, head).series, survey.series, strict=True):
                np.testing.assert_array_equal(one.levels_db, other.levels_db + np.float32(number))


def remake_plan(path: Path, number: int, rng: random.Random) -> None:
    """The plan anew, under the same name; each of its rows bears its number."""
    with ShowFile.open(path, write=True) as show, show.change("", "plan") as change:
        change.clear(PLAN_ROWS)
        links = sorted(rng.sample(range(6), rng.randint(1, 6)))
        rows = [PlanRow("plan 1", Assignment(f"vox {n}", "hand", frequency_hz=number)) for n in links]
        change.put(PLANS, PlanHead("plan 1", str(number)))
        change.put(PLAN_ROWS, *rows)


def whole_plan(path: Path) -> tuple[str, ...]:
    """The plan, its rows all of one making; nothing where there is none."""
    with ShowFile.open(path) as show:
        heads, rows = show.all(PLANS), show.all(PLAN_ROWS)
    assert {str(row.assignment.frequency_hz) for row in rows} == {head.made for head in heads}
    return (*(head.made for head in heads), *sorted(row.assignment.link for row in rows))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(8))
def test_plans_made_undone_and_merged_in_any_order_stay_whole_and_end_alike(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    world = World(tmp_path)
    for number in range(100, 120):
        path, other = (world.path(one) for one in rng.sample(range(COPIES), 2))
        match rng.choice(["plan", "undo", "redo", "merge", "merge", "merge"]):
            case "plan":
                remake_plan(path, number, rng)
            case "merge":
                merge(path, other, *rng.choice([(Side.BOTH,), (Side.BOTH, Side.HERE)]))
            case way:
                with ShowFile.open(path, write=True) as show:
                    getattr(show, way)()
        whole_plan(path)
    for number in range(1, COPIES):
        merge(world.path(0), world.path(number), Side.BOTH)
    for number in range(1, COPIES):
        merge(world.path(number), world.path(0))
    assert len({whole_plan(world.path(number)) for number in range(COPIES)}) == 1
    assert all(check(world.path(number)).is_whole for number in range(COPIES))


def merge(to: Path, of: Path, *more: Side) -> None:
    """Merge; where both were changed differently that is no surprise only if ``more`` says so, and theirs counts."""
    with ShowFile.open(to, write=True, who="Kim") as ours, ShowFile.open(of) as theirs:
        copies = compare_copies(ours, theirs)
        assert more or not copies.on(Side.BOTH)
        taken = [unit for unit in copies.units if unit.side in (Side.THERE, Side.JOINED, *more)]
        merge_copies(ours, theirs, copies, taken, Said("Kim", "", "merged", Nature.EDIT))
