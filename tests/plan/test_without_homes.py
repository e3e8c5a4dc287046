"""A plan to keep does not keep more links from having a place: while some have none, homes are let go of in turn."""

from __future__ import annotations

from itertools import count, pairwise

import numpy as np
import pytest

from fallow.plan.places import Ground
from fallow.plan.search.engine import NumpyKernels
from fallow.plan.search.headroom import standing_hz
from fallow.plan.search.question import Question
from fallow.plan.search.score import score_of
from fallow.plan.search.search import Solution, improve
from fallow.show.link import Link
from fallow.show.wanted import Wanted
from fallow.units import Span
from plan.plain_conflicts import plain_conflicts, standing_links
from plan.shows import equipment

KIND = equipment("mic", tuning=(Span(500_000_000, 508_000_000),), step_hz=25_000, im5_khz=50)
SHOW = Wanted(tuple(Link(f"link {i}", KIND.name) for i in range(12)), {KIND.name: KIND})
HOMES_HZ = {f"link {i}": 500_000_000 + 350_000 * i for i in range(4)}
STEPS = 90


def replanned(seed: int) -> list[Solution]:
    question = Question.build(SHOW, Ground(), keep=HOMES_HZ, spares=0)
    asked = count(1)
    return list(improve(question, seed=seed, should_stop=lambda: next(asked) >= STEPS, kernels=NumpyKernels))


@pytest.mark.parametrize("seed", [1])
def test_plans_on_the_way_are_whole_and_their_moves_counted(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fallow.plan.search.search.WITHOUT_HOMES", 7)
    monkeypatch.setattr("fallow.plan.search.search.WITH_HOMES", 3)
    for name in ("ATTEMPTS", "PUSHES", "SHAKES"):
        monkeypatch.setattr(f"fallow.plan.search.repair.{name}", 2)
    question = Question.build(SHOW, Ground(), keep=HOMES_HZ, spares=0)
    found = replanned(seed)
    assert found
    for plan in found:
        assert plan.score == score_of(question, np.asarray(standing_hz(plan, question)))
        assert plain_conflicts(standing_links(SHOW, plan), SHOW.losses) == []
    assert all(later.score > earlier.score for earlier, later in pairwise(found))
    assert found == replanned(seed)
