"""The ledgers: every entry against a plain enumeration, the margin against a simulation of what is uncertain."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fallow.plan.judge.products import AUDITED, products_of
from fallow.plan.judge.stage import Stage
from fallow.plan.ledger.accounts import accounts_of
from fallow.plan.ledger.ledger import Entry, balance
from fallow.plan.ledger.product_levels import power_sum_dbm, rejection_db, total_mw
from fallow.show.equipment import PowerKind, Stated
from fallow.show.link import AreaLosses, ForeignCarrier
from fallow.show.receiver import figures_of
from fallow.spectrum.verdict import Verdict
from fallow.units import Span
from plan.plain_accounts import rejected_db, scenes_of, unwanted_of
from plan.plain_audit import carriers_in_words, hears
from plan.shows import equipment, ground, row, rule, shows, wanted


def accounts(rows, want, under=None, measured=None):
    return accounts_of(Stage.of(rows, want, under), measured)


def powered(power_mw=50.0, **stated):
    return replace(equipment(), power_mw=power_mw, power_kind=PowerKind.EIRP, stated=Stated(**stated))


def levels_of(ledger):
    return {(entry.kind, entry.made_in): entry.level_dbm for entry in ledger.unwanted}


# Against the plain enumeration


def modelled_level(want, victim):
    """Level of a carrier at the victim's receiver: free space over the mean distance, antenna, loss of areas."""
    figures = figures_of(want.equipment[victim.kind])
    mean_m = math.sqrt(figures.nearest_m.value * figures.distance_m.value)

    def level(one):
        power_mw = want.equipment[one.kind].power_mw if one.ours else 50.0
        erp_db = 2.15 if one.ours and want.equipment[one.kind].power_kind == PowerKind.ERP else 0.0
        loss_db = want.losses.loss_db.get(frozenset((victim.area, one.area)), 0.0)
        free_db = 20 * math.log10(4 * math.pi * mean_m * one.hz / 299_792_458)
        eirp_dbm = 10 * math.log10(power_mw) if one.ours else 17.0
        return eirp_dbm + erp_db + figures.antenna_dbi.value - free_db - loss_db

    return level


class _Worded:
    """A carrier of the audit's twin that knows its equipment too."""

    def __init__(self, on, kind):
        self.__dict__.update(vars(on))
        self.kind = kind


def worded(rows, want):
    kinds = [one.equipment for one in rows] + [None] * len(want.foreign)
    return [_Worded(on, kind) for on, kind in zip(carriers_in_words(rows, want), kinds, strict=True)]


@settings(max_examples=60, deadline=None)
@given(shows(least=1), st.dictionaries(st.sampled_from(["hall", "foyer"]), st.floats(0, 40), max_size=2))
def test_every_entry_is_what_a_plain_enumeration_gives(show, losses):
    rows, want = show
    losses_db = {frozenset((area, "studio")): db for area, db in losses.items()}
    want = replace(want, losses=AreaLosses(want.losses.apart - set(losses_db), losses_db))
    found = accounts(rows, want).ledgers
    everybody = worded(rows, want)
    for victim in everybody[: len(rows)]:
        figures = figures_of(want.equipment[victim.kind])
        expected = [
            unwanted_of(
                victim,
                [one for one in others if hears(want, victim, one)],
                modelled_level(want, victim),
                figures.selectivity,
                figures.iip3_dbm.value,
                lambda one: figures_of(want.equipment[one.kind]).mixing_db.value,
            )
            for _, others in scenes_of(victim, everybody)
        ]
        ledger = found[victim.name]
        ours = {key: level for key, level in levels_of(ledger).items() if key[0] not in ("noise", "air")}
        totals = [sum(10 ** (level / 10) for level in one.values()) for one in expected]
        worst = expected[int(np.argmax(totals))]
        assert sum(10 ** (level / 10) for level in ours.values()) == pytest.approx(max(totals), rel=1e-6)
        for key, level in worst.items():
            if 10 ** (level / 10) > 1e-9 * max(totals) and totals.count(max(totals)) == 1:
                assert ours[key] == pytest.approx(level, abs=1e-6), key


