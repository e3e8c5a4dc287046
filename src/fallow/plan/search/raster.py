"""One raster for carriers of all kinds: the coarsest on which everybody's places lie, or nearly everybody's.

Where the exact one would have more places than tables can hold, a coarser one is taken: radios that tune more finely
are then offered only their places on it, and radios that have none there keep their own, which are looked at one by
one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.units import format_width

__all__ = ["Raster", "choose_raster"]

MOST_PLACES = 60_000
COARSER_STEPS_HZ = (
    5_000,
    6_250,
    10_000,
    12_500,
    25_000,
    50_000,
    100_000,
    125_000,
    200_000,
    250_000,
    500_000,
    1_000_000,
)
WORTH_A_GAP = 256  # stretches without places shorter than this are not worth a stretch of their own


@dataclass(frozen=True, eq=False)
class Raster:
    """Carriers at ``base_hz`` + whole steps, ``size`` of them. ``segments``: int64, shape (stretch, 2), where anybody
    has places.

    ``exact``: every place lies on it. ``notes``: what was given up.
    """

    base_hz: int
    step_hz: int
    size: int
    segments: NDArray[np.int64]
    exact: bool
    notes: tuple[str, ...] = ()

    def positions(self, frequencies_hz: NDArray[np.int64]) -> NDArray[np.int64]:
        """Whole steps from the base, −1 for carriers off the raster."""
        place, rest = np.divmod(frequencies_hz - self.base_hz, self.step_hz)
        return np.where((rest == 0) & (place >= 0) & (place < self.size), place, -1)


def choose_raster(places_hz: Sequence[NDArray[np.int64]], most_places: int = MOST_PLACES) -> Raster:
    """The raster for these places, one array per class, each in rising order of hertz."""
    together = np.unique(np.concatenate([*places_hz, np.zeros(0, dtype=np.int64)]))
    if not together.size:
        return Raster(0, 1, 1, np.array([[0, 1]]), exact=True)
    base_hz, width_hz, step_hz = _extent(together)
    if width_hz // step_hz < most_places:
        return _raster(together, base_hz, step_hz, exact=True)
    shared = _that_fit_together(places_hz, most_places)
    if shared.size:
        note = "radios whose places lie off the raster of the others were placed one by one"
        return _raster(shared, *_extent(shared)[::2], exact=False, notes=(note,))
    coarser = [step for step in COARSER_STEPS_HZ if step % step_hz == 0 or step > step_hz]
    step_hz = next((step for step in coarser if width_hz // step < most_places), width_hz // most_places + 1)
    base_hz += _usual_remainder(places_hz, base_hz, step_hz)
    note = f"places were looked for on a raster of {format_width(step_hz)} where that is coarser than the radio's own"
    return _raster(together, base_hz, step_hz, exact=False, notes=(note,))


def _extent(together: NDArray[np.int64]) -> tuple[int, int, int]:
    """The lowest of these places, the way to the highest, and the coarsest step on which all lie."""
    base_hz, width_hz = int(together[0]), int(together[-1] - together[0])
    return base_hz, width_hz, int(np.gcd.reduce(together - base_hz)) or 1


def _that_fit_together(places_hz: Sequence[NDArray[np.int64]], most_places: int) -> NDArray[np.int64]:
    """All places of the classes, those with the most places first, that one exact raster can hold; none: too fine.

    A class is left out wholly or not at all: one of which a raster held only some places would lose the others.
    """
    together = np.zeros(0, dtype=np.int64)
    for each in sorted(places_hz, key=lambda each: -each.size):
        wider = np.unique(np.concatenate([together, each]))
        if wider.size:
            _, width_hz, step_hz = _extent(wider)
            if width_hz // step_hz < most_places:
                together = wider
            elif not together.size:
                return together
    base_hz, width_hz, step_hz = _extent(together) if together.size else (0, 0, 1)
    for each in places_hz:
        on = ((each - base_hz) % step_hz == 0) & (each >= base_hz) & (each <= base_hz + width_hz)
        if on.any() and not on.all():
            return np.zeros(0, dtype=np.int64)
    return together


def _raster(
    together: NDArray[np.int64], base_hz: int, step_hz: int, *, exact: bool, notes: tuple[str, ...] = ()
) -> Raster:
    size = int((together[-1] - base_hz) // step_hz) + 1
    place, rest = np.divmod(together - base_hz, step_hz)
    used = place[(rest == 0) & (place >= 0)]
    breaks = np.flatnonzero(np.diff(used) > WORTH_A_GAP)
    starts, ends = used[np.concatenate(([0], breaks + 1))], used[np.concatenate((breaks, [used.size - 1]))] + 1
    return Raster(base_hz, step_hz, size, np.stack((starts, ends), axis=1), exact, notes)


def _usual_remainder(places_hz: Sequence[NDArray[np.int64]], base_hz: int, step_hz: int) -> int:
    """The offset from ``base_hz`` on which most classes, then most places, lie."""
    classes: dict[int, tuple[int, int]] = {}
    for each in places_hz:
        for rest, count in zip(*np.unique((each - base_hz) % step_hz, return_counts=True), strict=True):
            n_classes, n_places = classes.get(int(rest), (0, 0))
            classes[int(rest)] = (n_classes + 1, n_places + int(count))
    return max(classes, key=lambda rest: (classes[rest], -rest))
