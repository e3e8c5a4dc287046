"""Distances from levels: never less than any carrier or product asks for, refused where they rest on defaults.

The audit of a plan that keeps them, and the ledgers with every transmitter at its nearest, are the judges.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import count, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.errors import UsageError
from fallow.plan.answer import compose_plan
from fallow.plan.judge.products import FIFTH, THREE_CARRIERS, TWO_CARRIERS
from fallow.plan.judge.stage import Stage
from fallow.plan.ledger.accounts import accounts_of
from fallow.plan.ledger.level_distances import RESERVE_DB, by_levels
from fallow.plan.places import Ground
from fallow.plan.search.question import Question
from fallow.plan.search.search import improve
from fallow.show.equipment import PowerKind, Stated
from fallow.show.link import AreaLosses, Link
from fallow.show.receiver import figures_of
from fallow.units import Span
from plan.plain_accounts import rejected_db
from plan.shows import equipment, row, wanted

BAND = (Span(500_000_000, 524_000_000),)


def stated_kind(name="mic", **figures):
    stated = {"nearest_m": 15.0, "iip3_dbm": 5.0, "source": "own bench"} | figures
    kind = equipment(name, tuning=BAND, step_hz=25_000, im5_khz=50)
    return replace(kind, power_mw=50.0, power_kind=PowerKind.EIRP, stated=Stated(**stated))


def show(n=10, **figures):
    return wanted(kinds=[stated_kind(**figures)], links=[Link(f"vox {i}", "mic") for i in range(n)])


def asked(n=10, **figures):
    return by_levels(show(n, **figures)).wanted.equipment["mic"]


@pytest.mark.parametrize(
    ("figures", "missing"),
    [({"iip3_dbm": None}, "iip3_dbm is"), ({"nearest_m": None, "source": ""}, "nearest_m and figures_source are")],
)
def test_defaults_are_no_ground_for_distances(figures, missing):
    with pytest.raises(UsageError, match=f"can't set the distances of mic, because its {missing} not stated"):
        by_levels(show(**figures))


def test_equipment_that_can_be_tuned_nowhere_is_refused_too():
    kind = replace(stated_kind(), tuning=())
    with pytest.raises(UsageError, match="which has neither tuning range nor presets"):
        by_levels(wanted(kinds=[kind], links=[Link("a", "mic")]))


def test_equipment_that_nobody_uses_need_not_be_stated():
    want = show()
    want = replace(want, equipment={**want.equipment, "old": equipment("old")})
    assert by_levels(want).wanted.equipment["old"] == want.equipment["old"]


def plain_level_dbm(kind, metres, hz):
    return 10 * math.log10(kind.power_mw) - 20 * math.log10(4 * math.pi * metres * hz / 299_792_458)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(2, 40),
    st.floats(-25, 20),
    st.floats(10, 80),
    st.integers(500, 524).map(lambda mhz: mhz * 1_000_000),
)
def test_no_carrier_or_product_at_its_distance_is_louder_than_the_link_bears_less_the_reserve(
    nearest_m, iip3_dbm, mixing_db, hz
):
    distance_m = 40.0
    kind = stated_kind(nearest_m=nearest_m, iip3_dbm=iip3_dbm, mixing_db=mixing_db, distance_m=distance_m)
    want = wanted(kinds=[kind], links=[Link("a", "mic"), Link("b", "mic"), Link("c", "mic")])
    levelled = by_levels(want)
    found, told = levelled.wanted.equipment["mic"], " ".join(levelled.notes)
    short_of = told.partition("rejects enough for ")[2].partition(", so")[0]
    figures = figures_of(kind)
    bears = plain_level_dbm(kind, distance_m, hz) - figures.body_db.value - figures.fade_db.value
    bears -= figures.needed_db.value + RESERVE_DB
    near = plain_level_dbm(kind, nearest_m, hz)
    for name, level, kept_hz, table_hz in (
        ("spacing", near, found.spacing_hz, kind.spacing_hz),
        ("2A−B", near - mixing_db, found.im3_hz, kind.im3_hz),
        ("2A−B", TWO_CARRIERS.level_dbm([near, near], iip3_dbm), found.im3_hz, kind.im3_hz),
        ("A+B−C", THREE_CARRIERS.level_dbm([near] * 3, iip3_dbm), found.im3_three_hz or 0, kind.im3_three_hz or 0),
        ("3A−2B", FIFTH.level_dbm([near, near], iip3_dbm), found.im5_hz or 0, kind.im5_hz or 0),
    ):
        if name in short_of:
            assert kept_hz >= table_hz
        else:
            assert level - rejected_db(figures.selectivity, kept_hz) <= bears + 1e-6


def test_a_filter_that_never_rejects_enough_loosens_nothing_and_says_so():
    """A neighbour 79 dB too loud is not 20 dB softer: worked by hand from the stated figures."""
    kind = stated_kind(selectivity=((100_000, 20.0),))
    levelled = by_levels(wanted(kinds=[kind], links=[Link("a", "mic"), Link("b", "mic")]))
    assert levelled.wanted.equipment["mic"].spacing_hz >= kind.spacing_hz
    assert any("rejects enough for spacing" in note and "reserve is NOT kept" in note for note in levelled.notes)


def test_a_better_receiver_or_more_room_never_asks_for_more():
    for better, worse in (({"iip3_dbm": 10}, {"iip3_dbm": 0}), ({"nearest_m": 20}, {"nearest_m": 5})):
        good, bad = asked(40, **better), asked(40, **worse)
        assert good.spacing_hz <= bad.spacing_hz
        assert good.im3_hz <= bad.im3_hz
        assert (good.im3_three_hz or 0) <= (bad.im3_three_hz or 0)


def test_more_links_ask_for_more_and_transmitters_that_meet_always_for_something():
    few, many = asked(5, iip3_dbm=10), asked(200, iip3_dbm=10)
    assert few.im3_three_hz is None
    assert many.im3_three_hz is not None
    assert asked(5, iip3_dbm=60, mixing_db=150).im3_hz == 50_000


def test_areas_that_are_far_from_each_other_count_with_what_they_lose():
    strong = replace(stated_kind("strong"), power_mw=5000.0)
    links = [Link("a", "mic", "hall"), Link("b", "strong", "yard")]
    want = wanted(kinds=[stated_kind(), strong], links=links)
    far = replace(want, losses=AreaLosses(loss_db={frozenset(("hall", "yard")): 40.0}))
    apart = replace(want, losses=AreaLosses(frozenset({frozenset(("hall", "yard"))})))
    spacing = [by_levels(one).wanted.equipment["mic"].spacing_hz for one in (want, far, apart)]
    assert spacing[0] > spacing[1] == spacing[2]


def test_the_notes_warn_of_what_it_rests_on_and_tell_each_distance():
    notes = by_levels(show()).notes
    assert notes[0].startswith("DISTANCES COME FROM LEVELS")
    assert "own bench" in notes[0]
    assert notes[1].endswith("(nearest 15 m, intercept point 5 dBm, own bench)")
    assert "A+B−C none instead of 50 kHz, 3A−2B none" in notes[1]


def test_a_plan_by_levels_holds_more_links_and_its_ledgers_bear_all_transmitters_at_their_nearest():
    want = show(40, iip3_dbm=10.0, nearest_m=15.0)
    levelled = by_levels(want).wanted

    def placed(question_of):
        taken = count()
        *_, best = improve(Question.build(question_of, Ground()), seed=1, should_stop=lambda: next(taken) >= 40)
        return best, compose_plan(best, question_of, Ground())

    _, by_table = placed(want)
    best, plan = placed(levelled)
    assert len(plan.unplaced) < len(by_table.unplaced)
    assert plan.conflicts == ()
    rows = [row(name, hz / 1e6) for name, hz in best.frequencies_hz.items()]
    strict = accounts_of(Stage.of(rows, levelled, None), at_nearest=True)
    assert min(one.margin_db for one in strict.ledgers.values()) > 0


@settings(max_examples=25, deadline=None)
@given(st.lists(st.sampled_from([10.0, 50.0, 250.0, 1000.0]), min_size=2, max_size=3), st.floats(0, 20))
def test_of_several_types_each_bears_the_loudest_of_all_at_its_own_distances(powers_mw, iip3_dbm):
    """Every pair and triple of types, one after the other, against the distances that their victim asks for."""
    kinds = [replace(stated_kind(f"kind {i}", iip3_dbm=iip3_dbm), power_mw=mw) for i, mw in enumerate(powers_mw)]
    links = [Link(f"{kind.name} {i}", kind.name) for kind in kinds for i in range(2)]
    found = by_levels(wanted(kinds=kinds, links=links)).wanted.equipment
    for victim in kinds:
        figures = figures_of(victim)
        bears = plain_level_dbm(victim, figures.distance_m.value, 524_000_000) - figures.body_db.value
        bears -= figures.fade_db.value + figures.needed_db.value + RESERVE_DB
        near = [plain_level_dbm(kind, figures.nearest_m.value, 500_000_000) for kind in kinds]
        for form, kept_hz in (
            (TWO_CARRIERS, found[victim.name].im3_hz),
            (THREE_CARRIERS, found[victim.name].im3_three_hz or 0),
            (FIFTH, found[victim.name].im5_hz or 0),
        ):
            for levels in product(near, repeat=len(form.coefficients)):
                level = form.level_dbm(levels, iip3_dbm) - rejected_db(figures.selectivity, kept_hz)
                assert level <= bears + 1e-6 or kept_hz >= figures.selectivity[-1][0]
        for other, level in zip(kinds, near, strict=True):
            kept_hz = max(found[victim.name].spacing_hz, found[other.name].spacing_hz)
            assert level - rejected_db(figures.selectivity, kept_hz) <= bears + 1e-6
            assert kept_hz >= (victim.bandwidth_hz + other.bandwidth_hz) / 2
