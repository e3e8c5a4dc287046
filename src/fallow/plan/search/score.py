"""What a plan strives for, in this order, as a value that compares: the larger score is the better plan.

1. links placed, priority by priority: one more of priority 1 outweighs any number of priority 2
2. with a plan to keep: fewest links changed, each counted with its weight
3. fewest links on places not measured, 4. then on doubtful ones
5. spares
6. fewest links where products of strangers alone fall, 7. then where the law says *ask*
8. wishes granted, 9. the thinnest margin as wide as possible

Fixed links stay in any case. The order is that of the fields of ``Score``.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fallow.plan.search.question import Question
from fallow.plan.search.worth import ASK_BIT, HIT_BIT, VERDICT_STEP
from fallow.show.link import LOWEST_PRIORITY
from fallow.spectrum.verdict import Verdict

__all__ = ["Score", "score_of"]


class Score(NamedTuple):
    """See the module; what is counted as bad is negative.

    ``thinnest_db``: 0 without surveys, minus infinity where none counts.
    """

    placed: tuple[int, ...]
    changed: int
    not_measured: int
    doubtful: int
    spares: int
    hit: int
    ask: int
    wishes: int
    thinnest_db: float


def score_of(question: Question, at_hz: NDArray[np.int64]) -> Score:
    """The score of carriers at ``at_hz`` (int64, shape (carrier,), −1 for those that stand nowhere)."""
    facts = question.facts
    placed = at_hz >= 0
    links = placed & ~facts.is_spare
    by_rank = np.bincount(facts.rank[links], minlength=LOWEST_PRIORITY + 1)
    tier, margin_db = question.worth_at(at_hz)
    tier = tier[links & ~facts.is_fixed]
    verdict = tier // VERDICT_STEP
    margins = margin_db[links & ~np.isnan(margin_db)]
    return Score(
        tuple(by_rank[1 : LOWEST_PRIORITY + 1].tolist()),
        -int(facts.weight[question.away(at_hz)].sum()),
        -int(np.count_nonzero(verdict == Verdict.NOT_MEASURED)),
        -int(np.count_nonzero(verdict == Verdict.DOUBTFUL)),
        int(np.count_nonzero(placed & facts.is_spare)),
        -int(np.count_nonzero(tier & HIT_BIT)),
        -int(np.count_nonzero(tier & ASK_BIT)),
        int(np.count_nonzero((facts.wish_hz >= 0) & (at_hz == facts.wish_hz))),
        float(margins.min()) if margins.size else -math.inf,
    )
