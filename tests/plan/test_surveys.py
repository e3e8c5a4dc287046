"""Surveys of areas: which hold where, which one decides, and that it is said; compared with the rule's own words.

Truth: the contract of the commands: a survey of an area holds for links of that area and of areas that hear it, one
without an area for all, and the worst verdict counts. Airs and areas are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.plan.judge.audit import audit
from fallow.plan.places import Ground
from fallow.plan.surveys import AreaAir
from fallow.show.link import AreaLosses
from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import judge
from fallow.spectrum.sweep import LevelUnit, Series, Survey
from fallow.spectrum.verdict import JudgedSlice, Verdict, WindowVerdicts
from fallow.units import Span
from plan.shows import equipment, row, wanted

AREAS = ("", "hall", "foyer", "yard")
RADIO = equipment(tuning=(Span(500_000_000, 502_000_000),), step_hz=500_000)
PLACES_HZ = tuple(range(500_000_000, 502_000_001, 500_000))


class ListedAir:
    """An air that has a verdict and a margin for each place of ``RADIO``."""

    basis = "absolute"

    def __init__(self, said: tuple[tuple[Verdict, float], ...]) -> None:
        self.said, self.asked = dict(zip(PLACES_HZ, said, strict=True)), 0

    def judge_window(self, low_hz: float, high_hz: float) -> JudgedSlice:
        verdict, margin_db = self.said[round((low_hz + high_hz) / 2)]
        return JudgedSlice("", round(low_hz), round(high_hz), verdict, ("said so",), -90.0 - margin_db, 2.0, None)

    def judge_windows(self, low_hz: np.ndarray, high_hz: np.ndarray) -> WindowVerdicts:
        self.asked += 1
        said = [self.said[round(hz)] for hz in (low_hz + high_hz) / 2]
        margin = np.array([np.nan if v is Verdict.NOT_MEASURED else m for v, m in said])
        return WindowVerdicts(np.array([v for v, _ in said], dtype=np.uint8), -90 - margin, margin, margin, margin)


@dataclass(frozen=True)
class House:
    airs: tuple[AreaAir, ...]
    apart: frozenset[frozenset[str]]

    @property
    def ground(self) -> Ground:
        return Ground(airs=self.airs, losses=AreaLosses(self.apart))

    def holding(self, area: str) -> list[AreaAir]:
        """By the words of the contract."""
        found = []
        for one in self.airs:
            everywhere = one.area == "" or area == ""
            if everywhere or one.area == area or frozenset((one.area, area)) not in self.apart:
                found.append(one)
        return found


@st.composite
def houses(draw: st.DrawFn) -> House:
    said = st.tuples(st.sampled_from(list(Verdict)), st.sampled_from([-3.0, 0.5, 4.0, 9.0]))
    airs = draw(
        st.lists(st.tuples(st.sampled_from(AREAS), st.tuples(*[said] * len(PLACES_HZ))), min_size=1, max_size=4)
    )
    pairs = [frozenset(pair) for pair in (("hall", "foyer"), ("hall", "yard"), ("foyer", "yard"))]
    apart = draw(st.frozensets(st.sampled_from(pairs)))
    return House(tuple(_area_air(area, says, f"survey {i}") for i, (area, says) in enumerate(airs)), apart)


def _area_air(area: str, said: tuple[tuple[Verdict, float], ...], name: str) -> AreaAir:
    return AreaAir(ListedAir(said), area, name)  # type: ignore[arg-type]  # an invented air


@given(houses(), st.booleans())
def test_the_worst_verdict_of_the_surveys_that_hold_counts(house: House, asked_before: bool) -> None:
    for area in AREAS:
        ground = house.ground
        places = ground.places(RADIO, area) if asked_before else None
        holding = house.holding(area)
        for i, hz in enumerate(PLACES_HZ):
            found, judged = ground.air_at(RADIO, area, hz), ground.verdict(RADIO, area, hz)
            assert found is not None
            assert judged is not None
            worst = max((one.air.said[hz][0] for one in holding), default=Verdict.NOT_MEASURED)  # type: ignore[attr-defined]
            assert found.verdict == judged.verdict == worst
            of_worst = [one.air.said[hz][1] for one in holding if one.air.said[hz][0] == worst]  # type: ignore[attr-defined]
            thinnest_db = None if worst == Verdict.NOT_MEASURED else min(of_worst)
            assert found.margin_db == thinnest_db
            assert (found.survey in holding) == bool(holding)
            if places is not None:
                assert places.verdict[i] == worst
                assert np.array_equal(
                    places.margin_db[i], np.nan if thinnest_db is None else thinnest_db, equal_nan=True
                )


CLEAN, OCCUPIED = ((Verdict.CLEAN, 9.0),) * len(PLACES_HZ), ((Verdict.OCCUPIED, -9.0),) * len(PLACES_HZ)


def test_windows_are_judged_once_per_survey_and_type_of_radio() -> None:
    hall, yard = (_area_air(area, CLEAN, area) for area in ("hall", "yard"))
    ground = Ground(airs=(hall, yard))
    for area in AREAS:
        ground.places(RADIO, area)
        ground.places(equipment("other", spacing_khz=700, tuning=RADIO.tuning, step_hz=500_000), area)
        ground.air_at(RADIO, area, PLACES_HZ[1])
    assert (hall.air.asked, yard.air.asked) == (1, 1)  # type: ignore[attr-defined]  # invented airs


def test_the_audit_names_the_survey_that_decided_where_there_are_several() -> None:
    off, on = _area_air("hall", CLEAN, "hall: wall-off.csv"), _area_air("hall", OCCUPIED, "hall: wall-on.csv")
    rows, want = [row("a", 500, area="hall")], wanted(kinds=[RADIO])
    found = audit(rows, want, Ground(airs=(off, on)))
    (conflict,) = found.conflicts
    assert "the survey hall: wall-on.csv decides for 1 carrier: a" in found.notes
    assert "in the survey hall: wall-on.csv (said so)" in conflict.text
    (alone,) = audit(rows, want, Ground(airs=(on,))).conflicts
    assert "in the survey" not in alone.text


def test_areas_without_a_survey_of_their_own_are_noted() -> None:
    hall = _area_air("hall", CLEAN, "hall: wall-off.csv")
    rows = [row("a", 500, area="hall"), row("b", 501, area="yard"), row("c", 502, area="foyer")]
    want = wanted(kinds=[RADIO])
    apart = AreaLosses(frozenset([frozenset(("hall", "yard"))]))
    notes = audit(rows, want, Ground(airs=(hall,), losses=apart)).notes
    assert "no survey was taken in foyer: its carriers go by hall: wall-off.csv" in notes
    assert "no survey was taken in yard: its places count as not measured" in notes
    assert "1 carrier stands on a place judged not measured: b" in notes
    everywhere = Ground(airs=(_area_air("", CLEAN, "all of it"),))
    assert not [note for note in audit(rows, want, everywhere).notes if "no survey was taken" in note]


@pytest.mark.parametrize("verdict", list(Verdict))
def test_a_radio_without_places_asks_nobody(verdict: Verdict) -> None:
    nowhere = equipment(presets=(400_000_000,), tuning=RADIO.tuning)
    places = Ground(airs=(_area_air("", ((verdict, 1.0),) * len(PLACES_HZ), ""),)).places(nowhere, "")
    assert places.frequencies_hz.size == 0


def test_a_window_of_many_says_what_it_says_alone() -> None:
    """Kept verdicts and single ones are of the same arithmetic; an invented air with a carrier and a raised stretch."""
    dice = np.random.default_rng(3)
    at_hz = 500_000_000 + 10_000 * np.arange(201)
    power_mw = 10**-11.3 * dice.gamma(8, 1 / 8, size=(12, at_hz.size))
    power_mw[:, 60:62] += 10**-8.6
    power_mw[3:5, 140:150] *= 12
    axis = Axis.regular(500_000_000, 10_000, at_hz.size)
    levels_dbm = (10 * np.log10(power_mw)).astype(np.float32)
    series = Series(axis, levels_dbm, LevelUnit.DBM, np.arange(12.0), rbw_hz=10_000.0)
    air = judge(Survey((series,)))
    kind = replace(RADIO, step_hz=10_000, bandwidth_hz=120_000)
    asked, fresh = Ground(airs=(AreaAir(air, "hall", "a"),)), Ground(airs=(AreaAir(air, "hall", "a"),))
    places = asked.places(kind, "hall")
    assert len(np.unique(places.verdict)) > 2
    for hz in places.frequencies_hz.tolist():
        kept, alone, judged = (
            asked.air_at(kind, "hall", hz),
            fresh.air_at(kind, "hall", hz),
            fresh.verdict(kind, "", hz),
        )
        assert kept is not None
        assert alone is not None
        assert judged is not None
        assert kept.verdict == alone.verdict == judged.verdict
        assert kept.margin_db == (None if alone.margin_db is None else pytest.approx(alone.margin_db))
