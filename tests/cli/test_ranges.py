"""Numbers that no technician means: one sentence, no warning of a library, no memory asked for. All invented."""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest

from fallow.cli import main
from fallow.errors import InputError, UsageError
from fallow.files.tables import read_areas
from fallow.spectrum.verdict import Judging

SWEEP = "frequency_mhz,level_dbm\n" + "".join(f"{470 + k / 40:.3f},{-100 - k % 7}\n" for k in range(80))
PLAN = ["plan", "links.csv", "--equipment", "equipment.csv"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["air", "s.csv", "--limit", "5e5"], "a limit of 500000 dBm is out of range"),
        (["air", "s.csv", "--limit", "-1e9"], "a limit of -1e+09 dBm is out of range"),
        (["air", "s.csv", "--limit-above-floor", "1e300"], "a limit of 1e+300 dB above the floor is out of range"),
        (["air", "s.csv", "--link-width", "999G"], "argument --link-width: '999G' is wider than any band"),
        (["read", "s.csv", "--rate", "1000G"], "argument --rate: '1000G' is wider than any band"),
        ([*PLAN, "--spares", "1000000000"], "argument --spares: '1000000000' is more than 1000"),
        ([*PLAN, "--seed", "9" * 5000], "argument --seed: '999"),
        ([*PLAN, "--seconds", "1e300"], "argument --seconds: '1e300' seconds is more than a day"),
        (["show", "plan", "--spares", "1001"], "argument --spares: '1001' is more than 1000"),
    ],
)
def test_a_number_out_of_range_is_a_sentence(
    words: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("s.csv").write_text(SWEEP, encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert main(words) == 2
    shown = capsys.readouterr().err
    assert shown.startswith(f"fallow: {said}")
    assert len(shown) < 500


def test_a_loss_between_areas_out_of_range(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["show", "new", "night"]) == 0
    assert main(["show", "areas", "hall", "bar", "--loss", "1e9"]) == 2
    assert "fallow: the loss 1e+09 is out of range\nhint: give 300 dB at most, or --apart" in capsys.readouterr().err
    Path("areas.csv").write_text("area,other,loss_db\nhall,bar,1e9\n", encoding="utf-8")
    with pytest.raises(InputError, match="the loss '1e9' is out of range"):
        read_areas("areas.csv")


@pytest.mark.parametrize("limit_dbm", [float("nan"), float("inf"), -1e9])
def test_the_same_from_python(limit_dbm: float) -> None:
    with pytest.raises(UsageError, match="out of range"):
        Judging(limit_dbm)
