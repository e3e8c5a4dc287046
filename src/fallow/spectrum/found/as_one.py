"""Whether a block is on as one: all of it rises and goes together, as what a single transmitter sends does.

Many short bursts side by side, such as those of a hopper, fill a channel in the mean over the sweeps as evenly as
television does, and the edges of its raster may fall on theirs. In single sweeps they differ: each part of the channel
comes and goes by itself. And no transmitter of television is on for seconds at a time.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fallow.spectrum.heard import Heard

__all__ = ["on_as_one"]

Values = NDArray[np.float64]
FEWEST_SWEEPS = 4
MOST_ROWS = 2000  # sweeps that are looked at
PARTS = 8  # of a channel: a megahertz or so, as wide as the channels of the widest hoppers
MARGIN = 0.05  # of the channel at both ends: left out
MOST_APART = 1.5  # variance of one part by itself, in squares of its mean; each fading by itself (Rayleigh) has 1
MOST_OF_IT = 0.5  # of all its variance
BY_LUCK_SIGMAS = 4.0
STAYS_ABOVE, STAYING_SHARE = 2.0, 0.75  # times the noise; of the parts
LEAST_RUN_S = 60.0  # common practice: a transmitter of television stays on
OFTEN = 0.5  # of the sweeps


def on_as_one(heard: Heard, noise_db: Values, low_hz: float, high_hz: float) -> bool:
    """Whether the span from ``low_hz`` to ``high_hz`` may hold one transmitter that stays on: False where its parts
    come and go one by one, or all of it for less than a minute at a time. ``noise_db``: the floor, shape (bin,).
    """
    margin = MARGIN * (high_hz - low_hz)
    bins = heard.axis.bins_touching(low_hz + margin, high_hz - margin)
    if heard.n_sweeps < FEWEST_SWEEPS or bins.stop - bins.start < PARTS:
        return True
    rows = np.unique(np.linspace(0, heard.n_sweeps - 1, min(heard.n_sweeps, MOST_ROWS)).round().astype(np.int64))
    shown = _parts(heard.levels_db[rows, bins])
    whole = np.isfinite(shown).all(axis=1)
    noise = _parts(noise_db[bins][None, :])[0]
    if whole.sum() < FEWEST_SWEEPS or not np.isfinite(noise).all():
        return True
    cells = (bins.stop - bins.start) / PARTS * min(1.0, float(heard.axis.step_hz) / heard.alike_hz)
    if _stays(shown[whole], noise):
        return True
    together = _together(shown[whole], noise, heard.noise.shape * max(1.0, cells))
    return together and not _in_short_runs(heard, rows[whole], shown[whole].sum(axis=1), float(noise.sum()))


def _parts(levels_db: NDArray[np.floating]) -> Values:
    """Mean power of each part, shape (sweep, part), NaN where nothing was measured."""
    power = 10.0 ** (levels_db.astype(np.float64) / 10.0)
    valid = np.isfinite(power)
    pieces = zip(
        np.array_split(np.where(valid, power, 0.0), PARTS, axis=1), np.array_split(valid, PARTS, axis=1), strict=True
    )
    means = [
        np.where(known.any(axis=1), part.sum(axis=1) / np.maximum(1, known.sum(axis=1)), np.nan)
        for part, known in pieces
    ]
    return np.stack(means, axis=1)


def _stays(shown: Values, noise: Values) -> bool:
    """Whether almost all parts are far above the floor in most sweeps, whatever else comes and goes there."""
    return float((np.median(shown, axis=0) > STAYS_ABOVE * noise).mean()) >= STAYING_SHARE


def _together(shown: Values, noise: Values, shape: float) -> bool:
    """Whether most parts vary over the sweeps with the others, but for their noise, whose gamma shape is given.

    The variance of each less its covariance with the usual other one is what it does by itself.
    """
    signal = np.maximum(shown.mean(axis=0) - noise, 1e-3 * noise)
    about = np.cov(shown, rowvar=False)
    variance = np.diag(about)
    alike = np.where(np.eye(PARTS, dtype=bool), np.nan, about * signal[:, None] / signal[None, :])
    of_noise = np.square(shown).mean(axis=0) / (shape + 1.0)  # the mean square holds the variance itself
    luck = BY_LUCK_SIGMAS * of_noise * math.sqrt(2.0 / (len(shown) - 1.0))
    by_itself = variance - np.nanmedian(alike, axis=1) - of_noise
    apart = (by_itself > MOST_APART * np.square(signal) + luck) & (by_itself > MOST_OF_IT * variance)
    return float(apart.mean()) <= 0.5


def _in_short_runs(heard: Heard, rows: NDArray[np.int64], power: Values, noise: float) -> bool:
    """Whether all of it is on in a part of the sweeps, each time for a short while; False where times don't tell, as of
    what was on before the first sweep or is so after the last one.
    """
    if heard.times_s is None:
        return False
    on = power > math.sqrt(max(noise, 1e-300) * float(power.max()))
    times = heard.times_s[rows]
    if not np.isfinite(times).all() or on.mean() >= OFTEN:
        return False
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    ends = np.append(times, times[-1] + float(np.median(np.diff(times))))  # it may have been on until the next sweep
    runs = list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
    seen_whole = any(first > 0 and last < on.size for first, last in runs)
    return seen_whole and all(ends[last] - times[first] < LEAST_RUN_S for first, last in runs)
