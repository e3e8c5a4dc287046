"""What a file's levels are: decibels of some kind or linear power; and which single readings no receiver can have
made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.axis import Axis
from fallow.spectrum.sweep import LevelUnit
from fallow.units import format_mhz

__all__ = [
    "LevelScale",
    "believable_levels",
    "can_be_levels",
    "fits_scale",
    "is_ramp",
    "looks_linear",
    "scale_concluded",
    "scale_named",
    "series_levels",
]

LOWEST_DB, HIGHEST_DB = -200.0, 170.0  # what decibel scales of receivers span. Source: common practice
DBM_OF_DBUV = -106.9897  # 0 dBµV into 50 ohm in dBm: 10·log10((1e-6)²/50/1e-3). Source: definition
KTB_DBM_PER_HZ = -173.975  # k·290 K. Source: CODATA 2018 k, exact
_LINEAR_RANGE = 1e6  # all positive over more than this can't be decibels
_LINEAR_SKEW = 1e-3
_LINEAR_SMALL = 0.1  # decibels scatter by more than a tenth. Source: common practice
_WRAPPED_MARGIN_DB = 30.0  # common practice; see _lowest_possible_db
_AT_ONCE = 2**21  # levels that are looked at together
_KTB_MARGIN_DB = 10.0  # common practice: reading errors of a pocket sweeper and its antenna


@dataclass(frozen=True)
class LevelScale:
    """How a file's numbers become levels: ``told`` names the scale for people, ``unit`` is what the series then holds.

    ``offset_db`` is added to decibels; ``linear``: 10·log10 is taken first, twice that for ``amplitude``.
    ``density``: per hertz, so the width of a bin is still to be added. ``by``: who stated it, empty when concluded.
    """

    told: str
    unit: LevelUnit
    offset_db: float = 0.0
    linear: bool = False
    amplitude: bool = False
    density: bool = False
    note: str = ""
    by: str = ""

    def levels_db(self, values: NDArray[np.floating]) -> NDArray[np.float32]:
        """Levels [dBm or dB] of printed values of any shape; what has no level (zero power) becomes NaN.

        ``values`` is given away: where it is a float32 array of its own it becomes the result, so that big logs fit
        into memory.
        """
        if self.linear:
            with np.errstate(divide="ignore", invalid="ignore"):
                values = (20.0 if self.amplitude else 10.0) * np.log10(values)
        with np.errstate(over="ignore"):  # such numbers are no levels and are rejected later
            levels = np.require(values, dtype=np.float32, requirements=["C", "W"])
        if self.offset_db:
            levels += np.float32(self.offset_db)
        flat = levels.reshape(-1)  # contiguous, so it is the same numbers
        for begin in range(0, flat.size, _AT_ONCE):
            piece = flat[begin : begin + _AT_ONCE]
            piece[np.isinf(piece)] = np.nan
        return levels


_RELATIVE = "relative, until a chain states the instrument's scale"
_NO_REFERENCE = f"levels are decibels without a stated reference: {_RELATIVE} (--level-unit says otherwise)"
_SCALES = {
    "dbm": LevelScale("dBm", LevelUnit.DBM),
    "dbuv": LevelScale(
        "dBuV", LevelUnit.DBM, DBM_OF_DBUV, note="levels in dBµV were turned into dBm at 50 ohm (-106.99 dB)"
    ),
    "dbuv/m": LevelScale(
        "dBuV/m",
        LevelUnit.DB,
        note=f"levels are field strength (dBµV/m), whose dBm depend on the antenna: {_RELATIVE}; "
        "the antenna's gain at each frequency is needed to compare them over frequency",
    ),
    "dbmv": LevelScale(
        "dBmV", LevelUnit.DBM, DBM_OF_DBUV + 60, note="levels in dBmV were turned into dBm at 50 ohm (-46.99 dB)"
    ),
    "dbv": LevelScale(
        "dBV", LevelUnit.DBM, DBM_OF_DBUV + 120, note="levels in dBV were turned into dBm at 50 ohm (+13.01 dB)"
    ),
    "dbw": LevelScale("dBW", LevelUnit.DBM, 30.0, note="levels in dBW were turned into dBm (+30 dB)"),
    "dbm/hz": LevelScale(
        "dBm/Hz", LevelUnit.DBM, density=True, note="densities in dBm/Hz were multiplied by the bandwidth of a bin"
    ),
    "mw": LevelScale("mW", LevelUnit.DBM, linear=True, note="levels in milliwatt were turned into dBm"),
    "w": LevelScale("W", LevelUnit.DBM, 30.0, linear=True, note="levels in watt were turned into dBm"),
    "uv": LevelScale(
        "µV", LevelUnit.DBM, DBM_OF_DBUV, True, True, note="levels in microvolt were turned into dBm at 50 ohm"
    ),
    "mv": LevelScale(
        "mV", LevelUnit.DBM, DBM_OF_DBUV + 60, True, True, note="levels in millivolt were turned into dBm at 50 ohm"
    ),
    "linear": LevelScale(
        "linear", LevelUnit.DB, linear=True, note=f"levels are linear power: read as 10·log10, {_RELATIVE}"
    ),
    "db": LevelScale("dB", LevelUnit.DB, note=_NO_REFERENCE),
}


def scale_named(name: str, by: str) -> LevelScale:
    """The scale with that name (as ``wording.level_unit_named`` gives it, or as the user writes it), stated by
    ``by``."""
    key = name.lower().replace("µ", "u")
    key = "linear" if key in ("lin", "v2/hz") else key
    known = _SCALES.get(key, replace(_SCALES["db"], note=f"levels in {name} have no absolute reference: {_RELATIVE}"))
    return replace(known, by=by)


def scale_concluded(values: Sequence[float] | NDArray[np.floating]) -> LevelScale:
    """The scale of levels whose file names none: linear where they can't be decibels, else decibels without
    reference."""
    if looks_linear(values):
        note = f"levels can't be decibels: read as linear power (10·log10), {_RELATIVE}"
        return replace(_SCALES["linear"], note=note)
    return _SCALES["db"]


def looks_linear(values: Sequence[float] | NDArray[np.floating]) -> bool:
    """Whether numbers can't be decibels but can be linear power: none negative, and too large, too small or too far
    apart.

    Too far apart: over more than 10^6, or half of them below a thousandth of the largest. Source: design, common
    practice.
    """
    numbers = np.asarray(values)
    if numbers.size == 0 or np.fmin.reduce(numbers, axis=None) < 0:  # quick for levels in decibels
        return False
    finite = numbers[np.isfinite(numbers)].astype(np.float64)
    if finite.size == 0 or float(finite.max()) <= 0:
        return False
    highest, lowest = float(finite.max()), float(finite[finite > 0].min())
    if highest > HIGHEST_DB or highest < _LINEAR_SMALL or highest > lowest * _LINEAR_RANGE:
        return True
    return float(np.median(finite)) < highest * _LINEAR_SKEW


def can_be_levels(values: Sequence[float] | NDArray[np.floating]) -> bool:
    """Whether a column can hold levels: decibels within what receivers show (a few outliers apart) or linear power;
    not a count, a ramp or one number throughout."""
    finite = np.asarray(values, dtype=np.float64)
    finite = _without_mark(finite[np.isfinite(finite)])
    if finite.size == 0 or is_ramp(finite):
        return False
    inside = np.count_nonzero((finite >= LOWEST_DB) & (finite <= HIGHEST_DB))
    return bool(inside >= 0.9 * finite.size) or looks_linear(finite)


def _without_mark(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Numbers, shape (number,), without the one that stands wherever nothing was measured: one and the same beyond all
    decibels, as -999; above them only beside negative ones, which power never is. Common practice.
    """
    beyond = (values < LOWEST_DB) | ((values > HIGHEST_DB) & bool((values < 0).any()))
    marks = values[beyond]
    return values[~beyond] if marks.size > 1 and (marks == marks[0]).all() and marks.size < values.size else values


