"""The shipped rules and rasters against the laws, standards and tables that are named beside each check.

Figures were typed here a second time from the sources, not taken from the data files.
"""

from __future__ import annotations

import datetime

import pytest

from fallow.files.territories import load_territory
from fallow.rules.territory import Grade
from fallow.show.equipment import Kind, PowerKind
from rules.questions import ASK, NO, YES, answer, gear, permission

WATT = gear(power_mw=1000, power_kind=PowerKind.CONDUCTED)


def edges_mhz(code: str) -> dict[str, tuple[float, float]]:
    """Edges of each TV channel in MHz."""
    return {channel.name: (channel.low_hz / 1e6, channel.high_hz / 1e6) for channel in load_territory(code).channels}


# TV rasters


def test_us_channels() -> None:
    # 47 CFR 73.603(a): lower and upper edge in MHz
    table = {"2": (54, 60), "4": (66, 72), "5": (76, 82), "6": (82, 88), "7": (174, 180), "13": (210, 216)}
    table |= {"14": (470, 476), "20": (506, 512), "21": (512, 518), "35": (596, 602), "36": (602, 608)}
    found = edges_mhz("us")
    assert {name: found[name] for name in table} == table
    assert list(found) == [str(n) for n in range(2, 37)]  # 73.603(c): 37 is radio astronomy; 38 and up are gone
    assert edges_mhz("ca") == found  # ISED SMSE-003-19 (March 2019) names the same TV bands


@pytest.mark.parametrize("code", ["at", "de", "es", "fr", "gb", "nl", "nz"])
def test_european_uhf_channels(code: str) -> None:
    found = edges_mhz(code)
    for number in range(21, 49):
        low_mhz, high_mhz = found[str(number)]
        assert (low_mhz + high_mhz) / 2 == 306 + 8 * number  # GE06 raster; a regulator's list: 21 is 474, 48 is 690 MHz
        assert high_mhz - low_mhz == 8
    assert found["38"] == (606, 614)  # the UK's shared channel
    assert "49" not in found  # EU Decision 2017/899: 694 to 790 MHz is mobile


def test_australian_channels() -> None:
    found = edges_mhz("au")
    assert found["28"] == (
        526,
        533,
    )  # 526 + 7 (n - 28), association paper of August 2021 that quotes the Green Paper of 2020
    assert found["51"] == (687, 694)
    assert list(found)[:8] == ["6", "7", "8", "9", "9A", "10", "11", "12"]
    assert (found["6"], found["9A"], found["12"]) == ((174, 181), (202, 209), (223, 230))  # the split: from memory


def test_japanese_channels() -> None:
    found = edges_mhz("jp")
    assert list(found) == [str(n) for n in range(13, 53)]  # MIC notice 307 of 2014: 470 to 710 MHz in 6 MHz channels
    assert (found["13"], found["52"]) == ((470, 476), (704, 710))


# USA


@pytest.mark.parametrize(
    ("low_mhz", "high_mhz"),
    [
        (608, 614),  # 47 CFR 73.603(c), 15.205: radio astronomy
        (616, 617),  # FCC page on the 600 MHz transition: only 614 to 616 of the guard band is left
        (617, 652),  # 47 CFR 15.236(a)(4), (c)(2): 600 MHz service band, closed since 13 July 2020
        (652, 653),  # 47 CFR 15.236(a)(2): the duplex gap begins at 652, licensed use at 653
        (663, 698),  # as 617 to 652
        (698, 806),  # FCC page on wireless microphones: closed since 12 June 2010
        (6900, 7100),  # 47 CFR 74.803(c) names 6875 to 6900 and 7100 to 7125
    ],
)
def test_us_closed_bands(low_mhz: float, high_mhz: float) -> None:
    for licence in (None, "part15", "part74", "part90"):
        for mhz in (low_mhz + 0.1, (low_mhz + high_mhz) / 2, high_mhz - 0.1):
            assert answer("us", mhz, licence=licence) is NO
        assert answer("us", low_mhz, licence=licence) is NO  # half of the occupied bandwidth lies inside


