"""The search in its time: how long it may take, who is told of it, and what happens when it is stopped."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import partial

from fallow.errors import UsageError
from fallow.plan.search.engine import Kernels
from fallow.plan.search.headroom import FACTORS, held, is_complete, widened, with_headroom
from fallow.plan.search.lanes import improve_side_by_side
from fallow.plan.search.question import Question
from fallow.plan.search.repair import FewestMoves
from fallow.plan.search.search import Solution
from fallow.plan.search.wishes import hardened, unkept_in, with_wishes
from fallow.show.wanted import Wanted
from fallow.workflow.accelerate import kernels
from fallow.workflow.stopping import Ears

__all__ = ["Clock", "Found", "Progress", "Turns", "search"]

SHARE_FOR_PLACES = 0.4  # of the search, before a plan in which every link stands is given more room
SHARE_FOR_WISHES = 0.5  # of what is left then, for wishes about groups of links, where they are not kept
SHARE_FOR_FEWER = 0.8  # the same while fewer moves may be possible
SHARE_WHERE_LINKS_ARE_LEFT = 0.75  # of the search, so that there is time to look at what would help them
LANES = 2  # searches side by side, whatever the machine, so that a seed means the same plans everywhere
LARGEST_TABLES = 600_000_000  # bytes; beyond, a second set is much memory, and a second search found no better plans
ANSWER_S_PER_LINK = 0.003  # of work for audit, ledgers and words, which can't be cut short; measured over 1,000 links
ANSWERED_AT_ONCE = 200  # links; fewer are not worth thinking of beforehand
MOST_KEPT_BACK = 0.4  # share of the time
Progress = Callable[[str, float], None]


class Clock:
    """The time that making a plan may take, and who is told of it.

    With ``steps`` it goes on by one of them each time that somebody asks whether it is over, whatever the time of day:
    then all that is made by this clock is the same on every machine. Else shares are shares of the time less what is
    kept back for the answer, which comes after all that asks.
    """

    def __init__(self, seconds: float, progress: Progress | None, steps: int | None = None) -> None:
        self.seconds, self.progress, self.steps = seconds, progress, steps
        self.asked = 0
        self.kept_back_s = 0.0
        self.ears = Ears()
        self.started_s = time.monotonic()
        self._worked_before_s = time.thread_time()

    @property
    def used_s(self) -> float:
        """Seconds since the start."""
        return time.monotonic() - self.started_s

    @property
    def used_share(self) -> float:
        """Of the time; beyond all of it where there is none."""
        if self.steps is not None:
            return self.asked / self.steps if self.steps else math.inf
        return self.used_s / (self.seconds - self.kept_back_s) if self.seconds else math.inf

    def keep_back(self, links: int) -> None:
        """Leave time to answer for so many links, as slow as the machine has been so far: to be told while nothing but
        this thread works for us, so that time without work is what others took.
        """
        if links > ANSWERED_AT_ONCE:
            worked_s = time.thread_time() - self._worked_before_s
            slowed = max(1.0, self.used_s / worked_s) if worked_s > 0 else 1.0
            self.kept_back_s = min(links * ANSWER_S_PER_LINK * slowed, MOST_KEPT_BACK * self.seconds)

    def is_over(self, share: float = 1.0, what: str = "looking for a better plan") -> bool:
        """Whether this share of the time is used up."""
        self.ears.heed()
        self.asked += 1
        used = self.used_share
        if self.progress is not None and math.isfinite(used):
            self.progress(what, min(1.0, used))
        return used >= share

    def heeding(self, quickest: Callable[[], Kernels]) -> Callable[[], Kernels]:
        """The same kernels, for which somebody asks at each step; so Ctrl-C is heard there as well."""

        def heedful() -> Kernels:
            self.ears.heed()
            return quickest()

        return heedful

    def turns(self, until: float) -> Turns:
        """Things that are done one after the other until a share of the time is used up."""
        return Turns(self, until)


class Turns:
    """Turns that share what is left of the time. What of a turn can't be cut short is learned from those before."""

    def __init__(self, clock: Clock, until: float) -> None:
        self.clock, self.until = clock, until
        self.over_by = 0.0  # share by which a turn was longer than it was to be
        self._ends = 0.0
        self._began: float | None = None

    def has_time(self) -> bool:
        """Whether one more turn would end in time, if it can't be cut short by more than those before."""
        now = self.clock.used_share
        if self._began is not None:
            self.over_by = max(self.over_by, now - max(self._ends, self._began))
        self._began = self._ends = now
        return now + self.over_by < self.until

    def next(self, left: int, what: str) -> Callable[[], bool]:
        """Begin one of ``left`` turns: what tells whether it is to end."""
        now = self.clock.used_share
        self._ends = now + max(0.0, (self.until - now) / left - self.over_by)
        return partial(self.clock.is_over, self._ends, what)


