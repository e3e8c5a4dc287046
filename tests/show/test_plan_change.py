"""Two plans compared: every kind of difference, and what looks like one and is none. Truth: the rows themselves."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from fallow.show.assignment import Assignment
from fallow.show.plan_change import compare_plans


def row(link: str, mhz: float | None = 500.0, equipment: str = "pack", area: str = "", scenes: str = "") -> Assignment:
    hz = None if mhz is None else round(mhz * 1e6)
    return Assignment(link, equipment, area, frozenset(filter(None, scenes.split(";"))), hz)


def test_each_kind_of_difference() -> None:
    old = [row("vox 1", 500), row("vox 2", 501), row("vox 3", 502), row("band", 503, scenes="act 1")]
    new = [row("vox 1", 500.5), row("vox 2", 501, "hand"), row("guest", 504), row("band", 503, area="hall")]
    found = compare_plans(old, new)
    assert [(one.link, one.from_hz, one.to_hz) for one in found.moved] == [("vox 1", 500_000_000, 500_500_000)]
    assert [one.link for one in found.added] == ["guest"]
    assert [one.link for one in found.removed] == ["vox 3"]
    assert [(one.link, one.what, one.before, one.after) for one in found.changed] == [
        ("vox 2", "equipment", "pack", "hand"),
        ("band", "area", "", "hall"),
        ("band", "scenes", "act 1", ""),
    ]
    assert found.kept == 0


def test_a_link_that_loses_its_frequency_has_moved_to_nowhere() -> None:
    assert compare_plans([row("a")], [row("a", None)]).moved[0].to_hz is None


def test_spares_are_known_by_their_place_and_not_by_their_number() -> None:
    old = [row("spare 1", 500), row("spare 2", 501), row("spare 3", 502)]
    new = [row("spare 1", 501), row("spare 2", 500), row("spare 3", 503), row("spare 4", 504)]
    found = compare_plans(old, new)
    assert [(one.link, one.from_hz, one.to_hz) for one in found.moved] == [("spare 3", 502_000_000, 503_000_000)]
    assert [one.link for one in found.added] == ["spare 4"]
    assert (found.removed, found.kept) == ((), 2)


def test_spelling_is_no_difference_unless_two_names_fit() -> None:
    found = compare_plans([row("Vox  1")], [row("vox 1")])
    assert (found.added, found.removed, found.kept) == ((), (), 1)
    assert "one link" in found.notes[0]
    twice = compare_plans([row("Vox 1"), row("VOX 1", 501)], [row("vox 1")])
    assert len(twice.removed) == 2


def test_a_new_name_in_an_old_place_is_remarked() -> None:
    found = compare_plans([row("a", 500)], [row("b", 500)])
    assert "renamed" in found.notes[0]


ROWS = st.lists(
    st.builds(row, st.sampled_from("abcdef"), st.sampled_from([500, 501, None]), st.sampled_from(["x", "y"])),
    unique_by=lambda one: one.link,
    max_size=6,
)


@given(ROWS, ROWS)
def test_the_differences_lead_from_the_old_plan_to_the_new_one(old: list[Assignment], new: list[Assignment]) -> None:
    found = compare_plans(old, new)
    gone = {one.link for one in found.removed}
    rows = {one.link: one for one in old if one.link not in gone} | {one.link: one for one in found.added}
    for move in found.moved:
        assert rows[move.link].frequency_hz == move.from_hz
        rows[move.link] = replace(rows[move.link], frequency_hz=move.to_hz)
    for change in found.changed:
        assert change.what == "equipment"
        rows[change.link] = replace(rows[change.link], equipment=change.after)
    assert rows == {one.link: one for one in new}


@given(ROWS)
def test_a_plan_does_not_differ_from_itself(plan: list[Assignment]) -> None:
    found = compare_plans(plan, plan)
    assert (found.moved, found.added, found.removed, found.changed, found.kept) == ((), (), (), (), len(plan))
