"""Spellings that differ only in capitals or blanks are told, once; nothing is taken for the same in silence."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from fallow.show.assignment import Assignment
from fallow.show.link import AreaLosses, ForeignCarrier, Link, Station
from fallow.show.names import look_alikes, notes_on_names
from fallow.show.wanted import Wanted


def test_each_group_is_told_once() -> None:
    links = (
        Link("a", "pack", "Hall", frozenset({"act 1", "finale"})),
        Link("b", "pack", "hall", frozenset({"Act1"})),
        Link("c", "pack", "Hall"),
        Link("d", "pack", "Yard"),
    )
    wanted = Wanted(
        links,
        {},
        AreaLosses(frozenset({frozenset({"Foyer", "H all"})})),
        (ForeignCarrier("taxi", 470_000_000, area="yard"),),
        (Station("21", "Hall"),),
    )
    assert notes_on_names(wanted) == (
        "'H all', 'Hall' and 'hall' are taken as 3 areas: if one is meant, spell it alike",
        "'Yard' and 'yard' are taken as two areas: if one is meant, spell it alike",
        "'Act1' and 'act 1' are taken as two scenes: if one is meant, spell it alike",
        "losses are stated for the area 'Foyer', in which no link and no foreign carrier is: is it spelt right?",
        "losses are stated for the area 'H all', in which no link and no foreign carrier is: is it spelt right?",
    )


def test_rows_of_a_plan_count_too() -> None:
    wanted = Wanted((Link("a", "pack", "Hall"),), {})
    assert notes_on_names(wanted) == ()
    assert len(notes_on_names(wanted, [Assignment("b", "pack", "HALL")])) == 1


@given(st.lists(st.sampled_from(["Hall", "hall", "Hall ", "Foyer", "FOYER", "", " ", "yard"])))
def test_groups_against_a_plain_twin(names: list[str]) -> None:
    pairs = {
        (a, b) for a in names for b in names if a != b and a.replace(" ", "").lower() == b.replace(" ", "").lower()
    }
    assert {(a, b) for group in look_alikes(names) for a in group for b in group if a != b} == pairs
