"""The air as a picture: spectrum with its spread, floor, limit, and the verdicts, told apart without colour.

Everything is drawn in the width of a link: a trace is the power in a window of that width around each place, so that
spectrum, floor and limit can be compared by eye, and with the verdicts below.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fallow.errors import OutputError, UsageError
from fallow.show.assignment import SPARE_PREFIX
from fallow.spectrum.columns import Columns, columns_of
from fallow.spectrum.judging import Air
from fallow.spectrum.verdict import JudgedSlice, Verdict
from fallow.units import Channel, Span, format_width

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

__all__ = ["check_picture", "draw_air"]

WIDTH_PX, HEIGHT_PX, DPI = 1200, 700, 100
LEFT, ACROSS = 0.085, 0.895  # where the lanes begin, and how wide they are: shares of the picture
COLUMNS = 1100  # more bins than this are drawn as one column each: lowest, highest and middle of what it holds
NAME_ROWS = 4
MOST_PLACES = 560  # in the strip of details: at least two pixels each

# Our own palette; contrast on the page at least 3 for marks and 4.5 for text by the WCAG formula.
PAGE, INK, DIM, RULE = "#fbfaf7", "#171b1f", "#555e66", "#868e95"
BAND, PEAK, CARRIER = "#a9c7d8", "#0f6a94", "#6b2fb3"
FILL = {Verdict.CLEAN: "#c9e4f2", Verdict.DOUBTFUL: "#f0c24e", Verdict.OCCUPIED: "#8f2413", Verdict.NOT_MEASURED: PAGE}
EDGE = {
    Verdict.CLEAN: "#2f7391",
    Verdict.DOUBTFUL: "#7d5a00",
    Verdict.OCCUPIED: "#8f2413",
    Verdict.NOT_MEASURED: "#666f77",
}
HATCH = {Verdict.CLEAN: "", Verdict.DOUBTFUL: "..", Verdict.OCCUPIED: "", Verdict.NOT_MEASURED: "////"}
TEXT = {Verdict.CLEAN: INK, Verdict.DOUBTFUL: INK, Verdict.OCCUPIED: "#ffffff", Verdict.NOT_MEASURED: INK}
HEIGHT = {Verdict.CLEAN: 0.22, Verdict.DOUBTFUL: 0.55, Verdict.NOT_MEASURED: 0.55, Verdict.OCCUPIED: 1.0}
ORDER = (Verdict.CLEAN, Verdict.DOUBTFUL, Verdict.OCCUPIED, Verdict.NOT_MEASURED)


def check_picture(path: str | PathLike[str]) -> None:
    """Refuse before the long work starts what could not be drawn after it. Raises UsageError for another ending."""
    if Path(path).suffix.lower() not in (".png", ".svg"):
        raise UsageError(f"{str(path)!r} is no picture that can be drawn", hint="name it FILE.png or FILE.svg")


def draw_air(
    air: Air,
    path: str | PathLike[str],
    *,
    channels: Sequence[Channel] = (),
    span: Span | None = None,
    title: str | None = None,
    carriers: Mapping[str, int] | None = None,
) -> None:
    """Draw spectrum, floor, limit and verdicts to ``path``, a PNG or SVG by its ending.

    ``channels``: the slices whose verdicts are written out, TV channels for example; without them only the fine strip
    is drawn. ``span``: the part that is shown, all of it without. ``carriers``: names and frequencies in hertz of a
    plan, drawn as marks. Raises UsageError for another ending, OutputError where the file can't be written; nothing
    half-written is left.
    """
    target = Path(path)
    kind = target.suffix.lower().removeprefix(".")
    if kind not in ("png", "svg"):
        raise UsageError(f"{target.name!r} is no picture that can be drawn", hint="name it FILE.png or FILE.svg")
    if not target.parent.is_dir():
        raise OutputError("its folder does not exist, so nothing was drawn", path=path, hint="make the folder first")
    view = span or Span(int(air.low_hz), int(np.ceil(air.high_hz)))
    figure = compose(air, view, channels, carriers or {}, title)
    save_whole(figure, target, kind)


def compose(
    air: Air, view: Span, channels: Sequence[Channel], carriers: Mapping[str, int], title: str | None
) -> Figure:
    """The whole picture as a matplotlib figure, for ``draw_air`` and for tests that look at its parts."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # heavy: only where something is drawn
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_PX / DPI, HEIGHT_PX / DPI), dpi=DPI, facecolor=PAGE)
    FigureCanvasAgg(figure)  # texts are measured with it
    shown = [channel for channel in channels if channel.low_hz < view.high_hz and view.low_hz < channel.high_hz]
    named = any(channel.name != f"{channel.low_hz / 1e6:g}" for channel in shown)  # the axis says the rest
    wanted = {"names": named, "verdicts": bool(shown), "detail": True, "links": bool(carriers)}
    lanes = lay_out(figure, view, [name for name, there in wanted.items() if there])
    draw_spectrum(lanes["spectrum"], air, view)
    if named:
        draw_names(lanes["names"], shown)
    if shown:
        draw_verdicts(lanes["verdicts"], air.judge_slices(shown))
    draw_detail(lanes["detail"], air, view)
    if carriers:
        draw_carriers(lanes["links"], carriers, view)
    head_and_foot(figure, air, title or "On the air")
    return figure


