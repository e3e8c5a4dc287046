"""Receiver figures in an equipment table: read where they stand, none where they don't, mistakes in one sentence."""

from __future__ import annotations

import pytest

from fallow.errors import InputError
from fallow.files.tables import read_equipment
from fallow.show.equipment import Stated

PLAIN = "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz"
ROW = "hand,microphone,470-526,25,200,350"


def read(tmp_path, headings, cells, delimiter=","):
    path = tmp_path / "equipment.csv"
    lines = [PLAIN.replace(",", delimiter) + delimiter + headings, ROW.replace(",", delimiter) + delimiter + cells]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_equipment(path)["hand"].stated


def test_a_table_without_them_states_nothing(tmp_path):
    path = tmp_path / "equipment.csv"
    path.write_text(f"{PLAIN}\n{ROW}\n", encoding="utf-8")
    assert read_equipment(path)["hand"].stated == Stated()


def test_all_figures(tmp_path):
    headings = (
        "distance_m,nearest_m,body_db,fade_db,noise_figure_db,needed_db,iip3_dbm,front_end_db,mixing_db,antenna_dbi,"
        "selectivity_db,figures_source"
    )
    stated = read(tmp_path, headings, "60,3.5,12,25,7,18,-8,30,45,-2,100:20;200:40.5,own bench")
    assert stated == Stated(60, 3.5, 12, 25, 7, 18, -8, 30, 45, -2, ((100_000, 20.0), (200_000, 40.5)), "own bench")


def test_units_and_decimal_commas_are_read_as_everywhere(tmp_path):
    stated = read(tmp_path, "distance_km;iip3_dbm;selectivity", '0,06;-8,5 dBm;"62,5:20|125:40"', ";")
    assert (stated.distance_m, stated.iip3_dbm) == (60, -8.5)
    assert stated.selectivity == ((62_500, 20.0), (125_000, 40.0))


@pytest.mark.parametrize(
    ("headings", "cells", "what", "column"),
    [
        ("distance_m", "0", "'0' is no distance in metres", "distance_m"),
        ("nearest_m", "-3", "'-3' is no distance in metres", "nearest_m"),
        ("distance_m,nearest_m", "5,9", "the nearest transmitter can't be farther away than the farthest", "nearest_m"),
        ("body_db", "-10", "'-10' is negative", "body_db"),
        ("needed_db", "2000", "'2000' is out of range", "needed_db"),
        ("iip3_dbm", "good", "'good' is no number", "iip3_dbm"),
        ("selectivity_db", "100", "'100' is no point of a selectivity", "selectivity_db"),
        ("selectivity_db", "100:20;100:30", "the selectivity does not rise", "selectivity_db"),
        ("selectivity_db", "100:20;200:10", "the selectivity does not rise", "selectivity_db"),
        ("selectivity_db", "0:0", "the selectivity does not rise", "selectivity_db"),
        ("selectivity_db", "100:9000", "'9000' is out of range", "selectivity_db"),
    ],
)
def test_mistakes_are_told_with_their_place(tmp_path, headings, cells, what, column):
    with pytest.raises(InputError) as raised:
        read(tmp_path, headings, cells)
    error = raised.value
    assert (error.what, error.line, error.column) == (what, 2, column)
