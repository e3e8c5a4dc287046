"""What must hold of every shipped row, whatever it says; and how the listing shows rows."""

from __future__ import annotations

import datetime
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.errors import UsageError
from fallow.files.territories import load_territory, region_codes
from fallow.rules.permission import answer_for_row, may, rows_that_matter
from fallow.rules.territory import Answer, Circumstances, Grade
from fallow.show.equipment import Kind, PowerKind
from rules.questions import ASK, NO, TODAY, YES, gear

CODES = [code for code, _ in region_codes()]


@pytest.mark.parametrize("code", CODES)
def test_every_row_says_where_it_comes_from(code: str) -> None:
    territory = load_territory(code)
    for rule in territory.rules:
        assert len(rule.source) > 4
        assert re.fullmatch(r"(19|20)\d\d(-\d\d(-\d\d)?)?", rule.date)
        assert isinstance(rule.grade, Grade)
        assert rule.low_hz < rule.high_hz
        assert not rule.allows or rule.licence in territory.licences
        assert all(rule.low_hz < centre < rule.high_hz for centre in rule.carriers_hz)
        assert (rule.power_mw is None) == (rule.power_kind is None)
    for raster in territory.rasters:
        assert raster.source
        assert isinstance(raster.grade, Grade)


@pytest.mark.parametrize("code", CODES)
def test_every_licence_is_of_use(code: str) -> None:
    territory = load_territory(code)
    assert set(territory.licences) == {rule.licence for rule in territory.rules if rule.allows}


@pytest.mark.parametrize("code", CODES)
def test_channels_lie_side_by_side_and_names_are_unique(code: str) -> None:
    territory = load_territory(code)
    names = [channel.name for channel in territory.channels]
    assert len(names) == len(set(names))
    for below, above in zip(territory.channels, territory.channels[1:], strict=False):
        assert below.high_hz <= above.low_hz
    assert all(
        territory.channel(f"ch {name.lower()}") is channel
        for name, channel in zip(names, territory.channels, strict=True)
    )
    assert territory.channel("999") is None


@pytest.mark.parametrize("code", CODES)
def test_cautions_are_there(code: str) -> None:
    cautions = " ".join(load_territory(code).cautions)
    assert "not permission" in cautions
    assert "regulator" in cautions
    assert "emergency" in cautions


def test_the_territories_of_the_first_edition_are_there() -> None:
    assert set(CODES) >= {"us", "ca", "de", "gb", "fr", "nl", "es", "au", "jp", "nz"}
    assert load_territory("UK") is load_territory("gb")


def test_an_unknown_region_is_refused_with_a_list() -> None:
    with pytest.raises(UsageError, match="xx") as caught:
        load_territory("xx")
    assert "gb (United Kingdom)" in str(caught.value.hint)


def test_an_unknown_licence_is_refused_with_a_list() -> None:
    with pytest.raises(UsageError, match="part99") as caught:
        may(load_territory("us"), gear(), 500_000_000, Circumstances("part99", None, TODAY))
    assert "part74" in str(caught.value.hint)


@st.composite
def questions(draw: st.DrawFn) -> tuple[str, object, int, Circumstances]:
    """Any gear, anywhere near an edge, under any circumstances, in any territory."""
    code = draw(st.sampled_from(CODES))
    territory = load_territory(code)
    edges = sorted({edge for rule in territory.rules for edge in (rule.low_hz, rule.high_hz, *rule.carriers_hz)})
    width_hz = draw(st.sampled_from([1, 4_000, 25_000, 199_999, 200_000, 1_728_000, 6_000_000]))
    radio = gear(
        draw(st.sampled_from(Kind)),
        width_hz,
        draw(st.sampled_from([None, 0.5, 1.0, 10.0, 50.0, 100.0, 250.0, 1000.0, 3000.0])),
        draw(st.sampled_from([None, *PowerKind])),
    )
    near = draw(st.sampled_from([0, 1, width_hz // 2, width_hz // 2 + 1, 3_000_000])) * draw(st.sampled_from([-1, 1]))
    circumstances = Circumstances(
        draw(st.sampled_from([None, *territory.licences])),
        draw(st.sampled_from([None, "elsewhere", "an invented hall", *(place.name for place in territory.places)])),
        draw(st.sampled_from([TODAY, datetime.date(2010, 1, 1), datetime.date(2031, 6, 1)])),
    )
    return code, radio, draw(st.sampled_from(edges)) + near, circumstances


@given(questions())
def test_yes_comes_only_from_rows_that_were_seen(question) -> None:
    code, radio, frequency_hz, circumstances = question
    permission = may(load_territory(code), radio, frequency_hz, circumstances)
    if permission.answer is YES:
        for rule in permission.rules:
            assert rule.grade is Grade.SEEN
            assert not rule.needs
            assert rule.exempt or circumstances.licence == rule.licence
            assert answer_for_row(rule, circumstances) is YES
        low_hz, high_hz = frequency_hz - radio.bandwidth_hz / 2, frequency_hz + radio.bandwidth_hz / 2
        assert min(rule.low_hz for rule in permission.rules) <= low_hz
        assert high_hz <= max(rule.high_hz for rule in permission.rules)
    assert permission.text
    assert "None" not in permission.text


@pytest.mark.parametrize("code", CODES)
def test_rows_by_themselves(code: str) -> None:
    territory = load_territory(code)
    for licence in (None, *territory.licences):
        for rule in rows_that_matter(territory, Circumstances(licence, None, TODAY)):
            answer = answer_for_row(rule, Circumstances(licence, None, TODAY))
            if rule.allows and rule.grade is not Grade.SEEN:
                assert answer is not YES
            if not rule.allows:
                assert answer is (ASK if rule.places else NO)


def test_rows_of_other_places_are_not_listed() -> None:
    us = load_territory("us")

    def places(stated: str | None) -> set[str]:
        rows = rows_that_matter(us, Circumstances(None, stated, TODAY))
        return {place.name for rule in rows for place in rule.places}

    assert places("elsewhere") == set()
    assert places("detroit") == set()
    assert "Miami" in places("miami")
    assert "Hawaii" not in places("miami")
    assert {"Hawaii", "Miami"} <= places(None)


def test_answers_are_ordered_and_have_words() -> None:
    assert NO < ASK < YES
    assert [answer.word for answer in Answer] == ["no", "ask", "yes"]


def test_conditions_tell_all_that_a_row_asks_for() -> None:
    us = load_territory("us")
    telemetry = next(rule for rule in us.rules if rule.low_hz == 1_435_000_000)
    assert telemetry.conditions[0] == "for microphone, in-ear, intercom, cue only"
    assert "a fixed, named place" in telemetry.conditions
    assert any(condition.startswith("needs a fixed location coordinated") for condition in telemetry.conditions)
    wide = next(rule for rule in us.rules if rule.low_hz == 54_000_000 and rule.wider_than_hz)
    assert {"wider than 200 kHz only", "from 2024-11-18"} <= set(wide.conditions)
    land_mobile = next(rule for rule in us.rules if rule.low_hz == 500_000_000)
    assert land_mobile.conditions[0] == "in Philadelphia"
    assert any("until 2030-12-31" in rule.conditions for rule in load_territory("de").rules)
