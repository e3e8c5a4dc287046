"""How many links any plan can hold, and why: cheap bounds, each true for every plan.

Areas that all hear each other share one stretch of spectrum. There the carriers of one scene lie at least the smallest
spacing apart, and where A+B−C is asked all differences between them differ by at least the smallest distance (Erdős
and Turán's argument for Sidon sets, with distances; our own derivation). Links outside such a part add at most their
own number.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.densest import Effort, Steps, most_that_fit
from fallow.plan.search.exact import free_of_products, free_of_spacing
from fallow.plan.search.groups import Class
from fallow.plan.search.question import Question, Tie, whole
from fallow.show.duplex import return_name
from fallow.units import format_width

__all__ = ["Bound", "Rule", "most", "most_by_spacing", "most_in_windows", "places_left"]

Whole = NDArray[np.int64]

NO_LIMIT = 10**9
"""More links than anybody has."""

WINDOWS = 120
"""Window widths tried; any of them gives a true bound."""


MOST_TRIED = 16
"""Links up to which every way to place them is tried, if that takes few places looked at."""
PLACES_TRIED = 8_000
LONGEST_ROW = 2_000


@dataclass(frozen=True)
class Bound:
    """No plan can place more than ``links`` of the planned links; ``because`` is one sentence."""

    links: int
    because: str


@dataclass(frozen=True)
class Rule:
    """What all carriers of a part keep: hertz between neighbours, and between any two differences (0: not asked)."""

    spacing_hz: int
    difference_hz: int


@dataclass(frozen=True)
class _Part:
    """Classes that all meet: how many links they have, how many of them fit, and which rule says so."""

    links: int
    fit: int
    what: str
    reason: str


def most(question: Question, effort: Effort | None = None) -> Bound | None:
    """The most links that any plan can place, or ``None`` when nothing cheap says that some must be left out.

    ``effort``: what trying every way may cost where few links are in one place.
    """
    n_links = len(question.links)
    best = min(_bounds_by_scene(question, effort or Effort(PLACES_TRIED)), key=lambda bound: bound.links, default=None)
    return best if best is not None and best.links < n_links else None


def most_by_spacing(places_hz: Whole, spacing_hz: int) -> int:
    """The most carriers on these places (rising) that lie ``spacing_hz`` apart: taken greedily from below, which is
    exact. Without a spacing any number may share a place.
    """
    if spacing_hz <= 0:
        return NO_LIMIT if places_hz.size else 0
    count, next_hz = 0, -1
    at = 0
    while at < places_hz.size:
        count += 1
        next_hz = int(places_hz[at]) + spacing_hz
        at = int(np.searchsorted(places_hz, next_hz))
    return count


def most_in_windows(places_hz: Whole, rule: Rule) -> int:
    """The most of these places that can lie ``rule.spacing_hz`` apart with all differences ``rule.difference_hz``
    apart.

    Slide a window of T hertz over the places. With n carriers the mean number in it is m = nT/μ, where μ counts the
    positions of the window that touch a place; so the pairs in it number at least μ(k(k−1)/2 + (m−k)k), k = ⌊m⌋. A
    pair of difference d is inside T − d times, and the differences are at least S, S+G, S+2G …: Σ max(0, T − S − jG)
    in all. Every T that breaks this refutes n.
    """
    gaps_hz = np.diff(places_hz)
    width_hz = int(places_hz[-1] - places_hz[0]) + 1
    most_links = places_hz.size
    for window_hz in np.unique(np.geomspace(rule.spacing_hz + 1, 2 * width_hz, WINDOWS).astype(np.int64)).tolist():
        touching = window_hz + int(np.minimum(gaps_hz, window_hz).sum())
        most_links = min(most_links, _most_in_window(window_hz, touching, rule, most_links))
    return most_links


def _most_in_window(window_hz: int, touching: int, rule: Rule, at_most: int) -> int:
    """The largest n up to ``at_most`` that windows of one width do not refute, by halving."""
    spare_hz, step_hz = window_hz - rule.spacing_hz, rule.difference_hz
    n_terms = -(-spare_hz // step_hz) if spare_hz > 0 else 0
    twice_pairs = 2 * n_terms * spare_hz - step_hz * n_terms * (n_terms - 1)

    def refuted(n: int) -> bool:
        whole_part, rest = divmod(n * window_hz, touching)
        return touching * whole_part * (whole_part - 1) + 2 * rest * whole_part > twice_pairs

    low, high = 0, at_most
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (low, middle - 1) if refuted(middle) else (middle, high)
    return low


def _bounds_by_scene(question: Question, effort: Effort) -> Iterator[Bound]:
    """One bound for each scene and each way to put areas together into parts."""
    movable = [carrier for carrier in question.links if carrier.fixed_hz is None]
    count = np.bincount([carrier.class_index for carrier in movable], minlength=len(question.classes))
    room = _Room(question, effort)
    for scene in sorted(frozenset[str]().union(*(each.scenes for each in question.classes))) or [""]:
        on = [k for k in range(len(question.worths)) if count[k] and question.classes[k].on_in(scene)]
        for order in _orders(on, question):
            parts = [_fit(part, question, count, room) for part in _areas_that_meet(order, question)]
            elsewhere = len(question.links) - sum(part.links for part in parts)
            tight = [part for part in parts if part.fit < part.links]
            yield Bound(elsewhere + sum(part.fit for part in parts), _sentence(scene, tight))


def _sentence(scene: str, tight: Sequence[_Part]) -> str:
    """What binds, each rule said once."""
    by_reason: dict[str, list[str]] = {}
    for part in tight:
        by_reason.setdefault(part.reason, []).append(part.what)
    reasons = [f"{'; '.join(what)}: {reason}" for reason, what in by_reason.items()]
    when = f"in the scene {scene} " if scene else ""
    return when + "; and ".join(reasons)


def _orders(classes: Sequence[int], question: Question) -> list[list[int]]:
    """Ways to go through classes, by area: by name, and from those that meet the fewest or the most others."""
    hears, all_of = question.losses.hears, question.classes
    heard = {k: sum(hears(all_of[k].area, all_of[j].area) for j in classes) for k in classes}
    by_name = sorted(classes, key=lambda k: all_of[k].area)
    return [by_name, sorted(by_name, key=lambda k: heard[k]), sorted(by_name, key=lambda k: -heard[k])]


def places_left(question: Question, classes: Iterable[int]) -> dict[int, Whole]:
    """Places of some classes of ours that fixed links and strangers leave free, in rising hertz."""
    tables = question.tables_of_standing()
    fixed = [carrier for carrier in question.carriers if carrier.fixed_hz is not None]
    others = whole([carrier.class_index for carrier in fixed] + [k for k, _ in question.strangers])
    others_hz = whole([carrier.fixed_hz or 0 for carrier in fixed] + [hz for _, hz in question.strangers])
    left = {}
    for k in classes:
        at_hz = question.worths[k].frequencies_hz
        free = free_of_spacing(tables, k, at_hz, others, others_hz)
        left[k] = at_hz[free & free_of_products(tables, k, at_hz, len(question.carriers))]
    return left


def _areas_that_meet(classes: Sequence[int], question: Question) -> list[list[int]]:
    """Classes in parts whose areas all hear each other; each joins the first part that it can."""
    parts: list[list[int]] = []
    for k in classes:
        area = question.classes[k].area
        for part in parts:
            if all(question.losses.hears(area, question.classes[j].area) for j in part):
                part.append(k)
                break
        else:
            parts.append([k])
    return parts


class _Room:
    """How many carriers the places hold that are left to some classes; what was found once is kept, because classes
    of one equipment mostly have the same places left.
    """

    def __init__(self, question: Question, effort: Effort) -> None:
        places = list(places_left(question, range(len(question.worths))).values())
        self._effort = effort
        first_with = {each.tobytes(): k for k, each in reversed(list(enumerate(places)))}
        self._places = places
        self._same_as = [first_with[each.tobytes()] for each in places]
        self._known: dict[tuple[frozenset[int], Rule], tuple[int, str]] = {}
        self._tried: dict[tuple[frozenset[int], tuple[int, int, int, int], int], int | None] = {}

    def holds(self, part: Sequence[int], rule: Rule) -> tuple[int, str]:
        """How many carriers of some classes fit at most, were they all under one rule, and why."""
        different = frozenset(self._same_as[k] for k in part)
        if (different, rule) not in self._known:
            places_hz = np.unique(np.concatenate([self._places[k] for k in sorted(different)]))
            self._known[different, rule] = _holds(places_hz, rule)
        return self._known[different, rule]

    def holds_by_trial(self, part: Sequence[int], classes: Sequence[Class], at_most: int) -> int | None:
        """The same by trying every way, up to ``at_most``; ``None`` where that takes too long."""
        two_hz, three_hz, fifth_hz = (_least_hz(classes, form) for form in range(3))
        distances_hz = min(each.spacing_hz for each in classes), two_hz, three_hz, fifth_hz
        different = frozenset(self._same_as[k] for k in part)
        key = different, distances_hz, at_most
        if key not in self._tried:
            places_hz = np.unique(np.concatenate([self._places[k] for k in sorted(different)]))
            self._tried[key] = _tried_out(places_hz, distances_hz, at_most, self._effort)
        return self._tried[key]


def _holds(places_hz: Whole, rule: Rule) -> tuple[int, str]:
    fit, reason = most_by_spacing(places_hz, rule.spacing_hz), _spacing_reason(rule)
    if places_hz.size and rule.difference_hz:
        in_windows = most_in_windows(places_hz, rule)
        if in_windows < fit:
            return in_windows, _difference_reason(rule)
    return fit, reason


def _fit(part: Sequence[int], question: Question, count: NDArray[np.int64], room: _Room) -> _Part:
    """The better of two bounds: all classes of a part together, and each equipment of it by itself."""
    links = int(sum(count[k] for k in part))
    together = _fit_alike(part, question, count, room)
    kinds: dict[str, list[int]] = {}
    for k in part:
        equipment = question.classes[k].equipment
        kinds.setdefault("" if equipment is None else equipment.name, []).append(k)
    by_kind = {name: _fit_alike(kind, question, count, room) for name, kind in kinds.items()}
    alone = list((_directions_together(by_kind) if _are_whole(question.pairs, question) else by_kind).values())
    fit = sum(kind.fit for kind in alone)
    if fit < together.fit:
        tight = [kind for kind in alone if kind.fit < kind.links]
        return _Part(links, fit, "; ".join(kind.what for kind in tight), tight[0].reason)
    return together


def _are_whole(ties: Sequence[Tie], question: Question) -> bool:
    """Whether of every link with two directions both may move, or neither."""
    fixed = [carrier.fixed_hz is not None for carrier in question.carriers]
    return bool(ties) and all(fixed[tie.forward] == fixed[tie.back] for tie in ties)


def _directions_together(by_kind: Mapping[str, _Part]) -> dict[str, _Part]:
    """The same, knowing that as many ways there have a place as ways back."""
    found = dict(by_kind)
    for name, there in by_kind.items():
        back_name = return_name(name)
        back = by_kind.get(back_name)
        if back is None or there.links != back.links or there.fit == back.fit:
            continue
        which, tight = (back_name, there) if there.fit < back.fit else (name, back)
        what = f"no more than {tight.fit} of {tight.links} of {which}, as many as of the other direction"
        found[which] = _Part(tight.links, tight.fit, what, tight.reason)
    return found


def _fit_alike(part: Sequence[int], question: Question, count: NDArray[np.int64], room: _Room) -> _Part:
    links = int(sum(count[k] for k in part))
    classes = [question.classes[k] for k in part]
    rule = _rule_of(classes)
    fit, reason = room.holds(part, rule)
    fit = min(fit, links)
    if 1 < fit <= MOST_TRIED and rule.spacing_hz:
        tried = room.holds_by_trial(part, classes, fit)
        if tried is not None and tried < fit:
            fit, reason = tried, "every way to place more of them was tried"
    where = ", ".join(sorted({each.area for each in classes} - {""}))
    kinds = ", ".join(sorted({each.equipment.name for each in classes if each.equipment is not None}))
    what = f"at most {fit} of {links} links of {kinds}{f' in {where}' if where else ''} fit"
    return _Part(links, fit, what, reason)


def _tried_out(places_hz: Whole, distances_hz: tuple[int, int, int, int], at_most: int, effort: Effort) -> int | None:
    """How many links fit with these distances (spacing, 2A−B, A+B−C, 3A−2B), by trying every way on the coarsest
    raster that holds all places; ``None`` where that takes too long.
    """
    step_hz = int(np.gcd.reduce(places_hz - places_hz[0])) or 1
    at = (places_hz - places_hz[0]) // step_hz
    if at[-1] >= LONGEST_ROW:
        return None
    row = np.zeros(int(at[-1]) + 1, dtype=np.bool_)
    row[at] = True
    return most_that_fit(row, Steps.of_hz(distances_hz[0], distances_hz[1:], step_hz), at_most, effort)


def _rule_of(classes: Sequence[Class]) -> Rule:
    """The mildest rule of these classes: what all their carriers keep in any plan."""
    spacing_hz = min(each.spacing_hz for each in classes)
    two_hz, three_hz = (_least_hz(classes, form) for form in (0, 1))
    return Rule(spacing_hz, min(two_hz, three_hz, spacing_hz))


def _least_hz(classes: Sequence[Class], form: int) -> int:
    """The least distance of a form of products that any carriers of these classes keep from each other, by its place in
    ``Class.distances_hz``; where edges count, a product is as wide as its order times the narrowest of them.
    """
    narrowest_hz = min(each.width_hz for each in classes)
    half_hz = -(-(3, 3, 5)[form] * narrowest_hz // 2)
    asked = [(each.distances_hz[form], half_hz if each.edges else 0) for each in classes]
    return min(hz + half if hz else 0 for hz, half in asked)


def _spacing_reason(rule: Rule) -> str:
    return f"the places left to them hold no more at {format_width(rule.spacing_hz)} between neighbours"


def _difference_reason(rule: Rule) -> str:
    return (
        f"with A+B−C and 2A−B products {format_width(rule.difference_hz)} away all differences between carriers must "
        "differ by that much, and the places left to them do not have that many"
    )
