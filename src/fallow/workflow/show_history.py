"""The history of the show: what was changed, taken back and marked; two moments, plans or surveys side by side."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from fallow.change.surveys import compare_surveys
from fallow.errors import FallowError, UsageError
from fallow.show.plan_change import compare_plans
from fallow.showfile.history import Difference, Happened, difference
from fallow.showfile.holding import Past
from fallow.showfile.kinds import MARKS, NOTES, PLANS, SURVEYS, KindOfItem
from fallow.showfile.store import ShowFile
from fallow.showfile.surveys import read_survey
from fallow.showfile.values import Mark, Note
from fallow.workflow.compare import Compared
from fallow.workflow.show import Desk, plan_in_force, rows_of_plan, wanted_of
from fallow.workflow.show_plan import judge_in_show, region_of
from fallow.workflow.survey import Listing

__all__ = [
    "Compared",
    "Difference",
    "Happened",
    "Mark",
    "ShowCompared",
    "ShowHistory",
    "compare_in_show",
    "mark",
    "note",
    "redo",
    "show_history",
    "undo",
]


@dataclass(frozen=True)
class ShowHistory:
    """Every change, oldest first, and the marks."""

    changes: tuple[Happened, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, eq=False)
class ShowCompared:
    """Two plans or surveys side by side; or two moments: what differs between them, and their plans in force.

    ``values``: ``None`` where no moments were compared.
    """

    compared: Compared
    values: tuple[Difference, ...] | None = None


def show_history(desk: Desk) -> ShowHistory:
    """What was ever changed in the show."""
    with desk.looking() as show, show.snapshot():
        return ShowHistory(show.changes(), show.all(MARKS))


def undo(desk: Desk, steps: int = 1) -> tuple[Happened, ...]:
    """Take back the last edits that stand. Returns them; fewer than asked for where there are no more."""
    with desk.writing() as show:
        return _steps(lambda: show.undo(desk.why), steps, "taken back")


def redo(desk: Desk, steps: int = 1) -> tuple[Happened, ...]:
    """Do edits again that were taken back last. Returns them."""
    with desk.writing() as show:
        return _steps(lambda: show.redo(desk.why), steps, "done again")


def _steps(step: Callable[[], Happened | None], most: int, word: str) -> tuple[Happened, ...]:
    """So many steps, fewer where there are no more; an error also tells what was done before it."""
    done: list[Happened] = []
    for _ in range(most):
        try:
            one = step()
        except FallowError as error:
            if done:
                told = "; ".join(each.what for each in done)
                error.what = f"{error.what}; before it, this was {word}: {told}"
            raise
        if one is None:
            break
        done.append(one)
    return tuple(done)


def mark(name: str, desk: Desk) -> Mark:
    """Give the present moment a name. Raises UsageError where the name is taken, or could be taken for a moment."""
    if not name.strip():
        raise UsageError("a mark needs a name", hint="fallow show mark 'as handed out'")
    with desk.writing() as show:
        if show.get(MARKS, name) is not None:
            raise UsageError(f"there is a mark {name!r} already", path=show.path, hint="give it another name")
        if _number(name) is not None or _day(name) is not None:
            raise UsageError(f"{name!r} is no name for a mark", hint="numbers and dates mean changes and days")
        last = max((one.number for one in show.changes()), default=0)
        made = Mark(name, last, datetime.now(UTC).isoformat(timespec="seconds"))
        with desk.change(show, f"mark {name!r}", is_fact=True) as change:
            change.put(MARKS, made)
        return made


def note(text: str, about: str, desk: Desk) -> Note:
    """Write something down. ``about``: a link, an area, a plan; empty: the show. Raises UsageError for no text."""
    if not text.strip():
        raise UsageError("there is nothing to write down", hint="fallow show note 'what happened'")
    with desk.writing() as show:
        who = "" if show.writer is None else show.writer.who
        made = Note(secrets.token_hex(4), datetime.now(UTC).isoformat(timespec="seconds"), who, text, about)
        with desk.change(show, f"note: {text[:60]}") as change:
            change.put(NOTES, made)
        return made


def compare_in_show(old: str, new: str, desk: Desk) -> ShowCompared:
    """Two surveys, plans or moments. A moment is a mark, the number of a change, a day (its end) or ``now``.

    Raises UsageError where a name is known for nothing, or two different things are named.
    """
    with desk.looking() as show, show.snapshot():
        if _both(show, SURVEYS, old, new):
            return ShowCompared(_surveys(show, old, new))
        if _both(show, PLANS, old, new):
            return ShowCompared(_plans(show, old, new))
        return _moments(_past(show, old), _past(show, new))


def _both(show: ShowFile, kind: KindOfItem[Any], old: str, new: str) -> bool:
    """Whether both names are of this kind. Raises UsageError where one is and the other is not."""
    named = [show.get(kind, name) is not None for name in (old, new)]
    if any(named) and not all(named):
        other = new if named[0] else old
        raise UsageError(f"there is no {kind.word} {other!r}", hint=f"compare a {kind.word} with another one")
    return all(named)


def _surveys(show: ShowFile, old: str, new: str) -> Compared:
    heads = [next(head for head in show.all(SURVEYS) if head.name == name) for name in (old, new)]
    wanted, listing = wanted_of(show), Listing(region_of(show))
    airs = [judge_in_show(show, read_survey(show, head), listing, wanted).air for head in heads]
    return Compared(surveys=compare_surveys(airs[0], airs[1]))


def _plans(show: ShowFile, old: str, new: str) -> Compared:
    return Compared(plans=compare_plans(rows_of_plan(show, old), rows_of_plan(show, new)))


def _moments(old: Past, new: Past) -> ShowCompared:
    plans = [plan_in_force(moment) for moment in (old, new)]
    rows = [() if name is None else rows_of_plan(moment, name) for name, moment in zip(plans, (old, new), strict=True)]
    plan_change = compare_plans(*rows) if any(rows) else None
    return ShowCompared(Compared(plans=plan_change), difference(old.state, new.state))


def _past(show: ShowFile, text: str) -> Past:
    """The show at the moment that a word names."""
    changes = show.changes()
    last = max((one.number for one in changes), default=0)
    if text == "now":
        return show.past(last)
    marked = show.get(MARKS, text)
    if marked is not None:
        return show.past(marked.change)
    number, day = _number(text), _day(text)
    if number is not None:
        return show.past(number)
    if day is not None:
        midnight = datetime.combine(day + timedelta(days=1), time()).astimezone()
        return show.past(max((one.number for one in changes if datetime.fromisoformat(one.at) < midnight), default=0))
    names = [head.name for head in show.all(SURVEYS)]
    names += [*(plan.name for plan in show.all(PLANS)), *(one.name for one in show.all(MARKS))]
    hint = f"name a survey, plan or mark ({', '.join(names) or 'there is none'}), a change's number, a day, or now"
    raise UsageError(f"{text!r} is nothing that can be compared", path=show.path, hint=hint)


def _number(text: str) -> int | None:
    digits = text.removeprefix("#")
    return int(digits) if digits.isdecimal() and digits.isascii() else None


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
