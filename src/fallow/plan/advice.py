"""What comes with a plan beside its frequencies: the moves and their order, what to do when something fails, and what
would help where not everything fits.
"""

from __future__ import annotations

from dataclasses import dataclass

from fallow.plan.choices import Choice
from fallow.plan.order_of_moves import OrderOfMoves, Retuning
from fallow.plan.relaxations import Relaxation
from fallow.plan.remedies import Remedy
from fallow.plan.repair import FewestMoves
from fallow.show.plan_change import Shifted

__all__ = ["Advice", "Choice", "Relaxation", "Remedy", "Replan", "Retuning", "Shifted"]


@dataclass(frozen=True)
class Replan:
    """How a plan differs from the one in force: so many links changed, the fewest that any plan has to change, and the
    order in which it is done.
    """

    moves: int
    fewest: FewestMoves
    order: OrderOfMoves

    @property
    def is_smallest(self) -> bool:
        """Whether no plan that places as many links changes fewer."""
        return self.moves <= self.fewest.at_least

    @property
    def text(self) -> str:
        """How many links change, and whether fewer would do."""
        changed = f"{self.moves} {'link changes' if self.moves == 1 else 'links change'}"
        if not self.moves:
            return "no link changes"
        if self.is_smallest:
            return f"{changed}, and no plan changes fewer: {self.fewest.because}"
        must = f"at least {self.fewest.at_least} must ({self.fewest.because})"
        return f"{changed}; {must}; whether fewer than {self.moves} do is not proven"


@dataclass(frozen=True)
class Advice:
    """See the module. ``not_looked_at``: failures for which there was no time."""

    replan: Replan | None = None
    remedies: tuple[Remedy, ...] = ()
    not_looked_at: int = 0
    relaxations: tuple[Relaxation, ...] = ()
    choices: tuple[Choice, ...] = ()
