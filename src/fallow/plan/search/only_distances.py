"""Links of a question that neither make nor suffer products: what ``packing`` finds for them, as frequencies."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.crowd import Crowd, crowd_of
from fallow.plan.search.engine import Kernels
from fallow.plan.search.packing import Packed, Packing
from fallow.plan.search.question import Question
from fallow.plan.search.standing import Standing
from fallow.plan.search.tables import NO_PLACE

__all__ = ["OnlyDistances"]

DRAWS = 3
"""Plans of the packing looked at in one step of the search."""
MOVES = 300
"""Moves of one step of settling: few, so that the search stops promptly."""


class OnlyDistances:
    """All links that only keep distances, and that meet no others. ``begun``: with fixed links and strangers alone."""

    def __init__(self, question: Question, begun: Standing) -> None:
        classes = _classes_of(question)
        self.links = [i for i in _by_rank(question) if int(question.facts.class_index[i]) in classes]
        self._class_of = [classes.index(int(question.facts.class_index[i])) for i in self.links]
        self._crowd = _crowd(classes, self._class_of, begun) if self.links else None
        self._tables = begun.tables

    def packing(self, random: np.random.Generator, kernels: Callable[[], Kernels]) -> Iterator[Packed] | None:
        """Plans of these links without end; ``None`` where there are none."""
        if self._crowd is None:
            return None
        return Packing(self._crowd, random, kernels, narrow=False, moves=MOVES).steps()

    def draw_hz(self, packing: Iterator[Packed], missing: int) -> list[int] | None:
        """Frequencies of ``links``, −1 for none; ``None`` unless fewer than ``missing`` of them are left out."""
        drawn = min((next(packing) for _ in range(DRAWS)), key=lambda packed: packed.left)
        return self._at_hz(drawn) if drawn.left < missing else None

    def _at_hz(self, packed: Packed) -> list[int]:
        free = [np.flatnonzero(row).tolist()[::-1] for row in packed.taken]
        base_hz, step_hz = self._tables.base_hz, self._tables.step_hz
        return [base_hz + step_hz * free[k].pop() if free[k] else -1 for k in self._class_of]


def _by_rank(question: Question) -> list[int]:
    """Links that may move, the most important ones first."""
    facts = question.facts
    movable = np.flatnonzero(~facts.is_fixed & ~facts.is_spare)
    return [int(i) for i in movable[np.argsort(facts.rank[movable], kind="stable")]]


def _classes_of(question: Question) -> list[int]:
    """Classes of ours on the raster that are in no group of products, and meet only such classes."""
    n_ours = len(question.worths)
    alone = np.zeros(len(question.classes), dtype=np.bool_)
    alone[:n_ours] = np.diff(question.groups.start)[:n_ours] == 0
    alone[list(question.odd_classes)] = False
    alone &= ~question.farthest_hz.any(axis=0)
    alone[[question.carriers[i].class_index for i in question.in_pairs]] = False
    while True:
        meets_others = question.meetings[:, :n_ours] @ ~alone[:n_ours]
        if not (alone & meets_others).any():
            return [int(k) for k in np.flatnonzero(alone)]
        alone &= ~meets_others


def _crowd(classes: Sequence[int], class_of: Sequence[int], standing: Standing) -> Crowd:
    tables, kernels = standing.tables, standing.kernels()
    need = np.bincount(class_of, minlength=len(classes)).astype(np.int64)
    apart: NDArray[np.int64] = -(-tables.spacing_hz[np.ix_(classes, classes)] // tables.step_hz)
    places = np.zeros((len(classes), tables.size), dtype=np.bool_)
    for row, k in zip(places, classes, strict=True):
        row[:] = (kernels.busy(tables, k) == 0) & (tables.tier[k] != NO_PLACE)
    return crowd_of(need, apart, places)
