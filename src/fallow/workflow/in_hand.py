"""What there is to show for when Ctrl-C ends the making of a plan: at once, and never less than the best plan found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fallow.plan.answer import Plan
from fallow.plan.hasty import compose_in_haste
from fallow.plan.places import Ground
from fallow.plan.search.search import Solution
from fallow.show.wanted import Wanted
from fallow.workflow.searching import Clock

__all__ = ["STOPPED", "InHand"]

STOPPED = "the search was stopped early: this is the best plan found until then"
MOST_TOLD_AT_ONCE = 200
"""Links whose reasons and margins are told within some tenths of a second."""


@dataclass
class InHand:
    """The best plan so far, held while what comes with it is being made."""

    best: Solution | None = None
    wanted: Wanted | None = None
    keep: Mapping[str, int] | None = None
    notes: Sequence[str] = ()

    def hold(self, best: Solution, wanted: Wanted, keep: Mapping[str, int] | None, notes: Sequence[str]) -> None:
        """From now on this is what a stop leaves."""
        self.best, self.wanted, self.keep, self.notes = best, wanted, keep, tuple(notes)

    @property
    def takes_long(self) -> bool:
        """Whether to tell all about it would keep somebody waiting who wants to stop."""
        return self.best is not None and len(self.best.frequencies_hz) > MOST_TOLD_AT_ONCE

    def told(self, ground: Ground, clock: Clock, seed: int) -> Plan:
        """The plan in hand. Raises KeyboardInterrupt where there is none."""
        if self.best is None or self.wanted is None:
            raise KeyboardInterrupt
        plan = compose_in_haste(self.best, self.wanted, ground, keep=self.keep, seed=seed)
        return replace(plan, notes=(*self.notes, *plan.notes, STOPPED), seconds=clock.used_s)
