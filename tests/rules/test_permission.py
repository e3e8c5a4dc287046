"""The arithmetic of permission, against a plain twin that looks at every half hertz of small invented territories."""

from __future__ import annotations

import datetime
import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.files.territories import load_territory, region_codes
from fallow.rules.permission import allowed_centres, answers, may, nearest_allowed_hz
from fallow.rules.territory import Answer, Circumstances, Grade, Place, Rule, Territory
from fallow.show.equipment import Equipment, Kind, PowerKind
from rules.questions import ASK, NO, TODAY, YES, gear

NORTH, SOUTH = Place("North", "an invented place"), Place("South", "an invented place")


def row(low_hz: int, high_hz: int, **more: object) -> Rule:
    """An invented row."""
    usual = {
        "allows": True,
        "licence": "open",
        "exempt": True,
        "source": "invented",
        "date": "2026",
        "grade": Grade.SEEN,
    }
    return Rule(low_hz, high_hz, **(usual | more))


def land(*rules: Rule) -> Territory:
    """An invented territory with an open and a paid licence and two places."""
    return Territory("xx", "Nowhere", rules, (), {"open": "for all", "paid": "for some"}, (NORTH, SOUTH), ())


def stated(licence: str | None = None, place: str | None = None) -> Circumstances:
    """Today's circumstances."""
    return Circumstances(licence, place, TODAY)


# The plain twin: what every half hertz of the occupied bandwidth says


def plain_answer(territory: Territory, radio: Equipment, frequency_hz: int, circumstances: Circumstances) -> Answer:
    """The answer by looking at each half hertz, licence by licence."""
    halves = range(2 * frequency_hz - radio.bandwidth_hz, 2 * frequency_hz + radio.bandwidth_hz)
    best = NO
    for licence in territory.licences:
        rows = [rule for rule in territory.rules if rule.allows and rule.licence == licence]
        spread = min(
            max((plain_row(r, radio, circumstances) for r in rows if not r.carriers_hz and on(r, h)), default=NO)
            for h in halves
        )
        single = [
            plain_row(r, radio, circumstances)
            for r in rows
            if frequency_hz in r.carriers_hz and all(on(r, h) for h in halves)
        ]
        found = max([spread, *single])
        for rule in territory.rules:
            if not rule.allows and rule.licence in ("", licence) and any(on(rule, h) for h in halves):
                found = min(found, {True: NO, None: ASK, False: YES}[plain_place(rule, circumstances.place)])
        best = max(best, found)
    return best


def on(rule: Rule, half: int) -> bool:
    """Whether the half hertz from half/2 to (half+1)/2 lies in the band."""
    return 2 * rule.low_hz <= half and half + 1 <= 2 * rule.high_hz


def plain_row(rule: Rule, radio: Equipment, circumstances: Circumstances) -> Answer:
    """What one row says to this gear."""
    if rule.kinds and radio.kind not in rule.kinds:
        return NO
    if rule.bandwidth_hz and radio.bandwidth_hz > rule.bandwidth_hz:
        return NO
    if rule.wider_than_hz and radio.bandwidth_hz <= rule.wider_than_hz:
        return NO
    if rule.power_mw and radio.power_mw and radio.power_mw > rule.power_mw:
        return NO
    if rule.licence == "paid" and circumstances.licence == "open":
        return NO
    if plain_place(rule, circumstances.place) is False:
        return NO
    sure = rule.grade is Grade.SEEN and not rule.needs and plain_place(rule, circumstances.place) is True
    sure = (
        sure
        and not (rule.power_mw and radio.power_mw is None)
        and not (rule.licence == "paid" and not circumstances.licence)
    )
    return YES if sure and not (rule.named_place and not circumstances.place) else ASK


def plain_place(rule: Rule, place: str | None) -> bool | None:
    """Whether the row holds there."""
    if not rule.places:
        return True
    return {"north": NORTH in rule.places, "south": SOUTH in rule.places, "elsewhere": False}.get(place or "")


