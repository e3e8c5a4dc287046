"""Where in the spectrum two readings of the same signals differ unlike elsewhere: stretches found from the signals.

A unit may be bad in a part of its range only: a filter, a preselector, a range of its synthesiser. Bands fixed
beforehand mix such a part with its surroundings. So every run of neighbouring signals is a candidate; those whose
differences add up the farthest from the usual are proposed, and whoever judges them pays for having looked at all.

Source: cumulative sums, Page, Biometrika 41 (1954) 100-115; the two ends of one stretch at once as in Levin and Kline,
Statistics in Medicine 4 (1985) 469-488 (both from memory; the tests count how often it errs).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["FEWEST_IN_STRETCH", "propose_stretches", "runs_looked_at"]

FEWEST_IN_STRETCH = 3  # signals: two neighbours that changed by luck are common, three are not
MOST_STRETCHES = 4
CAPPED_DB = 10.0  # one signal counts no more, or a single one that has changed would be a stretch
Differences = NDArray[np.float64]


def propose_stretches(differences_db: Differences) -> list[tuple[int, int]]:
    """Runs of signals, rising in frequency, that differ most from no difference or from the usual one: first and last
    (exclusive) index, the most unlike first. ``differences_db``: shape (signal,), NaN where nothing is known.
    """
    known = np.flatnonzero(np.isfinite(differences_db))
    if known.size < FEWEST_IN_STRETCH:
        return []
    values = differences_db[known]
    found: list[tuple[int, int]] = []
    for centre in (0.0, float(np.median(values))):
        found += _most_unlike(np.clip(values - centre, -CAPPED_DB, CAPPED_DB))
    return [(int(known[first]), int(known[last - 1]) + 1) for first, last in dict.fromkeys(found)]


def runs_looked_at(signals: int) -> int:
    """How many runs of so many signals there are: they share the chance of an error."""
    most = signals - FEWEST_IN_STRETCH + 1
    return max(1, most * (most + 1) // 2)


def _most_unlike(values_db: Differences) -> list[tuple[int, int]]:
    """Runs apart from each other whose sum, over the root of their length, is the largest."""
    total = np.concatenate([[0.0], np.cumsum(values_db)])
    length = np.arange(total.size)[None, :] - np.arange(total.size)[:, None]
    score = np.abs(total[None, :] - total[:, None]) / np.sqrt(np.maximum(length, 1))
    score[length < FEWEST_IN_STRETCH] = 0.0
    found: list[tuple[int, int]] = []
    while len(found) < MOST_STRETCHES and score.max() > 0.0:
        first, last = (int(place) for place in np.unravel_index(int(np.argmax(score)), score.shape))
        found.append((first, last))
        score[:last, first + 1 :] = 0.0  # what overlaps it begins before its end and ends after its begin
    return found
