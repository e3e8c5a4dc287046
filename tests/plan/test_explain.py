"""The reasons: why a link stands where it stands, what keeps another out, and what would let it in."""

from __future__ import annotations

from hypothesis import given, settings

from fallow.plan.judge.carriers import Carrier, Company
from fallow.plan.judge.explain import because, nearest_carrier, nearest_product, stands_against, why
from fallow.plan.judge.footing import Footing
from fallow.plan.places import Ground
from fallow.show.assignment import Assignment
from fallow.show.link import ForeignCarrier
from fallow.spectrum.verdict import Verdict
from fallow.units import Span
from plan.plain_audit import carriers_in_words, compared_products
from plan.shows import equipment, ground, row, rule, shows, wanted
from plan.test_obstacles import company_with

MHZ = 1_000_000


def reasons(kind, standing, under=None, *, foreign=()):
    """Why a link of ``kind`` named new has no place beside links that stand at these megahertz."""
    rows = [row(f"link {mhz:g}", mhz, "mic") for mhz in standing]
    want = wanted(kinds=[equipment(), kind], foreign=foreign)
    newcomer = Assignment("new", kind.name, frequency_hz=0)
    return because(company_with(newcomer, rows, want), under or Ground())


def plain_kind(**more):
    usual = {"spacing_khz": 350, "im3_khz": None, "three_khz": None}
    return equipment("radio", **(usual | more))


def occupied_above(mhz):
    return lambda hz: Verdict.OCCUPIED if hz > mhz * MHZ else Verdict.CLEAN


# Why here


def test_the_reason_names_the_rule_the_verdict_and_the_nearest_neighbours():
    law = ground(rule(470, 600), verdict=lambda _: Verdict.DOUBTFUL)
    rows = [row("a", 500), row("b", 501), row("v", 498.8)]
    company = company_with(rows[-1], rows[:-1], wanted())
    footing = Footing.of(company.carriers[-1], equipment(), law)
    said = why(footing, company, 2, "as wished")
    assert said[0] == "as wished"
    assert said[1].startswith("470.000 to 600.000 MHz, general (an invented row")
    assert "; ".join(said[2:]).split("; ") == [
        "doubtful (level -80.0 dBm, standard uncertainty 2.0 dB, a reason)",
        "1.2 MHz from a (350 kHz needed)",
        "200 kHz from product 2 × a − b (100 kHz needed)",
    ]


def test_nothing_is_said_of_what_was_not_asked():
    company = company_with(row("v", 498.8), [], wanted())
    footing = Footing.of(company.carriers[0], equipment(), None)
    assert why(footing, company, 0, "") == ("no other carrier meets it",)


def test_there_is_always_a_reason():
    kinds = [plain_kind(spacing_khz=0)]
    for rows in ([], [row("a", 500, "radio", scenes=("act 2",))]):
        company = company_with(row("v", 498.8, "radio", scenes=("act 1",)), rows, wanted(kinds=kinds))
        assert why(Footing.of(company.carriers[-1], kinds[0], None), company, len(rows), "") == (
            "no other carrier meets it",
        )
    company = company_with(row("v", 498.8, "radio"), [row("a", 500, "radio")], wanted(kinds=kinds))
    told = why(Footing.of(company.carriers[-1], kinds[0], None), company, 1, "")
    assert told == ("no distance from others is asked for",)


@settings(max_examples=80, deadline=None)
@given(shows(least=1))
def test_the_nearest_product_is_the_one_with_least_to_spare_in_the_plain_list(show):
    rows, want = show
    company = company_with(rows[-1], rows[:-1], want)
    everybody = carriers_in_words([*rows[:-1], rows[-1]], want)
    slack_hz = [
        abs(product_hz - victim.hz) - half_hz - asked_hz
        for _, _, product_hz, victim, asked_hz, half_hz in compared_products(everybody, want)
        if victim.name == rows[-1].link and abs(product_hz - victim.hz) - half_hz < 64 * asked_hz
    ]
    found = nearest_product(company, len(company.carriers) - 1)
    assert (None if found is None else found.spare_hz) == min(slack_hz, default=None)


def test_the_nearest_carrier_is_the_one_with_least_to_spare():
    foreign = ForeignCarrier("guest", 502 * MHZ, spacing_hz=1_900_000)
    company = company_with(row("v", 500), [row("a", 500.5)], wanted(foreign=[foreign]))
    near = nearest_carrier(company, 2)
    assert (near.name, near.distance_hz, near.needed_hz) == ("guest", 2 * MHZ, 1_900_000)


def test_what_stands_against_a_place_is_named():
    rows = [row("a", 500), row("b", 501)]
    law = ground(rule(470, 600), verdict=occupied_above(520), channel="24")

    def against(mhz, kind=None):
        kind = kind or equipment()
        company = company_with(row("v", mhz), rows, wanted(kinds=[kind]))
        return stands_against(Footing.of(company.carriers[-1], kind, law), company, 2)

    assert against(510) == ""
    assert against(610) == "is not allowed"
    assert against(499) == "touches TV channel 24, announced as on the air"
    assert against(530) == "lies in occupied spectrum"
    assert against(510.01, equipment(step_hz=25_000)) == "it can't be set to"
    assert against(502.55, equipment(spacing_khz=2000)) == "is 1.55 MHz from b (2 MHz needed)"
    hurt = equipment(spacing_khz=0, im3_khz=1000)
    assert against(502.25, hurt) == "is 250 kHz from product 2 × b − a (1 MHz needed)"


