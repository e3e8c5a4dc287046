"""The most links that a small show can have a frequency for, exactly: every choice of links is tried in every way."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping

from fallow.plan.search.bounds import Bound
from fallow.plan.search.engine import Kernels, numpy_kernels
from fallow.plan.search.fitting import Fitting
from fallow.plan.search.question import Question
from fallow.plan.search.standing import Standing

__all__ = ["lowered_by_trial"]

MOST_LINKS = 12
STEPS = 60
"""Each of some places looked at; then what is known is the answer."""


def lowered_by_trial(
    question: Question,
    bound: Bound | None,
    placed: int,
    *,
    steps: int = STEPS,
    kernels: Callable[[], Kernels] = numpy_kernels,
) -> Bound | None:
    """A lower bound than ``bound`` (``None``: all links), where trying shows one; ``placed``: links in some plan.

    Only for few links all of whose places lie on the raster.
    """
    links = len(question.links)
    if question.pairs or links > MOST_LINKS or not question.raster.exact or question.odd_classes:
        return bound
    standing = Standing(question, kernels)
    most = links if bound is None else bound.links
    while most > placed:
        fits, steps = _some_fit(standing, most, steps)
        if fits is not False:
            break
        most -= 1
        what = f"{most + 1} of them" if most + 1 < links else f"all {links}"
        bound = Bound(most, f"every way to place {what} was tried, and there is none")
    return bound


def _some_fit(standing: Standing, links: int, steps: int) -> tuple[bool | None, int]:
    """Whether so many links, fixed ones among them, can be placed; ``None`` where the steps ran out. And steps left."""
    carriers = [i for i, carrier in enumerate(standing.question.carriers) if not carrier.is_spare]
    movable = [i for i in carriers if standing.question.carriers[i].fixed_hz is None]
    alike: dict[int, list[int]] = {}
    for i in movable:
        alike.setdefault(int(standing.classes[i]), []).append(i)
    for choice in _choices({k: len(each) for k, each in alike.items()}, links - (len(carriers) - len(movable))):
        chosen = [i for k, count in choice.items() for i in alike[k][:count]]
        fitting = Fitting(standing, chosen)
        outcome: bool | None = None
        while outcome is None:
            if not steps:
                fitting.give_up()
                return None, 0
            steps -= 1
            outcome = fitting.step()
        if outcome:
            standing.take(chosen)
            return True, steps
    return False, steps


def _choices(available: Mapping[int, int], total: int) -> Iterator[Counter[int]]:
    """All ways to choose so many links, told apart by class only."""
    if not available:
        if total == 0:
            yield Counter()
        return
    (k, most), *rest = available.items()
    for count in range(min(most, total), -1, -1):
        for others in _choices(dict(rest), total - count):
            yield Counter({k: count}) + others
