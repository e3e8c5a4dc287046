"""Pictures: what is drawn, that no text lies on another, and that a picture is whole or not there."""

from __future__ import annotations

import itertools
import struct
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from matplotlib.colors import to_hex

from fallow.errors import OutputError, UsageError
from fallow.pictures import FILL, HATCH, compose, draw_air, runs_of
from fallow.spectrum.axis import Axis
from fallow.spectrum.judging import Air, judge
from fallow.spectrum.sweep import Detector, LevelUnit, Series, Survey
from fallow.spectrum.verdict import Verdict
from fallow.units import Channel, Span

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CHANNELS = tuple(
    Channel(str(n), 470_000_000 + 8_000_000 * (n - 21), 478_000_000 + 8_000_000 * (n - 21)) for n in range(21, 29)
)
CARRIERS = {f"voice {k}": 487_000_000 + 350_000 * k for k in range(8)} | {"ears": 519_000_000, "far away": 900_000_000}


@pytest.fixture(scope="module", name="air")
def invented_air() -> Air:
    """Noise, a block in channel 24, a carrier that comes and goes, and nothing measured from 510 to 518 MHz."""
    rng = np.random.default_rng(7)
    centres = np.concatenate([np.arange(470.05, 510, 0.1), np.arange(518.05, 534, 0.1)])
    power = np.full((12, centres.size), 10**-10.4)
    power[:, np.abs(centres - 498) < 3.8] += 10**-7.5
    power[3:5, np.abs(centres - 526.05) < 0.11] += 10**-7.0
    levels = 10 * np.log10(power * rng.gamma(10, 0.1, power.shape))
    axis = Axis.irregular(np.round(centres * 1e6).astype(np.int64))
    series = Series(axis, levels.astype(np.float32), LevelUnit.DBM, rbw_hz=100e3, detector=Detector.AVERAGE)
    return judge(Survey((series,)), raster=CHANNELS)


@pytest.fixture(scope="module", name="figure")
def whole_picture(air: Air) -> Figure:
    """The picture with everything that it can hold."""
    return compose(air, Span(470_000_000, 534_000_000), CHANNELS, CARRIERS, "An invented hall")


def texts(figure: Figure) -> list[str]:
    """Every text that is drawn, but for the numbers of the axes."""
    found = [*figure.texts, *(text for axes in figure.axes for text in axes.texts)]
    return [text.get_text() for text in found]


def test_every_verdict_is_told_without_colour(air: Air, figure: Figure) -> None:
    said = texts(figure)
    for part in air.judge_slices(CHANNELS):
        assert part.verdict.word in said or part.verdict.mark in said
    patterns = {patch.get_hatch() for axes in figure.axes for patch in axes.patches}
    assert {"////"} <= patterns


def test_the_looks_of_the_verdicts_differ_in_grey_or_pattern() -> None:
    def lightness(colour: str) -> float:
        red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
        return 0.2126 * red**2.2 + 0.7152 * green**2.2 + 0.0722 * blue**2.2  # Rec. ITU-R BT.709 luma weights

    for one, other in itertools.combinations(Verdict, 2):
        assert HATCH[one] != HATCH[other] or abs(lightness(FILL[one]) - lightness(FILL[other])) > 0.3


def test_channels_and_carriers_are_named(figure: Figure) -> None:
    said = texts(figure)
    assert [name for name in said if name in {channel.name for channel in CHANNELS}] == [c.name for c in CHANNELS]
    assert {"voice 0", "ears", "An invented hall"} <= set(said)
    assert "far away" not in said


def test_no_text_lies_on_another(figure: Figure) -> None:
    figure.canvas.draw()
    ticks = [text for axes in figure.axes for text in (*axes.get_xticklabels(), *axes.get_yticklabels())]
    drawn = [*figure.texts, *(text for axes in figure.axes for text in axes.texts), *ticks]
    boxes = [(text.get_text(), text.get_window_extent()) for text in drawn if text.get_text() and text.get_visible()]
    shown = [(said, box) for said, box in boxes if box.width > 1]
    for (one, first), (other, second) in itertools.combinations(shown, 2):
        apart = first.x1 <= second.x0 or second.x1 <= first.x0 or first.y1 <= second.y0 or second.y1 <= first.y0
        assert apart, f"{one!r} lies on {other!r}"


def test_no_text_leaves_the_picture(figure: Figure) -> None:
    figure.canvas.draw()
    for text in [*figure.texts, *(text for axes in figure.axes for text in axes.texts)]:
        box = text.get_window_extent()
        assert box.x0 >= 0, text.get_text()
        assert box.x1 <= 1200, text.get_text()


