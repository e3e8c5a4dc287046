"""Options that can't mean anything are refused in one sentence; those that can are taken as people write them.

Truth: the contract of the commands (docs/commands.md).
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from fallow.cli.arguments import build_parser

Run = Callable[..., tuple[int, str, str]]
ABOUT_SWEEPS = {
    "--limit": "-85",
    "--limit-above-floor": "6",
    "--link-width": "200k",
    "--confidence": "95",
    "--reference": "load.csv",
    "--chain": "chain.csv",
    "--own": "plan.csv",
    "--unit": "MHz",
    "--level-unit": "dBm",
    "--decimal": ",",
    "--delimiter": ";",
    "--rbw": "25k",
    "--detector": "peak",
    "--zone": "UTC",
    "--instruments": "files",
    "--samples": "u8",
    "--rate": "2.4M",
    "--centre": "500M",
}


@pytest.mark.parametrize("command", ["plan", "audit"])
@pytest.mark.parametrize("option", ABOUT_SWEEPS)
def test_options_about_sweeps_need_sweeps(
    run: Run, tables: tuple[Path, Path], tmp_path: Path, command: str, option: str
) -> None:
    (tmp_path / "plan.csv").write_text("link,equipment,frequency_mhz\na,pack,470.5\n", encoding="utf-8")
    table = tables[0] if command == "plan" else tmp_path / "plan.csv"
    words = (command, table, "--equipment", tables[1])
    code, out, err = run(*words, option, ABOUT_SWEEPS[option])  # even where the value is the usual one
    assert (code, out) == (2, "")
    assert err.startswith(f"fallow: {option} says how sweeps are judged")
    assert "--air" in err.splitlines()[1]
    assert run("audit", tmp_path / "plan.csv", "--equipment", tables[1])[0] == 0  # and without them nothing is refused


def test_two_of_them_are_one_sentence(run: Run, tables: tuple[Path, Path]) -> None:
    code, _, err = run("plan", tables[0], "--equipment", tables[1], "--limit", "-85", "--rbw", "25k")
    assert code == 2
    assert err.startswith("fallow: --limit and --rbw say how sweeps are judged")
    assert err.count("fallow: ") == 1


def test_no_option_about_sweeps_is_forgotten() -> None:
    """Whatever ``read`` and ``air`` ask about sweeps besides what is listed or drawn stands in the table above."""
    commands = next(one for one in build_parser("0")._actions if isinstance(one, argparse._SubParsersAction)).choices
    typed = {command: set(parser._option_string_actions) for command, parser in commands.items()}
    assert set(ABOUT_SWEEPS) == (typed["plan"] & typed["air"]) - {"-h", "--help", "--json", "--region", "--stations"}


def test_areas_that_look_alike_are_told_by_plan_and_audit(run: Run, tables: tuple[Path, Path], tmp_path: Path) -> None:
    tables[0].write_text("link,equipment,area\na,pack,Hall\nb,pack,hall\n", encoding="utf-8")
    out_file = tmp_path / "plan.csv"
    words = ("--equipment", tables[1], "--json")
    told = "'Hall' and 'hall' are taken as two areas: if one is meant, spell it alike"
    code, out, _ = run("plan", tables[0], *words, "--seconds", "0.1", "--out", out_file)
    assert (code, json.loads(out)["notes"].count(told)) == (0, 1)
    code, out, _ = run("audit", out_file, *words)
    assert (code, json.loads(out)["notes"].count(told)) == (0, 1)


@pytest.mark.parametrize("sign", ["-", "\N{MINUS SIGN}"])
@pytest.mark.parametrize("between", [" ", "="])
@pytest.mark.parametrize(("option", "value"), [("--limit", "85"), ("--limit", "8.5e1"), ("--zone", "05:00")])
def test_values_with_a_minus_sign_are_values(
    run: Run, sweeps: Path, sign: str, between: str, option: str, value: str
) -> None:
    words = f"{option}{between}{sign}{value}".split(" ")
    code, out, _ = run("air", sweeps, "--rbw", "25k", *words, "--json")
    assert (code, json.loads(out)["limit_dbm"]) == (0, -85.0 if option == "--limit" else -90.0)


def test_other_values_with_a_minus_sign_get_advice(run: Run) -> None:
    code, out, err = run("air", "hall.csv", "--span", "-5M..5M")
    assert (code, out) == (2, "")
    assert err == (
        "fallow: no value follows --span\n"
        "hint: a value that begins with a minus sign is written behind an equals sign: --span=-1\n"
    )
    assert "is not a frequency" in run("air", "hall.csv", "--span=-5M..5M")[2]


@pytest.mark.parametrize(("typed", "meant"), [("470..608", "470M..608M"), ("0.47..0.6", "0.47M..0.6M")])
def test_forgotten_megahertz_are_noticed(run: Run, typed: str, meant: str) -> None:
    """The lowest allocation begins at 8.3 kHz (ITU Radio Regulations, Article 5)."""
    code, out, err = run("air", "hall.csv", "--span", typed)
    assert (code, out) == (2, "")
    assert f"a number without a unit is in hertz; if megahertz are meant, write {meant}" in err
