"""Carriers that stand so close together that they pass for one broad rise: valleys part them again.

An opening takes everything for broad that fills most of a megahertz or so, and so do microphones a few hundred
kilohertz apart. What is broad by itself (noise of a wall of lights, a digital transmission) has no such valleys all
along, neither in the mean over the sweeps nor in the highest of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.found.standing_out import (
    BRIDGE_HZ,
    FALSE_EMITTERS,
    LEAST_ABOVE_FLOOR_DB,
    NARROW_HZ,
    Stretch,
    runs_of,
)
from fallow.spectrum.heard import Heard
from fallow.spectrum.noise.running import running_quantile

__all__ = ["set_apart"]

FEWEST_CARRIERS = 3
VALLEY_DB = 12.0  # below the lower top of its two neighbours: the middle valley. Common practice
SHALLOW_DB = 6.0  # the shallowest one
PEAKED_DB, PEAKED_SHARE = 6.0, 0.62  # echoes notch a broad signal too, but two thirds of it stay within 6 dB of the top
BETWEEN_VALLEYS_HZ = 1.5 * NARROW_HZ  # a carrier on a block of its own has its valleys farther apart
VALLEY_SIGMAS = 5.0  # of what noise leaves of a valley's level
SMOOTH_HZ = 75e3  # the levels are smoothed over so much: less than the valley between carriers 300 kHz apart
CLEAR_DB = 15.0  # of a carrier on a rise above the valleys beside it; echoes make none so deep. Common practice
CROWD_DB = 6.0  # from the middle of the levels near by; echoes and fading leave half of them nearer. Common practice
CROWD_HZ = 1.2e6  # near by
SKIRT_DB = 20.0  # a carrier reaches down to here below its top. Common practice


def set_apart(
    heard: Heard, floor_db: NDArray[np.float64], stretches: Sequence[Stretch], lines: NDArray[np.bool_]
) -> list[Stretch]:
    """The stretches, rising in frequency, with each rise that deep valleys cut into narrow pieces replaced by these.

    A rise stays whole where any piece would be wider than ``NARROW_HZ``, or fewer than ``FEWEST_CARRIERS`` come out,
    and where it comes and goes as a whole; a crowd is parted in any case. ``floor_db``: of each bin;
    ``lines``: bins that hold the instrument's own.
    """
    parted: list[Stretch] = []
    narrow = [one for one in stretches if not one.broad]
    for rise in (one for one in stretches if one.broad):
        pieces = [] if rise.lift_db else _pieces(heard, rise) or _crowd(heard, floor_db, rise)
        narrow = [one for one in narrow if not any(_meet(one, piece) for piece in pieces)]
        parted += pieces or [
            rise,
            *(top for top in _tops(heard, rise, lines) if not any(_meet(one, top) for one in narrow)),
        ]
    return sorted(parted + narrow, key=lambda one: one.first)


def _meet(one: Stretch, other: Stretch) -> bool:
    return one.first < other.last and other.first < one.last


def _pieces(heard: Heard, rise: Stretch) -> list[Stretch]:
    """The carriers that make up a rise; none where it is broad by itself."""
    from scipy import signal  # heavy, so only where it is used

    span, step_hz = slice(rise.first, rise.last), float(heard.axis.step_hz)
    cells = _smoothing_cells(step_hz)
    mean_db, highest_db = (_smoothed(level[span], cells) for level in (heard.mean_db, heard.highest_db))
    readings = max(1.0, heard.looks * cells * min(1.0, step_hz / heard.alike_hz))
    least_db = max(SHALLOW_DB, VALLEY_SIGMAS * heard.noise.sd_db() / math.sqrt(readings))
    padded = np.pad(mean_db, 1, constant_values=float(mean_db.min()) - least_db)
    tops = signal.find_peaks(padded, prominence=least_db)[0] - 1
    if tops.size < FEWEST_CARRIERS or not (_deep(mean_db, tops, least_db) and _deep(highest_db, tops, least_db)):
        return []
    valleys = [int(a + np.argmin(mean_db[a:b])) for a, b in pairwise(tops)]
    cuts = [0, *valleys, mean_db.size]
    spans = [_carrier(mean_db, int(top), (a, b)) for top, a, b in zip(tops, cuts[:-1], cuts[1:], strict=True)]
    widest_hz = max(last - first for first, last in spans) * step_hz
    if (
        widest_hz > NARROW_HZ
        or not _peaked(mean_db, tops, cuts)
        or float(np.diff(cuts).max()) * step_hz > BETWEEN_VALLEYS_HZ
    ):
        return []
    return [Stretch(rise.first + first, rise.first + last, False) for first, last in spans]


def _crowd(heard: Heard, floor_db: NDArray[np.float64], rise: Stretch) -> list[Stretch]:
    """What stands out by itself where a rise scatters as no broad signal does; else none."""
    span = slice(rise.first, rise.last)
    above_db = (heard.mean_db - floor_db)[span]
    window = max(1, round(CROWD_HZ / float(heard.axis.step_hz)))
    away = np.abs(above_db - running_quantile(above_db, window, 0.5, hop=1))
    if float(np.nanmedian(away)) <= max(CROWD_DB, heard.noise.sd_db()):
        return []
    out = np.zeros(heard.axis.n, dtype=bool)
    by_noise_db = float(heard.upper_tail.exceeded_db(FALSE_EMITTERS / heard.axis.n, heard.looks))
    out[span] = np.nan_to_num(above_db, nan=-np.inf) > max(LEAST_ABOVE_FLOOR_DB, by_noise_db)
    runs = runs_of(heard, out, max(BRIDGE_HZ, 1.5 * heard.rbw_hz, 1.5 * float(heard.axis.step_hz)))
    return [Stretch(first, last, float(heard.steps_hz[first:last].sum()) > NARROW_HZ) for first, last in runs]


def _tops(heard: Heard, rise: Stretch, lines: NDArray[np.bool_]) -> list[Stretch]:
    """Narrow carriers that stand on a rise, far above the valleys to both sides; own lines are none."""
    from scipy import signal  # heavy, so only where it is used

    step_hz = float(heard.axis.step_hz)
    cells = _smoothing_cells(step_hz)
    mean_db = _smoothed(heard.mean_db[rise.first : rise.last], cells)
    tops, about = signal.find_peaks(mean_db, prominence=CLEAR_DB, width=0, rel_height=0.5)
    edges = zip(np.floor(about["left_ips"]).astype(int), np.ceil(about["right_ips"]).astype(int) + 1, strict=True)
    spans = [(int(first), int(last)) for first, last in edges if (last - first) * step_hz <= NARROW_HZ]
    found = [Stretch(rise.first + first, rise.first + last, False) for first, last in spans] if tops.size else []
    return [one for one in found if not lines[one.first : one.last].any()]


def _smoothing_cells(step_hz: float) -> int:
    """Over how many bins levels are smoothed, an odd number."""
    return max(1, round(SMOOTH_HZ / step_hz) // 2 * 2 + 1) if step_hz < SMOOTH_HZ / 2 else 1


def _smoothed(level_db: NDArray[np.float64], cells: int) -> NDArray[np.float64]:
    """Mean power over ``cells`` bins around each, dB; lines are drawn through what was not measured."""
    known = np.flatnonzero(np.isfinite(level_db))
    filled = np.interp(np.arange(level_db.size), known, level_db[known])
    power = np.pad(10.0 ** (filled / 10.0), cells // 2, mode="edge")
    return np.asarray(10.0 * np.log10(np.convolve(power, np.full(cells, 1.0 / cells), mode="valid")))


def _deep(level_db: NDArray[np.float64], tops: NDArray[np.int64], least_db: float) -> bool:
    """Whether the level falls between neighbouring tops: by ``least_db`` below both everywhere, by more mostly."""
    depths = [min(level_db[a], level_db[b]) - level_db[a : b + 1].min() for a, b in pairwise(tops)]
    return min(depths) >= least_db and float(np.median(depths)) >= max(VALLEY_DB, least_db)


def _peaked(level_db: NDArray[np.float64], tops: NDArray[np.int64], cuts: Sequence[int]) -> bool:
    """Whether little of what lies between two valleys is nearly as high as its top."""
    inner = zip(tops[1:-1], cuts[1:-2], cuts[2:-1], strict=True)
    shares = [float((level_db[a:b] > level_db[top] - PEAKED_DB).mean()) for top, a, b in inner]
    return float(np.median(shares)) <= PEAKED_SHARE


def _carrier(level_db: NDArray[np.float64], top: int, cut: tuple[int, int]) -> tuple[int, int]:
    """How far a carrier reaches to both sides of its top, within its valleys: first and last (exclusive) index."""
    first, last = cut
    valley_db = max(level_db[first:top].min(initial=np.inf), level_db[top:last].min())
    valley_db = valley_db if math.isfinite(valley_db) else float(level_db[first:last].min())
    below = level_db < max(level_db[top] - SKIRT_DB, (level_db[top] + valley_db) / 2)
    left, right = np.flatnonzero(below[first:top]), np.flatnonzero(below[top:last])
    return (first + int(left[-1]) + 1 if left.size else first), (top + int(right[0]) if right.size else last)
