"""What comes with a plan beside its frequencies: the moves and their order, what to do when something fails, and what
would help where not everything fits.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fallow.plan.advice.choices import Choice
from fallow.plan.advice.order_of_moves import OrderOfMoves, Retuning
from fallow.plan.advice.relaxations import Relaxation
from fallow.plan.advice.remedies import Remedy
from fallow.plan.search.repair import FewestMoves
from fallow.plan.wording import counted
from fallow.show.plan_change import Shifted

__all__ = ["Advice", "Choice", "Relaxation", "Remedy", "Replan", "Retuning", "Shifted"]


@dataclass(frozen=True)
class Replan:
    """How a plan differs from the one in force: so many links changed, the fewest that any plan has to change, and the
    order in which it is done. ``lost``: how many of those changed have no frequency any more.
    ``weight``: of all that change, where links weigh differently.
    """

    moves: int
    fewest: FewestMoves
    order: OrderOfMoves
    lost: int = 0
    weight: int | None = None

    @property
    def is_smallest(self) -> bool:
        """Whether no plan that places as many links changes fewer."""
        if self.weight is not None:
            return self.weight <= self.fewest.weight_at_least
        return self.moves <= self.fewest.at_least

    @property
    def text(self) -> str:
        """How many links change, and whether fewer would do."""
        changed = f"{self.moves} {'link changes' if self.moves == 1 else 'links change'}"
        if not self.moves:
            return "no link changes"
        if self.lost:
            changed += f" ({self.lost} of them {'has' if self.lost == 1 else 'have'} no frequency any more)"
        if self.weight is not None:
            weigh = f"weighs {self.weight}" if self.moves == 1 else f"weigh {self.weight} together"
            return self._weighed(f"{changed}, which {weigh}")
        if self.is_smallest:
            return f"{changed}, and no plan changes fewer: {self.fewest.because}"
        must = f"at least {self.fewest.at_least} must ({self.fewest.because})"
        return f"{changed}; {must}; whether fewer than {self.moves} do is not proven"

    def _weighed(self, changed: str) -> str:
        """The same where links weigh differently."""
        if self.is_smallest:
            return f"{changed}, and no plan changes less: {self.fewest.because}"
        must = f"at least {self.fewest.weight_at_least} must ({self.fewest.because})"
        return f"{changed}; {must}; whether less than {self.weight} does is not proven"


@dataclass(frozen=True)
class Advice:
    """See the module. ``not_looked_at``: failures for which there was no time; ``not_tried``: ideas that might help
    links without a frequency. ``in_more_time``: so many links were placed when the search went on with nothing
    changed.
    """

    replan: Replan | None = None
    remedies: tuple[Remedy, ...] = ()
    not_looked_at: int = 0
    relaxations: tuple[Relaxation, ...] = ()
    choices: tuple[Choice, ...] = ()
    not_tried: int = 0
    in_more_time: int | None = None

    @property
    def notes(self) -> tuple[str, ...]:
        """What there was no time for."""
        return tuple(self._notes())

    def _notes(self) -> Iterator[str]:
        more = "give it more with --seconds"
        if self.not_looked_at and not self.remedies:
            failures = counted(self.not_looked_at, "failure")
            yield f"no time was left to look at what to do when something fails ({failures}): {more}"
        if self.not_tried:
            ideas = counted(self.not_tried, "idea")
            yield f"no time was left for {ideas} of what would help links without a frequency: {more}"
        if self.in_more_time is not None:
            yield f"the search places {self.in_more_time} links when it goes on as it is: {more}"
