"""What the tests of the typed face share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from fallow.cli import main

Run = Callable[..., tuple[int, str, str]]
EQUIPMENT = (
    "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,power_mw,power_kind,spacing_khz,im3_khz,im3_three_khz,im5_khz\n"
    "pack,microphone,470-478,25,200,10,erp,350,100,50,\n"
)


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str]) -> Run:
    """Type a command: its exit code, and what it said on stdout and stderr."""

    def call(*words: object) -> tuple[int, str, str]:
        code = main([str(word) for word in words])
        captured = capfd.readouterr()
        return code, captured.out, captured.err

    return call


@pytest.fixture
def sweeps(tmp_path: Path) -> Path:
    """Twenty sweeps, 470 to 480 MHz in 25 kHz, floor -115 dBm, a carrier of -60 dBm at 474 MHz."""
    rng = np.random.default_rng(4)
    frequencies_mhz = 470.0 + 0.025 * np.arange(401)
    path = tmp_path / "hall.csv"
    rows = ["Frequency (MHz);" + ";".join(f"Sweep {i} (dBm)" for i in range(20)), "RBW;25 kHz"][:1]
    noise_mw = 10**-11.5 * rng.gamma(10, 0.1, size=(401, 20))
    noise_mw[160] += 10**-6
    for frequency_mhz, levels_mw in zip(frequencies_mhz, noise_mw, strict=True):
        cells = [f"{frequency_mhz:.3f}", *(f"{10 * np.log10(level):.2f}" for level in levels_mw)]
        rows.append(";".join(cells).replace(".", ","))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def tables(tmp_path: Path) -> tuple[Path, Path]:
    links, equipment = tmp_path / "links.csv", tmp_path / "equipment.csv"
    links.write_text("link,equipment\n" + "".join(f"vox {i},pack\n" for i in range(1, 5)), encoding="utf-8")
    equipment.write_text(EQUIPMENT, encoding="utf-8")
    return links, equipment
