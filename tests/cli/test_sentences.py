"""Sentences that people meet when something is odd: each says what is odd and what to do.

Truth: the contract of the commands (docs/commands.md).
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import fallow
from fallow.errors import UsageError

Run = Callable[..., tuple[int, str, str]]


def test_a_file_of_the_air_that_is_the_reference_too(run: Run, sweeps: Path) -> None:
    for reference in (sweeps, sweeps.parent):
        code, out, err = run("air", sweeps, "--reference", reference, "--rbw", "25k")
        assert (code, out) == (2, "")
        assert err.startswith(f"fallow: {sweeps} is given as the reference too, so no sweep of the air is left\nhint: ")


def test_a_copy_of_the_air_that_is_given_as_the_reference(run: Run, sweeps: Path, tmp_path: Path) -> None:
    copy = Path(shutil.copy(sweeps, tmp_path / "load at the antenna port.csv"))
    for command in (("air", sweeps), ("compare", sweeps, sweeps)):
        code, out, err = run(*command, "--reference", copy, "--rbw", "25k")
        assert (code, out) == (2, "")
        assert err.startswith(
            f"fallow: the reference {copy} holds the same sweeps as the air {sweeps}, to the last digit"
        )
    survey = fallow.open_sweeps(sweeps)
    with pytest.raises(UsageError, match="holds the same sweeps as the air"):
        fallow.judge(survey, width_hz=1_000_000, reference=survey)


def test_a_chain_that_states_the_scale_leaves_no_word_of_relative_levels(run: Run, sweeps: Path) -> None:
    bare = sweeps.with_name("bare.csv")
    bare.write_text(sweeps.read_text(encoding="utf-8").replace(" (dBm)", " (dB)"), encoding="utf-8")
    chain = sweeps.with_name("chain.csv")
    chain.write_text("part,kind,gain_db,u_db\nbox,instrument,0,1\n", encoding="utf-8")
    words = ("air", bare, "--rbw", "25k", "--json")
    relative, absolute = json.loads(run(*words)[1]), json.loads(run(*words, "--chain", chain)[1])
    assert (relative["basis"], absolute["basis"]) == ("relative", "absolute")
    told = "the chain states the instrument's scale, so the levels count as dBm"
    assert (told in relative["notes"], told in absolute["notes"]) == (False, True)
    said = [note for note in absolute["notes"] if "relative" in note]
    assert all("relative, until a chain states the instrument's scale" in note for note in said)


def test_our_own_plan_without_frequencies_is_told(run: Run, sweeps: Path, tmp_path: Path) -> None:
    plan = tmp_path / "plan.csv"
    plan.write_text("link,equipment,frequency_mhz\na,pack,\n", encoding="utf-8")
    code, out, _ = run("air", sweeps, "--rbw", "25k", "--own", plan, "--json")
    assert code == 0
    assert f"{plan} names no frequency: nothing counts as our own" in json.loads(out)["notes"]


@pytest.mark.parametrize("command", ["plan", "audit", "audit alone"])
def test_a_stranger_called_like_a_link_is_refused(
    run: Run, tables: tuple[Path, Path], tmp_path: Path, command: str
) -> None:
    foreign, plan = tmp_path / "foreign.csv", tmp_path / "plan.csv"
    foreign.write_text("name,frequency_mhz\ntaxi,469\nvox 2,471\n", encoding="utf-8")
    plan.write_text("link,equipment,frequency_mhz\nvox 2,pack,472\n", encoding="utf-8")
    words = {
        "plan": ("plan", tables[0]),
        "audit": ("audit", plan, "--links", tables[0]),
        "audit alone": ("audit", plan),
    }[command]
    code, out, err = run(*words, "--equipment", tables[1], "--foreign", foreign, "--json")
    assert (code, out) == (2, "")
    assert "a link and a foreign carrier are both called 'vox 2'" in err


def test_a_stranger_called_like_a_link_is_refused_in_python(tables: tuple[Path, Path]) -> None:
    links, equipment = fallow.read_links(tables[0]), fallow.read_equipment(tables[1])
    strangers = [fallow.show.link.ForeignCarrier("vox 1", 471_000_000)]
    with pytest.raises(UsageError, match="both called 'vox 1'"):
        fallow.coordinate(links, equipment, foreign=strangers, seconds=0.1)


def test_a_lone_link_has_a_reason(run: Run, tables: tuple[Path, Path]) -> None:
    tables[0].write_text("link,equipment\na,pack\n", encoding="utf-8")
    words = ("--equipment", tables[1], "--spares", "0", "--seconds", "0.1", "--json")
    (link,) = json.loads(run("plan", tables[0], *words)[1])["links"]
    assert link["why"] == "no other carrier meets it"
