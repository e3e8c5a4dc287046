"""Which series are sweeps of one: those of one instrument with the same axis, bandwidth, detector and trace.

A series that names no instrument is taken for the one that the others on exactly its grid name, if that is one, and if
both were not taken at the same moments. With several names nobody knows whose it is, and it stays apart.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from fallow.spectrum.sweep import Series

__all__ = ["all_timed", "kind_of", "stacked", "taken_at_once"]

FEWEST_SWEEPS = 2  # of a series, so that it lasts for some time
MOST_LAID_TOGETHER = 100_000_000  # levels that are copied, 400 MB; a day of sweeps must not be
LEAST_OVERLAP = 0.5  # of the shorter one; two clocks may be off by some sweeps


def stacked(series: Sequence[Series]) -> tuple[list[list[Series]], tuple[str, ...]]:
    """Series of one kind together, in the order of their sweeps where all tell it; and notes for people."""
    named, notes = _named(series)
    together: dict[Hashable, list[Series]] = {}
    for one in named:
        together.setdefault((kind_of(one), one.instrument), []).append(one)
    return [_in_order(parts) if all_timed(parts) else parts for parts in together.values()], notes


def kind_of(series: Series) -> Hashable:
    """What sweeps of one instrument have in common, but for its name."""
    return series.axis, series.unit, series.rbw_hz, series.detector, series.trace


def all_timed(parts: Sequence[Series]) -> bool:
    """Whether the times of all sweeps are known, and can be compared."""
    known = all(part.times_s is not None and bool(np.isfinite(part.times_s).all()) for part in parts)
    return known and len({part.zone_known for part in parts}) == 1


def taken_at_once(one: Series, other: Series) -> bool:
    """Whether two series of one kind show the same moments, and are no copies of each other."""
    return _overlap(one, other) and not _copies(one, other)


def _named(series: Sequence[Series]) -> tuple[list[Series], tuple[str, ...]]:
    """Series without the name of an instrument named like the only one on their grid."""
    named: list[Series] = []
    taken: dict[str, list[str]] = {}
    for one in series:
        same = [] if one.instrument else [other for other in series if other.instrument and _same_kind(one, other)]
        names = {other.instrument for other in same}
        if len(names) == 1 and not any(taken_at_once(one, other) for other in same):
            name = names.pop()
            taken.setdefault(name, []).append(one.source)
            one = replace(one, instrument=name)
        named.append(one)
    return named, tuple(_told(name, list(dict.fromkeys(filter(None, sources)))) for name, sources in taken.items())


def _told(name: str, sources: list[str]) -> str:
    more = f" and {len(sources) - 1} more" if len(sources) > 1 else ""
    which = f"{sources[0]}{more}" if sources else "a series"
    several = len(sources) > 1
    return (
        f"{which} name{'' if several else 's'} no instrument and {'have' if several else 'has'} exactly the grid of "
        f"{name}: taken for sweeps of the same (--instruments files says otherwise)"
    )


def _same_kind(one: Series, other: Series) -> bool:
    return kind_of(one) == kind_of(other)


def _in_order(parts: Sequence[Series]) -> list[Series]:
    """Timed series one after the other; as one where their sweeps were taken by turns, if that is not too much."""
    parts = sorted(parts, key=_first_s)
    starts = [part.times_s for part in parts if part.times_s is not None]
    follow = all(before.max() <= after.min() for before, after in pairwise(starts))
    if follow or sum(part.levels_db.size for part in parts) > MOST_LAID_TOGETHER:
        return parts
    order = np.argsort(np.concatenate(starts), kind="stable")
    together = replace(
        parts[0],
        levels_db=np.concatenate([part.levels_db for part in parts])[order],
        times_s=np.concatenate(starts)[order],
        overloaded=any(part.overloaded for part in parts),
    )
    return [together]


def _first_s(part: Series) -> float:
    return float(part.times_s[0]) if part.times_s is not None else 0.0


def _overlap(one: Series, other: Series) -> bool:
    if one.times_s is None or other.times_s is None or one.zone_known != other.zone_known:
        return False
    times = [series.times_s[np.isfinite(series.times_s)] for series in (one, other) if series.times_s is not None]
    if min(known.size for known in times) < FEWEST_SWEEPS:
        return False
    begin, end = max(known.min() for known in times), min(known.max() for known in times)
    return bool(end - begin > LEAST_OVERLAP * min(np.ptp(known) for known in times))


def _copies(one: Series, other: Series) -> bool:
    count = min(one.n_sweeps, other.n_sweeps)
    return bool(np.array_equal(one.levels_db[:count], other.levels_db[:count], equal_nan=True))
