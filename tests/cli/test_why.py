"""``fallow plan --why`` and ``fallow air --foreign-out`` as they are typed; and the same from Python.

Truth: ``fallow audit`` of the same plan, and what the test itself put on the air (invented).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import fallow

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """Four links, a plan in which c is hit, and one link that it lacks."""
    (tmp_path / "equipment.csv").write_text(
        "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,power_mw,power_kind,spacing_khz,im3_khz,im3_three_khz\n"
        "pack,microphone,500-504,25,200,10,erp,350,100,50\n",
        encoding="utf-8",
    )
    (tmp_path / "links.csv").write_text(
        "link,equipment,planned\na,pack,yes\nb,pack,yes\nc,pack,yes\nlate,pack,yes\nown,pack,no\n", encoding="utf-8"
    )
    (tmp_path / "plan.csv").write_text(
        "link,equipment,frequency_mhz\na,pack,500\nb,pack,501\nc,pack,502.05\n", encoding="utf-8"
    )
    return tmp_path


def words(room: Path, *more: object) -> tuple[object, ...]:
    return ("plan", room / "links.csv", "--equipment", room / "equipment.csv", *more)


def asked(run: Run, room: Path, *more: object) -> tuple[int, dict[str, Any]]:
    code, out, err = run(*words(room, "--json", *more))
    assert out, err
    return code, json.loads(out)


def test_the_case_of_a_kept_plan_is_what_the_audit_lists(run: Run, room: Path) -> None:
    code, case = asked(run, room, "--keep", room / "plan.csv", "--why", "c")
    _, out, _ = run("audit", room / "plan.csv", "--equipment", room / "equipment.csv", "--json")
    conflicts = json.loads(out)["conflicts"]
    assert code == 1
    assert (case["link"], case["at_hz"], case["home_hz"]) == ("c", 502_050_000, 502_050_000)
    assert sorted(case["against"], key=str) == sorted(conflicts, key=str)
    assert {one["kind"] for one in case["against"]} == {"2A-B"}
    assert case["free_nearby_hz"][0] == 502_100_000
    assert set(case) >= {"link", "at_hz", "against", "in_favour", "free_nearby_hz", "notes"}


def test_another_frequency_can_be_asked_about(run: Run, room: Path) -> None:
    code, case = asked(run, room, "--keep", room / "plan.csv", "--why", "c", "--at", "503.3 MHz")
    assert (code, case["against"]) == (0, [])
    assert any("none of the products" in text for text in case["in_favour"])
    code, case = asked(run, room, "--keep", room / "plan.csv", "--why", "c", "--at", "501.2M")
    assert code == 1
    assert case["against"][0]["kind"] == "spacing"
    code, case = asked(run, room, "--keep", room / "plan.csv", "--why", "c", "--at", "503.31M")
    assert [one["kind"] for one in case["against"]] == ["tuning"]


def test_a_link_without_frequency_is_told_its_best_places(run: Run, room: Path) -> None:
    code, case = asked(run, room, "--keep", room / "plan.csv", "--why", "late")
    assert (code, case["at_hz"], case["against"]) == (1, None, [])
    assert case["best"][0]["against"] == []
    code, out, _ = run(*words(room, "--keep", room / "plan.csv", "--why", "late"))
    assert code == 1
    assert out.startswith("late has no frequency\n")
    assert "The best places" in out


def test_without_a_plan_one_is_made_first(run: Run, room: Path) -> None:
    code, case = asked(run, room, "--why", "late", "--seconds", "0")
    assert (code, case["against"]) == (0, [])
    assert case["at_hz"] is not None
    assert any("made just now" in note for note in case["notes"])


def test_the_screen_cuts_a_long_list(run: Run, room: Path) -> None:
    links = "".join(f"link {i},pack,yes\n" for i in range(9))
    (room / "links.csv").write_text("link,equipment,planned\n" + links, encoding="utf-8")
    rows = "".join(f"link {i},pack,{500 + 0.4 * i}\n" for i in range(9))
    (room / "plan.csv").write_text("link,equipment,frequency_mhz\n" + rows, encoding="utf-8")
    code, out, _ = run(*words(room, "--keep", room / "plan.csv", "--why", "link 4"))
    assert code == 1
    assert out.count("! ") == 12
    assert " more\n" in out
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize(
    ("more", "said", "hint"),
    [
        (("--why", "lat"), "no link is called 'lat'", "did you mean 'late'?"),
        (("--why", "own"), "own chooses its own channels", ""),
        (("--at", "500M"), "--at asks about a link", "--why LINK"),
        (("--why", "a", "--out", "x.csv"), "--why writes no plan", "--keep"),
    ],
)
def test_slips_are_told(run: Run, room: Path, more: tuple[str, ...], said: str, hint: str) -> None:
    code, out, err = run(*words(room, *more))
    assert (code, out) == (2, "")
    assert said in err
    assert hint in err


def test_python_asks_and_plays(room: Path) -> None:
    links, kinds = fallow.read_links(room / "links.csv"), fallow.read_equipment(room / "equipment.csv")
    rows = fallow.read_plan(room / "plan.csv")
    assert fallow.why(rows, "c", kinds).against == fallow.audit(rows, kinds).conflicts
    game = fallow.what_if(rows, kinds, links=links)
    assert {one.kind for one in game.move("c", 503_300_000).gone} == {"2A-B"}
    assert game.move("late", 502_050_000).new
    plan = fallow.coordinate(links, kinds, seconds=0.0, on=None)
    assert fallow.why(plan, "late", kinds, links=links).stands
    with pytest.raises(fallow.UsageError, match="without its links"):
        fallow.what_if(plan, kinds)


# Foreign carriers from a survey


@pytest.fixture
def sweeps(tmp_path: Path) -> Path:
    """Forty sweeps, 500 to 504 MHz in 10 kHz, floor -115 dBm, a carrier of FM at 501.33 MHz that comes and goes."""
    rng = np.random.default_rng(8)
    at_mhz = 500.0 + 0.01 * np.arange(401)
    noise_mw = 10**-11.5 * rng.gamma(10, 0.1, size=(at_mhz.size, 40))
    shape = np.exp(-(((at_mhz - 501.33) / 0.04) ** 2))[:, None]
    noise_mw += 10**-7.5 * shape * rng.gamma(4, 0.25, size=noise_mw.shape) * (np.arange(40) % 4 > 0)
    lines = ["Frequency (MHz);" + ";".join(f"Sweep {i} (dBm)" for i in range(40))]
    lines += [
        ";".join([f"{mhz:.3f}", *(f"{10 * np.log10(level):.2f}" for level in levels)])
        for mhz, levels in zip(at_mhz, noise_mw, strict=True)
    ]
    path = tmp_path / "yard.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_carrier_found_on_the_air_goes_into_the_plan(run: Run, room: Path, sweeps: Path) -> None:
    table = room / "found.csv"
    (room / "links.csv").write_text("link,equipment,area\na,pack,Yard\nb,pack,Yard\n", encoding="utf-8")
    code, out, _ = run("air", sweeps, "--rbw", "10k", "--foreign-out", table, "--area", "Yard", "--json")
    assert code == 0
    told = json.loads(out)["foreign_out"]
    (carrier,) = fallow.read_foreign(table)
    assert told == {"path": str(table), "carriers": [carrier.name], "left_out": {}}
    assert abs(carrier.frequency_hz - 501_330_000) <= 20_000
    assert carrier.name == f"found {carrier.frequency_hz / 1e6:.3f} MHz"
    assert (carrier.area, carrier.products, carrier.protect) == ("Yard", True, False)
    near = carrier.frequency_hz + carrier.spacing_hz - 25_000
    _, case = asked(
        run, room, "--foreign", table, "--why", "a", "--at", str(near), "--seconds", "0", "--keep", room / "plan.csv"
    )
    assert ("foreign", [carrier.name]) in [(one["kind"], one["carriers"]) for one in case["against"]]
    code, out, _ = run("air", sweeps, "--rbw", "10k", "--foreign-out", table)
    assert "1 narrow emitter written to" in out


def test_an_area_alone_means_nothing(run: Run, sweeps: Path) -> None:
    code, out, err = run("air", sweeps, "--area", "Yard")
    assert (code, out) == (2, "")
    assert "--foreign-out" in err