@given(st.lists(st.integers(470_000_000, 700_000_000), min_size=0, max_size=6, unique=True), st.data())
def test_sums_over_all_products_follow_from_power_sums(carriers_hz, data):
    levels = data.draw(st.lists(st.floats(-80, 0), min_size=len(carriers_hz), max_size=len(carriers_hz)))
    for form in AUDITED:
        plain = sum(
            10 ** (sum(abs(k) * levels[i] for k, i in zip(form.coefficients, makers, strict=True)) / 10)
            for makers, _ in products_of(form, carriers_hz)
        )
        largest = sum(10 ** (level / 10) for level in levels) ** form.order
        assert total_mw(form, np.array(levels)) == pytest.approx(plain, rel=1e-9, abs=1e-12 * largest)


@given(st.integers(0, 3_000_000))
def test_selectivity_lies_on_straight_lines_between_its_points(distance_hz):
    points = figures_of(equipment()).selectivity
    assert rejection_db(points, np.array([distance_hz]))[0] == pytest.approx(rejected_db(points, distance_hz))


def test_of_very_many_carriers_the_softest_count_as_a_sum(monkeypatch):
    rows = [row(f"vox {i}", 470 + 0.925 * i + 0.025 * (i * i % 7)) for i in range(12)]
    want = wanted(kinds=[powered()])
    whole = accounts(rows, want).ledgers["vox 3"]
    monkeypatch.setattr("fallow.plan.ledger.accounts.LOUDEST", 8)
    cut = accounts(rows, want).ledgers["vox 3"]
    for form in AUDITED:
        key = form.name, "receiver"
        assert levels_of(cut)[key] <= levels_of(whole)[key] + 1e-9
        assert levels_of(cut)[key] > -math.inf


# What the wanted level and the margin are


def test_a_lone_link_has_its_own_noise_only():
    stated = {
        "distance_m": 30,
        "body_db": 14,
        "fade_db": 0,
        "antenna_dbi": -0.85,
        "noise_figure_db": 8,
        "needed_db": 20,
    }
    ledger = accounts([row("a", 600)], wanted(kinds=[powered(10**1.7, **stated)])).ledgers["a"]
    # 17 dBm, body 14, free space over 30 m at 600 MHz, 2.15 dBi less 3 dB of cable: −55.40 dBm, noise −112.96 dBm,
    # worked by hand from Rec. ITU-R P.525 and 10·log(k·T0·B).
    assert ledger.wanted.level_dbm == pytest.approx(-55.40, abs=0.01)
    assert levels_of(ledger) == {("noise", None): pytest.approx(-112.96, abs=0.01)}
    assert ledger.margin_db == pytest.approx(57.56 - 20, abs=0.02)
    assert (ledger.if_quiet_db, ledger.driver.kind) == (ledger.margin_db, "noise")


def test_links_without_a_power_have_no_ledger_but_disturb_others():
    silent = replace(equipment("mute"), power_mw=None, power_kind=None)
    found = accounts([row("a", 600), row("b", 601, "mute")], wanted(kinds=[powered(), silent]))
    assert (set(found.ledgers), found.without) == ({"a"}, ("b",))
    assert ("neighbours", None) in levels_of(found.ledgers["a"])


def test_carriers_that_are_never_on_together_do_not_meet_in_a_ledger():
    rows = [
        row("a", 600, scenes={"act 1"}),
        row("b", 600.4, scenes={"act 2"}),
        row("c", 602, scenes={"act 1", "act 2"}),
    ]
    found = accounts(rows, wanted(kinds=[powered()])).ledgers
    assert found["a"].scene == "act 1"
    assert "the strongest c" in next(one for one in found["a"].unwanted if one.kind == "neighbours").text
    assert found["c"].scene in ("act 1", "act 2")


@pytest.mark.parametrize("loss_db", [0.0, 12.5, 30.0])
def test_what_areas_lose_counts_in_full_and_three_times_in_a_product(loss_db):
    rows = [row("a", 600, area="hall"), row("b", 604, area="yard"), row("c", 608, area="yard")]
    want = wanted(kinds=[powered(), equipment("mic 2")])
    want = replace(want, losses=AreaLosses(loss_db={frozenset(("hall", "yard")): loss_db}))
    found, full = (levels_of(accounts(rows, one).ledgers["a"]) for one in (want, replace(want, losses=AreaLosses())))
    assert found["neighbours", None] == pytest.approx(full["neighbours", None] - loss_db)
    assert found["2A-B", "receiver"] == pytest.approx(full["2A-B", "receiver"] - 3 * loss_db)
    assert found["2A-B", "transmitters"] == pytest.approx(full["2A-B", "transmitters"] - loss_db)