# --- the frame


def lay_out(figure: Figure, view: Span, wanted: Sequence[str]) -> dict[str, Axes]:
    """Lanes over one frequency axis, those ``wanted`` beside the spectrum; heights in hundredths of the picture."""
    heights = {"names": 4.0, "spectrum": 0.0, "verdicts": 5.0, "detail": 5.0, "links": 13.0}
    chosen = [name for name in heights if name in (*wanted, "spectrum")]
    top, bottom, gap = 91.5, 12.5, 1.0
    heights["spectrum"] = top - bottom - sum(heights[name] + gap for name in chosen) + gap
    lanes: dict[str, Axes] = {}
    for name in chosen:
        top -= heights[name]
        lanes[name] = lane(figure, view, (top / 100, heights[name] / 100))
        top -= gap
    lowest = list(lanes.values())[-1]
    lowest.tick_params(axis="x", bottom=True, labelbottom=True, color=RULE, labelcolor=INK, labelsize=10)
    return lanes


def lane(figure: Figure, view: Span, bottom_and_height: tuple[float, float]) -> Axes:
    """One empty lane."""
    bottom, height = bottom_and_height
    axes = figure.add_axes((LEFT, bottom, ACROSS, height), facecolor=PAGE)
    axes.set_xlim(view.low_hz / 1e6, view.high_hz / 1e6)
    axes.tick_params(axis="both", left=False, labelleft=False, bottom=False, labelbottom=False)
    for spine in axes.spines.values():
        spine.set_color(RULE)
        spine.set_linewidth(0.8)
    axes.set_ylim(0.0, 1.0)
    return axes


def gutter(axes: Axes, text: str) -> None:
    """The name of a lane, to the left of it."""
    axes.text(-0.008, 0.5, text, transform=axes.transAxes, ha="right", va="center", fontsize=10, color=DIM)


def head_and_foot(figure: Figure, air: Air, title: str) -> None:
    """What is shown, how it was judged, and what patterns and lines mean."""
    from matplotlib.patches import Rectangle

    figure.text(LEFT, 0.955, title, fontsize=15, color=INK, va="center", weight="bold")
    figure.text(LEFT + ACROSS, 0.952, conditions(air), fontsize=10, color=DIM, va="center", ha="right")
    figure.text(LEFT - 0.02, 0.1035, "MHz", fontsize=10, color=DIM, ha="right", va="center")
    x = LEFT
    for verdict in ORDER:
        figure.add_artist(Rectangle((x, 0.043), 0.028, 0.03, transform=figure.transFigure, **look(verdict)))
        figure.text(x + 0.035, 0.057, f"{verdict.mark}  {verdict.word}", fontsize=10, color=INK, va="center")
        x += 0.14
    lines = (
        "line: median of the sweeps;  band: 10 to 90 % of them;  thin: peaks beyond;  dotted: floor;  dashed: limit"
        ";  diamond: spare"
    )
    figure.text(LEFT, 0.018, lines, fontsize=9.5, color=DIM, va="center")


def conditions(air: Air) -> str:
    """How the verdicts were reached, in a line."""
    if air.basis == "absolute":
        limit = f"limit {air.limit_dbm:g} dBm".replace("-", "\N{MINUS SIGN}")
    else:
        limit = f"relative levels, limit {air.limit_above_floor_db:g} dB above the floor"
    sweeps = f"{air.sweeps} sweep{'' if air.sweeps == 1 else 's'}"
    return f"{sweeps}, {limit} in {format_width(air.link_width_hz)}, {air.confidence_pct:g} % sure"


def look(verdict: Verdict) -> dict[str, Any]:
    """Fill, edge and pattern of a verdict's box; they differ in pattern and lightness, so that grey will do."""
    return {"facecolor": FILL[verdict], "edgecolor": EDGE[verdict], "hatch": HATCH[verdict], "linewidth": 0.9}


# --- the lanes


