"""The way back in the tables of equipment and links: read, refused with a sentence, written and read back."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fallow.errors import InputError
from fallow.files.tables import check_links_against_equipment, read_equipment, read_links
from fallow.files.tables.writing import write_equipment, write_links
from fallow.show.duplex import unfolded
from fallow.show.equipment import Duplex
from fallow.show.wanted import Wanted
from fallow.units import Span

HEAD = "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz,duplex_mhz,return_mhz,duplex_least_mhz\n"


def written(folder: Path, ending: str) -> Path:
    path = folder / "equipment.csv"
    path.write_text(f"{HEAD}desk,intercom,470-476,25,200,400,{ending}\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("ending", "duplex"),
    [
        (",,", None),
        ("30,,", Duplex(30_000_000)),
        ("-4.5,,", Duplex(-4_500_000)),
        (",486-494;500,10", Duplex(None, (Span(486_000_000, 494_000_000), Span(500_000_000, 500_000_000)), 10_000_000)),
        (",486-494,", Duplex(None, (Span(486_000_000, 494_000_000),))),
    ],
)
def test_the_way_back_is_read_and_reads_back(tmp_path, ending, duplex):
    equipment = read_equipment(written(tmp_path, ending))
    assert equipment["desk"].duplex == duplex
    write_equipment(tmp_path / "copy.csv", equipment.values())
    assert read_equipment(tmp_path / "copy.csv") == equipment


@pytest.mark.parametrize(
    ("ending", "column", "sentence"),
    [
        ("30,486-494,", "duplex_mhz", "a fixed distance leaves no choice of ranges"),
        ("0,,", "duplex_mhz", "the way back can't stand where the way there does"),
        ("-470,,", "duplex_mhz", "the way back would lie below zero"),
        (",,10", "duplex_least_mhz", "the ranges of the way back are missing"),
        (",494-486,", "return_mhz", "does not rise"),
        ("0.1,,", "duplex_mhz", "100 kHz between the two directions of a link is less than the spacing of 400 kHz"),
        (",486-494,25", "duplex_least_mhz", "24 MHz apart at most, less than the 25 MHz asked for"),
        (",472.9-473.1,3.2", "duplex_least_mhz", "3.1 MHz apart at most, less than the 3.2 MHz asked for"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path, ending, column, sentence):
    with pytest.raises(InputError) as refused:
        read_equipment(written(tmp_path, ending))
    assert refused.value.column == column
    assert refused.value.line == 2
    assert sentence in refused.value.what


def test_ranges_too_near_for_the_spacing_are_refused_and_just_enough_is_not(tmp_path):
    """By hand: 470 there and 470.2 back are 200 kHz apart, 470 and 470.4 just the spacing of 400 kHz."""
    path = tmp_path / "equipment.csv"
    path.write_text(f"{HEAD}desk,intercom,470,25,200,400,,470-470.2,\n", encoding="utf-8")
    with pytest.raises(InputError, match="200 kHz apart at most, less than the spacing of 400 kHz") as refused:
        read_equipment(path)
    assert refused.value.column == "return_mhz"
    path.write_text(f"{HEAD}desk,intercom,470,25,200,400,,470-470.4,\n", encoding="utf-8")
    assert read_equipment(path)["desk"].duplex is not None


@pytest.mark.parametrize(
    ("kind", "row", "sentence"),
    [
        ("fixed", "470.5,500.6,", "'a' at 500.600 MHz contradicts its equipment: 'fixed' puts it at 500.500 MHz"),
        ("fixed", "470.5,500.6,yes", "contradicts its equipment"),
        ("fixed", ",900,", "the way back of 'a' at 900.000 MHz lies outside the ranges of 'fixed'"),
        ("free", "471,480,", "the way back of 'a' at 480.000 MHz lies outside the ranges of 'free'"),
        ("free", "471,480,yes", "lies outside the ranges of 'free'"),
        ("free", "475.9,486.1,", "is only 10.2 MHz from the way there"),
        ("near", "471,471,", "is only 0 Hz from the way there"),
    ],
)
def test_a_way_back_that_its_equipment_can_not_give_is_refused(tmp_path, kind, row, sentence):
    equipment, links = tmp_path / "equipment.csv", tmp_path / "links.csv"
    rows = "fixed,intercom,470-476,25,200,400,30,,\nfree,intercom,470-476,25,200,400,,486-494,12\n"
    equipment.write_text(f"{HEAD}{rows}near,intercom,470-476,25,200,400,,470-476,\n", encoding="utf-8")
    links.write_text(f"link,equipment,frequency_mhz,return_mhz,fixed\na,{kind},{row}\n", encoding="utf-8")
    with pytest.raises(InputError, match=re.escape(sentence)) as refused:
        check_links_against_equipment(read_links(links), read_equipment(equipment), links)
    assert (str(refused.value.path), refused.value.line, refused.value.column) == (str(links), 2, "return_mhz")


def test_a_way_back_that_fits_passes_and_one_of_nobody_is_left_alone(tmp_path):
    equipment, links = tmp_path / "equipment.csv", tmp_path / "links.csv"
    rows = "fixed,intercom,470-476,25,200,400,30,,\nvox,microphone,470-476,25,200,400,,,\n"
    equipment.write_text(HEAD + rows, encoding="utf-8")
    stated = "a,fixed,470.5,500.5,yes\nb,fixed,,501,\nc,vox,470,470,\n"
    links.write_text(f"link,equipment,frequency_mhz,return_mhz,fixed\n{stated}", encoding="utf-8")
    check_links_against_equipment(read_links(links), read_equipment(equipment), links)


def test_the_wish_of_a_way_back(tmp_path):
    path = tmp_path / "links.csv"
    path.write_text("link,equipment,frequency_mhz,return_mhz\na,desk,471,501.5\nb,desk,,\n", encoding="utf-8")
    links = read_links(path)
    assert [one.return_hz for one in links] == [501_500_000, None]
    write_links(tmp_path / "copy.csv", links)
    assert read_links(tmp_path / "copy.csv") == links


def test_a_wish_of_the_way_back_alone_is_one_of_the_way_there(tmp_path):
    """By hand: 10 MHz between the two ways, and 481 MHz wished back is 471 MHz there."""
    equipment, links = tmp_path / "equipment.csv", tmp_path / "links.csv"
    equipment.write_text(f"{HEAD}desk,intercom,470-476,25,200,400,10,,\n", encoding="utf-8")
    links.write_text("link,equipment,return_mhz\na,desk,481\n", encoding="utf-8")
    show = unfolded(Wanted(read_links(links), read_equipment(equipment)))
    assert [one.frequency_hz for one in show.links] == [471_000_000, 481_000_000]