@pytest.mark.parametrize(("low_mhz", "high_mhz"), [(26.1, 26.48), (161.625, 161.775), (450, 451), (455, 456)])
def test_us_licensed_bands_of_one_watt(low_mhz: float, high_mhz: float) -> None:
    # 47 CFR 74.861(d)(1): "1 watt" in the bands of 74.802(a) outside the TV bands
    narrow = gear(bandwidth_hz=25_000, power_mw=1000, power_kind=PowerKind.CONDUCTED)
    middle = (low_mhz + high_mhz) / 2
    assert answer("us", middle, narrow, "part74") is YES
    assert answer("us", middle, narrow) is ASK  # the licence was not stated
    assert answer("us", middle, narrow, "part15") is NO
    assert answer("us", low_mhz + 0.0125, narrow, "part74") is YES
    assert answer("us", low_mhz + 0.0124, narrow, "part74") is NO
    too_strong = gear(bandwidth_hz=25_000, power_mw=1001, power_kind=PowerKind.CONDUCTED)
    assert answer("us", middle, too_strong, "part74") is NO


@pytest.mark.parametrize("mhz", [942.75, 948, 954.5, 958.15, 6887.5, 7112.5])
def test_us_coordinated_bands(mhz: float) -> None:
    # 47 CFR 74.803(c): secondary, with prior coordination; 74.861(d)(1): 1 W
    assert answer("us", mhz, WATT, "part74") is ASK
    assert answer("us", mhz, gear(power_mw=1100, power_kind=PowerKind.CONDUCTED), "part74") is NO


def test_us_gaps_between_the_coordinated_bands() -> None:
    # 47 CFR 74.861(d)(1): 944 to 952, 952.850 to 956.250, 956.45 to 959.85
    for mhz in (952.4, 956.35, 959.9):
        assert answer("us", mhz, WATT, "part74") is NO


def test_us_telemetry_band_asks_for_a_named_place() -> None:
    # 47 CFR 74.803(d): 1435 to 1525 only at specific fixed locations, coordinated; 74.861(d)(1): 250 mW
    quarter_watt = gear(power_mw=250, power_kind=PowerKind.CONDUCTED)
    nowhere = permission("us", 1480, quarter_watt, "part74")
    assert nowhere.answer is ASK
    assert "named place" in nowhere.text
    somewhere = permission("us", 1480, quarter_watt, "part74", "an invented hall")
    assert somewhere.answer is ASK
    assert "named place" not in somewhere.text
    assert permission("us", 1480, gear(power_mw=251, power_kind=PowerKind.CONDUCTED), "part74").answer is NO


def test_us_what_is_left_of_the_600_mhz_band() -> None:
    # FCC page on the transition: 614 to 616 and 657 to 663 unlicensed, 653 to 657 licensed; 20 mW EIRP is second-hand
    for mhz in (615, 658, 662.9):
        assert answer("us", mhz, gear(power_mw=20)) is ASK
        assert answer("us", mhz, gear(power_mw=21)) is NO
    assert answer("us", 655, licence="part15") is NO
    assert answer("us", 655, licence="part74") is ASK


def test_us_tv_bands_are_second_hand() -> None:
    # 47 CFR 15.236(d)(1), (f)(2), read by others: 50 mW EIRP, 200 kHz
    for mhz in (57, 69, 79, 86, 180, 215, 473, 540, 607):
        assert answer("us", mhz, gear(power_mw=50), "part15") is ASK
        assert answer("us", mhz, gear(power_mw=51), "part15") is NO
        assert answer("us", mhz, gear(bandwidth_hz=201_000), "part15") in (ASK, NO)
    assert answer("us", 476, licence="part15") is ASK  # across two adjoining TV channels
    assert answer("us", 74, licence="part15") is NO  # 72 to 76 is not TV: 73.603(a)


def test_us_wide_band_multichannel_systems() -> None:
    # FCC 24-22, 89 FR 83789, in force 18 November 2024; 100 mW EIRP is second-hand, 6 MHz from memory
    wide = gear(bandwidth_hz=5_500_000, power_mw=100)
    assert permission("us", 545, wide, "part15").answer is ASK
    assert permission("us", 545, wide, "part15", on=datetime.date(2024, 11, 17)).answer is NO
    assert permission("us", 545, gear(power_mw=100), "part15").answer is NO  # a narrow set stays at 50 mW


