"""The most links that a small show can have a frequency for, exactly: every choice of links is tried in every way."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from fallow.plan.search.bounds import Bound
from fallow.plan.search.engine import Kernels, numpy_kernels
from fallow.plan.search.fitting import Fitting, LinkKind, by_kind
from fallow.plan.search.groups import MOST_GRADES
from fallow.plan.search.question import Question
from fallow.plan.search.standing import Standing

__all__ = ["MOST_LINKS", "STEPS", "Patience", "can_be_tried", "choices_of", "lowered_by_trial"]

MOST_LINKS = 12
STEPS = 60
"""Each of some places looked at; then what is known is the answer."""


class Patience:
    """How many steps trying may still take; those beyond the first ``STEPS`` only until ``is_over`` says so."""

    def __init__(self, steps: int = STEPS, is_over: Callable[[], bool] = lambda: False) -> None:
        self.left, self._is_over = steps, is_over
        self._unasked = STEPS

    def outcome(self, fitting: Fitting, *, stay: bool = False) -> bool | None:
        """Whether all fit; ``None`` where the steps ran out. Afterwards nobody of them stands, or, with ``stay``, all
        do where they fit.
        """
        outcome: bool | None = None
        while outcome is None and self.goes_on():
            outcome = fitting.step()
        if not (stay and outcome):
            fitting.give_up()
        return outcome

    def goes_on(self) -> bool:
        """Whether one more step may be made."""
        self.left -= 1
        self._unasked -= 1
        if self.left >= 0 and self._unasked < 0 and self._is_over():
            self.left = 0
        return self.left >= 0


def can_be_tried(question: Question) -> bool:
    """Whether the tables tell exactly what the audit says: all places on the raster, all widths told apart."""
    widths = {each.width_hz for each in question.classes}
    merges = any(each.edges for each in question.classes) and len(widths) > MOST_GRADES
    return question.raster.exact and not question.odd_classes and not merges


def lowered_by_trial(
    question: Question,
    bound: Bound | None,
    placed: int,
    *,
    patience: Patience | None = None,
    kernels: Callable[[], Kernels] = numpy_kernels,
) -> Bound | None:
    """A lower bound than ``bound`` (``None``: all links), where trying shows one; ``placed``: links in some plan. A
    link with two directions counts as two.

    Only for few links all of whose places lie on the raster.
    """
    links = len(question.links)
    movable = [i for i in range(links) if question.carriers[i].fixed_hz is None]
    if len([i for i in movable if i not in question.followers]) > MOST_LINKS or not can_be_tried(question):
        return bound
    standing, patience = Standing(question, kernels), patience or Patience()
    kinds = by_kind(question, movable, standing.at_hz)
    most = links if bound is None else bound.links
    while most > placed and _some_fit(standing, kinds, most - (links - len(movable)), patience) is False:
        most -= 1
        what = f"{most + 1} of them" if most + 1 < links else f"all {links}"
        what += " (each direction counted)" if question.pairs else ""
        bound = Bound(most, f"every way to place {what} was tried, and there is none")
    return bound


def _some_fit(
    standing: Standing, kinds: Mapping[LinkKind, Sequence[tuple[int, ...]]], carriers: int, patience: Patience
) -> bool | None:
    """Whether links with so many carriers can be placed; ``None`` where the steps ran out."""
    for choice in choices_of([(kind, len(units)) for kind, units in kinds.items()], carriers):
        chosen = [unit[0] for kind, count in choice for unit in kinds[kind][:count]]
        outcome = patience.outcome(Fitting(standing, chosen))
        if outcome is not False:
            return outcome
    return False


def choices_of(available: Sequence[tuple[LinkKind, int]], carriers: int) -> Iterator[tuple[tuple[LinkKind, int], ...]]:
    """All ways to choose links with so many carriers, told apart by kind only."""
    if not available:
        if carriers == 0:
            yield ()
        return
    (kind, links), *rest = available
    for count in range(min(links, carriers // kind.carriers), -1, -1):
        for others in choices_of(rest, carriers - count * kind.carriers):
            yield ((kind, count), *others)
