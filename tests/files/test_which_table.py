"""Which table of a show a file is, by its headings alone. Truth: headings that docs and readers name, and sweeps."""

from __future__ import annotations

from pathlib import Path

import pytest

from fallow.files.tables import write_plan
from fallow.files.tables.recognise import is_plan, tables_it_may_be
from fallow.show.assignment import Assignment


@pytest.mark.parametrize(
    ("headings", "kinds"),
    [
        ("link,equipment,area,scenes,priority,frequency_mhz,fixed,planned", ("links",)),
        ("name;type;priority", ("links",)),
        ("Strecke\tGerät\tBereich\tPriorität", ("links",)),
        ("link,equipment", ("links",)),
        ("link,equipment,frequency_mhz", ("links", "plan")),  # which of the two nothing tells
        ("link,equipment,area,scenes,frequency_mhz,verdict,margin_db,note", ("plan",)),
        ("equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz", ("equipment",)),
        ("Gerät;Art;Bandbreite kHz;Abstand kHz", ("equipment",)),
        ("area,other,loss_db", ("areas",)),
        ("name,frequency_mhz,bandwidth_khz,area,products", ("foreign",)),
        ("channel,area,source", ("stations",)),
        ("channel,area", ("stations",)),
        ("channel", ()),
        ("group,from,apart_mhz,within_mhz,areas,hard,source", ("groups",)),
        ("group,apart_mhz", ("groups",)),
        ("group,level_dbm", ()),
        ("part,kind,gain_db,u_db,vswr", ("chain",)),
        ("frequency_hz,level_dbm", ()),
        ("channel,frequency_mhz,level_dbm", ()),  # sweeps that number their points
        ("time,470000000,470025000,470050000", ()),
        ("470.125,-95.3", ()),
        ("", ()),
    ],
)
def test_headings_tell_the_table(tmp_path: Path, headings: str, kinds: tuple[str, ...]) -> None:
    path = tmp_path / "table.csv"
    path.write_text(f"{headings}\n1,2,3\n", encoding="utf-8")
    assert tables_it_may_be(path) == kinds
    path.write_text(f"\ufeffAn invented list\n\n{headings}\n1,2,3\n", encoding="utf-8")
    assert tables_it_may_be(path) == kinds
    assert is_plan(path) == ("plan" in kinds or "frequency_mhz,fixed" in headings)


def test_our_own_plan_is_a_plan(tmp_path: Path) -> None:
    write_plan(tmp_path / "plan.csv", [Assignment("vox 1", "pack", frequency_hz=470_125_000)])
    assert tables_it_may_be(tmp_path / "plan.csv") == ("plan",)


def test_what_is_no_text_is_no_table(tmp_path: Path) -> None:
    (tmp_path / "picture").write_bytes(bytes(range(256)) * 10)
    assert tables_it_may_be(tmp_path / "picture") == ()
    assert tables_it_may_be(tmp_path) == ()
    assert tables_it_may_be(tmp_path / "nowhere") == ()


def test_real_sweeps_are_no_tables(airdata: Path) -> None:
    files = sorted(one for one in airdata.rglob("*.csv") if one.is_file())[:40]
    assert files
    assert {one.name: kinds for one in files if (kinds := tables_it_may_be(one))} == {}