# 47 CFR 90.303(b): TV channels with land mobile, by city
LAND_MOBILE = {
    "Boston": (14, 16),
    "Chicago": (14, 15),
    "Dallas": (16,),
    "Houston": (17,),
    "Los Angeles": (14, 16, 20),
    "Miami": (14,),
    "New York": (14, 15, 16),
    "Philadelphia": (19, 20),
    "Pittsburgh": (14, 18),
    "San Francisco": (16, 17),
    "Washington": (17, 18),
    "Cleveland": (),  # in the table, not available until further order
    "Detroit": (),
}


@pytest.mark.parametrize("city", LAND_MOBILE)
def test_us_land_mobile_by_city(city: str) -> None:
    for channel in range(14, 22):
        middle = 473 + 6 * (channel - 14)
        expected = NO if channel in LAND_MOBILE[city] else ASK
        for licence in ("part15", "part74"):
            found = permission("us", middle, licence=licence, place=city.upper())
            assert found.answer is expected
            assert expected is ASK or "land mobile" in found.text


def test_us_places_that_single_rows_name() -> None:
    narrow = gear(bandwidth_hz=25_000)
    # 47 CFR 73.603(d): 488 to 494 MHz is not broadcast in Hawaii
    assert permission("us", 491, place="hawaii").answer is NO
    # 47 CFR 74.802(a), edition of October 2008: 161.625 to 161.775 not in Puerto Rico and the Virgin Islands
    assert permission("us", 161.7, narrow, "part74", "Puerto Rico").answer is NO
    assert permission("us", 161.7, narrow, "part74", "virgin islands").answer is NO
    assert permission("us", 161.7, narrow, "part74", "Chicago").answer is YES
    assert permission("us", 161.7, narrow, "part74").answer is ASK  # it depends on the place, which was not stated
    assert permission("us", 161.7, narrow, "part74", "an invented hall").answer is ASK  # which settles nothing


def test_us_part_90_centres() -> None:
    # 47 CFR 90.265(b)(1): twelve centres of 54 kHz; (b)(3): four of 200 kHz; 50 mW output; coordination
    narrow = (
        169.445,
        169.505,
        169.545,
        169.605,
        169.995,
        170.055,
        170.245,
        170.305,
        171.045,
        171.105,
        171.845,
        171.905,
    )
    wide = (169.575, 170.025, 171.075, 171.875)
    for mhz in narrow:
        assert answer("us", mhz, gear(bandwidth_hz=54_000), "part90") is ASK
        assert answer("us", mhz, gear(bandwidth_hz=55_000), "part90") is NO
        assert answer("us", mhz + 0.001, gear(bandwidth_hz=54_000), "part90") is NO
    for mhz in wide:
        assert answer("us", mhz, gear(bandwidth_hz=200_000), "part90") is ASK
        assert answer("us", mhz, gear(power_mw=51, power_kind=PowerKind.CONDUCTED), "part90") is NO


def test_us_assistive_listening() -> None:
    # 47 CFR 15.237 (2013, 2015): 72.0 to 73.0, 74.6 to 74.8, 75.2 to 76.0; 80 mV/m at 3 m; (E d)^2 / 30 = 1.92 mW EIRP
    limit_mw = (0.080 * 3) ** 2 / 30 * 1000
    assert limit_mw == pytest.approx(1.92)
    loop = gear(Kind.ASSISTIVE, power_mw=1.92)
    for mhz in (72.1, 72.9, 74.7, 75.3, 75.9):
        assert answer("us", mhz, loop) is YES
        assert answer("us", mhz, gear(power_mw=1.0)) is NO  # not for microphones
        assert answer("us", mhz, gear(Kind.ASSISTIVE, power_mw=2)) is NO
    for mhz in (72.05, 73.5, 74.5, 75):
        assert answer("us", mhz, loop) is NO


def test_us_low_power_radio_service() -> None:
    # 47 CFR 95.629 (2009): channel 1 216.0125, 2 216.0375, 32 216.7875 MHz; 95.2163: 19 and 20 for law
    # enforcement only; 95.2167(a): 100 mW ERP
    low_power = gear(Kind.ASSISTIVE, 25_000, 100, PowerKind.ERP)
    for mhz in (216.0125, 216.0375, 216.4375, 216.5125, 216.7875):
        assert answer("us", mhz, low_power) is YES
    for mhz in (216.4625, 216.4875, 216.02):
        assert answer("us", mhz, low_power) is NO
    assert answer("us", 216.9875, low_power) is ASK  # channel 40: formula from memory
    assert answer("us", 216.0125, gear(Kind.MICROPHONE, 25_000, 100, PowerKind.ERP)) is NO
    assert answer("us", 216.0125, gear(Kind.ASSISTIVE, 25_000, 101, PowerKind.ERP)) is NO