def fits_scale(values: Sequence[float] | NDArray[np.floating], scale: LevelScale) -> bool:
    """Whether numbers (but for a few) can be what a scale makes of them: decibels in range, or power that isn't
    negative."""
    numbers = np.asarray(values, dtype=np.float64)
    if scale.linear:
        return bool(np.fmin.reduce(numbers, axis=None) >= 0)
    numbers = _without_mark(numbers[np.isfinite(numbers)])
    inside = np.count_nonzero((numbers >= LOWEST_DB) & (numbers <= HIGHEST_DB))
    return bool(inside >= 0.9 * np.count_nonzero(np.isfinite(numbers)))


def is_ramp(values: NDArray[np.float64]) -> bool:
    """Whether eight or more numbers never turn back: noise does not do that (once in 8! orders)."""
    steps = np.diff(values)
    return bool(values.size >= 8 and np.any(steps != 0) and (np.all(steps >= 0) or np.all(steps <= 0)))


def _lowest_possible_db(
    levels_db: NDArray[np.float32], *, least_db: float, bandwidth_hz: float | None
) -> NDArray[np.float32]:
    """The lowest level of each bin, shape (bin,), that a receiver can have made: below it numbers wrapped round, or
    they hold a place. ``levels_db``: shape (sweep, bin); below ``least_db`` they are none whatever the rest says.

    The power of one sample of noise falls x dB below its mean with probability 10^(-x/10) (exponential distribution),
    so of n samples none is expected deeper than 10·log10(n). A level is rejected when it lies 30 dB deeper still,
    below both the quietest tenth of the file and the median of its own bin. Where levels are dBm (``bandwidth_hz``
    given: the RBW, or the step where that is not known) 10 dB do for a level below kTB, and 40 dB below kTB, whatever
    the rest of the file says. Source: kTB at 290 K; common practice for the margins.
    """
    deepest_db = 10.0 * math.log10(max(levels_db.size, 1))
    usual = _usual_lows_db(levels_db, least_db)
    lowest = usual - np.float32(deepest_db + _WRAPPED_MARGIN_DB)
    if bandwidth_hz is not None:
        ktb_dbm = np.float32(KTB_DBM_PER_HZ + 10.0 * math.log10(bandwidth_hz))
        lowest = np.fmax(lowest, np.fmin(ktb_dbm, usual - np.float32(deepest_db + _KTB_MARGIN_DB)))
        lowest = np.fmax(lowest, ktb_dbm - np.float32(deepest_db + _KTB_MARGIN_DB + _WRAPPED_MARGIN_DB))
    return np.asarray(np.fmax(lowest, np.float32(least_db)))


