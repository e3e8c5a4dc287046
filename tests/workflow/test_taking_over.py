"""Emitters taken over as foreign carriers: which, with which figures, and read back as they were written."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

import fallow
from fallow.errors import OutputError
from fallow.spectrum.verdict import Emitter
from fallow.workflow.taking_over import foreign_carriers, take_over


def emitter(mhz: float, khz: float, looks_like: str = "narrow carrier", *evidence: str) -> Emitter:
    low, high = round(1e6 * mhz - 500 * khz), round(1e6 * mhz + 500 * khz)
    return Emitter(low, high, round(1e6 * mhz), -61.234, looks_like, evidence, 0.25, 0.1, 0.5)


def judged(*emitters: Emitter, basis: str = "absolute") -> object:
    return SimpleNamespace(emitters=emitters, air=SimpleNamespace(basis=basis))


def test_narrow_ones_are_written_and_read_back(tmp_path: Path) -> None:
    found = (emitter(512.3, 200), emitter(518.000001, 25.001, "digital narrow-band"), emitter(600, 120, "unknown"))
    taken = take_over(judged(*found), tmp_path / "foreign.csv", "Yard")  # type: ignore[arg-type]  # what it looks at
    read = fallow.read_foreign(tmp_path / "foreign.csv")
    assert read == taken.carriers
    assert [one.extra for one in read] == [one.extra for one in taken.carriers]
    assert [one.name for one in read] == ["found 512.300 MHz", "found 518.000001 MHz", "found 600.000 MHz"]
    first = read[0]
    assert (first.frequency_hz, first.bandwidth_hz, first.area) == (512_300_000, 200_000, "Yard")
    assert first.spacing_hz == 350_000  # two analogue carriers of 200 kHz: common practice
    assert (first.products, first.protect) == (True, False)
    assert first.extra["level_dbm"] == "-61.2"
    assert first.extra["on_share"] == "0.2500"
    assert "common practice" in first.extra["spacing_from"]
    assert read[1].spacing_hz == 263_000  # 12.5005 + 100 + 150 kHz, up to the next kHz


def test_wide_ones_what_hops_and_what_may_be_the_instruments_own_are_left_out(tmp_path: Path) -> None:
    found = (
        emitter(482, 7600, "TV, DVB-T"),
        emitter(500, 400, "mobile uplink"),
        emitter(520, 900, "unknown"),
        emitter(
            530, 15, "narrow carrier", "begins where the instrument's tuning shows, every 2.4 MHz: perhaps its own"
        ),
        emitter(540, 15, "hopping"),
    )
    taken = take_over(judged(*found), tmp_path / "foreign.csv")  # type: ignore[arg-type]  # what it looks at
    assert taken.carriers == ()
    assert taken.left_out == {
        "TV, DVB-T": 1,
        "mobile uplink": 1,
        "unknown, but wide": 1,
        "perhaps the instrument's own": 1,
        "hopping": 1,
    }
    assert fallow.read_foreign(tmp_path / "foreign.csv") == ()


def test_names_differ_and_relative_levels_are_named_so() -> None:
    twins = foreign_carriers((emitter(500, 15), emitter(500, 45)), basis="relative")
    assert [one.name for one in twins] == ["found 500.000 MHz", "found 500.000 MHz (2)"]
    assert "level_db" in twins[0].extra


def test_no_folder_is_made(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="folder does not exist"):
        take_over(judged(emitter(500, 15)), tmp_path / "none" / "foreign.csv")  # type: ignore[arg-type]  # the same


def test_what_real_sweeps_give_is_sane(airdata: Path) -> None:
    """Ground truth: the README of the real sweeps lists lines of the receiver's own, which may not be taken over."""
    survey = fallow.open_sweeps(airdata / "wideband-300-3000")
    load = fallow.open_sweeps(airdata / "wideband-300-3000" / "ref_psd_arr_0.npy")
    air = fallow.judge(survey, region="de", reference=load)
    carriers = foreign_carriers(air.emitters, basis=air.basis)
    in_band = [one for one in carriers if 470e6 <= one.frequency_hz <= 694e6]
    own_hz = (480e6, 491.52e6, 500.8e6, 520e6, 529.3e6, 533.3e6, 540e6, 560e6, 576.3e6, 576.6e6, 600e6, 680e6, 690.4e6)
    assert not [one.name for one in in_band if any(abs(one.frequency_hz - hz) < 20e3 for hz in own_hz)]
    assert not [one.name for one in in_band if 614e6 <= one.frequency_hz <= 622e6]  # inside a television channel
    assert len(in_band) <= 12
    assert all(one.bandwidth_hz <= 600_000 for one in carriers)