def test_us_low_field_strength_in_ism_bands() -> None:
    # 47 CFR 15.249(a) of 30 September 2024: 50 mV/m at 3 m, so (E d)^2 / 30 = 0.75 mW EIRP
    limit_mw = (0.050 * 3) ** 2 / 30 * 1000
    assert limit_mw == pytest.approx(0.75)
    for mhz in (915, 2440, 5800):
        assert answer("us", mhz, gear(Kind.DATA, 1_000_000, 0.75)) is YES
    for mhz in (915, 2440):
        assert answer("us", mhz, gear(Kind.DATA, 1_000_000, 100, PowerKind.CONDUCTED)) is ASK  # 15.247, second-hand


# Europe


def test_dutch_rows_of_2015() -> None:
    # Regeling gebruik van frequentieruimte zonder vergunning 2015 (BWBR0036378)
    assert answer("nl", 829, gear(power_mw=100)) is YES
    assert answer("nl", 829, gear(power_mw=101)) is NO
    assert answer("nl", 824.5, gear(power_mw=20)) is YES
    assert answer("nl", 824.5, gear(power_mw=100)) is ASK  # body-worn only
    assert answer("nl", 1795, gear(power_mw=20)) is YES
    assert answer("nl", 1795, gear(power_mw=50)) is ASK  # body-worn only
    assert answer("nl", 1795, gear(power_mw=51)) is NO
    assert answer("nl", 826, gear(power_mw=20)) is YES  # across 823 to 826 and 826 to 832
    assert answer("nl", 36.7, gear(power_mw=10, power_kind=PowerKind.ERP)) is YES
    assert answer("nl", 36.9, gear(power_mw=10, power_kind=PowerKind.ERP)) is NO
    loop = gear(Kind.ASSISTIVE, 50_000, 500, PowerKind.ERP)
    assert answer("nl", 169.425, loop) is YES
    assert answer("nl", 169.48, loop) is NO  # between 169.4750 and 169.4875
    assert answer("nl", 198.5) is ASK  # TV parts of that text are out of date
    assert answer("nl", 864) is ASK  # power seen, widths second-hand


def test_dect_carriers() -> None:
    # ETSI EN 300 175-2: 1897.344 - 1.728 c MHz, c = 0 to 9 (raster seen, F0 from memory)
    dect = gear(Kind.INTERCOM, 1_728_000, 250)
    for c in range(10):
        assert answer("nl", 1897.344 - 1.728 * c, dect) is YES
    assert answer("nl", 1897.344 + 1.728, dect) is NO


@pytest.mark.parametrize("code", ["de", "fr", "es", "nl", "gb", "at"])
def test_european_mobile_bands_are_closed(code: str) -> None:
    for mhz in (694.1, 703, 732.9, 758, 789, 800, 821, 833, 861):  # EU Decision 2017/899; 790 to 862 from memory
        assert answer(code, mhz) is NO


def test_german_general_assignment() -> None:
    # Vfg. 34/2020 (second-hand): 470 to 608 and 614 to 694 MHz until 31 December 2030; 608 to 614 for radio astronomy
    assert answer("de", 500, gear(power_mw=50)) is ASK
    assert answer("de", 650, gear(power_mw=50)) is ASK
    for mhz in (607.95, 608, 611, 614.05):
        assert answer("de", mhz) is NO
    assert permission("de", 500, on=datetime.date(2030, 12, 31)).answer is ASK
    after = permission("de", 500, on=datetime.date(2031, 1, 1))
    assert after.answer is NO
    assert "2030-12-31" in after.text


