"""Files to verdicts: which slices are listed, what a reference is, what a survey of several files says.

Truth: the contract of the commands (docs/commands.md); the sweeps are written by the tests.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import fallow
from fallow.errors import QuestionError, UsageError
from fallow.show.link import Station
from fallow.units import Span, parse_span_hz
from fallow.workflow.survey import Asked, Listing, judge_files, take_in


def write_sweep(path: Path, low_mhz: float = 470.0, high_mhz: float = 500.0, seed: int = 1) -> Path:
    """One averaged sweep of noise at -115 dBm in 25 kHz, as plain columns."""
    rng = np.random.default_rng(seed)
    n = round((high_mhz - low_mhz) / 0.025) + 1
    levels_dbm = -115.0 + 10 * np.log10(rng.gamma(10, 0.1, size=n))
    rows = [f"{low_mhz + 0.025 * i:.3f},{level:.2f}" for i, level in enumerate(levels_dbm)]
    path.write_text("MHz,dBm\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def edges(judged: fallow.workflow.survey.JudgedAir) -> list[tuple[int, int]]:
    return [(part.low_hz, part.high_hz) for part in judged.slices]


def test_windows_start_at_the_span_and_the_last_one_is_cut(tmp_path: Path) -> None:
    survey = fallow.open_sweeps(write_sweep(tmp_path / "a.csv"))
    judged = fallow.judge(survey, span=Span(471_300_000, 475_000_000), width_hz=1_500_000)
    assert edges(judged) == [
        (471_300_000, 472_800_000),
        (472_800_000, 474_300_000),
        (474_300_000, 475_000_000),
    ]


def test_without_a_span_windows_start_at_a_whole_multiple_in_the_data(tmp_path: Path) -> None:
    survey = fallow.open_sweeps(write_sweep(tmp_path / "a.csv", 470.2, 474.0))
    assert edges(fallow.judge(survey))[0] == (471_000_000, 472_000_000)
    assert edges(fallow.judge(survey, width_hz=200_000))[0] == (470_200_000, 470_400_000)


def test_a_region_lists_its_tv_channels_whole(tmp_path: Path) -> None:
    survey = fallow.open_sweeps(write_sweep(tmp_path / "a.csv", 472.0, 490.0))
    judged = fallow.judge(survey, region="de")
    assert [part.name for part in judged.slices] == ["21", "22", "23"]
    assert edges(judged)[0] == (470_000_000, 478_000_000)
    touched = fallow.judge(survey, region="de", span=Span(477_900_000, 478_100_000))
    assert [part.name for part in touched.slices] == ["21", "22"]


def test_a_reference_among_the_sweeps_is_left_out_and_said(tmp_path: Path) -> None:
    air, load = write_sweep(tmp_path / "hall.csv"), write_sweep(tmp_path / "reference.csv", seed=2)
    taken = take_in([tmp_path])
    assert [series.source for series in taken.survey.series] == [str(air)]
    assert any("reference.csv" in note and "--reference" in note for note in taken.survey.notes)
    with pytest.raises(QuestionError, match="reference"):
        take_in([load])
    judged = judge_files([tmp_path], Listing(), Asked(reference=[load]))
    assert judged.air.sweeps == 1


def test_files_of_one_grid_are_sweeps_of_one_survey(tmp_path: Path) -> None:
    for i in range(5):
        write_sweep(tmp_path / f"pass {i}.csv", seed=i)
    judged = fallow.judge(fallow.open_sweeps(tmp_path))
    assert judged.air.sweeps == 5
    assert judged.air.missed_share == pytest.approx(1 - 0.05 ** (1 / 5))


def test_an_announced_station_is_occupied_whatever_the_sweeps_say(tmp_path: Path) -> None:
    survey = fallow.open_sweeps(write_sweep(tmp_path / "a.csv"))
    judged = fallow.judge(survey, region="de", stations=[Station("22")])
    verdicts = {part.name: part.verdict.word for part in judged.slices}
    assert verdicts["22"] == "occupied"
    assert "clean" not in verdicts.values()
    with pytest.raises(UsageError, match="99"):
        fallow.judge(survey, region="de", stations=[Station("99")])
    with pytest.raises(UsageError, match="region"):
        fallow.judge(survey, stations=[Station("22")])


def test_the_lines_of_python_in_the_contract(tmp_path: Path) -> None:
    for name in ("survey", "load"):
        (tmp_path / name).mkdir()
    write_sweep(tmp_path / "survey" / "a.csv")
    write_sweep(tmp_path / "load" / "a.csv", seed=2)
    (tmp_path / "chain.csv").write_text("part,kind,gain_db,u_db\npad,pad,-10,0.2\n", encoding="utf-8")
    (tmp_path / "links.csv").write_text("link,equipment\nvox 1,pack\nvox 2,pack\n", encoding="utf-8")
    (tmp_path / "equipment.csv").write_text(
        "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,power_mw,power_kind,spacing_khz,im3_khz,im3_three_khz,im5_khz\n"
        "pack,microphone,470-478,25,200,10,erp,350,100,50,\n",
        encoding="utf-8",
    )
    sweeps = fallow.open_sweeps(tmp_path / "survey")
    air = fallow.judge(
        sweeps,
        region="de",
        limit_dbm=-85.0,
        width_hz=200_000,
        reference=fallow.open_sweeps(tmp_path / "load"),
        chain=fallow.read_chain(tmp_path / "chain.csv"),
    )
    links, equipment = fallow.read_links(tmp_path / "links.csv"), fallow.read_equipment(tmp_path / "equipment.csv")
    plan = fallow.coordinate(links, equipment, air=air, region="de", seconds=0.2)
    assert plan.conflicts == ()
    assert 470_000_000 <= plan.links["vox 1"].frequency_hz <= 478_000_000


def test_progress_rises_to_the_whole_and_changes_nothing(tmp_path: Path) -> None:
    survey = fallow.open_sweeps(write_sweep(tmp_path / "a.csv", 470.0, 530.0))
    told: list[float] = []
    watched = fallow.judge(survey, width_hz=1_000_000, progress=told.append)
    assert watched.slices == fallow.judge(survey, width_hz=1_000_000).slices
    assert len(told) > 2
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_more_windows_than_anybody_reads_are_refused(tmp_path: Path) -> None:
    """A file of 60 bytes may claim an axis from 1 MHz to 300 GHz."""
    path = tmp_path / "wide.csv"
    path.write_text("MHz,dBm\n1,-90\n100000,-91\n200000,-92\n299999,-90\n", encoding="utf-8")
    survey = fallow.open_sweeps(path)
    with pytest.raises(UsageError, match=r"399996 windows of 1 MHz are more"):
        fallow.judge(survey)
    with pytest.raises(UsageError, match="windows of a link's width, 12 Hz"):
        fallow.judge(survey, span=Span(1_000_000, 9_000_000), link_width_hz=12)
    assert len(fallow.judge(survey, span=Span(1_000_000, 9_000_000)).slices) == 8


def test_what_of_the_data_is_not_listed_is_said(tmp_path: Path) -> None:
    """Windows begin at whole multiples of their width: what lies before the first one is named, and how to list it."""
    survey = fallow.open_sweeps(write_sweep(tmp_path / "a.csv", 470.2, 474.0))
    (told,) = fallow.judge(survey).unlisted
    assert told.startswith("not listed of the data: 470.1875 to 471.000 MHz; --span 470.1875M..474.0125M ")
    assert fallow.judge(survey, span=parse_span_hz("470.1875M..474.0125M")).unlisted == ()
    assert fallow.judge(survey, width_hz=200_000).unlisted == ()  # half a cell below 470.2 MHz is nothing to tell
    (told,) = fallow.judge(fallow.open_sweeps(write_sweep(tmp_path / "b.csv", 460.0, 490.0)), region="de").unlisted
    assert told.startswith("not listed of the data: 459.9875 to 470.000 MHz; --width 1M ")


def test_a_span_without_data_is_told(tmp_path: Path) -> None:
    for name, low_mhz, high_mhz in (("a.csv", 470.0, 474.0), ("b.csv", 480.0, 484.0)):
        write_sweep(tmp_path / name, low_mhz, high_mhz)
    survey = fallow.open_sweeps(tmp_path)
    (told,) = fallow.judge(survey, span=Span(472_000_000, 490_000_000)).unlisted
    assert told == "no data lies in 474.0125 to 479.9875 MHz and 484.0125 to 490.000 MHz of the span"
    (told,) = fallow.judge(survey, span=Span(500_000_000, 510_000_000)).unlisted
    assert told.startswith("no data lies in the span, 500.000 to 510.000 MHz: the sweeps reach from 469.9875 ")
    assert fallow.judge(survey, span=Span(470_000_000, 474_000_000)).unlisted == ()


def test_a_plan_says_nothing_of_what_air_would_not_list(tmp_path: Path) -> None:
    path = write_sweep(tmp_path / "a.csv", 460.2, 490.0)
    judged = judge_files([path], Listing("de"), Asked())
    assert judged.unlisted
    assert not any("not listed" in note for note in judged.notes)