# Why nowhere


def test_equipment_without_any_place_says_so():
    kind = plain_kind(tuning=(Span(470 * MHZ, 480 * MHZ),), presets=(490 * MHZ,))
    assert reasons(kind, []) == ("radio can't be set to any frequency: no preset lies inside its tuning ranges",)


def test_presets_that_are_all_taken_are_counted_with_those_who_took_them():
    kind = plain_kind(presets=(500 * MHZ, 500_300_000, 502 * MHZ))
    assert reasons(kind, [500, 502.1]) == (
        "of 3 presets that radio can be set to, 3 are too near to other carriers or to products",
        "in the way at the 3 presets left: the spacing to other links at 3; one place may be counted more than once",
        "most often in the way: link 500 at 2 and link 502.1 at 1",
        "2 presets would be free if link 500 (500.000 MHz) were elsewhere or off",
        "1 preset would be free if link 502.1 (502.100 MHz) were elsewhere or off",
        "1 preset would be free with half of the spacing between links",
    )


def test_law_stations_and_emitters_each_have_their_share_and_their_remedy():
    # 1 MHz steps from 490 to 509, bandwidth 200 kHz. Allowed from 492: 490 and 491 not, and 492 reaches below the edge.
    # Channel 24 is 494 to 502: 494 … 502 touch it. Occupied above 505. Left: 493, 503, 504, 505, all beside links.
    kind = plain_kind(tuning=(Span(490 * MHZ, 509 * MHZ),), step_hz=MHZ)
    law = ground(rule(492, 600), verdict=occupied_above(505.5), channel="24")
    told = reasons(kind, [493.2, 503.2, 503.8, 505.2], law)
    assert told[0] == (
        "of 20 places that radio can be set to, 3 are not allowed, 9 lie in TV channels announced as on the air, "
        "4 lie in occupied spectrum and 4 are too near to other carriers or to products"
    )
    assert set(told[3:]) == {
        "9 places would be free if TV channel 24 were off the air",
        "4 places would be free if what was found on the air at 506.000 to 509.000 MHz were gone",
        "3 places would be free if the law allowed them",
        "4 places would be free with half of the spacing between links",
        "1 place would be free if link 493.2 (493.200 MHz) were elsewhere or off",
    }


def test_products_are_told_apart_and_what_their_absence_would_free_is_counted():
    # 2 × 501 − 500 = 502 and 2 × 500 − 501 = 499 hit two presets; a newcomer at 500.5 makes 2 × 500.5 − 500 = 501.
    kind = equipment("radio", three_khz=None, presets=(499 * MHZ, 500_500_000, 502 * MHZ))
    told = reasons(kind, [500, 501])
    assert "in the way at the 3 presets left: products 2A−B at 3; one place may be counted more than once" in told
    assert "3 presets would be free without the distance from products 2A−B" in told


def test_a_place_that_is_free_is_not_explained_away():
    told = reasons(plain_kind(presets=(500 * MHZ, 510 * MHZ)), [500])
    assert told[0] == (
        "of 2 presets that radio can be set to, 1 is too near to other carriers or to products and 1 is free"
    )
    assert told[1].startswith("1 preset would do: the search ended")


def test_where_no_single_change_helps_it_is_said():
    kind = plain_kind(presets=(500 * MHZ,))
    law = ground(rule(510, 520), verdict=lambda _: Verdict.OCCUPIED)
    assert reasons(kind, [500], law)[-1].startswith("no single change that was tried frees a place")


def test_strangers_in_the_way_are_named_too():
    foreign = [ForeignCarrier("guest", 500 * MHZ, spacing_hz=400_000)]
    told = reasons(plain_kind(presets=(500_300_000,)), [], foreign=foreign)
    assert told[1].startswith("in the way at the one preset left: the distance to foreign carriers at 1")
    assert "1 preset would be free if guest (500.000 MHz) were elsewhere or off" in told


def test_only_carriers_that_are_on_with_it_stand_in_its_way():
    kind = plain_kind(presets=(500 * MHZ,))
    want = wanted(kinds=[kind])
    rows = [row("a", 500, "radio", scenes=["act 1"]), row("b", 500, "radio", area="far")]
    newcomer = Assignment("new", "radio", "near", frozenset(["act 2"]), 0)
    carriers = company_with(newcomer, rows, want).carriers
    apart = Company(carriers, wanted(kinds=[kind], apart=[("near", "far")]).losses)
    assert "1 is free" in because(apart, Ground())[0]
    assert "1 is too near" in because(Company(carriers, want.losses), Ground())[0]
    assert isinstance(carriers[0], Carrier)