@st.composite
def rows(draw: st.DrawFn) -> Rule:
    """A random row in the lowest sixty hertz."""
    low_hz = draw(st.integers(0, 50))
    high_hz = low_hz + draw(st.integers(1, 20))
    licence = draw(st.sampled_from(["open", "paid"]))
    places = draw(st.sampled_from([(), (), (), (NORTH,), (NORTH, SOUTH)]))
    if draw(st.integers(0, 3)) == 0:
        return row(
            low_hz, high_hz, allows=False, licence=draw(st.sampled_from(["", licence])), exempt=False, places=places
        )
    return row(
        low_hz,
        high_hz,
        licence=licence,
        exempt=licence == "open",
        grade=draw(st.sampled_from([Grade.SEEN, Grade.SEEN, *Grade])),
        kinds=draw(st.sampled_from([frozenset(), frozenset({Kind.CUE}), frozenset({Kind.MICROPHONE, Kind.CUE})])),
        carriers_hz=draw(st.sampled_from([(), (), tuple(range(low_hz, high_hz, 3))])),
        power_mw=draw(st.sampled_from([None, 10.0, 100.0])),
        power_kind=PowerKind.EIRP,
        bandwidth_hz=draw(st.sampled_from([None, 2, 4])),
        wider_than_hz=draw(st.sampled_from([None, None, 2])),
        needs=draw(st.sampled_from([(), (), ("a word",)])),
        places=places,
        named_place=draw(st.sampled_from([False, False, True])),
    )


@given(
    st.lists(rows(), min_size=1, max_size=7),
    st.builds(
        gear, st.sampled_from([Kind.MICROPHONE, Kind.CUE]), st.integers(1, 5), st.sampled_from([None, 5.0, 50.0])
    ),
    st.builds(
        stated, st.sampled_from([None, "open", "paid"]), st.sampled_from([None, "north", "south", "elsewhere", "Hall"])
    ),
)
def test_carriers_against_the_plain_twin(rules: list[Rule], radio: Equipment, circumstances: Circumstances) -> None:
    territory = land(*rules)
    carriers = np.arange(-3, 76)
    expected = [plain_answer(territory, radio, int(f), circumstances) for f in carriers]
    assert [may(territory, radio, int(f), circumstances).answer for f in carriers] == expected
    assert answers(territory, radio, carriers, circumstances).tolist() == expected
    allowed = [int(f) for f, answer in zip(carriers, expected, strict=True) if answer is not NO]
    for f in (-3, 0, 17, 40, 75):
        nearest = min((abs(f - other) for other in allowed), default=None)
        assert nearest_allowed_hz(territory, radio, f, circumstances) == nearest


@pytest.mark.parametrize("code", [code for code, _ in region_codes()])
def test_many_carriers_at_once_agree_with_each_alone(code: str) -> None:
    territory = load_territory(code)
    edges = sorted({edge for rule in territory.rules for edge in (rule.low_hz, rule.high_hz, *rule.carriers_hz)})
    carriers = np.array([edge + shift for edge in edges for shift in (-100_001, -100_000, 0, 100_000, 100_001)])[:400]
    for licence in (None, *territory.licences):
        found = answers(territory, gear(), carriers, stated(licence))
        assert found.tolist() == [may(territory, gear(), int(f), stated(licence)).answer for f in carriers]


def test_ten_thousand_carriers_in_a_moment() -> None:
    carriers = np.arange(470_000_000, 608_000_000, 13_800)
    assert carriers.size == 10_000

    def seconds() -> float:
        started = time.perf_counter()
        answers(load_territory("us"), gear(), carriers, stated())
        return time.perf_counter() - started

    assert min(seconds() for _ in range(5)) < 0.05


def test_rows_that_adjoin_hold_a_carrier_together_but_not_across_licences() -> None:
    adjoining = land(row(0, 10), row(10, 20))
    assert may(adjoining, gear(bandwidth_hz=4), 10, stated()).answer is YES
    apart = land(row(0, 10), row(11, 20))
    assert may(apart, gear(bandwidth_hz=4), 10, stated()).answer is NO
    two_licences = land(row(0, 10), row(10, 20, licence="paid", exempt=False))
    assert may(two_licences, gear(bandwidth_hz=4), 10, stated("paid")).answer is NO
    weaker = land(row(0, 10), row(10, 20, grade=Grade.MEMORY))
    assert may(weaker, gear(bandwidth_hz=4), 10, stated()).answer is ASK