def series_levels(
    values: NDArray[np.floating], scale: LevelScale, axis: Axis, rbw_hz: float | None
) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """Levels [dBm or dB] of printed values, both of shape (sweep, bin), without those that can't be; and notes on
    these."""
    return believable_levels(scale.levels_db(values), scale, axis, rbw_hz)


def believable_levels(
    levels: NDArray[np.float32], scale: LevelScale, axis: Axis, rbw_hz: float | None
) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """The same for what ``scale`` has made levels of already; the array given is changed and given back."""
    step_hz = float(np.median(axis.usual_steps_hz))
    if scale.density:
        levels += np.float32(10 * math.log10(rbw_hz or step_hz))
    least_db, most_db = (-math.inf, math.inf) if scale.linear else (LOWEST_DB, HIGHEST_DB)
    bandwidth_hz = (rbw_hz or step_hz) if scale.unit is LevelUnit.DBM else None
    lowest = _lowest_possible_db(levels, least_db=least_db, bandwidth_hz=bandwidth_hz)
    rejected = _taken_out(levels, lowest, np.float32(most_db))
    return levels, () if rejected is None else (_rejection(rejected, axis.centres_hz),)


@dataclass(eq=False)
class _Rejected:
    """How many levels were taken out, the lowest and the highest of them, and in which bins, shape (bin,)."""

    bins: NDArray[np.bool_]
    count: int = 0
    low: float = math.inf
    high: float = -math.inf


def _taken_out(levels: NDArray[np.float32], lowest: NDArray[np.float32], highest: np.float32) -> _Rejected | None:
    """Make what lies below ``lowest``, shape (bin,), or above ``highest`` NaN, block by block; ``None`` for nothing."""
    found = _Rejected(np.zeros(levels.shape[1], dtype=np.bool_))
    rows = max(1, _AT_ONCE // levels.shape[1])
    for begin in range(0, levels.shape[0], rows):
        block = levels[begin : begin + rows]
        with np.errstate(invalid="ignore"):
            wrong = (block < lowest) | (block > highest)
        if wrong.any():
            values = block[wrong]
            found.count += values.size
            found.low, found.high = min(found.low, float(values.min())), max(found.high, float(values.max()))
            found.bins |= wrong.any(axis=0)
            block[wrong] = np.nan
    return found if found.count else None


def _rejection(rejected: _Rejected, centres_hz: NDArray[np.float64]) -> str:
    places_hz = centres_hz[rejected.bins]
    first, last = format_mhz(float(places_hz[0])), format_mhz(float(places_hz[-1]))
    where = f"at {first} MHz" if places_hz.size == 1 else f"between {first} and {last} MHz"
    many = "1 level" if rejected.count == 1 else f"{rejected.count} levels"
    values = f"{rejected.low:g}" if rejected.low == rejected.high else f"{rejected.low:g} to {rejected.high:g}"
    return f"{many} {where} ({values}) rejected as not measured: no receiver's noise lies there"


def _usual_lows_db(levels_db: NDArray[np.float32], least_db: float) -> NDArray[np.float32]:
    """The lower one of the file's lowest tenth and, with five sweeps or more, of each bin's median; shape (bin,).
    What lies below ``least_db`` is left out."""
    some = levels_db[:: max(levels_db.shape[0] // 200, 1)]
    some = np.where(some < np.float32(least_db), np.float32(np.nan), some)
    finite = some[np.isfinite(some)]
    tenth = np.float32(np.quantile(finite, 0.1)) if finite.size else np.float32(np.nan)
    if levels_db.shape[0] < 5:
        return np.full(levels_db.shape[1], tenth, dtype=np.float32)
    return np.fmin(tenth, _nanmedian(some.T)).astype(np.float32)


def _nanmedian(rows: NDArray[np.float32]) -> NDArray[np.float32]:
    """Median of each row without its NaN; NaN for rows that have nothing else (and no warning about it)."""
    ordered = np.sort(rows, axis=1)
    counts = np.count_nonzero(np.isfinite(ordered), axis=1)
    medians: NDArray[np.float32] = ordered[np.arange(ordered.shape[0]), np.maximum(counts - 1, 0) // 2]
    return medians
