"""The audit: each kind of conflict once, by the rules of distance; compared with a plainer twin on random shows."""

from __future__ import annotations

import pytest
from hypothesis import given, settings

from fallow.errors import UsageError
from fallow.plan.judge.audit import KINDS, audit
from fallow.show.assignment import Assignment
from fallow.show.link import ForeignCarrier, Link
from fallow.spectrum.verdict import Verdict
from fallow.units import Span
from plan.plain_audit import plain_audit
from plan.shows import equipment, ground, row, rule, shows, wanted


def told(conflict):
    """A conflict without its text."""
    return (
        conflict.kind,
        conflict.victim,
        conflict.carriers,
        conflict.product_hz,
        conflict.distance_hz,
        conflict.needed_hz,
    )


def conflicts_of(rows, want=None, ground=None):
    return [told(conflict) for conflict in audit(rows, want or wanted(), ground).conflicts]


# Each kind, by hand


def test_a_spacing_is_kept_at_the_distance_and_broken_one_hertz_below():
    assert conflicts_of([row("a", 500), row("b", 500.350)]) == []
    found = conflicts_of([row("b", 500), row("a", 500.349999)])
    assert found == [("spacing", None, ("a", "b"), None, 349_999, 350_000)]


def test_the_larger_spacing_of_two_types_counts():
    want = wanted(kinds=[equipment(), equipment("wide", spacing_khz=600)])
    assert conflicts_of([row("a", 500), row("b", 500.5, "wide")], want) == [
        ("spacing", None, ("a", "b"), None, 500_000, 600_000)
    ]


def test_two_carriers_hit_a_third_at_twice_one_less_the_other():
    # 2 × 500 − 501 = 499; the victim stands 99.999 kHz beside it. 2 × 500 − 499.099999 = 500.900001 mirrors it to 501.
    found = conflicts_of([row("a", 500), row("b", 501), row("v", 499.099999)])
    assert found == [
        ("2A-B", "b", ("a", "v"), 500_900_001, 99_999, 100_000),
        ("2A-B", "v", ("a", "b"), 499_000_000, 99_999, 100_000),
    ]
    assert conflicts_of([row("a", 500), row("b", 501), row("v", 499.1)]) == []


def test_three_carriers_name_a_before_b_whatever_their_frequencies():
    # 500 + 503 − 501.2 = 501.8, 30 kHz below the victim; by symmetry each of the four is hit.
    rows = [row("z", 500), row("b", 503), row("c", 501.2), row("v", 501.83)]
    found = conflicts_of(rows)
    assert ("A+B-C", "v", ("b", "z", "c"), 501_800_000, 30_000, 50_000) in found
    assert {kind for kind, *_ in found} == {"A+B-C"}
    assert len(found) == 4


def test_the_fifth_order_is_asked_only_of_those_who_ask():
    # 3 × 500 − 2 × 501 = 498
    rows = [row("a", 500), row("b", 501), row("v", 498.01, "keen")]
    want = wanted(kinds=[equipment(), equipment("keen", im5_khz=50)])
    assert conflicts_of(rows, want) == [("3A-2B", "v", ("a", "b"), 498_000_000, 10_000, 50_000)]


def test_the_distance_of_a_product_is_the_victims():
    rows = [row("a", 500), row("b", 501), row("v", 499.08, "tough")]
    want = wanted(kinds=[equipment(), equipment("tough", im3_khz=50)])
    assert conflicts_of(rows, want) == [("2A-B", "b", ("a", "v"), 500_920_000, 80_000, 100_000)]


def test_a_foreign_carrier_keeps_its_spacing_and_mixes_only_if_told():
    stranger = ForeignCarrier("tv link", 501_000_000, 200_000, spacing_hz=400_000)
    assert conflicts_of([row("a", 501.3)], wanted(foreign=[stranger])) == [
        ("foreign", "a", ("tv link",), None, 300_000, 400_000)
    ]
    rows = [row("a", 500), row("v", 499)]
    assert conflicts_of(rows, wanted(foreign=[stranger])) == []
    mixing = ForeignCarrier("tv link", 501_000_000, products=True)
    assert conflicts_of(rows, wanted(foreign=[mixing])) == [("2A-B", "v", ("a", "tv link"), 499_000_000, 0, 100_000)]


