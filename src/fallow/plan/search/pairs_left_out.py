"""Why links with two directions are left out where each direction by itself would have places, and what that says of
how many such links any plan can hold.

Three things are looked at, the strongest first: two links whose directions stand at one fixed distance always disturb
each other where A+B−C is asked; links of one kind are tried in every way with nobody else but fixed links and strangers
on the air; and at last one more link is tried beside all those that a plan has placed.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from fallow.plan.search.bounds import Bound
from fallow.plan.search.engine import Kernels
from fallow.plan.search.fitting import Fitting, LinkKind, by_kind
from fallow.plan.search.groups import Class
from fallow.plan.search.question import Question, Tie
from fallow.plan.search.standing import Standing
from fallow.plan.search.trying import Patience, can_be_tried
from fallow.plan.wording import counted
from fallow.units import format_width

__all__ = ["Limit", "beside_others", "limits_by_trial", "limits_of_fixed_distances", "lowered_by_limits"]

MOST_CARRIERS = 300
"""Of links, so that putting them into tables takes no time worth telling of."""


@dataclass(frozen=True)
class Limit:
    """Of these carriers, by name, no plan places more than ``fit``; ``because`` is one sentence."""

    names: frozenset[str]
    fit: int
    because: str

    @property
    def left_out(self) -> int:
        """How many of them have no place in any plan."""
        return len(self.names) - self.fit


def lowered_by_limits(question: Question, limits: Iterable[Limit], bound: Bound | None) -> Bound | None:
    """A lower bound than ``bound`` (``None``: all links) where limits about different links say one together."""
    apart: list[Limit] = []
    for limit in sorted(limits, key=lambda each: (-each.left_out, sorted(each.names))):
        if limit.left_out > 0 and all(not limit.names & other.names for other in apart):
            apart.append(limit)
    links = len(question.links) - sum(limit.left_out for limit in apart)
    most_links = len(question.links) if bound is None else bound.links
    reasons = dict.fromkeys(limit.because for limit in apart)
    return Bound(links, "; and ".join(reasons)) if links < most_links else bound


# Directions at one fixed distance


def limits_of_fixed_distances(question: Question) -> tuple[Limit, ...]:
    """What a + (b + d) − (a + d) = b says: of links whose directions are d apart only one fits where they hear each
    other and A+B−C is asked of them. Links that are fixed with both directions are the one where there are any.
    """
    found: dict[Limit, None] = {}
    scenes = sorted(frozenset[str]().union(*(each.scenes for each in question.classes))) or [""]
    asking = [tie for tie in question.pairs if _asks(tie, question)]
    for scene in scenes:
        on = [tie for tie in asking if _class_of(tie, question).on_in(scene)]
        for offset_hz in sorted({abs(tie.duplex.offset_hz or 0) for tie in on}):
            alike = [tie for tie in on if abs(tie.duplex.offset_hz or 0) == offset_hz]
            found |= {limit: None for part in _parts(alike, question) for limit in _limit_of(part, offset_hz, question)}
    return tuple(found)


def _asks(tie: Tie, question: Question) -> bool:
    """Whether it is a link, its distance is fixed, and A+B−C is asked of it."""
    asked_hz = _class_of(tie, question).distances_hz[1]
    return tie.duplex.offset_hz is not None and asked_hz > 0 and not question.carriers[tie.forward].is_spare


def _class_of(tie: Tie, question: Question) -> Class:
    return question.classes[question.carriers[tie.forward].class_index]


def _parts(ties: Sequence[Tie], question: Question) -> list[list[Tie]]:
    """Links in parts whose areas all hear each other; each joins the first part that it can."""
    parts: list[list[Tie]] = []
    for tie in ties:
        area = question.carriers[tie.forward].area
        for part in parts:
            if all(question.losses.hears(area, question.carriers[other.forward].area) for other in part):
                part.append(tie)
                break
        else:
            parts.append([tie])
    return parts


def _limit_of(part: Sequence[Tie], offset_hz: int, question: Question) -> Iterator[Limit]:
    """What holds of those of a part that may move."""
    carriers = question.carriers
    movable = [tie for tie in part if carriers[tie.forward].fixed_hz is None and carriers[tie.back].fixed_hz is None]
    fixed = [tie for tie in part if _is_fixed_apart(tie, offset_hz, question)]
    fit = 0 if fixed else 1
    if len(movable) <= fit:
        return
    names = frozenset(carriers[i].name for tie in movable for i in (tie.forward, tie.back))
    kinds = ", ".join(sorted({carriers[tie.forward].equipment.name for tie in movable}))
    who = f"of {len(movable)} links of {kinds} that hear each other only one fits"
    if fixed:
        who = f"no other link of {kinds} fits beside {carriers[fixed[0].forward].name}, which is fixed"
    because = (
        f"where directions are {format_width(offset_hz)} apart, three of the four carriers of any two links make a "
        f"product A+B−C exactly on the fourth: {who}"
    )
    yield Limit(names, 2 * fit, because)


def _is_fixed_apart(tie: Tie, offset_hz: int, question: Question) -> bool:
    there_hz, back_hz = question.carriers[tie.forward].fixed_hz, question.carriers[tie.back].fixed_hz
    return there_hz is not None and back_hz is not None and abs(back_hz - there_hz) == offset_hz


# Trying


def limits_by_trial(
    question: Question, placed: Collection[str], patience: Patience, kernels: Callable[[], Kernels]
) -> tuple[Limit, ...]:
    """Of kinds of links with two directions of which a plan (names of carriers that it placed) leaves some out:
    whether one more fits with nobody else but fixed links and strangers on the air, tried in every way.
    """
    if len(question.links) > MOST_CARRIERS or not question.pairs or not can_be_tried(question):
        return ()
    standing, found = Standing(question, kernels), []
    for kind, units in _pairs_by_kind(question, standing).items():
        names = [question.carriers[i].name for unit in units for i in unit]
        stand = [unit for unit in units if question.carriers[unit[0]].name in placed]
        if len(stand) == len(units):
            continue
        more = units[: len(stand) + 1]
        if patience.outcome(Fitting(standing, [unit[0] for unit in more])) is False:
            because = _tried(kind, len(more), len(units), question)
            found.append(Limit(frozenset(names), len(stand) * kind.carriers, because))
    return tuple(found)


def _pairs_by_kind(question: Question, standing: Standing) -> dict[LinkKind, list[tuple[int, ...]]]:
    """The links with two directions that are not fixed in both."""
    links = [i for i in sorted(question.in_pairs) if not question.carriers[i].is_spare and standing.at_hz[i] < 0]
    return by_kind(question, links, standing.at_hz)


def _tried(kind: LinkKind, tried: int, links: int, question: Question) -> str:
    one = question.classes[kind.classes[0]]
    name = "links" if one.equipment is None else one.equipment.name
    where = f" in {one.area}" if one.area else ""
    ways = "both directions of one link" if tried == 1 else f"both directions of {tried} links"
    return (
        f"at most {tried - 1} of {links} links of {name}{where} fit: every way to place {ways} beside nobody but fixed "
        "links and foreign carriers was tried, and some distance or product forbids each"
    )


def beside_others(
    question: Question, plan_hz: Mapping[str, int], patience: Patience, kernels: Callable[[], Kernels]
) -> dict[str, str]:
    """Why links with two directions find no place beside the carriers of a plan (hertz by name), by the name of each
    direction: where both directions have free places, and no two of these go together; or where one has none.
    """
    if len(question.links) > MOST_CARRIERS:
        return {}
    standing = Standing(question, kernels)
    stand = [i for i, one in enumerate(question.carriers) if one.name in plan_hz and one.fixed_hz is None]
    stand = [i for i in stand if not question.carriers[i].is_spare]
    standing.put(stand, [plan_hz[question.carriers[i].name] for i in stand])
    told: dict[str, str] = {}
    for kind, units in _pairs_by_kind(question, standing).items():
        free = [standing.free_hz(k).size for k in kind.classes]
        if not any(free) or kind.carriers < 2:
            continue
        if not all(free):
            told |= {question.carriers[unit[free.index(max(free))]].name: _one_way_only(free) for unit in units}
        elif patience.outcome(Fitting(standing, units[0][:1])) is False:
            there, back = counted(free[0], "place is", "places are"), counted(free[1], "place")
            because = (
                f"beside the links that are placed {there} free for the way there and {back} for the way back, and no "
                "two of them go together: others would have to move"
            )
            told |= {question.carriers[i].name: because for unit in units for i in unit}
    return told


def _one_way_only(free: Sequence[int]) -> str:
    """How many places are free for the one direction, where there is none for the other."""
    ways = ("the way there", "the way back") if free[0] else ("the way back", "the way there")
    places = counted(max(free), "place is", "places are")
    return f"{places} free for {ways[0]} and none for {ways[1]}: others would have to move"
