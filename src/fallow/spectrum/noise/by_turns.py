"""Traces that show the highest and the lowest level of their cells by turns, from bin to bin.

Many analysers draw so by default, so that a trace with few points shows the noise as wide as it is. No file states it,
and every statistic along frequency takes it for what it is not: steps, edges, blocks. But it is plain in the data: on
all of the axis one of two neighbours lies higher by the same many decibels, and scatters less, for the lowest of some
powers scatters more in decibels than their highest, by a ratio that how far they lie apart foretells. Two receivers by
turns, or a gain that does, scatter alike; carriers on a raster of two steps differ from each other and stay so from
sweep to sweep. In one sweep alone that can't be seen: but a level is never made lower, so that none is clean by it.

Each bin then shows the higher one of its pair: the trace of a peak detector, with neighbours alike over two bins, in
which nothing is lower than it was. Source: order statistics, F(x)^J for the highest and 1 - (1 - F(x))^J for the lowest
of J powers, F their exponential distribution.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.levels import Levels
from fallow.spectrum.sweep import Detector, Series

__all__ = ["by_turns", "without_turns"]

TOLD_OTHERWISE = (Detector.SAMPLE, Detector.AVERAGE)
FEWEST_PAIRS = 100
MOST_ROWS = 64  # sweeps that are looked at
LEAST_DB, MOST_DB = 2.0, 31.0  # between the two; the highest and the lowest of 150 single samples lie so far apart
BY_LUCK_SIGMAS = 8.0
STRETCHES = 16  # of the axis
PAIRS_IN_STRETCH = 25
EVEN_STRETCHES = 0.75  # of the stretches differ as much as all of the axis; the rest may be full of carriers
EVEN_SHARE = 0.25  # of the difference
EVEN_SIGMAS = 5.0
LEAST_SCATTER_DB = 0.1
LEAST_SIGMAS = 2.0  # of the lowest, between the two; of fewer than four single samples they are less apart
LEAST_RATIO = 1.08  # of the scatter of the lowest and of the highest
SURE_SIGMAS, NEAR_SIGMAS = 4.0, 2.0
LEAST_OF_SINGLE, MOST_OF_SINGLE = 0.75, 1.15  # times the ratio of single samples, by simulation of many other kinds
OF_RATIOS = 2.7  # times 1/n: relative variance of the ratio of two spreads that median magnitudes give
STAYS_DB = 0.7  # by which neighbouring highest ones differ from each other and stay so, at most
STAYS_SHARE = 0.5  # of their scatter, the same
NORMAL_MAD = 1.4826
BENT = 1.5  # variance of a reading less the mean of two neighbours, of a reading's
OF_MEDIANS = 5.4  # times 1/n: variance of the square of a spread that the median magnitude of normal values gives
MEDIAN_LOSS = 1.2533  # standard error of a median, of a mean's
Values = NDArray[np.float64]


def without_turns(groups: Sequence[Sequence[Series]]) -> tuple[list[list[Series]], tuple[str, ...]]:
    """Series of one kind together (see ``stacking``), with the higher level of each pair of bins in both, in sweeps
    that show highest and lowest by turns; and notes for people.
    """
    kept: list[list[Series]] = []
    notes: list[str] = []
    for group in groups:
        turned = by_turns(Levels(tuple(one.levels_db for one in group)))
        if group[0].detector in TOLD_OTHERWISE:
            kept.append(list(group))
            notes += [_told_against(group[0])] if turned.any() else []
            continue
        ends = np.cumsum([one.n_sweeps for one in group])
        parts = np.split(turned, ends[:-1])
        kept.append([_folded(one, part) if part.any() else one for one, part in zip(group, parts, strict=True)])
        notes += [_told(group[0], turned)] if turned.any() else []
    return kept, tuple(notes)


def by_turns(levels: Levels) -> NDArray[np.bool_]:
    """Which sweeps show the highest and the lowest by turns, shape (sweep,); ``levels`` of shape (sweep, bin)."""
    none = np.zeros(len(levels), dtype=np.bool_)
    if levels.shape[1] < 2 * FEWEST_PAIRS:
        return none
    places = np.unique(np.linspace(0, len(levels) - 1, MOST_ROWS).round().astype(np.int64))
    rows = levels[places].astype(np.float64)
    signs = _signs(rows)
    sign = 1 if np.count_nonzero(signs > 0) >= np.count_nonzero(signs < 0) else -1
    if not (signs == sign).any() or not _proven(rows[signs == sign], sign):
        return none
    return np.concatenate([_signs(block.astype(np.float64)) == sign for _, block in levels.blocks()])


def _signs(rows: Values) -> NDArray[np.int64]:
    """Whether odd bins are plainly higher (1), even ones are (-1), or neither, for each row."""
    steps = _steps(rows)
    found = np.zeros(rows.shape[0], dtype=np.int64)
    for row, differences in enumerate(steps):
        middle_db, error_db = _middle(differences)
        if abs(middle_db) >= max(LEAST_DB, BY_LUCK_SIGMAS * error_db):
            found[row] = 1 if middle_db > 0 else -1
    return found


def _steps(rows: Values) -> Values:
    """By how much the odd bin of each pair is higher, dB, shape (sweep, pair)."""
    even = 2 * (rows.shape[1] // 2)
    return np.asarray(rows[:, 1:even:2] - rows[:, 0:even:2])


def _middle(values: Values) -> tuple[float, float]:
    """Median of what is not NaN, and its standard error; none of either where nothing is."""
    known = values[np.isfinite(values)]
    if known.size < PAIRS_IN_STRETCH:
        return 0.0, math.inf
    middle = float(np.median(known))
    spread = NORMAL_MAD * float(np.median(np.abs(known - middle)))
    return middle, MEDIAN_LOSS * spread / math.sqrt(known.size)


def _proven(rows: Values, sign: int) -> bool:
    """Whether it is so everywhere, and only a detector can make it so."""
    steps = sign * _steps(rows)
    apart_db, _ = _middle(steps)
    lowest, highest = (rows[:, 0::2], rows[:, 1::2]) if sign > 0 else (rows[:, 1::2], rows[:, 0::2])
    alike = apart_db <= MOST_DB and _everywhere(steps, apart_db) and _scatter_so(lowest, highest, apart_db)
    return alike and (rows.shape[0] == 1 or not _stays(highest))


def _everywhere(steps: Values, apart_db: float) -> bool:
    count = min(STRETCHES, steps.shape[1] // PAIRS_IN_STRETCH)
    stretches = [_middle(stretch) for stretch in np.array_split(steps, count, axis=1)]
    known = [(middle, error) for middle, error in stretches if math.isfinite(error)]
    even = [abs(middle - apart_db) <= EVEN_SHARE * apart_db + EVEN_SIGMAS * error for middle, error in known]
    return bool(known) and sum(even) >= EVEN_STRETCHES * len(known)


def _scatter_so(lowest: Values, highest: Values, apart_db: float) -> bool:
    (of_low, _), (of_high, count) = _scatter(lowest), _scatter(highest)
    if of_low < LEAST_SCATTER_DB or of_high < LEAST_SCATTER_DB:
        return False
    if apart_db < LEAST_SIGMAS * of_low:
        return False
    ratio, of_single = of_low / of_high, _single_ratio(apart_db)
    luck = math.sqrt(OF_RATIOS / count)
    if ratio < LEAST_RATIO + SURE_SIGMAS * luck:
        return False
    near = 1.0 + NEAR_SIGMAS * luck
    return LEAST_OF_SINGLE * of_single / near <= ratio <= MOST_OF_SINGLE * of_single * near


def _scatter(lane: Values) -> tuple[float, int]:
    """Robust standard deviation of one reading [dB], from each less the mean of its neighbours; and of how many."""
    bent = _bent(lane)
    known = bent[np.isfinite(bent)]
    return math.sqrt(_variance(known) / BENT) if known.size else 0.0, known.size


def _bent(lane: Values) -> Values:
    return np.asarray(lane[:, 1:-1] - (lane[:, :-2] + lane[:, 2:]) / 2.0)


def _stays(highest: Values) -> bool:
    """Whether levels may differ from their neighbours in the first half of the sweeps as they do in the second: the
    variance that both have in common, two standard errors on the safe side.
    """
    half = highest.shape[0] // 2
    one, other = _bent(_mean(highest[:half])), _bent(_mean(highest[half:]))
    known = np.isfinite(one + other)
    if not known.any():
        return True
    together, apart = _variance((one + other)[known]), _variance((one - other)[known])
    error = (together + apart) * math.sqrt(OF_MEDIANS / np.count_nonzero(known))
    most_db = max(STAYS_DB, STAYS_SHARE * _scatter(highest)[0])
    return together - apart + 2.0 * error > 4.0 * BENT * most_db**2


def _variance(values: Values) -> float:
    """Robust variance of values around 0."""
    return (NORMAL_MAD * float(np.median(np.abs(values)))) ** 2


def _mean(rows: Values) -> Values:
    """Mean of each bin over the sweeps that have it, shape (1, bin), NaN where none has."""
    known = np.isfinite(rows)
    count = known.sum(axis=0, keepdims=True)
    total = np.where(known, rows, 0.0).sum(axis=0, keepdims=True)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


@cache
def _ratios() -> tuple[Values, Values]:
    """How far the middles of the lowest and of the highest of J powers lie apart [dB], and the ratio of the scatter."""
    counts = np.geomspace(2.0, 1e5, 40)[:, None]
    shares = np.array([0.25, 0.5, 0.75])
    highest = 10.0 * np.log10(-np.log1p(-(shares ** (1.0 / counts))))
    lowest = 10.0 * np.log10(-np.log1p(-shares) / counts)
    ratio = (lowest[:, 2] - lowest[:, 0]) / (highest[:, 2] - highest[:, 0])
    return highest[:, 1] - lowest[:, 1], ratio


def _single_ratio(apart_db: float) -> float:
    return float(np.interp(apart_db, *_ratios()))


def _folded(series: Series, turned: NDArray[np.bool_]) -> Series:
    """The series with the higher level of each pair in both of its bins, in some sweeps; a last bin alone goes with the
    pair before it. What was not measured stays so.
    """
    levels = np.array(series.levels_db)
    odd = np.arange(1, levels.shape[1], 2)
    for row in np.flatnonzero(turned):
        was, higher = series.levels_db[row], levels[row]
        higher[odd] = higher[odd - 1] = np.fmax(was[odd], was[odd - 1])
        higher[-1] = np.fmax(higher[-1], higher[-2])
        higher[np.isnan(was)] = np.nan
    return series.with_levels(levels)


def _told_against(series: Series) -> str:
    return (
        f"the levels{_name(series)} look like the highest and the lowest of their cells by turns, from bin to bin; "
        f"they are stated to be {'samples' if series.detector is Detector.SAMPLE else 'averages'}, and taken so "
        "(--detector peak has each bin show the higher one of its pair)"
    )


def _name(series: Series) -> str:
    name = series.trace or series.source
    return f" ({name})" if name else ""


def _told(series: Series, turned: NDArray[np.bool_]) -> str:
    count = np.count_nonzero(turned)
    which = "the levels" if turned.all() else f"the levels of {count} of {turned.size} sweeps"
    alone = "" if count > 1 else "; in one sweep alone, carriers of one level on every second bin would look the same"
    return (
        f"{which}{_name(series)} are the highest and the lowest of their cells by turns, from bin to bin (a usual "
        "setting of analysers): each bin is taken to show the higher one of its pair, as a peak detector does; a "
        f"carrier of one bin reads up to 3 dB high{alone}"
    )