@dataclass(frozen=True)
class Found:
    """The best plan found, how much wider than asked its distances are, the show with these distances, whether Ctrl-C
    ended the search, what is known of the fewest moves, and all plans that were the best for a while.
    """

    best: Solution
    factor: Fraction
    roomy: Wanted
    stopped: bool
    fewest: FewestMoves
    seen: tuple[Solution, ...] = ()


def search(
    question: Question, wanted: Wanted, build: Callable[[Wanted], Question], *, seed: int, clock: Clock, share: float
) -> Found:
    """The best plan in a share of the time.

    Where every link has a place, the second part of the time is for room: with a plan to keep for links that are new or
    move. Ctrl-C ends the search, not the answer.
    """
    seen: list[Solution] = []
    fewest = [FewestMoves()]
    lanes = LANES if question.bytes_of_tables <= LARGEST_TABLES else 1

    def may_widen() -> bool:
        return bool(seen) and is_complete(question, seen[-1].score) and _leave_home(seen[-1], question)

    def enough() -> bool:
        if not may_widen():
            all_stand = bool(seen) and is_complete(question, seen[-1].score)
            return clock.is_over(share if all_stand else share * SHARE_WHERE_LINKS_ARE_LEFT)
        fewer_may_do = -seen[-1].score.changed > fewest[-1].weight_at_least
        return clock.is_over(share * (SHARE_FOR_FEWER if fewer_may_do else SHARE_FOR_PLACES))

    try:
        plans = improve_side_by_side(
            question, seed=seed, should_stop=enough, kernels=clock.heeding(kernels()), tell=fewest.append, lanes=lanes
        )
        _note(plans, seen, clock)
        if not seen:  # the search promises a first plan before it asks for the time
            raise UsageError("no plan was made", hint="give the search more time with --seconds")
        if not may_widen():
            return Found(seen[-1], Fraction(1), wanted, stopped=False, fewest=fewest[-1], seen=tuple(seen))
        homes_hz = {one.name: one.home_hz for one in question.links if one.home_hz is not None}
        show = held(wanted, seen[-1].frequencies_hz, homes_hz)
        if unkept_in(seen[-1], question):
            until = _in_parts(clock, share - (share - min(clock.used_share, share)) * (1 - SHARE_FOR_WISHES), 2)
            seen.append(with_wishes(seen[-1], question, build, show, seed=seed, should_stop=until, kernels=kernels()))
        give_up = _in_parts(clock, share, len(FACTORS))
        if question.wished and not unkept_in(seen[-1], question):
            show = hardened(show)
        wide, factor = with_headroom(seen[-1], question, show, build, seed=seed, should_stop=give_up, kernels=kernels())
        roomy = widened(show, factor)
        return Found(wide, factor, roomy, stopped=False, fewest=fewest[-1], seen=tuple(seen))
    except KeyboardInterrupt:
        clock.ears.heard()
        if not seen:
            raise
        return Found(seen[-1], Fraction(1), wanted, stopped=True, fewest=fewest[-1], seen=tuple(seen))


def _note(plans: Iterable[Solution], seen: list[Solution], clock: Clock) -> None:
    """Keep plans as they come; once there is one, it is known how long its answer will take."""
    for plan in plans:
        if not seen:
            clock.keep_back(len(plan.frequencies_hz))
        seen.append(plan)  # at once: who asks whether it is enough looks at the plans


def _in_parts(clock: Clock, share: float, parts: int) -> Callable[[int], bool]:
    """Whether one of some searches is to end that share the time until ``share``; asked with how many are left."""
    began = min(clock.used_share, share)
    return lambda left: clock.is_over(share - (share - began) * (left - 1) / parts)


def _leave_home(plan: Solution, question: Question) -> bool:
    """Whether there is a link to be given room: without a plan to keep, or new in it, or moved."""
    return any(
        carrier.fixed_hz is None and plan.frequencies_hz.get(carrier.name) != carrier.home_hz
        for carrier in question.links
    )
