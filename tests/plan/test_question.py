"""What is asked: places, rasters, classes, spares; and that what can't be asked is said in a sentence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fallow.errors import UsageError
from fallow.plan.places import Ground, tunable_hz
from fallow.plan.search.question import Question
from fallow.plan.search.raster import choose_raster
from fallow.plan.search.tables import NO_PLACE
from fallow.plan.search.worth import ASK_BIT, HIT_BIT, VERDICT_STEP
from fallow.show.equipment import Equipment, Kind
from fallow.show.link import AreaLosses, ForeignCarrier, Link, Station
from fallow.show.wanted import Wanted
from fallow.spectrum.verdict import Verdict
from fallow.units import Span
from plan.painted_ground import PaintedGround

RADIO = Equipment(
    "invented",
    Kind.MICROPHONE,
    (Span(500_000_000, 501_000_000),),
    25_000,
    (),
    200_000,
    10.0,
    None,
    350_000,
    100_000,
    50_000,
    50_000,
)


def show(*links: Link, radio: Equipment = RADIO, **more: object) -> Wanted:
    return Wanted(links, {radio.name: radio}, **more)  # type: ignore[arg-type]  # keyword arguments of Wanted


def test_steps_count_from_the_lower_end_of_each_range_edges_included() -> None:
    radio = replace(RADIO, tuning=(Span(500_010_000, 500_060_000), Span(501_000_000, 501_030_000)))
    assert tunable_hz(radio).tolist() == [500_010_000, 500_035_000, 500_060_000, 501_000_000, 501_025_000]


def test_presets_replace_the_raster_and_keep_to_the_tuning_range() -> None:
    presets = (501_000_001, 499_999_999, 500_000_000, 500_500_000)
    assert tunable_hz(replace(RADIO, presets_hz=presets)).tolist() == [500_000_000, 500_500_000]
    assert tunable_hz(replace(RADIO, presets_hz=presets, tuning=())).tolist() == sorted(presets)


@pytest.mark.parametrize("change", [{"step_hz": 0}, {"step_hz": 1, "tuning": (Span(0, 10**9),)}])
def test_rasters_that_nobody_tunes_are_refused(change: dict[str, object]) -> None:
    with pytest.raises(UsageError, match="invented"):
        tunable_hz(replace(RADIO, **change))  # type: ignore[arg-type]  # fields of Equipment


def test_different_rasters_meet_on_their_greatest_common_step() -> None:
    raster = choose_raster([np.arange(500_000_000, 508_000_001, 25_000), np.arange(500_012_500, 508_000_001, 100_000)])
    assert (raster.base_hz, raster.step_hz, raster.exact) == (500_000_000, 12_500, True)
    assert raster.positions(np.array([500_000_000, 500_025_000, 500_000_001, 499_987_500])).tolist() == [0, 2, -1, -1]


def test_a_raster_too_fine_for_tables_is_taken_coarser_and_that_is_said() -> None:
    fine = np.arange(500_000_000, 600_000_000, 1_000)
    raster = choose_raster([fine, np.array([500_000_017, 550_000_017])], most_places=30_000)
    assert not raster.exact
    assert raster.step_hz == 5_000
    assert (raster.positions(fine) >= 0).sum() == 20_000
    assert "5 kHz" in raster.notes[0]


def test_stretches_without_places_are_left_out() -> None:
    raster = choose_raster([np.concatenate([np.arange(0, 10_000, 25), np.arange(100_000, 110_000, 25)])])
    assert raster.segments.tolist() == [[0, 400], [4000, 4400]]


def test_spares_are_one_per_ten_links_of_equipment_and_area_at_least_one() -> None:
    links = [Link(f"a{i}", "invented", "hall") for i in range(11)] + [Link("b", "invented", "yard")]
    names = [carrier.name for carrier in Question.build(show(*links), Ground()).spares]
    assert names == ["spare invented hall 1", "spare invented hall 2", "spare invented yard 1"]
    assert len(Question.build(show(*links), Ground(), spares=3).spares) == 6
    assert not Question.build(show(*links), Ground(), spares=0).spares


def test_a_spare_takes_no_name_that_a_link_has() -> None:
    links = [Link("spare invented 1", "invented"), Link("two", "invented")]
    assert [carrier.name for carrier in Question.build(show(*links), Ground()).spares] == ["spare invented 2"]


def test_what_is_not_planned_is_left_out() -> None:
    asked = Question.build(show(Link("one", "invented"), Link("own", "invented", planned=False)), Ground())
    assert [carrier.name for carrier in asked.links] == ["one"]


def test_unknown_equipment_and_fixed_without_frequency_get_a_sentence() -> None:
    with pytest.raises(UsageError, match="'other', which is not known"):
        Question.build(show(Link("one", "other", line=7)), Ground())
    with pytest.raises(UsageError, match="fixed, but no frequency"):
        Question.build(show(Link("one", "invented", fixed=True)), Ground())


def test_an_announced_station_needs_a_raster() -> None:
    with pytest.raises(UsageError, match="'39' is announced"):
        Question.build(show(Link("one", "invented")), Ground(stations=(Station("39"),)))


def test_worth_joins_verdict_products_of_strangers_and_the_law() -> None:
    ground = PaintedGround(
        doubtful=[Span(500_000_000, 500_100_000)],
        not_measured=[Span(500_100_000, 500_200_000)],
        occupied=[Span(500_200_000, 500_300_000)],
        ask=[Span(500_900_000, 501_000_001)],
        forbidden=[Span(500_800_000, 500_900_000)],
    )
    strangers = tuple(ForeignCarrier(f"s{i}", hz, products=True) for i, hz in enumerate((510_000_000, 519_500_000)))
    asked = Question.build(show(Link("one", "invented"), foreign=strangers), ground)
    worth = asked.worths[0]
    tier = dict(zip(worth.frequencies_hz.tolist(), worth.tier.tolist(), strict=True))
    assert tier[500_000_000] == VERDICT_STEP * Verdict.DOUBTFUL
    assert tier[500_100_000] == VERDICT_STEP * Verdict.NOT_MEASURED
    assert 500_200_000 not in tier
    assert 500_800_000 not in tier
    assert tier[500_900_000] == ASK_BIT
    assert [hz for hz, value in tier.items() if value & HIT_BIT] == list(range(500_425_000, 500_576_000, 25_000))
    assert np.array_equal(np.flatnonzero(asked.tier[0] != NO_PLACE), asked.raster.positions(worth.frequencies_hz))


def test_scenes_that_say_nothing_new_make_no_group() -> None:
    links = [Link("a", "invented", scenes=frozenset({"one"})), Link("b", "invented", scenes=frozenset({"one", "two"}))]
    asked = Question.build(show(*links), Ground(), spares=0)
    assert asked.groups.heard == (frozenset({0, 1}),)
    assert asked.groups.victims == (frozenset({0, 1}),)


def test_areas_apart_share_no_group() -> None:
    losses = AreaLosses(frozenset({frozenset({"hall", "yard"})}))
    links = [Link("a", "invented", "hall"), Link("b", "invented", "yard"), Link("c", "invented", "lobby")]
    asked = Question.build(show(*links, losses=losses), Ground(), spares=0)
    heard = dict(zip(asked.groups.victims, asked.groups.heard, strict=True))
    assert heard == {
        frozenset({0}): frozenset({0, 2}),
        frozenset({1}): frozenset({1, 2}),
        frozenset({2}): frozenset({0, 1, 2}),
    }


@pytest.mark.parametrize(
    ("links", "spares", "hint"),
    [
        (4, 999, "ask for fewer spares: there are 999 for 4 links"),
        (1_001, 0, "tell apart areas that do not hear each other, so that at most 1,000 meet"),
    ],
)
def test_too_many_to_check_are_told_by_what_makes_them_many(links: int, spares: int, hint: str) -> None:
    asking = replace(RADIO, im3_three_hz=50_000)
    many = (Link(f"l{i}", asking.name) for i in range(links))
    with pytest.raises(UsageError, match="can be checked for") as caught:
        Question.build(show(*many, radio=asking), Ground(), spares=spares)
    assert caught.value.hint == hint