def test_areas_that_are_apart_do_not_meet_in_a_ledger():
    rows = [row("a", 600, area="hall"), row("b", 600.1, area="yard")]
    want = wanted(kinds=[powered()], apart=[("hall", "yard")])
    assert set(levels_of(accounts(rows, want).ledgers["a"])) == {("noise", None)}


def test_a_measured_level_replaces_the_modelled_one_for_its_own_receiver_and_for_others():
    rows = [row("a", 600), row("b", 600.4)]
    want = wanted(kinds=[powered(fade_db=20, antenna_dbi=2)])
    found = accounts(rows, want, measured={"b": -33.0}).ledgers
    assert found["b"].wanted.level_dbm == pytest.approx(-33 + 2 - 20)
    assert found["b"].u_db < found["a"].u_db
    lost_db = rejection_db(figures_of(want.equipment["mic"]).selectivity, np.array([400_000]))[0]
    assert levels_of(found["a"])["neighbours", None] == pytest.approx(-33 + 2 - lost_db)


def test_the_level_on_the_air_counts_and_the_floor_only_as_a_bound():
    rows, want = [row("a", 505)], wanted(kinds=[powered()])
    found = accounts(rows, want, ground(rule(500, 510), verdict=lambda _: Verdict.CLEAN)).ledgers["a"]
    assert levels_of(found)["air", None] == -80.0  # the invented survey shows −80 dBm over a floor of −110 dBm
    assert not next(one for one in found.unwanted if one.kind == "air").is_bound
    assert found.margin_db == pytest.approx(found.wanted.level_dbm - found.needed_db + 80, abs=0.01)


def test_of_a_survey_that_shows_only_its_floor_no_more_is_known_than_that():
    rows, want = [row("a", 505)], wanted(kinds=[powered()])
    stage = Stage.of(rows, want, ground(rule(500, 510), verdict=lambda _: Verdict.CLEAN))
    judged = replace(stage.footings[0].judged, level_dbm=-95.0, floor_dbm=-94.0)
    stage = replace(stage, footings=(replace(stage.footings[0], judged=judged),))
    found = accounts_of(stage).ledgers["a"]
    assert levels_of(found)["air", None] == -94.0
    assert found.driver.is_bound
    assert found.if_quiet_db == pytest.approx(found.wanted.level_dbm + 112.97 - found.needed_db, abs=0.01)


def test_a_stranger_counts_as_loud_as_the_surveys_show_it():
    stranger = ForeignCarrier("press", 507_000_000, 200_000, products=True)
    want = wanted(kinds=[powered()], foreign=[stranger])
    modelled = levels_of(accounts([row("a", 505)], want).ledgers["a"])
    under = ground(rule(500, 510), verdict=lambda _: Verdict.CLEAN)
    measured = levels_of(accounts([row("a", 505)], want, under).ledgers["a"])
    lost_db = rejection_db(figures_of(want.equipment["mic"]).selectivity, np.array([2_000_000]))[0]
    assert measured["neighbours", None] == pytest.approx(-80 - lost_db)
    assert modelled["neighbours", None] > measured["neighbours", None]


def test_the_risk_list_has_the_thinnest_margin_first_and_says_what_drives_it():
    rows = [row("a", 600), row("b", 600.2), row("c", 608)]
    risks = accounts(rows, wanted(kinds=[powered()])).risks_of("abc")
    assert [one.margin_db for one in risks] == sorted(one.margin_db for one in risks)
    assert risks[0].link in ("a", "b")
    assert "neighbours" in risks[0].text
    assert "200 kHz away" in risks[0].text


