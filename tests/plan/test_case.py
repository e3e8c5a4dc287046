"""The case of a link at a frequency: what speaks against it is what the audit of the moved plan says of the link.

Truth: ``audit`` of the same rows with the link moved. Shows are invented.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.errors import UsageError
from fallow.plan.judge.audit import audit
from fallow.plan.judge.case import MOST_TOLD, case_of
from fallow.plan.places import Ground
from fallow.plan.surveys import AreaAir
from fallow.show.link import ForeignCarrier, Link
from fallow.spectrum.verdict import Verdict
from fallow.units import Span
from plan.shows import Air, equipment, ground, row, rule, shows, wanted

TUNING = (Span(500_000_000, 503_000_000),)


def lively_ground(want) -> Ground:
    """Law with a hole, a channel on the air, a survey for all and one of the hall."""
    plain = ground(rule(470, 501), rule(501.5, 600), verdict=lambda hz: Verdict(int(hz // 700_000) % 4), channel="24")
    hall = AreaAir(Air(lambda hz: Verdict(int(hz // 900_000) % 4)), "hall", "hall at night")
    return Ground(plain.territory, plain.circumstances, (*plain.airs, hall), plain.stations, want.losses)


def tunable(want):
    """The same show with radios that tune to a raster over the band, so that there are places to name."""
    kinds = {name: replace(each, tuning=TUNING, step_hz=25_000) for name, each in want.equipment.items()}
    return replace(want, equipment=kinds)


def audited_with(rows, want, under, name, hz):
    moved = [replace(one, frequency_hz=hz) if one.link == name else one for one in rows]
    return [one for one in audit(moved, want, under).conflicts if name in (one.victim, *one.carriers)]


@settings(max_examples=60)
@given(shows(least=1), st.data())
def test_what_speaks_against_a_place_is_what_the_audit_lists_there(show, data):
    rows, want = show[0], tunable(show[1])
    under = data.draw(st.sampled_from([Ground(), lively_ground(want)]))
    name = data.draw(st.sampled_from([one.link for one in rows]))
    at_hz = data.draw(st.sampled_from([None, 500_000_000, 501_234_567, *(one.frequency_hz for one in rows)]))
    case = case_of(rows, want, under, name, at_hz)
    home_hz = next(one.frequency_hz for one in rows if one.link == name)
    assert (case.at_hz, case.home_hz) == (home_hz if at_hz is None else at_hz, home_hz)
    expected = audited_with(rows, want, under, name, case.at_hz)
    assert sorted(case.against, key=str) == sorted(expected, key=str)
    assert case.stands == (not expected)
    assert len(case.free_nearby) <= MOST_TOLD
    for free in case.free_nearby:
        assert free.at_hz != case.at_hz
        assert not free.against
        assert audited_with(rows, want, under, name, free.at_hz) == []
        judged = under.verdict(want.equipment[_of(rows, name).equipment], _of(rows, name).area, free.at_hz)
        assert free.verdict == (None if judged is None else judged.verdict.word)


@settings(max_examples=25)
@given(shows(least=2), st.booleans())
def test_a_link_without_frequency_is_told_its_best_places(show, lively):
    rows, want = show[0], tunable(show[1])
    under = lively_ground(want) if lively else Ground()
    rows = [replace(rows[0], frequency_hz=None), *rows[1:]]
    case = case_of(rows, want, under, rows[0].link)
    assert (case.at_hz, case.against, case.stands) == (None, (), False)
    for one in case.best:
        expected = audited_with(rows, want, under, rows[0].link, one.at_hz)
        assert sorted(one.against, key=str) == sorted(expected, key=str)
    counts = [len(one.against) for one in case.best]
    assert counts == sorted(counts)
    if case.best:
        kind = want.equipment[rows[0].equipment]
        usable = under.places(kind, rows[0].area)
        fewest = min(
            len(audited_with(rows, want, under, rows[0].link, int(hz))) for hz in usable.frequencies_hz[usable.may_use]
        )
        assert counts[0] == fewest


def _of(rows, name):
    return next(one for one in rows if one.link == name)


def test_the_case_in_words_worst_first():
    kinds = [equipment(tuning=TUNING, step_hz=25_000)]
    stranger = ForeignCarrier("tv link", 501_900_000, spacing_hz=400_000)
    want = wanted(kinds=kinds, foreign=[stranger])
    rows = [row("a", 500), row("b", 501), row("c", 503)]
    under = ground(rule(470, 600), verdict=lambda _: Verdict.CLEAN)
    case = case_of(rows, want, under, "c", 502_000_000)
    assert [one.kind for one in case.against] == ["foreign", "2A-B", "2A-B"]
    assert "tv link" in case.against[0].text
    assert any(text.startswith("clean (level -80.0 dBm") for text in case.in_favour)
    assert any(text.startswith("allowed: ") for text in case.in_favour)
    assert "mic can be set to 502.000 MHz" in case.in_favour
    alone = case_of(rows[2:], wanted(kinds=kinds), Ground(), "c")
    assert alone.stands
    assert "no carrier that it meets asks for a distance" in alone.in_favour
    assert "no product falls near it" in alone.in_favour
    assert any("law was not asked" in note for note in alone.notes)
    assert any("no sweeps" in note for note in alone.notes)


def test_what_is_doubtful_or_to_be_asked_is_noted():
    law = ground(rule(470, 600, needs=("a nod",)), verdict=lambda _: Verdict.DOUBTFUL)
    kinds = [equipment(tuning=TUNING, step_hz=25_000)]
    case = case_of([row("a", 500)], wanted(kinds=kinds), law, "a")
    assert case.stands
    assert any(note.startswith("ask before use: ") for note in case.notes)
    assert any(note.startswith("the air: doubtful") for note in case.notes)


def test_strangers_products_and_spares_are_noted():
    strangers = [ForeignCarrier("x", 500_000_000, products=True), ForeignCarrier("y", 501_000_000, products=True)]
    want = wanted(kinds=[equipment(tuning=TUNING, step_hz=25_000)], foreign=strangers)
    case = case_of([row("v", 502), row("spare mic 1", 502.1)], want, Ground(), "v")
    assert any(note.startswith("hit by products of foreign carriers alone: 2 × y − x") for note in case.notes)
    assert any(note.endswith("can be given up: spare mic 1") for note in case.notes)


def test_a_planned_link_that_the_plan_lacks_has_a_case_and_a_stranger_has_none():
    kinds = [equipment(tuning=TUNING, step_hz=25_000)]
    want = wanted(kinds=kinds, links=[Link("a", "mic"), Link("late", "mic")])
    case = case_of([row("a", 500)], want, Ground(), "late")
    assert [one.at_hz for one in case.best][:2] == [500_350_000, 500_550_000]
    with pytest.raises(UsageError, match="'nobody'"):
        case_of([row("a", 500)], want, Ground(), "nobody")


def test_a_radio_without_any_place_is_told():
    kinds = [equipment(tuning=TUNING, presets=(400_000_000,))]
    case = case_of([row("a", None)], wanted(kinds=kinds), Ground(), "a")
    assert case.best == ()
    assert any("can't be set to any frequency" in note for note in case.notes)