def test_a_protected_foreign_carrier_is_the_victim_of_our_products_of_all_forms():
    guarded = ForeignCarrier("guest", 498_000_000, spacing_hz=100_000, protect=True)
    rows = [row("a", 500), row("b", 501)]
    assert conflicts_of(rows, wanted(foreign=[guarded])) == [("3A-2B", "guest", ("a", "b"), 498_000_000, 0, 100_000)]
    asking_nothing = ForeignCarrier("guest", 498_000_000, spacing_hz=100_000)
    assert conflicts_of(rows, wanted(foreign=[asking_nothing])) == []


def test_what_strangers_make_alone_is_noted_and_no_conflict():
    strangers = [ForeignCarrier("x", 500_000_000, products=True), ForeignCarrier("y", 501_000_000, products=True)]
    answer = audit([row("v", 499)], wanted(foreign=strangers))
    assert answer.conflicts == ()
    assert answer.products == 0
    assert any("2 × x − y" in note and "v (499.000 MHz)" in note for note in answer.notes)


def test_carriers_and_victim_must_share_one_scene_not_one_by_one():
    pairwise = [
        row("a", 500, scenes=["act 1", "act 2"]),
        row("b", 501, scenes=["act 2", "act 3"]),
        row("v", 499, scenes=["act 1", "act 3"]),
    ]
    assert conflicts_of(pairwise) == []
    assert audit(pairwise, wanted()).pairs == 3
    together = [*pairwise[:2], row("v", 499, scenes=["act 2"])]
    assert [kind for kind, *_ in conflicts_of(together)] == ["2A-B", "2A-B"]


def test_links_without_scenes_are_on_in_every_scene_and_spares_always():
    assert len(conflicts_of([row("a", 500), row("b", 501), row("v", 499, scenes=["act 1"])])) == 2
    assert len(conflicts_of([row("a", 500, scenes=["x"]), row("spare 1", 500.1, scenes=["y"])])) == 1
    assert conflicts_of([row("a", 500, scenes=["x"]), row("b", 500.1, scenes=["y"])]) == []


def test_areas_apart_do_not_meet_and_a_victim_must_hear_every_carrier():
    apart = [("hall", "foyer")]
    assert conflicts_of([row("a", 500, area="hall"), row("b", 500.1, area="foyer")], wanted(apart=apart)) == []
    rows = [row("a", 500, area="stage"), row("b", 501, area="foyer"), row("v", 499, area="hall")]
    assert conflicts_of(rows, wanted(apart=apart)) == []
    assert len(conflicts_of(rows, wanted(apart=[("hall", "elsewhere")]))) == 2


def test_tuning_counts_edges_in_and_steps_from_the_lower_end():
    ranged = wanted(
        kinds=[equipment(tuning=(Span(470_000_000, 480_000_000), Span(490_000_000, 500_010_000)), step_hz=25_000)]
    )
    assert conflicts_of([row("a", 470), row("b", 480), row("c", 490.125)], ranged) == []
    assert conflicts_of([row("a", 484)], ranged) == [("tuning", "a", (), None, 4_000_000, 0)]
    assert conflicts_of([row("a", 470.01)], ranged) == [("tuning", "a", (), None, 10_000, 0)]
    assert conflicts_of([row("a", 500.01)], ranged) == [
        ("tuning", "a", (), None, 10_000, 0)
    ]  # the last step is 500.000


def test_presets_are_the_only_places_those_inside_the_ranges():
    kind = equipment(presets=(469_000_000, 471_000_000, 475_000_000), tuning=(Span(470_000_000, 480_000_000),))
    assert conflicts_of([row("a", 471)], wanted(kinds=[kind])) == []
    assert conflicts_of([row("a", 469)], wanted(kinds=[kind])) == [("tuning", "a", (), None, 2_000_000, 0)]
    nowhere = equipment(presets=(469_000_000,), tuning=(Span(470_000_000, 480_000_000),))
    assert conflicts_of([row("a", 471)], wanted(kinds=[nowhere])) == [("tuning", "a", (), None, None, 0)]