def test_uk_channel_38() -> None:
    # a page that quotes Ofcom: shared licence for 606.5 to 613.5 MHz
    assert answer("gb", 610, licence="shared38") is ASK
    assert answer("gb", 606.6, licence="shared38") is ASK
    assert answer("gb", 606.5, licence="shared38") is NO
    assert answer("gb", 610, licence="coordinated") is NO
    assert answer("gb", 610, licence="coordinated,shared38") is ASK
    assert answer("gb", 1000, licence="coordinated") is ASK  # Ofcom: 960 to 1164, coordinated


def test_spanish_notes() -> None:
    # CNAF of Order TDF/732/2026, quoted: UN-95 names five carriers of 50 mW ERP; 470 to 694 MHz 50 mW ERP
    five = (174.1, 174.3, 175.5, 176.3, 179.3)
    loud = gear(power_mw=50, power_kind=PowerKind.ERP)
    assert [answer("es", mhz, loud) for mhz in five] == [ASK] * 5
    assert answer("es", 174.7, loud) is NO
    assert answer("es", 600, loud) is ASK
    assert answer("es", 600, gear(power_mw=51, power_kind=PowerKind.ERP)) is NO


def test_austrian_row() -> None:
    # CEPT report on ERC/REC 25-10, annex 4 (after July 2021): 174 to 216 MHz, 50 mW ERP, 200 kHz, light licence
    loud = gear(power_mw=50, power_kind=PowerKind.ERP)
    assert answer("at", 200, loud, "light") is YES
    assert answer("at", 200, loud) is ASK
    assert answer("at", 200, gear(bandwidth_hz=250_000), "light") is NO


# Elsewhere


def test_canadian_bands() -> None:
    # ISED RSS-210 issue 10, December 2019: 616 to 652 and 663 to 698 MHz are gone
    for mhz in (617, 640, 651.9, 664, 697):
        assert answer("ca", mhz) is NO
    for mhz in (57, 200, 500, 658):  # ISED SMSE-003-19 and CPC-2-1-28; limits from memory
        assert answer("ca", mhz) is ASK
    for mhz in (945, 956, 6940, 7110):  # SMSE-003-19: bands seen, limits not
        assert answer("ca", mhz, licence="rss123") is ASK
        assert answer("ca", mhz, licence="exempt") is NO


def test_australian_bands() -> None:
    # ACMA pages: 694 to 820 MHz closed since 1 January 2015; LIPD Class Licence 2025: 520 to 694 MHz (second-hand)
    assert answer("au", 700) is NO
    assert answer("au", 600, gear(power_mw=100)) is ASK
    assert answer("au", 515) is NO
    assert answer("au", 1795) is ASK  # ACMA IFC 49/2012; power from memory


def test_new_zealand_bands() -> None:
    # RSM, final decisions of 2014: 502 to 510 at 100 mW EIRP, 510 to 606, 622 to 698; 698 to 806 closed
    for mhz, expected in {506: ASK, 550: ASK, 614: NO, 650: ASK, 700: NO}.items():
        assert answer("nz", mhz) is expected
    assert answer("nz", 506, gear(power_mw=101)) is NO


def test_japanese_types() -> None:
    # Radio Law enforcement rules 6(4)(2), quoted: type B 806.125 to 809.750, C 322.025 to 322.150 and 322.250 to
    # 322.400, D 74.58, 74.64, 74.70, 74.76 MHz
    narrow = gear(bandwidth_hz=30_000, power_mw=1, power_kind=PowerKind.CONDUCTED)
    for mhz in (808, 322.1, 322.3, 74.58, 74.64, 74.7, 74.76):
        assert answer("jp", mhz, narrow) is ASK
    for mhz in (806.1, 322.2, 74.6):
        assert answer("jp", mhz, narrow) is NO
    assert answer("jp", 600, narrow, "a-type") is ASK
    assert answer("jp", 600, narrow, "exempt") is NO


def test_grades_are_those_of_the_weakest_figure() -> None:
    us = load_territory("us")
    graded = {(rule.low_hz // 10**6, rule.licence): rule.grade for rule in us.rules if rule.allows}
    # bands seen in 74.802(a) and 74.861; "250 mW conducted" in 74.861(e)(1)(ii) is from memory
    assert graded[470, "part74"] is Grade.MEMORY
    assert graded[450, "part74"] is Grade.SEEN
    assert graded[944, "part74"] is Grade.SEEN
    assert graded[614, "part15"] is Grade.SECOND_HAND
