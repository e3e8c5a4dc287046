"""Intermodulation against what was published, and against a simulated device.

Sources: counts n(n−1) and n(n−1)(n−2)/2 of the two third-order forms are printed in references on multi-carrier
intermodulation, the rest is combinatorics, counted again here over all coefficient vectors; worked products of
500, 501, 504 MHz: a public Theoretical Computer Science Q&A on coordinating radio frequencies; comb formulas: Westcott,
Proc. IEE, 1967 (from memory; recounted here by enumeration); levels: microwavejournal.com article 3377 on carrier
triple beats (6 dB), and the cubic and quintic power series themselves.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations, count, product

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fallow.errors import UsageError
from fallow.plan.judge.audit import audit
from fallow.plan.judge.products import (
    AUDITED,
    FIFTH,
    THREE_CARRIERS,
    TWO_CARRIERS,
    Form,
    Neighbourhood,
    forms_of_order,
    products_of,
)
from fallow.plan.places import Ground
from fallow.plan.search.question import Question
from fallow.plan.search.search import improve
from fallow.show.assignment import Assignment
from fallow.show.equipment import Equipment, Kind, PowerKind
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span

# How many there are

COUNTS = {  # of n = 2, 3, 4, 5, 6, 8, 10, 16, 20, 30 carriers
    "2A-B": (2, 6, 12, 20, 30, 56, 90, 240, 380, 870),
    "A+B-C": (0, 3, 12, 30, 60, 168, 360, 1680, 3420, 12180),
    "3A-2B": (2, 6, 12, 20, 30, 56, 90, 240, 380, 870),
    "2A+B-2C": (0, 6, 24, 60, 120, 336, 720, 3360, 6840, 24360),
    "3A-B-C": (0, 3, 12, 30, 60, 168, 360, 1680, 3420, 12180),
    "A+B+C-2D": (0, 0, 4, 20, 60, 280, 840, 7280, 19380, 109620),
    "2A+B-C-D": (0, 0, 12, 60, 180, 840, 2520, 21840, 58140, 328860),
    "A+B+C-D-E": (0, 0, 0, 10, 60, 560, 2520, 43680, 155040, 1425060),
}
CARRIERS = (2, 3, 4, 5, 6, 8, 10, 16, 20, 30)
SEVENTH_OF_THREE = {"4A-3B": 6, "3A+B-3C": 6, "2A+2B-3C": 3, "4A-2B-C": 6}
SEVENTH_OF_FOUR = {
    "4A-3B": 12,
    "3A+B-3C": 24,
    "2A+2B-3C": 12,
    "4A-2B-C": 24,
    "2A+B+C-3D": 12,
    "3A+B-2C-D": 24,
    "2A+2B-2C-D": 12,
    "4A-B-C-D": 4,
}


@pytest.mark.parametrize("form", [*forms_of_order(3), *forms_of_order(5)], ids=lambda form: form.name)
def test_products_of_a_form_are_as_many_as_printed(form):
    assert tuple(form.count(n) for n in CARRIERS) == COUNTS[form.name]
    few = [1, 10, 100, 1000]
    assert sum(1 for _ in products_of(form, few)) == form.count(4)


def test_third_fifth_and_seventh_order_together():
    assert [sum(form.count(n) for form in forms_of_order(3)) for n in CARRIERS] == [
        n * n * (n - 1) // 2 for n in CARRIERS
    ]
    assert [sum(form.count(n) for form in forms_of_order(5)) for n in CARRIERS[:6]] == [2, 15, 64, 200, 510, 2240]
    assert sum(form.count(30) for form in forms_of_order(5)) == 1_900_950
    assert {form.name: form.count(3) for form in forms_of_order(7) if form.count(3)} == SEVENTH_OF_THREE
    assert {form.name: form.count(4) for form in forms_of_order(7) if form.count(4)} == SEVENTH_OF_FOUR


@pytest.mark.parametrize(("order", "carriers"), [(3, 2), (3, 4), (3, 6), (5, 3), (5, 5), (7, 3), (7, 4)])
def test_forms_are_all_coefficient_vectors_that_fall_back_into_the_band(order, carriers):
    largest = order // 2 + 1
    vectors = [
        vector
        for vector in product(range(-largest, largest + 1), repeat=carriers)
        if sum(vector) == 1 and sum(map(abs, vector)) == order
    ]
    assert sum(form.count(carriers) for form in forms_of_order(order)) == len(vectors)
    hz = [7**i for i in range(1, carriers + 1)]
    ours = sorted(at_hz for form in forms_of_order(order) for _, at_hz in products_of(form, hz))
    assert ours == sorted(sum(k * at for k, at in zip(vector, hz, strict=True)) for vector in vectors)


def test_even_orders_fall_elsewhere():
    with pytest.raises(UsageError, match="order 4"):
        forms_of_order(4)


# Where they fall


def test_the_worked_products_of_three_carriers():
    mhz = (500, 501, 504)
    found = {form.name: sorted(at for _, at in products_of(form, mhz)) for form in AUDITED}
    assert found["2A-B"] == [496, 498, 499, 502, 507, 508]
    assert found["3A-2B"] == [492, 495, 498, 503, 510, 512]
    assert found["A+B-C"] == [497, 503, 505]


SETS_KHZ = [  # carriers, then (smallest distance of a product to a carrier, direct hits) for 2A−B, A+B−C, 3A−2B
    ("470200 471375 473050 475900 479225 482650", (0, 2), (0, 1), (475, 0)),
    ("470100 470500 471700 473700 476100 478900 482900 483700", (400, 0), (400, 0), (0, 1)),
    ("606000 606500 607000 607500 608000 608500", (0, 12), (0, 34), (0, 6)),
    ("614100 614225 614850 615350 616975 617350 618350 619225 620725 620975", (125, 0), (125, 0), (0, 3)),
    ("500000 500250 501750 512500 514750 519500 520500", (250, 0), (250, 0), (250, 0)),
    ("518200 519075 520700 524450 527825 530150 535375 539800", (200, 0), (25, 0), (125, 0)),
]


@pytest.mark.parametrize(("carriers", "two", "three", "fifth"), SETS_KHZ)
def test_distances_and_hits_of_worked_sets(carriers, two, three, fifth):
    khz = [int(one) for one in carriers.split()]
    found = [[abs(at - carrier) for _, at in products_of(form, khz) for carrier in khz] for form in AUDITED]
    assert [(min(distances), distances.count(0)) for distances in found] == [two, three, fifth]


@pytest.mark.parametrize("carriers", [carriers for carriers, *_ in SETS_KHZ])
def test_the_audit_breaks_just_above_the_smallest_distance_to_a_carrier_that_takes_no_part(carriers):
    hz = [int(one) * 1000 for one in carriers.split()]
    for form in AUDITED:
        smallest_hz = min(
            abs(at - victim) for makers, at in products_of(form, hz) for i, victim in enumerate(hz) if i not in makers
        )
        assert audited(hz, {form: smallest_hz}).conflicts == ()
        found = audited(hz, {form: smallest_hz + 1}).conflicts
        assert found
        assert {(conflict.kind, conflict.distance_hz) for conflict in found} == {(form.name, smallest_hz)}


def comb_hits(n, r):
    """Westcott's closed forms: 2A−B and A+B−C products on carrier r (1 … n) of n equally spaced ones."""
    odd = 1 - (-1) ** n
    two = (n - 2 - odd * (-1) ** r / 2) / 2
    three = r * (n - r + 1) / 2 + ((n - 3) ** 2 - 5 - odd * (-1) ** (n + r) / 2) / 4
    return two, three


