"""How many equal links fit in one place, exactly: every way is tried out, with what is known of fewer links to cut it
short (no k of them can take less room than the shortest k).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.densest_loops import FITS, LEFT, OPEN, Hunt, fit_upwards, hunt_for

__all__ = ["Effort", "Fit", "Steps", "most_that_fit", "shortest_spans"]

Whole = NDArray[np.int64]
Fit = Callable[[Hunt, bool, bool, int], int]

NODES_AT_ONCE = 20_000
"""Places looked at between two looks at the time: some hundredths of a second compiled."""


@dataclass
class Effort:
    """What trying may cost: ``nodes`` places to be looked at are left. ``fit``: the loops that look.

    ``is_over`` is asked now and then whether the time is up; the first ``anyway`` places are looked at even then.
    """

    nodes: int
    fit: Fit = fit_upwards
    is_over: Callable[[], bool] = field(default=lambda: False)
    anyway: int = NODES_AT_ONCE

    def spend(self, hunt: Hunt, *, at_zero: bool, shrink: bool) -> int:
        """Whether the carriers of a trial fit, ``OPEN`` where nothing was left before that was known."""
        while self.nodes > 0 and (self.anyway > 0 or not self.is_over()):
            portion = min(self.nodes, NODES_AT_ONCE)
            outcome = self.fit(hunt, at_zero, shrink, portion)
            used = portion - int(hunt.now[LEFT])
            self.nodes -= used
            self.anyway -= used
            if outcome != OPEN:
                return outcome
        return OPEN


@dataclass(frozen=True)
class Steps:
    """A rule in steps of a raster: ``spacing``: fewest between neighbours; ``two``, ``three``, ``fifth``: products of
    2A−B, A+B−C, 3A−2B have to be at least so far away (0: not asked).
    """

    spacing: int
    two: int
    three: int
    fifth: int

    @classmethod
    def of_hz(cls, spacing_hz: int, distances_hz: tuple[int, int, int], step_hz: int) -> Steps:
        """A rule in hertz on a raster: a distance of d asks for d / step, rounded up."""
        return cls(*(-(-hz // step_hz) for hz in (spacing_hz, *distances_hz)))

    @property
    def reach(self) -> Whole:
        """As the loops want it."""
        return np.array([max(self.spacing, 1), self.two - 1, self.three - 1, self.fifth - 1], dtype=np.int64)


def shortest_spans(rule: Steps, up_to: int, effort: Effort) -> list[int]:
    """The fewest steps from the first to the last of 1, 2 … carriers, as far as ``up_to`` and the effort reach."""
    spans = [0, 0]
    while len(spans) <= up_to and (span := _next_span(spans, rule, effort)) is not None:
        spans.append(span)
    return spans[1:]


def most_that_fit(allowed: NDArray[np.bool_], rule: Steps, at_most: int, effort: Effort) -> int | None:
    """The most equal carriers on the allowed places, up to ``at_most``; ``None`` where the effort did not suffice.

    ``allowed``: which places of a raster may be used, shape (place,).
    """
    row = np.trim_zeros(allowed.astype(np.uint8))
    whole = bool(row.all())
    spans = [0, 0]
    for n in range(1, at_most + 1):
        known = _at_least(spans, n, rule)
        if row.size <= known[n]:
            return n - 1
        outcome = effort.spend(hunt_for(n, row, rule.reach, known), at_zero=whole, shrink=False)
        if outcome != FITS:
            return None if outcome == OPEN else n - 1
        if n < at_most and len(spans) == n and (span := _next_span(spans, rule, effort)) is not None:
            spans.append(span)
    return at_most


def _next_span(spans: list[int], rule: Steps, effort: Effort) -> int | None:
    """The fewest steps that one carrier more than known takes; ``None`` where the effort did not suffice."""
    row = np.ones(_enough_room(rule, len(spans)), dtype=np.uint8)
    hunt = hunt_for(len(spans), row, rule.reach, _at_least(spans, len(spans), rule))
    return int(hunt.places[-1]) if effort.spend(hunt, at_zero=True, shrink=True) == FITS else None


def _at_least(spans: list[int], n: int, rule: Steps) -> Whole:
    """The least steps that 0, 1 … n carriers take, those not known from what the spacing alone asks for."""
    more = [spans[-1] + (k - len(spans) + 1) * max(rule.spacing, 1) for k in range(len(spans), n + 1)]
    return np.array([*spans, *more][: n + 1], dtype=np.int64)


def _enough_room(rule: Steps, n: int) -> int:
    """Places in which n carriers surely fit: taken greedily from below."""
    at: list[int] = []
    x = 0
    while len(at) < n:
        if _is_free(x, at, rule):
            at.append(x)
        x += 1
    return at[-1] + 1


def _is_free(x: int, at: list[int], rule: Steps) -> bool:
    """Whether a carrier above all others breaks no rule; see ``densest_loops``."""
    if at and x - at[-1] < rule.spacing:
        return False
    for i, a in enumerate(at):
        for j, b in enumerate(at):
            if i == j:
                continue
            if abs(x - (2 * a - b)) < rule.two or abs(x - (3 * a - 2 * b)) < rule.fifth:
                return False
            if abs(3 * a - b - 2 * x) < rule.fifth:
                return False
            if any(abs(x - (a + c - b)) < rule.three for k, c in enumerate(at) if k not in (i, j)):
                return False
    return True
