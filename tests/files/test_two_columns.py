"""Bands in two columns and headings that stand twice, in anybody's tables. Truth: what the tests write; invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from fallow.errors import QuestionError
from fallow.files.tables.anybodys import TableRead, TableTelling, read_by_evidence
from fallow.units import Span


def read(tmp_path: Path, text: str, kind: str, **telling: object) -> TableRead:
    path = tmp_path / "table.csv"
    path.write_text(text, encoding="utf-8")
    return read_by_evidence(path, kind, TableTelling(**telling))  # type: ignore[arg-type]


BANDS = [
    ("name,frequency from,frequency to", "470", "478"),
    ("Name;von MHz;bis MHz", "470", "478"),
    ("Name;Frequenz von (MHz);bis", "470,0", "478,0"),
    ("Name;Start (MHz);Stop (MHz)", "470.000", "478.000"),
    ("Name;Lower freq;Upper freq", "470", "478"),
    ("Nom;Fréquence de;Fréquence à", "470", "478"),
    ("Nazwa;od kHz;do kHz", "470000", "478000"),
    ("name;f min (kHz);f max (MHz)", "470000", "478"),
    ("name;from;to", "470 MHz", "478 MHz"),
    ("name;low;high", "470", "478"),
    ("name;Frequency (MHz)", "470-478", None),
    ("name;Frequency range", "470 MHz to 478 MHz", None),
]


@pytest.mark.parametrize(("headings", "low", "high"), BANDS)
def test_a_band_is_its_centre_and_width(tmp_path: Path, headings: str, low: str, high: str | None) -> None:
    mark = ";" if ";" in headings else ","
    row = mark.join(one for one in ("X", low, high) if one is not None)
    found = read(tmp_path, f"{headings}\n{row}\n", "foreign")
    (stranger,) = found.values
    assert (stranger.frequency_hz, stranger.bandwidth_hz) == (474_000_000, 8_000_000)
    assert stranger.spacing_hz == 4_000_000  # nothing of ours inside
    assert found.doubts == ()


def test_what_a_table_states_of_a_band_counts(tmp_path: Path) -> None:
    text = (
        "name;from MHz;to MHz;bandwidth (kHz);spacing (kHz)\nX;470;470.4;200;300\nY;471;;;\nZ;472;471;;\nV;480;481;;\n"
    )
    found = read(tmp_path, text + "U;482;483;;\nT;484;485;;\nS;486;487;;\n", "foreign")
    first = found.values[0]
    assert (first.frequency_hz, first.bandwidth_hz, first.spacing_hz) == (470_200_000, 200_000, 300_000)
    assert [(one.line, one.done) for one in found.doubts] == [(3, "row left out"), (4, "row left out")]
    assert "one end of the band is missing" in found.doubts[0].why
    assert "does not rise" in found.doubts[1].why
    text = "name;from MHz;to MHz;frequency (MHz)\nX;470;526;491.5\n"  # a carrier, and what its radio can be tuned to
    found = read(tmp_path, text, "foreign")
    assert (found.values[0].frequency_hz, found.values[0].bandwidth_hz) == (491_500_000, 0)
    assert found.columns[1].how == "an end of a band; kept as it is"


def test_a_range_in_two_columns_is_what_a_radio_tunes_to(tmp_path: Path) -> None:
    text = "Modell;Art;von (MHz);bis (MHz);Raster (kHz);Bandbreite (kHz);Abstand (kHz)\nhand;mic;470;526,5;25;200;400\n"
    (radio,) = read(tmp_path, text, "equipment").values
    assert radio.tuning == (Span(470_000_000, 526_500_000),)


def test_links_do_not_stand_at_an_end(tmp_path: Path) -> None:
    text = "name;type;from MHz;to MHz\nA;hand;470;526\n"
    found = read(tmp_path, text, "links")
    assert found.values[0].frequency_hz is None
    with pytest.raises(QuestionError, match="no column is known to be frequency"):
        read(tmp_path, text, "plan")
    assert read(tmp_path, text, "plan", columns={"frequency": "from MHz"}).values[0].frequency_hz == 470_000_000


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("name,type,frequency,frequency\nA,hand,470.1,480.1\n", "two columns hold frequencies"),
        ("name,type,Freq,Freq,Notes\n,,TX,RX,\nA,hand,470.1,480.1,x\n", "two columns hold frequencies"),
        ("name,type,Freq,,Notes\n,,TX,RX,\nA,hand,470.1,480.1,x\n", "two columns hold frequencies"),
        ("name,type,Freq,Freq\nA,hand,470,480\n", "two columns are called 'Freq'"),
        ("name,type,area,area\nA,hand,stage,foyer\n", "two columns are called 'area'"),
        ("name,name,type\nA,B,hand\n", "two columns are called 'name'"),
    ],
)
def test_headings_that_stand_twice_are_asked_about(tmp_path: Path, text: str, asked: str) -> None:
    with pytest.raises(QuestionError, match=f"{asked}.* differ in line") as caught:
        read(tmp_path, text, "links")
    assert len(caught.value.readings) == 2


@pytest.mark.parametrize("other", ["new", "assigned", "mute frequency", "New MHz"])
def test_another_column_of_such_frequencies_is_asked_about_whatever_it_is_called(tmp_path: Path, other: str) -> None:
    for first in ("frequency", "frequency MHz"):
        with pytest.raises(QuestionError, match="two columns hold frequencies and differ"):
            read(tmp_path, f"name,type,{first},{other}\nA,hand,510.1,512.1\n", "links")
    found = read(tmp_path, "name,type,frequency,charge\nA,hand,510.1,85.5\n", "links")
    assert found.values[0].frequency_hz == 510_100_000


def test_fixed_in_other_forms_and_its_opposite(tmp_path: Path) -> None:
    for heading in ("Fija", "Stała", "Fissa"):
        assert read(tmp_path, f"name;type;MHz;{heading}\nA;hand;510.1;x\n", "links").values[0].fixed
    assert not read(tmp_path, "name;type;MHz;not fixed\nA;hand;510.1;yes\n", "links").values[0].fixed


def test_twins_that_agree_and_those_that_are_told(tmp_path: Path) -> None:
    found = read(tmp_path, "name,type,frequency,frequency\nA,hand,470.1,470.100\nB,hand,471.1,471.1\n", "links")
    assert [one.frequency_hz for one in found.values] == [470_100_000, 471_100_000]
    text = "name,type,Freq,Freq,Rack,Rack\n,,TX,RX,,\nA,hand,470.1,480.1,1,2\n"
    found = read(tmp_path, text, "links", columns={"frequency": "Freq RX"})
    assert found.values[0].frequency_hz == 480_100_000
    assert found.values[0].extra == {"Freq TX": "470.1", "Rack": "1", "Rack, column 6": "2"}


def test_areas_against_areas_are_pairs(tmp_path: Path) -> None:
    text = ";stage;foyer;hall\nstage;-;20;apart\nfoyer;20;;12,5\nhall;apart;13;0\n"
    found = read(tmp_path, text, "areas")
    assert found.values == (("stage", "foyer", 20.0), ("stage", "hall", None), ("foyer", "hall", 12.5))
    assert [(one.line, one.done) for one in found.doubts] == [(4, "row left out")]  # 12.5 here and 13 there
    found = read(tmp_path, ",stage,foyer\nstage,,20\n", "areas")
    assert found.values == (("stage", "foyer", 20.0),)


def test_a_width_that_may_be_of_a_tv_channel_is_in_doubt(tmp_path: Path) -> None:
    found = read(tmp_path, "name,MHz,width\nTV,474,8\nA,491.5,200\n", "foreign")
    assert [one.bandwidth_hz for one in found.values] == [0, 200_000]
    assert [(one.line, one.cell, one.done) for one in found.doubts] == [(2, "8", "left empty")]
    assert read(tmp_path, "name,MHz,width (MHz)\nTV,474,8\n", "foreign").values[0].bandwidth_hz == 8_000_000


def test_ranges_with_a_stroke_between(tmp_path: Path) -> None:
    text = "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz\nhand,mic,470-526/600-606,25,200,400\n"
    (radio,) = read(tmp_path, text, "equipment").values
    assert radio.tuning == (Span(470_000_000, 526_000_000), Span(600_000_000, 606_000_000))


def test_letters_that_can_not_be_read_are_told(tmp_path: Path) -> None:
    """The letters tell the code page; where she says another one, what it can't read is told."""
    path = tmp_path / "list.csv"
    told = ("some letters can't be read: the file is not in the encoding that it seems to be in",)
    for text, page in (("name;MHz\nAnnê;470.5\n", "mac-roman"), ("name;MHz;Stała\nŻaneta;470.5;tak\n", "cp1250")):
        path.write_bytes(text.encode(page))
        found = read_by_evidence(path, "foreign", TableTelling())
        assert (found.encoding, found.values[0].name, found.notes) == (page, text.split("\n")[1].split(";")[0], ())
    path.write_bytes("name;MHz\nAnnê;470.5\n".encode("mac-roman"))  # a sign of control in Windows-1252
    assert read_by_evidence(path, "foreign", TableTelling(encoding="cp1252")).notes == told
    assert read(tmp_path, "name;MHz\nZoë\u00a0X;470.5\n", "foreign").notes == ()
    path.write_bytes("name;MHz;Bühne\nZoë;470.5;2³\n".encode("cp1252"))
    assert read_by_evidence(path, "foreign", TableTelling()).notes == ()