def test_what_the_law_forbids_is_a_conflict_with_the_way_to_the_nearest_place():
    banned = rule(500, 510, allows=False, licence="")
    law = ground(rule(470, 600), banned)
    kind = equipment(step_hz=1_000_000)  # 200 kHz wide, so 499 is the last place below the ban and 511 the first above
    assert conflicts_of([row("a", 503)], wanted(kinds=[kind]), law) == [("rules", "a", (), None, 4_000_000, 0)]
    assert conflicts_of([row("a", 506)], wanted(kinds=[kind]), law) == [("rules", "a", (), None, 5_000_000, 0)]
    preset = equipment(presets=(503_000_000, 520_000_000))
    assert conflicts_of([row("a", 503)], wanted(kinds=[preset]), law) == [("rules", "a", (), None, 17_000_000, 0)]
    fine = conflicts_of([row("a", 503)], wanted(), law)  # in steps of 1 Hz the last place is 499.9
    assert fine == [("rules", "a", (), None, 3_100_000, 0)]
    assert conflicts_of([row("a", 503)], wanted(), ground(banned)) == [("rules", "a", (), None, None, 0)]


def test_where_the_law_wants_to_be_asked_is_one_note_for_all():
    law = ground(rule(470, 600, needs=("a nod from the desk",)))
    answer = audit([row("a", 503), row("b", 504)], wanted(), law)
    assert answer.conflicts == ()
    asking = [note for note in answer.notes if "a nod from the desk" in note]
    assert len(asking) == 1
    assert asking[0].startswith("ask before use (2 carriers: a and b)")


def test_occupied_air_or_an_announced_channel_is_one_conflict():
    def verdict(hz):
        return Verdict.OCCUPIED if hz < 500_000_000 else Verdict.CLEAN

    place = ground(rule(470, 600), verdict=verdict, channel="24")
    found = conflicts_of([row("a", 499), row("b", 502.099999), row("c", 502.45)], ground=place)
    assert found == [("air", "a", (), None, None, None), ("air", "b", (), None, None, None)]
    assert conflicts_of([row("b", 502.1)], ground=place) == []  # its bandwidth ends at the edge of the channel


def test_doubtful_and_not_measured_places_are_noted_in_groups():
    place = ground(rule(470, 600), verdict=lambda hz: Verdict.DOUBTFUL if hz < 502_000_000 else Verdict.NOT_MEASURED)
    answer = audit([row("a", 500), row("b", 501), row("c", 503.3)], wanted(), place)
    assert not [conflict for conflict in answer.conflicts if conflict.kind == "air"]
    assert "2 carriers stand on places judged doubtful: a and b" in answer.notes
    assert "1 carrier stands on a place judged not measured: c" in answer.notes


# Rows


def test_rows_without_frequency_and_systems_of_their_own_are_not_judged():
    links = [Link("own", "mic", planned=False), Link("a", "mic")]
    answer = audit([row("own", 500), row("a", 500.1), row("b", None)], wanted(links=links))
    assert answer.conflicts == ()
    assert any("own" in note for note in answer.notes)
    assert any(note.endswith("no frequency: b") for note in answer.notes)


def test_a_listed_link_is_judged_as_listed_even_where_its_row_is_incomplete():
    links = [Link("a", "mic", "hall", frozenset(["act 1"])), Link("b", "mic", "foyer")]
    want = wanted(links=links, apart=[("hall", "foyer")])
    assert conflicts_of([row("a", 500, kind=""), row("b", 500.1, kind="")], want) == []
    assert any("differ" in note for note in audit([row("a", 500, area="foyer")], want).notes)


def test_unknown_equipment_is_refused_in_one_sentence_with_its_line():
    with pytest.raises(UsageError, match="the equipment 'toy' of a is not known") as caught:
        audit([Assignment("a", "toy", frequency_hz=500_000_000, line=7)], wanted())
    assert caught.value.line == 7
    with pytest.raises(UsageError, match="has no equipment"):
        audit([row("a", 500, kind="")], wanted())


