"""One value edited cell by cell, against its twin: the table written as CSV, that cell changed in the text, and read.

Truth: the readers of whole tables (``read_equipment`` and so on), which have tests of their own. All values invented.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fallow.errors import FallowError, UsageError
from fallow.files.tables import one_row, read_chain, read_equipment, read_foreign, read_links
from fallow.files.tables.foreign_table import write_foreign
from fallow.files.tables.one_row import RowKind, edited, made
from fallow.files.tables.writing import write_chain, write_equipment, write_links
from fallow.show.equipment import Equipment
from fallow.show.link import ForeignCarrier, Link
from fallow.spectrum.chain import ChainPart, GainCurve

PACK = (
    "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,power_mw,power_kind,spacing_khz,im3_khz,body_db,selectivity_db\n"
)
PACK += "pack,microphone,470-478;480-482.5,25,200,10,erp,350,100,12,100:20;200:40\n"
LINK = "link,equipment,area,scenes,priority,frequency_mhz,fixed,rack\nvox,pack,stage,a;b,1,470.125,yes,A1\n"
GUEST = "name,frequency_mhz,bandwidth_khz,area,spacing_khz,products,owner\nguest,471.3,200,,400,yes,someone\n"
LEAD = "part,kind,gain_db,u_db,vswr\nlead,cable,-1.25,0.3,1.5\n"
CELLS: dict[str, tuple[str, ...]] = {
    "equipment": ("kind=in-ear", "tuning_mhz=500-510", "tuning_mhz=", "step_khz=12.5", "bandwidth_khz=180",
                  "spacing_khz=0", "power_mw=", "power_kind=eirp", "im3_khz=", "im5_khz=40", "body_db=20",
                  "presets_mhz=471;472.5", "selectivity_db=", "kind=none such", "bandwidth_khz=", "im7_khz=30",
                  "product_width=yes", "duplex_mhz=40"),
    "links": ("area=foyer", "scenes=", "scenes=a", "priority=5", "priority=6", "frequency_mhz=", "frequency_mhz=480.1",
              "fixed=no", "planned=no", "group=band;choir", "rack=B2", "remark=lead", "move_weight=3",
              "return_mhz=520"),
    "foreign": ("frequency_mhz=500", "frequency_mhz=", "bandwidth_khz=8000", "area=stage", "protect=yes", "owner=else"),
    "chain": ("kind=filter", "gain_db=-3", "gain_db=3", "u_db=0.5", "u_db=-1", "vswr=", "vswr=2"),
}  # fmt: skip
KINDS: dict[str, tuple[RowKind[Any], str, Callable[[Path], Any], Callable[[Path, Any], None]]] = {
    "equipment": (one_row.EQUIPMENT, PACK, lambda path: next(iter(read_equipment(path).values())),
                  lambda path, one: write_equipment(path, [one])),
    "links": (one_row.LINKS, LINK, lambda path: read_links(path)[0], lambda path, one: write_links(path, [one])),
    "foreign": (one_row.FOREIGN, GUEST, lambda path: read_foreign(path)[0],
                lambda path, one: write_foreign(path, [one])),
    "chain": (one_row.CHAIN, LEAD, lambda path: read_chain(path).parts[0], lambda path, one: write_chain(path, [one])),
}  # fmt: skip


@pytest.mark.parametrize(("name", "cell"), [(name, cell) for name, cells in CELLS.items() for cell in cells])
def test_a_cell_typed_is_a_cell_of_the_table(tmp_path: Path, name: str, cell: str) -> None:
    kind, text, read, write = KINDS[name]
    path = tmp_path / "table.csv"
    path.write_text(text, encoding="utf-8")
    value = read(path)
    write(path, value)
    column, _, said = cell.partition("=")
    with path.open(encoding="utf-8", newline="") as stream:
        row = next(csv.DictReader(stream)) | {column: said}
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(row))
        writer.writeheader()
        writer.writerow(row)
    wanted, wrong = _tried(lambda: read(path))
    got, said_wrong = _tried(lambda: edited(kind, value, {column: said}))
    if wrong:
        assert wrong in said_wrong
        return
    assert got == (replace(wanted, line=got.line) if isinstance(wanted, Link) else wanted)
    assert getattr(got, "extra", None) == getattr(wanted, "extra", None)  # which equality leaves out


def _tried(step: Callable[[], Any]) -> tuple[Any, str]:
    """What a step gives, or what it says is wrong."""
    try:
        return step(), ""
    except FallowError as error:
        return None, error.what


def test_what_the_table_can_not_say_stays() -> None:
    curve = GainCurve(np.array([470e6, 600e6]), np.array([-1.0, -2.0]))
    part = ChainPart("lead", "cable", curve, 0.3, notes=("from a file",))
    after = edited(one_row.CHAIN, part, {"u_db": "0.7"})
    assert after.gain_db is curve
    assert (after.u_db, after.notes) == (0.7, ("from a file",))
    assert edited(one_row.CHAIN, part, {"gain_db": "-1.5"}) == ChainPart("lead", "cable", -1.5, 0.3)


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"equipment": "x", "kind": "microphone", "spacing_khz": "300"}, "the occupied bandwidth is missing"),
        ({"equipment": "x", "spacing": "300"}, "'spacing' is no column as fallow writes it"),
        ({"equipment": "x", "im9_khz": "300"}, "has no column 'im9_khz'"),
    ],
)
def test_what_is_lacking_or_unknown_is_said(cells: dict[str, str], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        made(one_row.EQUIPMENT, cells)


def test_values_are_what_they_are_called() -> None:
    cells = {"equipment": "pack", "kind": "microphone", "tuning_mhz": "470-478", "step_khz": "25",
             "bandwidth_khz": "0.2 MHz", "spacing_khz": "350000 Hz"}  # fmt: skip
    assert isinstance(radio := made(one_row.EQUIPMENT, cells), Equipment)
    assert (radio.bandwidth_hz, radio.spacing_hz) == (200_000, 350_000)
    assert made(one_row.FOREIGN, {"name": "a", "frequency_mhz": "470.1"}) == ForeignCarrier("a", 470_100_000)
