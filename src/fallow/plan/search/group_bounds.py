"""How many links a group can hold that has to stay together: no window of its width holds more."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.bounds import Bound, most_by_spacing
from fallow.plan.search.question import Question
from fallow.show.grouping import groups_of
from fallow.units import format_width

__all__ = ["lowered_by_groups"]


def lowered_by_groups(question: Question, bound: Bound | None) -> Bound | None:
    """A lower bound than ``bound`` (``None``: all links) where groups that stay together say one."""
    most_links = len(question.links) if bound is None else bound.links
    best = min(_bounds(question), key=lambda each: each.links, default=None)
    return best if best is not None and best.links < most_links else bound


def _bounds(question: Question) -> Iterator[Bound]:
    """One for each set of classes that stay together and meet."""
    most_hz = question.farthest_hz
    count = np.bincount([each.class_index for each in question.links], minlength=len(question.classes))
    for row_hz in np.unique(most_hz, axis=0):
        members = [k for k in np.flatnonzero(row_hz).tolist() if count[k]]
        pairs = np.ix_(members, members)
        if not members or not most_hz[pairs].all() or not _all_may_move(question, members):
            continue
        within_hz, links = int(most_hz[pairs].max()), int(count[members].sum())
        places_hz = np.unique(np.concatenate([question.worths[k].frequencies_hz for k in members]))
        fit = _most_within(places_hz, within_hz, int(question.spacing_hz[pairs].min()))
        if fit < links:
            who = ", ".join(_groups_of_all(question, members))
            because = f"at most {fit} of {links} links of {who} fit within {format_width(within_hz)}"
            yield Bound(len(question.links) - links + fit, because)


def _groups_of_all(question: Question, members: list[int]) -> list[str]:
    """Groups that stay together and that all of these classes are in."""
    names = {rule.group for rule in question.groupings.together}
    for k in members:
        equipment = question.classes[k].equipment
        names &= frozenset[str]() if equipment is None else groups_of(question.classes[k].groups, equipment)
    return sorted(names) or ["several groups"]


def _all_may_move(question: Question, members: list[int]) -> bool:
    """Fixed links may stand nearer to each other than is asked."""
    return all(each.fixed_hz is None for each in question.links if each.class_index in members)


def _most_within(places_hz: NDArray[np.int64], within_hz: int, spacing_hz: int) -> int:
    """The most carriers ``spacing_hz`` apart in any window of these places, which rise."""
    most_links = 0
    for first, low_hz in enumerate(places_hz.tolist()):
        end = int(np.searchsorted(places_hz, low_hz + within_hz, side="right"))
        if end - first > most_links:
            most_links = max(most_links, most_by_spacing(places_hz[first:end], spacing_hz))
    return most_links
