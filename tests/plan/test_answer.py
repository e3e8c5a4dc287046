"""The plan as an answer: links in their order, spares, moves, conflicts, and reasons for what is left out."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

from hypothesis import given, settings

from fallow.plan.answer import compose_plan
from fallow.plan.judge.audit import audit
from fallow.plan.places import Ground
from fallow.plan.search.bounds import most
from fallow.plan.search.question import Question
from fallow.plan.search.search import improve
from fallow.show.link import Link
from fallow.spectrum.verdict import Verdict
from fallow.units import Span
from plan.shows import equipment, ground, row, rule, shows, wanted

MHZ = 1_000_000


def planned(links, *, kinds=None, under=None, keep=None, spares=None, steps=30, **more):
    """Links through the search, for so many steps, into words."""
    kinds = kinds or [equipment(tuning=(Span(500 * MHZ, 510 * MHZ),), step_hz=25_000)]
    want, under = wanted(kinds=kinds, links=links, **more), under or Ground()
    question = Question.build(want, under, keep=keep, spares=spares)
    taken = count()
    *_, best = improve(question, seed=1, should_stop=lambda: next(taken) >= steps)
    return compose_plan(best, want, under, keep=keep, bound=most(question), seed=1), want


def test_links_come_by_name_in_their_order_with_spares_and_no_conflict():
    names = ["vox 2", "vox 10", "ear 1"]
    plan, want = planned([Link(name, "mic") for name in names])
    assert list(plan.links) == names
    assert plan.links["vox 10"].frequency_hz in range(500 * MHZ, 510 * MHZ + 1)
    assert [(spare.spare, spare.equipment) for spare in plan.spares] == [("spare mic 1", "mic")]
    assert (plan.unplaced, plan.moved, plan.conflicts, plan.most) == ((), (), (), None)
    rows = [row(one.link, one.frequency_hz / MHZ) for one in plan.links.values()]
    rows += [row(one.spare, one.frequency_hz / MHZ) for one in plan.spares]
    assert audit(rows, want).conflicts == ()
    assert all(one.verdict is None for one in plan.links.values())
    assert " kHz needed)" in plan.links["ear 1"].why


def test_the_verdict_and_the_law_of_a_place_are_told():
    under = ground(rule(500, 510), verdict=lambda _: Verdict.DOUBTFUL)
    plan, _ = planned([Link("a", "mic")], under=under)
    assert plan.links["a"].verdict == "doubtful"
    assert plan.links["a"].why.startswith("500.000 to 510.000 MHz, general (an invented row")
    assert "allows it; doubtful (level -80.0 dBm" in plan.links["a"].why
    assert any("judged doubtful: a" in note for note in plan.notes)


def test_fixed_links_that_disturb_each_other_stand_in_the_conflicts():
    links = [
        Link("a", "mic", frequency_hz=505 * MHZ, fixed=True),
        Link("b", "mic", frequency_hz=505_100_000, fixed=True),
    ]
    plan, _ = planned(links)
    assert plan.links["a"].frequency_hz == 505 * MHZ
    assert [(conflict.kind, conflict.carriers) for conflict in plan.conflicts] == [("spacing", ("a", "b"))]
    assert plan.links["a"].why.startswith("fixed; 100 kHz from b (350 kHz needed)")


def test_systems_that_choose_their_own_channels_are_noted_only():
    plan, _ = planned([Link("a", "mic"), Link("own", "mic", planned=False)])
    assert list(plan.links) == ["a"]
    assert "not planned, because they choose their own channels: own" in plan.notes


def test_moves_against_the_plan_to_keep_say_what_was_in_the_way():
    links = [Link("a", "mic", frequency_hz=505 * MHZ, fixed=True), Link("b", "mic"), Link("c", "mic")]
    plan, _ = planned(links, keep={"b": 505_100_000, "c": 508 * MHZ})
    assert [(move.link, move.from_hz) for move in plan.moved] == [("b", 505_100_000)]
    assert plan.moved[0].to_hz == plan.links["b"].frequency_hz
    assert plan.links["b"].why.startswith("moved from 505.100 MHz, which is 100 kHz from a (350 kHz needed); ")
    assert plan.links["c"].why.startswith("kept where it was; ")


def test_wishes_are_told_whether_granted_or_not():
    links = [
        Link("a", "mic", frequency_hz=505 * MHZ, fixed=True),
        Link("b", "mic", frequency_hz=505_100_000),
        Link("c", "mic", frequency_hz=508 * MHZ),
    ]
    plan, _ = planned(links)
    assert plan.links["b"].why.startswith("not as wished at 505.100 MHz, which is 100 kHz from a")
    assert plan.links["c"].why.startswith("as wished; ")


def test_links_left_out_have_reasons_that_alike_ones_share_and_a_bound_where_there_is_one():
    presets = (501 * MHZ, 502 * MHZ)
    kind = equipment(tuning=(), presets=presets, im3_khz=None, three_khz=None)
    plan, _ = planned([Link(name, "mic") for name in "abcd"], kinds=[kind])
    assert [one.link for one in plan.unplaced] == [name for name, one in plan.links.items() if one.frequency_hz is None]
    assert len(plan.unplaced) == 2
    assert plan.unplaced[0].because == plan.unplaced[1].because
    assert plan.unplaced[0].because[0].startswith("of 2 presets that mic can be set to, 2 are too near")
    assert plan.most is not None
    assert plan.most.links == 2
    assert plan.spares == ()


def test_a_note_tells_which_links_have_to_ask():
    plan, _ = planned([Link("a", "mic")], under=ground(rule(500, 510, needs=("a nod from the desk",))))
    assert any("a nod from the desk" in note for note in plan.notes)
    assert "a nod from the desk" in plan.links["a"].why


@settings(max_examples=40, deadline=None)
@given(shows(least=1))
def test_whatever_the_search_plans_around_strangers_the_audit_finds_nothing_wrong(show):
    rows, want = show
    links = tuple(Link(one.link, one.equipment, one.area, one.scenes) for one in rows if not one.is_spare)
    band = (Span(500 * MHZ, 503 * MHZ),)
    kinds = {name: replace(kind, tuning=band, step_hz=25_000) for name, kind in want.equipment.items()}
    want = replace(want, links=links, equipment=kinds)
    question = Question.build(want, Ground())
    taken = count()
    *_, best = improve(question, seed=1, should_stop=lambda: next(taken) >= 5)
    plan = compose_plan(best, want, Ground())
    assert plan.conflicts == ()


def test_of_many_sorts_left_out_the_more_important_ones_are_explained(monkeypatch):
    monkeypatch.setattr("fallow.plan.answer.MOST_EXPLAINED", 1)
    kind = equipment(tuning=(), presets=(501 * MHZ,), im3_khz=None, three_khz=None)
    links = [Link("star", "mic", "hall", priority=1), Link("late", "mic", "foyer", priority=5)]
    links += [Link("second", "mic", "hall", priority=2)]
    plan, _ = planned(links, kinds=[kind])
    told = {one.link: one.because for one in plan.unplaced}
    assert list(told) == ["late", "second"]
    assert told["second"][0].startswith("of 1 preset")
    assert told["late"][0].endswith("ask: --why 'late'")
