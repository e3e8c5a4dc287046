"""A plan to keep, from the public call: who stays, who moves in which order, and what is said of fewer moves. All names
are invented.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from fallow.errors import UsageError
from fallow.plan.answer import Plan
from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import ForeignCarrier, Link
from fallow.units import Span
from fallow.workflow.coordinate import audit, coordinate

MHZ = 1_000_000
RADIO = Equipment(
    "radio",
    Kind.MICROPHONE,
    (Span(500 * MHZ, 508 * MHZ),),
    25_000,
    (),
    200_000,
    10.0,
    None,
    350_000,
    100_000,
    50_000,
    None,
)
LINKS = (
    Link("lead", RADIO.name, scenes=frozenset({"act 1"})),
    Link("host", RADIO.name, scenes=frozenset({"act 2"})),
    Link("guest", RADIO.name, frequency_hz=503 * MHZ, fixed=True),
)
IN_FORCE = [
    Assignment("lead", RADIO.name, frequency_hz=501 * MHZ),
    Assignment("host", RADIO.name, frequency_hz=502 * MHZ),
    Assignment("guest", RADIO.name, frequency_hz=503 * MHZ),
]
ON_LEAD, ON_HOST = (ForeignCarrier(f"stranger {hz}", hz * MHZ, 200_000, spacing_hz=200_000) for hz in (501, 502))


def replanned(*foreign: ForeignCarrier, **more: object) -> Plan:
    usual: dict[str, object] = {"keep": IN_FORCE, "foreign": foreign, "seconds": 0.5, "spares": 1}
    return coordinate(LINKS, {RADIO.name: RADIO}, **(usual | more))  # type: ignore[arg-type]  # its own keywords


def test_only_who_has_to_moves_and_that_is_proven() -> None:
    plan = replanned(ON_LEAD)
    assert [move.link for move in plan.moved] == ["lead"]
    replan = plan.advice.replan
    assert replan is not None
    assert replan.text == "1 link changes, and no plan changes fewer: 1 link can't stay where the plan in force has it"
    assert [(step.link, step.to_hz) for step in replan.order.steps] == [("lead", plan.links["lead"].frequency_hz)]


def test_a_link_that_loses_its_frequency_is_told_apart_from_one_that_moves() -> None:
    narrow = Equipment(
        "radio", Kind.MICROPHONE, (), 0, (500 * MHZ, 501 * MHZ), 200_000, 10.0, None, 350_000, *[None] * 3
    )
    links = (Link("lead", "radio"), Link("host", "radio"))
    on_lead = ForeignCarrier("stranger", 501 * MHZ, 200_000, spacing_hz=200_000)
    keep = [Assignment("lead", "radio", frequency_hz=501 * MHZ), Assignment("host", "radio", frequency_hz=500 * MHZ)]
    plan = coordinate(links, {"radio": narrow}, keep=keep, foreign=[on_lead], seconds=0.3, spares=0)
    assert plan.most is not None
    assert plan.most.links == 1
    assert plan.advice.replan is not None
    assert plan.advice.replan.text.startswith("1 link changes (1 of them has no frequency any more), and no plan")


def test_links_on_the_air_stay_whatever_speaks_against_it() -> None:
    plan = replanned(ON_LEAD, ON_HOST, on_air="act 1")
    assert [move.link for move in plan.moved] == ["host"]
    assert [conflict.victim for conflict in plan.conflicts] == ["lead"]
    assert "on the air in the scene act 1, so lead stays where it is; --may-move lets one go" in plan.notes
    assert plan.links["lead"].reasons[0] == "fixed where it was"
    assert plan.advice.replan is not None
    assert [step.silent for step in plan.advice.replan.order.steps] == [True]


def test_a_link_let_go_may_move_on_the_air_or_fixed() -> None:
    assert [move.link for move in replanned(ON_LEAD, on_air="act 1", may_move=["lead"]).moved] == ["lead"]
    on_guest = ForeignCarrier("stranger", 503 * MHZ, 200_000, spacing_hz=200_000)
    assert [move.link for move in replanned(on_guest).moved] == []
    assert [move.link for move in replanned(on_guest, may_move=["guest"]).moved] == ["guest"]


def test_slips_are_told() -> None:
    with pytest.raises(UsageError, match="no link is on in a scene called 'act 3'") as told:
        replanned(on_air="act 3")
    assert told.value.hint == "the scenes are: act 1, act 2"
    with pytest.raises(UsageError, match="no link is called 'leed'") as told:
        replanned(may_move=["leed"])
    assert told.value.hint == "did you mean 'lead'?"
    with pytest.raises(UsageError, match="a plan in force"):
        replanned(keep=None, on_air="act 1")


def test_failures_are_looked_at_unless_told_otherwise() -> None:
    plan = replanned(keep=None)
    assert [remedy.failure.kind for remedy in plan.advice.remedies] == ["frequency"] * 3
    assert [remedy.survives for remedy in plan.advice.remedies] == [True, True, False]  # the guest can't move
    assert replanned(keep=None, failures=False).advice.remedies == ()


def test_rows_of_the_plan_in_force_that_are_no_links_are_named_and_go_off_first() -> None:
    on_new = Assignment("gone", RADIO.name, frequency_hz=500 * MHZ)
    far = Assignment("far", RADIO.name, frequency_hz=507_999_000)
    plan = replanned(ON_LEAD, keep=[*IN_FORCE, on_new, far])
    told = (
        "2 rows of the plan in force are no links of this show (gone and far): here they are off, switched off first "
        "where a move needs the place"
    )
    assert told in plan.notes
    assert plan.advice.replan is not None
    assert [move.link for move in plan.moved] == ["lead"]
    assert not any("no link" in note for note in replanned(ON_LEAD).notes)


def test_who_is_new_or_moves_gets_room_and_nobody_moves_for_it() -> None:
    """Distances by hand: the audit of the same plan at four times the distances names nobody but those that stayed."""
    links = (*(Link(f"l{i}", RADIO.name) for i in range(4)), Link("new", RADIO.name))
    places_hz = (500 * MHZ, 500_350_000, 501_100_000, 502_400_000)
    kept = [Assignment(f"l{i}", RADIO.name, frequency_hz=hz) for i, hz in enumerate(places_hz)]
    on_l0 = ForeignCarrier("stranger", 500 * MHZ, 200_000, spacing_hz=300_000)
    wide = replace(RADIO, tuning=(Span(500 * MHZ, 540 * MHZ),))
    plan = coordinate(links, {RADIO.name: wide}, foreign=(on_l0,), keep=kept, spares=1, seconds=1.0, failures=False)
    assert [move.link for move in plan.moved] == ["l0"]
    assert [plan.links[f"l{i}"].frequency_hz for i in (1, 2, 3)] == [row.frequency_hz for row in kept[1:]]
    note = "there is room: every distance in which a link that is new or moves takes part is at least 4 times"
    told = next(told for told in plan.notes if told.startswith(note))
    assert told.endswith("; distances from foreign carriers are not widened")  # the stranger's 300 kHz stay so
    four = replace(wide, spacing_hz=4 * 350_000, im3_hz=4 * 100_000, im3_three_hz=4 * 50_000)
    rows = [Assignment(one.link, RADIO.name, frequency_hz=one.frequency_hz) for one in plan.links.values()]
    stayed = {"l1", "l2", "l3"}
    for conflict in audit(rows, {RADIO.name: four}).conflicts:
        assert {name for name in (conflict.victim, *conflict.carriers) if name} <= stayed


def test_without_anybody_new_or_moved_nothing_is_widened() -> None:
    plan = replanned()
    assert plan.moved == ()
    assert not any(told.startswith("there is room") for told in plan.notes)