def test_what_was_not_measured_has_no_line(figure: Figure) -> None:
    spectrum = next(axes for axes in figure.axes if axes.get_ylabel())
    median = max(spectrum.lines, key=lambda line: np.count_nonzero(np.isfinite(line.get_ydata())))
    x, y = np.asarray(median.get_xdata(), float), np.asarray(median.get_ydata(), float)
    inside = (x > 510.2) & (x < 517.8)
    assert not np.isfinite(y[inside]).any()
    assert np.isfinite(y[(x > 471) & (x < 509)]).all()


def test_levels_are_in_the_width_of_a_link(figure: Figure) -> None:
    # 3 dB more in 200 kHz than in each of two 100 kHz cells: power adds up (channel power, Rec. ITU-R SM.1753-2)
    spectrum = next(axes for axes in figure.axes if axes.get_ylabel())
    assert spectrum.get_ylabel() == "dBm in 200 kHz"
    x, y = (np.asarray(values, float) for values in (spectrum.lines[1].get_xdata(), spectrum.lines[1].get_ydata()))
    assert np.nanmedian(y[(x > 480) & (x < 490)]) == pytest.approx(-104 + 3, abs=0.5)


def test_a_png_is_1200_by_700(air: Air, tmp_path: Path) -> None:
    draw_air(air, tmp_path / "air.png", channels=CHANNELS)
    head = (tmp_path / "air.png").read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", head[16:24]) == (1200, 700)


def test_an_svg_is_well_formed_and_the_same_twice(air: Air, tmp_path: Path) -> None:
    for name in ("one.svg", "two.svg"):
        draw_air(air, tmp_path / name, channels=CHANNELS, carriers=CARRIERS)
    assert ElementTree.parse(tmp_path / "one.svg").getroot().tag.endswith("svg")
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


def test_without_channels_and_carriers_the_detail_is_drawn(air: Air) -> None:
    figure = compose(air, Span(470_000_000, 534_000_000), (), {}, None)
    assert "in detail" in texts(figure)
    assert "verdict" not in texts(figure)


def test_windows_need_no_names_and_many_are_merged(air: Air) -> None:
    windows = tuple(Channel(f"{k / 10:g}", k * 100_000, (k + 1) * 100_000) for k in range(4_700, 5_340))
    figure = compose(air, Span(470_000_000, 534_000_000), windows, {}, None)
    said = texts(figure)
    assert "channel" not in said
    assert "verdict" in said
    lane = figure.axes[1]
    assert 3 < len(lane.patches) < 100
    occupied = [patch.get_bbox() for patch in lane.patches if to_hex(patch.get_facecolor()) == FILL[Verdict.OCCUPIED]]
    assert any(box.x0 < 496 and box.x1 > 500 for box in occupied)


def test_wide_cells_are_labelled_with_their_own_width() -> None:
    axis = Axis.regular(470_500_000, 1_000_000, 30)
    levels = np.full((3, 30), -95, np.float32) + np.random.default_rng(1).normal(0, 0.5, (3, 30)).astype(np.float32)
    wide = judge(Survey((Series(axis, levels, LevelUnit.DBM, rbw_hz=1e6, detector=Detector.AVERAGE),)))
    figure = compose(wide, Span(470_000_000, 500_000_000), (), {}, None)
    assert [axes.get_ylabel() for axes in figure.axes if axes.get_ylabel()] == ["dBm in 1 MHz"]


def test_a_span_beyond_the_data_is_drawn_as_not_measured(air: Air, tmp_path: Path) -> None:
    draw_air(air, tmp_path / "beyond.png", span=Span(900_000_000, 910_000_000))
    assert (tmp_path / "beyond.png").stat().st_size > 1000


@pytest.mark.parametrize("name", ["air.jpg", "air", "air.png.txt"])
def test_another_ending_is_refused(air: Air, tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError) as caught:
        draw_air(air, tmp_path / name)
    assert str(caught.value) == f"{name!r} is no picture that can be drawn"
    assert caught.value.hint == "name it FILE.png or FILE.svg"
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_a_sentence(air: Air, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="its folder does not exist, so nothing was drawn"):
        draw_air(air, tmp_path / "no" / "air.png")
    assert list(tmp_path.iterdir()) == []


def test_a_target_that_is_a_folder_leaves_nothing_behind(air: Air, tmp_path: Path) -> None:
    (tmp_path / "air.png").mkdir()
    with pytest.raises(OutputError, match="the picture could not be written"):
        draw_air(air, tmp_path / "air.png")
    assert [path.name for path in tmp_path.iterdir()] == ["air.png"]


def test_runs_of_flags() -> None:
    assert runs_of(np.array([True, False, True, True])) == [(0, 1), (2, 4)]
    assert runs_of(np.zeros(3, dtype=bool)) == []