def test_without_law_and_air_the_audit_says_so():
    notes = audit([row("a", 500)], wanted()).notes
    assert any("law was not asked" in note for note in notes)
    assert any("no sweeps" in note for note in notes)


# What was compared


def test_comparisons_of_five_links_counted_by_hand():
    # All hear each other: 5·4/2 pairs; 2A−B: 5 victims × 4·3; A+B−C: 5 victims × 4·3·2/2.
    rows = [row(name, 500 + i) for i, name in enumerate("abcde")]
    answer = audit(rows, wanted())
    assert (answer.pairs, answer.products) == (10, 5 * 12 + 5 * 12)


def test_comparisons_after_scenes_areas_and_strangers_counted_by_hand():
    # Scene x: a, b, always c. Scene y: d, always c. e stands in the foyer, apart from the hall, and meets nobody.
    # Pairs: ab, ac, bc, cd, and each of a, b, c, d with the stranger, which keeps a distance: 8.
    # 2A−B, victim a: makers from b, c and the stranger, all ordered pairs have one of ours: 6; b: 6. c: in x from a, b,
    # s: 6, in y from d, s: 2 more (d, s), (s, d): 8. d: from c and s: 2. Together 22.
    # A+B−C, victim a: from b, c, s: 3; b: 3; c: from a, b, s in x: 3; in y only two carriers: 0; d: 0. Together 9.
    rows = [
        row("a", 500, area="hall", scenes=["x"]),
        row("b", 502, area="hall", scenes=["x"]),
        row("c", 506, area="hall"),
        row("d", 513, area="hall", scenes=["y"]),
        row("e", 520, area="foyer"),
    ]
    stranger = ForeignCarrier("s", 550_000_000, area="hall", spacing_hz=100_000, products=True)
    answer = audit(rows, wanted(foreign=[stranger], apart=[("hall", "foyer")]))
    assert (answer.pairs, answer.products) == (8, 22 + 9)


# The plain twin


@settings(max_examples=250, deadline=None)
@given(shows())
def test_the_audit_agrees_with_its_plain_twin(show):
    rows, want = show
    answer = audit(rows, want)
    conflicts, pairs, products = plain_audit(rows, want)
    assert sorted(map(told, answer.conflicts), key=str) == conflicts
    assert (answer.pairs, answer.products) == (pairs, products)


@settings(max_examples=25, deadline=None)
@given(shows())
def test_every_conflict_names_its_people_and_its_distances(show):
    for conflict in audit(*show).conflicts:
        assert conflict.kind in KINDS
        assert not conflict.text.endswith(".")
        assert all(name in conflict.text for name in conflict.carriers)
        assert conflict.victim is None or conflict.victim in conflict.text


def test_more_than_sixty_four_scenes_are_told_apart():
    rows = [row(f"link {i:03}", 500, scenes=[f"hour {i}"]) for i in range(70)]
    late = [row("a", 500.1, scenes=["hour 68"]), row("b", 501, scenes=["hour 68", "hour 3"])]
    only_spacing = wanted(kinds=[equipment(im3_khz=None, three_khz=None)])
    assert conflicts_of(rows, only_spacing) == []
    assert conflicts_of([*rows, *late], only_spacing) == [("spacing", None, ("a", "link 068"), None, 100_000, 350_000)]
    assert [found[1:3] for found in conflicts_of([*rows, *late]) if found[0] == "2A-B"] == []
    third = row("c", 499.2, scenes=["hour 68"])  # 2 × 500.1 − 501 = 499.2 in the 69th hour
    assert ("2A-B", "c", ("a", "b"), 499_200_000, 0, 100_000) in conflicts_of([*rows, *late, third])


def test_a_plan_that_is_none_is_cut_short_and_says_so(monkeypatch):
    monkeypatch.setattr("fallow.plan.judge.audit.MOST_PRODUCTS", 1_000)
    answer = audit([row(f"link {i}", 500) for i in range(15)], wanted(kinds=[equipment(spacing_khz=0, im3_khz=None)]))
    assert len(answer.conflicts) == 1_000
    assert answer.notes[-1].startswith("more than 1,000 products fall too near")
    assert answer.products == 15 * 14 * 13 * 12 // 2
