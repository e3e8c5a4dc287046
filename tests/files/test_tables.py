"""Tables in the dialects that people's programs write, and every mistake as one sentence with its place."""

from __future__ import annotations

import contextlib
import csv
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.errors import FallowError, InputError
from fallow.files.tables import (
    check_links_against_equipment,
    read_areas,
    read_chain,
    read_equipment,
    read_foreign,
    read_links,
    read_plan,
    read_stations,
    unused_areas,
)
from fallow.plan.places import tunable_hz
from fallow.show.equipment import Kind, PowerKind
from fallow.units import Span

EQUIPMENT = """\
equipment,kind,tuning_mhz,step_khz,presets_mhz,bandwidth_khz,power_mw,power_kind,spacing_khz,im3_khz,im3_three_khz,im5_khz
hand,microphone,470-526;600-606,25,,200,10,erp,350,100,,
old,microphone,,,470.125;471.3,110,,,300,50,50,25
"""
LINKS = """\
link,equipment,area,scenes,priority,frequency_mhz,fixed,planned,colour
vox 1,hand,stage,act 1;act 2,1,,,,red
guest,hand,stage,,,470.125000,yes,,
base,hand,,,,,no,no,blue
"""

Write = Callable[[str | bytes], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a table and give its path."""

    def table(content: str | bytes) -> Path:
        path = tmp_path / "table.csv"
        path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        return path

    return table


# What the contract says


def test_equipment(write: Write) -> None:
    found = read_equipment(write(EQUIPMENT))
    assert list(found) == ["hand", "old"]
    hand, old = found.values()
    assert hand.kind is Kind.MICROPHONE
    assert hand.tuning == (Span(470_000_000, 526_000_000), Span(600_000_000, 606_000_000))
    assert (hand.step_hz, hand.bandwidth_hz, hand.spacing_hz) == (25_000, 200_000, 350_000)
    assert (hand.im3_hz, hand.im3_three_hz, hand.im5_hz) == (100_000, None, None)
    assert (hand.power_mw, hand.power_kind) == (10, PowerKind.ERP)
    assert old.presets_hz == (470_125_000, 471_300_000)
    assert (old.power_mw, old.power_kind) == (None, None)
    assert (old.im3_hz, old.im3_three_hz, old.im5_hz) == (50_000, 50_000, 25_000)


def test_links(write: Write) -> None:
    vox, guest, base = read_links(write(LINKS))
    assert vox.scenes == {"act 1", "act 2"}
    assert (vox.priority, vox.area, vox.planned, vox.fixed) == (1, "stage", True, False)
    assert (guest.priority, guest.frequency_hz, guest.fixed, guest.line) == (3, 470_125_000, True, 3)
    assert not base.planned
    assert [link.extra["colour"] for link in (vox, guest, base)] == ["red", "", "blue"]


def test_areas(write: Write) -> None:
    losses = read_areas(write("area,other,loss_db\nstage,foyer,apart\nfoyer,studio,12.5\n"))
    assert losses.apart == {frozenset({"stage", "foyer"})}
    assert losses.loss_db == {frozenset({"foyer", "studio"}): 12.5}
    assert not losses.hears("foyer", "stage")
    assert losses.hears("stage", "studio")


def test_a_misspelled_area_is_noted(write: Write) -> None:
    losses = read_areas(write("area,other,loss_db\nstage,foyeur,apart\n"))
    assert unused_areas(losses, read_links(write(LINKS))) == ("foyeur",)


def test_foreign(write: Write) -> None:
    headings = "name,frequency_mhz,bandwidth_khz,area,spacing_khz,products,protect\n"
    table = headings + "crew,470.5,200,foyer,400,yes,no\ntaxi,471,,,,,\n"
    crew, taxi = read_foreign(write(table))
    assert (crew.frequency_hz, crew.bandwidth_hz, crew.spacing_hz) == (470_500_000, 200_000, 400_000)
    assert (crew.products, crew.protect, crew.area) == (True, False, "foyer")
    assert (taxi.bandwidth_hz, taxi.spacing_hz, taxi.products, taxi.area) == (0, 0, False, "")


def test_stations(write: Write) -> None:
    found = read_stations(write("channel,area,source\n21,,a list\nch 22,stage,\nKanal 23,,\n9a,,\nK07,,\n"))
    assert [station.channel for station in found] == ["21", "22", "23", "9A", "7"]
    assert (found[0].source, found[1].area) == ("a list", "stage")


def test_stations_need_one_column_only(write: Write) -> None:
    assert [station.channel for station in read_stations(write("channel\n21\n"))] == ["21"]


def test_chain(tmp_path: Path) -> None:
    (tmp_path / "whip.csv").write_text("frequency_mhz,gain_db\n470,-3\n600,-1.5\n", encoding="utf-8")
    table = tmp_path / "chain.csv"
    table.write_text("part,kind,gain_db,u_db\nwhip,antenna,whip.csv,1.5\ncable,cable,-2.5,0.3\n", encoding="utf-8")
    whip, cable = read_chain(table).parts
    assert whip.gain_db.frequencies_hz.tolist() == [470e6, 600e6]
    assert whip.gain_db.gains_db.tolist() == [-3, -1.5]
    assert (cable.gain_db, cable.u_db, cable.kind) == (-2.5, 0.3, "cable")


def test_a_plan_from_a_stranger(write: Write) -> None:
    table = "link,equipment,frequency_mhz\nvox 1,hand,470.1250004\nspare,hand,471\nspare,hand,472\nvox 2,hand,\n"
    first, spare, _, empty = read_plan(write(table))
    assert (first.frequency_hz, first.area, first.scenes, first.is_spare) == (470_125_000, "", frozenset(), False)
    assert spare.is_spare
    assert empty.frequency_hz is None


def test_frequencies_are_exact(write: Write) -> None:
    # 0.1 + 0.2 style errors would show here: each is the decimal in the file times a million
    texts = ["470.1", "470.3", "470.7", "1795.999999", "606.000001"]
    rows = "".join(f"link {number},hand,{text}\n" for number, text in enumerate(texts))
    found = read_plan(write("link,equipment,frequency_mhz\n" + rows))
    assert [row.frequency_hz for row in found] == [470_100_000, 470_300_000, 470_700_000, 1_795_999_999, 606_000_001]


def test_tables_without_rows_are_fine_where_nothing_is_needed(write: Write) -> None:
    assert read_foreign(write("name,frequency_mhz\n")) == ()
    assert read_stations(write("channel\n")) == ()
    assert read_areas(write("area,other,loss_db\n")).apart == frozenset()
    with pytest.raises(InputError, match="no rows"):
        read_links(write("link,equipment\n"))


# Anything sensible


DIALECTS: dict[str, str | bytes] = {
    "semicolons": LINKS.replace(";", "|").replace(",", ";"),
    "tabs": LINKS.replace(",", "\t"),
    "decimal comma": LINKS.replace(";", "|").replace(",", ";").replace("470.125000", "470,125"),
    "decimal comma in quotes": LINKS.replace("470.125000", '"470,125"'),
    "carriage returns": LINKS.replace("\n", "\r"),
    "crlf": LINKS.replace("\n", "\r\n"),
    "blank lines": LINKS.replace("\n", "\n\n,,,\n"),
    "byte order mark": b"\xef\xbb\xbf" + LINKS.encode(),
    "utf-16": LINKS.encode("utf-16"),
    "sep line": "sep=;\r\n" + LINKS.replace(";", "|").replace(",", ";"),
    "title line": "an invented show\n\n" + LINKS,
    "unit in cell": LINKS.replace("470.125000", "470.125 MHz"),
    "other unit in cell": LINKS.replace("470.125000", "470125 kHz"),
    "unit in heading": LINKS.replace("frequency_mhz", "Frequency [kHz]").replace("470.125000", "470125"),
    "no unit": LINKS.replace("frequency_mhz", "frequency").replace("470.125000", "470125000"),
    "headings in capitals": LINKS.replace("link,equipment,area", " LINK , Equipment ,AREA"),
    "German headings": LINKS.replace(
        "link,equipment,area,scenes,priority,frequency_mhz,fixed,planned",
        "Strecke,Gerät,Bereich,Szenen,Priorität,Frequenz (MHz),fest,geplant",
    ).replace("yes", "ja"),
    "German headings, Windows-1252": LINKS.replace("equipment", "Ger\u00e4t").encode("cp1252"),
    "trailing delimiters": "\n".join(line + ",," for line in LINKS.splitlines()),
    "blanks around cells": LINKS.replace(",", " , "),
}


@pytest.mark.parametrize("dialect", DIALECTS)
def test_links_in_many_dialects(write: Write, dialect: str) -> None:
    expected = read_links(write(LINKS))
    found = read_links(write(DIALECTS[dialect]))
    assert [
        (link.name, link.equipment, link.area, link.scenes, link.priority, link.frequency_hz, link.fixed, link.planned)
        for link in found
    ] == [
        (link.name, link.equipment, link.area, link.scenes, link.priority, link.frequency_hz, link.fixed, link.planned)
        for link in expected
    ]


@pytest.mark.parametrize(
    "ranges",
    [
        "470-526;600-606",
        "470–526; 600–606",
        "470..526|600..606",
        "470 to 526, 600 to 606",
        "470 - 526 MHz;600-606 MHz",
        "470.000-526.000;600-606",
    ],
)
def test_tuning_ranges_as_people_write_them(write: Write, ranges: str) -> None:
    table = f'equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz\nhand,mic,"{ranges}",25,200,400\n'
    assert read_equipment(write(table))["hand"].tuning == (
        Span(470_000_000, 526_000_000),
        Span(600_000_000, 606_000_000),
    )


def test_a_decimal_comma_holds_for_the_whole_file(write: Write) -> None:
    headings = "equipment;kind;tuning_mhz;step_khz;bandwidth_khz;power_mw;spacing_khz\n"
    table = headings + "hand;mic;470,1-526,5;12,5;200;1.000;1.250\n"
    hand = read_equipment(write(table))["hand"]
    assert hand.tuning == (Span(470_100_000, 526_500_000),)
    assert (hand.step_hz, hand.power_mw, hand.spacing_hz) == (12_500, 1000, 1_250_000)


def test_numbers_above_a_thousand_may_be_grouped(write: Write) -> None:
    table = 'name,frequency_mhz,spacing_khz\na,"1,795.5","1,000"\nb,"1,796.25",200\n'
    first, second = read_foreign(write(table))
    assert (first.frequency_hz, first.spacing_hz, second.frequency_hz) == (1_795_500_000, 1_000_000, 1_796_250_000)


@pytest.mark.parametrize("written", ["500", "500-500", "500.000 to 500"])
@pytest.mark.parametrize("step", ["25", ""])
def test_a_tuning_range_of_one_frequency_is_one_place(write: Write, written: str, step: str) -> None:
    table = f"equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz\nhand,mic,{written},{step},200,400\n"
    hand = read_equipment(write(table))["hand"]
    assert hand.tuning == (Span(500_000_000, 500_000_000),)
    assert tunable_hz(hand).tolist() == [500_000_000]


def test_one_frequency_beside_a_range(write: Write) -> None:
    table = "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz\nhand,mic,470-470.05;500,25,200,400\n"
    assert tunable_hz(read_equipment(write(table))["hand"]).tolist() == [
        470_000_000,
        470_025_000,
        470_050_000,
        500_000_000,
    ]


# Mistakes


MISTAKES: list[tuple[Callable[[Path], Any], str, str, int | None, str | None]] = [
    (read_links, "link,area\na,b\n", "no column equipment", 1, None),
    (read_links, "link,equipment\na,hand\nb,hand\na,hand\n", "'a' stands in line 2 already", 4, "link"),
    (read_links, "link,equipment\n,hand\n", "empty", 2, "link"),
    (read_links, "link,equipment,frequency_mhz\na,hand,high\n", "'high' is no number", 2, "frequency_mhz"),
    (read_links, "link,equipment,frequency_mhz\na,hand,0\n", "above zero", 2, "frequency_mhz"),
    (read_links, "link,equipment,frequency_mhz\na,hand,470125000\n", "100 GHz", 2, "frequency_mhz"),
    (read_links, "link,equipment,fixed\na,hand,yes\n", "fixed but has no frequency", 2, "frequency_mhz"),
    (read_links, "link,equipment,fixed\na,hand,perhaps\n", "neither yes nor no", 2, "fixed"),
    (read_links, "link,equipment,Priority\na,hand,9\n", "none of 1 to 5", 2, "Priority"),
    (read_links, "link,equipment,priority\na,hand,2.5\n", "none of 1 to 5", 2, "priority"),
    (read_links, "link,equipment\na,hand,stage\n", "3 cells", 2, None),
    (read_links, 'link,equipment\n"a,hand\n', "split into cells", 2, None),
    (read_links, "link,name\n", "no column equipment", 1, None),
    (read_links, "link,equipment,equipment\na,b,c\n", "two columns", 1, None),
    (read_links, "some words\nwithout a table\n", "no column link", 1, None),
    (read_links, "link;equipment;frequency_mhz\na;b;470,5\nc;d;470.6\n", "decimal comma", 2, "frequency_mhz"),
    (read_links, b"PK\x03\x04 and more of a workbook", "workbook", None, None),
    (read_links, "link,equipment,priority\na,hand,1e999\n", "no number", 2, "priority"),
    (read_links, b"\x00\x01\x02\x03\x04\x05" * 40, "no text", None, None),
    (read_links, b"", "empty", None, None),
    (read_links, b"\n\n\n", "empty", None, None),
    (read_equipment, EQUIPMENT.replace("microphone", "trumpet", 1), "'trumpet' is not known", 2, "kind"),
    (read_equipment, EQUIPMENT.replace("470-526", "526-470"), "does not rise", 2, "tuning_mhz"),
    (read_equipment, EQUIPMENT.replace("470-526", "470-500-526"), "no tuning range", 2, "tuning_mhz"),
    (read_equipment, EQUIPMENT.replace("470-526", "470-"), "no number", 2, "tuning_mhz"),
    (read_equipment, EQUIPMENT.replace(",25,,200", ",,,200"), "step of the tuning range is missing", 2, "step_khz"),
    (read_equipment, EQUIPMENT.replace(",25,,200", ",0,,200"), "range must be above 0", 2, "step_khz"),
    (read_equipment, EQUIPMENT.replace(",200,", ",0,"), "bandwidth must be above 0", 2, "bandwidth_khz"),
    (read_equipment, EQUIPMENT.replace(",200,", ",,"), "bandwidth is missing", 2, "bandwidth_khz"),
    (read_equipment, EQUIPMENT.replace("350", "-350"), "negative", 2, "spacing_khz"),
    (read_equipment, EQUIPMENT.replace(",350,", ",,"), "spacing is missing", 2, "spacing_khz"),
    (read_equipment, EQUIPMENT.replace("erp", "watts"), "kind of power", 2, "power_kind"),
    (read_equipment, EQUIPMENT.replace(",10,erp", ",0,erp"), "above zero", 2, "power_mw"),
    (read_equipment, EQUIPMENT.replace("old", "hand"), "stands in line 2 already", 3, "equipment"),
    (read_equipment, EQUIPMENT.replace("bandwidth_khz", "bandwidth"), "no unit", 2, "bandwidth"),
    (
        read_equipment,
        EQUIPMENT.replace(",10,erp", ',"1,000",erp').replace("470.125;471.3", "470"),
        "may be 1.000 or 1000",
        2,
        "power_mw",
    ),
    (read_areas, "area,other,loss_db\na,a,apart\n", "hears itself", 2, "other"),
    (read_areas, "area,other,loss_db\na,b,-3\n", "negative", 2, "loss_db"),
    (read_areas, "area,other,loss_db\na,b,far\n", "no number", 2, "loss_db"),
    (read_areas, "area,other,loss_db\na,b,3\nb,a,4\n", "line 2 says something else", 3, "loss_db"),
    (read_foreign, "name,frequency_mhz\ntaxi,\n", "empty", 2, "frequency_mhz"),
    (read_foreign, "name,frequency_mhz,spacing_khz\ntaxi,470,-1\n", "negative", 2, "spacing_khz"),
    (read_stations, "channel,area\n,stage\n", "empty", 2, "channel"),
    (read_chain, "part,kind,gain_db,u_db\na,rope,1,1\n", "'rope' is not known", 2, "kind"),
    (read_chain, "part,kind,gain_db,u_db\na,cable,nowhere.csv,1\n", "neither a number nor a file", 2, "gain_db"),
    (read_chain, "part,kind,gain_db,u_db\na,filter,bandpass.s2p,1\n", "nor a file beside", 2, "gain_db"),
    (read_chain, "part,kind,gain_db,u_db\na,cable,-1,-1\n", "negative", 2, "u_db"),
    (read_plan, "link,equipment,frequency_mhz\na,hand,470\na,hand,471\n", "stands in line 2 already", 3, "link"),
    (read_plan, "link,equipment\na,hand\n", "no column frequency_mhz", 1, None),
]


@pytest.mark.parametrize(("read", "content", "said", "line", "column"), MISTAKES, ids=range(len(MISTAKES)))
def test_mistakes_are_one_sentence_with_their_place(write: Write, read, content, said, line, column) -> None:
    path = write(content)
    with pytest.raises(InputError) as caught:
        read(path)
    assert said in caught.value.what
    assert "\n" not in str(caught.value)
    assert (caught.value.path, caught.value.line, caught.value.column) == (str(path), line, column)


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can't be opened"):
        read_links(tmp_path / "missing.csv")
    with pytest.raises(InputError, match="folder"):
        read_links(tmp_path)


def test_a_curve_must_rise(tmp_path: Path) -> None:
    (tmp_path / "cable.csv").write_text("frequency_mhz,gain_db\n600,-3\n470,-1\n", encoding="utf-8")
    (tmp_path / "chain.csv").write_text("part,kind,gain_db,u_db\na,cable,cable.csv,1\n", encoding="utf-8")
    with pytest.raises(InputError, match="do not rise") as caught:
        read_chain(tmp_path / "chain.csv")
    assert (caught.value.path, caught.value.line) == (str(tmp_path / "cable.csv"), 3)


def test_unknown_equipment_names_the_line_and_the_nearest_name(write: Write) -> None:
    equipment = read_equipment(write(EQUIPMENT))
    links = read_links(write(LINKS.replace("guest,hand", "guest,hnad")))
    with pytest.raises(InputError, match=r"'hnad' is not in equipment\.csv") as caught:
        check_links_against_equipment(links, equipment, "links.csv", "equipment.csv")
    assert (caught.value.path, caught.value.line, caught.value.column) == ("links.csv", 3, "equipment")
    assert caught.value.hint == "did you mean 'hand'?"
    check_links_against_equipment(read_links(write(LINKS)), equipment)


def test_equipment_that_can_not_be_tuned_is_no_use_to_a_planned_link(write: Write) -> None:
    equipment = read_equipment(write(EQUIPMENT.replace("470-526;600-606", "")))
    with pytest.raises(InputError, match="neither tuning range nor presets"):
        check_links_against_equipment(read_links(write(LINKS)), equipment)


# Whatever the bytes


@given(st.binary(max_size=300))
def test_any_bytes_give_rows_or_one_sentence(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.mktemp("bytes") / "table.csv"
    path.write_bytes(content)
    for read in (read_links, read_equipment, read_areas, read_foreign, read_stations, read_plan, read_chain):
        with pytest.raises(FallowError):
            read(path)


CELLS = st.one_of(
    st.sampled_from(
        [
            "",
            "yes",
            "no",
            "1",
            "470.125",
            "470,125",
            "470-526",
            "-3",
            "1e9",
            "1e999",
            "nan",
            "apart",
            "hand",
            "a;b",
            "\u0664\u0667",
            "½",
        ]
    ),
    st.text(max_size=6),
)


@given(
    st.lists(st.lists(CELLS, min_size=12, max_size=12), min_size=1, max_size=3),
    st.sampled_from(
        [
            EQUIPMENT,
            LINKS,
            "area,other,loss_db",
            "name,frequency_mhz,bandwidth_khz,area,spacing_khz,products,protect",
            "part,kind,gain_db,u_db",
        ]
    ),
)
def test_any_cells_give_rows_or_one_sentence(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]], headings: str
) -> None:
    names = headings.splitlines()[0].split(",")
    text = io.StringIO()
    csv.writer(text).writerows([names, *(row[: len(names)] for row in rows)])
    path = tmp_path_factory.mktemp("cells") / "table.csv"
    path.write_bytes(text.getvalue().encode("utf-8", errors="surrogatepass"))
    for read in (read_links, read_equipment, read_areas, read_foreign, read_stations, read_plan, read_chain):
        with contextlib.suppress(FallowError):
            read(path)