def test_what_is_assumed_is_told_with_its_source_and_what_is_stated_is_not():
    kinds = [powered(), replace(powered(iip3_dbm=3.0, selectivity=((200_000, 60.0),), source="bench, May"), name="ear")]
    told = accounts([row("a", 600), row("b", 602, "ear")], wanted(kinds=kinds)).assumed
    mic, ear = ({one.name: one for one in told[name]} for name in ("mic", "ear"))
    assert (mic["iip3_dbm"].shown, mic["iip3_dbm"].u_db, mic["iip3_dbm"].source) == ("-5", 5.0, "common practice")
    assert mic["selectivity_db"].shown == "100:20;200:40;300:55;350:70;600:85;2000:100"
    assert not {"iip3_dbm", "selectivity_db"} & set(ear)
    assert figures_of(kinds[1]).iip3_dbm.source == "bench, May"


def test_the_input_filter_takes_from_carriers_outside_the_tuning_range_and_three_times_from_a_product():
    tuned = replace(powered(front_end_db=20), tuning=(Span(600_000_000, 610_000_000),))
    rows = [row("a", 600, "narrow"), row("b", 615), row("c", 630)]
    found = levels_of(accounts(rows, wanted(kinds=[replace(tuned, name="narrow"), powered()])).ledgers["a"])
    open_, more = powered(front_end_db=0), powered()
    free = levels_of(accounts(rows, wanted(kinds=[replace(open_, name="narrow"), more])).ledgers["a"])
    # b lies 5 MHz outside, which costs it 5 dB of the 20; c lies 20 MHz outside; the product on a is 2b − c
    assert found["2A-B", "receiver"] == pytest.approx(free["2A-B", "receiver"] - 2 * 5 - 20, abs=0.01)
    assert found["2A-B", "transmitters"] == pytest.approx(free["2A-B", "transmitters"])
    assert found["neighbours", None] < free["neighbours", None] - 5


# Uncertainty


def test_the_margins_uncertainty_is_that_of_a_simulation():
    """Inputs drawn from normal distributions of their own uncertainties, the whole account worked out each time.

    The method stated is JCGM 100 with finite differences; its truth is the distribution that JCGM 101 propagates. An
    interval of two standard uncertainties is asked to hold about 95 % of it.
    """
    entries = [
        Entry("noise", -113.0, "", effects={"noise": 1.0}),
        Entry("neighbours", -107.0, "", effects={"path": 1.0, "selectivity": -70.0}),
        Entry("2A-B", -112.0, "", effects={"path": 3.0, "intercept": -2.0, "selectivity": -20.0}),
    ]
    wanted_ = Entry("wanted", -75.0, "", effects={"path": 1.0, "place": 1.0})
    u_of = {"noise": 2.0, "path": 3.0, "selectivity": 0.05, "intercept": 3.0, "place": 4.0, "needed": 2.0}
    ledger = balance("a", "", wanted_, entries, 20.0, u_of)
    rng = np.random.default_rng(6)
    drawn = {name: rng.normal(0, u, 40_000) for name, u in u_of.items()}
    unwanted = sum(10 ** ((one.level_dbm + sum(k * drawn[n] for n, k in one.effects.items())) / 10) for one in entries)
    margin = -75.0 + drawn["path"] + drawn["place"] - 10 * np.log10(unwanted) - 20.0 - drawn["needed"]
    assert ledger.u_db == pytest.approx(margin.std(), rel=0.1)
    inside = np.abs(margin - ledger.margin_db) < 2 * ledger.u_db
    assert 0.93 < inside.mean() < 0.98
    assert ledger.rests_on == "intercept" or ledger.rests_on in u_of


def test_what_is_common_to_wanted_and_unwanted_cancels():
    wanted_ = Entry("wanted", -75.0, "", effects={"path": 1.0})
    entry = Entry("neighbours", -100.0, "", effects={"path": 1.0})
    assert balance("a", "", wanted_, [entry], 20.0, {"path": 3.0, "needed": 0.0}).u_db == pytest.approx(0.0, abs=1e-9)
    alone = replace(entry, effects={})
    assert balance("a", "", wanted_, [alone], 20.0, {"path": 3.0, "needed": 0.0}).u_db == pytest.approx(3.0)


def test_powers_add():
    # −60, −63, −70 dBm → −57.956 dBm: worked by hand
    assert power_sum_dbm(np.array([-60.0, -63.0, -70.0])) == pytest.approx(-57.956, abs=0.001)
    assert power_sum_dbm(np.array([-np.inf, -np.inf])) == -np.inf
