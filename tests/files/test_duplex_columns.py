"""The way back in the tables of equipment and links: read, refused with a sentence, written and read back."""

from __future__ import annotations

from pathlib import Path

import pytest

from fallow.errors import InputError
from fallow.files.tables import read_equipment, read_links
from fallow.files.tables.writing import write_equipment, write_links
from fallow.show.equipment import Duplex
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
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path, ending, column, sentence):
    with pytest.raises(InputError) as refused:
        read_equipment(written(tmp_path, ending))
    assert refused.value.column == column
    assert sentence in refused.value.what


def test_the_wish_of_a_way_back(tmp_path):
    path = tmp_path / "links.csv"
    path.write_text("link,equipment,frequency_mhz,return_mhz\na,desk,471,501.5\nb,desk,,\n", encoding="utf-8")
    links = read_links(path)
    assert [one.return_hz for one in links] == [501_500_000, None]
    write_links(tmp_path / "copy.csv", links)
    assert read_links(tmp_path / "copy.csv") == links