@pytest.mark.parametrize("n", [*range(3, 13), 16])
def test_a_comb_is_hit_as_often_as_the_closed_formulas_say(n):
    hz = [500_000_000 + 400_000 * i for i in range(n)]
    found = audited(hz, {TWO_CARRIERS: 1, THREE_CARRIERS: 1}).conflicts
    for r in range(1, n + 1):
        kinds = [conflict.kind for conflict in found if conflict.victim == f"link {r - 1}"]
        # The formula also counts A+B−C with C as the carrier hit, half-way between A and B; here all are different.
        half_way = min(r - 1, n - r)
        assert (kinds.count("2A-B"), kinds.count("A+B-C") + half_way) == comb_hits(n, r)


@pytest.mark.parametrize(("n", "r", "hits"), [(8, 1, (3, 9)), (8, 4, (3, 15)), (16, 1, (7, 49)), (32, 16, (15, 345))])
def test_the_closed_formulas_give_the_printed_figures(n, r, hits):
    assert comb_hits(n, r) == hits


@pytest.mark.parametrize(
    ("n", "totals"),
    [(4, (4, 6)), (8, (24, 100)), (10, (40, 220)), (16, (112, 1064)), (24, (264, 3916)), (32, (480, 9680))],
)
def test_totals_over_a_comb(n, totals):
    hz = [500_000_000 + 25_000 * i for i in range(n)]
    near = Neighbourhood(hz)
    found = []
    for form in (TWO_CARRIERS, THREE_CARRIERS):
        makers = [(victim, row) for victim, at in enumerate(hz) for row in near.near(form, at, 1).tolist()]
        found.append(sum(victim not in row[:2] for victim, row in makers))
    assert tuple(found) == totals