@pytest.mark.parametrize(
    ("power_mw", "kind", "limit_mw", "limit_kind", "expected"),
    [
        (50, "eirp", 50, "eirp", YES),
        (50.1, "eirp", 50, "eirp", NO),
        (50, "erp", 82.03, "eirp", YES),  # EIRP = ERP + 2.15 dB: 50 mW ERP are 82.03 mW EIRP
        (50, "erp", 82.02, "eirp", NO),
        (82.02, "eirp", 50, "erp", YES),
        (82.03, "eirp", 50, "erp", NO),
        (1000, "conducted", 1000, "conducted", YES),
        (50, "conducted", 50, "eirp", ASK),  # the antenna decides
        (5, "conducted", 50, "eirp", YES),  # less by 10 dB, common practice
        (5.1, "conducted", 50, "eirp", ASK),
        (501, "conducted", 50, "eirp", NO),
        (250, "eirp", 250, "conducted", ASK),
        (50, None, 50, "eirp", ASK),
        (3, None, 50, "eirp", YES),
        (None, None, 50, "eirp", ASK),
    ],
)
def test_powers_of_different_kinds(power_mw, kind, limit_mw, limit_kind, expected) -> None:
    radio = gear(bandwidth_hz=2, power_mw=power_mw, power_kind=None if kind is None else PowerKind(kind))
    territory = land(row(0, 10, power_mw=limit_mw, power_kind=PowerKind(limit_kind)))
    assert may(territory, radio, 5, stated()).answer is expected


def test_a_row_without_a_power_limit_takes_any_power() -> None:
    assert may(land(row(0, 10)), gear(bandwidth_hz=2, power_mw=None), 5, stated()).answer is YES


def test_prohibition_wins_and_reaches_in_from_the_side() -> None:
    territory = land(row(0, 100), row(50, 60, allows=False, licence="", exempt=False, grade=Grade.MEMORY))
    radio = gear(bandwidth_hz=4)
    found = [may(territory, radio, f, stated()).answer for f in (47, 48, 49, 55, 61, 62, 63)]
    assert found == [YES, YES, NO, NO, NO, YES, YES]
    assert nearest_allowed_hz(territory, radio, 55, stated()) == 7
    assert nearest_allowed_hz(territory, replace(radio, bandwidth_hz=400), 55, stated()) is None


def test_days_count() -> None:
    first, last = datetime.date(2026, 1, 1), datetime.date(2026, 12, 31)
    territory = land(row(0, 10, valid_from=first, valid_to=last))
    radio = gear(bandwidth_hz=2)
    days = (first - datetime.timedelta(1), first, last, last + datetime.timedelta(1))
    assert [may(territory, radio, 5, Circumstances(None, None, day)).answer for day in days] == [NO, YES, YES, NO]


def test_texts_name_the_row_and_what_stands_in_the_way() -> None:
    us = load_territory("us")
    refused = may(us, gear(power_mw=60), 500_000_000, stated("part15", "elsewhere"))
    assert "at most 50 mW EIRP" in refused.text
    assert "47 CFR 15.236" in refused.text
    unlicensed = may(us, gear(), 450_500_000, stated())
    assert "part74" in unlicensed.text
    assert "not stated" in unlicensed.text
    nothing = may(us, gear(), 300_000_000, stated())
    assert nothing.rules == ()
    assert "no row allows" in nothing.text


def test_allowed_centres_are_whole_and_within_the_rows() -> None:
    odd = gear(bandwidth_hz=3)
    assert [(r.low_hz, r.high_hz) for r in allowed_centres(land(row(0, 10)), odd, stated()) if r.answer is YES] == [
        (2, 8)
    ]
