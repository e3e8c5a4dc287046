"""Recordings on the command line: asked about, told about, judged. The samples are invented."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from fallow.cli import main


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Half a second at 2 MS/s of noise, with a steady carrier 300 kHz above the centre, as unsigned bytes."""
    rng = np.random.default_rng(5)
    turns = 0.15 * np.arange(1_000_000)
    values = rng.normal(0, 0.05, (turns.size, 2)) + 0.3 * np.stack(
        [np.cos(2 * np.pi * turns), np.sin(2 * np.pi * turns)], 1
    )
    path = tmp_path / "hall.cu8"
    path.write_bytes(np.clip(np.rint(values * 127.5 + 127.5), 0, 255).astype(np.uint8).tobytes())
    return path


TOLD = ("--samples", "u8", "--rate", "2M", "--centre", "600M")


def test_what_is_open_is_exit_code_2_and_stands_in_needs(recording: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert main(["read", str(recording), "--json"]) == 2
    out = capfd.readouterr().out
    (found,) = json.loads(out)["files"]
    assert found["needs"] == [
        "the type, rate and centre frequency of the samples are not stated: say --samples, --rate and --centre"
    ]
    assert (found["low_hz"], found["high_hz"], found["sweeps"], found["layout"]) == (None, None, 0, "raw samples")
    assert main(["air", str(recording), "--json"]) == 2
    assert capfd.readouterr().out == ""


def test_told_it_is_read(recording: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert main(["read", str(recording), *TOLD, "--json"]) == 0
    (found,) = json.loads(capfd.readouterr().out)["files"]
    assert (found["detector"], found["rbw_hz"], found["level_unit"], found["needs"]) == ("average", 2930, "dB", [])
    assert (found["low_hz"], found["high_hz"], found["points"]) == (599_000_000, 600_998_047, 1024)


def test_a_carrier_is_found_and_what_was_not_measured_stays_so(
    recording: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    assert main(["air", str(recording), *TOLD, "--width", "200k", "--json"]) == 0
    found = json.loads(capfd.readouterr().out)
    verdicts = {part["low_hz"]: part["verdict"] for part in found["slices"]}
    assert found["basis"] == "relative"
    assert [low for low, verdict in verdicts.items() if verdict == "occupied"] == [600_200_000]
    assert verdicts[599_000_000] == verdicts[600_800_000] == "not measured"
    assert verdicts[599_800_000] == verdicts[600_000_000] == "doubtful"  # the hole at the centre
    assert any(emitter["centre_hz"] == pytest.approx(600_300_000, abs=3000) for emitter in found["emitters"])


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("--samples", "i12"), "'i12' is no type of samples"),
        (("--rate", "0"), "must be more than nothing"),
        (("--centre", "x"), "is not a frequency"),
    ],
)
def test_tellings_that_can_t_be(
    recording: Path, words: tuple[str, ...], what: str, capfd: pytest.CaptureFixture[str]
) -> None:
    assert main(["read", str(recording), *words]) == 2
    assert what in capfd.readouterr().err