# How strong they are


@pytest.mark.parametrize(
    ("form", "levels_dbm", "intercept_dbm", "level_dbm"),
    [
        (TWO_CARRIERS, (-30, -30), 0, -90.00),
        (TWO_CARRIERS, (-30, -50), -10, -90.00),
        (TWO_CARRIERS, (-50, -30), -10, -110.00),
        (THREE_CARRIERS, (-30, -30, -30), 0, -83.98),
        (THREE_CARRIERS, (-20, -30, -40), -5, -73.98),
        (FIFTH, (-20, -20), 10, -140.00),
    ],
)
def test_levels_from_an_intercept_point(form, levels_dbm, intercept_dbm, level_dbm):
    assert form.level_dbm(levels_dbm, intercept_dbm) == pytest.approx(level_dbm, abs=0.01)


@pytest.mark.parametrize(
    ("order", "stronger_db"),
    [
        (3, {"A+B-C": 6.021}),
        (5, {"2A+B-2C": 9.542, "3A-B-C": 6.021, "A+B+C-2D": 15.563, "2A+B-C-D": 15.563, "A+B+C-D-E": 21.584}),
        (7, {"3A+B-3C": 12.041, "2A+2B-3C": 15.563, "4A-2B-C": 9.542}),
    ],
)
def test_forms_of_more_carriers_are_stronger(order, stronger_db):
    forms = {form.name: form for form in forms_of_order(order)}
    for name, more_db in stronger_db.items():
        equal = [0.0] * len(forms[name].coefficients)
        assert forms[name].level_dbm(equal, 0.0) == pytest.approx(more_db, abs=0.001)


# A simulated device, tones on the bins of an FFT

BINS = 4096


def device(tones, amplitudes, powers):
    """Amplitude in each bin at the output of y = x + Σ aₙ xⁿ (``powers``: {n: aₙ}) for tones on whole bins."""
    t = np.arange(2 * BINS)
    x = sum(a * np.cos(2 * np.pi * k * t / (2 * BINS)) for k, a in zip(tones, amplitudes, strict=True))
    y = x + sum(a * x**n for n, a in powers.items())
    return np.abs(np.fft.rfft(y)) / BINS


def test_a_cubic_device_makes_the_products_at_the_levels_of_the_formula():
    a3 = -0.5
    intercept_db = 20 * math.log10(math.sqrt(4 / (3 * abs(a3))))
    tones, tone_db = (700, 731, 787), -40.0
    spectrum_db = 20 * np.log10(np.maximum(device(tones, [0.01] * 3, {3: a3}), 1e-300))
    assert spectrum_db[2 * 700 - 731] == pytest.approx(-128.519, abs=0.001)
    assert spectrum_db[700 + 731 - 787] == pytest.approx(-122.499, abs=0.001)
    for form in forms_of_order(3):
        for _, at in products_of(form, tones):
            expected_db = form.level_dbm([tone_db] * len(form.coefficients), intercept_db)
            assert spectrum_db[at] == pytest.approx(expected_db, abs=0.001)


def test_unequal_carriers_follow_the_formula():
    intercept_db = 20 * math.log10(math.sqrt(4 / (3 * 0.5)))
    spectrum_db = 20 * np.log10(np.maximum(device((700, 731), (0.01, 0.001), {3: -0.5}), 1e-300))
    assert spectrum_db[2 * 700 - 731] == pytest.approx(-148.519, abs=0.001)
    assert spectrum_db[2 * 731 - 700] == pytest.approx(-168.519, abs=0.001)
    assert TWO_CARRIERS.level_dbm((-40, -60), intercept_db) == pytest.approx(-148.519, abs=0.001)
    assert TWO_CARRIERS.level_dbm((-60, -40), intercept_db) == pytest.approx(-168.519, abs=0.001)


tone_sets = st.lists(st.integers(800, 1000), min_size=2, max_size=5, unique=True)


@settings(max_examples=40, deadline=None)
@given(tone_sets, st.sampled_from([3, 5]))
def test_a_device_fills_exactly_the_bins_where_products_are_said_to_fall(tones, order):
    # x³ or x⁵ of real tones, near the band: the carriers themselves and the products of this and lower odd orders.
    made = device(tones, [1.0] * len(tones), {order: 1.0})[500:1300]
    filled = {500 + int(i) for i in np.flatnonzero(made > 1e-6)}
    said = set(tones)
    for lower in range(3, order + 1, 2):
        said |= {at for form in forms_of_order(lower) for _, at in products_of(form, tones)}
    assert filled == {at for at in said if 500 <= at < 1300}