def draw_spectrum(axes: Axes, air: Air, view: Span) -> None:
    """Median, spread, peaks, floor and limit of every series; hatched where none of them measured."""
    traces = [
        columns_of(heard, floor_db, air.link_width_hz, view, COLUMNS) for heard, floor_db in air.heard_with_floors
    ]
    for trace in traces:
        mhz = trace.middle_hz / 1e6
        axes.fill_between(mhz, trace.low, trace.high, color=BAND, linewidth=0, step="mid")
        axes.plot(mhz, trace.peak, color=PEAK, linewidth=0.7)
        axes.plot(mhz, trace.median, color=INK, linewidth=0.9)
        axes.plot(mhz, trace.floor, color=DIM, linewidth=1.1, linestyle=(0, (1, 2)))
    low, high = level_range(traces, air)
    axes.set_ylim(low, high)
    axes.set_yticks([tick for tick in axes.get_yticks() if 0.04 < (tick - low) / (high - low) < 0.96])
    axes.tick_params(axis="y", left=True, labelleft=True, color=RULE, labelcolor=INK, labelsize=10)
    axes.grid(axis="y", color=RULE, linewidth=0.4, alpha=0.5)
    unit = "dBm" if air.basis == "absolute" else "dB"
    axes.set_ylabel(f"{unit} in {format_width(shown_width_hz(air))}", fontsize=10, color=DIM)
    draw_holes(axes, traces, view)
    draw_limit(axes, traces, air)


def shown_width_hz(air: Air) -> float:
    """The width in which levels are shown: a link's, or that of the finest cells where these are wider."""
    finest = min(max(heard.rbw_hz, float(heard.axis.step_hz)) for heard, _ in air.heard_with_floors)
    return max(float(air.link_width_hz), finest)


def level_range(traces: Sequence[Columns], air: Air) -> tuple[float, float]:
    """From a little under the floor to a little over the strongest level, the limit included."""
    levels = np.concatenate([np.concatenate((trace.low, trace.high, trace.peak)) for trace in traces])
    levels = levels[np.isfinite(levels)]
    ends = [
        *([] if air.limit_dbm is None else [air.limit_dbm]),
        *(np.quantile(levels, (0.001, 1.0)) if levels.size else ()),
    ]
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    room = max(3.0, 0.06 * (high - low))
    return float(low - room), float(high + room)


def draw_limit(axes: Axes, traces: Sequence[Columns], air: Air) -> None:
    """The limit: one level, or so much above the floor of each series."""
    style: dict[str, Any] = {"color": PEAK, "linewidth": 1.1, "linestyle": (0, (6, 3))}
    if air.limit_dbm is not None:
        axes.axhline(air.limit_dbm, **style)
        return
    for trace in traces:
        axes.plot(trace.middle_hz / 1e6, trace.floor + (air.limit_above_floor_db or 0.0), **style)


def draw_holes(axes: Axes, traces: Sequence[Columns], view: Span) -> None:
    """Hatch where no series has a level."""
    measured = np.any([np.isfinite(trace.median) for trace in traces], axis=0)
    edges = np.linspace(view.low_hz, view.high_hz, measured.size + 1) / 1e6
    for first, last in runs_of(~measured):
        axes.axvspan(edges[first], edges[last], **{**look(Verdict.NOT_MEASURED), "linewidth": 0.0})


def draw_names(axes: Axes, channels: Sequence[Channel]) -> None:
    """The channels' names in their places; a name that does not fit is left out."""
    gutter(axes, "channel")
    low, high = axes.get_xlim()
    for channel in channels:
        left, right = max(low, channel.low_hz / 1e6), min(high, channel.high_hz / 1e6)
        axes.axvline(left, color=RULE, linewidth=0.6)
        fitting(axes, (left, right), (channel.name,), (INK, PAGE))


def draw_verdicts(axes: Axes, slices: Sequence[JudgedSlice]) -> None:
    """A box per slice with its word, or its mark where the word does not fit; slices too narrow to see are merged."""
    gutter(axes, "verdict")
    low, high = axes.get_xlim()
    if len(slices) > MOST_PLACES:
        draw_merged(axes, slices)
        return
    for part in slices:
        left, right = max(low, part.low_hz / 1e6), min(high, part.high_hz / 1e6)
        box(axes, (left, right), (0.0, 1.0), part.verdict)
        words = (part.verdict.word, part.verdict.mark)
        fitting(axes, (left, right), words, (TEXT[part.verdict], FILL[part.verdict]))


def draw_merged(axes: Axes, slices: Sequence[JudgedSlice]) -> None:
    """Many slices as places of two pixels, each as bad as the worst slice that touches it."""
    edges = np.linspace(*axes.get_xlim(), MOST_PLACES + 1)
    worst = np.full(MOST_PLACES, -1)
    for part in slices:
        first, last = np.searchsorted(edges, (part.low_hz / 1e6, part.high_hz / 1e6))
        place = slice(max(0, int(first) - 1), int(last))
        worst[place] = np.maximum(worst[place], int(part.verdict))
    for verdict in ORDER:
        for first, last in runs_of(worst == int(verdict)):
            box(axes, (edges[first], edges[last]), (0.0, 1.0), verdict)


