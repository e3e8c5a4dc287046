"""``--product-width``, and the columns ``product_width`` and ``im7_khz``, as typed. Everything here is invented."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fallow.files.tables import read_equipment, read_foreign
from fallow.files.tables.foreign_table import write_foreign
from fallow.files.tables.writing import write_equipment

Run = Callable[..., tuple[int, str, str]]
EQUIPMENT = (
    "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,spacing_khz,im3_khz,im7_khz,product_width\n"
    "vox,microphone,470-520,25,200,350,100,,\ncam,camera,470-520,100,2000,2000,,25,yes\n"
)
TABLES = {
    "links": "link,equipment\nvox 1,vox\ncam 1,cam\ncam 2,cam\n",
    "equipment": EQUIPMENT,
    "plan": "link,equipment,frequency_mhz\nvox 1,vox,489\ncam 1,cam,500\ncam 2,cam,510\n",
}
AUDIT = ("audit", "plan.csv", "--equipment", "equipment.csv")


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of tables in which everything is typed."""
    monkeypatch.chdir(tmp_path)
    for name, text in TABLES.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    return tmp_path


def answer(run: Run, *words: object, code: int = 0) -> dict[str, Any]:
    got, out, err = run(*words, "--json")
    assert got == code, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


@pytest.mark.usefixtures("desk")
def test_a_microphone_a_megahertz_from_the_middle_of_a_product_of_cameras_lies_in_it(run: Run) -> None:
    assert answer(run, *AUDIT)["conflicts"] == []
    (hit,) = answer(run, *AUDIT, "--product-width", code=1)["conflicts"]
    assert (hit["kind"], hit["victim"], hit["carriers"]) == ("2A-B", "vox 1", ["cam 1", "cam 2"])
    assert (hit["product_hz"], hit["distance_hz"], hit["needed_hz"]) == (490_000_000, 1_000_000, 3_100_000)
    code, out, _ = run(*AUDIT, "--product-width")
    assert code == 1
    assert "3 MHz of them because it is up to 6 MHz wide" in " ".join(out.split())


def test_a_plan_made_so_passes_the_audit_made_so(run: Run, desk: Path) -> None:
    words = ("--equipment", "equipment.csv", "--product-width")
    made = answer(run, "plan", "links.csv", *words, "--seconds", 0.5, "--no-failures", "--out", "made.csv")
    assert made["conflicts"] == made["unplaced"] == []
    assert answer(run, "audit", "made.csv", *words)["conflicts"] == []
    assert (desk / "made.csv").exists()


def test_4a_3b_is_looked_at_where_its_column_asks(run: Run, desk: Path) -> None:
    plan = "link,equipment,frequency_mhz\nvox 1,vox,500\nvox 2,vox,501\ncam 1,cam,497.7\n"
    (desk / "plan.csv").write_text(plan, encoding="utf-8")
    (hit,) = answer(run, *AUDIT, code=1)["conflicts"]
    assert (hit["kind"], hit["carriers"], hit["product_hz"]) == ("4A-3B", ["vox 1", "vox 2"], 497_000_000)
    assert (hit["distance_hz"], hit["needed_hz"]) == (700_000, 725_000)
    (desk / "equipment.csv").write_text(EQUIPMENT.replace(",25,yes", ",,yes"), encoding="utf-8")
    assert answer(run, *AUDIT)["conflicts"] == []


def test_the_columns_are_written_where_somebody_uses_them(desk: Path) -> None:
    before = read_equipment("equipment.csv")
    write_equipment("again.csv", before.values())
    assert read_equipment("again.csv") == before
    write_equipment("plain.csv", [before["vox"]])
    assert "product_width" not in (desk / "plain.csv").read_text(encoding="utf-8")
    strangers = "name,frequency_mhz,bandwidth_khz,spacing_khz,protect,product_width\nguest,480,200,100,yes,yes\n"
    (desk / "foreign.csv").write_text(strangers, encoding="utf-8")
    (guest,) = read_foreign("foreign.csv")
    assert guest.product_width
    write_foreign("foreign again.csv", [guest])
    assert read_foreign("foreign again.csv") == (guest,)
    with (desk / "foreign again.csv").open(encoding="utf-8", newline="") as file:
        assert next(csv.DictReader(file))["product_width"] == "yes"