@settings(max_examples=60, deadline=None)
@given(tone_sets)
def test_the_audit_finds_a_victim_hit_exactly_where_the_device_puts_something_beside_it(tones):
    """Each victim is silent while the others transmit; carriers stand at least a window apart."""
    guard = 4
    assume(all(abs(a - b) >= guard for a, b in combinations(tones, 2)))
    third = {conflict.victim for conflict in audited(tones, {TWO_CARRIERS: guard, THREE_CARRIERS: guard}).conflicts}
    fifth = {conflict.victim for conflict in audited(tones, {FIFTH: guard}).conflicts}
    for victim, at in enumerate(tones):
        others = [tone for tone in tones if tone != at]
        window = slice(at - guard + 1, at + guard)
        assert (f"link {victim}" in third) == (device(others, [1.0] * len(others), {3: 1.0})[window].max() > 1e-6)
        if f"link {victim}" in fifth:
            assert device(others, [1.0] * len(others), {5: 1.0})[window].max() > 1e-6


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_carriers_of_a_plan_put_nothing_into_any_window_of_the_plan(seed):
    """A plan of nine links through y = x + a₃x³ + a₅x⁵, a bin a raster step: what comes out beside the carriers stays
    its distance away from each link that is silent, and stands where products are said to fall. The fifth power is
    driven two by two, for 3A−2B is the form of its order that the rule asks about.
    """
    guard, step_hz, first_bin = 2, 25_000, 1500
    at = planned_bins(seed, guard, step_hz, first_bin)
    assert len(at) == 9
    for victim in at:
        window = slice(victim - guard + 1, victim + guard)
        others = [one for one in at if one != victim]
        assert device(others, [1.0] * len(others), {3: 1.0})[window].max() < 1e-6
        for pair in combinations(others, 2):
            assert device(pair, [1.0, 1.0], {3: 0.3, 5: 0.1})[window].max() < 1e-6
    made = device(at, [1.0] * len(at), {3: 1.0})[: 3 * first_bin // 2]
    said = {product for form in forms_of_order(3) for _, product in products_of(form, at)} | set(at)
    assert {i for i in np.flatnonzero(made > 1e-6).tolist() if i > first_bin // 2} == said


def planned_bins(seed, guard, step_hz, first_bin):
    """The carriers of a plan, as bins of the simulated device."""
    tuning = (Span(500_000_000, 500_000_000 + 120 * step_hz),)
    kind = replace(any_equipment(dict.fromkeys(AUDITED, guard * step_hz), 4 * step_hz), tuning=tuning, step_hz=step_hz)
    links = tuple(Link(f"link {i}", kind.name) for i in range(9))
    question = Question.build(Wanted(links, {kind.name: kind}), Ground(), spares=0)
    steps = count(1)
    *_, last = improve(question, seed=seed, should_stop=lambda: next(steps) >= 300)
    return sorted(first_bin + (hz - 500_000_000) // step_hz for hz in last.frequencies_hz.values())


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 300), min_size=0, max_size=7),
    st.integers(-50, 350),
    st.integers(0, 12),
    st.sampled_from(AUDITED),
)
def test_products_near_a_frequency_are_those_of_the_plain_list(carriers, frequency, within, form: Form):
    found = sorted(map(tuple, Neighbourhood(carriers).near(form, frequency, within).tolist()))
    assert found == sorted(makers for makers, at in products_of(form, carriers) if abs(at - frequency) < within)


# How the checks above ask


def audited(carriers_hz, distances_hz, spacing_hz=0):
    """The audit of carriers of one type that asks for these product distances, all on and heard together."""
    rows = [Assignment(f"link {i}", "any", frequency_hz=hz) for i, hz in enumerate(carriers_hz)]
    return audit(rows, Wanted((), {"any": any_equipment(distances_hz, spacing_hz)}))


def any_equipment(distances_hz, spacing_hz):
    return Equipment(
        name="any",
        kind=Kind.MICROPHONE,
        tuning=(Span(0, 10**12),),
        step_hz=1,
        presets_hz=(),
        bandwidth_hz=200_000,
        power_mw=10.0,
        power_kind=PowerKind.ERP,
        spacing_hz=spacing_hz,
        im3_hz=distances_hz.get(TWO_CARRIERS),
        im3_three_hz=distances_hz.get(THREE_CARRIERS),
        im5_hz=distances_hz.get(FIFTH),
    )