def draw_detail(axes: Axes, air: Air, view: Span) -> None:
    """The verdicts of windows of a link's width, the worst of those that share a place: the taller, the worse."""
    gutter(axes, "in detail")
    lows = np.arange(view.low_hz, view.high_hz, air.link_width_hz, dtype=np.int64)
    highs = np.minimum(lows + air.link_width_hz, view.high_hz)
    firsts = np.arange(0, lows.size, -(-lows.size // MOST_PLACES))
    worst = np.maximum.reduceat(air.judge_windows(lows.astype(np.float64), highs.astype(np.float64)).verdict, firsts)
    ends = np.append(lows[firsts], view.high_hz) / 1e6
    for verdict in ORDER:
        for first, last in runs_of(worst == int(verdict)):
            box(axes, (ends[first], ends[last]), (0.0, HEIGHT[verdict]), verdict)


def draw_carriers(axes: Axes, carriers: Mapping[str, int], view: Span) -> None:
    """A mark for each carrier and its name where there is room; spares are diamonds. What was left out is said."""
    taken = [-np.inf] * NAME_ROWS
    inside = sorted((hz / 1e6, name) for name, hz in carriers.items() if view.contains(hz, hz))
    spares = [mhz for mhz, name in inside if name.startswith(SPARE_PREFIX)]
    axes.plot(spares, [0.93] * len(spares), "D", markersize=5, color=CARRIER, fillstyle="none")
    left_out = sum(not put_name(axes, mhz, name, taken) for mhz, name in inside if mhz not in spares)
    gutter(axes, f"plan\n(+{left_out}\nnames)" if left_out else "plan")


def put_name(axes: Axes, mhz: float, name: str, taken: list[float]) -> bool:
    """Mark a carrier and write its name in the first row that is free there; whether one was."""
    axes.plot([mhz, mhz], [0.86, 1.0], color=CARRIER, linewidth=1.6)
    text = axes.text(mhz, 0.0, name, fontsize=9, color=INK, ha="left", va="center")
    left, right = extent(axes, text)
    shift = min(0.0, axes.get_xlim()[1] - right)
    for row, end in enumerate(taken):
        if end < left + shift:
            taken[row] = right + shift + (right - left) / len(name)
            text.set_position((mhz + shift, 0.75 - 0.6 * row / (NAME_ROWS - 1)))
            return True
    text.remove()
    return False


# --- drawing


def runs_of(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one past the last index of every run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def box(axes: Axes, across_mhz: tuple[float, float], up: tuple[float, float], verdict: Verdict) -> None:
    """A rectangle in the look of a verdict; without an outline where it would be nothing but outline."""
    from matplotlib.patches import Rectangle

    (left, right), (low, high) = across_mhz, up
    narrow = (right - left) / (axes.get_xlim()[1] - axes.get_xlim()[0]) * WIDTH_PX * ACROSS < 6
    style = look(verdict)
    if narrow and verdict is not Verdict.NOT_MEASURED:
        style = {"facecolor": EDGE[verdict], "linewidth": 0.0}
    axes.add_patch(Rectangle((left, low), right - left, high - low, **style))


def fitting(axes: Axes, across_mhz: tuple[float, float], words: Sequence[str], colours: tuple[str, str]) -> None:
    """The first of ``words`` that fits between the two places, in their middle; none where none fits.

    ``colours``: of the text, and of what lies under it, so that no pattern runs through the letters.
    """
    left, right = across_mhz
    ink, ground = colours
    behind = {"boxstyle": "square,pad=0.12", "facecolor": ground, "edgecolor": "none"}
    for word, size in product(words, (10, 8.5)):
        text = axes.text((left + right) / 2, 0.47, word, fontsize=size, color=ink, ha="center", va="center")
        low, high = extent(axes, text)
        if left <= low and high <= right:
            text.set_bbox(behind)
            return
        text.remove()


def extent(axes: Axes, text: Text) -> tuple[float, float]:
    """From where to where a text reaches, in the lane's megahertz, with two pixels to spare."""
    bounds = text.get_window_extent()
    inverse = axes.transData.inverted()
    return float(inverse.transform((bounds.x0 - 2, 0))[0]), float(inverse.transform((bounds.x1 + 2, 0))[0])


def save_whole(figure: Figure, target: Path, kind: str) -> None:
    """Write beside the target and then move: there is the whole picture or none. Raises OutputError."""
    from matplotlib import rc_context

    beside = target.with_name(f".{target.name}.part")
    try:
        try:
            with rc_context({"svg.hashsalt": "fallow"}):
                figure.savefig(beside, format=kind, metadata={"Date": None} if kind == "svg" else None)
            beside.replace(target)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(f"the picture could not be written: {error.strerror or error}", path=target) from error
